"""What is published, with its messages said: facts stay as they are, each sentence is made once, in degC."""

from typing import Any

import msgspec

from pourcall.contract.message import Message
from pourcall.contract.units import Unit, in_unit
from pourcall.texts import say


def spoken(value: Any) -> Any:
    """The same value with a sentence in the place of each message, whatever struct, list or mapping it lies in."""
    if isinstance(value, Message):
        return say(value, Unit.C)
    if isinstance(value, str):
        return in_unit(value, Unit.C) if type(value) is str else value  # a sentence on record; not an enumeration
    if isinstance(value, msgspec.Struct):
        before = {name: getattr(value, name) for name in value.__struct_fields__}
        after = {name: spoken(one) for name, one in before.items()}
        changed = {name: one for name, one in after.items() if one is not before[name]}
        return msgspec.structs.replace(value, **changed) if changed else value
    if isinstance(value, tuple | list):
        parts = [spoken(one) for one in value]
        return type(value)(parts) if any(a is not b for a, b in zip(parts, value, strict=True)) else value
    if isinstance(value, dict):
        return {key: spoken(one) for key, one in value.items()}
    return value
