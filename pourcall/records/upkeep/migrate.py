"""Schema versions. Each step in one transaction, a copy before the first, a newer file refused untouched.

Steps are the files schema/0001.sql, 0002.sql ...; each raises `user_version` by one inside its own transaction, so
that a step that fails leaves the version before it whole. Every version shipped stays in tests/data/schema/.
"""

import sqlite3
from collections.abc import Callable, Iterator, Sequence
from importlib import resources
from pathlib import Path

import msgspec

from pourcall.contract.errors import StoreError
from pourcall.contract.message import tell
from pourcall.contract.status import STATUS_OF, Reason
from pourcall.records.upkeep.old_sentences import fill_typed_columns
from pourcall.records.upkeep.walfile import FileHeader, read_header, read_wal

APPLICATION_ID = 0x504F5552  # "POUR"
# Small pages: each commit writes the last page of each tree again, with the page above it and the first of the file,
# and flash wears by what is written. Of a file that exists the size stays as it is.
PAGE_BYTES = 512

# Codes of journal.marks & 63. Append only: a code once given is never given again.
REASON_CODES: dict[Reason, int] = {
    Reason.OK: 0,
    Reason.OVERRIDE: 1,
    Reason.LAST_KNOWN: 2,
    Reason.LATE: 3,
    Reason.OFF_SPEC: 4,
    Reason.SPIKE: 5,
    Reason.COLD_JUNCTION: 6,
    Reason.DISAGREE: 7,
    Reason.WAITING: 8,
    Reason.OVER_RANGE: 9,
    Reason.SENSOR_OPEN: 10,
    Reason.SENSOR_SHORT: 11,
    Reason.INTERMITTENT: 12,
    Reason.UNCHANGING: 13,
    Reason.IMPLAUSIBLE: 14,
    Reason.DEAD_BUS: 15,
    Reason.LINK_LOST: 16,
    Reason.CONFIG: 17,
    # 18 was out_of_service: never given to a reading, and not to be given again.
    Reason.MOVING: 19,
    Reason.OUT_OF_METAL: 20,
    Reason.NO_VALUE: 21,
    Reason.UNPROVEN: 22,
    Reason.UNEXPLAINED: 23,
}
NO_READING = 63
OTHER_REASON = 62  # a reason without a code: the row is kept all the same


class Step(msgspec.Struct, frozen=True):
    """One migration: from `version` - 1 to `version`."""

    version: int
    sql: str
    fill: Callable[[sqlite3.Connection], None] | None = None  # what SQL alone cannot say, in the same transaction


_FILLS = {4: fill_typed_columns}


def shipped_steps() -> tuple[Step, ...]:
    """All steps this program knows, in order."""
    folder = resources.files("pourcall.records").joinpath("schema")
    names = sorted(entry.name for entry in folder.iterdir() if entry.name.endswith(".sql"))
    return tuple(
        Step(int(name[:4]), folder.joinpath(name).read_text(encoding="utf-8"), _FILLS.get(int(name[:4])))
        for name in names
    )


def statements(sql: str) -> Iterator[str]:
    """Single statements of a script; triggers stay whole. (`executescript` would commit behind our back.)"""
    piece = ""
    for line in sql.splitlines(keepends=True):
        piece += line
        if ";" in line and sqlite3.complete_statement(piece):  # a comment may follow on the line
            yield piece
            piece = ""
    if piece.strip() and not all(line.lstrip().startswith("--") or not line.strip() for line in piece.splitlines()):
        raise StoreError(tell("record.bad_migration"), where=piece.strip()[:60])


def refuse_foreign(database: Path, newest: int) -> FileHeader | None:
    """The header of the file, log included, before SQLite touches anything. None: no file yet.

    Raises StoreError for a file of a newer program, or of another program; both are left byte for byte as they are.
    """
    header = read_header(database)
    if header is None or not header.is_sqlite:
        return header
    logged = read_wal(database.with_name(database.name + "-wal")).header
    now = logged if logged is not None and logged.is_sqlite else header
    if now.user_version > newest:
        raise StoreError(
            tell("record.newer", found=now.user_version, newest=newest),
            where=str(database),
            remedy=tell("record.newer.remedy"),
        )
    if now.application_id != APPLICATION_ID and (now.application_id != 0 or now.user_version != 0):
        raise StoreError(tell("record.foreign"), where=str(database), remedy=tell("record.foreign.remedy"))
    return now


def migrate(conn: sqlite3.Connection, database: Path, steps: Sequence[Step] | None = None) -> int:
    """Bring an open database to the newest version; its version number. `conn` is in autocommit mode.

    Raises StoreError; the file then holds the version it had, and a copy of that lies beside it.
    """
    steps = shipped_steps() if steps is None else steps
    version = int(conn.execute("PRAGMA user_version").fetchone()[0])
    todo = [step for step in steps if step.version > version]
    if not todo:
        return version
    if version > 0:
        copy_database(conn, database.with_name(f"{database.name}.before-schema-{todo[-1].version}"))
    # Foreign keys cannot be switched within a transaction, and a table that is rebuilt is a parent gone for a moment.
    conn.execute("PRAGMA foreign_keys = OFF")
    try:
        for step in todo:
            _run(conn, step, database)
    finally:
        conn.execute("PRAGMA foreign_keys = ON")
    return todo[-1].version


def _run(conn: sqlite3.Connection, step: Step, database: Path) -> None:
    try:
        conn.execute("BEGIN IMMEDIATE")
        for statement in statements(step.sql):
            conn.execute(statement)
        if step.fill is not None:
            step.fill(conn)
        broken = conn.execute("PRAGMA foreign_key_check").fetchone()
        if broken is not None:
            raise sqlite3.IntegrityError(f"table {broken[0]} row {broken[1]} would name a row that is not there")
        conn.executemany(
            "INSERT OR IGNORE INTO reasons VALUES (?, ?, ?)",
            [(code, reason.value, STATUS_OF[reason].value) for reason, code in REASON_CODES.items()],
        )
        conn.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        conn.execute(f"PRAGMA user_version = {step.version}")
        conn.execute("COMMIT")
    except sqlite3.Error as err:
        if conn.in_transaction:
            conn.execute("ROLLBACK")
        raise StoreError(
            tell("record.migration_failed", schema=step.version, error=str(err)),
            where=str(database),
            remedy=tell("record.migration_failed.remedy", schema=step.version - 1),
        ) from err


def copy_database(conn: sqlite3.Connection, target: Path) -> None:
    """A whole copy through the backup API (a plain copy of a live file can be empty and look healthy)."""
    partial = target.with_name(target.name + ".part")
    partial.unlink(missing_ok=True)
    copy = sqlite3.connect(partial)
    try:
        conn.backup(copy)
        copy.execute("PRAGMA journal_mode = DELETE")
    finally:
        copy.close()
    partial.replace(target)
