"""Calls, the instructions that are not alarms. When each is raised, repeated, answered and over."""

import math
from collections.abc import Callable

from pourcall.contract.events import CallKind, CallView, Dip, DipFault, MeltState
from pourcall.contract.inputs import Answer
from pourcall.contract.message import Told
from pourcall.contract.plan import MouldPlan, tap_window_c
from pourcall.contract.units import say_c
from pourcall.engine.bath.metal import MetalNow
from pourcall.engine.melt.melt_run import MeltRun, PowerKnob
from pourcall.engine.melt.pour_call import Judgement

REPEAT_S: dict[CallKind, float] = {
    CallKind.CUT_POWER: 5.0,
    CallKind.POUR: 10.0,
    CallKind.WINDOW_CLOSING: 5.0,
    CallKind.SKIM: 0.0,
    CallKind.DIP: 0.0,
    CallKind.ADD: 0.0,
    CallKind.STEP: 0.0,
}
NOT_NOW_S = 120.0
DWELL_S = 3.0  # a judgement must hold so long before it is called
CUT_AHEAD_S = 60.0  # a person needs this from the call to the knob and the furnace to feel it
CLOSING_AHEAD_S = 60.0
CHAMBER_HOT_S = 120.0
DIP_AGAIN_LEAST_S, DIP_AGAIN_MOST_S = 60.0, 300.0
DIP_AGAIN_SOLID_S, DIP_AGAIN_MUSHY_S = 150.0, 75.0  # after a dip that found it solid, or not yet liquid
DIP_AGAIN_BAD_S = 20.0  # after one that was of no use for other reasons
SKIM_BELOW_C = 15.0
SKIM_LASTS_S = 120.0  # nobody answers every call; then the instruction is free for what comes next
STEP_LASTS_S = 90.0


class CallManager:
    """All calls of one furnace. `said` receives (call, how, why)."""

    def __init__(self, said: Callable[[CallView, str, Told], None]) -> None:
        self._said = said
        self._up: dict[CallKind, CallView] = {}
        self._last_said_s: dict[CallKind, float] = {}
        self._fits_since_s: float | None = None
        self._cut_rate = 0.0
        self._cut_over_s = -1e9
        self._chamber_hot_s: float | None = None
        self._skim_called = False
        self._step_waits = False  # the step that is up stays until it is told
        self.pour_ended_s = -1e9

    # -- bookkeeping --------------------------------------------------------------------------------------------------

    def up(self, kind: CallKind) -> CallView | None:
        """The call as it stands, if it is up."""
        return self._up.get(kind)

    def views(self) -> tuple[CallView, ...]:
        """All calls that are up, most pressing first."""
        order = list(CallKind)
        pressing = (CallKind.CUT_POWER, CallKind.WINDOW_CLOSING, CallKind.POUR)
        rank = {kind: index for index, kind in enumerate([*pressing, *(k for k in order if k not in pressing)])}
        return tuple(sorted(self._up.values(), key=lambda call: rank[call.kind]))

    def clear(self, why: Told) -> None:
        """End all (the melt ended, or the plan changed)."""
        for kind in list(self._up):
            self.end(kind, why)
        self._fits_since_s = None
        self._skim_called = False
        self._chamber_hot_s = None

    def end(self, kind: CallKind, why: Told) -> None:
        """One call is over."""
        call = self._up.pop(kind, None)
        if call is not None:
            self._said(call, "ended", why)

    def answer(self, kind: CallKind, answer: Answer, run: MeltRun | None, mono_s: float) -> bool:
        """A person answered; False: no such call is up."""
        if kind not in self._up:
            return False
        if answer is Answer.NOT_NOW and run is not None:
            run.not_now[kind] = mono_s + NOT_NOW_S
        if kind is CallKind.CUT_POWER:
            self._cut_over_s = mono_s
        if kind is CallKind.SKIM and run is not None and answer is Answer.DONE:
            run.skimmed_s = mono_s
        self.end(kind, "answered" if answer is Answer.DONE else "not now")
        return True

    def _raise(self, kind: CallKind, text: Told, why: Told, mono_s: float, mould: str = "") -> None:
        call = self._up.get(kind)
        if call is None:
            call = CallView(kind=kind, text=text, why=why, raised_mono_s=mono_s, repeat_s=REPEAT_S[kind], mould=mould)
            self._up[kind] = call
            self._last_said_s[kind] = mono_s
            self._said(call, "raised", why)
            return
        said, repeated = call.said, False
        if call.repeat_s and mono_s - self._last_said_s[kind] >= call.repeat_s:
            self._last_said_s[kind] = mono_s
            said, repeated = said + 1, True
        if repeated or text != call.text:
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
            self._said(call, "repeated", why)

    # -- what a profile says ------------------------------------------------------------------------------------------

    def cut(self, text: Told, why: Told, mono_s: float) -> None:
        """The profile wants the power cut; said again each time it says so."""
        self._raise(CallKind.CUT_POWER, text, why, mono_s)

    def step(self, text: Told, why: Told, mono_s: float, *, until_told: bool = False) -> None:
        """The next step of a profile takes the place of the one before."""
        self.end(CallKind.STEP, "the next step is due")
        self._step_waits = until_told
        self._raise(CallKind.STEP, text, why, mono_s)

    # -- the rules ----------------------------------------------------------------------------------------------------

    def judge(
        self,
        run: MeltRun,
        metal: MetalNow,
        rate_c_per_min: float | None,
        state: MeltState,
        judgement: Judgement | None,
        power: PowerKnob,
        mono_s: float,
        *,
        guided: bool = False,
        cut_due: bool | None = None,
    ) -> None:
        """Pour, window closing, cut power, skim; called a few times a second while a melt runs.

        guided: a profile says when to cut. cut_due: a furnace that was learned says so; None: it cannot tell.
        """
        for kind, until_s in list(run.not_now.items()):
            if mono_s >= until_s:
                del run.not_now[kind]
        if run.lifted(mono_s):
            for kind in list(self._up):
                self.end(kind, "the pot was lifted")
            self._fits_since_s = None
            return
        self._pour(run, metal, judgement, mono_s)
        self._closing(run, metal, rate_c_per_min, judgement, mono_s)
        if not guided:
            self._cut(run, metal, rate_c_per_min, power, mono_s, cut_due)
        step = self._up.get(CallKind.STEP)
        if step is not None and not self._step_waits and mono_s - step.raised_mono_s >= STEP_LASTS_S:
            self.end(CallKind.STEP, "said long enough")
        self._skim(run, metal, state, mono_s)

    def _pour(self, run: MeltRun, metal: MetalNow, judgement: Judgement | None, mono_s: float) -> None:
        mould = run.next_mould
        fluid_c = run.plan.alloy.liquidus_c + run.plan.alloy.liquid_margin_c
        good = (
            judgement is not None
            and mould is not None
            and judgement.pour
            and metal.temp_c is not None
            and metal.temp_c >= fluid_c
            and not (metal.held and CallKind.POUR not in self._up)
        )
        if not good or judgement is None or mould is None:
            self._fits_since_s = None
            if CallKind.POUR in self._up:
                self.pour_ended_s = mono_s
                why = "the metal left the window" if metal.temp_c is not None else metal.how
                self.end(CallKind.POUR, why if judgement is None else judgement.held or why)
            return
        if self._fits_since_s is None:
            self._fits_since_s = mono_s
        dwell_s = 0.0 if metal.dip and not metal.live else DWELL_S
        if mono_s - self._fits_since_s >= dwell_s and CallKind.POUR not in run.not_now:
            self._raise(CallKind.POUR, judgement.text, judgement.why, mono_s, mould.name)

    def _closing(
        self, run: MeltRun, metal: MetalNow, rate: float | None, judgement: Judgement | None, mono_s: float
    ) -> None:
        """The window is about to be left while the pour call is up (or was put off)."""
        mould = run.next_mould
        open_now = CallKind.POUR in self._up or CallKind.POUR in run.not_now
        left_s = None
        if open_now and mould is not None and judgement is not None and judgement.pour and metal.live and rate:
            low_c, high_c = tap_window_c(mould, run.plan)
            if metal.temp_c is not None:
                spare_c = metal.temp_c - low_c if rate < 0.0 else high_c - metal.temp_c
                left_s = 60.0 * spare_c / abs(rate)
        if left_s is not None and 0.0 < left_s <= CLOSING_AHEAD_S and mould is not None and rate is not None:
            side = "cold" if rate < 0.0 else "hot"
            tens = max(10, int(left_s / 10.0) * 10)
            self._raise(
                CallKind.WINDOW_CLOSING,
                f"Pour {mould.name} now: the window closes, too {side} in about {tens} s",
                f"at {abs(rate):.0f} degrees a minute",
                mono_s,
                mould.name,
            )
        else:
            self.end(CallKind.WINDOW_CLOSING, "the window is not closing, or closed")

    def _cut(
        self,
        run: MeltRun,
        metal: MetalNow,
        rate: float | None,
        power: PowerKnob,
        mono_s: float,
        due: bool | None = None,
    ) -> None:
        mould = run.next_mould
        if CallKind.CUT_POWER in self._up:
            falling = rate is not None and rate < 0.5 * self._cut_rate
            unknown = metal.temp_c is None and due is None
            if power.off or falling or unknown:
                self._cut_over_s = mono_s
                self.end(CallKind.CUT_POWER, "power is off" if power.off else "it rises less")
                return
        if mould is None or power.off:
            return
        if mono_s - self._cut_over_s < CHAMBER_HOT_S or CallKind.CUT_POWER in run.not_now:
            return
        low_c, high_c = tap_window_c(mould, run.plan)
        aim_c = (low_c + high_c) / 2.0
        if due is not None:
            if not due and CallKind.CUT_POWER not in self._up:
                return
            text = f"Cut the power: the metal coasts on to {say_c(aim_c)}"
            why = "by this furnace's own melts" if metal.temp_c is None else f"{say_c(metal.temp_c)} now"
        else:
            if metal.temp_c is None or not metal.live or rate is None or rate <= 2.0:
                return
            if metal.temp_c <= run.plan.alloy.liquidus_c or metal.temp_c + rate * CUT_AHEAD_S / 60.0 < aim_c:
                return
            text = f"Cut the power: {say_c(aim_c)} comes within a minute"
            why = f"{say_c(metal.temp_c)} and rising {rate:.0f} degrees a minute"
        if CallKind.CUT_POWER not in self._up:
            self._cut_rate = rate or 0.0
        self._raise(CallKind.CUT_POWER, text, why, mono_s, mould.name)

    def _skim(self, run: MeltRun, metal: MetalNow, state: MeltState, mono_s: float) -> None:
        mould = run.next_mould
        call = self._up.get(CallKind.SKIM)
        if call is not None:
            if run.skimmed_s is not None:
                self.end(CallKind.SKIM, "skimmed")
            elif CallKind.POUR in self._up or mono_s - call.raised_mono_s >= SKIM_LASTS_S:
                self.end(CallKind.SKIM, "the next step is due")
        if self._skim_called or run.skimmed_s is not None or mould is None or metal.temp_c is None:
            return
        near = metal.temp_c >= tap_window_c(mould, run.plan)[0] - SKIM_BELOW_C
        if near and state in (MeltState.LIQUID, MeltState.READY):
            self._skim_called = True
            self._raise(CallKind.SKIM, "Skim the dross off, tools dry and warm", "close to the pour window", mono_s)

    def judge_dip(
        self,
        run: MeltRun,
        metal: MetalNow,
        chamber_c: float | None,
        can_dip: bool,
        dips: tuple[Dip, ...],
        mono_s: float,
        *,
        could_be_c: float | None = None,
        ready_in_s: float | None = None,
    ) -> None:
        """Ask for a dip where only a dip can tell.

        chamber_c: a chamber probe's reading. By the model: could_be_c, the upper end of what the metal may be at now;
        ready_in_s, when it should be in its window.
        """
        mould: MouldPlan | None = run.next_mould
        if mould is None or metal.temp_c is not None or run.lifted(mono_s):
            self.end(CallKind.DIP, "the metal's temperature is known")
            self._chamber_hot_s = None
            return
        low_c, high_c = tap_window_c(mould, run.plan)
        hot = chamber_c is not None and chamber_c >= low_c
        if not hot:
            self._chamber_hot_s = None
        elif self._chamber_hot_s is None:
            self._chamber_hot_s = mono_s
        due = self._chamber_hot_s is not None and mono_s - self._chamber_hot_s >= CHAMBER_HOT_S
        why = "the chamber has been hotter than the pour window for two minutes"
        up = self._up.get(CallKind.DIP)
        if up is not None and dips and dips[-1].ended_mono_s >= up.raised_mono_s:
            self.end(CallKind.DIP, "dipped")
        good = [d for d in dips if d.temp_c is not None]
        since_s = mono_s - dips[-1].ended_mono_s if dips else math.inf
        if can_dip and dips and not due:
            wait_s = _dip_again_s(good, (low_c + high_c) / 2.0)
            if good and ready_in_s is not None:
                wait_s = min(wait_s, max(DIP_AGAIN_LEAST_S, ready_in_s))
            due = since_s >= wait_s
            why = "the last dip is too old to go by"
        if can_dip and not good and not due and could_be_c is not None and could_be_c >= low_c:
            due = since_s >= _dip_again_bad_s(dips[-1].fault if dips else None)
            why = f"nothing tells the metal yet, and by reckoning it may be at up to {say_c(could_be_c)}"
        if due and CallKind.DIP not in run.not_now:
            self._raise(CallKind.DIP, "Dip now: hold the probe in the middle of the metal, still", why, mono_s)


def _dip_again_bad_s(fault: DipFault | None) -> float:
    """Seconds from a dip that gave no figure to the next, by what was wrong with it."""
    if fault is DipFault.SOLID:
        return DIP_AGAIN_SOLID_S
    return DIP_AGAIN_MUSHY_S if fault is not None and fault.below_liquidus else DIP_AGAIN_BAD_S


def _dip_again_s(good: list[Dip], aim_c: float) -> float:
    """Seconds from the last dip to the next: when the last two, drawn on, reach the aim; 60 to 300 s."""
    if len(good) >= 2:
        one, two = good[-2], good[-1]
        if one.temp_c is not None and two.temp_c is not None and two.ended_mono_s > one.ended_mono_s:
            rate = (two.temp_c - one.temp_c) / (two.ended_mono_s - one.ended_mono_s)
            if rate > 0.0 and aim_c > two.temp_c:
                return min(max((aim_c - two.temp_c) / rate, DIP_AGAIN_LEAST_S), DIP_AGAIN_MOST_S)
    return DIP_AGAIN_MOST_S if not good else DIP_AGAIN_LEAST_S + 60.0
