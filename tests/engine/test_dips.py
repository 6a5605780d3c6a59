"""Dips as the engine tells them. Words for what is wrong, depth asked once, three in a row.

Traces are a first-order sheath (textbook) unless the simulator's own is named. Ten sheath diameters: common practice,
no source; the fin is checked against a worked estimate (6 mm sheath, h 2000, k 25: 2 % at 20 mm, 0.02 % at 40 mm).
"""

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pourcall.contract import inputs as inp
from pourcall.contract.config import ProbeConfig
from pourcall.contract.events import CommandRefused, Dip, DipFault, DipHow, DipRecorded, FigureSource
from pourcall.contract.reading import Place
from pourcall.contract.snapshot import DipHint
from pourcall.contract.units import Unit
from pourcall.engine.bath.dips import dip_spread_c, stem_error_c
from pourcall.texts import say
from pourcall.thermal_analysis.dip_trace import before_exit, fit_settling, settling_part
from tests.engine.conftest import Bench
from tests.engine.dipping import a_dip, dip_once
from tests.told import message


@pytest.fixture
def dipping() -> Bench:
    """A thin probe for dips, the power off."""
    bench = Bench(Place.DIP)
    bench.start()
    bench.do(inp.MarkPower(level=inp.PowerLevel.OFF))
    return bench


def dips_of(bench: Bench) -> list[Dip]:
    return [out.dip for out in bench.of(DipRecorded)]


# -- what a dip is told to be -----------------------------------------------------------------------------------------


def test_too_short_says_how_long_it_was_and_how_long_it_wants(dipping: Bench) -> None:
    dipping.dip(565.0, hold_s=1.5)
    (dip,) = dips_of(dipping)
    assert dip.temp_c is None
    assert dip.fault is DipFault.TOO_SHORT
    why = message(dip.why)
    assert why.facts["held_s"] == pytest.approx(1.5, abs=0.5)
    assert why.facts["least_s"] > why.facts["held_s"]  # type: ignore[operator]


def test_still_settling_says_how_well_it_is_known_and_how_much_longer() -> None:
    """A sheath twice as slow as the settings say, taken out half-way."""
    bench = Bench(Place.DIP)
    bench.start()
    bench.dip(565.0, hold_s=4.0, tau_s=2.6)
    (dip,) = dips_of(bench)
    assert dip.temp_c is None
    assert dip.fault is DipFault.UNSETTLED
    assert message(dip.why).facts.keys() == {"held_s", "known_difference_c", "longer_s"}


def test_hot_gas_is_told_from_metal_and_asks_for_depth(dipping: Bench) -> None:
    """The same sheath in air: ten times slower at least (sab-cable.com table)."""
    dipping.run(6.0, 60.0)
    dipping.run(15.0, lambda t: 900.0 - 840.0 * math.exp(-t / 12.0))
    dipping.run(30.0, lambda t: 60.0 + 600.0 * math.exp(-t / 4.0))
    dip = dips_of(dipping)[0]
    assert dip.temp_c is None
    assert dip.fault is DipFault.HOT_GAS
    assert message(dip.why).name == "dip.hot_gas"


def test_a_hand_that_moves_is_told_from_metal_that_settles(dipping: Bench) -> None:
    dipping.run(6.0, 60.0)
    dipping.run(20.0, lambda t: 560.0 + 5.0 * math.sin(1.5 * t) - 500.0 * math.exp(-t))
    dipping.run(30.0, lambda t: 60.0 + 500.0 * math.exp(-t / 4.0))
    dip = dips_of(dipping)[0]
    assert dip.temp_c is None
    assert dip.fault is DipFault.WANDERED
    assert message(dip.why).facts["by_difference_c"] > 3.0  # type: ignore[operator]


def test_a_flat_figure_below_the_liquidus_names_both_causes_while_either_may_be(dipping: Bench) -> None:
    dipping.dip(376.0, hold_s=15.0)
    (dip,) = dips_of(dipping)
    assert dip.temp_c is None
    assert dip.fault is DipFault.SHELL_OR_MUSHY
    assert message(dip.why).facts["temp_c"] == pytest.approx(376.0, abs=1.0)


def test_a_shell_is_named_where_a_dip_before_found_the_pot_liquid(dipping: Bench) -> None:
    dipping.dip(565.0)
    dipping.dip(376.0, hold_s=15.0)
    dip = dips_of(dipping)[1]
    assert dip.temp_c is None
    assert dip.fault is DipFault.SHELL
    assert message(dip.why).facts["number"] == 1


def test_a_pot_not_fully_liquid_is_named_where_it_stood_longer_than_a_shell_lasts(dipping: Bench) -> None:
    dipping.dip(430.0, hold_s=50.0)
    (dip,) = dips_of(dipping)
    assert dip.temp_c is None
    assert dip.fault is DipFault.MUSHY


def test_far_below_the_solidus_it_is_no_shell(dipping: Bench) -> None:
    dipping.dip(300.0, hold_s=15.0)
    (dip,) = dips_of(dipping)
    assert dip.fault is DipFault.SOLID


def test_the_simulators_own_shell_is_never_taken_for_the_bath() -> None:
    """A cold 6 mm sheath in ZA-27 hardly above its liquidus carries a shell for many seconds."""
    for hold_s in (4.0, 8.0, 14.0, 20.0):
        dipped = dip_once("mi_6.0", "za27", 3, hold_s=hold_s, tap_c=505.0)
        for dip in dipped.dips:
            assert dip.temp_c is None or abs(dip.temp_c - dipped.true_c) <= (dip.u_c or 0.0)


def test_why_a_dip_is_of_no_use_is_said_in_the_readers_unit(dipping: Bench) -> None:
    dipping.dip(376.0, hold_s=15.0)
    (dip,) = dips_of(dipping)
    assert message(dip.why).facts["temp_c"] == pytest.approx(376.0, abs=0.1)
    assert "376 °C" in say(dip.why)
    assert "709 °F" in say(dip.why, Unit.F)


# -- depth and stirring -----------------------------------------------------------------------------------------------


def test_depth_and_stirring_are_said_once_and_hold_over_melts(dipping: Bench) -> None:
    dipping.do(inp.StartDip(probe="metal", depth_mm=60.0, stirred=True))
    dipping.dip(565.0)
    dipping.dip(566.0)
    dipping.do(inp.EndMelt(ending=inp.MeltEnding.POURED))
    dipping.start()
    dipping.dip(567.0)
    assert [(dip.depth_mm, dip.stirred) for dip in dips_of(dipping)] == [(60.0, True)] * 3
    dipping.do(inp.StartDip(probe="metal", stirred=False))
    dipping.dip(567.0)
    assert (dips_of(dipping)[-1].depth_mm, dips_of(dipping)[-1].stirred) == (60.0, False)


def test_what_is_said_while_the_dip_is_on_is_of_that_dip(dipping: Bench) -> None:
    dipping.run(6.0, 60.0)
    dipping.run(5.0, lambda t: 565.0 - 505.0 * math.exp(-t))
    dipping.do(inp.StartDip(probe="metal", depth_mm=45.0))
    dipping.run(10.0, 565.0)
    dipping.run(30.0, lambda t: 60.0 + 505.0 * math.exp(-t / 4.0))
    assert dips_of(dipping)[0].depth_mm == 45.0


@pytest.mark.parametrize("depth_mm", [0.0, -5.0, 5000.0, math.nan])
def test_a_depth_that_cannot_be_meant_is_refused(dipping: Bench, depth_mm: float) -> None:
    (refused,) = dipping.do(inp.StartDip(probe="metal", depth_mm=depth_mm))
    assert isinstance(refused, CommandRefused)


def test_a_probe_that_stays_in_the_metal_is_not_made_to_dip(bench: Bench) -> None:
    """The dip key pressed with a probe left in the pot must not lose the figure there is."""
    bench.in_metal(570.0)
    (refused,) = bench.do(inp.StartDip(probe="metal"))
    assert isinstance(refused, CommandRefused)
    assert bench.engine.metal.temp_c is not None


def test_the_error_of_a_shallow_stem_is_that_of_the_fin() -> None:
    assert stem_error_c("mineral_6mm", 20.0, 520.0) / 500.0 == pytest.approx(0.02, rel=0.05)
    assert stem_error_c("mineral_6mm", 40.0, 520.0) / 500.0 == pytest.approx(0.0002, rel=0.1)


def test_too_shallow_by_the_stated_depth_gives_no_figure_and_says_how_deep() -> None:
    bench = Bench(Place.DIP, sheath="mineral_6mm")
    bench.start()
    bench.do(inp.StartDip(probe="metal", depth_mm=15.0))
    bench.dip(565.0, hold_s=40.0, tau_s=4.0)
    (dip,) = dips_of(bench)
    assert dip.temp_c is None
    assert dip.fault is DipFault.TOO_SHALLOW
    how = message(message(dip.why).facts["how"])  # type: ignore[arg-type]
    assert (how.facts["depth_mm"], how.facts["wanted_mm"]) == (15, 60)
    assert bench.engine.metal.temp_c is None


def test_a_little_shallow_is_said_and_held_in_the_uncertainty() -> None:
    found = []
    for depth_mm in (None, 25.0, 60.0):
        bench = Bench(Place.DIP, sheath="mineral_6mm")
        bench.start()
        bench.do(inp.StartDip(probe="metal", depth_mm=depth_mm))
        bench.dip(565.0, hold_s=40.0, tau_s=4.0)
        found.append(dips_of(bench)[0])
    unknown, shallow, deep = found
    assert not unknown.why
    assert not deep.why
    assert message(shallow.why).name == "dip.shallow"
    assert shallow.u_c is not None
    assert unknown.u_c is not None
    assert deep.u_c == pytest.approx(unknown.u_c, abs=0.01)
    assert shallow.u_c > unknown.u_c


# -- while it goes on -------------------------------------------------------------------------------------------------


def test_the_assistant_counts_down_and_then_says_take_it_out(dipping: Bench) -> None:
    dipping.run(6.0, 60.0)
    assert dipping.engine.snapshot().dip_now is None
    told = []
    began_s = dipping.t_s
    while dipping.t_s < began_s + 15.0:
        dipping.run(0.5, lambda _: 565.0 - 505.0 * math.exp(-(dipping.t_s - began_s)))
        if (view := dipping.engine.snapshot().dip_now) is not None:
            told.append(view)
    assert message(told[0].text).name == "dip.hint.middle"
    assert told[0].hold_s is not None
    assert told[0].hold_s >= 1.0
    last = told[-1]
    assert (last.hold_s, last.good) == (0.0, True)
    assert last.hint is DipHint.OUT
    assert message(last.text).facts["temp_c"] == pytest.approx(565.0, abs=1.0)
    assert last.fit_error_c is not None
    assert last.fit_error_c <= 2.0
    out_at = next(k for k, view in enumerate(told) if view.hold_s == 0.0)
    assert all(view.hold_s == 0.0 for view in told[out_at:])  # once said, it stands
    dipping.run(30.0, lambda t: 60.0 + 505.0 * math.exp(-t / 4.0))
    assert dipping.engine.snapshot().dip_now is None


def test_looking_changes_nothing() -> None:
    """The engine's outputs do not depend on how often somebody asks for a snapshot."""

    def outputs(look: bool) -> list[Any]:
        bench = Bench(Place.DIP)
        bench.start()
        start_s = bench.t_s
        for k in range(60):
            bench.t_s = start_s + 0.5 * k
            bench.sample(565.0 - 505.0 * math.exp(-max(0.0, 0.5 * k - 6.0)))
            if look:
                bench.engine.snapshot()
                bench.engine.snapshot()
            bench.put_tick()
        return bench.outs

    assert outputs(True) == outputs(False)


def test_the_assistant_asks_for_the_power_to_be_off(dipping: Bench) -> None:
    dipping.do(inp.MarkPower(level=inp.PowerLevel.HIGH))
    dipping.run(6.0, 60.0)
    dipping.run(2.0, lambda t: 565.0 - 505.0 * math.exp(-t))
    view = dipping.engine.snapshot().dip_now
    assert view is not None
    assert message(view.text).name == "dip.hint.power_off"


def test_a_dip_with_the_power_on_counts_for_nothing_once_it_is_over(dipping: Bench) -> None:
    dipping.do(inp.MarkPower(level=inp.PowerLevel.HIGH))
    dipping.dip(565.0)
    assert dips_of(dipping)[0].temp_c is not None
    assert dipping.engine.metal.temp_c is None
    assert message(dipping.engine.metal.how).name == "figure.dip_with_power"


@pytest.mark.parametrize(("heading_c", "tau_s", "hint"), [(376.0, 1.0, DipHint.HOLD_ON), (900.0, 14.0, DipHint.DEEPER)])
def test_the_assistant_says_what_is_wrong_while_it_can_be_mended(
    dipping: Bench, heading_c: float, tau_s: float, hint: DipHint
) -> None:
    dipping.run(6.0, 60.0)
    dipping.run(10.0, lambda t: heading_c - (heading_c - 60.0) * math.exp(-t / tau_s))
    view = dipping.engine.snapshot().dip_now
    assert view is not None
    assert view.hint is hint
    assert not view.good


def test_a_stated_depth_too_small_is_told_at_once() -> None:
    bench = Bench(Place.DIP, sheath="mineral_6mm")
    bench.start()
    bench.do(inp.StartDip(probe="metal", depth_mm=12.0))
    bench.run(6.0, 60.0)
    bench.run(8.0, lambda t: 565.0 - 505.0 * math.exp(-t / 4.0))
    view = bench.engine.snapshot().dip_now
    assert view is not None
    assert view.hint is DipHint.DEEPER
    assert message(view.text).facts["wanted_mm"] == 60


def test_a_dipping_probe_left_in_the_pot_is_a_probe_in_the_metal(dipping: Bench) -> None:
    dipping.run(6.0, 60.0)
    dipping.run(120.0, lambda t: 565.0 - 505.0 * math.exp(-t))
    assert dipping.engine.snapshot().dip_now is None
    assert dipping.engine.metal.temp_c == pytest.approx(565.0, abs=0.5)
    assert message(dipping.engine.metal.how).name == "figure.probe"
    assert dipping.engine.metal.source is FigureSource.DIP_ON


# -- three in a row ---------------------------------------------------------------------------------------------------


def test_three_good_dips_in_a_row_tell_their_spread() -> None:
    three = [a_dip(1, 560.0, ended_s=20.0), a_dip(2, 566.0, ended_s=80.0), a_dip(3, 563.0, ended_s=140.0)]
    assert dip_spread_c(three, math.inf) == 6.0
    assert dip_spread_c(three[:2], -math.inf) is None


@pytest.mark.parametrize(
    ("temps", "last_s", "power_maybe_on_until_s", "spread_c"),
    [
        ((560.0, None, 563.0), 140.0, -math.inf, None),  # one gave no figure
        ((560.0, 566.0, 563.0), 330.0, -math.inf, None),  # over more than five minutes
        ((560.0, 563.0, 566.0), 140.0, 100.0, None),  # all one way, and the power was not known to be off
        ((566.0, 563.0, 560.0), 140.0, -math.inf, 6.0),  # all one way with the power off: cooling, and said
    ],
)
def test_what_tells_no_spread(
    temps: tuple[float | None, ...], last_s: float, power_maybe_on_until_s: float, spread_c: float | None
) -> None:
    three = [
        a_dip(k + 1, temp_c, ended_s=s) for k, (temp_c, s) in enumerate(zip(temps, (20.0, 80.0, last_s), strict=True))
    ]
    assert dip_spread_c(three, power_maybe_on_until_s) == spread_c


def test_dips_of_two_probes_are_not_compared() -> None:
    three = [a_dip(k, 560.0 + k, ended_s=60.0 * k, probe="other" if k == 2 else "metal") for k in (1, 2, 3)]
    assert dip_spread_c(three, -math.inf) is None


def test_the_snapshot_shows_the_latest_three_and_their_spread(dipping: Bench) -> None:
    for temp_c in (560.0, 561.0, 566.0, 563.0):
        dipping.dip(temp_c, hold_s=12.0)
    shot = dipping.engine.snapshot()
    assert [dip.number for dip in shot.dips] == [2, 3, 4]
    assert shot.dip_spread_c == pytest.approx(5.0, abs=0.5)
    dipping.do(inp.EndMelt(ending=inp.MeltEnding.POURED))
    assert dipping.engine.snapshot().dips == ()


def test_a_spread_larger_than_what_was_stated_takes_the_place_of_the_uncertainty(dipping: Bench) -> None:
    """Range of three over 1.693 is a standard deviation (d2 of control charts); twice that is the expanded one."""
    for temp_c in (550.0, 570.0, 555.0):
        dipping.dip(temp_c, hold_s=12.0)
    dips = dips_of(dipping)
    temps = [dip.temp_c or 0.0 for dip in dips]
    assert dips[2].u_c == pytest.approx(2.0 * (max(temps) - min(temps)) / 1.693)
    assert [dip.how for dip in dips] == [DipHow.SETTLED] * 3
    assert [dip.widened for dip in dips] == [False, False, True]


def test_a_bath_that_cools_evenly_does_not_make_the_last_dip_unsure(dipping: Bench) -> None:
    for temp_c in (570.0, 560.0, 550.0):
        dipping.dip(temp_c, hold_s=12.0)
    dips = dips_of(dipping)
    assert dips[2].how is DipHow.SETTLED
    assert not dips[2].widened
    assert dips[2].u_c == pytest.approx(dips[0].u_c, abs=0.5)


# -- the trace --------------------------------------------------------------------------------------------------------


def test_the_settling_part_begins_after_a_shell_came_off() -> None:
    points = [(0.5 * k, 376.0 - 300.0 * math.exp(-0.5 * k)) for k in range(20)]
    points += [(10.0 + 0.5 * k, 560.0 - 184.0 * math.exp(-0.5 * k)) for k in range(12)]
    part = settling_part(points, 1.3)
    assert 10.0 <= part[0][0] <= 11.0


def test_the_way_out_is_left_out_also_of_a_slow_sheath() -> None:
    points = [(0.5 * k, 560.0 - 500.0 * math.exp(-0.125 * k)) for k in range(60)]
    left_s, top_c = points[-1]
    points += [(left_s + 0.5 * k, top_c - 0.6 * k * k) for k in range(1, 20)]
    kept = before_exit(points, points[-1][0], span_s=3.0, step_s=0.5, tau_s=4.2)
    assert left_s - 4.0 <= kept[-1][0] <= left_s


def test_a_bath_that_cools_while_the_probe_is_in_is_not_taken_for_the_way_out() -> None:
    """Silicon bronze in an open pot: half a degree a second, after a thin sheath has long settled."""
    points = [(1.0 * k, 1100.0 - 0.5 * k - 1000.0 * math.exp(-1.2 * k)) for k in range(22)]
    points += [(22.0, 1060.0), (23.0, 980.0)]
    kept = before_exit(points, 23.0, span_s=1.5, step_s=1.0, tau_s=1.0)
    assert kept[-1][0] >= 17.0
    part = settling_part(kept, 1.0)
    assert len(part) >= 10
    fit = fit_settling(kept, 1.0)
    assert fit is not None
    assert fit.temp_c == pytest.approx(1100.0 - 0.5 * kept[-1][0], abs=1.0)


def test_a_probe_hotter_than_the_bath_is_still_settling_and_not_on_its_way_out() -> None:
    points = [(0.5 * k, 450.0 + 250.0 * math.exp(-0.5 * k)) for k in range(12)]
    kept = before_exit(points, points[-1][0], span_s=1.5, step_s=0.5, tau_s=1.0)
    assert len(kept) >= 5


_temps = st.lists(st.floats(-50.0, 1300.0), min_size=1, max_size=60)


@given(_temps, st.sampled_from(["thin", "mineral_6mm", "ceramic_tube"]))
def test_no_trace_whatever_breaks_a_dip(temps: list[float], sheath: str) -> None:
    """A figure has its error and uncertainty; no figure has its reason in words."""
    own = ProbeConfig(name="other", board="bench", channel="1", place=Place.AMBIENT)
    bench = Bench(Place.DIP, sheath=sheath, probes=[own])
    bench.start()
    for temp_c in [20.0, *temps, 20.0, 20.0, 20.0]:
        bench.t_s += 1.0
        bench.sample(temp_c)
        bench.engine.snapshot()
    for dip in dips_of(bench):
        assert (dip.temp_c is None) == (dip.u_c is None)
        assert dip.temp_c is not None or dip.why
        assert dip.fit_error_c is None or math.isfinite(dip.fit_error_c)


def test_a_probe_put_elsewhere_in_mid_dip_leaves_no_dip_behind(dipping: Bench) -> None:
    dipping.run(6.0, 60.0)
    dipping.run(6.0, lambda t: 565.0 - 505.0 * math.exp(-t))
    dipping.do(inp.SetPlace(probe="metal", place=Place.MELT))
    dipping.run(60.0, 565.0)
    dipping.do(inp.SetPlace(probe="metal", place=Place.DIP))
    dipping.run(30.0, 40.0)
    assert dips_of(dipping) == []


def test_the_same_inputs_give_the_same_dip() -> None:
    def once() -> list[Dip]:
        bench = Bench(Place.DIP)
        bench.start()
        bench.dip(565.0, hold_s=6.0, tau_s=1.6)
        return dips_of(bench)

    assert once() == once()
    assert once()[0].temp_c is not None
    assert once()[0].how in ("settled", "extrapolated")


@pytest.mark.parametrize(("last_c", "usable"), [(565.2, True), (572.0, False)])
def test_samples_that_come_slowly_count_where_they_are_flat_for_long(last_c: float, usable: bool) -> None:
    """A meter that speaks every ten seconds: no fit, but three figures alike after three time constants will do."""
    bench = Bench(Place.DIP)
    bench.start()
    for temp_c in (20.0, 20.0, 540.0, 564.9, 565.1, last_c, 200.0, 60.0):
        bench.t_s += 10.0
        bench.sample(temp_c)
        bench.put_tick()
    (dip,) = dips_of(bench)
    assert (dip.temp_c is not None) is usable
    if usable:
        assert dip.temp_c == pytest.approx(565.1, abs=0.3)
