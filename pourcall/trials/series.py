"""Whether a series of pours is a trial of temperature alone. Reads the records; what else changed, in words.

Compared are alloy's metal (how often it was molten before) and the mould as it stood at each pour: section, material,
its batch, preheat, gating, venting, pattern, and by what the temperature was taken. What nobody told of is passed over.
Not here: what differs between a few pours, in full (pourcall/trials/compare.py).
"""

import math
import sqlite3
from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

import msgspec

from pourcall.contract.message import Message, tell
from pourcall.records.entries.charges import highest_count
from pourcall.records.entries.setups import setup_at
from pourcall.records.read.views import SetupView

SAME_C, SAME_MM = 20.0, 0.05  # preheats and sections closer than this are the same; as in a comparison
_SHOWN = 4


class PouredInto(NamedTuple):
    """One pour of the series, as far as it matters here. The figures are the plan's."""

    melt_id: int
    utc_s: float
    setup: str
    batch: str
    thinnest_mm: float | None
    material: str
    measured: str = ""


class Series(NamedTuple):
    """What changed beside the temperature, each with its values: `remelt count 0 or 1`; empty: nothing on record.

    fresh: for each pour whether by the record its mould is not as at the pour before, or its temperature was taken
    otherwise; changed_since: the same of the mould as it stands now and the last pour. Remelts do not count there.
    """

    differs: tuple[Message, ...]
    fresh: tuple[bool, ...]
    changed_since: bool


class _Mould(msgspec.Struct, frozen=True):
    """What a pour was made with."""

    thinnest_mm: float | None
    preheat_c: float | None
    words: dict[str, str]
    remelts: int | None


def looked_through(conn: sqlite3.Connection, pours: Sequence[PouredInto]) -> Series:
    """The series of these pours, in the order they were poured."""
    counts: dict[int, int | None] = {}
    for melt_id in dict.fromkeys(pour.melt_id for pour in pours):
        found = highest_count(conn, melt_id)
        counts[melt_id] = None if found is None else found.remelts
    moulds = [_mould(pour, setup_at(conn, pour.setup, pour.utc_s), counts[pour.melt_id]) for pour in pours]
    fresh = [False, *(not _alike(*pair) for pair in pairwise(moulds))][: len(moulds)]
    since = False
    if pours:
        last = pours[-1]
        now = _mould(last._replace(batch=""), setup_at(conn, last.setup, math.inf), None)
        then = _mould(last._replace(batch=""), setup_at(conn, last.setup, last.utc_s), None)
        since = not _alike(then, now)
    return Series(_differs(moulds), tuple(fresh), since)


def _alike(one: _Mould, other: _Mould) -> bool:
    """Whether nothing on record tells two moulds apart; what nobody told of one of them does not."""
    for a, b, apart in ((one.thinnest_mm, other.thinnest_mm, SAME_MM), (one.preheat_c, other.preheat_c, SAME_C)):
        if a is not None and b is not None and abs(a - b) > apart:
            return False
    return all(not word or other.words.get(what, "") in ("", word) for what, word in one.words.items())


def _differs(moulds: Sequence[_Mould]) -> tuple[Message, ...]:
    told: list[Message] = []
    for what, values, apart, value_of in (
        ("thinnest", [mould.thinnest_mm for mould in moulds], SAME_MM, _millimetres),
        ("preheat", [mould.preheat_c for mould in moulds], SAME_C, _temperature),
        ("remelts", [mould.remelts for mould in moulds], 0.0, _count),
    ):
        known = sorted({value for value in values if value is not None})
        if len(known) >= 2 and known[-1] - known[0] > apart:
            told.append(tell(f"advice.differs.{what}", values=_listed([value_of(value) for value in known])))
    for what in ("material", "batch", "pattern", "gating", "venting", "measured"):
        words = list(dict.fromkeys(said for mould in moulds if (said := mould.words.get(what, ""))))
        if len(words) > 1:
            said_of = {"material": _material, "measured": _taken_by}.get(what, _word)
            told.append(tell(f"advice.differs.{what}", values=_listed([said_of(word) for word in words])))
    return tuple(told)


def _millimetres(value: float) -> Message:
    return tell("advice.value.mm", value_mm=value)


def _temperature(value: float) -> Message:
    return tell("advice.value.temperature", value_c=value)


def _count(value: float) -> Message:
    return tell("advice.value.count", value=value)


def _word(value: str) -> Message:
    return tell("advice.value.word", text=value)


def _taken_by(value: str) -> Message:
    return tell(f"advice.value.{value}") if value in ("probe", "dip") else _word(value)


def _material(value: str) -> Message:
    return tell("advice.value.material", material=value)


def _mould(pour: PouredInto, setup: SetupView | None, remelts: int | None) -> _Mould:
    if setup is None:
        told = {"material": pour.material, "batch": pour.batch, "measured": pour.measured}
        return _Mould(pour.thinnest_mm, None, told, remelts)
    words = {
        "material": setup.material or pour.material,
        "batch": pour.batch or setup.batch,
        "pattern": setup.pattern,
        "gating": setup.gating,
        "venting": setup.venting,
        "measured": pour.measured,
    }
    thinnest_mm = pour.thinnest_mm if setup.thinnest_mm is None else setup.thinnest_mm
    return _Mould(thinnest_mm, setup.preheat_c, words, remelts)


def _listed(values: Sequence[Message]) -> Message:
    if len(values) > _SHOWN:
        return tell("advice.values.more", parts=tuple(values[:_SHOWN]))
    return tell("advice.values", parts=tuple(values[:-1]), last=values[-1])
