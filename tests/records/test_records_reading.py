"""Listings, details and traces. The roll-up is compared with a plain count over all rows."""

import random
import shutil
import sqlite3
from pathlib import Path
from typing import Any

import msgspec
import pytest

from pourcall.contract.errors import BadInput, NotFound
from pourcall.contract.events import (
    AlarmChanged,
    AlarmState,
    AlarmView,
    LinkChanged,
    Marked,
    MarkKind,
    MeltChanged,
    Priority,
)
from pourcall.contract.inputs import CommandIn, MarkAddition
from pourcall.contract.status import Reason
from pourcall.records.entries.entries import (
    add_calibration,
    add_photo,
    add_result,
    add_tag,
    correct_pour,
    store_photo_file,
)
from pourcall.records.read.lookup import standing_row
from pourcall.records.read.store import Store
from pourcall.records.read.views import NOTHING_POURED
from pourcall.records.write.recorder import IDLE_ROLL_UP_S, Recorder

UTC_S = 1_780_000_000.0
Maker = Any


def counted(database: Path, span_s: int) -> dict[tuple[str, int], tuple[int, int, int | None, int | None, int]]:
    """The roll-up as it ought to be, from the rows alone."""
    conn = sqlite3.connect(database)
    found: dict[tuple[str, int], list[int | None]] = {}
    for probe, mono_s, late_s, temp_c in conn.execute(
        "SELECT r.probe, r.mono_s, CASE typeof(j.extra) WHEN 'real' THEN j.extra ELSE 0 END, r.temp_c"
        " FROM readings r JOIN journal j ON j.id = r.id"
    ):
        temp_mc = None if temp_c is None else round(temp_c * 1000)
        found.setdefault((probe, int((mono_s - late_s) // span_s)), []).append(temp_mc)
    conn.close()
    return {
        key: (
            sum(t is not None for t in all_mc),
            sum(t is None for t in all_mc),
            min((t for t in all_mc if t is not None), default=None),
            max((t for t in all_mc if t is not None), default=None),
            sum(t for t in all_mc if t is not None),
        )
        for key, all_mc in found.items()
    }


def rolled(database: Path, span_s: int) -> dict[tuple[str, int], tuple[int, int, int | None, int | None, int]]:
    conn = sqlite3.connect(database)
    rows = conn.execute(
        "SELECT p.name, slot, n, n_bad, min_mc, max_mc, sum_mc FROM rollup r JOIN probes p ON p.id = r.probe_id"
        " WHERE span_s = ?",
        (span_s,),
    ).fetchall()
    conn.close()
    return {(row[0], row[1]): tuple(row[2:]) for row in rows}


def test_the_roll_up_is_what_a_count_over_all_rows_gives_also_after_a_crash(
    database: Path, recording: Any, clock: Any, make: Maker
) -> None:
    chance = random.Random(3)
    recorder = recording()
    for n in range(900):
        mono_s = round(100.0 + n * 0.5, 3)
        if chance.random() < 0.05:
            item, outputs = make.sample(mono_s, None, reason=Reason.SENSOR_OPEN)
        else:
            late_s = round(chance.random() * 90.0, 3) if chance.random() < 0.1 else 0.0
            probe = chance.choice(("melt_probe", "chamber_probe"))
            item, outputs = make.sample(
                mono_s, round(500.0 + chance.gauss(0.0, 20.0), 3), probe=probe, late_s=late_s, channel=probe
            )
        recorder.put("crucible", item, outputs)
        if n == 300:
            clock.now_s += IDLE_ROLL_UP_S + 1.0
            recorder.wait(recorder.put("crucible", *make.note(mono_s))).result(5)
    recorder.wait(recorder.put("crucible", *make.note(600.0))).result(5)
    half = database.with_name("half.sqlite")  # as a crash would leave it: rows that are not rolled up yet
    for tail in ("", "-wal"):
        shutil.copy(database.with_name(database.name + tail), half.with_name(half.name + tail))
    conn = sqlite3.connect(half)
    (rolled_id,) = conn.execute("SELECT rolled_id FROM state").fetchone()
    assert 0 < rolled_id < conn.execute("SELECT max(id) FROM journal").fetchone()[0] - 100
    conn.close()
    again = Recorder(half, on_state=lambda *_: None, clock=clock)
    again.start()
    for finished, path in ((again, half), (recorder, database)):
        assert finished.stop() == 0
        for span_s in (5, 60):
            assert rolled(path, span_s) == counted(path, span_s)


def test_the_roll_up_merges_a_slot_that_is_written_twice(
    database: Path, recording: Any, clock: Any, make: Maker
) -> None:
    recorder = recording()
    for temp_c in (500.0, 490.0, 510.0, None):
        reason = Reason.OK if temp_c else Reason.SENSOR_OPEN
        recorder.put("crucible", *make.sample(101.0, temp_c, reason=reason))
        clock.now_s += IDLE_ROLL_UP_S + 1.0
        recorder.wait(recorder.put("crucible", *make.note(102.0))).result(5)
    recorder.stop()
    assert rolled(database, 5) == {("melt_probe", 20): (3, 1, 490_000, 510_000, 1_500_000)}


@pytest.mark.parametrize(("rows", "level"), [(600, "rows"), (30_000, "slots")])
def test_a_trace_holds_every_peak_of_the_rows(
    database: Path, recording: Any, make: Maker, rows: int, level: str
) -> None:
    recorder = recording()
    recorder.put("crucible", *make.start(100.0, make.plan()))
    highest = {}
    for n in range(rows):
        mono_s = round(100.0 + n * 0.1, 3)
        temp_c = round(400.0 + n * 0.003 + make.random.random(), 3)
        if n == rows // 2:
            temp_c = 777.0
        highest[n] = temp_c
        recorder.put("crucible", *make.sample(mono_s, temp_c))
    recorder.put("crucible", *make.end(100.0 + rows * 0.1))
    recorder.stop()
    with Store.read(database) as store:
        whole = store.melt_trace("2026-001", 400)
        since_s = 100.0 + rows * 0.05
        tail = store.trace("crucible", since_s, 100)
    points = whole.probes["melt_probe"]
    assert len(points) <= 402
    assert whole.began_mono_s == 100.0
    assert max(point.max_c or 0.0 for point in points) == 777.0
    assert min(point.min_c or 1e9 for point in points) == min(highest.values())
    assert [point.mono_s for point in points] == sorted(point.mono_s for point in points)
    assert tail.probes["melt_probe"][0].mono_s == pytest.approx(since_s, abs=5.0)
    assert len(tail.probes["melt_probe"]) <= 102


def test_a_trace_shows_what_came_a_moment_ago_and_leaves_gaps_open(recording: Any, database: Path, make: Maker) -> None:
    recorder = recording()
    for mono_s in (101.0, 102.0, 300.0):
        recorder.put("crucible", *make.sample(mono_s, 500.0 + mono_s))
    recorder.put("crucible", *make.sample(301.0, None, reason=Reason.SENSOR_OPEN))
    recorder.wait(recorder.put("crucible", *make.note(302.0))).result(5)
    with Store.read(database) as store:
        points = store.trace("crucible", 100.0, 1000).probes["melt_probe"]
        with pytest.raises(NotFound):
            store.trace("kiln", 0.0, 10)
    assert [(round(point.mono_s), point.max_c) for point in points] == [
        (101, 601.0),
        (102, 602.0),
        (300, 800.0),
        (301, None),
    ]


def test_a_melt_that_outlives_a_restart_is_one_trace(database: Path, recording: Any, make: Maker) -> None:
    recorder = recording()
    recorder.put("crucible", *make.start(101.0, make.plan()))
    recorder.put("crucible", *make.sample(110.0, 510.0))
    recorder.stop()
    again = recording(mono_s=5.0, utc_s=UTC_S + 60.0)  # the computer was started anew: its clock begins at 5 s
    make.base_s = UTC_S + 55.0
    again.put("crucible", *make.start(5.5, make.plan()))
    item, outputs = make.sample(10.0, 520.0)
    again.put("crucible", item, outputs)
    again.put("crucible", *make.end(20.0))
    again.stop()
    with Store.read(database) as store:
        detail = store.melt("2026-001")
        points = store.melt_trace("2026-001", 100).probes["melt_probe"]
    assert len(detail.plans) == 1  # told again, not changed
    assert [(gap.reason, round((gap.ended_utc_s or 0.0) - UTC_S)) for gap in detail.gaps] == [("not running", 60)]
    assert [point.max_c for point in points] == [510.0, 520.0]
    assert points[1].mono_s - points[0].mono_s == pytest.approx(55.0, abs=1.5)


def test_melt_and_pour_lists_and_details(database: Path, recording: Any, make: Maker) -> None:
    recorder = recording()
    recorder.put("crucible", *make.start(101.0, make.plan()))
    item, _ = make.note(105.0)
    other = msgspec.structs.replace(make.plan(), charge_kg=1.8)
    changed = MeltChanged(
        furnace="crucible", seq=item.seq, mono_s=105.0, utc_s=item.utc_s, old=make.plan(), new=other, why="one more"
    )
    recorder.put("crucible", item, (changed,))
    make.seq += 1
    add = CommandIn(
        seq=make.seq, mono_s=107.0, utc_s=UTC_S + 7.0, command=MarkAddition(mass_kg=0.3, source="returns", who="ann")
    )
    marked = Marked(
        furnace="crucible",
        seq=add.seq,
        mono_s=107.0,
        utc_s=add.utc_s,
        what=MarkKind.ADDITION,
        text="0.3 kg returns",
        at_mono_s=107.0,
        value=0.3,
    )
    recorder.put("crucible", add, (marked,))
    alarm = AlarmView(
        id="sensor_open:melt_probe",
        kind="sensor_open",
        subject="melt_probe",
        priority=Priority.ALARM,
        state=AlarmState.UNACKED,
        active=True,
        what="open",
        remedy="look",
        raised_mono_s=108.0,
        raised_utc_s=UTC_S + 8.0,
    )
    item, _ = make.note(108.0)
    down = LinkChanged(furnace="crucible", seq=item.seq, mono_s=108.0, utc_s=item.utc_s, board="bench", up=False)
    rang = AlarmChanged(furnace="crucible", seq=item.seq, mono_s=108.0, utc_s=item.utc_s, alarm=alarm)
    recorder.put("crucible", item, (down, rang))
    item, _ = make.note(111.0)
    up = LinkChanged(furnace="crucible", seq=item.seq, mono_s=111.0, utc_s=item.utc_s, board="bench", up=True)
    recorder.put("crucible", item, (up,))
    recorder.put("crucible", *make.dip(112.0))
    recorder.put("crucible", *make.pour(120.0))
    recorder.put("crucible", *make.pour(125.0, number=2, mould="Cleat B", lip_c=511.0))
    recorder.put("crucible", *make.end(130.0))
    recorder.call(lambda conn: add_result(conn, "2026-001-2", "misrun", 2, who="ann", utc_s=UTC_S)).result(5)
    recorder.call(lambda conn: add_result(conn, "2026-001-2", "cold_shut", 1, who="ann", utc_s=UTC_S)).result(5)
    recorder.call(lambda conn: add_result(conn, "2026-001-1", "sound", 0, who="ann", utc_s=UTC_S)).result(5)
    recorder.call(lambda conn: add_result(conn, "2026-001-2", "misrun", 3, who="ann", utc_s=UTC_S)).result(5)
    recorder.call(lambda conn: add_tag(conn, "2026-001", "spring", utc_s=UTC_S)).result(5)
    recorder.put("crucible", *make.start(200.0, make.plan("2026-002")))
    recorder.wait(recorder.put("crucible", *make.note(201.0))).result(5)
    with Store.read(database) as store:
        newest, first = store.melts()
        assert (newest.melt, newest.ended_utc_s, newest.ending) == ("2026-002", None, "")
        assert (first.melt, first.alloy, first.alloy_name, first.charge_kg) == ("2026-001", "za27", "ZA-27", 1.8)
        assert (first.moulds, first.pours, first.dips, first.ending) == (1, 2, 1, "poured")
        assert first.ended_utc_s == UTC_S + 30.0
        assert first.tags == ("spring",)
        assert store.melts(year=2025) == ()
        second, one = store.pours(melt="2026-001")
        assert (one.pour, one.inside, one.result) == ("2026-001-1", True, "sound")
        assert (second.pour, second.inside, second.result) == ("2026-001-2", False, "cold shut 1, misrun 3")
        assert store.pours(setup="cleat_v1", alloy="za27", limit=1) == (second,)
        detail = store.melt("2026-001")
        assert [(plan.version, plan.plan.charge_kg, plan.why) for plan in detail.plans] == [
            (1, 1.5, ""),
            (2, 1.8, "one more"),
        ]
        assert [(a.alarm, a.priority) for a in detail.alarms] == [("sensor_open:melt_probe", 2)]
        assert [(g.board, g.began_utc_s, g.ended_utc_s) for g in detail.gaps] == [("bench", UTC_S + 8, UTC_S + 11)]
        assert [(n.what, n.value, n.who) for n in detail.notes] == [("addition", 0.3, "ann")]
        assert detail.dips[0].temp_c == 548.2
        assert store.next_melt_id(UTC_S) == "2026-003"
        assert store.next_melt_id(UTC_S + 366 * 86400.0) == "2027-001"
        for wrong in (lambda: store.melt("2026-999"), lambda: store.pour("2026-001-9"), lambda: store.pour("x")):
            with pytest.raises(NotFound):
                wrong()


def test_a_correction_is_a_new_row_and_the_old_one_stays(database: Path, recording: Any, make: Maker) -> None:
    recorder = recording()
    recorder.put("crucible", *make.start(101.0, make.plan()))
    recorder.put("crucible", *make.pour(120.0, lip_c=541.0))
    for lip_c in (538.0, 536.5):
        recorder.call(
            lambda conn, lip_c=lip_c: correct_pour(
                conn,
                standing_row(conn, "2026-001-1"),
                {"lip_temp_c": lip_c},
                who="ann",
                why="ladle was cold",
                utc_s=UTC_S,
            )
        ).result(5)
    recorder.put("crucible", *make.pour(119.0, lip_c=537.0))  # the engine told it again: marked backwards
    refused = recorder.call(
        lambda conn: correct_pour(
            conn, standing_row(conn, "2026-001-1"), {"melt_id": 7}, who="ann", why="", utc_s=UTC_S
        )
    )
    with pytest.raises(BadInput):
        refused.result(5)
    recorder.stop()
    with Store.read(database) as store:
        assert len(store.pours()) == 1
        detail = store.pour("2026-001-1")
    assert (detail.row.lip_temp_c, detail.row.corrected) == (537.0, True)
    assert [row.lip_temp_c for row in detail.earlier] == [541.0, 538.0, 536.5]
    conn = sqlite3.connect(database)
    assert conn.execute("SELECT field, old, new, who, why FROM corrections").fetchall() == [
        ("lip_temp_c", 541.0, 538.0, "ann", "ladle was cold"),
        ("lip_temp_c", 538.0, 536.5, "ann", "ladle was cold"),
    ]
    conn.close()


def test_what_people_enter_later_finds_its_place(database: Path, recording: Any, make: Maker, tmp_path: Path) -> None:
    recorder = recording()
    recorder.put("crucible", *make.start(101.0, make.plan()))
    recorder.put("crucible", *make.sample(102.0))
    recorder.put("crucible", *make.pour(120.0))
    picture = tmp_path / "cleat.JPG"
    picture.write_bytes(b"\xff\xd8 a picture")
    kept = store_photo_file(tmp_path / "photos", picture)
    assert store_photo_file(tmp_path / "photos", picture) == kept
    assert [file.name for file in (tmp_path / "photos").iterdir()] == [f"{kept[0]}.jpg"]

    def enter(conn: sqlite3.Connection) -> None:
        add_photo(conn, "2026-001", *kept, who="ann", utc_s=UTC_S, pour_number=1, caption="gate side")
        add_calibration(
            conn, "crucible", "melt_probe", method="ice", reference_c=0.0, offset_uv=-12.0, who="ann", utc_s=UTC_S
        )

    recorder.call(enter).result(5)
    for wrong in (
        lambda conn: add_result(conn, "2026-001-1", "misrun", 4, who="ann", utc_s=UTC_S),
        lambda conn: add_result(conn, "2026-001-1", "sound", 1, who="ann", utc_s=UTC_S),
        lambda conn: add_result(conn, "2026-001-7", "misrun", 1, who="ann", utc_s=UTC_S),
    ):
        with pytest.raises((BadInput, NotFound)):
            recorder.call(wrong).result(5)
    recorder.stop()
    with Store.read(database) as store:
        photos = store.pour("2026-001-1").photos
    assert [(photo.hash, photo.caption) for photo in photos] == [(kept[0], "gate side")]


def test_two_furnaces_are_kept_apart(database: Path, recording: Any, make: Maker) -> None:
    recorder = recording()
    recorder.begin_session("annealer", "", b"{}", 100.0, UTC_S)
    for n in range(20):
        recorder.put(("crucible", "annealer")[n % 2], *make.sample(101.0 + n, 500.0 if n % 2 == 0 else 900.0))
    recorder.stop()
    with Store.read(database) as store:
        assert {p.max_c for p in store.trace("crucible", 0.0, 50).probes["melt_probe"]} == {500.0}
        assert {p.max_c for p in store.trace("annealer", 0.0, 50).probes["melt_probe"]} == {900.0}


def test_a_mould_that_was_poured_twice_counts_once_and_each_pour_counts(
    database: Path, recording: Any, make: Maker
) -> None:
    recorder = recording()
    plan = make.plan()
    other = msgspec.structs.replace(plan.moulds[0], name="Cleat B")
    recorder.put("crucible", *make.start(100.0, msgspec.structs.replace(plan, moulds=(*plan.moulds, other))))
    recorder.put("crucible", *make.pour(200.0))
    recorder.put("crucible", *make.pour(210.0, number=2))
    recorder.put("crucible", *make.end(300.0))
    recorder.stop()
    with Store.read(database) as store:
        (row,) = store.melts()
        assert store.melt("2026-001").row == row
    assert (row.moulds_poured, row.moulds, row.pours, row.outcome) == (1, 2, 2, "poured")


def test_a_melt_that_ended_as_poured_without_a_pour_on_record_is_not_told_as_poured(
    database: Path, recording: Any, make: Maker
) -> None:
    recorder = recording()
    recorder.put("crucible", *make.start(100.0, make.plan()))
    recorder.put("crucible", *make.end(300.0))
    recorder.put("crucible", *make.start(400.0, make.plan("2026-002")))
    recorder.stop()
    with Store.read(database) as store:
        running, ended = store.melts()
    assert (ended.ending, ended.outcome, ended.moulds_poured) == ("poured", NOTHING_POURED, 0)
    assert (running.ending, running.outcome) == ("", "")
