"""What may have moved between the melts. Trials by melt in, the posterior of today's thresholds out.

Three things move a mould's window that nobody writes down. *Days*: both thresholds shift for one melt and come back.
*Fading*: what was found long ago speaks of thresholds that have walked since; each melt's shift grows with the root of
its age (a random walk, taken as independent from melt to melt, which is a little too trusting and made up for by the
step). *Change*: before one melt the thresholds jump, another mould from then on; what was poured before it tells of the
thresholds no more than a similar setup does, and of scale, background and misreading nothing. Changes are filtered
forward through the melts as in any hidden Markov model; which was the last one follows from the melts after it.

Sources: Adams and MacKay, Bayesian online changepoint detection, arXiv:0710.3742; Rabiner, Proc. IEEE 77 (1989), for
the two passes (both from memory). Temperatures in degC.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from pourcall.trials.grid import Array, Side, Trial, likelihoods

JUMP_TAILS = 4.0  # degrees of freedom of a change's size; with two thresholds a density to the power of -3
JUMP_TOGETHER = 0.8  # correlation: what moves one end of a window mostly moves the other with it
MOST_CHANGE = 0.5
_LEAST = 1e-30


class Moving(NamedTuple):
    """One hypothesis of how steady a shop is: standard deviations in scales of a threshold; prior weight."""

    day: float
    fade: float  # of one step from melt to melt
    changes: float  # how many times as often as usual something changes
    weight: float

    def shift_u_c(self, age: int, scale_c: float) -> float:
        """How far a melt of so many melts ago may lie off today's thresholds."""
        return scale_c * math.sqrt(self.day**2 + self.fade**2 * age)


@dataclass(frozen=True, slots=True, eq=False)
class Grid:
    """Both sides' states, where their thresholds lie, what was thought of these, and where a change may put them.

    states: thresholds first, so that a side has thresholds x others. log_start: over pairs of thresholds.
    """

    cold: Side
    hot: Side
    cold_c: Array
    hot_c: Array
    log_start: Array
    jump_c: float

    def pools(self) -> tuple[Array, Array]:
        """Thresholds x states of each side, with the prior of the others: sums a table over all but the thresholds."""
        return _pool(self.cold, self.cold_c.size), _pool(self.hot, self.hot_c.size)

    def jump(self) -> Array:
        """Where thresholds land after a change: (pairs after) x (pairs before), columns sum to 1."""
        z_cold, z_hot = (
            ((axis[:, None] - axis[None, :]) / self.jump_c).astype(np.float32) for axis in (self.cold_c, self.hot_c)
        )
        narrow = (1.0 - JUMP_TOGETHER**2) * JUMP_TAILS
        squares = z_cold[:, None, :, None] ** 2 / narrow + (1.0 + z_hot[None, :, None, :] ** 2 / narrow)
        squares -= z_cold[:, None, :, None] * (2.0 * JUMP_TOGETHER / narrow * z_hot[None, :, None, :])
        table = (1.0 / (squares * squares * squares)).reshape(self.log_start.size, self.log_start.size)
        return np.asarray(table / table.sum(0, keepdims=True, dtype=np.float64), np.float32)


def _pool(side: Side, thresholds: int) -> Array:
    others = side.threshold.size // thresholds
    prior = np.exp(side.log_prior)
    prior = prior / prior[:others].sum()
    return np.asarray(np.kron(np.eye(thresholds, dtype=prior.dtype), np.ones(others, prior.dtype)) * prior)


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """A posterior under one hypothesis of moving. joint: over pairs of states now, its sum is 1."""

    moving: Moving
    joint: Array
    log_evidence: float
    befores: list[Array]  # of each place between melts: pairs of thresholds by the melts before it
    logs: list[float]  # log-evidence of the melts before each place


def forward(
    grid: Grid, jump: Array, melts: Sequence[Sequence[Trial]], chances: Sequence[float], moving: Moving, scale_c: float
) -> tuple[Part, list[Array]]:
    """Through the melts in order. chances: prior chance of a change after melt k. Also: each melt's likelihoods."""
    pool_cold, pool_hot = grid.pools()
    sum_cold, sum_hot = np.sign(pool_cold), np.sign(pool_hot).T
    count = len(melts)
    tables = likelihoods(grid.cold, grid.hot, melts, [moving.shift_u_c(count - at, scale_c) for at in range(count)])
    start = np.exp(grid.log_start - grid.log_start.max())
    joint = _spread(pool_cold, start / start.sum(), pool_hot)
    log_evidence = 0.0
    befores: list[Array] = []
    logs: list[float] = []
    for table, usual in zip(tables, chances, strict=True):
        chance = min(MOST_CHANGE, usual * moving.changes)
        joint *= table
        before = sum_cold @ joint @ sum_hot
        total = float(before.sum())
        before /= total
        joint *= (1.0 - chance) / total
        if chance > 0.0:
            landed = (jump @ before.ravel()).reshape(before.shape)
            joint += _spread(pool_cold, chance * landed, pool_hot)
        befores.append(before)
        log_evidence += math.log(max(total, _LEAST))
        logs.append(log_evidence)
    return Part(moving, joint / float(joint.sum(dtype=np.float64)), log_evidence, befores, logs), tables


def looked_back(
    grid: Grid, jump: Array, found: Part, tables: Sequence[Array], chances: Sequence[float]
) -> tuple[Array, Array]:
    """After which melt the last change was, [0]: none; and where thresholds lay before it (pairs, sum 1)."""
    pool_cold, pool_hot = grid.pools()
    lay: Array
    start = np.exp(grid.log_start - grid.log_start.max())
    after = np.ones_like(found.joint)
    log_after = 0.0
    ends: list[tuple[int, float, Array]] = []
    for at in range(len(tables), -1, -1):
        if at < len(tables):
            after *= tables[at]
            top = float(after.max())
            after /= max(top, _LEAST)
            log_after += math.log(max(top, _LEAST)) + math.log1p(-chances[at])
        chance = chances[at - 1] if at else 1.0
        if chance <= 0.0:
            continue
        fits = pool_cold @ after @ pool_hot.T
        if at:
            lay = found.befores[at - 1] * (jump.T @ fits.ravel()).reshape(fits.shape)
        else:
            lay = fits * (start / start.sum())
        evidence = max(float(lay.sum(dtype=np.float64)), _LEAST)
        before = found.logs[at - 1] if at else 0.0
        ends.append((at, before + math.log(chance) + math.log(evidence) + log_after, lay / evidence))
    top = max(log for _, log, _ in ends)
    weights = np.zeros(len(tables) + 1)
    came: Array = np.zeros(grid.log_start.shape)
    for at, log, lay in ends:
        weights[at] = math.exp(log - top)
        came += weights[at] * lay
    return weights / weights.sum(), came / weights.sum()


def _spread(pool_cold: Array, pairs: Array, pool_hot: Array) -> Array:
    """Pairs of thresholds as pairs of states, the others by their prior."""
    return np.asarray(pool_cold.T @ pairs.astype(pool_cold.dtype) @ pool_hot)
