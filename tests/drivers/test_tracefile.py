"""Delimited files of any make, read as a person would read them; and nothing but a sentence where that fails."""

import math
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from pourcall.contract.errors import BadTrace, NotFound
from pourcall.contract.message import Message, tell
from pourcall.drivers.trace_file import TraceFile, decode, read_trace
from tests.told import refused

FOLDER = Path(__file__).parents[1] / "data" / "traces"


def rows_of(*lines: str) -> str:
    return "\n".join(lines) + "\n"


def values_of(trace: TraceFile, name: str) -> list[float | None]:
    return list(trace.column(name).values)


# -- layouts met in the wild -------------------------------------------------------------------------------------------


def test_a_unit_row_under_the_header_gives_units_and_is_no_data() -> None:
    trace = read_trace(rows_of("Time,TC1,Flow", "min,F,l/s", "0,70.5,1", "0.5,75.5,2", "1,80.5,3"))
    assert trace.times_s == (0.0, 30.0, 60.0)
    assert (trace.column("tc1").unit, trace.column("Flow").unit) == ("degF", "l/s")
    assert [column.name for column in trace.candidates()] == ["TC1"]


@pytest.mark.parametrize(
    ("title", "unit"),
    [
        ("temp [C]", "degC"),
        ("temp_F", "degF"),
        ("Probe (°C)", "degC"),
        ("metal K", "K"),
        ("emf_uv", "uV"),
        ("emf [mV]", "mV"),
        ("V couple µV", "uV"),
        ("TC1", ""),
    ],
)
def test_a_unit_in_the_name_is_understood(title: str, unit: str) -> None:
    trace = read_trace(rows_of(f"time;{title}", "0;20", "1;60", "2;90"))
    assert trace.columns[0].unit == unit


def test_without_a_header_columns_have_numbers_for_names() -> None:
    trace = read_trace(rows_of("0,20.5", "1,21.5", "2,23.5", "3,24.5"))
    assert trace.time_column == "column 1"
    assert values_of(trace, "column 2") == [20.5, 21.5, 23.5, 24.5]


@pytest.mark.parametrize("separator", [";", "\t", " ", "|"])
def test_decimal_commas_are_numbers_whatever_separates_the_cells(separator: str) -> None:
    lines = [separator.join(cells) for cells in (("t", "temp"), ("0,0", "20,5"), ("0,5", "21,25"), ("1,0", "-3,5"))]
    trace = read_trace(rows_of(*lines))
    assert trace.times_s == (0.0, 0.5, 1.0)
    assert values_of(trace, "temp") == [20.5, 21.25, -3.5]


def test_blank_separated_columns_may_be_padded() -> None:
    trace = read_trace(rows_of("  time    temp", "   0.0    20.5", "   1.0   120.5", "  10.0  1120.5"))
    assert values_of(trace, "temp") == [20.5, 120.5, 1120.5]


def test_quotes_comments_and_empty_lines_are_no_data() -> None:
    trace = read_trace('# a logger\n\n"time","temp C"\n"0","20"\n\n"1","30"\n# pause\n"2","40"\n')
    assert values_of(trace, "temp C") == [20.0, 30.0, 40.0]


def test_separators_within_quotes_part_no_cells_and_the_names_of_the_columns_stay() -> None:
    """As our own exports have it: more is said of their first row than of any other."""
    trace = read_trace('elapsed_s,temp_c,mark\n0,20,"melt began; note: two cleats, moulds warm, dry"\n1,30,\n2,40,\n')
    assert (trace.time_column, values_of(trace, "temp_c")) == ("elapsed_s", [20.0, 30.0, 40.0])


def test_iso_stamps_give_elapsed_seconds_and_the_true_beginning() -> None:
    began = datetime(2026, 5, 2, 8, 10, tzinfo=UTC)
    lines = [f"{(began + timedelta(seconds=2.5 * i)).isoformat()},{20 + i}" for i in range(4)]
    trace = read_trace(rows_of("timestamp,temp", *lines))
    assert trace.times_s == pytest.approx((0.0, 2.5, 5.0, 7.5))
    assert trace.began_utc_s == began.timestamp()


def test_a_zone_in_a_stamp_is_obeyed() -> None:
    stamps = ("2026-05-02T10:10:00+02:00", "2026-05-02T08:10:01Z", "2026-05-02 10:10:02+02:00")
    trace = read_trace(rows_of("time,temp", *(f"{stamp},{20 + i}" for i, stamp in enumerate(stamps))))
    assert trace.times_s == (0.0, 1.0, 2.0)
    assert trace.began_utc_s == datetime(2026, 5, 2, 8, 10, tzinfo=UTC).timestamp()


def test_clock_times_run_on_over_midnight() -> None:
    trace = read_trace(rows_of("time,temp", "23:59:50,20", "23:59:59.5,21", "00:00:01,22", "00:00:02,23"))
    assert trace.times_s == (0.0, 9.5, 11.0, 12.0)
    assert trace.began_utc_s is None


def test_repeated_and_backward_times_are_left_out_and_counted() -> None:
    trace = read_trace(
        rows_of("time,temp", *(f"{t},{20 + t}" for t in range(300)), "299,1", "150,2", "xx,3", ",4", "300,320")
    )
    assert trace.dropped_rows == 4
    assert trace.times_s == tuple(float(t) for t in range(301))
    assert values_of(trace, "temp")[-2:] == [319.0, 320.0]


def test_stamps_of_whole_seconds_that_come_twice_are_still_the_time() -> None:
    trace = read_trace(rows_of("n,time,temp", *(f"{i},08:10:{i // 2:02d},{20 + i}" for i in range(60))))
    assert trace.time_column == "time"
    assert trace.times_s == tuple(float(t) for t in range(30))
    assert trace.dropped_rows == 30


def test_a_temperature_called_t_is_not_taken_for_the_time() -> None:
    trace = read_trace(rows_of("n,T", *(f"{i},{20 + i // 2}" for i in range(60))))
    assert (trace.time_column, trace.columns[0].name) == ("n", "T")


@pytest.mark.parametrize(
    ("encoding", "mark"),
    [
        ("utf-8", b""),
        ("utf-8", b"\xef\xbb\xbf"),
        ("utf-16-le", b"\xff\xfe"),
        ("utf-16-be", b"\xfe\xff"),
        ("latin-1", b""),
    ],
)
def test_every_usual_encoding_gives_the_same_columns(encoding: str, mark: bytes) -> None:
    data = mark + rows_of("time,Temp °C", "0,20", "1,30", "2,40").encode(encoding)
    trace = read_trace(decode(data))
    assert (trace.time_column, trace.columns[0].name, trace.columns[0].unit) == ("time", "Temp °C", "degC")


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_every_line_end_is_one(end: str) -> None:
    assert read_trace(end.join(("time,temp", "0,20", "1,30", "2,40"))).times_s == (0.0, 1.0, 2.0)


def test_cells_that_are_no_number_are_counted_apart_from_empty_ones() -> None:
    cells = ("20", "NaN", "#DIV/0!", "", "inf", "1_000", "25")
    trace = read_trace(rows_of("time,temp", *(f"{t},{cell}" for t, cell in enumerate(cells))))
    column = trace.column("temp")
    assert column.values == (20.0, None, None, None, None, None, 25.0)
    assert (column.texts, column.empty) == (4, 1)


def test_short_and_long_rows_lose_nothing_that_is_there() -> None:
    trace = read_trace(rows_of("time,a,b", "0,1,2", "1,2", "2,3,4,99", "3,4,5"))
    assert values_of(trace, "a") == [1.0, 2.0, 3.0, 4.0]
    assert values_of(trace, "b") == [2.0, None, 4.0, 5.0]
    assert values_of(trace, "column 4") == [None, None, 99.0, None]


def test_twins_among_the_names_can_be_told_apart() -> None:
    trace = read_trace(rows_of("time,temp,temp", "0,1,4", "1,2,5", "2,3,6"))
    assert [column.name for column in trace.columns] == ["temp", "temp 2"]
    assert values_of(trace, "temp 2") == [4.0, 5.0, 6.0]


def test_two_hundred_thousand_rows_are_read_and_none_is_lost() -> None:
    text = "time,temp\n" + "".join(f"{t * 0.1:.1f},{20 + t % 1000}\n" for t in range(200_000))
    trace = read_trace(text)
    assert len(trace.times_s) == len(trace.columns[0].values) == 200_000
    assert trace.dropped_rows == 0


@pytest.mark.parametrize(
    ("name", "rows", "span_s"),  # PROVENANCE.md, counted with wc and read off first and last line
    [("E119_Compartment_Test_2", 207, 3090.0), ("E119_Compartment_Test_3", 362, 5415.0), ("ISONG3", 919, 4590.0)],
)
def test_real_files_are_read_whole(name: str, rows: int, span_s: float) -> None:
    trace = read_trace(decode((FOLDER / f"{name}.csv").read_bytes()), name=name)
    assert (trace.time_column, len(trace.times_s), trace.times_s[-1], trace.dropped_rows) == ("Time", rows, span_s, 0)
    assert not {"HG1", "HRR", "O2Front", "COFront"} & {column.name for column in trace.candidates()}


# -- what cannot be read ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", tell("trace.few_lines", count=0)),
        ("time,temp\n", tell("trace.few_lines", count=1)),
        ("time,temp\n0,20\n1,30\n", tell("trace.few_rows", count=2)),
        ("a,b\nx,y\nz,w\nu,v\n", tell("trace.few_rows", count=0)),
        ("time,temp\n0,x\n1,y\n2,z\n", tell("trace.no_numbers")),
        ("temp,level\n20,5\n20,5\n20,5\n", tell("trace.no_time")),
    ],
)
def test_a_file_without_usable_columns_is_refused_with_its_name_and_a_remedy(text: str, told: Message) -> None:
    with refused(BadTrace, told.name, **told.facts) as caught:
        read_trace(text, name="bench.csv")
    assert caught.value.where == "bench.csv"
    assert caught.value.remedy
    assert caught.value.exit_code == 2


def test_a_column_that_is_not_there_is_answered_with_those_that_are() -> None:
    text = rows_of("time,temp,flow", "0,20,1", "1,30,1", "2,40,1")
    with pytest.raises(NotFound, match="temp, flow"):
        read_trace(text).column("tmep")
    with pytest.raises(NotFound, match="time, temp, flow"):
        read_trace(text, time_column="tiem")


def test_a_named_time_column_is_taken_even_where_another_one_rises() -> None:
    text = rows_of("index,seconds,temp", "0,0,20", "1,10,30", "2,20,40")
    assert read_trace(text, time_column="index").times_s == (0.0, 1.0, 2.0)
    assert read_trace(text).times_s == (0.0, 10.0, 20.0)


# -- properties --------------------------------------------------------------------------------------------------------

FIGURES = st.one_of(st.none(), st.integers(-2000, 16000).map(lambda tenths: tenths / 10.0))


@st.composite
def tables(draw: st.DrawFn) -> tuple[list[float], list[list[float | None]]]:
    width, rows = draw(st.integers(1, 4)), draw(st.integers(4, 25))
    steps = draw(st.lists(st.integers(1, 50), min_size=rows, max_size=rows))
    times = [sum(steps[: at + 1]) / 4.0 for at in range(rows)]
    columns = [draw(st.lists(FIGURES, min_size=rows, max_size=rows)) for _ in range(width)]
    for column in columns:
        column[0] = 20.5  # something to read in each
    return times, columns


@settings(max_examples=150)
@given(
    table=tables(),
    separator=st.sampled_from([",", ";", "\t", "|"]),
    comma=st.booleans(),
    header=st.booleans(),
    units=st.booleans(),
    end=st.sampled_from(["\n", "\r\n"]),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "latin-1"]),
    gap=st.sampled_from(["", "NaN", "n/a"]),
)
def test_what_is_written_in_any_dialect_is_read_back(
    table: tuple[list[float], list[list[float | None]]],
    separator: str,
    comma: bool,
    header: bool,
    units: bool,
    end: str,
    encoding: str,
    gap: str,
) -> None:
    times, columns = table
    comma = comma and separator != ","

    def cell(value: float | None) -> str:
        text = gap if value is None else f"{value:.2f}"
        return text.replace(".", ",") if comma else text

    names = ["time", *(f"TC{at}" for at in range(len(columns)))]
    lines = [separator.join(names)] if header else []
    if header and units:
        lines.append(separator.join(["s", *("C" for _ in columns)]))
    lines += [separator.join(map(cell, row)) for row in zip(times, *columns, strict=True)]
    time_column = "time" if header else "column 1"
    trace = read_trace(decode(end.join(lines).encode(encoding)), time_column=time_column if header else "")
    assert trace.time_column == time_column
    assert trace.times_s == pytest.approx([t - times[0] for t in times])
    assert trace.dropped_rows == 0
    for at, values in enumerate(columns):
        read = values_of(trace, names[at + 1] if header else f"column {at + 2}")
        assert read == [None if value is None else pytest.approx(value) for value in values]


@settings(max_examples=400)
@given(st.one_of(st.text(), st.text("0123456789.,;:-\n\t eENaT", max_size=200), st.binary(max_size=200).map(decode)))
@example("0:99:99,1\n1:99:99,2\n2:00:00,3\n")
@example("9999-99-99 00:00:00,1\n" * 4)
@example("1e308,1\n1.5e308,2\n1.7e308,3\n")
@example("²,1\n³,2\n4,3\n5,4\n")
@example("a;b;c;d;e\n" + "0;1\n1;2\n2;3\n3;4\n")  # a header wider than any row
@example(";;;\n" * 6)
def test_no_text_at_all_raises_anything_but_a_sentence(text: str) -> None:
    try:
        trace = read_trace(text)
    except (BadTrace, NotFound):
        return
    assert all(a < b for a, b in zip(trace.times_s, trace.times_s[1:], strict=False))
    assert all(math.isfinite(at_s) for at_s in trace.times_s)
    assert all(len(column.values) == len(trace.times_s) for column in trace.columns)
    trace.candidates()
