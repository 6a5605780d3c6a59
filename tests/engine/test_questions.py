"""What is asked before a command counts: one question for each situation, whatever the door it comes in by."""

import math

import msgspec
import pytest

from pourcall.contract import events as ev
from pourcall.contract import inputs as inp
from pourcall.contract.frames import BoardStatus
from pourcall.contract.message import Message, tell
from pourcall.contract.plan import Asked
from pourcall.contract.questions import Doubt, question
from pourcall.engine.core import Engine
from tests.engine.conftest import Bench, make_plan


def doubt(bench: Bench, command: inp.Command) -> Doubt | None:
    found = question(command, bench.engine.snapshot())
    return None if found is None else found.doubt


@pytest.mark.parametrize("command", [inp.MarkLift(), inp.MarkPour()])
def test_a_mark_that_nobody_called_for_is_asked_about_once(bench: Bench, command: inp.MarkLift | inp.MarkPour) -> None:
    bench.start()
    bench.run(5.0, 20.0)
    assert doubt(bench, command) is Doubt.NOT_CALLED
    assert doubt(bench, msgspec.structs.replace(command, sure=True)) is None


@pytest.mark.parametrize("command", [inp.MarkLift(), inp.MarkPour()])
def test_a_mark_while_the_pour_is_called_is_not_asked_about(bench: Bench, command: inp.Command) -> None:
    bench.in_metal(570.0)
    assert doubt(bench, command) is None


def test_a_mark_without_a_melt_is_the_engines_to_refuse_and_not_a_question(bench: Bench) -> None:
    assert doubt(bench, inp.MarkPour()) is None


def test_metal_that_would_arrive_solid_is_asked_about_and_one_dated_back_into_its_window_is_not(bench: Bench) -> None:
    bench.in_metal(570.0)
    bench.do(inp.MarkLift())
    bench.run(30.0, None)
    assert doubt(bench, inp.MarkPour()) is None
    bench.run(600.0, None)
    shot = bench.engine.snapshot()
    assert shot.window is not None
    assert shot.window.lip_now_c is not None
    assert shot.plan is not None
    assert shot.window.lip_now_c < shot.plan.alloy.solidus_c
    assert doubt(bench, inp.MarkPour()) is Doubt.FROZEN
    assert doubt(bench, inp.MarkPour(ago_s=610.0)) is None  # poured right after the lift, told late


def test_a_pour_a_quarter_of_an_hour_after_the_lift_is_asked_about(bench: Bench) -> None:
    bench.in_metal(570.0)
    bench.do(inp.MarkLift())
    bench.run(950.0, None)
    assert doubt(bench, inp.MarkPour()) is Doubt.LONG_OUT
    assert doubt(bench, inp.MarkPour(ago_s=940.0)) is None


def test_a_pot_that_came_back_and_is_called_again_is_not_asked_about_its_old_lift(bench: Bench) -> None:
    bench.in_metal(570.0, make_plan(moulds=2))
    bench.do(inp.MarkLift())
    bench.do(inp.MarkPour())
    bench.run(120.0, lambda t: 20.0 + 550.0 * math.exp(-t / 20.0))
    bench.run(30.0, lambda t: 570.0 - 548.0 * math.exp(-t / 4.0))
    bench.run(900.0, 570.0)
    assert doubt(bench, inp.MarkPour()) is None


@pytest.mark.parametrize("lifted", [False, True])
def test_a_typed_figure_above_the_limit_of_the_pot_is_asked_about(bench: Bench, lifted: bool) -> None:
    bench.in_metal(570.0)
    if lifted:
        bench.do(inp.MarkLift())
    found = question(inp.EnterTemperature(instrument=inp.Instrument.METER, temp_c=1100.0), bench.engine.snapshot())
    assert found is not None
    assert found.doubt is Doubt.TOO_HOT
    told = found.text if lifted else found.text.facts["asked"]
    assert isinstance(told, Message)
    assert told.facts["limit_c"] == 600.0
    assert doubt(bench, inp.EnterTemperature(instrument=inp.Instrument.METER, temp_c=590.0)) is None
    assert doubt(bench, inp.EnterTemperature(instrument=inp.Instrument.METER, temp_c=1100.0, sure=True)) is None


@pytest.mark.parametrize("instrument", list(inp.Instrument))
def test_a_figure_that_would_be_dangerous_has_the_heat_off_before_it_is_asked_whether_it_is_meant(
    bench: Bench, instrument: inp.Instrument
) -> None:
    bench.engine = Engine(msgspec.structs.replace(bench.engine.config, rating_c=1200.0))
    bench.in_metal(570.0)
    hot = inp.EnterTemperature(instrument=instrument, temp_c=1300.0)

    def heat_off() -> object:
        found = question(hot, bench.engine.snapshot())
        assert found is not None
        return found.text.facts["heat_off"] if found.text.name == "question.off_first" else None

    assert heat_off() == "power"
    bench.do(inp.MarkPower(level=inp.PowerLevel.HIGH))
    assert heat_off() == "power"
    bench.do(inp.MarkPower(level=inp.PowerLevel.OFF))
    assert heat_off() is None
    bench.put(inp.BoardStatusIn, board="bench", status=BoardStatus(1, 0, 1, 0, 300, 0))
    assert heat_off() == "power"  # whatever is marked, the board applies it
    bench.do(inp.MarkLift())
    assert heat_off() is None  # the pot is out of it


def test_a_panel_may_stand_above_the_metals_limit_but_not_above_what_the_furnace_is_rated_for(bench: Bench) -> None:
    bench.in_metal(570.0)
    assert doubt(bench, inp.EnterTemperature(temp_c=900.0, instrument=inp.Instrument.PANEL)) is None
    assert doubt(bench, inp.EnterTemperature(temp_c=1500.0, instrument=inp.Instrument.PANEL)) is Doubt.TOO_HOT


@pytest.mark.parametrize("instrument", list(inp.Instrument))
def test_a_figure_colder_than_any_shop_is_asked_about_whatever_showed_it(
    bench: Bench, instrument: inp.Instrument
) -> None:
    bench.start()
    assert doubt(bench, inp.EnterTemperature(temp_c=-40.0, instrument=instrument)) is Doubt.TOO_COLD
    assert doubt(bench, inp.EnterTemperature(temp_c=-40.0, instrument=instrument, sure=True)) is None
    assert doubt(bench, inp.EnterTemperature(temp_c=15.0, instrument=instrument)) is None  # a cold charge


def test_a_meter_below_the_solidus_is_asked_about_only_where_the_melt_counts_as_liquid(bench: Bench) -> None:
    cold = inp.EnterTemperature(temp_c=56.0, instrument=inp.Instrument.METER)  # 560, with a figure lost
    bench.start()
    bench.run(5.0, 20.0)
    assert doubt(bench, cold) is None
    assert doubt(bench, inp.EnterTemperature(temp_c=300.0, instrument=inp.Instrument.METER)) is None
    bench.do(inp.EndMelt(ending=inp.MeltEnding.ABANDONED))
    bench.in_metal(560.0)
    assert doubt(bench, cold) is Doubt.TOO_COLD
    assert doubt(bench, msgspec.structs.replace(cold, instrument=inp.Instrument.PANEL)) is None
    assert doubt(bench, msgspec.structs.replace(cold, temp_c=545.0)) is None


def test_a_mould_that_has_its_metal_is_asked_about_by_name_and_the_next_is_not(bench: Bench) -> None:
    bench.in_metal(570.0, make_plan(moulds=2))
    bench.do(inp.MarkLift())
    assert doubt(bench, inp.MarkPour(mould="cleat 1")) is None
    bench.do(inp.MarkPour(mould="cleat 1"))
    assert doubt(bench, inp.MarkPour(mould="cleat 1")) is Doubt.POURED_TWICE
    assert doubt(bench, inp.MarkPour(mould="cleat 1", sure=True)) is None
    assert doubt(bench, inp.MarkPour(mould="cleat 2")) is None
    assert doubt(bench, inp.MarkPour()) is None
    assert doubt(bench, inp.MarkPour(mould="anchor")) is None  # the engine's to refuse


def test_a_pour_struck_from_the_list_leaves_its_mould_free_for_another(bench: Bench) -> None:
    bench.in_metal(570.0, make_plan(moulds=2))
    bench.do(inp.MarkPour())
    bench.do(inp.CorrectPour(number=1))
    assert doubt(bench, inp.MarkPour(mould="cleat 1")) is None


def ended(*ingots_kg: float, heel_kg: float = 0.0) -> inp.EndMelt:
    return inp.EndMelt(ending=inp.MeltEnding.POURED, ingots_kg=ingots_kg, heel_kg=heel_kg)


def test_more_metal_out_than_in_is_asked_about_with_what_scales_and_guesses_are_wrong_by(bench: Bench) -> None:
    bench.in_metal(570.0, make_plan(moulds=2, mass_kg=0.4))  # 1.5 kg in; so much as 1.75 kg may be weighed out
    assert doubt(bench, ended(1.7)) is None
    assert doubt(bench, ended(1.9)) is Doubt.MORE_THAN_IN
    assert doubt(bench, msgspec.structs.replace(ended(1.9), sure=True)) is None
    assert doubt(bench, ended(heel_kg=1.9)) is Doubt.MORE_THAN_IN
    bench.do(inp.MarkPour())
    bench.do(inp.MarkPour())
    assert doubt(bench, ended(0.5, 0.3)) is None
    assert doubt(bench, ended(0.6, heel_kg=0.5)) is Doubt.MORE_THAN_IN
    assert doubt(bench, ended()) is None  # moulds alone are as heavy as the plan says


def test_metal_added_counts_as_gone_in_and_what_nobody_weighed_as_no_more_than_all_the_rest(
    bench: Bench,
) -> None:
    bench.in_metal(570.0)
    bench.do(inp.MarkAddition(mass_kg=0.5))
    assert doubt(bench, ended(1.9)) is None
    assert doubt(bench, ended(2.5)) is Doubt.MORE_THAN_IN
    bench.do(inp.MarkAddition(source="gates"))
    assert doubt(bench, ended(2.5)) is None
    found = question(ended(9.0), bench.engine.snapshot())
    assert found is not None
    assert found.text == tell("question.more_than_weighed", out_kg=9.0, in_kg=2.0)


def test_a_mould_that_was_poured_twice_holds_its_metal_once(bench: Bench) -> None:
    bench.in_metal(570.0, make_plan(moulds=2, mass_kg=0.4))  # 1.5 kg in
    bench.do(inp.MarkPour())
    bench.do(inp.MarkPour(mould="cleat 1", sure=True))  # topped up
    shot = bench.engine.snapshot()
    assert (shot.moulds_poured, len(shot.pours), shot.moulds_left) == (1, 2, ("cleat 2",))
    assert doubt(bench, ended(1.3)) is None
    assert doubt(bench, ended(1.4)) is Doubt.MORE_THAN_IN


def test_a_charge_nobody_weighed_is_no_measure_of_what_came_out(bench: Bench) -> None:
    bench.in_metal(570.0, msgspec.structs.replace(make_plan(), asked=Asked(charge_kg=0.0)))
    assert doubt(bench, ended(2.5)) is None


def test_a_pour_of_frozen_metal_is_kept_and_its_doubt_is_in_the_reply(bench: Bench) -> None:
    from pourcall.daemon.inputs.done import done

    bench.in_metal(570.0)
    bench.do(inp.MarkLift())
    bench.run(600.0, None)
    command = inp.MarkPour(sure=True)
    told = done(command, bench.do(command))
    assert told.name == "daemon.done.minding"
    assert isinstance(told.facts["mind"], Message)
    assert told.facts["mind"].name == "melt.pour_too_cold"


# -- with the pot in the hand


def test_a_limit_passed_by_a_figure_typed_in_the_hand_is_an_alarm_as_in_the_furnace(bench: Bench) -> None:
    bench.in_metal(570.0)
    bench.do(inp.MarkLift())
    bench.do(inp.EnterTemperature(instrument=inp.Instrument.METER, temp_c=1100.0, sure=True))
    bench.run(10.0, 20.0)
    assert bench.engine.snapshot().metal.temp_c == 1100.0
    assert "alloy_limit:small" in bench.alarms()


def test_a_limit_passed_before_the_lift_is_withdrawn_once_the_metal_has_cooled_below_it_in_the_hand(
    bench: Bench,
) -> None:
    bench.in_metal(610.0)  # the limit is 600; the mould takes up to 575, and loses 15 on a way of 20 s
    assert "alloy_limit:small" in bench.alarms()
    bench.do(inp.AckAlarm())
    bench.do(inp.MarkLift())
    bench.run(10.0, None)
    assert "alloy_limit:small" in bench.alarms()  # on the planned way nothing is counted as cooled
    bench.run(60.0, None)
    assert "alloy_limit:small" not in bench.alarms()


def test_no_window_alarm_is_raised_in_the_hand_whatever_is_typed(bench: Bench) -> None:
    bench.in_metal(570.0)
    bench.do(inp.MarkLift())
    bench.do(inp.EnterTemperature(instrument=inp.Instrument.METER, temp_c=598.0))
    bench.run(120.0, 20.0)
    assert bench.alarms() == {}


# -- the end


def test_a_melt_that_ends_with_moulds_left_says_which_and_has_it_on_record(bench: Bench) -> None:
    from pourcall.daemon.inputs.done import done

    bench.in_metal(570.0, make_plan(moulds=2))
    bench.do(inp.MarkPour())
    assert bench.engine.snapshot().moulds_left == ("cleat 2",)
    command = inp.EndMelt(ending=inp.MeltEnding.POURED)
    outs = bench.do(command)
    (left,) = [out for out in bench.of(ev.Marked, outs) if out.what == "moulds_left"]
    assert left.text.facts == {"count": 1, "of": 2, "moulds": "cleat 2"}
    assert done(command, outs).facts["mind"] == left.text


@pytest.mark.parametrize("ending", list(inp.MeltEnding))
def test_a_melt_whose_moulds_are_all_poured_ends_without_a_note(bench: Bench, ending: inp.MeltEnding) -> None:
    bench.in_metal(570.0)
    bench.do(inp.MarkPour())
    assert bench.of(ev.Marked, bench.do(inp.EndMelt(ending=ending))) == []


# -- a pour that was called


def lifted_on_the_call(bench: Bench, seconds: float) -> None:
    """The pour is called, and the caster draws the probe before anything is marked."""
    bench.in_metal(570.0)
    assert bench.up(ev.CallKind.POUR)
    bench.run(seconds, lambda t: 60.0 + 510.0 * math.exp(-t / 8.0))


@pytest.mark.parametrize("command", [inp.MarkLift(), inp.MarkPour()])
@pytest.mark.parametrize("seconds", [2.0, 4.0])
def test_a_call_that_ended_because_the_probe_began_to_leave_was_a_call(
    bench: Bench, command: inp.Command, seconds: float
) -> None:
    lifted_on_the_call(bench, seconds)
    shot = bench.engine.snapshot()
    assert shot.lift_mono_s is None
    assert bench.up(ev.CallKind.POUR) is None
    assert shot.pour_call_ended is not None
    assert shot.pour_call_ended.why == tell("figure.leaving")
    assert question(command, shot) is None


def test_long_after_a_call_ended_a_mark_is_asked_about_with_when_and_why_it_ended(bench: Bench) -> None:
    bench.in_metal(570.0)
    bench.run(100.0, lambda t: 570.0 - 0.5 * t)
    bench.run(60.0, 520.0)
    shot = bench.engine.snapshot()
    found = question(inp.MarkLift(), shot)
    assert found is not None
    assert found.doubt is Doubt.NOT_CALLED
    assert isinstance(found.text, Message)
    assert found.text.name == "question.lift_call_ended"
    assert found.text.facts["why"] == tell("call.ended.left_window")
    assert question(inp.MarkLift(ago_s=110.0), shot) is None  # within half a minute of its end


def test_a_call_that_was_followed_by_a_lift_is_no_call_for_the_next(bench: Bench) -> None:
    bench.in_metal(570.0, make_plan(moulds=2))
    bench.do(inp.MarkLift())
    bench.run(10.0, None)
    bench.do(inp.MarkReturn())
    bench.run(5.0, None)
    assert bench.engine.snapshot().pour_call_ended is None
    assert doubt(bench, inp.MarkLift()) is Doubt.NOT_CALLED
