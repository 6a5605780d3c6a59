"""Quantities as people type them, from temperature to air pressure. Text in, a figure out.

A decimal comma is one (`529,5C`). A comma that may as well part thousands (`1,050F`) is refused with what to type
instead: a temperature read a thousand times too low is no slip to be quiet about. So is a figure without its unit,
wherever more than one unit could be meant. Errors: BadInput, BadTemperature.
"""

import math
import re
from collections.abc import Mapping

from pourcall.contract.errors import BadInput, BadTemperature
from pourcall.contract.inputs import Instrument
from pourcall.contract.message import Message, tell
from pourcall.contract.units import ABSOLUTE_ZERO_C, HIGHEST_MEANT_C, Unit, parse_unit, to_c

_FIGURE = r"[+-]?(?:\d[\d.,]*|[.,]\d+)(?:[eE][+-]?\d+)?"
_TYPED = re.compile(rf"\s*({_FIGURE})\s*((?:[^\d\s.,+-][^\s.,+-]*)?)\s*")
_PLAIN = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?")
_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2}(?:(?:,\d{3})+(?:\.\d+)?|(?:\.\d{3})+,\d+)")
_DURATION = re.compile(r"(?:([\d.,]+)m(?:in)?)?(?:([\d.,]+)s?)?")
_LENGTH = re.compile(r"([^/]+)/(\d+)([a-z]*)")

MASSES = {"kg": 1.0, "g": 0.001, "lb": 0.45359237}  # in kg
LENGTHS = {"mm": 1.0, "cm": 10.0, "in": 25.4}  # in mm
# What is asked for with a unit and nothing else: by its measure, the factors to the unit it is kept in.
MEASURES: dict[str, Mapping[str, float]] = {
    "power": {"w": 1.0, "kw": 1000.0},  # in W
    "volume": {"cm3": 1.0, "ml": 1.0, "l": 1000.0, "in3": 16.387064},  # of a casting, in cm3
    "room": {"m3": 1.0, "ft3": 0.028316846592},  # in m3
    "air_changes": {"/h": 1.0, "/min": 60.0},  # per hour
    "density": {"kg/m3": 1.0, "g/cm3": 1000.0, "lb/ft3": 16.018463},  # in kg/m3
    "price": {"/kwh": 1.0, "/mj": 3.6},  # per kWh, in the shop's own money
    "altitude": {"m": 1.0, "ft": 0.3048},  # in m
    "pressure": {"hpa": 1.0, "mbar": 1.0, "mb": 1.0, "kpa": 10.0, "mmhg": 1.333224, "inhg": 33.86389},  # in hPa
    "emf": {"uv": 1.0, "µv": 1.0, "mv": 1e3, "v": 1e6},  # in uV
    "age": {"d": 1.0, "w": 7.0, "mo": 30.4375, "y": 365.25},  # in days; `m` is minutes everywhere, and no month
}
MOST_KG = 100.0
_PANEL_WORDS = ("panel", "controller", "furnace", "chamber")


def figure(text: str, *, where: str = "") -> float:
    """A bare number, finite; a decimal comma is one. Raises BadInput."""
    typed = text.strip()
    if _THOUSANDS.fullmatch(typed):
        raise BadInput(tell("quantity.two_ways", typed=typed), where=where, remedy=_without_thousands(typed))
    plain = typed.replace(",", ".")
    value = float(plain) if _PLAIN.fullmatch(plain) else math.nan
    if not math.isfinite(value):
        raise _none(typed, "number", where)
    return value


def instrument_of(words: str) -> Instrument:
    """Which instrument a person's words mean, `furnace panel` or `handheld`."""
    typed = words.casefold()
    of_the_furnace = "hand" not in typed and any(word in typed for word in _PANEL_WORDS)
    return Instrument.PANEL if of_the_furnace else Instrument.METER


def _none(typed: str, measure: str, where: str) -> BadInput:
    """What was typed is no mass, no length, no number: with what such a thing looks like."""
    told = tell("quantity.none", typed=typed, measure=measure)
    return BadInput(told, where=where, remedy=tell(f"quantity.write.{measure}"))


def _no_unit(typed: str, measure: str, where: str) -> BadInput:
    """A bare figure that may be meant in more than one unit: with what to type."""
    remedy = tell(f"quantity.with_unit.{measure}", typed=typed)
    return BadInput(tell("quantity.no_unit", typed=typed, measure=measure), where=where, remedy=remedy)


def _without_thousands(typed: str) -> Message:
    """What to type for what looks like thousands."""
    if "." in typed:
        last = max(typed.rfind("."), typed.rfind(","))
        return tell("quantity.two_ways.write", plain=f"{re.sub('[.,]', '', typed[:last])}.{typed[last + 1 :]}")
    plain = typed.replace(",", "")
    if typed.count(",") > 1:
        return tell("quantity.two_ways.write", plain=plain)
    return tell("quantity.two_ways.write_either", plain=plain, decimal=typed.replace(",", "."))


def quantity(
    text: str, units: Mapping[str, float], measure: str, *, bare: float | None = None, where: str = ""
) -> float:
    """A figure with one of `units`, times that unit's factor. bare: factor of a figure without one; None: refused."""
    found = _TYPED.fullmatch(text)
    unit = found[2].lower() if found is not None else ""
    if found is None or (unit and unit not in units):
        raise _none(text.strip(), measure, where)
    value = figure(found[1], where=where)
    if unit:
        return value * units[unit]
    if bare is None:
        raise _no_unit(found[1], measure, where)
    return value * bare


def spelled_unit(text: str) -> str:
    """The unit that is spelled out behind a temperature, as typed; empty: none is, or none that is known."""
    found = _TYPED.fullmatch(text)
    spelled = "" if found is None else found.group(2) or ""
    try:
        return spelled if spelled and parse_unit(spelled) else ""
    except BadInput:
        return ""


def temperature_c(text: str, default_unit: Unit | None = None, *, where: str = "") -> float:
    """`1050F`, `565 °C`, `838K`, or a bare figure in `default_unit`; in degC.

    Raises BadTemperature for what is no number, has no unit where none is agreed, lies below absolute zero, or
    lies above 2000 degC (a slip of the finger: no metal cast here is poured there and no probe reads it).
    """
    found = _TYPED.fullmatch(text)
    if found is None:
        raise _no_temperature(text, where)
    typed, spelled = found.groups()
    if spelled:
        unit = parse_unit(spelled)
    elif default_unit is not None:
        unit = default_unit
    else:
        remedy = tell("quantity.with_unit.temperature", typed=typed)
        told = tell("quantity.no_unit", typed=typed, measure="temperature")
        raise BadTemperature(told, where=where, remedy=remedy)
    try:
        temp_c = to_c(figure(typed), unit)
    except BadInput as err:
        if _THOUSANDS.fullmatch(typed):
            raise BadTemperature(err.what, where=where, remedy=err.remedy) from err
        raise _no_temperature(text, where) from err
    if temp_c < ABSOLUTE_ZERO_C:
        told = tell("quantity.below_zero", typed=text.strip(), limit_c=ABSOLUTE_ZERO_C)
        raise BadTemperature(told, where=where, remedy=tell("error.figure.remedy"))
    if temp_c > HIGHEST_MEANT_C:
        told = tell("quantity.too_hot", typed=text.strip(), limit_c=HIGHEST_MEANT_C)
        raise BadTemperature(told, where=where, remedy=tell("quantity.too_hot.remedy"))
    return temp_c


def _no_temperature(text: str, where: str) -> BadTemperature:
    told = tell("quantity.none", typed=text.strip(), measure="temperature")
    return BadTemperature(told, where=where, remedy=tell("quantity.write.temperature"))


def difference_c(text: str, default_unit: Unit | None = None, *, where: str = "") -> float:
    """A difference of temperatures, a loss: `12C`, `22F`, or a bare figure in `default_unit`; in degC."""
    found = _TYPED.fullmatch(text)
    if found is None:
        raise _none(text.strip(), "difference", where)
    value = figure(found[1], where=where)
    unit = parse_unit(found[2]) if found[2] else default_unit
    if unit is None and value != 0.0:
        raise _no_unit(found[1], "difference", where)
    return value * (5.0 / 9.0 if unit is Unit.F else 1.0)


def kilograms(text: str, *, bare: bool = False, where: str = "") -> float:
    """`1.5kg`, `800g`, `3lb`; bare: a figure alone is kilograms, where the word before it says so (`kg=0.6`)."""
    value = quantity(text, MASSES, "mass", bare=1.0 if bare else None, where=where)
    if value < 0.0:
        raise _none(text.strip(), "mass", where)
    if not 0.0 < value <= MOST_KG:
        told = tell("quantity.mass_outside", typed=text.strip(), most_kg=MOST_KG)
        raise BadInput(told, where=where, remedy=tell("error.figure.remedy"))
    return value


def millimetres(text: str, *, bare: bool = False, where: str = "") -> float:
    """`6mm`, `0.6cm`, `1/4in`, `0.25in`; bare: `6` is millimetres, too."""
    parted = _LENGTH.fullmatch(text.strip().lower().replace(" ", ""))
    over = int(parted[2]) if parted is not None else 1
    whole = text if parted is None else parted[1] + parted[3]
    factor = 1.0 if bare else None
    value = quantity(whole, LENGTHS, "length", bare=factor, where=where) if over else -1.0
    if value < 0.0:
        raise _none(text.strip(), "length", where)
    return value / over


def seconds(text: str, *, where: str = "") -> float:
    """`40s`, `2m`, `1m30s`: a length of time. A bare `2` may be minutes as well, and is refused."""
    found = _DURATION.fullmatch(text.strip())
    if not text.strip() or found is None or not any(found.groups()):
        raise _none(text.strip(), "time", where)
    minutes, rest = (figure(part, where=where) if part else 0.0 for part in found.groups())
    if rest and not found[1] and not text.strip().endswith("s"):
        raise _no_unit(text.strip(), "time", where)
    return 60.0 * minutes + rest


def measured(text: str, measure: str, *, where: str = "") -> float:
    """`2kW`, `70cm3`, `966hPa`, `180d`: a figure with a unit of this measure, in the unit that measure is kept in."""
    return quantity(text, MEASURES[measure], measure, where=where)


def days(text: str, *, where: str = "") -> float:
    """An age or a time to come, above 0 and up to a hundred years: `180d`, `26w`, `6mo`, `1y`."""
    value = measured(text, "age", where=where)
    if not 0.0 < value <= 36_525.0:
        raise _none(text.strip(), "age", where)
    return value


def is_measure(text: str, measure: str) -> bool:
    """Whether what was typed carries a unit of this measure."""
    found = _TYPED.fullmatch(text)
    return found is not None and found[2].lower() in MEASURES[measure]


def share(text: str, *, where: str = "") -> float:
    """`80%`, `0.8`: a part of one."""
    typed = text.strip()
    if typed.endswith("%"):
        return figure(typed.removesuffix("%"), where=where) / 100.0
    return figure(typed, where=where)


def key_values(text: str, *, where: str = "") -> list[tuple[str, str]]:
    """`kg=0,6,mm=6` as pairs of text: what follows a comma and is digits alone belongs to the figure before it."""
    parts: list[str] = []
    for part in (part.strip() for part in text.split(",")):
        if parts and re.fullmatch(r"\d+\s*[a-zA-Z%]*", part) and re.fullmatch(r".*=\s*[+-]?\d+", parts[-1]):
            parts[-1] += f",{part}"
        else:
            parts.append(part)
    made = []
    for part in parts:
        key, equals, value = (piece.strip() for piece in part.partition("="))
        if not equals:
            raise BadInput(tell("quantity.no_key", typed=part), where=where, remedy=tell("quantity.no_key.remedy"))
        made.append((key, value))
    return made
