"""A melt that goes on after the daemon was away knows what was marked and found before: record, engine, and back."""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import pytest

from pourcall.contract import events as ev
from pourcall.contract import inputs as inp
from pourcall.contract.inputs import AckAlarm, MarkAddition, MarkLift, MarkPower, MarkSkim, PowerLevel, StartMelt
from pourcall.contract.reading import Place, ProbeState, Reading
from pourcall.contract.status import Reason
from pourcall.daemon.api import library
from pourcall.engine.sensing.trust import Cause
from pourcall.records.read.so_far import DOUBTS
from pourcall.records.read.store import Store
from tests.engine.conftest import Bench, make_plan
from tests.engine.test_heat_bounds import coasted, last_of, seconds
from tests.faults.conftest import Rig

UTC_S = 1_777_700_000.0  # of the bench's monotonic zero
AWAY_S = 20.0


class Shop:
    """A bench whose inputs are recorded; `goes_on`: the daemon was killed and started again."""

    def __init__(self, recording: Callable[..., Any], path: Path) -> None:
        self._recording, self._path, self._put = recording, path, 0
        self.bench: Bench = Rig()
        self.bench.put(inp.LinkIn, board="bench", kind=inp.LinkKind.OPENED, detail="port")
        self._recorder = recording(self.bench.t_s, UTC_S + self.bench.t_s)

    def _keeps(self) -> None:
        """All that was said since, with the input that led to it."""
        outs: dict[int, list[ev.Output]] = {}
        for out in self.bench.outs:
            if not isinstance(out, Reading):
                outs.setdefault(out.seq, []).append(out)
        ticket = 0
        for item in self.bench.items:
            if item.seq in outs:
                ticket = self._recorder.put("crucible", item, outs[item.seq])
        self._recorder.wait(ticket).result(10)

    def goes_on(self) -> StartMelt:
        self._keeps()
        now_s = self.bench.t_s + AWAY_S
        with Store.read(self._path) as store:
            start = library.running_melt(store, "crucible", UTC_S + now_s)
        assert start is not None
        self.bench = Rig()  # a fresh engine, with a monotonic clock of its own
        self.bench.t_s = 77.0
        self.bench.utc_zero_s = UTC_S + now_s - 77.0
        self.bench.do(start)
        return start


@pytest.fixture
def shop(recording: Callable[..., Any], database: Path) -> Shop:
    return Shop(recording, database)


def said(outs: Sequence[ev.Output]) -> list[ev.Output]:
    return [out for out in outs if isinstance(out, ev.CallChanged) and out.call.kind is ev.CallKind.CHECK_POWER]


def test_the_power_as_it_was_marked_and_since_when_survive(shop: Shop) -> None:
    coasted(shop.bench)
    shop.goes_on()
    power = shop.bench.engine.facts.power
    assert power.level is PowerLevel.OFF
    assert power.off_since_s == pytest.approx(77.0 - AWAY_S - 1500.0, abs=1.0)
    assert shop.bench.engine.run is not None
    assert shop.bench.engine.run.began_s == pytest.approx(77.0 - AWAY_S - 1625.0, abs=1.0)


def test_what_was_done_to_the_pot_and_where_the_probe_was_put_survive(shop: Shop) -> None:
    bench = shop.bench
    bench.in_metal(560.0)
    bench.do(MarkPower(level=PowerLevel.HIGH))
    bench.do(MarkAddition(mass_kg=0.2))
    bench.do(MarkSkim())
    bench.run(60.0, 560.0)
    bench.do(MarkLift())
    bench.do(inp.SetPlace(probe="metal", place=Place.DIP))
    bench.run(5.0, 60.0)
    shop.goes_on()
    run = shop.bench.engine.run
    assert run is not None
    assert run.lift_s == pytest.approx(77.0 - AWAY_S - 5.0, abs=1.0)
    assert run.skimmed_s == pytest.approx(77.0 - AWAY_S - 65.0, abs=1.0)
    assert run.in_kg == pytest.approx(1.7)
    assert shop.bench.engine.channels[0].tracker.place is Place.DIP
    assert shop.bench.engine.snapshot().lift_mono_s == run.lift_s


def test_a_lift_that_was_withdrawn_and_one_after_which_the_pot_came_back_do_not(shop: Shop) -> None:
    shop.bench.in_metal(560.0)
    shop.bench.do(MarkLift())
    shop.bench.run(5.0, 60.0)
    shop.bench.do(inp.MarkReturn())
    shop.bench.run(5.0, 60.0)
    shop.goes_on()
    assert shop.bench.engine.run is not None
    assert shop.bench.engine.run.lift_s is None


def test_a_probe_that_was_not_believed_still_is_not(shop: Shop) -> None:
    coasted(shop.bench)
    seconds(shop.bench, 400.0, lambda t: 520.0 + 8.0 * t / 60.0)
    assert last_of(shop.bench)[0] is Reason.UNEXPLAINED
    shop.goes_on()
    seconds(shop.bench, 300.0, lambda t: 573.0)
    assert last_of(shop.bench)[0] is Reason.UNEXPLAINED
    assert "unexplained:metal" in shop.bench.alarms()
    assert shop.bench.up(ev.CallKind.POUR) is None
    shop.bench.do(AckAlarm(alarm="unexplained:metal"))
    seconds(shop.bench, 300.0, lambda t: 573.0)
    assert shop.bench.engine.channels[0].trusted


def test_one_that_a_person_put_right_before_is_believed(shop: Shop) -> None:
    coasted(shop.bench)
    seconds(shop.bench, 400.0, lambda t: 520.0 + 8.0 * t / 60.0)
    shop.bench.do(AckAlarm(alarm="unexplained:metal"))
    seconds(shop.bench, 400.0, lambda t: 573.0)
    assert shop.bench.engine.channels[0].trusted
    start = shop.goes_on()
    assert start.so_far is not None
    assert not start.so_far.doubts
    seconds(shop.bench, 120.0, lambda t: 573.0)
    assert shop.bench.engine.channels[0].trusted


def test_no_power_no_rise_holds_two_minutes_after_the_start(shop: Shop) -> None:
    coasted(shop.bench)
    shop.goes_on()
    seconds(shop.bench, 120.0, lambda t: 520.0)
    assert not said(shop.bench.outs)
    seconds(shop.bench, 300.0, lambda t: 520.0 + 8.0 * t / 60.0)
    assert said(shop.bench.outs)


def test_a_coast_that_the_restart_falls_into_is_honest(shop: Shop) -> None:
    bench = shop.bench
    bench.in_metal(540.0)
    bench.do(MarkPower(level=PowerLevel.HIGH))
    seconds(bench, 120.0, lambda t: 540.0 + t / 6.0)
    bench.do(MarkPower(level=PowerLevel.OFF))
    seconds(bench, 30.0, lambda t: 560.0 + t / 6.0)
    shop.goes_on()
    seconds(shop.bench, 600.0, lambda t: 568.0 + min(14.0, t / 20.0))
    assert not said(shop.bench.outs)


def test_dips_survive_with_their_age(shop: Shop) -> None:
    bench = shop.bench
    bench.start()
    bench.do(inp.SetPlace(probe="metal", place=Place.DIP))
    bench.do(MarkPower(level=PowerLevel.OFF))
    bench.dip(560.0)
    (dip,) = bench.engine.facts.melt_dips()
    ago_s = bench.t_s - dip.ended_mono_s
    shop.goes_on()
    (again,) = shop.bench.engine.facts.melt_dips()
    assert (again.temp_c, again.number) == (dip.temp_c, dip.number)
    assert again.ended_mono_s == pytest.approx(77.0 - AWAY_S - ago_s, abs=1.0)
    shop.bench.dip(560.0)
    assert [one.number for one in shop.bench.engine.facts.melt_dips()] == [1, 2]


def dipped(bench: Bench) -> None:
    """The furnace off after a while of power, skimmed, and a dip that calls the pour."""
    bench.start(make_plan(lip=(525.0, 575.0)))
    bench.do(inp.SetPlace(probe="metal", place=Place.DIP))
    bench.do(MarkPower(level=PowerLevel.HIGH))
    bench.run(60.0, 60.0)
    bench.do(MarkPower(level=PowerLevel.OFF))
    bench.do(MarkSkim())
    bench.run(120.0, 60.0)
    bench.dip(565.0)
    bench.run(5.0, 60.0)


def test_a_dip_after_which_the_power_was_on_counts_no_more_after_a_restart_either(shop: Shop) -> None:
    dipped(shop.bench)
    assert shop.bench.up(ev.CallKind.POUR)
    shop.bench.do(MarkPower(level=PowerLevel.HIGH))
    shop.bench.run(20.0, 60.0)
    shop.bench.do(MarkPower(level=PowerLevel.OFF))
    shop.bench.run(5.0, 60.0)
    assert shop.bench.engine.metal.temp_c is None
    shop.goes_on()
    shop.bench.run(5.0, 60.0)
    assert shop.bench.engine.metal.temp_c is None
    assert not shop.bench.calls(ev.CallKind.POUR)


def test_a_dip_is_as_unsure_after_a_restart_as_the_furnace_that_was_on_before_it_makes_it(shop: Shop) -> None:
    dipped(shop.bench)
    before = shop.bench.engine.metal.u_c
    before_powered, before_s = shop.bench.engine.facts.power.powered, shop.bench.t_s
    shop.goes_on()
    powered, at_s = shop.bench.engine.facts.power.powered, 77.0 - AWAY_S
    for name in ("on_from_s", "on_until_s", "maybe_on_until_s"):
        assert at_s - getattr(powered, name) == pytest.approx(before_s - getattr(before_powered, name), abs=1.5)
    shop.bench.run(2.0, 60.0)
    assert shop.bench.up(ev.CallKind.POUR)
    now = shop.bench.engine.metal.u_c
    assert before is not None
    assert now is not None
    assert now >= before


def test_power_told_off_late_was_not_known_to_be_off_till_then(shop: Shop) -> None:
    bench = shop.bench
    bench.start()
    bench.do(MarkPower(level=PowerLevel.LOW))
    bench.run(30.0, 60.0)
    bench.do(MarkPower(level=PowerLevel.HIGH))
    bench.run(60.0, 60.0)
    bench.do(MarkPower(level=PowerLevel.HIGH))
    bench.run(60.0, 60.0)
    bench.do(MarkPower(level=PowerLevel.OFF, ago_s=40.0))
    bench.run(5.0, 60.0)
    power, before_s = bench.engine.facts.power, bench.t_s
    shop.goes_on()
    again, at_s = shop.bench.engine.facts.power, 77.0 - AWAY_S
    for name in ("on_from_s", "on_until_s", "maybe_on_until_s"):
        assert at_s - getattr(again.powered, name) == pytest.approx(before_s - getattr(power.powered, name), abs=1.5)
    assert again.on_since_s is None


def test_every_cause_of_distrust_is_looked_for_on_the_record() -> None:
    assert {cause.value for cause in Cause if cause} == DOUBTS


# -- a probe that is not believed, over a restart ---------------------------------------------------------------------


def lost_for(bench: Bench, lasts_s: float) -> None:
    for _ in range(int(lasts_s)):
        bench.t_s += 1.0
        bench.sample(None, flags=1)
        bench.put_tick()


def test_a_figure_that_was_proving_itself_goes_on_proving_itself_and_nobody_need_look(shop: Shop) -> None:
    shop.bench.in_metal(560.0)
    lost_for(shop.bench, 40.0)
    shop.bench.run(10.0, 560.0)
    assert last_of(shop.bench)[0] is Reason.UNPROVEN
    shop.goes_on()
    shop.bench.run(10.0, 560.0)
    assert last_of(shop.bench)[0] is Reason.UNPROVEN
    shop.bench.do(inp.SetProbeState(probe="metal", state=ProbeState.IN_METAL))
    seconds(shop.bench, 90.0, lambda t: 560.0)
    assert shop.bench.engine.channels[0].trusted


def test_over_a_restart_it_must_still_agree_with_what_was_there_before_it_was_lost(shop: Shop) -> None:
    shop.bench.in_metal(560.0, settle_s=120.0)
    lost_for(shop.bench, 40.0)
    shop.goes_on()
    shop.bench.do(inp.SetProbeState(probe="metal", state=ProbeState.IN_METAL))
    seconds(shop.bench, 300.0, lambda t: 660.0)
    assert not shop.bench.engine.channels[0].trusted
    assert shop.bench.up(ev.CallKind.POUR) is None


def test_a_second_restart_forgets_nothing_either(shop: Shop) -> None:
    shop.bench.in_metal(560.0)
    lost_for(shop.bench, 40.0)
    shop.bench.run(10.0, 560.0)
    shop.goes_on()
    shop.bench.run(5.0, 560.0)
    assert shop.bench.of(ev.TrustChanged, shop.bench.outs)[-1].proving


def again_in_metal(shop: Shop, lasts_s: float, temp_c: float) -> None:
    """All else is ready for a pour: skimmed, and the probe stands in the metal."""
    shop.bench.run(5.0, temp_c)
    shop.bench.do(inp.SetProbeState(probe="metal", state=ProbeState.IN_METAL))
    shop.bench.do(MarkSkim())
    seconds(shop.bench, lasts_s, lambda t: temp_c)


def test_a_probe_that_was_lost_for_long_must_be_quiet_as_long_after_a_restart_too(shop: Shop) -> None:
    shop.bench.in_metal(560.0)
    lost_for(shop.bench, 600.0)
    shop.bench.run(3.0, 560.0)
    shop.goes_on()
    again_in_metal(shop, 580.0, 560.0)
    assert last_of(shop.bench)[0] is Reason.UNPROVEN
    assert not shop.bench.calls(ev.CallKind.POUR)
    seconds(shop.bench, 60.0, lambda t: 560.0)
    assert shop.bench.engine.channels[0].trusted
    assert shop.bench.up(ev.CallKind.POUR)


@pytest.mark.parametrize("more_s", [0.0, 100.0])
def test_one_that_is_lost_while_the_daemon_restarts_was_away_all_the_time(shop: Shop, more_s: float) -> None:
    shop.bench.in_metal(560.0)
    lost_for(shop.bench, 400.0)
    shop.goes_on()
    lost_for(shop.bench, more_s)
    again_in_metal(shop, 380.0 + more_s, 560.0)
    assert last_of(shop.bench)[0] is Reason.UNPROVEN
    seconds(shop.bench, 120.0, lambda t: 560.0)
    assert shop.bench.engine.channels[0].trusted


@pytest.mark.parametrize("back_s", [0.0, 3.0])
def test_a_dip_probe_that_was_gone_for_minutes_and_is_back_hot_is_looked_at(shop: Shop, back_s: float) -> None:
    shop.bench.start()
    shop.bench.do(inp.SetPlace(probe="metal", place=Place.DIP))
    shop.bench.run(10.0, 500.0)
    lost_for(shop.bench, 200.0)
    shop.bench.run(back_s, 560.0)
    shop.goes_on()
    seconds(shop.bench, 300.0, lambda t: 560.0)
    assert last_of(shop.bench)[0] is Reason.INTERMITTENT


def test_a_probe_that_is_lost_for_long_says_so_to_the_record_once(shop: Shop) -> None:
    shop.bench.in_metal(560.0)
    lost_for(shop.bench, 900.0)
    assert len(shop.bench.of(ev.TrustChanged, shop.bench.outs)) == 1


def test_a_chamber_probe_proves_itself_in_the_chamber_though_the_daemon_restarts_after_a_cable_fault(
    shop: Shop,
) -> None:
    bench = shop.bench
    assert isinstance(bench, Rig)
    bench.do(inp.SetPlace(probe="metal", place=Place.CHAMBER))
    bench.start()
    bench.run(60.0, 800.0)
    bench.put_link(inp.LinkKind.CLOSED, "gone")
    bench.waits(100.0)
    bench.put_link_opened()
    bench.run(3.0, 800.0)
    assert last_of(bench)[0] is Reason.UNPROVEN
    shop.goes_on()
    shop.bench.run(60.0, 800.0)
    assert shop.bench.engine.channels[0].trusted


def test_marking_the_power_explains_a_doubt_from_before_the_restart(shop: Shop) -> None:
    coasted(shop.bench)
    seconds(shop.bench, 400.0, lambda t: 520.0 + 8.0 * t / 60.0)
    assert last_of(shop.bench)[0] is Reason.UNEXPLAINED
    shop.goes_on()
    shop.bench.do(inp.SetProbeState(probe="metal", state=ProbeState.IN_METAL))
    seconds(shop.bench, 60.0, lambda t: 573.0)
    assert last_of(shop.bench)[0] is Reason.UNEXPLAINED
    shop.bench.do(MarkPower(level=PowerLevel.HIGH))
    seconds(shop.bench, 120.0, lambda t: 573.0 + t / 8.0)
    assert shop.bench.engine.channels[0].trusted


def test_the_limits_are_judged_on_a_doubted_figure_after_a_restart_too(shop: Shop) -> None:
    coasted(shop.bench)
    seconds(shop.bench, 420.0, lambda t: 520.0 + 20.0 * t / 60.0)
    assert last_of(shop.bench)[0] is Reason.UNEXPLAINED
    shop.goes_on()
    seconds(shop.bench, 30.0, lambda t: 660.0)
    assert shop.bench.engine.situation.for_limits_c is not None
    assert shop.bench.engine.situation.for_limits_c > 650.0


def test_metal_poured_before_the_restart_was_poured_from_this_lift(shop: Shop) -> None:
    shop.bench.in_metal(560.0, make_plan(moulds=2))
    shop.bench.do(MarkLift())
    shop.bench.run(5.0, 60.0)
    shop.bench.do(inp.MarkPour())
    shop.bench.run(5.0, 60.0)
    shop.goes_on()
    assert shop.bench.engine.run is not None
    assert shop.bench.engine.run.poured_since_lift
    shop.bench.do(inp.CorrectPour(number=1, mould=""))
    assert not shop.bench.engine.run.poured_since_lift


def figures_of(pour: ev.Pour, later_s: float = 0.0) -> inp.PourFigures:
    """As the record has it: by the clock of the session that marked it."""
    return inp.PourFigures(
        at_mono_s=pour.at_mono_s + later_s,
        at_utc_s=pour.at_utc_s + later_s,
        lift_mono_s=pour.lift_mono_s,
        lip_min_c=pour.lip_min_c,
        lip_max_c=pour.lip_max_c,
    )


def first_lift(shop: Shop, *, back: bool) -> ev.Pour:
    """One mould of three poured, then the daemon restarts; the other session's clock is a thousand seconds ahead."""
    shop.bench.in_metal(560.0, make_plan(moulds=3))
    shop.bench.do(MarkLift())
    shop.bench.run(5.0, 60.0)
    shop.bench.do(inp.MarkPour())
    if back:
        shop.bench.run(5.0, 60.0)
        shop.bench.do(inp.MarkReturn())
    shop.bench.run(20.0, 60.0)
    (marked,) = shop.bench.of(ev.PourMarked)
    shop.goes_on()
    pour: ev.Pour = marked.pour
    return pour


def test_a_pour_of_an_earlier_lift_that_is_put_right_after_a_restart_stays_in_its_lift(shop: Shop) -> None:
    pour = first_lift(shop, back=True)
    shop.bench.run(30.0, 60.0)
    shop.bench.do(MarkLift())
    run = shop.bench.engine.run
    assert run is not None
    shop.bench.do(inp.CorrectPour(number=1, mould="cleat 2", figures=figures_of(pour)))
    assert run.poured_earlier(shop.bench.t_s) == ("cleat 2",)
    assert not run.poured_since_lift


@pytest.mark.parametrize("step_s", [-3600.0, 3600.0])
def test_a_wall_clock_that_is_set_after_a_restart_moves_no_pour_to_another_lift(shop: Shop, step_s: float) -> None:
    pour = first_lift(shop, back=True)
    shop.bench.utc_zero_s += step_s
    shop.bench.run(30.0, 60.0)
    shop.bench.do(MarkLift())
    run = shop.bench.engine.run
    assert run is not None
    shop.bench.do(inp.CorrectPour(number=1, mould="cleat 2", figures=figures_of(pour)))
    assert run.poured_earlier(shop.bench.t_s) == ("cleat 2",)


def test_a_pour_of_the_lift_that_goes_on_that_is_put_right_after_a_restart_stays_in_it(shop: Shop) -> None:
    pour = first_lift(shop, back=False)
    run = shop.bench.engine.run
    assert run is not None
    shop.bench.do(inp.CorrectPour(number=1, mould="cleat 2", figures=figures_of(pour)))
    assert run.poured_since_lift
    assert not run.poured_earlier(shop.bench.t_s)


def test_a_pour_from_before_a_restart_that_was_before_the_lift_by_the_time_told_is_of_an_earlier_one(
    shop: Shop,
) -> None:
    pour = first_lift(shop, back=False)
    run = shop.bench.engine.run
    assert run is not None
    shop.bench.do(inp.CorrectPour(number=1, mould="cleat 1", figures=figures_of(pour, -60.0)))
    assert not run.poured_since_lift
    assert run.poured_earlier(shop.bench.t_s) == ("cleat 1",)


def test_a_pour_that_is_told_to_have_been_later_than_the_lift_is_of_it(shop: Shop) -> None:
    pour = first_lift(shop, back=True)
    shop.bench.do(MarkLift())
    shop.bench.run(30.0, 60.0)
    run = shop.bench.engine.run
    assert run is not None
    shop.bench.do(inp.CorrectPour(number=1, mould="cleat 1", figures=figures_of(pour, 25.0 + AWAY_S + 10.0)))
    shop.bench.run(1.0, 60.0)
    assert run.poured_since_lift
