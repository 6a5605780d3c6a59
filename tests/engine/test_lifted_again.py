"""A pot in the hand: lifted once, read again or not. What would arrive follows the newest figure of its metal."""

import math

import msgspec
import pytest

from pourcall.contract import inputs as inp
from pourcall.contract.events import CallChanged, CallHow, CallKind, CommandRefused, LiftMarked, MeltState, PourMarked
from pourcall.contract.message import Message
from pourcall.contract.plan import MeltPlan
from pourcall.contract.reading import ProbeState
from pourcall.contract.snapshot import FurnaceSnapshot, ToDo
from pourcall.engine.melt.melt_run import read_in_hand_s
from pourcall.metal.alloys.sheet import load_sheets
from tests.engine.conftest import Bench, make_plan
from tests.engine.invariants import contradictions
from tests.told import name_of

READ = inp.EnterTemperature(temp_c=0.0, instrument=inp.Instrument.METER, source="handheld", sure=True)


def read(temp_c: float, ago_s: float = 0.0) -> inp.EnterTemperature:
    return msgspec.structs.replace(READ, temp_c=temp_c, ago_s=ago_s)


def stands(bench: Bench) -> FurnaceSnapshot:
    shot = bench.engine.snapshot()
    assert contradictions(shot) == []
    return shot


def arrives_c(bench: Bench) -> float:
    window = stands(bench).window
    assert window is not None
    assert window.lip_now_c is not None
    return window.lip_now_c


# -- lifted once


def test_a_lift_pressed_again_makes_no_cold_metal_right_for_the_pour(bench: Bench) -> None:
    bench.in_metal(570.0)
    bench.run(10.0, lambda t: 60.0 + 510.0 * math.exp(-t / 8.0))  # the probe leaves, and the lift is proposed
    first_s = stands(bench).lift_mono_s
    assert first_s is not None
    bench.run(110.0, 60.0)
    cold_c = arrives_c(bench)
    assert stands(bench).instruction.todo is ToDo.CHOOSE
    (refused,) = bench.of(CommandRefused, bench.do(inp.MarkLift(sure=True)))
    assert isinstance(refused.what, Message)
    assert refused.what.name == "command.lifted_already"
    assert refused.what.facts["out_s"] == pytest.approx(bench.t_s - first_s)
    assert stands(bench).instruction.todo is ToDo.CHOOSE
    assert arrives_c(bench) == pytest.approx(cold_c)
    assert stands(bench).lift_mono_s == first_s


def test_a_lift_that_was_proposed_is_confirmed_by_the_key_and_cools_since_its_first_moment(bench: Bench) -> None:
    bench.in_metal(570.0)
    outs = bench.run(10.0, lambda t: 60.0 + 510.0 * math.exp(-t / 8.0))
    (proposed,) = bench.of(LiftMarked, outs)
    (marked,) = bench.of(LiftMarked, bench.do(inp.MarkLift()))
    assert (marked.lift_mono_s, marked.proposed) == (proposed.lift_mono_s, False)


def test_a_lift_told_to_have_been_earlier_is_corrected_and_has_cooled_for_longer(bench: Bench) -> None:
    bench.in_metal(570.0)
    bench.do(inp.MarkLift())
    bench.run(30.0, None)
    before_c = arrives_c(bench)
    bench.do(inp.MarkLift(ago_s=50.0))
    assert stands(bench).lift_mono_s == pytest.approx(bench.t_s - 50.0)
    assert arrives_c(bench) < before_c


def test_metal_read_since_the_lift_may_be_lifted_again_and_is_of_that_figure(bench: Bench) -> None:
    bench.in_metal(570.0)
    bench.do(inp.MarkLift())
    bench.run(66.0, None)
    bench.do(read(560.0))
    bench.run(31.0, None)
    bench.do(inp.MarkLift())
    assert bench.of(CommandRefused) == []
    assert stands(bench).lift_mono_s == bench.t_s
    assert arrives_c(bench) == pytest.approx(560.0 - 15.0)


# -- read in the hand


@pytest.mark.parametrize(
    ("typed_c", "todo", "state"),
    [
        (1100.0, ToDo.COOL, MeltState.ABOVE),
        (639.0, ToDo.COOL, MeltState.ABOVE),
        (560.0, ToDo.MARK_POUR, MeltState.READY),
        (520.0, ToDo.CHOOSE, MeltState.LIQUID),
        (450.0, ToDo.CHOOSE, MeltState.FREEZING),
    ],
)
@pytest.mark.parametrize("known", [True, False])
def test_a_figure_read_in_the_hand_is_the_metals_and_everything_follows_it(
    bench: Bench, typed_c: float, todo: ToDo, state: MeltState, *, known: bool
) -> None:
    if known:
        bench.in_metal(580.0)
    else:
        bench.start()
    bench.do(inp.MarkLift(sure=True))
    bench.run(40.0, None)
    bench.do(read(typed_c))
    shot = stands(bench)
    # the planned way of 20 s is over by then: nothing of its 15 degC is still to come
    assert arrives_c(bench) == pytest.approx(typed_c)
    assert (shot.metal.temp_c, shot.instruction.todo, shot.melt_state) == (typed_c, todo, state)
    bench.run(10.0, None)
    # Newton's law of cooling towards 20 degC, at first at the 15 degC in 20 s of the planned way
    above_c = typed_c - 20.0
    assert arrives_c(bench) == pytest.approx(20.0 + above_c * math.exp(-15.0 / 20.0 * 10.0 / above_c))
    assert ("alloy_limit:small" in bench.alarms()) is (typed_c > 600.0)


def test_a_figure_read_half_way_has_half_the_way_before_it(bench: Bench) -> None:
    bench.in_metal(580.0)
    bench.do(inp.MarkLift())
    bench.run(10.0, None)
    bench.do(read(560.0))
    assert arrives_c(bench) == pytest.approx(560.0 - 7.5)
    bench.run(10.0, None)
    assert arrives_c(bench) == pytest.approx(560.0 - 7.5)


def test_a_figure_dated_back_before_the_lift_is_not_one_read_in_the_hand(bench: Bench) -> None:
    bench.in_metal(580.0)
    bench.do(inp.MarkLift())
    bench.run(10.0, None)
    bench.do(read(560.0, ago_s=30.0))
    assert arrives_c(bench) == pytest.approx(580.0 - 15.0, abs=1.0)


def test_a_pour_in_the_hand_is_on_record_as_it_was_called_and_moves_to_another_mould_by_the_same_figure(
    bench: Bench,
) -> None:
    bench.in_metal(580.0, make_plan(moulds=2))
    bench.do(inp.MarkLift())
    bench.run(50.0, None)
    bench.do(read(560.0))
    bench.run(5.0, None)
    called_c = arrives_c(bench)
    (marked,) = bench.of(PourMarked, bench.do(inp.MarkPour()))
    pour = marked.pour
    assert (pour.pot_temp_c, pour.lip_temp_c) == (560.0, pytest.approx(called_c))
    assert pour.source is not None
    assert not pour.source.at_lift
    assert read_in_hand_s(pour) == pytest.approx(bench.t_s - 5.0)
    bench.do(inp.CorrectPour(number=1, mould="cleat 2"))
    assert bench.engine.run is not None
    assert bench.engine.run.pours[0].lip_temp_c == pytest.approx(called_c)


# -- below the window, by every path


def hot_mould(alloy: str = "za27") -> MeltPlan:
    plan = make_plan(lip=(600.0, 620.0), loss_c=20.0, limit_c=700.0, moulds=2)
    return msgspec.structs.replace(plan, alloy=load_sheets().get(alloy).facts())


def test_metal_that_would_arrive_below_the_lip_window_is_never_to_be_poured_not_even_right_after_the_lift(
    bench: Bench,
) -> None:
    bench.start(hot_mould())
    bench.do(read(615.0))  # arrives at 595
    assert stands(bench).instruction.todo is not ToDo.POUR
    bench.do(inp.MarkLift(sure=True))
    for alloy in ("za27", "za12", "za27"):
        bench.do(inp.ChangeMelt(plan=hot_mould(alloy)))
        shot = stands(bench)
        assert arrives_c(bench) == pytest.approx(595.0)
        assert shot.instruction.todo is ToDo.CHOOSE
        assert shot.countdown_s is not None
        assert shot.countdown_s <= 0.0
        assert shot.melt_state is MeltState.LIQUID


def test_the_second_mould_is_not_to_be_poured_from_metal_too_cold_for_it(bench: Bench) -> None:
    bench.start(hot_mould())
    bench.do(read(632.0))
    bench.do(inp.MarkLift(sure=True))
    assert stands(bench).instruction.todo is ToDo.MARK_POUR
    bench.run(20.0, None)
    bench.do(inp.MarkPour())
    bench.run(20.0, None)
    assert stands(bench).instruction.todo is ToDo.CHOOSE


def test_metal_too_hot_for_a_mould_without_a_loss_is_not_to_be_poured(bench: Bench) -> None:
    bench.in_metal(590.0, make_plan(loss_c=0.0))
    bench.do(inp.MarkLift())
    instruction = stands(bench).instruction
    assert instruction.todo is ToDo.COOL
    assert name_of(instruction.text) == "instruction.too_hot_in_hand_untimed"


@pytest.mark.parametrize("width_c", [1.0, 3.0, 6.0, 12.0])
def test_a_call_that_is_up_never_stays_up_beyond_a_narrow_window(bench: Bench, width_c: float) -> None:
    bench.in_metal(570.0, make_plan(lip=(555.0 - width_c / 2.0, 555.0 + width_c / 2.0)))
    for second in range(60):
        bench.run(1.0, 570.0 - 0.2 * second)
        stands(bench)


# -- planned for the next lift


@pytest.mark.parametrize("made_from", [(), ("cleat 1",)], ids=["the plan before", "the plan in force"])
def test_a_persons_change_after_the_return_ends_what_is_called_whichever_plan_it_was_made_from(
    bench: Bench, made_from: tuple[str, ...]
) -> None:
    bench.in_metal(570.0, make_plan(moulds=3))
    bench.do(inp.MarkLift(sure=True))
    bench.run(20.0, None)
    bench.do(inp.MarkPour(sure=True))
    bench.run(5.0, None)
    bench.do(inp.MarkReturn())
    bench.run(2.0, 570.0)
    bench.do(inp.SetProbeState(probe="metal", state=ProbeState.IN_METAL))
    bench.run(60.0, 570.0)
    assert bench.up(CallKind.POUR) is not None
    plan = msgspec.structs.replace(make_plan(moulds=3), poured_earlier=("cleat 1",))
    bench.do(inp.ChangeMelt(plan=plan, next_lift=True, who="daemon"))
    assert bench.up(CallKind.POUR) is not None  # nobody changed their mind
    hotter = msgspec.structs.replace(make_plan(moulds=3, lip=(538.0, 573.0)), poured_earlier=made_from)
    ended = [out for out in bench.of(CallChanged, bench.do(inp.ChangeMelt(plan=hotter))) if out.how is CallHow.ENDED]
    assert [out.call.kind for out in ended] == [CallKind.POUR]
    run = bench.engine.run
    assert run is not None
    returned_s = run.back_s
    early, late = run.planned("cleat 2", returned_s - 1.0), run.planned("cleat 2", bench.t_s)
    assert early is not None
    assert late is not None
    assert (early.lip_max_c, late.lip_max_c) == (plan.moulds[1].lip_max_c, 573.0)


def test_a_change_on_record_of_before_this_is_still_read() -> None:
    command = inp.ChangeMelt(plan=make_plan(), why="one cleat less")
    body = msgspec.to_builtins(command)
    assert "next_lift" not in body
    assert msgspec.convert(body, inp.ChangeMelt) == command
