"""Records of every schema version there was, brought to the one of today. Nothing may read otherwise."""

import hashlib
import importlib.util
import json
import sqlite3
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from pourcall.contract.errors import StoreError
from pourcall.records.read.journal import read_events, read_inputs
from pourcall.records.read.store import Store
from pourcall.records.upkeep.migrate import Step, shipped_steps
from pourcall.records.upkeep.opening import open_database
from pourcall.records.write.recorder import Recorder
from pourcall.reports.tables.export import melt_csv
from tests.told import refused

DATA = Path(__file__).parents[1] / "data" / "records"
UTC_S = 1_780_000_000.0
NEWEST = shipped_steps()[-1].version
VERSIONS = range(1, NEWEST + 1)


@pytest.fixture(scope="module")
def questions() -> ModuleType:
    spec = importlib.util.spec_from_file_location("records_make_dump", DATA / "make_dump.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(params=VERSIONS)
def old(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    """A file as that version left it."""
    path = tmp_path / "pourcall.sqlite"
    conn = sqlite3.connect(path)
    conn.executescript((DATA / f"{request.param:04d}.sql").read_text("utf-8"))
    assert conn.execute("PRAGMA user_version").fetchone() == (request.param,)
    conn.close()
    return path


def version_of(path: Path) -> int:
    conn = sqlite3.connect(path)
    try:
        return int(conn.execute("PRAGMA user_version").fetchone()[0])
    finally:
        conn.close()


def answers(path: Path, questions: ModuleType) -> Any:
    conn = sqlite3.connect(path)
    try:
        return json.loads(json.dumps(questions.answers(conn)))
    finally:
        conn.close()


def test_a_record_of_every_version_is_kept() -> None:
    assert sorted(path.stem for path in DATA.glob("*.sql")) == [f"{version:04d}" for version in VERSIONS]


def test_brought_to_today_it_answers_every_question_as_it_did(old: Path, questions: ModuleType) -> None:
    version = version_of(old)
    told = json.loads((DATA / f"{version:04d}.json").read_text("utf-8"))
    assert answers(old, questions) == told
    conn, findings = open_database(old, utc_s=UTC_S)
    try:
        assert findings == ()
        assert conn.execute("PRAGMA user_version").fetchone() == (NEWEST,)
        assert conn.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert conn.execute("PRAGMA foreign_key_check").fetchall() == []
    finally:
        conn.close()
    assert answers(old, questions) == told
    if version < NEWEST:  # and the file as it was lies beside it
        copy = old.with_name(f"{old.name}.before-schema-{NEWEST}")
        assert version_of(copy) == version
        assert answers(copy, questions) == told


def test_brought_to_today_it_has_the_schema_of_a_new_file(old: Path, tmp_path: Path) -> None:
    open_database(old, utc_s=UTC_S)[0].close()
    open_database(tmp_path / "new.sqlite", utc_s=UTC_S)[0].close()

    def schema(path: Path) -> set[tuple[Any, ...]]:
        conn = sqlite3.connect(path)
        try:
            names = [name for (name,) in conn.execute("SELECT name FROM sqlite_master WHERE type IN ('table', 'view')")]
            columns = {(name, *row[1:]) for name in names for row in conn.execute(f"PRAGMA table_info({name})")}
            others = conn.execute("SELECT type, name, tbl_name FROM sqlite_master WHERE type IN ('trigger', 'index')")
            return columns | set(others.fetchall())
        finally:
            conn.close()

    assert schema(old) == schema(tmp_path / "new.sqlite")


def test_it_is_read_exported_and_written_on(old: Path, make: Any) -> None:
    Store.open(old, utc_s=UTC_S).close()
    with Store.read(old) as store:
        assert {row.melt for row in store.melts()} >= {"2026-001", "2026-002", "2026-003"}
        assert store.pour("2026-001-1").row.mould == "Cleat B"
        assert store.pour("2026-001-1").row.result == "misrun 1"
        assert len(list(read_inputs(store, 2))) == 62
        assert [event.seq for event in read_events(store, 2)] == [1, 61, 62]
        assert melt_csv(store, "2026-002").count("\n") > 55
        assert len(store.melt_trace("2026-002", 100).probes["melt_probe"]) > 50
    recorder = Recorder(old, on_state=lambda *_: None, clock=lambda: 0.0)
    recorder.start(utc_s=UTC_S + 1e6)
    recorder.begin_session("crucible", "", b"{}", 100.0, UTC_S + 1e6)
    make.base_s = UTC_S + 1e6 - 100.0
    recorder.put("crucible", *make.start(101.0, make.plan("2026-004")))
    recorder.put("crucible", *make.sample(102.0))
    recorder.put("crucible", *make.pour(103.0, "2026-004"))
    assert recorder.stop() == 0
    with Store.read(old) as store:
        assert store.melts()[0].melt == "2026-004"
        assert store.pours()[0].pour == "2026-004-1"


def test_a_step_that_fails_leaves_what_it_was_with_every_answer(old: Path, questions: ModuleType) -> None:
    """Fault D8, for each version: the steps before the failing one are done and whole, it is not begun."""
    told = answers(old, questions)
    broken = Step(NEWEST + 1, "CREATE TABLE more (a INTEGER) STRICT;\nINSERT INTO nowhere VALUES (1);\n")
    with refused(StoreError, "record.migration_failed", schema=NEWEST + 1):
        open_database(old, utc_s=UTC_S, steps=[*shipped_steps(), broken])
    assert version_of(old) == NEWEST
    assert answers(old, questions) == told
    conn = sqlite3.connect(old)
    assert conn.execute("SELECT 1 FROM sqlite_master WHERE name = 'more'").fetchone() is None
    conn.close()


def test_of_a_newer_program_not_a_byte_is_touched(old: Path) -> None:
    """Fault D7."""
    conn = sqlite3.connect(old)
    conn.execute(f"PRAGMA user_version = {NEWEST + 1}")
    conn.close()
    before = hashlib.sha256(old.read_bytes()).hexdigest()
    for opens in (
        lambda: Store.open(old, utc_s=UTC_S),
        lambda: Store.read(old),
        lambda: open_database(old, utc_s=UTC_S),
    ):
        with refused(StoreError, "record.newer"):
            opens()
    assert hashlib.sha256(old.read_bytes()).hexdigest() == before
    assert [path.name for path in old.parent.iterdir()] == [old.name]
