"""Never blind in silence: a probe in hot metal that gives no figure for three minutes is one alarm, a dip is none."""

import itertools
import math

import pytest

from pourcall.contract.events import CallKind, MeltState
from pourcall.contract.inputs import MarkAddition, MarkPower, PowerLevel
from pourcall.contract.reading import ProbeState
from pourcall.engine.alarms.blind import set_blind_conditions
from tests.engine.conftest import Bench, make_plan
from tests.engine.test_heat_bounds import Board


def wavering(t: float) -> float:
    """Slow pickup on a thin probe: six degrees either way, three times a minute, on a bath that heats."""
    return 565.0 + 0.1 * t + 6.5 * math.sin(2.0 * math.pi * t / 20.0)


def test_a_probe_that_wavers_too_much_to_settle_is_an_alarm_within_four_minutes_and_never_poured_on() -> None:
    bench = Bench()
    bench.start(make_plan())
    bench.run(5.0, 25.0)
    bench.run(200.0, wavering)
    assert len(bench.alarms()) == 1  # by its jumps or by its silence, whichever is seen first
    assert not bench.calls(CallKind.POUR)


@pytest.mark.parametrize(
    ("state", "temp_c", "watched", "said"),
    [
        (ProbeState.SETTLING, 560.0, True, True),
        (ProbeState.LEAVING, 560.0, True, True),
        (ProbeState.SETTLING, 560.0, False, False),  # no melt, or the pot is lifted
        (ProbeState.SETTLING, 90.0, True, False),  # nothing hot is in the pot
        (ProbeState.SETTLING, 250.0, True, False),  # laid into a cold charge in a hot pot: no alloy is liquid there
        (ProbeState.IN_METAL, 560.0, True, False),
        (ProbeState.OUT, 560.0, True, False),
    ],
)
def test_it_is_said_after_three_minutes_where_something_hot_is_moved_through_and_a_melt_runs(
    state: ProbeState, temp_c: float, *, watched: bool, said: bool
) -> None:
    bench = Bench()
    bench.run(2.0, temp_c)
    engine = bench.engine
    for second in range(190):
        engine.channels[0].tracker.state = state
        now_s = 2000.0 + second
        plan = make_plan() if watched else None
        set_blind_conditions(engine.alarms, engine.channels, now_s, now_s, watched=plan)
        engine.alarms.tick(now_s, now_s)
        assert not bench.alarms() or second >= 180
    assert set(bench.alarms()) == ({"blind:metal"} if said else set())


def test_one_that_settles_and_one_that_is_pulled_and_cools_raise_nothing() -> None:
    bench = Bench()
    bench.in_metal(570.0)
    bench.run(60.0, 570.0)
    bench.run(300.0, lambda t: 20.0 + 550.0 * math.exp(-t / 12.0))
    assert not bench.alarms()


def test_one_in_the_metal_that_is_shaken_again_and_again_and_never_proves_itself_is_said_too() -> None:
    bench = Bench()
    bench.in_metal(560.0)
    trust = bench.engine.channels[0].trust

    def shaken(t: float) -> float:
        trust.shaken(bench.t_s)  # quiet for a minute it never is
        return 560.0 + 0.2 * math.sin(t)

    bench.run(170.0, shaken)
    assert not bench.alarms()
    bench.run(20.0, shaken)
    assert set(bench.alarms()) == {"blind:metal"}


def between_lumps(t: float) -> float:
    """A tip that half sees a hot pot: far above its charge, down to it as it wets, up again when all is liquid."""
    knees = ((0.0, 25.0), (620.0, 560.0), (720.0, 470.0), (820.0, 484.0), (900.0, 545.0), (960.0, 560.0))
    for (from_s, from_c), (to_s, to_c) in itertools.pairwise(knees):
        if t <= to_s:
            return from_c + (to_c - from_c) * (t - from_s) / (to_s - from_s)
    return knees[-1][1]


def test_a_tip_between_lumps_that_reads_high_and_falls_back_to_its_metal_is_followed_all_the_way() -> None:
    bench = Bench()
    bench.start(make_plan())
    bench.run(5.0, 25.0)
    tracker, watch = bench.engine.channels[0].tracker, []
    start_s = bench.t_s

    def trace(t: float) -> float:
        watch.append((t, tracker.state, bench.engine.state))
        return between_lumps(t)

    bench.run(1000.0, trace)
    assert bench.t_s - start_s == 1000.0
    assert {state for t, state, _ in watch if t > 150.0} == {ProbeState.IN_METAL}
    assert MeltState.UNKNOWN not in {told for t, _, told in watch if t > 150.0}
    assert not bench.alarms()


def chilled(bench: Bench, to_c: float) -> None:
    """Liquid metal on its way to the window, full power, and so much cold metal in it that it freezes about the tip."""
    bench.do(MarkPower(level=PowerLevel.HIGH))
    bench.in_metal(515.0)
    bench.do(MarkAddition(mass_kg=0.8))
    bench.run(25.0, lambda t: to_c + (515.0 - to_c) * math.exp(-t / 8.0))


def test_a_tip_chilled_so_far_that_it_is_taken_to_be_out_and_warms_with_its_bath_is_said_before_the_window() -> None:
    bench = Bench()
    board = Board()
    chilled(bench, 320.0)
    assert bench.engine.channels[0].tracker.state is ProbeState.OUT
    bench.run(860.0, lambda t: board(335.0 + t / 4.0))
    assert bench.engine.metal.temp_c is None
    assert "blind:metal" in bench.alarms()


def test_a_tip_that_cold_metal_chilled_less_is_followed_and_one_hung_up_to_cool_is_out() -> None:
    bench = Bench()
    board = Board()
    chilled(bench, 440.0)
    bench.run(400.0, lambda t: board(445.0 + t / 4.0))
    bench.run(120.0, lambda t: 25.0 + 520.0 * math.exp(-t / 20.0))
    bench.run(400.0, lambda t: 120.0 + 5.0 * math.sin(t / 40.0))
    assert "blind:metal" not in bench.alarms()


def test_digits_that_stand_too_long_to_be_believed_and_not_long_enough_to_be_stuck_are_said() -> None:
    bench = Bench()
    bench.in_metal(484.25)
    bench.do(MarkPower(level=PowerLevel.HIGH))
    bench.run(1500.0, 484.25, step_s=2.0)
    assert bench.engine.metal.temp_c is None
    assert "blind:metal" in bench.alarms()
    assert "unchanging:metal" not in bench.alarms()
