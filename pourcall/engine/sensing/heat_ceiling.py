"""The most heat the metal can hold, J/kg: no power, no rise. Pure; `step` once a second.

With the power off only pot and wall give heat, and less each minute: the gap between wall and metal closes in
tau = C W / (C + W) / G. C is the heat of metal and pot for a degree, W that of the wall that follows within a melt,
G = A (4 eps sigma T^3 + air), by Stefan and Boltzmann, A the outside of a pot of common shape. So the metal rises no
faster than it did before the cut, less a factor e each tau, and not at all above where it has been but by that. What
the wall can give is bounded so without knowing how hot it is.
As the metal cools the bound comes down after it, for with the power off what has left does not come back. A time
without a figure leaves it as it is: it goes on growing by what may flow. Cold metal only takes heat away; liquid metal
brings its own. Allowances are ours, judged on simulated melts.
"""

import math
from collections import deque

from pourcall.contract.plan import AlloyFacts
from pourcall.engine.sensing.heat_look import PLATEAU_C, READING_C, Heating, Look
from pourcall.furnace.model import KELVIN, SIGMA
from pourcall.metal.heat.curve import HeatCurve

# Heat that follows the cut: metal goes on as before for so long (pot between, the walk to the knob, a late mark), and
# then dies away. More than before it never is; measured at the knob it is known to a tenth.
AFTER_CUT_S, RATE_SHARE = 60.0, 1.1
LEAST_C_PER_S, UNSEEN_C_PER_S, MOST_C_PER_S = 0.25, 2.0, 2.5
TRAIL_S, TRAIL_LEAST_S = 60.0, 45.0
AWAY_S, SETTLES_S, SETTLES_IN_ALL_S = 3.0, 90.0, 180.0
# The bound comes down to the hottest figure of so long. A lid, a skim, cold metal nobody marked are over by then; what
# was marked, a pot that comes back, a probe that was out get longer, a furnace hot from before longest.
LOOKS_BACK_S, WORK_LASTS_S, BACK_LASTS_S = 600.0, 900.0, 300.0
MOVED_S = 300.0  # after metal went in, a rate tells nothing of the heat that flows
FORGETS_C_PER_S = 0.05  # with the power on, what was hottest counts for some minutes
WALL_UNSEEN_S = 1800.0  # a furnace hot from a melt nobody recorded has given its heat by then
EMISSIVITY, AIR_W_PER_M2_K = 0.7, 5.0  # wall to pot, and the air between (common practice, no source)
WALL_ABOVE_C = 60.0
POT_WALL_M, POT_KG_PER_M3, POT_J_PER_KG_K = 0.008, 2000.0, 950.0  # clay graphite (common practice, no source)
POT_FILLED = 0.75
MASS_SHARE = 1.1  # of the charge that was told
WALL_HOLDS = 1.0  # of what pot and charge hold; what is deeper in the lining gives its heat too slowly (ours)
TAU_LEAST_S, TAU_MOST_S = 150.0, 600.0


class Ceiling:
    """The most heat, J/kg: without bound while the power may be on, or nothing was read since it went off."""

    def __init__(self, metal: HeatCurve, tau_s: float, lag_s: float, began_s: float, kept_c: float | None) -> None:
        """kept_c: the bound of the melt before, its power off since."""
        self.h = math.inf
        self._metal, self._tau_s, self._after_s = metal, tau_s, AFTER_CUT_S + lag_s
        self._hottest_c = kept_c  # of what the probe read about the cut
        self._kept = kept_c is not None
        self._was_on = False  # in this melt
        self._cut_s: float | None = None  # when it was cut, of a melt that goes on
        self._trail: deque[tuple[float, float]] = deque()
        self._peaks: deque[tuple[float, float]] = deque()  # falling: the first is the hottest of its time
        self._quiet_s = self._at_s = self._began_s = began_s
        self._comes_down_s = began_s + WALL_UNSEEN_S
        self._moved_s = -1e9
        self._first_c_per_s = UNSEEN_C_PER_S
        self._off = False
        self._unseen = True
        self._peak_h = math.inf  # a learned furnace's
        self._in_since_s = math.inf  # without a pause
        self._stood_s = 0.0  # since the cut, in all
        self._out_since_s: float | None = -math.inf

    @property
    def most_c(self) -> float | None:
        """What it comes to; None: there is none."""
        return None if math.isinf(self.h) else self._metal.temp_c(self.h)

    def step(self, now: Look) -> None:
        """One second on."""
        before_s, self._at_s = self._at_s, now.at_s
        self._stands(now, now.at_s - before_s)
        if now.heating is not Heating.OFF:
            self.powered()
            self._follow(now, now.at_s - before_s)
            return
        if not self._off:
            self._cut(now)
        if self._unseen and now.at_s - self._quiet_s >= self._after_s:
            self._see(now)
        if math.isinf(self.h):
            self._bound(now)
            return
        self.h = min(self.h + self._given(before_s, now.at_s), self._peak_h, self._seen_h(now))

    def goes_on(self, off_since_s: float) -> None:
        """A melt that went on before: its power was cut in it, and what pot and wall give since then is less by now."""
        self._was_on, self._cut_s = True, off_since_s

    def powered(self) -> None:
        """The power is on: nothing bounds it."""
        self.h, self._off, self._was_on, self._cut_s = math.inf, False, True, None

    def _stands(self, now: Look, gone_s: float) -> None:
        """Since when it stands in the metal without a pause, and what it read there."""
        if now.temp_c is None:
            self._out_since_s = now.at_s if self._out_since_s is None else self._out_since_s
            return
        if self._out_since_s is not None and now.at_s - self._out_since_s >= AWAY_S:
            self._in_since_s = now.at_s
            self._comes_down_s = max(self._comes_down_s, now.at_s + BACK_LASTS_S)
        self._out_since_s = None
        self._stood_s += min(gone_s, AWAY_S)
        self._trail.append((now.at_s, now.temp_c))
        while self._trail[0][0] < now.at_s - TRAIL_S:
            self._trail.popleft()
        peaks = self._peaks
        while peaks and peaks[-1][1] <= now.temp_c:
            peaks.pop()
        peaks.append((now.at_s, now.temp_c))
        while peaks[0][0] < now.at_s - LOOKS_BACK_S:
            peaks.popleft()

    def _settled(self, now: Look) -> bool:
        """It stands in the metal, and has not just gone in: a shell of cold metal melts off its tip then."""
        return now.temp_c is not None and now.at_s - self._in_since_s >= SETTLES_S

    def _bound(self, now: Look) -> None:
        """The first bound since the cut, from what was read about it and since."""
        known = self._was_on or now.at_s - self._began_s >= WALL_UNSEEN_S
        stood = self._settled(now) or (now.temp_c is not None and self._stood_s >= SETTLES_IN_ALL_S)
        if known and stood:
            peak_c = self._peaks[0][1]
            self._hottest_c = peak_c if self._hottest_c is None else max(self._hottest_c, peak_c)
            self.h = self._metal.enthalpy(self._hottest_c + READING_C)

    def _seen_h(self, now: Look) -> float:
        """By what was read: since the cut at first, and then of late. What lies above the bound has no part in it."""
        temp_c, hottest_c = now.temp_c, self._hottest_c
        if hottest_c is None:
            return math.inf
        if temp_c is not None and self._metal.enthalpy(temp_c - READING_C) <= self.h:
            hottest_c = max(hottest_c, temp_c)
        if now.at_s >= self._comes_down_s and self._settled(now):
            hottest_c = min(hottest_c, self._peaks[0][1])
        self._hottest_c = hottest_c
        return self._metal.enthalpy(hottest_c + READING_C)

    def worked(self, at_s: float) -> None:
        """Somebody put metal in, or the pot comes back to walls that gave nothing: it takes heat from the wall, but is
        no hotter for it than it was."""
        self._moved_s = at_s
        self._comes_down_s = max(self._comes_down_s, at_s + WORK_LASTS_S)

    def hot_metal(self, share: float, hot_c: float) -> None:
        """So great a share of what is in the pot now may have come in as hot as that."""
        if self._off and not math.isinf(self.h):
            self.h += share * max(0.0, self._metal.enthalpy(hot_c) - self.h)
            self._peak_h = max(self._peak_h, self.h)

    def anchor(self, temp_c: float) -> None:
        """That is where the metal is."""
        self._hottest_c, self._peak_h = temp_c, math.inf
        self._peaks.clear()
        self._trail.clear()
        self.h = math.inf if not self._off else self._metal.enthalpy(temp_c + READING_C)

    def _follow(self, now: Look, gone_s: float) -> None:
        """With the power on: how hot it has been just now."""
        temp_c = now.temp_c
        if temp_c is not None:
            cooled_c = -math.inf if self._hottest_c is None else self._hottest_c - FORGETS_C_PER_S * gone_s
            self._hottest_c = max(temp_c, cooled_c)

    def _cut(self, now: Look) -> None:
        """The power went off: how fast the metal rose till then. Of metal that nothing read just now nothing is known,
        but that it is no hotter than the furnace was left."""
        self._off, self._stood_s = True, 0.0
        self._quiet_s = now.at_s if self._cut_s is None else self._cut_s
        self._first_c_per_s, self._unseen = UNSEEN_C_PER_S, True
        self._peak_h = math.inf
        if now.peak_c is not None:
            peak_c = now.peak_c if self._hottest_c is None else max(now.peak_c, self._hottest_c)
            self._peak_h = self._metal.enthalpy(peak_c + READING_C)
        rate = self._rate(now)
        if rate is not None:
            self._first_c_per_s, self._unseen = min(max(rate, LEAST_C_PER_S), MOST_C_PER_S), False
        if self._hottest_c is not None and (self._settled(now) or (self._kept and not self._was_on)):
            self.h = self._metal.enthalpy(self._hottest_c + READING_C)

    def _see(self, now: Look) -> None:
        """How fast it rose was not seen before the cut: by now it rises less, and goes on from that.

        Of a melt that goes on the cut is long past: no faster than what was allowed unseen has left of itself by now.
        """
        rate = self._rate(now)
        if rate is None:
            return
        self._unseen = False
        seen = min(max(rate, LEAST_C_PER_S), MOST_C_PER_S)
        since_s = now.at_s - self._quiet_s - self._after_s
        if self._cut_s is None or seen < self._first_c_per_s * math.exp(-since_s / self._tau_s):
            self._first_c_per_s, self._quiet_s = seen, now.at_s - self._after_s

    def _rate(self, now: Look) -> float | None:
        """degC a second of the last minute in liquid metal; None: not seen."""
        trail = self._trail
        if now.at_s - self._moved_s < MOVED_S or not self._settled(now) or not trail:
            return None
        (first_s, first_c), (last_s, last_c) = trail[0], trail[-1]
        if last_s - first_s < TRAIL_LEAST_S or first_c < self._metal.liquidus_c + PLATEAU_C:
            return None
        return (last_c - first_c) / (last_s - first_s)

    def _given(self, from_s: float, to_s: float) -> float:
        """What pot and wall may give from one moment to another, J/kg."""
        lasted_s = self._lasted_s(to_s) - self._lasted_s(from_s)
        return RATE_SHARE * self._first_c_per_s * self._metal.cp_liquid * lasted_s

    def _lasted_s(self, at_s: float) -> float:
        """Seconds of the pace of the cut: whole ones at first, then ever less of them."""
        since_s = at_s - self._quiet_s - self._after_s
        return since_s if since_s <= 0.0 else self._tau_s * -math.expm1(-since_s / self._tau_s)


def coast_tau_s(alloy: AlloyFacts, metal: HeatCurve, charge_kg: float) -> float:
    """In which heat from the wall dies away by a factor e, at the slowest; head of this file."""
    volume_m3 = charge_kg / alloy.density_liquid_kg_per_m3 / POT_FILLED
    radius_m = math.cbrt(volume_m3 / (2.0 * math.pi))  # as high as wide
    outer_m = radius_m + POT_WALL_M
    area_m2 = math.pi * outer_m * (2.0 * (2.0 * radius_m + 0.01) + outer_m)
    capacity = MASS_SHARE * charge_kg * metal.cp_liquid + area_m2 * POT_WALL_M * POT_KG_PER_M3 * POT_J_PER_KG_K
    mean_k = metal.liquidus_c + WALL_ABOVE_C + KELVIN
    passes = area_m2 * (4.0 * EMISSIVITY * SIGMA * mean_k * mean_k * mean_k + AIR_W_PER_M2_K)
    slowest_s = capacity / passes * WALL_HOLDS / (1.0 + WALL_HOLDS)
    return min(max(slowest_s, TAU_LEAST_S), TAU_MOST_S)
