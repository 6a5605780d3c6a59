"""Couples that fail and say what is not so: no pour is called on them, no metal said to be ready.

The kinds and their sources stand in `tests/lies.py`. Seeds from 100 on had no part in choosing the thresholds.
"""

import pytest

from pourcall.contract.inputs import PowerLevel
from tests.lies import alloys, followed, invented


@pytest.mark.parametrize("seed", [100, 104, 107])
@pytest.mark.parametrize("kind", ["return", "nonsense", "flicker"])
def test_a_couple_that_was_lost_and_came_back_elsewhere_calls_no_pour_and_makes_nothing_ready(
    kind: str, seed: int
) -> None:
    keys = alloys()
    alloy = keys[(seed * 7 + 3) % len(keys)]
    lie = invented(kind, seed, alloy, every_s=(1.0, 2.0, 5.0)[seed % 3])
    power = (None, PowerLevel.HIGH, PowerLevel.OFF)[seed // 3 % 3]
    sheath = ("thin", "mineral_3mm", "mineral_6mm")[seed % 3]
    found = followed(lie, alloy, sheath=sheath, power=power, tick_s=5.0, allowed_c=15.0)
    assert not found.believed, (lie.name, found)
    assert {"intermittent", "implausible"} & found.standing, found
