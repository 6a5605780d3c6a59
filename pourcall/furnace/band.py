"""The band of the trace to come, in which it runs nine times in ten, from some members of the ensemble. Pure."""

import math
from collections.abc import Sequence

from pourcall.furnace.ensemble import COUNT, Ensemble, deviation
from pourcall.furnace.model import advance, share_of

K90 = 1.645  # 90 % of a normal distribution
BAND_STEP_S, BAND_POINTS = 60.0, 40
EVERY = 4  # so many members stand for all
LEAST_SD_C = 2.0


def rows_ahead(
    members: Ensemble, mass_kg: float, level: float | None, room_c: float, count: int
) -> list[tuple[float, float]]:
    """(low, high) a step apart, from where the ensemble stands, at the setting as it is."""
    metal = members.metal
    chosen = range(0, COUNT, EVERY)
    states = {at: members.mixed(at, mass_kg) for at in chosen}
    rows = []
    for step in range(count):
        temps = []
        for at in chosen:
            state, kg = states[at]
            if step > 0:
                furnace = members.furnaces[at]
                share = share_of(furnace, level)
                state = advance(furnace, metal, state, kg, share, room_c, BAND_STEP_S, step_s=20.0)
                states[at] = (state, kg)
            temps.append(metal.temp_c(state.h))
        mean, half = sum(temps) / len(temps), K90 * math.hypot(deviation(temps), LEAST_SD_C)
        rows.append((mean - half, mean + half))
    return rows


def band_of(rows: Sequence[tuple[float, float]], ahead: float, points: int) -> tuple[tuple[float, float, float], ...]:
    """(seconds, low, high) from a moment `ahead` steps after the first row."""
    made = []
    for step in range(1, points + 1):
        k, part = int(step + ahead), (step + ahead) % 1.0
        low = rows[k][0] + part * (rows[k + 1][0] - rows[k][0])
        high = rows[k][1] + part * (rows[k + 1][1] - rows[k][1])
        made.append((step * BAND_STEP_S, low, high))
    return tuple(made)
