"""What a caster does without us: the rivals of the forecast, each as he would work it, and the oracle above them all.

Two kinds. *Callers* look at the same full-power melt as the forecast does and say once when to cut; until then they
change nothing, so that one simulation serves them all. *Regulators* turn the knob or the panel all along and need a
melt of their own. Memory from melt to melt is theirs. Temperatures degC, times seconds.
"""

import math
from collections import deque
from dataclasses import dataclass, field, replace
from typing import Protocol

from pourcall.sim.plant.brick import BrickPlant
from pourcall.sim.plant.furnace import Plant
from pourcall.sim.scenarios.season import SeasonBout

LINE_S, AHEAD_S = 120.0, 60.0  # straight line of the last two minutes, this far ahead
FIRST_OVERSHOOT_C = 15.0  # what a caster takes off who has not melted here before (judgement)
MEAN_HAND_S = 22.0  # what an oracle reckons with of a hand of 5 to 40 s
ORACLE_BELOW_C = 1.0  # -5/+3 is not even about nought
LOOK_S = 2.0
REGULATED_S, HELD_S = 9000.0, 1200.0
PID_C, PID_INTEGRAL_S, PID_DERIVATIVE_S = 60.0, 400.0, 60.0  # proportional band, reset, rate (textbook)
PID_TURNS_S = 30.0  # a hand turns the knob no more often


class Caller(Protocol):
    """Says once when to cut."""

    def calls(self, bout: SeasonBout, reading_c: float | None) -> bool:
        """A second passed; reading_c: what the probe says, None between dips."""
        ...

    def over(self, call_c: float, peak_c: float) -> None:
        """The melt is over: what was read at the call, and the peak after it."""
        ...


@dataclass
class _Line:
    """A straight line through what was read lately."""

    dips: bool
    seen: deque[tuple[float, float]] = field(default_factory=lambda: deque(maxlen=121))

    def add(self, t_s: float, c: float) -> None:
        self.seen.append((t_s, c))
        while len(self.seen) > (2 if self.dips else 1) and t_s - self.seen[0][0] > (1e9 if self.dips else LINE_S):
            self.seen.popleft()
        if self.dips:
            while len(self.seen) > 2:
                self.seen.popleft()

    def at(self, t_s: float) -> float | None:
        if len(self.seen) < 2 or (not self.dips and self.seen[-1][0] - self.seen[0][0] < 0.5 * LINE_S):
            return None if not self.seen or not self.dips else self.seen[-1][1]
        (a_s, a), (b_s, b) = self.seen[0], self.seen[-1]
        return b + (t_s - b_s) * (b - a) / (b_s - a_s)


class StraightLine:
    """The last two minutes (or two dips) drawn on for a minute meet the aim."""

    def __init__(self, aim_c: float, *, dips: bool) -> None:
        self.aim_c, self._line = aim_c, _Line(dips)

    def calls(self, bout: SeasonBout, reading_c: float | None) -> bool:
        if reading_c is not None:
            self._line.add(bout.t_s, reading_c)
        there = self._line.at(bout.t_s + AHEAD_S)
        molten = bout.plant.liquid_fraction > 0.5  # he looks into the pot
        return molten and there is not None and there >= self.aim_c

    def over(self, call_c: float, peak_c: float) -> None:
        """Nothing is learned."""


class LastOvershoot:
    """The aim less what it ran on by last time."""

    def __init__(self, aim_c: float, *, dips: bool) -> None:
        self.aim_c, self.less_c, self._dips, self._line = aim_c, FIRST_OVERSHOOT_C, dips, _Line(dips)

    def calls(self, bout: SeasonBout, reading_c: float | None) -> bool:
        if reading_c is not None:
            self._line.add(bout.t_s, reading_c)
        now_c = self._line.at(bout.t_s) if self._dips else reading_c
        return bout.plant.liquid_fraction > 0.5 and now_c is not None and now_c >= self.aim_c - self.less_c

    def over(self, call_c: float, peak_c: float) -> None:
        self.less_c, self._line = max(0.0, peak_c - call_c), _Line(self._dips)


class Oracle:
    """Knows how far the true metal runs on. `counted`: its person stood at the knob and heard five, four, three."""

    def __init__(self, aim_c: float, *, counted: bool) -> None:
        self.aim_c, self._counted = aim_c, counted
        self._last: tuple[float, float] | None = None
        self._called = False

    def calls(self, bout: SeasonBout, reading_c: float | None) -> bool:
        plant = bout.plant
        if self._called or bout.t_s % LOOK_S or plant.liquid_fraction < 0.9 or plant.metal_c < self.aim_c - 130.0:
            return False
        if bout.rest_kg > 0.0 or bout.holds_back:
            return False  # it knows what is still to come
        peak_c = plant.coast_peak_c()
        was, self._last = self._last, (bout.t_s, peak_c)
        ahead_s = 1.0 if self._counted else MEAN_HAND_S
        rise = 0.0 if was is None else max(0.0, (peak_c - was[1]) / (bout.t_s - was[0]))
        self._called = peak_c + rise * ahead_s >= self.aim_c - ORACLE_BELOW_C
        return self._called

    def over(self, call_c: float, peak_c: float) -> None:
        self._called, self._last = False, None


@dataclass
class Regulated:
    """What came of a melt that was regulated all along."""

    peak_c: float | None  # against the aim, from when it first got near it
    ready_s: float | None  # when it was first within 5 degC below
    held: float | None  # share of the twenty minutes after that within 5 degC
    turns: int  # of knob or panel in those


def _read(bout: SeasonBout, reading_c: float, *, dips: bool) -> float | None:
    """What this caster has read in this second."""
    if not dips:
        return reading_c
    return None if bout.dip is None else bout.dip.temp_c


class PanelOffset:
    """The panel set to the aim less the metal's offset of last time, and waited for. Electric furnaces only."""

    offset_c = 0.0  # metal less panel, as far as known

    def melt(self, bout: SeasonBout, aim_c: float, *, dips: bool) -> Regulated | None:
        """None: this furnace has no panel."""
        setpoint_c, plant = aim_c - self.offset_c, bout.plant
        if isinstance(plant, BrickPlant):
            panel = plant.furnace.panel
            setpoint_c = min(setpoint_c, panel.high_c + 60.0)
            plant.furnace = replace(plant.furnace, panel=replace(panel, low_c=setpoint_c, high_c=setpoint_c))
        elif isinstance(plant, Plant) and not plant.furnace.fuel:
            plant.furnace = replace(plant.furnace, wall_limit_c=setpoint_c + 10.0)
        else:
            return None
        watch, last_c, liquid = _Watch(aim_c), None, False
        while bout.t_s < REGULATED_S and not watch.done:
            seen = bout.second("high")
            watch.see(bout, seen.metal_c)
            last_c, liquid = _read(bout, seen.reading_c, dips=dips) or last_c, seen.liquid >= 1.0
        if last_c is not None and liquid:  # it has long stood still
            self.offset_c = last_c - setpoint_c
        return watch.told(0)


class ConstantDial:
    """High until the aim less the last overshoot is read, then one setting left alone; corrected from melt to melt."""

    def __init__(self) -> None:
        self.less_c, self.share = FIRST_OVERSHOOT_C, 0.3

    def melt(self, bout: SeasonBout, aim_c: float, *, dips: bool) -> Regulated | None:
        watch, line, call_c, peak_c, last_c = _Watch(aim_c), _Line(dips), 0.0, -1e9, aim_c
        turn_s = math.inf
        while bout.t_s < REGULATED_S and not watch.done:
            turned = bout.t_s >= turn_s
            seen = bout.second("low" if turned else "high", share=self.share if turned else None)
            watch.see(bout, seen.metal_c)
            reading_c = _read(bout, seen.reading_c, dips=dips)
            if reading_c is not None:
                line.add(bout.t_s, reading_c)
                last_c = reading_c
            now_c = line.at(bout.t_s) if dips else reading_c
            if turn_s == math.inf and seen.liquid > 0.5 and now_c is not None and now_c >= aim_c - self.less_c:
                turn_s, call_c = bout.t_s + bout.person.delay_s, now_c
            if turned and bout.t_s < turn_s + 300.0:
                peak_c = max(peak_c, seen.metal_c)
        if turn_s < math.inf:
            self.less_c = max(0.0, peak_c - call_c)
            self.share = min(1.0, max(0.02, self.share + 0.004 * (aim_c - last_c)))
        return watch.told(1)


class TextbookPid:
    """Proportional band, reset and rate of a textbook; a hand sets off, low or high every half minute at most."""

    def melt(self, bout: SeasonBout, aim_c: float, *, dips: bool) -> Regulated | None:
        watch, level, turns, sum_, turned_s = _Watch(aim_c), "high", 0, 0.0, 0.0
        line, pending = _Line(dips), None
        while bout.t_s < REGULATED_S and not watch.done:
            seen = bout.second(level)
            watch.see(bout, seen.metal_c)
            reading_c = _read(bout, seen.reading_c, dips=dips)
            if reading_c is not None:
                line.add(bout.t_s, reading_c)
            if pending is not None and bout.t_s >= pending[0]:
                turns += pending[1] != level and watch.begun
                level, pending = pending[1], None
            now_c, soon_c = line.at(bout.t_s), line.at(bout.t_s + 1.0)
            if now_c is None or soon_c is None or bout.t_s - turned_s < PID_TURNS_S:
                continue
            turned_s = bout.t_s
            error = (aim_c - now_c) / PID_C
            if abs(error) < 1.0:
                sum_ = min(1.0, max(0.0, sum_ + error * PID_TURNS_S / PID_INTEGRAL_S))
            asked = error + sum_ - (soon_c - now_c) * PID_DERIVATIVE_S / PID_C
            wanted = "off" if asked < 0.25 else "low" if asked < 0.75 else "high"
            if wanted != level and pending is None:
                pending = (bout.t_s + bout.person.again_s(), wanted)
        return watch.told(turns)


class _Watch:
    """Peak and hold of a regulated melt."""

    def __init__(self, aim_c: float) -> None:
        self.aim_c, self.begun, self.peak_c, self.began_s = aim_c, False, -math.inf, 0.0
        self.within = self.seconds = 0

    @property
    def done(self) -> bool:
        """Twenty minutes after it was there."""
        return self.seconds >= HELD_S

    def see(self, bout: SeasonBout, metal_c: float) -> None:
        """A second of the truth."""
        if bout.plant.liquid_fraction < 1.0 or bout.plant.lump_kg > 0.0:
            self.seconds += self.begun
            return
        over_c = metal_c - self.aim_c
        if not self.begun and over_c >= -5.0:
            self.begun, self.began_s = True, bout.t_s
        self.peak_c = max(self.peak_c, over_c)
        if self.begun:
            self.seconds += 1
            self.within += abs(over_c) <= 5.0

    def told(self, turns: int) -> Regulated:
        """All of it."""
        return Regulated(
            self.peak_c if math.isfinite(self.peak_c) else None,
            self.began_s if self.begun else None,
            self.within / HELD_S if self.begun else None,
            turns,
        )
