"""A posterior as a few thousand moulds it might be. Drawn evenly from the grid, always the same; nothing random.

Each world is a pair of thresholds with scales and backgrounds of its own; what is said (the mean, the band, what is
left to learn, what a pour would tell) is a plain mean over them. Days that differ are in the scale: a logistic of scale
s smeared by a normal of u is about a logistic of scale sqrt(s^2 + 3 u^2 / pi^2). Temperatures in degC.

Sources: systematic sampling, as in any text on particle filters (from memory); Roberts' two-dimensional golden-ratio
sequence for the place within a grid cell (from memory).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pourcall.trials.grid import BACKGROUND_SHARES, GRADE_STEP, Array, Side

WORLDS = 2048
_ROBERTS = 0.7548776662466927, 0.5698402909980532
_LEAST = 1e-300


@dataclass(frozen=True, slots=True, eq=False)
class Worlds:
    """Columns cold, hot; all of one length. weight sums to 1."""

    threshold: Array
    scale: Array
    background: Array
    weight: Array

    def free(self, temps_c: Array, accept: int = 0) -> tuple[Array, Array]:
        """Chance that a casting has no cold fault, no hot one, graver than `accept`: worlds x temperatures each."""
        found = []
        for at, sign in ((0, -1.0), (1, 1.0)):
            z = sign * (temps_c[None, :] - self.threshold[:, at, None]) / self.scale[:, at, None] - accept * GRADE_STEP
            bg = self.background[:, at, None]
            found.append(1.0 - bg * BACKGROUND_SHARES[accept] - (1.0 - bg) * (0.5 + 0.5 * np.tanh(0.5 * z)))
        return found[0], found[1]


def draw(
    cold: Side,
    hot: Side,
    parts: Sequence[tuple[Array, float, float]],
    step_c: tuple[float, float],
    worlds: int = WORLDS,
) -> Worlds:
    """Worlds of equal weight. parts: posterior over pairs of states, its share, and how far days differ under it."""
    pairs = np.concatenate([share * joint.ravel().astype(np.float64) for joint, share, _ in parts])
    rising = np.cumsum(pairs)
    chosen = np.searchsorted(rising, (np.arange(worlds) + 0.5) / worlds * rising[-1])
    which, pair = np.divmod(chosen, parts[0][0].size)
    states = np.divmod(pair, parts[0][0].shape[1])
    day_u_c = np.array([u_c for _, _, u_c in parts])[which]
    count = np.arange(worlds)
    within = [((count * step) % 1.0 - 0.5) * size for step, size in zip(_ROBERTS, step_c, strict=True)]
    return Worlds(
        np.stack([side.threshold[at] + off for side, at, off in zip((cold, hot), states, within, strict=True)], 1),
        np.stack(
            [
                np.sqrt(side.scale[at] ** 2 + 3.0 * day_u_c**2 / math.pi**2)
                for side, at in zip((cold, hot), states, strict=True)
            ],
            1,
        ),
        np.stack([side.background[at] for side, at in zip((cold, hot), states, strict=True)], 1),
        np.full(worlds, 1.0 / worlds),
    )


def band(sound: Array, mass: float = 0.90) -> tuple[Array, Array]:
    """Central credible band of the chance at each temperature; worlds of equal weight."""
    ordered = np.sort(sound, 0)
    at = (np.array([1.0 - mass, 1.0 + mass]) / 2.0) * sound.shape[0] - 0.5
    low, share = np.floor(at).astype(int), at - np.floor(at)
    found = ordered[low] * (1.0 - share)[:, None] + ordered[low + 1] * share[:, None]
    return found[0], found[1]


def gain_left(reached: Array, weight: Array, mean: Array) -> float:
    """How much knowing all would raise the share of sound castings: E[max p] - max E[p]."""
    return max(0.0, float(reached @ weight - mean.max()))


def information(free: tuple[Array, Array], weight: Array) -> Array:
    """Expected information, in bits, that one pour at each temperature gives about which world it is.

    Outcomes: cold fault or not, hot fault or not. Mutual information = entropy of the forecast less the mean entropy
    of each world's own forecast (Lindley, Ann. Math. Statist. 27 (1956), from memory).
    """
    cold, hot = free
    both_free, cold_free, hot_free = weight @ (cold * hot), weight @ cold, weight @ hot
    forecast = np.stack(
        [both_free, cold_free - both_free, hot_free - both_free, 1.0 - cold_free - hot_free + both_free]
    )
    own = weight @ (_bits(cold) + _bits(1.0 - cold) + _bits(hot) + _bits(1.0 - hot))
    return np.asarray(np.maximum(0.0, _bits(forecast).sum(0) - own))


def foreseen(weight: Array, free: tuple[Array, Array], at: int) -> Array:
    """Weights after a pour at temperature number `at` that comes out as forecast (expected log-likelihood)."""
    told = np.zeros_like(weight)
    for side in free:
        chance = np.clip(side[:, at], 1e-12, 1.0 - 1e-12)
        expected = float(weight @ chance)
        told += expected * np.log(chance) + (1.0 - expected) * np.log1p(-chance)
    fresh = weight * np.exp(told - told.max())
    return np.asarray(fresh / fresh.sum())


def _bits(p: Array) -> Array:
    return np.asarray(-p * np.log2(np.maximum(p, _LEAST)))
