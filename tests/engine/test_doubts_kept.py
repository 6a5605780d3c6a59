"""A doubt about the power outlasts what usually happens beside it: cooling, gaps, a probe pulled to look, metal added.

Beside each case what is honest work and must not be asked about. How heat bounds a figure:
engine/sensing/heat_bounds.py.
"""

import math
from collections.abc import Callable
from functools import partial

import pytest

from pourcall.contract import events as ev
from pourcall.contract import inputs as inp
from pourcall.contract.config import ProbeConfig
from pourcall.contract.events import CallKind
from pourcall.contract.frames import BoardStatus
from pourcall.contract.inputs import MarkAddition, MarkPower, MarkSkim, PowerLevel
from pourcall.contract.reading import Place, ProbeState
from pourcall.contract.status import Reason
from tests.engine.conftest import Bench, make_plan
from tests.engine.test_heat_bounds import Board, coasted, is_alarm, is_call, last_of, said_of, seconds
from tests.faults.conftest import Rig

OFF, HIGH = PowerLevel.OFF, PowerLevel.HIGH


def reads(rate_c_per_min: float, from_c: float = 520.0) -> Callable[[float], float]:
    return lambda t: from_c + rate_c_per_min * t / 60.0


def melting(bench: Bench, upto_c: float = 560.0) -> None:
    """Liquid metal under full power, the probe in it."""
    bench.start(make_plan(lip=(525.0, 575.0)))
    bench.do(MarkPower(level=HIGH))
    bench.run(5.0, 20.0)
    bench.do(inp.SetProbeState(probe="metal", state=ProbeState.IN_METAL))
    seconds(bench, 120.0, reads(10.0, upto_c - 20.0))


def poured_on(bench: Bench, since: int) -> list[ev.CallView]:
    return bench.calls(CallKind.POUR, outs=bench.outs[since:])


# -- the bound comes down with the metal ------------------------------------------------------------------------------


def test_metal_that_cooled_for_half_an_hour_and_climbs_again_without_power_is_never_called() -> None:
    bench = Bench()
    melting(bench, 570.0)
    bench.do(MarkPower(level=OFF))
    bench.do(MarkSkim())
    seconds(bench, 600.0, lambda t: 570.0, step_s=5.0)
    seconds(bench, 1800.0, reads(-2.5, 570.0), step_s=5.0)
    since = len(bench.outs)
    seconds(bench, 600.0, reads(8.0, 495.0))
    assert not poured_on(bench, since)
    assert last_of(bench)[0] is Reason.UNEXPLAINED


def dent(depth_c: float, slope_c_per_s: float, from_c: float, t: float) -> float:
    """In half a minute down by so much, in four back, on metal that cools."""
    return from_c - slope_c_per_s * t - depth_c * max(0.0, min(1.0, t / 30.0, (270.0 - t) / 240.0))


def test_cooling_metal_that_is_skimmed_and_chilled_by_returns_nobody_marked_is_no_rise() -> None:
    bench = Bench()
    melting(bench, 570.0)
    bench.do(MarkPower(level=OFF))
    from_c = 570.0
    for depth_c in (0.0, 25.0, 8.0, 25.0, 0.0, 15.0):
        seconds(bench, 420.0, partial(dent, depth_c, 0.03, from_c))
        from_c -= 0.03 * 420.0
    assert not said_of(bench)


def test_a_cold_charge_that_warms_in_a_furnace_hot_from_a_melt_nobody_recorded_is_no_rise() -> None:
    bench = Bench()
    bench.start()
    bench.do(MarkPower(level=OFF))
    seconds(bench, 1200.0, lambda t: 25.0 + 330.0 * -math.expm1(-t / 500.0), step_s=4.0)
    seconds(bench, 1200.0, lambda t: 325.0 - t / 60.0, step_s=4.0)
    assert not said_of(bench)


# -- a gap forgives nothing -------------------------------------------------------------------------------------------


def asked(bench: Bench) -> None:
    coasted(bench)
    bench.do(MarkSkim())
    seconds(bench, 230.0, reads(8.0))
    assert bench.up(CallKind.CHECK_POWER)


def port_closed(rig: Rig) -> None:
    rig.waits(8)
    rig.put_link(inp.LinkKind.CLOSED, "gone")
    rig.waits(2)
    rig.put_link_opened()


def two_open_samples(rig: Rig) -> None:
    for _ in range(2):
        rig.t_s += 1.0
        rig.sample(None, flags=1)
        rig.put_tick()


def pulled_to_look(rig: Rig) -> None:
    rig.run(60.0, lambda t: 60.0 + 490.0 * math.exp(-t / 8.0))
    rig.run(20.0, lambda t: 551.0 - 490.0 * math.exp(-t / 1.5))


@pytest.mark.parametrize("gap", [port_closed, two_open_samples, pulled_to_look])
def test_a_short_gap_while_the_power_is_in_question_forgives_nothing(gap: Callable[[Rig], None]) -> None:
    rig = Rig()
    rig.put_link_opened()
    asked(rig)
    since = len(rig.outs)
    gap(rig)
    seconds(rig, 300.0, reads(8.0, 551.0))
    assert not poured_on(rig, since)
    assert last_of(rig)[0] is Reason.UNEXPLAINED


@pytest.mark.parametrize("out_s", [20.0, 300.0])
def test_a_probe_pulled_under_power_and_put_back_hot_after_the_cut_is_honest(out_s: float) -> None:
    bench = Bench()
    melting(bench, 530.0)
    bench.run(out_s, lambda t: 60.0 + 470.0 * math.exp(-t / 8.0))
    bench.do(MarkPower(level=OFF))
    bench.run(20.0, lambda t: 60.0)
    hot_c = 530.0 + out_s / 5.0  # heated on meanwhile
    bench.run(20.0, lambda t: hot_c - (hot_c - 60.0) * math.exp(-t / 1.5))
    seconds(bench, 900.0, lambda t: hot_c + 18.0 * -math.expm1(-t / 240.0))
    assert not said_of(bench)


def test_a_coast_that_goes_on_while_the_probe_is_out_for_a_minute_is_honest() -> None:
    bench = Bench()
    melting(bench)
    bench.do(MarkPower(level=OFF))
    seconds(bench, 30.0, reads(10.0, 560.0))
    bench.run(60.0, lambda t: 60.0 + 500.0 * math.exp(-t / 8.0))
    bench.run(20.0, lambda t: 577.0 - 517.0 * math.exp(-t / 1.5))
    seconds(bench, 900.0, lambda t: 577.0 + 10.0 * -math.expm1(-t / 240.0))
    assert not said_of(bench)


# -- metal added with the power off -----------------------------------------------------------------------------------


def test_a_little_cold_metal_frees_no_climb_without_power() -> None:
    bench = Bench()
    coasted(bench)
    bench.do(MarkAddition(mass_kg=0.1))
    bench.do(MarkSkim())
    seconds(bench, 60.0, lambda t: 520.0 - 5.0 * math.sin(math.pi * t / 60.0))
    began_s = bench.t_s
    since = len(bench.outs)
    seconds(bench, 420.0, reads(10.0))
    assert not poured_on(bench, since + 1)
    assert [out for out in bench.outs if is_alarm(out)]
    assert last_of(bench)[0] is Reason.UNEXPLAINED
    assert bench.t_s - began_s < 600.0


@pytest.mark.parametrize("mass_kg", [0.1, 0.4, None])
def test_cold_metal_chills_the_bath_and_the_wall_warms_it_again_to_where_it_was(mass_kg: float | None) -> None:
    bench = Bench()
    coasted(bench, 545.0)
    bench.do(MarkAddition(mass_kg=mass_kg))
    fell_c = 60.0 if mass_kg is None else 100.0 * mass_kg
    seconds(bench, 40.0, lambda t: 545.0 - fell_c * t / 40.0)
    seconds(bench, 1500.0, lambda t: 545.0 - fell_c * math.exp(-t / 300.0))
    assert not said_of(bench)


def test_liquid_metal_added_may_heat_the_bath_by_its_share() -> None:
    bench = Bench()
    coasted(bench, 530.0)
    bench.do(MarkAddition(mass_kg=0.75))
    seconds(bench, 20.0, reads(60.0, 530.0))  # half as much again, of 590
    seconds(bench, 900.0, lambda t: 550.0 - t / 120.0)
    assert not said_of(bench)


# -- full power, and what explains that metal is cold -----------------------------------------------------------------


@pytest.mark.parametrize("fell_c", [40.0, 60.0])
def test_cold_metal_nobody_marked_after_three_hours_at_full_power_is_no_doubt(fell_c: float) -> None:
    bench = Bench()
    board = Board()
    bench.start()
    bench.do(MarkPower(level=HIGH))
    bench.run(5.0, 20.0)
    bench.do(inp.SetProbeState(probe="metal", state=ProbeState.IN_METAL))
    bench.run(4860.0, lambda t: board(20.0 + 440.0 * t / 4860.0), step_s=4.0)
    bench.run(3780.0, lambda t: board(460.0 + 25.0 * t / 3780.0), step_s=4.0)
    bench.run(2160.0, lambda t: board(485.0 + 55.0 * t / 2160.0), step_s=4.0)
    seconds(bench, 60.0, lambda t: 540.0 - fell_c * t / 60.0)
    seconds(bench, 1500.0, lambda t: 540.0 - fell_c + t / 600.0)
    assert not said_of(bench)


def cold_after_a_break(bench: Bench) -> None:
    """Off at the wall for an hour and a half while high is marked; nobody is there to answer."""
    board = Board()
    bench.start()
    bench.do(MarkPower(level=HIGH))
    bench.run(5.0, 20.0)
    bench.do(inp.SetProbeState(probe="metal", state=ProbeState.IN_METAL))
    bench.run(900.0, lambda t: board(20.0 + 0.3 * t), step_s=2.0)
    bench.run(5400.0, lambda t: board(30.0 + 260.0 * math.exp(-t / 2400.0)), step_s=5.0)
    assert last_of(bench)[0] is Reason.UNEXPLAINED


def test_high_told_again_after_a_break_explains_cold_metal() -> None:
    bench = Bench()
    cold_after_a_break(bench)
    bench.do(MarkPower(level=HIGH))
    seconds(bench, 900.0, lambda t: 57.0 + 0.3 * t)
    assert last_of(bench)[0] is Reason.OK
    assert not bench.alarms().get("unexplained:metal") or not bench.alarms()["unexplained:metal"].active


def test_high_told_again_and_again_explains_once() -> None:
    bench = Bench()
    cold_after_a_break(bench)
    bench.do(MarkPower(level=HIGH))
    seconds(bench, 120.0, lambda t: 150.0)
    seconds(bench, 3600.0, lambda t: 150.0, step_s=5.0)
    assert last_of(bench)[0] is Reason.UNEXPLAINED
    bench.do(MarkPower(level=HIGH))
    seconds(bench, 120.0, lambda t: 150.0)
    assert last_of(bench)[0] is Reason.UNEXPLAINED


# -- a word that comes late -------------------------------------------------------------------------------------------


def unexplained(bench: Bench) -> None:
    coasted(bench)
    seconds(bench, 400.0, reads(8.0))
    assert last_of(bench)[0] is Reason.UNEXPLAINED


def test_the_power_marked_while_the_couple_is_open_counts_when_it_is_back() -> None:
    bench = Bench()
    unexplained(bench)
    for _ in range(20):
        bench.t_s += 0.5
        bench.sample(None, flags=1)
        bench.put_tick()
    bench.do(MarkPower(level=HIGH))
    seconds(bench, 300.0, reads(8.0, 575.0))
    assert last_of(bench)[0] is Reason.OK


def test_the_power_of_a_melt_that_is_over_explains_it_when_it_is_told_for_that_time() -> None:
    bench = Bench()
    unexplained(bench)
    bench.do(inp.EndMelt(ending=inp.MeltEnding.ABANDONED))
    bench.do(MarkPower(level=HIGH, ago_s=500.0))
    seconds(bench, 200.0, reads(0.0, 573.0))
    assert bench.engine.channels[0].trusted


def test_the_power_set_for_the_next_melt_explains_nothing_of_the_one_before() -> None:
    bench = Bench()
    unexplained(bench)
    bench.do(inp.EndMelt(ending=inp.MeltEnding.ABANDONED))
    bench.run(10.0, 573.0)
    bench.start(make_plan(melt="2026-015"))
    bench.do(MarkPower(level=HIGH))
    seconds(bench, 200.0, reads(8.0, 573.0))
    assert last_of(bench)[0] is Reason.UNEXPLAINED


def test_furnace_heated_between_two_melts_is_no_rise_in_the_second() -> None:
    bench = Bench()
    melting(bench, 450.0)
    bench.do(MarkPower(level=OFF))
    seconds(bench, 200.0, lambda t: 450.0)
    bench.do(inp.EndMelt(ending=inp.MeltEnding.ABANDONED))
    bench.do(MarkPower(level=HIGH))
    seconds(bench, 900.0, lambda t: 450.0 + min(125.0, t / 6.0))
    bench.do(MarkPower(level=OFF))
    bench.start(make_plan(melt="2026-015"))
    seconds(bench, 900.0, lambda t: 570.0)
    assert not said_of(bench)


def test_furnace_heated_by_its_board_between_two_melts_is_no_rise_in_the_second() -> None:
    bench = Bench()
    melting(bench, 450.0)
    bench.do(MarkPower(level=OFF))
    seconds(bench, 200.0, lambda t: 450.0)
    bench.do(inp.EndMelt(ending=inp.MeltEnding.ABANDONED))
    for _ in range(90):
        bench.put(inp.BoardStatusIn, board="bench", status=BoardStatus(1, 0, 1, 0, 1000, 0))
        seconds(bench, 10.0, lambda t: 500.0)
    bench.put(inp.BoardStatusIn, board="bench", status=BoardStatus(1, 0, 1, 0, 0, 0))
    bench.start(make_plan(melt="2026-015"))
    seconds(bench, 900.0, lambda t: 570.0)
    assert not said_of(bench)


def test_what_was_not_believed_is_no_measure_for_the_next_melt() -> None:
    bench = Bench()
    unexplained(bench)
    bench.do(inp.EndMelt(ending=inp.MeltEnding.ABANDONED))
    bench.run(10.0, 520.0)
    bench.do(inp.AckAlarm(alarm="unexplained:metal"))
    seconds(bench, 200.0, lambda t: 520.0)
    bench.start(make_plan(melt="2026-015"))
    since = len(bench.outs)
    seconds(bench, 600.0, reads(8.0))
    assert [out for out in bench.outs[since:] if is_call(out)]


# -- two probes -------------------------------------------------------------------------------------------------------


def test_each_of_two_probes_has_a_question_of_its_own() -> None:
    second = ProbeConfig(
        name="second",
        board="bench",
        channel="1",
        place=Place.MELT,
        sheath="thin",
        wire_class="iec_1",
        rating_c=1200.0,
    )
    bench = Bench(probes=(second,))
    boards = Board(), Board(5)

    def both(lasts_s: float, one: Callable[[float], float], other: Callable[[float], float]) -> None:
        start_s = bench.t_s
        for step in range(1, int(lasts_s / 2.0) + 1):
            bench.t_s = start_s + 2.0 * step
            bench.sample(boards[0](one(2.0 * step)))
            bench.sample(boards[1](other(2.0 * step)), channel="1")
            bench.put_tick()

    bench.start()
    bench.do(MarkPower(level=HIGH))
    both(6.0, lambda t: 20.0, lambda t: 20.0)
    for name in ("metal", "second"):
        bench.do(inp.SetProbeState(probe=name, state=ProbeState.IN_METAL))
    both(120.0, reads(10.0, 500.0), reads(10.0, 500.0))
    bench.do(MarkPower(level=OFF))
    both(1500.0, lambda t: 520.0, lambda t: 520.0)
    both(700.0, reads(8.0), reads(7.4))
    found_s = {out.alarm.subject: out.mono_s for out in bench.alarm_changes() if is_alarm(out)}
    questions_s = [out.mono_s for out in bench.outs if isinstance(out, ev.CallChanged) and is_call(out)]
    assert len(questions_s) == 2
    assert found_s["metal"] - questions_s[0] >= 110.0
    assert found_s["second"] - questions_s[1] >= 110.0


def test_a_probe_in_doubt_about_the_power_holds_no_pour_that_another_one_carries() -> None:
    second = ProbeConfig(
        name="second",
        board="bench",
        channel="1",
        place=Place.MELT,
        sheath="thin",
        wire_class="iec_1",
        rating_c=1200.0,
    )
    bench = Bench(probes=(second,))
    boards = Board(), Board(5)

    def both(lasts_s: float, one: Callable[[float], float], other: Callable[[float], float]) -> None:
        start_s = bench.t_s
        for step in range(1, int(lasts_s / 2.0) + 1):
            bench.t_s = start_s + 2.0 * step
            bench.sample(boards[0](one(2.0 * step)))
            bench.sample(boards[1](other(2.0 * step)), channel="1")
            bench.put_tick()

    bench.start(make_plan(lip=(515.0, 575.0)))
    bench.do(MarkPower(level=HIGH))
    both(6.0, lambda t: 20.0, lambda t: 20.0)
    for name in ("metal", "second"):
        bench.do(inp.SetProbeState(probe=name, state=ProbeState.IN_METAL))
    bench.do(MarkSkim())
    both(120.0, reads(10.0, 520.0), reads(10.0, 520.0))
    bench.do(MarkPower(level=OFF))
    both(1500.0, lambda t: 540.0, lambda t: 540.0)
    assert bench.up(CallKind.POUR)
    both(250.0, reads(8.0, 540.0), lambda t: 540.0)
    assert bench.up(CallKind.POUR) is None, "while a person is asked, nothing is called"
    both(300.0, lambda t: 573.0, lambda t: 540.0)
    assert not bench.engine.channels[0].trusted
    doubt = bench.engine.situation.power_doubt
    assert doubt is not None
    assert doubt.stands
    assert bench.up(CallKind.POUR)
    both(20.0, lambda t: 573.0, lambda t: 60.0 + 480.0 * math.exp(-t / 2.0))
    assert bench.up(CallKind.POUR) is None
