"""Fault T4: the couple's wires are swapped, so that it reads colder as it heats. One alarm within 60 s, no number.

By the reference functions: with its terminals at 25 degC a type K couple at T gives the emf of 25 degC less that of T,
so that it reads as far below 25 as the tip is above (ITS-90 functions through `to_temperature`).
"""

import pytest

from pourcall.contract.events import CallKind, Priority
from pourcall.contract.frames import RawKind, Sample
from pourcall.contract.inputs import AckAlarm, SampleIn
from pourcall.contract.status import Reason
from pourcall.thermometry.thermocouple import emf_uv
from tests.faults.conftest import Rig

DETECTOR = "reversed_sensor"
TERMINALS_C = 25.0


def couple(rig: Rig, tip_c: float, *, swapped: bool, terminals_c: float = TERMINALS_C) -> None:
    seen_uv = emf_uv("K", tip_c) - emf_uv("K", terminals_c)
    sample = Sample("0", RawKind.EMF_UV, -seen_uv if swapped else seen_uv, terminals_c, 0)
    rig.put(SampleIn, board="bench", sample=sample)


def story(rig: Rig, *, swapped: bool, rate_c_per_s: float = 1.0, lasts_s: float = 120.0) -> None:
    """A cold start at full power, about as fast as metal is heated."""
    rig.put_link_opened()
    rig.start()
    rig.breaks()
    rig.waits(
        lasts_s, lambda: couple(rig, TERMINALS_C + rate_c_per_s * (rig.t_s - rig.broken_s), swapped=swapped), step_s=0.5
    )


def test_swapped_wires_are_one_alarm_within_a_minute_and_give_no_number(rig: Rig) -> None:
    story(rig, swapped=True)
    rig.one_alarm("reversed_sensor", Priority.ALARM, 60.0)
    rig.no_number(Reason.IMPLAUSIBLE)
    assert not rig.calls(CallKind.POUR, "raised")
    assert rig.engine.metal.temp_c is None


MAIN = test_swapped_wires_are_one_alarm_within_a_minute_and_give_no_number


def test_acknowledged_without_swapping_it_stays_without_a_number(rig: Rig) -> None:
    story(rig, swapped=True)
    rig.do(AckAlarm(alarm="reversed_sensor:metal"))
    rig.waits(120.0, lambda: couple(rig, 145.0, swapped=True))
    assert rig.engine.metal.temp_c is None
    rig.no_number(Reason.IMPLAUSIBLE)


def test_a_couple_the_right_way_round_raises_nothing(rig: Rig) -> None:
    story(rig, swapped=False)
    assert not rig.said_of("reversed_sensor")


@pytest.mark.parametrize(("tip_c", "terminals_c"), [(-9.0, 20.0), (5.0, 45.0), (-15.0, -15.0), (-20.0, 0.0)])
def test_a_cold_shop_beside_a_warm_board_raises_nothing(rig: Rig, tip_c: float, terminals_c: float) -> None:
    rig.put_link_opened()
    rig.start()
    rig.waits(120.0, lambda: couple(rig, tip_c, swapped=False, terminals_c=terminals_c))
    assert not rig.said_of("reversed_sensor")


def test_hotter_still_it_is_beyond_its_type_and_stays_one_alarm(rig: Rig) -> None:
    """Below -270 degC there is no emf of type K: then there is no figure at all, and the first alarm explains it."""
    story(rig, swapped=True, lasts_s=400.0)
    rig.one_alarm("reversed_sensor", Priority.ALARM, 60.0)
    rig.no_number(Reason.OVER_RANGE)
