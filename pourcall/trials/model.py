"""The model of a mould setup. Inspected pours and an alloy sheet's window in, two thresholds and advice out.

Cold faults fall with temperature, hot faults rise; the sheet's window is the prior of both thresholds, lip temperatures
are uncertain. Not here: numerics (grid.py), pours of similar setups (borrow.py), where to pour next (next_pour.py), the
records (gather.py), sentences (words.py). All temperatures in degC at the mould lip.
"""

import math
from collections.abc import Sequence
from typing import NamedTuple

import msgspec
import numpy as np

from pourcall.contract.units import rounded
from pourcall.trials import grid, words
from pourcall.trials.advice import Advice, Borrowed, CurvePoint, InspectedPour, NextKind, SetupData
from pourcall.trials.borrow import APART, Lent, lent, log_evidence
from pourcall.trials.grid import Array, Evidence, Fit, Mask, Side, Trial
from pourcall.trials.next_pour import FAMILY, GOOD_ENOUGH, next_pour, pours_more

LEVEL = 0.80  # share of sound castings from which a temperature counts as usable
AIM_U_C = 4.0  # standard uncertainty of hitting an aimed lip temperature where no pour tells
NO_GOOD_BELOW = 0.5
SHOWN_C = 60.0  # the curve follows pours so far beyond floor and limits, no further
ENOUGH_TO_ACCUSE = 3  # pours before overlapping thresholds alone say that temperature is not the cause
DOUBTFUL = 1.25  # a window from memory or computed is taken for so much less certain
EDGE_SCALES = 2.0  # window's edge to threshold: 12 % of faults at the edge
CORRELATION = 0.3  # a window that sits too low at one end tends to at the other
TAILS = 5.0  # degrees of freedom of a Student t: a sheet is now and then quite wrong for a mould
SCALES = ((0.5, 0.25), (1.0, 0.50), (2.0, 0.25))  # factor on the scale, prior weight
BACKGROUNDS = ((0.01, 0.57), (0.10, 0.37), (0.45, 0.06))  # faults temperature does not explain, prior weight
TRUST = {1: 0.3, 2: 0.7, 3: 0.95}  # how likely a defect of this strength has the temperature to do with it
CHANCE_GRADE = (0.0, 0.5, 0.3, 0.2)
REACH = 4.5  # spreads that the grid covers
_FIRST, _SECOND = 19, 21  # thresholds on each side, first and second look


class Prior(NamedTuple):
    """Priors of the thresholds where half the castings have a cold, a hot fault."""

    cold_c: float
    hot_c: float
    spread_c: float
    scale_c: float


def prior_of(data: SetupData) -> Prior:
    """The sheet's window as a prior."""
    scale_c, spread_c, _ = FAMILY.get(data.family, FAMILY["zinc"])
    if data.doubtful:
        spread_c *= DOUBTFUL
    edge_c = EDGE_SCALES * scale_c
    return Prior(data.window_min_c - edge_c, data.window_max_c + edge_c, spread_c, scale_c)


def evidence(grade: int, strength: int) -> Evidence:
    """How well each grade explains what was found; a defect that has little to do with temperature says little."""
    if grade == 0:
        return (1.0, 0.0, 0.0, 0.0)
    trust = TRUST[strength]
    rest = (1.0 - trust) * CHANCE_GRADE[grade]
    one, two, three = (rest + (trust if grade == k else 0.0) for k in (1, 2, 3))
    return (rest, one, two, three)


def as_trial(pour: InspectedPour) -> Trial:
    """A pour as the numerics take it. A defect that tells no side is a cold or a hot one, evenly."""
    found = pour.found
    cold, hot = evidence(found.cold, found.cold_strength), evidence(found.hot, found.hot_strength)
    terms: tuple[tuple[Evidence, Evidence], ...] = ((cold, hot),)
    if found.unsided and not found.cold and not found.hot:
        some, none = evidence(found.unsided, 2), evidence(0, 0)
        terms = ((some, none), (none, some))
    return Trial(pour.lip_c, pour.u_c, terms)


def posterior(prior: Prior, trials: Sequence[Trial], others: Sequence[Lent] = ()) -> Fit:
    """Two looks: a coarse grid over the prior finds where the thresholds lie, a fine one is laid there."""
    if trials or others:
        reach = np.linspace(-REACH, REACH, _FIRST)
        found = _fit(prior, prior.cold_c + prior.spread_c * reach, prior.hot_c + prior.spread_c * reach, trials, others)
        cold_c = _closer(prior, prior.cold_c, found.cold.threshold, found.joint.sum(1))
        hot_c = _closer(prior, prior.hot_c, found.hot.threshold, found.joint.sum(0))
    else:
        reach = np.linspace(-REACH, REACH, _SECOND)
        cold_c, hot_c = prior.cold_c + prior.spread_c * reach, prior.hot_c + prior.spread_c * reach
    return _fit(prior, cold_c, hot_c, trials, others).pruned()


def borrowed_evidence(prior: Prior, family: str, pours: Sequence[InspectedPour]) -> tuple[Lent, ...]:
    """Pours of similar setups, each setup by itself, as what they say of its thresholds."""
    reach = np.linspace(-REACH, REACH, _FIRST)
    cold = _side(-1.0, prior.cold_c + prior.spread_c * reach, prior)
    hot = _side(1.0, prior.hot_c + prior.spread_c * reach, prior)
    return tuple(
        lent(
            cold,
            hot,
            [as_trial(pour) for pour in group],
            thresholds=_FIRST,
            apart_c=_apart_c(family, group[0].apart),
        )
        for group in by_setup(pours).values()
    )


def by_setup(pours: Sequence[InspectedPour]) -> dict[str, list[InspectedPour]]:
    """Pours of several setups apart."""
    per: dict[str, list[InspectedPour]] = {}
    for pour in pours:
        per.setdefault(pour.setup, []).append(pour)
    return per


def _apart_c(family: str, apart: float) -> float:
    """Scale by which thresholds of a similar setup differ from this one's; apart: see `InspectedPour`."""
    return APART * FAMILY.get(family, FAMILY["zinc"])[1] * apart


def _closer(prior: Prior, centre_c: float, threshold: Array, weight: Array) -> Array:
    mean = float(threshold @ weight)
    spread = max(math.sqrt(float((threshold - mean) ** 2 @ weight)), 0.4 * prior.scale_c)
    furthest = REACH * prior.spread_c
    low, high = max(mean - 3.4 * spread, centre_c - furthest), min(mean + 3.4 * spread, centre_c + furthest)
    return np.linspace(low, max(high, low + prior.scale_c), _SECOND)


def _fit(prior: Prior, cold_c: Array, hot_c: Array, trials: Sequence[Trial], others: Sequence[Lent]) -> Fit:
    cold, hot = _side(-1.0, cold_c, prior), _side(1.0, hot_c, prior)
    z_cold, z_hot = (cold.threshold - prior.cold_c) / prior.spread_c, (hot.threshold - prior.hot_c) / prior.spread_c
    narrow = 1.0 - CORRELATION**2
    squares = z_cold[:, None] ** 2 + z_hot[None, :] ** 2 - 2.0 * CORRELATION * np.multiply.outer(z_cold, z_hot)
    log_t = -0.5 * (TAILS + 2.0) * np.log1p(squares / (narrow * TAILS))
    if others:
        more = sum(log_evidence(one, cold_c, hot_c) for one in others)
        states = len(SCALES) * len(BACKGROUNDS)
        log_t = log_t + np.repeat(np.repeat(more, states, axis=0), states, axis=1)
    return grid.fit(cold, hot, log_t, trials)


def _side(sign: float, threshold_c: Array, prior: Prior) -> Side:
    shape = (threshold_c.size, len(SCALES), len(BACKGROUNDS))
    factor, factor_w = (np.array(column) for column in zip(*SCALES, strict=True))
    chance, chance_w = (np.array(column) for column in zip(*BACKGROUNDS, strict=True))

    def spread_out(values: Array, axis: int) -> Array:
        view = values.reshape([-1 if n == axis else 1 for n in range(3)])
        return np.ascontiguousarray(np.broadcast_to(view, shape)).ravel()

    return Side(
        sign,
        spread_out(threshold_c, 0),
        spread_out(prior.scale_c * factor, 1),
        spread_out(chance, 2),
        spread_out(np.log(factor_w), 1) + spread_out(np.log(chance_w), 2),
    )


class _Curve(NamedTuple):
    """Share of sound castings over temperature, with its 90 % band."""

    temps_c: Array
    mean: Array
    low: Array
    high: Array


class _Found(msgspec.Struct, frozen=True, kw_only=True):
    """What the fit says, by places on the curve; without a best nothing may be poured at all."""

    best: int | None = None
    best_sound: float | None = None
    usable: tuple[int, int] | None = None
    choice: int | None = None
    next_kind: NextKind = NextKind.NONE
    bounded_by: str
    gain: float = 0.0
    more: int | None = None
    hopeless: float = 0.0
    allowed_max_c: float


def advise(data: SetupData, *, level: float = LEVEL, accept: int = 0, points: int = 41, outlook: bool = True) -> Advice:
    """What temperature next. accept: worst grade that still counts as sound. outlook: count the pours still needed.

    points: temperatures the curve is worked out at. Deterministic: the same records give the same advice.
    """
    prior = prior_of(data)
    others = borrowed_evidence(prior, data.family, data.borrowed)
    fit = posterior(prior, [as_trial(pour) for pour in data.pours], others)
    limit_c, whose = (data.bounds[0].limit_c, data.bounds[0].whose) if data.bounds else (math.inf, "")
    hottest_c = min(limit_c, prior.hot_c + 2.0 * prior.spread_c)
    poured = [min(max(pour.lip_c, data.floor_c - SHOWN_C), hottest_c + SHOWN_C) for pour in data.pours]
    low_c, high_c = min([data.floor_c, *poured]), max([hottest_c, *poured])
    ends_c = [data.floor_c, limit_c] if data.floor_c <= limit_c < math.inf else [data.floor_c]
    temps_c = np.union1d(np.linspace(low_c, max(high_c, low_c + 1.0), points), ends_c)
    free = fit.fault_free(temps_c, accept)
    curve = _Curve(temps_c, grid.mean_sound(free, fit.joint), *grid.band(free, fit.joint))
    allowed = (temps_c >= data.floor_c - 1e-6) & (temps_c <= limit_c + 1e-6)
    if not allowed.any():
        return _advice(data, level, accept, curve, _Found(bounded_by=whose, allowed_max_c=limit_c))
    aimed = _aimed(temps_c, curve.mean, data.pours)
    inside = np.flatnonzero(allowed)
    best = int(inside[np.argmax(aimed[inside])])
    reached = grid.best_within((free[0][:, inside], free[1][:, inside]))
    gain = grid.gain_left(reached, fit.joint, curve.mean[inside])
    choice, kind = next_pour(data, fit, free, aimed, temps_c, allowed, gain)
    beyond = int(np.argmax(aimed)) > inside[-1]
    held = beyond or (best == inside[-1] and _rises_beyond(fit, float(temps_c[best]), accept))
    more: int | None = None
    if outlook:
        more = 0 if gain < GOOD_ENOUGH else pours_more(fit, free, curve.mean, allowed, reached, gain)
    found = _Found(
        best=best,
        best_sound=float(aimed[best]),
        usable=_around(best, aimed, allowed, level),
        choice=choice,
        next_kind=kind,
        bounded_by=whose if held else "",
        gain=gain,
        more=more,
        hopeless=float(fit.joint[reached < NO_GOOD_BELOW].sum()),
        allowed_max_c=float(temps_c[inside[-1]]),
    )
    return _advice(data, level, accept, curve, found)


def _aimed(temps_c: Array, mean: Array, pours: Sequence[InspectedPour]) -> Array:
    """The curve as an aim sees it: smoothed by how well the shop hits a lip temperature."""
    spread_c = float(np.median([pour.u_c for pour in pours])) if pours else AIM_U_C
    at_nodes = np.interp(temps_c[:, None] + spread_c * grid.NODE[None, :], temps_c, mean)
    return np.asarray(at_nodes @ grid.NODE_WEIGHT)


def _rises_beyond(found: Fit, temp_c: float, accept: int) -> bool:
    """Whether hotter than the limit would have been sounder by more than a hundredth."""
    temps_c = temp_c + np.arange(0.0, 31.0, 5.0)
    mean = grid.mean_sound(found.fault_free(temps_c, accept), found.joint)
    return bool(mean.max() > mean[0] + 0.01)


def _around(best: int, aimed: Array, allowed: Mask, level: float) -> tuple[int, int] | None:
    """First and last temperature around the best that are usable."""
    if aimed[best] < level:
        return None
    first = last = best
    while first > 0 and allowed[first - 1] and aimed[first - 1] >= level:
        first -= 1
    while last < aimed.size - 1 and allowed[last + 1] and aimed[last + 1] >= level:
        last += 1
    return first, last


def _whole(temp_c: float, floor_c: float, top_c: float) -> int:
    """Rounded, but never out of its limits by it, in any unit: a degree off them where they lie far enough apart."""
    off_c = 1.0 if top_c - floor_c >= 4.0 else 0.0
    low_c, high_c = math.ceil(floor_c + off_c - 1e-6), math.floor(top_c - off_c + 1e-6)
    return max(low_c, min(high_c, int(rounded(temp_c)))) if low_c <= high_c else int(rounded(temp_c))


def _advice(data: SetupData, level: float, accept: int, curve: _Curve, found: _Found) -> Advice:
    def whole(at: int) -> int:
        return _whole(float(curve.temps_c[at]), data.floor_c, found.allowed_max_c)

    both = tuple(pour.pour for pour in data.pours if pour.found.both_at_once)
    next_c = None if found.choice is None else whole(found.choice)
    hopeless_now = found.hopeless > 0.5 and len(data.pours) >= ENOUGH_TO_ACCUSE
    accused = next_c is not None and (bool(both) or hopeless_now)
    best, usable = found.best, found.usable
    advice = Advice(
        setup=data.setup,
        alloy=data.alloy,
        pours=len(data.pours),
        borrowed=tuple(
            Borrowed(setup=setup, pours=len(group), apart_c=round(_apart_c(data.family, group[0].apart), 1))
            for setup, group in by_setup(data.borrowed).items()
        ),
        level=level,
        accept=accept,
        best_c=None if best is None else whole(best),
        best_sound=found.best_sound,
        best_low=None if best is None else float(curve.low[best]),
        best_high=None if best is None else float(curve.high[best]),
        usable_min_c=None if usable is None else whole(usable[0]),
        usable_max_c=None if usable is None else whole(usable[1]),
        next_c=next_c,
        next_tap_c=None if next_c is None or data.loss_c is None else math.floor(next_c + data.loss_c),
        next_kind=NextKind.CHANGE if accused else found.next_kind,
        bounded_by=found.bounded_by,
        gain_left=found.gain,
        pours_more=found.more,
        not_temperature=accused,
        no_good_probability=found.hopeless,
        both_at_once=both,
        allowed_min_c=data.floor_c,
        allowed_max_c=found.allowed_max_c,
        curve=tuple(
            CurvePoint(temp_c=round(t, 1), sound=round(m, 4), low=round(a, 4), high=round(b, 4))
            for t, m, a, b in zip(*(column.tolist() for column in curve), strict=True)
        ),
        findings=data.pours,
        changed=data.changed,
        invented=data.invented,
    )
    return msgspec.structs.replace(advice, words=words.sentences(data, advice))
