"""Is the pot back in the furnace: what a person tells, what the trace proves, what is asked where it proves nothing.

How fast a pot of metal cools in the open: the simulated plant and metal/heat/transfer.py. What no pot in the open does
is to hold its temperature or to warm.
"""

import math

import pytest

from pourcall.contract import inputs as inp
from pourcall.contract.events import Marked, MarkKind, PourMarked
from pourcall.contract.message import Message, tell
from pourcall.contract.questions import LIFT_LASTS_S
from pourcall.contract.reading import ProbeState
from pourcall.contract.snapshot import ToDo
from tests.engine.conftest import Bench, make_plan


def lifted(bench: Bench, moulds: int = 2) -> None:
    bench.in_metal(570.0, make_plan(moulds=moulds))
    bench.do(inp.MarkLift())


def drawn(bench: Bench, seconds: float) -> None:
    bench.run(seconds, lambda t: 60.0 + 510.0 * math.exp(-t / 5.0))


def stood_in(bench: Bench, seconds: float, *, from_c: float, c_per_s: float) -> None:
    """The probe is put into metal that cools, or warms, at a rate."""
    bench.run(10.0, lambda t: from_c - (from_c - 60.0) * math.exp(-t))
    bench.run(seconds, lambda t: from_c + c_per_s * t)


def returns(bench: Bench) -> int:
    return sum(mark.what is MarkKind.POT_RETURNED for mark in bench.of(Marked))


def test_a_pot_read_in_the_hand_by_its_own_probe_is_not_taken_as_put_back_but_asked_about(bench: Bench) -> None:
    lifted(bench)
    lift_s = bench.t_s
    drawn(bench, 50.0)
    stood_in(bench, 40.0, from_c=555.0, c_per_s=-0.5)
    shot = bench.engine.snapshot()
    assert returns(bench) == 0
    assert shot.lift_mono_s == lift_s
    assert isinstance(shot.instruction.why, Message)
    assert shot.instruction.why.name == "instruction.perhaps_back"


def test_what_its_own_probe_reads_in_the_hand_has_the_way_behind_it(bench: Bench) -> None:
    lifted(bench)
    lift_s = bench.t_s
    drawn(bench, 50.0)
    stood_in(bench, 40.0, from_c=570.0, c_per_s=-0.5)
    bench.do(inp.MarkPour())
    pour = bench.of(PourMarked)[-1].pour
    assert pour.lift_mono_s == lift_s
    assert pour.lip_temp_c == pytest.approx(550.0, abs=2.0)  # no loss of the walk is taken off it again


@pytest.mark.parametrize("c_per_s", [0.0, 0.2])
def test_metal_that_does_not_cool_stands_in_the_furnace_and_is_watched_again_though_nobody_said_so(
    bench: Bench, c_per_s: float
) -> None:
    lifted(bench)
    drawn(bench, 70.0)
    stood_in(bench, 60.0, from_c=540.0, c_per_s=c_per_s)
    assert returns(bench) == 1
    assert bench.engine.snapshot().lift_mono_s is None


def test_a_probe_left_in_a_pot_that_cooled_in_the_open_is_in_the_metal_again_once_the_pot_is_back(bench: Bench) -> None:
    lifted(bench)
    bench.run(40.0, lambda t: 570.0 - 1.6 * t)
    assert bench.engine.snapshot().probes[0].state in (ProbeState.LEAVING, ProbeState.OUT)
    bench.do(inp.MarkReturn())
    bench.run(30.0, lambda t: 506.0 + 0.5 * t)
    shot = bench.engine.snapshot()
    assert shot.probes[0].state is ProbeState.IN_METAL
    assert shot.metal.temp_c == pytest.approx(521.0, abs=2.0)
    bench.do(inp.MarkLift())
    window = bench.engine.snapshot().window
    assert window is not None
    assert window.lip_now_c == pytest.approx(506.0, abs=3.0)


def test_a_probe_that_hangs_in_the_air_as_the_pot_goes_back_is_not_in_the_metal(bench: Bench) -> None:
    lifted(bench)
    drawn(bench, 40.0)
    bench.do(inp.MarkReturn())
    bench.run(30.0, 60.0)
    assert bench.engine.snapshot().probes[0].state is ProbeState.OUT


def test_lifted_again_right_after_it_was_back_the_metal_is_what_it_was_less_what_it_lost_in_the_open(
    bench: Bench,
) -> None:
    lifted(bench)
    bench.run(20.0, None)
    bench.do(inp.MarkReturn())
    bench.run(5.0, None)
    bench.do(inp.MarkLift())
    shot = bench.engine.snapshot()
    assert shot.window is not None
    assert shot.window.lip_now_c == pytest.approx(570.0 - 15.0 - 15.0, abs=1.0)  # 15 on the way, planned as 20 s
    bench.do(inp.MarkPour())
    pour = bench.of(PourMarked)[-1].pour
    assert pour.lip_temp_c == pytest.approx(540.0, abs=1.0)
    assert pour.lip_u_c is not None
    assert pour.lip_u_c > 7.0


def test_lifted_again_after_longer_in_the_furnace_nothing_is_known_of_it(bench: Bench) -> None:
    lifted(bench)
    bench.run(20.0, None)
    bench.do(inp.MarkReturn())
    bench.run(90.0, None)
    bench.do(inp.MarkLift())
    shot = bench.engine.snapshot()
    assert shot.window is not None
    assert shot.window.lip_now_c is None


def test_a_lift_that_nobody_took_back_is_asked_about_and_is_no_alarm_of_the_probe(bench: Bench) -> None:
    bench.in_metal(570.0, make_plan(moulds=2))
    bench.do(inp.MarkPower(level=inp.PowerLevel.HIGH))
    bench.do(inp.MarkLift())
    bench.run(LIFT_LASTS_S + 120.0, lambda t: 30.0 + 540.0 * math.exp(-t / 5.0))
    assert "probe_out:metal" not in bench.alarms()
    shot = bench.engine.snapshot()
    assert shot.instruction.todo is ToDo.CHECK
    assert shot.instruction.text == tell("instruction.long_out", out_min=(LIFT_LASTS_S + 120.0) / 60.0)
    bench.do(inp.MarkReturn())
    bench.run(60.0, 30.0)
    assert "probe_out:metal" in bench.alarms()  # the pot is in the furnace, the power on, and nothing reads the metal
