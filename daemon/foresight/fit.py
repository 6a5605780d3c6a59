"""Room: learning a furnace from its traces. Non-linear least squares with priors; in a worker, never in the daemon.

Residuals are reading less model over all traces, one point in ten seconds, and the priors as residuals of their own
(maximum a posteriori); scale robust (soft l1), covariance from the Jacobian at the solution, widened by what the
residuals show: they err together over minutes, so that a hundred of them are worth a few. Uses scipy and numpy.
Errors: BadTrace, where a trace is too short or too flat to learn from, saying what is missing.
"""

import math
from collections.abc import Sequence
from typing import Any

import msgspec
import numpy as np
from scipy.optimize import least_squares

from pourcall.contract.errors import BadTrace
from pourcall.contract.furnace_model import PARAMETERS, FurnaceModel
from pourcall.daemon.foresight.model import Furnace, Metal, State, add_cold, advance, reads_c
from pourcall.daemon.foresight.traces import LOW, Fitted, LearnTrace, why_not

POINT_S = 10.0
STEP_S = 5.0
FLOOR_C = 4.0  # standard deviation of one residual, before what the model says it does not know
TOGETHER_S = 240.0  # residuals this near in time err together (ours, from their autocorrelation on simulated melts)
SOLID_C = 35.0
LUMP_S = 420.0  # half a kilogram in a kilogram of bath takes minutes to melt and mix (ours)
HOT_WALL_U_C = 150.0
HEAT_U = 0.05
STARTS: tuple[dict[str, float], ...] = (
    {},
    {"limit_c": -0.25},
    {"wall_j_per_k": -0.7, "power_w": 0.2},
)  # of the logarithms


def predict(
    trace: LearnTrace,
    logs: "Sequence[float] | np.ndarray[Any, Any]",
    *,
    wall_c: float,
    heat: float = 0.0,
    every_s: float = POINT_S,
) -> tuple["np.ndarray[Any, Any]", "np.ndarray[Any, Any]", "np.ndarray[Any, Any]"]:
    """(times, readings of the model, what it says it does not know) at `every_s` over the span of a trace."""
    furnace, metal = Furnace.of(list(logs)), Metal(trace.alloy)
    factor = math.exp(heat)
    mass = trace.charge_kg * factor
    start_c = trace.room_c
    pot_c = trace.room_c + 0.85 * (wall_c - trace.room_c)
    state = State(wall_c, pot_c, metal.enthalpy(start_c))
    events = sorted([(at, 0, share) for at, share in trace.power] + [(at, 1, kg * factor) for at, kg in trace.added])
    share, next_event, now = 0.0, 0, 0.0
    times, reads, doubts = [], [], []
    at = trace.times_s[0]
    while at <= trace.times_s[-1] + 1e-9:
        while next_event < len(events) and events[next_event][0] <= at:
            when, kind, value = events[next_event]
            state = _to(furnace, metal, state, mass, share, trace.room_c, when - now)
            now = max(now, when)
            if kind == 0:
                share = value
            else:
                state, mass = add_cold(metal, state, mass, value, trace.room_c)
            next_event += 1
        state = _to(furnace, metal, state, mass, share, trace.room_c, at - now)
        now = max(now, at)
        read, doubt = reads_c(furnace, metal, state, mass, trace.sheath_s)
        times.append(at)
        reads.append(read)
        doubts.append(doubt)
        at += every_s
    return np.array(times), np.array(reads), np.array(doubts)


def _to(
    furnace: Furnace, metal: Metal, state: State, mass: float, share: float, room_c: float, seconds: float
) -> State:
    if seconds <= 0.0:
        return state
    share = furnace.low_share if share == LOW else share
    return advance(furnace, metal, state, mass, share, room_c, seconds, step_s=STEP_S)


def fit(
    prior: FurnaceModel, traces: Sequence[LearnTrace], *, utc_s: float = 0.0, version: int | None = None,
    evaluations: int = 40,
) -> Fitted:  # fmt: skip
    """Learn a furnace; the prior is `usual_model`. Raises BadTrace where nothing is usable, saying what is missing."""
    refused = tuple((trace.melt, why) for trace in traces if (why := why_not(trace)))
    usable = [trace for trace in traces if not why_not(trace)]
    if not usable:
        missing = (
            "; ".join(f"{melt}: {why}" for melt, why in refused) or "there is no melt on record with a probe in the pot"
        )
        raise BadTrace(
            f"nothing to learn {prior.furnace} from: {missing}", remedy="Record a melt with the power marked"
        )
    size = len(PARAMETERS)
    mean, cov = np.array(prior.mean), np.array(prior.cov)
    whiten = np.linalg.inv(np.linalg.cholesky(cov + 1e-10 * np.eye(size)))
    hot = [k for k, trace in enumerate(usable) if trace.hot]
    seen = [_thinned(trace) for trace in usable]

    def residuals(x: "np.ndarray[Any, Any]") -> "np.ndarray[Any, Any]":
        parts = [whiten @ (x[:size] - mean)]
        for k, trace in enumerate(usable):
            heat = x[size + k]
            wall_c = trace.room_c
            if trace.hot:
                wall_c = trace.hot_wall_c + HOT_WALL_U_C * x[size + len(usable) + hot.index(k)]
            _, reads, _ = predict(trace, x[:size], wall_c=wall_c, heat=HEAT_U * heat)
            temps, weights = seen[k]
            gap = (temps - reads) * weights
            parts.append(np.sign(gap) * np.sqrt(2.0 * (np.sqrt(1.0 + gap * gap) - 1.0)))  # soft l1: lids, dips, lumps
        parts.append(x[size:])
        return np.concatenate(parts)

    count = size + len(usable) + len(hot)
    best = None
    for shift in STARTS if prior.version == 0 else STARTS[:1]:
        start = np.zeros(count)
        start[:size] = mean
        for name, by in shift.items():
            start[PARAMETERS.index(name)] += by
        found = least_squares(residuals, start, max_nfev=evaluations, diff_step=1e-3, x_scale="jac")
        if best is None or found.cost < best.cost:
            best = found
    assert best is not None
    information = best.jac.T @ best.jac
    full = np.linalg.inv(information + 1e-9 * np.eye(count))[:size, :size]
    told: list[tuple[str, float, int]] = []
    total, points = 0.0, 0
    for k, trace in enumerate(usable):
        wall_c = trace.room_c
        if trace.hot:
            wall_c = trace.hot_wall_c + HOT_WALL_U_C * best.x[size + len(usable) + hot.index(k)]
        _, reads, _ = predict(trace, best.x[:size], wall_c=wall_c, heat=HEAT_U * best.x[size + k])
        square = float(np.mean((seen[k][0] - reads) ** 2))
        told.append((trace.melt, math.sqrt(square), len(reads)))
        total += square * len(reads)
        points += len(reads)
    # never more certain than the prior; a furnace differs from itself by a few per cent from melt to melt
    widened = full + np.diag([0.02**2 / len(usable) + 0.01**2] * size)
    model = msgspec.structs.replace(
        prior,
        version=prior.version + 1 if version is None else version,
        learned_utc_s=utc_s,
        mean=tuple(float(v) for v in best.x[:size]),
        cov=tuple(tuple(float(v) for v in row) for row in widened),
        sheath_s=usable[-1].sheath_s,
        melts=tuple(trace.melt for trace in usable),
        points=points,
        residual_c=math.sqrt(total / points),
        note="",
    )
    return Fitted(model, tuple(told), refused, float(best.cost))


def _thinned(trace: LearnTrace) -> tuple["np.ndarray[Any, Any]", "np.ndarray[Any, Any]"]:
    """Readings at the model's times, and what each weighs: less where it moves fast and where lumps may be seen."""
    times = np.arange(trace.times_s[0], trace.times_s[-1] + 1e-9, POINT_S)
    temps = np.interp(times, trace.times_s, trace.temps_c)
    sigma = np.full(len(times), FLOOR_C)
    alloy = trace.alloy
    sigma[temps < alloy.solidus_c] = SOLID_C  # between lumps a probe sees the pot
    mushy = (temps >= alloy.solidus_c) & (temps < alloy.liquidus_c)
    sigma[mushy] = np.hypot(FLOOR_C, 0.15 * (alloy.liquidus_c - alloy.solidus_c))
    for at, _ in trace.added:  # a cold lump in the bath is not one temperature
        sigma[(times >= at) & (times < at + LUMP_S)] = 80.0
    return temps, 1.0 / (sigma * math.sqrt(TOGETHER_S / POINT_S / 4.0))
