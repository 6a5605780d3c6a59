"""How far a furnace's metal runs on: told by its own coasts, and seen to be molten before that is believed.

Checked against the closed form of two lumped bodies that exchange heat and lose none (F. P. Incropera and D. P. DeWitt,
Fundamentals of Heat and Mass Transfer, ch. 5, lumped capacitance): they meet at the mean weighted by heat capacity, by
an exponential.
"""

import math
from dataclasses import dataclass

import pytest

from pourcall.contract.furnace_model import OwnCoast
from pourcall.furnace.ensemble import COUNT
from pourcall.furnace.forecast import Forecast, Outlook
from pourcall.furnace.model import usual_model
from pourcall.furnace.molten import MIXES_S, MoltenWatch, molten_from_s
from pourcall.furnace.own_coasts import foreseen, of_trace
from pourcall.furnace.training import LearnTrace
from pourcall.metal.alloys.sheet import load_sheets
from pourcall.metal.heat.curve import curve_of

SHEETS = load_sheets()
ZA27 = SHEETS.get("za27").facts()
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


@dataclass
class Kept:
    """Metal of a probe that stays in a pot of ZA27, at full power; a reading a second."""

    ahead: Forecast
    at_s: float = 0.0
    metal_c: float = 20.0

    def go(self, to_c: float, rate_c_per_min: float) -> None:
        while self.metal_c < to_c:
            self.read(self.metal_c + rate_c_per_min / 60.0)

    def read(self, metal_c: float) -> Outlook:
        self.at_s, self.metal_c = self.at_s + 1.0, metal_c
        self.ahead.take(metal_c, 3.0, self.at_s)
        return self.ahead.tick(self.at_s, 575.0, 580.0, 550.0)

    def heat_j(self) -> float:
        """All that is in the metal, by the mean of the ensemble: lumps counted."""
        members, total_kg = self.ahead.members, self.ahead.mass_kg
        return sum(state.h * kg for state, kg in (members.mixed(at, total_kg) for at in range(COUNT))) / COUNT


def melted(*, still_to_come_kg: float = 0.0, to_c: float = 570.0) -> Kept:
    """1.5 kg: 20 degC a minute while solid, a plateau of a quarter of an hour, then 8 degC a minute."""
    ahead = Forecast(usual_model("club", kind="electric", rating_c=1100.0, sheath_s=4.0), ZA27, 1.5, 0.0)
    ahead.planned(1.5, still_to_come_kg)
    ahead.set_power(1.0, 0.0)
    kept = Kept(ahead)
    kept.go(470.0, 20.0)
    kept.go(480.0, 10.0 / 15.0)
    kept.go(to_c, 8.0)
    return kept


def test_cold_metal_put_into_a_molten_bath_does_not_vanish_though_the_tip_reads_the_hot_bath_beside_it() -> None:
    """Measured against the same furnace of which nothing is read: what a tip beside a lump reads is no heat in it."""
    kept, unread = melted(), melted()
    before_j, before_c = kept.heat_j(), kept.metal_c
    for one in (kept, unread):
        one.ahead.add(0.5, one.at_s)
    ready_at_s = kept.at_s + (kept.read(before_c).ready_s.mid or 0.0)
    for second in range(int(MIXES_S)):  # the tip stays in hot metal while the lump sinks and melts
        ready_s = kept.read(before_c - 30.0 * (1.0 - math.exp(-(second + 1.0) / 60.0))).ready_s.mid
        unread.ahead.tick(kept.at_s, 575.0, 580.0, 550.0)
        assert kept.heat_j() == pytest.approx(unread.heat_j(), abs=0.08 * before_j), second
        if second < 90 and ready_s is not None:  # later this bath, read hotter than so much cold leaves it, tells power
            assert ready_s > 0.8 * (ready_at_s - kept.at_s), second
        assert any(kept.ahead.members.lies)


def test_metal_put_into_a_bath_that_is_only_held_is_taken_as_molten_again_once_it_has_had_time() -> None:
    watch = MoltenWatch(curve_of(SILUMIN), 4.2)
    for second, reading_c in enumerate(lumps(2700)):
        watch.add(float(second), reading_c, 1.0)
    watch.added(0.1, 1.5)
    for second in range(2700, 2700 + int(MIXES_S) + 60):
        watch.add(float(second), 640.0, 0.2)
        assert not watch.molten or second >= 2700 + MIXES_S
    assert watch.molten


def test_cold_metal_in_a_bath_that_rises_is_not_molten_before_its_heat_is_in_and_then_at_once() -> None:
    """Half a kilogram in one and a half: a third of a kilogram's heat for each there was, 0.3 of it at the least."""
    watch = MoltenWatch(curve_of(SILUMIN), 4.2)
    for second, reading_c in enumerate(lumps(2700)):
        watch.add(float(second), reading_c, 1.0)
    assert watch.molten
    watch.added(0.5, 1.5)
    curve = curve_of(SILUMIN)
    least_s = 0.3 / 3.0 * curve.h_liquid / (22.0 / 60.0 * curve.cp_before_melting)
    assert least_s < MIXES_S
    seen = []
    for second in range(2700, 3000):
        watch.add(float(second), 600.0 + (second - 2700) * 0.5, 1.0)
        seen.append(watch.molten)
    assert seen.index(True) == pytest.approx(least_s + 15.0, abs=25.0)
    assert all(seen[seen.index(True) :])


def test_metal_that_is_still_to_come_is_in_the_coast_that_is_told_and_no_cut_is_called_for_without_it() -> None:
    """To the coast of the model alone, which is held against a solver of its own (test_furnace_model)."""
    kept = melted(still_to_come_kg=0.4, to_c=545.0)
    view = kept.read(545.0)
    assert view.coast_c.mid == pytest.approx(kept.ahead.coast().peak_c, abs=3.0)
    assert view.coast_c.mid is not None
    assert view.coast_c.mid < 500.0
    assert view.cut_in_s is None or view.cut_in_s > 400.0
    kept.ahead.planned(1.5, 0.0)
    without_c = kept.read(545.0).coast_c.mid
    assert without_c is not None
    assert without_c > 540.0
