"""Opening and versions. A newer file stays byte for byte, damage is set aside, a torn log costs its tail only."""

import hashlib
import shutil
import sqlite3
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from pourcall.contract.errors import NotFound, StoreError
from pourcall.contract.message import Message
from pourcall.records.read.journal import read_inputs
from pourcall.records.read.store import Store
from pourcall.records.upkeep.migrate import APPLICATION_ID, PAGE_BYTES, Step, shipped_steps, statements
from pourcall.records.upkeep.opening import open_database
from pourcall.records.upkeep.walfile import read_header, read_wal
from tests.told import refused

UTC_S = 1_780_000_000.0
DATA = Path(__file__).parents[1] / "data" / "schema"
Maker = Any


def hashes(folder: Path) -> dict[str, str]:
    return {file.name: hashlib.sha256(file.read_bytes()).hexdigest() for file in sorted(folder.iterdir())}


def filled(database: Path, recording: Any, make: Maker, notes: int = 30) -> None:
    recorder = recording()
    for n in range(notes):
        recorder.wait(recorder.put("crucible", *make.note(101.0 + n))).result(5)
    recorder.stop()


def test_the_schema_shipped_as_version_1_is_never_edited() -> None:
    shipped = {step.version: step.sql for step in shipped_steps()}
    kept = {int(file.name[:4]): file.read_text(encoding="utf-8") for file in sorted(DATA.glob("*.sql"))}
    assert shipped == kept
    assert sorted(shipped) == list(range(1, len(shipped) + 1))


def test_every_shipped_version_comes_up_to_the_newest_with_its_rows(tmp_path: Path) -> None:
    newest = shipped_steps()[-1].version
    for version in range(1, newest + 1):
        path = tmp_path / f"v{version}.sqlite"
        conn, _ = open_database(path, utc_s=UTC_S, steps=shipped_steps()[:version])
        conn.execute("INSERT INTO furnaces (name) VALUES ('crucible')")
        conn.close()
        conn, findings = open_database(path, utc_s=UTC_S)
        assert conn.execute("SELECT name FROM furnaces").fetchall() == [("crucible",)]
        assert conn.execute("PRAGMA user_version").fetchone() == (newest,)
        assert conn.execute("PRAGMA application_id").fetchone() == (APPLICATION_ID,)
        assert not findings
        conn.close()


def test_statements_of_a_script_come_one_by_one_and_triggers_whole() -> None:
    found = list(statements(shipped_steps()[0].sql))
    assert sum("CREATE TRIGGER" in one for one in found) > 30
    assert all(one.count("CREATE ") == 1 for one in found if "INSERT INTO state" not in one)
    with pytest.raises(StoreError):
        list(statements("CREATE TABLE half (a"))


@pytest.mark.parametrize("in_the_log_only", [False, True])
def test_a_newer_database_is_refused_and_not_a_byte_is_touched(tmp_path: Path, in_the_log_only: bool) -> None:
    """Fault D7; also when the newer version stands only in the log a cut-off program left behind."""
    live, home = tmp_path / "live", tmp_path / "home"
    live.mkdir()
    conn, _ = open_database(live / "a.sqlite", utc_s=UTC_S)
    conn.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    conn.execute("PRAGMA user_version = 99")
    if not in_the_log_only:
        conn.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    shutil.copytree(live, home)
    conn.close()
    header = read_header(home / "a.sqlite")
    assert header is not None
    assert header.user_version == (shipped_steps()[-1].version if in_the_log_only else 99)
    before = hashes(home)
    for opens in (lambda path: Store.open(path, utc_s=UTC_S), Store.read):
        with refused(StoreError, "record.newer"):
            opens(home / "a.sqlite")
        assert hashes(home) == before


def test_a_database_of_another_program_is_refused_untouched(tmp_path: Path) -> None:
    path = tmp_path / "a.sqlite"
    conn = sqlite3.connect(path)
    conn.execute("CREATE TABLE theirs (a)")
    conn.execute("PRAGMA application_id = 77")
    conn.commit()
    conn.close()
    before = hashes(tmp_path)
    with refused(StoreError, "record.foreign"):
        Store.open(path, utc_s=UTC_S)
    assert hashes(tmp_path) == before


def test_a_migration_that_fails_at_any_statement_leaves_the_old_version_whole(
    database: Path, recording: Any, make: Maker
) -> None:
    """Fault D8: each statement of the step in turn is replaced by one that fails."""
    filled(database, recording, make)
    good = ["CREATE TABLE more (a INTEGER) STRICT;", "INSERT INTO more VALUES (1);", "ALTER TABLE more ADD COLUMN b;"]
    good[2] = "ALTER TABLE more ADD COLUMN b TEXT;"
    first = shipped_steps()
    next_version = first[-1].version + 1
    for at in range(len(good) + 1):
        sql = "\n".join([*good[:at], "INSERT INTO nowhere VALUES (1);", *good[at:]])
        with refused(StoreError, "record.migration_failed"):
            open_database(database, utc_s=UTC_S, steps=[*first, Step(next_version, sql)])
        conn = sqlite3.connect(database)
        assert conn.execute("PRAGMA user_version").fetchone() == (next_version - 1,)
        assert conn.execute("SELECT count(*) FROM sqlite_master WHERE name = 'more'").fetchone() == (0,)
        assert conn.execute("SELECT count(*) FROM journal").fetchone() == (30,)
        conn.close()
    conn, _ = open_database(database, utc_s=UTC_S, steps=[*first, Step(next_version, "\n".join(good))])
    assert conn.execute("SELECT a, b FROM more").fetchall() == [(1, None)]
    conn.close()
    copy = sqlite3.connect(database.with_name(f"{database.name}.before-schema-{next_version}"))
    assert copy.execute("PRAGMA user_version").fetchone() == (next_version - 1,)
    assert copy.execute("SELECT count(*) FROM journal").fetchone() == (30,)
    copy.close()


def test_a_damaged_page_is_found_and_the_file_set_aside_never_deleted(
    database: Path, recording: Any, make: Maker
) -> None:
    """Fault D4."""
    filled(database, recording, make)
    body = bytearray(database.read_bytes())
    size = PAGE_BYTES
    for page in range(2, len(body) // size, 3):
        body[page * size : page * size + 64] = b"\xa5" * 64
    database.write_bytes(bytes(body))
    store = Store.open(database, utc_s=UTC_S)
    assert [finding.kind for finding in store.findings] == ["store_damaged"]
    assert store.melts() == ()
    store.close()
    aside = database.with_name("pourcall.sqlite.damaged-20260528T202640Z")
    assert aside.read_bytes()[2 * size : 2 * size + 64] == b"\xa5" * 64
    detail = store.findings[0].detail
    assert isinstance(detail, Message)
    assert detail.facts["file"] == aside.name


def test_another_program_that_closes_the_file_never_takes_the_log_of_a_running_daemon_away(tmp_path: Path) -> None:
    """SQLite, "How To Corrupt An SQLite Database File", 2.2: whoever closes a file drops all its own locks on it."""
    path = tmp_path / "pourcall.sqlite"
    conn, _ = open_database(path, utc_s=UTC_S)
    Store.read(path).close()  # as the daemon does for every listing asked of it
    log = path.with_name(path.name + "-wal").stat().st_ino
    look = f"import sqlite3; c = sqlite3.connect({str(path)!r}); c.execute('SELECT * FROM melts').fetchall(); c.close()"
    subprocess.run([sys.executable, "-c", look], check=True, timeout=60)
    assert path.with_name(path.name + "-wal").stat().st_ino == log
    conn.execute("INSERT INTO furnaces (name) VALUES ('crucible')")
    other = sqlite3.connect(path)
    assert other.execute("SELECT name FROM furnaces").fetchall() == [("crucible",)]
    other.close()
    conn.close()


def test_bytes_that_are_no_text_anywhere_in_the_schema_set_the_file_aside_or_do_no_harm(
    database: Path, recording: Any, make: Maker
) -> None:
    """SQLite quotes what it read; a message it cannot write as text is damage like any other."""
    filled(database, recording, make, notes=3)
    whole = database.read_bytes()
    for at in range(120, 4 * PAGE_BYTES, PAGE_BYTES // 5):
        database.write_bytes(whole[:at] + b"\xa5" * 16 + whole[at + 16 :])
        store = Store.open(database, utc_s=UTC_S)
        assert [finding.kind for finding in store.findings] in ([], ["store_damaged"])
        store.close()
        for file in database.parent.glob("pourcall.sqlite*"):
            file.unlink()


def test_a_file_that_is_no_database_is_set_aside_and_a_second_one_beside_it(tmp_path: Path) -> None:
    path = tmp_path / "a.sqlite"
    for text in ("not a database at all", "nor this"):
        path.write_text(text * 100)
        store = Store.open(path, utc_s=UTC_S)
        assert store.findings[0].kind == "store_damaged"
        store.close()
        path.unlink()
    aside = [file for file in tmp_path.glob("*.damaged-*") if not file.name.endswith(("-wal", "-shm"))]
    kept = sorted(file.read_text() for file in aside)
    assert kept == ["nor this" * 100, "not a database at all" * 100]


def test_a_log_cut_at_any_place_costs_whole_commits_from_its_end_only(
    database: Path, recording: Any, make: Maker, tmp_path: Path
) -> None:
    """Fault D5. A live file and its log are copied byte by byte, and the log cut at 80 offsets."""
    recorder = recording()
    recorder.wait(1).result(5)
    for n in range(20):
        recorder.wait(recorder.put("crucible", *make.note(101.0 + n))).result(5)
    wal = database.with_name(database.name + "-wal").read_bytes()
    main = database.read_bytes()
    recorder.stop()
    seen = set()
    for number, cut in enumerate(range(0, len(wal), max(1, len(wal) // 80))):
        home = tmp_path / f"cut{number}"
        home.mkdir()
        (home / "a.sqlite").write_bytes(main)
        (home / "a.sqlite-wal").write_bytes(wal[:cut])
        state = read_wal(home / "a.sqlite-wal")
        store = Store.open(home / "a.sqlite", utc_s=UTC_S)
        kinds = {finding.kind for finding in store.findings}
        rows = [item.seq for session in store.sessions() for item in read_inputs(store, session.id)]
        assert rows == list(range(1, len(rows) + 1))  # no hole: only the end is missing
        assert ("store_recovered" in kinds) == state.torn
        assert "store_damaged" not in kinds
        if rows:
            assert "unclean_stop" in kinds
        seen.add(len(rows))
        store.close()
    assert len(seen) > 8


def test_a_session_that_was_cut_off_is_told_and_one_that_ended_is_not(
    database: Path, recording: Any, make: Maker
) -> None:
    filled(database, recording, make)
    store = Store.open(database, utc_s=UTC_S)
    assert store.findings == ()
    store.close()
    conn = sqlite3.connect(database)
    conn.execute("DROP TRIGGER session_ends_keep_rows")
    conn.execute("DELETE FROM session_ends")
    conn.commit()
    conn.close()
    store = Store.open(database, utc_s=UTC_S)
    assert [finding.kind for finding in store.findings] == ["unclean_stop"]
    store.close()


def test_what_is_recorded_cannot_be_altered(database: Path, recording: Any, make: Maker) -> None:
    recorder = recording()
    recorder.put("crucible", *make.start(101.0, make.plan()))
    recorder.put("crucible", *make.pour(102.0))
    recorder.stop()
    conn = sqlite3.connect(database)
    kept_up = {"rollup", "state", "tags"}
    tables = [row[0] for row in conn.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
    triggers = [row[0] for row in conn.execute("SELECT tbl_name FROM sqlite_master WHERE type = 'trigger'")]
    assert set(tables) - kept_up == set(triggers)
    for table in ("journal", "events", "melts", "pours", "sessions", "texts"):
        column = conn.execute(f"SELECT * FROM {table}").description[-1][0]
        for change in (f"UPDATE {table} SET {column} = {column}", f"DELETE FROM {table}"):
            with pytest.raises(sqlite3.IntegrityError, match=r"append-only|keeps its rows"):
                conn.execute(change)
    conn.close()


def test_rows_may_thin_only_under_a_dated_row_that_says_so(database: Path, recording: Any, make: Maker) -> None:
    recorder = recording()
    for n in range(10):
        recorder.put("crucible", *make.sample(101.0 + n))
    recorder.put("crucible", *make.note(120.0))
    recorder.stop()
    conn = sqlite3.connect(database, isolation_level=None)
    conn.execute(
        "INSERT INTO thinnings (at_utc_s, who, why, first_id, last_id, keep_every_s, rows_before)"
        " VALUES (1.78e9, 'ann', 'old', 1, 5, 1.0, 5)"
    )
    conn.execute("DELETE FROM journal WHERE id BETWEEN 1 AND 5")
    for other in ("id = 6", "extra IS NOT NULL"):
        with pytest.raises(sqlite3.IntegrityError):
            conn.execute(f"DELETE FROM journal WHERE {other}")
    conn.close()


def test_every_table_is_strict_and_every_reference_is_kept(database: Path) -> None:
    Store.open(database, utc_s=UTC_S).close()
    conn = sqlite3.connect(database)
    names = {row[1]: row[5] for row in conn.execute("PRAGMA table_list") if row[0] == "main" and row[2] == "table"}
    assert {name for name, strict in names.items() if not strict} == {"sqlite_schema"}
    conn.close()
    writer, _ = open_database(database, utc_s=UTC_S)
    with pytest.raises(sqlite3.IntegrityError, match="FOREIGN KEY"):
        writer.execute("INSERT INTO probes (furnace_id, name) VALUES (99, 'x')")
    writer.close()


def test_reading_where_nothing_is_recorded_says_so(tmp_path: Path) -> None:
    with refused(NotFound, "record.none"):
        Store.read(tmp_path / "none.sqlite")
