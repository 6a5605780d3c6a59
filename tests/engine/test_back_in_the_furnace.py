"""A lift that is over, a pour that was none, answers that hold, and one melt that does not speak for the next."""

import math

import pytest

from pourcall.contract import inputs as inp
from pourcall.contract.events import CallKind, CommandRefused, Marked, Marking, MeltState, PourMarked
from pourcall.contract.inputs import Answer, PowerLevel
from pourcall.contract.message import tell
from pourcall.contract.questions import LIFT_LASTS_S
from pourcall.contract.reading import Place, ProbeState
from pourcall.contract.snapshot import ToDo
from pourcall.engine.melt.power_knob import PowerKnob
from tests.engine.conftest import Bench, make_plan
from tests.engine.invariants import contradictions
from tests.told import name_of


def poured_once_and_cold(bench: Bench) -> None:
    """One of two moulds is poured, and the probe has hung in the air since the lift."""
    bench.in_metal(565.0, make_plan(moulds=2))
    bench.do(inp.MarkLift())
    bench.do(inp.MarkPour())
    bench.run(90.0, lambda t: max(30.0, 565.0 - 20.0 * t))


def back_in(bench: Bench, temp_c: float, seconds: float) -> None:
    bench.run(5.0, 30.0)
    bench.do(inp.SetProbeState(probe="metal", state=ProbeState.IN_METAL))
    bench.run(seconds, temp_c)


def test_a_pot_put_back_is_poured_from_a_lift_of_its_own(bench: Bench) -> None:
    poured_once_and_cold(bench)
    back_in(bench, 570.0, 60.0)
    assert any(mark.what == "pot_returned" for mark in bench.of(Marked))
    assert bench.engine.snapshot().melt_state is MeltState.READY
    bench.run(LIFT_LASTS_S, 570.0)
    bench.do(inp.MarkPour())
    pour = bench.of(PourMarked)[-1].pour
    assert pour.lift_mono_s != bench.of(PourMarked)[0].pour.lift_mono_s
    assert pour.lip_temp_c == pytest.approx(570.0 - 15.0, abs=1.5)


def test_a_probe_in_metal_on_the_bench_that_is_part_solid_does_not_bring_the_pot_back(bench: Bench) -> None:
    poured_once_and_cold(bench)
    back_in(bench, 440.0, 60.0)
    assert not any(mark.what == "pot_returned" for mark in bench.of(Marked))


def test_an_old_lift_that_nobody_took_back_is_not_the_lift_of_a_pour(bench: Bench) -> None:
    bench.in_metal(565.0, make_plan(moulds=2))
    bench.do(inp.MarkLift())
    bench.run(LIFT_LASTS_S + 60.0, 565.0)
    bench.do(inp.MarkPour())
    assert bench.of(PourMarked)[-1].pour.lip_temp_c == pytest.approx(550.0, abs=1.5)


def test_with_the_one_pour_struck_that_said_so_the_pot_is_in_the_furnace_again_and_watched(bench: Bench) -> None:
    bench.in_metal(560.0, make_plan(moulds=2))
    bench.do(inp.MarkPour())
    assert bench.engine.snapshot().lift_mono_s is not None
    bench.do(inp.CorrectPour(number=1))
    assert bench.engine.snapshot().lift_mono_s is None
    bench.run(240.0, lambda t: 560.0 + t * 60.0 / 240.0)
    assert any(alarm.startswith("alloy_limit") for alarm in bench.alarms())


def test_a_lift_that_a_person_marked_stands_when_a_pour_is_struck(bench: Bench) -> None:
    bench.in_metal(560.0, make_plan(moulds=2))
    bench.do(inp.MarkLift())
    bench.do(inp.MarkPour())
    bench.do(inp.CorrectPour(number=1))
    assert bench.engine.snapshot().lift_mono_s is not None


def test_a_pour_cannot_be_moved_into_a_mould_that_is_not_in_the_melt(bench: Bench) -> None:
    bench.in_metal(560.0, make_plan(moulds=2))
    bench.do(inp.MarkPour())
    (refused,) = bench.of(CommandRefused, bench.do(inp.CorrectPour(number=1, mould="anchor")))
    assert refused.what == tell("command.no_mould", mould="anchor")


def test_a_narrow_window_is_entered_from_above_without_a_pour_called_while_it_is_above(bench: Bench) -> None:
    bench.in_metal(590.0, make_plan(lip=(555.0, 561.0)))
    poured, start_s = False, bench.t_s
    for _ in range(400):
        bench.run(0.5, 590.0 - 0.1 * (bench.t_s - start_s))
        shot = bench.engine.snapshot()
        poured = poured or shot.instruction.todo in (ToDo.POUR, ToDo.POUR_SOON)
        assert contradictions(shot) == []
    assert poured


@pytest.mark.parametrize(("held_s", "marked"), [(0.0, Marking.LIVE), (6.0, Marking.LIVE), (60.0, Marking.AFTERWARDS)])
def test_a_key_held_back_for_a_few_seconds_marks_as_it_was_poured(bench: Bench, held_s: float, marked: Marking) -> None:
    bench.in_metal(565.0)
    bench.run(100.0, 565.0)
    bench.do(inp.MarkPour(ago_s=held_s))
    assert bench.of(PourMarked)[-1].pour.marked is marked


def test_not_now_to_a_cut_of_the_melt_before_does_not_silence_the_cut_of_this_one(bench: Bench) -> None:
    bench.in_metal(530.0)
    bench.run(60.0, lambda t: 530.0 + 0.35 * t)
    assert bench.up(CallKind.CUT_POWER)
    bench.do(inp.AnswerCall(call=CallKind.CUT_POWER, answer=Answer.NOT_NOW))
    bench.do(inp.EndMelt(ending=inp.MeltEnding.ABANDONED))
    bench.in_metal(530.0)
    bench.run(60.0, lambda t: 530.0 + 0.35 * t)
    assert bench.up(CallKind.CUT_POWER)


def test_a_board_that_applies_power_outweighs_a_mark_that_it_is_off() -> None:
    power = PowerKnob()
    power.mark(PowerLevel.OFF, 10.0)
    assert power.off
    power.report(900, 11.0)
    assert not power.off
    power.report(0, 12.0)
    assert power.off


def driven_until(end_s: int) -> PowerKnob:
    """Marked high at the beginning, and a board reports each second that it applies power."""
    power = PowerKnob()
    power.mark(PowerLevel.HIGH, 0.0)
    for second in range(1, end_s + 1):
        power.report(800, float(second))
        power.seen(float(second))
    return power


def test_told_off_since_a_while_ago_the_power_that_a_board_reported_since_then_counts() -> None:
    power = driven_until(120)
    power.mark(PowerLevel.OFF, 60.0)
    assert power.on_until_s == 120.0
    power.report(800, 121.0)
    power.seen(121.0)
    assert (power.on_until_s, power.off) == (121.0, False)
    assert power.powered.on_from_s == 0.0  # it never went off between
    power.report(0, 122.0)
    power.seen(123.0)
    assert (power.on_until_s, power.on_since_s, power.off) == (121.0, None, True)


def test_told_off_since_a_while_ago_it_was_off_since_then_where_a_board_reported_nothing_later() -> None:
    power = driven_until(30)
    power.passes(60.0)
    for second in range(60, 121):
        power.seen(float(second))
    power.mark(PowerLevel.OFF, 60.0)
    assert (power.on_until_s, power.on_since_s) == (60.0, None)


# -- as a person tells it


def meter(temp_c: float) -> inp.EnterTemperature:
    return inp.EnterTemperature(temp_c=temp_c, instrument=inp.Instrument.METER, sure=True)


@pytest.mark.parametrize("proposed", [False, True])
def test_told_back_in_the_furnace_the_melt_is_watched_again_and_no_lift_stands(bench: Bench, proposed: bool) -> None:
    bench.in_metal(565.0, make_plan(moulds=2))
    if proposed:
        bench.run(10.0, lambda t: 60.0 + 505.0 * math.exp(-t / 8.0))
    else:
        bench.do(inp.MarkLift())
        bench.run(10.0, 60.0)
    assert bench.engine.snapshot().lift_mono_s is not None
    outs = bench.do(inp.MarkReturn())
    assert [mark.what for mark in bench.of(Marked, outs)] == ["pot_returned"]
    shot = bench.engine.snapshot()
    assert (shot.lift_mono_s, shot.countdown_s) == (None, None)
    assert contradictions(shot) == []
    bench.run(30.0, 60.0)
    assert bench.engine.snapshot().lift_mono_s is None  # the same probe in the air proposes no second lift


def test_what_was_read_before_the_pot_was_out_calls_no_pour_once_it_is_back() -> None:
    bench = Bench(Place.DIP)
    bench.start(make_plan(moulds=2))
    bench.do(inp.MarkSkim())
    bench.do(inp.MarkPower(level=PowerLevel.OFF))
    bench.do(meter(572.0))
    bench.run(5.0, 60.0)
    assert bench.up(CallKind.POUR)
    bench.do(inp.MarkLift())
    bench.run(40.0, 60.0)
    bench.do(inp.MarkReturn())
    outs = bench.run(60.0, 60.0)
    assert not bench.calls(CallKind.POUR, outs=outs)
    shot = bench.engine.snapshot()
    assert shot.metal.temp_c is None
    assert shot.metal.how == tell("figure.was_out")
    bench.do(meter(570.0))
    bench.run(5.0, 60.0)
    assert bench.up(CallKind.POUR)


def test_a_pour_told_after_the_pot_was_back_belongs_to_the_lift_of_its_moment(bench: Bench) -> None:
    bench.in_metal(565.0, make_plan(moulds=2))
    bench.do(inp.MarkLift())
    lift_s = bench.t_s
    bench.run(60.0, None)
    bench.do(inp.MarkReturn())
    bench.do(inp.MarkPour(ago_s=40.0))
    pour = bench.of(PourMarked)[-1].pour
    assert pour.lift_mono_s == lift_s
    assert pour.lip_temp_c == pytest.approx(550.0, abs=1.5)
    assert bench.engine.snapshot().lift_mono_s is None


def test_a_pour_from_a_pot_that_was_back_and_not_read_has_no_temperature(bench: Bench) -> None:
    bench.in_metal(565.0, make_plan(moulds=2))
    bench.do(inp.MarkLift())
    bench.run(60.0, None)
    bench.do(inp.MarkReturn())
    bench.run(30.0, None)
    bench.do(inp.MarkPour(sure=True))
    assert bench.of(PourMarked)[-1].pour.pot_temp_c is None


def test_a_lift_marked_after_the_return_is_a_lift_of_its_own(bench: Bench) -> None:
    bench.in_metal(565.0, make_plan(moulds=2))
    bench.do(inp.MarkLift())
    bench.run(20.0, None)
    assert bench.of(CommandRefused, bench.do(inp.MarkLift(sure=True)))
    bench.do(inp.MarkReturn())
    bench.run(20.0, None)
    assert not bench.of(CommandRefused, bench.do(inp.MarkLift(sure=True)))
    assert bench.engine.snapshot().lift_mono_s == bench.t_s


def test_only_a_pot_that_was_lifted_comes_back_and_not_before_it_was(bench: Bench) -> None:
    bench.in_metal(565.0)
    (refused,) = bench.of(CommandRefused, bench.do(inp.MarkReturn()))
    assert refused.what == tell("command.not_lifted")
    bench.do(inp.MarkLift())
    bench.run(20.0, None)
    (refused,) = bench.of(CommandRefused, bench.do(inp.MarkReturn(ago_s=30.0)))
    assert name_of(refused.what) == "command.before_the_lift"
    assert bench.engine.snapshot().lift_mono_s is not None
    assert not bench.of(CommandRefused, bench.do(inp.MarkReturn(ago_s=10.0)))


def test_nothing_is_estimated_or_foreseen_of_a_pot_that_was_out_until_its_metal_is_read(bench: Bench) -> None:
    bench.in_metal(520.0, make_plan(moulds=2))
    bench.do(inp.MarkPower(level=PowerLevel.HIGH))
    bench.run(120.0, lambda t: 520.0 + t * 50.0 / 120.0)
    assert bench.engine.guiding.tracker.estimated_c(1000.0) == pytest.approx(570.0, abs=20.0)
    bench.do(inp.MarkLift())
    bench.run(60.0, None)
    bench.do(inp.MarkReturn())
    bench.run(30.0, None)
    shot = bench.engine.snapshot()
    assert shot.ahead is None or shot.ahead.coast_c is None
    assert bench.engine.guiding.tracker.estimated_c(1000.0) is None
    assert not bench.engine.guiding.tracker.learned
    bench.do(meter(520.0))
    bench.run(5.0, None)
    assert bench.engine.guiding.tracker.estimated_c(60.0) == pytest.approx(520.0, abs=15.0)
