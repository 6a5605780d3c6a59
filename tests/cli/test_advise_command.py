"""Results of inspection and advice from the shell, on a record made by the real writer.

The boat club's deck cleats and bow fairleads in ZA-27 are invented; their limits are the planner's own.
"""

import json
import sqlite3
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, NamedTuple
from xml.etree import ElementTree

import msgspec
import pytest

from pourcall.contract.events import Marking, MeltEnded, MeltStarted, Pour, PourMarked
from pourcall.contract.inputs import CommandIn, EndMelt, MarkPour, MeltEnding, StartMelt
from pourcall.contract.message import Message, tell
from pourcall.contract.plan import MouldRequest
from pourcall.metal.alloys.sheet import load_sheets
from pourcall.metal.windows import melt_plan
from pourcall.records.entries.entries import add_result
from pourcall.records.read.store import Store
from pourcall.records.upkeep.opening import connect
from pourcall.records.write.recorder import Recorder
from pourcall.trials.gather import setup_data
from tests.told import heard, meant, said, tells

Run = Callable[..., Any]
UTC_S = 1_780_000_000.0


class Poured(NamedTuple):
    """One melt with one pour."""

    setup: str
    lip_c: float | None
    results: Sequence[tuple[str, int]] = ()
    mm: float = 6.0
    alloy: str = "za27"
    u_c: float = 6.0
    pot_rating_c: float | None = None


def fill(database: Path, poured: Sequence[Poured]) -> None:
    """Melts 2026-001, 2026-002 ... with the first pour of each; results straight after."""
    sheets = load_sheets(None)
    recorder = Recorder(database, on_state=lambda *_: None, clock=time.monotonic)
    recorder.start(utc_s=UTC_S)
    recorder.begin_session("club", "", b"{}", 0.0, UTC_S)
    for number, one in enumerate(poured, 1):
        melt, at_s = f"2026-{number:03d}", 100.0 * number
        mould = MouldRequest(name=f"mould {number}", setup=one.setup, mass_kg=0.4, thinnest_mm=one.mm, loss_c=20.0)
        plan = melt_plan(melt, sheets.get(one.alloy), 1.5, [mould], pot_rating_c=one.pot_rating_c)
        utc_s = UTC_S + at_s
        seq = 10 * number
        start = CommandIn(seq=seq, mono_s=at_s, utc_s=utc_s, command=StartMelt(plan=plan))
        began = MeltStarted(furnace="club", seq=seq, mono_s=at_s, utc_s=utc_s, plan=plan)
        recorder.put("club", start, (began,))
        pour = Pour(
            number=1,
            mould=mould.name,
            setup=one.setup,
            at_mono_s=at_s,
            at_utc_s=utc_s,
            marked=Marking.LIVE,
            pot_temp_c=None if one.lip_c is None else one.lip_c + 20.0,
            pot_u_c=4.0,
            lip_temp_c=one.lip_c,
            lip_u_c=one.u_c,
            lip_min_c=546.0,
            lip_max_c=579.0,
            basis="probe in the metal",
        )
        mark = CommandIn(seq=seq + 1, mono_s=at_s, utc_s=utc_s, command=MarkPour())
        marked = PourMarked(furnace="club", seq=seq + 1, mono_s=at_s, utc_s=utc_s, melt=melt, pour=pour)
        recorder.put("club", mark, (marked,))
        end = CommandIn(seq=seq + 2, mono_s=at_s, utc_s=utc_s, command=EndMelt(ending=MeltEnding.POURED))
        over = MeltEnded(furnace="club", seq=seq + 2, mono_s=at_s, utc_s=utc_s, melt=melt, ending=MeltEnding.POURED)
        recorder.put("club", end, (over,))
        recorder.call(lambda conn, melt=melt, one=one: _enter(conn, melt, one)).result(10.0)  # type: ignore[misc]
    assert recorder.stop(10.0) == 0


def _enter(conn: sqlite3.Connection, melt: str, one: Poured) -> None:
    for defect, severity in one.results:
        add_result(conn, f"{melt}-1", defect, severity, who="ann", utc_s=UTC_S)


@pytest.fixture
def database(home: Path) -> Path:
    folder = home / "data"
    folder.mkdir(parents=True)
    return folder / "pourcall.sqlite"


CLEATS = (
    Poured("deck cleat", 538.0, [("misrun", 2)]),
    Poured("deck cleat", 552.0, [("cold_shut", 1)]),
    Poured("deck cleat", 564.0, [("sound", 0)]),
    Poured("deck cleat", 588.0, [("penetration", 2), ("crush", 1)]),
    Poured("deck cleat", 566.0),
    Poured("deck cleat", None, [("sound", 0)]),
    Poured("bow fairlead", 560.0, [("sound", 0)], mm=7.0),
    Poured("anchor stock", 545.0, [("misrun", 3)], mm=30.0),
    Poured("deck cleat", 1010.0, [("sound", 0)], alloy="c87300"),
)


# -- results ------------------------------------------------------------------------------------------------------


def test_results_are_recorded_without_a_daemon_and_read_back(run: Run, database: Path) -> None:
    fill(database, [Poured("deck cleat", 550.0), Poured("deck cleat", 560.0)])
    done = run("pour", "result", "2026-001-1", "misrun=2@horn tip", "cold lap=1", "--detail", "seam", "--who", "ann")
    assert (done.code, done.err) == (0, "")
    grades = (("misrun", 2), ("cold_shut", 1))
    found = ", ".join(
        said("defect.graded", defect=defect.replace("_", " "), severity=severity, grade=tell(f"word.grade.{severity}"))
        for defect, severity in grades
    )
    assert done.out == said("cli.pour.result_recorded", pour="2026-001-1", found=found) + "\n"
    shown = json.loads(run("pour", "show", "2026-001-1", "--json").out)
    told = {(r["defect"], r["severity"], r["detail"], r["who"]) for r in shown["results"]}
    assert told == {("misrun", 2, "horn tip", "ann"), ("cold_shut", 1, "seam", "ann")}
    assert "misrun: horn tip" in run("pour", "show", "2026-001-1").out


def test_the_same_defect_told_again_corrects_and_zero_takes_back_and_nothing_is_erased(
    run: Run, database: Path
) -> None:
    fill(database, [Poured("deck cleat", 550.0, [("misrun", 1), ("sink", 2)])])
    assert run("pour", "result", "2026-001-1", "misrun=3", "sink=0").code == 0
    assert json.loads(run("pour", "list", "--json").out)[0]["result"] == "misrun 3"
    conn = sqlite3.connect(database)
    rows = conn.execute("SELECT defect, severity FROM results ORDER BY id").fetchall()
    conn.close()
    assert rows == [("misrun", 1), ("sink", 2), ("sink", 0), ("misrun", 3)]


def test_a_result_that_contradicts_the_record_is_refused_until_it_is_a_correction(run: Run, database: Path) -> None:
    fill(database, [Poured("deck cleat", 550.0, [("sound", 0)]), Poured("deck cleat", 560.0, [("misrun", 2)])])
    for pour, finding, stands in (("2026-001-1", "misrun=2", "sound"), ("2026-002-1", "sound", "misrun 2")):
        done = run("pour", "result", pour, finding)
        assert done.code == 2
        assert tells(done.err, "defect.contradicts", before=stands)
        assert tells(done.err, "defect.contradicts.remedy")
        assert run("pour", "result", pour, finding, "--correct").code == 0
    second, first = json.loads(run("pour", "list", "--json").out)
    assert (first["result"], second["result"]) == ("misrun 2", "sound")
    assert run("pour", "result", "2026-001-1", "sound", "--correct").code == 0
    assert json.loads(run("pour", "list", "--json").out)[1]["result"] == "sound"


def test_several_findings_stand_together_or_not_at_all(run: Run, database: Path) -> None:
    fill(database, [Poured("deck cleat", 550.0)])
    assert run("pour", "result", "2026-001-1", "misrun=2", "sink=0").code == 2  # no sink to take back
    assert json.loads(run("pour", "list", "--json").out)[0]["result"] == ""


@pytest.mark.parametrize(
    ("words", "code", "wanted"),
    [
        (("2026-009-1", "sound"), 3, tell("record.no_pour", pour="2026-009-1")),
        (("nonsense", "sound"), 3, tell("record.not_a_pour", typed="nonsense")),
        (("2026-001-1", "misrun=4"), 2, tell("defect.severity", given="misrun=4")),
        (("2026-001-1", "misrun"), 2, tell("defect.severity", given="misrun")),
        (("2026-001-1", "sound", "misrun=1"), 2, tell("defect.sound_and", defects="misrun")),
        (("2026-001-1", "misrnu=1"), 2, tell("defect.unknown_near", near="misrun")),
        (("2026-001-1",), 2, tell("cli.pour.nothing_found")),
        ((), 2, tell("cli.pour.none_named")),
    ],
)
def test_a_result_that_cannot_be_meant_is_refused_and_nothing_is_written(
    run: Run, database: Path, words: tuple[str, ...], code: int, wanted: str | Message
) -> None:
    fill(database, [Poured("deck cleat", 550.0)])
    done = run("pour", "result", *words)
    assert done.code == code
    assert heard(done.err, wanted)
    assert json.loads(run("pour", "list", "--awaiting", "--json").out)[0]["pour"] == "2026-001-1"


def test_a_running_daemon_records_the_result(
    run: Run,
    database: Path,
    serve: Callable[..., Any],
    write_settings: Callable[[str], Path],
    settings_for: Callable[[str], str],
) -> None:
    fill(database, [Poured("deck cleat", 550.0)])
    write_settings(settings_for("socket://127.0.0.1:9"))
    serving = serve()
    assert run("pour", "result", "2026-001-1", "misrun=2").code == 0
    assert run("pour", "result", "2026-001-1", "sound").code == 2
    assert run("pour", "result", "2026-001-1", "sound", "--correct").code == 0
    assert serving.stop() == 0
    assert json.loads(run("pour", "list", "--json").out)[0]["result"] == "sound"


def test_pours_are_listed_by_defect_and_by_waiting_for_inspection(run: Run, database: Path) -> None:
    fill(database, CLEATS)

    def listed(*words: str) -> list[str]:
        return [row["pour"] for row in json.loads(run("pour", "list", "--json", *words).out)]

    assert listed("--defect", "misrun") == ["2026-008-1", "2026-001-1"]
    assert listed("--defect", "cold lap") == ["2026-002-1"]
    assert listed("--awaiting") == ["2026-005-1"]
    assert listed("--defect", "sound", "--limit", "1") == ["2026-009-1"]
    assert tells(run("pour", "list", "--defect", "swell").out, "cli.pour.none_like_that")
    assert run("pour", "list", "--defect", "misrnu").code == 2


def test_the_classes_are_listed_without_a_record(run: Run) -> None:
    done = run("pour", "result", "--classes")
    assert done.code == 0
    assert "misrun" in done.out
    assert said("defect.looks.misrun") in done.out


# -- advice -------------------------------------------------------------------------------------------------------


def test_the_data_of_a_setup_are_what_was_poured_planned_and_found(database: Path) -> None:
    fill(database, CLEATS)
    with Store.read(database) as store:
        data = setup_data(store, "Deck_cleat", load_sheets(None), alloy="za27")
    assert data.setup == "deck cleat"
    assert [pour.pour for pour in data.pours] == ["2026-001-1", "2026-002-1", "2026-003-1", "2026-004-1"]
    assert [(p.found.cold, p.found.hot, p.found.unrelated) for p in data.pours] == [
        (2, 0, 0),
        (1, 0, 0),
        (0, 0, 0),
        (0, 2, 1),
    ]
    assert {pour.u_c for pour in data.pours} == {3.0}  # half of the expanded uncertainty
    assert data.left_out == (
        tell("advice.out.waiting", pours="2026-005-1"),
        tell("advice.out.unmeasured", pours="2026-006-1"),
        tell("advice.out.other_alloy", pours="2026-009-1"),
    )
    assert [(place.order, place.moulds, place.loss_c) for place in data.places] == [(1, 1, 20.0)]
    assert data.floor_c == 484.0 + 25.0  # liquidus and margin as the sheet of ZA-27 has them
    assert set(data.seen) == {"misrun", "cold_shut", "penetration", "crush"}
    assert data.bounds[0].limit_c <= data.bounds[-1].limit_c
    assert min(bound.limit_c for bound in data.bounds if bound.whose == "alloy") == 595.0


def test_similar_sections_are_borrowed_and_unlike_ones_are_not(database: Path) -> None:
    fill(database, CLEATS)
    with Store.read(database) as store:
        data = setup_data(store, "deck cleat", load_sheets(None), alloy="za27")
    borrowed = {pour.setup: pour for pour in data.borrowed}
    assert set(borrowed) == {"bow fairlead"}  # 30 mm is too unlike 6 mm
    assert 1.1 < borrowed["bow fairlead"].apart < 1.3  # 7 mm to 6 mm: a little further off than its like
    assert 560.0 < borrowed["bow fairlead"].lip_c < 566.0  # a thicker section's window lies lower


def test_from_the_pour_on_that_is_named_the_mould_is_another_and_earlier_pours_are_borrowed(database: Path) -> None:
    fill(database, CLEATS)
    with Store.read(database) as store:
        data = setup_data(store, "deck cleat", load_sheets(None), alloy="za27", since="2026-003-1")
    assert [pour.pour for pour in data.pours] == ["2026-003-1", "2026-004-1"]
    lent = [pour.pour for pour in data.borrowed if pour.setup == "deck cleat before 2026-003-1"]
    assert lent == ["2026-001-1", "2026-002-1"]


def test_a_limit_of_the_pot_comes_from_the_newest_plan_less_the_loss(database: Path) -> None:
    fill(database, [Poured("deck cleat", 545.0, [("misrun", 2)], pot_rating_c=575.0)])
    with Store.read(database) as store:
        data = setup_data(store, "deck cleat", load_sheets(None))
    assert data.bounds[0].whose == "pot"
    assert data.bounds[0].limit_c == pytest.approx(555.0)


def test_advice_is_said_and_drawn_and_given_to_programs(run: Run, database: Path, home: Path) -> None:
    fill(database, CLEATS)
    drawing = home / "cleat.svg"
    done = run("advise", "deck cleat", "--alloy", "za27", "--plot", str(drawing))
    assert (done.code, done.err) == (0, "")
    assert done.out.startswith("deck cleat, ZA-27, 6 mm\n")
    for name in ("advice.customer", "advice.learn", "advice.pots", "advice.borrowed"):
        assert tells(done.out, name), name
    assert tells(done.out, "advice.pot_both", loss_difference_c=20.0)
    assert tells(done.out, "advice.lent", setup="bow fairlead")
    assert tells(done.out, "advice.out.waiting", pours="2026-005-1")
    assert ElementTree.parse(drawing).getroot().tag.endswith("svg")
    for ending, head in ((".png", b"\x89PNG"), (".pdf", b"%PDF")):
        assert run("advise", "deck cleat", "--alloy", "za27", "--plot", str(home / f"cleat{ending}")).code == 0
        assert (home / f"cleat{ending}").read_bytes().startswith(head)
    told = json.loads(run("advise", "deck cleat", "--alloy", "za27", "--json").out)
    assert told["pours"] == 4
    assert told["allowed_min_c"] <= told["next_c"] <= told["allowed_max_c"]
    assert told["next_tap_c"] == told["next_c"] + 20.0
    assert 545.0 < told["best_c"] < 585.0
    in_f = run("advise", "deck cleat", "--alloy", "za27", "--unit", "F").out
    assert "°F" in in_f
    assert "°C" not in in_f


def test_cold_and_hot_faults_at_once_are_told_from_the_record(run: Run, database: Path) -> None:
    fill(database, [Poured("deck cleat", 560.0, [("misrun", 2), ("sink", 2)])])
    done = run("advise", "deck cleat")
    assert tells(done.out, "advice.other_cause.both", pours="2026-001-1")
    assert tells(done.out, "advice.change_first")


@pytest.mark.parametrize(
    ("words", "code", "wanted"),
    [
        (("dek cleat",), 3, meant("deck cleat")),
        (("deck cleat",), 2, tell("advice.several_alloys", setup="deck cleat")),
        (("deck cleat", "--alloy", "za28"), 3, tell("alloy.not_found", alloy="za28")),
        (("deck cleat", "--alloy", "za27", "--level", "0"), 2, tell("usage.level", word="0")),
        (("deck cleat", "--alloy", "za27", "--level", "most"), 2, tell("usage.level", word="most")),
        (("deck cleat", "--alloy", "za27", "--mm", "0"), 2, tell("metal.section", thinnest_mm=0.0)),
        (
            ("deck cleat", "--alloy", "za27", "--material", "gren_sand"),
            2,
            tell("window.no_material", typed="gren_sand", hint=meant("green_sand")),
        ),
        (("deck cleat", "--alloy", "za27", "--plot", "cleat.gif"), 2, tell("export.no_kind", file="cleat.gif")),
        (("deck cleat", "--alloy", "za27", "--since", "2026-007-1"), 3, tell("advice.no_pour", pour="2026-007-1")),
        (("deck cleat", "--alloy", "za27", "--since", "2026-001-1", "--unchanged"), 2, "not allowed with"),
    ],
)
def test_advice_that_cannot_be_given_says_why(
    run: Run, database: Path, words: tuple[str, ...], code: int, wanted: str | Message
) -> None:
    fill(database, CLEATS)
    done = run("advise", *words)
    assert done.code == code
    assert heard(done.err, wanted)


def test_a_setup_nobody_poured_yet_is_advised_from_its_alloy_sheet(run: Run, database: Path) -> None:
    fill(database, CLEATS[:1])
    done = run("advise", "mast step", "--alloy", "za27", "--mm", "6")
    assert done.code == 0
    assert tells(done.out, "advice.next", why=tell("advice.why.first_borrowed"))
    assert tells(done.out, "advice.lent", pours=1, setup="deck cleat")


def test_advice_at_fifty_pours_is_of_all_fifty(shell: Run, database: Path) -> None:
    told = [("misrun", 2), ("sound", 0), ("penetration", 1)]
    fill(database, [Poured("deck cleat", 530.0 + 1.3 * n, [told[min(2, n // 17)]]) for n in range(50)])
    done = shell("advise", "deck cleat", "--json")
    assert done.code == 0
    assert msgspec.json.decode(done.out)["pours"] == 50


def test_a_taken_back_defect_leaves_a_pour_awaiting_inspection(database: Path, run: Run) -> None:
    fill(database, [Poured("deck cleat", 550.0, [("misrun", 2)])])
    conn = connect(database)
    add_result(conn, "2026-001-1", "misrun", 0, who="ann", utc_s=UTC_S)
    conn.close()
    assert [row["pour"] for row in json.loads(run("pour", "list", "--awaiting", "--json").out)] == ["2026-001-1"]
    with Store.read(database) as store:
        assert setup_data(store, "deck cleat", load_sheets(None)).left_out == (
            tell("advice.out.waiting", pours="2026-001-1"),
        )


def test_on_a_fresh_installation_advice_is_a_calm_answer_that_says_what_to_do(run: Run) -> None:
    done = run("advise", "deck cleat")
    assert (done.code, done.err) == (0, "")
    assert tells(done.out, "cli.advise.nothing_yet", setup="deck cleat")
    assert tells(done.out, "cli.advise.see_invented")
    assert tells(done.out, "cli.advise.first_pour")


def test_a_script_that_wants_figures_of_a_fresh_installation_is_told_that_there_are_none(run: Run) -> None:
    done = run("advise", "deck cleat", "--json")
    assert (done.code, done.out) == (3, "")
