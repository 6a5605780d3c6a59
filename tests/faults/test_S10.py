"""Fault S10: old bytes in a burst. Within 1 s late_data, priority 3; kept with their own mark, never used to call."""

from pourcall.contract.events import CallKind, Priority
from pourcall.contract.frames import RawKind, Sample
from pourcall.contract.inputs import SampleIn
from pourcall.contract.status import Reason
from pourcall.drivers.lateness import Lateness
from tests.faults.conftest import METAL_C, Rig

DETECTOR = "late_data"
HELD_S = 10.0


def send(rig: Rig, temp_c: float, late_s: float) -> None:
    rig.put(SampleIn, board="bench", sample=Sample("0", RawKind.ITS90_C, temp_c, 25.0), late_s=late_s)


def story(rig: Rig, broken: bool) -> None:
    """From now on every sample comes 10 s late; the old ones still say 570 degC."""
    rig.ready()
    rig.waits(8.0, lambda: send(rig, METAL_C, HELD_S if broken else 0.0))


def test_late_bytes_are_one_warning_and_are_recorded_but_not_used(rig: Rig) -> None:
    story(rig, broken=True)
    rig.one_alarm("late_data", Priority.WARNING, 1.0, subject="bench")
    late = rig.since(rig.broken_s)
    assert {reading.reason for reading in late if reading.reason is not Reason.LINK_LOST} == {Reason.LATE}
    assert all(reading.raw_value == METAL_C for reading in late if reading.reason is Reason.LATE)
    rig.no_call()


MAIN = test_late_bytes_are_one_warning_and_are_recorded_but_not_used


def test_a_backlog_of_window_temperatures_never_starts_a_call(rig: Rig) -> None:
    rig.put_link_opened()
    rig.in_metal(520.0)
    for k in range(40):
        rig.t_s += 0.01
        send(rig, METAL_C, HELD_S - 0.2 * k)
    assert not rig.calls(CallKind.POUR)


def test_it_clears_by_itself_when_readings_are_fresh_again(rig: Rig) -> None:
    story(rig, broken=True)
    rig.waits(15.0, lambda: send(rig, METAL_C, 0.0))
    assert not [alarm for alarm in rig.alarms().values() if alarm.active]
    assert rig.up(CallKind.POUR)


def test_the_host_reckons_the_lateness_from_the_boards_own_clock() -> None:
    lateness = Lateness()
    for second in range(60):
        lateness.late_s(1000 * second, 100.0 + second)
    assert lateness.late_s(60_000, 100.0 + 60.0 + HELD_S) > 9.0


def test_the_same_run_on_time_raises_nothing(rig: Rig) -> None:
    story(rig, broken=False)
    rig.silent()
