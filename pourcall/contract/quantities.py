"""Quantities as people type them: temperature, difference, mass, length, time, share. Text in, a figure out.

A decimal comma is one (`529,5C`). A comma that may as well part thousands (`1,050F`) is refused with what to type
instead: a temperature read a thousand times too low is no slip to be quiet about. Errors: BadInput, BadTemperature.
"""

import math
import re
from collections.abc import Mapping

from pourcall.contract.errors import BadInput, BadTemperature
from pourcall.contract.inputs import Instrument
from pourcall.contract.units import ABSOLUTE_ZERO_C, HIGHEST_MEANT_C, Unit, format_temperature, parse_unit, to_c

_FIGURE = r"[+-]?(?:\d[\d.,]*|[.,]\d+)(?:[eE][+-]?\d+)?"
_TYPED = re.compile(rf"\s*({_FIGURE})\s*([^\d\s.,+-]*)\s*")
_PLAIN = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?")
_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2}(?:(?:,\d{3})+(?:\.\d+)?|(?:\.\d{3})+,\d+)")
_DURATION = re.compile(r"(?:([\d.,]+)m(?:in)?)?(?:([\d.,]+)s?)?")
_LENGTH = re.compile(r"([^/]+)/(\d+)([a-z]*)")

MASSES = {"kg": 1.0, "g": 0.001, "lb": 0.45359237}  # in kg
LENGTHS = {"mm": 1.0, "cm": 10.0, "in": 25.4}  # in mm
MOST_KG = 100.0
_PANEL_WORDS = ("panel", "controller", "furnace", "chamber")


def figure(text: str, *, where: str = "") -> float:
    """A bare number, finite; a decimal comma is one. Raises BadInput."""
    typed = text.strip()
    if _THOUSANDS.fullmatch(typed):
        raise BadInput(
            f"{typed!r} may be read two ways: does its comma part thousands?", where=where, remedy=_two(typed)
        )
    plain = typed.replace(",", ".")
    value = float(plain) if _PLAIN.fullmatch(plain) else math.nan
    if not math.isfinite(value):
        raise BadInput(f"{typed!r} is no number", where=where, remedy="Write it in digits, such as 6 or 0.35")
    return value


def instrument_of(words: str) -> Instrument:
    """Which instrument a person's words mean, `furnace panel` or `handheld`."""
    typed = words.casefold()
    of_the_furnace = "hand" not in typed and any(word in typed for word in _PANEL_WORDS)
    return Instrument.PANEL if of_the_furnace else Instrument.METER


def _two(typed: str) -> str:
    """What to type for what looks like thousands."""
    if "." in typed:
        last = max(typed.rfind("."), typed.rfind(","))
        return f"Write {re.sub('[.,]', '', typed[:last])}.{typed[last + 1 :]}"
    whole = typed.replace(",", "")
    return f"Write {whole}, or {typed.replace(',', '.')} for the decimal" if typed.count(",") == 1 else f"Write {whole}"


def quantity(
    text: str, units: Mapping[str, float], what: str, such_as: str, *, bare: float | None = None, where: str = ""
) -> float:
    """A figure with one of `units`, times that unit's factor. bare: factor of a figure without one; None: refused."""
    found = _TYPED.fullmatch(text)
    unit = found[2].lower() if found is not None else ""
    if found is None or (unit and unit not in units):
        raise BadInput(f"{text.strip()!r} is no {what}", where=where, remedy=f"Write {such_as}")
    value = figure(found[1], where=where)
    if unit:
        return value * units[unit]
    if bare is None:
        typed = found[1]
        *most, last = (typed + unit for unit in units)
        remedy = f"Write {', '.join(most)} or {last}"
        raise BadInput(f"{typed!r} has no unit of {what}", where=where, remedy=remedy)
    return value * bare


def temperature_c(text: str, default_unit: Unit | None = None, *, where: str = "") -> float:
    """`1050F`, `565 °C`, `838K`, or a bare figure in `default_unit`; in degC.

    Raises BadTemperature for what is no number, has no unit where none is agreed, lies below absolute zero, or
    lies above 2000 degC (a slip of the finger: no metal cast here is poured there and no probe reads it).
    """
    found = _TYPED.fullmatch(text)
    if found is None:
        raise BadTemperature(
            f"{text!r} is no temperature", where=where, remedy="Write a figure and a unit, such as 565C, 1050F or 838K"
        )
    typed, spelled = found.groups()
    if spelled:
        unit = parse_unit(spelled)
    elif default_unit is not None:
        unit = default_unit
    else:
        raise BadTemperature(f"{text!r} has no unit", where=where, remedy=f"Write {typed}C, {typed}F or {typed}K")
    try:
        temp_c = to_c(figure(typed), unit)
    except BadInput as err:
        what = err.what if _THOUSANDS.fullmatch(typed) else f"{text.strip()} is no temperature"
        raise BadTemperature(what, where=where, remedy=err.remedy) from err
    if temp_c < ABSOLUTE_ZERO_C:
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


def difference_c(text: str, default_unit: Unit = Unit.C, *, where: str = "") -> float:
    """A difference of temperatures, a loss: `12`, `12C`, `22F`; in degC."""
    found = _TYPED.fullmatch(text)
    if found is None:
        raise BadInput(
            f"{text.strip()!r} is no number", where=where, remedy="Write it in digits, such as 12, 12C or 22F"
        )
    unit = parse_unit(found[2]) if found[2] else default_unit
    return figure(found[1], where=where) * (5.0 / 9.0 if unit is Unit.F else 1.0)


def kilograms(text: str, *, bare: bool = False, where: str = "") -> float:
    """`1.5kg`, `800g`, `3lb`; bare: a figure alone is kilograms, where the word before it says so (`kg=0.6`)."""
    value = quantity(text, MASSES, "mass", "1.5kg, 800g or 3lb", bare=1.0 if bare else None, where=where)
    if value < 0.0:
        raise BadInput(f"{text.strip()!r} is no mass", where=where, remedy="Write 1.5kg, 800g or 3lb")
    if not 0.0 < value <= MOST_KG:
        raise BadInput(f"{text.strip()!r} is outside 0 to 100 kg", where=where, remedy="Check the figure and the unit")
    return value


def millimetres(text: str, *, bare: bool = False, where: str = "") -> float:
    """`6mm`, `0.6cm`, `1/4in`, `0.25in`; bare: `6` is millimetres, too."""
    such_as = "6mm, 0.6cm or 1/4in"
    parted = _LENGTH.fullmatch(text.strip().lower().replace(" ", ""))
    over = int(parted[2]) if parted is not None else 1
    whole = text if parted is None else parted[1] + parted[3]
    factor = 1.0 if bare else None
    value = quantity(whole, LENGTHS, "length", such_as, bare=factor, where=where) if over else -1.0
    if value < 0.0:
        raise BadInput(f"{text.strip()!r} is no length", where=where, remedy=f"Write {such_as}")
    return value / over


def seconds(text: str, *, where: str = "") -> float:
    """`40s`, `2m`, `1m30s`, `90`: a length of time."""
    found = _DURATION.fullmatch(text.strip())
    if not text.strip() or found is None or not any(found.groups()):
        raise BadInput(f"{text.strip()!r} is no length of time", where=where, remedy="Write 40s, 2m or 1m30s")
    minutes, rest = (figure(part, where=where) if part else 0.0 for part in found.groups())
    return 60.0 * minutes + rest


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
            raise BadInput(f"{part!r} is not key=value", where=where, remedy="Write key=value,key=value")
        made.append((key, value))
    return made
