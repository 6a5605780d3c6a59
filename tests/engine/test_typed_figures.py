"""Figures a person types in. A handheld meter was in the metal; a panel is the furnace's own, never that."""

from typing import Any

import pytest

from pourcall.contract import inputs as inp
from pourcall.contract.events import Marked, PanelCompared
from pourcall.contract.reading import is_panel
from pourcall.engine.bath.dips import panel_pair
from tests.engine.conftest import Bench
from tests.engine.dipping import a_dip


@pytest.mark.parametrize("source", ["panel", "Panel", "furnace panel", "the controller", "chamber"])
def test_what_a_panel_shows_is_never_taken_for_the_metal(bench: Bench, source: str) -> None:
    bench.start()
    (marked,) = [out for out in bench.do(inp.EnterTemperature(temp_c=570.0, source=source)) if isinstance(out, Marked)]
    assert marked.what == "panel_temperature"
    assert marked.value == 570.0
    assert bench.engine.metal.temp_c is None


def test_a_panel_typed_while_metal_and_panel_stand_still_is_compared_and_put_on_record(bench: Bench) -> None:
    bench.in_metal(560.0, settle_s=120.0)
    outs = bench.do(inp.EnterTemperature(temp_c=585.0, source="panel"))
    assert [out.what for out in outs if isinstance(out, Marked)] == ["panel_temperature"]
    (pair,) = [out for out in outs if isinstance(out, PanelCompared)]
    assert pair.panel_c == 585.0
    assert pair.metal_c == pytest.approx(560.0, abs=1.0)
    assert bench.engine.guiding.panel_offset_c == pytest.approx(-25.0, abs=1.0)


@pytest.mark.parametrize("source", ["handheld", "hand meter", "thermometer", "handheld by the furnace"])
def test_a_handheld_figure_is_the_metals_for_ninety_seconds(bench: Bench, source: str) -> None:
    bench.start()
    (marked,) = [out for out in bench.do(inp.EnterTemperature(temp_c=570.0, source=source)) if isinstance(out, Marked)]
    assert marked.what == "typed_temperature"
    assert bench.engine.metal.temp_c == 570.0
    assert not is_panel(source)


def test_a_panel_and_a_probe_that_stands_still_are_a_pair() -> None:
    assert panel_pair(100.0, 520.0, dips=(), live_c=505.0, rate_c_per_min=0.5) == (505.0, 520.0)
    assert panel_pair(100.0, 520.0, dips=(), live_c=505.0, rate_c_per_min=8.0) is None
    assert panel_pair(100.0, 520.0, dips=(), live_c=505.0, rate_c_per_min=None) is None


def test_a_panel_and_a_dip_are_a_pair_where_the_dip_before_shows_that_it_stands_still() -> None:
    still = (a_dip(1, 505.0, ended_s=1000.0), a_dip(2, 506.0, ended_s=1120.0))
    assert panel_pair(1180.0, 520.0, dips=still) == (506.0, 520.0)
    assert panel_pair(1030.0, 520.0, dips=still) == (506.0, 520.0)  # read before the dip
    assert panel_pair(1250.0, 520.0, dips=still) is None  # too long after
    assert panel_pair(1180.0, 520.0, dips=still[1:]) is None  # nothing tells whether it stands still
    rising = (a_dip(1, 485.0, ended_s=1000.0), a_dip(2, 506.0, ended_s=1120.0))
    assert panel_pair(1180.0, 520.0, dips=rising) is None


def test_a_panel_that_runs_away_is_no_pair() -> None:
    live: dict[str, Any] = {"dips": (), "live_c": 505.0, "rate_c_per_min": 0.0}
    assert panel_pair(100.0, 520.0, panel_before=(0.0, 480.0), **live) is None
    assert panel_pair(100.0, 520.0, panel_before=(0.0, 519.0), **live) == (505.0, 520.0)
