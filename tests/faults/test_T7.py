"""Fault T7: a step in the metal faster than 30 degC/s. Two samples: implausible, priority 2; not while it moves."""

import math

from pourcall.contract.events import AlarmChanged, CallKind, Priority
from pourcall.contract.inputs import AckAlarm
from pourcall.contract.status import Reason
from tests.faults.conftest import METAL_C, Rig

DETECTOR = "implausible"
BIAS_C = 80.0


def story(rig: Rig, bias_c: float) -> None:
    rig.ready()
    rig.waits(30.0, lambda: rig.sample(METAL_C + bias_c))


def test_a_step_up_in_the_metal_is_one_alarm_after_two_samples_and_gives_no_number(rig: Rig) -> None:
    story(rig, BIAS_C)
    rig.one_alarm("implausible", Priority.ALARM, 2 * rig.T_S)
    rig.no_number(Reason.IMPLAUSIBLE)
    rig.no_call()
    assert all(reading.raw_value == METAL_C + BIAS_C for reading in rig.since(rig.broken_s))


MAIN = test_a_step_up_in_the_metal_is_one_alarm_after_two_samples_and_gives_no_number


def test_it_is_not_believed_again_until_a_person_has_looked(rig: Rig) -> None:
    story(rig, BIAS_C)
    rig.waits(120.0, lambda: rig.sample(METAL_C))
    rig.no_call()
    rig.do(AckAlarm(alarm="implausible:metal"))
    rig.waits(70.0, lambda: rig.sample(METAL_C))
    assert not [alarm for alarm in rig.alarms().values() if alarm.active]
    assert rig.engine.metal.temp_c is not None


def test_entering_and_leaving_move_as_fast_and_raise_nothing(rig: Rig) -> None:
    rig.ready()
    started_s = rig.t_s
    rig.waits(8.0, lambda: rig.sample(60.0 + 510.0 * math.exp(-(rig.t_s - started_s) / 2.0)))
    cold_c, back_s = 60.0 + 510.0 * math.exp(-4.0), rig.t_s
    rig.waits(30.0, lambda: rig.sample(METAL_C - (METAL_C - cold_c) * math.exp(-(rig.t_s - back_s) / 1.0)))
    assert not [out for out in rig.outs if isinstance(out, AlarmChanged)]
    assert rig.up(CallKind.POUR)


def test_the_same_run_without_a_step_raises_nothing(rig: Rig) -> None:
    story(rig, 0.0)
    rig.silent()
