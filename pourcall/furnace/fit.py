"""Learning a furnace from its traces. Non-linear least squares with priors; in a worker, never in the daemon.

Residuals are reading less model over all traces, one point in ten seconds, every dip and typed figure, and the priors
as residuals of their own (maximum a posteriori); scale robust (soft l1), covariance from the Jacobian at the solution,
widened by what the residuals show: they err together over minutes, so that a hundred of them are worth a few. Uses
scipy and numpy. Errors: BadTrace, where a trace is too short or too flat to learn from, saying what is missing.
"""

import math
from collections.abc import Sequence
from itertools import product
from typing import Any

import msgspec
import numpy as np
from scipy.optimize import least_squares

from pourcall.contract.errors import BadTrace
from pourcall.contract.furnace_model import PARAMETERS, FurnaceModel
from pourcall.contract.message import tell
from pourcall.furnace.ensemble import HEAT_U
from pourcall.furnace.model import (
    CHAMBER_SIGMA_C,
    CHAMBER_WALL_SHARE,
    THROTTLE_C,
    Furnace,
    State,
    add_cold,
    advance,
    predict_reading,
)
from pourcall.furnace.molten import molten_from_s
from pourcall.furnace.training import LOW, Fitted, LearnTrace, why_not
from pourcall.metal.heat.curve import HeatCurve, curve_of

POINT_S = 10.0
STEP_S = 5.0
FLOOR_C = 4.0  # standard deviation of one residual, before what the model says it does not know
TOGETHER_S = 240.0  # residuals this near in time err together (ours, from their autocorrelation on simulated melts)
SOLID_C = 35.0
LUMP_SIGMA_C = 80.0
LUMP_S = 420.0  # half a kilogram in a kilogram of bath takes minutes to melt and mix (ours)
HOT_WALL_U_C = 150.0
# A controller's limit, little exchange or a heavy wall all flatten a trace: the sum of squares has a hollow for each.
# A limit that nothing reaches has no slope at all. Before anything is learned the limit is therefore held at each of
# some places while the rest is fitted for a few evaluations from the best of some starts, and let go at the end. In
# standard uncertainties of the prior.
LIMITS = (-1.5, -1.0, -0.5, 0.5)
TRIED = tuple(product((-1.2, 0.0), (-1.0, -0.2), (0.0, 1.0)))
TRIED_NAMES = ("exchange_m2", "wall_j_per_k", "power_w")
LIMIT = PARAMETERS.index("limit_c")
FOLLOWED_FOR, ENDED = 6, 2
DERIVATIVE = 1e-6  # relative step: the model is smooth in small steps (model.py), so no larger one is wanted
FARTHEST = 4.0  # from the prior, in its standard uncertainties: farther there is no furnace
SAME, HOPELESS = 1.02, 4.0  # times the least sum of squares: the same hollow; one that will not be the deepest
NO_LIMIT_C = 3000.0
SEEN_BY = 5.0  # a limit that is seen explains the traces better by more; lids and linings imitate one by less (ours)
LEAST_KNOWN = 0.1  # a limit better known than this (a burner has none) is not searched for


def simulate(
    trace: LearnTrace, furnace: Furnace, metal: HeatCurve, times_s: Sequence[float], *, wall_c: float, heat: float = 0.0
) -> list[tuple[State, float]]:
    """State and mass at these moments, in order, of a furnace that was treated as the trace says."""
    factor = math.exp(heat)
    mass = trace.charge_kg * factor
    pot_c = trace.room_c + 0.85 * (wall_c - trace.room_c)
    state = State(wall_c, pot_c, metal.enthalpy(trace.room_c))
    events = sorted([(at, 0, share) for at, share in trace.power] + [(at, 1, kg * factor) for at, kg in trace.added])
    share, next_event, now = 0.0, 0, 0.0
    made = []
    for at in times_s:
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
        made.append((state, mass))
    return made


def predict(
    trace: LearnTrace,
    logs: "Sequence[float] | np.ndarray[Any, Any]",
    *,
    wall_c: float,
    heat: float = 0.0,
    every_s: float = POINT_S,
) -> tuple["np.ndarray[Any, Any]", "np.ndarray[Any, Any]", "np.ndarray[Any, Any]"]:
    """(times, readings of the model, what it says it does not know) at `every_s` over the span of a trace."""
    furnace, metal = Furnace.of(list(logs)), curve_of(trace.alloy)
    times = np.arange(trace.times_s[0], trace.times_s[-1] + 1e-9, every_s)
    read = [
        predict_reading(furnace, metal, state, mass, trace.sheath_s)
        for state, mass in simulate(trace, furnace, metal, times.tolist(), wall_c=wall_c, heat=heat)
    ]
    return times, np.array([one for one, _ in read]), np.array([sigma for _, sigma in read])


def _to(
    furnace: Furnace, metal: HeatCurve, state: State, mass: float, share: float, room_c: float, seconds: float
) -> State:
    if seconds <= 0.0:
        return state
    share = furnace.low_share if share == LOW else share
    return advance(furnace, metal, state, mass, share, room_c, seconds, step_s=STEP_S)


def fit(
    prior: FurnaceModel,
    traces: Sequence[LearnTrace],
    *,
    utc_s: float = 0.0,
    version: int | None = None,
    evaluations: int = 40,
) -> Fitted:
    """Learn a furnace; the prior is `usual_model`. Raises BadTrace where nothing is usable, saying what is missing."""
    lacking = [(trace, why_not(trace)) for trace in traces]
    refused = tuple((trace.melt, why) for trace, why in lacking if why)
    usable = [trace for trace, why in lacking if not why]
    if not usable:
        melts = tuple(tell("furnace.not_used", melt=melt, why=why) for melt, why in refused)
        raise BadTrace(
            tell("furnace.nothing", furnace=prior.furnace, melts=melts or (tell("furnace.no_melt"),)),
            remedy=tell("furnace.nothing.remedy"),
        )
    size = len(PARAMETERS)
    mean, cov = np.array(prior.mean), np.array(prior.cov)
    problem = Problem(mean, cov, usable)
    residuals, count = problem.residuals, problem.count

    def solve(x: "np.ndarray[Any, Any]", most: int, free: "np.ndarray[Any, Any]") -> Any:
        def at(some: "np.ndarray[Any, Any]") -> "np.ndarray[Any, Any]":
            whole = x.copy()
            whole[free] = some
            return residuals(whole)

        found = least_squares(
            at, x[free], max_nfev=most, diff_step=DERIVATIVE, x_scale="jac", bounds=(low[free], high[free])
        )
        end = x.copy()
        end[free] = found.x
        return float(found.cost), end, found.jac

    reach = FARTHEST * np.concatenate([np.sqrt(np.diag(cov)) + 1e-3, np.ones(count - size)])
    start = np.concatenate([mean, np.zeros(count - size)])
    low, high = start - reach, start + reach
    everything = np.arange(count)
    starts, unlimited = [start], []
    held = np.delete(everything, LIMIT)
    searched = prior.spread("limit_c") > LEAST_KNOWN
    if prior.version == 0:
        by = np.sqrt(np.diag(cov))
        places = [PARAMETERS.index(name) for name in TRIED_NAMES]
        held = np.delete(everything, LIMIT)

        def followed(log_limit: float) -> Any:
            tried = [start.copy()]
            for shifts in TRIED:
                shifted = start.copy()
                shifted[places] += np.array(shifts) * by[places]
                tried.append(shifted)
            for x in tried:
                x[LIMIT] = log_limit
            return solve(min(tried, key=lambda x: float(np.sum(residuals(x) ** 2))), FOLLOWED_FOR, held)

        limits = [mean[LIMIT] + limit * by[LIMIT] for limit in LIMITS] if searched else [mean[LIMIT]]
        ends = sorted((followed(limit) for limit in limits), key=lambda one: one[0])
        least = ends[0][0]
        others = [end for cost, end, _ in ends[1:] if SAME * least < cost < HOPELESS * least]
        starts = [ends[0][1], *others[: ENDED - 1]]
        if searched:
            unlimited.append(followed(math.log(NO_LIMIT_C))[1])
    cost, best, jacobian = min((solve(x, evaluations, everything) for x in starts), key=lambda one: one[0])
    full = _covariance(jacobian, everything, count)
    if searched:
        # without any limit: where that explains all as well, none was seen, and the prior must not say there is one
        as_found = best.copy()
        as_found[LIMIT] = math.log(NO_LIMIT_C)
        free = min([as_found, *unlimited], key=lambda x: float(np.sum(residuals(x) ** 2)))
        free_cost, free, free_jacobian = solve(free, evaluations // 2, held)
        own = 0.5 * (mean[LIMIT] - np.array([free[LIMIT], best[LIMIT]])) ** 2 / cov[LIMIT, LIMIT]
        if free_cost - own[0] < cost - own[1] + SEEN_BY:
            hottest_c = problem.hottest_c(free)
            full = _covariance(free_jacobian, held, count)
            full[LIMIT, LIMIT] = cov[LIMIT, LIMIT]
            best = free
            best[LIMIT] = _above(mean[LIMIT], full, math.log(hottest_c + THROTTLE_C))
    full = full[:size, :size]
    told: list[tuple[str, float, int]] = []
    total, points = 0.0, 0
    for trace, gaps in zip(usable, problem.gaps_c(best), strict=True):
        told.append((trace.melt, math.sqrt(float(np.mean(gaps**2))), len(gaps)))
        total += float(np.sum(gaps**2))
        points += len(gaps)
    # never more certain than the prior; a furnace differs from itself by a few per cent from melt to melt
    widened = full + np.diag([0.02**2 / len(usable) + 0.01**2] * size)
    model = msgspec.structs.replace(
        prior,
        version=prior.version + 1 if version is None else version,
        learned_utc_s=utc_s,
        mean=tuple(float(v) for v in best[:size]),
        cov=tuple(tuple(float(v) for v in row) for row in widened),
        sheath_s=usable[-1].sheath_s,
        melts=tuple(trace.melt for trace in usable),
        points=points,
        residual_c=math.sqrt(total / points),
        note="",
    )
    return Fitted(model, tuple(told), refused, cost)


def _covariance(jacobian: "np.ndarray[Any, Any]", free: "np.ndarray[Any, Any]", count: int) -> "np.ndarray[Any, Any]":
    """Of all unknowns; nothing of those that were held."""
    made = np.zeros((count, count))
    made[np.ix_(free, free)] = np.linalg.inv(jacobian.T @ jacobian + 1e-9 * np.eye(len(free)))
    return made


class Problem:
    """What least squares is asked.

    Unknowns: logarithms of PARAMETERS; of each trace its heat; of each that began hot its wall; and, where there are
    dips, the error their probe has in all of them. Every one after the parameters in its own standard uncertainties.
    """

    def __init__(self, mean: "np.ndarray[Any, Any]", cov: "np.ndarray[Any, Any]", traces: Sequence[LearnTrace]) -> None:
        """mean, cov: the prior. traces: usable ones."""
        self.size, self.mean, self.traces = len(mean), mean, traces
        self.whiten = np.linalg.inv(np.linalg.cholesky(cov + 1e-10 * np.eye(self.size)))
        self.hot = [k for k, trace in enumerate(traces) if trace.hot]
        self.count = self.size + len(traces) + len(self.hot) + any(bool(trace.dips) for trace in traces)
        self.observations = [Observations(trace) for trace in traces]

    def residuals(self, x: "np.ndarray[Any, Any]") -> "np.ndarray[Any, Any]":
        """Of the prior and of all that was seen, in standard uncertainties."""
        parts = [self.whiten @ (x[: self.size] - self.mean)]
        for gap, seen in zip(self.gaps_c(x), self.observations, strict=True):
            scaled = gap * seen.weights
            parts.append(np.sign(scaled) * np.sqrt(2.0 * (np.sqrt(1.0 + scaled * scaled) - 1.0)))  # soft l1
        parts.append(x[self.size :])
        return np.concatenate(parts)

    def gaps_c(self, x: "np.ndarray[Any, Any]") -> "list[np.ndarray[Any, Any]]":
        """What was read less what the model says, of each trace."""
        furnace, made = Furnace.of(x[: self.size].tolist()), []
        for k, seen in enumerate(self.observations):
            states = self._simulate(x, furnace, k)
            metal = seen.metal
            said = [predict_reading(furnace, metal, *states[at], seen.trace.sheath_s)[0] for at in seen.at_readings]
            probe = x[-1] if seen.trace.dips else 0.0  # the error of the probe that dipped, in all its dips
            said += [metal.temp_c(states[at][0].h) + probe * own_c for at, own_c in seen.at_figures]
            said += [
                CHAMBER_WALL_SHARE * states[at][0].wall_c + (1.0 - CHAMBER_WALL_SHARE) * states[at][0].pot_c
                for at in seen.at_chamber
            ]
            made.append(seen.temps - np.array(said))
        return made

    def hottest_c(self, x: "np.ndarray[Any, Any]") -> float:
        """The hottest the wall was while the power was up."""
        furnace = Furnace.of(x[: self.size].tolist())
        return max(state.wall_c for k in range(len(self.observations)) for state, _ in self._simulate(x, furnace, k))

    def _simulate(self, x: "np.ndarray[Any, Any]", furnace: Furnace, k: int) -> list[tuple[State, float]]:
        trace, seen = self.traces[k], self.observations[k]
        wall_c = trace.room_c
        if trace.hot:
            wall_c = trace.hot_wall_c + HOT_WALL_U_C * x[self.size + len(self.traces) + self.hot.index(k)]
        heat = HEAT_U * x[self.size + k]
        return simulate(trace, furnace, seen.metal, seen.times, wall_c=wall_c, heat=heat)


class Observations:
    """What was seen in one trace: figures, what each weighs, and at which of `times` each belongs."""

    def __init__(self, trace: LearnTrace) -> None:
        """One in ten seconds of what a probe said; every dip and typed figure."""
        self.trace, self.metal = trace, curve_of(trace.alloy)
        none = np.array([])
        grid, temps, weights = _thinned(trace) if trace.times_s else (none, none, none)
        chamber: list[tuple[float, float]] = []
        for at, temp_c in trace.chamber:
            if not chamber or at - chamber[-1][0] >= POINT_S:
                chamber.append((at, temp_c))
        figures = [(at, c, 0.5 * u_c, 0.0) for at, c, u_c in trace.dips]
        figures += [(at, c, 0.0, 0.5 * u_c) for at, c, u_c in trace.typed]
        every = sorted({*grid.tolist(), *(one[0] for one in figures), *(at for at, _ in chamber)})
        place = {at: k for k, at in enumerate(every)}
        self.times: list[float] = every
        self.at_readings = [place[at] for at in grid.tolist()]
        self.at_figures = [(place[at], own_c) for at, _, own_c, _ in figures]
        self.at_chamber = [place[at] for at, _ in chamber]
        apart = math.sqrt(TOGETHER_S / POINT_S / 4.0)
        self.temps = np.concatenate([temps, [c for _, c, _, _ in figures], [c for _, c in chamber]])
        self.weights = np.concatenate(
            [
                weights,
                [1.0 / self._figure_sigma_c(at, c, u_c) for at, c, _, u_c in figures],
                [1.0 / (CHAMBER_SIGMA_C * apart)] * len(chamber),
            ]
        )

    def _figure_sigma_c(self, at: float, temp_c: float, u_c: float) -> float:
        """A dip is one moment: model and metal differ then by what they differ by. u_c: of this figure alone."""
        alloy, sigma_c = self.trace.alloy, math.hypot(FLOOR_C, u_c)
        if temp_c < alloy.liquidus_c:
            sigma_c = math.hypot(sigma_c, 0.15 * (alloy.liquidus_c - alloy.solidus_c) + 2.0)
        if any(added <= at < added + LUMP_S for added, _ in self.trace.added):
            sigma_c = math.hypot(sigma_c, LUMP_SIGMA_C)
        return sigma_c


def _above(log_limit: float, cov: "np.ndarray[Any, Any]", log_least: float) -> float:
    """The controller's limit lies above the hottest the wall has been: mean and, in `cov`, variance of what is left of
    the distribution above that (truncated normal: any statistics text).
    """
    sd = math.sqrt(cov[LIMIT, LIMIT])
    alpha = (log_least - log_limit) / sd
    if alpha < -3.0:
        return log_limit
    alpha = min(alpha, 2.0)
    left = 0.5 * math.erfc(alpha / math.sqrt(2.0))
    ratio = math.exp(-0.5 * alpha * alpha) / math.sqrt(2.0 * math.pi) / left
    shrink = math.sqrt(1.0 + alpha * ratio - ratio * ratio)
    cov[LIMIT, :] *= shrink
    cov[:, LIMIT] *= shrink
    return log_limit + sd * ratio


def _thinned(trace: LearnTrace) -> tuple["np.ndarray[Any, Any]", "np.ndarray[Any, Any]", "np.ndarray[Any, Any]"]:
    """The model's times, readings there, and what each weighs: less where it moves fast and where lumps may be seen."""
    times = np.arange(trace.times_s[0], trace.times_s[-1] + 1e-9, POINT_S)
    temps = np.interp(times, trace.times_s, trace.temps_c)
    sigma = np.full(len(times), FLOOR_C)
    alloy = trace.alloy
    sigma[temps < alloy.solidus_c] = SOLID_C  # between lumps a probe sees the pot
    mushy = (temps >= alloy.solidus_c) & (temps < alloy.liquidus_c)
    sigma[mushy] = np.hypot(FLOOR_C, 0.15 * (alloy.liquidus_c - alloy.solidus_c))
    molten_s = molten_from_s(
        curve_of(alloy), trace.sheath_s, trace.times_s, trace.temps_c, trace.power, trace.added, trace.charge_kg
    )
    if molten_s is not None:  # till then a tip between lumps reads the pot and the pool, however hot
        sigma[(times < molten_s) & (temps >= alloy.solidus_c)] = SOLID_C
    for at, _ in trace.added:  # a cold lump in the bath is not one temperature
        sigma[(times >= at) & (times < at + LUMP_S)] = LUMP_SIGMA_C
    return times, temps, 1.0 / (sigma * math.sqrt(TOGETHER_S / POINT_S / 4.0))
