"""Thinning on request. What goes, what stays, what is said of it, and what a crash may cost: nothing."""

import json
import os
import sqlite3
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pourcall.contract.errors import BadInput, Refused, StoreError
from pourcall.contract.message import NOTHING, Message, tell
from pourcall.contract.paths import Paths, paths_for
from pourcall.contract.status import Reason
from pourcall.records.read.facts import pour_facts
from pourcall.records.read.journal import read_events, read_inputs
from pourcall.records.read.store import Store
from pourcall.records.upkeep import thinning
from pourcall.records.upkeep.backup import back_up, covers, last_backup
from pourcall.records.upkeep.thinning import JournalRow, given_up, in_runs, thin
from pourcall.records.write import rollup
from pourcall.records.write.recorder import Recorder
from pourcall.reports.tables.export import export_melt, melt_csv
from tests.told import refused, said, tells

UTC_S = 1_780_000_000.0
DAY_S = 86_400.0
LATER_S = UTC_S + 800 * DAY_S
Maker = Any


def quiet(*_: object) -> None:
    return None


def record(path: Path, make: Maker, began_s: float, melt: str, seconds: int = 4000) -> None:
    """A melt with two readings a second, of two probes; a dip and a pour near its end, one status that changes."""
    make.seq, make.base_s = 0, UTC_S + began_s - 100.0
    recorder = Recorder(path, on_state=quiet, clock=lambda: 0.0, retry_s=(0.01,))
    recorder.start(utc_s=UTC_S + began_s)
    recorder.begin_session("crucible", "", b'{"furnace":"crucible"}', 100.0, UTC_S + began_s)
    recorder.put("crucible", *make.start(100.0, make.plan(melt)))
    for n in range(seconds):
        at_s = 101.0 + n
        recorder.put("crucible", *make.sample(at_s, 400.0 + n / 30.0, probe="melt_probe"))
        number, reason = (None, Reason.SENSOR_OPEN) if n == 700 else (300.0 + n % 50, Reason.OK)
        recorder.put("crucible", *make.sample(at_s + 0.5, number, probe="wall", channel="1", reason=reason))
    recorder.put("crucible", *make.dip(100.0 + seconds - 900.0))
    recorder.put("crucible", *make.pour(100.0 + seconds - 300.0, melt))
    recorder.put("crucible", *make.end(100.0 + seconds, melt))
    assert recorder.stop() == 0


@pytest.fixture
def old(database: Path, make: Maker) -> Path:
    """A melt of long ago, and one of the day before yesterday."""
    record(database, make, 0.0, "2026-001")
    record(database, make, 798 * DAY_S, "2028-001", 600)
    return database


def give_up(path: Path, **named: Any) -> thinning.Thinned:
    told: dict[str, Any] = {
        "older_than_s": 365 * DAY_S,
        "keep_every_s": 10.0,
        "who": "ann",
        "why": "small card",
        "utc_s": LATER_S,
    }
    return thin(path, **{**told, **named})


def rows_of(path: Path, sql: str, *args: object) -> list[tuple[Any, ...]]:
    conn = sqlite3.connect(f"file:{path}?mode=ro", uri=True)
    try:
        return conn.execute(sql, args).fetchall()
    finally:
        conn.close()


def test_old_readings_thin_to_one_in_ten_seconds_and_young_ones_stay(old: Path) -> None:
    before = old.stat().st_size
    young = rows_of(old, "SELECT * FROM journal WHERE id >= (SELECT journal_id FROM sessions WHERE id = 2)")
    done = give_up(old)
    assert rows_of(old, "SELECT * FROM journal WHERE id >= (SELECT journal_id FROM sessions WHERE id = 2)") == young
    times = rows_of(
        old, "SELECT mono_s, temp_c, reason FROM readings WHERE session_id = 1 AND probe = 'melt_probe' ORDER BY id"
    )
    far = [mono_s for mono_s, _, _ in times if mono_s < 2800.0]
    assert max(b - a for a, b in pairwise(far)) <= 20.0
    assert len(far) <= 2800 / 10 + 3
    # 15 minutes before the pour to 5 after: 3800 - 900 = 2900 on, whole (the dip at 3200 with its minute lies within)
    near = [mono_s for mono_s, _, _ in times if mono_s >= 2880.0]
    assert len(near) == 4100 - 2880 + 1
    assert done.rows_given_up > 4500
    assert done.bytes_after < 0.75 * before  # the file itself
    assert not done.unshrunk
    assert rows_of(old, "PRAGMA freelist_count") == [(0,)]
    assert rows_of(old, "PRAGMA integrity_check") == [("ok",)]


def test_a_dated_row_says_what_from_when_to_when_how_many_and_by_whom(old: Path) -> None:
    total = rows_of(old, "SELECT count(*) FROM journal")[0][0]
    done = give_up(old)
    ((at, who, why, every, from_s, until_s, n),) = rows_of(
        old, "SELECT at_utc_s, who, why, keep_every_s, from_utc_s, until_utc_s, rows_given_up FROM thinnings"
    )
    assert (at, who, why, every, n) == (LATER_S, "ann", "small card", 10.0, done.rows_given_up)
    assert UTC_S <= from_s < until_s <= UTC_S + 4001.0
    assert rows_of(old, "SELECT count(*) FROM journal")[0][0] == total - n


def test_events_pours_dips_changes_of_status_and_the_roll_up_all_stay(old: Path) -> None:
    tables = ("events", "pours", "dips", "melts", "melt_endings", "rollup", "sessions", "alarms", "other_readings")
    before = {table: rows_of(old, f"SELECT * FROM {table} ORDER BY 1, 2, 3, 4") for table in tables}
    with Store.read(old) as store:
        events = list(read_events(store, 1))
        drawn = store.melt_trace("2026-001", 60)
    give_up(old)
    assert {table: rows_of(old, f"SELECT * FROM {table} ORDER BY 1, 2, 3, 4") for table in tables} == before
    with Store.read(old) as store:
        assert list(read_events(store, 1)) == events
        assert store.pour("2026-001-1").row.lip_temp_c == 541.0
        again = store.melt_trace("2026-001", 60)
        for probe, points in again.probes.items():  # a bucket may lose its extreme reading, never its place
            assert [p.mono_s for p in points] == [p.mono_s for p in drawn.probes[probe]]
    wall = rows_of(
        old, "SELECT mono_s, temp_c FROM readings WHERE session_id = 1 AND probe = 'wall' AND temp_c IS NULL"
    )
    assert wall == [(801.5, None)]  # the one reading without a number, and the first good one after it
    assert rows_of(old, "SELECT 1 FROM readings WHERE session_id = 1 AND probe = 'wall' AND mono_s = 802.5") == [(1,)]


def test_every_trace_that_is_shown_or_written_says_that_it_was_thinned(old: Path, tmp_path: Path) -> None:
    give_up(old)
    thinned = said("export.thinned", day="2028-08-05", every=10.0)
    with Store.read(old) as store:
        assert store.melt("2026-001").thinned == thinned
        assert store.melt_trace("2026-001", 100).thinned == thinned
        assert thinned in melt_csv(store, "2026-001").splitlines()[1]
        done = export_melt(store, "2026-001", tmp_path)
        assert thinned in json.loads(done.metadata.read_text("utf-8"))["dc:description"]
        assert [mark.text for mark in pour_facts(store, "2026-001-1").marks if mark.kind == "thinned"] == [thinned]
        assert store.melt("2028-001").thinned == store.melt_trace("2028-001", 100).thinned == ""
        assert not tells(melt_csv(store, "2028-001"), "export.thinned")
        assert len(list(read_inputs(store, 1))) > 2000


def test_the_same_request_again_finds_nothing_and_a_coarser_one_goes_on(old: Path) -> None:
    give_up(old)
    before = rows_of(old, "SELECT id FROM journal")
    assert give_up(old, utc_s=LATER_S + 60.0).rows_given_up == 0
    assert rows_of(old, "SELECT id FROM journal") == before
    assert len(rows_of(old, "SELECT * FROM thinnings")) == 1
    assert give_up(old, keep_every_s=60.0, utc_s=LATER_S + 120.0).rows_given_up > 300
    with Store.read(old) as store:
        assert tells(store.melt("2026-001").thinned, "export.thinned", every=60.0)


def test_a_dry_run_counts_the_same_and_writes_nothing(old: Path) -> None:
    before = rows_of(old, "SELECT * FROM journal ORDER BY id")
    would = give_up(old, dry_run=True)
    assert rows_of(old, "SELECT * FROM journal ORDER BY id") == before
    assert rows_of(old, "SELECT * FROM thinnings") == []
    assert give_up(old).rows_given_up == would.rows_given_up > 0


@pytest.mark.parametrize("piece", [0, 1, 2])
def test_cut_off_in_the_middle_it_has_whole_pieces_done_and_the_next_run_finishes(
    old: Path, monkeypatch: pytest.MonkeyPatch, piece: int
) -> None:
    """The process dies while a piece is being written: that piece is as it was, those before it tell of themselves."""
    wanted = give_up(old, dry_run=True, piece_rows=1500)
    total = rows_of(old, "SELECT count(*) FROM journal")[0][0]
    real, done = rollup.roll_up, []

    def dies(conn: sqlite3.Connection, upto: int) -> None:
        real(conn, upto)
        done.append(upto)
        if len(done) > piece:
            conn.execute("DELETE FROM rollup WHERE slot < 0")
            raise KeyboardInterrupt

    monkeypatch.setattr(thinning, "roll_up", dies)
    with pytest.raises(KeyboardInterrupt):
        give_up(old, piece_rows=1500)
    monkeypatch.undo()
    told = rows_of(old, "SELECT coalesce(sum(rows_given_up), 0), count(*) FROM thinnings")[0]
    assert told[1] == piece
    assert rows_of(old, "SELECT count(*) FROM journal")[0][0] == total - told[0]
    rest = give_up(old, piece_rows=1500)
    assert told[0] + rest.rows_given_up == wanted.rows_given_up
    assert rows_of(old, "PRAGMA integrity_check") == [("ok",)]


def test_with_too_little_space_to_shrink_it_says_so_and_shrinks_the_next_time(old: Path) -> None:
    done = give_up(old, free=lambda _: 1000)
    assert done.unshrunk.name == "record.thin.no_space"
    assert done.rows_given_up > 0
    assert rows_of(old, "PRAGMA freelist_count")[0][0] > 100
    again = give_up(old, utc_s=LATER_S + 60.0)
    assert (again.rows_given_up, again.unshrunk) == (0, NOTHING)
    assert again.bytes_after < done.bytes_after


def test_a_record_under_a_clock_nobody_had_set_is_not_taken_for_old(database: Path, make: Maker) -> None:
    """Fault C4: the computer woke in 1970 the day before yesterday."""
    record(database, make, -UTC_S + 1000.0, "1970-001", 600)
    record(database, make, 798 * DAY_S, "2028-001", 600)
    assert give_up(database).rows_given_up == 0


def test_the_newest_row_stays_so_that_no_id_is_ever_given_twice(database: Path, make: Maker) -> None:
    record(database, make, 0.0, "2026-001", 2000)
    top = rows_of(database, "SELECT max(id) FROM journal")
    assert give_up(database).rows_given_up > 0
    assert rows_of(database, "SELECT max(id) FROM journal") == top
    record(database, make, 799 * DAY_S, "2028-001", 200)
    with Store.read(database) as store:
        assert len(list(read_inputs(store, 2))) == 404


@pytest.mark.parametrize(
    ("named", "says"),
    [
        ({"older_than_s": 29 * DAY_S}, tell("record.thin.young", days=30)),
        ({"older_than_s": float("nan")}, tell("record.thin.young", days=30)),
        ({"keep_every_s": 0.5}, tell("record.thin.every")),
        ({"keep_every_s": float("nan")}, tell("record.thin.every")),
        ({"keep_every_s": 3600.0}, tell("record.thin.every")),
    ],
)
def test_figures_that_make_no_sense_are_refused(old: Path, named: dict[str, float], says: Message) -> None:
    with refused(BadInput, says.name, **says.facts):
        give_up(old, **named)


def test_a_newer_or_missing_record_is_refused(tmp_path: Path, old: Path) -> None:
    with refused(StoreError, "record.thin.none"):
        give_up(tmp_path / "none.sqlite")
    conn = sqlite3.connect(old)
    conn.execute("PRAGMA user_version = 99")
    conn.close()
    body = old.read_bytes()
    with refused(StoreError, "record.newer"):
        give_up(old)
    assert old.read_bytes() == body


@given(
    st.lists(st.tuples(st.integers(1, 3), st.floats(0.0, 300.0), st.integers(0, 2)), min_size=1, max_size=80),
    st.floats(1.0, 60.0),
)
def test_of_every_probe_each_slot_each_change_and_the_last_reading_stay(
    told: list[tuple[int, float, int]], keep_every_s: float
) -> None:
    rows = [
        JournalRow(n, source, at_s, state) for n, (source, at_s, state) in enumerate(sorted(told, key=lambda r: r[1]))
    ]
    gone = set(given_up(rows, keep_every_s))
    for source in {row.source for row in rows}:
        own = [row for row in rows if row.source == source]
        kept = [row for row in own if row.id not in gone]
        assert own[0] in kept
        assert own[-1] in kept
        assert {row.at_s // keep_every_s for row in own} == {row.at_s // keep_every_s for row in kept}
        states = [row.state for row in own]
        changes = [b for a, b in zip([None, *states], states, strict=False) if a != b]
        kept_states = [row.state for row in kept]
        assert [b for a, b in zip([None, *kept_states], kept_states, strict=False) if a != b] == changes


@given(st.sets(st.integers(0, 60)))
def test_runs_are_the_same_ids(ids: set[int]) -> None:
    runs = in_runs(ids)
    assert [one for first, last in runs for one in range(first, last + 1)] == sorted(ids)
    assert all(b[0] > a[1] + 1 for a, b in pairwise(runs))


@pytest.fixture
def shop(tmp_path: Path, make: Maker, monkeypatch: pytest.MonkeyPatch) -> Paths:
    monkeypatch.setenv("POURCALL_HOME", str(tmp_path / "shop"))
    paths = paths_for({"POURCALL_HOME": str(tmp_path / "shop")}, "linux", tmp_path)
    paths.data.mkdir(parents=True)
    record(paths.database, make, -1200 * DAY_S, "2023-001", 1500)
    return paths


def run(*words: str) -> int:
    from pourcall.cli.main import main

    return main(["thin", "--older-than", "1y", *words])


def test_the_command_wants_a_backup_first_and_knows_one_that_holds_everything(
    shop: Paths, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run() == Refused.exit_code
    assert tells(capsys.readouterr().err, "cli.thin.no_backup")
    assert rows_of(shop.database, "SELECT * FROM thinnings") == []
    with Store.read(shop.database) as store:
        back_up(store, shop, tmp_path / "all.zip", utc_s=LATER_S)
        last = last_backup(shop)
        assert last is not None
        assert covers(last, store)
    assert run("--json", "--why", "small card") == 0
    told = json.loads(capsys.readouterr().out)
    assert told["rows_given_up"] > 500
    assert rows_of(shop.database, "SELECT why FROM thinnings") == [("small card",)]
    with Store.read(shop.database) as store:
        assert not covers(last, store)  # the archive holds what is gone here
    (tmp_path / "all.zip").write_bytes(b"cut")
    assert run() == Refused.exit_code
    assert run("--backup", str(tmp_path / "second.zip"), "--keep-every", "30s") == 0
    assert (tmp_path / "second.zip").exists()


def test_the_command_keeps_out_of_the_way_of_a_running_daemon(shop: Paths, capsys: pytest.CaptureFixture[str]) -> None:
    from pourcall.contract.errors import DaemonError
    from pourcall.daemon.process.process_lock import SingleLock

    with SingleLock(shop.lock):
        assert run("--no-backup") == DaemonError.exit_code
    assert tells(capsys.readouterr().err, "daemon.runs_already", process=os.getpid())
    assert rows_of(shop.database, "SELECT * FROM thinnings") == []
    assert run("--no-backup", "--dry-run") == 0
    assert tells(capsys.readouterr().out, "cli.thin.would")
    assert run("--no-backup") == 0
    assert tells(capsys.readouterr().out, "cli.thin.done")


def test_a_replay_of_a_thinned_trace_says_that_it_cannot_come_out_the_same(
    old: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from pourcall.cli.main import main

    monkeypatch.setenv("POURCALL_HOME", str(tmp_path / "none"))
    words = ("--alloy", "za27", "--column", "melt_probe_temp_c", "--time", "elapsed_s")
    with Store.read(old) as store:
        whole = export_melt(store, "2026-001", tmp_path / "whole").csv
    assert main(["replay", str(whole), *words]) == 0
    assert not tells(capsys.readouterr().err, "replay.thinned")
    give_up(old)
    with Store.read(old) as store:
        left = export_melt(store, "2026-001", tmp_path / "left").csv
    assert main(["replay", str(left), *words]) == 0
    assert tells(capsys.readouterr().err, "replay.thinned", file=str(left), keep_every_s=10.0)


@pytest.mark.parametrize("word", ["2", "y", "-1y", "1h", "1e9y", ""])
def test_an_age_that_is_none_is_refused(shop: Paths, word: str) -> None:
    from pourcall.cli.main import main

    assert main(["thin", f"--older-than={word}"]) == BadInput.exit_code
