"""When a pour is called, word by word after DESIGN section 2, driven through the whole engine.

U is expanded uncertainty (k = 2) of lip temperature: metal and transfer loss in squares (GUM, JCGM 100:2008, 5.1.2).
"""

import math
from collections.abc import Callable
from statistics import NormalDist

import msgspec
import pytest

from pourcall.contract import inputs as inp
from pourcall.contract.events import (
    AlarmChanged,
    CallChanged,
    CallKind,
    DipRecorded,
    FigureSource,
    LiftMarked,
    MeltChanged,
    MeltState,
    PourMarked,
)
from pourcall.contract.message import Message, tell
from pourcall.contract.plan import MeltPlan, lip_window_c, tap_window_c
from pourcall.contract.reading import Place, ProbeState
from pourcall.contract.snapshot import ToDo
from pourcall.contract.units import Unit
from pourcall.engine.melt.pour_call import judge_pour
from pourcall.texts import say
from tests.engine.conftest import Bench, make_plan
from tests.engine.invariants import contradictions
from tests.told import name_of, names

Plan = Callable[..., MeltPlan]


def fits(plan: MeltPlan, lip_c: float, u_c: float) -> bool:
    mould = plan.moulds[0]
    # all uncertainty on the metal's side: loss_u_c is 0 in these plans
    return judge_pour(lip_c + mould.loss_c, u_c, mould, plan, number=1).pour


# -- the judgement itself


def test_a_skim_call_gives_way_to_the_pour_and_does_not_stand_for_ever(bench: Bench) -> None:
    bench.start()
    bench.run(5.0, 20.0)
    bench.do(inp.SetProbeState(probe="metal", state=ProbeState.IN_METAL))
    bench.run(20.0, 545.0)
    assert bench.up(CallKind.SKIM)
    bench.run(125.0, 553.0)
    assert bench.up(CallKind.SKIM) is None
    assert name_of(bench.engine.snapshot().instruction.text) == "instruction.hotter_is_surer"


def test_no_pour_is_called_on_a_reading_too_unsure_to_hit_its_window(plan_for: Plan) -> None:
    """A tube that lags by a minute in a burner: 137 degC of doubt about a window of 42. Normal quantities (GUM 6.2)."""
    plan = plan_for(lip=(530.0, 572.0), loss_u_c=0.0)
    mould = plan.moulds[0]
    judged = judge_pour(551.0 + mould.loss_c, 137.0, mould, plan, number=1)
    assert not judged.pour
    assert judged.held == tell("call.pour.unsure", metal_u_c=137.0)
    assert NormalDist(551.0, 137.0 / 2.0).cdf(572.0) - NormalDist(551.0, 137.0 / 2.0).cdf(530.0) < 1.0 / 3.0
    assert fits(plan, 551.0, 30.0)  # as likely as not, and more: a best aim


def test_a_window_no_probe_can_be_sure_of_keeps_its_best_aim(plan_for: Plan) -> None:
    assert fits(plan_for(lip=(550.0, 552.0), loss_u_c=0.0), 551.0, 12.0)


@pytest.mark.parametrize(
    ("loss_u_c", "typed", "dipped", "surer"),
    [
        (0.0, True, True, "call.surer.meter"),
        (0.0, False, True, "call.surer.dip"),
        (0.0, False, False, "call.surer.calibrate"),
        (40.0, True, True, "call.surer.walk"),
    ],
)
def test_a_best_aim_that_hardly_ever_hits_says_in_the_call_itself_what_comes_first(
    plan_for: Plan, loss_u_c: float, surer: str, *, typed: bool, dipped: bool
) -> None:
    """37 % too cold and 37 % too hot: a meter in the hand and a window of 10 degC. Normal quantities (GUM 6.2)."""
    plan = plan_for(lip=(546.0, 556.0), loss_u_c=loss_u_c)
    mould = plan.moulds[0]
    judged = judge_pour(551.0 + mould.loss_c, 24.0, mould, plan, number=1, typed=typed, dipped=dipped)
    assert judged.pour  # never silence
    assert judged.poor
    assert judged.text.name == "call.pour.poor"
    assert surer in names(judged.text)
    assert "call.pour.best_aim" in names(judged.text)
    assert not names(judged.text) & {"call.pour.now", "call.pour.now_of"}


def test_a_narrow_window_that_is_hit_more_often_than_one_time_in_three_keeps_its_plain_best_aim(
    plan_for: Plan,
) -> None:
    plan = plan_for(lip=(540.0, 560.0), loss_u_c=0.0)
    mould = plan.moulds[0]
    for u_c in (14.0, 24.0, 43.0, 48.0):
        inside = 2.0 * NormalDist(0.0, u_c / 2.0).cdf(10.0) - 1.0
        judged = judge_pour(550.0 + mould.loss_c, u_c, mould, plan, number=1)
        assert judged.poor is (inside < 1.0 / 3.0)
        assert judged.text.name == ("call.pour.poor" if judged.poor else "call.pour.best_aim")


def test_a_typed_figure_for_a_narrow_window_is_no_bare_pour_on_the_screen(
    make_bench: type[Bench], plan_for: Plan
) -> None:
    bench = make_bench(Place.DIP)
    bench.start(plan_for(lip=(551.0, 557.0), loss_c=15.0))
    bench.do(inp.MarkPower(level=inp.PowerLevel.OFF))
    bench.do(inp.MarkSkim())
    bench.do(inp.EnterTemperature(temp_c=569.0, instrument=inp.Instrument.METER, sure=True))
    bench.run(5.0, 60.0)
    call = bench.up(CallKind.POUR)
    assert call is not None
    assert "call.surer.meter" in names(call.text)
    shot = bench.engine.snapshot()
    assert shot.instruction.todo is ToDo.BEST_AIM
    assert shot.instruction.text == call.text
    assert shot.window is not None
    assert shot.window.too_cold is not None
    assert shot.window.too_hot is not None
    assert 1.0 - shot.window.too_cold - shot.window.too_hot < 1.0 / 3.0
    assert contradictions(shot) == []


def test_a_mould_that_wants_a_lift_of_its_own_is_not_called_from_the_hand_but_told_to_go_back(bench: Bench) -> None:
    plan = make_plan(moulds=2)
    later = msgspec.structs.replace(plan.moulds[1], lip_min_c=560.0, loss_c=45.0, loss_s=35.0, own_lift_loss_c=15.0)
    bench.in_metal(570.0, msgspec.structs.replace(plan, moulds=(plan.moulds[0], later)))
    bench.do(inp.MarkLift())
    bench.run(20.0, None)
    bench.do(inp.MarkPour())
    shot = bench.engine.snapshot()
    assert shot.instruction.todo is ToDo.CHOOSE
    assert name_of(shot.instruction.text) == "instruction.own_lift"
    assert contradictions(shot) == []


@pytest.mark.parametrize("u_c", [1.0, 5.0, 12.0])
def test_in_a_wide_window_the_whole_band_of_uncertainty_must_lie_inside(plan_for: Plan, u_c: float) -> None:
    plan = plan_for(lip=(530.0, 570.0), loss_u_c=0.0)
    assert fits(plan, 530.0 + u_c + 0.01, u_c)
    assert fits(plan, 570.0 - u_c - 0.01, u_c)
    assert not fits(plan, 530.0 + u_c - 0.01, u_c)
    assert not fits(plan, 570.0 - u_c + 0.01, u_c)


def test_in_a_window_narrower_than_two_u_the_centre_must_lie_within_a_quarter_and_the_odds_are_told(
    plan_for: Plan,
) -> None:
    plan = plan_for(lip=(540.0, 560.0), loss_u_c=0.0)
    mould, u_c = plan.moulds[0], 14.0
    assert not fits(plan, 550.0 - 5.1, u_c)
    assert fits(plan, 550.0 - 4.9, u_c)
    assert fits(plan, 550.0 + 4.9, u_c)
    assert not fits(plan, 550.0 + 5.1, u_c)
    said = judge_pour(552.0 + mould.loss_c, u_c, mould, plan, number=1)
    assert said.narrow
    spread = NormalDist(552.0, u_c / 2.0)  # U is k = 2
    assert said.too_cold == pytest.approx(spread.cdf(540.0), abs=1e-9)
    assert said.too_hot == pytest.approx(1.0 - spread.cdf(560.0), abs=1e-9)
    assert said.text == tell("call.pour.best_aim", mould="cleat 1", cold_share=said.too_cold, hot_share=said.too_hot)


@pytest.mark.parametrize(
    ("metal_u_c", "loss_u_c", "dipped", "surer"),
    [
        (14.0, 4.0, False, "call.surer.calibrate"),
        (14.0, 4.0, True, "call.surer.dip"),
        (6.0, 12.0, True, "call.surer.walk"),
        (3.0, 3.0, False, None),
    ],
)
def test_a_best_aim_says_what_would_make_it_surer_and_a_wide_window_does_not(
    plan_for: Plan, metal_u_c: float, loss_u_c: float, surer: str | None, *, dipped: bool
) -> None:
    plan = plan_for(lip=(540.0, 560.0), loss_u_c=loss_u_c)
    mould = plan.moulds[0]
    said = judge_pour(550.0 + mould.loss_c, metal_u_c, mould, plan, number=1, dipped=dipped)
    assert (said.surer.name if said.narrow else None) == surer


def test_the_rule_changes_over_exactly_at_a_window_of_two_u(plan_for: Plan) -> None:
    plan = plan_for(lip=(540.0, 560.0), loss_u_c=0.0)
    mould = plan.moulds[0]
    assert not judge_pour(550.0 + mould.loss_c, 9.99, mould, plan, number=1).narrow
    assert judge_pour(550.0 + mould.loss_c, 10.01, mould, plan, number=1).narrow


def test_uncertainty_of_metal_and_loss_add_in_squares(plan_for: Plan) -> None:
    plan = plan_for(loss_u_c=4.0)
    assert judge_pour(570.0, 3.0, plan.moulds[0], plan, number=1).lip_u_c == pytest.approx(5.0)


def test_a_window_learned_with_the_same_probe_counts_repeatability_alone(plan_for: Plan) -> None:
    plan = plan_for(lip=(545.0, 557.0), loss_u_c=0.0, window_same_probe=True)
    assert judge_pour(551.0 + 15.0, 12.0, plan.moulds[0], plan, number=1).lip_u_c == pytest.approx(2.0)
    strange = plan_for(lip=(545.0, 557.0), loss_u_c=0.0)
    assert judge_pour(551.0 + 15.0, 12.0, strange.moulds[0], strange, number=1).lip_u_c == pytest.approx(12.0)


def test_a_pot_limit_lowers_the_top_of_the_window_and_no_loss_raises_it(plan_for: Plan) -> None:
    plan = plan_for(lip=(535.0, 590.0), loss_c=30.0, limit_c=600.0)
    mould = plan.moulds[0]
    assert lip_window_c(mould, plan) == (535.0, 570.0)
    assert tap_window_c(mould, plan) == (565.0, 600.0)


def test_a_window_that_the_pot_limit_closes_altogether_is_never_called(plan_for: Plan) -> None:
    plan = plan_for(lip=(575.0, 590.0), loss_c=40.0, limit_c=610.0)
    assert not any(judge_pour(c, 2.0, plan.moulds[0], plan, number=1).pour for c in range(500, 700))


def test_figures_in_the_words_are_in_the_readers_unit(plan_for: Plan) -> None:
    plan = plan_for(loss_u_c=0.0)
    why = judge_pour(570.0, 5.0, plan.moulds[0], plan, number=1).why
    assert "570 °C" in say(why)
    assert "1058 °F" in say(why, Unit.F)


# -- through the engine: a probe left in


def test_a_probe_in_metal_inside_the_window_calls_the_pour_once_after_a_dwell_and_repeats_it(bench: Bench) -> None:
    bench.in_metal(570.0)
    raised = bench.calls(CallKind.POUR)
    assert len(raised) == 1
    assert raised[0].mould == "cleat 1"
    start_s = bench.t_s
    outs = bench.run(30.5, 570.0)
    assert len(bench.calls(CallKind.POUR, "repeated", outs)) == 3  # every 10 s until answered
    assert bench.t_s - start_s == pytest.approx(30.5)
    assert bench.engine.state is MeltState.READY


@pytest.mark.parametrize("metal_c", [549.0, 553.0, 588.0, 595.0, 480.0])
def test_no_pour_is_called_while_the_band_is_not_surely_inside(bench: Bench, metal_c: float) -> None:
    bench.in_metal(metal_c)  # tap window 550 to 590; U about 5 of the loss and 3.5 of the probe
    bench.run(60.0, metal_c)
    assert not bench.calls(CallKind.POUR)


def test_silence_is_never_the_answer_inside_the_window(bench: Bench) -> None:
    bench.in_metal(553.0)
    assert bench.engine.state is MeltState.READY
    instruction = bench.engine.snapshot().instruction
    assert instruction.todo is ToDo.HOLD
    assert isinstance(instruction.text, Message)
    assert instruction.text.name == "instruction.hotter_is_surer"
    assert bench.engine.judgement is not None
    assert instruction.text.facts == {"cold_share": bench.engine.judgement.too_cold}


def test_metal_that_is_not_fully_liquid_is_not_called_whatever_the_window_says(bench: Bench, plan_for: Plan) -> None:
    bench.in_metal(500.0, plan_for(lip=(450.0, 540.0)))  # liquidus 484, margin 25
    assert not bench.calls(CallKind.POUR)
    bench.run(40.0, 512.0)
    assert len(bench.calls(CallKind.POUR)) == 1


def test_the_call_ends_when_the_metal_leaves_the_window(bench: Bench) -> None:
    bench.in_metal(565.0)
    assert bench.up(CallKind.POUR)
    bench.run(60.0, lambda t: 565.0 - 0.3 * t)
    assert bench.up(CallKind.POUR) is None
    assert bench.calls(CallKind.POUR, "ended")


def test_a_call_that_is_up_does_not_chatter_at_its_edge(bench: Bench) -> None:
    bench.in_metal(565.0)
    edge_c = 550.0 + math.hypot(5.0, bench.engine.metal.u_c)
    bench.run(60.0, lambda t: max(edge_c + 0.5, 565.0 - 0.3 * t))
    bench.run(60.0, lambda t: edge_c + 0.8 * math.sin(t))
    assert len(bench.calls(CallKind.POUR)) == 1
    assert not bench.calls(CallKind.POUR, "ended")


def test_no_number_from_the_probe_ends_the_call_within_three_seconds(bench: Bench) -> None:
    bench.in_metal(570.0)
    assert bench.up(CallKind.POUR)
    start_s = bench.t_s
    while bench.up(CallKind.POUR) and bench.t_s < start_s + 10.0:
        bench.t_s += 0.5
        bench.sample(None, flags=1)
    assert bench.t_s - start_s <= 3.5


def test_a_chamber_probe_calls_a_dip_and_never_a_pour(make_bench: type[Bench]) -> None:
    bench = make_bench(Place.CHAMBER)
    bench.start()
    bench.run(600.0, 570.0, step_s=1.0)
    assert not bench.calls(CallKind.POUR)
    assert len(bench.calls(CallKind.DIP)) == 1  # once: the chamber has been hotter than the window for two minutes
    assert bench.engine.metal.temp_c is None


def test_a_typed_handheld_figure_is_wide_and_old_after_ninety_seconds(bench: Bench, plan_for: Plan) -> None:
    bench.start(plan_for(lip=(520.0, 590.0), loss_c=10.0, limit_c=650.0))
    bench.do(inp.MarkPower(level=inp.PowerLevel.OFF))
    bench.do(inp.EnterTemperature(temp_c=570.0, instrument=inp.Instrument.METER))
    bench.run(2.0, None)
    assert bench.engine.metal.temp_c == 570.0
    assert bench.engine.metal.u_c >= 15.0
    bench.run(86.0, None)
    assert bench.engine.metal.temp_c == 570.0
    bench.run(4.0, None)
    assert bench.engine.metal.temp_c is None
    assert bench.up(CallKind.POUR) is None


# -- dips


@pytest.fixture
def dipping(make_bench: type[Bench], plan_for: Plan) -> Bench:
    bench = make_bench(Place.DIP)
    bench.start(plan_for(lip=(525.0, 575.0), loss_u_c=2.0))
    bench.do(inp.MarkPower(level=inp.PowerLevel.OFF))
    return bench


def test_a_settled_dip_calls_the_pour_and_says_which_dip(dipping: Bench) -> None:
    dipping.dip(565.0)
    (recorded,) = [out.dip for out in dipping.of(DipRecorded)]
    assert recorded.how == "settled"
    assert recorded.temp_c == pytest.approx(565.0, abs=0.5)
    call = dipping.up(CallKind.POUR)
    assert call is not None
    assert (dipping.engine.metal.source, dipping.engine.metal.dip) == (FigureSource.DIP, 1)


def test_a_dip_counts_for_ninety_seconds_and_its_uncertainty_grows(dipping: Bench) -> None:
    outs = dipping.dip(565.0)
    dip = next(out.dip for out in outs if isinstance(out, DipRecorded))
    young_u_c = dipping.engine.metal.u_c
    dipping.run(40.0, 60.0)
    old_u_c = dipping.engine.metal.u_c
    assert dip.u_c is not None
    assert old_u_c > young_u_c >= dip.u_c
    age_s = dipping.t_s - dip.ended_mono_s
    assert old_u_c == pytest.approx(math.hypot(dip.u_c, 3.0 * age_s / 60.0), rel=1e-6)
    dipping.run(dip.ended_mono_s + 90.0 - dipping.t_s, 60.0)
    assert dipping.engine.metal.temp_c is not None
    dipping.run(1.0, 60.0)
    assert dipping.engine.metal.temp_c is None
    assert dipping.up(CallKind.POUR) is None


def test_power_switched_on_after_a_dip_voids_it(dipping: Bench) -> None:
    dipping.dip(565.0)
    assert dipping.up(CallKind.POUR)
    dipping.do(inp.MarkPower(level=inp.PowerLevel.LOW))
    assert dipping.engine.metal.temp_c is None
    assert dipping.engine.metal.how == tell("figure.power_after_dip")
    assert dipping.up(CallKind.POUR) is None


def test_a_dip_too_short_to_settle_gives_no_figure_and_says_how_long_to_hold(dipping: Bench) -> None:
    outs = dipping.dip(565.0, hold_s=2.0, tau_s=2.0)
    dips = [out.dip for out in outs if isinstance(out, DipRecorded)]
    assert [dip.temp_c for dip in dips] in ([None], [])
    assert not dipping.calls(CallKind.POUR)


def test_a_shell_of_metal_frozen_on_the_tip_is_not_taken_for_the_bath(dipping: Bench) -> None:
    """A cold probe in metal just above its liquidus reads the frozen shell, flat, 100 degC too low
    (pourcall/sim/plant/probe.py)."""
    outs = dipping.dip(376.0)
    (dip,) = [out.dip for out in outs if isinstance(out, DipRecorded)]
    assert dip.temp_c is None
    assert dip.fault is not None
    assert dip.fault.below_liquidus
    assert dipping.engine.metal.temp_c is None


# -- not now, another mind, the lift


def test_not_now_is_an_answer_and_holds_for_two_minutes(bench: Bench) -> None:
    bench.in_metal(570.0)
    bench.do(inp.AnswerCall(call="pour", answer=inp.Answer.NOT_NOW))
    assert bench.up(CallKind.POUR) is None
    outs = bench.run(115.0, 570.0)
    assert not bench.calls(CallKind.POUR, "raised", outs)
    assert name_of(bench.engine.snapshot().instruction.text) == "instruction.not_now"
    outs = bench.run(10.0, 570.0)
    assert len(bench.calls(CallKind.POUR, "raised", outs)) == 1


def test_a_changed_plan_restarts_nothing_and_both_plans_are_kept(bench: Bench, plan_for: Plan) -> None:
    bench.in_metal(570.0)
    began_s = bench.engine.snapshot().melt_began_mono_s
    hotter = plan_for(lip=(600.0, 630.0), limit_c=700.0)
    outs = bench.do(inp.ChangeMelt(plan=hotter, why="thinner mould"))
    changed = next(out for out in outs if isinstance(out, MeltChanged))
    assert (changed.old.moulds[0].lip_min_c, changed.new.moulds[0].lip_min_c) == (535.0, 600.0)
    assert bench.up(CallKind.POUR) is None
    assert bench.engine.snapshot().melt_began_mono_s == began_s
    bench.run(10.0, 570.0)
    assert bench.engine.state is MeltState.LIQUID
    bench.run(60.0, lambda t: 570.0 + t)
    bench.run(10.0, 630.0)
    assert len(bench.calls(CallKind.POUR)) == 2


def test_after_the_lift_there_is_a_countdown_and_no_call_and_no_alarm(bench: Bench) -> None:
    bench.in_metal(570.0)
    bench.do(inp.MarkLift())
    outs = bench.run(60.0, lambda t: max(40.0, 570.0 * math.exp(-t / 8.0)))
    assert not [out for out in outs if isinstance(out, CallChanged | AlarmChanged)]
    shot = bench.engine.snapshot()
    assert shot.calls == ()
    # 570 less 15 arrives at 555: 20 degC to spare; the plan's loss of 15 degC stands for 20 s of walking
    # (by Newton's law of cooling a little longer: 535 degC above the surroundings at first)
    assert shot.countdown_s == pytest.approx(20.0 + 535.0 / (15.0 / 20.0) * math.log(535.0 / 515.0) - 60.0, abs=0.1)


def test_the_probe_leaving_after_a_pour_call_proposes_the_lift(bench: Bench) -> None:
    bench.in_metal(570.0)
    left_s = bench.t_s
    outs = bench.run(10.0, lambda t: 60.0 + 510.0 * math.exp(-t / 8.0))
    (lift,) = [out for out in outs if isinstance(out, LiftMarked)]
    assert lift.proposed
    assert lift.lift_mono_s == pytest.approx(left_s, abs=3.0)


def test_a_probe_that_comes_back_withdraws_the_lift_and_the_call_returns(bench: Bench) -> None:
    bench.in_metal(570.0)
    bench.run(8.0, lambda t: 60.0 + 510.0 * math.exp(-t / 8.0))
    assert bench.engine.run is not None
    assert bench.engine.run.lift_s is not None
    low_c = 60.0 + 510.0 * math.exp(-1.0)
    outs = bench.run(40.0, lambda t: 570.0 - (570.0 - low_c) * math.exp(-t / 1.5))
    assert bench.engine.run.lift_s is None
    assert any(getattr(out, "what", "") == "lift_withdrawn" for out in outs)
    assert len(bench.calls(CallKind.POUR, "raised", outs)) == 1


def test_the_probe_leaving_cold_metal_proposes_no_lift(bench: Bench) -> None:
    bench.in_metal(500.0)
    outs = bench.run(10.0, lambda t: 60.0 + 440.0 * math.exp(-t / 8.0))
    assert not [out for out in outs if isinstance(out, LiftMarked)]


def test_marking_backwards_uses_the_temperature_of_that_moment(bench: Bench) -> None:
    bench.in_metal(585.0)
    start_s = bench.t_s
    bench.run(120.0, lambda t: 585.0 - 0.2 * t)
    outs = bench.do(inp.MarkPour(ago_s=40.0))
    (marked,) = [out.pour for out in outs if isinstance(out, PourMarked)]
    assert marked.at_mono_s == pytest.approx(start_s + 80.0)
    assert marked.marked == "backwards"
    # the metal falls by 12 degC a minute; a thin sheath is a second behind, which is allowed for
    assert marked.pot_temp_c == pytest.approx(585.0 - 0.2 * 80.0, abs=0.6)
    assert marked.pot_temp_c is not None
    assert marked.lip_temp_c == pytest.approx(marked.pot_temp_c - 15.0)


def test_later_moulds_of_one_lift_arrive_colder(bench: Bench, plan_for: Plan) -> None:
    bench.in_metal(575.0, plan_for(moulds=2))
    bench.do(inp.MarkLift())
    bench.run(20.0, 100.0)
    first = bench.do(inp.MarkPour())
    bench.run(20.0, 100.0)
    second = bench.do(inp.MarkPour())
    one, two = (next(o.pour for o in outs if isinstance(o, PourMarked)) for outs in (first, second))
    assert (one.mould, two.mould) == ("cleat 1", "cleat 2")
    assert one.lip_temp_c == pytest.approx(575.0 - 15.0, abs=0.5)  # 20 s of walk is what the loss stands for
    assert two.lip_temp_c == pytest.approx(575.0 - 30.0, abs=0.5)  # 20 s more at the same rate
    assert one.lip_u_c is not None
    assert two.lip_u_c is not None
    assert two.lip_u_c > one.lip_u_c
    assert two.lift_mono_s == one.lift_mono_s


def test_a_corrected_probe_state_is_believed(bench: Bench) -> None:
    bench.in_metal(570.0)
    bench.do(inp.SetProbeState(probe="metal", state=ProbeState.OUT))
    assert bench.engine.metal.temp_c is None
    assert bench.up(CallKind.POUR) is None


def test_cut_power_is_called_a_minute_ahead_and_ends_when_power_is_off(bench: Bench) -> None:
    bench.in_metal(520.0)
    bench.do(inp.MarkPower(level=inp.PowerLevel.HIGH))
    bench.run(120.0, lambda t: 520.0 + 0.5 * t)
    (call,) = bench.calls(CallKind.CUT_POWER)
    # aim 570 (middle of 550 to 590) comes at 30 degC a minute: the call is due at 540, 40 s after the rise began
    assert call.raised_mono_s - (bench.t_s - 120.0) == pytest.approx(40.0, abs=12.0)
    outs = bench.do(inp.MarkPower(level=inp.PowerLevel.OFF))
    assert len(bench.calls(CallKind.CUT_POWER, "ended", outs)) == 1 or not bench.up(CallKind.CUT_POWER)


def test_window_closing_is_called_before_it_closes_while_the_pour_is_on(bench: Bench) -> None:
    bench.in_metal(572.0)
    bench.run(70.0, lambda t: 572.0 - 0.2 * t)
    closing = bench.calls(CallKind.WINDOW_CLOSING)
    assert len(closing) == 1
    assert isinstance(closing[0].text, Message)
    assert closing[0].text.name == "call.closing.cold"
