"""The plateau in the trace of a sample cup or a bath. Times and nominal degrees in, a `Plateau` out, or a reason.

Method: the trace is smoothed; the stretch that stays longest within a narrow band near the known temperature is the
candidate (dwell time, which needs no derivative); it must hold far longer than the cooling before it would have taken
through the same band, and must not slope across it. Rules of thumb for an arrest: rate under 10-20 % of that before for
15 s or more, 3 noise sigmas, undercooling as plateau less the preceding minimum, small samples and probes frozen to the
wall rejected (a shop's recipe after the method of cooling-curve papers: Metals 16 (2026) 54; J. Achiev. Mater. Manuf.
Eng. 47 (2011) 115). Limits without a source are this program's own judgement and are named as constants.
"""

from collections.abc import Sequence
from math import ceil, sqrt
from statistics import fmean, stdev
from typing import Literal

import msgspec

from pourcall.contract.message import Message, tell
from pourcall.thermal_analysis.arrest_or_hold import (
    Heating,
    PowerFrom,
    Proof,
    Standstill,
    power_during,
    prove_arrest,
)
from pourcall.thermal_analysis.standstill import (
    SMOOTH,
    PoorPlateau,
    Stretch,
    Trace,
    binned,
    line,
    longest,
    longest_true,
)
from pourcall.thermometry.reference_points import CalPoint

Direction = Literal["freezing", "melting", "bath"]

ARREST_S, BATH_S = 15.0, 60.0  # least length of a flat stretch
BAND_C, BATH_BAND_C = 1.0, 0.5  # width of the band, or 8 sigmas of the smoothed trace
FLAT_SHARE = 0.2  # of the rate before
FASTEST_C_PER_S = 5.0  # faster cooling: the sample is too small for the probe
NOISIEST_C = 1.5  # scatter of single readings
STILL_SHARE = 0.1  # of the rate before: the plateau reaches as far as the trace moves no faster
MOST_TILT_SHARE = 0.05  # of the rate before; a steeper plateau is a freezing range
MOST_TILT_C = 3.0  # from its beginning to its end
BATH_TILT_C_PER_S = 0.3 / 60.0
LEAST_OF_EXPECTED = 0.2  # of latent heat / heat capacity / rate
LEAST_LATENT_K = 150.0  # latent heat over heat capacity where no figure is known: lead has the least, 157
MOST_GAP_S, MOST_MISSING = 10.0, 0.2
CORE = (0.1, 0.4)  # of the plateau: it may still recover before, and what freezes last is impure and near the wall
BATH_CORE = (0.3, 1.0)
AWAY_C = 2.0  # beyond the band: no longer the plateau
BEFORE_S = 30.0


class Plateau(msgspec.Struct, frozen=True, kw_only=True):
    """One arrest. Temperatures are nominal: by the reference function, uncorrected.

    standard_c: standard uncertainty of value_c by its scatter alone. scatter_c: one reading. tilt_c: from end to end.
    ended_s None: the trace stops on the plateau. undercooling_c: plateau less the minimum before it, 0 where none.
    proof: what shows that metal stood there and no panel held it; empty where nothing does.
    """

    value_c: float
    standard_c: float
    tilt_c: float
    scatter_c: float
    samples: int
    began_s: float
    ended_s: float | None
    flat_s: float
    undercooling_c: float
    rate_before_c_per_min: float | None
    direction: Direction
    proof: Proof = ""


def find_plateau(
    times_s: Sequence[float],
    temps_c: Sequence[float | None],
    point: CalPoint,
    *,
    near_c: float,
    direction: Literal["freezing", "melting", ""] = "",
    settle_s: float = 0.0,
    heating: Heating = "",
    power: Sequence[PowerFrom] = (),
) -> Plateau:
    """The plateau of `point` within +-near_c of its figure. direction "": freezing, or else melting.

    settle_s: what the probe needs to show a new temperature; so much of the plateau's beginning is left out.
    heating: what a person says of the power while it stood; else it is taken from `power`, if anything is known.

    Raises PoorPlateau with the reason: too_few, too_noisy, no_plateau, other_metal, too_short, too_steep, not_flat,
    too_fast, frozen_to_wall, readings_missing, no_approach, wrong_direction, not_recovered, hold.
    """
    trace = binned(times_s, temps_c)
    if trace.scatter_c > NOISIEST_C:
        raise PoorPlateau(
            "too_noisy",
            tell("calibration.noisy", scatter_difference_c=trace.scatter_c),
            tell("calibration.do.terminals"),
        )
    bath = point.kind == "bath"
    # an average over SMOOTH bins scatters by 1 / sqrt(SMOOTH); 8 of those sigmas hold nearly all of a long plateau
    band_c = max(BATH_BAND_C if bath else BAND_C, 8.0 * trace.noise_c / sqrt(SMOOTH))
    found = longest(trace.smooth, band_c, point.temp_c - near_c, point.temp_c + near_c)
    if found is None:
        _say_where_else(trace, band_c, point)
    assert found is not None
    flat_s = (found.last - found.first + 1) * trace.step_s
    least_s = BATH_S if bath else ARREST_S
    if bath:
        if flat_s < least_s:
            raise _too_short(flat_s, least_s, tell("calibration.do.stay_in_bath"))
        return _measured(trace, found, "bath", None, 0.0, ended=_falls_away(trace, found, band_c))
    return _arrest(trace, found, band_c, flat_s, point, direction, settle_s, heating, power)


def _arrest(
    trace: Trace,
    found: Stretch,
    band_c: float,
    flat_s: float,
    point: CalPoint,
    wanted: str,
    settle_s: float,
    heating: Heating,
    power: Sequence[PowerFrom],
) -> Plateau:
    middle_c = 0.5 * (found.low_c + found.high_c)
    way, rate, lowest_c, approach = _approach(trace, found, middle_c, band_c)
    _check_approach(way, rate, wanted, middle_c)
    if flat_s < ARREST_S:
        raise _too_short(flat_s, ARREST_S, tell("calibration.do.more_metal"))
    through_s = band_c / abs(rate)  # what the cooling before would have taken through the band
    if through_s > FLAT_SHARE * flat_s:
        share = min(1.0, through_s / flat_s)
        raise PoorPlateau(
            "too_steep",
            tell("calibration.steep", near_c=middle_c, slowed_share=share),
            tell("calibration.do.pure"),
        )
    missing = [value is None for value in trace.raw[found.first : found.last + 1]]
    if sum(missing) > MOST_MISSING * len(missing) or longest_true(missing) * trace.step_s > MOST_GAP_S:
        raise _readings_missing()
    ended = _falls_away(trace, found, band_c)
    found = _whole(trace, found, abs(rate))
    flat_s = (found.last - found.first + 1) * trace.step_s
    expected_k = point.latent_over_heat_k or LEAST_LATENT_K
    if ended and flat_s < LEAST_OF_EXPECTED * expected_k / abs(rate):
        raise PoorPlateau(
            "frozen_to_wall",
            tell("calibration.at_wall", flat_s=flat_s, metal=point.name, expected_s=expected_k / abs(rate)),
            tell("calibration.do.middle"),
        )
    under_c = max(0.0, middle_c - lowest_c) if way == "freezing" else max(0.0, lowest_c - middle_c)
    under_c = under_c if under_c > band_c else 0.0
    if way == "freezing" and under_c > 0.5 * expected_k:
        raise PoorPlateau(
            "not_recovered",
            tell("calibration.undercooled", under_difference_c=under_c),
            tell("calibration.do.seed"),
        )
    away_c = 0.5 * band_c + AWAY_C
    still = Standstill(trace, found, rate, approach, middle_c, away_c, point.latent_over_heat_k, settle_s)
    known = heating or power_during(power, trace.at(approach), trace.at(found.last))
    proof = prove_arrest(still, known)
    plateau = _measured(trace, found, way, rate, under_c, ended=ended, settle_s=settle_s)
    return msgspec.structs.replace(plateau, proof=proof)


def _check_approach(way: Direction, rate: float, wanted: str, middle_c: float) -> None:
    if wanted and way != wanted:
        raise PoorPlateau(
            "wrong_direction",
            tell("calibration.direction", direction=way, wanted=wanted),
            tell("calibration.do.direction"),
        )
    if abs(rate) > FASTEST_C_PER_S:
        raise PoorPlateau(
            "too_fast",
            tell("calibration.fast_approach", near_c=middle_c, rate_c_per_min=60.0 * abs(rate)),
            tell("calibration.do.slowly"),
        )


def _approach(trace: Trace, found: Stretch, middle_c: float, band_c: float) -> tuple[Direction, float, float, int]:
    """Which way it came, its rate before (degC/s), the extreme passed between approach and plateau, the approach's bin.

    A freezing metal comes from above, may undercool below the plateau and spring back; a melting one comes from below.
    Raises PoorPlateau no_approach.
    """
    smooth, away_c = trace.smooth, 0.5 * band_c + AWAY_C
    above = below = None
    low_c = high_c = middle_c
    for index in range(found.first - 1, -1, -1):
        value = smooth[index]
        if value is None:
            continue
        if above is None and value > middle_c + away_c:
            above = index
            break
        if below is None and value < middle_c - away_c:
            below = index
        low_c, high_c = min(low_c, value), max(high_c, value)
    if above is not None:
        rate = _rate(trace, above)
        if rate is not None and rate < 0.0:
            return "freezing", rate, low_c, above
    if below is not None:
        rate = _rate(trace, below)
        if rate is not None and rate > 0.0:
            return "melting", rate, high_c, below
    raise PoorPlateau(
        "no_approach",
        tell("calibration.no_approach", near_c=middle_c),
        tell("calibration.do.begin_before", hotter_difference_c=20.0),
    )


def _rate(trace: Trace, until: int) -> float | None:
    """Slope of the last BEFORE_S up to a bin, degC/s; from fewer where the trace begins later, None under three."""
    count = max(3, ceil(BEFORE_S / trace.step_s))
    points = [
        (trace.at(index), value)
        for index in range(max(0, until - count + 1), until + 1)
        if (value := trace.smooth[index]) is not None
    ]
    return line(points)[1] if len(points) >= 3 else None


def _whole(trace: Trace, found: Stretch, rate: float) -> Stretch:
    """The stretch grown both ways for as long as the trace moves at no more than STILL_SHARE of the rate before."""
    half = max(SMOOTH, ceil(5.0 / trace.step_s))
    # a line through 2 half + 1 points of noise has this slope by chance (one sigma)
    chance = trace.noise_c / (trace.step_s * sqrt(half * (half + 1) * (2 * half + 1) / 3.0))
    limit = max(STILL_SHARE * rate, 3.0 * chance)

    def still(index: int) -> bool:
        points = [
            (trace.at(at), value)
            for at in range(max(0, index - half), min(len(trace.raw), index + half + 1))
            if (value := trace.raw[at]) is not None
        ]
        return len(points) > half and abs(line(points)[1]) <= limit

    first, last = found.first, found.last
    while first > 0 and still(first - 1):
        first -= 1
    while last < len(trace.raw) - 1 and still(last + 1):
        last += 1
    return found._replace(first=first, last=last)


def _measured(
    trace: Trace,
    found: Stretch,
    direction: Direction,
    rate: float | None,
    under_c: float,
    *,
    ended: bool,
    settle_s: float = 0.0,
) -> Plateau:
    """Value and uncertainty from the core of the plateau. Raises PoorPlateau where it slopes."""
    length = found.last - found.first + 1
    flat_s = length * trace.step_s
    low, high = BATH_CORE if rate is None else CORE
    late = min(0.5, settle_s / flat_s) if rate is not None else 0.0
    if settle_s > 0.5 * flat_s and rate is not None:
        raise _too_short(flat_s, 2.0 * settle_s, tell("calibration.do.slow_sheath"))
    low, high = max(low, late), max(high, late + 0.3)
    first = found.first + int(low * length)
    last = max(found.first + int(high * length), first + 8)
    points = _known(trace, first, min(last, found.last))
    whole = _known(trace, found.first + int(max(0.1, late) * length), found.last - int(0.1 * length))
    if len(points) < 4 or len(whole) < 4:
        raise _readings_missing()
    value_c = fmean(value for _, value in points)
    slope = line(whole)[1]
    tilt_c = abs(slope) * flat_s
    limit = BATH_TILT_C_PER_S if rate is None else MOST_TILT_SHARE * abs(rate)
    by_chance_c = 3.0 * trace.noise_c * sqrt(12.0 / len(whole))
    if tilt_c > by_chance_c and (abs(slope) > limit or (rate is not None and tilt_c > MOST_TILT_C)):
        raise PoorPlateau(
            "not_flat",
            tell("calibration.slopes", near_c=value_c, rate_c_per_min=60.0 * abs(slope)),
            tell("calibration.do.stir_bath") if rate is None else tell("calibration.do.purer"),
        )
    # blocks, because neighbouring readings of a slow probe are not independent; their spread holds slow wander as well
    blocks = 5 if len(points) >= 25 else 4
    size = len(points) / blocks
    means = [fmean(value for _, value in points[int(b * size) : int((b + 1) * size)]) for b in range(blocks)]
    scatter_c = max(stdev(means) / sqrt(blocks), trace.noise_c / sqrt(len(points)))
    return Plateau(
        value_c=value_c,
        standard_c=scatter_c,
        tilt_c=tilt_c,
        scatter_c=trace.scatter_c,
        samples=len(points),
        began_s=trace.at(found.first),
        ended_s=trace.at(found.last) if ended else None,
        flat_s=flat_s,
        undercooling_c=under_c,
        rate_before_c_per_min=None if rate is None else 60.0 * rate,
        direction=direction,
    )


def _known(trace: Trace, first: int, last: int) -> list[tuple[float, float]]:
    return [(trace.at(at), value) for at in range(first, last + 1) if (value := trace.raw[at]) is not None]


def _falls_away(trace: Trace, found: Stretch, band_c: float) -> bool:
    """Whether the trace leaves the plateau for good before it stops."""
    middle_c = 0.5 * (found.low_c + found.high_c)
    rest = [value for value in trace.smooth[found.last + 1 :] if value is not None]
    return any(abs(value - middle_c) > 0.5 * band_c + AWAY_C for value in rest)


def _say_where_else(trace: Trace, band_c: float, point: CalPoint) -> None:
    """Raises PoorPlateau: nothing stands near the point; where anything stands, it is named."""
    known = [value for value in trace.smooth if value is not None]
    low_c, high_c = min(known), max(known)
    elsewhere = longest(trace.smooth, band_c, low_c - 1.0, high_c + 1.0)
    if not low_c <= point.temp_c <= high_c and point.kind == "arrest":
        raise PoorPlateau(
            "no_plateau",
            tell("calibration.never_passes", low_c=low_c, high_c=high_c, point_c=point.temp_c),
            tell("calibration.do.record_cup", metal=point.name),
        )
    if elsewhere is not None and (elsewhere.last - elsewhere.first + 1) * trace.step_s >= ARREST_S:
        middle_c = 0.5 * (elsewhere.low_c + elsewhere.high_c)
        raise PoorPlateau(
            "other_metal",
            tell("calibration.elsewhere", stands_c=middle_c, point_c=point.temp_c, metal=point.name),
            tell("calibration.do.check_sample"),
        )
    raise PoorPlateau(
        "no_plateau", tell("calibration.nothing_near", point_c=point.temp_c), tell("calibration.do.cool_through")
    )


def _too_short(flat_s: float, least_s: float, to_do: Message) -> PoorPlateau:
    return PoorPlateau("too_short", tell("calibration.short", flat_s=flat_s, least_s=least_s), to_do)


def _readings_missing() -> PoorPlateau:
    return PoorPlateau("readings_missing", tell("calibration.gaps"), tell("calibration.do.look_at_board"))
