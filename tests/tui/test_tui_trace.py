"""The trace's points: thinning keeps peaks, a gap stays a gap, another run begins anew."""

import contextlib
import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pourcall.contract.api import TracePoint
from pourcall.contract.errors import BadInput
from pourcall.texts import say
from pourcall.tui.dialogs.start_melt import parse_charge_kg, parse_moulds
from pourcall.tui.drawing.trace import TraceBuffer, limits_c, span_for
from pourcall.tui.drawing.widgets import nice_ticks


def filled(values: list[float | None], step_s: float = 1.0) -> TraceBuffer:
    """A buffer of values, one each `step_s`."""
    buffer = TraceBuffer()
    for n, value in enumerate(values):
        buffer.add(n * step_s, value)
    return buffer


def test_thinning_keeps_the_highest_and_lowest_value() -> None:
    values: list[float | None] = [500.0 + (n % 7) for n in range(1000)]
    values[437], values[777] = 900.0, 20.0
    (run,) = filled(values).segments(999.0, 999.0, 50)
    assert max(temp_c for _, temp_c in run) == 900.0
    assert min(temp_c for _, temp_c in run) == 20.0
    assert len(run) <= 2 * 52


@given(st.lists(st.one_of(st.none(), st.floats(0, 1300)), min_size=1, max_size=300), st.integers(1, 80))
def test_no_line_is_drawn_over_time_without_a_number(values: list[float | None], buckets: int) -> None:
    segments = filled(values).segments(float(len(values) - 1), float(len(values)), buckets)
    for run in segments:
        assert all(a[0] <= b[0] for a, b in itertools.pairwise(run))
        first, last = (round(run[n][0] * 60 + len(values) - 1) for n in (0, -1))
        assert all(value is not None for value in values[first : last + 1])
    known = [value for value in values if value is not None]
    drawn = [temp_c for run in segments for _, temp_c in run]
    assert bool(known) == bool(drawn)
    if known:
        assert (min(drawn), max(drawn)) == (min(known), max(known))


def test_time_without_points_is_a_gap() -> None:
    buffer = filled([500.0] * 60)
    buffer.add(120.0, 510.0)
    buffer.add(121.0, 510.0)
    assert len(buffer.segments(121.0, 600.0, 200)) == 2


def test_the_daemons_trace_and_what_came_since_are_one_curve() -> None:
    buffer = filled([500.0] * 30)
    buffer.replace([TracePoint(float(n), 400.0, 401.0) for n in range(20)])
    assert [point.mono_s for point in buffer.points] == [float(n) for n in range(30)]
    assert buffer.points[19].min_c == 400.0
    assert buffer.points[20].min_c == 500.0


def test_a_clock_that_begins_anew_is_another_run() -> None:
    buffer = filled([500.0] * 30)
    buffer.add(0.0, 20.0)
    assert len(buffer.points) == 1


def test_it_holds_an_hour_and_not_more() -> None:
    buffer = filled([500.0] * 9000)
    assert len(buffer.points) <= 3600 + 64


@pytest.mark.parametrize(("age_s", "span_s"), [(0.0, 600.0), (700.0, 1200.0), (2000.0, 2400.0), (9000.0, 3600.0)])
def test_the_picture_shows_ten_minutes_at_least_and_an_hour_at_most(age_s: float, span_s: float) -> None:
    assert span_for([TracePoint(0.0, 1.0, 1.0)], age_s) == span_s


def test_the_window_is_in_the_picture_when_the_metal_comes_near() -> None:
    low_c, high_c = limits_c([[(0.0, 480.0), (1.0, 490.0)]], (529.0, 559.0))
    assert low_c < 480.0
    assert high_c > 559.0
    assert limits_c([[(0.0, 20.0)]], (529.0, 559.0))[1] < 100.0


@given(st.floats(-300, 2500), st.floats(1, 2000), st.integers(2, 6))
def test_ticks_are_round_few_and_inside(low: float, width: float, most: int) -> None:
    ticks = nice_ticks(low, low + width, most=most)
    assert len(ticks) <= most
    assert all(low <= tick <= low + width and tick == round(tick) for tick in ticks)


def test_moulds_are_read_as_a_person_types_them() -> None:
    one, two, three = parse_moulds("2x cleat 0.4kg 6mm, bow fairlead 941-1004F")
    assert (one.name, two.name, one.setup, one.mass_kg, one.thinnest_mm) == ("cleat 1", "cleat 2", "cleat", 0.4, 6.0)
    assert three.name == "bow fairlead"
    assert three.lip_min_c == pytest.approx(505.0)  # 941 degF
    assert three.lip_max_c == pytest.approx(540.0)  # 1004 degF


@pytest.mark.parametrize(
    ("text", "kg", "mm"),
    [
        ("cleat 400g 1/4in", 0.4, 6.35),
        ("cleat 0,4kg 6mm", 0.4, 6.0),
        ("cleat 0.4 kg 6 mm", 0.4, 6.0),
        ("cleat 2lb 0.25in", 2 * 0.45359237, 6.35),
    ],
)
def test_a_mould_takes_every_unit_that_the_commands_take(text: str, kg: float, mm: float) -> None:
    (mould,) = parse_moulds(text)
    assert mould.mass_kg == pytest.approx(kg)
    assert mould.name == "cleat"
    assert mould.thinnest_mm == pytest.approx(mm)


@pytest.mark.parametrize("figure", ["0.4", "400", "6", "505-540"])
def test_a_figure_without_its_unit_is_refused_in_the_dialog_as_in_the_commands(figure: str) -> None:
    with pytest.raises(BadInput) as refused:
        parse_moulds(f"cleat {figure}, fairlead 0.3kg")
    assert figure.partition("-")[0] in refused.value.said(say)


def test_a_name_may_hold_figures_within_its_words() -> None:
    assert [mould.name for mould in parse_moulds("M8 boss 0.1kg, cleat-2 0.2kg")] == ["M8 boss", "cleat-2"]


@pytest.mark.parametrize(
    "text",
    ["0.4kg", "cleat 540-505C", "cleat 10-99999C", "99x cleat", "0x cleat", "cleat 500-540X", "cleat 0.4kg 0.5kg"],
)
def test_moulds_that_cannot_be_meant_are_refused(text: str) -> None:
    with pytest.raises(BadInput):
        parse_moulds(text)


def test_no_moulds_is_an_answer_too() -> None:
    assert parse_moulds(" , ") == ()


def test_a_decimal_comma_parts_no_moulds() -> None:
    told = parse_moulds("2x cleat 0,4kg 6,5mm,bow fairlead 505,5-540,5C, 1x knob")
    assert told == parse_moulds("2x cleat 0.4kg 6.5mm, bow fairlead 505.5-540.5C, 1x knob")
    assert [one.name for one in told] == ["cleat 1", "cleat 2", "bow fairlead", "knob"]
    assert parse_moulds("cleat-3,2x knob") == parse_moulds("cleat-3, 2x knob")


@pytest.mark.parametrize(("text", "kg"), [("1800g", 1.8), ("1,8 kg", 1.8), ("", 0.0), ("2kg", 2.0)])
def test_a_charge_is_read_with_its_unit(text: str, kg: float) -> None:
    assert parse_charge_kg(text) == kg


@pytest.mark.parametrize("text", ["-1kg", "0kg", "nan", "1e9kg", "12000kg", "two", "1.8"])
def test_a_charge_that_cannot_be_meant_is_refused(text: str) -> None:
    with pytest.raises(BadInput):
        parse_charge_kg(text)


@given(st.text(max_size=60))
def test_whatever_is_typed_is_read_or_refused(text: str) -> None:
    with contextlib.suppress(BadInput):
        assert all(mould.name for mould in parse_moulds(text))
    with contextlib.suppress(BadInput):
        assert 0.0 <= parse_charge_kg(text) <= 1000.0
