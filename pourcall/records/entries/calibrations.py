"""Calibrations on record, and the raw samples they were made from. Rows are added, never altered.

In: a connection (read-only for the readers). Out: `PointRow`, `InForce`, raw samples of a melt. Not here: what they
mean (daemon.calibrate), the one writer (recorder.py).
"""

import sqlite3
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import msgspec

from pourcall.calibration.history import InForce, PointDetail, PointPart, PointRow, in_force
from pourcall.contract.config import EngineConfig
from pourcall.contract.errors import BadInput, NotFound, PourcallError, StoreError
from pourcall.contract.events import PowerMarked
from pourcall.contract.frames import RawKind
from pourcall.contract.inputs import PowerLevel
from pourcall.contract.message import tell
from pourcall.records.entries.entries import add_calibration
from pourcall.records.read.tracing import extent, melt_spans
from pourcall.records.upkeep.opening import connect, open_database
from pourcall.texts import written

if TYPE_CHECKING:  # the daemon reads what is in force at its start and needs none of the finding
    from pourcall.calibration.correction import FoundPoint, ProbeFacts, RawSample

T = TypeVar("T")
WAIT_S = 5.0  # for the daemon's writer to let go of the file; it holds it for milliseconds
_COLUMNS = (
    "SELECT c.id, f.name, p.name, c.at_utc_s, c.method, c.reference_c, c.emf_uv, c.offset_uv, c.spread_uv, c.who,"
    " c.detail, c.corrects"
    " FROM calibrations c JOIN probes p ON p.id = c.probe_id JOIN furnaces f ON f.id = p.furnace_id"
)


def calibration_rows(conn: sqlite3.Connection, probe: str = "", furnace: str = "") -> list[PointRow]:
    """Every point on record in the order it was entered, of one probe or of all."""
    wanted = [(name, value) for name, value in (("p.name", probe), ("f.name", furnace)) if value]
    where = " WHERE " + " AND ".join(f"{name} = ?" for name, _ in wanted) if wanted else ""
    rows = conn.execute(f"{_COLUMNS}{where} ORDER BY c.id", [value for _, value in wanted])
    return [
        PointRow(
            id=r[0],
            furnace=r[1],
            probe=r[2],
            at_utc_s=r[3],
            method=r[4],
            reference_c=r[5],
            emf_uv=r[6],
            offset_uv=r[7],
            spread_uv=r[8],
            who=r[9],
            detail=_detail(r[10]),
            corrects=r[11],
        )
        for r in rows
    ]


def _detail(text: str) -> PointDetail | None:
    """None for words a person entered instead."""
    try:
        return msgspec.json.decode(text, type=PointDetail)
    except msgspec.MsgspecError:
        return None


def calibrations_in_force(
    conn: sqlite3.Connection, furnace: str, tc_types: Mapping[str, str]
) -> dict[str, InForce | PourcallError]:
    """For each probe (name -> type of couple) what corrects it; an error where its points contradict each other.

    Probes without a calibration for their type are left out.
    """
    out: dict[str, InForce | PourcallError] = {}
    for probe, tc_type in tc_types.items():
        try:
            found = in_force(calibration_rows(conn, probe, furnace), tc_type)
        except PourcallError as err:
            out[probe] = err
            continue
        if found is not None:
            out[probe] = found
    return out


def add_point(
    conn: sqlite3.Connection,
    facts: "ProbeFacts",
    found: "FoundPoint",
    *,
    who: str,
    utc_s: float,
    source: str,
    due_days: float,
    grade: str,
    depth_mm: float | None,
) -> int:
    """Keep a point; the row's id. Furnace and probe are entered where they were never recorded."""
    conn.execute("INSERT OR IGNORE INTO furnaces (name) VALUES (?)", (facts.furnace,))
    conn.execute(
        "INSERT OR IGNORE INTO probes (furnace_id, name) SELECT id, ? FROM furnaces WHERE name = ?",
        (facts.name, facts.furnace),
    )
    plateau = {
        key: round(value, 4) if isinstance(value, float) else value
        for key, value in msgspec.structs.asdict(found.plateau).items()
    }
    detail = PointDetail(
        point=found.point.key,
        tc_type=facts.tc_type,
        due_days=due_days,
        with_board=found.with_board,
        source=source,
        grade="" if found.point.kind == "bath" else grade,
        depth_mm=depth_mm,
        error_c=round(found.error_c, 4),
        standard_c=round(found.standard_c, 4),
        parts=tuple(PointPart(part.name, round(part.standard_c, 4), written(part.words)) for part in found.parts),
        plateau=plateau,
    )
    method = found.point.key if found.point.kind == "bath" else "arrest"
    return add_calibration(
        conn,
        facts.furnace,
        facts.name,
        method=method,
        reference_c=round(found.point.temp_c, 4),
        offset_uv=round(found.offset_uv, 3),
        who=who,
        utc_s=utc_s,
        emf_uv=round(found.emf_uv, 3),
        spread_uv=round(found.spread_uv, 3),
        detail=msgspec.json.encode(detail).decode(),
    )


def write_aside(path: Path, function: Callable[[sqlite3.Connection], T], *, utc_s: float) -> T:
    """One transaction beside a daemon that may be running: SQLite keeps the writers apart, the daemon's retries.

    Begins a record where there is none. Raises StoreError where the file cannot be had within WAIT_S.
    """
    if path.exists():
        conn = connect(path)
    else:
        conn, _ = open_database(path, utc_s=utc_s)
    with closing(conn):
        conn.execute(f"PRAGMA busy_timeout = {int(WAIT_S * 1000.0)}")
        began_s = time.monotonic()
        try:
            conn.execute("BEGIN IMMEDIATE")
            try:
                result = function(conn)
                conn.execute("COMMIT")
            except BaseException:
                conn.execute("ROLLBACK")
                raise
        except sqlite3.Error as err:
            waited_s = time.monotonic() - began_s
            raise StoreError(
                tell("record.write_failed", error=str(err), waited_s=waited_s),
                where=str(path),
                remedy=tell("record.write_failed.remedy"),
            ) from err
    return result


def latest_config(conn: sqlite3.Connection, probe: str, furnace: str = "") -> EngineConfig | None:
    """The newest configuration on record that has this probe."""
    rows = conn.execute(
        "SELECT t.body FROM sessions s JOIN texts t ON t.hash = s.config_hash JOIN furnaces f ON f.id = s.furnace_id"
        " WHERE ? IN ('', f.name) ORDER BY s.id DESC",
        (furnace,),
    )
    for (body,) in rows:
        config = _config(body)
        if config is not None and any(one.name == probe for one in config.probes):
            return config
    return None


def _config(body: str) -> EngineConfig | None:
    try:
        return msgspec.json.decode(body, type=EngineConfig)
    except (msgspec.MsgspecError, BadInput):
        return None


def melt_config(conn: sqlite3.Connection, melt: str) -> EngineConfig | None:
    """The configuration a melt began under."""
    row = conn.execute(
        "SELECT t.body FROM melts m JOIN sessions s ON s.id = m.session_id JOIN texts t ON t.hash = s.config_hash"
        " WHERE m.melt = ?",
        (melt,),
    ).fetchone()
    return None if row is None else _config(row[0])


def raw_samples(conn: sqlite3.Connection, melt: str, probe: str, *, after_s: float = 0.0) -> "Iterator[RawSample]":
    """What the board said of a probe in a melt, uncorrected, in order. Raises NotFound for melt or probe."""
    from pourcall.calibration.correction import RawSample

    furnace, began_s, spans = melt_spans(conn, melt, after_s)
    seen = False
    for span in spans:
        found = extent(conn, span)
        sources = {
            row[0]: RawKind(row[1])
            for row in conn.execute(
                "SELECT s.id, s.raw_kind FROM sources s JOIN probes p ON p.id = s.probe_id"
                " WHERE s.session_id = ? AND p.name = ?",
                (span.session_id, probe),
            )
        }
        seen = seen or bool(sources)
        if found is None or not sources:
            continue
        until_s = found.until_s if span.until_s is None else span.until_s
        rows = conn.execute(
            "SELECT source, mono, value, cold, extra, temp_mc FROM journal WHERE id BETWEEN ? AND ? ORDER BY id",
            (found.first_id, found.last_id),
        )
        for source, mono, value, cold, extra, temp_mc in rows:
            kind = sources.get(source)
            if kind is None:
                continue
            at_s = (mono / 1000.0 if type(mono) is int else mono) - (extra if type(extra) is float else 0.0)
            if span.since_s <= at_s <= until_s:
                number = None if temp_mc is None else _fixed(value)  # a fault's raw value is no measurement
                yield RawSample(at_s + span.shift_s - began_s, kind, number, _fixed(cold))
    if not seen:
        raise NotFound(
            tell("calibration.no_samples", probe=probe, melt=melt),
            where=furnace,
            remedy=tell("calibration.no_samples.remedy"),
        )


def power_marks(conn: sqlite3.Connection, melt: str) -> list[tuple[float, bool]]:
    """From when on the power was said to be on in a melt, or off, in the time of `raw_samples`. Raises NotFound."""
    _, began_s, spans = melt_spans(conn, melt, 0.0)
    found = []
    for span in spans:
        bodies = conn.execute(
            "SELECT body FROM events WHERE session_id = ? AND type = 'power_marked' ORDER BY id", (span.session_id,)
        )
        for (body,) in bodies:
            marked = msgspec.json.decode(body, type=PowerMarked)
            found.append((marked.at_mono_s + span.shift_s - began_s, marked.level is not PowerLevel.OFF))
    return sorted(found)


def _fixed(value: int | float | None) -> float | None:
    """Ten-thousandths where an integer, else as it is (see codec.pack_fixed)."""
    return value / 10000.0 if type(value) is int else value
