"""One window, shown, said, drawn and printed: its ends are the same figures wherever a person meets them."""

import re

import pytest

from pourcall.contract.message import Message, tell
from pourcall.contract.plan import MouldPlan
from pourcall.contract.snapshot import WindowView
from pourcall.contract.units import Unit, format_temperature, from_c
from pourcall.reports.pages.compare_page import value_text
from pourcall.texts import say
from pourcall.trials.compare import ASPECTS
from pourcall.tui.drawing.scale import scale_rows
from pourcall.tui.drawing.styled import plain
from pourcall.tui.screen.words import window_words
from tests.engine.conftest import make_plan

LOW_C, HIGH_C = 546.3, 580.7  # 547 to 580 degC, 1016 to 1077 degF: the nearest would be 546, 581, 1015 and 1077
SHOWN = {Unit.C: ("547", "580"), Unit.F: ("1016", "1077"), Unit.K: ("820", "853")}

ENDS = {"low_c": LOW_C, "high_c": HIGH_C}
SENTENCES: list[Message] = [
    tell("call.pour.why", lip_c=560.0, lip_u_c=5.0, metal_c=575.0, loss_difference_c=15.0, **ENDS),
    tell("cli.pour.window", **ENDS),
    tell("melt_list.window", **ENDS),
    tell("plot.window_in_pot", mould="cleat", **ENDS),
    tell("sheet.wanted", **ENDS),
    tell("plan.mould.pot", lowest_c=LOW_C, highest_c=HIGH_C),
    tell("plan.mould.lip", lowest_c=LOW_C, highest_c=HIGH_C),
    tell("window.stated", lowest_c=LOW_C, highest_c=HIGH_C),
    tell(
        "replay.window",
        alloy="za27",
        mould="cleat",
        lip_low_c=LOW_C,
        lip_high_c=HIGH_C,
        pot_low_c=LOW_C,
        pot_high_c=HIGH_C,
    ),
]


def figures(text: str) -> set[str]:
    return set(re.findall(r"(?<![\d.])\d{3,4}(?![\d.])", text))


@pytest.mark.parametrize("unit", list(Unit))
@pytest.mark.parametrize("told", SENTENCES, ids=lambda told: told.name)
def test_a_window_that_is_said_is_rounded_inwards_at_both_ends(told: Message, unit: Unit) -> None:
    assert set(SHOWN[unit]) <= figures(say(told, unit))
    nearest = {format_temperature(one, unit).split()[0] for one in (LOW_C, HIGH_C)}
    assert not (nearest - set(SHOWN[unit])) & figures(say(told, unit))


@pytest.mark.parametrize("unit", list(Unit))
def test_the_scale_the_line_below_it_and_the_comparison_show_the_window_as_it_is_said(unit: Unit) -> None:
    mould = MouldPlan(name="cleat 1", lip_min_c=LOW_C - 15.0, lip_max_c=HIGH_C - 15.0, loss_c=15.0)
    window = WindowView(
        mould=mould.name,
        index=0,
        of=1,
        lip_min_c=LOW_C - 15.0,
        lip_max_c=HIGH_C - 15.0,
        tap_min_c=LOW_C,
        tap_max_c=HIGH_C,
        loss_c=15.0,
    )
    low, high = SHOWN[unit]
    scale = "\n".join(plain(row) for row in scale_rows(make_plan(), window, (), unit, 40, 24))
    assert {low, high} <= figures(scale)
    assert figures(window_words(LOW_C, HIGH_C, unit)) == {low, high}
    kinds = {aspect.name: aspect.kind for aspect in ASPECTS}
    assert value_text(LOW_C, kinds["window_low"], unit).startswith(low)
    assert value_text(HIGH_C, kinds["window_high"], unit).startswith(high)


@pytest.mark.parametrize("unit", list(Unit))
def test_a_window_is_never_shown_wider_than_it_is(unit: Unit) -> None:
    for tenth in range(100):
        low_c, high_c = 500.0 + 0.37 * tenth, 540.0 + 0.37 * tenth
        low, high = re.findall(r"\d+", window_words(low_c, high_c, unit))[:2]
        assert float(low) >= from_c(low_c, unit) - 0.021
        assert float(high) <= from_c(high_c, unit) + 0.021
