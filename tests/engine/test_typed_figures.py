"""Figures a person types in. A handheld meter was in the metal; a panel is the furnace's own, never that."""

from typing import Any

import pytest

from pourcall.contract import inputs as inp
from pourcall.contract.events import CallKind, CommandRefused, Marked, MarkKind, Output, PanelCompared
from pourcall.contract.inputs import Instrument
from pourcall.contract.message import Message, tell
from pourcall.contract.quantities import instrument_of
from pourcall.contract.questions import Doubt, question
from pourcall.engine.bath.dips import panel_pair
from tests.engine.conftest import Bench, make_plan
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


# -- the power, and figures that cannot be


def typed(bench: Bench, temp_c: float, *, sure: bool = False, ago_s: float = 0.0) -> list[Output]:
    return bench.do(
        inp.EnterTemperature(temp_c=temp_c, instrument=Instrument.METER, source="handheld", sure=sure, ago_s=ago_s)
    )


def unread(bench: Bench, level: inp.PowerLevel | None) -> None:
    """A melt that nothing but a handheld meter follows."""
    bench.start(make_plan(lip=(525.0, 585.0)))
    if level is not None:
        bench.do(inp.MarkPower(level=level))
    bench.run(2.0, None)


@pytest.mark.parametrize("level", [inp.PowerLevel.LOW, inp.PowerLevel.HIGH])
def test_no_pour_is_called_on_a_typed_figure_with_the_power_on_and_the_person_is_told_why(
    bench: Bench, level: inp.PowerLevel
) -> None:
    unread(bench, level)
    bench.do(inp.MarkSkim())
    typed(bench, 560.0)
    bench.run(5.0, None)
    text = bench.engine.snapshot().instruction.text
    bench.run(60.0, None)
    assert not bench.calls(CallKind.POUR)
    assert isinstance(text, Message)
    assert text.facts["held"] == tell("call.pour.power_first")


def test_with_the_power_off_it_is_called_and_with_the_power_not_known_it_ages_faster(bench: Bench) -> None:
    unread(bench, inp.PowerLevel.OFF)
    bench.run(120.0, None)
    typed(bench, 570.0)
    bench.run(10.0, None)
    assert bench.up(CallKind.POUR)
    other = Bench()
    unread(other, None)
    other.run(120.0, None)
    typed(other, 570.0)
    other.run(10.0, None)
    assert other.engine.metal.u_c > bench.engine.metal.u_c


def test_a_figure_typed_with_the_power_on_is_not_called_on_when_the_power_goes_off_but_the_next_one_is(
    bench: Bench,
) -> None:
    unread(bench, inp.PowerLevel.HIGH)
    typed(bench, 565.0)
    bench.run(10.0, None)
    bench.do(inp.MarkPower(level=inp.PowerLevel.OFF))
    bench.run(10.0, None)
    assert not bench.calls(CallKind.POUR)
    typed(bench, 570.0)
    bench.run(2.0, None)
    assert bench.up(CallKind.POUR)


@pytest.mark.parametrize(("temp_c", "cut"), [(605.0, True), (575.0, True), (550.0, False)])  # the pot is aimed at 570
def test_with_the_power_on_a_typed_figure_from_the_aim_on_has_it_cut(bench: Bench, temp_c: float, cut: bool) -> None:
    unread(bench, inp.PowerLevel.HIGH)
    typed(bench, temp_c)
    bench.run(2.0, None)
    call = bench.up(CallKind.CUT_POWER)
    assert (call is not None) is cut
    if call is not None and temp_c < 600.0:
        assert call.why == tell("call.pour.power_first")


@pytest.mark.parametrize(
    ("before_c", "temp_c", "after_s", "asked"),
    [
        (425.0, 570.0, 5.0, True),
        (425.0, 570.0, 60.0, True),
        (425.0, 570.0, 150.0, False),  # one degree a second
        (550.0, 570.0, 5.0, False),  # two looks at the same metal
        (570.0, 400.0, 5.0, True),
        (570.0, 500.0, 60.0, False),
    ],
)
def test_a_figure_that_no_furnace_can_have_reached_since_the_last_is_asked_about(
    bench: Bench, before_c: float, temp_c: float, after_s: float, asked: bool
) -> None:
    unread(bench, inp.PowerLevel.OFF)
    typed(bench, before_c)
    bench.run(after_s, None)
    command = inp.EnterTemperature(temp_c=temp_c, instrument=Instrument.METER)
    found = question(command, bench.engine.snapshot())
    assert (found is not None and found.doubt is Doubt.OUT_OF_REACH) is asked
    assert question(inp.EnterTemperature(temp_c=temp_c, instrument=Instrument.PANEL), bench.engine.snapshot()) is None


def test_nothing_is_called_on_a_figure_out_of_reach_before_somebody_says_that_it_is_so(bench: Bench) -> None:
    unread(bench, inp.PowerLevel.OFF)
    typed(bench, 425.0)
    bench.run(5.0, None)
    (marked,) = [out for out in typed(bench, 570.0) if isinstance(out, Marked)]
    assert marked.value == 570.0  # kept on record
    bench.run(30.0, None)
    assert not bench.calls(CallKind.POUR)
    last = bench.engine.snapshot().last_read
    assert last is not None
    assert last.temp_c == 425.0
    typed(bench, 570.0, sure=True)
    bench.run(2.0, None)
    assert bench.up(CallKind.POUR)


def test_metal_that_got_cold_returns_or_was_out_may_have_cooled_as_far_as_it_likes(bench: Bench) -> None:
    unread(bench, inp.PowerLevel.OFF)
    typed(bench, 570.0)
    bench.do(inp.MarkAddition(mass_kg=0.5))
    bench.run(5.0, None)
    assert question(inp.EnterTemperature(temp_c=400.0, instrument=Instrument.METER), bench.engine.snapshot()) is None
    bench.run(5.0, None)
    typed(bench, 400.0)
    bench.run(5.0, None)
    assert question(inp.EnterTemperature(temp_c=570.0, instrument=Instrument.METER), bench.engine.snapshot())


def test_a_standing_probe_that_fell_silent_does_not_make_a_typed_figure_count(bench: Bench) -> None:
    """A lone reading typed while the board is away: the probe's last figure is what it is held against."""
    bench.in_metal(430.0)
    bench.do(inp.MarkPower(level=inp.PowerLevel.OFF))
    bench.run(20.0, None)
    found = question(inp.EnterTemperature(temp_c=575.0, instrument=Instrument.METER), bench.engine.snapshot())
    assert found is not None
    assert found.doubt is Doubt.OUT_OF_REACH


def test_no_estimate_is_shown_that_has_the_metal_colder_than_it_can_have_grown_since_it_was_read(bench: Bench) -> None:
    bench.start()  # a charge put down as cold, and in truth as hot as the last melt left it
    bench.do(inp.MarkPower(level=inp.PowerLevel.OFF))
    bench.run(30.0, None)
    bench.do(read_off(592.0, Instrument.METER, ""))
    bench.run(150.0, None)
    shot = bench.engine.snapshot()
    assert shot.metal.temp_c is None
    assert shot.ahead is None or shot.ahead.model_c is None
