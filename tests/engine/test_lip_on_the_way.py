"""The temperature at the lip of moulds poured one after the other from one lift: each second counts once."""

import math

import pytest

from pourcall.contract.plan import MeltPlan, MouldRequest
from pourcall.engine.melt.melt_run import MeltRun
from pourcall.metal.alloys.sheet import load_sheets
from pourcall.metal.heat.transfer import Carry
from pourcall.metal.windows import melt_plan

CARRY = Carry(walk_s=20.0, between_s=15.0)


def planned(loss_c: float | None = None) -> MeltPlan:
    moulds = [MouldRequest(name=f"cleat {n}", mass_kg=0.4, thinnest_mm=6.0, loss_c=loss_c) for n in (1, 2, 3)]
    return melt_plan("2026-014", load_sheets().get("za27"), 1.5, moulds, carry=CARRY)


def test_a_mould_poured_when_it_was_planned_loses_what_was_planned_whatever_its_place() -> None:
    plan = planned()
    run = MeltRun(plan, 0.0)
    for order, mould in enumerate(plan.moulds):
        at_s = 100.0 + CARRY.walk_s + order * CARRY.between_s
        lip_c, u_c = run.lip_at(mould, 580.0, 4.0, 100.0, at_s)
        assert lip_c == pytest.approx(580.0 - mould.loss_c)
        late_c, late_u_c = run.lip_at(mould, 580.0, 4.0, 100.0, at_s + 10.0)
        # Newton's law of cooling towards a room of 20 degC, at first at the rate of the planned way
        k_per_s = mould.loss_c / mould.loss_s / (lip_c - 20.0)
        assert late_c == pytest.approx(20.0 + (lip_c - 20.0) * math.exp(-k_per_s * 10.0))
        assert late_u_c > u_c
    losses = [mould.loss_c for mould in plan.moulds]
    assert losses == sorted(losses)
    assert losses[2] > losses[0] + 1.0


def test_a_shops_one_stated_loss_stands_for_the_walk_and_later_moulds_lose_more_as_they_wait() -> None:
    moulds = [MouldRequest(name=f"cleat {n}", mass_kg=0.4, thinnest_mm=6.0) for n in (1, 2)]
    plan = melt_plan("2026-014", load_sheets().get("za27"), 1.5, moulds, carry=CARRY, loss_c=14.0)
    assert [mould.loss_s for mould in plan.moulds] == [20.0, 20.0]
    run = MeltRun(plan, 0.0)
    assert run.lip_at(plan.moulds[1], 580.0, 4.0, 0.0, 20.0)[0] == pytest.approx(566.0)
    assert run.lip_at(plan.moulds[1], 580.0, 4.0, 0.0, 40.0)[0] == pytest.approx(20.0 + 546.0 * math.exp(-14.0 / 546.0))


def test_a_loss_stated_for_a_mould_is_its_own_at_its_place() -> None:
    plan = planned(loss_c=18.0)
    assert [mould.loss_s for mould in plan.moulds] == [20.0, 35.0, 50.0]
