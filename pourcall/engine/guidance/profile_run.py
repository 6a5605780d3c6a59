"""A profile followed by a person. Pure: what is known goes in once a second, what to do comes out in words.

We never turn a knob here. Advice names the number on the panel in the panel's own unit and step, with the caster's unit
beside it (as a token, see contract/units.py); where there is no panel it names off, low, high. *Cut the power* is said
early enough for a person: the furnace model is asked where the metal coasts to if the power goes off
OPERATOR_REACTION_S from now. It is repeated until answered or seen; late and missed each have their own words. A
profile is frozen while it runs; a changed mind (`change`) goes on from where the metal is: nothing restarts.
"""

import math
from dataclasses import dataclass, field

from pourcall.contract.inputs import PowerLevel
from pourcall.contract.profile_plan import ProfilePlan, ProfileSegment, SegmentKind
from pourcall.contract.units import say_c, say_difference_c
from pourcall.engine.guidance.profile_advice import Advice, CoastTeller, Panel, Say

OPERATOR_REACTION_S = 13.0  # from the call to a hand on the knob, on the whole (2 to 25 s; judgement)
STANDING_BY_S = 5.0  # the same of somebody who was told to stand by
STANDBY_MIN_S = 10.0  # so long before, at least
HEADS_UP_S = 60.0
CUT_REPEAT_S = 5.0
MISSED_S = 30.0  # after so long without an answer the words change
AIM_BELOW_C = 3.5  # the coast is aimed low: an overshoot costs more, and linings give heat back that the model lacks
USUAL_SPREAD_C, UNSURE_SHARE = 6.0, 1.6
UNSURE_MOST_C = 25.0  # lower than this nobody is helped: a furnace hardly known would be cut while it melts
OVER_C = 3.0
BLIND_S = 45.0  # without foresight: so long it may rise on after the power went off
AGAIN_SHORT_C = 5.0  # a coast that ends so far below the aim wants power again
COAST_SHOWS_S, COAST_DISBELIEF_C = (
    300.0,
    40.0,
)  # so long after the power went off metal has peaked, or never will (ours)
QUIET_S = 45.0  # after the power went off nothing is called until the coast has shown
LATE_REPEAT_S = 120.0
DIAL_STEP_S = 120.0  # a person is not asked to turn a knob more often
HOLD_BAND_C = 4.0
FALLING_SHARE = 0.5


@dataclass(slots=True)
class _Cut:
    """A call to cut the power while it is up."""

    said_s: float
    raised_s: float
    rate: float


@dataclass(slots=True)
class _Place:
    """Where the run stands in its segment."""

    began_s: float
    from_c: float | None
    within_s: float | None = None  # since when the metal is near enough
    late_said_s: float = -1e9
    next_said: bool = False
    dialled: float | None = None
    dialled_s: float = -1e9
    level: str = ""
    noted: bool = False
    soon_s: float | None = None  # when it was said to stand by


@dataclass(slots=True)
class ProfileRun:
    """One profile on one melt. `tick` about once a second; `answer`, `told`, `change`, `stop` as people do."""

    plan: ProfilePlan
    began_s: float
    fuel: bool = False
    panel: Panel | None = None
    person_s: float = OPERATOR_REACTION_S
    window_c: tuple[float, float] | None = None  # tap window, to say what is too hot
    index: int = 0
    over: bool = False
    history: list[tuple[float, str]] = field(default_factory=list)  # changes of mind, for the record
    _place: _Place | None = None
    _cut: _Cut | None = None
    _cut_over_s: float = -1e9
    _doubted: bool = False  # the coast was promised and never came: the measured metal alone counts

    # -- what people do -----------------------------------------------------------------------------------------------

    def answer(self, done: bool, mono_s: float) -> None:
        """The call to cut was answered: done, or not now (then it is quiet for two minutes)."""
        self._cut = None
        self._cut_over_s = mono_s + (0.0 if done else 120.0 - QUIET_S)

    def told(self, mono_s: float, metal_c: float | None = None) -> bool:
        """A person says go on; False where nothing waits for that."""
        segment = self.segment
        if self.over or segment is None or segment.kind is not SegmentKind.HOLD:
            return False
        self._go_on(mono_s, metal_c)
        return True

    def change(self, plan: ProfilePlan, mono_s: float, metal_c: float | None) -> None:
        """Another profile in mid-melt. It goes on at the first segment whose temperature the metal has not passed."""
        self.history.append((mono_s, f"{self.plan.name} ({self.plan.hash}) segment {self.index + 1}"))
        self.plan, self.over, self.index, self._place, self._cut = plan, False, 0, None, None
        while self.index < len(plan.segments) - 1 and metal_c is not None:
            here = plan.segments[self.index]
            if here.kind is SegmentKind.RAMP and metal_c < here.to_c - here.wait_within_c:
                break
            if here.kind is SegmentKind.HOLD and metal_c <= here.to_c + here.wait_within_c:
                break
            self.index += 1

    def stop(self, mono_s: float) -> None:
        """No more advice; the power stays as the person has it."""
        self.history.append((mono_s, "stopped"))
        self.over, self._cut = True, None

    # -- what holds ---------------------------------------------------------------------------------------------------

    @property
    def segment(self) -> ProfileSegment | None:
        """The segment in work; None: over."""
        return None if self.over or self.index >= len(self.plan.segments) else self.plan.segments[self.index]

    def setpoint_c(self, mono_s: float) -> float | None:
        """Where the metal should be now; on a ramp at a rate it moves."""
        segment, place = self.segment, self._place
        if segment is None:
            return None
        if segment.kind is SegmentKind.HOLD or segment.rate_c_per_min is None or place is None or place.from_c is None:
            return segment.to_c
        moved_c = segment.rate_c_per_min * (mono_s - place.began_s) / 60.0
        gap_c = segment.to_c - place.from_c
        return place.from_c + math.copysign(min(abs(gap_c), moved_c), gap_c)

    @property
    def waits(self) -> bool:
        """A hold without an end of its own has been reached: it waits to be told."""
        segment, place = self.segment, self._place
        return segment is not None and segment.for_s is None and place is not None and place.next_said

    def hold_left_s(self, mono_s: float) -> float | None:
        """Of a hold whose time runs; None: it does not run, or has no end of its own."""
        segment, place = self.segment, self._place
        if segment is None or segment.for_s is None or place is None or place.within_s is None:
            return None
        return max(0.0, segment.for_s - (mono_s - place.within_s))

    @property
    def cut_called(self) -> bool:
        """The call to cut is up."""
        return self._cut is not None

    # -- time ---------------------------------------------------------------------------------------------------------

    def tick(
        self,
        mono_s: float,
        metal_c: float | None,
        rate_c_per_min: float | None,
        power: PowerLevel | None,
        coast: CoastTeller | None = None,
    ) -> tuple[Advice, ...]:
        """Time passed. metal_c None: not known now (between dips). power None: nobody says. Most pressing first."""
        segment = self.segment
        if segment is None:
            return ()
        if self._place is None:
            self._place = _Place(mono_s, metal_c)
        if self._place.from_c is None and metal_c is not None:
            # The first that is heard of the metal: a ramp that goes up and finds it above is over, not to be cooled to.
            self._place.from_c = min(metal_c, segment.to_c - 1.0) if self._goes_up() else metal_c
        said: list[Advice] = []
        self._judge_cut(segment, mono_s, metal_c, rate_c_per_min, power, coast, said)
        self._judge_knob(segment, mono_s, metal_c, power, coast, said)
        place = self._place
        if segment.note and not place.noted:
            place.noted = True
            said.append(self._advice(Say.NOTE, segment.note))
        self._judge_progress(segment, place, mono_s, metal_c, said)
        return tuple(said)

    def _advice(
        self,
        say: Say,
        text: str,
        why: str = "",
        repeat_s: float = 0.0,
        *,
        setpoint_c: float | None = None,
        dial: float | None = None,
        level: PowerLevel | None = None,
    ) -> Advice:
        of = len(self.plan.segments)
        return Advice(
            say=say,
            text=text,
            why=why,
            repeat_s=repeat_s,
            segment=min(self.index + 1, of),
            of=of,
            setpoint_c=setpoint_c,
            dial=dial,
            level=level,
        )

    def _go_on(self, mono_s: float, metal_c: float | None) -> None:
        old = self.plan.segments[self.index]
        self.index += 1
        if self.index >= len(self.plan.segments):
            self.over, self._cut = True, None
            return
        kept = self._place
        self._place = _Place(mono_s, metal_c)
        if kept is not None and old.to_c == self.plan.segments[self.index].to_c:
            self._place.dialled, self._place.level = kept.dialled, kept.level  # nothing new to turn

    def _judge_progress(
        self, segment: ProfileSegment, place: _Place, mono_s: float, metal_c: float | None, said: list[Advice]
    ) -> None:
        """Near enough, long enough, too long."""
        near = metal_c is not None and abs(metal_c - segment.to_c) <= segment.wait_within_c
        passed = (
            metal_c is not None
            and segment.kind is SegmentKind.RAMP
            and place.from_c is not None
            and (metal_c - segment.to_c) * (segment.to_c - place.from_c) > 0.0
        )
        if near and place.within_s is None:
            place.within_s = mono_s
        if segment.kind is SegmentKind.RAMP and (near or passed):
            self._go_on(mono_s, metal_c)
            if self.over:
                said.append(self._advice(Say.DONE, "The profile is over; the furnace is yours"))
            return
        if segment.kind is SegmentKind.HOLD and place.within_s is not None:
            if segment.for_s is None:
                if not place.next_said:
                    place.next_said = True
                    said.append(self._advice(Say.NEXT, f"Holding at {say_c(segment.to_c)}: say when to go on"))
            elif mono_s - place.within_s >= segment.for_s:
                self._go_on(mono_s, metal_c)
                if self.over:
                    said.append(self._advice(Say.DONE, "The profile is over; the furnace is yours"))
                return
        if (
            segment.limit_s is not None
            and mono_s - place.began_s > segment.limit_s
            and mono_s - place.late_said_s >= LATE_REPEAT_S
        ):
            place.late_said_s = mono_s
            minutes = segment.limit_s / 60.0
            what = "waits to be told" if segment.kind is SegmentKind.HOLD else f"is not at {say_c(segment.to_c)} yet"
            remedy = "go on, or end it" if segment.kind is SegmentKind.HOLD else "look at burner, lid and charge"
            said.append(
                self._advice(
                    Say.LATE,
                    f"Segment {self.index + 1} {what} after {minutes:.0f} min: {remedy}",
                    "longer than the profile allows",
                    LATE_REPEAT_S,
                )
            )

    # -- the knob -----------------------------------------------------------------------------------------------------

    def _judge_knob(
        self,
        segment: ProfileSegment,
        mono_s: float,
        metal_c: float | None,
        power: PowerLevel | None,
        coast: CoastTeller | None,
        said: list[Advice],
    ) -> None:
        """What to dial, or where to set burner or knob."""
        place = self._place
        if place is None or self._cut is not None:
            return
        if self.panel is not None:
            self._judge_dial(self.panel, segment, place, mono_s, said)
            return
        level = self._level(segment, mono_s, metal_c, power, coast)
        if level and level != place.level and (power is None or power.value != level):
            place.level = level
            thing = "burner" if self.fuel else "knob"
            why = (
                f"to {say_c(segment.to_c)}"
                if metal_c is None
                else f"{say_c(metal_c)} now, {say_c(segment.to_c)} wanted"
            )
            text = f"Turn the {thing} off" if level == "off" else f"Set the {thing} to {level}"
            said.append(self._advice(Say.POWER, text, why, setpoint_c=segment.to_c, level=PowerLevel(level)))
        elif power is not None and level == power.value:
            place.level = level

    def _judge_dial(
        self, panel: Panel, segment: ProfileSegment, place: _Place, mono_s: float, said: list[Advice]
    ) -> None:
        if segment.rate_c_per_min is not None:
            ahead_s = mono_s + 0.5 * DIAL_STEP_S  # dialled for the middle of the time it will stand
            wanted_c = self.setpoint_c(ahead_s) or segment.to_c
        else:
            wanted_c = segment.to_c
        figure = panel.dial(wanted_c)
        if figure == place.dialled:
            return
        last = wanted_c == segment.to_c
        if place.dialled is not None and not last and mono_s - place.dialled_s < DIAL_STEP_S:
            return
        place.dialled, place.dialled_s = figure, mono_s
        text = f"Dial {panel.words(figure)} on the panel: metal to {say_c(wanted_c)}"
        why = (
            ""
            if not panel.offset_c
            else f"the metal stands {say_difference_c(abs(panel.offset_c))} "
            + ("above" if panel.offset_c > 0.0 else "below")
            + " the panel"
        )
        said.append(self._advice(Say.DIAL, text, why, setpoint_c=wanted_c, dial=figure))

    def _level(
        self,
        segment: ProfileSegment,
        mono_s: float,
        metal_c: float | None,
        power: PowerLevel | None,
        coast: CoastTeller | None,
    ) -> str:
        """off, low, high, or empty: leave it as it is."""
        if metal_c is None:
            return "high" if segment.kind is SegmentKind.RAMP and self._cut_over_s < -1e8 else ""
        peak_c = None if coast is None else coast.coast_peak_c(0.0)
        if power is PowerLevel.OFF and mono_s - self._cut_over_s >= COAST_SHOWS_S and self._cut_over_s > -1e8:
            # What should long have shown and is not there is not waited for, nor believed when the power is on again.
            self._doubted = peak_c is not None and peak_c > metal_c + COAST_DISBELIEF_C
        short_c = segment.to_c - (self._peaks(coast, metal_c).after(0.0) or metal_c) - _unsure_c(coast)
        settled = mono_s - self._cut_over_s >= QUIET_S
        if segment.kind is SegmentKind.RAMP:
            wanted_c = self.setpoint_c(mono_s) or segment.to_c
            if segment.rate_c_per_min is not None and metal_c > wanted_c + HOLD_BAND_C:
                return "low" if self.fuel else "off"
            if settled and short_c > AGAIN_SHORT_C:
                near = short_c < 25.0 and self._cut_over_s > -1e8
                return "low" if near else "high"
            return ""
        if metal_c > segment.to_c + HOLD_BAND_C or short_c < -HOLD_BAND_C:
            return "off"
        if settled and short_c > HOLD_BAND_C:
            return "low"
        return ""

    # -- cut the power ------------------------------------------------------------------------------------------------

    def _judge_cut(
        self,
        segment: ProfileSegment,
        mono_s: float,
        metal_c: float | None,
        rate: float | None,
        power: PowerLevel | None,
        coast: CoastTeller | None,
        said: list[Advice],
    ) -> None:
        """Call it in time; keep calling until the power is off, answered, or the rise is seen to give way."""
        off = power is PowerLevel.OFF
        cut = self._cut
        if cut is not None:
            seen = rate is not None and cut.rate > 2.0 and rate < FALLING_SHARE * cut.rate
            if off or seen:
                self._cut, self._cut_over_s = None, mono_s
                if self._place is not None:
                    self._place.level = ""  # what was said of the knob before no longer holds
                return
            if mono_s - cut.said_s >= CUT_REPEAT_S:
                cut.said_s = mono_s
                said.append(self._cut_words(segment, metal_c, coast, mono_s - cut.raised_s, cut))
            return
        if off or mono_s - self._cut_over_s < QUIET_S or self._goes_through():
            return
        peaks = self._peaks(coast, metal_c, rate)
        below_c = AIM_BELOW_C if segment.kind is SegmentKind.RAMP else 0.0  # a hold swings around it
        aim_c = segment.to_c - below_c - _unsure_c(coast)
        place = self._place
        soon_s = None if place is None else place.soon_s
        stands_by = soon_s is not None and mono_s - soon_s >= STANDBY_MIN_S
        peak_c = peaks.after(min(STANDING_BY_S, self.person_s) if stands_by else self.person_s)
        if peak_c is None:
            return
        if peak_c >= aim_c:
            self._cut = cut = _Cut(mono_s, mono_s, rate or 0.0)
            said.append(self._cut_words(segment, metal_c, coast, 0.0, cut))
            return
        if place is not None and soon_s is None and segment.kind is SegmentKind.RAMP:
            later_c = peaks.after(self.person_s + HEADS_UP_S)
            if later_c is not None and later_c >= aim_c:
                place.soon_s = mono_s
                said.append(self._advice(Say.SOON, "Stand by: the power is to be cut within a minute"))

    def _peaks(self, coast: CoastTeller | None, metal_c: float | None, rate: float | None = None) -> "_Peaks":
        """What is believed of the coast, and what is measured."""
        return _Peaks(None if self._doubted else coast, metal_c, rate)

    def _goes_up(self) -> bool:
        """Does this segment lead up: from the one before it, or from cold."""
        before = self.plan.segments[self.index - 1 : self.index] if self.index else ()
        return not before or self.plan.segments[self.index].to_c > before[0].to_c

    def _goes_through(self) -> bool:
        """A ramp that is followed at once by a hotter one is not to be cut for."""
        following = self.plan.segments[self.index + 1 : self.index + 2]
        here = self.plan.segments[self.index]
        return bool(following) and following[0].kind is SegmentKind.RAMP and following[0].to_c > here.to_c

    def _cut_words(
        self, segment: ProfileSegment, metal_c: float | None, coast: CoastTeller | None, since_s: float, cut: _Cut
    ) -> Advice:
        thing = "Burner off" if self.fuel else "Cut the power"
        peak_c = self._peaks(coast, metal_c).after(0.0)
        high_c = segment.to_c + OVER_C if self.window_c is None else self.window_c[1]
        why = "" if metal_c is None else f"{say_c(metal_c)} now"
        if peak_c is not None and peak_c > high_c:
            text = (
                f"{thing} now: it already coasts to {say_c(peak_c)}, above {say_c(high_c)}. Lid off, let it fall back"
            )
            return self._advice(Say.LATE, text, why, CUT_REPEAT_S, setpoint_c=segment.to_c)
        if since_s >= MISSED_S:
            text = f"{thing}: called {since_s:.0f} s ago. It coasts to {say_c(peak_c or segment.to_c)} from here"
            return self._advice(Say.CUT, text, why, CUT_REPEAT_S, setpoint_c=segment.to_c)
        if segment.kind is SegmentKind.HOLD:
            text = f"{thing}: the hold at {say_c(segment.to_c)} swings back by itself"
        else:
            text = f"{thing} now: the metal coasts on to {say_c(segment.to_c if peak_c is None else peak_c)}"
        return self._advice(Say.CUT, text, why, CUT_REPEAT_S, setpoint_c=segment.to_c)


@dataclass(frozen=True, slots=True)
class _Peaks:
    """How high the metal goes if the power is cut some seconds from now: never lower than it is already measured."""

    coast: CoastTeller | None
    metal_c: float | None
    rate_c_per_min: float | None

    def after(self, delay_s: float) -> float | None:
        """degC; None: nothing tells. Without foresight the metal is taken to rise on for a minute as it does now."""
        reckoned_c = None if self.coast is None else self.coast.coast_peak_c(delay_s)
        if self.metal_c is None:
            return reckoned_c
        if reckoned_c is None:
            return self.metal_c + max(self.rate_c_per_min or 0.0, 0.0) * (delay_s + BLIND_S) / 60.0
        return max(reckoned_c, self.metal_c)


def _unsure_c(coast: CoastTeller | None) -> float:
    """How much lower to aim where the coast is known worse than usual, as after a cold addition.

    Power can come again; heat cannot be taken back.
    """
    if coast is None:
        return 0.0
    return min(UNSURE_MOST_C, UNSURE_SHARE * max(0.0, coast.coast_spread_c() - USUAL_SPREAD_C))
