"""Calls, the instructions that are not alarms. When each is raised, repeated, answered and over.

Each is a function of the situation (situation.py); a call is only as old as the reason for it. What an answer leads
to stands in commands.py and facts.py.
"""

import math
from collections.abc import Callable, Sequence

from pourcall.contract.events import CallHow, CallKind, CallView, Dip, DipFault, MeltState
from pourcall.contract.inputs import NOT_NOW_S
from pourcall.contract.message import NOTHING, Told, tell
from pourcall.contract.plan import SKIM_BELOW_C
from pourcall.contract.snapshot import PourCallEnded
from pourcall.engine.guidance.coast_peaks import (
    BLIND_S,
    RISES_C_PER_MIN,
    CoastPeaks,
    cut_is_due,
    cut_is_over,
)
from pourcall.engine.melt.melt_run import MeltRun
from pourcall.engine.situation import Melt, NextMould, Side, Situation, good_dips

REPEAT_S: dict[CallKind, float] = {
    CallKind.CUT_POWER: 5.0,
    CallKind.POUR: 10.0,
    CallKind.WINDOW_CLOSING: 5.0,
    CallKind.SKIM: 0.0,
    CallKind.DIP: 0.0,
    CallKind.STEP: 0.0,
    CallKind.CHECK_POWER: 0.0,
}
# The most harm first: what heat does cannot be taken back, a window that closes can be waited for again.
BY_HARM = (
    CallKind.CUT_POWER,
    CallKind.CHECK_POWER,
    CallKind.WINDOW_CLOSING,
    CallKind.POUR,
    CallKind.DIP,
    CallKind.STEP,
    CallKind.SKIM,
)
DWELL_S = 3.0  # a judgement must hold so long before it is called
CUT_AHEAD_S = 60.0  # a person needs this from the call to the knob and the furnace to feel it
CHAMBER_HOT_S = 120.0
CUT_AGAIN_S = 120.0  # after an answer, or after it rose less: a cut is not asked for again at once
DIP_AGAIN_LEAST_S, DIP_AGAIN_MOST_S = 60.0, 300.0
DIP_AGAIN_SOLID_S, DIP_AGAIN_MUSHY_S = 150.0, 75.0  # after a dip that found it solid, or not yet liquid
DIP_AGAIN_BAD_S = 20.0  # after one that was of no use for other reasons
SKIM_LASTS_S = 120.0  # nobody answers every call; then the instruction is free for what comes next
STEP_LASTS_S = 90.0


class CallManager:
    """All calls of one furnace. `said` receives (call, how, why)."""

    def __init__(self, said: Callable[[CallView, CallHow, Told], None]) -> None:
        self._said = said
        self._up: dict[CallKind, CallView] = {}
        self._last_said_s: dict[CallKind, float] = {}
        self._fits_since_s: float | None = None
        self._cut_rate = 0.0
        self._cut_over_s = -1e9
        self._chamber_hot_s: float | None = None
        self._skim_called = False
        self._step_waits = False  # the step that is up stays until it is told
        self.pour_ended: PourCallEnded | None = None  # the last that was neither answered nor followed by a lift

    # -- bookkeeping --------------------------------------------------------------------------------------------------

    def up(self, kind: CallKind) -> CallView | None:
        """The call as it stands, if it is up."""
        return self._up.get(kind)

    def views(self) -> tuple[CallView, ...]:
        """All calls that are up, by harm."""
        return tuple(call for kind in BY_HARM if (call := self._up.get(kind)) is not None)

    def new_melt(self) -> None:
        """Nothing that was said or answered in the melt before counts."""
        self.clear(tell("call.ended.new_melt"))
        self._cut_rate, self._cut_over_s, self.pour_ended = 0.0, -1e9, None
        self._step_waits = False

    def clear(self, why: Told, *, keep: CallKind | None = None) -> None:
        """End all (the melt ended, or the plan changed; what a profile waits for is not of the plan)."""
        for kind in list(self._up):
            if kind is not keep:
                self.end(kind, why)
        self._fits_since_s = None
        self._skim_called = False
        self._chamber_hot_s = None

    def end(self, kind: CallKind, why: Told) -> None:
        """One call is over."""
        call = self._up.pop(kind, None)
        if call is not None:
            self._said(call, CallHow.ENDED, why)

    def answered(self, kind: CallKind, mono_s: float, *, done: bool) -> None:
        """A person answered it: a cut is not asked for again at once; a skim that was put off is, when it is heard."""
        if kind is CallKind.CUT_POWER:
            self._cut_over_s = mono_s
        if kind is CallKind.SKIM and not done:
            self._skim_called = False

    def _raise(self, kind: CallKind, text: Told, why: Told, mono_s: float, mould: str = "") -> None:
        call = self._up.get(kind)
        if call is None:
            call = CallView(kind=kind, text=text, why=why, raised_mono_s=mono_s, repeat_s=REPEAT_S[kind], mould=mould)
            self._up[kind] = call
            self._last_said_s[kind] = mono_s
            self._said(call, CallHow.RAISED, why)
            return
        said, repeated = call.said, False
        if call.repeat_s and mono_s - self._last_said_s[kind] >= call.repeat_s:
            self._last_said_s[kind] = mono_s
            said, repeated = said + 1, True
        if repeated or text != call.text or why != call.why:
            call = CallView(
                kind=kind,
                text=text,
                why=why,
                raised_mono_s=call.raised_mono_s,
                repeat_s=call.repeat_s,
                said=said,
                mould=mould,
            )
            self._up[kind] = call
        if repeated:
            self._said(call, CallHow.REPEATED, why)

    # -- what a profile says ------------------------------------------------------------------------------------------

    def cut(self, text: Told, why: Told, mono_s: float) -> None:
        """The profile wants the power cut; said again each time it says so."""
        self._raise(CallKind.CUT_POWER, text, why, mono_s)

    def step(self, text: Told, why: Told, mono_s: float, *, until_told: bool = False) -> None:
        """The next step of a profile takes the place of the one before."""
        self.end(CallKind.STEP, tell("call.ended.next_step"))
        self._step_waits = until_told
        self._raise(CallKind.STEP, text, why, mono_s)

    # -- the rules ----------------------------------------------------------------------------------------------------

    def update(self, now: Situation) -> None:
        """Raise, repeat and end what the situation asks for; a few times a second while a melt runs."""
        melt = now.melt
        if melt is None:
            return
        if melt.lifted:
            for kind in list(self._up):
                self.end(kind, tell("call.ended.lifted"))
            self._fits_since_s = self._chamber_hot_s = self.pour_ended = None
            return
        self._check_power(melt, now)
        self._pour(melt, now)
        self._closing(melt, now)
        if not now.ahead.guided:
            self._cut(melt, now)
        step = self._up.get(CallKind.STEP)
        if step is not None and not self._step_waits and now.mono_s - step.raised_mono_s >= STEP_LASTS_S:
            self.end(CallKind.STEP, tell("call.ended.long_enough"))
        self._skim(melt, now)
        self._dip(melt, now)

    def _check_power(self, melt: Melt, now: Situation) -> None:
        """A probe reads what the furnace cannot have made: is the power as it was marked."""
        doubt = now.power_doubt
        if doubt is None or not doubt.asked:
            self.end(CallKind.CHECK_POWER, tell(f"call.ended.power_{'agrees' if doubt is None else 'unanswered'}"))
        elif CallKind.CHECK_POWER not in melt.not_now:
            text = tell(f"call.check_power.{doubt.side.value}")
            why = tell(f"call.check_power.{doubt.side.value}.why", reads_c=doubt.temp_c, bound_c=doubt.bound_c)
            self._raise(CallKind.CHECK_POWER, text, why, now.mono_s)

    def _pour(self, melt: Melt, now: Situation) -> None:
        mould = melt.next
        judgement = None if mould is None else mould.judgement
        good = (
            judgement is not None
            and judgement.pour
            and now.fluid
            and now.state is not MeltState.ABOVE
            and not (now.metal.held and not self._is_up_pour())
        )
        if not good or judgement is None or mould is None:
            self._fits_since_s = None
            if self._is_up_pour():
                call, why = self._up[CallKind.POUR], _why_no_more(now, mould)
                self.pour_ended = PourCallEnded(
                    mould=call.mould, raised_mono_s=call.raised_mono_s, ended_mono_s=now.mono_s, why=why
                )
                self.end(CallKind.POUR, why)
            return
        if self._fits_since_s is None:
            self._fits_since_s = now.mono_s
        dwell_s = 0.0 if now.metal.dipped and not now.metal.live else DWELL_S
        if now.mono_s - self._fits_since_s >= dwell_s and CallKind.POUR not in melt.not_now:
            self._raise(CallKind.POUR, judgement.text, judgement.why, now.mono_s, mould.plan.name)

    def _is_up_pour(self) -> bool:
        return CallKind.POUR in self._up

    def _closing(self, melt: Melt, now: Situation) -> None:
        """The window is about to be left while the pour call is up (or was put off)."""
        mould, closing = melt.next, now.closing
        open_now = self._is_up_pour() or CallKind.POUR in melt.not_now
        if not open_now or closing is None or mould is None or mould.judgement is None or not mould.judgement.pour:
            self.end(CallKind.WINDOW_CLOSING, tell("call.ended.not_closing"))
            return
        if CallKind.WINDOW_CLOSING in melt.not_now:
            return
        about_s = float(max(10, int(closing.left_s / 10.0) * 10))
        name, rate = mould.plan.name, abs(closing.rate_c_per_min)
        if closing.side is Side.COLD:
            text = tell("call.closing.cold", mould=name, about_s=about_s)
            why = tell("call.closing.falls", by_c_per_min=rate)
        else:
            text = tell("call.closing.hot", mould=name, about_s=about_s)
            why = tell("call.closing.rises", by_c_per_min=rate)
        self._raise(CallKind.WINDOW_CLOSING, text, why, now.mono_s, name)

    def _cut(self, melt: Melt, now: Situation) -> None:
        mould, metal, rate, due = melt.next, now.metal, now.rate_c_per_min, now.ahead.cut_due
        if CallKind.CUT_POWER in self._up:
            over = cut_is_over(self._cut_rate, rate, off=now.power_off)
            unknown = metal.temp_c is None and due is None
            if over or unknown:
                if over:  # a figure that is lost for a moment answers nothing
                    self._cut_over_s = now.mono_s
                self.end(CallKind.CUT_POWER, tell("call.ended.power_off" if now.power_off else "call.ended.rises_less"))
                return
        if mould is None or now.power_off:
            return
        if now.mono_s - self._cut_over_s < CUT_AGAIN_S or CallKind.CUT_POWER in melt.not_now:
            return
        aim_c = mould.aim_c
        why: Told
        if due is not None:
            if not due and CallKind.CUT_POWER not in self._up:
                return
            text = tell("call.cut.coasts", aim_c=aim_c)
            why = tell("call.cut.learned") if metal.temp_c is None else tell("call.cut.now", metal_c=metal.temp_c)
        elif now.power_on and not metal.live and metal.temp_c is not None and metal.temp_c > mould.tap_c[1]:
            text = tell("call.cut.above")
            why = tell("call.cut.above.why", metal_c=metal.temp_c, highest_c=mould.tap_c[1])
        elif now.power_on and not metal.live and metal.temp_c is not None and metal.temp_c >= aim_c:
            text, why = tell("call.cut.at_aim", aim_c=aim_c), tell("call.pour.power_first")
        else:
            if metal.temp_c is None or not metal.live or rate is None or rate <= RISES_C_PER_MIN:
                return
            rises_on = CoastPeaks(None, metal.temp_c, rate)
            if metal.temp_c <= melt.plan.alloy.liquidus_c or not cut_is_due(rises_on, CUT_AHEAD_S - BLIND_S, aim_c):
                return
            text = tell("call.cut.within_a_minute", aim_c=aim_c)
            why = tell("call.cut.rising", metal_c=metal.temp_c, by_c_per_min=rate)
        if CallKind.CUT_POWER not in self._up:
            self._cut_rate = rate or 0.0
        self._raise(CallKind.CUT_POWER, text, why, now.mono_s, mould.plan.name)

    def _skim(self, melt: Melt, now: Situation) -> None:
        mould = melt.next
        call = self._up.get(CallKind.SKIM)
        skimmed = melt.skimmed_s is not None and not now.melting_missed  # a skim of what was solid is none
        if call is not None:
            if skimmed:
                self.end(CallKind.SKIM, tell("call.ended.skimmed"))
            elif self._is_up_pour() or (now.mono_s - call.raised_mono_s >= SKIM_LASTS_S and not now.melting_missed):
                self.end(CallKind.SKIM, tell("call.ended.next_step"))
        if now.over_limit_c is not None:
            self.end(CallKind.SKIM, tell("call.ended.over_limit"))
            return
        called = self._skim_called and not now.melting_missed
        if call is not None or called or skimmed or mould is None or now.metal.temp_c is None:
            return
        near = now.metal.temp_c >= mould.tap_c[0] - SKIM_BELOW_C
        if CallKind.SKIM in melt.not_now or self._is_up_pour():
            return
        if near and now.state in (MeltState.LIQUID, MeltState.READY):
            self._skim_called = True
            why = tell("call.skim.melting_missed" if now.melting_missed else "call.skim.why")
            self._raise(CallKind.SKIM, tell("call.skim"), why, now.mono_s)

    def _dip(self, melt: Melt, now: Situation) -> None:
        """Ask for a dip where only a dip can tell."""
        mould = melt.next
        if now.dipping:  # it is being done; its figure may come and go meanwhile
            self.end(CallKind.DIP, tell("call.ended.dipped"))
            return
        if mould is None or now.metal.temp_c is not None:
            self.end(CallKind.DIP, tell("call.ended.known"))
            self._chamber_hot_s = None
            return
        hot = now.chamber_c is not None and now.chamber_c >= mould.tap_c[0]
        if not hot:
            self._chamber_hot_s = None
        elif self._chamber_hot_s is None:
            self._chamber_hot_s = now.mono_s
        up = self._up.get(CallKind.DIP)
        if up is not None and now.dips and now.dips[-1].ended_mono_s >= up.raised_mono_s:
            self.end(CallKind.DIP, tell("call.ended.dipped"))
        why = self._why_dip(mould, now)
        if why and CallKind.DIP not in melt.not_now:
            self._raise(CallKind.DIP, tell("call.dip"), why, now.mono_s)

    def _why_dip(self, mould: NextMould, now: Situation) -> Told:
        """Why a dip should be made now; nothing: it need not be."""
        if self._chamber_hot_s is not None and now.mono_s - self._chamber_hot_s >= CHAMBER_HOT_S:
            return tell("call.dip.chamber_hot")
        if not now.can_dip:
            return NOTHING
        if now.metal.spent:
            return tell("call.dip.too_old")
        dips, good, ahead = now.dips, good_dips(now.dips), now.ahead
        since_s = now.mono_s - dips[-1].ended_mono_s if dips else math.inf
        if dips:
            wait_s = _dip_again_s(good, mould.aim_c)
            if good and ahead.ready_s is not None:
                wait_s = min(wait_s, max(DIP_AGAIN_LEAST_S, ahead.ready_s))
            if since_s >= wait_s:
                return tell("call.dip.too_old")
        could_c = ahead.could_be_c
        unseen = not good and since_s >= _dip_again_bad_s(dips[-1].fault if dips else None)
        if unseen and could_c is not None and could_c >= mould.tap_c[0]:
            return tell("call.dip.could_be", could_be_c=could_c)
        return NOTHING


def put_off(kind: CallKind, run: MeltRun, mono_s: float) -> None:
    """*Not now* to a call: it is not heard for two minutes."""
    run.put_off(kind, mono_s + NOT_NOW_S)


def _why_no_more(now: Situation, mould: NextMould | None) -> Told:
    """Why a pour call is over."""
    if now.metal.leaving:
        return tell("figure.leaving")  # what is asked of the person beside it is no reason
    if mould is None or mould.judgement is None:
        return tell("call.ended.left_window") if now.metal.temp_c is not None else now.metal.how
    return mould.judgement.held or tell("call.ended.left_window")


def _dip_again_bad_s(fault: DipFault | None) -> float:
    """Seconds from a dip that gave no figure to the next, by what was wrong with it."""
    if fault is DipFault.SOLID:
        return DIP_AGAIN_SOLID_S
    return DIP_AGAIN_MUSHY_S if fault is not None and fault.below_liquidus else DIP_AGAIN_BAD_S


def _dip_again_s(good: Sequence[Dip], aim_c: float) -> float:
    """Seconds from the last dip to the next: when the last two, drawn on, reach the aim; 60 to 300 s."""
    if len(good) >= 2:
        one, two = good[-2], good[-1]
        if one.temp_c is not None and two.temp_c is not None and two.ended_mono_s > one.ended_mono_s:
            rate = (two.temp_c - one.temp_c) / (two.ended_mono_s - one.ended_mono_s)
            if rate > 0.0 and aim_c > two.temp_c:
                return min(max((aim_c - two.temp_c) / rate, DIP_AGAIN_LEAST_S), DIP_AGAIN_MOST_S)
    return DIP_AGAIN_MOST_S if not good else DIP_AGAIN_LEAST_S + 60.0
