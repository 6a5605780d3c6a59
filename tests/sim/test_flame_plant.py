"""The burner furnace against textbook balances and printed data, and its ledger over whole melts."""

import math

import pytest

from pourcall.sim.plant.flame import CylinderSpec, FlamePlant, FlameSpec
from pourcall.sim.plant.interface import COLD, PlantStart, PotSpec
from pourcall.sim.plant.melting import facts_of, melted_diffused
from pourcall.sim.plant.tube import Flicker, TubeProbe
from pourcall.sim.scenarios.flame_melts import flame_melt
from pourcall.sim.shop import Shop

POT = PotSpec()


def plant_with(
    key: str = "za27",
    kg: float = 1.5,
    dt_s: float = 0.5,
    spec: FlameSpec | None = None,
    start: PlantStart = COLD,
) -> FlamePlant:
    plant = FlamePlant(spec or FlameSpec(), POT, melted_diffused(facts_of(key), alpha=0.1), dt_s=dt_s, start=start)
    if kg:
        plant.add(kg)
    return plant


def hot_bath(key: str, temp_c: float, kg: float, *, pot_c: float | None = None, pot: PotSpec = POT) -> FlamePlant:
    start = PlantStart(pot_c=temp_c if pot_c is None else pot_c)
    plant = FlamePlant(FlameSpec(), pot, melted_diffused(facts_of(key), alpha=0.1), dt_s=0.1, start=start)
    plant.add(kg, temp_c)
    return plant


def flow_at(cylinder_c: float, spec: FlameSpec) -> float:
    """The share of the full flow that a bottle at this temperature gives."""
    plant = plant_with(kg=0.0, spec=spec)
    plant.cylinder_c = cylinder_c
    plant.set_power(1.0)
    plant.step()
    return plant.flow_kg_per_s / spec.full_kg_per_s


@pytest.mark.parametrize("seed", range(5))
def test_whole_melts_conserve_energy_to_a_thousandth(seed: int) -> None:
    shop = Shop(flame_melt(seed))
    before_j = shop.plant.stored_j()
    worst = 0.0
    while not shop.finished:
        shop.step()
        if shop.n_steps % 50 == 0:
            missing_j = shop.plant.stored_j() - before_j - shop.plant.net_in_j()
            worst = max(worst, abs(missing_j) / max(1.0, shop.plant.supplied_j, shop.plant.lost_j))
    assert worst < 1e-3
    assert shop.plant.supplied_j > 1e5
    assert shop.plant.poured_j > 1e5


def test_the_ledger_would_notice_a_flow_booked_once() -> None:
    plant = plant_with()
    plant.set_power(1.0)
    before_j = plant.stored_j()
    for _ in range(1200):
        plant.step()
        plant.inner_pot_c += 0.05  # heat from nowhere
    assert abs(plant.stored_j() - before_j - plant.net_in_j()) / plant.supplied_j > 1e-3


# Propane: boils at -42.1 degC at 1.013 bar; 9.36 bar at 25 degC (printed property tables of propane); 177 psi, 12.2 bar
# over the air, at 100 degF (a gas supplier's chart). Flow through a nozzle goes as the square root of the pressure.
@pytest.mark.parametrize(
    ("at_c", "above_air_bar", "within"), [(-42.1, 0.0, 0.02), (25.0, 8.35, 0.04), (37.8, 12.2, 0.04)]
)
def test_the_bottle_stands_under_the_printed_pressure_of_propane(
    at_c: float, above_air_bar: float, within: float
) -> None:
    spec = FlameSpec(cylinder=CylinderSpec(regulator_bar=20.0))
    assert 20.0 * flow_at(at_c, spec) ** 2 == pytest.approx(above_air_bar, rel=within, abs=0.02)


def test_a_small_bottle_cools_as_it_is_drawn_from_and_the_flame_sinks_with_it() -> None:
    spec = FlameSpec(
        full_kg_per_s=4e-4,
        cylinder=CylinderSpec(gas_kg=2.0, steel_kg=3.0, warmed_w_per_k=1.5, regulator_bar=2.0),
    )
    plant = plant_with(spec=spec, kg=0.0)
    plant.set_power(1.0)
    plant.step()
    full = plant.flow_kg_per_s
    # it boils at first out of its own warmth: heat of evaporation over heat of liquid and steel (420 kJ/kg: tables)
    while plant.t_s < 600.0:
        plant.step()
    drawn_kg = 2.0 - plant.gas_kg
    fell_c = drawn_kg * 0.36e6 / (1.9 * 2500.0 + 3.0 * 480.0)
    assert 20.0 - plant.cylinder_c == pytest.approx(fell_c, rel=0.15)
    while plant.t_s < 3000.0:
        plant.step()
    assert plant.flow_kg_per_s < 0.9 * full
    cold_c = plant.cylinder_c
    plant.set_power(0.0)
    while plant.t_s < 6000.0:
        plant.step()
    assert plant.cylinder_c > cold_c + 5.0


def test_the_flame_that_gives_nothing_away_is_as_hot_as_the_books_say() -> None:
    # Adiabatic flame of propane in air at air ratio 1, from 20 degC: 1980-2000 degC with dissociation, 2120 without
    # (combustion handbooks, from memory)
    spec = FlameSpec(
        wall_film_w_per_m2_k=0.0, pot_film_w_per_m2_k=0.0, gas_emissivity=0.0, draught_kg_per_s=0.0, air_ratio=1.0
    )
    plant = plant_with(spec=spec, kg=0.0)
    plant.set_power(1.0)
    for _ in range(20):
        plant.step()
    assert 1950.0 < plant.gas_c < 2200.0


def test_more_draught_makes_a_cooler_flame_and_too_little_air_an_unburnt_one() -> None:
    seen = {}
    for air in (0.6, 1.0, 1.6):
        plant = plant_with(spec=FlameSpec(air_ratio=air, draught_kg_per_s=0.0), kg=0.0)
        plant.set_power(1.0)
        for _ in range(200):
            plant.step()
        seen[air] = (plant.gas_c, plant.power_w)
    assert seen[1.6][0] < seen[1.0][0]
    assert seen[0.6][1] == pytest.approx(0.6 * seen[1.0][1], rel=0.01)


def test_an_unlit_furnace_is_cooled_by_its_own_draught() -> None:
    left = []
    for draught in (1e-5, 2e-3):
        hot = PlantStart(20.0, 800.0, 500.0, 700.0)
        plant = plant_with(spec=FlameSpec(draught_kg_per_s=draught), kg=0.0, start=hot)
        while plant.t_s < 600.0:
            plant.step()
        left.append(plant.pot_c)
    assert left[1] < left[0] - 20.0


def test_a_slab_passes_in_steady_state_what_the_textbook_says() -> None:
    # Plane wall: q = k (T1 - T2) / L
    spec = FlameSpec(w_per_m_k=0.5, thick_m=0.06)
    plant = plant_with(kg=0.0, spec=spec)
    for _ in range(40_000):
        plant._soak(4000.0, 4000.0)
    face = sum(plant.modes) + plant._rest * 4000.0
    back = plant.modes[0] + sum(plant.modes[2::2]) - sum(plant.modes[1::2]) - plant._rest * 4000.0
    assert face - back == pytest.approx(4000.0 * 0.06 / 0.5, rel=0.01)


def test_a_face_under_constant_flux_warms_as_the_square_root_of_time() -> None:
    # Half-space: Ts = 2 q sqrt(a t / pi) / k (Carslaw and Jaeger, 2nd ed., 2.9), while the heat has not come through
    spec = FlameSpec(w_per_m_k=0.5, thick_m=0.12, j_per_m3_k=1.5e6)
    plant = plant_with(kg=0.0, spec=spec)
    t_s = 0.0
    while t_s < 3000.0:
        plant._soak(3000.0, 0.0)
        t_s += plant.dt_s
    expected_c = 2.0 * 3000.0 * math.sqrt(0.5 / 1.5e6 * t_s / math.pi) / 0.5
    assert sum(plant.modes) + plant._rest * 3000.0 - 20.0 == pytest.approx(expected_c, rel=0.03)


# Worked by hand from Stefan-Boltzmann and 10 W/(m2 K) of air (the worked figures of test_plant_physics)
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
    plant.step()
    assert plant.lost_j / 0.1 == pytest.approx(watts, rel=0.12)


@pytest.mark.parametrize("kg", [0.5, 1.5])
def test_spheres_melt_from_outside_into_a_bath_and_nothing_is_lost(kg: float) -> None:
    plant = plant_with("a356", kg)
    plant.set_power(1.0)
    before_j = plant.stored_j() - plant.net_in_j()
    while plant.solid_kg > 0.0 and plant.t_s < 6000.0:
        plant.step()
        if plant.bath_kg > 0.0 and plant.solid_kg > 0.0:
            assert plant.solid_c <= plant.metal.last_c + 0.1  # the core is never hotter than where melting begins
    assert plant.bath_kg == pytest.approx(kg)
    missing = plant.stored_j() - plant.net_in_j() - before_j
    assert abs(missing) < 1e-3 * plant.supplied_j


def test_half_the_step_gives_the_same_melt() -> None:
    seen = []
    for dt_s in (0.5, 0.1):  # a shop steps by half a second at most
        plant = plant_with("a356", 1.2, dt_s)
        plant.set_power(1.0)
        while plant.t_s < 1500.0:
            plant.step()
        seen.append((plant.metal_c, plant.wall_c))
    assert seen[0] == pytest.approx(seen[1], abs=2.0)


# t90 in flowing water of the sab-cable.com table for mineral-insulated sheaths: insulated 3, 6, 8 mm, grounded 6 mm
@pytest.mark.parametrize(
    ("sheath", "t90_s"), [("mi_3.0", 2.9), ("mi_6.0", 9.6), ("mi_8.0", 17.0), ("grounded_6.0", 2.6)]
)
def test_a_tube_follows_the_bath_about_as_fast_as_its_printed_response(sheath: str, t90_s: float) -> None:
    plant = hot_bath("za12", 560.0, 2.0)
    tube = TubeProbe(plant, sheath, dt_s=0.1, start_c=480.0, depth_mm=70.0)
    tube.move("melt")
    at_s = 0.0
    while tube.junction_c < 480.0 + 0.9 * (plant.metal_c - 480.0):
        tube.step()
        at_s += 0.1
    assert 0.5 * t90_s < at_s < 2.0 * t90_s


def test_a_shallow_tube_reads_high_in_the_flame_and_low_with_the_cover_off() -> None:
    off = {}
    for lid_open in (False, True):
        plant = hot_bath("za12", 520.0, 2.0)
        plant.skin_c, plant.gas_k = 900.0, 1400.0
        plant.flow_kg_per_s = 1e-4
        plant.set_lid(lid_open)
        tube = TubeProbe(plant, "mi_6.0", dt_s=0.1, start_c=520.0, depth_mm=20.0)
        tube.move("melt")
        for _ in range(600):
            tube.step()
        off[lid_open] = tube.junction_c - 520.0
    assert off[False] > 1.0
    assert off[True] < -1.0


def test_a_cold_tube_reads_low_until_the_metal_it_chilled_is_molten_again() -> None:
    plant = hot_bath("za12", 440.0, 2.0)
    tube = TubeProbe(plant, "mi_6.0", dt_s=0.1, start_c=20.0)
    tube.move("melt")
    held = 0
    for _ in range(900):
        tube.step()
        held += tube._frozen_j > 0.0
    assert held > 5
    assert tube.junction_c == pytest.approx(440.0, abs=2.0)


def test_flicker_is_quick_and_slow_and_sparks_only_while_it_burns() -> None:
    plant = hot_bath("za12", 520.0, 2.0)
    tube = TubeProbe(plant, "mi_3.0", dt_s=0.1, start_c=520.0, place="melt", noise=Flicker(0.0, 0.5, 5.0, 1.0))
    for _ in range(200):
        tube.step()
    still = {round(tube.sense_c(), 6) for _ in range(10)}
    assert len(still) == 1
    assert abs(still.pop() - tube.junction_c) > 1e-3
    plant.flow_kg_per_s = 1e-4
    assert len({round(tube.sense_c(), 6) for _ in range(10)}) == 2


def test_broken_parts_do_as_they_are_told_to() -> None:
    spec = FlameSpec(air_ratio=1.2)
    plant = plant_with(spec=spec)
    plant.set_faults(welded_on=True, element_broken=False)
    plant.step()
    full_w = plant.power_w
    assert full_w > 0.0
    plant.set_faults(welded_on=False, element_broken=True)
    plant.set_power(1.0)
    plant.step()
    assert plant.power_w == 0.0
    plant.set_faults(welded_on=False, element_broken=False, strength=0.5)
    plant.step()
    assert plant.power_w == pytest.approx(0.5 * full_w, rel=1e-3)


def test_nothing_can_be_added_of_no_mass_and_no_step_may_be_too_long() -> None:
    with pytest.raises(ValueError, match="cannot add"):
        plant_with(kg=0.0).add(0.0)
    with pytest.raises(ValueError, match="step"):
        plant_with(dt_s=2.0)
