"""Fault A3: cold junction outside -10 to 60 degC. Three samples: cold_junction, priority 3; 2 above 85 degC."""

import pytest

from pourcall.contract.events import CallKind, Priority
from pourcall.contract.frames import RawKind, Sample, SampleFlag
from pourcall.contract.inputs import SampleIn
from pourcall.contract.status import Reason, Status
from tests.faults.conftest import METAL_C, Rig

DETECTOR = "cold_junction"


def send(rig: Rig, cold_c: float, flags: int = 0) -> None:
    rig.put(SampleIn, board="bench", sample=Sample("0", RawKind.ITS90_C, METAL_C, cold_c, flags))


def story(rig: Rig, cold_c: float, flags: int = 0) -> None:
    rig.ready()
    rig.waits(30.0, lambda: send(rig, cold_c, flags))


@pytest.mark.parametrize(
    ("cold_c", "priority"),
    [(60.5, Priority.WARNING), (84.5, Priority.WARNING), (-10.5, Priority.WARNING), (85.5, Priority.ALARM)],
)
def test_a_cold_junction_out_of_bounds_is_one_alarm_after_three_samples(
    rig: Rig, cold_c: float, priority: Priority
) -> None:
    story(rig, cold_c)
    rig.one_alarm("cold_junction", priority, 3 * rig.T_S)
    last = rig.engine.channels[0].last
    assert last is not None
    assert (last.reason, last.status, last.cold_junction_c) == (Reason.COLD_JUNCTION, Status.UNCERTAIN, cold_c)
    assert rig.up(CallKind.POUR) is None


def MAIN(rig: Rig) -> None:
    """For the meta-test: one of them."""
    test_a_cold_junction_out_of_bounds_is_one_alarm_after_three_samples(rig, 60.5, Priority.WARNING)


def test_the_boards_own_flag_says_the_same(rig: Rig) -> None:
    story(rig, 25.0, int(SampleFlag.COLD_JUNCTION))
    rig.one_alarm("cold_junction", Priority.WARNING, 3 * rig.T_S)


def test_it_grows_to_an_alarm_when_it_passes_85_and_is_heard_again(rig: Rig) -> None:
    story(rig, 70.0)
    rig.engine.alarms.ack("", rig.t_s, rig.t_s, "shop")
    rig.waits(5.0, lambda: send(rig, 90.0))
    alarm = rig.alarms()["cold_junction:metal"]
    assert alarm.priority is Priority.ALARM
    assert alarm.state.value == "unacked"


def test_two_samples_raise_nothing_and_it_clears_by_itself(rig: Rig) -> None:
    rig.ready()
    rig.waits(1.0, lambda: send(rig, 70.0))
    rig.waits(10.0, lambda: send(rig, 25.0))
    rig.silent()
    rig.waits(10.0, lambda: send(rig, 70.0))
    rig.waits(20.0, lambda: send(rig, 25.0))
    assert not [alarm for alarm in rig.alarms().values() if alarm.active]
    assert rig.up(CallKind.POUR)


@pytest.mark.parametrize("cold_c", [25.0, 60.0, -10.0])
def test_the_same_run_within_the_bounds_raises_nothing(rig: Rig, cold_c: float) -> None:
    story(rig, cold_c)
    rig.silent()
