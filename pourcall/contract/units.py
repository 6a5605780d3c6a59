"""Temperatures as people type and read them. Storage and every calculation are in degC.

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
_TYPED = re.compile(r"\s*([+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?)\s*([°A-Za-z]*)\s*")


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
        raise BadTemperature(f"{text!r} is no unit of temperature", remedy="Use C, F or K")
    return unit


def parse_temperature_c(text: str, default_unit: Unit | None = None, *, where: str = "") -> float:
    """`930F`, `500 °C`, `773K`, or a bare figure in `default_unit`; in degC.

    Raises BadTemperature for what is no number, has no unit where none is agreed, lies below absolute zero, or
    lies above 2000 degC (a slip of the finger: no metal cast here is poured there and no probe reads it).
    """
    found = _TYPED.fullmatch(text)
    if found is None:
        raise BadTemperature(
            f"{text!r} is no temperature", where=where, remedy="Write a figure and a unit, such as 500C, 930F or 773K"
        )
    figure, spelled = found.groups()
    if spelled:
        unit = parse_unit(spelled)
    elif default_unit is not None:
        unit = default_unit
    else:
        raise BadTemperature(f"{text!r} has no unit", where=where, remedy=f"Write {figure}C, {figure}F or {figure}K")
    temp_c = to_c(float(figure), unit)
    if not math.isfinite(temp_c) or temp_c < ABSOLUTE_ZERO_C:
        raise BadTemperature(
            f"{text.strip()} is below absolute zero, {format_temperature(ABSOLUTE_ZERO_C, unit)}",
            where=where,
            remedy="Check the figure and the unit",
        )
    if temp_c > HIGHEST_MEANT_C:
        raise BadTemperature(
            f"{text.strip()} is above {format_temperature(HIGHEST_MEANT_C, unit)}, hotter than anything cast here",
            where=where,
            remedy="Check for a digit too many and for the unit",
        )
    return temp_c


UNIT_MARK = {Unit.C: "°C", Unit.F: "°F", Unit.K: "K"}
DASH = "--"  # where there is no number


def finite(value: float | None) -> TypeGuard[float]:
    """Whether there is a number at all."""
    return value is not None and math.isfinite(value)


def bare_temperature(temp_c: float | None, unit: Unit = Unit.C, decimals: int = 0) -> str:
    """`512`: without its unit, for a place that names the unit once for several figures."""
    if not finite(temp_c):
        return DASH
    return f"{rounded(from_c(temp_c, unit), decimals):.{decimals}f}"


def format_temperature(temp_c: float | None, unit: Unit = Unit.C, decimals: int = 0) -> str:
    """`512 °C`, `954 °F`, `785 K`; a dash where there is no number."""
    return f"{bare_temperature(temp_c, unit, decimals)} {UNIT_MARK[unit]}"


def format_difference(delta_c: float | None, unit: Unit = Unit.C, decimals: int = 1) -> str:
    """A difference of temperatures, with its unit; a dash where there is no number."""
    if not finite(delta_c):
        return f"{DASH} {UNIT_MARK[unit]}"
    return f"{rounded(difference_from_c(delta_c, unit), decimals):.{decimals}f} {UNIT_MARK[unit]}"


def format_rate(rate_c_per_min: float | None, unit: Unit = Unit.C, decimals: int = 1) -> str:
    """A rate with its unit, `6.2 °C/min`; a dash where there is no number."""
    return f"{format_difference(rate_c_per_min, unit, decimals)}/min"


def rounded(value: float, decimals: int = 0) -> float:
    """Half away from zero, as people round, and never -0: the one rounding of every figure that is shown."""
    scale = 10.0**decimals
    return math.copysign(math.floor(abs(value) * scale + 0.5 + 1e-9) / scale, value) + 0.0


_TOKEN = re.compile(r"<(-?\d+(?:\.\d+)?) degC( apart)?>")


def say_c(temp_c: float) -> str:
    """A temperature inside a text for people, to be shown in the reader's own unit by `in_unit`."""
    return f"<{temp_c:.1f} degC>"


def say_difference_c(delta_c: float) -> str:
    """A difference of temperatures inside a text for people."""
    return f"<{delta_c:.1f} degC apart>"


def in_unit(text: str, unit: Unit = Unit.C, decimals: int = 0) -> str:
    """The text with its temperatures written in `unit`. Texts are sent and stored with `<523.0 degC>` inside."""

    def written(found: re.Match[str]) -> str:
        value, apart = float(found.group(1)), found.group(2)
        return format_difference(value, unit, decimals) if apart else format_temperature(value, unit, decimals)

    return _TOKEN.sub(written, text)
