"""`pourcall replay` over files of any make: degrees and emf, in any unit, told to a person and to a program.

Figures from the printed tables of the NIST ITS-90 database (tests/data/thermocouple): type K 0 mV at 0 degC, 4.096 at
100, 20.644 at 500, 41.276 at 1000 and 1.000 at 25; type S 9.587 mV at 1000 degC.
"""

import csv
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from pourcall.contract.message import Message, tell
from pourcall.contract.units import Unit
from tests.told import heard, tells

Run = Callable[..., Any]
TRACE = Path(__file__).parents[1] / "data" / "traces" / "E119_Compartment_Test_3.csv"


def trace(tmp_path: Path, title: str, cells: list[str]) -> str:
    path = tmp_path / "trace.csv"
    path.write_text(f"time s,{title}\n" + "".join(f"{10 * at},{cell}\n" for at, cell in enumerate(cells)))
    return str(path)


def temps_of(run: Run, *words: str, table: Path) -> list[float | None]:
    done = run("replay", *words, "--alloy", "za27", "--csv", str(table))
    assert done.code == 0, done.err
    rows = csv.DictReader(table.read_text("utf-8").splitlines())
    return [float(row["temp_c"]) if row["temp_c"] else None for row in rows]


@pytest.mark.parametrize(
    ("title", "cells", "words", "wanted"),
    [
        ("TC1 [C]", ["0", "100", "500", "1000"], (), [0.0, 100.0, 500.0, 1000.0]),
        ("TC1 [F]", ["32", "212", "932", "1832"], (), [0.0, 100.0, 500.0, 1000.0]),
        ("TC1 [K]", ["273.15", "373.15", "773.15", "1273.15"], (), [0.0, 100.0, 500.0, 1000.0]),
        ("TC1", ["32", "212", "932", "1832"], ("--column-unit", "degF"), [0.0, 100.0, 500.0, 1000.0]),
        ("emf [mV]", ["0.000", "4.096", "20.644", "41.276"], (), [0.0, 100.0, 500.0, 1000.0]),
        ("emf_uV", ["0", "4096", "20644", "41276"], (), [0.0, 100.0, 500.0, 1000.0]),
        # terminals at 25 degC: 1.000 mV less at the terminals
        ("emf [mV]", ["-1.000", "3.096", "19.644", "40.276"], ("--cold", "25C"), [0.0, 100.0, 500.0, 1000.0]),
        ("emf [mV]", ["0", "1", "5", "9.587"], ("--type", "S"), [0.0, None, None, 1000.0]),
    ],
)
def test_degrees_and_emf_in_any_unit_give_the_temperatures_of_the_printed_tables(
    run: Run, tmp_path: Path, title: str, cells: list[str], words: tuple[str, ...], wanted: list[float | None]
) -> None:
    found = temps_of(run, trace(tmp_path, title, cells), *words, table=tmp_path / "table.csv")
    assert len(found) == len(wanted)
    for temp_c, printed_c in zip(found, wanted, strict=True):
        assert temp_c is not None
        if printed_c is not None:
            assert temp_c == pytest.approx(printed_c, abs=0.06)  # half a digit of the table, in degrees of type S


# IEC 60584-1, type K: 0.798 mV at 20 degC, 1.000 at 25, 1.203 at 30; 20.644 at 500, 41.276 at 1000
WITH_COLD = "time s,emf [mV],board [C]\n0,-0.798,20\n10,19.644,25\n20,40.073,30\n30,41.0,\n"


def test_the_cold_junction_of_a_file_is_used_row_by_row(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "cold.csv"
    path.write_text(WITH_COLD)
    words = (str(path), "--column", "emf [mV]", "--cold-column", "board [C]")
    *found, last = temps_of(run, *words, table=tmp_path / "table.csv")
    assert found == pytest.approx([0.0, 500.0, 1000.0], abs=0.06)
    assert last is None  # no cold junction, no temperature: 0 would be a guess


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--column", "emf [mV]", "--cold-column", "terminals"), tell("trace.no_column", column="terminals")),
        (("--column", "board [C]", "--cold-column", "board [C]"), tell("usage.cold_for_emf", option="--cold-column")),
        (
            ("--column", "emf [mV]", "--cold-column", "board [C]", "--cold", "20C"),
            tell("usage.contradict", first="--cold", second="--cold-column"),
        ),
        (("--column", "emf [mV]", "--cold-column", "emf [mV]"), tell("replay.cold_unit")),
    ],
)
def test_a_cold_junction_that_cannot_be_meant_is_refused(
    run: Run, tmp_path: Path, words: tuple[str, ...], told: str | Message
) -> None:
    path = tmp_path / "cold.csv"
    path.write_text(WITH_COLD)
    done = run("replay", str(path), *words, "--alloy", "za27")
    assert done.code in (2, 3)
    assert heard(done.err, told)


def test_columns_are_listed_with_their_units_and_which_are_no_couple(run: Run) -> None:
    done = run("replay", str(TRACE), "--alloy", "za27", "--columns")
    assert done.code == 0
    lines = dict(line.split("  ", 1) for line in done.out.splitlines())
    assert lines["BeamTC5"] == "degC"
    assert tells(lines["HRR"], "replay.no_thermocouple")


def test_a_person_reads_their_own_unit_and_a_program_reads_json(run: Run) -> None:
    told = run("replay", str(TRACE), "--alloy", "za27", "--column", "BeamTC1", "--unit", "F")
    assert told.code == 0
    assert tells(told.out, "replay.window", Unit.F, lip_low_c=530.0, lip_high_c=595.0)  # of the sheet
    assert "986 °F" in told.out
    assert "1103 °F" in told.out
    assert "degC>" not in told.out
    # A fire test has no melting in it: nothing is called before somebody stirs and skims, and nobody is there.
    assert tells(told.out, "replay.call", how="raised", text=tell("call.skim"))
    lines = run("replay", str(TRACE), "--alloy", "za27", "--column", "BeamTC1", "--json").out.splitlines()
    kinds = {json.loads(line)["type"] for line in lines}
    assert {"melt_started", "melt_state_changed", "call_changed"} <= kinds


def test_a_probe_in_the_chamber_never_calls_a_pour(run: Run) -> None:
    done = run("replay", str(TRACE), "--alloy", "za27", "--column", "BeamTC1", "--place", "chamber")
    assert done.code == 0
    assert not tells(done.out, "call.pour.now", mould="mould")
    assert tells(done.out, "replay.rows")


def test_what_was_guessed_and_left_out_is_said(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "odd.csv"
    path.write_text("time,TC1,TC2\n" + "".join(f"{t},{20 + t},{30 + t}\n" for t in (*range(60), 59, 58, 60)))
    done = run("replay", str(path), "--alloy", "za27")
    assert done.code == 0
    assert tells(done.err, "replay.column_taken", column="TC1", others="TC2")
    assert tells(done.err, "replay.unit_taken", column="TC1")
    assert tells(done.out, "replay.dropped", count=2)
    assert tells(done.out, "replay.rows", count=61)


def test_the_same_file_gives_the_same_words_every_time(run: Run) -> None:
    words = ("replay", str(TRACE), "--alloy", "c87300", "--column", "BeamTC7", "--json")
    assert run(*words).out == run(*words).out != ""
