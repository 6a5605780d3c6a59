"""What pours of a similar setup say of this one. Their thresholds lie near this one's, not on them.

A hierarchy of two steps (Gelman et al., Bayesian Data Analysis, chapter 5, from memory): the thresholds of the similar
setup are this one's plus a difference, Student t on both sides with a correlation, since what shifts one end of a
window (a thermometer, the sand) tends to shift the other. However many pours are borrowed, they never say more than
that difference leaves. Not here: which setups are similar (gather.py). Temperatures in degC.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pourcall.trials import grid
from pourcall.trials.grid import Array, Side, Trial

# Scale by which thresholds of like setups differ, as a share of the family's smallest correction; degrees of freedom
# (now and then a like setup is quite unlike). Of those tried on simulated shops (0.6 to 1.0; 2 to 4) the narrowest
# whose 90 % band still held nine in ten where the similar setup misled by 25 degC.
APART, TAILS = 0.8, 3.0
CORRELATION = 0.5  # judgement


@dataclass(frozen=True, slots=True, eq=False)
class Lent:
    """What one similar setup's pours say of its own thresholds: likelihood over cold_c x hot_c, its sum 1."""

    cold_c: Array
    hot_c: Array
    likelihood: Array
    apart_c: float


def lent(cold: Side, hot: Side, trials: Sequence[Trial], *, thresholds: int, apart_c: float) -> Lent:
    """Fit the similar setup by itself. cold, hot: grids whose first axis are that many thresholds."""
    found = grid.fit(cold, hot, 0.0, trials)
    nuisance = found.joint.shape[0] // thresholds, found.joint.shape[1] // thresholds
    table = found.joint.reshape(thresholds, nuisance[0], thresholds, nuisance[1]).sum((1, 3))
    return Lent(cold.threshold[:: nuisance[0]], hot.threshold[:: nuisance[1]], table, apart_c)


def log_evidence(one: Lent, cold_c: Array, hot_c: Array) -> Array:
    """Log-likelihood of this setup's thresholds (cold_c x hot_c) by the similar one's pours, up to a constant."""
    z_cold = (cold_c[:, None] - one.cold_c[None, :]) / one.apart_c
    z_hot = (hot_c[:, None] - one.hot_c[None, :]) / one.apart_c
    narrow = 1.0 - CORRELATION**2
    near = np.empty((cold_c.size, hot_c.size))
    of_cold = z_cold**2
    for at in range(hot_c.size):  # a row at a time: the whole table would not fit the cache
        squares = of_cold[:, :, None] + z_hot[at] ** 2 - 2.0 * CORRELATION * np.multiply.outer(z_cold, z_hot[at])
        kernel = (1.0 + squares / (narrow * TAILS)) ** (-0.5 * (TAILS + 2.0))
        near[:, at] = (kernel * one.likelihood).sum((1, 2))
    return np.log(np.maximum(near, math.ulp(0.0)))
