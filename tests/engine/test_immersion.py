"""In or out of the metal, by what a sheath does there: pulled, on the rim, in dross, chilled, dripping, still hot.

Traces are first-order responses (any heat transfer text) with the published time constants of the sheaths
(thermometry/sheaths.py) and films of still air on a rod: 10-15 W/m2K of natural convection, and radiation with an
emissivity of 0.8. Nothing here is what the filter itself reckons with.
"""

import math
from collections.abc import Callable, Iterator
from random import Random

import pytest

from pourcall.contract import events as ev
from pourcall.contract import inputs as inp
from pourcall.contract.events import CallKind
from pourcall.contract.reading import Place, ProbeState
from pourcall.thermal_analysis.immersion import ImmersionFilter, Medium
from pourcall.thermometry.sheaths import SHEATHS
from tests.engine.conftest import Bench, make_plan

BATH_C = 570.0  # in the middle of the pot's window of the plan, 550 to 590
FINE = 0.05  # s
QUICK = ("thin", "mineral_3mm", "mineral_6mm")
Around = Callable[[float, float], tuple[float, float]]  # (s, degC of the sheath) -> (medium degC, time constant s)


def air_s(sheath: str, temp_c: float, *, film_w: float = 12.0) -> float:
    """Time constant in still air: printed for moving air at 50 W/m2K."""
    middle_k = 0.5 * (temp_c + 20.0) + 273.15
    return SHEATHS[sheath].tau_air_s * 50.0 / (film_w + 0.8 * 4.0 * 5.670374419e-8 * middle_k**3)


def trace(sheath: str, around: Around, seconds: float, *, from_c: float = BATH_C, step_s: float = 0.5) -> list[float]:
    """What a tip reads, every half second: its outside follows what is around it, the junction the outside."""
    rng, outer_c, tip_c, out = Random(7), from_c, from_c, []
    tau_s = SHEATHS[sheath].tau_metal_s
    for step in range(1, round(seconds / FINE) + 1):
        medium_c, slow_s = around(step * FINE, outer_c)
        outer_c += (medium_c - outer_c) * FINE / max(slow_s, 0.7 * tau_s)
        tip_c += (outer_c - tip_c) * FINE / (0.3 * tau_s)
        if step % round(step_s / FINE) == 0:
            out.append(tip_c + rng.gauss(0.0, 0.15))
    return out


def pulled(sheath: str) -> Around:
    return lambda _, temp_c: (20.0, air_s(sheath, temp_c))


def on_the_rim(sheath: str) -> Around:
    return lambda _, temp_c: (400.0, air_s(sheath, temp_c))


def in_dross(sheath: str) -> Around:
    return lambda _t, _c: (BATH_C - 30.0, 5.0 * SHEATHS[sheath].tau_metal_s)


def chilled(sheath: str) -> Around:
    """Cold returns beside the tip, the bath drawn down to 500 and heated again."""
    tau_s = SHEATHS[sheath].tau_metal_s
    return lambda t, _: ((430.0 if t < tau_s else 500.0 + 0.3 * t), tau_s)


def dripping(sheath: str) -> Around:
    """Pulled out; what clings to it freezes at the liquidus, 484 degC, for twenty seconds, and then it cools on."""
    return lambda t, temp_c: (20.0, air_s(sheath, temp_c)) if temp_c > 485.0 or t > 30.0 else (484.0, 1.0)


class Watched:
    """A bench with a pour call up, and what becomes of it."""

    def __init__(self, sheath: str) -> None:
        self.bench = bench = Bench(sheath=sheath)
        bench.in_metal(BATH_C, make_plan(), settle_s=60.0 + 5.0 * SHEATHS[sheath].tau_metal_s)
        assert bench.up(CallKind.POUR)
        self.before = len(bench.outs)

    def run(self, temps: list[float]) -> Iterator[float]:
        """Feed it; yields the seconds since, after each second."""
        for at, temp_c in enumerate(temps):
            self.bench.run(0.5, temp_c)
            if at % 2:
                self.bench.put_tick()
                yield (at + 1) * 0.5

    @property
    def state(self) -> ProbeState:
        return self.bench.engine.channels[0].tracker.state

    @property
    def lifts(self) -> list[ev.LiftMarked]:
        return [out for out in self.bench.outs[self.before :] if isinstance(out, ev.LiftMarked)]


# how long a sheath needs before it can tell air from metal, and a call that stood is over
TOLD_S = {"thin": 4.0, "mineral_3mm": 6.0, "mineral_6mm": 8.0, "ceramic_tube": 40.0}


@pytest.mark.parametrize("sheath", list(TOLD_S))
def test_a_probe_pulled_into_still_air_ends_every_call_on_it_and_is_a_lift(sheath: str) -> None:
    seen = Watched(sheath)
    for since_s in seen.run(trace(sheath, pulled(sheath), 60.0)):
        if since_s >= TOLD_S[sheath]:
            assert seen.bench.up(CallKind.POUR) is None
            assert seen.bench.up(CallKind.WINDOW_CLOSING) is None
            assert seen.bench.engine.metal.temp_c is None
    assert len(seen.lifts) == 1
    assert seen.lifts[0].proposed


@pytest.mark.parametrize("sheath", QUICK)
def test_a_probe_laid_on_the_rim_is_in_no_metal_even_where_it_stands_still(sheath: str) -> None:
    seen = Watched(sheath)
    for since_s in seen.run(trace(sheath, on_the_rim(sheath), 90.0)):
        if since_s >= (20.0 if sheath == "mineral_6mm" else 12.0):
            assert seen.state in (ProbeState.LEAVING, ProbeState.OUT)
            assert seen.bench.engine.metal.temp_c is None
    assert not seen.bench.up(CallKind.POUR)


@pytest.mark.parametrize("sheath", ["thin", "mineral_3mm"])
def test_in_dross_a_call_does_not_go_on_at_a_figure_thirty_degrees_too_cold(sheath: str) -> None:
    """540 read is 525 at the lip, too cold; on the way down it passes through the window all the same."""
    seen = Watched(sheath)
    for since_s in seen.run(trace(sheath, in_dross(sheath), 50.0)):
        if since_s >= 8.0:
            assert not seen.bench.up(CallKind.POUR)
            assert seen.bench.engine.metal.temp_c is None
    assert not seen.lifts


@pytest.mark.parametrize("marked", [True, False])
@pytest.mark.parametrize("sheath", QUICK)
def test_cold_returns_that_chill_the_tip_are_no_lift_and_no_pour(sheath: str, *, marked: bool) -> None:
    seen = Watched(sheath)
    if marked:
        seen.bench.do(inp.MarkAddition(mass_kg=0.3))
    for since_s in seen.run(trace(sheath, chilled(sheath), 240.0)):
        if 4.0 <= since_s <= 120.0:
            assert not seen.bench.up(CallKind.POUR)
        if marked and since_s >= 60.0:
            assert seen.state is ProbeState.IN_METAL
    assert not seen.lifts
    assert seen.state is ProbeState.IN_METAL
    assert not seen.bench.alarms()


@pytest.mark.parametrize("sheath", QUICK)
def test_a_tip_that_drips_is_not_back_in_the_metal_while_the_drop_freezes(sheath: str) -> None:
    seen = Watched(sheath)
    for since_s in seen.run(trace(sheath, dripping(sheath), 90.0)):
        if since_s >= 8.0:
            assert not seen.bench.up(CallKind.POUR)
    assert seen.state in (ProbeState.LEAVING, ProbeState.OUT)
    assert len(seen.lifts) == 1


@pytest.mark.parametrize("warm_c", [60.0, 250.0, 400.0])
@pytest.mark.parametrize("sheath", QUICK)
def test_a_dip_with_a_probe_still_hot_from_the_last_one_is_as_true(sheath: str, warm_c: float) -> None:
    bench = Bench(Place.DIP, sheath=sheath)
    bench.start()
    bench.do(inp.MarkPower(level=inp.PowerLevel.OFF))
    tau_s = SHEATHS[sheath].tau_metal_s
    for temp_c in trace(sheath, pulled(sheath), 8.0, from_c=warm_c):
        bench.run(0.5, temp_c)
    begins_c = trace(sheath, pulled(sheath), 8.0, from_c=warm_c)[-1]
    for temp_c in trace(sheath, lambda _t, _c: (BATH_C, tau_s), 10.0 + 5.0 * tau_s, from_c=begins_c):
        bench.run(0.5, temp_c)
    for temp_c in trace(sheath, pulled(sheath), 40.0):
        bench.run(0.5, temp_c)
    (dip,) = [out.dip for out in bench.of(ev.DipRecorded)]
    assert dip.temp_c is not None
    assert dip.u_c is not None
    assert abs(dip.temp_c - BATH_C) <= dip.u_c


def test_a_six_millimetre_dip_probe_in_still_air_is_no_bath_that_cools() -> None:
    """It cools by 4 degC a second: below the threshold of a lift, above what any pot can do."""
    sheath = "mineral_6mm"
    bench = Bench(Place.DIP, sheath=sheath)
    bench.start()
    bench.do(inp.MarkPower(level=inp.PowerLevel.OFF))
    bench.run(6.0, 60.0)
    for temp_c in trace(sheath, lambda _t, _c: (BATH_C, 4.2), 30.0, from_c=60.0):
        bench.run(0.5, temp_c)
    for at, temp_c in enumerate(trace(sheath, lambda _t, _c: (20.0, 137.0), 60.0)):
        bench.run(0.5, temp_c)
        figure = bench.engine.metal
        if at >= 16 and figure.temp_c is not None:
            assert abs(figure.temp_c - BATH_C) <= figure.u_c
        assert not bench.up(CallKind.WINDOW_CLOSING)
    (dip,) = [out.dip for out in bench.of(ev.DipRecorded)]
    assert dip.temp_c is not None
    assert abs(dip.temp_c - BATH_C) <= (dip.u_c or 0.0)


# -- the filter by itself


def weighed(sheath: str, temps: list[float]) -> ImmersionFilter:
    found = ImmersionFilter(SHEATHS[sheath])
    for at in range(40):
        found.add(0.5 * at, BATH_C, solid=False)
    for at, temp_c in enumerate(temps):
        found.add(20.0 + 0.5 * at, temp_c, solid=False)
    return found


@pytest.mark.parametrize("sheath", list(TOLD_S))
@pytest.mark.parametrize("rate_c_per_s", [-0.7, -0.3, 0.0, 0.4, 0.9])
def test_metal_that_cools_or_heats_as_a_furnace_can_is_never_doubted(sheath: str, rate_c_per_s: float) -> None:
    bath = weighed(sheath, trace(sheath, lambda t, _: (BATH_C + rate_c_per_s * t, 1.0), 120.0))
    assert bath.likeliest is Medium.METAL
    assert bath.doubt < -3.0


@pytest.mark.parametrize("sheath", list(TOLD_S))
def test_weights_are_a_distribution_and_air_is_told_from_metal(sheath: str) -> None:
    out = weighed(sheath, trace(sheath, pulled(sheath), 60.0))
    assert math.isclose(sum(out.weights.values()), 1.0, abs_tol=1e-6)
    assert out.likeliest in (Medium.AIR, Medium.GAS)
    assert out.in_air > 3.0


def test_what_falls_and_comes_back_by_itself_is_in_the_metal() -> None:
    back = weighed("mineral_3mm", trace("mineral_3mm", chilled("mineral_3mm"), 25.0))
    assert back.likeliest in (Medium.METAL, Medium.CHILLED)
    assert back.in_air < 0.0
