"""What a test reads of something told: its name and its facts, never its words."""

from pourcall.contract.message import Message, Told


def name_of(told: Told | object) -> str:
    """The message's name."""
    assert isinstance(told, Message), f"a sentence was told, not a message: {told!r}"
    return told.name


def number(told: Told | object, fact: str) -> float:
    """A fact that is a figure."""
    assert isinstance(told, Message), f"a sentence was told, not a message: {told!r}"
    value = told.facts[fact]
    assert isinstance(value, int | float)
    return float(value)


def parts(told: Told | object, fact: str) -> tuple[Message, ...]:
    """A fact that is several messages."""
    assert isinstance(told, Message), f"a sentence was told, not a message: {told!r}"
    value = told.facts[fact]
    assert isinstance(value, tuple)
    return value
