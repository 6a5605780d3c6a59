"""Temperatures in the units people use; what they type is read by quantities.py. Stored and calculated: degC.

A temperature (`930F`) and a difference of temperatures (`25F` = 13.9 degC) convert differently; both are here.
Source of the scales: SI Brochure, 9th edition, section 2.3.1 (t/degC = T/K - 273.15); 1 degF = 5/9 K, 32 degF = 0 degC.
"""

import math
import re
from enum import StrEnum
from typing import TypeGuard

from pourcall.contract.errors import BadTemperature

ABSOLUTE_ZERO_C = -273.15
HIGHEST_MEANT_C = 2000.0  # above every thermocouple here and every metal we cast; `11000C` is a slip of the finger


class Unit(StrEnum):
    """Units of temperature a person may type or be shown."""

    C = "degC"
    F = "degF"
    K = "K"


_SPELLINGS = {
    "c": Unit.C,
    "degc": Unit.C,
    "°c": Unit.C,
    "celsius": Unit.C,
    "f": Unit.F,
    "degf": Unit.F,
    "°f": Unit.F,
    "fahrenheit": Unit.F,
    "k": Unit.K,
    "kelvin": Unit.K,
}


def to_c(value: float, unit: Unit) -> float:
    """A temperature in `unit`, in degC."""
    if unit is Unit.F:
        return (value - 32.0) * 5.0 / 9.0
    if unit is Unit.K:
        return value + ABSOLUTE_ZERO_C
    return value


def from_c(temp_c: float, unit: Unit) -> float:
    """A temperature in degC, in `unit`."""
    if unit is Unit.F:
        return temp_c * 9.0 / 5.0 + 32.0
    if unit is Unit.K:
        return temp_c - ABSOLUTE_ZERO_C
    return temp_c


def difference_from_c(delta_c: float, unit: Unit) -> float:
    """A difference of temperatures (a rate, an uncertainty) in degC, in `unit`."""
    return delta_c * 9.0 / 5.0 if unit is Unit.F else delta_c


def parse_unit(text: str) -> Unit:
    """`C`, `degF`, `°C`, `kelvin` ... Raises BadTemperature."""
    unit = _SPELLINGS.get(text.strip().lower())
    if unit is None:
        from pourcall.contract.message import tell  # only here: `pourcall --help` loads nothing for it

        raise BadTemperature(tell("quantity.no_scale", typed=text), remedy=tell("quantity.no_scale.remedy"))
    return unit


UNIT_MARK = {Unit.C: "°C", Unit.F: "°F", Unit.K: "K"}
DASH = "--"  # where there is no number


def finite(value: float | None) -> TypeGuard[float]:
    """Whether there is a number at all."""
    return value is not None and math.isfinite(value)


def as_kept(value: float) -> float:
    """A temperature or a difference in degC as the record's sentences keep it: to the hundredth.

    Every figure that is shown is rounded from there: what is said live and what is read back a year later are the same.
    """
    return float(f"{value:.2f}")


def bare_temperature(temp_c: float | None, unit: Unit = Unit.C, decimals: int = 0) -> str:
    """`512`: without its unit, for a place that names the unit once for several figures."""
    if not finite(temp_c):
        return DASH
    return f"{rounded(from_c(as_kept(temp_c), unit), decimals):.{decimals}f}"


def format_temperature(temp_c: float | None, unit: Unit = Unit.C, decimals: int = 0) -> str:
    """`512 °C`, `954 °F`, `785 K`; a dash where there is no number."""
    return f"{bare_temperature(temp_c, unit, decimals)} {UNIT_MARK[unit]}"


def format_lowest(temp_c: float | None, unit: Unit = Unit.C) -> str:
    """A lowest temperature, of a window, rounded inwards: up. What is shown as allowed is allowed."""
    return f"{bare_lowest(temp_c, unit)} {UNIT_MARK[unit]}"


def format_highest(temp_c: float | None, unit: Unit = Unit.C) -> str:
    """A highest temperature, of a window or a limit, rounded inwards: down."""
    return f"{bare_highest(temp_c, unit)} {UNIT_MARK[unit]}"


def bare_lowest(temp_c: float | None, unit: Unit = Unit.C) -> str:
    """The same without its unit."""
    return f"{math.ceil(from_c(as_kept(temp_c), unit) - SAME + 1e-6)}" if finite(temp_c) else DASH


def bare_highest(temp_c: float | None, unit: Unit = Unit.C) -> str:
    """The same without its unit."""
    return f"{math.floor(from_c(as_kept(temp_c), unit) + SAME - 1e-6)}" if finite(temp_c) else DASH


def window_ends(low_c: float, high_c: float, unit: Unit = Unit.C) -> tuple[str, str]:
    """Both ends of a window without their unit, rounded inwards: the one way a window is ever printed.

    Where no whole degree lies inside, both are the degree nearest to its middle: never a higher before a lower.
    """
    low, high = bare_lowest(low_c, unit), bare_highest(high_c, unit)
    if finite(low_c) and finite(high_c) and low_c <= high_c and int(low) > int(high):
        middle = bare_temperature(0.5 * (low_c + high_c), unit)
        return middle, middle
    return low, high


def format_window(low_c: float, high_c: float, unit: Unit = Unit.C, to: str = " to ") -> str:
    """`548 °C to 579 °C`; a window with no whole degree inside is one figure."""
    low, high = window_ends(low_c, high_c, unit)
    mark = UNIT_MARK[unit]
    return f"{low} {mark}" if low == high else f"{low} {mark}{to}{high} {mark}"


SAME = 0.02  # of a degree: 1093.33 degC is the 2000 degF of a handbook, not 1999


def format_difference(delta_c: float | None, unit: Unit = Unit.C, decimals: int = 1, *, signed: bool = False) -> str:
    """A difference of temperatures, with its unit (signed: and its sign always); a dash where there is no number."""
    if not finite(delta_c):
        return f"{DASH} {UNIT_MARK[unit]}"
    sign = "+" if signed else ""
    return f"{rounded(difference_from_c(as_kept(delta_c), unit), decimals):{sign}.{decimals}f} {UNIT_MARK[unit]}"


def format_below(delta_c: float | None, from_above_c: float, unit: Unit = Unit.C, decimals: int = 0) -> str:
    """How much lower than `from_above_c`, as both are shown: what a person subtracts beside a furnace comes out."""
    if not (finite(delta_c) and finite(from_above_c)):
        return format_difference(delta_c, unit)
    ends_c = as_kept(from_above_c), as_kept(from_above_c - delta_c)
    above, below = (rounded(from_c(temp_c, unit), decimals) for temp_c in ends_c)
    return f"{above - below:.{decimals}f} {UNIT_MARK[unit]}"


def format_mass(mass_kg: float) -> str:
    """`1.361 kg`: to the gram, as shop scales weigh, whatever unit it was typed in; a trace below that in full."""
    shown = rounded(mass_kg, 3) if abs(mass_kg) >= 0.01 else mass_kg
    return f"{shown:g} kg"


def format_rate(rate_c_per_min: float | None, unit: Unit = Unit.C, decimals: int = 1) -> str:
    """A rate with its unit, `6.2 °C/min`; a dash where there is no number."""
    return f"{format_difference(rate_c_per_min, unit, decimals)}/min"


def rounded(value: float, decimals: int = 0) -> float:
    """Half away from zero, as people round, and never -0: the one rounding of every figure that is shown."""
    scale = 10.0**decimals
    return math.copysign(math.floor(abs(value) * scale + 0.5 + 1e-9) / scale, value) + 0.0


_NUMBER = r"-?\d+(?:\.\d+)?"
_TOKEN = re.compile(rf"<(<?)({_NUMBER}) degC( apart| or more| or less| below ({_NUMBER}))?>")


def kept_as_typed(text: str) -> str:
    """A person's own words within a text for the record: what looks like a token there is none for `in_unit`."""
    return _TOKEN.sub(lambda found: f"<{found[0]}", text)


def in_unit(text: str, unit: Unit = Unit.C, decimals: int = 0) -> str:
    """The text with its temperatures written in `unit`. Texts are sent and stored with `<523.0 degC>` inside."""

    def written(found: re.Match[str]) -> str:
        if found[1]:
            return found[0][1:]  # a person wrote it so
        value, kind = float(found[2]), found[3]
        if found[4]:
            return format_below(value, float(found[4]), unit, decimals)
        if kind == " apart":
            return format_difference(value, unit, decimals)
        if kind == " or more":
            return format_lowest(value, unit)
        if kind == " or less":
            return format_highest(value, unit)
        return format_temperature(value, unit, decimals)

    return _TOKEN.sub(written, text)
