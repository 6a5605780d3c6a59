"""Defect classes as data, and what a casting's findings say of the temperature it was poured at.

The table is `pourcall/trials/defects.toml` (its head names the sources). Not here: the model (model.py), the records.
No numpy.
"""

import tomllib
from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import Literal

import msgspec

from pourcall.contract.entries import SOUND
from pourcall.contract.errors import BadInput
from pourcall.contract.message import NOTHING, Message, tell
from pourcall.contract.nearest import nearest

TABLE = Path(__file__).parent / "defects.toml"
Direction = Literal["cold", "hot", "both", "neither"]
STRONG = 2  # from this strength on a defect speaks of temperature by itself


class Defect(msgspec.Struct, frozen=True, kw_only=True):
    """One class of defect. strength: 1 to 3, how much the temperature has to do with it (judgement)."""

    key: str
    group: str  # A to G of the atlas' scheme, "-" outside it
    code: str
    term: str
    direction: Direction
    strength: int
    remedy: bool  # there is something to try besides temperature

    @property
    def looks(self) -> Message:
        """How it looks."""
        return tell(f"defect.looks.{self.key}")

    @property
    def first(self) -> Message:
        """What to try before or besides another temperature; nothing where there is nothing."""
        return tell(f"defect.first.{self.key}") if self.remedy else NOTHING


class Finding(msgspec.Struct, frozen=True, kw_only=True):
    """What inspection found: a key of the table with 1 to 3, or `sound` with 0; place and words in `detail`."""

    defect: str
    severity: int
    detail: str = ""


class Sides(msgspec.Struct, frozen=True, kw_only=True):
    """One casting as temperature sees it: its gravest cold and hot defect, and those that tell no side."""

    cold: int = 0
    cold_strength: int = 0
    hot: int = 0
    hot_strength: int = 0
    unsided: int = 0  # of a defect both a cold and a hot pour may cause
    unrelated: int = 0  # of defects temperature has little to do with

    @property
    def both_at_once(self) -> bool:
        """Cold and hot faults in one casting, each of a class that speaks of temperature by itself."""
        return self.cold > 0 and self.hot > 0 and min(self.cold_strength, self.hot_strength) >= STRONG


@cache
def defects() -> dict[str, Defect]:
    """All classes by key, in the order of the table."""
    table = tomllib.loads(TABLE.read_text("utf-8"))["defect"]
    return {key: msgspec.convert({"key": key, **fields}, Defect) for key, fields in table.items()}


def find_defect(name: str) -> Defect:
    """A class by key or trade term, however it is spaced or cased. Raises BadInput naming the nearest."""
    names = _names()
    found = names.get(_fold(name))
    if found is not None:
        return defects()[found]
    near = dict.fromkeys(names[near] for near in nearest(_fold(name), names, most=3))
    raise BadInput(
        tell("defect.unknown_near", word=name, near=", ".join(near)) if near else tell("defect.unknown", word=name),
        remedy=tell("defect.unknown.remedy"),
    )


@cache
def _names() -> dict[str, str]:
    names: dict[str, str] = {}
    for key, one in defects().items():
        for spelled in (key, *one.term.split(",")):
            names.setdefault(_fold(spelled), key)
    return names


def _fold(name: str) -> str:
    return "".join(char for char in name.casefold() if char.isalnum())


def parse_finding(text: str) -> Finding:
    """`misrun=2`, `cold shut=1@horn tip`, `sound`: one finding. Raises BadInput saying what is wrong in it."""
    words, _, place = text.partition("@")
    name, equals, figure = words.partition("=")
    if _fold(name) == SOUND:
        if equals and figure.strip() != "0":
            raise BadInput(tell("defect.sound_severity", given=text), remedy=tell("defect.sound_severity.remedy"))
        return Finding(defect=SOUND, severity=0, detail=place.strip())
    defect = find_defect(name)
    figure = figure.strip()
    if figure not in ("0", "1", "2", "3"):
        raise BadInput(
            tell("defect.severity", given=text),
            where=defect.key,
            remedy=tell("defect.severity.remedy", defect=defect.key),
        )
    return Finding(defect=defect.key, severity=int(figure), detail=place.strip())


def check_findings(findings: Iterable[Finding]) -> None:
    """Refuse findings of one casting that contradict each other. Raises BadInput."""
    told: dict[str, int] = {}
    for finding in findings:
        if finding.defect in told:
            raise BadInput(tell("defect.twice", defect=finding.defect), remedy=tell("defect.twice.remedy"))
        told[finding.defect] = finding.severity
    faults = [key for key, severity in told.items() if severity > 0]
    if SOUND in told and faults:
        raise BadInput(tell("defect.sound_and", defects=", ".join(faults)), remedy=tell("defect.sound_and.remedy"))


def sides(findings: Iterable[tuple[str, int]]) -> Sides:
    """What (defect, severity) pairs of one casting say; a class that is not in the table counts as unrelated."""
    grade = {"cold": 0, "hot": 0, "both": 0, "neither": 0}
    trust = {"cold": 0, "hot": 0}
    for key, severity in findings:
        known = defects().get(key)
        direction = known.direction if known is not None else "neither"
        if known is not None and direction in trust and severity > 0:
            old, new = (trust[direction], grade[direction]), (known.strength, severity)
            trust[direction], grade[direction] = max(old, new)  # the class that speaks loudest of temperature
        else:
            grade[direction] = max(grade[direction], severity)
    return Sides(
        cold=grade["cold"],
        cold_strength=trust["cold"],
        hot=grade["hot"],
        hot_strength=trust["hot"],
        unsided=grade["both"],
        unrelated=grade["neither"],
    )
