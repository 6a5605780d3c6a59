"""What keeps metal hotter on the way, where no more heat may be put into the pot. A plan in, ways with degC kept out.

Asked where the doubt about zinc's boiling bounds the aim: then less loss is the remedy and not a hotter pot. Each way
is the same loss worked out again (transfer.py) with one thing changed. A loss that somebody stated cannot be.
"""

import msgspec

from pourcall.contract.message import Message, tell
from pourcall.contract.plan import LossBasis, MeltPlan
from pourcall.metal.alloys.sheet import AlloySheet
from pourcall.metal.heat.transfer import Carry, Pot, transfer_loss

PREHEAT_C = 700.0  # dull red: what a burner gives an empty ladle (common practice, no source)
SHORTER = 0.5
_WORTH_C = 2.0  # less is not worth telling


def gentler_ways(sheet: AlloySheet, plan: MeltPlan, order: int, pot: Pot, carry: Carry) -> Message | None:
    """How the way to the mould that is `order` can lose less; None where more heat is no danger, or none would."""
    mould, limit = plan.moulds[order], plan.aim_limit
    if not limit.keep_off_c or mould.tap_max_c < limit.aim_limit_c - 0.05:
        return None
    if mould.way is None or mould.way.basis is LossBasis.STATED:
        return tell("plan.gentler.stated", loss_difference_c=mould.loss_c)
    poured_kg = sum(earlier.mass_kg for earlier in plan.moulds[:order])
    poured_kg = min(poured_kg, 0.95 * plan.charge_kg)  # as the plan itself has it

    def lost_c(pot: Pot, carry: Carry) -> float:
        top_c = limit.aim_limit_c
        return transfer_loss(sheet, plan.charge_kg, top_c, pot, carry, order=order, poured_kg=poured_kg).loss_c

    covered = msgspec.structs.replace(pot, lid=True)
    shorter = msgspec.structs.replace(carry, walk_s=SHORTER * carry.walk_s, between_s=SHORTER * carry.between_s)
    warmed, warmed_shorter = _preheated(carry), _preheated(shorter)
    now_c = lost_c(pot, carry)
    lid_c = now_c - lost_c(covered, carry)
    walk_c = now_c - lost_c(pot, shorter)
    ladle_c = now_c - lost_c(pot, warmed)
    kept = (
        (lid_c, tell("plan.gentler.lid", kept_difference_c=lid_c)),
        (walk_c, tell("plan.gentler.walk", kept_difference_c=walk_c)),
        (ladle_c, tell("plan.gentler.ladle", kept_difference_c=ladle_c, preheat_c=PREHEAT_C)),
    )
    ways = tuple(told for kept_c, told in kept if kept_c >= _WORTH_C)
    if not ways:
        return None
    return tell("plan.gentler", ways=ways, lip_c=limit.aim_limit_c - lost_c(covered, warmed_shorter))


def _preheated(carry: Carry) -> Carry:
    if carry.ladle is None or carry.ladle.preheat_c >= PREHEAT_C:
        return carry
    return msgspec.structs.replace(carry, ladle=msgspec.structs.replace(carry.ladle, preheat_c=PREHEAT_C))
