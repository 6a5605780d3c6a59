"""A melt's temperatures as decided then and as they would be made now, side by side, from the same raw values.

The record stays as it is: recalibrating changes what comes, and here what is shown beside it. One row for each sample;
CSV with W3C CSVW metadata beside it, as the other exports.
"""

import json
import sqlite3
from pathlib import Path
from typing import NamedTuple, TextIO

from pourcall.contract.calibration import NO_CALIBRATION, Calibration
from pourcall.contract.config import ProbeConfig
from pourcall.contract.errors import NotFound, PourcallError
from pourcall.contract.frames import RawKind
from pourcall.contract.message import Message, tell
from pourcall.contract.version import VERSION
from pourcall.records.entries.calibrations import calibrations_in_force, latest_config, melt_config
from pourcall.records.read.store import Store
from pourcall.records.read.tracing import extent, melt_spans
from pourcall.reports.tables.csv_text import text_cell, write_whole
from pourcall.reports.tables.export import Exported, utc_text
from pourcall.texts import say
from pourcall.thermometry.compensation import to_temperature

HEAD = "elapsed_s,utc,probe,temp_c,temp_recomputed_c,reason,raw_kind,raw_value,cold_junction_c\n"
_KINDS = {
    "elapsed_s": "decimal",
    "utc": "dateTimeStamp",
    "probe": "string",
    "temp_c": "decimal",
    "temp_recomputed_c": "decimal",
    "reason": "string",
    "raw_kind": "string",
    "raw_value": "decimal",
    "cold_junction_c": "decimal",
}


class Corrections(NamedTuple):
    """What is applied now, by probe: the type of the couple and its calibration; and where it is from."""

    types: dict[str, str]
    now: dict[str, Calibration]
    words: tuple[Message, ...]


def recompute_melt(store: Store, melt: str, folder: Path) -> Exported:
    """`melt-2026-014-recomputed.csv`. Raises NotFound, StoreError, BadInput for points that contradict each other."""
    with store.reading() as conn:
        furnace, began_s, spans = melt_spans(conn, melt, 0.0)
        config = melt_config(conn, melt)
        if config is None:
            raise NotFound(tell("export.no_config", melt=melt), where=furnace, remedy=tell("export.no_config.remedy"))
        applied = _corrections(conn, furnace, config.probes)
        count = 0

        def fill(file: TextIO) -> None:
            nonlocal count
            file.write(HEAD)
            for span in spans:
                found = extent(conn, span)
                if found is None:
                    continue
                until_s = found.until_s if span.until_s is None else span.until_s
                rows = conn.execute(
                    "SELECT r.probe, r.mono_s, r.utc_s, r.temp_c, r.reason, r.raw_kind, r.raw_value,"
                    " r.cold_junction_c, j.extra FROM readings r JOIN journal j ON j.id = r.id"
                    " WHERE r.id BETWEEN ? AND ? AND r.session_id = ? ORDER BY r.id",
                    (found.first_id, found.last_id, span.session_id),
                )
                for probe, mono_s, utc_s, temp_c, reason, kind, raw, cold, extra in rows:
                    late_s = extra if isinstance(extra, float) else 0.0
                    at_s = mono_s - late_s
                    if not span.since_s <= at_s <= until_s:
                        continue
                    again_c = None if temp_c is None else _again(applied, probe, kind, raw, cold)
                    rest = f"{reason or ''},{kind},{_figure(raw, 4)},{_figure(cold, 4)}"
                    file.write(
                        f"{at_s + span.shift_s - began_s:.3f},{utc_text(utc_s - late_s)},{text_cell(probe)},"
                        f"{_figure(temp_c, 3)},{_figure(again_c, 3)},{rest}\n"
                    )
                    count += 1

        csv_path = folder / f"melt-{melt}-recomputed.csv"
        metadata_path = folder / f"{csv_path.name}-metadata.json"
        metadata = json.dumps(_metadata(csv_path.name, melt, applied), indent=2, ensure_ascii=False) + "\n"

        def describe(file: TextIO) -> None:
            file.write(metadata)

        write_whole([(csv_path, fill), (metadata_path, describe)])
    return Exported(csv_path, metadata_path, count)


def _corrections(conn: sqlite3.Connection, furnace: str, probes: tuple[ProbeConfig, ...]) -> Corrections:
    types = {probe.name: probe.tc_type for probe in probes}
    now: dict[str, Calibration] = {}
    words: list[Message] = []
    for name, one in calibrations_in_force(conn, furnace, types).items():
        if isinstance(one, PourcallError):
            raise one
        now[name] = one.calibration
        date, how = one.calibration.date, one.calibration.how
        words.append(tell("export.recomputed.calibration", probe=name, date=date, how=how))
    for probe in probes:
        if probe.name in now:
            continue
        newest = latest_config(conn, probe.name, furnace)
        offset_uv = next((one.offset_uv for one in newest.probes if one.name == probe.name), 0.0) if newest else 0.0
        now[probe.name] = Calibration(offset_uv=offset_uv) if offset_uv else NO_CALIBRATION
        if offset_uv:
            words.append(tell("export.recomputed.offset", probe=probe.name, offset_uv=offset_uv))
        else:
            words.append(tell("export.recomputed.none", probe=probe.name))
    return Corrections(types, now, tuple(words))


def _again(applied: Corrections, probe: str, kind: str, raw: float | None, cold_c: float | None) -> float | None:
    correction = applied.now.get(probe, NO_CALIBRATION)
    return to_temperature(RawKind(kind), raw, cold_c, applied.types.get(probe, "K"), correction)[0]


def _figure(value: float | None, places: int) -> str:
    return "" if value is None else f"{value:.{places}f}"


def _metadata(name: str, melt: str, applied: Corrections) -> dict[str, object]:
    return {
        "@context": ["http://www.w3.org/ns/csvw", {"@language": "en"}],
        "url": name,
        "dc:title": say(tell("export.recomputed.title", melt=melt)),
        "dc:description": say(tell("export.recomputed.applied", words=applied.words)),
        "dc:creator": f"pourcall {VERSION}",
        "tableSchema": {
            "columns": [
                {
                    "name": column,
                    "titles": column,
                    "datatype": kind,
                    "dc:description": say(tell(f"export.recomputed.column.{column}")),
                }
                for column, kind in _KINDS.items()
            ]
        },
    }
