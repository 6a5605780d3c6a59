"""The engine over real traces with couples that failed on the way: no number, no doubt hidden, no pour called.

Traces: `tests/data/traces/PROVENANCE.md` (NIST). Where a couple is healthy is judged from the column itself: steps of
more than 40 degC in 15 s are no steel beam's.
"""

import csv
from collections import Counter
from collections.abc import Iterator
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple

import pytest

from pourcall.cli.main import main
from pourcall.contract.events import AlarmChanged, CallChanged, CallKind
from pourcall.contract.inputs import Input, TickIn
from pourcall.contract.plan import MeltPlan, MouldRequest
from pourcall.contract.reading import Reading
from pourcall.contract.status import Reason, Status
from pourcall.drivers.trace_file import Column, TraceFile, decode, read_trace
from pourcall.engine.core import Engine
from pourcall.metal.alloys.sheet import SheetLibrary, load_sheets
from pourcall.metal.windows import melt_plan
from pourcall.replay import traces as replay
from tests.told import tells

FOLDER = Path(__file__).parents[1] / "data" / "traces"
TEST_2, TEST_3, ISO = "E119_Compartment_Test_2", "E119_Compartment_Test_3", "ISONG3"
DAMAGED = {(TEST_2, "BeamTC3"): 570.0, (TEST_3, "BeamTC5"): 2640.0}  # and the time from which they fail
STEP_C = 40.0
SENSOR_ALARMS = {
    "sensor_open",
    "sensor_short",
    "no_value",
    "over_range",
    "dead_bus",
    "implausible",
    "intermittent",
    "cold_junction",
    "unchanging",
    "late_data",
}
SPREAD = ("lead", "za27", "a356", "ag925", "c87300")  # from cold to hot, with a tick a second as live
SOLDERS = {"bi58sn42", "sn63pb37", "sn50pb50", "pewter"}  # liquid at the 240 degC to which the damaged couple falls
COARSE_TICK_S = 15  # where every alloy or every column is run: as many ticks as rows


class Told(NamedTuple):
    readings: list[Reading]
    alarms: Counter[str]
    pours_at_s: list[float]


@cache
def trace_of(name: str) -> TraceFile:
    return read_trace(decode((FOLDER / f"{name}.csv").read_bytes()), name=name)


@cache
def library() -> SheetLibrary:
    return load_sheets(None)


def alloys() -> list[str]:
    """All of them, from the coldest to the hottest."""
    return [sheet.key for sheet in sorted(library().all(), key=lambda sheet: sheet.pour_min.value)]


def plan_of(alloy: str) -> MeltPlan:
    return melt_plan("replay", library().get(alloy), 1.0, [MouldRequest(name="mould", loss_c=20.0)])


def sparse(items: Iterator[Input], tick_s: int) -> Iterator[Input]:
    return (item for item in items if type(item) is not TickIn or int(item.mono_s) % tick_s == 0)


def told(name: str, column: Column, alloy: str, *, tick_s: int = 1) -> Told:
    trace = trace_of(name)
    setup = replay.Setup(unit=column.unit or "degC")
    engine = Engine(replay.config_of(trace, setup))
    found = Told([], Counter(), [])
    for item in sparse(replay.inputs_of(trace, column, plan_of(alloy), setup), tick_s):
        for output in engine.handle(item):
            if isinstance(output, Reading):
                found.readings.append(output)
            elif isinstance(output, AlarmChanged) and output.alarm.active:
                found.alarms[output.alarm.kind] += 1
            elif isinstance(output, CallChanged) and output.call.kind is CallKind.POUR and output.how == "raised":
                found.pours_at_s.append(output.mono_s)
    return found


def check_every_row(found: Told, column: Column) -> None:
    """One reading for each row; a number exactly where there is one, and never beside BAD."""
    assert len(found.readings) == len(column.values)
    for reading, value in zip(found.readings, column.values, strict=True):
        assert (reading.temp_c is None) == (reading.status is Status.BAD)
        if value is None:
            assert reading.reason is Reason.NO_VALUE
        elif reading.temp_c is not None:
            assert reading.temp_c == pytest.approx(value, abs=1e-9)


def check_failing(found: Told, onset_s: float) -> None:
    after = [reading for reading in found.readings if reading.at_mono_s >= onset_s]
    assert after
    assert [reading.at_mono_s for reading in after if reading.status is Status.GOOD] == []
    assert [at_s for at_s in found.pours_at_s if at_s >= onset_s] == []
    assert found.alarms["intermittent"] or found.alarms["implausible"]


def test_the_onsets_are_where_the_columns_begin_to_jump() -> None:
    for (name, couple), onset_s in DAMAGED.items():
        trace = trace_of(name)
        values = trace.column(couple).values
        jumps = [
            at_s
            for at_s, (before, after) in zip(trace.times_s[1:], pairwise(values), strict=True)
            if before is not None and after is not None and abs(after - before) > STEP_C
        ]
        assert jumps[0] == onset_s
    assert trace_of(TEST_3).column("BeamTC5").texts == 50


@pytest.mark.parametrize(("name", "couple"), DAMAGED, ids=lambda part: part)
def test_a_failing_couple_is_doubted_from_its_onset_and_pours_nothing(name: str, couple: str) -> None:
    column = trace_of(name).column(couple)
    for alloy in SPREAD:
        found = told(name, column, alloy)
        check_every_row(found, column)
        check_failing(found, DAMAGED[name, couple])


@pytest.mark.parametrize("first", [0, pytest.param(1, marks=pytest.mark.long), pytest.param(2, marks=pytest.mark.long)])
@pytest.mark.parametrize(("name", "couple"), DAMAGED, ids=lambda part: part)
def test_no_alloy_is_called_to_pour_by_a_failing_couple(name: str, couple: str, first: int) -> None:
    column = trace_of(name).column(couple)
    assert len(alloys()) == 32
    for alloy in alloys()[first::3]:
        check_failing(told(name, column, alloy, tick_s=COARSE_TICK_S), DAMAGED[name, couple])


@pytest.mark.parametrize("alloy", sorted(SOLDERS))
def test_a_couple_that_falls_to_where_solder_is_liquid_is_doubted_too(alloy: str) -> None:
    column = trace_of(TEST_3).column("BeamTC5")
    check_failing(told(TEST_3, column, alloy), DAMAGED[TEST_3, "BeamTC5"])


def columns_in_turn() -> list[tuple[str, Column, str]]:
    """Every column of every fire trace, each with the alloy that is next in turn."""
    keys = alloys()
    columns = [(name, column) for name in (TEST_2, TEST_3, ISO) for column in trace_of(name).candidates()]
    assert len(columns) > 90
    return [(name, column, keys[number % len(keys)]) for number, (name, column) in enumerate(columns)]


def test_columns_with_alloys_in_turn_give_one_honest_reading_a_row() -> None:
    for name, column, alloy in columns_in_turn()[::4]:
        check_every_row(told(name, column, alloy, tick_s=COARSE_TICK_S), column)


@pytest.mark.long
def test_every_column_gives_one_honest_reading_a_row() -> None:
    for name, column, alloy in columns_in_turn():
        check_every_row(told(name, column, alloy, tick_s=COARSE_TICK_S), column)


def test_error_text_and_nan_cells_have_no_number_and_say_so_once() -> None:
    nan = next(column for column in trace_of(ISO).columns if column.name == "TSHFRFL")
    found = told(ISO, nan, "za27", tick_s=COARSE_TICK_S)
    reasons = Counter(reading.reason for reading in found.readings)
    assert reasons[Reason.NO_VALUE] == nan.texts > 400
    assert found.alarms["no_value"] == 1


@pytest.mark.parametrize("alloy", ["sn63pb37", "za27", "c87300"])
def test_healthy_beam_couples_raise_no_sensor_alarm(alloy: str) -> None:
    healthy = 0
    for name in (TEST_2, TEST_3):
        trace = trace_of(name)
        for column in trace.columns:
            values = [value for value in column.values if value is not None]
            if not column.name.startswith("BeamTC") or len(values) < len(column.values):
                continue
            if max(abs(b - a) for a, b in pairwise(values)) > STEP_C:
                continue  # no steel beam moves so
            healthy += 1
            found = told(name, column, alloy, tick_s=COARSE_TICK_S)
            assert not set(found.alarms) & SENSOR_ALARMS, (name, column.name, found.alarms)
            assert Status.BAD not in {reading.status for reading in found.readings}
    assert healthy >= 12


def test_a_cell_without_a_number_is_empty_in_the_table_and_its_reason_stands_beside_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("POURCALL_HOME", str(tmp_path / "home"))
    table = tmp_path / "table.csv"
    words = ["replay", str(FOLDER / f"{TEST_3}.csv"), "--alloy", "za27", "--column", "BeamTC5", "--csv", str(table)]
    assert main(words) == 0
    said = capsys.readouterr().out
    assert tells(said, "replay.texts", count=50)
    rows = list(csv.DictReader(table.read_text().splitlines()))
    source = trace_of(TEST_3).column("BeamTC5").values
    assert len(rows) == len(source) == 362
    for row, value in zip(rows, source, strict=True):
        assert (row["temp_c"] == "") == (row["status"] == "bad")
        if value is None:
            assert (row["temp_c"], row["u_c"], row["reason"]) == ("", "", "no_value")
        if float(row["elapsed_s"]) >= 2640.0:
            assert row["status"] in ("uncertain", "bad")
        if float(row["elapsed_s"]) > 2641.0:  # judged on the tick after the row
            assert row["metal_c"] == ""
    assert not {"nan", "None", "inf"} & {cell for row in rows for cell in row.values()}
