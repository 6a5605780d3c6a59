"""What a probe is doing, from its trace. Falls and rises of a bead, steps of the shop's ordinary work."""

import math
from collections.abc import Callable

import pytest

from pourcall.contract import inputs as inp
from pourcall.contract.config import ProbeConfig
from pourcall.contract.events import CallKind
from pourcall.contract.frames import SampleFlag
from pourcall.contract.reading import Place, ProbeState
from pourcall.contract.status import Reason, Status
from pourcall.engine.sensing.probe_state import ProbeTracker
from tests.engine.conftest import ZA27, Bench


def state(bench: Bench) -> ProbeState:
    return bench.engine.channels[0].tracker.state


def test_a_probe_in_a_cold_charge_is_in_the_metal_once_it_warms_with_it(bench: Bench) -> None:
    bench.start()
    bench.run(300.0, lambda t: 20.0 + 0.5 * t)
    assert state(bench) is ProbeState.IN_METAL


def test_a_cold_probe_pushed_into_hot_metal_enters_settles_and_is_in(bench: Bench) -> None:
    bench.start()
    bench.run(5.0, 25.0)
    seen = set()
    began_s = bench.t_s
    while bench.t_s < began_s + 30.0:
        since_s = bench.t_s - began_s
        bench.run(0.5, 560.0 - 535.0 * math.exp(-since_s / 1.0))
        seen.add(state(bench))
    assert seen >= {ProbeState.ENTERING, ProbeState.SETTLING, ProbeState.IN_METAL}
    assert bench.readings()[-1].reason is Reason.OK


def test_a_plateau_of_ten_minutes_is_normal_and_raises_nothing(bench: Bench) -> None:
    bench.in_metal(450.0)
    bench.run(68.0, lambda t: 450.0 + t / 2.0)
    bench.run(600.0, lambda t: 484.0 + 0.05 * math.sin(t))
    assert state(bench) is ProbeState.IN_METAL
    assert not bench.alarms()


def test_a_probe_frozen_in_says_so_and_is_in_the_metal_again_when_that_melts(bench: Bench) -> None:
    bench.in_metal(520.0)
    bench.run(400.0, lambda t: 520.0 - 0.5 * t)
    assert state(bench) is ProbeState.FROZEN_IN
    bench.run(600.0, lambda t: 320.0 + 0.4 * t)
    assert state(bench) is ProbeState.IN_METAL


def test_a_couple_that_fell_by_hundreds_of_degrees_and_stands_there_is_not_in_the_metal(bench: Bench) -> None:
    """A real failing couple does this: from 860 to 240 degC in half a minute, steady for minutes (a published fire
    test, 15 s a sample). For a tin alloy 240 degC would be its pour window; here ZA-27 from 1000 to 570 degC."""
    bench.in_metal(900.0)
    calls = len(bench.calls(CallKind.POUR))
    bench.run(15.0, lambda t: max(570.0, 900.0 - 60.0 * t))
    bench.run(300.0, 570.0)
    assert len(bench.calls(CallKind.POUR)) == calls
    assert bench.engine.metal.temp_c is None
    assert bench.readings()[-1].status is not Status.GOOD


def test_a_cold_addition_that_chills_the_tip_is_no_lift_and_the_probe_is_in_again(bench: Bench) -> None:
    bench.in_metal(570.0)
    bench.run(4.0, lambda t: 570.0 - 30.0 * t)
    bench.run(60.0, lambda t: 450.0 + 60.0 * (1.0 - math.exp(-t / 20.0)))
    assert state(bench) is ProbeState.IN_METAL
    assert not bench.alarms()


@pytest.mark.parametrize("reason", ["silent", "broken"])
def test_one_channel_that_stops_while_its_board_goes_on_is_one_alarm(reason: str) -> None:
    other = ProbeConfig(name="other", board="bench", channel="1", wire_class="iec_1")
    bench = Bench(probes=[other])
    bench.start()
    for _ in range(20):
        bench.t_s += 1.0
        bench.sample(20.0)
        bench.sample(20.0, channel="1")
        bench.put_tick()
    for _ in range(10):
        bench.t_s += 1.0
        bench.sample(20.0)
        if reason == "broken":
            bench.sample(None, channel="1", flags=int(SampleFlag.OPEN))
        bench.put_tick()
    shown = [alarm.id for alarm in bench.alarms().values() if not alarm.suppressed_by]
    assert shown == [{"silent": "no_value:other", "broken": "sensor_open:other"}[reason]]


def test_what_a_lost_board_explains_is_never_heard_first(bench: Bench) -> None:
    """One situation, one alarm: the explained one is born under its parent, not told and taken back."""
    bench.start()
    bench.run(20.0, 20.0)
    outs = bench.run(30.0, None)
    heard = {alarm.id for alarm in (out.alarm for out in bench.alarm_changes(outs)) if not alarm.suppressed_by}
    assert heard == {"link_lost:bench"}


def test_a_tip_drowned_where_the_lumps_collapse_is_in_the_metal_again_within_half_a_minute(bench: Bench) -> None:
    bench.start()
    bench.run(890.0, lambda t: 20.0 + 0.55 * t)  # between lumps it reads far above them
    bench.run(350.0, lambda t: 509.0 + 0.2 * t)
    bench.run(30.0, lambda t: 470.0 + 109.0 * math.exp(-t / 8.0))
    bench.run(30.0, lambda t: 472.0 + 0.2 * t)
    assert state(bench) is ProbeState.IN_METAL
    assert not bench.alarms()


def test_a_probe_lifted_from_between_lumps_is_not_in_them_again_while_it_cools(bench: Bench) -> None:
    bench.start()
    bench.run(1000.0, lambda t: 20.0 + 0.58 * t)
    bench.run(90.0, lambda t: 20.0 + 580.0 * math.exp(-t / 45.0))
    assert state(bench) in (ProbeState.LEAVING, ProbeState.OUT)


def chilled_between_lumps(bench: Bench, to_c: float) -> None:
    """A dry charge, its tip far above it; then cold returns fall about the tip before anything has melted."""
    bench.start()
    bench.run(890.0, lambda t: 20.0 + 0.55 * t)
    bench.run(100.0, lambda t: 509.0 + 0.2 * t)
    bench.run(30.0, lambda t: to_c + (529.0 - to_c) * math.exp(-t / 4.0))


def test_a_tip_that_cold_returns_chill_before_the_charge_melts_is_in_it_again_as_it_warms(bench: Bench) -> None:
    chilled_between_lumps(bench, 300.0)
    bench.do(inp.MarkAddition(mass_kg=0.3))
    assert state(bench) is ProbeState.OUT
    bench.run(150.0, lambda t: 300.0 + 0.6 * t)
    assert state(bench) is ProbeState.IN_METAL
    bench.run(300.0, lambda t: 390.0 + 0.2 * t)  # it melts: nothing is lost, nobody is blind
    assert not bench.alarms()
    assert bench.engine.metal.temp_c is not None
    assert not bench.calls(CallKind.POUR), "nobody has stirred, and its melting was not seen"


def test_a_couple_that_sinks_and_rises_again_with_no_cold_metal_told_is_not_in_the_charge_again(bench: Bench) -> None:
    chilled_between_lumps(bench, 300.0)
    bench.run(150.0, lambda t: 300.0 + 0.6 * t)
    assert state(bench) is ProbeState.OUT


def test_a_probe_pulled_from_between_lumps_that_hangs_in_the_open_is_out(bench: Bench) -> None:
    chilled_between_lumps(bench, 60.0)
    bench.run(300.0, 60.0)
    assert state(bench) is ProbeState.OUT
    bench.run(300.0, lambda t: 60.0 + 0.05 * t)
    assert state(bench) is ProbeState.OUT


@pytest.mark.parametrize(
    ("rise_c", "drowned"), [(lambda t: t * t / 100.0, True), (lambda t: 60.0 * -math.expm1(-t / 35.0), False)]
)
def test_what_is_hotter_than_lumps_melt_is_told_from_gas_by_a_rise_that_does_not_die_away(
    rise_c: Callable[[float], float], drowned: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Towards gas a sheath goes as exp(-t/tau) says, a bath heats ever faster as its lumps melt."""
    # By its evidence it has left, whatever comes: how it is found to be in the bath all the same is asked here.
    monkeypatch.setattr(ProbeTracker, "_has_left", lambda self, mono_s, from_c: self.state is ProbeState.LEAVING)
    tracker = ProbeTracker(Place.MELT, "mineral_3mm")
    for second in range(1000):
        tracker.update(0.5 * second, 20.0 + 1.2 * 0.5 * second, ZA27)
    assert tracker.between_lumps
    fallen = [620.0 - 20.0 * 0.5 * k for k in range(1, 9)]
    for k, temp_c in enumerate(fallen):
        tracker.update(500.0 + 0.5 * k, temp_c, ZA27)
    assert tracker.state is ProbeState.LEAVING
    states = []
    for k in range(1, 101):
        tracker.update(504.0 + 0.5 * k, 540.0 + rise_c(0.5 * k), ZA27)
        states.append(tracker.state)
    assert (ProbeState.IN_METAL in states) is drowned


def test_a_hot_probe_that_hangs_out_as_the_next_charge_goes_in_does_not_tell_that_it_melted(bench: Bench) -> None:
    bench.in_metal(560.0)
    bench.do(inp.EndMelt(ending=inp.MeltEnding.ABANDONED))
    bench.run(4.0, lambda t: 560.0 - 12.0 * t)
    assert state(bench) is ProbeState.LEAVING
    bench.start()
    bench.run(1.0, 508.0)  # still hotter than its liquidus
    assert not bench.engine.channels[0].tracker.melted


@pytest.mark.parametrize(("missing", "alarms"), [(3, set()), (4, {"no_value:metal"})])
def test_three_samples_lost_on_a_noisy_cable_are_no_silence(missing: int, alarms: set[str]) -> None:
    other = ProbeConfig(name="other", board="bench", channel="1", wire_class="iec_1")
    bench = Bench(probes=[other])
    bench.start()
    for second in range(40 + missing + 1):
        bench.t_s += 1.0
        if not 40 <= second < 40 + missing:
            bench.sample(20.0)
        bench.sample(20.0, channel="1")
        bench.t_s += 0.04
        bench.put_tick()
        bench.t_s -= 0.04
    assert {alarm.id for alarm in bench.alarms().values() if alarm.kind == "no_value"} == alarms


def test_a_cold_probe_in_its_own_frozen_shell_is_not_believed_till_that_is_off_and_is_no_lie_then(bench: Bench) -> None:
    bench.start()
    bench.run(5.0, 20.0)
    bench.run(6.0, lambda t: 376.0 - 356.0 * math.exp(-t / 1.0))
    bench.run(40.0, 376.0)
    assert state(bench) is ProbeState.SETTLING
    bench.run(8.0, lambda t: 536.0 - 160.0 * math.exp(-t / 1.5))
    bench.run(60.0, lambda t: 536.0 + 0.1 * t)
    assert state(bench) is ProbeState.IN_METAL
    assert bench.readings()[-1].reason is Reason.OK
    assert not bench.alarms()
