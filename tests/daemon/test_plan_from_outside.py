"""A ready plan that a client sends: one that was served is taken back, one that cannot be followed is refused."""

from typing import Any

import msgspec
import pytest

from pourcall.contract import inputs as inp
from pourcall.contract.errors import BadInput
from pourcall.contract.message import tell
from pourcall.daemon.api.guard import read_command
from tests.engine.conftest import make_plan


def body(**changed: Any) -> bytes:
    return msgspec.json.encode(inp.StartMelt(plan=msgspec.structs.replace(make_plan(), **changed)))


def test_a_plan_with_sentences_in_its_sentences_is_taken_back() -> None:
    why = tell("pour.basis.stale", basis=tell("pour.basis.at_lift", pot_c=565.0, how=tell("figure.probe")), stale_s=6.0)
    (mould,) = make_plan().moulds
    asked = read_command(body(moulds=(msgspec.structs.replace(mould, why=why),)))
    assert isinstance(asked, inp.StartMelt)
    assert asked.plan.moulds[0].why == why


@pytest.mark.parametrize(
    "changed",
    [
        {"limits": ()},
        {"charge_kg": -1e300},
        {"moulds": tuple(msgspec.structs.replace(mould, lip_max_c=1e308) for mould in make_plan().moulds)},
        {"moulds": tuple(msgspec.structs.replace(mould, loss_c=1e308) for mould in make_plan().moulds)},
        {"alloy": msgspec.structs.replace(make_plan().alloy, liquidus_c=1e308)},
    ],
)
def test_a_plan_that_cannot_be_followed_is_refused(changed: dict[str, Any]) -> None:
    with pytest.raises(BadInput):
        read_command(body(**changed))


def test_control_characters_in_the_facts_of_a_message_do_not_come_in() -> None:
    (mould,) = make_plan().moulds
    why = tell("no.\x1b[31mX", x="\x1b[2J")
    asked = read_command(body(moulds=(msgspec.structs.replace(mould, why=why),)))
    assert b"\x1b" not in msgspec.json.encode(asked)
    assert b"\\u001b" not in msgspec.json.encode(asked)
