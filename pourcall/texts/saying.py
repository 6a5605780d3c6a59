"""From a message to a sentence in the reader's unit. What a fact is, its name says (contract/message.py).

`{aim_c}` in a template is that fact; `{aim_c:1}` with one decimal, `{low_c:lowest}` and `{high_c:highest}` as ends of a
window, rounded inwards; `{probe:cap}` with a capital, `{steps:. }` several messages joined by what stands behind the
colon; `{loss_difference_c:below metal_c}` as much lower than that other fact as the two temperatures differ as they are
shown; `{count:row|rows}` as the word for so many, without the figure.
"""

import math
import re
from collections.abc import Callable
from decimal import Decimal
from typing import NamedTuple

from pourcall.contract.message import OWN, SENTENCES, Fact, Message, Told
from pourcall.contract.units import (
    Unit,
    difference_from_c,
    format_below,
    format_difference,
    format_highest,
    format_lowest,
    format_mass,
    format_rate,
    format_temperature,
    in_unit,
    kept_as_typed,
    rounded,
)
from pourcall.texts.catalogue import current

PLACE = re.compile(r"\{(\w+)(?::([^}]*))?\}")
Writer = Callable[[float, int | None], str]


def say(told: Told, unit: Unit = Unit.C) -> str:
    """The sentence, temperatures in `unit`. A str (a sentence on record) has its temperatures turned too."""
    return in_unit(told, unit) if isinstance(told, str) else _filled(told, _spoken(unit))


def sentence(told: Told, unit: Unit = Unit.C) -> str:
    """The same, beginning with a capital."""
    text = say(told, unit)
    return text[:1].upper() + text[1:]


def written(told: Told) -> str:
    """The sentence for the record: temperatures as tokens, which `in_unit` shows in the unit of whoever reads it."""
    return told if isinstance(told, str) else _filled(told, _RECORD)


class Style(NamedTuple):
    """How facts are written: figures by their kind, a sentence on record, and what a person named or wrote."""

    figures: dict[str, Writer]
    below: Callable[[float, float], str]  # a difference, and the temperature it goes down from
    sentence: Callable[[str], str]
    given: Callable[[str], str]


def _spoken(unit: Unit) -> Style:
    figures: dict[str, Writer] = {
        "temperature": lambda value, decimals: format_temperature(value, unit, decimals or 0),
        "lowest": lambda value, _: format_lowest(value, unit),
        "highest": lambda value, _: format_highest(value, unit),
        "difference": lambda value, decimals: format_difference(value, unit, _tenths(value, unit, decimals)),
        "rate": lambda value, decimals: format_rate(value, unit, _tenths(value, unit, decimals)),
    }
    return Style(
        figures,
        below=lambda delta_c, above_c: format_below(delta_c, above_c, unit),
        sentence=lambda text: in_unit(text, unit),
        given=lambda text: text,
    )


_RECORD = Style(
    {
        "temperature": lambda value, _: f"<{value:.2f} degC>",
        "lowest": lambda value, _: f"<{value:.2f} degC or more>",
        "highest": lambda value, _: f"<{value:.2f} degC or less>",
        "difference": lambda value, _: f"<{value:.2f} degC apart>",
        "rate": lambda value, _: f"<{value:.2f} degC apart> a minute",
    },
    below=lambda delta_c, above_c: f"<{delta_c:.4f} degC below {above_c:.4f}>",
    sentence=lambda text: text,
    given=kept_as_typed,
)


def _tenths(delta_c: float, unit: Unit, decimals: int | None) -> int:
    """Differences that read ten and more are said in whole degrees, smaller ones in tenths."""
    return decimals if decimals is not None else 0 if abs(difference_from_c(delta_c, unit)) >= 9.95 else 1


def _filled(message: Message, style: Style) -> str:
    if not message:
        return ""
    if message.name == OWN:
        return style.given(str(message.facts.get("words", "")))
    template = current().template(message.name)
    if template is None:  # of a newer version: its facts are better than nothing
        told = ", ".join(f"{key} {_fact(key, value, '', style)}" for key, value in message.facts.items())
        return f"{message.name}: {told}" if told else message.name

    def placed(found: re.Match[str]) -> str:
        name, how = found[1], found[2] or ""
        value, above_c = message.facts.get(name), message.facts.get(how.removeprefix("below "))
        if isinstance(value, float) and isinstance(above_c, float) and math.isfinite(value) and math.isfinite(above_c):
            return style.below(value, above_c)
        return _fact(name, message.facts[name], how, style) if name in message.facts else found[0]

    return PLACE.sub(placed, template)


def _fact(name: str, value: Fact, how: str, style: Style) -> str:
    one, several, many = how.partition("|")
    if several:
        return one if str(value) == "1" else many
    if isinstance(value, Message):
        text = _filled(value, style)
        return text[:1].upper() + text[1:] if how == "cap" else text
    if isinstance(value, tuple):
        return (how or ", ").join(_filled(one, style) for one in value)
    if isinstance(value, str):
        as_told = style.sentence(value) if name in SENTENCES else style.given(value)
        text = current().template(f"word.{name}.{value}") or as_told
        return text[:1].upper() + text[1:] if how == "cap" else text
    if not math.isfinite(value):
        return "--"
    if how in ("lowest", "highest"):
        return style.figures[how](value, None)
    decimals = int(how) if how.isdecimal() else None
    for suffix, kind in _KINDS:
        if name.endswith(suffix):
            return kind(value, decimals) if callable(kind) else style.figures[kind](value, decimals)
    if decimals is not None:
        return f"{value:.{decimals}f}"
    return str(value) if isinstance(value, int) else f"{Decimal(f'{value:g}'):f}"  # never an exponent


def duration(seconds: float, decimals: int | None = None) -> str:
    """`40 s`, `3 min`, `1 h 05 min`."""
    if decimals is not None or seconds < 99.5:
        return f"{rounded(seconds, decimals or 0):.{decimals or 0}f} s"
    minutes = int(rounded(seconds / 60.0))
    return f"{minutes} min" if minutes < 100 else f"{minutes // 60} h {minutes % 60:02d} min"


def share(value: float, decimals: int | None = None) -> str:
    """`72 %`; never rounds a doubt away: `<1 %`, `>99 %`."""
    if 0.0 < value < 0.01:
        return "<1 %"
    if 0.99 < value < 1.0:
        return ">99 %"
    return f"{rounded(value * 100.0, decimals or 0):.{decimals or 0}f} %"


def _with(mark: str) -> Writer:
    return lambda value, decimals: f"{value:g} {mark}" if decimals is None else f"{value:.{decimals}f} {mark}"


def _minutes(value: float, decimals: int | None) -> str:
    if decimals is None:
        return f"{round(value, 0 if abs(value) >= 2.0 else 1):g} min"
    return f"{value:.{decimals}f} min"


def _mass(value: float, decimals: int | None) -> str:
    return format_mass(value) if decimals is None else f"{value:.{decimals}f} kg"


# By the end of a fact's name, the longer ending first.
_KINDS: tuple[tuple[str, str | Writer], ...] = (
    ("_c_per_min", "rate"),
    ("lowest_c", "lowest"),
    ("highest_c", "highest"),
    ("difference_c", "difference"),
    ("u_c", "difference"),
    ("_c", "temperature"),
    ("_share", share),
    ("_kg", _mass),
    ("_mm", _with("mm")),
    ("_uv", _with("µV")),
    ("_min", _minutes),
    ("_s", duration),
)
