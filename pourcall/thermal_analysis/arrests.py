"""Arrests. A plateau or a knee in one probe's trace, on heating or on cooling, seen while it happens. O(1) a
sample.

Samples are averaged into bins, the slope is a straight line over some bins; the rate before is remembered, and an
arrest is where the slope falls below a fifth of it for 15 s and then goes on the same way. A slope that turns round is
a coast or a hold and no arrest; after `disturbed` (power, lid, an addition, a skim) nothing that begins is believed.
Recipe and thresholds: derivative method for cooling curves (Metals 16 (2026) 54; J. Achiev. Mater. Manuf. Eng. 47
(2011) 115), simplified for a small shop: plateau below 10-20 % of the rate before, for 15 s or more; value on cooling
is the maximum after recalescence, undercooling that less the minimum before. What it means is arrest_check.py.
"""

import math
from collections import deque
from dataclasses import dataclass
from enum import StrEnum

FLAT_SHARE = 0.12  # of the rate before: it stands
FLAT_C_PER_S = 0.012  # and so slow a drift is standing, whatever it was before
END_SHARE = 0.5  # above again: it is over
KNEE_SHARE = 0.7  # below: something holds it back
NOTHING_SHARE = 0.85  # above again before it stood: nothing was there
KNEE_FALL_C = 3.0
LEAST_S = 15.0
LEAST_RATE_C_PER_S = 0.04  # slower than this nothing can be told from drift
RATE_AGE_S = 30.0  # a knee needs a rate that held so long before it
RATE_KEEP_S = 45.0  # the rate before is a mean over about so long
DISTURBED_S = 60.0
LONGEST_S = 2400.0  # longer than this it is a hold
RECALESCENCE_C = 0.5
SUM_EVERY = 60  # bins
FAST_C_PER_S = 6.0  # a probe on its way in or out, no metal


class Way(StrEnum):
    """Which way the temperature went."""

    HEATING = "heating"
    COOLING = "cooling"


class Kind(StrEnum):
    """Plateau: it stood still. Knee: it went on, clearly slower (the liquidus of a long-freezing alloy)."""

    PLATEAU = "plateau"
    KNEE = "knee"


@dataclass(frozen=True, slots=True)
class Arrest:
    """One arrest, as read: no calibration, no lag allowed for beyond what a plateau itself does away with."""

    kind: Kind
    way: Way
    onset_s: float
    onset_c: float  # the knee, where the lines before and after cross
    plateau_c: float  # its value; of a knee the onset
    end_s: float
    end_c: float
    undercooling_c: float  # 0 where nothing sprang back
    spread_c: float  # highest less lowest while it stood

    @property
    def lasted_s(self) -> float:
        """From onset to end."""
        return self.end_s - self.onset_s


@dataclass(slots=True)
class _Open:
    """An arrest that has begun and is not over."""

    way: Way
    onset_s: float
    onset_c: float
    rate: float
    flat_s: float = 0.0
    flat_sum: float = 0.0  # levels, the flattest counting most: a slow sheath drifts onto its plateau
    flat_weight: float = 0.0
    high_c: float = -1e9
    low_c: float = 1e9
    low_before_c: float = 1e9  # the lowest before it sprang back, of three bins
    peak_after_c: float = -1e9
    slow_s: float = 0.0
    turned_s: float = 0.0
    believed: bool = True


class ArrestWatch:
    """One probe. `add` each followed sample; an arrest comes back once it is over, `going_on` while it lasts."""

    def __init__(self, sheath_s: float = 4.0, sample_s: float = 1.0) -> None:
        """sheath_s: time constant in metal; sample_s: time between samples."""
        self.bin_s = max(1.0, sample_s)
        window_s = max(12.0, 3.0 * sheath_s, 6.0 * sample_s)
        self._count = max(6, round(window_s / self.bin_s))
        self._bins: deque[tuple[float, float]] = deque(maxlen=self._count)
        self._bin: tuple[float, float, int] | None = None  # begin, sum, count
        self._rate: float | None = None  # the rate before
        self._steady_s = 0.0
        self._rate_age_s = 0.0  # how long the rate before has held
        self._noise_c = 0.1
        count = float(self._count)
        self._slope_share = math.sqrt(12.0 / (count * count * count)) / self.bin_s
        self.slope_noise = self._noise_c * self._slope_share  # standard deviation of a slope by scatter, degC/s
        self._base, self._sums, self._since_summed = (0.0, 0.0), (0.0, 0.0, 0.0, 0.0, 0.0), 0
        self._open: _Open | None = None
        self._disturbed_s = -1e9
        self.passed: deque[tuple[float, float, float]] = deque(maxlen=900)  # (temp, share of the rate before, time)
        self.line: tuple[float, float, float] | None = None  # of the latest bins: middle s, level degC, slope degC/s

    @property
    def span_s(self) -> float:
        """Over which a slope is taken; what is told lags behind by half of it."""
        return self._count * self.bin_s

    @property
    def going_on(self) -> tuple[Way, float, float] | None:
        """(way, plateau so far in degC, seconds since onset) while it stands still; None otherwise."""
        held = self._open
        if held is None or held.flat_s < LEAST_S or not held.believed or not self._bins:
            return None
        return held.way, held.flat_sum / held.flat_weight, self._bins[-1][0] - held.onset_s

    def disturbed(self, mono_s: float) -> None:
        """Power, lid, addition, skim: a change of slope in the next minute has its own reason."""
        self._disturbed_s = mono_s
        if self._open is not None:
            self._open.believed = self._open.flat_s >= LEAST_S

    def clear(self) -> None:
        """The probe moved: older samples say nothing."""
        self._bins.clear()
        self._bin = self._rate = self._open = self.line = None
        self._steady_s = 0.0
        self.passed.clear()

    def add(self, mono_s: float, temp_c: float) -> Arrest | None:
        """One sample; an arrest when its end is seen."""
        if self._bin is None:
            self._bin = (mono_s, temp_c, 1)
            return None
        began_s, total, count = self._bin
        if mono_s - began_s < self.bin_s - 1e-6:
            self._bin = (began_s, total + temp_c, count + 1)
            return None
        self._bin = (mono_s, temp_c, 1)
        return self.add_mean(began_s + 0.5 * self.bin_s if count > 1 else began_s, total / count)

    def add_mean(self, at_s: float, temp_c: float) -> Arrest | None:
        """The same for a caller who has averaged over about a bin himself."""
        bins = self._bins
        if bins:
            step_s = at_s - bins[-1][0]
            if step_s <= 0.0:
                return None
            if step_s > 4.0 * self.span_s / self._count + 10.0 or abs(temp_c - bins[-1][1]) / step_s > FAST_C_PER_S:
                self.clear()
        if len(bins) < self._count:
            bins.append((at_s, temp_c))
            if len(bins) < self._count:
                return None
            self._sum_up()
        else:
            self._slide(at_s, temp_c)
        slope, level = self._line()
        step_s = bins[-1][0] - bins[-2][0]
        middle_s = 0.5 * (bins[0][0] + bins[-1][0])
        self.line = (middle_s, level, slope)
        if self._rate is None:
            self._settle(slope, step_s)
            return None
        along = slope if self._rate > 0.0 else -slope  # positive: it goes on as before
        before = abs(self._rate)
        self.passed.append((level, along / before, middle_s))
        if self._open is None:
            if along < KNEE_SHARE * before and before - along > 4.0 * self.slope_noise:
                self._begin(at_s, middle_s, level)
            elif along < 1.6 * before:
                self._rate_age_s += step_s
                self._learn(slope, step_s)
            else:
                self._rate, self._rate_age_s = slope, 0.0  # much faster now: that is the rate to compare with
            return None
        return self._go_on(self._open, middle_s, temp_c, level, along, step_s)

    def _line(self) -> tuple[float, float]:
        """Least-squares slope over the bins and level at their middle, from sums that run along."""
        count = float(self._count)
        s_t, s_c, s_tt, s_tc, s_cc = self._sums
        mean_t, mean_c = s_t / count, s_c / count
        below = s_tt - s_t * mean_t
        above = s_tc - s_t * mean_c
        slope = above / below
        if self._open is None:  # a corner in the window is no noise
            square = max(0.0, s_cc - s_c * mean_c - slope * above) / count
            self._noise_c += 0.02 * (math.sqrt(min(square, 1.0)) - self._noise_c)
            self.slope_noise = self._noise_c * self._slope_share
        return slope, mean_c + self._base[1]

    def _sum_up(self) -> None:
        """The sums anew, from the bins: what rounding leaves behind must not pile up."""
        self._base = base_t, base_c = self._bins[0]
        self._since_summed = 0
        shifted = [(t - base_t, c - base_c) for t, c in self._bins]
        self._sums = (
            sum([t for t, _ in shifted]),
            sum([c for _, c in shifted]),
            sum([t * t for t, _ in shifted]),
            sum([t * c for t, c in shifted]),
            sum([c * c for _, c in shifted]),
        )

    def _slide(self, at_s: float, temp_c: float) -> None:
        """One bin in, the oldest out."""
        bins, (base_t, base_c) = self._bins, self._base
        (old_t, old_c), (s_t, s_c, s_tt, s_tc, s_cc) = bins[0], self._sums
        new_t, new_c, old_t, old_c = at_s - base_t, temp_c - base_c, old_t - base_t, old_c - base_c
        self._sums = (
            s_t + new_t - old_t,
            s_c + new_c - old_c,
            s_tt + new_t * new_t - old_t * old_t,
            s_tc + new_t * new_c - old_t * old_c,
            s_cc + new_c * new_c - old_c * old_c,
        )
        bins.append((at_s, temp_c))
        self._since_summed += 1
        if self._since_summed >= SUM_EVERY:
            self._sum_up()

    def _settle(self, slope: float, step_s: float) -> None:
        """A rate to compare with is there once it has gone one way for a window, clear of the noise."""
        if abs(slope) < max(LEAST_RATE_C_PER_S, 6.0 * self.slope_noise):
            self._steady_s = 0.0
            return
        self._steady_s += step_s
        if self._steady_s >= 10.0:
            self._rate = slope

    def _learn(self, slope: float, step_s: float) -> None:
        assert self._rate is not None
        self._rate += min(1.0, step_s / RATE_KEEP_S) * (slope - self._rate)
        if abs(self._rate) < LEAST_RATE_C_PER_S:
            self._rate, self._steady_s = None, 0.0

    def _begin(self, at_s: float, middle_s: float, level: float) -> None:
        assert self._rate is not None
        way = Way.HEATING if self._rate > 0.0 else Way.COOLING
        held = _Open(way, middle_s, level, self._rate, believed=at_s - self._disturbed_s >= DISTURBED_S)
        values = [c for _, c in self._bins]
        for three in zip(values, values[1:], values[2:], strict=False):  # what sprang back within the window
            self._low_and_back(held, sum(three) / 3.0)
        self._open = held

    @staticmethod
    def _low_and_back(held: _Open, recent_c: float) -> None:
        if recent_c < held.low_before_c:
            held.low_before_c = held.peak_after_c = recent_c
        held.peak_after_c = max(held.peak_after_c, recent_c)

    def _go_on(
        self, held: _Open, middle_s: float, temp_c: float, level: float, along: float, step_s: float
    ) -> Arrest | None:
        before = abs(held.rate)
        held.slow_s += step_s
        recent = (self._bins[-1][1] + self._bins[-2][1] + self._bins[-3][1]) / 3.0
        if held.way is Way.COOLING and held.flat_s == 0.0:
            self._low_and_back(held, recent)
        flat = abs(along) < max(FLAT_SHARE * before, min(FLAT_C_PER_S, 0.3 * before), 3.0 * self.slope_noise)
        if flat:
            held.flat_s += step_s
            weight = 1.0 / (along * along + max(self.slope_noise, 1e-3) ** 2)
            held.flat_sum += weight * level
            held.flat_weight += weight
            held.high_c, held.low_c = max(held.high_c, level), min(held.low_c, level)
        held.turned_s = held.turned_s + step_s if along < -END_SHARE * before else 0.0
        if held.turned_s > (20.0 if held.way is Way.COOLING else 5.0) or middle_s - held.onset_s > LONGEST_S:
            self._drop(-held.rate)  # a coast, a hold that was let go, heat put on again; no arrest
            return None
        stood = held.flat_s >= LEAST_S
        if along > (END_SHARE if stood else NOTHING_SHARE) * before:
            self._open = None
            self._rate_age_s = 0.0 if stood else self._rate_age_s
            if along > before or not stood:
                self._rate = held.rate / before * along
            return self._plateau(held, middle_s, level) if held.believed and stood else None
        fallen = (held.onset_c - level) if held.way is Way.COOLING else (level - held.onset_c)
        if stood or flat or held.slow_s < LEAST_S + self.span_s or fallen < KNEE_FALL_C:
            return None
        self._open = None  # it goes on, clearly slower: from here on that is the rate to compare with
        self._rate = held.rate / before * max(along, LEAST_RATE_C_PER_S)
        sure, self._rate_age_s = self._rate_age_s >= RATE_AGE_S, 0.0
        if not held.believed or not sure:
            return None
        onset_s, onset_c = self._crossing(held, level, along, middle_s)
        return Arrest(Kind.KNEE, held.way, onset_s, onset_c, onset_c, middle_s, level, 0.0, 0.0)

    @staticmethod
    def _crossing(held: _Open, level: float, along: float, middle_s: float) -> tuple[float, float]:
        """Where the line before (through the onset) and the line now cross."""
        sign = 1.0 if held.rate > 0.0 else -1.0
        gap = level - sign * along * (middle_s - held.onset_s) - held.onset_c
        late_s = gap / (held.rate - sign * along)
        late_s = min(max(late_s, -20.0), 40.0)
        return held.onset_s + late_s, held.onset_c + held.rate * late_s

    def _plateau(self, held: _Open, middle_s: float, level: float) -> Arrest:
        """Its value is where it stood, the flattest stretch counting most; undercooling that less the lowest before."""
        plateau_c = held.flat_sum / held.flat_weight
        undercooling_c = 0.0
        if held.way is Way.COOLING:
            sprang_c = plateau_c - held.low_before_c
            if sprang_c >= max(RECALESCENCE_C, 4.0 * self._noise_c) and held.peak_after_c > held.low_before_c:
                undercooling_c = sprang_c
        onset_s, onset_c = held.onset_s, held.onset_c
        if held.rate != 0.0:  # the line before meets the plateau
            onset_s += (plateau_c - held.onset_c) / held.rate
            onset_c = plateau_c
        return Arrest(
            Kind.PLATEAU,
            held.way,
            onset_s,
            onset_c,
            plateau_c,
            middle_s,
            level,
            undercooling_c,
            held.high_c - held.low_c,
        )

    def _drop(self, rate: float) -> None:
        self._open, self._rate, self._steady_s, self._rate_age_s = None, rate, 0.0, 0.0

    def not_seen(self, expected_c: float, within_c: float = 12.0) -> bool:
        """It went past this temperature, well clear on both sides, and never slowed there.

        False: seen, or not passed.
        """
        low = high = False
        for temp_c, share, _ in self.passed:
            low = low or temp_c < expected_c - within_c
            high = high or temp_c > expected_c + within_c
            if abs(temp_c - expected_c) <= within_c and share < KNEE_SHARE:
                return False
        held = self._open
        return low and high and (held is None or abs(held.onset_c - expected_c) > within_c)
