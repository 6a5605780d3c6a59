"""What was told, as tests look at it: the message itself, and which messages stand inside it."""

import re
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from pourcall.contract.errors import PourcallError
from pourcall.contract.message import Fact, Message, Told, tell
from pourcall.contract.units import Unit
from pourcall.texts import say
from pourcall.texts.catalogue import current
from pourcall.texts.saying import PLACE

OPEN_PLACE = re.compile(r"\{\w+(?::[^}]*)?\}")


def message(told: Told | None) -> Message:
    """The message; an old sentence or nothing is an error."""
    assert isinstance(told, Message), told
    return told


def inside(told: Told | None) -> Iterator[Message]:
    """The message and all messages that it is made of."""
    one = message(told)
    yield one
    for fact in one.facts.values():
        for part in fact if isinstance(fact, tuple) else (fact,):
            if isinstance(part, Message):
                yield from inside(part)


def names(told: Told | None) -> set[str]:
    """Their names."""
    return {one.name for one in inside(told)}


def name_of(told: Told | None) -> str:
    """The message's name."""
    return message(told).name


def number(told: Told | None, fact: str) -> float:
    """A fact that is a figure."""
    value = message(told).facts[fact]
    assert isinstance(value, int | float)
    return float(value)


def parts(told: Told | None, fact: str) -> tuple[Message, ...]:
    """A fact that is several messages."""
    value = message(told).facts[fact]
    assert isinstance(value, tuple)
    return value


@contextmanager
def refused(error: type[PourcallError], name: str, /, **facts: Fact) -> Iterator[pytest.ExceptionInfo[PourcallError]]:
    """What is done within is refused with this message; a fact that is not named may be anything."""
    with pytest.raises(error) as caught:
        yield caught
    told = message(caught.value.what)
    assert told.name == name
    assert told.facts == {**told.facts, **facts}


def fault(key: str, name: str, /, **facts: Fact) -> Message:
    """A fault of a file, as it is told: `[walk] wlak_s: unknown key; did you mean walk_s?`."""
    return tell("toml.fault", key=key, what=tell(name, **facts))


def meant(word: str) -> Message:
    """`did you mean WORD?`."""
    return tell("toml.near", near=word)


def said(name: str, unit: Unit = Unit.C, /, **facts: Fact) -> str:
    """The sentence of this name in the catalogue in use: the same test holds in any words."""
    assert facts.keys() == _open(name), f"{name} tells of {sorted(_open(name))}"
    return say(Message(name, facts), unit)


def tells(text: str, name: str, unit: Unit = Unit.C, /, **facts: Fact) -> bool:
    """Whether that sentence stands in a line of `text`; a fact that is not named may be anything."""
    assert facts.keys() <= _open(name), f"{name} tells of {sorted(_open(name))}"
    pieces = [" ".join(piece.split()) for piece in OPEN_PLACE.split(say(Message(name, facts), unit))]
    assert any(pieces), f"{name} has no words of its own: name its facts"
    pattern = r"\s*.+?\s*".join(re.escape(piece) for piece in pieces)
    lines = (" ".join(line.split()) for line in text.splitlines())
    return any(re.search(pattern, line, re.IGNORECASE) for line in lines)


def heard(text: str, wanted: str | Message) -> bool:
    """Whether `text` has it: a message in any words and any unit, a str letter by letter (what no catalogue holds)."""
    if isinstance(wanted, Message):
        return any(tells(text, wanted.name, unit, **wanted.facts) for unit in Unit)
    return wanted in text


def _open(name: str) -> set[str]:
    template = current().template(name)
    assert template is not None, f"there is no message {name}"
    return {found[1] for found in PLACE.finditer(template)}
