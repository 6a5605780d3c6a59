"""How far a probe's figures may be believed: one memory for every way of losing one. Pure; the time is an argument.

    state       entered when                                           what a figure is worth
    trusted     nothing is against it                                  everything
    lost        no figure comes, whatever the reason                   there is none
    proving     it is back, or a person mended it                      shown, marked as not proven; counts for nothing
    distrusted  it came and went again and again, or said what         nothing at all, till a person has looked
                metal cannot do

Proven is what has been quiet long enough, and after a gap agrees with what the metal can have done meanwhile. The
longer it was away or lied, the longer it must be quiet. One sample that is missing, once, is no matter.
Not here: which samples carry no figure (measurement.py), what metal can do (metal_pace.py, heat_bounds.py), alarms.
Times and levels are ours, judged on simulated melts (`tests/normal`) and damaged couples (`tests/lies.py`).
"""

from collections import deque
from dataclasses import dataclass
from enum import StrEnum

from pourcall.contract.message import NOTHING, Message, tell

CHANGES_S = 60.0  # fault row T12: three changes within it, lost, back and lost again, are a loose contact
MEMORY_S = 600.0  # so long a loss is remembered
LOSSES_IN_MEMORY = 2  # longer ones than a single sample
BLIPS_IN_MEMORY = 4  # of any length
BACK_QUIET_S, LIE_QUIET_S, QUIET_MOST_S = 30.0, 60.0, 900.0  # at least as long as it was away, or lied
SHAKEN_QUIET_S, PROBATION_S = 60.0, 600.0
LINK_QUIET_S, LINK_SHARE, LINK_QUIET_MOST_S = 5.0, 0.1, 60.0  # the cable was at fault, not the couple
PACE_C_PER_S = 1.3  # metal heated at full power moves up to about 1 degC/s
STEP_C = 3.0  # beside that, from one figure to the next while it proves itself
GOES_ON_S = 120.0  # no longer can it be said where it would be by now
FALLS_C_PER_MIN, RISES_C_PER_MIN = 30.0, 78.0  # a couple that fails sinks faster before it is lost: no way to go on
LEAP_C, LEAP_S, LEAP_FROM_C, HOTTER_C = 100.0, 10.0, 200.0, 60.0  # up from hot to what it never read: no dip, no wall
UNKNOWN_AWAY_S, WARM_C = 60.0, 60.0  # a plug that is pulled and pushed in again comes back at the room's temperature
BAND_C, BAND_C_PER_S, BAND_MOST_C = 12.0, 0.03, 40.0  # about where it was, and where it would be had it gone on so


class TrustState(StrEnum):
    """How far a probe may be believed."""

    TRUSTED = "trusted"
    LOST = "lost"
    PROVING = "proving"
    DISTRUSTED = "distrusted"


class TrustEvent(StrEnum):
    """What may happen to it."""

    LOSE = "lose"  # no figure
    RETURN = "return"  # a figure again
    SHAKE = "shake"  # it moved as metal seldom does
    LIE = "lie"  # it said what cannot be, or comes and goes
    PERSON = "person"  # a person has looked and says that it is mended
    PROVE = "prove"  # quiet long enough, and in agreement


class Cause(StrEnum):
    """Why it is not believed: the alarm that says so."""

    NONE = ""
    INTERMITTENT = "intermittent"
    IMPLAUSIBLE = "implausible"
    UNCHANGING = "unchanging"
    REVERSED = "reversed_sensor"
    TYPE = "type_suspect"
    UNEXPLAINED = "unexplained"


# What is weighed anew with every word of a person gives way to what the couple shows by itself; of equals the first
# stands. A type in doubt may be set right, a power that was not marked may be: neither mends a loose contact.
GIVES_WAY: dict[Cause, int] = {Cause.NONE: 0, Cause.TYPE: 1, Cause.UNEXPLAINED: 2}
STANDS = 3

T, E = TrustState, TrustEvent
TRUST_TABLE: dict[tuple[TrustState, TrustEvent], TrustState] = {
    (T.TRUSTED, E.LOSE): T.LOST,
    (T.TRUSTED, E.SHAKE): T.PROVING,
    (T.TRUSTED, E.LIE): T.DISTRUSTED,
    (T.LOST, E.RETURN): T.PROVING,
    (T.LOST, E.LIE): T.DISTRUSTED,
    (T.PROVING, E.LOSE): T.LOST,
    (T.PROVING, E.LIE): T.DISTRUSTED,
    (T.PROVING, E.PROVE): T.TRUSTED,
    (T.DISTRUSTED, E.PERSON): T.PROVING,
}
TRUST_STAYS: frozenset[tuple[TrustState, TrustEvent]] = frozenset(
    {
        (T.TRUSTED, E.RETURN),
        (T.TRUSTED, E.PERSON),
        (T.TRUSTED, E.PROVE),
        (T.LOST, E.LOSE),
        (T.LOST, E.SHAKE),
        (T.PROVING, E.SHAKE),
        (T.DISTRUSTED, E.SHAKE),
        (T.LOST, E.PERSON),  # nothing can be said of a probe that says nothing
        (T.LOST, E.PROVE),
        (T.PROVING, E.RETURN),
        (T.PROVING, E.PERSON),
        (T.DISTRUSTED, E.LOSE),  # gone or not: it stays what it is
        (T.DISTRUSTED, E.RETURN),
        (T.DISTRUSTED, E.LIE),
        (T.DISTRUSTED, E.PROVE),  # quiet alone mends no contact
    }
)


@dataclass(frozen=True, slots=True)
class Level:
    """Where the metal was when it was last believed, degC, and how it moved."""

    at_s: float
    temp_c: float
    rate_c_per_min: float

    def could_be(self, temp_c: float, at_s: float) -> bool:
        """That, so much later: about as it was, or as if it had gone on so, or anything between."""
        gap_s = max(0.0, at_s - self.at_s)
        rate_c_per_min = min(RISES_C_PER_MIN, max(-FALLS_C_PER_MIN, self.rate_c_per_min))
        on_c = self.temp_c + rate_c_per_min / 60.0 * min(gap_s, GOES_ON_S)
        spare_c = BAND_C + min(BAND_MOST_C, BAND_C_PER_S * gap_s)
        return min(self.temp_c, on_c) - spare_c <= temp_c <= max(self.temp_c, on_c) + spare_c


@dataclass(frozen=True, slots=True)
class Doubted:
    """A probe that is not believed: what must be kept of it over a restart."""

    proving: bool
    cause: Cause
    need_s: float
    level: Level | None
    lost_s: float | None = None  # since when it gives no figure; None: it does
    from_nowhere: bool = False
    only_in: bool = False
    hottest: tuple[float, float] | None = None


class Trust:
    """Of one probe. `figure` or `lost` for each sample, `lied` where something found it out, `person` for a word."""

    def __init__(self) -> None:
        self.state = TrustState.TRUSTED
        self.cause = Cause.NONE
        self.why: Message = NOTHING
        self.trouble_s = -1e9  # last time anything was wrong
        self._began_s = -1e9  # of this episode
        self._losses: deque[tuple[float, bool]] = deque()  # when each began, and whether it was more than one sample
        self._away_s: float | None = None  # since when it gives no figure; None: it does
        self._missing = 0  # samples without a figure, one after the other
        self._link = False  # it is the link that was lost
        self._level: Level | None = None  # None: it was not in the metal, and may come back anywhere
        self._need_s = 0.0
        self._from_nowhere = False  # it was away for long, and nothing is known that it could agree with
        self._only_in = False  # it proves itself in the metal alone
        self._probation_until_s = -1e9
        self._last: tuple[float, float] | None = None  # last figure while it proves itself
        self._hottest: tuple[float, float] | None = None  # in the metal of this melt, believed: when, and degC

    @property
    def trusted(self) -> bool:
        """Its figures count."""
        return self.state is TrustState.TRUSTED

    @property
    def alarm(self) -> Cause:
        """The alarm that stands for it now; none: nothing does, or only a lost link."""
        return self.cause if self.state is not TrustState.TRUSTED else Cause.NONE

    @property
    def doubted(self) -> Doubted | None:
        """Why it is not believed, as a restart must know it; None: it is, or a sample or two are missing."""
        if self.state is TrustState.DISTRUSTED:
            return Doubted(False, self.cause, self._need_s, None)
        if self.state is TrustState.LOST and self._missing >= 2 and not self._link:
            cause, need_s, lost_s = self.cause or Cause.INTERMITTENT, max(self._need_s, BACK_QUIET_S), self._away_s
        elif self.state is TrustState.TRUSTED or self._need_s <= 0.0:
            return None
        else:
            cause, need_s, lost_s = self.cause, self._need_s, None
        return Doubted(True, cause, need_s, self._level, lost_s, self._from_nowhere, self._only_in, self._hottest)

    def suspect_since_s(self, at_s: float) -> float | None:
        """When it lost its figure or began to lie; None: nothing of it, or it has been quiet for long since."""
        proving = self.state is TrustState.PROVING and self.cause is not Cause.NONE
        return self._began_s if proving or at_s < self._probation_until_s else None

    def ready_in_s(self, at_s: float) -> float | None:
        """Seconds of quiet that are still wanted; None: it does not prove itself."""
        return max(0.0, self._need_s - (at_s - self.trouble_s)) if self.state is TrustState.PROVING else None

    # -- what comes ---------------------------------------------------------------------------------------------------

    def lost(self, at_s: float, level: Level | None, *, link: bool = False, samples: int = 1) -> None:
        """A sample without a figure, or a channel or link that fell silent (as if so many samples were missing).

        level: of the metal it was in till now.
        """
        if self._away_s is None:
            self._away_s, self._missing, self._link = at_s, 0, link
            if self.state is TrustState.TRUSTED:
                self._began_s, self._level = at_s, level
            before_s = self._losses[-1][0] if self._losses else -1e9
            if not link:
                self._losses.append((at_s, False))
            self._step(TrustEvent.LOSE)
            if not link and at_s - before_s <= CHANGES_S:
                self._comes_and_goes(at_s)
        self._missing += samples
        self._link = self._link and link
        if self._missing >= 2 and self._losses and not self._link:
            self._losses[-1] = (self._losses[-1][0], True)
        self.trouble_s = at_s

    def figure(self, at_s: float, temp_c: float, *, in_metal: bool) -> None:
        """A figure. in_metal: the probe stands in the metal, where nothing moves fast."""
        if self._away_s is not None:
            self._back(at_s)
        if self.state is TrustState.PROVING:
            self._prove(at_s, temp_c, in_metal)
        elif in_metal and self.state is TrustState.TRUSTED and (self._hottest is None or temp_c >= self._hottest[1]):
            self._hottest = (at_s, temp_c)

    def shaken(self, at_s: float) -> None:
        """It moved as metal seldom does: it has to stand still first. Soon after a fault that is one more."""
        if at_s < self._probation_until_s:
            self.lied(at_s, Cause.INTERMITTENT, tell("alarm.restless"))
            return
        if self.state is TrustState.TRUSTED:
            self._began_s = at_s
            self._level, self._need_s, self._only_in = None, SHAKEN_QUIET_S, True
        self._step(TrustEvent.SHAKE)
        self.trouble_s = at_s

    def lied(self, at_s: float, cause: Cause, why: Message) -> None:
        """It said what cannot be. The first reason stands till it is over, unless a stronger one comes (GIVES_WAY)."""
        if self.state is TrustState.TRUSTED:
            self._began_s = at_s
        stronger = GIVES_WAY.get(cause, STANDS) > GIVES_WAY.get(self.cause, STANDS)
        if self.state is not TrustState.DISTRUSTED or stronger:
            self.cause, self.why = cause, why
        self._step(TrustEvent.LIE)
        self.trouble_s = at_s
        self._need_s = max(self._need_s, min(max(at_s - self._began_s, LIE_QUIET_S), QUIET_MOST_S))

    def person(self, at_s: float) -> None:
        """A person has looked and says that it is mended: where it stands now is where the metal is."""
        if self.state is TrustState.DISTRUSTED and self._away_s is None:
            self._level = self._last = None
            self._from_nowhere = False
            self._losses.clear()
            self._step(TrustEvent.PERSON)
            if at_s - self.trouble_s >= self._need_s:
                self._proven()

    def goes_on(self, at_s: float, before: Doubted, why: Message) -> None:
        """It was proving itself when the daemon stopped, and begins that anew, by as long a quiet; or it was lost, and
        was away since then, whenever it is back."""
        if self.state is TrustState.DISTRUSTED:
            return
        self._began_s = self.trouble_s = at_s
        self.cause, self.why = before.cause, why if before.cause is not Cause.NONE else NOTHING
        self._level, self._need_s = before.level, max(self._need_s, before.need_s)
        self._from_nowhere, self._only_in, self._hottest = before.from_nowhere, before.only_in, before.hottest
        if before.lost_s is None:
            self._step(TrustEvent.SHAKE)
            return
        self._away_s, self._missing, self._link = before.lost_s, 2, False
        self._step(TrustEvent.LOSE)

    # -- what becomes of it -------------------------------------------------------------------------------------------

    def _back(self, at_s: float) -> None:
        """A figure after none."""
        away_s, missing, link = at_s - (self._away_s or at_s), self._missing, self._link
        self._away_s, self._last = None, None
        if missing < 2 and not link and self.state is TrustState.LOST and self._count(at_s) < BLIPS_IN_MEMORY:
            self._step(TrustEvent.RETURN)
            if self.cause is Cause.NONE:
                self._need_s = 0.0  # one sample, once: where it is now must still agree
            return
        self.trouble_s = at_s
        self._step(TrustEvent.RETURN)
        if link:
            self._need_s = max(self._need_s, min(max(LINK_SHARE * away_s, LINK_QUIET_S), LINK_QUIET_MOST_S))
            return
        self._from_nowhere |= self._level is None and away_s >= UNKNOWN_AWAY_S
        self._need_s = max(self._need_s, min(max(away_s, BACK_QUIET_S), QUIET_MOST_S))
        longer = sum(more for loss_s, more in self._losses if loss_s >= at_s - MEMORY_S)
        if self._count(at_s) >= BLIPS_IN_MEMORY or longer >= LOSSES_IN_MEMORY:
            self._comes_and_goes(at_s)
        elif self.cause is Cause.NONE:
            self.cause, self.why = Cause.INTERMITTENT, tell("alarm.came_back", away_s=away_s)

    def _count(self, at_s: float) -> int:
        while self._losses and self._losses[0][0] < at_s - MEMORY_S:
            self._losses.popleft()
        return len(self._losses)

    def _comes_and_goes(self, at_s: float) -> None:
        times = self._count(at_s)
        since_s = at_s - self._losses[0][0] if self._losses else 0.0
        self.lied(at_s, Cause.INTERMITTENT, tell("alarm.contacts", times=times, within_s=since_s))

    def _prove(self, at_s: float, temp_c: float, in_metal: bool) -> None:
        last, self._last = self._last, (at_s, temp_c)
        if last is not None and self._leapt(last, at_s, temp_c):
            self.cause = Cause.NONE  # what it is asked about now is the leap
            self.lied(at_s, Cause.INTERMITTENT, tell("alarm.leapt", from_c=last[1], to_c=temp_c))
            return
        fast = last is not None and abs(temp_c - last[1]) > STEP_C + PACE_C_PER_S * (at_s - last[0])
        level = self._level
        lost_in = level is not None and level.could_be(temp_c, at_s)  # only there can it show that it is as it was
        if (in_metal and fast) or ((self._only_in or lost_in) and not in_metal):
            self.trouble_s = at_s
        plugged = level is None and temp_c < WARM_C and not self._only_in
        if at_s - self.trouble_s < (min(self._need_s, BACK_QUIET_S) if plugged else self._need_s):
            return
        if level is not None and not level.could_be(temp_c, at_s):
            why = tell("alarm.came_back_at", was_c=level.temp_c, is_c=temp_c, away_s=at_s - level.at_s)
            self.cause = Cause.NONE if self.state is TrustState.PROVING else self.cause
            self.lied(at_s, Cause.INTERMITTENT, why)
            return
        if self._from_nowhere and temp_c >= WARM_C:
            self.cause = Cause.NONE if self.state is TrustState.PROVING else self.cause
            self.lied(at_s, Cause.INTERMITTENT, tell("alarm.came_back_hot", is_c=temp_c))
            return
        self._proven()

    def _leapt(self, last: tuple[float, float], at_s: float, temp_c: float) -> bool:
        """Lost, back, and at once from hot to far above all it was believed at in the metal, and what that can have
        risen to since: no dip does that, no furnace. A probe warmed outside, and not dipped yet, may leap."""
        then_s, from_c = last
        if self.cause is not Cause.INTERMITTENT:
            return False  # it was never lost: pulled up into a flame it may
        leap = at_s - then_s <= LEAP_S and from_c >= LEAP_FROM_C and temp_c - from_c > LEAP_C
        if not leap or self._hottest is None:
            return False
        hottest_s, hottest_c = self._hottest
        return temp_c > hottest_c + HOTTER_C + RISES_C_PER_MIN / 60.0 * (at_s - hottest_s)

    def new_melt(self) -> None:
        """Another batch may be another alloy."""
        self._hottest = None

    def _proven(self) -> None:
        self._step(TrustEvent.PROVE)
        if self.cause is not Cause.NONE:
            self._probation_until_s = self.trouble_s + self._need_s + PROBATION_S
        self.cause, self.why = Cause.NONE, NOTHING
        self._need_s, self._level, self._last = 0.0, None, None
        self._only_in = self._from_nowhere = False

    def _step(self, event: TrustEvent) -> None:
        self.state = TRUST_TABLE.get((self.state, event), self.state)
