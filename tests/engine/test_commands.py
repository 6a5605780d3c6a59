"""Every command takes effect or is refused in words: what was wrong, and what to do instead."""

import math

import pytest

from pourcall.contract import inputs as inp
from pourcall.contract.events import CommandRefused, FigureSource, MeltEnded, MeltStarted, PourMarked, PourSource
from pourcall.contract.message import Message, tell
from pourcall.contract.plan import MeltPlan
from pourcall.contract.reading import Place, ProbeState
from pourcall.contract.snapshot import ToDo
from pourcall.engine.melt.melt_run import MeltRun
from tests.engine.conftest import Bench, make_plan
from tests.told import message, name_of


def refusal(outs: list[object]) -> CommandRefused:
    (one,) = [out for out in outs if isinstance(out, CommandRefused)]
    assert isinstance(one.what, Message)
    assert isinstance(one.remedy, Message)
    assert one.what
    assert one.remedy
    return one


NEEDS_MELT: list[inp.Command] = [
    inp.EndMelt(ending=inp.MeltEnding.POURED),
    inp.MarkPour(),
    inp.MarkLift(),
    inp.MarkAddition(),
    inp.MarkSkim(),
    inp.AnswerCall(call="pour", answer=inp.Answer.DONE),
    inp.ChangeMelt(plan=make_plan()),
]


@pytest.mark.parametrize("command", NEEDS_MELT, ids=lambda c: str(type(c).__struct_config__.tag))
def test_without_a_melt_what_needs_one_is_refused_by_its_name(bench: Bench, command: inp.Command) -> None:
    said = refusal(list(bench.do(command)))
    assert said.command == type(command).__struct_config__.tag
    assert said.what == tell("command.no_melt")


def test_a_second_melt_is_refused_while_one_runs_and_names_it(bench: Bench) -> None:
    bench.start()
    said = refusal(list(bench.do(inp.StartMelt(plan=make_plan(melt="2026-015")))))
    assert said.what == tell("command.melt_runs", melt="2026-014")
    assert bench.engine.snapshot().melt == "2026-014"


@pytest.mark.parametrize(
    ("command", "what", "remedy"),
    [
        (inp.MarkPour(mould="bollard"), "command.no_mould", "moulds_are"),
        (inp.AnswerCall(call="pour", answer=inp.Answer.DONE), "command.no_call", "nothing"),
        (inp.AnswerCall(call="sing", answer=inp.Answer.DONE), "command.no_call", "nothing"),
        (inp.SetPlace(probe="nobody", place=Place.DIP), "command.no_probe", "probes_are"),
        (inp.SetProbeState(probe="nobody", state=ProbeState.OUT), "command.no_probe", "probes_are"),
        (inp.StartDip(probe="nobody"), "command.no_probe", "probes_are"),
        (inp.AckAlarm(alarm="sensor_open:metal"), "command.no_alarm", "cleared_meanwhile"),
        (inp.ShelveAlarm(alarm="sensor_open:metal"), "command.no_alarm", "cleared_meanwhile"),
        (inp.UnshelveAlarm(alarm="sensor_open:metal"), "command.no_alarm", "cleared_meanwhile"),
        (inp.EnterTemperature(temp_c=11_000.0), "command.not_meant", "check_figure"),
        (inp.EnterTemperature(temp_c=-300.0), "command.not_meant", "check_figure"),
        (inp.EnterTemperature(temp_c=float("nan")), "command.not_meant", "check_figure"),
        (inp.MarkPour(ago_s=1e6), "command.before_the_melt", "shorter_ago"),
    ],
    ids=lambda value: str(type(value).__struct_config__.tag) if hasattr(value, "__struct_config__") else value,
)
def test_a_command_that_cannot_be_meant_is_refused_and_its_remedy_helps(
    bench: Bench, command: inp.Command, what: str, remedy: str
) -> None:
    bench.start()
    bench.run(3.0, 20.0)
    said = refusal(list(bench.do(command)))
    assert name_of(said.what) == what
    assert name_of(said.remedy) == f"command.do.{remedy}"


def test_every_mould_poured_is_a_reason_and_says_so(bench: Bench) -> None:
    bench.in_metal(570.0)
    assert [type(out) for out in bench.do(inp.MarkPour())].count(PourMarked) == 1
    assert refusal(list(bench.do(inp.MarkPour()))).what == tell("command.all_poured")
    assert bench.engine.snapshot().instruction.todo is ToDo.EMPTY


def test_a_pour_without_any_temperature_is_kept_and_says_that_none_was_known(bench: Bench) -> None:
    bench.start()
    bench.run(10.0, None)
    (marked,) = [out for out in bench.do(inp.MarkPour()) if isinstance(out, PourMarked)]
    assert marked.pour.pot_temp_c is None
    assert marked.pour.lip_temp_c is None
    assert message(marked.pour.basis).name == "pour.basis.unknown"
    assert marked.pour.source == PourSource(figure=FigureSource.NONE)


def test_a_melt_begins_and_ends_and_the_next_knows_nothing_of_it(bench: Bench) -> None:
    bench.in_metal(570.0)
    bench.do(inp.EnterTemperature(temp_c=565.0, instrument=inp.Instrument.METER))
    (ended,) = [out for out in bench.do(inp.EndMelt(ending=inp.MeltEnding.INGOTS)) if isinstance(out, MeltEnded)]
    assert ended.ending is inp.MeltEnding.INGOTS
    shot = bench.engine.snapshot()
    assert (shot.melt, shot.calls, shot.window) == ("", (), None)
    outs = bench.do(inp.StartMelt(plan=make_plan(melt="2026-015")))
    assert any(isinstance(out, MeltStarted) for out in outs)
    assert bench.engine.snapshot().pours == ()
    assert bench.engine.snapshot().lift_mono_s is None


def test_a_shelf_too_long_is_refused(bench: Bench) -> None:
    bench.run(5.0, 20.0)
    for _ in range(3):
        bench.sample(None, flags=1)
    assert "sensor_open:metal" in bench.alarms()
    said = refusal(list(bench.do(inp.ShelveAlarm(alarm="sensor_open:metal", minutes=600.0))))
    assert message(said.what).facts["most_min"] == 60.0
    bench.do(inp.ShelveAlarm(alarm="sensor_open:metal", minutes=30.0))
    assert bench.alarms()["sensor_open:metal"].shelved_until_mono_s == pytest.approx(bench.t_s + 1800.0)


def test_a_test_alarm_comes_up_named_as_a_test_and_goes_when_acknowledged(bench: Bench) -> None:
    bench.do(inp.TestAlarm())
    assert message(bench.alarms()["test:path"].what).name == "alarm.test.what"
    bench.do(inp.AckAlarm(alarm="test:path"))
    bench.run(10.0, None)
    assert "test:path" not in bench.alarms()


def test_losses_on_the_way_come_from_the_plan_and_grow_with_the_time_since_the_lift(bench: Bench) -> None:
    """MeltRun.lip_at: 20 s of walk are in the plan's loss; each second more costs about the same, known to a half.

    By Newton's law of cooling towards 20 degC: 580 - 20 = 560 above it, times exp(-20 degC / 560) after 20 s more.
    """
    plan: MeltPlan = make_plan(loss_c=20.0)
    run, mould = MeltRun(plan, 0.0), plan.moulds[0]
    assert run.lip_at(mould, 600.0, 3.0, None, 100.0) == pytest.approx((580.0, (3.0**2 + 5.0**2) ** 0.5))
    assert run.lip_at(mould, 600.0, 3.0, 80.0, 100.0)[0] == pytest.approx(580.0)
    late_c, late_u_c = run.lip_at(mould, 600.0, 3.0, 60.0, 100.0)
    lost_c = 560.0 * (1.0 - math.exp(-20.0 / 560.0))
    assert late_c == pytest.approx(580.0 - lost_c)
    assert lost_c == pytest.approx(20.0, abs=0.5)
    assert late_u_c == pytest.approx((3.0**2 + 5.0**2 + (0.5 * lost_c) ** 2) ** 0.5)


def test_a_lost_budget_never_makes_a_figure_surer(bench: Bench) -> None:
    """Between two ticks a spike has no figure and so no budget; the last budget holds, and before the first 15 degC."""
    bench.in_metal(570.0)
    known_u_c = bench.engine.metal.u_c
    bench.sample(900.0)  # a spike: no number
    bench.put(inp.TickIn)
    assert bench.engine.metal.u_c >= known_u_c
    fresh = Bench()
    fresh.start()
    fresh.do(inp.SetProbeState(probe="metal", state=ProbeState.IN_METAL))
    fresh.t_s += 1.0
    fresh.sample(570.0)
    assert fresh.engine.metal.temp_c == 570.0
    assert fresh.engine.metal.u_c >= 15.0
