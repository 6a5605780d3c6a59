"""One situation, one instruction: what is called, shown and told never contradicts itself."""

import math
import random
from collections.abc import Callable
from functools import partial

import msgspec
import pytest

from pourcall.contract import events as ev
from pourcall.contract import inputs as inp
from pourcall.contract.events import CallKind, LiftMarked, Marked, MeltState, PourMarked
from pourcall.contract.message import Message, tell
from pourcall.contract.one_lift import aim_c, at_lift, one_lift
from pourcall.contract.plan import MeltPlan, no_aim, tap_window_c, waiting_loss_c, waiting_time_s
from pourcall.contract.profile_plan import ProfilePlan, ProfileSegment, SegmentKind
from pourcall.contract.reading import Place, ProbeState
from pourcall.contract.snapshot import Interval, ToDo
from pourcall.engine.bath.metal import MetalNow
from pourcall.engine.core import Engine
from pourcall.engine.melt.melt_run import MeltRun
from pourcall.engine.situation import Ahead, Side, closing_of, next_mould
from pourcall.metal.alloys.sheet import load_sheets
from pourcall.sim.scenarios.normal_melts import normal_melt, run
from tests.engine.conftest import Bench, make_plan
from tests.engine.invariants import Ageing, Lasting, contradictions
from tests.simulated import config_of

Plan = Callable[..., MeltPlan]


# -- one fact, one consequence


def marks(outs: list[ev.Output]) -> list[str]:
    return [out.what for out in outs if isinstance(out, Marked)]


def test_done_on_the_skim_call_is_a_skim_like_any_other(bench: Bench) -> None:
    bench.start()
    bench.run(5.0, 20.0)
    bench.do(inp.SetProbeState(probe="metal", state=ProbeState.IN_METAL))
    bench.run(20.0, 545.0)
    assert bench.up(CallKind.SKIM)
    told = marks(bench.do(inp.AnswerCall(call="skim", answer=inp.Answer.DONE)))
    other = Bench()
    other.start()
    assert told == marks(other.do(inp.MarkSkim())) == ["skim"]
    assert bench.engine.run is not None
    assert bench.engine.run.skimmed_s == bench.t_s


def test_done_on_the_pour_call_is_a_pour_of_the_mould_it_named(bench: Bench) -> None:
    bench.in_metal(570.0, make_plan(moulds=2))
    assert bench.up(CallKind.POUR)
    (pour,) = [
        out for out in bench.do(inp.AnswerCall(call="pour", answer=inp.Answer.DONE)) if isinstance(out, PourMarked)
    ]
    assert pour.pour.mould == "cleat 1"


def test_a_pour_without_a_lift_is_a_lift_too_and_leaves_no_alarm_of_the_pot_behind(bench: Bench) -> None:
    bench.in_metal(600.0)  # above its window of 550 to 590
    bench.run(70.0, 600.0)
    assert "above_window:small" in bench.alarms()
    outs = bench.do(inp.MarkPour())
    (lift,) = [out for out in outs if isinstance(out, LiftMarked)]
    assert lift.proposed
    bench.do(inp.AckAlarm())
    bench.run(30.0, 600.0)
    assert bench.alarms() == {}


def test_power_said_by_a_key_or_by_an_answer_is_recorded_the_same(bench: Bench) -> None:
    bench.in_metal(520.0)
    bench.do(inp.MarkPower(level=inp.PowerLevel.HIGH))
    bench.run(120.0, lambda t: 520.0 + 0.5 * t)
    assert bench.up(CallKind.CUT_POWER)
    outs = bench.do(inp.AnswerCall(call="cut_power", answer=inp.Answer.DONE))
    (power,) = [out for out in outs if isinstance(out, ev.PowerMarked)]
    assert power.level is inp.PowerLevel.OFF
    assert bench.engine.snapshot().power is inp.PowerLevel.OFF


# -- the pot in the hand


def test_with_the_window_closed_and_metal_in_the_hand_the_person_chooses_and_is_not_told_to_pour(bench: Bench) -> None:
    bench.in_metal(570.0)
    bench.do(inp.MarkLift())
    assert bench.engine.snapshot().instruction.todo is ToDo.MARK_POUR
    bench.run(60.0, None)
    shot = bench.engine.snapshot()
    assert shot.countdown_s is not None
    assert shot.countdown_s < 0.0
    assert shot.instruction.todo is ToDo.CHOOSE
    assert shot.calls == ()
    assert shot.melt_state is MeltState.LIQUID


def test_metal_that_freezes_in_the_hand_goes_into_no_mould_and_the_person_chooses_what_becomes_of_it(
    bench: Bench,
) -> None:
    """ZA-27 (its sheet): liquid from 484 on, solid below 376."""
    bench.in_metal(570.0)
    bench.do(inp.MarkLift())
    seen: dict[MeltState, str] = {}
    for _ in range(600):
        bench.run(1.0, None)
        shot = bench.engine.snapshot()
        assert shot.window is not None
        assert shot.window.lip_now_c is not None
        assert isinstance(shot.instruction.text, Message)
        lip_c, alloy = shot.window.lip_now_c, make_plan().alloy
        if lip_c < alloy.solidus_c:
            assert shot.melt_state is MeltState.SOLID
        elif lip_c < alloy.liquidus_c:
            assert shot.melt_state is MeltState.FREEZING
        seen.setdefault(shot.melt_state, shot.instruction.text.name)
    assert seen[MeltState.LIQUID] == "instruction.window_closed"
    assert seen[MeltState.FREEZING] == "instruction.part_frozen_in_hand"
    assert seen[MeltState.SOLID] == "instruction.solid_in_hand"


def test_nor_where_no_pot_temperature_served_the_mould(bench: Bench) -> None:
    bench.in_metal(560.0, make_plan(lip=(600.0, 640.0), limit_c=598.0))
    bench.do(inp.MarkLift())
    bench.run(150.0, None)
    shot = bench.engine.snapshot()
    assert isinstance(shot.instruction.text, Message)
    assert shot.instruction.text.name == "instruction.part_frozen_in_hand"


@pytest.mark.parametrize(("metal_c", "todo"), [(560.0, ToDo.NO_AIM), (605.0, ToDo.COOL)])  # the limit comes first
def test_where_no_pot_temperature_serves_the_mould_nothing_says_that_hotter_is_wanted(
    bench: Bench, metal_c: float, todo: ToDo
) -> None:
    bench.in_metal(metal_c, make_plan(lip=(600.0, 640.0), limit_c=598.0))  # it would take 615 in the pot
    shot = bench.engine.snapshot()
    assert shot.instruction.todo is todo
    assert shot.instruction.must
    assert not bench.calls(CallKind.POUR)


@pytest.mark.parametrize("metal_c", [300.0, 470.0, 560.0])
def test_where_no_pot_temperature_serves_the_mould_no_window_is_shown_or_waited_for(
    bench: Bench, metal_c: float
) -> None:
    bench.in_metal(metal_c, make_plan(lip=(600.0, 640.0), limit_c=598.0))
    bench.do(inp.MarkPower(level=inp.PowerLevel.HIGH))
    bench.run(60.0, lambda t: metal_c + 0.1 * t)
    shot = bench.engine.snapshot()
    assert shot.instruction.todo is ToDo.NO_AIM
    assert isinstance(shot.instruction.why, Message)
    assert shot.instruction.why.facts == {"lowest_c": 615.0, "highest_c": 598.0}
    assert shot.window is not None
    assert shot.plan is not None
    assert shot.window.no_aim == no_aim(shot.plan.moulds[0], shot.plan)
    assert (shot.window.too_cold, shot.window.too_hot) == (None, None)
    assert shot.ahead is None or shot.ahead.ready_s is None
    bench.do(inp.MarkLift())
    assert bench.engine.snapshot().countdown_s is None


# -- one lift for every mould


def test_the_power_is_cut_for_where_every_mould_can_be_poured_from_one_lift(bench: Bench) -> None:
    plan = two_from_one_lift()
    together = one_lift(plan, plan.moulds)
    assert together.suits
    assert together.lowest_c > tap_window_c(plan.moulds[0], plan)[0]
    bench.in_metal(545.0, plan)
    bench.do(inp.MarkPower(level=inp.PowerLevel.HIGH))
    bench.run(100.0, lambda t: 545.0 + 0.4 * t)
    (cut,) = bench.calls(CallKind.CUT_POWER)
    assert isinstance(cut.text, Message)
    assert cut.text.facts["aim_c"] == aim_c(plan, plan.moulds) == together.middle_c
    bench.do(inp.MarkPour())
    assert bench.engine.run is not None
    assert bench.engine.run.aim_c == at_lift(plan, plan.moulds[1]).middle_c  # the first has its metal


def test_while_it_rises_no_pour_is_called_that_would_leave_the_second_mould_too_cold(bench: Bench) -> None:
    plan = two_from_one_lift()
    together = one_lift(plan, plan.moulds)
    bench.in_metal(545.0, plan)
    bench.run(100.0, lambda t: 545.0 + 0.3 * t)
    held = bench.engine.judgement
    assert held is not None
    called_at = [call.why.facts["metal_c"] for call in bench.calls(CallKind.POUR) if isinstance(call.why, Message)]
    assert called_at
    assert all(isinstance(at_c, float) and at_c >= together.lowest_c - 1.0 for at_c in called_at)


def test_metal_that_rises_no_more_is_called_for_the_mould_that_it_fits(bench: Bench) -> None:
    plan = two_from_one_lift()
    bench.in_metal(561.0, plan)
    assert one_lift(plan, plan.moulds).lowest_c > 561.0
    assert bench.up(CallKind.POUR)


@pytest.mark.parametrize("marked", [False, True])
def test_a_lid_or_a_skim_frees_no_pour_that_is_held_for_the_moulds_that_follow(bench: Bench, marked: bool) -> None:
    plan = two_from_one_lift()
    bench.in_metal(545.0, plan)
    bench.do(inp.MarkPower(level=inp.PowerLevel.HIGH))
    bench.run(60.0, lambda t: 545.0 + 16.0 * t / 60.0)
    assert one_lift(plan, plan.moulds).lowest_c > 561.0
    if marked:
        bench.do(inp.MarkSkim())
    bench.run(45.0, lambda t: 561.0 - t / 30.0)
    assert bench.up(CallKind.POUR) is None
    bench.run(90.0, 559.5)
    assert bench.up(CallKind.POUR), "it does not rise any more: a thermostat holds it"


def test_with_the_power_off_a_pause_is_the_end_of_the_rise(bench: Bench) -> None:
    plan = two_from_one_lift()
    bench.in_metal(545.0, plan)
    bench.do(inp.MarkPower(level=inp.PowerLevel.HIGH))
    bench.run(60.0, lambda t: 545.0 + 16.0 * t / 60.0)
    bench.do(inp.MarkPower(level=inp.PowerLevel.OFF))
    bench.run(30.0, 561.0)
    assert bench.up(CallKind.POUR)


def test_a_mould_that_no_temperature_serves_bars_none_that_can_be_poured(bench: Bench) -> None:
    plan = make_plan(moulds=2, lip=(525.0, 575.0))
    hot = msgspec.structs.replace(plan.moulds[0], lip_min_c=640.0, lip_max_c=680.0)
    plan = msgspec.structs.replace(plan, moulds=(hot, plan.moulds[1]))
    assert no_aim(hot, plan)
    bench.in_metal(565.0, plan)
    call = bench.up(CallKind.POUR)
    assert call is not None
    assert call.mould == "cleat 2"
    bench.do(inp.MarkPour())
    shot = bench.engine.snapshot()
    assert shot.window is not None
    assert shot.window.no_aim is not None, "then the other is next, and it is said that nothing serves it"


def two_from_one_lift() -> MeltPlan:
    """One figure for the walk, 15 degC in 20 s; the second mould waits half a minute longer."""
    plan = make_plan(moulds=2)
    first, second = plan.moulds
    return msgspec.structs.replace(plan, moulds=(first, msgspec.structs.replace(second, turn_s=50.0)))


def test_metal_lifted_too_hot_is_waited_for_and_then_poured(bench: Bench) -> None:
    bench.in_metal(600.0)  # arrives at 585 after the walk, the mould takes 535 to 575
    bench.do(inp.MarkLift())
    bench.run(2.0, None)
    shot = bench.engine.snapshot()
    assert shot.instruction.todo is ToDo.COOL
    assert isinstance(shot.instruction.text, Message)
    assert shot.instruction.text.name == "instruction.too_hot_in_hand"
    # 15 degC in 20 s of walking; 10 degC more to lose by Newton's law from 565 degC above the surroundings
    rate = 15.0 / 20.0
    wanted_s = 20.0 - 2.0 + 565.0 / rate * math.log(565.0 / 555.0)
    assert shot.instruction.text.facts["left_s"] == pytest.approx(wanted_s, abs=0.5)
    bench.run(math.ceil(wanted_s) + 1.0, None)
    assert bench.engine.snapshot().instruction.todo is ToDo.MARK_POUR


def test_a_lift_of_metal_whose_temperature_nobody_knows_is_marked_and_not_commanded(bench: Bench) -> None:
    bench.start()
    bench.do(inp.MarkLift())
    bench.run(2.0, None)
    instruction = bench.engine.snapshot().instruction
    assert instruction.todo is ToDo.MARK_POUR
    assert not instruction.must


@pytest.mark.parametrize("minutes", [0.0, 1.0, 22.0, 600.0])
def test_a_pour_marked_long_after_the_lift_has_cooled_no_further_than_the_room(bench: Bench, minutes: float) -> None:
    bench.in_metal(570.0)
    bench.do(inp.MarkLift())
    bench.run(10.0, None)
    bench.t_s += 60.0 * minutes
    (out,) = [o for o in bench.do(inp.MarkPour()) if isinstance(o, PourMarked)]
    assert out.pour.lip_temp_c is not None
    assert out.pour.pot_temp_c is not None
    assert 20.0 <= out.pour.lip_temp_c < out.pour.pot_temp_c


def test_a_pour_by_estimate_below_the_solidus_is_kept_and_asked_about(bench: Bench) -> None:
    bench.in_metal(570.0)
    bench.do(inp.MarkLift())
    bench.t_s += 22.0 * 60.0
    outs = bench.do(inp.MarkPour())
    assert [out for out in outs if isinstance(out, PourMarked)]
    assert "pour_doubtful" in marks(outs)


# Newton's law of cooling, dT/dt = -k (T - T0), solved: T0 + (T1 - T0) exp(-k t).
def test_waiting_costs_what_newtons_law_says_and_its_time_is_the_inverse() -> None:
    mould = make_plan(loss_c=15.0).moulds[0]
    k_per_s = (15.0 / 20.0) / (560.0 - 20.0)
    for extra_s in (0.0, 5.0, 60.0, 3600.0):
        lost_c = waiting_loss_c(mould, 560.0, extra_s)
        assert 560.0 - lost_c == pytest.approx(20.0 + 540.0 * math.exp(-k_per_s * extra_s))
        back_s = waiting_time_s(mould, 560.0, 560.0 - lost_c)
        assert back_s is None or back_s == pytest.approx(extra_s, abs=1e-6)


# -- the window closing


def closing(metal_c: float, rate: float, ahead: Ahead, *, said: bool = False) -> Side | None:
    run_ = MeltRun(make_plan(), 0.0)  # in the pot 550 to 590
    found = closing_of(
        next_mould(run_, None), MetalNow(metal_c, 3.0, "", ev.FigureSource.PROBE), rate, ahead, said=said
    )
    return None if found is None else found.side


def test_a_window_closes_on_the_side_the_metal_moves_to() -> None:
    assert closing(585.0, 10.0, Ahead()) is Side.HOT
    assert closing(555.0, -10.0, Ahead()) is Side.COLD
    assert closing(570.0, 10.0, Ahead()) is None  # two minutes off


def test_a_rise_that_coasts_out_inside_the_window_does_not_close_it() -> None:
    assert closing(565.0, 26.0, Ahead(peak_c=Interval(578.0, 570.0, 586.0))) is None
    assert closing(565.0, 26.0, Ahead(peak_c=Interval(598.0, 590.0, 606.0))) is Side.HOT


def test_what_is_said_of_a_closing_window_stays_a_little_beyond_where_it_began_and_does_not_chatter() -> None:
    assert closing(577.5, 10.0, Ahead(), said=False) is None  # 75 s off
    assert closing(577.5, 10.0, Ahead(), said=True) is Side.HOT
    assert closing(570.0, 10.0, Ahead(), said=True) is None  # two minutes off
    assert closing(585.0, 0.4, Ahead(), said=True) is None  # it stands
    assert closing(565.0, 26.0, Ahead(peak_c=Interval(589.0, 580.0, 598.0)), said=False) is None
    assert closing(565.0, 26.0, Ahead(peak_c=Interval(589.0, 580.0, 598.0)), said=True) is Side.HOT


def test_no_window_closes_on_a_rate_that_no_pot_can_have() -> None:
    assert closing(555.0, -223.0, Ahead()) is None


# -- a changed mind


def test_another_alloy_that_is_solid_at_this_temperature_is_not_poured(bench: Bench) -> None:
    bench.in_metal(570.0)
    assert bench.engine.snapshot().instruction.todo is ToDo.POUR
    bronze = load_sheets().get("c87300").facts()
    plan = make_plan(lip=(1050.0, 1150.0), limit_c=1250.0)
    bench.do(
        inp.ChangeMelt(
            plan=MeltPlan(melt=plan.melt, alloy=bronze, charge_kg=1.5, moulds=plan.moulds, limits=plan.limits)
        )
    )
    bench.run(5.0, 570.0)
    shot = bench.engine.snapshot()
    assert shot.melt_state is MeltState.SOLID
    assert shot.instruction.todo is ToDo.WAIT


def test_with_every_mould_poured_and_the_power_on_it_is_cut_before_the_pot_is_emptied(bench: Bench) -> None:
    bench.in_metal(570.0)
    bench.do(inp.MarkPower(level=inp.PowerLevel.HIGH))
    bench.do(inp.MarkPour())
    bench.run(1000.0, 570.0)  # the pot stands in the furnace again
    instruction = bench.engine.snapshot().instruction
    assert (instruction.todo, instruction.level) == (ToDo.CUT, inp.PowerLevel.OFF)
    bench.do(inp.MarkPower(level=inp.PowerLevel.OFF))
    assert bench.engine.snapshot().instruction.todo is ToDo.EMPTY


def test_a_furnace_that_is_hot_without_a_melt_is_not_called_ready_to_be_charged(bench: Bench) -> None:
    def text() -> object:
        return getattr(bench.engine.snapshot().instruction.text, "name", "")

    bench.run(5.0, 20.0)
    assert text() == "instruction.start"
    bench.do(inp.MarkPower(level=inp.PowerLevel.HIGH))
    assert text() == "instruction.start_hot"
    bench.do(inp.MarkPower(level=inp.PowerLevel.OFF))
    bench.do(inp.SetProbeState(probe="metal", state=ProbeState.IN_METAL))
    bench.run(20.0, 500.0)
    assert text() == "instruction.start_hot"


# -- nothing contradicts itself


def walk_through(seed: int, every: int) -> list[str]:
    scenario = normal_melt(seed)
    engine = Engine(config_of(scenario))
    found: list[str] = []
    ageing = Ageing()
    for number, (item, _) in enumerate(run(scenario)):
        engine.handle(item)
        if number % every == 0:
            wrongs = (*contradictions(shot := engine.snapshot()), *ageing.see(shot))
            found += [f"seed {seed}, {item.mono_s:.0f} s: {wrong}" for wrong in wrongs]
    return found


@pytest.mark.parametrize("seed", range(300, 316))
def test_no_snapshot_of_a_normal_melt_contradicts_itself(seed: int) -> None:
    assert walk_through(seed, 7)[:5] == []


@pytest.mark.long
@pytest.mark.timeout(1800)
def test_no_snapshot_of_four_hundred_normal_melts_contradicts_itself() -> None:
    assert [wrong for seed in range(1000, 1400) for wrong in walk_through(seed, 3)[:2]] == []


UNTIL_TOLD = ProfilePlan(
    name="cleats",
    alloy="za27",
    hash="none",
    segments=(ProfileSegment(kind=SegmentKind.HOLD, to_c=565.0, asked="565C", wait_within_c=30.0),),
    limit_c=600.0,
    limit_whose="alloy",
)
COMMANDS: tuple[Callable[[random.Random], inp.Command], ...] = (
    lambda dice: inp.MarkLift(ago_s=dice.choice((0.0, 0.0, 20.0))),
    lambda dice: inp.MarkPour(ago_s=dice.choice((0.0, 0.0, 40.0)), mould=dice.choice(("", "cleat 1", "cleat 2"))),
    lambda dice: inp.MarkSkim(),
    lambda dice: inp.MarkAddition(mass_kg=dice.choice((None, 0.3))),
    lambda dice: inp.MarkPower(level=dice.choice(list(inp.PowerLevel))),
    lambda dice: inp.AnswerCall(call=dice.choice(list(CallKind)).value, answer=dice.choice(list(inp.Answer))),
    lambda dice: inp.EnterTemperature(
        temp_c=dice.uniform(300.0, 700.0), instrument=dice.choice((inp.Instrument.PANEL, inp.Instrument.METER))
    ),
    lambda dice: inp.SetPlace(probe="metal", place=dice.choice((Place.MELT, Place.DIP, Place.CHAMBER))),
    lambda dice: inp.SetProbeState(probe="metal", state=dice.choice(list(ProbeState))),
    lambda dice: inp.CorrectPour(number=1, mould=dice.choice(("", "cleat 2"))),
    lambda dice: inp.AckAlarm(),
    lambda dice: inp.RunProfile(profile=UNTIL_TOLD),
    lambda dice: inp.NextSegment(),
    lambda dice: inp.EndMelt(ending=dice.choice(list(inp.MeltEnding))),
    lambda dice: inp.ChangeMelt(plan=make_plan(lip=dice.choice(((500.0, 520.0), (535.0, 575.0))), moulds=2)),
)


def settling_c(from_c: float, towards_c: float, tau_s: float, since_s: float) -> float:
    return towards_c + (from_c - towards_c) * math.exp(-since_s / tau_s)


def later(course: Callable[[float], float], by_s: float, since_s: float) -> float:
    return course(by_s + since_s)


def random_shop(seed: int, steps: int) -> list[str]:
    """A probe that goes anywhere and fails, and a person who presses anything."""
    dice = random.Random(seed)
    bench = Bench()
    bench.start(make_plan(moulds=2, loss_c=dice.choice((0.0, 15.0, 60.0))))
    temp_c, found, lasting, ageing = 20.0, [], Lasting(), Ageing()
    for step in range(steps):
        towards_c = dice.choice((20.0, 480.0, 545.0, 570.0, 585.0, 640.0))
        seconds = dice.choice((1.0, 3.0, 10.0, 40.0))
        lost = dice.random() < 0.1
        start_c, tau_s = temp_c, dice.choice((1.0, 4.0, 30.0, 200.0))
        course = partial(settling_c, start_c, towards_c, tau_s)
        for second in range(round(seconds)):
            bench.run(1.0, None if lost else partial(later, course, float(second)))
            shot = bench.engine.snapshot()
            found += [f"seed {seed}, step {step}: {wrong}" for wrong in (*lasting.see(shot), *ageing.see(shot))]
        temp_c = temp_c if lost else course(seconds)
        if dice.random() < 0.6:
            bench.do(dice.choice(COMMANDS)(dice))
        if bench.engine.run is None:
            bench.start(make_plan(moulds=2))
            ageing = Ageing()
        found += [f"seed {seed}, step {step}: {wrong}" for wrong in contradictions(bench.engine.snapshot())]
    return found


@pytest.mark.parametrize("seed", range(8))
def test_no_snapshot_contradicts_itself_whatever_the_probe_does_and_whatever_is_pressed(seed: int) -> None:
    assert random_shop(seed, 60)[:5] == []


@pytest.mark.long
@pytest.mark.timeout(1800)
def test_no_snapshot_of_a_thousand_random_shops_contradicts_itself() -> None:
    assert [wrong for seed in range(5000, 6000) for wrong in random_shop(seed, 150)[:2]] == []


def test_with_the_pot_back_and_the_power_off_it_is_said_that_it_gets_no_hotter_so(bench: Bench) -> None:
    bench.start()
    bench.do(inp.MarkPower(level=inp.PowerLevel.OFF))
    bench.do(inp.EnterTemperature(temp_c=570.0, instrument=inp.Instrument.METER))
    bench.do(inp.MarkLift())
    bench.run(60.0, None)
    bench.do(inp.MarkReturn())
    assert bench.engine.snapshot().instruction.why == tell("instruction.power_is_off")


def test_nobody_is_asked_to_skim_metal_above_its_limit_and_the_instruction_says_to_let_it_cool(
    bench: Bench, plan_for: Plan
) -> None:
    bench.start(plan_for(lip=(545.0, 590.0), limit_c=600.0))
    bench.do(inp.MarkPower(level=inp.PowerLevel.OFF))
    bench.run(5.0, 20.0)
    bench.do(inp.SetProbeState(probe="metal", state=ProbeState.IN_METAL))
    bench.run(20.0, 560.0)
    assert bench.up(ev.CallKind.SKIM) is not None
    bench.run(40.0, lambda t: min(560.0 + 1.2 * t, 605.0))
    bench.run(30.0, 605.0)
    assert bench.up(ev.CallKind.SKIM) is None
    now = bench.engine.snapshot().instruction
    assert isinstance(now.text, Message)
    assert (now.todo, now.text.name) == (ToDo.COOL, "instruction.over_limit")
