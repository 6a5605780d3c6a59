"""No printed figure lies on the wrong side of a printed limit, in any alloy, in any unit."""

import msgspec
import pytest

from pourcall.contract.message import tell
from pourcall.contract.plan import tap_window_c
from pourcall.contract.units import SAME, Unit, format_highest, format_lowest, format_temperature, from_c, in_unit
from pourcall.metal.alloys.sheet import load_sheets
from pourcall.metal.heat.transfer import Pot
from pourcall.planning.job import JobMould
from pourcall.planning.plan_text import window_lines
from pourcall.planning.planner import PlanRequest, PourPlan, make_plan
from pourcall.texts import say, written
from tests.told import name_of, number

LIBRARY = load_sheets()


def shown(text: str) -> float:
    return float(text.split()[0])


def plans(key: str) -> list[PourPlan]:
    sheet = LIBRARY.get(key)
    made = []
    for loss_c in (7.0, 13.4, 21.7, 38.6):
        for mm in (2.7, 6.0, 19.0):
            mould = JobMould(name="plate", mass_kg=0.5, thinnest_mm=mm)
            request = PlanRequest(moulds=(mould,), pot=Pot(), charge_kg=1.0, loss_c=loss_c, probe_rating_c=1100.3)
            made.append(make_plan(sheet, request))
    return made


@pytest.mark.parametrize("unit", list(Unit))
@pytest.mark.parametrize("key", LIBRARY.keys())
def test_the_aim_and_the_window_are_printed_inside_the_limits(key: str, unit: Unit) -> None:
    for plan in plans(key):
        limits = [shown(format_highest(limit.limit_c, unit)) for limit in plan.melt.limits]
        mould = plan.melt.moulds[0]
        low_c, high_c = tap_window_c(mould, plan.melt)
        if high_c - low_c < 1.0:
            assert plan.conflicts
            continue
        (pot, lip, _) = window_lines(
            mould,
            plan,
        )
        pot_low, pot_high = shown(format_lowest(low_c, unit)), shown(format_highest(high_c, unit))
        assert f"{pot_low:.0f}" in say(pot, unit)
        assert f"{pot_high:.0f}" in say(pot, unit)
        aim = shown(format_temperature(plan.aim_c, unit))
        assert pot_low <= aim <= pot_high <= min(limits)
        assert pot_low >= from_c(low_c, unit) - SAME
        assert pot_high <= from_c(high_c, unit) + SAME
        liquid = shown(format_temperature(plan.melt.alloy.liquidus_c, unit))
        assert name_of(lip) == "plan.mould.lip"
        lip_low = shown(format_lowest(number(lip, "lowest_c"), unit))
        assert f"{lip_low:.0f}" in say(lip, unit)
        assert liquid < lip_low <= pot_low


def test_a_lowest_is_rounded_up_and_a_highest_down_but_a_figure_of_a_handbook_stays_itself() -> None:
    assert (format_lowest(547.4), format_highest(547.6)) == ("548 °C", "547 °C")
    assert (format_lowest(547.0), format_highest(547.0)) == ("547 °C", "547 °C")
    assert (format_lowest(1093.33, Unit.F), format_highest(1093.33, Unit.F)) == ("2000 °F", "2000 °F")
    assert (format_lowest(-10.5), format_highest(-10.5)) == ("-10 °C", "-11 °C")
    assert format_highest(float("nan")) == "-- °C"


@pytest.mark.parametrize("unit", list(Unit))
def test_a_limit_in_the_record_is_read_back_as_it_was_said(unit: Unit) -> None:
    told = tell("plan.mould.pot", lowest_c=546.53, highest_c=579.71)
    assert in_unit(written(told), unit) == say(told, unit)


def test_where_no_window_is_left_no_lift_between_a_higher_and_a_lower_figure_is_printed() -> None:
    mould = JobMould(name="plate", mass_kg=0.5, thinnest_mm=3.0)
    brass = LIBRARY.get("c85700")
    far = make_plan(brass, PlanRequest(moulds=(mould,), pot=Pot(), charge_kg=1.0, loss_c=180.0))
    assert far.profile[-1].name == "plan.step.no_window"
    assert window_lines(far.melt.moulds[0], far)[1].name == "plan.mould.lip_wanted"  # type: ignore[union-attr]
    least_c = brass.pour_min.value
    hardly = msgspec.structs.replace(mould, lip_min_c=least_c, lip_max_c=least_c + 30.0)
    reach_c = far.melt.aim_limit.aim_limit_c - least_c - 0.4
    plan = make_plan(brass, PlanRequest(moulds=(hardly,), pot=Pot(), charge_kg=1.0, loss_c=reach_c))
    assert plan.conflicts == ()
    assert plan.profile[-1].name == "plan.step.lift_at"
    assert window_lines(plan.melt.moulds[0], plan)[1].name == "plan.mould.lip_hardly"  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("second", "name"), [((535.0, 560.0), "plan.step.lift"), ((560.0, 575.0), "plan.step.lift_for")]
)
def test_one_lift_for_two_moulds_is_planned_between_limits_that_suit_them_both(
    second: tuple[float, float], name: str
) -> None:
    moulds = tuple(
        JobMould(name=mould, mass_kg=0.4, thinnest_mm=6.0, lip_min_c=low_c, lip_max_c=high_c)
        for mould, (low_c, high_c) in (("cleat", (530.0, 545.0)), ("fairlead", second))
    )
    plan = make_plan(LIBRARY.get("za27"), PlanRequest(moulds=moulds, pot=Pot(), charge_kg=1.0, loss_c=20.0))
    step = plan.profile[-1]
    windows = [tap_window_c(mould, plan.melt) for mould in plan.melt.moulds]
    assert step.name == name
    if name == "plan.step.lift":
        assert step.facts["lowest_c"] == max(low_c for low_c, _ in windows)
        assert step.facts["highest_c"] == min(high_c for _, high_c in windows)
    else:
        assert (step.facts["mould"], step.facts["lowest_c"], step.facts["highest_c"]) == ("cleat", *windows[0])
