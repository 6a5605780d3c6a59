"""The air of the shop. A steady source of fume, one well-mixed volume, and what a person at the pot gets.

V dC/dt = G - Q C from clean air (AIHA, Mathematical Models for Estimating Occupational Exposure; memory of the
equation). No settling. A person bent over the pot breathes several times the room average: `near_field`, 3 to 10.
Units: g/min, m3, air changes an hour, minutes, mg/m3.
"""

import math
from collections.abc import Callable
from typing import Annotated, Literal

import msgspec
from msgspec import Meta

from pourcall.contract.errors import OutOfRange
from pourcall.contract.message import tell

SHORT_MIN = 15.0
SHIFT_MIN = 480.0


class Air(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The air of the shop: an ordinary small one with a door ajar unless told otherwise."""

    volume_m3: Annotated[float, Meta(gt=0.0, le=1e6)] = 50.0
    changes_per_h: Annotated[float, Meta(gt=0.0, le=1000.0)] = 2.0
    near_field: Annotated[float, Meta(ge=1.0, le=100.0)] = 3.0
    place: Literal["indoors", "extraction", "outdoors"] = (
        "indoors"  # for the words: volume and air are stated as they are
    )

    def __post_init__(self) -> None:
        if not (0.0 < self.volume_m3 <= 1e6 and 0.0 < self.changes_per_h <= 1000.0 and 1.0 <= self.near_field <= 100.0):
            told = tell(
                "fume.room_wrong",
                volume_m3=self.volume_m3,
                changes_per_h=self.changes_per_h,
                near_field=self.near_field,
            )
            raise OutOfRange(told, remedy=tell("fume.room_wrong.remedy"))

    @property
    def flow_m3_per_min(self) -> float:
        """Fresh air, m3/min."""
        return self.volume_m3 * self.changes_per_h / 60.0

    @property
    def turnover_per_min(self) -> float:
        """Air changes a minute."""
        return self.changes_per_h / 60.0


# A light breeze of 1 m/s through a square of some 3 m around a person (judgement, no source).
OUTDOORS = Air(volume_m3=500.0, changes_per_h=60.0, place="outdoors")
EXTRACTED_SHARE = 0.9


def under_extraction(air: Air) -> Air:
    """The same room with a hood over the pot: a tenth of the fume escapes it, taken for ten times the fresh air.

    Nine tenths caught is judgement (no source); within the first quarter of an hour this form overestimates.
    """
    fresh = min(1000.0, air.changes_per_h / (1.0 - EXTRACTED_SHARE))
    return msgspec.structs.replace(air, changes_per_h=fresh, place="extraction")


def concentration_mg_per_m3(source_g_per_min: float, air: Air, minutes: float) -> float:
    """Room average after `minutes` of a steady source in clean air."""
    _check(source_g_per_min, minutes)
    return steady_mg_per_m3(source_g_per_min, air) * -math.expm1(-air.turnover_per_min * minutes)


def steady_mg_per_m3(source_g_per_min: float, air: Air) -> float:
    """Room average after a very long time."""
    _check(source_g_per_min, 0.0)
    return 1000.0 * source_g_per_min / air.flow_m3_per_min


def dose_mg_min_per_m3(source_g_per_min: float, air: Air, minutes: float) -> float:
    """Integral of the room average over the first `minutes` of a steady source."""
    _check(source_g_per_min, minutes)
    k = air.turnover_per_min
    return steady_mg_per_m3(source_g_per_min, air) * (minutes + math.expm1(-k * minutes) / k)


def dose_after_burst_mg_min_per_m3(source_g_per_min: float, air: Air, on_min: float, until_min: float) -> float:
    """Integral from the start of a source that runs `on_min` and then stops, up to `until_min`."""
    if until_min <= on_min:
        return dose_mg_min_per_m3(source_g_per_min, air, until_min)
    peak = concentration_mg_per_m3(source_g_per_min, air, on_min)
    k = air.turnover_per_min
    tail = peak * -math.expm1(-k * (until_min - on_min)) / k
    return dose_mg_min_per_m3(source_g_per_min, air, on_min) + tail


def minutes_to_clear(start_mg_per_m3: float, air: Air, limit_mg_per_m3: float) -> float | None:
    """Minutes of airing, with nothing more given off, until the room average is at a limit; None: it is not above.

    C = C0 exp(-Q t / V): the formula of Table B.1 in the US guidelines on air in health-care rooms (CDC 2003).
    """
    _check(start_mg_per_m3, 0.0)
    if not limit_mg_per_m3 > 0.0:
        raise OutOfRange(tell("fume.limit_wrong", mg_per_m3=limit_mg_per_m3), remedy=tell("metal.above_0.remedy"))
    if start_mg_per_m3 <= limit_mg_per_m3:
        return None
    return math.log(start_mg_per_m3 / limit_mg_per_m3) / air.turnover_per_min


def worst_15_min_mg_per_m3(source_g_per_min: float, air: Air, minutes: float) -> float:
    """Highest 15-minute mean of the room within `minutes` of a steady source (its last 15; clean air before)."""
    total = dose_mg_min_per_m3(source_g_per_min, air, minutes)
    before = dose_mg_min_per_m3(source_g_per_min, air, max(0.0, minutes - SHORT_MIN))
    return (total - before) / SHORT_MIN


def minutes_to_short_term(source_g_per_min: float, air: Air, limit_mg_per_m3: float) -> float | None:
    """Minutes until the running 15-minute mean at the pot reaches a limit; None where it never does in a shift."""
    return _first_minute(
        lambda minutes: air.near_field * worst_15_min_mg_per_m3(source_g_per_min, air, minutes), limit_mg_per_m3
    )


def minutes_to_shift(source_g_per_min: float, air: Air, limit_mg_per_m3: float) -> float | None:
    """Minutes at the pot until the 8-hour mean reaches a limit, no other exposure that day; None: not in a shift."""
    return _first_minute(
        lambda minutes: air.near_field * dose_mg_min_per_m3(source_g_per_min, air, minutes) / SHIFT_MIN, limit_mg_per_m3
    )


def _first_minute(rising: Callable[[float], float], limit_mg_per_m3: float) -> float | None:
    if not limit_mg_per_m3 > 0.0:
        raise OutOfRange(tell("fume.limit_wrong", mg_per_m3=limit_mg_per_m3), remedy=tell("metal.above_0.remedy"))
    if rising(SHIFT_MIN) < limit_mg_per_m3:
        return None
    low, high = 0.0, SHIFT_MIN
    for _ in range(40):
        middle = 0.5 * (low + high)
        if rising(middle) < limit_mg_per_m3:
            low = middle
        else:
            high = middle
    return high


def _check(source_g_per_min: float, minutes: float) -> None:
    if not (source_g_per_min >= 0.0 and minutes >= 0.0):
        told = tell("fume.source_wrong", grams=source_g_per_min, for_min=minutes)
        raise OutOfRange(told, remedy=tell("error.figure.remedy"))
