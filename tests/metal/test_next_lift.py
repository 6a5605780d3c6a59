"""A pot that is lifted again: the moulds that are left are planned for a lift of their own, and nothing else moves."""

from pathlib import Path

import msgspec
import pytest

from pourcall.contract.api import ChangeRequest, StartRequest
from pourcall.contract.one_lift import aim_c, served_moulds
from pourcall.contract.plan import MeltPlan, MouldRequest, tap_window_c
from pourcall.contract.settings import parse_settings
from pourcall.planning.melt_plans import Planner
from tests.told import name_of, names

SETTINGS = parse_settings("schema = 1\n[furnace.club]\n")
ONE_LOSS = parse_settings("schema = 1\n[furnace.club]\ntransfer_loss_c = 22.0\n")


@pytest.fixture
def planner(tmp_path: Path) -> Planner:
    return Planner(SETTINGS, tmp_path / "alloys")


def moulds(count: int = 2, mass_kg: float = 0.9, **named: object) -> tuple[MouldRequest, ...]:
    return tuple(
        msgspec.structs.replace(MouldRequest(name=f"plate {n}", mass_kg=mass_kg, thinnest_mm=6.0), **named)
        for n in range(1, count + 1)
    )


def started(planner: Planner, alloy: str, asked: tuple[MouldRequest, ...], charge_kg: float = 2.0) -> MeltPlan:
    return planner.start("club", StartRequest(alloy=alloy, charge_kg=charge_kg, moulds=asked), "2026-014")[0]


@pytest.mark.parametrize("alloy", ["c87300", "za27", "a356"])
def test_what_is_left_is_planned_as_if_it_alone_were_asked_for_with_the_metal_that_is_left(
    planner: Planner, alloy: str
) -> None:
    plan = started(planner, alloy, moulds())
    again, minds = planner.for_next_lift("club", plan, ("plate 1",))
    alone = started(planner, alloy, moulds()[1:], charge_kg=1.1)
    first, second = again.moulds
    assert second == alone.moulds[0]
    assert (second.loss_s, second.turn_s) == (plan.moulds[0].loss_s, plan.moulds[0].turn_s) == (20.0, 20.0)
    assert second.way is not None
    assert second.way.open_s == 20.0
    assert second.loss_c < plan.moulds[1].loss_c
    assert second.lip_min_c >= plan.moulds[1].lip_min_c
    assert first == plan.moulds[0]  # it is poured: as it was planned then
    assert msgspec.structs.replace(again, moulds=plan.moulds, poured_earlier=()) == plan
    moved = {"plan.mind.window_moved", "plan.mind.window_now"}
    assert moved & set().union(*(names(told) for told in minds))


def test_the_window_of_a_bronze_mould_is_as_wide_as_its_section_wants_in_a_lift_of_its_own(planner: Planner) -> None:
    plan = started(planner, "c87300", moulds(mass_kg=2.0), charge_kg=4.0)
    again, _ = planner.for_next_lift("club", plan, ("plate 1",))
    assert again.moulds[1].lip_min_c == plan.moulds[0].lip_min_c
    wanted_c = aim_c(again, again.for_this_lift)
    assert wanted_c is not None
    low_c, high_c = tap_window_c(again.moulds[1], again)
    assert low_c < wanted_c < high_c


def test_a_mould_out_of_order_poured_first_leaves_the_others_in_their_order(planner: Planner) -> None:
    plan = started(planner, "za27", moulds(3, 0.5))
    again, _ = planner.for_next_lift("club", plan, ("plate 2",))
    assert again.poured_earlier == ("plate 2",)
    assert [mould.turn_s for mould in again.moulds] == [20.0, plan.moulds[1].turn_s, 35.0]
    assert [mould.name for mould in served_moulds(again)] == ["plate 1", "plate 3"]


def test_with_the_pour_struck_that_led_to_it_the_plan_is_as_it_was(planner: Planner) -> None:
    plan = started(planner, "c87300", moulds())
    again, _ = planner.for_next_lift("club", plan, ("plate 1",))
    assert planner.for_next_lift("club", again, ())[0] == plan


def test_a_melt_changed_after_the_return_is_still_planned_for_the_lift_of_what_is_left(planner: Planner) -> None:
    plan = started(planner, "za27", moulds(3, 0.5))
    again, _ = planner.for_next_lift("club", plan, ("plate 1",))
    assert planner.change("club", ChangeRequest(), again)[0] == again
    thicker = (*moulds(2, 0.5), MouldRequest(name="plate 3", thinnest_mm=12.0))
    changed, _ = planner.change("club", ChangeRequest(moulds=thicker), again)
    assert changed.poured_earlier == ("plate 1",)
    assert changed.moulds[:2] == again.moulds[:2]
    assert changed.moulds[2].turn_s == 35.0


def test_a_shops_one_figure_for_the_walk_holds_and_only_the_turn_is_counted_anew(tmp_path: Path) -> None:
    planner = Planner(ONE_LOSS, tmp_path / "alloys")
    plan = started(planner, "za27", moulds())
    again, _ = planner.for_next_lift("club", plan, ("plate 1",))
    assert (again.moulds[1].loss_c, again.moulds[1].loss_s, again.moulds[1].turn_s) == (22.0, 20.0, 20.0)


def test_a_loss_stated_for_the_second_turn_holds_no_wait_in_a_lift_of_its_own(planner: Planner) -> None:
    plan = started(planner, "za27", (moulds()[0], msgspec.structs.replace(moulds()[1], loss_c=35.0)))
    again, _ = planner.for_next_lift("club", plan, ("plate 1",))
    before, after = plan.moulds[1], again.moulds[1]
    assert (before.loss_c, before.loss_s) == (35.0, 35.0)
    assert after.loss_c == pytest.approx(20.0)  # at the 1 degC/s that was stated
    assert after.loss_s == 20.0
    assert after.loss_u_c > before.loss_u_c
    assert "way.stated_sooner" in names(after.why) if not isinstance(after.why, str) else False
    assert planner.for_next_lift("club", again, ())[0] == plan


def test_a_plan_resolved_elsewhere_keeps_its_figures(planner: Planner) -> None:
    plan = msgspec.structs.replace(started(planner, "za27", moulds()), asked=None)
    again, minds = planner.for_next_lift("club", plan, ("plate 1",))
    assert again == msgspec.structs.replace(plan, poured_earlier=("plate 1",))
    assert minds == ()


def test_a_charge_that_is_too_small_for_what_was_poured_still_leaves_a_plan(planner: Planner) -> None:
    plan = started(planner, "za27", moulds(mass_kg=2.5), charge_kg=2.0)
    again, _ = planner.for_next_lift("club", plan, ("plate 1",))
    assert again.moulds[1].loss_c > 0.0
    assert name_of(again.moulds[1].why) == "plan.mould.why"
