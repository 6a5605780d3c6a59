"""Where a probe that is still settling is heading. A few seconds of samples in, a temperature with its error out.

A sheath is two lags in a row, tau1 and tau2 = rho tau1, and the bath it stands in may drift. In a bath that is at E now
and drifts by r, such a sheath reads (textbook), t from the first sample, u = exp(-t/tau1), w = exp(-t/tau2):
    T(t) = E + r (t - t_now - tau1 - tau2) - a u - b (u - rho w) / (1 - rho)
All six are fitted (Levenberg-Marquardt, textbook), from two beginnings: lags alike, lags unlike. The lags enter as
their sum and their ratio: the sum is what a trace tells best. The error is that of E in the inverse of the normal
equations, with what the others leave open in it: a trace too short to tell one response from another so says so by its
error.

What is known beforehand goes in as such (ours), as one more observation each: the sum of the lags to a factor of two of
the sheath's own; a bath that drifts some degC a minute by itself; where between just put in (b alone) and one lag left
(a alone) the points begin.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from operator import mul

MIN_POINTS = 5
MOST_POINTS = 24
TAU_SPREAD = 0.7  # standard deviation of ln((tau1 + tau2) / expected): a factor of two
RATIO_MID, RATIO_SPREAD = 1.0, 2.5  # of the logit of rho
SHARE_MID, SHARE_SPREAD = 0.3, 0.4  # of b in the whole rise
DRIFT_C_PER_S = 0.15  # standard deviation of what a bath does by itself: nine degC a minute, power just off
EDGE_TAU = 2.8  # tau1 over the expected: this is not that sheath in metal
LEAST_NOISE_C = 0.15  # a 0.25 degC step of a chip is 0.07 degC rms; never believe less than this
NOISE_GUESS_C, NOISE_WEIGHT = 0.2, 4.0  # noise of a sample before there are many, and for how many that counts
COVER = 2.2  # half-width in standard deviations: 95 % of Student's t with a dozen degrees of freedom
LAG_SHARE = 0.25  # of the lag behind a drifting bath: it never drifts quite evenly
MODEL_SHARE = 0.02  # of what is still to go: a sheath is not quite two lags
STARTS = (-1.6, -0.7, 0.0, 0.7)  # ln of the sum of the lags over the expected
RATIOS = (-2.0, 1.5)  # logit of rho
MOST_STEPS, TRIES = 16, 4
LOWEST_LOG, HIGHEST_LOG, MOST_LOGIT = -4.0, 2.5, 3.5
HIGHEST_C = 1e5  # of an input: far beyond any sensor, so that squares stay finite


@dataclass(frozen=True, slots=True)
class SettleFit:
    """temp_c: the bath at the last sample; fit_error_c: half-width that covers about 95 %; tau_s: slower lag as fitted.

    to_go_c: how far the last sample is from it. noise_c: what the model leaves unexplained, rms.
    """

    temp_c: float
    fit_error_c: float
    tau_s: float
    tau_at_edge: bool  # the response is not that of this sheath in metal (hot gas is ten times slower)
    to_go_c: float = 0.0
    noise_c: float = 0.0
    span_s: float = 0.0  # of the points it rests on
    drift_c_per_s: float = 0.0  # of the bath


def settle_fit(points: Sequence[tuple[float, float]], tau_expected_s: float) -> SettleFit | None:
    """Fit (time s, temp degC) points taken while settling, in order. None: fewer than five points or no time span.

    Points that are no numbers, or not later than the one before, are left out.
    """
    kept: list[tuple[float, float]] = []
    for time_s, temp_c in points:
        if math.isfinite(time_s) and abs(temp_c) < HIGHEST_C and (not kept or time_s > kept[-1][0]):
            kept.append((time_s, temp_c))
    if len(kept) < MIN_POINTS:
        return None
    return _Fitter(thinned(kept), tau_expected_s).fit()


def thinned(points: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """At most 24 of them, evenly, the last one among them."""
    if len(points) <= MOST_POINTS:
        return list(points)
    stride = (len(points) - 1) / (MOST_POINTS - 1)
    return [points[round(i * stride)] for i in range(MOST_POINTS)]


_Guess = list[float]  # E, r, a, b, ln((tau1 + tau2) / expected), logit of rho


class _Fitter:
    """One set of points. Temperatures are counted from the last one, so that nothing large cancels."""

    def __init__(self, points: Sequence[tuple[float, float]], tau_expected_s: float) -> None:
        last_s, self._level_c = points[-1]
        self._tau_s = tau_expected_s
        self._times = [t - points[0][0] for t, _ in points]
        self._back = [t - last_s for t, _ in points]
        self._temps = [c - self._level_c for _, c in points]
        self._ones = [1.0] * len(points)
        self._rise_c = rise_c = -self._temps[0]
        self._noise2 = NOISE_GUESS_C**2
        # what is known beforehand: middle and standard deviation, in the order of _Guess
        self._mid = (0.0, 0.0, 0.0, SHARE_MID * rise_c, 0.0, RATIO_MID)
        wide_c = max(SHARE_SPREAD * abs(rise_c), 1.0)
        self._spread = (math.inf, DRIFT_C_PER_S, math.inf, wide_c, TAU_SPREAD, RATIO_SPREAD)

    def fit(self) -> SettleFit | None:
        """The answer; None where nothing can be told."""
        guesses = [self._settled(guess) for guess in self._beginnings()]
        if not guesses:
            return None
        guess = min(guesses, key=self._cost)
        squares = sum([miss * miss for miss in self._misses(guess)])
        free = max(len(self._temps) - 4.0, 0.0)
        noise2 = (squares + NOISE_WEIGHT * NOISE_GUESS_C**2) / (free + NOISE_WEIGHT)
        self._noise2 = max(noise2, LEAST_NOISE_C**2)  # known, once something fits
        guess = self._settled(guess)
        matrix, _ = self._normal(guess)
        column = _solve(self._with_known(matrix, 0.0), [1.0, 0.0, 0.0, 0.0, 0.0, 0.0])
        if column is None or not column[0] >= 0.0:
            return None
        end_c, (tau_s, quick_s, _) = guess[0] + self._level_c, self._lags(guess)
        lag_c = guess[1] * (tau_s + quick_s)  # by how much the sheath is behind a bath that drifts
        error_c = math.hypot(COVER * math.sqrt(column[0]), MODEL_SHARE * guess[0], LAG_SHARE * lag_c)
        if not (math.isfinite(end_c) and math.isfinite(error_c)):
            return None
        edge = tau_s >= EDGE_TAU * self._tau_s
        noise_c = math.sqrt(self._noise2)
        return SettleFit(end_c, error_c, tau_s, edge, guess[0], noise_c, self._times[-1], guess[1])

    def _beginnings(self) -> list[_Guess]:
        """Where to begin: the best sum of the lags, for lags alike and for lags unlike."""
        found = []
        for ratio in RATIOS:
            best: tuple[float, _Guess] | None = None
            for log_sum in STARTS:
                guess = self._straight(log_sum, ratio)
                if guess is None:
                    continue
                # a and b have one sign; another only where nothing else is there
                cost = self._cost(guess) + (1e9 if guess[3] * self._rise_c < 0.0 else 0.0)
                if best is None or cost < best[0]:
                    best = cost, guess
            if best is not None:
                found.append(best[1])
        return found

    def _straight(self, log_sum: float, ratio: float) -> _Guess | None:
        """For these lags everything else, by straight least squares."""
        tau_s, quick_s, rho = self._lags([0.0, 0.0, 0.0, 0.0, log_sum, ratio])
        over, lag_s, exp, temps = 1.0 / (1.0 - rho), tau_s + quick_s, math.exp, self._temps
        u = [-exp(-t / tau_s) for t in self._times]
        f = [(x + rho * exp(-t / quick_s)) * over for x, t in zip(u, self._times, strict=True)]
        drift = [k - lag_s for k in self._back]
        columns, scale = (self._ones, drift, u, f), 1.0 / self._noise2
        rows = [[scale * _dot(one, two) for two in columns] for one in columns]
        right = [scale * _dot(column, temps) for column in columns]
        for k in range(4):
            rows[k][k] = (rows[k][k] + 1.0 / self._spread[k] ** 2) * (1.0 + 1e-9)
            right[k] += self._mid[k] / self._spread[k] ** 2
        solved = _solve(rows, right)
        return None if solved is None else [*solved, log_sum, ratio]

    def _settled(self, guess: _Guess) -> _Guess:
        """Levenberg-Marquardt to the bottom."""
        damping, cost = 1e-3, self._cost(guess)
        for _ in range(MOST_STEPS):
            matrix, gradient = self._normal(guess)
            right = [
                g - (value - mid) / spread**2
                for g, value, mid, spread in zip(gradient, guess, self._mid, self._spread, strict=True)
            ]
            gained = 0.0
            for _ in range(TRIES):
                step = _solve(self._with_known(matrix, damping), right)
                if step is not None:
                    trial = [value + move for value, move in zip(guess, step, strict=True)]
                    trial[4] = min(max(trial[4], guess[4] - 1.0, LOWEST_LOG), guess[4] + 1.0, HIGHEST_LOG)
                    trial[5] = min(max(trial[5], -MOST_LOGIT), MOST_LOGIT)
                    trial = self._straight(trial[4], trial[5]) or trial
                    new = self._cost(trial)
                    if new < cost:
                        gained, guess, cost = cost - new, trial, new
                        damping = max(damping * 0.1, 1e-9)
                        break
                damping *= 12.0
            if gained < 0.02:
                break
        return guess

    def _cost(self, guess: _Guess) -> float:
        known = sum(
            [((value - mid) / spread) ** 2 for value, mid, spread in zip(guess, self._mid, self._spread, strict=True)]
        )
        return sum([miss * miss for miss in self._misses(guess)]) / self._noise2 + known

    def _lags(self, guess: _Guess) -> tuple[float, float, float]:
        """(tau1, tau2, rho)."""
        rho = 1.0 / (1.0 + math.exp(-guess[5]))
        tau_s = self._tau_s * math.exp(guess[4]) / (1.0 + rho)
        return tau_s, rho * tau_s, rho

    def _misses(self, guess: _Guess) -> list[float]:
        end_c, rate, a, b = guess[:4]
        tau_s, quick_s, rho = self._lags(guess)
        over, lag_s, exp = 1.0 / (1.0 - rho), tau_s + quick_s, math.exp
        first, second = a + b * over, b * over * rho
        return [
            c - end_c - rate * (k - lag_s) + first * exp(-t / tau_s) - second * exp(-t / quick_s)
            for t, k, c in zip(self._times, self._back, self._temps, strict=True)
        ]

    def _normal(self, guess: _Guess) -> tuple[list[list[float]], list[float]]:
        """J'J and J'miss in units of the noise, J the derivatives of T after the six."""
        end_c, rate, a, b = guess[:4]
        tau_s, quick_s, rho = self._lags(guess)
        over, lag_s, exp, times = 1.0 / (1.0 - rho), tau_s + quick_s, math.exp, self._times
        u = [exp(-t / tau_s) for t in times]
        w = [exp(-t / quick_s) for t in times]
        f = [(x - rho * y) * over for x, y in zip(u, w, strict=True)]
        drift = [k - lag_s for k in self._back]
        by_sum = [-rate * lag_s - t / tau_s * (a * x + b * over * (x - y)) for t, x, y in zip(times, u, w, strict=True)]
        tilt, shift, less = b * rho * over, -rate * quick_s * (1.0 - rho), (1.0 - rho) / quick_s
        turn = -rho * (1.0 - rho) / (1.0 + rho)  # tau1 moves with rho while the sum stays
        by_ratio = [
            shift - tilt * (x - y * (1.0 + t * less)) + turn * z for t, x, y, z in zip(times, u, w, by_sum, strict=True)
        ]
        columns = [self._ones, drift, [-x for x in u], [-x for x in f], by_sum, by_ratio]
        miss = [c - end_c - rate * k + a * x + b * y for c, k, x, y in zip(self._temps, drift, u, f, strict=True)]
        scale = 1.0 / self._noise2
        matrix = [[0.0] * 6 for _ in range(6)]
        for i in range(6):
            for j in range(i + 1):
                matrix[i][j] = matrix[j][i] = scale * _dot(columns[i], columns[j])
        return matrix, [scale * _dot(column, miss) for column in columns]

    def _with_known(self, matrix: list[list[float]], damping: float) -> list[list[float]]:
        made = [row[:] for row in matrix]
        for k, spread in enumerate(self._spread):
            made[k][k] = (made[k][k] + 1.0 / spread**2) * (1.0 + damping)
        return made


def _dot(one: Sequence[float], two: Sequence[float]) -> float:
    total: float = sum(map(mul, one, two))
    return total


def _solve(matrix: list[list[float]], right: Sequence[float]) -> list[float] | None:
    """A symmetric positive system by Gauss without pivoting. None where it is not one."""
    size = len(right)
    table = [[*row, y] for row, y in zip(matrix, right, strict=True)]
    for k in range(size):
        pivot_row = table[k]
        pivot = pivot_row[k]
        if not pivot > 1e-12 * matrix[k][k]:
            return None
        for lower in table[k + 1 :]:
            share = lower[k] / pivot
            for column in range(k + 1, size + 1):
                lower[column] -= share * pivot_row[column]
    solution = [0.0] * size
    for k in range(size - 1, -1, -1):
        row = table[k]
        solution[k] = (row[size] - sum([row[j] * solution[j] for j in range(k + 1, size)])) / row[k]
    return solution
