"""The one writer. Nothing acknowledged is lost, order is kept, whatever the disk does (D1-D3, D10, D11)."""

import random
import signal
import sqlite3
import subprocess
import sys
import textwrap
import threading
from pathlib import Path
from typing import Any

import pytest

from pourcall.contract.errors import StoreError
from pourcall.contract.inputs import TickIn
from pourcall.records.entries.entries import add_note, add_result
from pourcall.records.read.journal import read_inputs
from pourcall.records.read.store import Store
from pourcall.records.write.backlog import PACK_ROWS
from pourcall.records.write.recorder import LOCKED_AFTER_S, Recorder
from tests.told import refused

Maker = Any


def journal(path: Path) -> list[Any]:
    """All inputs on disk, of all sessions, in order."""
    with Store.read(path) as store:
        return [item for session in store.sessions() for item in read_inputs(store, session.id)]


def limit_pages(recorder: Recorder, more: int) -> None:
    """Let the file grow by so many pages and no further: a full disk, as SQLite itself meets it."""
    assert recorder._writer is not None
    conn = recorder._writer.conn
    (pages,) = conn.execute("PRAGMA page_count").fetchone()
    conn.execute(f"PRAGMA max_page_count = {pages + more}")


def test_a_command_is_on_disk_at_once_and_a_sample_within_the_batch(recording: Any, clock: Any, make: Maker) -> None:
    recorder = recording()
    recorder.wait(1).result(5)
    recorder.set_melting("crucible", True)
    sample = recorder.put("crucible", *make.sample(100.1))
    waiting = recorder.wait(sample)
    clock.looked_at()
    assert not waiting.done()  # a batch of readings waits for its second
    clock.now_s += 1.0
    waiting.result(5)
    command = recorder.put("crucible", *make.note(100.2))
    recorder.wait(command).result(5)  # the clock stands still: nobody waited for it
    assert recorder.durable == command
    assert recorder.waiting == 0


def test_idle_readings_wait_half_a_minute_and_go_with_a_command(recording: Any, clock: Any, make: Maker) -> None:
    recorder = recording()
    recorder.wait(1).result(5)
    waiting = recorder.wait(recorder.put("crucible", *make.sample(100.1)))
    clock.now_s += 29.0
    clock.looked_at()
    assert not waiting.done()
    clock.now_s += 1.5
    waiting.result(5)
    sample = recorder.wait(recorder.put("crucible", *make.sample(131.0)))
    recorder.wait(recorder.put("crucible", *make.note(131.1))).result(5)
    assert sample.done()


def test_an_event_makes_a_sample_urgent(recording: Any, make: Maker) -> None:
    recorder = recording()
    item, outputs = make.sample(100.1)
    _, events = make.dip(100.1)
    recorder.wait(recorder.put("crucible", item, (*outputs, *events))).result(5)


def test_random_batches_under_a_full_disk_lose_nothing(
    recording: Any, database: Path, clock: Any, told: Any, make: Maker
) -> None:
    chance = random.Random(20260514)
    recorder = recording()
    recorder.wait(1).result(5)
    sent: list[Any] = []
    acknowledged: set[int] = set()
    full = 0
    for _ in range(12):
        limit_pages(recorder, chance.choice((0, 1, 2, 8)))
        for _ in range(chance.randrange(20, 120)):
            n = len(sent)
            item, outputs = make.note(100.0 + n, "x" * 300) if chance.random() < 0.1 else make.sample(100.0 + n)
            sent.append(item)
            recorder.put("crucible", item, outputs)
        clock.now_s += 31.0
        last = make.note(100.0 + len(sent))
        sent.append(last[0])
        done = recorder.wait(recorder.put("crucible", *last))
        clock.until(lambda future=done: future.done() or recorder.problem)
        if recorder.problem:
            full += 1
            assert told.said[-1][0] == "store_full"
            assert told.said[-1][2] > 0  # it says how many wait
        acknowledged |= {item.seq for item in journal(database)}
        limit_pages(recorder, 2**20)
        done.result(10)
        clock.until(lambda: not recorder.problem)
    assert full > 6
    assert recorder.stop() == 0
    back = journal(database)
    assert back == sent
    assert acknowledged <= {item.seq for item in back}
    assert sqlite3.connect(database).execute("PRAGMA integrity_check").fetchone() == ("ok",)


class _Failing:
    """A connection whose every n-th statement fails once, or from then on: `fail call n` of the fault catalogue."""

    def __init__(self, conn: sqlite3.Connection, at: int, times: int) -> None:
        self._conn, self._left, self._times, self.reached = conn, at, times, False

    def _count(self) -> None:
        self._left -= 1
        if self._left < 0 and self._times > 0:
            self._times -= 1
            self.reached = True
            error = sqlite3.OperationalError("disk I/O error")
            error.sqlite_errorcode = sqlite3.SQLITE_IOERR_FSYNC
            raise error

    def execute(self, sql: str, *args: Any) -> Any:
        if sql == "COMMIT" and self._left == 0 and self._times > 0:
            self._conn.execute("ROLLBACK")  # as after a real failed commit: nothing is left to roll back
        self._count()
        return self._conn.execute(sql, *args)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._conn, name)


@pytest.mark.parametrize("times", [1, 5])
def test_whichever_statement_fails_nothing_is_lost_and_nothing_is_twice(
    database: Path, clock: Any, told: Any, make: Maker, times: int
) -> None:
    recorder = Recorder(database, on_state=told, clock=clock, retry_s=(0.0,))
    recorder.start()
    sent: list[Any] = []
    events = 0
    recorder.begin_session("crucible", "", b"{}", 100.0, 1.78e9)
    try:
        for at in range(1000):
            writer = recorder._writer
            assert writer is not None
            broken = _Failing(writer.conn, at, times)
            for part in (writer, writer._ids, writer._projector):
                setattr(part, "conn" if part is writer else "_conn", broken)
            for item, outputs in (make.sample(100.0 + at), make.dip(100.2 + at, number=at + 1), make.note(100.3 + at)):
                sent.append(item)
                events += sum(1 for output in outputs if type(output).__name__ == "DipRecorded")
                ticket = recorder.put("crucible", item, outputs)
            recorder.wait(ticket).result(10)
            for part in (writer, writer._ids, writer._projector):
                setattr(part, "conn" if part is writer else "_conn", broken._conn)
            if not broken.reached:
                break
        assert at > 5
    finally:
        assert recorder.stop() == 0
    assert journal(database) == sent
    conn = sqlite3.connect(database)
    assert conn.execute("SELECT count(*) FROM events").fetchone() == (events,)
    assert conn.execute("SELECT count(*) FROM dips").fetchone() == (events,)
    assert conn.execute("SELECT sum(n) FROM rollup WHERE span_s = 60").fetchone() == (at + 1,)
    conn.close()


def test_a_lock_is_an_alarm_only_after_five_seconds(
    recording: Any, database: Path, clock: Any, told: Any, make: Maker
) -> None:
    recorder = recording()
    recorder.wait(1).result(5)
    other = sqlite3.connect(database, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    ticket = recorder.put("crucible", *make.note(101.0))
    clock.looked_at()  # SQLite waits in each of its tries for the other program
    assert not told.said
    clock.now_s += LOCKED_AFTER_S + 0.5
    told.until("store_locked")
    assert not recorder.wait(ticket).done()
    other.execute("COMMIT")
    other.close()
    recorder.wait(ticket).result(5)
    told.until("")


def test_a_deleted_file_is_put_back_with_all_it_held(
    recording: Any, database: Path, clock: Any, told: Any, make: Maker
) -> None:
    recorder = recording()
    with Store.read(database) as store:  # a reader that still has the lost file open does no harm to the new one
        first = [make.note(101.0 + n) for n in range(5)]
        for item, outputs in first:
            ticket = recorder.put("crucible", item, outputs)
        recorder.wait(ticket).result(5)
        for file in database.parent.iterdir():
            file.unlink()
        later = make.note(110.0)
        recorder.wait(recorder.put("crucible", *later)).result(5)
        told.until("")
        assert [problem for problem, _, _ in told.said] == ["store_gone", ""]
        assert len(store.sessions()) == 1
    assert recorder.stop() == 0
    assert journal(database) == [item for item, _ in (*first, later)]


def test_a_deleted_file_is_noticed_within_ten_seconds_even_when_nothing_comes(
    recording: Any, database: Path, clock: Any, told: Any, make: Maker
) -> None:
    recorder = recording()
    recorder.wait(recorder.put("crucible", *make.note(101.0))).result(5)
    database.unlink()
    clock.now_s += 10.5
    told.until("")
    assert told.said[0][0] == "store_gone"
    assert len(journal(database)) == 1


def test_a_file_put_in_our_place_gets_what_comes_and_the_old_one_is_kept(
    recording: Any, database: Path, told: Any, make: Maker, tmp_path: Path
) -> None:
    recorder = recording()
    recorder.wait(recorder.put("crucible", *make.note(101.0))).result(5)
    other = tmp_path / "other" / "pourcall.sqlite"
    Store.open(other, utc_s=1.78e9).close()
    for tail in ("-wal", "-shm"):
        database.with_name(database.name + tail).unlink(missing_ok=True)
    other.replace(database)
    late, outputs = make.note(102.0)
    recorder.wait(recorder.put("crucible", late, outputs)).result(5)
    told.until("")
    assert recorder.stop() == 0
    assert journal(database) == [late]
    kept = database.with_name("pourcall.sqlite.replaced")
    assert [item.seq for item in journal(kept)][:1] == [1]


def test_a_folder_that_cannot_be_made_is_refused_at_the_start(tmp_path: Path, told: Any, clock: Any) -> None:
    (tmp_path / "file").write_text("in the way")  # refuses root as well, which a mode would not
    with refused(StoreError, "record.not_usable"):
        Recorder(tmp_path / "file" / "a.sqlite", on_state=told, clock=clock).start()


def test_a_read_only_file_is_told_as_such_and_its_rows_wait(recording: Any, told: Any, make: Maker) -> None:
    recorder = recording()
    recorder.wait(1).result(5)
    recorder._writer.conn.execute("PRAGMA query_only = ON")  # SQLite's own refusal: SQLITE_READONLY
    ticket = recorder.put("crucible", *make.note(101.0))
    told.until("store_readonly")
    recorder._writer.conn.execute("PRAGMA query_only = OFF")
    recorder.wait(ticket).result(5)
    told.until("")


def packed_bytes(recorder: Recorder) -> int:
    """Memory held by what waits and is packed."""
    return sum(len(block) for _, block in recorder._backlog._blocks if isinstance(block, bytes))


def test_an_hour_of_a_full_disk_fits_into_memory_and_is_written_afterwards(
    recording: Any, database: Path, clock: Any, told: Any, make: Maker
) -> None:
    recorder = recording()
    recorder.wait(1).result(5)
    limit_pages(recorder, 0)
    sent = []
    count = 6 * PACK_ROWS  # five minutes; the packed size of an hour follows from it
    for n in range(count):
        item, outputs = make.sample(100.0 + n * 0.0125 // 0.001 * 0.001, 500.0 + make.random.random())
        sent.append(item)
        recorder.put("crucible", item, outputs)
    recorder.put("crucible", *(last := make.note(5000.0)))
    clock.until(lambda: packed_bytes(recorder) > 0)
    clock.looked_at()
    assert recorder.waiting == count + 1
    packed_rows = recorder._backlog._packed_rows
    per_hour = packed_bytes(recorder) / packed_rows * 80 * 3600
    assert per_hour < 30e6
    limit_pages(recorder, 2**20)
    told.until("", 60.0)
    assert recorder.stop() == 0
    assert journal(database) == [*sent, last[0]]


def test_a_call_sees_what_was_put_before_it_and_its_own_error_undoes_only_itself(
    recording: Any, database: Path, make: Maker
) -> None:
    recorder = recording()
    recorder.put("crucible", *make.start(101.0, make.plan()))
    recorder.put("crucible", *make.pour(102.0))
    good = recorder.call(lambda conn: add_result(conn, "2026-001-1", "misrun", 2, who="ann", utc_s=1.78e9))

    def half(conn: sqlite3.Connection) -> None:
        add_note(conn, "2026-001", "never to be seen", who="ann", utc_s=1.78e9)
        raise ValueError("a caller's slip")

    bad = recorder.call(half)
    wrong = recorder.call(lambda conn: conn.execute("SELECT * FROM no_such_table"))
    good.result(5)
    with pytest.raises(ValueError, match="slip"):
        bad.result(5)
    with pytest.raises(sqlite3.OperationalError):
        wrong.result(5)
    assert recorder.problem == ""
    with Store.read(database) as store:
        detail = store.melt("2026-001")
    assert [(r.defect, r.severity) for r in detail.results] == [("misrun", 2)]
    assert not detail.notes


def test_what_cannot_be_written_by_any_disk_is_kept_beside_and_said_and_the_rest_goes_on(
    recording: Any, database: Path, make: Maker, told: Any
) -> None:
    recorder = recording()
    before, after = make.note(101.0), make.note(103.0)
    recorder.put("crucible", *before)
    odd = recorder.wait(recorder.put("crucible", TickIn(seq=2**70, mono_s=102.0, utc_s=1.78e9), before[1]))
    last = recorder.wait(recorder.put("crucible", *after))
    last.result(5)
    with pytest.raises(OverflowError):
        odd.result(5)
    assert recorder.stop() == 0
    assert journal(database) == [before[0], after[0]]
    assert "TickIn" in database.with_name("pourcall.sqlite.refused").read_text()
    told.until("")
    well = told.said[-1][1]
    assert (well.name, well.facts["count"]) == ("record.well_but", 1)  # and never that nothing was lost


def test_a_stop_that_cannot_write_says_how_much_is_left(recording: Any, told: Any, make: Maker) -> None:
    recorder = recording()
    recorder.wait(1).result(5)
    limit_pages(recorder, 0)
    tickets = [recorder.put("crucible", *make.note(101.0 + n, "y" * 2000)) for n in range(3)]
    told.until("store_full")
    future = recorder.wait(tickets[-1])
    assert recorder.stop(timeout_s=0.2) == 3
    with pytest.raises(StoreError):
        future.result(0)


def test_numbers_of_melts_count_what_is_not_on_disk_yet(recording: Any, make: Maker) -> None:
    recorder = recording()
    recorder.wait(1).result(5)
    assert recorder.next_melt_id(1.78e9) == "2026-001"
    limit_pages(recorder, 0)
    recorder.put("crucible", *make.start(101.0, make.plan("2026-001")))
    assert recorder.next_melt_id(1.78e9) == "2026-002"
    assert recorder.knows_melt("2026-001")
    assert not recorder.knows_melt("2026-002")
    limit_pages(recorder, 2**20)


def test_many_threads_may_put_at_once(recording: Any, database: Path) -> None:
    from pourcall.contract.inputs import CommandIn, Note

    recorder = recording()

    def work(who: int) -> None:
        for n in range(50):
            item = CommandIn(seq=who * 1000 + n, mono_s=100.0, utc_s=1.78e9, command=Note(text=str(who)))
            recorder.wait(recorder.put("crucible", item, ())).result(10)

    threads = [threading.Thread(target=work, args=(who,)) for who in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    recorder.stop()
    back = [item.seq for item in journal(database)]
    assert sorted(back) == sorted(who * 1000 + n for who in range(6) for n in range(50))
    for who in range(6):
        assert [seq for seq in back if seq // 1000 == who] == [who * 1000 + n for n in range(50)]


_CHILD = """
    import resource, signal, sys, threading, time
    from pathlib import Path
    from pourcall.contract.frames import RawKind, Sample
    from pourcall.contract.inputs import CommandIn, Note, SampleIn
    from pourcall.records.write.recorder import Recorder

    said, full = [], threading.Event()

    def hear(problem, *_):
        said.append(problem)
        if problem == "store_full":
            full.set()

    recorder = Recorder(Path(sys.argv[1]), on_state=hear, clock=time.monotonic)
    recorder.start()
    recorder.begin_session("crucible", "", b"{}", 1.0, 1.78e9)
    seq = int(sys.argv[2])

    def put(n):
        if n % 7 == 0:
            note = Note(text="x" * 100)
            return recorder.put("crucible", CommandIn(seq=n, mono_s=float(n), utc_s=1.78e9, command=note), ())
        sample = Sample(channel="0", raw_kind=RawKind.EMF_UV, raw_value=float(n))
        return recorder.put("crucible", SampleIn(seq=n, mono_s=float(n), utc_s=1.78e9, board="b", sample=sample), ())
"""


_SEQ = "SELECT coalesce(j.seq, j.id - s.seq_base) FROM journal j JOIN sources s ON s.id = j.source"


def run_child(body: str, *args: str, **options: Any) -> "subprocess.Popen[str]":
    code = textwrap.dedent(_CHILD) + textwrap.dedent(body)
    return subprocess.Popen([sys.executable, "-c", code, *args], stdout=subprocess.PIPE, text=True, **options)


def test_a_kill_in_mid_write_loses_no_acknowledged_row(database: Path) -> None:
    """Faults D6 and P1, with a process kill (not a power cut: that needs a disk that forgets)."""
    acknowledged = 0
    chance = random.Random(7)
    for _ in range(6):
        child = run_child(
            """
            while True:
                seq += 1
                ticket = put(seq)
                if seq % 7 == 0:
                    recorder.wait(ticket).result()
                    print(seq, flush=True)
            """,
            str(database),
            str(acknowledged),
        )
        assert child.stdout is not None
        for _ in range(chance.randrange(5, 60)):
            acknowledged = int(child.stdout.readline())
        child.send_signal(signal.SIGKILL)
        rest = child.stdout.read().split()
        child.stdout.close()
        child.wait()
        whole = [word for word in rest if word.isdigit() and int(word) % 7 == 0 and int(word) > acknowledged]
        acknowledged = max([acknowledged, *map(int, whole[:-1])])
        conn = sqlite3.connect(database)
        there = {row[0] for row in conn.execute(_SEQ)}
        assert conn.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        conn.close()
        assert set(range(1, acknowledged + 1)) <= there
        acknowledged = max(there)


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no limit on the size of files")
def test_a_file_size_limit_is_told_as_a_full_disk(database: Path) -> None:
    """Measured beforehand: such a limit appears as SQLITE_IOERR_WRITE, not as SQLITE_FULL."""
    child = run_child(
        """
        recorder.wait(1).result(5)
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        wal = Path(sys.argv[1] + "-wal")
        resource.setrlimit(resource.RLIMIT_FSIZE, (wal.stat().st_size + 20_000, resource.RLIM_INFINITY))
        tickets = [put(n) for n in range(1, 3001)]
        full.wait(10)
        resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
        recorder.wait(tickets[-1]).result(10)
        left = recorder.stop()
        print(said[0], said[-1] == "", left)
        """,
        str(database),
        "0",
    )
    out, _ = child.communicate(timeout=60)
    assert out.split() == ["store_full", "True", "0"]
    assert [item.seq for item in journal(database)] == list(range(1, 3001))
