"""What is wrong with a plan, and what to mind about it. A plan in, messages out; nothing is changed.

A plan that cannot be poured is made all the same (windows.py); here it is said why, and what would have to be another.
"""

import itertools
import math
from typing import assert_never

from pourcall.contract.message import Message, tell
from pourcall.contract.plan import (
    AlloyFacts,
    LipOdds,
    MeltPlan,
    MouldPlan,
    NoAim,
    NoAimCause,
    lip_odds,
    no_aim,
    planned_reading_u_c,
    tap_window_c,
)
from pourcall.metal.vapour.boiling import AIM_CHANCE


def plan_conflicts(plan: MeltPlan) -> tuple[Message, ...]:
    """What makes a plan impossible or nearly so; empty for a sound plan."""
    unserved = [no_aim(mould, plan) for mould in plan.for_this_lift]
    found = [_told_no_aim(found, plan) for found in unserved if found is not None]
    needed_kg = sum(mould.mass_kg for mould in plan.moulds)
    if needed_kg > plan.charge_kg:
        found.append(tell("plan.conflict.charge", needed_kg=needed_kg, charge_kg=plan.charge_kg))
    served = [mould for mould, lost in zip(plan.for_this_lift, unserved, strict=True) if lost is None]
    for earlier, later in itertools.pairwise(served):
        if later.tap_min_c > earlier.tap_max_c:
            found.append(
                tell(
                    "plan.conflict.order",
                    later=later.name,
                    earlier=earlier.name,
                    later_lowest_c=later.tap_min_c,
                    earlier_highest_c=earlier.tap_max_c,
                )
            )
    return tuple(found)


def plan_minds(plan: MeltPlan) -> tuple[Message, ...]:
    """What to mind of moulds that can be poured: a window that no aim surely hits, or one beside the sheet's."""
    found: list[Message] = []
    for mould in plan.for_this_lift:
        if no_aim(mould, plan) is not None:
            continue
        found += window_minds(mould, plan.alloy)
        aim_c = 0.5 * sum(tap_window_c(mould, plan))
        odds = lip_odds(mould, plan, aim_c, planned_reading_u_c(aim_c))
        if odds.narrow:
            found.append(narrow_told(mould, odds, aim_c))
    return tuple(found)


def window_minds(mould: MouldPlan, alloy: AlloyFacts) -> tuple[Message, ...]:
    """A window wholly beside the sheet's: the shop may know better, or another alloy was meant."""
    if mould.lip_max_c < alloy.pour_min_c:
        side = "under_sheet"
    elif mould.lip_min_c > alloy.pour_max_c:
        side = "over_sheet"
    else:
        return ()
    told = tell(
        f"plan.mind.{side}",
        mould=mould.name,
        alloy=alloy.name,
        lowest_c=mould.lip_min_c,
        highest_c=mould.lip_max_c,
        sheet_lowest_c=alloy.pour_min_c,
        sheet_highest_c=alloy.pour_max_c,
    )
    return (told,)


def narrow_told(mould: MouldPlan, odds: LipOdds, aim_c: float) -> Message:
    """No aim surely hits such a window: the odds of the best one, and the larger doubt to work on first."""
    reading_u_c = math.sqrt(max(0.0, odds.lip_u_c**2 - mould.loss_u_c**2))
    if mould.loss_u_c >= reading_u_c:
        surer = tell("plan.surer.walk", loss_u_c=mould.loss_u_c)
    else:
        surer = tell("plan.surer.reading", reading_u_c=reading_u_c)
    return tell(
        "plan.mind.narrow",
        mould=mould.name,
        width_difference_c=odds.width_c,
        lip_u_c=odds.lip_u_c,
        aim_c=aim_c,
        cold_share=odds.too_cold,
        hot_share=odds.too_hot,
        surer=surer,
    )


def _told_no_aim(found: NoAim, plan: MeltPlan) -> Message:
    """Why there is nothing to aim for, and what would have to be another."""
    limit = found.limit
    match found.cause:
        case NoAimCause.NOT_LIQUID:
            return tell(
                "plan.conflict.not_liquid",
                mould=found.mould,
                highest_c=found.lip_max_c,
                liquid_lowest_c=found.lip_min_c,
                liquidus_c=plan.alloy.liquidus_c,
            )
        case NoAimCause.TURN:
            return _told_turn(found, plan)
        case NoAimCause.LOSS if limit.keep_off_c:
            return tell(
                "plan.conflict.no_safe_aim",
                mould=found.mould,
                pot_lowest_c=found.needed_c,
                lip_lowest_c=found.least_c,
                highest_c=found.allowed_c,
                line_highest_c=limit.limit_c,
                most_share=AIM_CHANCE,
            )
        case NoAimCause.BOILING:
            return tell(
                "plan.conflict.boiling",
                mould=found.mould,
                lip_lowest_c=found.least_c,
                highest_c=found.allowed_c,
                line_highest_c=limit.limit_c,
                most_share=AIM_CHANCE,
            )
        case NoAimCause.LOSS:
            return tell(
                "plan.conflict.limit",
                mould=found.mould,
                pot_lowest_c=found.needed_c,
                lip_lowest_c=found.least_c,
                whose=limit.whose,
                highest_c=found.allowed_c,
                why=limit.why,
            )
        case NoAimCause.POT_LIMIT:
            return tell(
                "plan.conflict.above_limit",
                mould=found.mould,
                lip_lowest_c=found.least_c,
                whose=limit.whose,
                highest_c=found.allowed_c,
                why=limit.why,
            )
        case _ as never:
            assert_never(never)


def _told_turn(found: NoAim, plan: MeltPlan) -> Message:
    """That one temperature of the pot does not serve it after those before it, and what to do instead."""
    order = [mould.name for mould in plan.for_this_lift].index(found.mould)
    mould, before = plan.for_this_lift[order], plan.for_this_lift[:order]
    if not before:  # a plan that was made elsewhere, or kept from the lift before
        return tell("plan.conflict.turn_of_before", mould=found.mould, turn_loss_difference_c=found.loss_c)
    pot_c = min(found.allowed_c, 0.5 * sum(tap_window_c(mould, plan)))
    chance = lip_odds(mould, plan, pot_c, planned_reading_u_c(pot_c)).inside
    waits = next((one for one in before if one.lip_min_c + found.loss_c <= found.allowed_c), None)
    if waits is not None and waits.lip_min_c < found.lip_min_c:  # it is content with less, and may well come later
        instead = tell("plan.turn.first", mould=found.mould, later=waits.name)
    else:
        instead = tell("plan.turn.own_lift", mould=found.mould, earlier=before[-1].name)
    return tell(
        "plan.conflict.turn",
        mould=found.mould,
        earlier=", ".join(one.name for one in before),
        turn_loss_difference_c=found.loss_c,
        lip_lowest_c=found.lip_min_c,
        inside_share=chance,
        highest_c=found.allowed_c,
        instead=instead,
    )
