"""Fault S11: an endless line without an end. Told as noise, then as a lost link after 3 s; memory stays flat."""

import tracemalloc

from pourcall.contract.events import Priority
from pourcall.contract.inputs import LinkKind
from pourcall.contract.status import Reason
from pourcall.drivers.wire import ourline
from tests.faults.conftest import METAL_C, Rig, Wire

DETECTOR = "link_lost"


def story(rig: Rig, broken: bool) -> None:
    decoder = ourline.decoder(chip="max31855")
    rig.ready()
    if broken:
        rig.waits(20.0, lambda: rig.frames(b"x" * 4096, decoder))
    else:
        rig.waits(20.0, lambda: rig.sample(METAL_C))


def test_a_line_without_end_is_one_alarm_for_the_lost_link(rig: Rig) -> None:
    story(rig, broken=True)
    shown = [alarm for alarm in rig.alarms().values() if not alarm.suppressed_by and alarm.active]
    assert [alarm.id for alarm in shown] == ["link_lost:bench"]
    assert shown[0].priority is Priority.ALARM
    assert shown[0].raised_mono_s - rig.broken_s <= 4.0
    assert rig.raised("link_noisy")[0].alarm.raised_mono_s - rig.broken_s <= 2.0
    rig.no_number(Reason.LINK_LOST)
    rig.no_call()


MAIN = test_a_line_without_end_is_one_alarm_for_the_lost_link


def test_memory_stays_flat_under_a_flood(rig: Rig) -> None:
    decoder = ourline.decoder(chip="max31855")
    rig.ready()
    rig.waits(10.0, lambda: rig.frames(b"x" * 4096, decoder))
    tracemalloc.start()
    try:
        before = tracemalloc.get_traced_memory()[0]
        for _ in range(200):
            rig.t_s += 0.5
            rig.frames(b"x" * 65_536, decoder)
            rig.forget()
        assert tracemalloc.get_traced_memory()[0] - before < 200_000
    finally:
        tracemalloc.stop()


def test_a_flood_on_a_real_port_is_told_as_noise(rig: Rig, wire: Wire) -> None:
    rig.ready()
    wire.link.start()
    wire.into(rig, LinkKind.OPENED)
    wire.write(b"x" * 3000)
    wire.into(rig, LinkKind.BAD_FRAMES)
    assert set(rig.alarms()) <= {"link_noisy:bench"}
    assert rig.engine.metal.temp_c is not None


def test_the_same_run_with_lines_raises_nothing(rig: Rig) -> None:
    story(rig, broken=False)
    rig.silent()
