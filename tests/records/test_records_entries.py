"""Later entries: charges, remelt counts, endings, mould setups; corrected, never erased. Real file and writer."""

import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from pourcall.contract.api import ResultRequest
from pourcall.contract.entries import (
    ChargeRequest,
    EndingRequest,
    MeltNote,
    MouldSetupRequest,
    PourCompletion,
    PourCorrection,
)
from pourcall.contract.errors import BadInput, NotFound, PourcallError
from pourcall.contract.events import MeltEnded
from pourcall.contract.inputs import CommandIn, EndMelt, MeltEnding
from pourcall.contract.message import NOTHING, Message, tell
from pourcall.contract.plan import MouldRequest
from pourcall.daemon.api import library
from pourcall.engine.melt.melt_run import MeltRun
from pourcall.records.entries.charges import charge_told
from pourcall.records.entries.melt_outcome import left_told
from pourcall.records.entries.setups import setup_at, setup_list, setup_versions
from pourcall.records.read.store import Store
from pourcall.reports.tables.export import export_pours, melt_csv
from pourcall.texts import say
from tests.records.conftest import UTC_S, Shop, new, returns
from tests.told import meant, name_of, parts, refused, said

Maker = Any


# -- endings -----------------------------------------------------------------------------------------------------------


def ended_with(recorder: Any, make: Maker, mono_s: float, command: EndMelt, melt: str = "2026-001") -> None:
    make.seq += 1
    utc_s = make.base_s + mono_s
    event = MeltEnded(furnace="crucible", seq=make.seq, mono_s=mono_s, utc_s=utc_s, melt=melt, ending=command.ending)
    item = CommandIn(seq=make.seq, mono_s=mono_s, utc_s=utc_s, command=command)
    recorder.wait(recorder.put("crucible", item, (event,))).result(5)


def test_an_ending_tells_ingots_and_heel_at_once_with_numbers_to_write_on_the_ingots(
    recording: Callable[..., Any], make: Maker, database: Path
) -> None:
    recorder = recording()
    recorder.put("crucible", *make.start(200.0, make.plan()))
    command = EndMelt(
        ending=MeltEnding.ABANDONED, ingots_kg=(0.4, 0.35), heel_kg=0.3, why="burner out of gas", who="ann"
    )
    ended_with(recorder, make, 900.0, command)
    with Store.read(database) as store:
        detail = store.melt("2026-001")
        (row,) = store.melts()
    ingots = [tell("ending.ingot", ingot=f"2026-001-i{n}", mass_kg=kg) for n, kg in ((1, 0.4), (2, 0.35))]
    assert parts(left_told(detail.left), "parts") == (*ingots, tell("ending.heel", mass_kg=0.3))
    assert (row.ending, row.ending_detail, row.heel_kg) == ("abandoned", "burner out of gas", 0.3)
    assert row.ingots_kg == pytest.approx(0.75)
    assert {one.who for one in detail.left} == {"ann"}


def test_an_ending_is_corrected_later_and_what_was_told_is_kept(shop: Shop) -> None:
    shop.enter(EndingRequest(melt="2026-001", ingots_kg=(0.4, 0.3), heel_kg=0.2))
    told = shop.enter(
        EndingRequest(
            melt="2026-001", ending=MeltEnding.ABANDONED, detail="slag", ingots_kg=(0.42,), heel_kg=0.0, why="x"
        )
    )
    how = tell("ending.why", how=tell("ending.how", ending="abandoned"), detail="slag")
    left = (tell("ending.ingot", ingot="2026-001-i1", mass_kg=0.42), tell("ending.no_heel"))
    assert told == tell("ending.done", melt="2026-001", said=(how, *left))
    with Store.read(shop.path) as store:
        detail = store.melt("2026-001")
    assert parts(left_told(detail.left), "parts") == (tell("ending.ingot", ingot="2026-001-i1", mass_kg=0.42),)
    assert detail.left[0].corrected
    assert (detail.row.ending, detail.row.ending_detail) == ("abandoned", "slag")
    assert detail.row.ended_utc_s == UTC_S - 100.0 + 100.0 + 1000.0 + 600.0  # its time stays
    assert shop.rows("leavings") == 6
    assert shop.rows("melt_endings") == 4
    shop.enter(EndingRequest(melt="2026-001", ingots_kg=(0.42, 0.3)))
    with Store.read(shop.path) as store:
        now = store.melt("2026-001").left
    assert [(one.name, one.mass_kg) for one in now] == [("2026-001-i1", 0.42), ("2026-001-i2", 0.3)]
    assert shop.rows("leavings") == 7


def test_a_melt_that_runs_is_not_ended_by_a_later_entry(
    recording: Callable[..., Any], make: Maker, database: Path
) -> None:
    recorder = recording()
    recorder.wait(recorder.put("crucible", *make.start(200.0, make.plan()))).result(5)
    asked = EndingRequest(melt="2026-001", heel_kg=0.2)
    with refused(BadInput, "ending.not_ended", melt="2026-001"):
        recorder.call(lambda conn: library.enter(conn, asked, UTC_S + 300.0)).result(5)
    with pytest.raises(NotFound):
        recorder.call(lambda conn: library.enter(conn, EndingRequest(melt="x", heel_kg=0.2), UTC_S)).result(5)


def test_more_left_than_went_in_is_refused_until_the_record_says_that_more_went_in(shop: Shop) -> None:
    with pytest.raises(BadInput) as refused:
        shop.enter(EndingRequest(melt="2026-001", ingots_kg=(1.9,)))
    assert name_of(refused.value.what) == "ending.more_than_in"
    assert shop.rows("leavings") == 0
    shop.enter(ChargeRequest(melt="2026-001", entries=(new(2.5),)))
    shop.enter(EndingRequest(melt="2026-001", ingots_kg=(1.9,)))


def test_metal_that_nobody_weighed_is_no_leave_for_any_mass_that_came_out(
    shop: Shop,
) -> None:
    conn = sqlite3.connect(shop.path)
    conn.execute(
        "INSERT INTO charges (melt_id, at_utc_s, mass_kg, source, who) VALUES (1, ?, NULL, 'returns', 'ann')",
        (UTC_S,),
    )
    conn.commit()
    conn.close()
    with refused(BadInput, "ending.more_than_weighed"):  # twice what was weighed in is more than anybody adds unweighed
        shop.enter(EndingRequest(melt="2026-001", ingots_kg=(9.0,)))
    shop.enter(EndingRequest(melt="2026-001", ingots_kg=(1.9,)))


@pytest.mark.parametrize("wrong", [{}, {"ingots_kg": (0.4, -1.0)}, {"heel_kg": 900.0}, {"ingots_kg": (0.1,) * 51}])
def test_an_ending_that_says_nothing_or_cannot_be_meant_writes_nothing(shop: Shop, wrong: dict[str, Any]) -> None:
    with pytest.raises(BadInput):
        shop.enter(EndingRequest(melt="2026-001", **wrong))
    assert (shop.rows("leavings"), shop.rows("melt_endings")) == (0, 3)


# -- mould setups ------------------------------------------------------------------------------------------------------


def test_a_pour_keeps_the_version_of_its_setup(shop: Shop, make: Maker) -> None:
    from pourcall.records.read.facts import pour_facts

    first = UTC_S + 1000.0 - 100.0  # before the first pour
    cleat = MouldSetupRequest(
        name="cleat_v1",
        add=True,
        pattern="oak",
        material="green_sand",
        batch="B7",
        thinnest_mm=6.0,
        mass_kg=0.6,
        preheat_c=40.0,
        gating="foot",
        venting="two horns",
    )
    shop.recorder.call(lambda conn: library.enter(conn, cleat, first)).result(5)
    between = UTC_S + 2000.0
    thinner = MouldSetupRequest(name="Cleat v1", thinnest_mm=5.0, batch="B8", why="planed", who="ann")
    told = shop.recorder.call(lambda conn: library.enter(conn, thinner, between)).result(5)
    fields = tuple(tell("record.setup.field", setup_field=field) for field in ("batch", "thinnest_mm"))
    assert told == tell("record.setup.changed", setup="cleat_v1", version=2, fields=fields)
    with Store.read(shop.path) as store:
        old, young = pour_facts(store, "2026-001-1").setup, pour_facts(store, "2026-003-1").setup
        with store.reading() as conn:
            versions = setup_versions(conn, "CLEAT V1")
            (row,) = setup_list(conn)
            early = setup_at(conn, "cleat_v1", 0.0)
            assert early is not None
            assert early.version == 1  # described only later: as it was first described
        assert [pour.pour for pour in store.pours(batch="b7")] == ["2026-001-1"]
        assert [pour.pour for pour in store.pours(batch="B8")] == ["2026-003-1", "2026-002-1"]
        assert {hit.pour for hit in store.find(["planed"])} == set()  # why a setup changed is no text of a pour
        assert {hit.pour for hit in store.find(["oak", "B7"])} == {"2026-001-1"}
        assert len(store.pours(setup="CLEAT_V1")) == 3
    assert old is not None
    assert young is not None
    assert (old.thinnest_mm, old.batch, old.version, old.preheat_c) == (6.0, "B7", 1, 40.0)
    assert (young.thinnest_mm, young.batch, young.version, young.pattern) == (5.0, "B8", 2, "oak")
    assert [(one.version, one.thinnest_mm, one.who) for one in versions] == [(1, 6.0, "shop"), (2, 5.0, "ann")]
    assert (row.version, row.pours, row.mass_kg) == (2, 3, 0.6)


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        ({"name": "cleat", "add": True}, tell("record.setup.exists", setup="cleat")),
        ({"name": "claet", "thinnest_mm": 5.0}, tell("record.setup.unknown", setup="claet", hint=meant("cleat"))),
        ({"name": "cleat"}, tell("record.setup.no_change", setup="cleat")),
        ({"name": "cleat", "thinnest_mm": 6.0}, tell("record.setup.same", setup="cleat")),
        ({"name": "cleat", "thinnest_mm": 0.0}, tell("record.setup.thinnest", thinnest_mm=0.0)),
        ({"name": "cleat", "material": "cheese"}, tell("window.no_material", typed="cheese", hint=NOTHING)),
        ({"name": "cleat", "mass_kg": 1e9}, tell("entry.mass", mass_kg=1e9, most_kg=100.0)),
        ({"name": "cleat", "preheat_c": 5000.0}, tell("record.setup.preheat", preheat_c=5000.0)),
        ({"name": "cleat", "gating": "two\x1b[31m"}, tell("entry.unseen", entry_part="gating", code="U+001B")),
        ({"name": "a,b", "add": True}, tell("entry.no_plain_name", entry_part="setup_name", given="a,b")),
        ({"name": "  ", "add": True}, tell("entry.no_name", entry_part="setup_name")),
        ({"name": "x" * 81, "add": True}, tell("entry.too_long", entry_part="setup_name", count=81)),
        ({"name": "a\u202eb", "add": True}, tell("entry.unseen", entry_part="setup_name", code="U+202E")),
    ],
)
def test_a_setup_that_cannot_be_is_refused_and_nothing_is_written(
    shop: Shop, asked: dict[str, Any], says: Message
) -> None:
    shop.enter(MouldSetupRequest(name="cleat", add=True, thinnest_mm=6.0))
    with pytest.raises(PourcallError) as caught:
        shop.enter(MouldSetupRequest(**asked))
    assert caught.value.what == says
    assert shop.rows("mould_setups") == 1


def test_a_mould_named_after_a_setup_takes_section_material_and_mass_from_it(shop: Shop) -> None:
    shop.enter(MouldSetupRequest(name="deck cleat", add=True, thinnest_mm=6.0, mass_kg=0.6, material="plaster"))
    with Store.read(shop.path) as store:
        full = library.described(
            store,
            (
                MouldRequest(name="Deck_Cleat"),
                MouldRequest(name="deck cleat 2", mass_kg=0.5),
                MouldRequest(name="left", setup="deck cleat", material="green_sand"),
                MouldRequest(name="bell"),
                MouldRequest(name="deck cleat"),
                MouldRequest(name="deck cleat"),
            ),
        )
    told = [(one.name, one.setup, one.thinnest_mm, one.mass_kg, one.material) for one in full]
    assert told == [
        ("Deck_Cleat", "deck cleat", 6.0, 0.6, "plaster"),
        ("deck cleat 2", "deck cleat", 6.0, 0.5, "plaster"),
        ("left", "deck cleat", 6.0, 0.6, "green_sand"),
        ("bell", "", None, 0.0, ""),
        ("deck cleat 1", "deck cleat", 6.0, 0.6, "plaster"),
        ("deck cleat 2", "deck cleat", 6.0, 0.6, "plaster"),
    ]


# -- completed later, notes, tags, several findings ------------------------------------------------------------------


def test_a_pour_is_completed_later_in_one_piece(shop: Shop) -> None:
    shop.enter(MouldSetupRequest(name="deck cleat", add=True, thinnest_mm=6.0))
    told = shop.enter(
        PourCompletion(pour="2026-001-1", setup="Deck cleat", batch="=B9", note="sand damp", tags=("damp",), who="ann")
    )
    mould = (tell("correction.setup", setup="deck cleat"), tell("correction.batch", batch="=B9"))
    words = (tell("correction.note"), tell("correction.tag", tag="damp"))
    assert told == tell("correction.pour_completed", pour="2026-001-1", said=(*mould, *words))
    with Store.read(shop.path) as store:
        detail = store.pour("2026-001-1")
        assert (detail.row.setup, detail.row.batch, detail.row.who) == ("deck cleat", "=B9", "ann")
        assert detail.earlier[0].setup == "cleat_v1"
        assert [note.text for note in detail.notes] == ["sand damp"]
        assert detail.tags == ("damp",)
        assert [pour.pour for pour in store.pours(tag="DAMP")] == ["2026-001-1"]
        assert {hit.what for hit in store.find(["damp"])} == {"note", "tag"}
    for wrong in ({}, {"setup": "cleat_v9"}, {"tags": ("",)}, {"note": "ok", "batch": "\x00"}):
        with pytest.raises(PourcallError):
            shop.enter(PourCompletion(pour="2026-002-1", **wrong))
    with Store.read(shop.path) as store:
        assert store.pour("2026-002-1").notes == ()
        assert not store.pour("2026-002-1").row.corrected


def test_a_melt_that_is_over_takes_notes_and_tags(shop: Shop) -> None:
    shop.enter(MeltNote(melt="2026-001", note="lid was off", tags=("lid",)))
    with Store.read(shop.path) as store:
        assert [note.text for note in store.melt("2026-001").notes] == ["lid was off"]
        assert store.melt("2026-001").row.tags == ("lid",)
        assert [pour.pour for pour in store.pours(tag="lid")] == ["2026-001-1"]  # of its melt
    with pytest.raises(BadInput):
        shop.enter(MeltNote(melt="2026-001"))


def test_several_findings_are_recorded_all_or_none(shop: Shop) -> None:
    from pourcall.contract.api import FoundDefect

    def enter(*found: FoundDefect, **more: Any) -> tuple[Message, ...]:
        asked = ResultRequest(findings=found, **more)
        call = shop.recorder.call(lambda conn: library.add_result(conn, "2026-001-1", asked, shop.now_s))
        return parts(call.result(5), "said")

    assert enter(FoundDefect(defect="misrun", severity=2), FoundDefect(defect="sink", severity=1, detail="gate")) == (
        tell("record.defect", defect="misrun", severity=2),
        tell("record.defect", defect="sink", severity=1),
    )
    before = shop.rows("results")
    for wrong in (
        (FoundDefect(defect="flash", severity=1), FoundDefect(defect="sound")),  # contradicts itself
        (FoundDefect(defect="flash", severity=1), FoundDefect(defect="misrun", severity=7)),  # no severity
        (FoundDefect(defect="flash", severity=1), FoundDefect(defect="dross", severity=0)),  # nothing to take back
        (FoundDefect(defect="sound"),),  # contradicts the record
        (),
    ):
        with pytest.raises(BadInput):
            enter(*wrong)
        assert shop.rows("results") == before
    assert enter(FoundDefect(defect="misrun"), FoundDefect(defect="sink")) == (
        tell("record.defect_taken_back", defect="misrun"),
        tell("record.defect_taken_back", defect="sink"),
    )
    enter(FoundDefect(defect="sound"))
    with Store.read(shop.path) as store:
        assert store.pour("2026-001-1").row.result == "sound"


# -- what takes them in hand -----------------------------------------------------------------------------------------


def test_exports_compare_and_search_tell_charge_and_ending(shop: Shop, tmp_path: Path) -> None:
    from pourcall.records.read.facts import pour_facts
    from pourcall.trials.compare import compare

    shop.charge("2026-001", new(1.2))
    shop.charge("2026-002", returns(0.5, "2026-001", detail="=HYPERLINK(1)"))
    shop.enter(EndingRequest(melt="2026-002", heel_kg=0.2, ending=MeltEnding.ABANDONED, detail="too cold"))
    shop.enter(PourCompletion(pour="2026-002-1", batch="=B9"))
    with Store.read(shop.path) as store:
        several = [pour_facts(store, "2026-001-1"), pour_facts(store, "2026-002-1")]
        found = compare(several)
        table = melt_csv(store, "2026-002")
        export_pours(store.pours(), tmp_path / "pours.csv")
        assert {hit.what for hit in store.find(["2026-001", "returns"])} == {"charge"}
        assert [hit.melt for hit in store.find(["abandoned", "cold"])] == ["2026-002"]
        assert [(hit.melt, hit.what) for hit in store.find(["heel"])] == [("2026-002", "left")]
    assert {"metal_source", "remelt_count"} <= {line.name for line in found.differ}
    assert {line.name: line.values for line in found.differ}["remelt_count"] == (0.0, 1.0)
    assert name_of(found.warnings[0]) == "comparison.more_changed"
    assert Message("word.aspect.remelt_count") in parts(found.warnings[0], "what")
    metal = tell("charge.metal_of", mass=tell("charge.mass", mass_kg=0.5), source="returns", origin="2026-001")
    molten = tell("charge.molten", often=tell("charge.often.1", remelts=1))
    detail = tell("charge.detail", detail="=HYPERLINK(1)")
    assert said("export.charge", charge=tell("charge.entry", parts=(metal, molten, detail))) in table
    heel = say(tell("ending.left", parts=(tell("ending.heel", mass_kg=0.2),)))
    assert said("export.ended", how=f"{said('ending.how', ending='abandoned')}, too cold, {heel}") in table
    head, *lines = (tmp_path / "pours.csv").read_text("utf-8").splitlines()
    assert head.endswith(",result,batch")
    assert [line.rpartition(",")[2] for line in lines] == ["", "'=B9", ""]  # no formula


def test_nothing_that_was_entered_can_be_altered_in_the_file(shop: Shop) -> None:
    shop.charge("2026-001", new(1.2))
    shop.enter(EndingRequest(melt="2026-001", heel_kg=0.2))
    shop.enter(MouldSetupRequest(name="deck cleat", add=True))
    conn = sqlite3.connect(shop.path)
    try:
        for sql in (
            "UPDATE charges SET mass_kg = 9",
            "DELETE FROM charges",
            "UPDATE leavings SET mass_kg = 9",
            "DELETE FROM leavings",
            "UPDATE mould_setups SET batch = 'x'",
            "DELETE FROM melt_endings",
        ):
            with pytest.raises(sqlite3.IntegrityError, match="append-only"):
                conn.execute(sql)
    finally:
        conn.close()


# -- older files, restarts ---------------------------------------------------------------------------------------------


def test_a_melt_that_goes_on_after_a_restart_knows_its_pours_and_gives_no_number_twice(
    recording: Callable[..., Any], make: Maker, database: Path
) -> None:
    recorder = recording()
    recorder.put("crucible", *make.start(200.0, make.plan()))
    recorder.put("crucible", *make.pour(500.0))
    recorder.wait(recorder.put("crucible", *make.pour(520.0, number=2, mould="Cleat B"))).result(5)
    asked = PourCorrection(pour="2026-001-2", not_poured=True, why="marked twice")
    with Store.read(database) as store:
        change = library.prepare(store, asked, UTC_S + 600.0)
        recorder.call(lambda conn: library.enter(conn, asked, UTC_S + 600.0, change)).result(5)
        start = library.running_melt(store, "crucible", UTC_S + 700.0)
    assert start is not None
    assert start.poured == ((1, "Cleat A"), (2, ""))
    run = MeltRun(start.plan, 0.0, start.poured)
    assert run.next_mould is None  # its only mould is poured
    assert run.next_number == 3


def test_what_an_older_file_holds_is_read_as_before(tmp_path: Path) -> None:
    """Rows written under schema 2, brought up to the newest: pours, charges, endings, a described setup."""
    from pourcall.records.upkeep.migrate import shipped_steps
    from pourcall.records.upkeep.opening import open_database

    path = tmp_path / "old.sqlite"
    conn, _ = open_database(path, utc_s=UTC_S, steps=shipped_steps()[:2])
    conn.execute("PRAGMA foreign_keys = OFF")
    for sql in (
        "INSERT INTO texts VALUES ('s', 'settings', ''), ('c', 'config', '{}')",
        "INSERT INTO furnaces VALUES (1, 'crucible')",
        "INSERT INTO sessions VALUES (1, 1, 0.0, 0.0, 0, 's', 'c', 1, 'old')",
        "INSERT INTO melts VALUES (1, '2026-001', 1, 1, 1, 1.0, 1.0, 'za27', 'ZA-27', 1.5, 0)",
        "INSERT INTO melt_endings VALUES (1, 1, 1, 9.0, 9.0, 'poured', NULL)",
        "INSERT INTO charges VALUES (1, 1, 5.0, 0.3, 'returns', 2, '', NULL), (2, 1, 1.0, 1.0, '', NULL, '', NULL)",
        "INSERT INTO mould_setups VALUES (1, 'cleat', 0.0, 'oak', 'green_sand', '', '', 6.0, 0.6, '', NULL)",
        """INSERT INTO pours (melt_id, number, mould, setup, session_id, journal_id, at_mono_s, at_utc_s, marked,
           lip_min_c, lip_max_c, basis) VALUES (1, 1, 'a', 'cleat', 1, 1, 2.0, 2.0, 'live', 520, 560, 'b')""",
    ):
        conn.execute(sql)
    conn.execute("INSERT INTO journal (id, source, mono, utc, marks) VALUES (1, 1, 1, 1, 63)")
    conn.execute("INSERT INTO sources VALUES (1, 1, '', '', '', NULL, 0, 0)")
    conn.close()
    open_database(path, utc_s=UTC_S)[0].close()
    with Store.read(path) as store:
        detail = store.melt("2026-001")
        (pour,) = store.pours(setup="cleat")
        with store.reading() as reading:
            (setup,) = setup_list(reading)
    unknown = tell("charge.metal", mass=tell("charge.mass", mass_kg=1.0), source=tell("charge.unknown_source"))
    assert charge_told(detail.charges[1]) == tell("charge.entry", parts=(unknown,))
    assert [(one.mass_kg, one.source, one.remelts) for one in detail.charges] == [(0.3, "returns", 2), (1.0, "", None)]
    assert (detail.left, detail.row.ending, detail.row.heel_kg) == ((), "poured", None)
    assert (pour.pour, pour.batch, pour.not_poured) == ("2026-001-1", "", False)
    assert (setup.version, setup.batch, setup.preheat_c, setup.pours) == (1, "", None, 1)
