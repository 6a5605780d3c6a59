"""The odds of arriving inside a window, told with the plan; windows that no aim surely hits, or beside the sheet's."""

import math
from statistics import NormalDist

import msgspec
import pytest

from pourcall.contract.message import Message
from pourcall.contract.plan import WindowBasis, lip_odds
from pourcall.metal.alloys.sheet import load_sheets
from pourcall.metal.heat.transfer import Carry, Ladle, Pot
from pourcall.metal.plan_checks import plan_minds
from pourcall.planning.job import JobMould
from pourcall.planning.plan_text import stop_lines, window_lines
from pourcall.planning.planner import PlanRequest, PourPlan, make_plan
from tests.metal.planned import aim_of
from tests.told import name_of, number, parts

LIBRARY = load_sheets()
PLATE = JobMould(name="plate", mass_kg=0.6, thinnest_mm=6.0)


def plan_of(key: str, lip: tuple[float, float] | None = None, **more: object) -> PourPlan:
    mould = PLATE if lip is None else msgspec.structs.replace(PLATE, lip_min_c=lip[0], lip_max_c=lip[1])
    return make_plan(LIBRARY.get(key), msgspec.structs.replace(PlanRequest(moulds=(mould,), charge_kg=1.5), **more))


# By the normal law of the standard library: loss +-5 and a type K couple of class 2, 0.75 % (IEC 60584-1), in squares
# and k = 2 (GUM, JCGM 100:2008, 6.2).
@pytest.mark.parametrize(("key", "lip"), [("za27", None), ("a356", (700.0, 712.0)), ("c87300", (1100.0, 1180.0))])
def test_the_plan_tells_the_odds_at_the_lip_by_its_own_doubts(key: str, lip: tuple[float, float] | None) -> None:
    plan = plan_of(key, lip, loss_c=12.0)
    mould, aim_c = plan.melt.moulds[0], aim_of(plan)
    arriving = NormalDist(aim_c - 12.0, math.hypot(5.0, 0.0075 * aim_c) / 2.0)
    odds = plan.moulds[0].odds
    assert odds is not None
    assert odds.too_cold == pytest.approx(arriving.cdf(mould.lip_min_c), abs=1e-6)
    assert odds.too_hot == pytest.approx(1.0 - arriving.cdf(mould.lip_max_c), abs=1e-6)
    told = next(line for line in window_lines(mould, plan) if name_of(line) == "plan.mould.odds")
    assert number(told, "cold_share") == odds.too_cold
    assert number(told, "hot_share") == odds.too_hot


def test_a_window_narrower_than_the_doubt_is_told_at_planning_with_odds_and_what_would_make_it_surer() -> None:
    plan = plan_of("a356", (700.0, 708.0), loss_c=20.0)
    (mind,) = plan_minds(plan.melt)
    assert mind.name == "plan.mind.narrow"
    assert number(mind, "cold_share") > 0.1
    assert number(mind, "hot_share") > 0.1
    assert mind in window_lines(plan.melt.moulds[0], plan)
    assert name_of(mind.facts["surer"]) == "plan.surer.walk"  # type: ignore[arg-type]
    near = plan_of("a356", (700.0, 708.0), loss_c=2.0)
    assert name_of(plan_minds(near.melt)[0].facts["surer"]) == "plan.surer.reading"  # type: ignore[arg-type]


def test_a_wide_window_is_planned_calmly() -> None:
    for key, loss_c in (("za27", 7.0), ("a356", 12.0), ("c87300", 12.0)):
        assert plan_minds(plan_of(key, loss_c=loss_c).melt) == ()


def test_a_window_learned_with_the_same_probe_counts_repeatability_and_not_the_whole_doubt_of_the_reading() -> None:
    plan = plan_of("za27", (540.0, 556.0), loss_c=7.0).melt
    mould = plan.moulds[0]
    same = msgspec.structs.replace(mould, window_same_probe=True, window_basis=WindowBasis.LEARNED)
    assert lip_odds(same, plan, 555.0, 8.0).lip_u_c == pytest.approx(math.hypot(2.0, mould.loss_u_c))
    assert lip_odds(same, plan, 555.0, 8.0).lip_u_c < lip_odds(mould, plan, 555.0, 8.0).lip_u_c


@pytest.mark.parametrize(
    ("lip", "told"), [((632.0, 660.0), "plan.mind.under_sheet"), ((795.0, 815.0), "plan.mind.over_sheet")]
)
def test_a_window_wholly_beside_the_sheets_is_taken_and_told_with_both(lip: tuple[float, float], told: str) -> None:
    plan = plan_of("a356", lip, loss_c=5.0)
    assert plan.no_aim == ()
    assert told in [mind.name for mind in plan_minds(plan.melt)]
    assert told in [mind.name for mind in plan.moulds[0].minds]
    assert told not in [mind.name for mind in plan_minds(plan_of("a356", (670.0, 700.0), loss_c=5.0).melt)]


def test_what_would_help_a_mould_that_loses_too_much_is_told_with_the_longest_walk_that_still_does() -> None:
    far = plan_of("c85700", carry=Carry(walk_s=25.0, ladle=Ladle(mass_kg=0.3)))
    (told,) = [line for line in stop_lines(far) if isinstance(line, Message) and line.name.startswith("plan.gentler")]
    assert told.name == "plan.gentler.within"
    assert {one.name for one in parts(told, "ways")} >= {"plan.gentler.walk", "plan.gentler.ladle"}
    within_s = number(told, "within_s")
    hot = Ladle(mass_kg=0.3, preheat_c=700.0)

    def unserved(walk_s: float) -> bool:
        return bool(plan_of("c85700", carry=Carry(walk_s=walk_s, ladle=hot), pot=Pot(lid=True)).no_aim)

    assert not unserved(within_s - 1.0)
    assert unserved(within_s + 1.5)


def test_where_no_way_of_carrying_helps_the_plan_says_how_much_is_lacking() -> None:
    plan = plan_of("c85700", (1057.0, 1059.0), carry=Carry(walk_s=20.0))
    told = plan.moulds[0].gentler
    assert name_of(told) == "plan.gentler.lacks"
    assert number(told, "lip_c") < number(told, "lip_lowest_c")
    stated = plan_of("c85700", loss_c=120.0).moulds[0].gentler
    assert name_of(stated) == "plan.gentler.stated_most"
    (found,) = plan_of("c85700", loss_c=120.0).no_aim
    assert number(stated, "most_difference_c") == pytest.approx(found.allowed_c - found.least_c)
    assert not plan_of("c85700", loss_c=number(stated, "most_difference_c") - 1.0).no_aim


def test_a_published_range_that_goes_above_boiling_is_said_to_on_the_sheet_and_in_the_plan() -> None:
    from pourcall.metal.alloys.sheet_sentences import pour_range_beyond

    beyond = {sheet.key: pour_range_beyond(sheet) for sheet in LIBRARY.all()}
    assert {key for key, told in beyond.items() if told} == {
        sheet.key for sheet in LIBRARY.all() if sheet.pour_max.value > sheet.highest_in_pot_c
    }
    assert name_of(beyond["c85700"]) == "alloy.beyond.boiling"
    assert number(beyond["c85700"], "published_c") > number(beyond["c85700"], "boils_c")
    assert plan_of("c85700").beyond == beyond["c85700"]
