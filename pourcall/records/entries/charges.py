"""What a melt was charged with. Entries and their corrections, and how often returned metal was molten before.

A remelt count nobody told is carried on: returns of a melt count one more than the highest that went into it. It is
worked out whenever it is looked at, so that a correction of the older melt reaches the younger. Additions marked while
the melt ran stand in the same list. Not here: other later entries (entries.py).
"""

import re
import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from itertools import groupby
from typing import Any, NamedTuple

from pourcall.contract.entries import ChargeEntry, ChargeRequest
from pourcall.contract.errors import BadInput, NotFound
from pourcall.contract.message import Message, tell
from pourcall.records.entries.checks import check_mass_kg, clean_text
from pourcall.records.read.lookup import find_melt
from pourcall.records.read.views import ChargeView
from pourcall.records.write.rows import insert
from pourcall.texts import written

SOURCES = ("new", "returns", "scrap")
MOST_REMELTS = 50  # beyond this a count is a slip of the finger
MOST_ENTRIES = 50
ADDED_AFTER_S = 1.0
_ROWS = (
    "SELECT c.id, c.corrects, c.at_utc_s, c.mass_kg, c.source, c.remelts, c.detail, c.from_melt_id, x.melt,"
    " c.from_ingot, c.who, c.why, c.taken_back, c.melt_id FROM charges c LEFT JOIN melts x ON x.id = c.from_melt_id"
)
_ORIGIN = re.compile(r"(.+?)(?:-i(\d+))?")


class Count(NamedTuple):
    """How often metal was molten before; at_least: of some of it nothing is on record."""

    remelts: int
    at_least: bool


class _Entry(NamedTuple):
    """A row that stands, with the number of its entry."""

    number: int
    row_id: int
    at_utc_s: float
    mass_kg: float | None
    source: str
    remelts: int | None
    detail: str
    origin_id: int | None
    origin: str
    who: str
    why: str
    corrected: bool


def charges_of(conn: sqlite3.Connection, melt_id: int, began_utc_s: float) -> tuple[ChargeView, ...]:
    """What went into a melt, in the order it was told: the numbers by which an entry is corrected run forwards."""
    found = []
    entries = _standing(conn, melt_id)
    highest = _highest_of_sources(conn, melt_id, entries)
    for one in entries:
        count, how = _count(one, highest)
        found.append(
            ChargeView(
                number=one.number,
                at_utc_s=one.at_utc_s,
                mass_kg=one.mass_kg,
                source=one.source,
                origin=one.origin,
                remelts=count,
                remelts_how=how,
                detail=one.detail,
                who=one.who,
                why=one.why,
                corrected=one.corrected,
                added=one.at_utc_s > began_utc_s + ADDED_AFTER_S,
            )
        )
    return tuple(sorted(found, key=lambda one: one.number))


def highest_count(conn: sqlite3.Connection, melt_id: int) -> Count | None:
    """The highest remelt count that went into a melt; None: nothing of it is on record."""
    entries = _standing(conn, melt_id)
    return _highest(entries, _highest_of_sources(conn, melt_id, entries))


def charge(conn: sqlite3.Connection, asked: ChargeRequest, utc_s: float) -> Message:
    """Put entries on record, or correct one; what was done. Raises NotFound, BadInput: then nothing was."""
    melt_id, _, began_utc_s = find_melt(conn, asked.melt)
    who, why = clean_text(asked.who, "who"), clean_text(asked.why, "why")
    rows = [_checked(conn, asked.melt, melt_id, began_utc_s, entry) for entry in asked.entries]
    if asked.correcting:
        return _correct(conn, asked, melt_id, rows, who, why, utc_s)
    if len(rows) > MOST_ENTRIES:
        raise BadInput(tell("charge.too_many", count=len(rows)), remedy=tell("entry.at_most", most=MOST_ENTRIES))
    if not rows:
        raise BadInput(tell("charge.nothing"), where=asked.melt, remedy=tell("charge.nothing.remedy"))
    for row in rows:
        insert(conn, "charges", melt_id=melt_id, at_utc_s=began_utc_s, who=who, why=why, **row)
    told = charges_of(conn, melt_id, began_utc_s)[-len(rows) :]
    return tell("charge.on_record", melt=asked.melt, entries=tuple(charge_told(one) for one in told))


def charge_told(one: ChargeView) -> Message:
    """`0.6 kg returns of 2026-011, molten twice before`."""
    mass = tell("charge.unknown_mass") if one.mass_kg is None else tell("charge.mass", mass_kg=one.mass_kg)
    source = one.source or tell("charge.unknown_source")
    if one.origin:
        parts = [tell("charge.metal_of", mass=mass, source=source, origin=one.origin)]
    else:
        parts = [tell("charge.metal", mass=mass, source=source)]
    if one.remelts == 0 and one.source != "new":
        parts.append(tell("charge.never_molten"))
    elif one.remelts:
        often = tell(f"charge.often.{min(one.remelts, 3)}", remelts=one.remelts)
        at_least = one.remelts_how == "at least"
        parts.append(tell("charge.molten_at_least" if at_least else "charge.molten", often=often))
    if one.detail:
        parts.append(tell("charge.detail", detail=one.detail))
    return tell("charge.entry", parts=tuple(parts))


def _correct(
    conn: sqlite3.Connection,
    asked: ChargeRequest,
    melt_id: int,
    rows: list[dict[str, object]],
    who: str,
    why: str,
    utc_s: float,
) -> Message:
    if len(rows) > 1:
        raise BadInput(
            tell("charge.one_for_one", count=len(rows)), where=asked.melt, remedy=tell("charge.one_for_one.remedy")
        )
    standing = {one.number: one for one in _standing(conn, melt_id)}
    old = standing.get(asked.correcting)
    if old is None:
        raise NotFound(
            tell("charge.no_entry", melt=asked.melt, number=asked.correcting),
            remedy=tell("charge.no_entry.known", melt=asked.melt, known=", ".join(map(str, standing)) or "-"),
        )
    _, _, began_utc_s = find_melt(conn, asked.melt)
    was = next(one for one in charges_of(conn, melt_id, began_utc_s) if one.number == old.number)
    row = rows[0] if rows else {"mass_kg": old.mass_kg, "source": old.source, "taken_back": 1}
    insert(conn, "charges", melt_id=melt_id, at_utc_s=old.at_utc_s, who=who, why=why, corrects=old.row_id, **row)
    now = [one for one in charges_of(conn, melt_id, began_utc_s) if one.number == old.number]
    insert(  # the row itself keeps the time the metal went in; this one, when that was corrected
        conn,
        "corrections",
        at_utc_s=utc_s,
        who=who,
        table_name="charges",
        row_id=old.row_id,
        field="entry",
        old=written(charge_told(was)),
        new=written(charge_told(now[0])) if now else "",
        why=why,
    )
    if not now:
        return tell("charge.taken_back", melt=asked.melt, number=old.number)
    return tell("charge.corrected", melt=asked.melt, number=old.number, entry=charge_told(now[0]))


def _checked(
    conn: sqlite3.Connection, melt: str, melt_id: int, began_utc_s: float, entry: ChargeEntry
) -> dict[str, object]:
    """An entry as the columns of its row. Raises BadInput for what contradicts itself or the record."""
    if entry.source not in SOURCES:
        raise BadInput(
            tell("charge.source", source=entry.source),
            where=melt,
            remedy=tell("error.use_one", known=", ".join(SOURCES)),
        )
    row: dict[str, object] = {
        "mass_kg": check_mass_kg(entry.mass_kg, melt),
        "source": entry.source,
        "remelts": entry.remelts,
        "detail": clean_text(entry.detail, "metal_detail"),
    }
    if entry.remelts is not None and not 0 <= entry.remelts <= MOST_REMELTS:
        raise BadInput(
            tell("charge.remelts", remelts=entry.remelts),
            where=melt,
            remedy=tell("charge.remelts.remedy", most=MOST_REMELTS),
        )
    if entry.source == "new" and entry.remelts:
        raise BadInput(
            tell("charge.new_remelted", remelts=entry.remelts), where=melt, remedy=tell("charge.new_remelted.remedy")
        )
    came_from = clean_text(entry.origin, "origin", most=60)
    if not came_from:
        return row
    if entry.source != "returns":
        raise BadInput(
            tell("charge.not_returns", source=entry.source, origin=came_from),
            where=melt,
            remedy=tell("charge.not_returns.remedy"),
        )
    origin_id, ingot = _origin(conn, came_from, melt, melt_id, began_utc_s)
    carried = highest_count(conn, origin_id)
    if entry.remelts is not None and carried is not None and entry.remelts <= carried.remelts:
        raise BadInput(
            tell("charge.carried", origin=came_from, least=carried.remelts + 1, remelts=entry.remelts),
            where=melt,
            remedy=tell("charge.carried.remedy"),
        )
    return {**row, "from_melt_id": origin_id, "from_ingot": ingot}


def _origin(
    conn: sqlite3.Connection, origin: str, melt: str, melt_id: int, began_utc_s: float
) -> tuple[int, int | None]:
    """The melt (and ingot) that returned metal is from."""
    found = _ORIGIN.fullmatch(origin)
    name, number = (found[1], found[2]) if found else (origin, None)
    try:
        origin_id, _, origin_utc_s = find_melt(conn, name)
    except NotFound:
        of_pour = name.rpartition("-")[0]  # gates of pour 2026-011-1 are metal of melt 2026-011
        if number is not None or conn.execute("SELECT 1 FROM melts WHERE melt = ?", (of_pour,)).fetchone() is None:
            raise
        origin_id, _, origin_utc_s = find_melt(conn, of_pour)
    if origin_id == melt_id:
        raise BadInput(tell("charge.own_source", melt=melt), where="--from", remedy=tell("charge.earlier_melt"))
    if origin_utc_s > began_utc_s:
        raise BadInput(
            tell("charge.later_source", origin=name, melt=melt), where="--from", remedy=tell("charge.earlier_melt")
        )
    if number is None:
        return origin_id, None
    ingots = [
        row[0]
        for row in conn.execute(
            "SELECT number FROM leavings_now WHERE melt_id = ? AND kind = 'ingot' ORDER BY number", (origin_id,)
        )
    ]
    if int(number) not in ingots:
        there = ", ".join(f"{name}-i{one}" for one in ingots)
        raise NotFound(
            tell("charge.no_ingot", ingot=origin), remedy=tell("charge.no_ingot.known", melt=name, known=there or "-")
        )
    return origin_id, int(number)


def _standing(conn: sqlite3.Connection, melt_id: int) -> list[_Entry]:
    """Entries of one melt that hold, numbered by the first telling of each."""
    return _entries(conn.execute(f"{_ROWS} WHERE c.melt_id = ? ORDER BY c.id", (melt_id,)))


def _entries(rows: Iterable[tuple[Any, ...]]) -> list[_Entry]:
    """Rows of one melt in their order, corrected ones and those taken back left out."""
    number_of: dict[int, int] = {}
    now: dict[int, _Entry | None] = {}
    for row_id, corrects, *rest, taken_back, _ in rows:
        number = number_of[row_id] = number_of.get(corrects) or len(now) + 1
        at_utc_s, mass_kg, source, remelts, detail, origin_id, origin, ingot, who, why = rest
        name = "" if origin is None else origin if ingot is None else f"{origin}-i{ingot}"
        told = (at_utc_s, mass_kg, source, remelts, detail, origin_id, name, who, why)
        now[number] = None if taken_back else _Entry(number, row_id, *told, corrects is not None)
    return [one for one in now.values() if one is not None]


def _highest_of_sources(conn: sqlite3.Connection, melt_id: int, entries: Sequence[_Entry]) -> dict[int, Count | None]:
    """Highest counts of all melts whose metal found its way into this one, by their id.

    A source is never younger than what it went into, so one walk in the order of their beginnings meets each before it
    is asked for; what a record put together by hand leaves in a circle stays unknown.
    """
    if not any(one.origin_id is not None for one in entries):
        return {}
    found: dict[int, Count | None] = {}
    rows = conn.execute(
        "WITH RECURSIVE up(id) AS (SELECT from_melt_id FROM charges WHERE melt_id = ?1 AND from_melt_id IS NOT NULL"
        " UNION SELECT s.from_melt_id FROM charges s JOIN up ON s.melt_id = up.id WHERE s.from_melt_id IS NOT NULL)"
        f" {_ROWS} JOIN melts m ON m.id = c.melt_id WHERE c.melt_id IN up AND c.melt_id <> ?1"
        " ORDER BY m.began_utc_s, m.id, c.id",
        (melt_id,),
    )
    for source, group in groupby(rows, key=lambda row: int(row[-1])):
        found[source] = _highest(_entries(group), found)
    return found


def _count(one: _Entry, highest: Mapping[int, Count | None]) -> tuple[int | None, str]:
    """Remelt count of an entry, and how it is known."""
    if one.remelts is not None:
        return one.remelts, "told"
    if one.source.strip().casefold() == "new":
        return 0, "told"
    if one.origin_id is None:
        return None, ""
    known = highest.get(one.origin_id)
    if known is None:
        return 1, "at least"
    return known.remelts + 1, "at least" if known.at_least else "carried on"


def _highest(entries: Sequence[_Entry], highest: Mapping[int, Count | None]) -> Count | None:
    """The highest count among entries; None: not one is known."""
    counts = [_count(one, highest) for one in entries]
    known = [count for count, _ in counts if count is not None]
    if not known:
        return None
    return Count(max(known), any(how not in ("told", "carried on") for _, how in counts))
