"""A chart is what its description says: figures lie where the axis has them, gaps stay gaps, labels give way.

Well-formedness is checked by expat (an XML 1.0 parser).
"""

import math
from itertools import pairwise
from xml.etree import ElementTree

import pytest

from pourcall.contract.units import Unit, from_c
from pourcall.reports.drawings import chart
from pourcall.reports.drawings.chart_svg import chart_svg

FIELD = chart.Axis(0.0, 100.0, ((0.0, "0"), (50.0, "50"), (100.0, "100")))


def drawn(**parts: object) -> ElementTree.Element:
    one = {"name": "It", "x": FIELD, "y": FIELD, **parts}
    return ElementTree.fromstring(chart_svg(chart.Chart(**one)))  # type: ignore[arg-type]


def named(root: ElementTree.Element, tag: str) -> list[ElementTree.Element]:
    return [element for element in root.iter() if element.tag.rpartition("}")[2] == tag]


def texts(root: ElementTree.Element) -> dict[str, ElementTree.Element]:
    return {str(element.text): element for element in named(root, "text")}


@pytest.mark.parametrize("unit", list(Unit))
def test_a_temperature_axis_has_round_figures_of_the_readers_unit_at_their_place(unit: Unit) -> None:
    axis = chart.temperature_axis([376.0, 484.0], unit)
    assert axis.low < 376.0 < 484.0 < axis.high
    assert len(axis.marks) >= 3
    for at_c, figure in axis.marks:
        assert float(figure) % 5.0 == 0.0
        assert from_c(at_c, unit) == pytest.approx(float(figure), abs=1e-9)


@pytest.mark.parametrize(("low", "high"), [(0.0, 1.0), (-4.6, 0.3), (-420.0, 120.0), (20.0, 1500.0), (7.0, 7.1)])
def test_ticks_are_even_round_inside_and_as_many_as_asked_for(low: float, high: float) -> None:
    found = chart.ticks(low, high, 8.0)
    assert 2 <= len(found) <= 9
    assert low - 1e-9 <= found[0] <= found[-1] <= high + 1e-9
    steps = [b - a for a, b in pairwise(found)]
    assert steps == pytest.approx([steps[0]] * len(steps))
    mantissa = steps[0] / 10.0 ** math.floor(math.log10(steps[0]) + 1e-9)
    assert any(mantissa == pytest.approx(round_one) for round_one in (1.0, 2.0, 2.5, 5.0))


def test_a_curve_keeps_its_gaps_and_its_band_and_passes_where_the_figures_are() -> None:
    curve = chart.Curve([[(0.0, 0.0, -5.0, 5.0), (50.0, 50.0, 45.0, 55.0)], [(60.0, 60.0, 60.0, 60.0)], []])
    root = drawn(curves=[curve])
    (line,) = named(root, "polyline")
    (band,) = named(root, "polygon")
    (single,) = [one for one in named(root, "circle") if one.attrib["r"] == "1.6"]  # a reading alone is seen too
    (_, (x, y)) = [tuple(map(float, pair.split(","))) for pair in line.attrib["points"].split()]
    figure = {(one.attrib["text-anchor"], one.text): one for one in named(root, "text")}
    assert x == pytest.approx(float(figure["middle", "50"].attrib["x"]), abs=0.11)
    font = 14.0
    assert y == pytest.approx(float(figure["end", "50"].attrib["y"]) - 0.35 * font, abs=0.11)
    assert len(band.attrib["points"].split()) == 4
    assert float(single.attrib["cx"]) > x


def test_on_a_logarithmic_axis_a_factor_of_ten_is_always_as_far() -> None:
    decades = chart.Axis(0.01, 100.0, tuple((10.0**n, f"{10.0**n:g}") for n in range(-2, 3)), log=True)
    root = drawn(y=decades, x=chart.Axis(0.0, 1.0, ()))
    heights = [float(texts(root)[f"{10.0**n:g}"].attrib["y"]) for n in range(-2, 3)]
    apart = [a - b for a, b in pairwise(heights)]
    assert apart == pytest.approx([apart[0]] * 4, abs=0.11)
    assert apart[0] > 20.0


def test_labels_of_lines_side_by_side_do_not_lie_on_each_other() -> None:
    uprights = [chart.Upright(40.0 + number, f"pour {number}, a long name") for number in range(5)]
    root = drawn(uprights=uprights)
    rows = [float(texts(root)[one.label].attrib["y"]) for one in uprights]
    assert len(set(rows)) == 5
    assert min(abs(a - b) for a, b in pairwise(sorted(rows))) >= 14.0


def test_numbers_above_the_field_stand_in_rows_and_one_without_room_is_a_line_without_a_number() -> None:
    flags = [chart.Flag(50.0, number, loud=number == 1) for number in (1, 2, 3)]
    root = drawn(flags=flags, flag_rows=2)
    badges = [one for one in named(root, "circle") if one.attrib["r"] == "9"]
    assert len(badges) == 1  # the loud one is square
    assert {"1", "2"} <= set(texts(root))
    assert "3" not in texts(root)
    assert len([one for one in named(root, "path") if one.attrib["stroke-width"] == "1"]) >= 3


def test_a_figure_outside_the_field_is_left_out_and_a_long_entry_takes_two_lines() -> None:
    root = drawn(
        marks=[chart.Mark(50.0, 130.0, title="above"), chart.Mark(50.0, 40.0, title="in it")],
        listing=[chart.Entry("word " * 60)],
        legend=[chart.Entry(f"a probe of the name {number}", look=chart.Look()) for number in range(7)],
    )
    assert [one.text for one in named(root, "title")] == ["It", "in it"]
    assert len([text for text in texts(root) if text.startswith("word")]) == 2
    _, _, wide, high = (float(word) for word in root.attrib["viewBox"].split())
    for one in named(root, "text"):
        assert 0.0 <= float(one.attrib["x"]) <= wide
        assert 0.0 <= float(one.attrib["y"]) <= high
