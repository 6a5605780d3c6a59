"""A profile followed by a person. Pure: what is known goes in once a second, what to do comes out as advice.

We never turn a knob here. Advice names the figure on the panel in the panel's own unit and step; where there is no
panel it names off, low, high. *Cut the power* is said early enough for a person: first the hand is asked onto the knob,
then it is counted down, and the forecast is asked where the metal coasts to if the power goes off when that hand has
turned it. It is repeated until answered or seen; late and missed each have their own words. A profile is frozen while
it runs; a changed mind (`change`) goes on from where the metal is: nothing restarts.
"""

import math
from dataclasses import dataclass

from pourcall.contract.inputs import NOT_NOW_S, PowerLevel
from pourcall.contract.message import NOTHING, Message, tell
from pourcall.contract.profile_plan import ProfilePlan, ProfileSegment, SegmentKind
from pourcall.engine.guidance.coast_peaks import CoastPeaks, cut_is_over, unsure_margin_c
from pourcall.engine.guidance.profile_advice import Advice, CoastForecast, Panel, Say

OPERATOR_REACTION_S = 20.0  # from the call to a hand on the knob, on the whole (5 to 40 s; judgement)
AT_KNOB_S = 1.5  # from the word to the turn, of a hand that lies on the knob already
HAND_AHEAD_S = 45.0  # the hand is asked onto the knob so long before, for it takes its 5 to 40 s
THERE_S = 35.0  # so long after that it lies there
LEAVES_S = 20.0  # a hand that waits for nothing in sight leaves, and is asked anew
STAYS_S = 300.0  # one that was told to stay with a little power: so long (ours)
TURNED_S = 10.0  # who has just turned the power on still stands at the knob, and stays there when told
COUNT_FROM = 5  # counted down aloud from here
CUT_REPEAT_S = 5.0
MISSED_S = 30.0  # after so long without an answer the words change
AIM_BELOW_C = 1.5  # the coast is aimed low: an overshoot costs more
OVER_C = 3.0
AGAIN_SHORT_C = 5.0  # a coast that ends so far below the aim wants power again
NEAR_SHORT_C = 25.0  # nearer than this a little power is enough
COAST_SHOWS_S = 300.0  # so long after the power went off metal has peaked, or never will (ours)
COAST_DISBELIEF_C = 40.0  # a forecast peak so far above it then is not believed any more (ours)
QUIET_S = 45.0  # after the power went off nothing is called until the coast has shown
LATE_REPEAT_S = 120.0
DIAL_STEP_S = 120.0  # a person is not asked to turn a knob more often
HOLD_BAND_C = 4.0
HOLD_BELOW_C = 1.5  # a hold swings, and is kept from below
SHOWN_C = 1.0  # the coast has ended, where no more than that is still promised
FALLS_MOST_C = 6.0
NEVER_S = -1e9


@dataclass(frozen=True, slots=True)
class Observed:
    """What is known at one second. Temperatures and rate are of the metal."""

    mono_s: float
    metal_c: float | None  # None: not known now (between dips)
    rate_c_per_min: float | None
    power: PowerLevel | None  # None: nobody says
    coast: CoastForecast | None = None


@dataclass(slots=True)
class _Cut:
    """A call to cut the power while it is up."""

    said_s: float
    raised_s: float
    rate_c_per_min: float


@dataclass(slots=True)
class _Place:
    """Where the run stands in its segment."""

    began_s: float
    from_c: float | None
    within_s: float | None = None  # since when the metal is near enough
    late_said_s: float = NEVER_S
    next_said: bool = False
    dialled: float | None = None
    dialled_s: float = NEVER_S
    level: PowerLevel | None = None  # what was asked of the knob, or is seen to hold
    noted: bool = False


@dataclass(slots=True)
class _Hand:
    """The hand on the knob, for the cut that comes next."""

    asked_s: float  # when it was asked there
    there: bool  # it is there already: it has just turned the power on
    seen_s: float  # when the cut was in sight last
    counted: int = COUNT_FROM + 1  # the last figure that was said

    def stays(self, mono_s: float) -> bool:
        """Does it still lie there, though no cut may be in sight now."""
        return mono_s - self.seen_s <= (STAYS_S if self.there else LEAVES_S)

    def takes_s(self, mono_s: float, person_s: float) -> float:
        """From the word to the turn."""
        waits_s = mono_s - self.asked_s
        return AT_KNOB_S if self.there or waits_s >= THERE_S else max(AT_KNOB_S, person_s - waits_s)


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
    _place: _Place | None = None
    _cut: _Cut | None = None
    _hand: _Hand | None = None
    _off: bool = False  # the power was off a second ago
    _turned_on_s: float = NEVER_S
    _cut_over_s: float = NEVER_S
    _disbelieved: bool = False  # the coast was promised and never came: the measured metal alone counts

    # -- what people do -----------------------------------------------------------------------------------------------

    def answer(self, done: bool, mono_s: float) -> None:
        """The call to cut was answered: done, or not now (then it is quiet for two minutes)."""
        self._cut = self._hand = None
        self._cut_over_s = mono_s + (0.0 if done else NOT_NOW_S - QUIET_S)

    def told(self, mono_s: float, metal_c: float | None = None) -> bool:
        """A person says go on; False where nothing waits for that."""
        segment = self.segment
        if self.over or segment is None or segment.kind is not SegmentKind.HOLD:
            return False
        self._go_on(mono_s, metal_c)
        return True

    def change(self, plan: ProfilePlan, metal_c: float | None) -> None:
        """Guide by this plan, from its first segment whose temperature the metal has not passed."""
        self.plan, self.over, self.index = plan, False, 0
        self._place = self._cut = self._hand = None
        while self.index < len(plan.segments) - 1 and metal_c is not None:
            here = plan.segments[self.index]
            if here.kind is SegmentKind.RAMP and metal_c < here.to_c - here.wait_within_c:
                break
            if here.kind is SegmentKind.HOLD and metal_c <= here.to_c + here.wait_within_c:
                break
            self.index += 1

    def say_wait_again(self) -> None:
        """That a hold waits to be told is to be said again."""
        if self._place is not None:
            self._place.next_said = False

    def say_again(self) -> None:
        """Everything that is to be done in this segment is to be said again, as far as it is not done."""
        self.say_wait_again()
        if self._place is not None:
            self._place.level, self._place.dialled = None, None

    def stop(self) -> None:
        """No more advice; the power stays as the person has it."""
        self.over, self._cut, self._hand = True, None, None

    # -- what changes around it ---------------------------------------------------------------------------------------

    def set_window(self, low_c: float, high_c: float) -> None:
        """The tap window of the mould that is next."""
        self.window_c = (low_c, high_c)

    def set_panel(self, panel: Panel | None) -> None:
        """The panel was compared: it is dialled by what was found from now on."""
        self.panel = panel

    # -- what holds ---------------------------------------------------------------------------------------------------

    @property
    def segment(self) -> ProfileSegment | None:
        """The segment in work; None: over."""
        return None if self.over or self.index >= len(self.plan.segments) else self.plan.segments[self.index]

    @property
    def number(self) -> int:
        """Of the segment in work, from 1; the last one where it is over."""
        return min(self.index + 1, len(self.plan.segments))

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

    def tick(self, now: Observed) -> tuple[Advice, ...]:
        """Time passed. Most pressing first."""
        segment = self.segment
        if segment is None:
            return ()
        place = self._place
        if place is None:
            place = self._place = _Place(now.mono_s, now.metal_c)
        if place.from_c is None and now.metal_c is not None:
            # The first that is heard of the metal: a ramp that goes up and finds it above is over, not to be cooled to.
            place.from_c = min(now.metal_c, segment.to_c - 1.0) if self._goes_up() else now.metal_c
        said = [*self._follow_cut(segment, place, now), *self._follow_knob(segment, place, now)]
        if segment.note and not place.noted:
            place.noted = True
            said.append(self._advice(Say.NOTE, tell("profile.note", note=segment.note.rstrip("."))))
        said += self._follow_progress(segment, place, now)
        return tuple(said)

    def _advice(
        self,
        say: Say,
        text: Message,
        why: Message = NOTHING,
        *,
        setpoint_c: float | None = None,
        dial: float | None = None,
        level: PowerLevel | None = None,
    ) -> Advice:
        return Advice(
            say=say,
            text=text,
            why=why,
            segment=self.number,
            of=len(self.plan.segments),
            setpoint_c=setpoint_c,
            dial=dial,
            level=level,
        )

    def _go_on(self, mono_s: float, metal_c: float | None) -> list[Advice]:
        """To the next segment; what is to be said where that was the last."""
        old = self.plan.segments[self.index]
        self.index += 1
        if self.index >= len(self.plan.segments):
            self.stop()
            return [self._advice(Say.DONE, tell("profile.over"))]
        kept = self._place
        self._place = _Place(mono_s, metal_c)
        if kept is not None and old.to_c == self.plan.segments[self.index].to_c:
            self._place.dialled, self._place.level = kept.dialled, kept.level  # nothing new to turn, nor to cut
        else:
            self._hand = None
        return []

    def _follow_progress(self, segment: ProfileSegment, place: _Place, now: Observed) -> list[Advice]:
        """Near enough, long enough, too long."""
        mono_s, metal_c = now.mono_s, now.metal_c
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
            return self._go_on(mono_s, metal_c)
        said: list[Advice] = []
        if segment.kind is SegmentKind.HOLD and place.within_s is not None:
            if segment.for_s is None:
                if not place.next_said:
                    place.next_said = True
                    said.append(self._advice(Say.NEXT, tell("profile.hold_reached", hold_c=segment.to_c)))
            elif mono_s - place.within_s >= segment.for_s:
                return self._go_on(mono_s, metal_c)
        late = segment.limit_s is not None and mono_s - place.began_s > segment.limit_s
        if late and segment.limit_s is not None and mono_s - place.late_said_s >= LATE_REPEAT_S:
            place.late_said_s = mono_s
            number, after_min = self.index + 1, segment.limit_s / 60.0
            if segment.kind is SegmentKind.HOLD:
                text = tell("profile.late.hold", segment=number, after_min=after_min)
            else:
                text = tell("profile.late.ramp", segment=number, after_min=after_min, to_c=segment.to_c)
            said.append(self._advice(Say.LATE, text, tell("profile.late.why")))
        return said

    # -- the knob -----------------------------------------------------------------------------------------------------

    def _follow_knob(self, segment: ProfileSegment, place: _Place, now: Observed) -> list[Advice]:
        """What to dial, or where to set burner or knob."""
        if self._cut is not None:
            return []
        if self.panel is not None:
            return self._follow_dial(self.panel, segment, place, now.mono_s)
        level = self._level(segment, now)
        if level is None or level is place.level:
            return []
        place.level = level
        if level is now.power:
            return []
        knob = "fuel" if self.fuel else "electric"
        if now.metal_c is None:
            why = tell("profile.why.to", to_c=segment.to_c)
        else:
            why = tell("profile.why.short", metal_c=now.metal_c, setpoint_c=segment.to_c)
        if level is PowerLevel.OFF:
            text = tell("profile.power_off", knob=knob)
        else:
            text = tell("profile.power", knob=knob, level=level.value)
        return [self._advice(Say.POWER, text, why, setpoint_c=segment.to_c, level=level)]

    def _follow_dial(self, panel: Panel, segment: ProfileSegment, place: _Place, mono_s: float) -> list[Advice]:
        setpoint_c = segment.to_c
        if segment.rate_c_per_min is not None:  # dialled for the middle of the time it will stand
            setpoint_c = self.setpoint_c(mono_s + 0.5 * DIAL_STEP_S) or segment.to_c
        figure = panel.dial(setpoint_c)
        if figure == place.dialled:
            return []
        last = setpoint_c == segment.to_c
        if place.dialled is not None and not last and mono_s - place.dialled_s < DIAL_STEP_S:
            return []
        place.dialled, place.dialled_s = figure, mono_s
        text = tell("profile.dial", dial=figure, panel_unit=panel.unit.value, metal_c=setpoint_c)
        why = NOTHING
        if panel.offset_c > 0.0:
            why = tell("profile.why.above_panel", by_difference_c=panel.offset_c)
        elif panel.offset_c < 0.0:
            why = tell("profile.why.below_panel", by_difference_c=-panel.offset_c)
        return [self._advice(Say.DIAL, text, why, setpoint_c=setpoint_c, dial=figure)]

    def _level(self, segment: ProfileSegment, now: Observed) -> PowerLevel | None:
        """What burner or knob should stand at; None: leave it as it is."""
        mono_s, metal_c, coast = now.mono_s, now.metal_c, now.coast
        was_cut = self._cut_over_s > NEVER_S
        if metal_c is None:
            return PowerLevel.HIGH if segment.kind is SegmentKind.RAMP and not was_cut else None
        peak_c = None if coast is None else coast.coast_peak_c(0.0)
        if now.power is PowerLevel.OFF and mono_s - self._cut_over_s >= COAST_SHOWS_S and was_cut:
            # What should long have shown and is not there is not waited for, nor believed when the power is on again.
            self._disbelieved = peak_c is not None and peak_c > metal_c + COAST_DISBELIEF_C
        peak_c = self._peaks(coast, metal_c).after(0.0) or metal_c
        unsure_c = unsure_margin_c(coast) if segment.kind is SegmentKind.RAMP else 0.0
        short_c = segment.to_c - peak_c - unsure_c
        if now.power is PowerLevel.OFF and peak_c <= metal_c + SHOWN_C:  # it falls on until a hand is at the knob
            short_c += min(FALLS_MOST_C, max(0.0, -(now.rate_c_per_min or 0.0)) * self.person_s / 60.0)
        settled = mono_s - self._cut_over_s >= QUIET_S
        if segment.kind is SegmentKind.RAMP:
            setpoint_c = self.setpoint_c(mono_s) or segment.to_c
            if segment.rate_c_per_min is not None and metal_c > setpoint_c + HOLD_BAND_C:
                return PowerLevel.LOW if self.fuel else PowerLevel.OFF
            if settled and short_c > AGAIN_SHORT_C:
                return PowerLevel.LOW if short_c < NEAR_SHORT_C and was_cut else PowerLevel.HIGH
            return None
        if metal_c > segment.to_c + HOLD_BAND_C or short_c < -HOLD_BAND_C:
            return PowerLevel.OFF
        if settled and short_c > HOLD_BAND_C:
            return PowerLevel.LOW
        return None

    # -- cut the power ------------------------------------------------------------------------------------------------

    def _follow_cut(self, segment: ProfileSegment, place: _Place, now: Observed) -> list[Advice]:
        """Call it in time; keep calling until the power is off, answered, or the rise is seen to give way."""
        mono_s, coast, rate = now.mono_s, now.coast, now.rate_c_per_min
        off = now.power is PowerLevel.OFF
        cut = self._cut
        if cut is not None:
            if cut_is_over(cut.rate_c_per_min, rate, off=off):
                self._cut, self._cut_over_s = None, mono_s
                place.level = None  # what was said of the knob before no longer holds
                return []
            if mono_s - cut.said_s < CUT_REPEAT_S:
                return []
            cut.said_s = mono_s
            return [self._cut_advice(segment, now, mono_s - cut.raised_s)]
        self._turned_on_s = mono_s if self._off and not off else self._turned_on_s
        self._off = off
        if self._hand is not None and not self._hand.stays(mono_s):
            self._hand = None
        turned_on = mono_s - self._turned_on_s < TURNED_S  # then a cut may be due at once
        stays = turned_on or (self._hand is not None and self._hand.there)
        if off or (mono_s - self._cut_over_s < QUIET_S and not stays) or self._goes_through():
            self._hand = None
            return []
        peaks = self._peaks(coast, now.metal_c, rate)
        if turned_on and self._hand is None and self._is_near(segment, now):
            self._hand = _Hand(mono_s, there=True, seen_s=mono_s)
            return [self._advice(Say.SOON, tell("profile.stay_at_knob"))]
        left_s = _left_s(peaks, segment.to_c - self._below_c(segment, coast))
        if left_s is None:
            return []
        hand = self._hand
        if hand is not None:
            hand.seen_s = mono_s
        if left_s <= (self.person_s if hand is None and not stays else AT_KNOB_S) or (
            hand is not None and left_s <= hand.takes_s(mono_s, self.person_s)
        ):
            self._cut, self._hand = _Cut(mono_s, mono_s, rate or 0.0), None
            return [self._cut_advice(segment, now, 0.0)]
        if hand is None:
            self._hand = _Hand(mono_s, there=stays, seen_s=mono_s)
            return [self._advice(Say.SOON, tell("profile.hand_on_knob", in_s=5.0 * round(left_s / 5.0)))]
        count = math.ceil(left_s - AT_KNOB_S)
        if count >= hand.counted or hand.takes_s(mono_s, self.person_s) > AT_KNOB_S:
            return []
        hand.counted = count
        return [self._advice(Say.COUNT, tell("profile.count", count=count))]

    def _is_near(self, segment: ProfileSegment, now: Observed) -> bool:
        """Is a little power all it wants, so that it is to be cut again as soon as it has shown."""
        return now.metal_c is not None and segment.to_c - now.metal_c < NEAR_SHORT_C

    def _below_c(self, segment: ProfileSegment, coast: CoastForecast | None) -> float:
        """So far below it the coast is aimed; no lower for want of knowledge where the metal is there already."""
        unsure_c = unsure_margin_c(coast)
        return AIM_BELOW_C + (unsure_c if segment.kind is SegmentKind.RAMP else HOLD_BELOW_C)

    def _peaks(self, coast: CoastForecast | None, metal_c: float | None, rate: float | None = None) -> CoastPeaks:
        """What is believed of the coast, and what is measured."""
        return CoastPeaks(None if self._disbelieved else coast, metal_c, rate)

    def _goes_up(self) -> bool:
        """Does this segment lead up: from the one before it, or from cold."""
        before = self.plan.segments[self.index - 1 : self.index] if self.index else ()
        return not before or self.plan.segments[self.index].to_c > before[0].to_c

    def _goes_through(self) -> bool:
        """A ramp that is followed at once by a hotter one is not to be cut for."""
        following = self.plan.segments[self.index + 1 : self.index + 2]
        here = self.plan.segments[self.index]
        return bool(following) and following[0].kind is SegmentKind.RAMP and following[0].to_c > here.to_c

    def _cut_advice(self, segment: ProfileSegment, now: Observed, since_s: float) -> Advice:
        cut = "fuel" if self.fuel else "electric"
        peak_c = self._peaks(now.coast, now.metal_c).after(0.0)
        high_c = segment.to_c + OVER_C if self.window_c is None else self.window_c[1]
        why = NOTHING if now.metal_c is None else tell("profile.why.now", metal_c=now.metal_c)
        say, to_c = Say.CUT, segment.to_c if peak_c is None else peak_c
        if peak_c is not None and peak_c > high_c:
            say, text = Say.OVER, tell("profile.cut.over", cut=cut, peak_c=peak_c, high_c=high_c)
        elif since_s >= MISSED_S:
            text = tell("profile.cut.missed", cut=cut, since_s=since_s, peak_c=to_c)
        elif segment.kind is SegmentKind.HOLD:
            text = tell("profile.cut.hold", cut=cut, hold_c=segment.to_c)
        else:
            text = tell("profile.cut.coasts", cut=cut, peak_c=to_c)
        return self._advice(say, text, why, setpoint_c=segment.to_c, level=PowerLevel.OFF)


def _left_s(peaks: CoastPeaks, aim_c: float) -> float | None:
    """Seconds until the power must be off for the coast to peak at `aim_c`; None: longer than a hand need wait."""
    now_c = peaks.after(0.0)
    if now_c is None or now_c >= aim_c:
        return None if now_c is None else 0.0
    then_c = peaks.after(HAND_AHEAD_S)
    if then_c is None or then_c < aim_c:
        return None
    return HAND_AHEAD_S * (aim_c - now_c) / (then_c - now_c)
