"""One lift for every mould: at what the pot must be when it leaves the furnace, so that each mould in its turn arrives
inside its window. A plan comes in; windows of the pot at the lift, and where to aim, go out. Plan and engine ask here.

The loss of a later mould holds the wait for those before it where it was computed, or stated for that mould. A shop's
one figure for the walk does not: what the metal loses by waiting longer is added here, as the engine reckons it
(contract/plan.py).
"""

import math
from collections.abc import Iterable
from typing import NamedTuple

from pourcall.contract.plan import MeltPlan, MouldPlan, lip_window_c, no_aim, planned_reading_u_c, waiting_loss_c

AIM_BELOW_LIMIT_C = 5.0  # where the window reaches up to a limit of the pot (ours)
BEST_AIM_SHARE = 0.3  # of a window narrower than 2 U, from its ends: a best aim is called in its middle half


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


def at_lift(plan: MeltPlan, mould: MouldPlan) -> AtLift:
    """For one mould, in its turn."""
    low_c, high_c = lip_window_c(mould, plan)
    extra_s = waits_s(mould)
    most_c = plan.aim_limit.aim_limit_c
    return AtLift(_in_pot_c(mould, low_c, extra_s), min(most_c, _in_pot_c(mould, high_c, extra_s)))


def waits_s(mould: MouldPlan) -> float:
    """How much later than its loss stands for a mould is poured in its turn."""
    return 0.0 if mould.turn_s is None else max(0.0, mould.turn_s - mould.loss_s)


def served_moulds(plan: MeltPlan) -> list[MouldPlan]:
    """Which moulds of this lift some temperature of the pot serves, in order."""
    return [mould for mould in plan.for_this_lift if no_aim(mould, plan) is None]


def one_lift(plan: MeltPlan, moulds: Iterable[MouldPlan]) -> AtLift:
    """For all of these moulds that any temperature serves; for none of them: nothing suits."""
    each = [at_lift(plan, mould) for mould in moulds if no_aim(mould, plan) is None]
    if not each:
        return AtLift(math.inf, -math.inf)
    return AtLift(max(one.lowest_c for one in each), min(one.highest_c for one in each))


def aim_c(plan: MeltPlan, moulds: Iterable[MouldPlan]) -> float | None:
    """Where to bring the pot for these moulds: the middle of what suits them all from one lift; where nothing does, of
    what suits the first that any temperature serves. Never beyond what a limit lets be aimed. None: none is served."""
    served = [mould for mould in moulds if no_aim(mould, plan) is None]
    if not served:
        return None
    most_c = min(plan.lowest_limit.limit_c - AIM_BELOW_LIMIT_C, plan.aim_limit.aim_limit_c)
    together, first = one_lift(plan, served), at_lift(plan, served[0])
    wanted = together if together.suits else first
    wanted_c = max(wanted.lowest_c, min(most_c, wanted.middle_c)) if wanted.suits else min(most_c, wanted.middle_c)
    return min(most_c, _called_c(first, served[0], wanted_c))


def _called_c(first: AtLift, mould: MouldPlan, wanted_c: float) -> float:
    """The nearest at which the first of them is called: as far inside its own window as what is not known of reading
    and way asks for, or near its middle where the window is narrower than that."""
    width_c, u_c = first.highest_c - first.lowest_c, math.hypot(mould.loss_u_c, planned_reading_u_c(wanted_c))
    margin_c = u_c if width_c > 2.0 * u_c else width_c * BEST_AIM_SHARE
    if width_c <= 0.0:
        return wanted_c
    return min(max(wanted_c, first.lowest_c + margin_c), first.highest_c - margin_c)


def _in_pot_c(mould: MouldPlan, arrives_c: float, extra_s: float) -> float:
    """What metal that arrives at `arrives_c`, so much later than its loss stands for, left the furnace at."""
    planned_c = arrives_c
    for _ in range(6):  # hotter metal loses faster, by little: six rounds settle it within 0.01 degC
        planned_c = arrives_c + waiting_loss_c(mould, planned_c, extra_s)
    return planned_c + mould.loss_c
