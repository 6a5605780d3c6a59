"""The furnace as others see it: the situation, and what stands beside it, as a frozen snapshot. No rule is here."""

from collections.abc import Sequence

from pourcall.contract.message import Told, tell
from pourcall.contract.reading import Place, ProbeState
from pourcall.contract.snapshot import ProbeView, WindowView
from pourcall.contract.status import STATUS_OF, Reason, Status
from pourcall.engine.sensing.measurement import ProbeChannel
from pourcall.engine.situation import NextMould, Situation


def probe_view(channel: ProbeChannel, mono_s: float) -> ProbeView:
    """One probe as it stands."""
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


def window_view(now: Situation) -> WindowView | None:
    """The window of the mould that is next; None: no melt, or no mould is left."""
    mould: NextMould | None = None if now.melt is None else now.melt.next
    if mould is None:
        return None
    judgement, after = mould.judgement, None if now.melt is None else now.melt.after_lift
    return WindowView(
        mould=mould.plan.name,
        index=mould.number - 1,
        of=mould.of,
        lip_min_c=mould.lip_c[0],
        lip_max_c=mould.lip_c[1],
        tap_min_c=mould.tap_c[0],
        tap_max_c=mould.tap_c[1],
        loss_c=mould.plan.loss_c,
        why=mould.plan.why,
        lip_now_c=judgement.lip_c if judgement is not None else None if after is None else after.lip_c,
        too_cold=None if judgement is None else judgement.too_cold,
        too_hot=None if judgement is None else judgement.too_hot,
    )


def why_no_reading(channels: Sequence[ProbeChannel], how: Told) -> Told:
    """Why nothing tells the metal's temperature: the probe that should, and what it wants; else as it is known."""
    for channel in channels:
        reading = channel.last
        if channel.tracker.place is not Place.MELT:
            continue
        reason = Reason.WAITING if reading is None else reading.reason
        if STATUS_OF[reason] is Status.BAD:
            probe = channel.config.name.replace("_", " ")
            return tell("instruction.no_temperature", probe=probe, reason=reason.value)
        if channel.tracker.state is ProbeState.OUT and not channel.tracker.been_in:
            return tell("instruction.warming")
    return how
