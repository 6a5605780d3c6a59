"""A later mould that one pot temperature does not serve after those before it: said, never quietly aimed at.

The odds are those of normal quantities with U at k = 2 (GUM, JCGM 100:2008, 6.2).
"""

from pathlib import Path
from statistics import NormalDist

import msgspec
import pytest

from pourcall.contract.api import StartRequest
from pourcall.contract.one_lift import aim_c, one_lift, served_moulds
from pourcall.contract.plan import LEAST_CHANCE, MeltPlan, MouldRequest, NoAimCause, best_odds, no_aim, tap_window_c
from pourcall.contract.settings import parse_settings
from pourcall.metal.alloys.sheet import load_sheets
from pourcall.metal.heat.transfer import Carry
from pourcall.metal.plan_checks import plan_conflicts
from pourcall.metal.windows import melt_plan, pour_window
from pourcall.planning.job import JobMould
from pourcall.planning.melt_plans import Planner, as_left
from pourcall.planning.plan_text import render_text
from pourcall.planning.planner import PlanRequest, make_plan
from pourcall.reports.pages.plan_page import render_html
from tests.told import names, said

LIBRARY = load_sheets()
SETTINGS = parse_settings("schema = 1\n[furnace.club]\n")


def two(alloy: str, *, charge_kg: float = 2.0, thin: tuple[float, float] = (6.0, 6.0)) -> MeltPlan:
    """As a furnace that nobody described has it."""
    moulds = tuple(
        MouldRequest(name=f"plate {n}", mass_kg=charge_kg / 2.0, thinnest_mm=mm) for n, mm in enumerate(thin, start=1)
    )
    request = StartRequest(alloy=alloy, charge_kg=charge_kg, moulds=moulds)
    return Planner(SETTINGS, None).start("club", request, "2026-014")[0]


@pytest.mark.parametrize("charge_kg", [2.0, 4.0])
def test_a_bronze_mould_is_never_planned_colder_than_its_section_wants_for_the_wait_alone(charge_kg: float) -> None:
    plan = two("c87300", charge_kg=charge_kg)
    section = pour_window(LIBRARY.get("c87300"), thinnest_mm=6.0)
    for mould in plan.moulds:
        assert mould.lip_min_c == pytest.approx(section.min_c, abs=0.01)
    found = no_aim(plan.moulds[1], plan)
    assert found is not None
    assert found.cause is NoAimCause.TURN
    assert found.own_lift_loss_c is not None
    assert found.own_lift_loss_c + found.lip_min_c <= found.allowed_c
    assert found.own_lift_loss_c < found.loss_c


def test_the_lift_is_aimed_for_the_moulds_it_serves_alone() -> None:
    plan = two("c87300")
    assert served_moulds(plan) == [plan.moulds[0]]
    low_c, high_c = tap_window_c(plan.moulds[0], plan)
    together = one_lift(plan, plan.moulds)
    assert list(together) == pytest.approx([low_c, high_c])
    wanted_c = aim_c(plan, plan.moulds)
    assert wanted_c is not None
    assert low_c < wanted_c < high_c


def test_a_window_that_is_reached_but_hardly_ever_hit_in_its_turn_wants_a_lift_of_its_own_too() -> None:
    plan = two("c87300", thin=(20.0, 20.0))
    mould = plan.moulds[1]
    width_c = plan.aim_limit.aim_limit_c - mould.loss_c - mould.lip_min_c
    assert 0.0 < width_c < 40.0
    at_best = NormalDist(0.0, mould.loss_u_c / 2.0)  # the doubt of the way alone; the reading's comes on top
    assert at_best.cdf(width_c / 2.0) - at_best.cdf(-width_c / 2.0) < LEAST_CHANCE
    found = no_aim(mould, plan)
    assert found is not None
    assert found.cause is NoAimCause.TURN


@pytest.mark.parametrize("alloy", ["za27", "a356", "alloy3"])
def test_where_one_lift_serves_every_mould_nothing_of_the_kind_is_said(alloy: str) -> None:
    plan = two(alloy)
    assert [no_aim(mould, plan) for mould in plan.moulds] == [None, None]
    assert [mould.own_lift_loss_c for mould in plan.moulds] == [None, None]


def test_a_narrow_window_that_is_no_surer_in_a_lift_of_its_own_keeps_its_best_aim() -> None:
    moulds = [
        MouldRequest(name="plate 1", mass_kg=1.0, thinnest_mm=6.0),
        MouldRequest(name="plate 2", mass_kg=1.0, lip_min_c=560.0, lip_max_c=562.0),
    ]
    plan = melt_plan("2026-014", LIBRARY.get("za27"), 2.0, moulds)
    assert best_odds(plan.moulds[1], plan).poor
    assert no_aim(plan.moulds[1], plan) is None


def test_a_mould_that_no_lift_serves_keeps_its_cause() -> None:
    plan = two("c85700")
    causes = [found.cause for mould in plan.moulds if (found := no_aim(mould, plan)) is not None]
    assert causes == [NoAimCause.LOSS, NoAimCause.LOSS]


def test_a_thin_section_behind_a_thick_one_is_told_to_go_first_and_two_alike_to_take_two_lifts() -> None:
    def told(*thin: float) -> set[str]:
        moulds = tuple(JobMould(name=f"plate {mm:g} {n}", mass_kg=1.0, thinnest_mm=mm) for n, mm in enumerate(thin))
        plan = make_plan(LIBRARY.get("c87300"), PlanRequest(moulds=moulds, charge_kg=2.0))
        return set().union(*(names(conflict) for conflict in plan.conflicts))

    assert {"plan.conflict.turn", "plan.turn.first"} <= told(25.0, 6.0)
    assert {"plan.conflict.turn", "plan.turn.own_lift"} <= told(6.0, 6.0)
    assert "plan.conflict.turn" not in told(6.0)


def test_plan_page_and_steps_say_the_same() -> None:
    moulds = tuple(JobMould(name=f"plate {n}", mass_kg=1.0, thinnest_mm=6.0) for n in (1, 2))
    plan = make_plan(LIBRARY.get("c87300"), PlanRequest(moulds=moulds, charge_kg=2.0))
    assert [found.cause for found in plan.no_aim] == [NoAimCause.TURN]
    assert plan.profile[-1].name == "plan.step.lift_again"
    assert said("plan.mould.own_lift") in render_text(plan)
    assert said("plan.mould.own_lift") in render_html(plan)
    assert plan.moulds[1].odds is None


def test_the_start_of_a_melt_says_it_and_after_the_return_the_mould_is_served(tmp_path: Path) -> None:
    planner = Planner(SETTINGS, tmp_path)
    moulds = tuple(MouldRequest(name=f"plate {n}", mass_kg=1.0, thinnest_mm=6.0) for n in (1, 2))
    plan, minds = planner.start("club", StartRequest(alloy="c87300", charge_kg=2.0, moulds=moulds), "2026-014")
    assert "plan.conflict.turn" in set().union(*(names(mind) for mind in minds))
    again, minds = planner.for_next_lift("club", plan, ("plate 1",))
    assert no_aim(again.moulds[1], again) is None
    assert "plan.mind.window_now" in set().union(*(names(mind) for mind in minds))


def test_a_shorter_way_between_the_moulds_serves_both_from_one_lift() -> None:
    moulds = [MouldRequest(name=f"plate {n}", mass_kg=1.0, thinnest_mm=6.0) for n in (1, 2)]
    plan = melt_plan("2026-014", LIBRARY.get("c87300"), 2.0, moulds, carry=Carry(walk_s=8.0, between_s=3.0))
    assert [no_aim(mould, plan) for mould in plan.moulds] == [None, None]


def test_a_plan_on_record_of_before_this_is_judged_as_it_was() -> None:
    plan = two("c87300")
    old = msgspec.json.decode(msgspec.json.encode(plan))
    for mould in old["moulds"]:
        del mould["own_lift_loss_c"]
    old["moulds"][1] |= {"lip_min_c": 1021.5, "lip_max_c": 1041.5}
    read = msgspec.convert(old, MeltPlan)
    assert no_aim(read.moulds[1], read) is None


def test_a_mark_left_on_the_first_of_a_lift_is_said_and_asks_for_the_moulds_anew() -> None:
    plan = msgspec.structs.replace(two("c87300"), poured_earlier=("plate 1",))
    assert "plan.conflict.turn_of_before" in {name for told in plan_conflicts(plan) for name in names(told)}
    anew = as_left(plan, ("plate 1",))
    assert no_aim(anew.moulds[1], anew) is None
    assert plan_conflicts(anew) == ()
