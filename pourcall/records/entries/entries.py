"""What people enter later: results, notes, tags, photos, calibrations, corrections of pours.

Each function takes the writer's connection: `recorder.call(lambda conn: add_result(conn, ...))`. Raises NotFound for a
melt or pour that is not on record, BadInput for a value that cannot stand.
"""

import hashlib
import os
import sqlite3
from collections.abc import Mapping
from pathlib import Path

from pourcall.contract.entries import SOUND
from pourcall.contract.errors import BadInput, NotFound
from pourcall.contract.events import MarkKind
from pourcall.contract.message import tell
from pourcall.contract.units import kept_as_typed
from pourcall.records.read.lookup import find_melt, find_pour
from pourcall.records.write.rows import insert
from pourcall.records.write.typed_columns import POUR_COLUMNS, Column

_CORRECTABLE = frozenset((*POUR_COLUMNS, "batch", "not_poured"))


def add_result(
    conn: sqlite3.Connection,
    pour: str,
    defect: str,
    severity: int,
    *,
    who: str,
    utc_s: float,
    detail: str = "",
    correcting: bool = False,
) -> int:
    """What inspection found on a pour: a defect with severity 1 to 3, or `sound` with 0; the row's id.

    The same defect told again corrects itself; with 0 it is taken back. A casting that is sound and has a defect is
    refused unless `correcting`: then what stood before is corrected. Rows are added, none is altered.
    """
    if not defect:
        raise BadInput(tell("cli.pour.nothing_found"), where=pour, remedy=tell("cli.pour.nothing_found.remedy"))
    if not 0 <= severity <= 3 or (defect == SOUND and severity != 0):
        raise BadInput(
            tell("defect.wrong_severity", defect=defect, severity=severity),
            where=pour,
            remedy=tell("defect.wrong_severity.remedy"),
        )
    melt_id, number = find_pour(conn, pour)
    standing = {
        row[1]: row
        for row in conn.execute(
            "SELECT id, defect, severity FROM results r WHERE melt_id = ?1 AND pour_number = ?2"
            " AND NOT EXISTS (SELECT 1 FROM results c WHERE c.melt_id = ?1 AND c.corrects = r.id) ORDER BY id",
            (melt_id, number),
        )
    }
    here = {"melt_id": melt_id, "pour_number": number, "at_utc_s": utc_s, "who": who}
    faults = [row for row in standing.values() if row[2] > 0]
    old = standing.get(defect)
    if defect == SOUND and faults:
        if not correcting:
            raise _contradicts(pour, SOUND, ", ".join(f"{key} {grade}" for _, key, grade in faults))
        for row_id, key, _ in faults:
            insert(conn, "results", **here, defect=key, severity=0, detail=detail, corrects=row_id)
    elif severity > 0 and SOUND in standing:
        if not correcting:
            raise _contradicts(pour, f"{defect} {severity}", SOUND)
        old = standing[SOUND]
    elif severity == 0 and defect != SOUND and (old is None or old[2] == 0):
        raise BadInput(
            tell("defect.not_on_record", defect=defect), where=pour, remedy=tell("defect.wrong_severity.remedy")
        )
    corrects = None if old is None else old[0]
    return insert(conn, "results", **here, defect=defect, severity=severity, detail=detail, corrects=corrects)


def _contradicts(pour: str, told: str, stands: str) -> BadInput:
    return BadInput(
        tell("defect.contradicts", now=told, before=stands), where=pour, remedy=tell("defect.contradicts.remedy")
    )


def add_note(
    conn: sqlite3.Connection, melt: str, text: str, *, who: str, utc_s: float, pour_number: int | None = None
) -> int:
    """A note on a melt that may be long over; the row's id."""
    melt_id, furnace_id, _ = find_melt(conn, melt)
    return insert(
        conn,
        "notes",
        furnace_id=furnace_id,
        melt_id=melt_id,
        pour_number=pour_number,
        at_utc_s=utc_s,
        what=MarkKind.NOTE,
        text=kept_as_typed(text),
        who=who,
    )


def add_tag(conn: sqlite3.Connection, melt: str, tag: str, *, utc_s: float, pour_number: int = 0) -> None:
    """A word to find a melt or a pour by; told twice it is there once."""
    melt_id, _, _ = find_melt(conn, melt)
    conn.execute("INSERT OR IGNORE INTO tags VALUES (?, ?, ?, ?)", (melt_id, pour_number, tag, utc_s))


def add_calibration(
    conn: sqlite3.Connection,
    furnace: str,
    probe: str,
    *,
    method: str,
    reference_c: float,
    offset_uv: float,
    who: str,
    utc_s: float,
    emf_uv: float | None = None,
    spread_uv: float | None = None,
    detail: str = "",
) -> int:
    """A calibration point of a probe, in emf; the row's id. Raises NotFound for a probe never recorded."""
    row = conn.execute(
        "SELECT p.id FROM probes p JOIN furnaces f ON f.id = p.furnace_id WHERE f.name = ? AND p.name = ?",
        (furnace, probe),
    ).fetchone()
    if row is None:
        raise NotFound(
            tell("calibration.probe_unrecorded", probe=probe, furnace=furnace),
            remedy=tell("calibration.probe_unrecorded.remedy"),
        )
    return insert(
        conn,
        "calibrations",
        probe_id=row[0],
        at_utc_s=utc_s,
        method=method,
        reference_c=reference_c,
        emf_uv=emf_uv,
        offset_uv=offset_uv,
        spread_uv=spread_uv,
        who=who,
        detail=detail,
    )


def store_photo_file(photos: Path, source: Path, suffix: str = "") -> tuple[str, str, int]:
    """Copy a photo into the photo folder under its hash, whole or not at all; (hash, suffix, bytes).

    `suffix` is what the file really is (photos.look_at); without it, what it is called.
    """
    body = source.read_bytes()
    digest = hashlib.sha256(body).hexdigest()
    suffix = suffix or source.suffix.lower()
    target = photos / f"{digest}{suffix}"
    if not target.exists():
        photos.mkdir(parents=True, exist_ok=True)
        partial = target.with_name(target.name + ".part")
        with partial.open("wb") as file:
            file.write(body)
            file.flush()
            os.fsync(file.fileno())
        partial.replace(target)
    return digest, suffix, len(body)


def add_photo(
    conn: sqlite3.Connection,
    melt: str,
    digest: str,
    suffix: str,
    size: int,
    *,
    who: str,
    utc_s: float,
    pour_number: int | None = None,
    caption: str = "",
) -> int:
    """A photo whose file is in the photo folder (`store_photo_file`); the row's id."""
    melt_id, _, _ = find_melt(conn, melt)
    return insert(
        conn,
        "photos",
        hash=digest,
        suffix=suffix,
        bytes=size,
        at_utc_s=utc_s,
        who=who,
        melt_id=melt_id,
        pour_number=pour_number,
        caption=caption,
    )


def correct_pour(
    conn: sqlite3.Connection, row_id: int, changes: Mapping[str, Column], *, who: str, why: str, utc_s: float
) -> int:
    """A new row of a pour that says `corrects = row_id`; the old one stays. Its id. Raises NotFound, BadInput."""
    if wrong := set(changes) - _CORRECTABLE:
        raise BadInput(
            tell("entry.not_correctable", fields=", ".join(sorted(wrong))), remedy=tell("entry.not_correctable.remedy")
        )
    cursor = conn.execute("SELECT * FROM pours WHERE id = ?", (row_id,))
    row = cursor.fetchone()
    if row is None:
        raise NotFound(tell("entry.no_row", row=row_id), remedy=tell("record.no_pour.remedy"))
    if conn.execute("SELECT 1 FROM pours WHERE corrects = ?", (row_id,)).fetchone() is not None:
        raise BadInput(tell("entry.row_corrected", row=row_id), remedy=tell("correction.overtaken.remedy"))
    old = dict(zip((name for name, *_ in cursor.description), row, strict=True))
    told = {"at_utc_s": utc_s, "who": who, "why": why, "table_name": "pours", "row_id": row_id}
    for field, new in changes.items():
        insert(conn, "corrections", **told, field=field, old=old[field], new=new)
    fresh = {**old, **changes, "corrects": row_id, "who": who, "why": why, "event_id": None}
    del fresh["id"]
    return insert(conn, "pours", **fresh)
