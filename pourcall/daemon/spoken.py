"""What is published, with its messages said: facts stay as they are, each sentence is made once, in degC.

Whether a str is a sentence on record or a name that a person gave, the type of its field says, never the str.
"""

from functools import cache
from types import UnionType
from typing import Any, get_args, get_type_hints

import msgspec

from pourcall.contract.message import Message
from pourcall.contract.units import Unit
from pourcall.texts import say


def spoken(value: Any, *, told: bool = False) -> Any:
    """The same value with a sentence in the place of each message, whatever struct, list or mapping it lies in.

    told: its field holds what is told, so that a str is a sentence on record.
    """
    if isinstance(value, Message):
        return say(value, Unit.C)
    if isinstance(value, str):
        return say(value, Unit.C) if told and type(value) is str else value
    if isinstance(value, msgspec.Struct):
        sentences = _sentences(type(value))
        before = {name: getattr(value, name) for name in value.__struct_fields__}
        after = {name: spoken(one, told=name in sentences) for name, one in before.items()}
        changed = {name: one for name, one in after.items() if one is not before[name]}
        return msgspec.structs.replace(value, **changed) if changed else value
    if isinstance(value, tuple | list):
        parts = [spoken(one, told=told) for one in value]
        return type(value)(parts) if any(a is not b for a, b in zip(parts, value, strict=True)) else value
    if isinstance(value, dict):
        return {key: spoken(one, told=told) for key, one in value.items()}
    return value


@cache
def _sentences(kind: type[msgspec.Struct]) -> frozenset[str]:
    """Names of the fields that hold what is told, alone or several of it."""
    return frozenset(name for name, hint in get_type_hints(kind).items() if _holds_told(hint))


def _holds_told(hint: Any) -> bool:
    parts = get_args(hint)
    if isinstance(hint, UnionType) and str in parts and Message in parts:
        return True
    return any(_holds_told(part) for part in parts)
