"""What was asked for and is not done comes again: after a change, a lift that was none, *not now*. And what may not."""

import math

import msgspec
import pytest

from pourcall.contract import inputs as inp
from pourcall.contract.events import CallKind, ProfileChanged, ProfileHow
from pourcall.contract.inputs import NOT_NOW_S
from pourcall.contract.profile_plan import ProfilePlan, ProfileSegment, SegmentKind
from pourcall.contract.reading import Place, ProbeState
from pourcall.metal.alloys.sheet import load_sheets
from tests.engine.conftest import Bench, make_plan

WAITING = ProfilePlan(
    name="cleats",
    alloy="za27",
    hash="none",
    segments=(ProfileSegment(kind=SegmentKind.HOLD, to_c=570.0, asked="570C"),),
    limit_c=600.0,
    limit_whose="alloy",
)


def waiting(bench: Bench) -> None:
    """A hold without an end of its own is reached and waits to be told."""
    bench.in_metal(540.0)
    bench.do(inp.MarkPower(level=inp.PowerLevel.LOW))
    bench.do(inp.RunProfile(profile=WAITING))
    bench.run(60.0, lambda t: 540.0 + t / 2.0)
    bench.run(20.0, 570.0)
    assert waits(bench)


def waits(bench: Bench) -> bool:
    step, profile = bench.up(CallKind.STEP), bench.engine.snapshot().profile
    assert profile is not None
    return step is not None and profile.waits


def test_a_hold_that_waits_to_be_told_still_waits_after_a_change_of_the_melt(bench: Bench) -> None:
    waiting(bench)
    bench.do(inp.ChangeMelt(plan=make_plan(moulds=2)))
    bench.run(2.0, 570.0)
    assert waits(bench)


def test_a_hold_that_waits_to_be_told_waits_again_after_a_lift_that_was_none(bench: Bench) -> None:
    waiting(bench)
    bench.run(20.0, lambda t: 20.0 + 550.0 * math.exp(-t / 20.0))  # the probe comes out, into air
    assert bench.engine.snapshot().lift_mono_s is not None
    assert bench.up(CallKind.STEP) is None
    bench.run(40.0, lambda t: 570.0 - 350.0 * math.exp(-t))
    assert bench.engine.snapshot().lift_mono_s is None
    assert waits(bench)


def test_a_hold_that_waits_comes_again_two_minutes_after_not_now(bench: Bench) -> None:
    waiting(bench)
    bench.do(inp.AnswerCall(call="step", answer=inp.Answer.NOT_NOW))
    bench.run(NOT_NOW_S - 5.0, 570.0)
    assert bench.up(CallKind.STEP) is None
    bench.run(10.0, 570.0)
    assert waits(bench)


def test_a_profile_of_another_alloy_stops_with_the_alloy_and_says_why(bench: Bench) -> None:
    waiting(bench)
    plan = make_plan(lip=(1050.0, 1150.0), limit_c=1250.0)
    outs = bench.do(inp.ChangeMelt(plan=msgspec.structs.replace(plan, alloy=load_sheets().get("c87300").facts())))
    (changed,) = bench.of(ProfileChanged, outs)
    assert changed.how is ProfileHow.STOPPED
    assert changed.text.name == "guidance.alloy_changed"
    assert bench.up(CallKind.STEP) is None


def test_a_skim_put_off_is_called_again_two_minutes_later_and_one_that_was_made_is_not(bench: Bench) -> None:
    bench.start()
    bench.run(5.0, 20.0)
    bench.do(inp.SetProbeState(probe="metal", state=ProbeState.IN_METAL))
    bench.run(20.0, 545.0)
    bench.do(inp.AnswerCall(call="skim", answer=inp.Answer.NOT_NOW))
    bench.run(NOT_NOW_S - 5.0, 545.0)
    assert bench.up(CallKind.SKIM) is None
    bench.run(10.0, 545.0)
    assert bench.up(CallKind.SKIM)
    bench.do(inp.MarkSkim())
    bench.run(2.0 * NOT_NOW_S, 545.0)
    assert bench.up(CallKind.SKIM) is None


def test_a_skim_put_off_does_not_come_between_a_pour_that_is_called(bench: Bench) -> None:
    bench.start()
    bench.run(5.0, 20.0)
    bench.do(inp.SetProbeState(probe="metal", state=ProbeState.IN_METAL))
    bench.run(20.0, 545.0)
    bench.do(inp.AnswerCall(call="skim", answer=inp.Answer.NOT_NOW))
    bench.run(50.0, lambda t: 545.0 + t / 2.0)
    bench.run(200.0, 570.0)
    assert bench.up(CallKind.POUR)
    assert len(bench.calls(CallKind.SKIM)) == 1


# -- a probe on its way in tells no rate of the metal
# First order: T - (T - T0) exp(-t/tau), tau of the sheath (pourcall/thermometry/sheaths.py); the metal stands still.
@pytest.mark.parametrize(("sheath", "tau_s"), [("thin", 1.0), ("mineral_3mm", 1.3), ("mineral_6mm", 4.2)])
@pytest.mark.parametrize("metal_c", [540.0, 555.0, 565.0])
def test_a_dip_into_metal_that_stands_still_never_calls_to_cut_the_power(
    sheath: str, tau_s: float, metal_c: float
) -> None:
    bench = Bench(Place.DIP, sheath=sheath)
    bench.start()
    bench.do(inp.MarkPower(level=inp.PowerLevel.HIGH))
    bench.run(6.0, 60.0)
    start_s, rates = bench.t_s, []
    for _ in range(90):
        bench.run(1.0, lambda _: metal_c - (metal_c - 60.0) * math.exp(-(bench.t_s - start_s) / tau_s))
        rates.append(bench.engine.rate_c_per_min or 0.0)
    assert max(rates) < 0.5
    assert bench.calls(CallKind.CUT_POWER) == []


def test_a_probe_left_in_metal_that_rises_still_tells_how_fast_and_calls_to_cut(bench: Bench) -> None:
    bench.in_metal(520.0)
    bench.do(inp.MarkPower(level=inp.PowerLevel.HIGH))
    bench.run(120.0, lambda t: 520.0 + 0.4 * t)
    assert bench.engine.rate_c_per_min == pytest.approx(24.0, abs=1.0)
    assert bench.up(CallKind.CUT_POWER)
