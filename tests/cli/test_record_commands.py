"""Charges, mould setups, endings, results by command: with a real daemon, and straight to the file without."""

import json
import re
import shutil
import sqlite3
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from pourcall.contract.message import Message, tell
from pourcall.contract.units import Unit
from pourcall.records.read.views import LipStep
from pourcall.texts import word
from tests.told import heard, said, tells

Run = Callable[..., Any]


def told(done: Any) -> str:
    assert done.code == 0, done.err
    return str(done.out)


def asked(done: Any) -> Any:
    return json.loads(told(done))


def metal(mass_kg: float, source: str) -> tuple[Message, ...]:
    return (tell("charge.metal", mass=tell("charge.mass", mass_kg=mass_kg), source=source),)


def molten(times: int) -> Message:
    often = tell(f"charge.often.{min(times, 3)}", **({"remelts": times} if times > 2 else {}))
    return tell("charge.molten", often=often)


def test_a_melt_with_its_moulds_charge_pours_and_ending_through_a_running_daemon(
    home: Path,
    socket_board: Any,
    serve: Callable[..., Any],
    shell: Run,
    run: Run,
    write_settings: Callable[[str], Path],
    settings_for: Callable[[str], str],
) -> None:
    write_settings(settings_for(socket_board.port))
    described = ("--pattern", "oak, two halves", "--material", "green sand", "--batch", "B7", "--vents", "two horns")
    words = told(
        run("mould", "add", "deck cleat", *described, "--thinnest", "1/4in", "--mass", "600g", "--preheat", "104F")
    )
    assert tells(words, "record.setup.described", setup="deck cleat")  # before the first start of a daemon
    daemon = serve()
    assert tells(daemon.said, "cli.serve.listening")
    planed = told(run("mould", "change", "Deck_cleat", "--thinnest", "6mm", "--why", "planed"))
    thinnest = tell("record.setup.field", setup_field="thinnest_mm")
    assert tells(planed, "record.setup.changed", version=2, fields=(thinnest,))
    started = run("melt", "start", "za27", "--charge", "1.5kg", "--mould", "deck cleat", "--mould", "deck cleat")
    assert started.code == 0, started.err
    (shot,) = asked(run("melt", "show", "--json"))
    melt = shot["melt"]
    assert [(m["name"], m["setup"], m["thinnest_mm"], m["mass_kg"], m["material"]) for m in shot["plan"]["moulds"]] == [
        ("deck cleat 1", "deck cleat", 6.0, 0.6, "green_sand"),
        ("deck cleat 2", "deck cleat", 6.0, 0.6, "green_sand"),
    ]
    charged = told(run("melt", "charge", "--new", "1.2kg", "--returns", "300g", "--remelt", "2", "--what", "old gates"))
    new, returns = metal(1.2, "new"), (*metal(0.3, "returns"), molten(2), tell("charge.detail", detail="old gates"))
    assert tells(
        charged, "charge.on_record", melt=melt, entries=tuple(tell("charge.entry", parts=one) for one in (new, returns))
    )
    early = run("melt", "mark", "add", "--mass", "300g", "--ago", "2000s")
    assert (early.code, tells(early.err, "command.before_the_melt")) == (7, True)
    assert run("melt", "mark", "skim", "--ago", "2000s").code == 7
    time.sleep(2.2)  # real time: the melt must be older than the marks are dated back
    assert run("dip", "--read", "580C", "--source", "panel").code == 0
    doubtful = run("pour", "lift")  # a cold probe, and nothing was called: asked, where somebody can answer
    assert (doubtful.code, tells(doubtful.err, "question.lift_not_called")) == (7, True)
    hot = run("dip", "--read", "1100C")
    assert (hot.code, tells(hot.err, "question.above_limit", temp_c=1100.0)) == (7, True)
    in_f = run("dip", "--read", "2012F")  # the same; answered in the unit it was read in
    assert tells(in_f.err, "question.above_limit", Unit.F, temp_c=1100.0)
    assert run("pour", "lift", "--sure").code == 0
    assert run("pour", "mark").code == 0
    assert run("pour", "mark", "--sure").code == 0  # the second in turn arrives part frozen
    corrected = run("pour", "correct", f"{melt}-1", "--at", "+0.5s", "--who", "Ann")
    assert corrected.code == 0, corrected.err  # worked out in a process of its own, beside the running melt
    twice = run("pour", "correct", f"{melt}-2", "--not-poured", "pressed twice")
    assert twice.code == 0, twice.err
    unsaid = run("melt", "end")
    assert (unsaid.code, tells(unsaid.err, "cli.melt.end_unsaid", moulds="deck cleat 2")) == (2, True)
    third = told(run("pour", "mark", "--sure"))  # it got no metal yet
    assert tells(third, "cli.of_melt", what=tell("daemon.done.pour", number=3, mould="deck cleat 2"), melt=melt)
    completed = told(run("pour", "complete", f"{melt}-1", "--batch", "B8", "--tag", "first"))
    assert tells(completed, "correction.batch", batch="B8")
    assert tells(completed, "correction.tag", tag="first")
    end = ("melt", "end", "--poured", "--ingots", "0.4kg", "--ingots", "350g", "--heel", "0.2kg")
    heavy = run(*end)  # two moulds of 0.6 kg and 0.95 kg left, of 1.5 kg that went in
    assert (heavy.code, tells(heavy.err, "question.more_than_in", out_kg=2.15, in_kg=1.5)) == (7, True)
    both = run(*end, "--sure")
    left = [tell("daemon.done.ingot", ingot=f"{melt}-i{n}", mass_kg=kg) for n, kg in ((1, 0.4), (2, 0.35))]
    ended = (tell("daemon.done.ending", ending="poured"), *left, tell("daemon.done.heel", mass_kg=0.2))
    assert tells(told(both), "daemon.done.end", melt=melt, parts=ended)

    contradictory = run("pour", "result", f"{melt}-1", "--defect", "misrun:2", "--defect", "sound")
    assert (contradictory.code, tells(contradictory.err, "defect.sound_and", defects="misrun")) == (2, True)
    told(run("pour", "result", f"{melt}-1", "--defect", "misrun:2", "--defect", "sink:1@gate"))
    against = run("pour", "result", f"{melt}-1", "flash=1", "cold shut=0")  # the second cannot be taken back
    assert (against.code, tells(against.err, "defect.not_on_record", defect="cold_shut")) == (2, True)
    detail = asked(run("pour", "show", f"{melt}-1", "--json"))
    assert detail["row"]["result"] == "misrun 2, sink 1"
    assert detail["row"]["inside"] in (True, False)
    assert detail["row"]["batch"] == "B8"
    assert detail["results"][1]["detail"] == "gate"
    assert detail["parts"][0]["what"] == LipStep.POT
    assert {LipStep.WALK, LipStep.STREAM} <= {part["what"] for part in detail["parts"]}  # as the plan told them apart
    assert [pour["pour"] for pour in asked(run("pour", "list", "--json"))] == [f"{melt}-3", f"{melt}-1"]
    assert asked(run("pour", "list", "--batch", "b8", "--tag", "FIRST", "--setup", "Deck cleat", "--json"))
    assert [pour["pour"] for pour in asked(run("pour", "list", "--batch", "B7", "--json"))] == [f"{melt}-3"]  # setup's

    second = run("melt", "start", "za27", "--charge", "1kg", "--mould", "deck cleat")
    assert second.code == 0, second.err
    carried = told(run("melt", "charge", "--returns", "0.4kg", "--from", f"{melt}-i1", "--scrap", "0.2lb"))
    mass = tell("charge.mass", mass_kg=0.4)
    parts = (tell("charge.metal_of", mass=mass, source="returns", origin=f"{melt}-i1"), molten(3))
    assert tells(carried, "charge.entry", parts=parts)
    assert tells(carried, "charge.entry", parts=metal(0.0907185, "scrap"))
    assert daemon.stop() == 0

    shown = told(run("melt", "show", melt))
    assert tells(shown, "melt_list.charge", number=1, what=tell("charge.entry", parts=new))
    assert tells(shown, "melt_list.charge", number=2, what=tell("charge.entry", parts=returns))
    assert tells(shown, "ending.ingot", ingot=f"{melt}-i1", mass_kg=0.4)
    assert tells(shown, "ending.heel", mass_kg=0.2)
    listed = told(run("melt", "list"))
    assert f"{word('ending', 'poured')}, {word('ending', 'ingots')} 0.75 kg, {word('ending', 'heel')} 0.2 kg" in listed
    (row,) = asked(run("mould", "list", "--json"))
    assert (row["name"], row["version"], row["pours"], row["thinnest_mm"]) == ("deck cleat", 2, 2, 6.0)
    page = told(run("mould", "show", "deck cleat"))
    assert re.search(rf"{re.escape(said('column.preheat'))} +40 °C", page)  # 104 degF
    assert said("cli.mould.was", name=said("column.thinnest"), value="6.35 mm") in page
    assert said("cli.mould.why", why="planed").strip() in page
    assert [hit["what"] for hit in asked(run("melt", "find", "old", "gates", "--json"))] == ["charge"]


@pytest.fixture
def melted(home: Path, demonstrated: Callable[[str], Path], run: Run) -> str:
    """One demonstrated melt on record, no daemon."""
    shutil.copytree(demonstrated("cleats_left_in"), home, dirs_exist_ok=True)
    return str(asked(run("melt", "list", "--json"))[0]["melt"])


REFUSED = (
    (("melt", "charge", "--new", "1.2"), 2, tell("quantity.with_unit.mass", typed="1.2")),
    (("melt", "charge", "--new", "heavy"), 2, tell("quantity.none", typed="heavy", measure="mass")),
    (("melt", "charge", "--new", "-1kg"), 2, tell("quantity.none", typed="-1kg", measure="mass")),
    (("melt", "charge"), 2, tell("charge.nothing")),
    (
        ("melt", "charge", "--from", "2026-001", "--returns", "1kg"),
        2,
        tell("usage.charge.before_metal", option="--from"),
    ),
    (("melt", "charge", "--returns", "1kg", "--remelt", "-2"), 2, tell("usage.charge.remelts", word="-2")),
    (("melt", "charge", "--returns", "1kg", "--remelt", "two"), 2, tell("usage.charge.remelts", word="two")),
    (
        ("melt", "charge", "--returns", "1kg", "--remelt", "1", "--remelt", "2"),
        2,
        tell("usage.charge.twice", option="--remelt", source="returns"),
    ),
    (("melt", "charge", "--new", "1kg"), 2, tell("cli.no_melt_named")),
    (("melt", "charge", "MELT", "--new", "1kg", "--remelt", "2"), 2, tell("charge.new_remelted", remelts=2)),
    (("melt", "charge", "MELT", "--returns", "1kg", "--from", "MELT"), 2, tell("charge.own_source")),
    (("melt", "charge", "MELT", "--returns", "1kg", "--from", "2019-001"), 3, tell("record.no_melt", melt="2019-001")),
    (("melt", "charge", "2019-001", "--new", "1kg"), 3, tell("record.no_melt", melt="2019-001")),
    (("melt", "charge", "MELT", "--correct", "one", "--new", "1kg"), 2, tell("usage.charge.entry", word="one")),
    (("melt", "charge", "MELT", "--correct", "9", "--new", "1kg"), 3, tell("charge.no_entry", number=9)),
    (("melt", "charge", "MELT", "--correct", "1"), 2, tell("usage.charge.corrected")),
    (
        ("melt", "charge", "MELT", "--correct", "1", "--new", "1kg", "--new", "2kg"),
        2,
        tell("charge.one_for_one", count=2),
    ),
    (
        ("melt", "charge", "MELT", "--correct", "1", "--take-back", "1"),
        2,
        tell("usage.contradict", first="--correct", second="--take-back"),
    ),
    (("melt", "charge", "MELT", "--take-back", "1", "--new", "1kg"), 2, tell("usage.charge.taken_back")),
    (
        ("melt", "charge", "MELT", "--scrap", "1kg", "--what", "bell\x07"),
        2,
        tell("entry.unseen", entry_part="metal_detail", code="U+0007"),
    ),
    (("melt", "end", "--melt", "MELT"), 2, tell("ending.nothing")),
    (("melt", "end", "--melt", "MELT", "--ingots", "0.4"), 2, tell("quantity.no_unit", typed="0.4", measure="mass")),
    (
        ("melt", "end", "--melt", "MELT", "--ingots", "none", "--ingots", "1kg"),
        2,
        tell("usage.contradict", first="--ingots MASS"),
    ),
    (("melt", "end", "--melt", "2019-001", "--heel", "1kg"), 3, tell("record.no_melt", melt="2019-001")),
    (
        ("melt", "end", "--poured", "--abandoned", "cold"),
        2,
        tell("usage.contradict", first="--poured", second="--abandoned"),
    ),
    (("melt", "end", "--heel", "1kg", "--why", "x"), 2, tell("usage.only_with", option="--why", other="--melt")),
    (("melt", "end", "--abandoned", " "), 2, tell("usage.no_reason")),
    (("melt", "note", "--melt", "MELT"), 2, tell("melt.note_empty")),
    (("melt", "note", "x", "--melt", "2019-001"), 3, tell("record.no_melt", melt="2019-001")),
    (("melt", "note"), 2, tell("melt.note_empty")),
    (("mould", "show", "bell"), 3, tell("record.setup.unknown", setup="bell")),
    (("mould", "change", "bell", "--thinnest", "6mm"), 3, tell("record.setup.unknown", setup="bell")),
    (("mould", "add", "bell", "--thinnest", "6"), 2, tell("quantity.with_unit.length", typed="6")),
    (("mould", "add", "bell", "--thinnest", "1/0in"), 2, tell("quantity.none", typed="1/0in", measure="length")),
    (("mould", "add", "bell", "--mass", "0.8"), 2, tell("quantity.no_unit", typed="0.8", measure="mass")),
    (("mould", "add", "bell", "--preheat", "120"), 2, tell("quantity.with_unit.temperature", typed="120")),
    (("mould", "add", "bell", "--material", "cheese"), 2, tell("window.no_material", typed="cheese")),
    (("mould", "add", "bell\x1b[31m"), 2, tell("entry.unseen", entry_part="setup_name", code="U+001B")),
    (("pour", "result", "MELT-9", "sound"), 3, tell("record.no_pour")),
    (("pour", "result", "MELT-1", "--defect", "misrun:4"), 2, tell("defect.severity", given="misrun=4")),
    (("pour", "result", "MELT-1", "--defect", "misrn:2"), 2, tell("defect.unknown_near", near="misrun")),
    (("pour", "result", "MELT-1", "misrun=2", "--defect", "misrun:1"), 2, tell("defect.twice", defect="misrun")),
)


def test_entries_that_cannot_be_meant_are_refused_in_words_and_nothing_is_written(
    home: Path, melted: str, run: Run
) -> None:
    def counts() -> list[int]:
        conn = sqlite3.connect(home / "data" / "pourcall.sqlite")
        try:
            tables = ("charges", "leavings", "melt_endings", "notes", "tags", "mould_setups", "results", "corrections")
            return [conn.execute(f"SELECT count(*) FROM {table}").fetchone()[0] for table in tables]
        finally:
            conn.close()

    before = counts()
    for words, code, says in REFUSED:
        done = run(*(word.replace("MELT", melted) for word in words))
        wanted = says.replace("MELT", melted) if isinstance(says, str) else says
        assert (done.code, heard(done.err, wanted)) == (code, True), (words, done.err)
        assert "Traceback" not in done.err
        assert "\x1b" not in done.err
        assert "\x07" not in done.err
    assert counts() == before


def test_without_a_daemon_entries_go_straight_to_the_file(home: Path, melted: str, run: Run) -> None:
    entries = tuple(tell("charge.entry", parts=metal(*one)) for one in ((1.2, "new"), (0.3, "scrap")))
    both = told(run("melt", "charge", melted, "--new", "1.2kg", "--scrap", "300g"))
    assert tells(both, "charge.on_record", melt=melted, entries=entries)
    fixed = told(
        run("melt", "charge", melted, "--correct", "3", "--returns", "300g", "--remelt", "1", "--why", "gates")
    )
    returns = tell("charge.entry", parts=(*metal(0.3, "returns"), molten(1)))
    assert tells(fixed, "charge.corrected", melt=melted, number=3, entry=returns)
    back = told(run("melt", "charge", melted, "--take-back", "2"))
    assert tells(back, "charge.taken_back", melt=melted, number=2)
    left = told(run("melt", "end", "--melt", melted, "--heel", "200g", "--ingots", "1lb"))
    assert tells(left, "ending.heel", mass_kg=0.2)
    none = told(run("melt", "end", "--melt", melted, "--heel", "none", "--why", "it was slag"))
    assert tells(none, "ending.no_heel")
    shown = told(run("melt", "show", melted))
    assert tells(shown, "melt_list.charge", number=3, what=returns)
    assert tells(shown, "melt_list.corrected_why", why="gates")
    assert 2 not in {one["number"] for one in asked(run("melt", "show", melted, "--json"))["charges"]}
    assert tells(shown, "ending.ingot", ingot=f"{melted}-i1", mass_kg=0.453592)
    assert not tells(shown, "ending.heel")
    assert tells(
        told(run("melt", "note", "lid was off", "--melt", melted, "--tag", "lid")), "correction.tag", tag="lid"
    )
    assert tells(told(run("melt", "show", melted)), "melt_list.tags", tags="lid")
    assert [hit["what"] for hit in asked(run("melt", "find", "lid", "--json"))] == ["note", "tag"]
    result = told(run("pour", "result", f"{melted}-1", "misrun=1", "--defect", "cold shut:2@horn tip"))
    assert tells(result, "cli.pour.result_recorded", pour=f"{melted}-1")
    assert asked(run("pour", "show", f"{melted}-1", "--json"))["row"]["result"] == "misrun 1, cold shut 2"
    assert [one["pour"] for one in asked(run("pour", "list", "--awaiting", "--json"))] == [f"{melted}-2"]


@pytest.mark.parametrize("words", [("--mm", "6"), ("--mm", "6mm"), ("--thinnest", "0.6cm")])
def test_the_thinnest_section_of_a_setup_is_also_read_as_plan_and_melt_start_write_it(
    home: Path, run: Run, words: tuple[str, str]
) -> None:
    told(run("mould", "add", "rail", *words))
    (setup,) = asked(run("mould", "list", "--json"))
    assert setup["thinnest_mm"] == pytest.approx(6.0)


def test_a_thinnest_section_given_twice_is_refused(home: Path, run: Run) -> None:
    done = run("mould", "add", "rail", "--mm", "6", "--thinnest", "7mm")
    assert done.code == 2
    assert tells(done.err, "cli.mould.twice")
