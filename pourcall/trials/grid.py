"""The numerics of trials. Two thresholds on a fixed grid, lip temperatures by quadrature; nothing random.

A side is a family of curves over temperature: the grade of a fault (0 to 3) is at least k with probability
`background * share_k + (1 - background) * logistic(sign * (T - threshold) / scale - (k - 1) * GRADE_STEP)`, sign +1
for hot faults (rising) and -1 for cold ones (falling): a cumulative logit model. `background` is what temperature does
not explain. What is written down is that grade, or with probability `misread` a grade that has nothing to do with it.
Given T and both sides' figures cold and hot faults are independent; an uncertain T couples them, and is integrated out
by Gauss-Hermite nodes. Pours of one melt share that error: one pot, one reading, one day. Not here: what moves from
melt to melt (changes.py).

Sources: McCullagh, Regression models for ordinal data, J. R. Statist. Soc. B 42 (1980); Gelman et al., Bayesian Data
Analysis, section 3.7, for the grid (both from memory). Temperatures in degC; any other axis does as well.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.floating[Any]]  # over states: single precision where the states are so, and much is multiplied
Mask = NDArray[np.bool_]
Evidence = tuple[float, float, float, float]  # how well each grade 0 to 3 explains what was found
Terms = tuple[tuple[Evidence, Evidence], ...]  # findings as a sum of (cold, hot) products

GRADE_STEP = 1.1  # scales between one grade and the next (judgement)
BACKGROUND_SHARES = (1.0, 0.5, 0.2)  # of background faults, how many are of grade 1, 2, 3 or worse (judgement)
NODES = 7
NODE, NODE_WEIGHT = np.polynomial.hermite_e.hermegauss(NODES)
NODE_WEIGHT = NODE_WEIGHT / NODE_WEIGHT.sum()
_LEAST = 1e-37  # of single precision
_MOST_TERMS = 8  # of one melt: more findings without a side than that are taken one at a time


@dataclass(frozen=True, slots=True)
class Trial:
    """One inspected pour: temperature, its standard uncertainty, findings. by_chance: how likely a misreading gives
    what was found on each side, whatever was there."""

    temp_c: float
    u_c: float
    terms: Terms
    by_chance: tuple[float, float] = (0.5, 0.5)


@dataclass(frozen=True, slots=True, eq=False)
class Side:
    """States of one side; all arrays of one length. log_prior: of each state by itself."""

    sign: float
    threshold: Array
    scale: Array
    background: Array
    misread: Array
    log_prior: Array

    def explained(self, temps_c: Array, found: Array, by_chance: Array) -> Array:
        """States x temperatures: how likely what was written at each is. found: 4 x temperatures, by true grade."""
        told, misread = np.broadcast_to(found[0], (self.threshold.size, temps_c.size)), self.misread[:, None]
        z = self.sign * (temps_c[None, :] - self.threshold[:, None]) / self.scale[:, None]
        for k in range(3):
            at_least = 0.5 + 0.5 * np.tanh(0.5 * (z - k * GRADE_STEP))
            at_least += self.background[:, None] * (BACKGROUND_SHARES[k] - at_least)
            told = told + (found[k + 1] - found[k]) * at_least
        return np.asarray((1.0 - misread) * told + misread * by_chance)


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """A posterior where nothing moves: probability of every pair of states; sums to 1."""

    cold: Side
    hot: Side
    joint: Array


def fit(cold: Side, hot: Side, log_joint: Array | float, trials: Sequence[Trial]) -> Fit:
    """Trials each by itself. log_joint: prior of pairs of states beyond the sides' own, states x states or 0."""
    log_p = cold.log_prior[:, None] + hot.log_prior[None, :] + log_joint
    for table in likelihoods(cold, hot, [[trial] for trial in trials], [0.0] * len(trials)):
        log_p = log_p + np.log(np.maximum(table, _LEAST))
    joint = np.exp(log_p - log_p.max())
    return Fit(cold, hot, joint / joint.sum())


def likelihoods(cold: Side, hot: Side, melts: Sequence[Sequence[Trial]], shift_u_c: Sequence[float]) -> list[Array]:
    """How well each pair of states explains each melt.

    shift_u_c: standard deviation, for each melt, of what moved both thresholds on that day alone.
    """
    trials = [trial for melt in melts for trial in melt]
    if not trials:
        return []
    kind = cold.threshold.dtype
    shifts = np.repeat(np.array(shift_u_c), [len(melt) for melt in melts])
    spread_c = np.hypot(np.array([trial.u_c for trial in trials]), shifts)
    temps_c = (np.array([trial.temp_c for trial in trials])[:, None] + spread_c[:, None] * NODE).ravel().astype(kind)
    explained: list[tuple[Array, Array]] = []
    for term in range(max(len(trial.terms) for trial in trials)):
        of = [trial.terms[min(term, len(trial.terms) - 1)] for trial in trials]
        explained.append(
            (
                _explained(cold, temps_c, [one[0] for one in of], [trial.by_chance[0] for trial in trials]),
                _explained(hot, temps_c, [one[1] for one in of], [trial.by_chance[1] for trial in trials]),
            )
        )
    tables, at = [], 0
    for melt in melts:
        tables.append(_melt(explained, [len(trial.terms) for trial in melt], at))
        at += len(melt) * NODES
    return tables


def _explained(side: Side, temps_c: Array, found: Sequence[Evidence], by_chance: Sequence[float]) -> Array:
    kind = side.threshold.dtype
    nodes = np.repeat(np.array(found, kind).T, NODES, axis=1)
    return side.explained(temps_c, nodes, np.repeat(np.array(by_chance, kind), NODES))


def _melt(explained: Sequence[tuple[Array, Array]], terms: Sequence[int], at: int) -> Array:
    """Pours of one melt: for each node of the error they share, the product of what was found."""
    done: Array | None = None
    sums: list[tuple[Array, Array]] = []
    for count in terms:
        of = [(cold[:, at : at + NODES], hot[:, at : at + NODES]) for cold, hot in explained[:count]]
        at += NODES
        if len(sums) * count > _MOST_TERMS:
            done, sums = _multiplied(done, sums), []
        sums = [(a * c, b * h) for a, b in sums for c, h in of] if sums else of
    return _multiplied(done, sums)


def _multiplied(done: Array | None, sums: Sequence[tuple[Array, Array]]) -> Array:
    weight = NODE_WEIGHT.astype(sums[0][0].dtype)
    one = (sums[0][0] * weight) @ sums[0][1].T
    for a, b in sums[1:]:
        one += (a * weight) @ b.T
    return one if done is None else np.asarray(done * one)
