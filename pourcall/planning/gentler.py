"""What keeps metal hotter on the way, where no more heat may be put into the pot. A plan in, ways with degC kept out.

Asked where the doubt about zinc's boiling bounds the aim, and where the loss on the way is why there is none: then less
loss is the remedy and not a hotter pot. Each way
is the same loss worked out again (transfer.py) with one thing changed. A loss that somebody stated cannot be.
"""

from collections.abc import Callable

import msgspec

from pourcall.contract.message import NOTHING, Told, tell
from pourcall.contract.plan import LossBasis, MeltPlan, NoAimCause, no_aim
from pourcall.metal.alloys.sheet import AlloySheet
from pourcall.metal.heat.transfer import Carry, Pot, transfer_loss

PREHEAT_C = 700.0  # dull red: what a burner gives an empty ladle (common practice, no source)
SHORTER = 0.5
LEAST_WALK_S = 2.0  # nobody pours sooner after the lift (judgement)
_WORTH_C = 2.0  # less is not worth telling


def gentler_ways(sheet: AlloySheet, plan: MeltPlan, order: int, pot: Pot, carry: Carry) -> Told:
    """How the way to the mould that is `order` can lose less; NOTHING where more heat is no danger, or none would."""
    mould, limit = plan.moulds[order], plan.aim_limit
    found = no_aim(mould, plan)
    at_limit = bool(limit.keep_off_c) and mould.tap_max_c >= limit.aim_limit_c - 0.05
    if (found is None and not at_limit) or (found is not None and found.cause is not NoAimCause.LOSS):
        return NOTHING
    if mould.way is None or mould.way.basis is LossBasis.STATED:
        if found is None:
            return tell("plan.gentler.stated", loss_difference_c=mould.loss_c)
        most_c = found.allowed_c - found.least_c
        return tell("plan.gentler.stated_most", loss_difference_c=mould.loss_c, most_difference_c=most_c)
    poured_kg = sum(earlier.mass_kg for earlier in plan.moulds[:order])
    poured_kg = min(poured_kg, 0.95 * plan.charge_kg)  # as the plan itself has it

    def arrives_c(pot: Pot, carry: Carry) -> float:
        top_c = limit.aim_limit_c
        return top_c - transfer_loss(sheet, plan.charge_kg, top_c, pot, carry, order=order, poured_kg=poured_kg).loss_c

    covered = msgspec.structs.replace(pot, lid=True)
    shorter = msgspec.structs.replace(carry, walk_s=SHORTER * carry.walk_s, between_s=SHORTER * carry.between_s)
    warmed, warmed_shorter = _preheated(carry), _preheated(shorter)
    now_c = arrives_c(pot, carry)
    lid_c = arrives_c(covered, carry) - now_c
    walk_c = arrives_c(pot, shorter) - now_c
    ladle_c = arrives_c(pot, warmed) - now_c
    kept = (
        (lid_c, tell("plan.gentler.lid", kept_difference_c=lid_c)),
        (walk_c, tell("plan.gentler.walk", kept_difference_c=walk_c)),
        (ladle_c, tell("plan.gentler.ladle", kept_difference_c=ladle_c, preheat_c=PREHEAT_C)),
    )
    ways = tuple(told for kept_c, told in kept if kept_c >= _WORTH_C)
    best_c = arrives_c(covered, warmed_shorter)
    if found is None:
        return tell("plan.gentler", ways=ways, lip_c=best_c) if ways else NOTHING
    within_s = _longest_walk_s(lambda walk_s: arrives_c(covered, _walking(warmed, walk_s)), carry.walk_s, found.least_c)
    if within_s is None:
        return tell("plan.gentler.lacks", ways=ways, lip_c=best_c, lip_lowest_c=found.least_c)
    return tell("plan.gentler.within", ways=ways, lip_c=best_c, lip_lowest_c=found.least_c, within_s=within_s)


def _walking(carry: Carry, walk_s: float) -> Carry:
    return msgspec.structs.replace(carry, walk_s=walk_s)


def _longest_walk_s(arrives_c: Callable[[float], float], walk_s: float, least_c: float) -> float | None:
    """Seconds of walk, at most `walk_s`, after which it still arrives hot enough; None: not even at once."""
    low_s, high_s = LEAST_WALK_S, walk_s
    if arrives_c(low_s) < least_c:
        return None
    if arrives_c(high_s) >= least_c:
        return high_s
    while high_s - low_s > 0.1:
        middle_s = 0.5 * (low_s + high_s)
        low_s, high_s = (middle_s, high_s) if arrives_c(middle_s) >= least_c else (low_s, middle_s)
    return low_s


def _preheated(carry: Carry) -> Carry:
    if carry.ladle is None or carry.ladle.preheat_c >= PREHEAT_C:
        return carry
    return msgspec.structs.replace(carry, ladle=msgspec.structs.replace(carry.ladle, preheat_c=PREHEAT_C))
