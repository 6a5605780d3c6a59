"""The one instruction: what to do now, or how things stand. A function of the situation and the calls that are up.

It is never *pour* while the window has closed, while the metal is above it, or while its temperature is not known.
"""

from collections.abc import Sequence

import msgspec

from pourcall.contract.events import CallKind, CallView, MeltState
from pourcall.contract.inputs import PowerLevel
from pourcall.contract.message import NOTHING, Message, tell
from pourcall.contract.plan import NoAim, NoAimCause
from pourcall.contract.snapshot import Instruction, ToDo
from pourcall.engine.melt.melt_run import AfterLift
from pourcall.engine.situation import STILL_C_PER_MIN, Melt, NextMould, Situation

SHOWN_C = 0.05  # less than that below the window is shown as none
TODO: dict[CallKind, ToDo] = {
    CallKind.CUT_POWER: ToDo.CUT,
    CallKind.WINDOW_CLOSING: ToDo.POUR_SOON,
    CallKind.POUR: ToDo.POUR,
    CallKind.DIP: ToDo.DIP,
    CallKind.SKIM: ToDo.SKIM,
    CallKind.STEP: ToDo.STEP,
    CallKind.CHECK_POWER: ToDo.CHECK,
}
HOT_C = 60.0  # what was charged into a pot that nobody follows; above any room, below any metal that melts


def instruct(
    now: Situation, calls: Sequence[CallView], *, asked: tuple[PowerLevel | None, float | None] = (None, None)
) -> Instruction:
    """calls: those that are up, by harm. asked: the level or the figure on the panel that a step wants."""
    melt = now.melt
    if melt is None:
        hot = now.metal.temp_c is not None and now.metal.temp_c > HOT_C
        on = hot or now.power_on
        return Instruction(todo=ToDo.START, text=tell("instruction.start_hot" if on else "instruction.start"))
    if melt.lifted:
        told = _in_the_hand(melt, now.state)
        return msgspec.structs.replace(told, why=_perhaps_back(now)) if melt.perhaps_back else told
    if melt.perhaps_back and now.metal.temp_c is None:
        return Instruction(todo=ToDo.CHECK, text=_perhaps_back(now), must=True)
    if calls:
        told = _of_call(calls[0], asked)
        judged = None if melt.next is None else melt.next.judgement
        poor = told.todo is ToDo.POUR and judged is not None and judged.poor
        return msgspec.structs.replace(told, todo=ToDo.BEST_AIM) if poor else told
    if melt.next is None and now.power_on:
        return Instruction(todo=ToDo.CUT, text=tell("instruction.empty_power_on"), must=True, level=PowerLevel.OFF)
    if melt.next is None:
        return Instruction(todo=ToDo.EMPTY, text=tell("instruction.empty"), must=True)
    if now.metal.temp_c is None:
        must = now.metal.spent or now.metal.leaving
        how = now.metal.how if must else now.unknown
        text = tell("instruction.unknown", how=how)
        return Instruction(todo=ToDo.CHECK if must else ToDo.WAIT, text=text, why=_off(now, None), must=must)
    return _standing(now, melt, melt.next, now.metal.temp_c)


def _of_call(call: CallView, asked: tuple[PowerLevel | None, float | None]) -> Instruction:
    level = dial = None
    if call.kind is CallKind.CUT_POWER:
        level = PowerLevel.OFF
    elif call.kind is CallKind.STEP:
        level, dial = asked
    return Instruction(
        todo=TODO[call.kind],
        text=call.text,
        why=call.why,
        must=True,
        call=call.kind,
        mould=call.mould,
        level=level,
        dial=dial,
    )


def _perhaps_back(now: Situation) -> Message:
    """Asked of the person: only who stands there knows."""
    melt, metal_c = now.melt, now.metal.temp_c
    if metal_c is None:
        out_s = 0.0 if melt is None or melt.lift_s is None else now.mono_s - melt.lift_s
        return tell("instruction.long_out", out_min=out_s / 60.0)
    return tell("instruction.perhaps_back", metal_c=metal_c)


def _in_the_hand(melt: Melt, state: MeltState) -> Instruction:
    """The pot is out of the furnace: pour, wait, or choose what becomes of metal that has grown too cold."""
    mould, after = melt.next, melt.after_lift
    if mould is None or after is None:
        return Instruction(todo=ToDo.EMPTY, text=tell("instruction.empty"), must=True)
    name, number, of = mould.plan.name, mould.number, mould.of
    if after.lip_c is None:
        text = tell("instruction.lifted_unknown", mould=name, number=number, of=of)
        return Instruction(todo=ToDo.MARK_POUR, text=text, why=tell("instruction.lifted_unknown.why"), mould=name)
    if state in (MeltState.FREEZING, MeltState.SOLID):
        return _frozen(melt, mould, after.lip_c, solid=state is MeltState.SOLID)
    if mould.no_aim is not None and not mould.plan.lip_min_c <= after.lip_c <= mould.plan.lip_max_c:
        return msgspec.structs.replace(_no_aim(mould, mould.no_aim, fluid=True), todo=ToDo.CHOOSE)
    if after.too_hot and mould.no_aim is None:
        over_c = after.lip_c - mould.lip_c[1]
        if after.too_hot_s is None:
            text = tell("instruction.too_hot_in_hand_untimed", mould=name)
        else:
            text = tell("instruction.too_hot_in_hand", mould=name, left_s=after.too_hot_s)
        why = tell("instruction.too_hot_in_hand.why", lip_c=after.lip_c, over_difference_c=over_c)
        return Instruction(todo=ToDo.COOL, text=text, why=why, must=True, mould=name)
    if after.too_cold and mould.no_aim is None:
        return _window_closed(mould, after, after.lip_c)
    text = tell("instruction.mark_pour", mould=name, number=number, of=of)
    return Instruction(todo=ToDo.MARK_POUR, text=text, must=True, mould=name)


def _frozen(melt: Melt, mould: NextMould, lip_c: float, *, solid: bool) -> Instruction:
    """Metal that freezes in the hand goes into no mould: what still runs is cast as ingots, or it is melted again."""
    text = tell(f"instruction.{'solid' if solid else 'part_frozen'}_in_hand", mould=mould.plan.name)
    alloy = melt.plan.alloy
    why = tell("instruction.frozen_in_hand.why", lip_c=lip_c, liquidus_c=alloy.liquidus_c, solidus_c=alloy.solidus_c)
    return Instruction(todo=ToDo.CHOOSE, text=text, why=why, must=True, mould=mould.plan.name)


def _window_closed(mould: NextMould, after: AfterLift, lip_c: float) -> Instruction:
    text = tell("instruction.window_closed", mould=mould.plan.name)
    why = tell(
        "instruction.window_closed.why", lip_c=lip_c, lip_u_c=after.u_c, below_difference_c=mould.lip_c[0] - lip_c
    )
    return Instruction(todo=ToDo.CHOOSE, text=text, why=why, must=True, mould=mould.plan.name)


def _standing(now: Situation, melt: Melt, mould: NextMould, metal_c: float) -> Instruction:
    """Nothing is called: how far it is."""
    low_c, high_c = mould.tap_c
    to_go_c = max(low_c - metal_c, 0.0)
    judgement = mould.judgement
    if now.over_limit_c is not None:
        text = tell("instruction.over_limit", over_difference_c=now.over_limit_c)
        return Instruction(todo=ToDo.COOL, text=text, must=True)
    if mould.no_aim is not None:
        return _no_aim(mould, mould.no_aim, fluid=now.fluid)
    match now.state:
        case MeltState.SOLID | MeltState.MELTING | MeltState.FREEZING | MeltState.LIQUID:
            text = tell(f"instruction.{now.state.value}", to_go_difference_c=to_go_c)
            if to_go_c < SHOWN_C:
                text = tell(f"instruction.{now.state.value}.within")
            return Instruction(todo=ToDo.WAIT, text=text, why=_off(now, low_c))
        case MeltState.ABOVE:
            return Instruction(todo=ToDo.COOL, text=tell("instruction.above", over_difference_c=metal_c - high_c))
        case MeltState.READY if CallKind.POUR in melt.not_now:
            return Instruction(todo=ToDo.WAIT, text=tell("instruction.not_now", metal_c=metal_c))
        case MeltState.READY if judgement is not None and not judgement.pour:
            if judgement.held:
                return Instruction(todo=ToDo.HOLD, text=tell("instruction.held", held=judgement.held))
            return Instruction(todo=ToDo.HOLD, text=_nearly(judgement.too_cold, judgement.too_hot))
        case _:
            return Instruction(todo=ToDo.WAIT, text=tell("instruction.in_window"))


def _off(now: Situation, low_c: float | None) -> Message:
    """With the power off no metal comes up to its window, unless it coasts there; that is said where it is waited for.

    low_c: where the window begins; None: nothing tells how far below it the metal is.
    """
    peak_c = None if now.ahead.peak_c is None else now.ahead.peak_c.mid
    rises = now.rate_c_per_min is not None and now.rate_c_per_min > STILL_C_PER_MIN
    coasts = low_c is not None and (rises or (peak_c is not None and peak_c >= low_c))
    said = low_c is not None or now.metal.was_out  # of metal that nobody read, nobody knows whether it wants heat
    return tell("instruction.power_is_off") if now.power_off and said and not coasts else NOTHING


def _no_aim(mould: NextMould, found: NoAim, *, fluid: bool) -> Instruction:
    """More heat is never the answer to that; while the charge melts, there is time to think of another."""
    if found.cause is NoAimCause.TURN:
        text = tell("instruction.own_lift", mould=mould.plan.name)
        why = tell("instruction.own_lift.why", loss_difference_c=found.loss_c, lip_lowest_c=found.lip_min_c)
        return Instruction(todo=ToDo.NO_AIM, text=text, why=why, must=fluid, mould=mould.plan.name)
    text = tell("instruction.no_safe_aim" if fluid else "instruction.no_aim_yet", mould=mould.plan.name)
    why = tell("instruction.no_safe_aim.why", lowest_c=found.needed_c, highest_c=found.allowed_c)
    if found.cause is NoAimCause.NOT_LIQUID:
        why = tell("instruction.no_aim_not_liquid.why", highest_c=found.lip_max_c)
    return Instruction(todo=ToDo.NO_AIM, text=text, why=why, must=fluid, mould=mould.plan.name)


def _nearly(too_cold: float, too_hot: float) -> Message:
    """Inside the window, but not surely so: say towards which side, and by how much."""
    if too_cold >= too_hot:
        return tell("instruction.hotter_is_surer", cold_share=too_cold)
    return tell("instruction.cooler_is_surer", hot_share=too_hot)
