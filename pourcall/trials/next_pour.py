"""Where to pour next, for a customer and to learn, and how many pours more. Worlds and their curve in, places out.

For a customer: the surest within a step of what was poured. To learn: the same until a casting is sound, with faults of
one kind alone the trade's smallest step away from them; from then on where most is learned for little risk.
Temperatures in degC at the mould lip.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pourcall.trials.advice import NextKind, SetupData
from pourcall.trials.defects import STRONG
from pourcall.trials.grid import Array, Mask
from pourcall.trials.worlds import foreseen, gain_left, information

GOOD_ENOUGH = 0.02  # more pours are not worth it once they could raise the share of sound castings by less
# Most that a pour to learn from may be less likely sound than the best: half of what all there is to learn would bring.
# Tried on simulated shops: more learns the mould better and loses more castings meanwhile, nothing learns it worse.
SACRIFICE, SACRIFICE_OF_GAIN = 0.05, 0.5
MOST_MORE = 12
_OUTLOOK = 8  # every so many worlds are enough to count pours by
NEAR_C = 2.0  # closer than this to the best is the best
# By family: scale of a threshold (degC from 50 to 73 % of faults); how far it may lie from the sheet's (one standard
# deviation: the smallest step by which a caster corrects); largest step beyond what was poured. Steps: 15-30 zinc,
# 20-40 aluminium, 25-50 copper alloys. Judgement, to be tuned by the caster's records.
FAMILY = {"zinc": (7.0, 15.0, 30.0), "aluminium": (9.0, 20.0, 40.0), "copper": (11.0, 25.0, 50.0)}


class Choice(NamedTuple):
    """Places on the curve: the surest for a customer, and the one to learn at."""

    surest: int
    telling: int
    kind: NextKind


def next_pour(
    data: SetupData,
    weight: Array,
    free: tuple[Array, Array],
    aimed: Array,
    temps_c: Array,
    allowed: Mask,
    gain: float,
) -> Choice:
    """Where to pour next. To learn: the surest until a casting is sound, then where most is learned for little risk."""
    reachable = allowed & _within_a_step(data, temps_c)
    if not reachable.any():
        reachable = allowed
    spots = np.flatnonzero(reachable)
    nearest = int(spots[np.argmax(aimed[spots])])
    if not data.pours:
        return Choice(nearest, nearest, NextKind.FIRST)
    if not any(pour.found.cold == pour.found.hot == pour.found.unsided == 0 for pour in data.pours):
        return Choice(nearest, *_one_step(data, temps_c, spots, nearest))
    if gain < GOOD_ENOUGH:
        return Choice(nearest, nearest, NextKind.STOP)
    bits = information(free, weight)
    worth = spots[aimed[spots] >= aimed[nearest] - _sacrifice(gain)]
    chosen = int(worth[np.argmax(bits[worth])])
    near = abs(temps_c[chosen] - temps_c[nearest]) < NEAR_C
    return Choice(nearest, chosen, NextKind.BEST if near else NextKind.LEARN)


def _sacrifice(gain: float) -> float:
    return min(SACRIFICE, SACRIFICE_OF_GAIN * gain)


def _one_step(data: SetupData, temps_c: Array, spots: NDArray[np.intp], nearest: int) -> tuple[int, NextKind]:
    """Nothing sound yet: the best, but with faults of one kind only the trade's smallest step away from them at least.

    Never further than that step outside the sheet's window: a fault beyond it has another cause.
    """
    step_c = FAMILY.get(data.family, FAMILY["zinc"])[1]
    cold = [pour.lip_c for pour in data.pours if pour.found.cold and pour.found.cold_strength >= STRONG]
    hot = [pour.lip_c for pour in data.pours if pour.found.hot and pour.found.hot_strength >= STRONG]
    if cold and not any(pour.found.hot for pour in data.pours):
        aim_c = min(max(cold), data.window_max_c) + step_c
        if temps_c[nearest] < aim_c:
            return int(spots[np.argmin(np.abs(temps_c[spots] - aim_c))]), NextKind.HOTTER
    if hot and not any(pour.found.cold for pour in data.pours):
        aim_c = max(min(hot), data.window_min_c) - step_c
        if temps_c[nearest] > aim_c:
            return int(spots[np.argmin(np.abs(temps_c[spots] - aim_c))]), NextKind.COLDER
    return nearest, NextKind.BEST


def _within_a_step(data: SetupData, temps_c: Array) -> Mask:
    """No further beyond what was poured than one largest step of the family."""
    if not data.pours:
        return np.asarray(np.ones_like(temps_c, dtype=bool))
    step_c = FAMILY.get(data.family, FAMILY["zinc"])[2]
    poured = [pour.lip_c for pour in data.pours]
    return np.asarray((temps_c >= min(poured) - step_c) & (temps_c <= max(poured) + step_c))


def pours_more(weight: Array, free: tuple[Array, Array], allowed: Mask, gain: float) -> int | None:
    """How many more pours, each coming out as forecast, until nothing worth it is left to learn."""
    inside = np.flatnonzero(allowed)
    weight = weight[::_OUTLOOK] / weight[::_OUTLOOK].sum()
    cold, hot = free[0][::_OUTLOOK, inside], free[1][::_OUTLOOK, inside]
    sound = cold * hot
    reached = sound.max(1)
    mean = weight @ sound
    for count in range(1, MOST_MORE + 1):
        bits = information((cold, hot), weight)
        worth = np.flatnonzero(mean >= mean.max() - _sacrifice(gain))
        weight = foreseen(weight, (cold, hot), int(worth[np.argmax(bits[worth])]))
        mean = weight @ sound
        gain = gain_left(reached, weight, mean)
        if gain < GOOD_ENOUGH:
            return count
    return None
