"""Is a plateau metal that freezes or melts, or a temperature that a panel or a hand held? Signs in a trace, no guess.

What an arrest must do: it begins with a knee, for the rate before is the loss of heat, which does not ease as the
figure comes near; it lasts no longer than its latent heat pays for that loss; it leaves the way it was going; it
wanders one way only, while a regulator swings. Undercooling that springs back within seconds, and cooling with the
power known to be off, prove it. A hold without any of its signs is left open (`proof` empty): the person is asked.
Time rule: heat balance of a lumped cup, m L = Q D and Q = (m c + C) r, so that D r <= L / c (any heat transfer text).
The numbers are this program's own judgement, tried on panels and cups of other laws (tests/calibration).
"""

from collections.abc import Sequence
from itertools import pairwise
from math import sqrt
from statistics import fmean, median, stdev
from typing import Literal, NamedTuple

from pourcall.contract.message import Message, tell
from pourcall.thermal_analysis.standstill import SMOOTH, PoorPlateau, Stretch, Trace, line

Heating = Literal["off", "on", "panel", ""]
Proof = Literal["undercooling", "power", ""]

MOST_OF_EXPECTED = 1.5  # of latent heat / heat capacity / rate: the loss falls where a lid is put on meanwhile
MOST_LATENT_K = 450.0  # where no figure is known: copper has the most of cups, 422
LEGS = 3  # swings up and down; metal recovers once and sinks once
SWING_SIGMAS, LEAST_SWING_C = 8.0, 0.12
SPIKE_C = 1.0  # beside its neighbours: a reading gone wrong
WINDOWS_S = (5.0, 15.0, 45.0)
EASED = 0.5  # of the rate further out
QUICK_S, SLOW_S = 15.0, 45.0
LEAST_DIP_C, SLOW_DIP_C = 0.8, 1.0
SPRINGS = 2.0  # times the rate before: a furnace switched on again is slower


class Standstill(NamedTuple):
    """A plateau as found. rate: degC/s before it. approach: bin where the trace was last clearly away before it.

    middle_c: of the plateau; away_c: how far from it counts as away; latent_k: latent heat over heat capacity.
    settle_s: what the probe needs to show a new temperature, five time constants.
    """

    trace: Trace
    stretch: Stretch
    rate: float
    approach: int
    middle_c: float
    away_c: float
    latent_k: float | None
    settle_s: float = 0.0

    @property
    def freezing(self) -> bool:
        """Whether it came from above."""
        return self.rate < 0.0


class PowerFrom(NamedTuple):
    """From this time on the power was on, or off."""

    at_s: float
    on: bool


def power_during(power: Sequence[PowerFrom], from_s: float, until_s: float) -> Heating:
    """off or on where it is known to have been so all the while; on too where it was switched on meanwhile."""
    before = [mark.on for mark in power if mark.at_s <= from_s]
    since = [mark.on for mark in power if from_s < mark.at_s <= until_s]
    if any(since):
        return "on"
    if not before or (before[-1] and since):
        return ""
    return "on" if before[-1] else "off"


def prove_arrest(still: Standstill, heating: Heating = "") -> Proof:
    """What proves that metal stood there. Raises PoorPlateau hold with the sign that nothing but a hold shows."""
    sign = _told(still, heating) or _shape(still)
    if sign is not None:
        raise PoorPlateau("hold", sign, tell("calibration.do.unheated"))
    if heating == "off" and still.freezing:
        return "power"
    dip = _dip(still)
    quick = dip is not None and dip.quick(still)
    return "undercooling" if quick else ""


def _told(still: Standstill, heating: Heating) -> Message | None:
    if heating == "panel":
        return tell("calibration.hold.regulated", near_c=still.middle_c)
    if heating == "on" and still.freezing:
        return tell("calibration.hold.power_on", near_c=still.middle_c)
    return None


def _shape(still: Standstill) -> Message | None:
    at_c = still.middle_c
    if _leaves_back(still):
        return tell("calibration.hold.rises_again" if still.freezing else "calibration.hold.falls_back", near_c=at_c)
    flat_s = (still.stretch.last - still.stretch.first + 1) * still.trace.step_s
    most_s = MOST_OF_EXPECTED * (still.latent_k or MOST_LATENT_K) / abs(still.rate)
    if flat_s > most_s:
        return tell("calibration.hold.too_long", near_c=at_c, flat_s=flat_s, most_s=most_s)
    swing = swings(_inside(still), still.trace.step_s)
    if swing is not None:
        return tell("calibration.hold.swings", near_c=at_c, swing_difference_c=swing)
    if _eases(still):
        return tell("calibration.hold.eases", near_c=at_c)
    dip = _dip(still)
    if dip is not None and dip.depth_c > SLOW_DIP_C and dip.recovery_s > SLOW_S + 2.0 * still.settle_s:
        return tell("calibration.hold.recovers_slowly", near_c=at_c, recovery_s=dip.recovery_s)
    return None


def _leaves_back(still: Standstill) -> bool:
    """Whether the trace, when it leaves, goes back where it came from: no metal does that half frozen."""
    away = 0
    for value in still.trace.smooth[still.stretch.last + 1 :]:
        if value is None:
            continue
        off_c = value - still.middle_c
        side = 0 if abs(off_c) <= still.away_c else 1 if (off_c > 0.0) == still.freezing else -1
        away = away + side if side * away > 0 else side
        if abs(away) > 2 * SMOOTH:  # a spike is no leaving
            return away > 0
    return away > SMOOTH


def _inside(still: Standstill) -> list[float]:
    """The readings of the plateau, without what the probe needs to arrive and without its end."""
    first, last = still.stretch.first, still.stretch.last
    length = last - first + 1
    skip = max(int(0.05 * length), min(length // 3, round(still.settle_s / still.trace.step_s)))
    values = [value for value in still.trace.raw[first + skip : last - int(0.1 * length) + 1] if value is not None]
    least_c = max(SPIKE_C, 6.0 * still.trace.noise_c)
    return [one for at, one in enumerate(values) if abs(one - median(values[max(0, at - 2) : at + 3])) < least_c]


def swings(values: Sequence[float], step_s: float) -> float | None:
    """Size of what swings to and fro beyond noise; None where it recovers and sinks at the most."""
    if len(values) < 20:
        return None
    noise = stdev(b - a for a, b in pairwise(values)) / sqrt(2.0)
    for window_s in WINDOWS_S:
        window = max(1, round(window_s / step_s))
        if len(values) < 4 * window:
            break
        means = [fmean(values[at : at + window]) for at in range(0, len(values) - window + 1, max(1, window // 3))]
        least = max(LEAST_SWING_C, SWING_SIGMAS * noise / sqrt(window), 1.5 * _step(values))
        legs = _legs(means, least)
        if len(legs) >= LEGS:
            return median(legs)
    return None


def _step(values: Sequence[float]) -> float:
    """Resolution of a chip, where the readings show it by falling on few levels; else 0."""
    levels = sorted(set(values))
    return min((b - a for a, b in pairwise(levels)), default=0.0) if len(levels) < len(values) / 4.0 else 0.0


def _legs(values: Sequence[float], least: float) -> list[float]:
    """Heights of the ups and downs of at least `least`, in order, each from turning point to turning point."""
    turns = [values[0]]
    extreme, way = values[0], 0
    low = high = values[0]
    for value in values[1:]:
        if way == 0:
            low, high = min(low, value), max(high, value)
            if high - low >= least:
                way = 1 if value == high else -1
                turns, extreme = [low if way > 0 else high], value
        elif (value - extreme) * way > 0.0:
            extreme = value
        elif (extreme - value) * way >= least:
            turns.append(extreme)
            extreme, way = value, -way
    turns.append(extreme)
    return [abs(b - a) for a, b in pairwise(turns)] if way else []


def _eases(still: Standstill) -> bool:
    """Whether the approach slows long before the plateau, as towards a set point; a cup's loss of heat does not."""
    lag_c = 0.3 * abs(still.rate) * still.settle_s  # 1.5 time constants
    near_c = still.away_c + lag_c
    near = _between(still, near_c, 2.0 * near_c)
    far = _between(still, 3.0 * near_c, 5.0 * near_c)
    if near is None or far is None or far.rate <= 0.0:
        return False
    return near.rate + 2.0 * near.standard < EASED * (far.rate - 2.0 * far.standard)


class _Rate(NamedTuple):
    rate: float  # towards the plateau, degC/s
    standard: float


def _between(still: Standstill, low_c: float, high_c: float) -> _Rate | None:
    """The rate at which the trace came through a distance from the plateau, the last time it did."""
    sign = 1.0 if still.freezing else -1.0
    points: list[tuple[float, float]] = []
    for index in range(still.approach, -1, -1):
        value = still.trace.smooth[index]
        if value is None:
            continue
        distance_c = sign * (value - still.middle_c)
        if distance_c > high_c:
            break
        if distance_c >= low_c:
            raw = still.trace.raw[index]
            if raw is not None:
                points.append((still.trace.at(index), sign * raw))
    if len(points) < 4:
        return None
    mean_s = fmean(at_s for at_s, _ in points)
    spread = sum((at_s - mean_s) ** 2 for at_s, _ in points)
    return _Rate(-line(points)[1], still.trace.noise_c / sqrt(spread))


class _Dip(NamedTuple):
    depth_c: float
    recovery_s: float

    def quick(self, still: Standstill) -> bool:
        """Whether it sprang back as undercooled metal does: within seconds, faster than heat left before."""
        rise = self.depth_c / max(self.recovery_s, still.trace.step_s)
        return self.recovery_s <= QUICK_S + still.settle_s and rise >= SPRINGS * abs(still.rate)


def _dip(still: Standstill) -> _Dip | None:
    """Where a freezing trace passed below its plateau and came back: how deep, and how long it took. None: nowhere."""
    if not still.freezing:
        return None
    smooth, stretch = still.trace.smooth, still.stretch
    length = stretch.last - stretch.first + 1
    core = [v for v in smooth[stretch.first + length // 4 : stretch.first + length // 2 + 1] if v is not None]
    early = [
        (value, index)
        for index in range(still.approach, stretch.first + length // 4)
        if (value := smooth[index]) is not None
    ]
    if not core or not early:
        return None
    level_c = median(core)
    lowest_c, at = min(early)
    depth_c = level_c - lowest_c
    if depth_c < max(LEAST_DIP_C, 3.0 * still.trace.noise_c):
        return None
    back = next(
        (
            index
            for index in range(at, len(smooth))
            if (value := smooth[index]) is not None and value >= level_c - 0.3 * depth_c
        ),
        at,
    )
    return _Dip(depth_c, (back - at) * still.trace.step_s)
