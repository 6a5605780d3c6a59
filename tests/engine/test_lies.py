"""Couples that fail and say what is not so: no pour is called on them, no metal said to be ready.

The kinds and their sources stand in `tests/lies.py`. Seeds from 100 on had no part in choosing the thresholds.
"""

from collections.abc import Iterator

import pytest

from pourcall.contract.inputs import PowerLevel
from tests.lies import ONSETS, alloys, before_c, followed, invented, rests_c, stretched, window_mid_c

SHEATHS = ("thin", "mineral_3mm", "mineral_6mm")
POWERS = (None, PowerLevel.HIGH, PowerLevel.OFF)
READS_UP_TO_C = 1300.0  # metal hotter than that before the onset no couple of this type reads
Case = tuple[str, str, float, float, float, float, str]


def real_cases() -> Iterator[Case]:
    """Trace, couple, the level where it rests, stretch, seconds lost at the onset, off the window's middle, alloy."""
    for (name, couple), by, gap_s in (
        (where, by, gap_s) for where in ONSETS for by in (0.3, 0.5, 1.0, 2.0) for gap_s in (0.0, 20.0, 86.0, 300.0)
    ):
        for rest_c in rests_c(name, couple):
            for off_c in (-8.0, 0.0, 8.0):
                for alloy in alloys():
                    if before_c(name, couple, rest_c=rest_c, to_c=window_mid_c(alloy) + off_c) <= READS_UP_TO_C:
                        yield name, couple, rest_c, by, gap_s, off_c, alloy


CASES = list(real_cases())


def check_real(number: int) -> None:
    name, couple, rest_c, by, gap_s, off_c, alloy = CASES[number]
    every_s = (2.0 if number % 2 else 5.0) if by < 1.0 else 5.0
    to_c = window_mid_c(alloy) + off_c
    lie = stretched(name, couple, by=by, rest_c=rest_c, to_c=to_c, every_s=every_s, gap_s=gap_s, lead_s=900.0)
    sheath, power = SHEATHS[number % 3], POWERS[number // 3 % 3]
    found = followed(lie, alloy, sheath=sheath, power=power, tick_s=60.0)  # a pour is judged at each sample
    assert not found.believed, (lie.name, alloy, sheath, power, found.calls_s, found.ready_s, found.raised)


@pytest.mark.parametrize("number", range(101, len(CASES), len(CASES) // 8))
def test_a_damaged_couple_of_a_real_fire_test_calls_no_pour_in_an_alloy_and_makes_nothing_ready(number: int) -> None:
    check_real(number)


@pytest.mark.parametrize("seed", [100, 104, 107])
@pytest.mark.parametrize("kind", ["return", "nonsense", "flicker"])
def test_a_couple_that_was_lost_and_came_back_elsewhere_calls_no_pour_and_makes_nothing_ready(
    kind: str, seed: int
) -> None:
    keys = [key for key in alloys() if window_mid_c(key) <= READS_UP_TO_C]
    alloy = keys[(seed * 7 + 3) % len(keys)]
    lie = invented(kind, seed, alloy, every_s=(1.0, 2.0, 5.0)[seed % 3])
    power = (None, PowerLevel.HIGH, PowerLevel.OFF)[seed // 3 % 3]
    sheath = ("thin", "mineral_3mm", "mineral_6mm")[seed % 3]
    found = followed(lie, alloy, sheath=sheath, power=power, tick_s=5.0, allowed_c=15.0)
    assert not found.believed, (lie.name, found)
    assert {"intermittent", "implausible", "unexplained"} & found.standing, found
    assert len(found.raised) <= 3, found  # one alarm for what comes and goes, not one each time
