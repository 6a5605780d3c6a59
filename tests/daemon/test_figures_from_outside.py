"""Figures that come in from outside: of every command there is, none is let in that nobody can mean."""

import json
from typing import get_args

import msgspec
import pytest

from pourcall.contract import inputs as inp
from pourcall.contract.errors import BadInput
from pourcall.daemon.api.guard import read_command
from tests.engine.conftest import make_plan

KINDS = (float, float | None, tuple[float, ...])


def figures() -> list[tuple[type[inp.Command], str]]:
    """Each figure that a command brings by itself; what stands inside a plan or a profile is held elsewhere."""
    return [(one, field.name) for one in get_args(inp.Command) for field in fields(one) if field.type in KINDS]


def fields(kind: type[msgspec.Struct]) -> tuple[msgspec.structs.FieldInfo, ...]:
    return msgspec.structs.fields(kind)


@pytest.mark.parametrize(("kind", "name"), figures())
def test_no_figure_of_any_command_is_let_in_that_nobody_can_mean(kind: type[inp.Command], name: str) -> None:
    plan = msgspec.to_builtins(make_plan())
    needed = {"level": "off", "ending": "poured", "probe": "metal", "alarm": "x", "temp_c": 500.0, "plan": plan}
    sent = {field.name: needed[field.name] for field in fields(kind) if field.required}
    meant = {"type": kind.__struct_config__.tag, **sent}
    read_command(json.dumps(meant).encode())
    listed = next(field for field in fields(kind) if field.name == name).type == tuple[float, ...]
    for figure in (1e9, -1e9):
        with pytest.raises(BadInput):
            read_command(json.dumps({**meant, name: [figure] if listed else figure}).encode())
