"""Figures a person types in. A handheld meter was in the metal; a panel is the furnace's own, never that."""

from typing import Any

import pytest

from pourcall.contract import inputs as inp
from pourcall.contract.events import CommandRefused, Marked, MarkKind, PanelCompared
from pourcall.contract.inputs import Instrument
from pourcall.contract.message import tell
from pourcall.contract.quantities import instrument_of
from pourcall.engine.bath.dips import panel_pair
from tests.engine.conftest import Bench
from tests.engine.dipping import a_dip


def read_off(temp_c: float, instrument: Instrument, source: str) -> inp.EnterTemperature:
    return inp.EnterTemperature(temp_c=temp_c, instrument=instrument, source=source)


@pytest.mark.parametrize("words", ["panel", "Panel", "furnace panel", "the controller", "chamber"])
def test_words_that_name_the_furnace_mean_its_panel(words: str) -> None:
    assert instrument_of(words) is Instrument.PANEL


@pytest.mark.parametrize("words", ["handheld", "hand meter", "thermometer", "handheld by the furnace"])
def test_other_words_mean_a_meter_in_the_metal(words: str) -> None:
    assert instrument_of(words) is Instrument.METER


def test_a_figure_of_which_nobody_said_what_showed_it_is_refused(bench: Bench) -> None:
    bench.start()
    (refused,) = bench.do(inp.EnterTemperature(temp_c=570.0, source="panel"))
    assert isinstance(refused, CommandRefused)
    assert refused.what == tell("command.no_instrument", temp_c=570.0)
    assert bench.engine.metal.temp_c is None


@pytest.mark.parametrize("source", ["panel", "handheld", "<570 degC>", ""])
def test_what_a_panel_shows_is_never_taken_for_the_metal_whatever_it_is_called(bench: Bench, source: str) -> None:
    bench.start()
    (marked,) = [out for out in bench.do(read_off(570.0, Instrument.PANEL, source)) if isinstance(out, Marked)]
    assert marked.what is MarkKind.PANEL_TEMPERATURE
    assert marked.source == source
    assert marked.value == 570.0
    assert bench.engine.metal.temp_c is None


def test_a_panel_typed_while_metal_and_panel_stand_still_is_compared_and_put_on_record(bench: Bench) -> None:
    bench.in_metal(560.0, settle_s=120.0)
    outs = bench.do(read_off(585.0, Instrument.PANEL, "panel"))
    assert [out.what for out in outs if isinstance(out, Marked)] == ["panel_temperature"]
    (pair,) = [out for out in outs if isinstance(out, PanelCompared)]
    assert pair.panel_c == 585.0
    assert pair.metal_c == pytest.approx(560.0, abs=1.0)
    assert bench.engine.guiding.panel_offset_c == pytest.approx(-25.0, abs=1.0)


@pytest.mark.parametrize("source", ["handheld", "panel of the meter", ""])
def test_a_handheld_figure_is_the_metals_for_ninety_seconds(bench: Bench, source: str) -> None:
    bench.start()
    (marked,) = [out for out in bench.do(read_off(570.0, Instrument.METER, source)) if isinstance(out, Marked)]
    assert marked.what is MarkKind.TYPED_TEMPERATURE
    assert bench.engine.metal.temp_c == 570.0


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
