"""The page of one pour: what it was made up of adds up as it is shown."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pourcall.cli.pours.pour_show import lip_table
from pourcall.contract.units import Unit
from pourcall.records.read.views import LipPart, LipStep

CHANGES = st.lists(st.floats(-40.0, 5.0), min_size=1, max_size=6)
STEPS = (LipStep.WALK, LipStep.LADLE, LipStep.STREAM, LipStep.WAITING, LipStep.REST)


def figures(lines: list[str]) -> list[float]:
    """The column of figures: the first level, each change with its sign, the level at the lip."""
    found = [re.search(r"([+-]?) ?(\d+\.\d) (?:°[CF]|K)", line) for line in lines]
    return [float(f"{one[1]}{one[2]}") for one in found if one is not None]


@pytest.mark.parametrize("unit", Unit)
@given(pot_c=st.floats(380.0, 1200.0), changes_c=CHANGES, off_c=st.floats(-0.06, 0.06))
def test_the_parts_of_a_lip_temperature_add_up_as_they_are_shown(
    unit: Unit, pot_c: float, changes_c: list[float], off_c: float
) -> None:
    """off_c: what lip_budget.py leaves without a part of its own."""
    parts = [LipPart(what=LipStep.POT, text="", temp_c=pot_c)]
    parts += [LipPart(what=STEPS[at % 5], text="", change_c=change_c) for at, change_c in enumerate(changes_c)]
    parts.append(LipPart(what=LipStep.LIP, text="", temp_c=pot_c + sum(changes_c) + off_c))
    first, *changes, last = figures(lip_table(tuple(parts), unit))
    assert first + sum(changes) == pytest.approx(last, abs=1e-6)
    assert len(changes) == len(changes_c)
    for shown, change_c in zip(changes, changes_c, strict=True):  # and none is off by more than its rounding
        degree = 1.8 if unit is Unit.F else 1.0
        assert shown == pytest.approx(change_c * degree, abs=0.1 + 0.06 * degree + 1e-6)
