"""One lift for every mould: at what the pot must be when it leaves the furnace, so that each mould in its turn arrives
inside its window. A plan and the way of carrying come in; windows of the pot at the lift go out.

The loss of a later mould holds the wait for those before it where it was computed, or stated for that mould. A shop's
one figure for the walk does not: what the metal loses by waiting longer is added here, as the engine reckons it
(contract/plan.py).
"""

import math
from typing import NamedTuple

from pourcall.contract.plan import MeltPlan, MouldPlan, lip_window_c, no_aim, waiting_loss_c
from pourcall.metal.heat.transfer import Carry


class AtLift(NamedTuple):
    """What the pot may be at as it is lifted; highest below lowest: at nothing."""

    lowest_c: float
    highest_c: float

    @property
    def suits(self) -> bool:
        """There is such a temperature."""
        return self.lowest_c <= self.highest_c

    @property
    def middle_c(self) -> float:
        """Farthest from both ends."""
        return 0.5 * (self.lowest_c + self.highest_c)


def at_lift(plan: MeltPlan, order: int, carry: Carry) -> AtLift:
    """For one mould, which is poured after `order` others."""
    mould, most_c = plan.moulds[order], plan.aim_limit.aim_limit_c
    low_c, high_c = lip_window_c(mould, plan)
    extra_s = waits_s(mould, order, carry)
    return AtLift(_in_pot_c(mould, low_c, extra_s), min(most_c, _in_pot_c(mould, high_c, extra_s)))


def waits_s(mould: MouldPlan, order: int, carry: Carry) -> float:
    """How much later than its loss stands for a mould is poured that comes after `order` others."""
    return max(0.0, carry.walk_s + order * carry.between_s - mould.loss_s)


def served_moulds(plan: MeltPlan) -> list[int]:
    """Which moulds, from 0, some temperature of the pot serves."""
    return [order for order, mould in enumerate(plan.moulds) if no_aim(mould, plan) is None]


def one_lift(plan: MeltPlan, carry: Carry) -> AtLift:
    """For all moulds of a plan, in order, that any temperature serves; for none of them: nothing suits."""
    each = [at_lift(plan, order, carry) for order in served_moulds(plan)]
    if not each:
        return AtLift(math.inf, -math.inf)
    return AtLift(max(one.lowest_c for one in each), min(one.highest_c for one in each))


def _in_pot_c(mould: MouldPlan, arrives_c: float, extra_s: float) -> float:
    """What metal that arrives at `arrives_c`, so much later than its loss stands for, left the furnace at."""
    planned_c = arrives_c
    for _ in range(6):  # hotter metal loses faster, by little: six rounds settle it within 0.01 degC
        planned_c = arrives_c + waiting_loss_c(mould, planned_c, extra_s)
    return planned_c + mould.loss_c
