"""Fault S4: random bytes. link_noisy at first; 3 s without a valid frame are link_lost, priority 2, and explain it."""

from random import Random

from pourcall.contract.events import Priority
from pourcall.contract.status import Reason
from pourcall.drivers.wire import ourline
from tests.faults.conftest import METAL_C, Rig

DETECTOR = "link_lost"


def story(rig: Rig, broken: bool) -> None:
    decoder, rng = ourline.decoder(chip="max31855"), Random(4)
    rig.ready()
    if broken:
        rig.waits(20.0, lambda: rig.frames(rng.randbytes(40) + b"\n", decoder))
    else:
        rig.waits(20.0, lambda: rig.sample(METAL_C))


def test_random_bytes_end_as_one_alarm_for_the_lost_link_and_no_number(rig: Rig) -> None:
    story(rig, broken=True)
    shown = [alarm for alarm in rig.alarms().values() if not alarm.suppressed_by and alarm.active]
    assert [alarm.id for alarm in shown] == ["link_lost:bench"]
    assert shown[0].priority is Priority.ALARM
    assert shown[0].raised_mono_s - rig.broken_s <= 4.0
    assert len(rig.raised("link_noisy")) == 1, "while frames were still expected it was noisy"
    assert rig.raised("link_noisy")[0].alarm.raised_mono_s - rig.broken_s <= 3.0
    rig.no_number(Reason.LINK_LOST)
    rig.no_call()


MAIN = test_random_bytes_end_as_one_alarm_for_the_lost_link_and_no_number


def test_the_same_run_with_frames_raises_nothing(rig: Rig) -> None:
    story(rig, broken=False)
    rig.silent()
