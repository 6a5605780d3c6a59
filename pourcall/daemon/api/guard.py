"""What comes from outside is small, shallow, finite and printable before anything else looks at it.

Caps: 16 kB and depth 16 for a command (a bomb costs nothing), texts of at most 2,000 characters, no control characters
in them (they end up on terminals and in tables), figures within what can be meant.
"""

import math
import re
import unicodedata
from typing import TypeVar

import msgspec

from pourcall.contract import inputs as inp
from pourcall.contract.api import Asked, ChangeRequest, ResultRequest, StartRequest
from pourcall.contract.entries import Entry
from pourcall.contract.errors import BadInput
from pourcall.contract.message import tell
from pourcall.contract.plan import MeltPlan
from pourcall.contract.quantities import instrument_of
from pourcall.contract.units import ABSOLUTE_ZERO_C, HIGHEST_MEANT_C

BODY_BYTES = 16 * 1024
DEPTH = 16  # a plan that was served can be sent back, with the sentences in its sentences
TEXT_CHARACTERS = 2000
LONGEST_AGO_S = 24 * 3600.0
MOST_KG = 1000.0

_STRINGS = re.compile(rb'"(?:[^"\\]|\\.)*"')
_decoder: "msgspec.json.Decoder[Asked]" = msgspec.json.Decoder(Asked)
_result_decoder = msgspec.json.Decoder(ResultRequest)
_entry_decoder: "msgspec.json.Decoder[Entry]" = msgspec.json.Decoder(Entry)
Any_ = TypeVar("Any_")


def depth_of(body: bytes) -> int:
    """Deepest nesting of brackets in a JSON text, strings left out. Linear in the size of the body."""
    deepest = depth = 0
    for byte in _STRINGS.sub(b"", body):
        if byte in b"{[":
            depth += 1
            deepest = max(deepest, depth)
        elif byte in b"}]":
            depth -= 1
    return deepest


def printable(text: str, limit: int = TEXT_CHARACTERS) -> str:
    """`text` without control, format and surrogate characters (tab and newline become a space), cut to `limit`.

    Zero-width joiners and direction marks go too: a name must look like what it is.
    """
    spaced = text.replace("\n", " ").replace("\t", " ").replace("\r", " ")
    return "".join(mark for mark in spaced if unicodedata.category(mark) not in ("Cc", "Cf", "Cs"))[:limit]


def cleaned(value: Any_, where: str = "") -> Any_:
    """A message with every text in it made printable; raises BadInput for a figure that is not finite."""
    if isinstance(value, str) and type(value) is str:
        return printable(value)  # type: ignore[return-value]
    if isinstance(value, float) and not math.isfinite(value):
        raise BadInput(tell("api.not_finite", figure=str(value)), where=where, remedy=tell("api.not_finite.remedy"))
    if isinstance(value, dict):
        return {key: cleaned(each, where) for key, each in value.items()}  # type: ignore[return-value]
    if isinstance(value, tuple):
        return tuple(cleaned(each, where) for each in value)  # type: ignore[return-value]
    if isinstance(value, msgspec.Struct):
        changed = {
            name: new
            for name in value.__struct_fields__
            if (new := cleaned(old := getattr(value, name), name)) is not old
        }
        return msgspec.structs.replace(value, **changed) if changed else value
    return value


def read_command(body: bytes) -> Asked:
    """A command or request from a body. Raises BadInput saying what is wrong with it."""
    asked = _read(body, _decoder)
    _check_figures(asked)
    if isinstance(asked, inp.EnterTemperature) and asked.instrument is None:
        return msgspec.structs.replace(asked, instrument=instrument_of(asked.source))
    return asked


def read_result(body: bytes) -> ResultRequest:
    """A result of inspection from a body. Raises BadInput."""
    return _read(body, _result_decoder)


def read_entry(body: bytes) -> Entry:
    """A later entry from a body, its texts as they came: the record refuses what cannot be seen. Raises BadInput."""
    return _read(body, _entry_decoder, clean=False)


def _read(body: bytes, decoder: "msgspec.json.Decoder[Any_]", *, clean: bool = True) -> Any_:
    if len(body) > BODY_BYTES:
        raise BadInput(tell("api.too_large", count=BODY_BYTES), remedy=tell("api.too_large.remedy"))
    if depth_of(body) > DEPTH:
        raise BadInput(tell("api.too_deep", count=DEPTH), remedy=tell("api.see_description"))
    try:
        asked = decoder.decode(body)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as err:
        raise BadInput(tell("api.no_command", error=str(err)), remedy=tell("api.no_command.remedy")) from err
    return cleaned(asked, "command") if clean else asked


def _check_figures(asked: Asked) -> None:
    """Each figure that a command brings is one that can be meant."""
    if isinstance(asked, inp.Happened):
        _check_ago(asked.ago_s)
    match asked:
        case inp.MarkAddition():
            _check_amount("mass_kg", asked.mass_kg, MOST_KG)
        case inp.EnterTemperature():
            _check_temperature(asked.temp_c)
        case inp.EndMelt():
            _check_amount("heel_kg", asked.heel_kg, MOST_KG)
            for mass_kg in asked.ingots_kg:
                _check_amount("ingots_kg", mass_kg, MOST_KG)
        case inp.StartDip():
            _check_amount("depth_mm", asked.depth_mm, 2000.0)
        case inp.ShelveAlarm():
            _check_amount("minutes", asked.minutes, 1440.0)
        case inp.StartMelt() | inp.ChangeMelt():
            _check_plan(asked.plan)
            if isinstance(asked, inp.StartMelt) and asked.room_c is not None:
                _check_temperature(asked.room_c)
        case StartRequest():
            _check_amount("charge_kg", asked.charge_kg, MOST_KG)
            _check_amount("later_kg", asked.later_kg, MOST_KG)
        case ChangeRequest():
            _check_amount("charge_kg", asked.charge_kg, MOST_KG)
        case _:
            pass  # it brings none: tests/daemon hold every figure of every command against this


def _check_ago(ago_s: float) -> None:
    if not 0.0 <= ago_s <= LONGEST_AGO_S:
        raise BadInput(tell("api.ago", figure=ago_s), remedy=tell("api.ago.remedy"))


def _check_temperature(temp_c: float) -> None:
    if not ABSOLUTE_ZERO_C <= temp_c <= HIGHEST_MEANT_C:
        raise BadInput(tell("api.temperature", temp_c=temp_c), remedy=tell("error.figure.remedy"))


def _check_amount(name: str, figure: float | None, most: float) -> None:
    if figure is not None and not 0.0 <= figure <= most:
        raise BadInput(tell("api.outside", field=name, figure=figure, most=most), remedy=tell("api.outside.remedy"))


def _check_plan(plan: MeltPlan) -> None:
    """A ready plan from outside can be followed: no figure in it is beyond what can be meant."""
    if not plan.limits:
        raise BadInput(tell("api.no_limits"), remedy=tell("api.no_limits.remedy"))
    alloy = plan.alloy
    temperatures: list[tuple[str, float | None]] = [
        ("solidus_c", alloy.solidus_c),
        ("liquidus_c", alloy.liquidus_c),
        ("eutectic_c", alloy.eutectic_c),
        ("pour_min_c", alloy.pour_min_c),
        ("pour_max_c", alloy.pour_max_c),
        ("alloy_max_c", alloy.alloy_max_c),
        *(("limit_c", limit.limit_c) for limit in plan.limits),
        *(("lip_min_c", mould.lip_min_c) for mould in plan.moulds),
        *(("lip_max_c", mould.lip_max_c) for mould in plan.moulds),
    ]
    amounts: list[tuple[str, float, float]] = [
        ("charge_kg", plan.charge_kg, MOST_KG),
        ("later_kg", plan.later_kg, MOST_KG),
        *(("mass_kg", mould.mass_kg, MOST_KG) for mould in plan.moulds),
        *(("loss_c", mould.loss_c, HIGHEST_MEANT_C) for mould in plan.moulds),
        *(("loss_s", mould.loss_s, LONGEST_AGO_S) for mould in plan.moulds),
    ]
    for name, temp_c in temperatures:
        if temp_c is not None and not ABSOLUTE_ZERO_C <= temp_c <= HIGHEST_MEANT_C:
            raise BadInput(tell("api.plan_temperature", field=name, temp_c=temp_c), remedy=tell("error.figure.remedy"))
    for name, figure, most in amounts:
        _check_amount(name, figure, most)
