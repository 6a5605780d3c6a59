"""A mould that no temperature of the pot serves: one typed state, the same on plan, page, drawing and profile."""

import msgspec
import pytest

from pourcall.contract.message import Message
from pourcall.contract.plan import NoAimCause, no_aim, tap_window_c
from pourcall.metal.alloys.sheet import load_sheets
from pourcall.metal.heat.transfer import Carry, Pot
from pourcall.planning.job import JobMould
from pourcall.planning.plan_text import aim_told, pot_lines, render_text, window_lines
from pourcall.planning.planner import PlanRequest, PourPlan, make_plan
from pourcall.reports.drawings.plan_plot import fume_svgs, scale_svg
from pourcall.reports.pages.plan_page import render_html
from tests.metal.planned import aim_of
from tests.told import name_of, names, said

LIBRARY = load_sheets()
PLATE = JobMould(name="plate", mass_kg=0.6, thinnest_mm=6.0)


def plan_of(key: str, *moulds: JobMould, **more: object) -> PourPlan:
    request = PlanRequest(moulds=moulds or (PLATE,), charge_kg=1.5)
    return make_plan(LIBRARY.get(key), msgspec.structs.replace(request, **more))


def wanting(lip_min_c: float, lip_max_c: float) -> JobMould:
    return msgspec.structs.replace(PLATE, lip_min_c=lip_min_c, lip_max_c=lip_max_c)


CASES = {
    "carried too far": ("c85700", (PLATE,), NoAimCause.LOSS, "boiling", "plan.conflict.no_safe_aim"),
    "wants boiling metal": (
        "c85700", (wanting(1070.0, 1090.0),), NoAimCause.BOILING, "boiling", "plan.conflict.boiling",
    ),
    "wants metal past the alloy's limit": (
        "za27", (wanting(700.0, 740.0),), NoAimCause.POT_LIMIT, "alloy", "plan.conflict.above_limit",
    ),
    "wants metal that is not liquid": (
        "za27", (wanting(470.0, 490.0),), NoAimCause.NOT_LIQUID, "alloy", "plan.conflict.not_liquid",
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES.values(), ids=CASES)
def test_where_no_temperature_of_the_pot_serves_nothing_is_aimed_for_anywhere(
    case: tuple[str, tuple[JobMould, ...], NoAimCause, str, str],
) -> None:
    key, moulds, cause, whose, conflict = case
    plan = plan_of(key, *moulds)
    (found,) = plan.no_aim
    assert found == no_aim(plan.melt.moulds[0], plan.melt)
    assert (found.cause, found.limit.whose) == (cause, whose)
    assert [told.name for told in plan.conflicts] == [conflict]
    assert plan.aim_c is None
    assert plan.boiling is None
    assert [step.name for step in plan.profile] == ["plan.step.no_aim"]
    low_c, high_c = tap_window_c(plan.melt.moulds[0], plan.melt)
    assert low_c > high_c
    assert name_of(pot_lines(plan)[0]) == "plan.pot.no_aim"
    shown = set().union(*(names(line) for line in window_lines(plan.melt.moulds[0], plan) if isinstance(line, Message)))
    assert not shown & {"plan.mould.pot", "plan.mould.lip", "plan.mould.hardly", "plan.mould.lip_hardly"}
    assert said("page.no_aim") in render_html(plan)
    assert said("plot.plan_pot", mould="plate") not in scale_svg(plan)
    assert not any(said("plot.fume_window") in svg for svg in fume_svgs(plan))
    assert plan.energy.useful_kwh > 0.0


def test_a_thin_section_lacks_less_loss_where_the_sheets_lowest_is_in_reach() -> None:
    thin = plan_of("c85700", msgspec.structs.replace(PLATE, thinnest_mm=3.0))
    (found,) = thin.no_aim
    assert found.lip_min_c > found.allowed_c > found.least_c == LIBRARY.get("c85700").pour_min.value
    assert found.cause is NoAimCause.LOSS
    assert found.needed_c == pytest.approx(found.least_c + thin.melt.moulds[0].loss_c)


def test_a_stated_window_wholly_out_of_reach_is_never_moved_to_where_a_pot_could_serve_it() -> None:
    above = plan_of("za27", wanting(700.0, 740.0)).melt.moulds[0]
    assert (above.lip_min_c, above.lip_max_c) == (700.0, 740.0)
    below = plan_of("za27", wanting(470.0, 490.0)).melt.moulds[0]
    assert below.lip_max_c == 490.0
    assert below.lip_min_c == LIBRARY.get("za27").liquidus.value + LIBRARY.get("za27").margin_c


def test_a_mould_that_no_pot_serves_does_not_take_the_aim_from_one_that_is_served() -> None:
    lost, served = wanting(700.0, 740.0), msgspec.structs.replace(PLATE, name="cleat")
    for moulds in ((lost, served), (served, lost)):
        plan = plan_of("za27", *moulds)
        mould = next(one for one in plan.melt.moulds if one.name == "cleat")
        low_c, high_c = tap_window_c(mould, plan.melt)
        assert low_c <= aim_of(plan) <= high_c
        assert [one.mould for one in plan.no_aim] == ["plate"]
        assert [told.name for told in plan.conflicts] == ["plan.conflict.above_limit"]
        assert plan.profile[-1].name == "plan.step.lift"
        assert name_of(aim_told(plan)) == "plan.pot.aim"


def test_less_loss_on_the_way_makes_the_same_brass_mould_one_that_can_be_aimed_for() -> None:
    thick = msgspec.structs.replace(PLATE, thinnest_mm=19.0)
    far = plan_of("c85700", thick, carry=Carry(walk_s=40.0))
    near = plan_of("c85700", thick, carry=Carry(walk_s=6.0), pot=Pot(lid=True), charge_kg=2.5)
    assert (far.aim_c, near.no_aim) == (None, ())
    assert aim_of(near) <= near.melt.aim_limit.aim_limit_c
    assert said("plan.title.stop") in render_text(far)
    assert said("plan.title.stop") not in render_text(near)
