"""The demonstrations run from cold charge to empty pot, pour inside their windows, in about half an hour."""

import pytest

from pourcall.contract.errors import BadInput
from pourcall.contract.inputs import CommandIn, EndMelt, MarkPour
from pourcall.sim.scenarios.demo import DEMOS, PLANTS, demo_plan, demo_scenario, demo_steps
from pourcall.sim.shop import Shop, run


@pytest.mark.parametrize("plant", PLANTS)
@pytest.mark.parametrize("name", DEMOS)
def test_a_demonstration_pours_every_mould_inside_its_window_on_any_furnace(name: str, plant: str) -> None:
    moulds = {mould.name: mould for mould in demo_plan(name).moulds}
    lips: dict[str, list[float]] = {}
    commands, peak_c, end_s = [], 0.0, 0.0
    for item, truth in run(demo_scenario(name, plant=plant)):
        peak_c, end_s = max(peak_c, truth.metal_c or 0.0), truth.t_s
        mould = truth.phase.removeprefix("pour ")
        if truth.pouring and mould in moulds and truth.lip_c is not None:
            lips.setdefault(mould, []).append(truth.lip_c)
        if isinstance(item, CommandIn):
            commands.append(item.command)
    assert set(lips) == set(moulds)
    for mould, seen in lips.items():
        assert moulds[mould].lip_min_c <= min(seen)
        assert max(seen) <= moulds[mould].lip_max_c
    assert peak_c < demo_plan(name).lowest_limit.limit_c
    assert 20 * 60 <= end_s <= 36 * 60
    assert [c.mould for c in commands if isinstance(c, MarkPour)] == list(moulds)
    assert isinstance(commands[-1], EndMelt)


@pytest.mark.parametrize("name", DEMOS)
def test_the_planned_loss_is_what_the_lift_and_the_walk_cost(name: str) -> None:
    plan = demo_plan(name)
    lifted_c: float | None = None
    lips: dict[str, float] = {}
    for _, truth in run(demo_scenario(name)):
        if truth.lifted and lifted_c is None:
            lifted_c = truth.metal_c
        if truth.pouring and truth.lip_c is not None:
            lips.setdefault(truth.phase.removeprefix("pour "), truth.lip_c)
    assert lifted_c is not None
    for mould in plan.moulds:
        assert lifted_c - lips[mould.name] == pytest.approx(mould.loss_c, abs=mould.loss_u_c)


def test_the_operator_pours_when_he_is_told_and_does_not_wait_for_ever() -> None:
    def lifted_after_bring_s(told: bool) -> float:
        shop = Shop(demo_scenario())
        ready_s = None
        while not shop.plant.lifted:
            shop.step()
            if shop.crew.phase == "bring" and shop.crew.power_level == "off" and shop.plant.metal_c >= 559.0:
                ready_s = ready_s or shop.t_s
                if told:
                    shop.crew.hear("pour")
        assert ready_s is not None
        return shop.t_s - ready_s

    assert lifted_after_bring_s(told=True) < lifted_after_bring_s(told=False) - 10.0


def test_a_plan_from_elsewhere_takes_the_place_of_ours() -> None:
    plan = demo_plan(melt="2031-001")
    assert demo_scenario(plans=[plan]).plans == (plan,)
    assert demo_scenario(keys=frozenset({"pour"})).keys == {"pour"}


def test_there_is_no_other_demonstration() -> None:
    with pytest.raises(BadInput, match="cleats_dip"):
        demo_steps("anchors")


def test_there_is_no_other_furnace_for_it() -> None:
    with pytest.raises(BadInput, match="brick"):
        demo_scenario(plant="arc")
