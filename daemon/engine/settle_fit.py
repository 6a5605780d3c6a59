"""Room: where a probe that is still settling is heading. A few seconds of samples in, a temperature with its error out.

First-order response of a sheath in a bath: T(t) = T_end - A exp(-t/tau) (textbook; a real sheath is not quite first
order, therefore the first time constant after entering is left out and tau is fitted, not assumed). For each trial tau
the best T_end and A are a straight-line fit; the spread of T_end over all tau that fit nearly as well is the fit error,
so a trace too short to tell one tau from another says so by itself.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

TRIALS = 24
LOWEST_TAU = 0.3  # of the expected
HIGHEST_TAU = 3.0
MIN_POINTS = 5
LEAST_NOISE_C = 0.15  # a 0.25 degC step of a chip is 0.07 degC rms; never believe less than this


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
    start_s = points[0][0]
    times = [t - start_s for t, _ in points]
    temps = [c for _, c in points]
    trials: list[tuple[float, float, float, float]] = []  # (sum of squares, T_end, its standard error factor, tau)
    for index in range(TRIALS):
        share = index / (TRIALS - 1)
        tau_s = tau_expected_s * LOWEST_TAU * (HIGHEST_TAU / LOWEST_TAU) ** share
        fitted = _line(times, temps, tau_s)
        if fitted is not None:
            trials.append((*fitted, tau_s))
    if not trials:
        return None
    best = min(trials)
    freedom = max(len(points) - 3, 1)
    noise2 = max(best[0] / freedom, LEAST_NOISE_C**2)
    # Profile likelihood: every tau whose sum of squares is within 4 noise variances of the best (about 95 %).
    near = [trial for trial in trials if trial[0] <= best[0] + 4.0 * noise2]
    ends = [trial[1] for trial in near]
    spread_c = max(abs(end - best[1]) for end in ends)
    error_c = math.hypot(2.0 * math.sqrt(noise2) * best[2], spread_c)
    at_edge = best[3] >= tau_expected_s * HIGHEST_TAU * 0.95
    return SettleFit(best[1], error_c, best[3], at_edge)


def _line(times: Sequence[float], temps: Sequence[float], tau_s: float) -> tuple[float, float, float] | None:
    """Straight-line fit of temps against exp(-t/tau): sum of squares, intercept (T_end), its standard error factor."""
    count = len(times)
    decay = [math.exp(-t / tau_s) for t in times]
    mean_x = sum(decay) / count
    mean_y = sum(temps) / count
    sxx = sum((x - mean_x) ** 2 for x in decay)
    if sxx < 1e-12:
        return None
    sxy = sum((x - mean_x) * (y - mean_y) for x, y in zip(decay, temps, strict=True))
    slope = sxy / sxx
    end_c = mean_y - slope * mean_x
    squares = sum((y - end_c - slope * x) ** 2 for x, y in zip(decay, temps, strict=True))
    return squares, end_c, math.sqrt(1.0 / count + mean_x**2 / sxx)
