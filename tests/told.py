"""What was told, as tests look at it: the message itself, and which messages stand inside it."""

from collections.abc import Iterator

from pourcall.contract.message import Message, Told


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
