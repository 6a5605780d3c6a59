"""Fault T8: a second probe in the same bath drifts away. 60 s beyond tolerance `disagree` (3), the higher is used.

Beyond twice the tolerance it is severe (2), and no pour is called on either. Tolerance: 15 degC, which a bath may
differ by (common practice, no source), beside what both probes are known to.
"""

import random
from collections.abc import Callable

from pourcall.contract.config import ProbeConfig
from pourcall.contract.events import CallKind, Priority
from pourcall.contract.inputs import SetProbeState
from pourcall.contract.reading import Place, ProbeState
from pourcall.contract.status import Reason
from tests.faults.conftest import METAL_C, Rig

DETECTOR = "disagree"
SECOND = ProbeConfig(
    name="second", board="bench", channel="1", place=Place.MELT, sheath="thin", wire_class="iec_1", rating_c=1200.0
)


def two(rig: Rig | None = None) -> Rig:
    """Two probes that agree, a pour called; a rig that is given gets its second probe by being made anew."""
    rig = Rig(probes=(SECOND,)) if rig is None else type(rig)(probes=(SECOND,))
    rig.ready()
    rig.do(SetProbeState(probe="second", state=ProbeState.IN_METAL))
    stands(rig, 60.0, lambda _: 0.0)
    assert rig.up(CallKind.POUR)
    assert not rig.alarms()
    rig.breaks()
    return rig


def both(rig: Rig, noise: random.Random, off_c: float) -> None:
    rig.sample(METAL_C + noise.gauss(0.0, 0.1))
    rig.sample(METAL_C + off_c + noise.gauss(0.0, 0.1), channel="1")


def stands(rig: Rig, lasts_s: float, off_c: Callable[[float], float]) -> None:
    """The first stands, the second lies off it by so much."""
    noise, began_s = random.Random(rig.t_s), rig.t_s
    rig.waits(lasts_s, lambda: both(rig, noise, off_c(rig.t_s - began_s)))


def test_a_probe_that_drifts_from_the_other_is_an_alarm_and_the_higher_is_used(rig: Rig) -> None:
    rig = two(rig)
    stands(rig, 300.0, lambda since_s: max(-28.0, -0.5 * since_s))  # beyond 15 degC and both U after about 40 s
    rig.one_alarm("disagree", Priority.WARNING, 60.0 + 50.0, subject="small")
    assert rig.engine.metal.temp_c is not None
    assert abs(rig.engine.metal.temp_c - METAL_C) < 1.0, "the second reads lower"
    assert rig.engine.metal.reason is Reason.DISAGREE
    assert rig.up(CallKind.POUR)


MAIN = test_a_probe_that_drifts_from_the_other_is_an_alarm_and_the_higher_is_used


def test_of_two_that_disagree_the_higher_is_used_whichever_comes_first() -> None:
    rig = two()
    stands(rig, 300.0, lambda since_s: min(28.0, 0.5 * since_s))
    assert rig.engine.metal.temp_c is not None
    assert abs(rig.engine.metal.temp_c - METAL_C - 28.0) < 1.0
    assert rig.engine.metal.probe == "second"


def test_beyond_twice_the_tolerance_it_is_severe_and_no_pour_is_called() -> None:
    rig = two()
    stands(rig, 400.0, lambda since_s: max(-70.0, -0.5 * since_s))
    (alarm,) = [alarm for alarm in rig.alarms().values() if alarm.active]
    assert (alarm.id, alarm.priority) == ("disagree:small", Priority.ALARM)
    assert rig.up(CallKind.POUR) is None


def test_what_a_bath_may_differ_by_and_a_short_chill_of_one_tip_raise_nothing() -> None:
    rig = two()
    stands(rig, 300.0, lambda _: -14.0)
    assert not rig.alarms()
    stands(rig, 40.0, lambda since_s: -14.0 - 30.0 * min(1.0, since_s / 20.0))
    stands(rig, 120.0, lambda since_s: -44.0 + 44.0 * min(1.0, since_s / 20.0))
    assert not rig.alarms()
    assert rig.up(CallKind.POUR)


def test_once_they_agree_again_the_alarm_goes_and_the_first_is_used() -> None:
    rig = two()
    stands(rig, 200.0, lambda since_s: max(-28.0, -0.5 * since_s))
    stands(rig, 120.0, lambda since_s: min(0.0, -28.0 + 0.5 * since_s))
    assert not [alarm for alarm in rig.alarms().values() if alarm.active]
    assert rig.engine.metal.reason is Reason.OK
