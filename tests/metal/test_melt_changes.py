"""A melt that is changed in the middle: what changed changes, and nothing else does."""

from pathlib import Path

import msgspec
import pytest

from pourcall.contract.api import ChangeRequest, StartRequest
from pourcall.contract.errors import OutOfRange
from pourcall.contract.plan import LossBasis, MeltPlan, MouldPlan, MouldRequest, WindowBasis, tap_window_c
from pourcall.contract.settings import parse_settings
from pourcall.planning.melt_plans import Planner
from tests.told import name_of

SETTINGS = parse_settings("schema = 1\n[furnace.club]\n")
CLEATS = (
    MouldRequest(name="cleat 1", setup="deck cleat", mass_kg=0.6, thinnest_mm=6.0),
    MouldRequest(name="cleat 2", setup="deck cleat", mass_kg=0.6, thinnest_mm=6.0),
    MouldRequest(name="fairlead", mass_kg=0.3, thinnest_mm=8.0, lip_min_c=540.0, lip_max_c=565.0, loss_c=31.0),
)
START = StartRequest(alloy="za27", charge_kg=2.4, later_kg=0.5, moulds=CLEATS)


@pytest.fixture
def planner(tmp_path: Path) -> Planner:
    return Planner(SETTINGS, tmp_path / "alloys")


@pytest.fixture
def plan(planner: Planner) -> MeltPlan:
    return planner.start("club", START, "2026-014")[0]


def windows(mould: MouldPlan) -> tuple[object, ...]:
    return (mould.lip_min_c, mould.lip_max_c, mould.window_basis, mould.thinnest_mm, mould.material, mould.setup)


def test_a_change_that_changes_nothing_gives_the_same_plan(planner: Planner, plan: MeltPlan) -> None:
    for request in (
        ChangeRequest(),
        ChangeRequest(alloy="ZA-27", charge_kg=2.4, moulds=CLEATS),
        ChangeRequest(moulds=tuple(MouldRequest(name=mould.name) for mould in CLEATS)),
    ):
        changed, mind = planner.change("club", request, plan)
        assert changed == plan
        assert msgspec.json.encode(changed) == msgspec.json.encode(plan)
        assert mind == ()


def test_a_plan_read_back_from_the_record_is_changed_as_the_one_that_was_written(
    planner: Planner, plan: MeltPlan
) -> None:
    again = msgspec.json.decode(msgspec.json.encode(plan), type=MeltPlan)
    assert again == plan
    assert planner.change("club", ChangeRequest(), again)[0] == plan


def test_another_charge_changes_only_what_hangs_on_the_charge(planner: Planner, plan: MeltPlan) -> None:
    changed, _ = planner.change("club", ChangeRequest(charge_kg=2.1), plan)
    assert (plan.charge_kg, changed.charge_kg, changed.later_kg) == (2.4, 2.1, 0.5)
    assert (changed.limits, changed.fume, changed.alloy) == (plan.limits, plan.fume, plan.alloy)
    for was, now in zip(plan.moulds, changed.moulds, strict=True):
        assert windows(now) == windows(was)
    for was, now in zip(plan.moulds[:2], changed.moulds[:2], strict=True):
        assert was.way is not None
        assert now.way is not None
        assert now.way.basis is was.way.basis is LossBasis.COMPUTED
        assert was.loss_c < now.loss_c < was.loss_c + 5.0  # less metal cools a little faster
        assert now.loss_u_c == pytest.approx(was.loss_u_c * now.loss_c / was.loss_c, abs=0.01)  # and is as badly known
    assert changed.moulds[2] == plan.moulds[2]  # its loss was stated
    assert changed.asked == msgspec.structs.replace(plan.asked, charge_kg=2.1) if plan.asked else False
    assert planner.change("club", ChangeRequest(charge_kg=2.4), changed)[0] == plan  # and back again


@pytest.mark.parametrize(
    "change",
    [
        {"thinnest_mm": 4.0},
        {"material": "plaster"},
        {"lip_min_c": 545.0, "lip_max_c": 560.0},
        {"loss_c": 40.0},
    ],
    ids=str,
)
@pytest.mark.parametrize("at", [0, 1, 2])
def test_another_mould_leaves_the_others_as_they_were(
    planner: Planner, plan: MeltPlan, at: int, change: dict[str, object]
) -> None:
    told = [MouldRequest(name=mould.name) for mould in CLEATS]
    told[at] = MouldRequest(name=CLEATS[at].name, **change)  # type: ignore[arg-type]
    changed, _ = planner.change("club", ChangeRequest(moulds=tuple(told)), plan)
    for number, (was, now) in enumerate(zip(plan.moulds, changed.moulds, strict=True)):
        same = msgspec.json.encode(was) == msgspec.json.encode(now)
        assert same is (number != at), now.name
    assert changed.moulds[at].mass_kg == plan.moulds[at].mass_kg  # not given, so as it was asked
    assert (changed.charge_kg, changed.later_kg, changed.limits) == (plan.charge_kg, plan.later_kg, plan.limits)


def test_a_stated_window_stays_a_stated_one_and_a_learned_one_a_learned_one(planner: Planner) -> None:
    learned = msgspec.structs.replace(CLEATS[2], window_learned=True, window_same_probe=True)
    start = msgspec.structs.replace(START, moulds=(CLEATS[0], CLEATS[2], msgspec.structs.replace(learned, name="bow")))
    plan, _ = planner.start("club", start, "2026-015")
    changed, _ = planner.change("club", ChangeRequest(charge_kg=2.1), plan)
    assert [mould.window_basis for mould in changed.moulds] == [
        WindowBasis.SHEET,
        WindowBasis.STATED,
        WindowBasis.LEARNED,
    ]
    assert [mould.window_same_probe for mould in changed.moulds] == [False, False, True]
    typed = (MouldRequest(name="bow", lip_min_c=535.0, lip_max_c=560.0),)
    now, _ = planner.change("club", ChangeRequest(moulds=typed), plan)
    assert (now.moulds[0].window_basis, now.moulds[0].window_same_probe) == (WindowBasis.STATED, False)


def test_for_another_alloy_what_was_stated_for_the_old_one_is_made_anew_and_said(
    planner: Planner, plan: MeltPlan
) -> None:
    changed, mind = planner.change("club", ChangeRequest(alloy="za12"), plan)
    assert changed.alloy.key == "za12"
    assert [mould.window_basis for mould in changed.moulds] == [WindowBasis.SHEET] * 3
    assert [(told.name, told.facts["mould"]) for told in mind if told.name != "plan.mind.window_moved"] == [
        ("plan.mind.made_anew", "fairlead")
    ]
    assert (changed.later_kg, [mould.mass_kg for mould in changed.moulds]) == (0.5, [0.6, 0.6, 0.3])


def test_a_change_says_which_windows_moved_and_from_where_to_where(planner: Planner, plan: MeltPlan) -> None:
    changed, mind = planner.change("club", ChangeRequest(alloy="za12"), plan)
    moved = [told.facts for told in mind if told.name == "plan.mind.window_moved"]
    assert [facts["mould"] for facts in moved] == [mould.name for mould in plan.moulds]
    for facts, was, now in zip(moved, plan.moulds, changed.moulds, strict=True):
        assert (facts["was_lowest_c"], facts["was_highest_c"]) == tap_window_c(was, plan)
        assert (facts["lowest_c"], facts["highest_c"]) == tap_window_c(now, changed)
    same, mind = planner.change("club", ChangeRequest(charge_kg=plan.charge_kg), plan)
    assert (same, mind) == (plan, ())


def test_what_was_stated_comes_back_with_its_alloy_to_the_last_byte(planner: Planner, plan: MeltPlan) -> None:
    away, _ = planner.change("club", ChangeRequest(alloy="za12"), plan)
    further, _ = planner.change("club", ChangeRequest(alloy="c87300"), away)
    back, mind = planner.change("club", ChangeRequest(alloy="za27"), further)
    assert msgspec.json.encode(back) == msgspec.json.encode(plan)
    assert [told.facts["mould"] for told in mind if told.name == "plan.mind.stated_again"] == ["fairlead"]


def test_what_is_stated_for_the_other_alloy_meanwhile_is_that_alloys_alone(planner: Planner, plan: MeltPlan) -> None:
    away, _ = planner.change("club", ChangeRequest(alloy="za12"), plan)
    own = (*CLEATS[:2], MouldRequest(name="fairlead", lip_min_c=480.0, lip_max_c=500.0))
    stated, _ = planner.change("club", ChangeRequest(moulds=own), away)
    back, _ = planner.change("club", ChangeRequest(alloy="za27"), stated)
    assert [windows(mould) for mould in back.moulds] == [windows(mould) for mould in plan.moulds]
    again, _ = planner.change("club", ChangeRequest(alloy="za12"), back)
    assert [windows(mould) for mould in again.moulds] == [windows(mould) for mould in stated.moulds]


def test_a_charge_that_nobody_gave_goes_by_the_moulds_after_a_change_too(planner: Planner) -> None:
    plan, mind = planner.start("club", StartRequest(alloy="za27", moulds=CLEATS), "2026-016")
    assert [told.name for told in mind] == ["plan.mind.charge_of_moulds"]
    fewer, _ = planner.change("club", ChangeRequest(moulds=CLEATS[:1]), plan)
    assert [plan.charge_kg, fewer.charge_kg] == pytest.approx([1.5, 0.6])


def test_a_charge_smaller_than_what_is_still_to_come_is_refused(planner: Planner, plan: MeltPlan) -> None:
    with pytest.raises(OutOfRange) as refused:
        planner.change("club", ChangeRequest(charge_kg=0.4), plan)
    assert name_of(refused.value.what) == "charge_plan.wrong.later"


def test_a_plan_of_an_older_version_keeps_its_figures_when_the_charge_changes(planner: Planner, plan: MeltPlan) -> None:
    old = msgspec.structs.replace(plan, asked=None)
    changed, _ = planner.change("club", ChangeRequest(charge_kg=2.1), old)
    assert (changed.moulds, changed.later_kg, changed.charge_kg) == (old.moulds, 0.5, 2.1)
    renamed, _ = planner.change("club", ChangeRequest(moulds=(MouldRequest(name="cleat 1"),)), old)
    assert (renamed.moulds[0].mass_kg, renamed.moulds[0].window_basis) == (0.6, WindowBasis.SHEET)


def test_a_sheet_that_was_edited_meanwhile_is_said(planner: Planner, plan: MeltPlan) -> None:
    facts = msgspec.structs.replace(plan.alloy, sheet_hash="0123456789abcdef")
    _, mind = planner.change("club", ChangeRequest(charge_kg=2.1), msgspec.structs.replace(plan, alloy=facts))
    assert "plan.mind.sheet_edited" in [told.name for told in mind]
