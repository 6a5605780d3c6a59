"""A small record with one of everything as SQL text, for the tests of migrations. Invented: the boat club.

    python tests/data/records/make_dump.py      writes NNNN.sql and NNNN.json of the schema this program has

Run it in the commit that brings a schema version, and never again once that version was released: what stands here is
what the program of that day wrote. The JSON has what plain questions to that record were answered.
"""

import importlib.util
import json
import sqlite3
import tempfile
from pathlib import Path
from typing import Any

from pourcall.contract.entries import ChargeEntry, ChargeRequest, MouldSetupRequest
from pourcall.contract.status import Reason
from pourcall.records.entries import charges, entries, setups
from pourcall.records.read.lookup import standing_row
from pourcall.records.write.recorder import Recorder

HERE = Path(__file__).parent
UTC_S = 1_780_000_000.0


def makers() -> Any:
    """Inputs of a made-up melt, from the parts of the record's tests."""
    spec = importlib.util.spec_from_file_location("records_parts", HERE.parents[1] / "records" / "conftest.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.Makers()


QUESTIONS = {
    "readings": "SELECT id, furnace, probe, session_id, seq, mono_s, utc_s, temp_c, u_c, status, reason, raw_kind,"
    " raw_value, cold_junction_c, flags, board, channel FROM readings ORDER BY id",
    "melts": "SELECT melt, alloy, charge_kg, began_utc_s FROM melts ORDER BY id",
    "plans": "SELECT melt_id, version, why, plan FROM melt_plans ORDER BY id",
    "endings": "SELECT melt_id, ending, utc_s FROM melt_endings ORDER BY id",
    "pours": "SELECT melt_id, number, mould, setup, lip_temp_c, at_utc_s FROM pours_now ORDER BY id",
    "all pours": "SELECT id, melt_id, number, mould, corrects, who, why FROM pours ORDER BY id",
    "dips": "SELECT melt_id, probe, number, temp_c, how FROM dips ORDER BY id",
    "results": "SELECT melt_id, pour_number, defect, severity, detail, corrects FROM results ORDER BY id",
    "notes": "SELECT melt_id, pour_number, what, text, who FROM notes ORDER BY id",
    "charges": "SELECT melt_id, mass_kg, source, remelts FROM charges ORDER BY id",
    "setups": "SELECT name, gating, mass_kg, thinnest_mm FROM mould_setups ORDER BY id",
    "calibrations": "SELECT probe_id, method, reference_c, offset_uv, who FROM calibrations ORDER BY id",
    "photos": "SELECT hash, suffix, bytes, melt_id, pour_number FROM photos ORDER BY id",
    "tags": "SELECT melt_id, pour_number, tag FROM tags ORDER BY 1, 2, 3",
    "events": "SELECT id, session_id, seq, type, body FROM events ORDER BY id",
    "roll-up": "SELECT session_id, span_s, slot, probe_id, n, n_bad, min_mc, max_mc, sum_mc, first_id, last_id"
    " FROM rollup ORDER BY 1, 2, 3, 4",
    "thinnings": "SELECT at_utc_s, who, why, first_id, last_id, keep_every_s, rows_before FROM thinnings ORDER BY id",
    "sessions": "SELECT furnace_id, began_utc_s, offset_ms FROM sessions ORDER BY id",
}


def fill(path: Path) -> None:
    """Two starts of the daemon; three melts, one without an end; odd rows; all a person may add."""
    for start in (0, 1):
        make = makers()
        make.base_s = UTC_S + 5e4 * start - 100.0
        recorder = Recorder(path, on_state=lambda *_: None, clock=lambda: 0.0)
        recorder.start(utc_s=UTC_S + 5e4 * start)
        recorder.begin_session("crucible", "[shop]\n", b'{"furnace":"crucible"}', 100.0, UTC_S + 5e4 * start)
        for melt in (1, 2) if start == 0 else (3,):
            number, at_s = f"2026-{melt:03d}", 100.0 + 200.0 * melt
            recorder.put("crucible", *make.start(at_s, make.plan(number)))
            for second in range(1, 60):
                bad = second == 30
                recorder.put(
                    "crucible",
                    *make.sample(
                        at_s + second + (1 / 3 if second % 9 == 0 else 0.0),
                        None if bad else 500.0 + second / 7,
                        reason=Reason.SENSOR_OPEN if bad else Reason.OK,
                        u_c=None if bad else 2.5,
                        late_s=0.4 if second == 40 else 0.0,
                    ),
                )
            recorder.put("crucible", *make.dip(at_s + 61.0))
            recorder.put("crucible", *make.pour(at_s + 62.0, number))
            if melt != 3:
                recorder.put("crucible", *make.end(at_s + 63.0, number))
        if start == 1:
            recorder.call(annotate).result(10)
        recorder.stop()


def annotate(conn: sqlite3.Connection) -> None:
    setups.describe_mould(
        conn, MouldSetupRequest(name="cleat_v1", add=True, gating="foot", mass_kg=0.4, thinnest_mm=6.0), UTC_S
    )
    returned = ChargeEntry(source="returns", mass_kg=0.5, remelts=2)
    charges.charge(conn, ChargeRequest(melt="2026-001", entries=(returned,)), UTC_S)
    entries.add_result(conn, "2026-001-1", "misrun", 2, who="Ann", utc_s=UTC_S + 9e4, detail="tip naïve")
    entries.add_result(conn, "2026-001-1", "misrun", 1, who="Ann", utc_s=UTC_S + 9.1e4)
    entries.add_result(conn, "2026-002-1", "sound", 0, who="Ben", utc_s=UTC_S + 9e4)
    entries.add_note(conn, "2026-001", "=1+1; 'quoted'", who="Ann", utc_s=UTC_S + 9e4, pour_number=1)
    entries.add_tag(conn, "2026-001", "series A", utc_s=UTC_S, pour_number=1)
    entries.add_photo(conn, "2026-001", "ab" * 32, ".jpg", 4711, who="Ann", utc_s=UTC_S, pour_number=1, caption="tip")
    entries.correct_pour(
        conn, standing_row(conn, "2026-001-1"), {"mould": "Cleat B"}, who="Ann", why="mixed up", utc_s=UTC_S
    )
    entries.add_calibration(
        conn,
        "crucible",
        "melt_probe",
        method="ice",
        reference_c=0.0,
        offset_uv=12.0,
        who="Ann",
        utc_s=UTC_S,
        emf_uv=-12.0,
        spread_uv=4.0,
    )


def answers(conn: sqlite3.Connection) -> dict[str, list[list[Any]]]:
    """What the record says to each question."""
    return {name: [list(row) for row in conn.execute(sql).fetchall()] for name, sql in QUESTIONS.items()}


def main() -> None:
    """Write both files."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.sqlite"
        fill(path)
        conn = sqlite3.connect(path)
        version, application = (
            conn.execute(f"PRAGMA {one}").fetchone()[0] for one in ("user_version", "application_id")
        )
        text = "\n".join(conn.iterdump())
        told = answers(conn)
        conn.close()
    head = f"PRAGMA application_id = {application};\nPRAGMA user_version = {version};\n"
    (HERE / f"{version:04d}.sql").write_text(f"{head}{text}\n", encoding="utf-8")
    (HERE / f"{version:04d}.json").write_text(json.dumps(told, ensure_ascii=False, indent=0) + "\n", encoding="utf-8")
    print(f"{version:04d}.sql: {len(text)} characters")


if __name__ == "__main__":
    main()
