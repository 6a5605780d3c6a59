"""Fault A4: a cold junction is frozen, or over 8 degC from those beside it. Within 10 min `cold_junction` (3)."""

import math
from collections.abc import Callable

import pytest

from pourcall.contract.config import ProbeConfig
from pourcall.contract.events import CallKind, Priority
from pourcall.contract.frames import RawKind, Sample
from pourcall.contract.inputs import SampleIn
from pourcall.contract.reading import Place
from pourcall.engine.sensing.cold_junctions import odd_ones
from tests.faults.conftest import METAL_C, Rig

DETECTOR = "cold_junction"
BESIDE = ProbeConfig(name="chamber", board="bench", channel="1", place=Place.CHAMBER, rating_c=1200.0)


def room_c(rig: Rig) -> float:
    """Terminals in a shop: they wander by a degree, in steps of a chip (MAX31855: 1/16 degC)."""
    return round((25.0 + math.sin(rig.t_s / 200.0)) * 16.0) / 16.0


def sends(rig: Rig, cold_c: Callable[[], float], beside_c: Callable[[], float] | None = None) -> None:
    rig.put(SampleIn, board="bench", sample=Sample("0", RawKind.ITS90_C, METAL_C + 0.1 * (rig.seq % 3), cold_c()))
    if beside_c is not None:
        rig.put(SampleIn, board="bench", sample=Sample("1", RawKind.ITS90_C, 700.0 + 0.1 * (rig.seq % 5), beside_c()))


def story(rig: Rig, *, frozen: bool, lasts_s: float = 640.0) -> None:
    rig.ready()
    rig.waits(300.0, lambda: sends(rig, lambda: room_c(rig)), step_s=1.0)
    rig.breaks()
    stays_c = room_c(rig)
    rig.waits(lasts_s, lambda: sends(rig, lambda: stays_c if frozen else room_c(rig)), step_s=1.0)


def test_a_cold_junction_that_moved_and_stands_still_is_one_warning_within_ten_minutes(rig: Rig) -> None:
    story(rig, frozen=True)
    rig.one_alarm("cold_junction", Priority.WARNING, 600.0 + 5.0)
    assert rig.up(CallKind.POUR)


MAIN = test_a_cold_junction_that_moved_and_stands_still_is_one_warning_within_ten_minutes


def test_one_that_wanders_raises_nothing(rig: Rig) -> None:
    story(rig, frozen=False)
    rig.silent()


def test_a_constant_of_a_file_raises_nothing(rig: Rig) -> None:
    rig.ready()
    rig.waits(700.0, lambda: sends(rig, lambda: 25.0), step_s=1.0)
    rig.silent()


@pytest.mark.parametrize("off_c", [9.0, -9.0])
def test_of_two_terminals_far_apart_both_are_named_in_ten_minutes_for_none_can_tell_which(off_c: float) -> None:
    rig = Rig(probes=(BESIDE,))
    rig.ready()
    rig.waits(610.0, lambda: sends(rig, lambda: room_c(rig), lambda: room_c(rig) + off_c), step_s=1.0)
    alarms = rig.alarms().values()
    assert {(alarm.id, alarm.priority) for alarm in alarms} == {
        ("cold_junction:metal", Priority.WARNING),
        ("cold_junction:chamber", Priority.WARNING),
    }
    assert all(590.0 <= alarm.raised_mono_s - rig.broken_s <= 605.0 for alarm in alarms)


def test_of_three_terminals_the_one_apart_is_named() -> None:
    assert odd_ones({"one": 25.0, "two": 26.0, "three": 12.0}) == {"three": (12.0, 25.0)}


def test_terminals_some_degrees_from_those_beside_them_raise_nothing() -> None:
    rig = Rig(probes=(BESIDE,))
    rig.ready()
    rig.waits(700.0, lambda: sends(rig, lambda: room_c(rig), lambda: room_c(rig) + 5.0), step_s=1.0)
    rig.silent()
