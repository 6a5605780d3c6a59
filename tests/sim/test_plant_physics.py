"""The plant against textbook heat balances. Nothing here is taken from the plant's own code."""

import csv
import math
from pathlib import Path

import pytest

from pourcall.contract.plan import AlloyFacts
from pourcall.sim.plant.furnace import FurnaceSpec, Plant, PlantStart, PotSpec
from pourcall.sim.plant.metal import ALLOY_KEYS, SimAlloy, alloy, sim_alloy
from pourcall.sim.scenarios.normal_melts import normal_melt
from pourcall.sim.shop import Shop

# Zinc: melting point 419.527 degC (ITS-90 fixed point). Latent heat 112 kJ/kg with H/c_l = 225 K (elements from
# SGTE data; the same figures stand in tests/data/metals where the metal room keeps them).
ZINC = sim_alloy(
    AlloyFacts(
        key="zinc",
        name="zinc",
        family="zinc",
        solidus_c=419.527,
        liquidus_c=419.527,
        pour_min_c=450.0,
        pour_max_c=500.0,
        alloy_max_c=550.0,
        latent_kj_per_kg=112.0,
        cp_solid_j_per_kg_k=388.0,
        cp_liquid_j_per_kg_k=112_000.0 / 225.0,
        density_liquid_kg_per_m3=6570.0,
    ),
    undercooling_c=0.5,
    emissivity=0.0,
)
HEATS = Path(__file__).parents[1] / "data" / "metals" / "calphad_heat.csv"
CALPHAD = list(csv.DictReader(HEATS.read_text("utf-8").splitlines()))
LIGHT_POT = PotSpec(mass_kg=0.01, cp_j_per_kg_k=950.0, outer_m2=0.02, mouth_m2=0.002)


def bare_body(power_w: float = 0.0, start_c: float = 500.0) -> Plant:
    """A hot wall alone: 1000 J/K losing 2 W/K, nothing else connected."""
    spec = FurnaceSpec(
        "body",
        power_w,
        hot_j_per_k=1000.0,
        hot_lining_w_per_k=0.0,
        exchange_m2=0.0,
        leak_w_per_k=2.0,
        wall_limit_c=5000.0,
    )
    return Plant(spec, PotSpec(), ZINC, dt_s=0.5, start=PlantStart(ambient_c=20.0, wall_c=start_c))


def test_a_lumped_body_cools_by_the_exponential_of_the_textbook() -> None:
    # Lumped capacitance (any heat transfer textbook): T = Ta + (T0 - Ta) exp(-G t / C), here C/G = 500 s
    body = bare_body()
    for after_s in (250, 500, 1000, 2000):
        while body.t_s < after_s:
            body.step()
        assert body.wall_c == pytest.approx(20.0 + 480.0 * math.exp(-after_s / 500.0), abs=0.25)


def test_a_heated_lumped_body_rises_to_power_over_conductance() -> None:
    # The same balance with a source: T = Ta + P/G (1 - exp(-G t / C)); 600 W over 2 W/K is 300 K
    body = bare_body(600.0, start_c=20.0)
    body.set_power(1.0)
    while body.t_s < 500.0:
        body.step()
    assert body.wall_c == pytest.approx(20.0 + 300.0 * (1.0 - math.exp(-1.0)), abs=0.3)


@pytest.mark.parametrize("kg", [0.5, 1.0, 2.0])
def test_a_melting_plateau_lasts_latent_heat_over_net_power(kg: float) -> None:
    # t = m H / P: 1 kg of zinc at 500 W is 224 s (textbook balance; pot made light enough not to count)
    flame = FurnaceSpec("flame", 500.0, fuel=True, useful_share=1.0, pot_share=1.0, exchange_m2=0.0)
    plant = Plant(flame, LIGHT_POT, ZINC, dt_s=0.1)
    plant.add(kg)
    plant.set_power(1.0)
    while plant.liquid_fraction == 0.0:
        plant.step()
    began_s = plant.t_s
    while plant.liquid_fraction < 1.0:
        plant.step()
        assert plant.metal_c == pytest.approx(419.527, abs=0.2)  # the step that ends it is liquid already
    assert plant.t_s - began_s == pytest.approx(kg * 112_000.0 / 500.0, rel=0.02)


def test_a_freezing_plateau_lasts_as_the_rate_before_it_says() -> None:
    # Plateau time = (H/c_l) / rate just before it; zinc 225 K (computed from SGTE liquid heats)
    plant = Plant(FurnaceSpec("none", 0.0), LIGHT_POT, ZINC, dt_s=0.1, start=PlantStart(pot_c=440.0))
    plant.add(2.0, 440.0)
    plant.lift()
    while plant.metal_c > 425.0:
        plant.step()
    from_c, from_s = plant.metal_c, plant.t_s
    while plant.metal_c > 420.0:
        plant.step()
    rate = (from_c - plant.metal_c) / (plant.t_s - from_s)
    while plant.liquid_fraction >= 1.0:
        plant.step()
    began_s = plant.t_s
    while plant.liquid_fraction > 0.0:
        plant.step()
    assert (plant.t_s - began_s) * rate == pytest.approx(225.0, rel=0.06)


def test_a_clean_melt_undercools_then_springs_back_to_its_liquidus() -> None:
    metal = alloy("a356")
    plant = Plant(FurnaceSpec("none", 0.0), PotSpec(), metal, dt_s=0.2, start=PlantStart(pot_c=640.0))
    plant.add(1.0, 640.0)
    trace = []
    plant.lift()
    while plant.t_s < 60.0:
        plant.step()
        trace.append(plant.metal_c)
    lowest = next(i for i in range(1, len(trace) - 1) if trace[i] < trace[i - 1] and trace[i] < trace[i + 1])
    # aluminium undercools 1-4 degC before the first crystal (memory)
    assert 1.0 <= metal.facts.liquidus_c - trace[lowest] <= 4.0
    assert max(trace[lowest:]) > trace[lowest] + 0.5


# Liquid left when the eutectic arrives, by moles, from the binary diagrams: Zn-4Al 72 %, Zn-11Al 46 %, Al-7Si 50 %
@pytest.mark.parametrize(("key", "share"), [("alloy3", 0.72), ("za12", 0.46), ("a356", 0.50)])
def test_the_eutectic_plateau_carries_its_share_of_the_metal(key: str, share: float) -> None:
    metal = alloy(key)
    h = metal.curve.enthalpy(metal.plateau_c)
    steps = [(metal.curve.temp_c(h + 1000.0 * n), metal.curve.liquid(h + 1000.0 * n)) for n in range(600)]
    assert max(f for c, f in steps if abs(c - metal.plateau_c) < 0.01) == pytest.approx(share, abs=0.01)


@pytest.mark.parametrize("key", ALLOY_KEYS)
def test_enthalpy_and_temperature_are_each_others_inverse_and_rise_together(key: str) -> None:
    curve = alloy(key).curve
    last_h = -1e9
    for temp_c in range(25, 1300, 7):
        h = curve.enthalpy(float(temp_c))
        assert h > last_h
        last_h = h
        assert curve.temp_c(h) == pytest.approx(temp_c, abs=1e-6)


@pytest.mark.parametrize("key", ALLOY_KEYS)
def test_the_heat_from_solid_to_fully_liquid_is_that_of_an_assessed_database(key: str) -> None:
    # computed with a general library from assessed databases (tests/data/metals/calphad_heat.csv)
    rows = [row for row in CALPHAD if (row["alloy"], row["state"]) == (key, "liquid")]
    assert len(rows) == 3
    for row in rows:
        heat_j = alloy(key).curve.enthalpy(float(row["temp_c"]))
        assert heat_j == pytest.approx(1000.0 * float(row["kj_per_kg"]), rel=0.01)


# Wall and surface of a lifted pot, worked by hand from Stefan-Boltzmann and 10 W/(m2 K) of air: 2 kg of ZA-12 at
# 500 degC in a pot of 100 x 100 mm, outside at 450 degC, loses 670 W by the wall
# and 39 W by the surface; 1 kg of A356 at 720 and 650 degC, 100 x 120 mm: 1860 and 83 W; 3 kg of bronze: 6970 and 473 W
@pytest.mark.parametrize(
    ("key", "kg", "metal_c", "pot_c", "outer_m2", "watts"),
    [
        ("za12", 2.0, 500.0, 450.0, math.pi * (0.1 * 0.1 + 0.05**2), 670.0 + 39.0),
        ("a356", 1.0, 720.0, 650.0, math.pi * (0.1 * 0.12 + 0.05**2), 1860.0 + 83.0),
        ("c87300", 3.0, 1120.0, 1040.0, math.pi * (0.1 * 0.12 + 0.05**2), 6970.0 + 473.0),
    ],
)
def test_a_lifted_pot_loses_what_the_worked_example_says(
    key: str, kg: float, metal_c: float, pot_c: float, outer_m2: float, watts: float
) -> None:
    pot = PotSpec(mass_kg=0.6, outer_m2=outer_m2, mouth_m2=math.pi * 0.04**2)
    plant = Plant(FurnaceSpec("none", 0.0), pot, alloy(key), dt_s=0.1, start=PlantStart(pot_c=pot_c))
    plant.add(kg, metal_c)
    plant.lift()
    plant.step()
    assert plant.lost_j / 0.1 == pytest.approx(watts, rel=0.04)


def test_cold_metal_sinks_the_bath_by_the_heat_it_takes() -> None:
    # Mixing: both end at the temperature whose enthalpy is the weighted mean (no furnace, no losses worth counting)
    metal = alloy("za27")
    closed = FurnaceSpec("closed", 0.0, exchange_m2=0.0, leak_w_per_k=0.0, hot_lining_w_per_k=0.0)
    plant = Plant(closed, PotSpec(1e-3, 950.0, 0.01, 1e-9), metal, dt_s=0.02, start=PlantStart(pot_c=620.0))
    plant.add(2.0, 620.0)
    plant.add(0.2, 20.0)
    while plant.lump_kg > 0.0 and plant.t_s < 600.0:
        plant.step()
    mean = (2.0 * metal.curve.enthalpy(620.0) + 0.2 * metal.curve.enthalpy(20.0)) / 2.2
    assert plant.mass_kg == pytest.approx(2.2)
    assert plant.metal_c == pytest.approx(metal.curve.temp_c(mean), abs=1.0)


@pytest.mark.parametrize("seed", range(10))
def test_whole_melts_conserve_energy_to_a_thousandth(seed: int) -> None:
    shop = Shop(normal_melt(seed))
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
    plant = Plant(FurnaceSpec("x", 2000.0), PotSpec(), alloy("za27"))
    plant.add(1.0)
    plant.set_power(1.0)
    before_j = plant.stored_j()
    for _ in range(600):
        plant.step()
        plant.wall_c += 0.001  # heat from nowhere
    assert abs(plant.stored_j() - before_j - plant.net_in_j()) / plant.supplied_j > 1e-3


@pytest.mark.parametrize("metal", [alloy("za27"), alloy("c87300")], ids=["za27", "c87300"])
def test_half_the_step_gives_the_same_melt(metal: SimAlloy) -> None:
    peaks = []
    for dt_s in (0.5, 0.1):
        plant = Plant(FurnaceSpec("x", 3000.0), PotSpec(), metal, dt_s=dt_s)
        plant.add(1.5)
        plant.set_power(1.0)
        while plant.t_s < 1000.0:
            plant.step()
        peaks.append(plant.metal_c)
    assert peaks[0] == pytest.approx(peaks[1], abs=1.0)


def test_a_welded_relay_heats_and_a_broken_element_does_not() -> None:
    plant = Plant(FurnaceSpec("x", 2000.0), PotSpec(), alloy("za27"))
    plant.welded_on = True
    plant.step()
    assert plant.power_w == 2000.0
    plant.welded_on, plant.element_broken = False, True
    plant.set_power(1.0)
    plant.step()
    assert plant.power_w == 0.0


def test_nothing_can_be_added_of_no_mass() -> None:
    with pytest.raises(ValueError, match="cannot add"):
        Plant(FurnaceSpec("x", 1.0), PotSpec(), ZINC).add(0.0)
