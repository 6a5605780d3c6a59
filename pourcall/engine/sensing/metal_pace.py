"""What no metal in a pot does, whatever the furnace: found in the trace of a probe that stays in it. Pure.

One `MetalPace` for each such probe, a look a second. Heat comes and goes at a pace, and through the whole latent heat;
cold metal takes some of it away at once, but never most; a probe that was out comes back within its sheath's time.
A couple that fails does none of that. Thresholds are ours, judged on simulated melts (`tests/normal`) and on damaged
couples (`tests/lies.py`); heat by the alloy's own sheet.
"""

from collections import deque

from pourcall.contract.message import NOTHING, Message, tell
from pourcall.contract.plan import AlloyFacts
from pourcall.contract.reading import ProbeState
from pourcall.metal.heat.curve import HeatCurve, curve_of

EVERY_S = 1.0
RISE_C_PER_S, RISE_S, RISE_TAUS = 2.5, 30.0, 4.0  # faster than that for so long: no furnace, and no sheath that settles
TURN_C, TURNS, TURNS_S = 8.0, 10, 1800.0  # so many turns of so much: nobody adds metal so often
# Greater swings are fewer, wherever the probe seems to be between them: three cold additions that nobody told make six.
# One that lost its figure meanwhile is given less.
SWING_SHARE, SWING_LEAST_C, SWING_MOST_C = 0.04, 12.0, 40.0  # of the liquidus above the room
SWINGS, SWINGS_SUSPECT, SWINGS_S, ROOM_C = 7, 3, 1200.0, 20.0
LEFT_OF_HEAT = 0.35  # an addition takes no more of what the bath holds above the room
FELL_S, FELL_TAUS = 300.0, 4.0
SHAKEN_C, SHAKEN_S, PACE_C_PER_S = 15.0, 10.0, 1.3  # moved so much more than metal does in so long
ROUGH_C, ROUGH_STEP_S = 4.0, 10.0  # off the straight line through what it was 10 and 20 s before
NOTCH_S = 35.0  # a skim, a stir, a lid: down and back, three or four bends in a row, and it runs straight again
ROUGH_MANY, ROUGH_MANY_S = 10, 600.0  # bends beyond those of a notch
AWAY_S = 120.0  # no longer out than a person needs to skim: then it comes back to the bath it left
# A cold probe put in near the liquidus freezes a shell on itself, and reads that till it melts off: for so long at the
# most, and not far above the liquidus.
SHELL_S, SHELL_ABOVE_C, SHELL_BELOW_C = 150.0, 15.0, 15.0
BACK_C, BACK_C_PER_S = 25.0, 1.3  # a bath is not hotter than this after a probe was out of it


class MetalPace:
    """One probe. `look` at most once a second; what it finds is a lie."""

    def __init__(self) -> None:
        self._alloy: AlloyFacts | None = None
        self._metal: HeatCurve | None = None
        self._points: deque[tuple[float, float]] = deque()  # while it stands in the metal without a break
        self._turns: deque[float] = deque()
        self._way, self._turn_c = 0, 0.0  # up or down, and the furthest on that way
        self._swings: deque[float] = deque()
        self._swing_way, self._swing_c = 0, 0.0
        self._rough: deque[float] = deque()  # bends that are no part of a notch
        self._rough_s = -1e9
        self._bent_s, self._bends_since_s = -1e9, -1e9  # the last bend, and the first of those in a row with it
        self.shaken = (
            False  # at the last look: it moved as metal seldom does; no lie yet, but it has to stand still first
        )
        self.between_lumps = False  # it may be: there a tip may well be rough and turn, as a charge sinks and melts
        self._left: tuple[float, float] | None = None  # when it was last in the metal, and where
        self._last_c = 0.0  # the very last there
        self._shell_s: float | None = None  # since when it may read its own shell, and has read nothing else
        self._deepest_c = 1e9  # since then
        self._next_s = -1e9

    def stands(self, *, between_lumps: bool) -> None:
        """Where its tip may be."""
        self.between_lumps = between_lumps

    def forget(self) -> None:
        """Another melt, or a person has put it right."""
        self._points.clear()
        self._turns.clear()
        self._swings.clear()
        self._rough.clear()
        self._swing_way = 0
        self._bent_s = -1e9
        self._way, self._left, self._deepest_c, self._next_s = 0, None, 1e9, -1e9
        self._shell_s = None

    def due(self, at_s: float) -> bool:
        """It is time for a look."""
        return at_s >= self._next_s

    def look(
        self,
        at_s: float,
        temp_c: float,
        state: ProbeState,
        alloy: AlloyFacts | None,
        tau_s: float,
        *,
        warmed: bool,
        worked: bool = False,
        suspect_since_s: float | None = None,
    ) -> Message:
        """What cannot be of metal; nothing: all may be.

        warmed: it just came into the metal by warming, no surge. worked: somebody is at the bath, which bends it.
        suspect_since_s: when it lost its figure, a while ago; None: it did not.
        """
        self._next_s = at_s + EVERY_S - 1e-6
        if alloy is not self._alloy:
            self._alloy, self._metal = alloy, None if alloy is None else curve_of(alloy)
            self.forget()
        self.shaken = False
        swings = self._swung(at_s, temp_c, suspect_since_s, worked=worked)
        if swings:
            return swings
        if state is not ProbeState.IN_METAL:
            return self._out(temp_c)
        points = self._points
        found = NOTHING if points else self._arrived(at_s, temp_c, warmed=warmed, worked=worked)
        self._look_for_shell(at_s, temp_c, arrived=not points and not warmed)
        points.append((at_s, temp_c))
        while points[0][0] < at_s - FELL_S - FELL_TAUS * tau_s:
            points.popleft()
        high_c = self._left[1] if self._left is not None else temp_c
        lowest_c, highest_c = min(c for _, c in points), max(c for _, c in points)
        self._left, self._last_c, self._deepest_c = (at_s, highest_c), temp_c, temp_c
        return (
            found
            or self._rose(at_s, temp_c, lowest_c, tau_s)
            or self._lost_heat(temp_c, highest_c)
            or self._turned(at_s, temp_c)
            or self._shook(at_s, temp_c, high_c, worked=worked)
            or self._is_rough(at_s, worked=worked)
        )

    def _swung(self, at_s: float, temp_c: float, suspect_since_s: float | None, *, worked: bool) -> Message:
        """Up and down by much, hotter than the liquidus all the while: a probe that leaves the metal cools past it."""
        metal = self._metal
        if metal is None or temp_c < metal.liquidus_c or self.between_lumps:
            self._swing_way = 0
            return NOTHING
        if self._swing_way == 0:
            self._swing_way, self._swing_c = 1, temp_c
        if (temp_c - self._swing_c) * self._swing_way >= 0.0:
            self._swing_c = temp_c
            return NOTHING
        least_c = min(SWING_MOST_C, max(SWING_LEAST_C, SWING_SHARE * (metal.liquidus_c - ROOM_C)))
        if abs(temp_c - self._swing_c) < least_c:
            return NOTHING
        self._swing_way, self._swing_c = -self._swing_way, temp_c
        swings = self._swings
        if not worked:
            swings.append(at_s)
        while swings and swings[0] < at_s - SWINGS_S:
            swings.popleft()
        suspect = suspect_since_s is not None and sum(s >= suspect_since_s for s in swings) >= SWINGS_SUSPECT
        if len(swings) < SWINGS and not suspect:
            return NOTHING
        return tell("alarm.wanders", times=len(swings), within_min=(at_s - swings[0]) / 60.0)

    def _out(self, temp_c: float) -> Message:
        """Not in the metal: how deep it fell is remembered."""
        if self._points:
            self._points.clear()
            self._turns.clear()
            self._way = 0
        self._deepest_c = min(self._deepest_c, temp_c)
        return NOTHING

    def _arrived(self, at_s: float, temp_c: float, *, warmed: bool, worked: bool) -> Message:
        """Back in the metal: as hot as the bath may be by now, and by a way that a probe takes."""
        metal = self._metal
        if self._left is None or metal is None:
            return NOTHING
        left_s, left_c = self._left
        if left_c < metal.liquidus_c or self.between_lumps or self._shell_s is not None:
            return NOTHING  # between lumps, or in a shell of its own, it says little of the bath
        away_s, moved_c = at_s - left_s, temp_c - self._last_c
        chilled = worked and moved_c < 0.0  # by the metal that went in
        self.shaken = away_s < AWAY_S and abs(moved_c) > SHAKEN_C + PACE_C_PER_S * away_s and not chilled
        if temp_c > left_c + BACK_C + BACK_C_PER_S * (at_s - left_s):
            return tell("alarm.back_too_hot", was_c=left_c, is_c=temp_c, away_s=at_s - left_s)
        if warmed and self._too_deep(left_c, self._deepest_c):
            return tell("alarm.crept_back", fell_c=self._deepest_c, is_c=temp_c)
        return NOTHING

    def _look_for_shell(self, at_s: float, temp_c: float, *, arrived: bool) -> None:
        """It came into the metal from outside and reads about where that freezes, ever since."""
        metal = self._metal
        about = metal is not None and temp_c >= metal.solidus_c - SHELL_BELOW_C
        about = about and metal is not None and temp_c <= metal.liquidus_c + SHELL_ABOVE_C
        if arrived:
            self._shell_s = at_s if about else None
        elif not about or (self._shell_s is not None and at_s - self._shell_s > SHELL_S):
            self._shell_s = None

    def _before(self, at_s: float) -> float | None:
        """What it read at the last look not later than a moment; None: it was not in the metal yet."""
        return next((c for s, c in reversed(self._points) if s <= at_s + 1e-6), None)

    def _shook(self, at_s: float, temp_c: float, high_c: float, *, worked: bool) -> Message:
        """It moved further in seconds than metal does: up, in liquid metal, is a lie; down may be cold metal."""
        then_c = self._before(at_s - SHAKEN_S)
        if then_c is None:
            return NOTHING
        most_c = SHAKEN_C + PACE_C_PER_S * SHAKEN_S
        if abs(temp_c - then_c) <= most_c:
            return NOTHING
        metal = self._metal
        if metal is not None and temp_c < metal.liquidus_c:
            return NOTHING  # lumps sink and melt, cold metal chills it; and nothing is ready there
        self.shaken = self.shaken or not (worked and temp_c < then_c)
        if metal is None or temp_c - then_c < 0.0 or high_c < metal.liquidus_c or temp_c < high_c + most_c:
            return NOTHING
        return tell("alarm.rose", by_difference_c=temp_c - then_c, within_s=SHAKEN_S)

    def _is_rough(self, at_s: float, *, worked: bool) -> Message:
        """It never goes straight from one moment to the next, as metal and its sheath do.

        Ordinary work bends it too, for seconds, and lets it go straight again: only what goes on bending is rough.
        """
        if at_s < self._rough_s + ROUGH_STEP_S:
            return NOTHING
        self._rough_s = at_s
        one_c, two_c, now_c = (
            self._before(at_s - 2.0 * ROUGH_STEP_S),
            self._before(at_s - ROUGH_STEP_S),
            self._points[-1][1],
        )
        rough = self._rough
        if one_c is None or two_c is None or self._metal is None or now_c < self._metal.liquidus_c:
            return NOTHING
        if self.between_lumps:
            return NOTHING
        while rough and rough[0] < at_s - ROUGH_MANY_S:
            rough.popleft()
        if worked or abs(now_c - 2.0 * two_c + one_c) <= ROUGH_C:
            return NOTHING
        if at_s - self._bent_s > 1.5 * ROUGH_STEP_S:
            self._bends_since_s = at_s
        self._bent_s = at_s
        if at_s - self._bends_since_s < NOTCH_S:
            return NOTHING
        rough.append(at_s)
        if len(rough) >= ROUGH_MANY:
            return tell("alarm.wanders", times=len(rough), within_min=(at_s - rough[0]) / 60.0)
        self.shaken = True
        return NOTHING

    def _too_deep(self, from_c: float, to_c: float) -> bool:
        """Lower than any addition takes the bath."""
        metal = self._metal
        if metal is None or from_c < metal.liquidus_c:
            return False
        return metal.enthalpy(to_c) < LEFT_OF_HEAT * metal.enthalpy(from_c)

    def _rose(self, at_s: float, temp_c: float, lowest_c: float, tau_s: float) -> Message:
        """Faster than any furnace heats, for longer than a sheath settles."""
        wanted_s, points = RISE_S + RISE_TAUS * tau_s, self._points
        if at_s - points[0][0] < wanted_s or temp_c - lowest_c < RISE_C_PER_S * wanted_s:
            return NOTHING
        then_s, then_c = next(point for point in reversed(points) if point[0] <= at_s - wanted_s)
        if temp_c - then_c < RISE_C_PER_S * (at_s - then_s):
            return NOTHING
        metal = self._metal
        if self.between_lumps and metal is not None and then_c < metal.solidus_c and temp_c < metal.liquidus_c:
            return NOTHING  # a small cold charge in a hot pot warms as fast as that, up to where it melts
        return tell("alarm.rose", by_difference_c=temp_c - then_c, within_s=at_s - then_s)

    def _lost_heat(self, temp_c: float, highest_c: float) -> Message:
        """Liquid a few minutes ago, and now without most of its heat, the latent heat too."""
        metal = self._metal
        if metal is None or temp_c > metal.begins_c:
            return NOTHING
        if not self._too_deep(highest_c, temp_c):
            return NOTHING
        return tell("alarm.lost_heat", was_c=highest_c, is_c=temp_c)

    def _turned(self, at_s: float, temp_c: float) -> Message:
        """Up and down and up again, more often than anybody adds metal."""
        if self._way == 0:
            self._way, self._turn_c = 1, temp_c
        if (temp_c - self._turn_c) * self._way >= 0.0:
            self._turn_c = temp_c
            return NOTHING
        if abs(temp_c - self._turn_c) < TURN_C:
            return NOTHING
        self._way, self._turn_c = -self._way, temp_c
        turns = self._turns
        if self._metal is None or temp_c < self._metal.liquidus_c or self.between_lumps:
            return NOTHING
        turns.append(at_s)
        while turns[0] < at_s - TURNS_S:
            turns.popleft()
        if len(turns) < TURNS:
            return NOTHING
        return tell("alarm.wanders", times=len(turns), within_min=(at_s - turns[0]) / 60.0)
