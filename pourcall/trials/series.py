"""Whether a series of pours is a trial of temperature alone. Reads the records; what else changed, in words.

Compared are alloy's metal (how often it was molten before) and the mould as it stood at each pour: section, material,
its batch, preheat, gating, venting, pattern. What nobody told of is passed over. Not here: what differs between a few
pours, in full (pourcall/trials/compare.py).
"""

import sqlite3
from collections.abc import Callable, Sequence
from typing import NamedTuple

import msgspec

from pourcall.contract.units import say_c
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


class _Mould(msgspec.Struct, frozen=True):
    """What a pour was made with."""

    thinnest_mm: float | None
    preheat_c: float | None
    words: dict[str, str]
    remelts: int | None


def changed(conn: sqlite3.Connection, pours: Sequence[PouredInto]) -> tuple[str, ...]:
    """What changed beside the temperature, each with its values: `remelt count 0 or 1`. Empty: nothing on record."""
    counts: dict[int, int | None] = {}
    for melt_id in dict.fromkeys(pour.melt_id for pour in pours):
        found = highest_count(conn, melt_id)
        counts[melt_id] = None if found is None else found.remelts
    moulds = [_mould(pour, setup_at(conn, pour.setup, pour.utc_s), counts[pour.melt_id]) for pour in pours]
    told = [
        _figures("thinnest section", [mould.thinnest_mm for mould in moulds], SAME_MM, lambda mm: f"{mm:g} mm"),
        _figures("mould preheated to", [mould.preheat_c for mould in moulds], SAME_C, say_c),
        _figures("remelt count", [mould.remelts for mould in moulds], 0.0, lambda count: f"{count:g}"),
    ]
    for name in ("mould material", "batch of the mould", "pattern", "gating", "venting"):
        values = list(dict.fromkeys(said for mould in moulds if (said := mould.words.get(name, ""))))
        if len(values) > 1:
            told.append(f"{name} {_listed(values)}")
    return tuple(sentence for sentence in told if sentence)


def _mould(pour: PouredInto, setup: SetupView | None, remelts: int | None) -> _Mould:
    if setup is None:
        told = {"mould material": pour.material, "batch of the mould": pour.batch}
        return _Mould(pour.thinnest_mm, None, told, remelts)
    words = {
        "mould material": (setup.material or pour.material).replace("_", " "),
        "batch of the mould": pour.batch or setup.batch,
        "pattern": setup.pattern,
        "gating": setup.gating,
        "venting": setup.venting,
    }
    thinnest_mm = pour.thinnest_mm if setup.thinnest_mm is None else setup.thinnest_mm
    return _Mould(thinnest_mm, setup.preheat_c, words, remelts)


def _figures(name: str, values: Sequence[float | None], apart: float, say: Callable[[float], str]) -> str:
    known = sorted({value for value in values if value is not None})
    if len(known) < 2 or known[-1] - known[0] <= apart:
        return ""
    return f"{name} {_listed([say(value) for value in known])}"


def _listed(values: Sequence[str]) -> str:
    if len(values) > _SHOWN:
        return f"{', '.join(values[:_SHOWN])} and more"
    return f"{', '.join(values[:-1])} or {values[-1]}"
