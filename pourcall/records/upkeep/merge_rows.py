"""The small tables of another record into ours, row by row. What is here already is found by its own figures.

Tables, columns and references are read from the schema, so that a table of a later version comes along by itself.
A row counts as here when all its own columns are equal (ids and places in the journal aside); of rows that are equal to
each other as many are here as were counted. Works within the caller's transaction, after merge_journal.Journal.
"""

import sqlite3
from collections import defaultdict
from collections.abc import Iterator
from typing import Any, NamedTuple

from pourcall.contract.errors import BadInput
from pourcall.contract.message import tell
from pourcall.records.upkeep.merge_journal import Journal

_DONE = frozenset(
    (
        "texts",
        "furnaces",
        "probes",
        "sessions",
        "session_ends",
        "sources",
        "reasons",
        "journal",
        "other_readings",
        "events",
        "rollup",
        "state",
        "melts",
        "alarms",
        "merges",
        "merged_melts",
    )
)
_PLACES = frozenset(("event_id", "journal_id", "first_id", "last_id"))  # where a row came from: no part of what it says
_SETUPS = frozenset((("mould_setups", "name"), ("trial_series", "name")))  # besides every column called `setup`
Row = dict[str, Any]


class Table(NamedTuple):
    """One table by its schema."""

    name: str
    columns: tuple[str, ...]
    parents: dict[str, str]  # column -> table it names
    required: frozenset[str]
    has_id: bool


class Rows:
    """Maps from their ids to ours, filled as it goes."""

    def __init__(self, conn: sqlite3.Connection, journal: Journal) -> None:
        self.conn = conn
        self.journal = journal
        self.counts: dict[str, int] = {}
        self.new_melts: list[tuple[int, str, str]] = []  # our id, their number, our number
        self.ours: dict[str, dict[int, int]] = defaultdict(dict)  # table -> their id -> our id
        self._furnace_of_melt: dict[int, int] = {}  # their melt -> our furnace
        self._suffix = "" if journal.shared else f"@{journal.mark}"

    def melts(self) -> None:
        """Each melt of theirs: the one it is here, or a new one under the mark."""
        table = self._table("melts")
        for row in self._theirs(table):
            session = self.journal.session_of[row["session_id"]]
            theirs, number = row.pop("id"), row["melt"]
            self._furnace_of_melt[theirs] = session.furnace
            marked = f"{number}@{self.journal.mark}" if session.marked else number
            found = self.conn.execute(
                "SELECT id FROM main.melts WHERE melt = ? AND session_id = ?", (marked, session.ours)
            ).fetchone()
            if found is not None:
                self.ours["melts"][theirs] = int(found[0])
                continue
            row.update(
                melt=f"{number}@{self.journal.mark}",
                furnace_id=session.furnace,
                session_id=session.ours,
                journal_id=row["journal_id"] + self.journal.offset,
            )
            melt_id = self._insert("melts", row)
            if melt_id is None:
                raise BadInput(
                    tell("archive.melt_taken", melt=str(row["melt"])), remedy=tell("archive.melt_taken.remedy")
                )
            self.ours["melts"][theirs] = melt_id
            self.new_melts.append((melt_id, number, row["melt"]))

    def alarms(self) -> None:
        """Moves of alarms: those whose event came in."""
        for row in self._theirs(self._table("alarms")):
            event = self.journal.event(row["event_id"])
            if event is None:
                continue
            (session_id,) = self.conn.execute("SELECT session_id FROM main.events WHERE id = ?", (event,)).fetchone()
            (furnace,) = self.conn.execute(
                "SELECT furnace_id FROM main.sessions WHERE id = ?", (session_id,)
            ).fetchone()
            melt_id = None if row["melt_id"] is None else self.ours["melts"][row["melt_id"]]
            row.pop("id")
            self._insert("alarms", {**row, "event_id": event, "furnace_id": furnace, "melt_id": melt_id})

    def all_others(self) -> None:
        """Every other table, what is named before what names it."""
        names = [
            name
            for (name,) in self.conn.execute(
                "SELECT name FROM theirs.sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite%' ORDER BY rowid"
            )
            if name not in _DONE
        ]
        tables = {name: self._table(name) for name in names}
        while tables:
            ready = [
                name
                for name, table in tables.items()
                if not any(parent in tables and parent != name for parent in table.parents.values())
            ]
            if not ready:  # tables that name each other: in the order they were made
                ready = [next(iter(tables))]
            for name in ready:
                self._bring(tables.pop(name))

    def _bring(self, table: Table) -> None:
        told = [column for column in table.columns if column not in _PLACES and column not in ("id", "corrects")]
        here: dict[tuple[Any, ...], list[int]] = defaultdict(list)
        key_columns = ", ".join(f'"{column}"' for column in told)
        first = "id" if table.has_id else "0"
        order = " ORDER BY id DESC" if table.has_id else ""
        for found in self.conn.execute(f'SELECT {first}, {key_columns} FROM main."{table.name}"{order}'):
            here[tuple(found[1:])].append(found[0])  # the oldest last: it is taken first
        for theirs in self._theirs(table):
            row = self._mapped(table, theirs)
            if row is None:
                continue
            known = here.get(tuple(row[column] for column in told))
            ours = known.pop() if known else self._insert(table.name, self._fitted(table, row))
            if table.has_id and ours is not None:
                self.ours[table.name][theirs["id"]] = ours

    def _mapped(self, table: Table, theirs: Row) -> Row | None:
        """A row with our references; None where what it must name is not to be had."""
        row = {column: value for column, value in theirs.items() if column != "id"}
        for column, parent in table.parents.items():
            if row[column] is None:
                continue
            row[column] = self._reference(table, parent, column, theirs)
            if row[column] is None and column in table.required:
                return None
        for column in ("journal_id", "first_id", "last_id"):
            if column in row and column not in table.parents and row[column] is not None:
                row[column] += self.journal.offset
        for column in row:
            if (table.name, column) in _SETUPS or (column == "setup" and self._suffix):
                # A mould without a setup is taken for one of its own name; that is theirs, not ours.
                row[column] = (row[column] or row.get("mould") or row.get("name") or "") + self._suffix
        if table.name == "corrections":
            row["row_id"] = self.ours[row["table_name"]].get(row["row_id"], row["row_id"])
        return row

    def _reference(self, table: Table, parent: str, column: str, theirs: Row) -> Any:
        value = theirs[column]
        match parent:
            case "texts" | "reasons":
                return value
            case "events":
                return self.journal.event(value)
            case "sessions":
                return self.journal.session_of[value].ours
            case "furnaces":
                return self._furnace(theirs)
            case "probes":
                (furnace,) = self.conn.execute("SELECT furnace_id FROM theirs.probes WHERE id = ?", (value,)).fetchone()
                return self.journal.probe(value, self._furnace({**theirs, "furnace_id": furnace}))
            case "journal":
                return value + self.journal.offset
            case _:
                return self.ours[parent].get(value)

    def _furnace(self, theirs: Row) -> int:
        """A row follows its melt, else its session, else stands with the furnace as such."""
        if theirs.get("melt_id") is not None:
            return self._furnace_of_melt[theirs["melt_id"]]
        if theirs.get("session_id") is not None:
            return self.journal.session_of[theirs["session_id"]].furnace
        if theirs.get("event_id") is not None:
            (session_id,) = self.conn.execute(
                "SELECT session_id FROM theirs.events WHERE id = ?", (theirs["event_id"],)
            ).fetchone()
            return self.journal.session_of[session_id].furnace
        return self.journal.furnace_of[theirs["furnace_id"]]

    def _fitted(self, table: Table, row: Row) -> Row:
        """Two copies of one shop may each have given out the same next version of a plan."""
        if table.name == "melt_plans":
            (top,) = self.conn.execute(
                "SELECT coalesce(max(version), 0) FROM main.melt_plans WHERE melt_id = ?", (row["melt_id"],)
            ).fetchone()
            row = {**row, "version": max(row["version"], top + 1)}
        return row

    def _insert(self, table: str, row: Row) -> int | None:
        """Our id; None where a row that must be the only one of its kind is here already (a tag, a photo)."""
        names, marks = ", ".join(f'"{name}"' for name in row), ", ".join("?" * len(row))
        try:
            cursor = self.conn.execute(f'INSERT INTO main."{table}" ({names}) VALUES ({marks})', tuple(row.values()))
        except sqlite3.IntegrityError as err:
            if err.sqlite_errorcode in (sqlite3.SQLITE_CONSTRAINT_UNIQUE, sqlite3.SQLITE_CONSTRAINT_PRIMARYKEY):
                return None
            raise
        self.counts[table] = self.counts.get(table, 0) + 1
        return cursor.lastrowid

    def _theirs(self, table: Table) -> Iterator[Row]:
        order = "id" if table.has_id else "1, 2"
        rows = self.conn.execute(f'SELECT * FROM theirs."{table.name}" ORDER BY {order}').fetchall()
        return (dict(zip(table.columns, row, strict=True)) for row in rows)

    def _table(self, name: str) -> Table:
        info = self.conn.execute(f'PRAGMA theirs.table_info("{name}")').fetchall()
        parents = {row[3]: row[2] for row in self.conn.execute(f'PRAGMA theirs.foreign_key_list("{name}")')}
        return Table(
            name=name,
            columns=tuple(row[1] for row in info),
            parents=parents,
            required=frozenset(row[1] for row in info if row[3] or row[5]),
            has_id=any(row[1] == "id" for row in info),
        )
