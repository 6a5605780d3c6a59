"""Room: where a probe that is still settling is heading. A few seconds of samples in, a temperature with its error out.

First-order response of a sheath in a bath: T(t) = T_end - A exp(-t/tau) (textbook). tau is fitted, not assumed; for
each tau the best T_end and A are a straight-line fit. The error holds three things:
    noise, as the straight line gives it;
    the spread of T_end over all tau that fit nearly as well, so that a trace too short to tell one tau from another
    says so by itself;
    and, since a real sheath is two or three lags in a row, by how much T_end moves when only the later half is fitted:
    the later part is nearer to one lag, so that the difference is of the size of what the model leaves out.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

TRIALS = 13
LOWEST_TAU = 0.3  # of the expected
HIGHEST_TAU = 3.0
MIN_POINTS = 5
LEAST_NOISE_C = 0.15  # a 0.25 degC step of a chip is 0.07 degC rms; never believe less than this
NEAR = 4.0  # profile likelihood: every tau within 4 noise variances of the best (about 95 %)
REFINE, EDGE = 12, 8
MODEL_SHARE = 1.0  # of the difference between whole and later half, taken for what the model leaves out


@dataclass(frozen=True, slots=True)
class SettleFit:
    """temp_c: where the trace ends up; fit_error_c: half-width that covers about 95 %; tau_s: response as fitted."""

    temp_c: float
    fit_error_c: float
    tau_s: float
    tau_at_edge: bool  # the response is not that of this sheath in metal (hot gas is ten times slower)


def settle_fit(points: Sequence[tuple[float, float]], tau_expected_s: float) -> SettleFit | None:
    """Fit (time s, temp degC) points taken while settling, in order. None: fewer than five points or no time span."""
    if len(points) < MIN_POINTS or points[-1][0] - points[0][0] <= 0.0:
        return None
    later = points[len(points) // 2 :]
    whole = _Profile(points, tau_expected_s)
    if whole.best is None:
        return None
    squares, end_c, factor, tau_s = whole.best
    noise2 = max(squares / max(len(points) - 3, 1), LEAST_NOISE_C**2)
    spread_c = whole.spread_c(noise2)
    model_c = math.inf
    if len(later) >= MIN_POINTS and later[-1][0] > later[0][0]:
        half = _Profile(later, tau_expected_s)
        if half.best is not None:
            model_c = MODEL_SHARE * abs(half.best[1] - end_c)
            end_c, tau_s = half.best[1], half.best[3]
            noise2 = max(half.best[0] / max(len(later) - 3, 1), LEAST_NOISE_C**2)
            factor, spread_c = half.best[2], half.spread_c(noise2)
    error_c = math.hypot(2.0 * math.sqrt(noise2) * factor, spread_c, model_c)
    return SettleFit(end_c, error_c, tau_s, tau_s >= tau_expected_s * HIGHEST_TAU * 0.95)


_Trial = tuple[float, float, float, float]  # (sum of squares, T_end, its standard error factor, tau)


class _Profile:
    """Sum of squares over tau, with everything else at its best for that tau."""

    def __init__(self, points: Sequence[tuple[float, float]], tau_expected_s: float) -> None:
        start_s = points[0][0]
        self._times = [t - start_s for t, _ in points]
        self._temps = [c for _, c in points]
        self._low, self._high = math.log(LOWEST_TAU * tau_expected_s), math.log(HIGHEST_TAU * tau_expected_s)
        step = (self._high - self._low) / (TRIALS - 1)
        self._trials = [trial for k in range(TRIALS) if (trial := self._at(self._low + k * step)) is not None]
        self.best: _Trial | None = None
        if self._trials:
            best = min(self._trials)
            self.best = self._refined(math.log(best[3]), step, best)

    def _at(self, log_tau: float) -> _Trial | None:
        tau_s = math.exp(log_tau)
        fitted = _line(self._times, self._temps, tau_s)
        return None if fitted is None else (*fitted, tau_s)

    def _refined(self, middle: float, step: float, best: _Trial) -> _Trial:
        """Golden section between the neighbours of the best trial."""
        ratio = (math.sqrt(5.0) - 1.0) / 2.0
        low, high = max(self._low, middle - step), min(self._high, middle + step)
        for _ in range(REFINE):
            one, two = high - ratio * (high - low), low + ratio * (high - low)
            left, right = self._at(one), self._at(two)
            if left is None or right is None:
                break
            best = min(best, left, right)
            if left[0] <= right[0]:
                high = two
            else:
                low = one
        return best

    def spread_c(self, noise2: float) -> float:
        """How far T_end goes over every tau that fits nearly as well."""
        assert self.best is not None
        limit = self.best[0] + NEAR * noise2
        ends = [trial[1] for trial in self._trials if trial[0] <= limit]
        at = math.log(self.best[3])
        for beyond in (self._low, self._high):
            inner, outer = at, beyond
            edge = self._at(outer)
            if edge is not None and edge[0] <= limit:
                ends.append(edge[1])
                continue
            for _ in range(EDGE):
                middle = 0.5 * (inner + outer)
                trial = self._at(middle)
                if trial is not None and trial[0] <= limit:
                    inner = middle
                    ends.append(trial[1])
                else:
                    outer = middle
        return max((abs(end - self.best[1]) for end in ends), default=0.0)


def _line(times: Sequence[float], temps: Sequence[float], tau_s: float) -> tuple[float, float, float] | None:
    """Straight-line fit of temps against exp(-t/tau): sum of squares, intercept (T_end), its standard error factor."""
    count = len(times)
    decay = [math.exp(-t / tau_s) for t in times]
    mean_x = sum(decay) / count
    mean_y = sum(temps) / count
    sxx = sum([(x - mean_x) ** 2 for x in decay])
    if sxx < 1e-12:
        return None
    sxy = sum([(x - mean_x) * (y - mean_y) for x, y in zip(decay, temps, strict=True)])
    slope = sxy / sxx
    end_c = mean_y - slope * mean_x
    squares = sum([(y - end_c - slope * x) ** 2 for x, y in zip(decay, temps, strict=True)])
    return squares, end_c, math.sqrt(1.0 / count + mean_x**2 / sxx)
