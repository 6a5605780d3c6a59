"""One evaluation of a furnace: what is known of it becomes one situation; calls, flags and alarms are functions of it.

In: facts, probes, arrests and forecast as they stand. Out: the situation, frozen; what follows from it is said at once.
Not here: samples, links and time (core.py), what people tell (commands.py, facts.py).
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

from pourcall.contract import events as ev
from pourcall.contract.config import EngineConfig
from pourcall.contract.message import NOTHING, Message, Told, tell
from pourcall.contract.one_lift import one_lift
from pourcall.contract.questions import CALLED_LASTS_S
from pourcall.contract.reading import Place
from pourcall.contract.status import Reason
from pourcall.engine.alarms.blind import set_blind_conditions
from pourcall.engine.alarms.fume import DISTURBED_S, fume_level, set_fume_conditions
from pourcall.engine.alarms.temperatures import set_temperature_conditions
from pourcall.engine.bath.dips import DipWatch
from pourcall.engine.bath.metal import MetalNow, metal_now, metal_rate_c_per_min
from pourcall.engine.bath.two_probes import TwoProbes
from pourcall.engine.facts import ShopFacts
from pourcall.engine.guidance.coast_peaks import RISES_C_PER_MIN
from pourcall.engine.melt.melt_run import WORK_S, MeltRun
from pourcall.engine.melt.melt_state import Band, band_of, in_the_hand, next_state, why_in
from pourcall.engine.melt.pour_call import Judgement, hold_back, judge_pour, stir_first
from pourcall.engine.outputs import Outputs
from pourcall.engine.sensing.measurement import ProbeChannel
from pourcall.engine.situation import FASTEST_C_PER_MIN, Situation, closing_of, melt_of, next_mould, nothing_runs
from pourcall.engine.view import Shown, why_no_reading

IN_HAND_S = 20.0  # so long after a lift a probe that left has shown itself (SURE_MOST_S); one that has not is in it
SAME_READ_S = 1e-3  # a moment is worked out from ages
_POURABLE = (ev.MeltState.READY, ev.MeltState.ABOVE)


class Evaluation:
    """Of one furnace. `update` after whatever may have changed something."""

    def __init__(
        self,
        config: EngineConfig,
        outputs: Outputs,
        facts: ShopFacts,
        channels: Sequence[ProbeChannel],
        watches: Mapping[str, DipWatch],
        shown: Shown,
    ) -> None:
        self._config, self._outputs, self._facts = config, outputs, facts
        self._channels, self._watches = tuple(channels), watches
        self._by_name = {channel.config.name: channel for channel in channels}
        self._calls, self._alarms, self._guiding, self._arrests = shown
        self._two = TwoProbes(shown.alarms, config.furnace)
        self.situation: Situation = nothing_runs(
            MetalNow(None, 0.0, tell("figure.no_reading")), False, False, NOTHING, 0.0
        )
        self.flags: dict[str, int] = {}
        self.at_s = -1e9
        self._rose_s = -math.inf  # last time the metal was seen to
        self._ageing: tuple[MetalNow, float] | None = None  # the figure of one moment to call on, and when it was read
        self._spent_s = -math.inf  # when that was read which age alone has taken all use from
        self.ready_s = -math.inf  # last time the metal was in or above the window

    def update(self) -> None:
        """One situation; then everything that is a function of it."""
        self.at_s = self._outputs.mono_s
        before = self.situation.state
        now = self.situation = self._work_out()
        if now.state is not before:
            self._outputs.say(ev.MeltStateChanged, old=before, new=now.state, why=now.state_why)
        if now.state in _POURABLE:
            self.ready_s = now.mono_s
        elif now.melt is None:
            self.ready_s = self._rose_s = -math.inf  # of a melt that is over
        self._calls.update(now)
        self._set_flags(now)
        self._set_conditions(now)

    def _work_out(self) -> Situation:
        facts, mono_s, run = self._facts, self._outputs.mono_s, self._facts.run
        dips, power = facts.melt_dips(), facts.power
        in_bath = None if run is None or run.lifted(mono_s) else run.plan.alloy
        self._two.compare(self._channels, self._watches, in_bath, mono_s, self._outputs.utc_s)
        metal = metal_now(
            self._channels,
            self._watches,
            dips[-1] if dips else None,
            facts.typed,
            power.powered,
            mono_s,
            None if run is None else run.plan.alloy,
            disagree=bool(self._two.differ),
            back_s=-math.inf if run is None else run.back_s,
        )
        if run is not None and not run.lifted(mono_s):
            metal = self._leaving(run, self._aged(run, metal, mono_s), mono_s)
        unknown = why_no_reading(self._channels, metal.how) if metal.temp_c is None else NOTHING
        if run is None:
            self._ageing, self._spent_s = None, -math.inf
            return nothing_runs(metal, bool(power.off), power.on_since_s is not None, unknown, mono_s)
        rate, lifted = metal_rate_c_per_min(metal, self._by_name, mono_s), run.lifted(mono_s)
        stands_in_metal = metal.source is ev.FigureSource.PROBE
        if not lifted:
            facts.history.add(mono_s, metal)
        elif stands_in_metal and run.lift_s is not None and mono_s - run.lift_s >= IN_HAND_S:
            facts.history.add(mono_s, metal, in_hand=True)
        after = run.after_lift(facts.history, mono_s) if lifted else None
        state, why = (
            self._stands(run, metal, rate)
            if not lifted
            else in_the_hand(run.plan.alloy, after, (self.situation.state, self.situation.state_why))
        )
        mould = next_mould(run, None if lifted else self._judged(run, metal, rate))
        ahead = self._guiding.ahead(mono_s)
        return Situation(
            mono_s=mono_s,
            melt=melt_of(run, mould, after, mono_s, stands_in_metal=stands_in_metal),
            metal=metal,
            rate_c_per_min=rate,
            state=state,
            state_why=why,
            power_off=bool(power.off),
            power_on=power.on_since_s is not None,
            ahead=ahead,
            closing=closing_of(mould, metal, rate, ahead, said=bool(self._calls.up(ev.CallKind.WINDOW_CLOSING))),
            chamber_c=self._chamber_c(),
            can_dip=any(channel.tracker.place is Place.DIP for channel in self._channels),
            dipping=self._is_dipping(),
            dips=dips,
            power_doubt=self._guiding.heat.doubt,
            unknown=unknown,
            melting_missed=not lifted and self._missed(run, metal),
        )

    def called(self, channel: ProbeChannel) -> bool:
        """A pour was called when this probe began to leave the metal, or just before."""
        left_s, ended, up = channel.tracker.left_s, self._calls.pour_ended, self._calls.up(ev.CallKind.POUR)
        if left_s is None:
            return False
        if up is not None:
            return up.raised_mono_s <= left_s
        return ended is not None and ended.raised_mono_s <= left_s <= ended.ended_mono_s + CALLED_LASTS_S

    def may_be_lift(self, run: MeltRun, left_s: float) -> bool:
        """A probe that left the metal at that moment left with the pot: the metal was ready, or a pour just called."""
        if run.lifted(self._outputs.mono_s) or run.next_mould is None:
            return False
        ended = self._calls.pour_ended
        called_s = self.ready_s if ended is None else max(ended.ended_mono_s, self.ready_s)
        return run.back_s < left_s <= CALLED_LASTS_S + called_s

    def _leaving(self, run: MeltRun, metal: MetalNow, mono_s: float) -> MetalNow:
        """Nothing reads the metal, for its probe is leaving it, perhaps with the pot: it is as it was read last."""
        last = self._facts.last_read()
        if metal.temp_c is not None or last is None:
            return metal
        for channel in self._channels:
            left_s = channel.tracker.left_s
            if channel.tracker.place is not Place.MELT or channel.trust.alarm or left_s is None:
                continue
            if self.may_be_lift(run, left_s):
                how = tell(
                    "figure.perhaps_lifted", last_c=last.temp_c, last_u_c=last.u_c, age_s=mono_s - last.at_mono_s
                )
                return replace(metal, how=how, leaving=True, was_out=False)
        return metal

    def _aged(self, run: MeltRun, metal: MetalNow, mono_s: float) -> MetalNow:
        """A figure of one moment, until age alone has taken from it what it was called on for: then it is none.

        State, call and words end at the same moment, and no growing doubt makes a best aim of what was sure.
        """
        if metal.temp_c is None:
            if self._ageing is None:
                return metal
            last, read_s = self._ageing
            voided = self._facts.power.on_until_s >= read_s or run.back_s >= read_s or self._is_dipping()
            return metal if voided else _spent(last, mono_s - read_s)
        if metal.read_u_c is None:
            self._ageing = None
            return metal
        read_s = mono_s - metal.age_s
        fresh, now = self._judge(run, metal, metal.read_u_c), self._judge(run, metal, metal.u_c)
        self._ageing = (metal, read_s) if fresh is not None and fresh.pour else None
        if self._ageing is None or fresh is None or now is None:
            return metal
        if not now.pour or now.narrow is not fresh.narrow:
            self._spent_s = max(self._spent_s, read_s)
        return _spent(metal, metal.age_s) if read_s <= self._spent_s + SAME_READ_S else metal

    def _stands(self, run: MeltRun, metal: MetalNow, rate_c_per_min: float | None) -> tuple[ev.MeltState, Told]:
        """Where the melt stands in the furnace, and why."""
        was = self.situation.state
        if was is ev.MeltState.EMPTY:
            was = ev.MeltState.UNKNOWN
        band = band_of(metal.temp_c, rate_c_per_min, run.plan.alloy, run.tap_window_c, was)
        band, why = self._arrests.band(band, metal)
        return next_state(was, band), why or (metal.how if band is Band.NONE else why_in(band))

    def _is_dipping(self) -> bool:
        """Somebody holds a probe in just now."""
        for channel in self._channels:
            run = self._watches[channel.config.name].run
            tau_s = channel.tracker.rule.tau_metal_s
            if run is not None and channel.tracker.place is Place.DIP and not run.left_in(self._outputs.mono_s, tau_s):
                return True
        return False

    def _judged(self, run: MeltRun, metal: MetalNow, rate_c_per_min: float | None) -> Judgement | None:
        judgement = self._judge(run, metal, metal.u_c)
        if judgement is None:
            return None
        fresh = None if metal.read_u_c is None else self._judge(run, metal, metal.read_u_c)
        if fresh is not None and not fresh.pour:
            judgement = replace(judgement, pour=False)  # nor does age make it fit
        held = self._held_back(run, metal, rate_c_per_min)
        if held:
            return hold_back(judgement, held)
        unseen = metal.live and not self._arrests.melted and not self._at_hand(run)
        return stir_first(judgement) if unseen else judgement

    def _judge(self, run: MeltRun, metal: MetalNow, u_c: float) -> Judgement | None:
        """The figure for the mould that is next, by the doubt that it has, or had when it was read."""
        mould = run.next_mould
        if mould is None or metal.temp_c is None:
            return None
        return judge_pour(
            metal.temp_c,
            u_c,
            mould,
            run.plan,
            number=(run.next_index or 0) + 1,
            calling=self._calls.up(ev.CallKind.POUR) is not None,
            dipped=metal.dipped,
            typed=metal.source is ev.FigureSource.TYPED,
        )

    def _at_hand(self, run: MeltRun) -> bool:
        """Somebody has skimmed or poured since it was last solid for certain: nobody does that to what is solid."""
        solid_s = self._arrests.solid_s
        if run.skimmed_s is not None and run.skimmed_s > solid_s:
            return True
        if not run.pours:
            return run.has_poured  # before the daemon was away
        return any(pour.at_mono_s > solid_s for pour in run.pours)

    def _missed(self, run: MeltRun, metal: MetalNow) -> bool:
        """The probe in it should have seen it melt and has not: it may stand between lumps and see the pot."""
        if not metal.live or self._arrests.melted or self._at_hand(run):
            return False
        channel = self._by_name.get(metal.probe)  # it knows that it was in solid metal, also where it moved since
        return self._arrests.missed(metal.probe) or (channel is not None and channel.tracker.between_lumps)

    def _held_back(self, run: MeltRun, metal: MetalNow, rate_c_per_min: float | None) -> Message:
        """Why nothing is poured now, though the figures fit; nothing: nothing is against it.

        The power is in question; an arrest goes on, or was missed by a probe that should have seen it; two probes are
        far apart; the figure moves as no pot can; it still rises to where all moulds can be poured from one lift.
        """
        doubt = self._guiding.heat.doubt
        if doubt is not None and doubt.holds_back(metal):
            return tell("call.pour.power_in_question")
        held = self._arrests.findings.held_back or self._two.far
        if not held:
            held = self._not_read_surely(metal)
        if not held and self._missed(run, metal):
            held = tell("call.pour.melting_missed")
        if not held and metal.live and rate_c_per_min is not None and abs(rate_c_per_min) > FASTEST_C_PER_MIN:
            held = tell("call.pour.moves", by_c_per_min=abs(rate_c_per_min))
        return held or self._hotter_for_all(run, metal, rate_c_per_min)

    def _not_read_surely(self, metal: MetalNow) -> Message:
        """A figure of one moment with the power on, or out of reach of the one before."""
        if metal.doubted:
            return tell("call.pour.out_of_reach")
        dipping_on = metal.live and self._is_dipping() and self._facts.power.on_since_s is not None
        return tell("call.pour.power_first") if metal.powered or dipping_on else NOTHING

    def _hotter_for_all(self, run: MeltRun, metal: MetalNow, rate_c_per_min: float | None) -> Message:
        """Hot enough for this mould alone: lifted now, the later ones would be too cold in their turn."""
        left, metal_c, first = run.to_pour, metal.temp_c, run.next_mould
        rises = self._rises(run, metal, rate_c_per_min)
        calling = self._calls.up(ev.CallKind.POUR) is not None
        if len(left) < 2 or first is None or metal_c is None or not rises or calling:
            return NOTHING
        together = one_lift(run.plan, left)
        if not together.suits or metal_c >= together.lowest_c:
            return NOTHING
        if not judge_pour(together.lowest_c, metal.u_c, first, run.plan, number=1).pour:
            return NOTHING  # by then the first of them could not be poured surely: better this one than none
        return tell("call.pour.hotter_for_all", needed_c=together.lowest_c, count=len(left))

    def _rises(self, run: MeltRun, metal: MetalNow, rate_c_per_min: float | None) -> bool:
        """It does, or did till somebody opened the lid or skimmed: with the power on it will again."""
        mono_s = self._outputs.mono_s
        if metal.live and rate_c_per_min is not None and rate_c_per_min > RISES_C_PER_MIN:
            self._rose_s = mono_s
            return True
        if self._facts.power.off:
            return False
        paused_s = mono_s - self._rose_s
        return paused_s < WORK_S or (run.worked(mono_s) and paused_s < 2.0 * WORK_S)

    def _chamber_c(self) -> float | None:
        chamber = next((c for c in self._channels if c.tracker.place is Place.CHAMBER), None)
        return None if chamber is None or chamber.last is None or not chamber.usable else chamber.last.temp_c

    # -- functions of the situation -----------------------------------------------------------------------------------

    def _set_flags(self, now: Situation) -> None:
        melt = now.melt
        unread = melt is not None and not melt.lifted and now.metal.temp_c is None
        self._set_flag(ev.Flag.NO_METAL_READING, int(unread))
        level = 0
        if melt is not None:
            skimmed = melt.skimmed_s is not None and now.mono_s - melt.skimmed_s < DISTURBED_S
            level = self.flags.get(ev.Flag.FUME, 0)
            level = fume_level(melt.plan, now.for_limits_c, disturbed=skimmed or melt.lifted, level=level)
        self._set_flag(ev.Flag.FUME, level)

    def _set_flag(self, flag: ev.Flag, level: int) -> None:
        if self.flags.get(flag, 0) != level:
            self.flags[flag] = level
            self._outputs.say(ev.FlagChanged, flag=flag, level=level)

    def _set_conditions(self, now: Situation) -> None:
        """Alarms on temperatures. Limits and fume hold in the hand as in the furnace; a window only in the furnace.

        A probe that should have seen its charge melt and has not may stand between dry lumps and see the pot: of the
        window that is no word yet, and a stir is asked for; the limits of alloy and pot hold whatever it stands in.
        """
        melt, mono_s, utc_s = now.melt, now.mono_s, self._outputs.utc_s
        watched = None if melt is None or melt.lifted else melt.plan
        known = now.metal.temp_c is not None
        set_blind_conditions(self._alarms, self._channels, mono_s, utc_s, watched=watched, known=known)
        if melt is None:
            set_temperature_conditions(self._alarms, self._config, None, None, None, self._channels, mono_s, utc_s)
            return
        level, metal_c = self.flags.get(ev.Flag.FUME, 0), now.for_limits_c
        set_fume_conditions(self._alarms, melt.plan, self._config.furnace, metal_c, level, mono_s, utc_s)
        set_temperature_conditions(
            self._alarms,
            self._config,
            melt.plan,
            metal_c,
            None if melt.lifted else now.rate_c_per_min,
            self._channels,
            mono_s,
            utc_s,
            tap_max_c=None if melt.next is None or melt.lifted or now.melting_missed else melt.next.tap_c[1],
        )


def _spent(figure: MetalNow, age_s: float) -> MetalNow:
    """What was a figure, and is too old to go by."""
    how = tell("figure.too_old", how=figure.how)
    return MetalNow(None, 0.0, how, age_s=age_s, reason=Reason.WAITING, spent=True)
