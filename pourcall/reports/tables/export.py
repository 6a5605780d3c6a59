"""The trace of a melt or a pour as CSV with W3C CSVW metadata, JSON lines or Parquet. Same records, same bytes.

One row for each scan (readings within 0.25 s of each other, no probe twice), one column set for each probe:
temperature, uncertainty, status, reason. No number: an empty cell and the reason. No reading: four empty cells.
Source of the metadata: W3C Recommendation "Metadata Vocabulary for Tabular Data", 17 December 2015.
"""

import io
import json
import re
import sqlite3
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from math import inf
from pathlib import Path
from typing import Any, BinaryIO, TextIO

import msgspec

from pourcall.contract.message import Message, tell
from pourcall.contract.version import VERSION
from pourcall.records.entries.charges import charge_told
from pourcall.records.entries.melt_outcome import left_told
from pourcall.records.read.queries import melt as melt_detail
from pourcall.records.read.simulated_melts import invented_melts
from pourcall.records.read.store import Store
from pourcall.records.read.tracing import Extent, SessionStretch, extent, melt_spans, spans_thinnings
from pourcall.records.read.views import AFTER_POUR_S, MeltDetail, PourRow, dip_how
from pourcall.reports.tables.csv_text import number_cell, text_cell, write_whole, write_whole_bytes
from pourcall.reports.tables.row_alignment import SCAN_MS, scans
from pourcall.reports.tables.row_writers import (
    THINNED_COLUMN,
    CsvForm,
    Form,
    JsonForm,
    Kind,
    Lines,
    ParquetText,
    load_arrow,
)
from pourcall.texts import say


class Exported(msgspec.Struct, frozen=True):
    """What was written."""

    csv: Path  # the data, whatever its kind
    metadata: Path  # beside a CSV; the others say themselves what their columns are: the same path again
    rows: int


class _Job(msgspec.Struct, frozen=True):
    """One export: which stretches, where zero is, what is written beside the readings."""

    name: str
    title: str
    furnace: str
    began_s: float
    began_utc_s: float
    spans: list[tuple[SessionStretch, Extent]]
    probes: list[tuple[int, str]]  # id and name, in column order
    marks: list[tuple[float, str]]  # time on the axis of the first session
    thinned: str = ""  # what became of its readings, if not all are there
    thinned_to_s: float = 0.0  # the longest time between those that are left; 0: all are there


def export_melt(store: Store, melt: str, folder: Path, *, after_s: float = 0.0, kind: Kind = "csv") -> Exported:
    """`melt-2026-014.csv`: from the start to the end of a melt. Raises NotFound, StoreError, BadInput (no pyarrow)."""
    with store.reading() as conn:
        return _export(
            conn, _job(conn, melt, f"melt-{melt}", tell("export.melt", melt=melt), None, after_s), folder, kind
        )


def export_pour(
    store: Store, pour: str, folder: Path, *, after_s: float = AFTER_POUR_S, kind: Kind = "csv"
) -> Exported:
    """`pour-2026-014-1.csv`: from the start of the melt to `after_s` after the pour. Raises as `export_melt`."""
    found = store.pour(pour)
    title = tell("export.pour", pour=pour, mould=found.row.mould)
    with store.reading() as conn:
        until = (found.session_id, found.at_mono_s + after_s)
        return _export(conn, _job(conn, found.row.melt, f"pour-{pour}", title, until, after_s), folder, kind)


def melt_csv(store: Store, melt: str, *, after_s: float = 0.0) -> str:
    """The same text as `export_melt` writes, for an answer over the API. Raises NotFound."""
    text = io.StringIO()
    with store.reading() as conn:
        job = _job(conn, melt, f"melt-{melt}", tell("export.melt", melt=melt), None, after_s)
        _write_rows(text, conn, job, CsvForm([name for _, name in job.probes], thinned_to_s=job.thinned_to_s))
    return text.getvalue()


def export_pours(rows: Iterable[PourRow], path: Path) -> None:
    """A listing of pours as one CSV."""
    head = (
        "pour,at_utc,furnace,alloy,mould,setup,pot_temp_c,pot_u_c,lip_temp_c,lip_u_c,lip_min_c,lip_max_c,result,batch"
    )
    listed = [
        ",".join(
            (
                text_cell(r.pour),
                utc_text(r.at_utc_s),
                text_cell(r.furnace),
                text_cell(r.alloy),
                text_cell(r.mould),
                text_cell(r.setup),
                number_cell(r.pot_temp_c, 1),
                number_cell(r.pot_u_c, 1),
                number_cell(r.lip_temp_c, 1),
                number_cell(r.lip_u_c, 1),
                number_cell(r.lip_min_c, 1),
                number_cell(r.lip_max_c, 1),
                text_cell(r.result),
                text_cell(r.batch),
            )
        )
        for r in rows
    ]
    write_whole([(path, lambda file: _put(file, "\n".join([head, *listed]) + "\n"))])


def _put(file: TextIO, text: str) -> None:
    file.write(text)


def utc_text(utc_s: float) -> str:
    """`2026-05-14T10:11:12.345Z`."""
    return datetime.fromtimestamp(round(utc_s * 1000.0) / 1000.0, UTC).isoformat(timespec="milliseconds")[:-6] + "Z"


def _job(
    conn: sqlite3.Connection, melt: str, name: str, title: Message, until: tuple[int, float] | None, after_s: float
) -> _Job:
    furnace, began_s, spans = melt_spans(conn, melt, after_s)
    if until is not None:
        session_id, until_s = until
        spans = [
            msgspec.structs.replace(span, until_s=until_s) if span.session_id == session_id else span
            for span in spans
            if span.session_id <= session_id
        ]
    known = [(span, found) for span in spans if (found := extent(conn, span)) is not None]
    asked = ",".join("?" * len(spans))
    probes = conn.execute(
        "SELECT DISTINCT p.id, p.name FROM sources s JOIN probes p ON p.id = s.probe_id"
        f" WHERE s.session_id IN ({asked}) ORDER BY p.name",
        [span.session_id for span in spans],
    ).fetchall()
    detail = melt_detail(conn, melt)
    marks, invented = list(_marks(detail, began_s)), melt in invented_melts(conn)
    if invented:
        marks.append((began_s, say(tell("export.invented"))))
    return _Job(
        name=re.sub(r"[^A-Za-z0-9._@-]", "_", name),
        title=say(tell("export.title_invented", title=title) if invented else title),
        furnace=furnace,
        began_s=began_s,
        began_utc_s=detail.row.began_utc_s,
        spans=known,
        probes=probes,
        marks=sorted(marks),
        thinned=detail.thinned,
        thinned_to_s=max((one.keep_every_s for one in spans_thinnings(conn, spans)), default=0.0),
    )


def _marks(detail: MeltDetail, began_s: float) -> Iterator[tuple[float, str]]:
    """What happened, by its time on the axis. UTC differences serve: a step of the clock moves a mark, no reading."""
    base_s = began_s - detail.row.began_utc_s
    yield began_s, say(tell("export.began", melt=detail.row.melt, alloy=detail.row.alloy_name))
    if detail.thinned:
        yield began_s, detail.thinned
    for charge in detail.charges:
        if not charge.added:  # an addition is among the notes, at its time
            yield began_s, say(tell("export.charge", charge=charge_told(charge)))
    for plan in detail.plans[1:]:
        yield base_s + plan.at_utc_s, say(tell("export.plan_changed", why=plan.why))
    for dip in detail.dips:
        told = tell("export.dip_useless", number=dip.number, probe=dip.probe, why=dip.why)
        if dip.temp_c is not None:
            told = tell(
                "export.dip", number=dip.number, probe=dip.probe, degrees=dip.temp_c, how=dip_how(dip.how, dip.widened)
            )
        yield base_s + dip.ended_utc_s, say(told)
    for pour in detail.pours:
        yield base_s + pour.at_utc_s, say(tell("export.poured", number=pour.number, mould=pour.mould))
    for note in detail.notes:
        yield base_s + note.at_utc_s, say(tell("export.note", what=note.what, text=note.text))
    for gap in detail.gaps:
        yield base_s + gap.began_utc_s, say(tell("export.gap", board=gap.board, reason=gap.reason))
    if detail.row.ended_utc_s is not None:
        ending = say(tell("ending.how", ending=detail.row.outcome))
        words = [ending, detail.row.ending_detail, say(left_told(detail.left))]
        how = ", ".join(word for word in words if word)
        yield base_s + detail.row.ended_utc_s, say(tell("export.ended", how=how))


def _export(conn: sqlite3.Connection, job: _Job, folder: Path, kind: Kind) -> Exported:
    path = folder / f"{job.name}.{kind}"
    metadata_path = folder / f"{job.name}.csv-metadata.json"
    count = 0
    names = [name for _, name in job.probes]
    if kind == "parquet":
        arrow = load_arrow()

        def fill_bytes(file: BinaryIO) -> None:
            nonlocal count
            with ParquetText(arrow, file, names, title=job.title) as text:
                count = _write_rows(text, conn, job, JsonForm(names))

        write_whole_bytes(path, fill_bytes)
        return Exported(path, path, count)

    def fill(file: TextIO) -> None:
        nonlocal count
        form = JsonForm(names) if kind == "jsonl" else CsvForm(names, thinned_to_s=job.thinned_to_s)
        count = _write_rows(file, conn, job, form)

    if kind == "jsonl":
        write_whole([(path, fill)])
        return Exported(path, path, count)
    metadata = json.dumps(_metadata(job), indent=2, ensure_ascii=False) + "\n"
    write_whole([(path, fill), (metadata_path, lambda file: _put(file, metadata))])
    return Exported(path, metadata_path, count)


def _write_rows(file: Lines, conn: sqlite3.Connection, job: _Job, form: Form) -> int:
    """Plain string work, one pass, no object for each reading."""
    file.write(form.head)
    as_line = form.line
    column_of = {probe: at for at, (probe, _) in enumerate(job.probes)}
    marks = list(reversed(job.marks))
    lines: list[str] = []
    count = 0
    second, second_text = -1, ""
    began_s = job.began_s
    next_mark_s = marks[-1][0] if marks else inf

    def emit(time_s: float, utc_ms: int, body: str) -> None:
        nonlocal second, second_text, count, next_mark_s
        mark = ""
        if time_s >= next_mark_s:
            due = []
            while marks and marks[-1][0] <= time_s:
                due.append(marks.pop()[1])
            mark = "; ".join(due)
            next_mark_s = marks[-1][0] if marks else inf
        whole, ms = divmod(utc_ms, 1000)
        if whole != second:
            second, second_text = whole, datetime.fromtimestamp(whole, UTC).strftime("%Y-%m-%dT%H:%M:%S")
        lines.append(as_line(f"{time_s - began_s:.3f}", f"{second_text}.{ms:03d}Z", body, mark))
        count += 1
        if len(lines) >= 2000:
            file.writelines(lines)
            lines.clear()

    last_s, last_utc_ms = job.began_s, round(job.began_utc_s * 1000.0)
    for span, found in job.spans:
        place_of = {
            source: column_of[probe]
            for source, probe in conn.execute(
                "SELECT id, probe_id FROM sources WHERE session_id = ? AND probe_id IS NOT NULL", (span.session_id,)
            )
        }
        (offset_ms,) = conn.execute("SELECT offset_ms FROM sessions WHERE id = ?", (span.session_id,)).fetchone()
        shift_s = span.shift_s
        until_s = found.until_s if span.until_s is None else span.until_s
        found_scans = scans(
            conn,
            found,
            place_of,
            form,
            len(job.probes),
            since_ms=span.since_s * 1000.0,
            until_ms=until_s * 1000.0,
            offset_ms=offset_ms,
        )
        for at_ms, utc_ms, body in found_scans:
            last_s, last_utc_ms = at_ms / 1000.0 + shift_s, utc_ms
            emit(last_s, last_utc_ms, body)
    end_s = max((span.shift_s + (span.until_s or found.until_s) for span, found in job.spans), default=inf)
    while marks and marks[-1][0] <= end_s:
        time_s = max(marks[-1][0], last_s)
        emit(time_s, last_utc_ms + round((time_s - last_s) * 1000.0), form.body([form.empty] * len(job.probes)))
    file.writelines(lines)
    return count


def _metadata(job: _Job) -> dict[str, Any]:
    columns: list[dict[str, Any]] = [
        _column("elapsed_s", "decimal", say(tell("export.column.elapsed")), required=True),
        _column("utc", "dateTimeStamp", say(tell("export.column.utc")), required=True),
    ]
    for _, probe in job.probes:
        columns += [
            _column(f"{probe}_temp_c", "decimal", say(tell("export.column.temperature", probe=probe))),
            _column(f"{probe}_u_c", "decimal", say(tell("export.column.u"))),
            _column(f"{probe}_status", "string", say(tell("export.column.status"))),
            _column(f"{probe}_reason", "string", say(tell("export.column.reason"))),
        ]
    about = tell("export.about", furnace=job.furnace, window=SCAN_MS)
    if job.thinned:
        about = tell("export.about_thinned", about=about, thinned=job.thinned)
    columns.append(_column("mark", "string", say(tell("export.column.mark"))))
    if job.thinned_to_s:
        columns.append(_column(THINNED_COLUMN, "decimal", say(tell("export.column.thinned_to"))))
    return {
        "@context": ["http://www.w3.org/ns/csvw", {"@language": "en"}],
        "url": f"{job.name}.csv",
        "dc:title": job.title,
        "dc:description": say(about),
        "dc:creator": f"pourcall {VERSION}",
        "dialect": {
            "encoding": "utf-8",
            "delimiter": ",",
            "quoteChar": '"',
            "doubleQuote": True,
            "header": True,
            "headerRowCount": 1,
            "lineTerminators": ["\n"],
        },
        "tableSchema": {"columns": columns},
    }


def _column(name: str, datatype: str, description: str, *, required: bool = False) -> dict[str, Any]:
    column: dict[str, Any] = {"name": name, "titles": name, "datatype": datatype, "dc:description": description}
    return {**column, "required": True} if required else column
