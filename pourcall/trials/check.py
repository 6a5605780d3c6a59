"""Whether the last pours fit the first. Worlds by the earlier pours and the later findings in, a chance out.

A posterior-predictive check: in each world the first pours allow, the later pours are cast over and over; told is how
often their faults would lie as far to one side (cold faults less hot ones) as they did. The count's law is exact, by
adding one pour at a time. Not here: what is made of it (model.py).

Sources: Rubin, Ann. Statist. 12 (1984); Gelman, Meng and Stern, Statistica Sinica 6 (1996) (both from memory).
"""

from collections.abc import Sequence

import numpy as np

from pourcall.trials.advice import InspectedPour
from pourcall.trials.grid import Array
from pourcall.trials.worlds import Worlds

MISREAD = 0.03  # of castings written down with a fault on the wrong side or with none, whatever was there


def by_chance(worlds: Worlds, later: Sequence[InspectedPour]) -> float:
    """How often findings so far to one side come by chance, two-sided: small where the later pours do not fit."""
    temps_c = np.array([pour.lip_c for pour in later])
    cold, hot = worlds.free(temps_c)
    cold_only = MISREAD + (1.0 - 2.0 * MISREAD) * (1.0 - cold) * hot
    hot_only = MISREAD + (1.0 - 2.0 * MISREAD) * (1.0 - hot) * cold
    law = _law(cold_only, hot_only)
    chance = worlds.weight @ law
    at = len(later) + sum((pour.found.cold > 0) - (pour.found.hot > 0) for pour in later)
    return float(min(1.0, 2.0 * min(chance[at:].sum(), chance[: at + 1].sum())))


def _law(up: Array, down: Array) -> Array:
    """Law of a sum of steps +1, -1 or 0 with these chances (worlds x steps): worlds x (2 steps + 1)."""
    worlds, steps = up.shape
    law = np.zeros((worlds, 2 * steps + 1))
    law[:, steps] = 1.0
    for step in range(steps):
        more = np.roll(law, 1, 1) * up[:, step, None]
        less = np.roll(law, -1, 1) * down[:, step, None]
        law = law * (1.0 - up[:, step, None] - down[:, step, None]) + more + less
    return law
