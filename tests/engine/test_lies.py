"""Couples that fail and say what is not so: no pour is called on them, no metal said to be ready.

The kinds and their sources stand in `tests/lies.py`. Seeds from 100 on had no part in choosing the thresholds.
"""

import pytest

from pourcall.contract.inputs import PowerLevel
from tests.lies import READS_UP_TO_C, alloys, followed, invented, real_copy, spread, window_mid_c


def check_real(number: int) -> None:
    lie, alloy, sheath, power = real_copy(number)
    found = followed(lie, alloy, sheath=sheath, power=power, tick_s=60.0)  # a pour is judged at each sample
    assert not found.believed, (lie.name, alloy, sheath, power, found.calls_s, found.ready_s, found.raised)


@pytest.mark.parametrize("number", spread(8, 101))
def test_a_damaged_couple_of_a_real_fire_test_calls_no_pour_in_an_alloy_and_makes_nothing_ready(number: int) -> None:
    check_real(number)


@pytest.mark.long
@pytest.mark.parametrize("number", spread(120, 57))
def test_none_of_many_copies_of_damaged_couples_is_believed(number: int) -> None:
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
