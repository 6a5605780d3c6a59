"""Mould setups. Described once, changed by another version; each pour keeps the version it was poured with.

Which version that is follows from the times: the newest not later than the pour (`setup_at`). Not here: windows and
losses (profiles), what was poured with a setup and came of it (daemon/trials).
"""

import re
import sqlite3
from collections.abc import Sequence

import msgspec

from pourcall.contract.entries import MouldSetupRequest
from pourcall.contract.errors import BadInput, NotFound
from pourcall.contract.message import Message, tell
from pourcall.contract.nearest import did_you_mean
from pourcall.contract.units import ABSOLUTE_ZERO_C
from pourcall.metal.windows import check_material
from pourcall.records.entries.checks import check_mass_kg, clean_name, clean_text
from pourcall.records.read.views import SetupView
from pourcall.records.write.rows import insert

LEAST_SECTION_MM, MOST_SECTION_MM = 0.2, 500.0
_TEXTS = ("pattern", "material", "batch", "gating", "venting", "detail")
_FIGURES = ("thinnest_mm", "mass_kg", "preheat_c")
_COLUMNS = (
    "id, name, at_utc_s, pattern, material, batch, gating, venting, thinnest_mm, mass_kg, preheat_c, detail, who, why"
)
_NUMBERED = re.compile(r"(.*\S)[\s_#.-]+(?:no\.?\s*)?\d+")
HOTTEST_MOULD_C = 700.0


def setup_list(conn: sqlite3.Connection) -> tuple[SetupView, ...]:
    """The newest version of each setup, by name, with how many pours there were into it."""
    poured = dict(
        conn.execute("SELECT coalesce(nullif(setup, ''), mould), count(*) FROM pours_now GROUP BY 1").fetchall()
    )
    newest = {one.name: one for one in _all(conn, "")}
    return tuple(msgspec.structs.replace(newest[name], pours=poured.get(name, 0)) for name in sorted(newest))


def setup_versions(conn: sqlite3.Connection, name: str) -> tuple[SetupView, ...]:
    """All versions of a setup, oldest first. Raises NotFound naming the nearest."""
    known = find_setup(conn, name)
    if known is None:
        names = [row[0] for row in conn.execute("SELECT DISTINCT name FROM mould_setups ORDER BY name")]
        raise NotFound(
            tell("record.setup.unknown", setup=name[:60], hint=did_you_mean(name, names)),
            remedy=tell("record.setup.unknown.remedy"),
        )
    (pours,) = conn.execute(
        "SELECT count(*) FROM pours_now WHERE coalesce(nullif(setup, ''), mould) = ?", (known.name,)
    ).fetchone()
    return tuple(msgspec.structs.replace(one, pours=pours) for one in _all(conn, known.name))


def find_setup(conn: sqlite3.Connection, name: str) -> SetupView | None:
    """The newest version of a setup; neither case nor `_` for a blank counts."""
    exact = _all(conn, name)
    if exact:
        return exact[-1]
    for (known,) in conn.execute("SELECT DISTINCT name FROM mould_setups"):
        if _fold(known) == _fold(name):
            return _all(conn, known)[-1]
    return None


def setup_of_mould(conn: sqlite3.Connection, mould: str) -> SetupView | None:
    """The setup a mould is named after: `deck cleat`, or `deck cleat 2` of several."""
    found = find_setup(conn, mould)
    if found is None and (numbered := _NUMBERED.fullmatch(mould)) is not None:
        found = find_setup(conn, numbered[1])
    return found


def setup_at(conn: sqlite3.Connection, name: str, utc_s: float) -> SetupView | None:
    """The setup as it stood at a time; described only later: as it was first described."""
    versions = _all(conn, name)
    return next((one for one in reversed(versions) if one.at_utc_s <= utc_s), versions[0] if versions else None)


def describe_mould(conn: sqlite3.Connection, asked: MouldSetupRequest, utc_s: float) -> Message:
    """Put a setup, or another version of it, on record; what was done. Raises NotFound, BadInput."""
    name = clean_name(asked.name, "setup_name")
    old = find_setup(conn, name)
    if asked.add and old is not None:
        raise BadInput(
            tell("record.setup.exists", setup=old.name), remedy=tell("record.setup.exists.remedy", setup=old.name)
        )
    if not asked.add and old is None:
        setup_versions(conn, name)  # raises, naming the nearest
    fresh = _checked(asked)
    if not asked.add and not fresh:
        raise BadInput(tell("record.setup.no_change", setup=name), remedy=tell("record.setup.no_change.remedy"))
    row: dict[str, object] = {}
    if old is not None:
        name = old.name
        row = {key: getattr(old, key) for key in (*_TEXTS, *_FIGURES)}
        fresh = {key: value for key, value in fresh.items() if row[key] != value}
        if not fresh:
            raise BadInput(tell("record.setup.same", setup=name), remedy=tell("entry.nothing_written"))
    row |= fresh
    insert(
        conn,
        "mould_setups",
        name=name,
        at_utc_s=utc_s,
        who=clean_text(asked.who, "who"),
        why=clean_text(asked.why, "why"),
        corrects=None if old is None else _newest_id(conn, name),
        **row,
    )
    version = len(_all(conn, name))
    if version == 1:
        return tell("record.setup.described", setup=name)
    fields = tuple(tell("record.setup.field", setup_field=key) for key in fresh)
    return tell("record.setup.changed", setup=name, version=version, fields=fields)


def _checked(asked: MouldSetupRequest) -> dict[str, object]:
    """What was given, as columns. Raises BadInput."""
    fresh: dict[str, object] = {}
    for key in _TEXTS:
        told = getattr(asked, key)
        if told is not None:
            fresh[key] = clean_text(told, key)
    if material := str(fresh.get("material", "")):
        check_material(material)
    if asked.thinnest_mm is not None:
        if not LEAST_SECTION_MM <= asked.thinnest_mm <= MOST_SECTION_MM:
            limits = tell("record.setup.thinnest.remedy", least_mm=LEAST_SECTION_MM, most_mm=MOST_SECTION_MM)
            raise BadInput(tell("record.setup.thinnest", thinnest_mm=asked.thinnest_mm), remedy=limits)
        fresh["thinnest_mm"] = asked.thinnest_mm
    if asked.mass_kg is not None:
        fresh["mass_kg"] = check_mass_kg(asked.mass_kg, asked.name)
    if asked.preheat_c is not None:
        if not ABSOLUTE_ZERO_C < asked.preheat_c <= HOTTEST_MOULD_C:
            raise BadInput(tell("record.setup.preheat", preheat_c=asked.preheat_c), remedy=tell("error.figure.remedy"))
        fresh["preheat_c"] = asked.preheat_c
    return fresh


def _all(conn: sqlite3.Connection, name: str) -> Sequence[SetupView]:
    """Versions in their order, of one name exactly as it is written, or of all where `name` is empty."""
    where, args = ("WHERE name = ? ", (name,)) if name else ("", ())
    rows = conn.execute(f"SELECT {_COLUMNS} FROM mould_setups {where}ORDER BY id", args)
    keys = _COLUMNS.split(", ")[1:]
    count: dict[str, int] = {}
    found = []
    for row in rows:
        count[row[1]] = count.get(row[1], 0) + 1
        found.append(SetupView(version=count[row[1]], **dict(zip(keys, row[1:], strict=True))))
    return found


def _newest_id(conn: sqlite3.Connection, name: str) -> int:
    return int(conn.execute("SELECT max(id) FROM mould_setups WHERE name = ?", (name,)).fetchone()[0])


def _fold(name: str) -> str:
    return name.casefold().replace("_", " ").strip()
