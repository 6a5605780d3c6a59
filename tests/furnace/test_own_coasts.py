"""How far a furnace's metal runs on: told by its own coasts, and seen to be molten before that is believed.

Checked against the closed form of two lumped bodies that exchange heat and lose none (F. P. Incropera and D. P. DeWitt,
Fundamentals of Heat and Mass Transfer, ch. 5, lumped capacitance): they meet at the mean weighted by heat capacity, by
an exponential.
"""

import math

import pytest

from pourcall.contract.furnace_model import OwnCoast
from pourcall.furnace.forecast import Forecast
from pourcall.furnace.model import usual_model
from pourcall.furnace.molten import MoltenWatch, molten_from_s
from pourcall.furnace.own_coasts import foreseen, of_trace
from pourcall.furnace.training import LearnTrace
from pourcall.metal.alloys.sheet import load_sheets
from pourcall.metal.heat.curve import curve_of

SHEETS = load_sheets()
ZINC, SILUMIN = SHEETS.get("alloy3").facts(), SHEETS.get("413").facts()
WALL_J, METAL_J, EXCHANGE_W, POWER_W = 1500.0, 900.0, 20.0, 900.0


def two_bodies(cut_s: float, marked_s: float | None = None) -> tuple[LearnTrace, float]:
    """A melt of ZINC that creeps through its melting, then is heated as one of two bodies; with its true rise."""
    both = 1.0 / (1.0 / WALL_J + 1.0 / METAL_J)
    tau_s = both / EXCHANGE_W
    rate = POWER_W / (WALL_J + METAL_J)  # once the gap stands
    gap_c = rate * METAL_J / EXCHANGE_W
    rise_c = gap_c * WALL_J / (WALL_J + METAL_J)
    times, temps, metal_c = [], [], 20.0
    for second in range(int(cut_s) + 400):
        if second > cut_s:
            temps.append(metal_c + rise_c * (1.0 - math.exp(-(second - cut_s) / tau_s)) - 0.004 * (second - cut_s))
        else:
            metal_c += 0.002 if ZINC.solidus_c <= metal_c <= ZINC.liquidus_c and second < 1900 else rate
            temps.append(metal_c)
        times.append(float(second))
    power = ((0.0, 1.0), (cut_s if marked_s is None else marked_s, 0.0))
    made = LearnTrace(
        melt="2026-001",
        alloy=ZINC,
        charge_kg=1.5,
        times_s=tuple(times),
        temps_c=tuple(temps),
        power=power,
        sheath_s=0.0,
    )
    return made, rise_c


def test_a_coast_is_measured_as_two_lumped_bodies_have_it() -> None:
    trace, rise_c = two_bodies(2100.0)
    (coast,) = of_trace(trace)
    assert coast.rise_c == pytest.approx(rise_c, abs=0.8)
    assert coast.rate_c_per_min == pytest.approx(60.0 * POWER_W / (WALL_J + METAL_J), rel=0.02)
    assert coast.alloy == "alloy3"


def test_of_a_mark_made_late_no_coast_is_learned() -> None:
    assert of_trace(two_bodies(2100.0, marked_s=2160.0)[0]) == ()
    assert of_trace(two_bodies(2100.0, marked_s=2250.0)[0]) == ()


def test_of_a_melt_that_was_fed_just_before_no_coast_is_learned() -> None:
    trace, _ = two_bodies(2100.0)
    fed = LearnTrace(**{name: getattr(trace, name) for name in trace.__struct_fields__} | {"added": ((2000.0, 0.1),)})
    assert of_trace(fed) == ()


def test_coasts_that_agree_are_believed_and_one_in_another_alloy_hardly() -> None:
    own = [OwnCoast(f"2026-{k:03}", "alloy3", 430.0, 20.0, rise_c) for k, rise_c in enumerate((11.0, 12.0, 11.5))]
    told = foreseen(own, "alloy3", 430.0, 20.0, 1.0)
    assert told is not None
    assert told.rise_c == pytest.approx(11.5, abs=0.2)
    assert told.sd_c < 4.0
    other = foreseen(own, "413", 430.0, 20.0, 1.0)
    assert other is not None
    assert other.sd_c > told.sd_c
    low = foreseen(own, "alloy3", 430.0, 10.0, 0.4)
    assert low is not None
    assert low.rise_c == pytest.approx(0.5 * told.rise_c, rel=0.1)


def test_before_the_first_coast_all_furnaces_speak_and_say_how_little_they_know() -> None:
    told = foreseen([], "alloy3", 430.0, 30.0, 1.0)
    assert told is not None
    assert told.sd_c > 0.5 * told.rise_c
    assert foreseen([], "alloy3", 430.0, 0.0, 1.0) is None


def lumps(seconds: int) -> list[float]:
    """A tip between lumps of SILUMIN: up to 50 degC above the liquidus while hardly any is molten; then all is."""
    temps, reading_c = [], 20.0
    for second in range(seconds):
        if reading_c < 625.0 and second < 1900:
            reading_c += 22.0 / 60.0  # as before, pool and pot between the lumps
        elif second < 2500:
            reading_c = max(600.0, reading_c - 0.05)
        elif second < 2540:
            reading_c -= 0.4  # the last lumps sink
        else:
            reading_c += 30.0 / 60.0
        temps.append(reading_c)
    return temps


def test_a_tip_that_rises_past_the_liquidus_between_lumps_is_not_molten_metal() -> None:
    watch = MoltenWatch(curve_of(SILUMIN), 4.2)
    for second, reading_c in enumerate(lumps(2700)):
        watch.add(float(second), reading_c, 1.0)
        if second < 2540:
            assert not watch.molten, second
    assert watch.molten


def test_metal_that_falls_below_its_liquidus_is_molten_no_more() -> None:
    watch = MoltenWatch(curve_of(SILUMIN), 4.2)
    for second, reading_c in enumerate(lumps(2700)):
        watch.add(float(second), reading_c, 1.0)
    watch.add(2701.0, SILUMIN.liquidus_c - 5.0, 0.0)
    assert not watch.molten


def test_a_record_says_from_when_on_it_was_molten() -> None:
    temps = lumps(2700)
    at_s = molten_from_s(curve_of(SILUMIN), 4.2, [float(k) for k in range(2700)], temps, [(0.0, 1.0)])
    assert at_s is not None
    assert 2540.0 < at_s < 2640.0
    assert molten_from_s(curve_of(SILUMIN), 4.2, [float(k) for k in range(2400)], temps[:2400], [(0.0, 1.0)]) is None


def test_an_ensemble_that_still_melts_follows_metal_that_is_molten() -> None:
    """On a plateau all members read alike and no gain leads away from it: they are moved in heat."""
    model = usual_model("small", power_w=900.0, sheath_s=0.0)  # too weak by far for what is seen
    trace, rise_c = two_bodies(2100.0)
    ahead = Forecast(model, ZINC, 1.5, 0.0)
    ahead.set_power(1.0, 0.0)
    for at_s, reading_c in zip(trace.times_s, trace.temps_c, strict=True):
        if at_s > 2100.0:
            break
        ahead.take(reading_c, 5.0, at_s)
        view = ahead.tick(at_s, 430.0, 440.0, 430.0)
    assert view.metal_c.mid == pytest.approx(reading_c, abs=6.0)
    assert view.coast_c.low is not None
    assert view.coast_c.high is not None
    assert view.coast_c.low < reading_c + rise_c < view.coast_c.high
