"""Fault T1: open thermocouple. Within two samples: sensor_open, priority 2; BAD, no number, no pour call."""

from pourcall.contract.events import CallKind, Priority
from pourcall.contract.frames import SampleFlag
from pourcall.contract.status import Reason
from tests.faults.conftest import METAL_C, Rig

DETECTOR = "sensor_open"


def story(rig: Rig, broken: bool) -> None:
    rig.ready()
    flags = int(SampleFlag.OPEN) if broken else 0
    rig.waits(30.0, lambda: rig.sample(None if broken else METAL_C, flags=flags))


def test_an_open_couple_is_one_alarm_after_two_samples_and_gives_no_number(rig: Rig) -> None:
    story(rig, broken=True)
    rig.one_alarm("sensor_open", Priority.ALARM, 2 * rig.T_S)
    rig.no_number(Reason.SENSOR_OPEN)
    rig.no_call()


MAIN = test_an_open_couple_is_one_alarm_after_two_samples_and_gives_no_number


def test_a_number_beside_the_open_flag_is_not_believed(rig: Rig) -> None:
    rig.ready()
    rig.waits(30.0, lambda: rig.sample(METAL_C, flags=int(SampleFlag.OPEN)))
    rig.no_number(Reason.SENSOR_OPEN)
    rig.no_call()


def test_one_open_sample_raises_nothing(rig: Rig) -> None:
    rig.ready()
    rig.t_s += rig.T_S
    rig.sample(None, flags=int(SampleFlag.OPEN))
    rig.waits(70.0, lambda: rig.sample(METAL_C))
    rig.silent()


def test_a_contact_that_is_back_shows_its_figure_as_not_proven_and_counts_again_when_it_was_quiet(rig: Rig) -> None:
    rig.ready()
    rig.waits(5.0, lambda: rig.sample(None, flags=int(SampleFlag.OPEN)))
    rig.waits(10.0, lambda: rig.sample(METAL_C))
    last = rig.engine.channels[0].last
    assert last is not None
    assert (last.reason, last.temp_c) == (Reason.UNPROVEN, METAL_C)
    rig.no_call()
    shown = [alarm.id for alarm in rig.alarms().values() if alarm.active and not alarm.suppressed_by]
    assert shown == ["intermittent:metal"]
    rig.waits(40.0, lambda: rig.sample(METAL_C))
    assert not [alarm for alarm in rig.alarms().values() if alarm.active]
    assert rig.up(CallKind.POUR)


def test_the_same_run_with_a_whole_couple_raises_nothing(rig: Rig) -> None:
    story(rig, broken=False)
    rig.silent()
