"""Exports open elsewhere. Checked by pandas (a table), by the `csvw` package (the W3C model), and by hand.

Source: W3C Recommendations "Metadata Vocabulary for Tabular Data" and "Model for Tabular Data and Metadata on the
Web", 17 December 2015; RFC 4180 for the cells.
"""

import csv
import json
import os
import re
import warnings
from datetime import datetime
from pathlib import Path
from typing import Any, TextIO

import csvw
import pandas
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pourcall.contract.errors import BadInput, NotFound, StoreError
from pourcall.contract.frames import RawKind
from pourcall.contract.inputs import TickIn
from pourcall.contract.reading import Reading
from pourcall.contract.status import Reason
from pourcall.records.read.store import Store
from pourcall.records.read.views import NOTHING_POURED
from pourcall.reports.tables.csv_text import number_cell, text_cell, write_whole
from pourcall.reports.tables.export import export_melt, export_pour, export_pours, melt_csv
from pourcall.reports.tables.recompute import recompute_melt
from tests.told import refused, said

UTC_S = 1_780_000_000.0
Maker = Any


@pytest.fixture
def melted(database: Path, recording: Any, make: Maker) -> Path:
    """One melt of ten seconds with two probes at 10 Hz, a fault, a pour and a mould with a formula for a name."""
    recorder = recording()
    recorder.put("crucible", *make.start(100.0, make.plan(mould="=HYPERLINK(1)")))
    for n in range(100):
        mono_s = round(100.0 + n * 0.1, 3)
        recorder.put("crucible", *make.sample(mono_s, 500.0 + n * 0.125, u_c=2.5))
        if n % 10 != 3:
            second = make.sample(
                round(mono_s + 0.02, 3),
                None if n % 10 == 5 else -3.25,
                probe="ambient_probe",
                channel="1",
                reason=Reason.SENSOR_OPEN if n % 10 == 5 else Reason.OK,
            )
            recorder.put("crucible", *second)
    recorder.put("crucible", *make.pour(105.0, mould="=HYPERLINK(1)"))
    recorder.put("crucible", *make.end(109.95))
    for n in range(50):
        recorder.put("crucible", *make.sample(110.0 + n, 400.0))
    recorder.stop()
    return database


def test_a_melt_that_no_probe_read_has_its_marks_at_their_time_under_their_heading(
    database: Path, recording: Any, make: Maker, tmp_path: Path
) -> None:
    recorder = recording()
    recorder.put("crucible", *make.start(100.0, make.plan()))
    recorder.put("crucible", *make.pour(105.0))
    recorder.put("crucible", *make.end(110.0))
    recorder.stop()
    with Store.read(database) as store:
        (row,) = store.melts()
        made = export_melt(store, row.melt, tmp_path)
    with made.csv.open(encoding="utf-8", newline="") as file:
        head, *rows = csv.reader(file)
    assert [said("export.poured", number=1, mould="Cleat A") in cells[2] for cells in rows].count(True) == 1
    assert {len(cells) for cells in (head, *rows)} == {3}
    assert all(datetime.fromisoformat(cells[1]).timestamp() == pytest.approx(UTC_S, abs=3600.0) for cells in rows)


def test_pandas_reads_what_was_recorded(melted: Path, tmp_path: Path) -> None:
    with Store.read(melted) as store:
        made = export_melt(store, "2026-001", tmp_path / "out")
    table = pandas.read_csv(made.csv)
    assert made.csv.name == "melt-2026-001.csv"
    assert list(table.columns) == [
        "elapsed_s",
        "utc",
        "ambient_probe_temp_c",
        "ambient_probe_u_c",
        "ambient_probe_status",
        "ambient_probe_reason",
        "melt_probe_temp_c",
        "melt_probe_u_c",
        "melt_probe_status",
        "melt_probe_reason",
        "mark",
    ]
    assert len(table) == made.rows == 100
    assert list(table["melt_probe_temp_c"]) == [500.0 + n * 0.125 for n in range(100)]
    assert list(table["elapsed_s"]) == pytest.approx([n * 0.1 for n in range(100)])
    utc = pandas.to_datetime(table["utc"])
    assert utc[0].timestamp() == UTC_S
    assert (utc[99] - utc[0]).total_seconds() == pytest.approx(9.9)
    ambient = table["ambient_probe_temp_c"]
    assert ambient.dropna().unique().tolist() == [-3.25]  # negative numbers stay numbers
    bad = table[table["ambient_probe_status"] == "bad"]
    assert len(bad) == 10
    assert set(bad["ambient_probe_reason"]) == {"sensor_open"}
    assert bad["ambient_probe_temp_c"].isna().all()
    silent = table[table["ambient_probe_status"].isna()]
    assert len(silent) == 10  # no reading: no number, and no reason made up
    assert silent["ambient_probe_reason"].isna().all()


def test_the_metadata_is_valid_csvw_and_fits_the_table(melted: Path, tmp_path: Path) -> None:
    with Store.read(melted) as store:
        made = export_melt(store, "2026-001", tmp_path)
    assert made.metadata.name == "melt-2026-001.csv-metadata.json"  # where the W3C model looks for it
    reader = csvw.CSVW(str(made.metadata), validate=True)
    assert reader.is_valid, [str(warning.message) for warning in reader.warnings]
    table = csvw.Table.from_file(made.metadata)
    rows = list(table.iterdicts(strict=True))  # type: ignore[attr-defined]
    assert len(rows) == 100
    assert rows[0]["melt_probe_temp_c"] == 500
    assert rows[0]["utc"].timestamp() == UTC_S
    assert rows[5]["ambient_probe_temp_c"] is None
    assert rows[5]["ambient_probe_reason"] == "sensor_open"
    document = json.loads(made.metadata.read_text(encoding="utf-8"))
    names = [column["name"] for column in document["tableSchema"]["columns"]]
    assert names == next(csv.reader(made.csv.read_text(encoding="utf-8").splitlines()))


VOCABULARY = json.loads((Path(__file__).parents[1] / "data" / "csvw" / "vocabulary.json").read_text("utf-8"))


def hold_against_the_vocabulary(kind: str, described: dict[str, Any]) -> None:
    """Every term belongs to what it describes, and its value is of the range the W3C gives it."""
    plain = {"string": str, "boolean": bool, "count": int, "array": list, "any": object}
    for term, value in described.items():
        prefix, colon, _ = term.partition(":")
        if colon:
            assert prefix in VOCABULARY["prefixes"], term
            continue
        if term == "@context":
            assert value[0] == "http://www.w3.org/ns/csvw"
            continue
        found = VOCABULARY[kind][term]
        if found == "datatype":
            assert value in VOCABULARY["datatypes"], term
        elif found == "string[]":
            assert all(isinstance(one, str) for one in value), term
        elif found == "Column[]":
            for one in value:
                hold_against_the_vocabulary("Column", one)
        elif found in ("Schema", "Dialect"):
            hold_against_the_vocabulary(found, value)
        else:
            assert isinstance(value, plain[found]), term


def test_every_term_of_the_metadata_is_one_of_the_w3c_where_it_stands(melted: Path, tmp_path: Path) -> None:
    with Store.read(melted) as store:
        made = [export_melt(store, "2026-001", tmp_path), recompute_melt(store, "2026-001", tmp_path)]
    for one in made:
        document = json.loads(one.metadata.read_text("utf-8"))
        hold_against_the_vocabulary("Table", document)
        names = [column["name"] for column in document["tableSchema"]["columns"]]
        assert len(set(names)) == len(names)
        assert all(re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9_.]*", name) for name in names)  # section 5.6: a name is no `_x`
    with pytest.raises(KeyError):
        hold_against_the_vocabulary("Table", {"columns": []})  # it belongs to a schema


def test_the_table_turned_into_json_by_the_w3c_rules_has_the_recorded_figures(melted: Path, tmp_path: Path) -> None:
    """Conversion of another package after "Generating JSON from Tabular Data on the Web" (W3C, 17 December 2015)."""
    with Store.read(melted) as store:
        made = export_melt(store, "2026-001", tmp_path)
    rows = csvw.CSVW(str(made.metadata), validate=True).to_json(minimal=True)  # type: ignore[no-untyped-call]
    assert [row["melt_probe_temp_c"] for row in rows] == [500.0 + n * 0.125 for n in range(100)]
    assert {row["melt_probe_u_c"] for row in rows} == {2.5}
    assert sum("ambient_probe_temp_c" not in row for row in rows) == 20  # empty cells are left out by the rules


def test_the_csvw_validator_does_refuse_a_table_that_does_not_fit(melted: Path, tmp_path: Path) -> None:
    with Store.read(melted) as store:
        made = export_melt(store, "2026-001", tmp_path)
    made.csv.write_text(made.csv.read_text().replace(",500.125,", ",hot,", 1))
    with warnings.catch_warnings():
        warnings.simplefilter("always")  # the validator counts its own warnings
        reader = csvw.CSVW(str(made.metadata), validate=True)
        assert not reader.is_valid
    assert any("hot" in str(warning.message) for warning in reader.warnings)


def test_a_pour_reaches_from_the_melts_start_to_minutes_after_it(melted: Path, tmp_path: Path) -> None:
    with Store.read(melted) as store:
        made = export_pour(store, "2026-001-1", tmp_path, after_s=30.0)
        with pytest.raises(NotFound):
            export_pour(store, "2026-001-2", tmp_path)
    table = pandas.read_csv(made.csv)
    assert made.csv.name == "pour-2026-001-1.csv"
    assert table["elapsed_s"].min() == 0.0
    assert table["elapsed_s"].max() == 35.0


def test_formulas_are_harmless_wherever_a_persons_words_stand(melted: Path, tmp_path: Path) -> None:
    with Store.read(melted) as store:
        made = export_melt(store, "2026-001", tmp_path)
        export_pours(store.pours(), tmp_path / "pours.csv")
    for file in (made.csv, tmp_path / "pours.csv"):
        for row in csv.reader(file.read_text(encoding="utf-8").splitlines()):
            for cell in row:
                assert not re.match(r"[=+@\t\r]|-[^0-9.]", cell), cell
    (listed,) = pandas.read_csv(tmp_path / "pours.csv").to_dict("records")
    assert listed["mould"] == "'=HYPERLINK(1)"
    assert listed["lip_temp_c"] == 541.0
    marks = pandas.read_csv(made.csv)["mark"].dropna().tolist()
    assert marks[0] == said("export.began", melt="2026-001", alloy="ZA-27")
    assert said("export.poured", number=1, mould="=HYPERLINK(1)") in marks


@given(st.text(max_size=30))
def test_any_text_is_one_harmless_cell(text: str) -> None:
    cell = text_cell(text)
    (row,) = csv.reader([f"a,{cell},b"])
    assert len(row) == 3
    assert not row[1].startswith(("=", "+", "-", "@", "\t", "\r"))
    assert not any(ord(char) < 32 for char in row[1])


def test_a_tick_that_finds_two_probes_silent_leaves_two_reasons(
    database: Path, recording: Any, make: Maker, tmp_path: Path
) -> None:
    recorder = recording()
    recorder.put("crucible", *make.start(100.0, make.plan()))
    recorder.put("crucible", *make.sample(101.0, 500.0))
    make.seq += 1
    tick = TickIn(seq=make.seq, mono_s=105.0, utc_s=UTC_S + 5.0)
    lost = [
        Reading(probe, None, Reason.LINK_LOST, 105.0, UTC_S + 5.0, RawKind.EMF_UV)
        for probe in ("melt_probe", "chamber_probe")
    ]
    recorder.put("crucible", tick, lost)
    recorder.put("crucible", *make.end(106.0))
    recorder.stop()
    with Store.read(database) as store:
        made = export_melt(store, "2026-001", tmp_path)
        points = store.melt_trace("2026-001", 100).probes
    table = pandas.read_csv(made.csv)
    assert table["melt_probe_reason"].fillna("").tolist() == ["ok", "link_lost", ""]
    assert table["chamber_probe_reason"].fillna("").tolist() == ["", "link_lost", ""]
    assert table["mark"].fillna("").tolist()[-1] == said("export.ended", how=said("ending.how", ending=NOTHING_POURED))
    assert [point.max_c for point in points["chamber_probe"]] == [None]


def test_numbers_are_never_neutralised() -> None:
    assert number_cell(-3.25, 2) == "-3.25"
    assert number_cell(None, 2) == ""


def test_the_same_records_give_the_same_bytes(melted: Path, tmp_path: Path) -> None:
    with Store.read(melted) as store:
        one = export_melt(store, "2026-001", tmp_path / "one")
        two = export_melt(store, "2026-001", tmp_path / "two")
        text = melt_csv(store, "2026-001")
    assert one.csv.read_bytes() == two.csv.read_bytes() == text.encode()
    assert one.metadata.read_bytes() == two.metadata.read_bytes()


def test_a_disk_that_fills_leaves_nothing_half_and_the_old_export_whole(tmp_path: Path) -> None:
    old = tmp_path / "a.csv"
    old.write_text("whole\n")

    def fills(file: TextIO) -> None:
        file.write("half")
        file.flush()
        raise OSError(28, "No space left on device")

    with pytest.raises(StoreError, match="No space left"):
        write_whole([(tmp_path / "b.json", lambda file: None), (old, fills)])
    assert old.read_text() == "whole\n"
    assert [file.name for file in tmp_path.iterdir()] == ["a.csv"]


def test_a_link_is_followed_and_what_is_no_plain_file_is_left_alone(tmp_path: Path) -> None:
    target, link, pipe = tmp_path / "shop.csv", tmp_path / "link.csv", tmp_path / "pipe"
    target.write_text("before", encoding="utf-8")
    link.symlink_to(target)
    os.mkfifo(pipe)

    def after(file: TextIO) -> None:
        file.write("after")

    write_whole([(link, after)])
    assert (link.is_symlink(), target.read_text(encoding="utf-8")) == (True, "after")
    with refused(BadInput, "error.no_plain_file"):
        write_whole([(pipe, after)])
    assert pipe.is_fifo()
