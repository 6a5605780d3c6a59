"""The engine as others see it. State into a frozen snapshot, and into the one instruction in words."""

from typing import TYPE_CHECKING

from pourcall.contract.events import CallKind, MeltState
from pourcall.contract.inputs import PowerLevel
from pourcall.contract.message import Message, tell
from pourcall.contract.plan import lip_window_c, tap_window_c
from pourcall.contract.reading import Place, ProbeState
from pourcall.contract.snapshot import FurnaceSnapshot, Instruction, ProbeView, ToDo, WindowView
from pourcall.contract.status import STATUS_OF, Reason, Status
from pourcall.engine.bath.metal import MetalNow
from pourcall.engine.melt.melt_state import MELT_TABLE, Band
from pourcall.engine.melt.pour_call import Judgement
from pourcall.engine.sensing.measurement import ProbeChannel

if TYPE_CHECKING:
    from pourcall.engine.core import Engine

_BAND_WHY: dict[Band, str] = {
    Band.NONE: "nothing tells the metal's temperature",
    Band.COLD: "below the solidus",
    Band.MUSHY: "between solidus and fully liquid",
    Band.MUSHY_RISING: "between solidus and fully liquid, rising",
    Band.FLUID: "liquid, below the pour window",
    Band.WINDOW: "inside the pour window",
    Band.OVER: "above the pour window",
}


def next_state(state: MeltState, band: Band) -> MeltState:
    """One step in the table."""
    return MELT_TABLE[state, band]


def state_why(band: Band, metal: MetalNow) -> str:
    """Why the melt stands where it does, in words."""
    return metal.how if band is Band.NONE else _BAND_WHY[band]


def snapshot(engine: "Engine") -> FurnaceSnapshot:
    """The furnace as it stands."""
    run, mono_s = engine.run, engine.mono_s
    return FurnaceSnapshot(
        furnace=engine.config.furnace,
        seq=engine.seq,
        mono_s=mono_s,
        utc_s=engine.utc_s,
        kind=engine.config.kind,
        melt="" if run is None else run.plan.melt,
        melt_began_mono_s=None if run is None else run.began_s,
        plan=None if run is None else run.plan,
        melt_state=engine.state,
        flags={flag: level for flag, level in engine.flags.items() if level},
        power=engine.power.level,
        applied_permille=engine.power.applied_permille,
        probes=tuple(_probe(channel, mono_s) for channel in engine.channels),
        metal=engine.metal.view(engine.rate_c_per_min),
        window=_window(engine),
        instruction=instruction(engine),
        calls=engine.calls.views(),
        alarms=engine.alarms.views(),
        silenced_until_mono_s=engine.alarms.silenced_until_s,
        lift_mono_s=None if run is None else run.lift_s,
        countdown_s=None if run is None or not run.lifted(mono_s) else run.countdown_s(engine.history, mono_s),
        last_dip=engine.dips[-1] if engine.dips else None,
        dips=engine.melt_dips()[-3:],
        dip_spread_c=engine.dip_spread_c(),
        dip_now=engine.dip_now(),
        arrest=engine.arrests.findings.text,
        ahead=engine.guiding.ahead_view(mono_s, chamber_only=_no_probe_stays(engine)),
        profile=engine.guiding.profile_view(mono_s),
        pours=() if run is None else tuple(run.pours),
        boards={name: link.words for name, link in engine.links.items()},
        store_problem=engine.store_problem,
        simulated=engine.config.simulated,
    )


def _no_probe_stays(engine: "Engine") -> bool:
    """Nothing is left in the metal: dips, or the chamber alone."""
    return not any(channel.tracker.place is Place.MELT for channel in engine.channels)


def _probe(channel: ProbeChannel, mono_s: float) -> ProbeView:
    reading = channel.last
    reason = Reason.WAITING if reading is None else reading.reason
    temp_c = None if reading is None else reading.temp_c
    return ProbeView(
        name=channel.config.name,
        place=channel.tracker.place,
        state=channel.tracker.state,
        temp_c=temp_c,
        u_c=None if temp_c is None else channel.u_c,
        status=STATUS_OF[reason],
        reason=reason,
        rate_c_per_min=channel.tracker.trend.rate_c_per_min(20.0) if temp_c is not None else None,
        age_s=0.0 if reading is None else max(0.0, mono_s - reading.at_mono_s),
        tc_type=channel.config.tc_type,
    )


def _window(engine: "Engine") -> WindowView | None:
    run = engine.run
    if run is None or run.next_mould is None or run.next_index is None:
        return None
    mould, judgement = run.next_mould, engine.judgement
    low_c, high_c = lip_window_c(mould, run.plan)
    tap_low_c, tap_high_c = tap_window_c(mould, run.plan)
    return WindowView(
        mould=mould.name,
        index=run.next_index,
        of=len(run.plan.moulds),
        lip_min_c=low_c,
        lip_max_c=high_c,
        tap_min_c=tap_low_c,
        tap_max_c=tap_high_c,
        loss_c=mould.loss_c,
        why=mould.why,
        lip_now_c=None if judgement is None else judgement.lip_c,
        too_cold=None if judgement is None else judgement.too_cold,
        too_hot=None if judgement is None else judgement.too_hot,
    )


def instruction(engine: "Engine") -> Instruction:
    """The one thing to do now, or how things stand."""
    run, metal = engine.run, engine.metal
    if run is None:
        return Instruction(todo=ToDo.START, text=tell("instruction.start"))
    if run.lifted(engine.mono_s):
        mould = run.next_mould
        if mould is None:
            return Instruction(todo=ToDo.EMPTY, text=tell("instruction.empty"), must=True)
        text = tell(
            "instruction.mark_pour", mould=mould.name, number=(run.next_index or 0) + 1, of=len(run.plan.moulds)
        )
        return Instruction(todo=ToDo.MARK_POUR, text=text, must=True, mould=mould.name)
    calls = engine.calls.views()
    if calls:
        call = calls[0]
        level = dial = None
        if call.kind is CallKind.CUT_POWER:
            level = PowerLevel.OFF
        elif call.kind is CallKind.STEP:
            level, dial = engine.guiding.asked
        return Instruction(
            todo=_TODO[call.kind],
            text=call.text,
            why=call.why,
            must=True,
            call=call.kind,
            mould=call.mould,
            level=level,
            dial=dial,
        )
    if run.next_mould is None:
        return Instruction(todo=ToDo.EMPTY, text=tell("instruction.empty"), must=True)
    if metal.temp_c is None:
        return Instruction(todo=ToDo.WAIT, text=_unknown(engine))
    low_c, high_c = tap_window_c(run.next_mould, run.plan)
    state = engine.state
    to_go_c = max(low_c - metal.temp_c, 0.0)
    match state:
        case MeltState.SOLID | MeltState.MELTING | MeltState.FREEZING | MeltState.LIQUID:
            return Instruction(todo=ToDo.WAIT, text=tell(f"instruction.{state.value}", to_go_difference_c=to_go_c))
        case MeltState.ABOVE:
            over_c = metal.temp_c - high_c
            return Instruction(todo=ToDo.COOL, text=tell("instruction.above", over_difference_c=over_c))
        case MeltState.READY if CallKind.POUR in run.not_now:
            return Instruction(todo=ToDo.WAIT, text=tell("instruction.not_now", metal_c=metal.temp_c))
        case MeltState.READY if engine.judgement is not None and not engine.judgement.pour:
            return Instruction(todo=ToDo.WAIT, text=_nearly(engine.judgement))
        case _:
            return Instruction(todo=ToDo.WAIT, text=tell("instruction.in_window"))


_TODO = {
    CallKind.CUT_POWER: ToDo.CUT,
    CallKind.WINDOW_CLOSING: ToDo.POUR_SOON,
    CallKind.POUR: ToDo.POUR,
    CallKind.DIP: ToDo.DIP,
    CallKind.SKIM: ToDo.SKIM,
    CallKind.STEP: ToDo.STEP,
}


def _nearly(judgement: Judgement) -> Message:
    """Inside the window, but not surely so: say towards which side, and by how much."""
    if judgement.too_cold >= judgement.too_hot:
        return tell("instruction.hotter_is_surer", cold_share=judgement.too_cold)
    return tell("instruction.cooler_is_surer", hot_share=judgement.too_hot)


def _unknown(engine: "Engine") -> Message:
    """Nothing tells the metal's temperature: which probe is why, and what it wants."""
    for channel in engine.channels:
        reading = channel.last
        if channel.tracker.place is Place.MELT:
            if reading is None or STATUS_OF[reading.reason] is Status.BAD:
                reason = Reason.WAITING if reading is None else reading.reason
                return tell(
                    "instruction.no_temperature",
                    probe=channel.config.name.replace("_", " "),
                    reason=reason.value,
                )
            if channel.tracker.state is ProbeState.OUT and not channel.tracker.been_in:
                return tell("instruction.warming")
    return tell("instruction.unknown", how=engine.metal.how)
