"""The brick furnace against textbook heat balances, and its ledger over whole melts. Nothing is of the plant's code."""

import math

import pytest

from pourcall.sim.plant.brick import BrickPlant, BrickSpec, Panel, PanelSpec
from pourcall.sim.plant.interface import PlantStart, PotSpec
from pourcall.sim.plant.melting import SOLVENTS, Molten, facts_of, melted_by_scheil, melted_diffused, scheil_c
from pourcall.sim.plant.rod import RodProbe
from pourcall.sim.scenarios.brick_melts import brick_melt
from pourcall.sim.scenarios.small_melts import small_melt
from pourcall.sim.shop import Scenario, Shop

POT = PotSpec()


def plant_with(key: str = "za27", kg: float = 1.5, dt_s: float = 0.5, spec: BrickSpec | None = None) -> BrickPlant:
    plant = BrickPlant(spec or BrickSpec(), POT, melted_by_scheil(facts_of(key)), dt_s=dt_s)
    if kg:
        plant.add(kg)
    return plant


def hot_bath(key: str, temp_c: float, kg: float, *, pot_c: float | None = None, pot: PotSpec = POT) -> BrickPlant:
    metal = melted_by_scheil(facts_of(key))
    plant = BrickPlant(BrickSpec(), pot, metal, dt_s=0.1, start=PlantStart(pot_c=temp_c if pot_c is None else pot_c))
    plant.add(kg, temp_c)
    return plant


@pytest.mark.parametrize(
    "scenario",
    [*(brick_melt(seed) for seed in range(4)), small_melt(4), small_melt(10)],
    ids=lambda scenario: scenario.name,
)
def test_whole_melts_conserve_energy_to_a_thousandth(scenario: Scenario) -> None:
    shop = Shop(scenario)
    before_j = shop.plant.stored_j()
    worst = 0.0
    while not shop.finished:
        shop.step()
        if shop.n_steps % 50 == 0:
            missing_j = shop.plant.stored_j() - before_j - shop.plant.net_in_j()
            worst = max(worst, abs(missing_j) / max(1.0, shop.plant.supplied_j, shop.plant.lost_j))
    assert worst < 1e-3
    assert shop.plant.supplied_j > 1e5
    assert shop.plant.poured_j > 2e4


def test_the_ledger_would_notice_a_flow_booked_once() -> None:
    plant = plant_with()
    plant.set_power(1.0)
    before_j = plant.stored_j()
    for _ in range(1200):
        plant.step()
        plant.lid_c += 0.01  # heat from nowhere
    assert abs(plant.stored_j() - before_j - plant.net_in_j()) / plant.supplied_j > 1e-3


def test_a_brick_wall_held_hot_passes_what_the_textbook_says() -> None:
    # Plane wall in steady state (any heat transfer textbook): q = k A (T1 - T2) / L, constant k
    spec = BrickSpec(w_per_m_k=0.2, w_per_m_k2=0.0, face_m2=0.1, thick_m=0.08)
    plant = plant_with(kg=0.0, spec=spec)
    for _ in range(60_000):
        plant.brick_c[0] = 800.0
        flow = plant._conduct(0.0)
        plant.shell_c = 50.0
    first_m = 0.5 * plant._thick[0]
    assert flow == pytest.approx(0.2 * 0.1 * (800.0 - 50.0) / (0.08 - first_m), rel=1e-3)


def test_heat_soaks_into_the_brick_by_the_error_function() -> None:
    # Half-space whose face is brought to T: T(x, t) = T erfc(x / sqrt(4 a t)) (Carslaw and Jaeger, 2nd ed., 2.5)
    spec = BrickSpec(w_per_m_k=0.25, w_per_m_k2=0.0, thick_m=0.2, j_per_m3_k=6.0e5)
    plant = BrickPlant(spec, POT, melted_by_scheil(facts_of("za27")), dt_s=0.5, start=PlantStart(0.0))
    for _ in range(6000):
        plant.brick_c[0] = 1000.0
        plant._conduct(0.0)
    first_m, second_m = plant._thick[0], plant._thick[1]
    deep_m = 0.5 * first_m + 0.5 * second_m  # from the middle of the first, which is held
    diffusivity = 0.25 / 6.0e5
    expected_c = 1000.0 * math.erfc(deep_m / math.sqrt(4.0 * diffusivity * 3000.0))
    assert plant.brick_c[1] == pytest.approx(expected_c, abs=30.0)  # five nodes are coarse


# Wall and surface of a lifted pot, worked by hand from Stefan-Boltzmann and 10 W/(m2 K) of air (the worked figures of
# test_plant_physics): 2 kg of ZA-12 at 500 degC, outside at 450, 670 + 39 W; 1 kg of A356 at 720 and 650, 1860 + 83 W
@pytest.mark.parametrize(
    ("key", "kg", "metal_c", "pot_c", "outer_m2", "watts"),
    [
        ("za12", 2.0, 500.0, 450.0, math.pi * (0.1 * 0.1 + 0.05**2), 709.0),
        ("a356", 1.0, 720.0, 650.0, math.pi * (0.1 * 0.12 + 0.05**2), 1943.0),
        ("c87300", 3.0, 1120.0, 1040.0, math.pi * (0.1 * 0.12 + 0.05**2), 7443.0),
    ],
)
def test_a_lifted_pot_loses_about_what_the_worked_example_says(
    key: str, kg: float, metal_c: float, pot_c: float, outer_m2: float, watts: float
) -> None:
    pot = PotSpec(mass_kg=0.6, outer_m2=outer_m2, mouth_m2=math.pi * 0.04**2)
    plant = hot_bath(key, metal_c, kg, pot_c=pot_c, pot=pot)
    plant.lift()
    before_j = plant.lost_j
    plant.step()
    cold_furnace_w = 0.0  # brick, lid and plinth are at the room's
    assert (plant.lost_j - before_j) / 0.1 - cold_furnace_w == pytest.approx(watts, rel=0.12)


def test_half_the_step_gives_the_same_melt() -> None:
    seen = []
    for dt_s in (1.0, 0.1):
        plant = plant_with("a356", 1.2, dt_s)
        plant.set_power(1.0)
        while plant.t_s < 1500.0:
            plant.step()
        seen.append(plant.metal_c)
    assert seen[0] == pytest.approx(seen[1], abs=1.5)


@pytest.mark.parametrize(
    ("kind", "band_c", "within_c"), [("on_off", 6.0, 25.0), ("pid", 6.0, 25.0), ("bimetal", 40.0, 60.0)]
)
def test_the_panel_keeps_the_chamber_and_not_the_metal(kind: Panel, band_c: float, within_c: float) -> None:
    panel = PanelSpec(kind=kind, high_c=700.0, band_c=band_c)
    plant = plant_with("za12", 1.0, spec=BrickSpec(power_w=2600.0, panel=panel))
    plant.set_power(1.0)
    chamber, powers, metal_then_c = [], set(), 0.0
    while plant.t_s < 7200.0:
        plant.step()
        if plant.sensor_c >= 700.0 - band_c and not metal_then_c:
            metal_then_c = plant.metal_c
        if plant.t_s > 4500.0:
            chamber.append(plant.sensor_c)
            powers.add(plant.power_w > 0.0)
    assert max(chamber) - 700.0 < within_c
    assert 700.0 - min(chamber) < within_c
    assert powers == {True, False}
    assert metal_then_c < 650.0  # the chamber is there long before the metal


def test_a_collapse_cools_the_bath_and_loses_nothing() -> None:
    plant = plant_with("a356", 1.5)
    plant.set_power(1.0)
    pieces, fell_c = len(plant.pieces), 0.0
    before_j = plant.stored_j() - plant.net_in_j()
    highest_c = 0.0
    while plant.pieces and plant.t_s < 5000.0:
        plant.step()
        if plant.bath_kg > 0.1:
            highest_c = max(highest_c, plant.metal_c)
            fell_c = max(fell_c, highest_c - plant.metal_c)
    assert pieces == 3
    assert plant.bath_kg == pytest.approx(1.5)
    assert fell_c > 0.5
    assert plant.stored_j() - plant.net_in_j() == pytest.approx(before_j, abs=1.0)


def test_a_bath_heated_from_above_stays_hotter_above_and_one_heated_from_below_does_not() -> None:
    plant = hot_bath("za12", 520.0, 1.5)
    plant._top_h += 20_000.0
    above = plant.layer_c(0.0) - plant.layer_c(1.0)
    for _ in range(100):
        plant.step()
    left_above = (plant.layer_c(0.0) - plant.layer_c(1.0)) / above
    plant = hot_bath("za12", 520.0, 1.5)
    plant._low_h += 20_000.0
    below = plant.layer_c(1.0) - plant.layer_c(0.0)
    for _ in range(100):
        plant.step()
    assert (plant.layer_c(1.0) - plant.layer_c(0.0)) / below < left_above


def test_aluminium_with_copper_keeps_the_eutectic_that_scheil_foretells() -> None:
    # Al-4.5Cu: k 0.17, eutectic at 33 % copper, so (33/4.5)^(1/(k-1)) = 9 % of eutectic (M. C. Flemings, Solidification
    # Processing, 1974, ch. 5; from memory). Liquidus slope -3.4 K a percent.
    pure_c, liquidus_c, eutectic_c = 660.0, 660.0 - 3.4 * 4.5, 660.0 - 3.4 * 33.0
    assert scheil_c(0.91, pure_c=pure_c, liquidus_c=liquidus_c, k=0.17) == pytest.approx(eutectic_c, abs=2.0)


def check_law(metal: Molten) -> None:
    last = (-1e9, -1.0)
    for n in range(300):
        h = metal.h_liquid * 1.1 * n / 300.0
        now = (metal.temp_c(h), metal.liquid(h))
        assert now >= (last[0] - 1e-9, last[1] - 1e-9)
        last = now
    for c in range(30, int(metal.liquidus_c) + 100, 11):
        assert metal.temp_c(metal.heat(float(c))) == pytest.approx(c, abs=1e-6)
    assert last[1] == 1.0


@pytest.mark.parametrize("key", SOLVENTS)
def test_heat_and_temperature_of_either_law_rise_together_and_are_each_others_inverse(key: str) -> None:
    check_law(melted_by_scheil(facts_of(key), by_c=2.0))
    check_law(melted_diffused(facts_of(key), alpha=0.15, by_c=-2.0))


# t90 in flowing water of the sab-cable.com table for mineral-insulated sheaths, insulated junction; a ceramic
# tube of 20 mm takes one to two minutes (practice, from memory)
@pytest.mark.parametrize(("sheath", "t90_s"), [("mi_3.0", 2.9), ("mi_6.0", 9.6), ("mi_8.0", 17.0), ("tube_20", 110.0)])
def test_a_rod_follows_the_bath_about_as_fast_as_its_printed_response(sheath: str, t90_s: float) -> None:
    plant = hot_bath("za12", 560.0, 2.0)
    rod = RodProbe(plant, sheath, dt_s=0.1, start_c=480.0, depth_mm=60.0)
    rod.move("melt")
    at_s = 0.0
    while rod.junction_c < 480.0 + 0.9 * (plant.metal_c - 480.0):
        rod.step()
        at_s += 0.1
    assert 0.6 * t90_s < at_s < 1.6 * t90_s


def test_a_shallow_rod_reads_nearer_to_the_cold_above_than_a_deep_one() -> None:
    off = []
    for depth_mm in (20.0, 35.0, 60.0):
        plant = hot_bath("za12", 520.0, 2.0)
        plant.set_lid(True)
        rod = RodProbe(plant, "mi_6.0", dt_s=0.1, start_c=520.0, depth_mm=depth_mm)
        rod.move("melt")
        for _ in range(1200):
            rod.step()
        off.append(520.0 - rod.junction_c)
    assert off[0] > off[1] > off[2] > 0.0
    assert off[2] < 3.0


def test_a_cold_rod_freezes_a_shell_and_reads_low_until_it_is_gone() -> None:
    plant = hot_bath("za12", 450.0, 2.0)
    rod = RodProbe(plant, "mi_6.0", dt_s=0.1, start_c=20.0, depth_mm=50.0)
    rod.move("melt")
    held_s = 0.0
    for _ in range(600):
        rod.step()
        held_s += 0.1 if rod._shell_m > 0.0 else 0.0
    assert 0.5 < held_s < 30.0
    assert rod.junction_c == pytest.approx(plant.metal_c, abs=6.0)


def test_pickup_wanders_and_bursts_only_while_the_element_is_on() -> None:
    from pourcall.sim.plant.rod import Pickup

    plant = hot_bath("za12", 520.0, 2.0)
    rod = RodProbe(plant, "mi_3.0", dt_s=0.1, start_c=520.0, pickup=Pickup(0.0, 0.0, 15.0, 5.0, 1.0))
    still = {rod.sense_c() for _ in range(20)}
    plant.power_w = 1000.0
    assert len(still) == 1
    assert len({rod.sense_c() for _ in range(20)}) == 20


def test_nothing_can_be_added_of_no_mass_and_no_step_may_be_too_long() -> None:
    with pytest.raises(ValueError, match="cannot add"):
        plant_with(kg=0.0).add(0.0)
    with pytest.raises(ValueError, match="step"):
        plant_with(dt_s=5.0)


def test_broken_parts_do_as_they_are_told_to() -> None:
    plant = plant_with()
    plant.set_faults(welded_on=True, element_broken=False)
    plant.step()
    assert plant.power_w == BrickSpec().power_w
    plant.set_faults(welded_on=False, element_broken=True)
    plant.set_power(1.0)
    plant.step()
    assert plant.power_w == 0.0
    plant.set_faults(welded_on=False, element_broken=False, strength=0.5)
    plant.step()
    assert plant.power_w == 0.5 * BrickSpec().power_w
