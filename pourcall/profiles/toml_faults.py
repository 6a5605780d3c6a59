"""Faults of a file that a person wrote, each with its place; and the checks of single values that find them. Pure."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from pourcall.contract import nearest as words
from pourcall.contract.message import Message, tell
from pourcall.contract.toml_tables import are_texts, is_number


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong, in which segment (from 1; 0: of the file itself) and under which key (empty: as a whole)."""

    segment: int
    key: str
    what: Message

    @property
    def told(self) -> Message:
        """`segment 2: to: ...`."""
        if not self.segment:
            return tell("profile.fault.file", key=self.key, what=self.what)
        if not self.key:
            return tell("profile.fault.whole", segment=self.segment, what=self.what)
        return tell("profile.fault", segment=self.segment, key=self.key, what=self.what)


@dataclass(slots=True)
class Checker:
    """One table: each check adds what it finds to `faults`."""

    raw: Mapping[str, Any]
    segment: int = 0
    faults: list[Fault] = field(default_factory=list)

    def add(self, key: str, what: Message) -> None:
        """A fault under this key."""
        self.faults.append(Fault(self.segment, key, what))

    def known(self, valid: Collection[str]) -> None:
        """No key but these."""
        for key in self.raw:
            if key not in valid:
                self.add(key, tell("profile.check.unknown_key", hint=nearest(key, valid)))

    def text(self, key: str) -> str:
        """Text, or nothing."""
        value = self.raw.get(key, "")
        if isinstance(value, str):
            return value
        self.add(key, tell("profile.check.not_text"))
        return ""

    def texts(self, key: str) -> tuple[str, ...]:
        """A list of texts, or nothing."""
        value = self.raw.get(key, [])
        if are_texts(value):
            return tuple(value)
        self.add(key, tell("profile.check.not_texts"))
        return ()

    def number(self, key: str, least: float, most: float) -> float | None:
        """A number in this range; None: it is not there, or at fault."""
        if key not in self.raw:
            return None
        value = self.raw[key]
        if is_number(value) and least <= value <= most:
            return float(value)
        self.add(key, tell("profile.check.range", least=least, most=most, found=repr(value)))
        return None


def nearest(word: str, valid: Iterable[str]) -> Message:
    """What was meant, or all there is."""
    known = tuple(valid)
    near = words.nearest(word, known)
    return tell("profile.check.near", near=near[0]) if near else tell("profile.check.valid", valid=", ".join(known))
