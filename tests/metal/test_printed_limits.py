"""No printed figure lies on the wrong side of a printed limit, in any alloy, in any unit."""

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pourcall.contract.message import NOTHING, tell
from pourcall.contract.plan import planned_reading_u_c, tap_window_c
from pourcall.contract.units import (
    SAME,
    Unit,
    format_highest,
    format_lowest,
    format_temperature,
    format_window,
    from_c,
    in_unit,
    window_ends,
)
from pourcall.engine.melt.melt_run import MeltRun
from pourcall.engine.melt.pour_call import judge_pour
from pourcall.metal.alloys.sheet import load_sheets
from pourcall.metal.heat.transfer import Carry, Pot
from pourcall.planning.job import JobMould
from pourcall.planning.plan_text import pot_lines, render_text, window_lines
from pourcall.planning.planner import PlanRequest, PourPlan, make_plan
from pourcall.texts import say, written
from tests.metal.planned import aim_of
from tests.told import name_of, number, parts

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
        pot, lip, *_ = window_lines(mould, plan)
        pot_low, pot_high = shown(format_lowest(low_c, unit)), shown(format_highest(high_c, unit))
        assert f"{pot_low:.0f}" in say(pot, unit)
        assert f"{pot_high:.0f}" in say(pot, unit)
        aim = shown(format_temperature(aim_of(plan), unit))
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
@pytest.mark.parametrize("key", ["c26000", "c85700", "c86500", "za27", "a356"])
def test_one_limit_is_printed_as_one_figure_wherever_the_plan_says_it(key: str, unit: Unit) -> None:
    sheet = LIBRARY.get(key)
    for loss_c in (20.0, 250.0):
        mould = JobMould(name="plate", mass_kg=0.5, thinnest_mm=6.0)
        plan = make_plan(sheet, PlanRequest(moulds=(mould,), pot=Pot(), charge_kg=1.0, loss_c=loss_c))
        told = " ".join(render_text(plan, unit).split())
        for limit in plan.melt.limits:
            for exact_c in (limit.limit_c, limit.aim_limit_c):
                other = format_temperature(exact_c, unit)
                if other != format_highest(exact_c, unit):
                    assert other not in told, (other, limit.whose)


def test_a_window_is_printed_by_one_function_and_never_the_higher_figure_first() -> None:
    assert window_ends(547.4, 579.6) == ("548", "579")
    assert window_ends(547.2, 547.8) == ("548", "548")
    assert format_window(547.2, 547.8) == "548 °C"
    assert format_window(1000.0, 1093.33, Unit.F, " - ") == "1832 °F - 2000 °F"
    assert window_ends(float("nan"), 547.0)[0] == "--"


@given(low_c=st.floats(0.0, 1500.0), width_c=st.floats(0.0, 200.0), unit=st.sampled_from(Unit))
def test_whatever_window_is_printed_its_figures_stand_in_order_and_inside_it(
    low_c: float, width_c: float, unit: Unit
) -> None:
    low, high = (float(end) for end in window_ends(low_c, low_c + width_c, unit))
    assert low <= high
    if low < high:
        assert from_c(low_c, unit) - SAME <= low
        assert high <= from_c(low_c + width_c, unit) + SAME


@pytest.mark.parametrize("unit", list(Unit))
def test_a_limit_in_the_record_is_read_back_as_it_was_said(unit: Unit) -> None:
    told = tell("plan.mould.pot", lowest_c=546.53, highest_c=579.71)
    assert in_unit(written(told), unit) == say(told, unit)


def test_where_no_window_is_left_no_lift_between_a_higher_and_a_lower_figure_is_printed() -> None:
    mould = JobMould(name="plate", mass_kg=0.5, thinnest_mm=3.0)
    brass = LIBRARY.get("c85700")
    far = make_plan(brass, PlanRequest(moulds=(mould,), pot=Pot(), charge_kg=1.0, loss_c=180.0))
    assert far.profile[-1].name == "plan.step.no_aim"
    assert window_lines(far.melt.moulds[0], far)[1].name == "plan.mould.lip_wanted"  # type: ignore[union-attr]
    least_c = brass.pour_min.value
    hardly = msgspec.structs.replace(mould, lip_min_c=least_c, lip_max_c=least_c + 30.0)
    reach_c = far.melt.aim_limit.aim_limit_c - least_c - 0.4
    plan = make_plan(brass, PlanRequest(moulds=(hardly,), pot=Pot(), charge_kg=1.0, loss_c=reach_c))
    assert plan.conflicts == ()
    assert plan.profile[-1].name == "plan.step.lift_at"
    assert window_lines(plan.melt.moulds[0], plan)[1].name == "plan.mould.lip_hardly"  # type: ignore[union-attr]


def two_moulds(second: tuple[float, float], loss_c: float | None = 12.0) -> PourPlan:
    """A cleat and, after it, a fairlead of another window, carried 20 s and 15 s more for the second."""
    moulds = tuple(
        JobMould(name=mould, mass_kg=0.4, thinnest_mm=6.0, lip_min_c=low_c, lip_max_c=high_c)
        for mould, (low_c, high_c) in (("cleat", (530.0, 560.0)), ("fairlead", second))
    )
    return make_plan(LIBRARY.get("za27"), PlanRequest(moulds=moulds, pot=Pot(), charge_kg=1.0, loss_c=loss_c))


def arrive_c(plan: PourPlan, pot_c: float) -> list[float]:
    """What the engine reckons to arrive in each mould in its turn, of a pot that was lifted at `pot_c`."""
    carry, run = Carry(), MeltRun(plan.melt, 0.0)
    times_s = [carry.walk_s + order * carry.between_s for order in range(len(plan.melt.moulds))]
    return [run.lip_at(m, pot_c, 0.0, 0.0, at_s)[0] for m, at_s in zip(plan.melt.moulds, times_s, strict=True)]


@pytest.mark.parametrize("loss_c", [12.0, None])
@pytest.mark.parametrize("second", [(535.0, 560.0), (530.0, 545.0), (530.0, 560.0)])
def test_one_lift_for_two_moulds_is_planned_between_limits_that_suit_them_both_in_their_turn(
    second: tuple[float, float], loss_c: float | None
) -> None:
    plan = two_moulds(second, loss_c)
    step = plan.profile[-1]
    assert step.name == "plan.step.lift"
    assert plan.no_one_lift == NOTHING
    low_c, high_c = number(step, "lowest_c"), number(step, "highest_c")
    spare = [
        (min(one - mould.lip_min_c for one, mould in zip(arrive_c(plan, low_c), plan.melt.moulds, strict=True))),
        (min(mould.lip_max_c - one for one, mould in zip(arrive_c(plan, high_c), plan.melt.moulds, strict=True))),
    ]
    assert spare == pytest.approx([0.0, 0.0], abs=0.05)  # neither end is beyond a mould's, nor short of it
    aim_c = aim_of(plan)
    assert low_c < aim_c <= 0.5 * (low_c + high_c) + 1e-6  # the middle, or below it, where the first is called
    assert judge_pour(aim_c, planned_reading_u_c(aim_c), plan.melt.moulds[0], plan.melt, number=1).pour


def test_a_second_mould_that_waits_asks_for_a_hotter_pot_than_the_first_alone() -> None:
    alone = make_plan(
        LIBRARY.get("za27"),
        PlanRequest(
            moulds=(JobMould(name="cleat", mass_kg=0.4, lip_min_c=530.0, lip_max_c=560.0),), charge_kg=1.0, loss_c=12.0
        ),
    )
    both = two_moulds((530.0, 560.0))
    assert aim_of(alone) == pytest.approx(557.0)
    assert aim_of(both) > aim_of(alone) + 3.0


def test_where_no_one_temperature_serves_every_mould_the_plan_says_so_and_what_each_wants() -> None:
    plan = two_moulds((557.0, 575.0))
    step = plan.profile[-1]
    first = plan.melt.moulds[0]
    window = tap_window_c(first, plan.melt)
    assert (step.name, step.facts["mould"]) == ("plan.step.lift_for", "cleat")
    assert (number(step, "lowest_c"), number(step, "highest_c")) == pytest.approx(window)
    assert aim_of(plan) == pytest.approx(0.5 * sum(window))
    wants = parts(plan.no_one_lift, "parts")
    assert [one.facts["mould"] for one in wants] == ["cleat", "fairlead"]
    assert number(wants[1], "lowest_c") > number(wants[0], "highest_c")
    assert plan.no_one_lift in pot_lines(plan)
