"""Pours corrected and completed later: worked out again from the recorded trace, nothing erased. Commands as in a
shell, on the record of a demonstration; what the engine said live is the measure of what is worked out again."""

import json
import math
import sqlite3
import sys
import threading
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import msgspec
import pytest

from pourcall.contract.entries import PourCorrection
from pourcall.contract.errors import BadInput, DaemonError
from pourcall.contract.message import tell
from pourcall.records.read.store import Store
from pourcall.records.read.views import LipStep
from pourcall.replay.correction_worker import prepare_apart
from pourcall.replay.pour_again import pour_at
from pourcall.replay.pour_changes import Change, prepare
from pourcall.texts import written
from pourcall.texts.catalogue import English, current
from tests.told import heard, meant, refused, said, tells

Run = Callable[..., Any]
UTC_S = 4_000_000_000.0


@pytest.fixture(scope="module", params=["cleats_left_in", "cleats_dip"])
def shop(request: pytest.FixtureRequest, demonstrated: Callable[[str], Path]) -> Path:
    """A home with one demonstrated melt of two pours on record."""
    return demonstrated(request.param)


@pytest.fixture
def home(shop: Path, tmp_path: Path) -> Path:
    """A copy of it for one test."""
    (tmp_path / "data").mkdir()
    source = sqlite3.connect(shop / "data" / "pourcall.sqlite")
    target = sqlite3.connect(tmp_path / "data" / "pourcall.sqlite")
    source.backup(target)
    source.close()
    target.close()
    return tmp_path


def database(home: Path) -> Path:
    return home / "data" / "pourcall.sqlite"


def shown(run: Run, pour: str) -> dict[str, Any]:
    done = run("pour", "show", pour, "--json")
    assert done.code == 0, done.err
    found: dict[str, Any] = json.loads(done.out)
    return found


def rows(home: Path, table: str) -> int:
    conn = sqlite3.connect(database(home))
    try:
        return int(conn.execute(f"SELECT count(*) FROM {table}").fetchone()[0])
    finally:
        conn.close()


def without_basis(change: Change) -> Change:
    return msgspec.structs.replace(change, values={**change.values, "basis": ""})


def test_the_same_moment_worked_out_again_gives_what_the_engine_said_live(home: Path) -> None:
    with Store.read(database(home)) as store:
        for name in ("2026-001-1", "2026-001-2"):
            found = store.pour(name)
            again = pour_at(
                store,
                found,
                store.melt("2026-001"),
                at_mono_s=found.at_mono_s,
                at_utc_s=found.row.at_utc_s,
                lift_mono_s=found.lift_mono_s,
                mould=found.row.mould,
            )
            row = found.row
            assert (again.pot_temp_c, again.pot_u_c) == (row.pot_temp_c, row.pot_u_c)
            assert (again.lip_temp_c, again.lip_u_c, again.marked) == (row.lip_temp_c, row.lip_u_c, row.marked)
            assert written(again.basis) == written(tell("correction.worked_out_again", basis=row.basis))


def test_a_corrected_time_changes_the_temperature_by_the_loss_of_the_wait(home: Path, run: Run) -> None:
    before = shown(run, "2026-001-1")
    done = run(
        "pour", "correct", "2026-001-1", "--at", "+15s", "--why", "the mould was blown out first", "--who", "Ann"
    )
    assert done.code == 0, done.err
    assert tells(done.out, "correction.done", pour="2026-001-1")
    after = shown(run, "2026-001-1")
    row, old = after["row"], before["row"]
    assert row["at_utc_s"] - old["at_utc_s"] == pytest.approx(15.0)
    # The plan's 10.5 degC of this mould (pourcall/sim/scenarios/demo.py) stand for a walk of 20 s; what is longer
    # costs in proportion.
    walk_s = old["at_utc_s"] - before["lift_utc_s"]
    assert 5.0 < walk_s < 20.0
    above_c = old["lip_temp_c"] - 20.0  # by Newton's law of cooling, towards a room of 20 degC
    lost_c = above_c * (1.0 - math.exp(-10.5 / 20.0 * (walk_s + 15.0 - 20.0) / above_c))
    assert old["lip_temp_c"] - row["lip_temp_c"] == pytest.approx(lost_c)
    assert row["pot_temp_c"] == old["pot_temp_c"]  # lifted at the same moment
    assert (row["who"], row["why"], row["corrected"]) == ("Ann", "the mould was blown out first", True)
    assert tells(row["basis"], "correction.worked_out_again")
    assert after["earlier"] == [before["row"]]
    text = run("pour", "show", "2026-001-1").out
    was = datetime.fromtimestamp(old["at_utc_s"]).strftime("%H:%M:%S")  # noqa: DTZ006
    assert said("cli.pour.was.at", at=was) in text
    assert "the mould was blown out first (Ann)" in text
    # what lists, exports, compares and draws it takes the value in force
    (listed,) = [one for one in json.loads(run("pour", "list", "--json").out) if one["pour"] == "2026-001-1"]
    assert listed == row
    found = json.loads(run("compare", "2026-001-1", "2026-001-2", "--json").out)
    lips = next(line for line in found["differ"] if line["name"] == "at_lip")
    assert lips["values"][0] == row["lip_temp_c"]
    page, table = home / "sheet.html", home / "pours.csv"
    assert run("sheet", "2026-001-1", "--html", str(page)).code == 0
    assert tells(page.read_text("utf-8"), "sheet.corrected", first_c=old["lip_temp_c"])
    assert run("export", "--pours", str(table)).code == 0
    assert f",{row['lip_temp_c']:.1f}," in table.read_text("utf-8").splitlines()[1]


def test_a_corrected_lift_takes_the_pot_s_temperature_of_that_moment(home: Path, run: Run) -> None:
    before = shown(run, "2026-001-1")
    done = run("pour", "correct", "2026-001-1", "--lift", "-6s")
    assert done.code == 0, done.err
    after = shown(run, "2026-001-1")
    assert after["row"]["at_utc_s"] == before["row"]["at_utc_s"]
    assert before["lift_utc_s"] - after["lift_utc_s"] == pytest.approx(6.0)
    assert after["row"]["pot_temp_c"] == pytest.approx(before["row"]["pot_temp_c"], abs=3.0)
    assert run("pour", "correct", "2026-001-1", "--no-lift").code == 0
    assert "lift_utc_s" not in shown(run, "2026-001-1") or shown(run, "2026-001-1")["lift_utc_s"] is None
    row = shown(run, "2026-001-1")["row"]
    assert row["lip_temp_c"] is None or tells(row["basis"], "pour.basis.at_pour")


def test_another_mould_keeps_the_figure_of_the_pot_and_takes_that_mould_s_way(home: Path, run: Run) -> None:
    old = shown(run, "2026-001-1")["row"]
    done = run("pour", "correct", "2026-001-1", "--mould", "cleat 2")
    assert done.code == 0, done.err
    row = shown(run, "2026-001-1")["row"]
    assert row["mould"] == "cleat 2"
    assert row["pot_temp_c"] == old["pot_temp_c"]
    assert old["lip_temp_c"] - row["lip_temp_c"] == pytest.approx(
        7.0
    )  # losses of 10.5 and 17.5 degC (pourcall/sim/scenarios/demo.py)
    assert tells(row["basis"], "correction.other_mould")
    assert [part["what"] for part in shown(run, "2026-001-1")["parts"]][-1] == LipStep.LIP


def test_the_answer_to_a_correction_says_what_the_list_says(home: Path, run: Run) -> None:
    for mould in ("cleat 2", "cleat 1"):  # there, and back to what it was first marked as
        done = run("pour", "correct", "2026-001-1", "--mould", mould)
        assert done.code == 0, done.err
        with Store.read(database(home)) as store:
            told = store.melt("2026-001").corrections[-1].text
        assert tells(done.out, "correction.done", pour="2026-001-1", what=told)
    assert tells(done.out, "correction.done", what=tell("correction.restored"))


def test_a_pour_that_was_none_leaves_every_list_and_comes_back(home: Path, run: Run) -> None:
    first = shown(run, "2026-001-2")["row"]
    assert run("pour", "correct", "2026-001-2", "--not-poured", "marked twice").code == 0
    assert [one["pour"] for one in json.loads(run("pour", "list", "--json").out)] == ["2026-001-1"]
    assert json.loads(run("melt", "list", "--json").out)[0]["pours"] == 1
    assert tells(run("pour", "show", "2026-001-2").out, "cli.pour.struck_out", why="marked twice", who="shop")
    for words in (("sheet", "2026-001-2"), ("compare", "2026-001-1", "2026-001-2")):
        done = run(*words)
        assert (done.code, tells(done.err, "record.was_no_pour", why="marked twice")) == (2, True)
    done = run("pour", "correct", "2026-001-2", "--at", "+5s")
    assert (done.code, tells(done.err, "record.was_no_pour.remedy", pour="2026-001-2")) == (2, True)
    assert run("pour", "correct", "2026-001-2", "--restore", "--who", "Ann").code == 0
    again = shown(run, "2026-001-2")
    assert {**again["row"], "corrected": False, "who": "", "why": ""} == {**first, "corrected": False}
    assert len(again["earlier"]) == 2
    assert (rows(home, "pours"), rows(home, "corrections")) == (4, 2)  # struck out, and that taken back
    done = run("pour", "correct", "2026-001-1", "--restore")
    assert (done.code, tells(done.err, "correction.never")) == (2, True)


CORRECTED: tuple[tuple[tuple[str, ...], list[str], str, dict[str, float | str]], ...] = (
    (("correct", "--at", "+15s", "--why", "blown out first"), ["time"], "correction.moved.later", {"by_s": 15.0}),
    (("correct", "--at", "-6s"), ["time"], "correction.moved.earlier", {"by_s": 6.0}),
    (("correct", "--lift", "-6s"), ["lift"], "correction.moved.lift", {}),
    (("correct", "--no-lift"), ["lift"], "correction.moved.no_lift", {}),
    (
        ("correct", "--mould", "cleat 2"),
        ["mould"],
        "correction.moved.mould",
        {"mould": "cleat 2", "was_mould": "cleat 1"},
    ),
    (("complete", "--batch", "B7"), ["batch"], "correction.moved.batch", {"batch": "B7"}),
    (("correct", "--not-poured", "marked twice"), ["struck_out"], "correction.struck_out", {}),
    (("correct", "--restore"), ["restored"], "correction.restored", {}),
)


def test_the_melt_tells_each_correction_by_its_own_kind_and_none_as_another(home: Path, run: Run) -> None:
    for (what, *given), *_ in CORRECTED:
        done = run("pour", what, "2026-001-1", *given, "--who", "Ann")
        assert done.code == 0, (given, done.err)
    told = json.loads(run("melt", "show", "2026-001", "--json").out)["corrections"]
    assert [one["kinds"] for one in told] == [kinds for _, kinds, *_ in CORRECTED]
    text = run("melt", "show", "2026-001").out
    lines = [line for line in text.splitlines() if "2026-001-1" in line and line.endswith("(Ann)")]
    assert len(lines) == len(CORRECTED), text
    for line, (words, _, name, facts) in zip(lines, CORRECTED, strict=True):
        others = {other for *_, other, _ in CORRECTED} - {name}
        assert tells(line, name, **facts), (words, line)
        assert not any(tells(line, other) for other in others), (words, line)
    assert "blown out first" in lines[0]


REFUSED = (
    (("correct", "2026-001-1"), 2, tell("correction.nothing")),
    (("correct", "2026-001-9", "--at", "+5s"), 3, tell("record.no_pour", pour="2026-001-9")),
    (("correct", "2026-001-9", "--restore"), 3, tell("record.no_pour", pour="2026-001-9")),
    (("correct", "nonsense", "--restore"), 3, tell("record.not_a_pour", typed="nonsense")),
    (("correct", "2026-001-1", "--at", "half past two"), 2, tell("usage.time", word="half past two")),
    (("correct", "2026-001-1", "--at", "25:00"), 2, tell("usage.time", word="25:00")),
    (("correct", "2026-001-1", "--at", "-9000s"), 2, tell("correction.before_melt", moment="pour")),
    (("correct", "2026-001-1", "--at", "+9000s"), 2, tell("correction.before_end")),
    (("correct", "2026-001-1", "--lift", "+500s"), 2, tell("correction.after_melt", moment="lift")),
    (("correct", "2026-001-1", "--at", "+5s", "--lift", "+30s"), 2, tell("correction.lift_after")),
    (
        ("correct", "2026-001-1", "--lift", "-5s", "--no-lift"),
        2,
        tell("usage.contradict", first="--lift", second="--no-lift"),
    ),
    (("correct", "2026-001-1", "--mould", "cleat 9"), 2, tell("correction.no_mould", mould="cleat 9", melt="2026-001")),
    (("correct", "2026-001-1", "--mould", "cleat 1"), 2, tell("correction.same")),
    (("correct", "2026-001-1", "--not-poured", " "), 2, tell("correction.no_reason")),
    (("correct", "2026-001-1", "--not-poured", "x", "--at", "+5s"), 2, tell("correction.several")),
    (("correct", "2026-001-1", "--not-poured", "x", "--restore"), 2, tell("correction.several")),
    (
        ("correct", "2026-001-1", "--not-poured", "x", "--why", "y"),
        2,
        tell("usage.contradict", first="--not-poured WHY", second="--why"),
    ),
    (
        ("correct", "2026-001-1", "--at", "+5s", "--who", "a\x07"),
        2,
        tell("entry.unseen", entry_part="who", code="U+0007"),
    ),
    (("complete", "2026-001-1"), 2, tell("correction.nothing_told")),
    (("complete", "2026-001-7", "--batch", "B7"), 3, tell("record.no_pour", pour="2026-001-7")),
    (("complete", "2026-001-1", "--setup", "deck claet 160 mm"), 3, meant("deck cleat 160 mm")),
    (("complete", "2026-001-1", "--note", "bell\x07"), 2, tell("entry.unseen", entry_part="note", code="U+0007")),
)


def test_a_correction_that_cannot_stand_is_refused_in_words_and_nothing_is_written(home: Path, run: Run) -> None:
    tables = ("pours", "notes", "tags", "corrections")
    before = [rows(home, table) for table in tables]
    for words, code, says in REFUSED:
        done = run("pour", *words)
        assert (done.code, heard(done.err, says)) == (code, True), (words, done.err)
        assert "Traceback" not in done.err
    assert [rows(home, table) for table in tables] == before


def test_a_process_of_its_own_works_out_the_same_and_brings_its_refusals_home(home: Path) -> None:
    with Store.read(database(home)) as store:
        asked = PourCorrection(pour="2026-001-1", at_utc_s=store.pour("2026-001-1").row.at_utc_s + 7.5, who="Ann")
        apart, here = prepare_apart(database(home), asked, UTC_S), prepare(store, asked, UTC_S)
    if isinstance(current(), English):  # a process of its own writes for the record by the catalogue that ships
        assert apart == here
    assert without_basis(apart) == without_basis(here)
    with pytest.raises(BadInput) as caught:
        prepare_apart(database(home), PourCorrection(pour="2026-001-1"), UTC_S)
    assert caught.value.where == "2026-001-1"


def test_a_daemon_that_stops_does_not_wait_for_a_correction_that_is_worked_out() -> None:
    stopping = threading.Event()
    stopping.set()
    endless = (sys.executable, "-c", "import time; time.sleep(600)")
    with pytest.raises(DaemonError):  # and the process is ended: a leak of it fails the test
        prepare_apart(Path("none.sqlite"), PourCorrection(pour="2026-001-1"), UTC_S, stopping, endless)


def test_a_correction_that_another_one_overtook_is_refused(home: Path) -> None:
    from pourcall.daemon.api.library import enter
    from pourcall.records.upkeep.opening import connect

    asked = PourCorrection(pour="2026-001-1", mould="cleat 2")
    with Store.read(database(home)) as store:
        change = prepare(store, asked, UTC_S)
    conn = connect(database(home))
    try:
        enter(conn, asked, UTC_S, change)
        with refused(BadInput, "correction.overtaken"):
            enter(conn, asked, UTC_S, change)
    finally:
        conn.close()
