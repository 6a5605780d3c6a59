"""The numerics of trials. Two thresholds on a fixed grid, lip temperatures by quadrature; nothing random.

A side is a family of curves over temperature: the grade of a fault (0 to 3) is at least k with probability
`background * share_k + (1 - background) * logistic(sign * (T - threshold) / scale - (k - 1) * GRADE_STEP)`, sign +1
for hot faults (rising) and -1 for cold ones (falling): a cumulative logit model. `background` is what temperature does
not explain. Given T and both sides' figures cold and hot faults are independent; an uncertain T couples them, and is
integrated out by Gauss-Hermite nodes. The posterior is a table over (cold states) x (hot states).

Sources: McCullagh, Regression models for ordinal data, J. R. Statist. Soc. B 42 (1980); Gelman et al., Bayesian Data
Analysis, section 3.7, for the grid (both from memory). Temperatures in degC; any other axis does as well.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Evidence = tuple[float, float, float, float]  # how well each grade 0 to 3 explains what was found

GRADE_STEP = 1.1  # scales between one grade and the next (judgement)
BACKGROUND_SHARES = (1.0, 0.5, 0.2)  # of background faults, how many are of grade 1, 2, 3 or worse (judgement)
NODES = 5
NODE, NODE_WEIGHT = np.polynomial.hermite_e.hermegauss(NODES)
NODE_WEIGHT = NODE_WEIGHT / NODE_WEIGHT.sum()
_BINS = 400  # of the histogram that bands are read from: a step of 0.0025 in probability, interpolated
_LEAST = 1e-300


@dataclass(frozen=True, slots=True)
class Trial:
    """One inspected pour: temperature, its standard uncertainty, and the findings as a sum of (cold, hot) products."""

    temp_c: float
    u_c: float
    terms: tuple[tuple[Evidence, Evidence], ...]


@dataclass(frozen=True, slots=True, eq=False)
class Side:
    """States of one side; all arrays of one length. log_prior: of each state by itself."""

    sign: float
    threshold: Array
    scale: Array
    background: Array
    log_prior: Array

    def grades(self, temps_c: Array) -> Array:
        """Probability of each grade: states x temperatures x 4."""
        z = self.sign * (temps_c[None, :] - self.threshold[:, None]) / self.scale[:, None]
        bg = self.background[:, None]
        out = np.empty((*z.shape, 4))
        above = np.ones_like(z)
        for k in range(3):
            tail = bg * BACKGROUND_SHARES[k] + (1.0 - bg) * 0.5 * (1.0 + np.tanh(0.5 * (z - k * GRADE_STEP)))
            out[:, :, k] = above - tail
            above = tail
        out[:, :, 3] = above
        return out

    def kept(self, which: NDArray[np.bool_]) -> "Side":
        """Only these states."""
        return replace(
            self,
            threshold=self.threshold[which],
            scale=self.scale[which],
            background=self.background[which],
            log_prior=self.log_prior[which],
        )


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """A posterior: probability of every pair of states; sums to 1."""

    cold: Side
    hot: Side
    joint: Array

    def pruned(self, share: float = 5e-4) -> "Fit":
        """Without the states that hold less than `share` of the likeliest state's probability."""
        cold, hot = self.joint.sum(1), self.joint.sum(0)
        rows, columns = cold >= share * cold.max(), hot >= share * hot.max()
        joint = self.joint[np.ix_(rows, columns)]
        return Fit(self.cold.kept(rows), self.hot.kept(columns), joint / joint.sum())

    def fault_free(self, temps_c: Array, accept: int = 0) -> tuple[Array, Array]:
        """Probability that neither side's grade is above `accept`: cold states x T, hot states x T."""
        free = [side.grades(temps_c)[:, :, : accept + 1].sum(2) for side in (self.cold, self.hot)]
        return free[0], free[1]


def fit(cold: Side, hot: Side, log_joint: Array | float, trials: Sequence[Trial]) -> Fit:
    """The posterior. log_joint: prior of pairs of states beyond the sides' own, states x states or 0."""
    log_p = cold.log_prior[:, None] + hot.log_prior[None, :] + log_joint
    if trials:
        nodes = np.array([t.temp_c + t.u_c * NODE for t in trials]).ravel()
        grades = cold.grades(nodes), hot.grades(nodes)
        likelihood = np.ones_like(log_p)
        for at, trial in enumerate(trials):
            found = slice(at * NODES, (at + 1) * NODES)
            one = np.zeros_like(log_p)
            for of_cold, of_hot in trial.terms:
                left = (grades[0][:, found] @ np.array(of_cold)) * NODE_WEIGHT
                one += left @ (grades[1][:, found] @ np.array(of_hot)).T
            likelihood *= one
            if at % 8 == 7:  # before products of many small numbers vanish
                log_p += np.log(np.maximum(likelihood, _LEAST))
                likelihood[:] = 1.0
        log_p = log_p + np.log(np.maximum(likelihood, _LEAST))
    joint = np.exp(log_p - log_p.max())
    return Fit(cold, hot, joint / joint.sum())


def mean_sound(free: tuple[Array, Array], joint: Array) -> Array:
    """Expected probability of a casting without fault at each temperature."""
    return np.asarray(np.einsum("ct,ct->t", free[0], joint @ free[1]))


def band(free: tuple[Array, Array], joint: Array, mass: float = 0.90) -> tuple[Array, Array]:
    """Central credible band of that probability at each temperature."""
    weights = joint.ravel()
    low, high = np.empty(free[0].shape[1]), np.empty(free[0].shape[1])
    edges = np.linspace(0.0, 1.0, _BINS + 1)
    tails = (1.0 - mass) / 2.0, (1.0 + mass) / 2.0
    p = np.empty_like(joint)
    for at in range(low.size):
        np.multiply.outer(free[0][:, at] * _BINS, free[1][:, at], out=p)
        counts = np.bincount(p.ravel().astype(np.int32), weights, _BINS + 1)
        counts[-2] += counts[-1]  # a probability of 1 belongs to the last bin
        counts = counts[:-1]
        rising = np.concatenate(([0.0], np.cumsum(counts)))
        low[at], high[at] = np.interp(tails, rising / rising[-1], edges)
    return low, high


def best_within(free: tuple[Array, Array]) -> Array:
    """The highest probability of a sound casting that each pair of states has anywhere at these temperatures."""
    best = np.zeros((free[0].shape[0], free[1].shape[0]))
    one = np.empty_like(best)
    for at in range(free[0].shape[1]):
        np.maximum(best, np.multiply.outer(free[0][:, at], free[1][:, at], out=one), out=best)
    return best


def gain_left(best: Array, joint: Array, mean: Array) -> float:
    """How much knowing all would raise the share of sound castings: E[max p] - max E[p]; best from `best_within`."""
    return max(0.0, float((best * joint).sum() - mean.max()))


def information(free: tuple[Array, Array], joint: Array) -> Array:
    """Expected information, in bits, that one pour at each temperature gives about all figures of the model.

    Outcomes: cold fault or not, hot fault or not. Mutual information = entropy of the forecast less the mean entropy
    of each state's own forecast (Lindley, Ann. Math. Statist. 27 (1956), from memory).
    """
    cold, hot = free
    of_cold, of_hot = joint.sum(1), joint.sum(0)
    both_free = mean_sound(free, joint)
    cold_free, hot_free = of_cold @ cold, of_hot @ hot
    forecast = np.stack(
        [both_free, cold_free - both_free, hot_free - both_free, 1.0 - cold_free - hot_free + both_free]
    )
    own = of_cold @ (_bits(cold) + _bits(1.0 - cold)) + of_hot @ (_bits(hot) + _bits(1.0 - hot))
    return np.asarray(np.maximum(0.0, _bits(forecast).sum(0) - own))


def foreseen(found: Fit, free: tuple[Array, Array], at: int) -> Fit:
    """The posterior after a pour at temperature number `at` that comes out as forecast (expected log-likelihood)."""
    cold, hot = (np.clip(side[:, at], 1e-12, 1.0 - 1e-12) for side in free)
    cold_free, hot_free = float(found.joint.sum(1) @ cold), float(found.joint.sum(0) @ hot)
    of_cold = cold_free * np.log(cold) + (1.0 - cold_free) * np.log1p(-cold)
    of_hot = hot_free * np.log(hot) + (1.0 - hot_free) * np.log1p(-hot)
    joint = found.joint * np.exp(of_cold - of_cold.max())[:, None] * np.exp(of_hot - of_hot.max())[None, :]
    return Fit(found.cold, found.hot, joint / joint.sum())


def _bits(p: Array) -> Array:
    return np.asarray(-p * np.log2(np.maximum(p, _LEAST)))
