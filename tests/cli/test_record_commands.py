"""Charges, mould setups, endings, results by command: with a real daemon, and straight to the file without."""

import json
import sqlite3
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from pourcall.records.read.views import LipStep

Run = Callable[..., Any]


def told(done: Any) -> str:
    assert done.code == 0, done.err
    return str(done.out)


def asked(done: Any) -> Any:
    return json.loads(told(done))


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
    assert words.startswith("Mould setup deck cleat is described")  # before the first start of a daemon
    daemon = serve()
    assert "pourcall is listening" in daemon.said
    assert "version 2: thinnest" in told(run("mould", "change", "Deck_cleat", "--thinnest", "6mm", "--why", "planed"))
    started = run("melt", "start", "za27", "--charge", "1.5kg", "--mould", "deck cleat", "--mould", "deck cleat")
    assert started.code == 0, started.err
    (shot,) = asked(run("melt", "show", "--json"))
    melt = shot["melt"]
    assert [(m["name"], m["setup"], m["thinnest_mm"], m["mass_kg"], m["material"]) for m in shot["plan"]["moulds"]] == [
        ("deck cleat 1", "deck cleat", 6.0, 0.6, "green_sand"),
        ("deck cleat 2", "deck cleat", 6.0, 0.6, "green_sand"),
    ]
    charged = told(run("melt", "charge", "--new", "1.2kg", "--returns", "300g", "--remelt", "2", "--what", "old gates"))
    assert charged == f"Melt {melt}: 1.2 kg new; 0.3 kg returns, molten twice before, old gates; on record\n"
    early = run("melt", "mark", "add", "--mass", "300g", "--ago", "2000s")
    assert (early.code, "that is before the melt began. Give a shorter time ago" in early.err) == (7, True)
    assert run("melt", "mark", "skim", "--ago", "2000s").code == 7
    time.sleep(2.2)  # real time: the melt must be older than the marks are dated back
    assert run("dip", "--read", "580C", "--source", "panel").code == 0
    doubtful = run("pour", "lift")  # a cold probe, and nothing was called: asked, where somebody can answer
    assert (doubtful.code, "Was the pot lifted all the same? If it was so" in doubtful.err) == (7, True)
    hot = run("dip", "--read", "1100C")
    assert (hot.code, "1100 °C is above the limit of the" in hot.err) == (7, True)
    assert run("pour", "lift", "--sure").code == 0
    assert run("pour", "mark").code == 0
    assert run("pour", "mark").code == 0
    corrected = run("pour", "correct", f"{melt}-1", "--at", "+0.5s", "--who", "Ann")
    assert corrected.code == 0, corrected.err  # worked out in a process of its own, beside the running melt
    twice = run("pour", "correct", f"{melt}-2", "--not-poured", "pressed twice")
    assert twice.code == 0, twice.err
    unsaid = run("melt", "end")
    assert (unsaid.code, "no metal went into deck cleat 2: what became of it?" in unsaid.err) == (2, True)
    assert told(run("pour", "mark")) == f"Pour 3 into deck cleat 2 is marked (melt {melt})\n"  # it got no metal yet
    assert "batch B8, tag first" in told(run("pour", "complete", f"{melt}-1", "--batch", "B8", "--tag", "first"))
    both = run("melt", "end", "--poured", "--ingots", "0.4kg", "--ingots", "350g", "--heel", "0.2kg")
    assert told(both) == f"Melt {melt} ended: poured, ingot {melt}-i1 0.4 kg, ingot {melt}-i2 0.35 kg, heel 0.2 kg\n"

    contradictory = run("pour", "result", f"{melt}-1", "--defect", "misrun:2", "--defect", "sound")
    assert (contradictory.code, "cannot be sound and have misrun" in contradictory.err) == (2, True)
    assert told(run("pour", "result", f"{melt}-1", "--defect", "misrun:2", "--defect", "sink:1@gate")).endswith(
        "on record\n"
    )
    against = run("pour", "result", f"{melt}-1", "flash=1", "cold shut=0")  # the second cannot be taken back
    assert (against.code, "cold_shut is not on record" in against.err) == (2, True)
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
    assert f"0.4 kg returns of {melt}-i1, molten 3 times before; 0.0907185 kg scrap" in carried
    assert daemon.stop() == 0

    shown = told(run("melt", "show", melt))
    for line in (
        "charge 1: 1.2 kg new",
        "charge 2: 0.3 kg returns, molten twice before, old gates",
        f"left: ingot {melt}-i1 0.4 kg",
        "left: heel 0.2 kg",
    ):
        assert f"  {line}\n" in shown
    assert "poured, ingots 0.75 kg, heel left 0.2 kg" in told(run("melt", "list"))
    (row,) = asked(run("mould", "list", "--json"))
    assert (row["name"], row["version"], row["pours"], row["thinnest_mm"]) == ("deck cleat", 2, 2, 6.0)
    page = told(run("mould", "show", "deck cleat"))
    assert "preheat    40 °C" in page  # 104 degF
    assert "thinnest 6.35 mm; planed (shop)" in page
    assert [hit["what"] for hit in asked(run("melt", "find", "old", "gates", "--json"))] == ["charge"]


@pytest.fixture
def melted(home: Path, shell: Run) -> str:
    """One demonstrated melt on record, no daemon."""
    done = shell("demo", "--headless", "--home", str(home), "--export", str(home / "out"))
    assert done.code == 0, done.err
    return "2026-001" if "2026-001" in shell("melt", "list").out else asked(shell("melt", "list", "--json"))[0]["melt"]


REFUSED = (
    (("melt", "charge", "--new", "1.2"), 2, "'1.2' has no unit of mass. Write 1.2kg, 1.2g or 1.2lb"),
    (("melt", "charge", "--new", "heavy"), 2, "'heavy' is no mass"),
    (("melt", "charge", "--new", "-1kg"), 2, "'-1kg' is no mass"),
    (("melt", "charge"), 2, "nothing is said to have gone into the pot"),
    (("melt", "charge", "--from", "2026-001", "--returns", "1kg"), 2, "--from 2026-001 stands before any metal"),
    (("melt", "charge", "--returns", "1kg", "--remelt", "-2"), 2, "a remelt count of -2 cannot be meant"),
    (("melt", "charge", "--returns", "1kg", "--remelt", "two"), 2, "a remelt count of 'two' is no whole number"),
    (("melt", "charge", "--returns", "1kg", "--remelt", "1", "--remelt", "2"), 2, "--remelt is told twice of returns"),
    (("melt", "charge", "--new", "1kg"), 2, "no melt runs, and none is named"),
    (("melt", "charge", "MELT", "--new", "1kg", "--remelt", "2"), 2, "contradicts itself"),
    (("melt", "charge", "MELT", "--returns", "1kg", "--from", "MELT"), 2, "cannot be a source of its own"),
    (("melt", "charge", "MELT", "--returns", "1kg", "--from", "2019-001"), 3, "no melt '2019-001' on record"),
    (("melt", "charge", "2019-001", "--new", "1kg"), 3, "no melt '2019-001' on record"),
    (("melt", "charge", "MELT", "--correct", "one", "--new", "1kg"), 2, "'one' is no entry"),
    (("melt", "charge", "MELT", "--correct", "9", "--new", "1kg"), 3, "has no entry 9 in its charge"),
    (("melt", "charge", "MELT", "--correct", "1"), 2, "what was it really?"),
    (("melt", "charge", "MELT", "--correct", "1", "--new", "1kg", "--new", "2kg"), 2, "cannot stand in the place"),
    (("melt", "charge", "MELT", "--correct", "1", "--take-back", "1"), 2, "contradict each other"),
    (("melt", "charge", "MELT", "--take-back", "1", "--new", "1kg"), 2, "cannot be taken back and told anew"),
    (("melt", "charge", "MELT", "--scrap", "1kg", "--what", "bell\x07"), 2, "cannot be seen: U+0007"),
    (("melt", "end", "--melt", "MELT"), 2, "nothing is said of the end"),
    (("melt", "end", "--melt", "MELT", "--ingots", "0.4"), 2, "'0.4' has no unit of mass"),
    (("melt", "end", "--melt", "MELT", "--ingots", "none", "--ingots", "1kg"), 2, "contradict each other"),
    (("melt", "end", "--melt", "2019-001", "--heel", "1kg"), 3, "no melt '2019-001' on record"),
    (("melt", "end", "--poured", "--abandoned", "cold"), 2, "poured and abandoned contradict each other"),
    (("melt", "end", "--heel", "1kg", "--why", "x"), 2, "--why belongs to a correction"),
    (("melt", "end", "--abandoned", " "), 2, "why was it abandoned?"),
    (("melt", "note", "--melt", "MELT"), 2, "nothing is said of it"),
    (("melt", "note", "x", "--melt", "2019-001"), 3, "no melt '2019-001' on record"),
    (("melt", "note"), 2, "a note without a word"),
    (("mould", "show", "bell"), 3, "no mould setup 'bell' is described"),
    (("mould", "change", "bell", "--thinnest", "6mm"), 3, "no mould setup 'bell' is described"),
    (("mould", "add", "bell", "--thinnest", "6"), 2, "'6' has no unit of length. Write 6mm, 6cm or 6in"),
    (("mould", "add", "bell", "--thinnest", "1/0in"), 2, "'1/0in' is no length"),
    (("mould", "add", "bell", "--mass", "0.8"), 2, "'0.8' has no unit of mass"),
    (("mould", "add", "bell", "--preheat", "120"), 2, "'120' has no unit. Write 120C, 120F or 120K"),
    (("mould", "add", "bell", "--material", "cheese"), 2, "'cheese' is no mould material"),
    (("mould", "add", "bell\x1b[31m"), 2, "a character that cannot be seen: U+001B"),
    (("pour", "result", "MELT-9", "sound"), 3, "no pour 'MELT-9' on record"),
    (("pour", "result", "MELT-1", "--defect", "misrun:4"), 2, "severity 4 is not 0 to 3"),
    (("pour", "result", "MELT-1", "--defect", "misrn:2"), 2, "Nearest: misrun"),
    (("pour", "result", "MELT-1", "misrun=2", "--defect", "misrun:1"), 2, "misrun is told twice"),
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
        assert (done.code, says.replace("MELT", melted) in done.err) == (code, True), (words, done.err)
        assert "Traceback" not in done.err
        assert "\x1b" not in done.err
        assert "\x07" not in done.err
    assert counts() == before


def test_without_a_daemon_entries_go_straight_to_the_file(home: Path, melted: str, run: Run) -> None:
    assert "1.2 kg new; 0.3 kg scrap" in told(run("melt", "charge", melted, "--new", "1.2kg", "--scrap", "300g"))
    fixed = told(
        run("melt", "charge", melted, "--correct", "3", "--returns", "300g", "--remelt", "1", "--why", "gates")
    )
    assert "entry 3 is 0.3 kg returns, molten once before" in fixed
    assert "the first entry is kept" in fixed
    assert "entry 2 is taken back" in told(run("melt", "charge", melted, "--take-back", "2"))
    assert "heel 0.2 kg" in told(run("melt", "end", "--melt", melted, "--heel", "200g", "--ingots", "1lb"))
    assert "no heel" in told(run("melt", "end", "--melt", melted, "--heel", "none", "--why", "it was slag"))
    shown = told(run("melt", "show", melted))
    assert "charge 3: 0.3 kg returns, molten once before (corrected: gates)" in shown
    assert "charge 2" not in shown
    assert f"left: ingot {melted}-i1 0.453592 kg" in shown
    assert "heel" not in shown
    assert "tag lid" in told(run("melt", "note", "lid was off", "--melt", melted, "--tag", "lid"))
    assert "tags: lid" in told(run("melt", "show", melted))
    assert [hit["what"] for hit in asked(run("melt", "find", "lid", "--json"))] == ["note", "tag"]
    assert told(run("pour", "result", f"{melted}-1", "misrun=1", "--defect", "cold shut:2@horn tip")).startswith(melted)
    assert asked(run("pour", "show", f"{melted}-1", "--json"))["row"]["result"] == "misrun 1, cold_shut 2"
    assert [one["pour"] for one in asked(run("pour", "list", "--awaiting", "--json"))] == [f"{melted}-2"]
