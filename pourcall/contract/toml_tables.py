"""A person's TOML, table by table and key by key: every fault is told at once, each with its place.

For tables that are typed structs (settings, plan files). Unknown keys are refused with the nearest valid one.
"""

import math
import tomllib
from collections.abc import Callable, Mapping
from typing import Any, TypeVar

import msgspec

from pourcall.contract.errors import BadInput, PourcallError
from pourcall.contract.nearest import did_you_mean

T = TypeVar("T", bound=msgspec.Struct)
Read = Callable[[str, Any], Any]  # key and written value to the value meant


def parse_toml(text: str) -> dict[str, Any]:
    """The whole text. Raises BadInput where it is no TOML, be it nested too deep for any reader."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as err:
        raise BadInput(f"not valid TOML: {err}", remedy="Correct the file") from err
    except RecursionError:
        raise BadInput("not valid TOML: nested too deep", remedy="Correct the file") from None


def is_number(value: object) -> bool:
    """TOML knows `nan` and `inf`, and a truth is no number."""
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def are_texts(value: object) -> bool:
    """A list of texts."""
    return isinstance(value, list) and all(isinstance(one, str) for one in value)


def as_written(_: str, value: Any) -> Any:
    """For tables whose values are meant as they stand."""
    return value


def read_table(kind: type[T], body: Any, where: str, faults: list[str], read: Read = as_written) -> T | None:
    """One table; None where it has faults, which are added to `faults`."""
    if not isinstance(body, Mapping):
        faults.append(f"{where}: must be a table")
        return None
    before = len(faults)
    good = read_values(kind, body, where, faults, read)
    faults += [
        f"{where}: {field.name} is missing"
        for field in msgspec.structs.fields(kind)
        if field.required and field.name not in body
    ]
    return kind(**good) if len(faults) == before else None


def read_values(
    kind: type[msgspec.Struct], body: Mapping[str, Any], where: str, faults: list[str], read: Read = as_written
) -> dict[str, Any]:
    """The keys of a table that are sound, checked against the fields of `kind`."""
    fields = {field.name: field for field in msgspec.structs.fields(kind)}
    good: dict[str, Any] = {}
    for key, value in body.items():
        place = f"{where} {key}".strip()
        if key not in fields:
            faults.append(f"{place}: unknown key{did_you_mean(key, fields, else_all=True)}")
            continue
        try:
            good[key] = _finite(msgspec.convert(read(key, value), fields[key].type))
        except (msgspec.ValidationError, PourcallError) as err:
            faults.append(f"{place} = {value!r}: {err}")
    return good


def _finite(value: Any) -> Any:
    """The value itself; no comparison stops a `nan`."""
    parts = value.values() if isinstance(value, Mapping) else value if isinstance(value, tuple) else (value,)
    if any(isinstance(part, float) and not is_number(part) for part in parts):
        raise BadInput("is no number")
    return value
