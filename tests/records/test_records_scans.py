"""Readings gathered to rows. Packed and plain ways against a few lines that do it one reading after another."""

import sqlite3
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pourcall.records.read.tracing import Extent
from pourcall.records.upkeep.migrate import NO_READING
from pourcall.records.write.codec import REASONS
from pourcall.reports.tables import row_alignment as room
from pourcall.reports.tables.row_alignment import SCAN_MS, scans
from pourcall.reports.tables.row_writers import CsvForm, Form, JsonForm

PLACES = {1: 2, 2: 0, 3: 1}  # source -> column; source 4 is no probe
OFFSET_MS = 1_780_000_000_000
Row = tuple[Any, ...]


def one_by_one(rows: list[Row], form: Form, since_ms: float, until_ms: float) -> Iterator[tuple[float, int, str]]:
    """The rule in its plainest words."""
    cells: dict[int, str] = {}
    start: tuple[float, int] = (0.0, 0)
    for source, mono, utc, temp_mc, u_mc, marks, extra in rows:
        late_ms = extra * 1000.0 if isinstance(extra, float) else 0.0
        at_ms = (mono if isinstance(mono, int) else mono * 1000.0) - late_ms
        if source not in PLACES or not since_ms <= at_ms <= until_ms:
            continue
        if cells and (PLACES[source] in cells or not start[0] <= at_ms <= start[0] + SCAN_MS):
            yield *start, form.body([cells.get(place, form.empty) for place in range(3)])
            cells = {}
        if not cells:
            utc_ms = mono + OFFSET_MS + utc if isinstance(utc, int) else round(utc * 1000.0)
            start = at_ms, utc_ms - round(late_ms)
        cells[PLACES[source]] = form.figure(temp_mc) + form.rest(u_mc, REASONS.get(marks & NO_READING))
    if cells:
        yield *start, form.body([cells.get(place, form.empty) for place in range(3)])


@pytest.fixture
def journal() -> Iterator[sqlite3.Connection]:
    conn = sqlite3.connect(":memory:")
    conn.execute(
        "CREATE TABLE journal (id INTEGER PRIMARY KEY, source INTEGER, mono ANY, utc ANY, marks INTEGER,"
        " temp_mc INTEGER, u_mc INTEGER, extra ANY) STRICT"
    )
    conn.execute(
        "CREATE TABLE other_readings (id INTEGER PRIMARY KEY, journal_id, source, at_mono_s, at_utc_s, temp_mc, u_mc,"
        " reason)"
    )
    yield conn
    conn.close()


def whole(conn: sqlite3.Connection, rows: list[Row], form: Form, since_ms: float, until_ms: float) -> list[Any]:
    conn.execute("DELETE FROM journal")
    conn.executemany(
        "INSERT INTO journal (source, mono, utc, temp_mc, u_mc, marks, extra) VALUES (?, ?, ?, ?, ?, ?, ?)", rows
    )
    first, last = conn.execute("SELECT min(id), max(id) FROM journal").fetchone()
    found = Extent(first or 1, last or 0, 0, until_ms / 1000.0, 3, len(rows))
    made = scans(conn, found, PLACES, form, 3, since_ms=since_ms, until_ms=until_ms, offset_ms=OFFSET_MS)
    return list(made)


def regular(seconds: int) -> list[Row]:
    """Three probes at 10 Hz and a board that reports once a second."""
    rows: list[Row] = []
    for n in range(10 * seconds):
        for source in (1, 2, 3):
            u_mc = 2500 + n // 10
            rows.append((source, 100 * n + 4 * source, n % 2, 500_000 + 7 * n + source, u_mc, 0, None))
        if n % 10 == 9:
            rows.append((4, 100 * n + 50, 0, None, 1, 63, None))
    return rows


@pytest.mark.parametrize("form", [CsvForm(["a", "b", "c"]), JsonForm(["a", "b", "c"])], ids=["csv", "jsonl"])
def test_a_long_even_trace_is_gathered_as_by_hand(journal: sqlite3.Connection, form: Form) -> None:
    rows = regular(200)
    made = whole(journal, rows, form, 0.0, 1e9)
    assert made == list(one_by_one(rows, form, 0.0, 1e9))
    assert len(made) == 2000
    assert made[11][:2] == (1104, OFFSET_MS + 1105)  # its own time and UTC, not those of the pattern


def test_a_stretch_begins_and_ends_where_it_is_told(journal: sqlite3.Connection) -> None:
    form = CsvForm(["a", "b", "c"])
    made = whole(journal, regular(60), form, 10_008.0, 20_008.0)
    assert made == list(one_by_one(regular(60), form, 10_008.0, 20_008.0))
    assert (made[0][0], made[-1][0]) == (10_008, 20_008)


times = st.one_of(st.integers(0, 3000), st.floats(0.0, 3.0).map(lambda t: t if t * 1000.0 % 1.0 else t + 0.0001234))
utcs = st.one_of(st.integers(-3, 3), st.just(700_000), st.floats(1.78e9, 1.79e9))
readings = st.tuples(
    st.integers(1, 4),
    times,
    utcs,
    st.one_of(st.none(), st.integers(-50_000, 700_000)),
    st.one_of(st.none(), st.integers(0, 9000), st.just(200_000_000)),
    st.sampled_from([0, 1, 2, 63, 64, 1 << 30]),
    st.one_of(st.none(), st.none(), st.just(0.125), st.just("text"), st.just(b"blob")),
)


def as_kept(row: Row) -> Row:
    """As the recorder keeps them: a REAL monotonic time never has whole seconds, and its UTC is REAL too."""
    source, mono, utc, *rest = row
    if isinstance(mono, float):
        mono = mono if mono % 1.0 else mono + 0.00012345
        utc = utc if isinstance(utc, float) else 1.78e9 + mono
    return (source, mono, utc, *rest)


@given(st.lists(readings.map(as_kept), max_size=60), st.booleans(), st.integers(2, 9))
@settings(max_examples=150)
def test_whatever_the_journal_holds_is_gathered_as_by_hand(rows: list[Row], in_order: bool, chunk: int) -> None:
    if in_order:
        rows = sorted(rows, key=lambda row: row[1] if isinstance(row[1], int) else row[1] * 1000.0)
    form = CsvForm(["a", "b", "c"])
    with pytest.MonkeyPatch.context() as patch, sqlite3.connect(":memory:") as conn:
        patch.setattr(room, "_CHUNK_ROWS", chunk)  # so that a scan reaches over the end of a chunk, and of a block
        patch.setattr(room, "_BLOCK_IDS", 3 * chunk)
        conn.execute(
            "CREATE TABLE journal (id INTEGER PRIMARY KEY, source INTEGER, mono ANY, utc ANY, marks INTEGER,"
            " temp_mc INTEGER, u_mc INTEGER, extra ANY) STRICT"
        )
        conn.execute(
            "CREATE TABLE other_readings (id INTEGER PRIMARY KEY, journal_id, source, at_mono_s, at_utc_s, temp_mc,"
            " u_mc, reason)"
        )
        assert whole(conn, rows, form, 100.0, 2500.0) == list(one_by_one(rows, form, 100.0, 2500.0))
    conn.close()
