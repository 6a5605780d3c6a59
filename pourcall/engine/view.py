"""The furnace as others see it: the situation, and what stands beside it, as a frozen snapshot. No rule is here."""

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import msgspec

from pourcall.contract.config import EngineConfig
from pourcall.contract.inputs import StoreProblem
from pourcall.contract.message import NOTHING, Told, tell
from pourcall.contract.plan import NoAimCause
from pourcall.contract.reading import Place, ProbeState
from pourcall.contract.snapshot import AheadView, DipView, FurnaceSnapshot, Interval, LastRead, ProbeView, WindowView
from pourcall.contract.status import STATUS_OF, Reason, Status
from pourcall.engine.alarms.manager import AlarmManager
from pourcall.engine.bath.dip_view import dip_view
from pourcall.engine.bath.dips import DipWatch, dip_spread_c
from pourcall.engine.bath.melt_arrests import MeltArrests
from pourcall.engine.bath.metal import VALID_S, aged_u_c
from pourcall.engine.calls import CallManager
from pourcall.engine.facts import ShopFacts
from pourcall.engine.guidance.guidance import ProfileGuidance
from pourcall.engine.instruction import instruct
from pourcall.engine.outputs import Outputs
from pourcall.engine.sensing.link_health import BoardLink
from pourcall.engine.sensing.measurement import ProbeChannel
from pourcall.engine.situation import NextMould, Situation

FALLS_C_PER_S = 0.5  # metal in a furnace with the power off; more than any that was seen (10 to 18 degC a minute; ours)


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
        too_cold=None if judgement is None or mould.no_aim else judgement.too_cold,
        too_hot=None if judgement is None or mould.no_aim else judgement.too_hot,
        no_aim=mould.no_aim,
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


def _unawaited(ahead: AheadView | None) -> AheadView | None:
    """The forecast without a time to a window that is none, or for which it lasts."""
    return None if ahead is None else msgspec.structs.replace(ahead, ready_s=None, why=NOTHING, cooling_s=None)


def _believable(ahead: AheadView | None, last: LastRead, mono_s: float) -> AheadView | None:
    """The forecast, unless it has the metal colder than it can have grown since it was read: then it followed something
    else (a charge told as cold that was not, figures that it never took in), and is worse than none."""
    span = None if ahead is None else ahead.model_c
    if span is None or span.high is None or last.cooled:
        return ahead
    coldest_c = last.temp_c - last.u_c - FALLS_C_PER_S * (mono_s - last.at_mono_s)
    return None if span.high < coldest_c else ahead


def _no_surer(ahead: AheadView | None, u_c: float) -> AheadView | None:
    """The estimate no surer than the figure it goes on from was when that grew too old: doubt grows till it is read."""
    span = None if ahead is None else ahead.model_c
    if ahead is None or span is None or span.mid is None or span.low is None or span.high is None:
        return ahead
    wide = Interval(span.mid, min(span.low, span.mid - u_c), max(span.high, span.mid + u_c))
    return msgspec.structs.replace(ahead, model_c=wide)


class Shown(NamedTuple):
    """What speaks for itself beside the situation."""

    calls: CallManager
    alarms: AlarmManager
    guiding: ProfileGuidance
    arrests: MeltArrests


class FurnaceView:
    """One furnace for others to look at. It reads its parts and changes none."""

    def __init__(
        self,
        config: EngineConfig,
        outputs: Outputs,
        facts: ShopFacts,
        channels: Sequence[ProbeChannel],
        watches: Mapping[str, DipWatch],
        links: Mapping[str, BoardLink],
        shown: Shown,
    ) -> None:
        self._config, self._outputs, self._facts = config, outputs, facts
        self._channels, self._watches, self._links, self._shown = channels, watches, links, shown

    def snapshot(self, now: Situation, flags: Mapping[str, int], store_problem: StoreProblem) -> FurnaceSnapshot:
        """The furnace as it stands after the last input."""
        facts, mono_s, shown = self._facts, self._outputs.mono_s, self._shown
        melt = now.melt
        calls = shown.calls.views()
        lifted = melt is not None and melt.lifted
        after = None if melt is None else melt.after_lift
        no_aim = None if melt is None or melt.next is None else melt.next.no_aim
        unserved = no_aim is not None
        timed = no_aim is None or no_aim.cause is NoAimCause.TURN  # in the hand it may arrive as its section wants
        chamber_only = not any(channel.tracker.place is Place.MELT for channel in self._channels)
        ahead = shown.guiding.ahead_view(mono_s, chamber_only=chamber_only)
        last = facts.last_read()
        if last is not None and now.metal.temp_c is None:
            counted_s = min(mono_s, last.at_mono_s + VALID_S)
            ahead = _believable(ahead, last, mono_s)
            ahead = _no_surer(ahead, aged_u_c(last.u_c, last.at_mono_s, counted_s, facts.power.maybe_on_until_s))
        return FurnaceSnapshot(
            furnace=self._config.furnace,
            seq=self._outputs.seq,
            mono_s=mono_s,
            utc_s=self._outputs.utc_s,
            kind=self._config.kind,
            rating_c=self._config.rating_c,
            melt="" if melt is None else melt.plan.melt,
            melt_began_mono_s=None if melt is None else melt.began_s,
            plan=None if melt is None else melt.plan,
            melt_state=now.state,
            flags={flag: level for flag, level in flags.items() if level},
            power=facts.power.level,
            applied_permille=facts.power.applied_permille,
            probes=tuple(probe_view(channel, mono_s) for channel in self._channels),
            metal=now.metal.view(now.rate_c_per_min),
            window=window_view(now),
            instruction=instruct(now, calls, asked=shown.guiding.asked),
            calls=calls,
            pour_call_ended=shown.calls.pour_ended,
            alarms=shown.alarms.views(),
            silenced_until_mono_s=shown.alarms.silenced_until_s,
            lift_mono_s=None if melt is None else melt.lift_s,
            countdown_s=after.left_s if lifted and after is not None and timed else None,
            last_read=last,
            last_dip=facts.dips[-1] if facts.dips else None,
            dips=now.dips[-3:],
            dip_spread_c=self._dip_spread_c(now),
            dip_now=self._dip_now(),
            arrest=shown.arrests.findings.text,
            ahead=None if now.metal.leaving else _unawaited(ahead) if unserved else ahead,
            profile=shown.guiding.profile_view(mono_s),
            pours=() if facts.run is None else tuple(facts.run.pours),
            in_kg=None if facts.run is None else facts.run.in_kg,
            unweighed=facts.run is not None and facts.run.unweighed,
            moulds_left=() if facts.run is None else facts.run.left,
            poured_earlier=() if facts.run is None else facts.run.poured_earlier(mono_s),
            boards={name: link.view for name, link in self._links.items()},
            store_problem=store_problem,
            simulated=self._config.simulated,
        )

    def _dip_spread_c(self, now: Situation) -> float | None:
        """How far the last three dips of the running melt lie apart; None: they tell nothing of it."""
        if not now.dips:
            return None
        return dip_spread_c(now.dips, self._facts.power.maybe_on_until_s)

    def _dip_now(self) -> DipView | None:
        """The dip that goes on, for the person who holds the probe."""
        watched = [(channel, self._watches[channel.config.name]) for channel in self._channels]
        alloy = None if self._facts.run is None else self._facts.run.plan.alloy
        return dip_view(watched, self._outputs.mono_s, alloy, power_on=self._facts.power.on_since_s is not None)
