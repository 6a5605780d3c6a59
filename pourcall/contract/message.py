"""What is to be said to a person, as facts: a name in the catalogue of texts, and the facts that its sentence tells of.

Sentences are made at the edge alone, by `pourcall.texts`, in the reader's unit. Nothing in the program reads them back:
what code decides by travels beside them, in typed fields. A fact's name carries its unit, and by that it is shown:

    aim_c                 a temperature, degC           512 degC, 954 degF
    lowest_c, highest_c   a limit, rounded inwards      510 degC for 509.4 at least
    spare_difference_c    a difference of temperatures  13.5 degC, 24.3 degF; also `u_c`, `..._u_c`
    rate_c_per_min        a rate, degC a minute         6.2 degC a minute, 11.2 degF a minute
    left_s, hold_min      a time                        40 s, 3 min
    mass_kg, depth_mm, metal_share (0 to 1), emf_uv     with their units
    level, melt_state     a word of the catalogue where it has one
    probe, mould, file    the name itself, as whoever gave it wrote it
    why, text, what       (`SENTENCES`) a sentence, perhaps one on record, whose temperatures are turned
"""

from collections.abc import Callable

import msgspec


class Message(msgspec.Struct, frozen=True, omit_defaults=True):
    """One thing to be said. An empty name says nothing, and counts as false."""

    name: str
    facts: "dict[str, Fact]" = {}

    def __bool__(self) -> bool:
        return bool(self.name)

    def __str__(self) -> str:
        """The sentence, for logs and tracebacks; who speaks to a person says it in the unit of that person."""
        return _in_words(self)


SENTENCES = frozenset(  # names of facts that may hold a sentence on record; whatever else is a str is a word or a name
    ["basis", "detail", "fails", "figure", "how", "mind", "note", "remedy", "text", "thinned", "what", "why", "works"]
)
OWN = "own"  # the name of a message that is a person's own words


Fact = int | float | str | Message | tuple[Message, ...]
Told = Message | str  # a str: a sentence on record from before facts were kept
NOTHING = Message("")


def tell(name: str, /, **facts: Fact) -> Message:
    """The message of this name. `tests/texts` holds each call against the catalogue: name, facts, units."""
    return Message(name, facts)


def own(words: str) -> Message:
    """A person's own words, where something is told: said as they stand, whatever they look like."""
    return Message(OWN, {"words": words}) if words else NOTHING


def as_message(told: Told) -> Message:
    """A sentence on record, or of a program of another version, as a message: said as it stands."""
    if isinstance(told, Message):
        return told
    return tell("error.said", what=told) if told else NOTHING


def _bare(message: Message) -> str:
    told = ", ".join(f"{key} {value}" for key, value in message.facts.items())
    return f"{message.name}: {told}" if told else message.name


_in_words: Callable[[Message], str] = _bare


def speak_by(in_words: Callable[[Message], str]) -> None:
    """Have `str(message)` be a sentence: the catalogue of texts, which stands above this package, brings it."""
    global _in_words
    _in_words = in_words
