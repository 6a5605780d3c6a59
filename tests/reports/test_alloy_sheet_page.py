"""An alloy sheet as it is shown: every value with its source, in the reader's unit; and the rows of a listing."""

import pytest

from pourcall.contract.units import Unit, in_unit
from pourcall.metal.alloys.sheet import load_sheets, load_sources
from pourcall.metal.alloys.sheet_sentences import figures_marked
from pourcall.reports.pages.alloy_sheet import list_rows, render_sheet
from pourcall.texts import word
from tests.told import said


@pytest.mark.parametrize("unit", list(Unit))
def test_a_sheet_is_shown_with_every_value_its_source_and_what_others_say(unit: Unit) -> None:
    sources = load_sources()
    for sheet in load_sheets().all():
        text = render_sheet(sheet, sources, unit)
        whole = " ".join(text.split())
        assert max(len(line) for line in text.splitlines()) <= 110
        for key, value in sheet.values():
            assert word("quantity", key) in whole
            stands_for = in_unit(figures_marked(sources[value.source]), unit)
            assert stands_for[:55] in whole
        for share in sheet.composition.values():
            assert in_unit(figures_marked(sources[share.source]), unit)[:55] in whole
        assert sheet.sheet_hash not in text
        assert unit is Unit.C or "degC" not in text
        assert unit is not Unit.F or "°C" not in text


@pytest.mark.parametrize(
    ("unit", "figures"),
    [(Unit.C, ("484 °C", "508")), (Unit.F, ("903.2 °F", "946")), (Unit.K, ("757.1 K", "781"))],
)
def test_the_liquidus_and_what_others_say_of_it_are_shown_in_the_readers_unit(
    unit: Unit, figures: tuple[str, ...]
) -> None:
    # degF = degC * 9/5 + 32 and K = degC + 273.15: SI Brochure, 9th edition, 2.3.1
    za27 = render_sheet(load_sheets().get("za27"), load_sources(), unit)
    assert all(figure in za27 for figure in figures)


def test_a_source_nobody_explains_is_said_to_stand_as_written_in_the_sheet() -> None:
    text = render_sheet(load_sheets().get("za27"), {})
    assert said("alloy.page.as_written") in " ".join(text.split())


def test_rows_for_a_listing_are_plain() -> None:
    rows = {row["key"]: row for row in list_rows(load_sheets().all())}
    assert set(rows) == set(load_sheets().keys())
    assert rows["c85700"]["pot_max_c"] == pytest.approx(1093.0)
    assert rows["za27"]["liquidus_c"] == 484.0
