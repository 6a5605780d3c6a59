"""The same rows as CSV, JSON lines and Parquet, opened by readers nobody here wrote (pandas, json, pyarrow).

Sources: RFC 8259 (JSON), RFC 4180 (CSV). pyarrow is optional; where it is missing the refusal is checked instead.
"""

import importlib.util
import json
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas
import pytest

from pourcall.contract.errors import BadInput, StoreError
from pourcall.contract.status import Reason
from pourcall.records.read.store import Store
from pourcall.reports.tables.csv_text import write_files, write_whole_bytes
from pourcall.reports.tables.export import export_melt, export_pour
from tests.told import refused, said

ARROW = importlib.util.find_spec("pyarrow") is not None


@pytest.fixture
def melted(database: Path, recording: Callable[..., Any], make: Any) -> Path:
    """Ten seconds of two probes with a fault; the mould's name is a formula and has a quote and a control character."""
    recorder = recording()
    mould = '=cmd|"x"\t\\'
    recorder.put("crucible", *make.start(100.0, make.plan(mould=mould)))
    for n in range(100):
        mono_s = round(100.0 + n * 0.1, 3)
        bad = n % 10 == 5
        recorder.put("crucible", *make.sample(mono_s, 500.0 + n * 0.125, u_c=2.5))
        if n % 10 != 3:
            second = make.sample(
                round(mono_s + 0.02, 3),
                None if bad else -3.25,
                probe="ambient",
                channel="1",
                reason=Reason.SENSOR_OPEN if bad else Reason.OK,
            )
            recorder.put("crucible", *second)
    recorder.put("crucible", *make.pour(105.0, mould=mould))
    recorder.put("crucible", *make.end(109.95))
    recorder.stop()
    return database


def test_json_lines_carry_the_same_columns_and_figures_as_the_csv(melted: Path, tmp_path: Path) -> None:
    with Store.read(melted) as store:
        table = export_melt(store, "2026-001", tmp_path)
        lines = export_melt(store, "2026-001", tmp_path, kind="jsonl")
    assert (lines.csv.name, lines.rows) == ("melt-2026-001.jsonl", table.rows)
    one = pandas.read_csv(table.csv)
    other = pandas.read_json(lines.csv, lines=True, precise_float=True)
    assert list(one.columns) == list(other.columns)
    for column in one.columns:
        if column != "mark":  # a CSV cell is made harmless for spreadsheets, JSON keeps what was typed
            assert one[column].isna().equals(other[column].isna()), column
            assert one[column].dropna().tolist() == other[column].dropna().tolist(), column


def test_every_line_is_one_object_with_nulls_where_there_is_no_number(melted: Path, tmp_path: Path) -> None:
    with Store.read(melted) as store:
        done = export_pour(store, "2026-001-1", tmp_path, kind="jsonl")
    rows = [json.loads(line) for line in done.csv.read_text("utf-8").splitlines()]
    assert len(rows) == done.rows
    assert len({tuple(row) for row in rows}) == 1
    assert rows[5]["ambient_temp_c"] is None
    assert (rows[5]["ambient_status"], rows[5]["ambient_reason"]) == ("bad", "sensor_open")
    assert rows[3]["ambient_status"] is None  # no reading at all
    assert rows[0]["ambient_temp_c"] == -3.25
    poured = said("export.poured", number=1, mould='=cmd|"x"\t\\')
    assert any(poured in (row["mark"] or "") for row in rows)


def test_the_same_record_gives_the_same_bytes(melted: Path, tmp_path: Path) -> None:
    with Store.read(melted) as store:
        first = export_melt(store, "2026-001", tmp_path / "a", kind="jsonl").csv.read_bytes()
        assert export_melt(store, "2026-001", tmp_path / "b", kind="jsonl").csv.read_bytes() == first


@pytest.mark.skipif(not ARROW, reason="pyarrow (the extra `parquet`) has no wheel for 32-bit ARM")
def test_parquet_is_read_back_by_arrow_with_types_and_times(melted: Path, tmp_path: Path) -> None:
    parquet = importlib.import_module("pyarrow.parquet")
    with Store.read(melted) as store:
        done = export_melt(store, "2026-001", tmp_path, kind="parquet")
        lines = export_melt(store, "2026-001", tmp_path, kind="jsonl")
    table = parquet.read_table(done.csv)
    rows = [json.loads(line) for line in lines.csv.read_text("utf-8").splitlines()]
    assert table.num_rows == done.rows == len(rows)
    assert str(table.schema.field("utc").type) == "timestamp[ms, tz=UTC]"
    assert str(table.schema.field("melt_probe_temp_c").type) == "double"
    for column in table.column_names:
        if column != "utc":
            assert table[column].to_pylist() == [row[column] for row in rows], column
    assert table["utc"].to_pylist()[0].timestamp() == 1_780_000_000.0


def test_parquet_without_pyarrow_says_what_to_install_and_writes_nothing(
    melted: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    monkeypatch.setitem(sys.modules, "pyarrow.parquet", None)
    with Store.read(melted) as store, refused(BadInput, "export.no_parquet"):
        export_melt(store, "2026-001", tmp_path / "out", kind="parquet")
    assert not (tmp_path / "out").exists()


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="/dev/full is a device of Linux")
def test_a_full_disk_leaves_no_half_file(tmp_path: Path) -> None:
    def fill(file: Any) -> None:
        with open("/dev/full", "wb", buffering=0) as full:  # the real error of a real full device
            full.write(b"x" * 4096)

    with pytest.raises(StoreError, match="No space left"):
        write_whole_bytes(tmp_path / "a.parquet", fill)
    assert os.listdir(tmp_path) == []


def test_of_several_texts_none_is_written_where_one_cannot_be(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file, not a folder")
    with pytest.raises(StoreError):
        write_files({tmp_path / "a.svg": "x", tmp_path / "taken" / "b.html": "y"})
    assert sorted(os.listdir(tmp_path)) == ["taken"]
