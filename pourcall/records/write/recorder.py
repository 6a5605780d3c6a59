"""The one writer. Inputs and what came of them go in from any thread; a durable ticket says they are on disk.

Nothing is dropped and order is kept: a batch that cannot be committed stays and is tried again, whatever the reason.
In: `put`. Out: `durable`, `wait`, `on_state`. Not here: what a row looks like (writing.py), reading (store.py).
The clock must be the real monotonic one even when the furnace is simulated faster: it paces the disk, not the melt.
"""

import contextlib
import logging
import sqlite3
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from pathlib import Path
from typing import Any, TypeVar

from pourcall.contract.errors import StoreError
from pourcall.contract.events import MeltStarted, Output
from pourcall.contract.inputs import BoardStatusIn, Input, SampleIn, StoreProblem, TickIn
from pourcall.contract.message import Told, tell
from pourcall.contract.reading import Reading
from pourcall.records.upkeep.migrate import copy_database
from pourcall.records.upkeep.opening import Finding, FindingKind, file_identity, open_database, set_aside
from pourcall.records.write.backlog import Backlog, Entry, pack
from pourcall.records.write.ids import Session
from pourcall.records.write.numbering import melt_number, next_melt
from pourcall.records.write.sqlite_errors import classify, is_damage, is_store_trouble
from pourcall.records.write.writing import BatchWriter

log = logging.getLogger(__name__)
T = TypeVar("T")

MELT_BATCH_S = 0.95  # so that a reading is on disk within 1 s of its arrival, sync included
IDLE_BATCH_S = 30.0
ROLL_UP_S = 60.0
IDLE_ROLL_UP_S = 1800.0  # each roll-up writes the last page of every stretch of slots again; rows not in it are read
UNROLLED_ROWS = 24_000  # nor may more rows than this stand outside it: whoever draws a long trace reads them one by one
INODE_CHECK_S = 10.0
LOCKED_AFTER_S = 5.0
TELL_EVERY_S = 5.0
BATCH_ROWS = 4096
RETRY_S = (0.05, 0.1, 0.25, 0.5, 1.0, 2.0)
_PATIENT = frozenset((SampleIn, TickIn, BoardStatusIn))  # these wait for their batch
LOOK_S = 0.1  # how often the thread looks at an injected clock


class Recorder:
    """The single writer of one record file."""

    def __init__(
        self,
        path: Path,
        *,
        on_state: Callable[[StoreProblem, Told, int], None],
        clock: Callable[[], float],
        retry_s: Sequence[float] = RETRY_S,
        look_s: float = LOOK_S,
        batch_rows: int = BATCH_ROWS,
        unrolled_rows: int = UNROLLED_ROWS,
    ) -> None:
        """`on_state(problem, detail, waiting_rows)` is called from the writer's thread."""
        self.path = path
        self.findings: tuple[Finding, ...] = ()
        self.problem = StoreProblem.NONE
        self._on_state = on_state
        self._clock = clock
        self._retry_s, self._look_s = tuple(retry_s), look_s
        self._batch_rows, self._unrolled_rows = batch_rows, unrolled_rows
        self._mutex = threading.Lock()
        self._lock = threading.Condition(self._mutex)  # the same lock; plain where nobody is woken
        self._empty = True
        self._backlog = Backlog()
        self._sessions: list[Session] = []
        self._session_of: dict[str, int] = {}
        self._last: dict[int, Input | Session] = {}  # of each session: by its times it ends
        self._melting: set[str] = set()
        self._tickets = 0
        self._durable = 0
        self._waits: dict[int, list[Future[None]]] = {}
        self._results: dict[int, Future[Any]] = {}
        self._urgent = False
        self._oldest_s = 0.0
        self._last_melt: dict[int, int] = {}
        self._melts: set[str] = set()  # every number that was given, on disk or not yet
        self._put_beside = 0  # entries no disk would take since recording was last well
        self._stopping = False
        self._give_up = threading.Event()
        self._thread: threading.Thread | None = None
        self._writer: BatchWriter | None = None  # the thread's own; None while the file cannot be opened
        self._inode: tuple[int, int] | None = None
        self._rolled_s = self._checked_s = 0.0
        self._unrolled = 0
        self._check = True
        self._last_utc_s = 0.0

    # --- from any thread ---------------------------------------------------------------------------------------

    def start(self, *, utc_s: float = 0.0, check: bool = True) -> None:
        """Open the file and start the thread. Raises StoreError when the file cannot be used or is a newer one.

        check False: `Store.open` has just walked the pages; they are not walked again.
        """
        self._last_utc_s, self._check = utc_s, check
        opened: Future[None] = Future()
        self._thread = threading.Thread(target=self._run, args=(opened,), name="recorder", daemon=True)
        self._thread.start()
        try:
            opened.result()
        except BaseException:
            self._thread.join()
            self._thread = None
            raise

    def begin_session(self, furnace: str, settings_toml: str, config_json: bytes, mono_s: float, utc_s: float) -> int:
        """What follows from this furnace belongs to a new start; its ticket. Non-blocking."""
        with self._lock:
            self._sessions.append(Session(furnace, settings_toml, config_json, mono_s, utc_s))
            number = self._session_of[furnace] = len(self._sessions) - 1
            self._last[number] = self._sessions[number]
            return self._append(number, None, (), urgent=True)

    def put(self, furnace: str, item: Input, outputs: Sequence[Output]) -> int:
        """Record an input and what the engine said to it; its ticket. Non-blocking, never refuses, never drops."""
        urgent = type(item) not in _PATIENT
        for output in outputs:
            if type(output) is not Reading:
                urgent = True
                if type(output) is MeltStarted:
                    self._saw_melt(output.plan.melt)
        with self._mutex:
            number = self._session_of.get(furnace)
            if number is None:  # never lose a row for want of an introduction
                self._sessions.append(Session(furnace, "", b"{}", item.mono_s, item.utc_s))
                number = self._session_of[furnace] = len(self._sessions) - 1
            self._last[number] = item
            if urgent or self._empty:
                return self._append(number, item, outputs, urgent=urgent)
            self._tickets += 1
            self._backlog.append((self._tickets, number, item, outputs, None))
            return self._tickets

    def call(self, function: Callable[[sqlite3.Connection], T]) -> "Future[T]":
        """Run a function in the writer's transaction, after all that was put before; its result once it is durable.

        It may run more than once (after a failed commit) and must touch nothing but the connection. Its own errors
        come back through the future and undo its own writes only.
        """
        result: Future[Any] = Future()
        with self._lock:
            ticket = self._append(-1, None, (), urgent=True, call=function)
            self._results[ticket] = result
        return result

    @property
    def durable(self) -> int:
        """Every ticket up to this one is on disk."""
        return self._durable

    @property
    def waiting(self) -> int:
        """How many entries are not yet on disk."""
        with self._lock:
            return len(self._backlog)

    def wait(self, ticket: int) -> "Future[None]":
        """Done when the ticket is on disk."""
        future: Future[None] = Future()
        with self._lock:
            if ticket > self._durable:
                self._waits.setdefault(ticket, []).append(future)
                return future
        future.set_result(None)
        return future

    def set_melting(self, furnace: str, melting: bool) -> None:
        """In a melt readings are committed within a second; idle, every half minute."""
        with self._lock:
            (self._melting.add if melting else self._melting.discard)(furnace)
            self._lock.notify()

    def next_melt_id(self, utc_s: float) -> str:
        """The number of the next melt of the year, `2026-014`; counts melts that are not on disk yet."""
        with self._lock:
            return next_melt(utc_s, self._last_melt)

    def knows_melt(self, melt: str) -> bool:
        """A melt of that number is on record, or will be."""
        with self._lock:
            return melt in self._melts

    def stop(self, timeout_s: float = 5.0) -> int:
        """Write what waits, mark the sessions as ended and close; how many entries could not be written (0: none)."""
        thread = self._thread
        if thread is None:
            return len(self._backlog)
        with self._lock:
            self._stopping = True
            self._lock.notify()
        thread.join(timeout_s)
        if thread.is_alive():
            self._give_up.set()
            thread.join()
        self._thread = None
        left = len(self._backlog)
        error = StoreError(
            tell("record.rows_left", count=left), where=str(self.path), remedy=tell("record.rows_left.remedy")
        )
        with self._lock:
            futures = [f for waits in self._waits.values() for f in waits] + list(self._results.values())
            self._waits.clear()
            self._results.clear()
        for future in futures:
            _settle(future, None, error)
        return left

    def _append(
        self, number: int, item: Input | None, outputs: Sequence[Output], *, urgent: bool, call: Any = None
    ) -> int:
        """Under the lock."""
        self._tickets += 1
        if self._empty:  # nobody is woken for it: the thread looks every look_s, and that is soon enough to be on time
            self._empty = False
            self._oldest_s = self._clock()
        self._backlog.append((self._tickets, number, item, outputs, call))
        if urgent and not self._urgent:
            self._urgent = True
            self._lock.notify()
        return self._tickets

    def _saw_melt(self, melt: str) -> None:
        year, number = melt_number(melt)
        with self._lock:
            self._melts.add(melt)
            self._last_melt[year] = max(number, self._last_melt.get(year, 0))

    # --- the thread --------------------------------------------------------------------------------------------

    def _run(self, opened: "Future[None]") -> None:
        try:
            conn, self.findings = open_database(self.path, utc_s=self._last_utc_s, check=self._check)
        except Exception as err:
            opened.set_exception(err)
            return
        try:
            self._adopt(conn)
        except Exception as err:
            conn.close()
            opened.set_exception(err)
            return
        opened.set_result(None)
        try:
            while (work := self._wait_for_work()) is not None:
                if work:
                    self._commit_all()
                self._look_at_file()
            self._finish()
        finally:
            self._let_go()

    def _adopt(self, conn: sqlite3.Connection) -> None:
        """Write into this connection from now on."""
        self._writer = BatchWriter(conn, self._sessions)
        self._inode = file_identity(self.path)
        self._rolled_s = self._checked_s = self._clock()
        for (melt,) in conn.execute("SELECT melt FROM melts"):
            self._saw_melt(melt)

    def _wait_for_work(self) -> bool | None:
        """Until a batch is due (True), only the file is to be looked at (False), or we are stopping (None)."""
        with self._lock:
            while True:
                now_s = self._clock()
                if self._stopping:
                    return True if len(self._backlog) and not self._give_up.is_set() else None
                due_s = self._due_in(now_s)
                if due_s <= 0.0:
                    return True
                if now_s - self._checked_s >= INODE_CHECK_S:
                    return False
                self._lock.wait(max(min(due_s, self._look_s), 0.001))

    def _due_in(self, now_s: float) -> float:
        """Under the lock: seconds until what waits must be written; 0 or less: now."""
        waiting = len(self._backlog)
        if not waiting:
            return self._look_s
        if self._urgent or self._stopping or waiting >= self._batch_rows:
            return 0.0
        return self._oldest_s + (MELT_BATCH_S if self._melting else IDLE_BATCH_S) - now_s

    def _commit_all(self) -> None:
        """Write all that is due; with each failure wait a little longer and try the same rows again.

        What comes in during a commit waits for a batch of its own: else each would be followed by one of a few rows.
        """
        tries, failing_since_s, told_s = 0, None, 0.0  # type: tuple[int, float | None, float]
        while not self._give_up.is_set():
            with self._lock:
                taken_s = self._clock()
                if self._due_in(taken_s) > 0.0:
                    break
                batch = self._backlog.oldest(self._batch_rows)
                self._urgent = self._urgent and len(batch) < len(self._backlog)
            try:
                waited_s = self._clock() - self._rolled_s
                roll_up = waited_s >= (ROLL_UP_S if self._melting else IDLE_ROLL_UP_S)
                roll_up = roll_up or self._unrolled >= self._unrolled_rows
                if self._writer is None:
                    self._reopen()
                assert self._writer is not None
                told = self._writer.write(batch, roll_up=roll_up)
                if file_identity(self.path) != self._inode:
                    self._replace_lost_file(batch_is_in_it=True)
            except Exception as err:
                with self._lock:
                    self._urgent = True  # what could not be written stays due
                if not (isinstance(err, StoreError) or is_store_trouble(err)) and tries > 0:
                    self._write_singly(batch)
                    continue
                now_s = self._clock()
                failing_since_s = now_s if failing_since_s is None else failing_since_s
                problem = self._problem_of(err)
                due = problem is not StoreProblem.LOCKED or now_s - failing_since_s >= LOCKED_AFTER_S
                if due and (problem != self.problem or now_s - told_s >= TELL_EVERY_S):
                    told_s = now_s
                    self._tell(problem, str(err))
                self._heal(err, problem, tries)
                self._pack_some()
                self._give_up.wait(self._retry_s[min(tries, len(self._retry_s) - 1)])
                tries += 1
                continue
            self._unrolled += len(batch)
            if roll_up:
                self._rolled_s, self._unrolled = self._clock(), 0
            tries, failing_since_s = 0, None
            self._done(batch, told, taken_s)
        if self.problem and not self._give_up.is_set():
            self._tell(StoreProblem.NONE, self._well_again())

    def _well_again(self) -> Told:
        """What is said when recording goes on; an entry that no disk would take is not passed over."""
        count, self._put_beside = self._put_beside, 0
        if not count:
            return tell("record.well_again")
        return tell("record.well_but", count=count, path=str(self._refused_path))

    @property
    def _refused_path(self) -> Path:
        """Where entries lie that cannot be recorded."""
        return self.path.with_name(self.path.name + ".refused")

    def _done(
        self, batch: Sequence[Entry], told: Sequence[tuple[int, Any, BaseException | None]], taken_s: float
    ) -> None:
        """A batch is on disk; what waits now has come in after `taken_s`."""
        with self._lock:
            self._backlog.drop(len(batch))
            self._empty = not len(self._backlog)
            self._durable = batch[-1][0]
            self._oldest_s = taken_s
            ready = [t for t in self._waits if t <= self._durable] if self._waits else []
            futures = [future for t in ready for future in self._waits.pop(t)]
            results = [(self._results.pop(t), value, error) for t, value, error in told if t in self._results]
        for future in futures:
            _settle(future, None, None)
        for result, value, error in results:
            _settle(result, value, error)

    def _write_singly(self, batch: Sequence[Entry]) -> None:
        """One entry of the batch cannot be written by any disk: put it beside the file, say so, keep the others."""
        for entry in batch:
            told: Sequence[tuple[int, Any, BaseException | None]]
            try:
                if self._writer is None:
                    return
                told = self._writer.write([entry])
            except Exception as err:
                if is_store_trouble(err):
                    return  # the ordinary way goes on from here
                ticket, _, item, outputs, _ = entry
                log.exception("entry %d cannot be recorded: %r", ticket, item)
                with self._refused_path.open("a", encoding="utf-8") as beside:
                    beside.write(f"{item!r} {outputs!r}\n")
                self._put_beside += 1
                with self._lock:
                    failed = self._waits.pop(ticket, [])
                for future in failed:
                    _settle(future, None, err)
                told = [(ticket, None, err)]
            self._done([entry], told, self._oldest_s)

    def _problem_of(self, err: Exception) -> StoreProblem:
        if file_identity(self.path) != self._inode:
            return StoreProblem.GONE
        return StoreProblem.FAILING if isinstance(err, StoreError) else classify(err, self.path)

    def _heal(self, err: Exception, problem: StoreProblem, tries: int) -> None:
        """What can be done beside waiting: a file that is gone is begun anew, a broken one set aside."""
        try:
            if self._writer is None:
                return  # opening it again is what failed
            if problem is StoreProblem.GONE:
                self._replace_lost_file(batch_is_in_it=False)
            elif is_damage(err) and tries >= 2:
                self._let_go()
                self.findings += (set_aside(self.path, self._last_utc(), str(err)),)
                self._reopen()
            elif not isinstance(err, StoreError) and not is_store_trouble(err):
                self._let_go()  # such as an id another program took: look at the file afresh
                self._reopen()
        except (sqlite3.Error, OSError, StoreError) as again:
            log.warning("the record file could not be begun anew yet: %s", again)

    def _let_go(self) -> None:
        """Close the file; the next try opens it again."""
        writer, self._writer = self._writer, None
        if writer is not None:
            with contextlib.suppress(sqlite3.Error):
                writer.conn.close()

    def _look_at_file(self) -> None:
        """Every 10 s: is the file we write to still the one people see?"""
        now_s = self._clock()
        if now_s - self._checked_s < INODE_CHECK_S:
            return
        self._checked_s = now_s
        if self._writer is not None and file_identity(self.path) != self._inode:
            try:
                self._replace_lost_file(batch_is_in_it=True)
            except (sqlite3.Error, OSError, StoreError) as err:
                self._tell(StoreProblem.GONE, str(err))
            else:
                self._tell(StoreProblem.NONE, self._well_again())

    def _replace_lost_file(self, *, batch_is_in_it: bool) -> None:
        """The file was deleted or replaced while open. What it held is still ours to read: save that first.

        Deleted: the whole record is put back under its name. Replaced: it is kept beside, and the new file is
        written to; a batch that went into the old one is then given again. Raises StoreError so that it is.
        """
        self._tell(StoreProblem.GONE, tell("record.file_gone"))
        replaced = self.path.exists()
        target = self.path.with_name(f"{self.path.name}.{'replaced' if replaced else 'rescued'}")
        number = 1
        while target.exists():
            number += 1
            target = target.with_name(f"{self.path.name}.{'replaced' if replaced else 'rescued'}-{number}")
        rescued = True
        try:
            assert self._writer is not None
            copy_database(self._writer.conn, target)
        except (sqlite3.Error, OSError) as err:
            rescued = False
            log.warning("what the lost file held could not be copied: %s", err)
        self._let_go()
        if not replaced:
            for tail in ("-wal", "-shm"):  # of the lost file; beside another database they would be replayed into it
                with contextlib.suppress(FileNotFoundError):
                    self.path.with_name(self.path.name + tail).unlink()
            if rescued:
                target.rename(self.path)
        self._reopen()
        if batch_is_in_it and (replaced or not rescued):
            raise StoreError(tell("record.rows_lost"), where=str(self.path))

    def _reopen(self) -> None:
        conn, findings = open_database(self.path, utc_s=self._last_utc())
        self.findings += tuple(finding for finding in findings if finding.kind is not FindingKind.UNCLEAN_STOP)
        self._adopt(conn)

    def _pack_some(self) -> None:
        """While the disk fails memory is all there is: pack the oldest rows."""
        while True:
            with self._lock:
                run = self._backlog.take_to_pack()
            if not run:
                return
            block = pack(run)
            with self._lock:
                self._backlog.put_packed(run, block)

    def _finish(self) -> None:
        """Roll up and mark the sessions as ended; not worth waiting for."""
        with contextlib.suppress(sqlite3.Error):
            if self._writer is None:
                return
            self._writer.write([], roll_up=True)
            ends = [(self._sessions[number], last.mono_s, last.utc_s) for number, last in self._last.items()]
            self._writer.end_sessions(ends)
            self._writer.conn.execute("PRAGMA wal_checkpoint(TRUNCATE)")  # so that the file alone is whole

    def _last_utc(self) -> float:
        with self._lock:
            return max((last.utc_s for last in self._last.values()), default=self._last_utc_s)

    def _tell(self, problem: StoreProblem, detail: Told) -> None:
        if problem != self.problem:
            (log.warning if problem else log.info)("%s: %s", problem or "the record is well", detail)
        self.problem = problem
        try:
            self._on_state(problem, detail, self.waiting)
        except Exception:  # a listener that fails must not stop the record
            log.exception("on_state failed")


def _settle(future: "Future[Any]", value: Any, error: BaseException | None) -> None:
    """Finish a future that its owner may have cancelled."""
    if future.done() or not future.set_running_or_notify_cancel():
        return
    if error is not None:
        future.set_exception(error)
    else:
        future.set_result(value)
