"""The facts of the shop, a method each: melt, lift, pour, skim, metal added, power set, dip, a figure read off.

Each fact is written by one method here, with all its consequences, whichever key, button, command, call answer or
trace it came by. Not here: whether a command may be obeyed (commands.py), what the metal is at (bath/).
"""

from collections.abc import Sequence

from pourcall.contract import events as ev
from pourcall.contract import inputs as inp
from pourcall.contract.config import EngineConfig
from pourcall.contract.inputs import PowerLevel
from pourcall.contract.message import tell
from pourcall.contract.plan import MouldPlan
from pourcall.contract.questions import out_of_reach
from pourcall.contract.reading import TYPED_U_C, Place
from pourcall.contract.snapshot import LastRead
from pourcall.engine.alarms.catalogue import Scope
from pourcall.engine.alarms.manager import AlarmManager
from pourcall.engine.bath.melt_arrests import MeltArrests
from pourcall.engine.bath.metal import MetalHistory, MetalNow, TypedFigure
from pourcall.engine.calls import CallManager
from pourcall.engine.guidance.guidance import ProfileGuidance
from pourcall.engine.melt.melt_run import MeltRun
from pourcall.engine.melt.power_knob import PowerKnob
from pourcall.engine.melt.so_far import dips_so_far, take_up_melt, take_up_shop
from pourcall.engine.outputs import Outputs
from pourcall.engine.sensing.measurement import ProbeChannel

DIPS_KEPT = 50
BACK_WITHIN_C = 80.0  # of what the pot should be at by then: what it loses is known to about 40 %; air is far from it


class ShopFacts:
    """Of one furnace. Others read its fields; only its methods write them."""

    def __init__(
        self,
        config: EngineConfig,
        channels: Sequence[ProbeChannel],
        calls: CallManager,
        alarms: AlarmManager,
        guiding: ProfileGuidance,
        arrests: MeltArrests,
        outputs: Outputs,
    ) -> None:
        self._config, self._channels, self._calls, self._alarms = config, channels, calls, alarms
        self._guiding, self._arrests, self._outputs = guiding, arrests, outputs
        self.run: MeltRun | None = None
        self.power = PowerKnob()
        self.history = MetalHistory()
        self.dips: list[ev.Dip] = []
        self.typed: TypedFigure | None = None  # of a meter held in the metal

    # -- a melt -------------------------------------------------------------------------------------------------------

    def start(self, command: inp.StartMelt) -> None:
        """A melt begins (or goes on, after the daemon was away)."""
        now_s = self._outputs.mono_s
        so_far = command.so_far
        ran_s = 0.0 if so_far is None else so_far.ran_s
        self.run = run = MeltRun(command.plan, now_s - ran_s, command.poured)
        self.history = MetalHistory()
        self.dips.clear()
        for channel in self._channels:
            channel.new_melt(now_s)
        if so_far is not None:
            take_up_shop(so_far, self.power, self._channels, now_s)
            self.dips.extend(dips_so_far(so_far, now_s, self._outputs.utc_s))
            take_up_melt(so_far, run, now_s)
        self.typed = None
        self._calls.new_melt()
        self._outputs.say(ev.MeltStarted, plan=command.plan)
        self._arrests.start(command)
        self._guiding.start(command, run, self._channels, self.power, now_s)

    def change(self, run: MeltRun, command: inp.ChangeMelt) -> None:
        """Another alloy, mass, mould list or mind; or what is left, planned for a lift of its own.

        Nothing restarts, old and new are both kept.
        """
        old, plan = run.plan, command.plan
        run.change(plan, self._outputs.mono_s if command.next_lift else None)
        if not command.next_lift:  # else nobody changed their mind, and what is called follows
            self._calls.clear(tell("call.ended.plan_changed"), keep=ev.CallKind.STEP)
        self._guiding.change(old, plan, self.power, self._outputs.mono_s)
        self._arrests.change(old, plan)
        self._outputs.say(ev.MeltChanged, old=old, new=plan, why=command.why)

    def end(self, run: MeltRun, ending: inp.MeltEnding) -> None:
        """The pot is done with. Moulds that got no metal are named, unless the whole melt was given up."""
        now_s = self._outputs.mono_s
        if ending is inp.MeltEnding.POURED and not run.has_poured:
            ending = inp.MeltEnding.UNPOURED  # said or taken for granted: no pour is on record
        if run.left and ending is not inp.MeltEnding.ABANDONED:
            text = tell("melt.moulds_left", count=len(run.left), of=len(run.plan.moulds), moulds=", ".join(run.left))
            self._outputs.mark(ev.MarkKind.MOULDS_LEFT, text)
        self._calls.clear(tell("call.ended.melt_ended"))
        self._guiding.end(now_s)
        self._arrests.end()
        self.run = None
        self._outputs.say(ev.MeltEnded, melt=run.plan.melt, ending=ending)
        self._withdraw(Scope.MELT)
        self._alarms.settle(now_s, self._outputs.utc_s)

    # -- lift and pour ------------------------------------------------------------------------------------------------

    def lift(self, run: MeltRun, lift_s: float, *, proposed: bool) -> None:
        """The pot left the furnace; proposed: as the trace or a pour says, to be corrected."""
        run.lift(lift_s, proposed=proposed)
        self._guiding.lifted()
        self._outputs.say(ev.LiftMarked, lift_mono_s=lift_s, proposed=proposed)
        self._withdraw(Scope.BEFORE_LIFT)

    def withdraw_lift(self, run: MeltRun) -> None:
        """A proposed lift was none: the probe is back in the metal."""
        run.withdraw_lift()
        self._guiding.back(0.0, self._outputs.mono_s)
        self._outputs.mark(ev.MarkKind.LIFT_WITHDRAWN, tell("melt.lift_withdrawn"))

    def returned(self, run: MeltRun, at_s: float, *, seen: bool) -> None:
        """A person, or (seen) a probe in liquid metal, tells that the pot is back. What was poured keeps its lift."""
        now_s = self._outputs.mono_s
        out_s = 0.0 if run.lift_s is None else at_s - run.lift_s
        metal_c = run.pot_in_hand_c(self.history, now_s)
        for channel in self._channels:
            reads_c = None if channel.last is None else channel.last.temp_c
            if channel.tracker.place is not Place.MELT or reads_c is None or metal_c is None:
                continue
            if abs(reads_c - metal_c) <= BACK_WITHIN_C:
                channel.tracker.pot_is_back(now_s)
        run.return_pot(at_s)
        self._guiding.back(out_s, self._outputs.mono_s)
        text = tell("melt.pot_returned") if seen else tell("melt.pot_returned_told")
        self._outputs.mark(ev.MarkKind.POT_RETURNED, text, at_s=at_s)

    def pour(self, run: MeltRun, mould: MouldPlan, at_s: float, ago_s: float) -> None:
        """Metal went into a mould. The pot must have left for that; nothing more precise is known where nobody said."""
        mould = run.planned(mould.name, at_s) or mould
        pour = run.pour(
            mould,
            self.history,
            at_s,
            self._outputs.utc_at(at_s),
            ago_s,
            run.next_number,
            maybe_on_until_s=self.power.maybe_on_until_s,
        )
        run.add(pour)
        if pour.lift_mono_s is None and not run.lifted(at_s):
            self.lift(run, at_s, proposed=True)
        self._outputs.say(ev.PourMarked, melt=run.plan.melt, pour=pour)
        solidus_c = run.plan.alloy.solidus_c
        if pour.lip_temp_c is not None and pour.lip_temp_c < solidus_c:
            text = tell("melt.pour_too_cold", number=pour.number, lip_c=pour.lip_temp_c, solidus_c=solidus_c)
            self._outputs.mark(ev.MarkKind.POUR_DOUBTFUL, text, at_s=at_s, value=pour.lip_temp_c)

    def correct_pour(self, run: MeltRun, command: inp.CorrectPour) -> bool:
        """A pour was otherwise than marked, or (mould empty) was none. False: there is no pour of that number."""
        number, mould = command.number, command.mould
        struck = next((pour for pour in run.pours if pour.number == number and not mould), None)
        figures = command.figures
        at_s = None if figures is None else self._outputs.mono_at(figures.at_utc_s)
        if not run.correct(number, mould, figures, at_s):
            return False
        if struck is not None and run.lift_proposed and run.lift_s == struck.at_mono_s and not run.poured_since_lift:
            self.withdraw_lift(run)  # nothing but that pour had said so
        moved = tell("melt.pour_moved", number=number, mould=mould)
        text = command.said or (moved if mould else tell("melt.pour_struck", number=number))
        self._outputs.mark(ev.MarkKind.CORRECTION, text)
        return True

    # -- the bath -----------------------------------------------------------------------------------------------------

    def skim(self, run: MeltRun, at_s: float) -> None:
        """The bath was skimmed or stirred."""
        now_s = self._outputs.mono_s
        run.skim(at_s)
        self._guiding.disturbed(now_s)
        self._arrests.disturbed(now_s)
        self._outputs.mark(ev.MarkKind.SKIM, tell("melt.skimmed"), at_s=at_s)

    def add_metal(self, run: MeltRun, at_s: float, mass_kg: float | None, source: str) -> None:
        """Cold metal went in."""
        now_s = self._outputs.mono_s
        run.add_metal(at_s, mass_kg)
        self._guiding.added(mass_kg, now_s)
        for channel in self._channels:
            channel.tracker.immersion.returns(now_s)
        self._arrests.disturbed(now_s)
        if mass_kg is None:
            text = tell("melt.added_of", source=source) if source else tell("melt.added")
        elif source:
            text = tell("melt.added_kg_of", mass_kg=mass_kg, source=source)
        else:
            text = tell("melt.added_kg", mass_kg=mass_kg)
        self._outputs.mark(ev.MarkKind.ADDITION, text, at_s=at_s, value=mass_kg)

    def set_power(self, level: PowerLevel, at_s: float) -> None:
        """A person set the knob or burner, or said that what was asked for is done."""
        changed = level is not self.power.level
        if changed:
            self._arrests.disturbed(self._outputs.mono_s)
        self.power.mark(level, at_s)
        self._outputs.say(ev.PowerMarked, level=level, at_mono_s=at_s)
        self._guiding.marked_power()
        self._guiding.heat.told_power(level, at_s, self._outputs.mono_s, changed=changed)

    def looked_at_power(self) -> None:
        """A person looked: the power is as it was marked."""
        self._guiding.heat.looked_at_power()

    def dipped(self, dip: ev.Dip, metal: MetalNow, rate_c_per_min: float | None) -> None:
        """A dip is over and judged."""
        self.dips.append(dip)
        del self.dips[:-DIPS_KEPT]
        self._outputs.say(ev.DipRecorded, dip=dip)
        self._guiding.dipped(dip, self.melt_dips(), metal, rate_c_per_min, self._outputs.mono_s)

    def panel_read(
        self, temp_c: float, source: str, at_s: float, metal: MetalNow, rate_c_per_min: float | None
    ) -> None:
        """A figure of the furnace's own instrument: it shows the furnace, never the metal."""
        self._read_off(ev.MarkKind.PANEL_TEMPERATURE, temp_c, source, at_s)
        self._guiding.panel_read(at_s, temp_c, self.melt_dips(), metal, rate_c_per_min, self._outputs.mono_s)

    def meter_read(self, temp_c: float, source: str, at_s: float, *, sure: bool) -> None:
        """A figure of a meter held in the metal. Out of reach of the one before, it waits for a person to be sure."""
        now_s, last = self._outputs.mono_s, self.last_read()
        self._read_off(ev.MarkKind.TYPED_TEMPERATURE, temp_c, source, at_s)
        doubted = not sure and last is not None and out_of_reach(last, temp_c, at_s)
        self.typed = TypedFigure(at_s, temp_c, source, doubted)
        if self.run is None or doubted:
            return
        if self.run.lifted(now_s):
            self.history.read(self.typed)
        self._guiding.settled(temp_c, TYPED_U_C, now_s)

    def last_read(self) -> LastRead | None:
        """The last figure of this melt's metal that was believed; None: there is none."""
        run, known = self.run, self.history.at(self._outputs.mono_s)
        if run is None or known is None:
            return None
        read_s, added_s = known.at_s - known.source.age_s, run.added_s
        cooled = run.back_s >= read_s or (added_s is not None and added_s >= read_s)
        return LastRead(temp_c=known.temp_c, u_c=known.read_u_c, at_mono_s=read_s, cooled=cooled)

    def _read_off(self, what: ev.MarkKind, temp_c: float, source: str, at_s: float) -> None:
        text = tell("melt.read_off", temp_c=temp_c, source=source)
        self._outputs.mark(what, text, at_s=at_s, value=temp_c, source=source)

    def melt_dips(self) -> tuple[ev.Dip, ...]:
        """Dips of the running melt, in order."""
        run = self.run
        return () if run is None else tuple(dip for dip in self.dips if dip.ended_mono_s >= run.began_s)

    def _withdraw(self, over: Scope) -> None:
        self._alarms.withdraw_scope(over, self._outputs.mono_s, self._outputs.utc_s)
