"""The model of a mould setup. Inspected pours and an alloy sheet's window in, two thresholds and advice out.

Cold faults fall with temperature, hot faults rise; the sheet's window is the prior of both thresholds, lip temperatures
are uncertain. Not here: numerics (grid.py), pours of similar setups (borrow.py), where to pour next (next_pour.py), the
records (gather.py), sentences (words.py). All temperatures in degC at the mould lip.
"""

import math
from collections.abc import Sequence
from typing import Any, NamedTuple

import msgspec
import numpy as np

from pourcall.contract.units import rounded
from pourcall.trials import grid, words
from pourcall.trials.advice import Advice, Borrowed, CurvePoint, InPot, InspectedPour, NextKind, SetupData, Unlike
from pourcall.trials.borrow import APART, Lent, lent, log_evidence
from pourcall.trials.changes import Grid, Moving, forward, looked_back
from pourcall.trials.check import by_chance
from pourcall.trials.grid import Array, Evidence, Mask, Side, Trial
from pourcall.trials.next_pour import FAMILY, GOOD_ENOUGH, next_pour, pours_more
from pourcall.trials.worlds import Worlds, band, draw, gain_left

LEVEL = 0.80  # share of sound castings from which a temperature counts as usable
AIM_U_C = 4.0  # standard uncertainty of hitting an aimed lip temperature where no pour tells
NO_GOOD_BELOW = 0.5
SHOWN_C = 60.0  # the curve follows pours so far beyond floor and limits, no further
ENOUGH_TO_ACCUSE = 3  # pours before overlapping thresholds alone say that temperature is not the cause
DOUBTFUL = 1.25  # a window from memory or computed is taken for so much less certain
EDGE_SCALES = 2.0  # window's edge to threshold: 12 % of faults at the edge
CORRELATION = 0.3  # a window that sits too low at one end tends to at the other
TAILS = 5.0  # degrees of freedom of a Student t: a sheet is now and then quite wrong for a mould
SCALES = ((0.5, 0.2), (1.0, 0.6), (2.0, 0.2))  # factor on the scale, prior weight
# Faults that temperature does not explain; findings that are not what is there; prior weight.
BACKGROUNDS = (
    (0.015, 0.01, 0.36),
    (0.015, 0.12, 0.08),
    (0.10, 0.01, 0.32),
    (0.10, 0.12, 0.08),
    (0.22, 0.01, 0.09),
    (0.50, 0.01, 0.07),
)
TRUST = {1: 0.3, 2: 0.7, 3: 0.95}  # how likely a defect of this strength has the temperature to do with it
CHANCE_GRADE = (0.0, 0.5, 0.3, 0.2)
REACH = 4.5  # spreads that the grid covers
_FIRST, _SECOND = 15, 17  # thresholds on each side, first and second look
# A steady shop and a restless one (`Moving` says what the figures are).
MOVINGS = (Moving(0.0, 0.0, 0.1, 0.6), Moving(0.5, 0.3, 3.0, 0.4))
FIRST_LOOK = Moving(0.5, 0.2, 1.0, 1.0)
JUMP = 0.8  # scale of a change, in spreads of the prior
CHANGED, RECORDED = 0.10, 0.35  # chance of a change between two melts: nothing is on record, something is
# Of the model's own band, drawn where nine of ten truths lie in it, on simulated moulds of eight laws: most of these
# change less than the model fears.
SHOWN_MASS = 0.875
UNLIKE, UNLIKE_BY_CHANCE = 0.5, 0.10  # from this probability of a change, and below that chance, it is told
FAR_BELOW = 0.25  # share of sound castings that a best may lie below the true best
MOST_BACKGROUND = 0.2  # where more faults than that are not by temperature, scales no longer matter
MISREAD = (0.5, 0.25, 0.15, 0.10)  # what a finding that is not what is there says, by grade


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
        return Trial(pour.lip_c, pour.u_c, terms, (MISREAD[0], MISREAD[0]))
    return Trial(pour.lip_c, pour.u_c, terms, (MISREAD[found.cold], MISREAD[found.hot]))


def by_melt(pours: Sequence[InspectedPour]) -> list[list[InspectedPour]]:
    """Pours of each melt together, in the order they were poured; where no melt is told each stands alone."""
    melts: list[list[InspectedPour]] = []
    for pour in pours:
        if melts and pour.melt and melts[-1][0].melt == pour.melt:
            melts[-1].append(pour)
        else:
            melts.append([pour])
    return melts


def change_chances(data: SetupData, melts: Sequence[Sequence[InspectedPour]]) -> list[float]:
    """Prior chance of a change after each melt; the last: before the next one."""
    if data.unchanged or not melts:
        return [0.0] * len(melts)
    chances = [RECORDED if any(pour.mould_changed for pour in melt) else CHANGED for melt in melts[1:]]
    return [*chances, RECORDED if data.changed_since else 0.0]


class Posterior(NamedTuple):
    """What the pours leave of the model."""

    worlds: Worlds
    changed: Array  # share that the last change was after so many melts; [0]: none


def posterior(
    prior: Prior,
    melts: Sequence[Sequence[Trial]],
    others: Sequence[Lent] = (),
    chances: Sequence[float] | None = None,
) -> Posterior:
    """Two looks: a coarse grid over the prior finds where the thresholds lie or lay, a fine one is laid there.

    chances: prior chance of a change after each melt; None: none is thought of.
    """
    chances = [0.0] * len(melts) if chances is None else chances
    reach = np.linspace(-REACH, REACH, _FIRST)
    cold_c: Array = prior.cold_c + prior.spread_c * reach
    hot_c: Array = prior.hot_c + prior.spread_c * reach
    changed: Array = np.array([1.0])
    if melts or others:
        grid = _grid(prior, cold_c, hot_c, others)
        jump = grid.jump()
        found, tables = forward(grid, jump, melts, chances, FIRST_LOOK, prior.scale_c)
        changed, lay = looked_back(grid, jump, found, tables, chances)
        lies = found.joint.reshape(_FIRST, -1, _FIRST, found.joint.shape[1] // _FIRST).sum((1, 3)) + lay
        cold_c, hot_c = _closer(cold_c, lies.sum(1), prior), _closer(hot_c, lies.sum(0), prior)
    grid = _grid(prior, cold_c, hot_c, others)
    jump = grid.jump()
    movings = MOVINGS if melts else MOVINGS[:1]
    parts = [forward(grid, jump, melts, chances, moving, prior.scale_c)[0] for moving in movings]
    logs = np.array([math.log(one.moving.weight) + one.log_evidence for one in parts])
    shares = np.exp(logs - logs.max())
    shares /= shares.sum()
    drawn = [
        (one.joint, float(share), one.moving.shift_u_c(1, prior.scale_c))
        for one, share in zip(parts, shares, strict=True)
    ]
    steps_c = float(cold_c[1] - cold_c[0]), float(hot_c[1] - hot_c[0])
    return Posterior(draw(grid.cold, grid.hot, drawn, steps_c), changed)


def _grid(prior: Prior, cold_c: Array, hot_c: Array, others: Sequence[Lent]) -> Grid:
    log_start = _log_start(prior, cold_c, hot_c)
    for one in others:
        log_start = log_start + log_evidence(one, cold_c, hot_c)
    cold, hot = _side(-1.0, cold_c, prior), _side(1.0, hot_c, prior)
    return Grid(cold, hot, cold_c, hot_c, log_start, JUMP * prior.spread_c)


def _log_start(prior: Prior, cold_c: Array, hot_c: Array) -> Array:
    z_cold, z_hot = (cold_c - prior.cold_c) / prior.spread_c, (hot_c - prior.hot_c) / prior.spread_c
    narrow = 1.0 - CORRELATION**2
    squares = z_cold[:, None] ** 2 + z_hot[None, :] ** 2 - 2.0 * CORRELATION * np.multiply.outer(z_cold, z_hot)
    return np.asarray(-0.5 * (TAILS + 2.0) * np.log1p(squares / (narrow * TAILS)))


def _closer(axis_c: Array, weight: Array, prior: Prior) -> Array:
    """A finer grid over all of an axis that matters: a cell more on either side."""
    matters = np.flatnonzero(weight >= 1e-3 * weight.max())
    low_c = axis_c[max(0, matters[0] - 1)]
    high_c = axis_c[min(axis_c.size - 1, matters[-1] + 1)]
    return np.linspace(low_c, max(high_c, low_c + prior.scale_c), _SECOND)


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


def _side(sign: float, threshold_c: Array, prior: Prior) -> Side:
    """States of one side: thresholds, and for each the scales, backgrounds and misreadings it may have."""
    others = [
        (factor, background, misread, weight * share)
        for background, misread, share in BACKGROUNDS
        for factor, weight in (SCALES if background < MOST_BACKGROUND else ((1.0, 1.0),))
    ]
    factor, background, misread, weight = np.tile(np.array(others, np.float32).T, threshold_c.size)
    return Side(
        sign,
        np.repeat(threshold_c.astype(np.float32), len(others)),
        np.float32(prior.scale_c) * factor,
        background,
        misread,
        np.log(weight),
    )


def _unlike(prior: Prior, melts: Sequence[Sequence[InspectedPour]], changed: Array) -> Unlike | None:
    """The last change, if one is likelier than not and the pours after it would not come by chance."""
    inside = changed[1 : len(melts)]
    probability = float(inside.sum())
    if probability < UNLIKE:
        return None
    after = 1 + int(np.argmax(inside))
    before = posterior(prior, [[as_trial(pour) for pour in melt] for melt in melts[:after]])
    later = [pour for melt in melts[after:] for pour in melt]
    chance = by_chance(before.worlds, later)
    if chance > UNLIKE_BY_CHANCE:
        return None
    return Unlike(since=later[0].pour, pours=len(later), probability=probability, by_chance=chance)


class _Curve(NamedTuple):
    """Share of sound castings over temperature, with its 90 % band."""

    temps_c: Array
    mean: Array
    low: Array
    high: Array


class _Found(msgspec.Struct, frozen=True, kw_only=True):
    """What the fit says, by places on the curve; without a best nothing may be poured at all."""

    best: int | None = None
    surest: int | None = None
    telling: int | None = None
    aimed: Any = None
    usable: tuple[int, int] | None = None
    next_kind: NextKind = NextKind.NONE
    bounded_by: str
    gain: float = 0.0
    more: int | None = None
    hopeless: float = 0.0
    far_below: float = 0.0
    unlike: Unlike | None = None
    allowed_max_c: float


def advise(data: SetupData, *, level: float = LEVEL, accept: int = 0, points: int = 41, outlook: bool = True) -> Advice:
    """What temperature next. accept: worst grade that still counts as sound. outlook: count the pours still needed.

    points: temperatures the curve is worked out at. Deterministic: the same records give the same advice.
    """
    prior = prior_of(data)
    others = borrowed_evidence(prior, data.family, data.borrowed)
    melts = by_melt(data.pours)
    found = posterior(prior, [[as_trial(pour) for pour in melt] for melt in melts], others, change_chances(data, melts))
    worlds = found.worlds
    limit_c, whose = (data.bounds[0].limit_c, data.bounds[0].whose) if data.bounds else (math.inf, "")
    hottest_c = min(limit_c, prior.hot_c + 2.0 * prior.spread_c)
    poured = [min(max(pour.lip_c, data.floor_c - SHOWN_C), hottest_c + SHOWN_C) for pour in data.pours]
    low_c, high_c = min([data.floor_c, *poured]), max([hottest_c, *poured])
    ends_c = [data.floor_c, limit_c] if data.floor_c <= limit_c < math.inf else [data.floor_c]
    temps_c = np.union1d(np.linspace(low_c, max(high_c, low_c + 1.0), points), ends_c)
    free = worlds.free(temps_c, accept)
    sound = free[0] * free[1]
    low, high = band(sound, SHOWN_MASS)  # outwards to whole hundredths: finer is not known
    curve = _Curve(temps_c, worlds.weight @ sound, np.floor(100.0 * low) / 100.0, np.ceil(100.0 * high) / 100.0)
    allowed = (temps_c >= data.floor_c - 1e-6) & (temps_c <= limit_c + 1e-6)
    if not allowed.any():
        return _advice(data, level, accept, curve, _Found(bounded_by=whose, allowed_max_c=limit_c))
    aimed = _aimed(temps_c, curve.mean, data.pours)
    inside = np.flatnonzero(allowed)
    best = int(inside[np.argmax(aimed[inside])])
    reached = sound[:, inside].max(1)
    gain = gain_left(reached, worlds.weight, curve.mean[inside])
    choice = next_pour(data, worlds.weight, free, aimed, temps_c, allowed, gain)
    beyond = int(np.argmax(aimed)) > inside[-1]
    held = beyond or (best == inside[-1] and _rises_beyond(worlds, float(temps_c[best]), accept))
    more: int | None = None
    if outlook:
        more = 0 if gain < GOOD_ENOUGH else pours_more(worlds.weight, free, allowed, gain)
    return _advice(
        data,
        level,
        accept,
        curve,
        _Found(
            best=best,
            surest=choice.surest,
            telling=choice.telling,
            aimed=aimed,
            usable=_around(best, aimed, allowed, level),
            next_kind=choice.kind,
            bounded_by=whose if held else "",
            gain=gain,
            more=more,
            hopeless=float(worlds.weight[reached < NO_GOOD_BELOW].sum()),
            unlike=_unlike(prior, melts, found.changed),
            far_below=float(worlds.weight[reached - sound[:, choice.surest] > FAR_BELOW].sum()),
            allowed_max_c=float(temps_c[inside[-1]]),
        ),
    )


def _aimed(temps_c: Array, mean: Array, pours: Sequence[InspectedPour]) -> Array:
    """The curve as an aim sees it: smoothed by how well the shop hits a lip temperature."""
    spread_c = float(np.median([pour.u_c for pour in pours])) if pours else AIM_U_C
    at_nodes = np.interp(temps_c[:, None] + spread_c * grid.NODE[None, :], temps_c, mean)
    return np.asarray(at_nodes @ grid.NODE_WEIGHT)


def _rises_beyond(worlds: Worlds, temp_c: float, accept: int) -> bool:
    """Whether hotter than the limit would have been sounder by more than a hundredth."""
    cold, hot = worlds.free(temp_c + np.arange(0.0, 31.0, 5.0), accept)
    mean = worlds.weight @ (cold * hot)
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
    next_c = None if found.telling is None else whole(found.telling)
    customer_c = None if found.surest is None else whole(found.surest)
    hopeless_now = found.hopeless > 0.5 and len(data.pours) >= ENOUGH_TO_ACCUSE
    accused = next_c is not None and (bool(both) or hopeless_now)
    best, surest, usable = found.best, found.surest, found.usable
    pots: tuple[InPot, ...] = ()
    if next_c is not None and customer_c is not None:
        pots = tuple(
            InPot(
                order=place.order,
                moulds=place.moulds,
                mould=place.mould,
                loss_c=place.loss_c,
                customer_tap_c=math.floor(customer_c + place.loss_c),
                next_tap_c=math.floor(next_c + place.loss_c),
            )
            for place in data.places
        )
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
        best_sound=None if best is None else float(found.aimed[best]),
        best_low=None if best is None else float(curve.low[best]),
        best_high=None if best is None else float(curve.high[best]),
        customer_c=customer_c,
        customer_sound=None if surest is None else float(found.aimed[surest]),
        customer_low=None if surest is None else float(curve.low[surest]),
        customer_high=None if surest is None else float(curve.high[surest]),
        usable_min_c=None if usable is None else whole(usable[0]),
        usable_max_c=None if usable is None else whole(usable[1]),
        next_c=next_c,
        next_sound=None if found.telling is None else float(found.aimed[found.telling]),
        next_tap_c=pots[0].next_tap_c if pots else None,
        next_kind=NextKind.CHANGE if accused else found.next_kind,
        bounded_by=found.bounded_by,
        gain_left=found.gain,
        far_below_probability=found.far_below,
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
        pots=pots,
        unlike=found.unlike,
        changed=data.changed,
        invented=data.invented,
    )
    return msgspec.structs.replace(advice, words=words.sentences(data, advice))
