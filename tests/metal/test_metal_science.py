"""Tests of vapour, evaporation, filling, feeding, loss and heat beyond the check values: tables, shape."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pourcall.contract.errors import BadInput, OutOfRange
from pourcall.metal.alloys import elements
from pourcall.metal.alloys.sheet import load_sheets
from pourcall.metal.heat import energy, filling, phases, transfer
from pourcall.metal.heat import solidification as solidify
from pourcall.metal.heat.transfer import Carry, Ladle, Pot
from pourcall.metal.vapour import activity, evaporation
from pourcall.metal.vapour import pressure as vapour
from tests.told import refused

LIBRARY = load_sheets()
KEYS = LIBRARY.keys()
ZINC_KEYS = tuple(sheet.key for sheet in LIBRARY.all() if sheet.zinc_percent >= 1.0)


# Reference table of the third-law line, computed before this program, three digits.
@pytest.mark.parametrize(
    ("temp_c", "pressure_pa"),
    [
        (420, 21.2),
        (550, 566),
        (600, 1530),
        (650, 3698),
        (700, 8135),
        (800, 31300),
        (900, 94750),
        (1000, 239000),
        (1100, 522900),
    ],
)
def test_pressure_of_pure_zinc_over_its_table(temp_c: float, pressure_pa: float) -> None:
    assert vapour.zinc_pressure_pa(temp_c) == pytest.approx(pressure_pa, rel=0.003)


# Reference table "zinc weight percent against kPa", COST 507, computed; two to three digits.
@pytest.mark.parametrize(
    ("zinc_percent", "temp_c", "kpa"),
    [
        (5, 1090, 3.2),
        (10.53, 1050, 5.7),
        (14, 1150, 21.6),
        (30, 1000, 21.6),
        (30, 1150, 83.3),
        (37, 950, 20.8),
        (37, 1050, 55.6),
    ],
)
def test_zinc_pressure_over_brass_over_its_table(zinc_percent: float, temp_c: float, kpa: float) -> None:
    shares = {"Cu": 100.0 - zinc_percent, "Zn": zinc_percent}
    assert vapour.zinc_pressure_over_pa(shares, temp_c) / 1000.0 == pytest.approx(kpa, rel=0.02)


@pytest.mark.parametrize(("zinc_percent", "boils_c"), [(14, 1364), (20, 1278), (30, 1175), (37, 1120), (40, 1099)])
def test_boiling_of_brass_over_its_table(zinc_percent: float, boils_c: float) -> None:
    shares = {"Cu": 100.0 - zinc_percent, "Zn": zinc_percent}
    assert vapour.temp_at_fraction_c(shares, 1.0) == pytest.approx(boils_c, abs=1.0)


def test_pressure_has_no_step_worth_mention_where_solid_meets_liquid() -> None:
    below, above = (vapour.zinc_pressure_pa(elements.MELTING_C["Zn"] + d) for d in (-0.001, 0.001))
    assert above == pytest.approx(below, rel=0.03)  # two independent lines meet there


@given(key=st.sampled_from(ZINC_KEYS), temp_c=st.floats(430.0, 1490.0), step=st.floats(0.1, 10.0))
def test_zinc_pressure_rises_with_temperature_and_stays_below_that_of_pure_zinc(
    key: str, temp_c: float, step: float
) -> None:
    shares = LIBRARY.get(key).weight_percent()
    low, high = (vapour.zinc_pressure_over_pa(shares, c) for c in (temp_c, temp_c + step))
    assert 0.0 < low < high
    pure_pa = vapour.zinc_pressure_pa(temp_c)
    assert low == pure_pa if key == "zinc" else low < pure_pa


@given(key=st.sampled_from(ZINC_KEYS), fraction=st.floats(1e-3, 1.2))
def test_temperature_and_boiling_fraction_are_inverse(key: str, fraction: float) -> None:
    shares = LIBRARY.get(key).weight_percent()
    temp_c = vapour.temp_at_fraction_c(shares, fraction)
    if temp_c is not None:
        assert vapour.boiling_fraction(shares, temp_c) == pytest.approx(fraction, rel=1e-6)


@given(x=st.floats(0.001, 0.999), temp_c=st.floats(950.0, 1300.0))
def test_activity_in_brass_agrees_with_the_slope_of_the_excess_energy(x: float, temp_c: float) -> None:
    kelvin = temp_c + 273.15

    def excess(x_zinc: float) -> float:  # COST 507, numerically, as the reference did it
        x_copper, d = 1.0 - x_zinc, 1.0 - 2.0 * x_zinc
        terms = (-40695.54 + 12.65269 * kelvin, 4402.72 - 6.55425 * kelvin, 7818.10 - 3.25416 * kelvin)
        return x_copper * x_zinc * (terms[0] + terms[1] * d + terms[2] * d * d)

    slope = (excess(x + 1e-6) - excess(x - 1e-6)) / 2e-6
    expected = math.exp((excess(x) + (1.0 - x) * slope) / (elements.GAS_CONSTANT_J_PER_MOL_K * kelvin))
    assert activity.gamma_zinc_in_copper(x, temp_c) == pytest.approx(expected, rel=1e-5)


# Reference table "bare-surface rates for a 10 cm surface", computed, two to three digits.
@pytest.mark.parametrize(
    ("shares", "temp_c", "zinc_g_per_min"),
    [
        ({"Zn": 100.0}, 450, 0.0058),
        ({"Zn": 100.0}, 500, 0.0215),
        ({"Zn": 89.0, "Al": 11.0}, 500, 0.0177),
        ({"Zn": 89.0, "Al": 11.0}, 600, 0.151),
        ({"Zn": 89.0, "Al": 11.0}, 780, 2.70),
        ({"Zn": 5.0, "Cu": 95.0}, 1090, 0.42),
        ({"Zn": 14.0, "Cu": 86.0}, 1050, 1.16),
        ({"Zn": 30.0, "Cu": 70.0}, 1090, 8.9),
        ({"Zn": 37.0, "Cu": 63.0}, 1090, 19.6),
    ],
)
def test_bare_evaporation_over_its_table(shares: dict[str, float], temp_c: float, zinc_g_per_min: float) -> None:
    pressure_pa = vapour.zinc_pressure_over_pa(shares, temp_c)
    assert evaporation.bare_zinc_g_per_min(pressure_pa, temp_c, 100.0) == pytest.approx(zinc_g_per_min, rel=0.02)


def test_diffusivity_of_zinc_in_air_is_that_of_the_reference() -> None:  # Chapman-Enskog, computed: cm2/s at K
    for kelvin, cm2_per_s in ((536.0, 0.49), (700.0, 0.81), (1000.0, 1.54)):
        assert evaporation.diffusivity_zn_air_m2_per_s(kelvin) * 1e4 == pytest.approx(cm2_per_s, rel=0.01)


def test_a_measured_brass_lies_within_the_stated_factor_of_ten_or_so() -> None:
    # Wilk et al., Materials 16 (2023) 5178: Cu-10.53Zn at 1080 degC in flowing helium, converted 38 g/(m2 s): 17 times
    # this model, of which helium's diffusivity alone explains 4 and the hot gas 2.
    shares = {"Cu": 89.47, "Zn": 10.53}
    flux = evaporation.bare_flux_kg_per_m2_s(vapour.zinc_pressure_over_pa(shares, 1080.0), 1080.0, 100.0) * 1000.0
    assert flux == pytest.approx(2.2, rel=0.1)
    assert 38.0 / flux / 8.0 < 10.0


# Worked cases of the reference, first-order loss: W from mouth and wall, degC/s.
@pytest.mark.parametrize(
    ("key", "kg", "temp_c", "outside_c", "pot", "mouth_w", "wall_w", "rate"),
    [
        ("za12", 2.0, 500, 450, Pot(emissivity=0.2), 39, 670, 0.39),
        ("a356", 1.0, 720, 650, Pot(height_mm=120, emissivity=0.2), 83, 1860, 0.97),
        ("c85700", 3.0, 1010, 950, Pot(height_mm=120, mass_kg=0.8, emissivity=0.5), 425, 5320, 2.1),
        ("c87300", 3.0, 1120, 1040, Pot(height_mm=120, mass_kg=0.8, emissivity=0.4), 473, 6970, 2.6),
    ],
)
def test_loss_in_the_open_is_that_of_the_worked_cases(
    key: str, kg: float, temp_c: float, outside_c: float, pot: Pot, mouth_w: float, wall_w: float, rate: float
) -> None:
    sheet = LIBRARY.get(key)
    assert sum(transfer.mouth_loss_w(pot, temp_c, pot.emissivity or 0.0, 25.0)) == pytest.approx(mouth_w, rel=0.01)
    assert transfer.wall_loss_w(pot, outside_c, 25.0) == pytest.approx(wall_w, rel=0.005)
    found = transfer.cooling_rate_c_per_s(sheet, kg, temp_c, pot, outside_c=outside_c)
    assert found == pytest.approx(rate, rel=0.02)


@given(
    key=st.sampled_from(KEYS),
    kg=st.floats(0.5, 5.0),
    walk_s=st.floats(0.0, 60.0),
    more_s=st.floats(0.5, 30.0),
    over_c=st.floats(20.0, 120.0),
)
def test_a_longer_walk_a_lighter_pot_and_a_later_mould_never_lose_less(
    key: str, kg: float, walk_s: float, more_s: float, over_c: float
) -> None:
    sheet = LIBRARY.get(key)
    tap_c = sheet.liquidus.value + over_c
    pot = Pot()
    base = transfer.transfer_loss(sheet, kg, tap_c, pot, Carry(walk_s=walk_s)).loss_c
    assert transfer.transfer_loss(sheet, kg, tap_c, pot, Carry(walk_s=walk_s + more_s)).loss_c >= base
    assert transfer.transfer_loss(sheet, kg / 2.0, tap_c, pot, Carry(walk_s=walk_s)).loss_c >= base - 1e-9
    later = transfer.transfer_loss(sheet, kg, tap_c, pot, Carry(walk_s=walk_s), order=1, poured_kg=kg / 3.0)
    assert later.loss_c >= base
    lidded = transfer.transfer_loss(sheet, kg, tap_c, Pot(lid=True), Carry(walk_s=walk_s)).loss_c
    assert lidded <= base + 1e-9


def test_a_cold_ladle_costs_more_than_the_walk_and_a_warm_one_less() -> None:
    sheet, pot = LIBRARY.get("za12"), Pot()
    plain = transfer.transfer_loss(sheet, 2.0, 500.0, pot, Carry())
    cold = transfer.transfer_loss(sheet, 2.0, 500.0, pot, Carry(ladle=Ladle(mass_kg=0.5)))
    warm = transfer.transfer_loss(sheet, 2.0, 500.0, pot, Carry(ladle=Ladle(mass_kg=0.5, preheat_c=200.0)))
    assert cold.way.ladle_c is not None
    assert plain.way.ladle_c is None
    assert cold.way.ladle_c > plain.way.walk_c
    assert plain.loss_c < warm.loss_c < cold.loss_c
    # A third to a half of full mixing, which would end at 412 degC (reference, worked; contact: memory).
    assert 0.33 * 88.0 * 0.9 < cold.way.ladle_c < 0.5 * 88.0


def test_the_shops_own_rate_replaces_physics_and_narrows_the_uncertainty() -> None:
    sheet, pot = LIBRARY.get("c87300"), Pot()
    computed = transfer.transfer_loss(sheet, 3.0, 1120.0, pot, Carry())
    fitted = transfer.transfer_loss(sheet, 3.0, 1120.0, pot, Carry(fitted_c_per_s=1.5))
    assert fitted.way.walk_c == pytest.approx(30.0)
    assert fitted.u_c < computed.u_c


@pytest.mark.parametrize("kg", [0.0, -1.0, float("nan")])
def test_no_metal_cannot_be_carried(kg: float) -> None:
    with pytest.raises(OutOfRange):
        transfer.transfer_loss(LIBRARY.get("za27"), kg, 560.0, Pot(), Carry())


def test_an_unknown_pot_material_is_refused_with_those_known() -> None:
    with pytest.raises(BadInput, match="clay_graphite"):
        transfer.transfer_loss(LIBRARY.get("za27"), 1.0, 560.0, Pot(material="wood"), Carry())


# Reference table of worked fluidity cases, computed: time open and length at 0.5 m/s. Worked there with the trade's
# latent heats (130 and 170 kJ/kg: 2.051 and 4.222 s), here with those of the assessed databases, 175 and 145:
# t = rho M (f H + c dT)/(h (T_liq - T_mould)), by hand.
@pytest.mark.parametrize(
    ("key", "mm", "lip_c", "latent", "time_s"),
    [("za27", 3.0, 544.0, 174.97e3, 2.423), ("c85700", 5.0, 1041.0, 145.1e3, 3.742)],
)
def test_sheets_give_the_worked_freezing_times(key: str, mm: float, lip_c: float, latent: float, time_s: float) -> None:
    sheet = LIBRARY.get(key)
    assert 1000.0 * sheet.curve.latent_kj_per_kg == pytest.approx(latent, rel=0.001)
    assert filling.section_freeze_s(sheet, mm, lip_c) == pytest.approx(time_s, rel=0.001)
    assert filling.flow_length_mm(sheet, mm, lip_c) == pytest.approx(500.0 * time_s, rel=0.001)


@given(
    key=st.sampled_from(KEYS),
    mm=st.floats(0.5, 50.0),
    flow=st.floats(5.0, 2400.0),
    factor=st.floats(0.2, 3.0),
    material=st.sampled_from(("green_sand", "oil_sand", "resin_sand", "plaster", "steel_die")),
)
def test_the_lowest_filling_temperature_just_fills_and_is_never_below_the_floor(
    key: str, mm: float, flow: float, factor: float, material: str
) -> None:
    sheet = LIBRARY.get(key)
    found = filling.lowest_fill_c(sheet, mm, flow, material, factor=factor)
    assert found.lowest_c >= sheet.liquidus.value + sheet.margin_c
    assert found.flow_mm >= flow * (1.0 - 1e-9)
    assert filling.lowest_fill_c(sheet, mm, 2.0 * flow, material, factor=factor).lowest_c >= found.lowest_c
    assert filling.lowest_fill_c(sheet, 2.0 * mm, flow, material, factor=factor).lowest_c <= found.lowest_c


def test_no_temperature_fills_a_section_that_surface_tension_closes() -> None:
    # Aluminium, gamma 0.9 N/m, rho 2380: 77/t mm of head for t mm (reference, computed; gamma memory).
    assert filling.head_for_gap_mm(0.9, 2380.0, 3.0) == pytest.approx(26.0, abs=0.5)
    assert filling.head_for_gap_mm(0.9, 2380.0, 1.0) == pytest.approx(77.0, abs=0.5)
    with refused(OutOfRange, "filling.no_head"):
        filling.lowest_fill_c(LIBRARY.get("a356"), 0.5, 50.0, head_mm=100.0)
    assert filling.lowest_fill_c(LIBRARY.get("a356"), 1.0, 50.0, head_mm=100.0).head_needed_mm < 100.0


@pytest.mark.parametrize(("drop_mm", "speed"), [(50, 0.990), (100, 1.400), (150, 1.715), (200, 1.981)])
def test_torricelli_over_its_table(drop_mm: float, speed: float) -> None:  # reference, computed with g 9.80665
    assert filling.fall_speed_m_per_s(drop_mm) == pytest.approx(speed, abs=0.001)
    assert filling.drop_for_speed_mm(filling.fall_speed_m_per_s(drop_mm)) == pytest.approx(drop_mm)


def test_second_choke_example_of_the_reference() -> None:  # 2.5 kg ZA-12, 5 s, 150 mm, C 0.75: 70.8 mm2, computed
    area_mm2 = filling.choke_area_mm2(2.5, 5490.0, 5.0, 150.0, 0.75)
    assert area_mm2 == pytest.approx(70.8, rel=0.001)


# Reference table of Chvorinov constants, min/cm2, computed (+-50 % in nature): aluminium dT 60, copper dT 100.
@pytest.mark.parametrize(("symbol", "superheat_c", "min_per_cm2"), [("Al", 60.0, 3.86), ("Cu", 100.0, 4.74)])
def test_chvorinov_constant_from_handbook_properties(symbol: str, superheat_c: float, min_per_cm2: float) -> None:
    melting_c = elements.MELTING_C[symbol]
    b = solidify.chvorinov_b_s_per_m2(
        elements.liquid_density(symbol, melting_c),
        elements.fusion_kj_per_kg(symbol) * 1000.0,
        elements.liquid_heat_capacity(symbol),
        superheat_c,
        melting_c,
    )
    assert b / 60.0 / 1e4 == pytest.approx(min_per_cm2, rel=0.03)  # density there: at pouring heat


def test_a_riser_that_just_outlasts_its_section_has_the_modulus_asked_for() -> None:
    wide_mm = solidify.riser_diameter_mm(7.0)
    assert solidify.cylinder_modulus_mm(wide_mm, wide_mm) / 7.0 == pytest.approx(solidify.RISER_RATIO)


def test_hydrogen_over_its_table() -> None:  # Talbot and Anyalebechi: 0.882 at 700, 1.600 at 800 degC (sourced)
    assert solidify.hydrogen_ml_per_100g(700.0) == pytest.approx(0.882, rel=0.002)
    assert solidify.hydrogen_ml_per_100g(800.0) == pytest.approx(1.600, rel=0.002)
    assert solidify.hydrogen_ml_per_100g(700.0, 0.25) == pytest.approx(0.441, rel=0.002)
    assert solidify.hydrogen_told(800.0).facts["times"] == pytest.approx(1.600 / 0.882, rel=0.003)
    with pytest.raises(OutOfRange):
        solidify.hydrogen_ml_per_100g(500.0)


@given(key=st.sampled_from(KEYS), temp_c=st.floats(-20.0, 1800.0), step=st.floats(0.01, 50.0))
def test_heat_rises_with_temperature_and_can_be_turned_round(key: str, temp_c: float, step: float) -> None:
    sheet = LIBRARY.get(key)
    heat = energy.enthalpy_kj_per_kg(sheet, temp_c)
    assert energy.enthalpy_kj_per_kg(sheet, temp_c + step) > heat
    assert energy.temp_of_enthalpy_c(sheet, heat) == pytest.approx(temp_c, abs=1e-3)


def test_energy_to_melt_is_the_worked_example() -> None:  # 2 kg A356 to 720 degC at efficiency 0.3: 2.2 kWh, computed
    found = energy.melt_energy(
        LIBRARY.get("a356"), 2.0, 720.0, Pot(mass_kg=0.001), efficiency=(0.3, 0.3), power_w=2200.0
    )
    assert found.supplied_kwh[0] == pytest.approx(2.2, abs=0.03)
    assert found.minutes is not None
    assert found.minutes[0] == pytest.approx(60.0, abs=1.0)


def test_an_addition_cools_the_bath_and_says_when_it_freezes() -> None:
    sheet = LIBRARY.get("za12")
    small, large = (energy.addition_dip(sheet, 2.0, 500.0, kg) for kg in (0.1, 0.4))
    assert 0.0 < small.drop_c < large.drop_c
    assert not small.freezes
    assert large.freezes
    assert energy.addition_dip(sheet, 2.0, 500.0, 0.0).drop_c == pytest.approx(0.0, abs=1e-6)
    same = energy.addition_dip(sheet, 2.0, 500.0, 0.4, added_c=500.0)
    assert same.drop_c == pytest.approx(0.0, abs=1e-6)


def test_the_eutectics_are_where_the_handbooks_have_them() -> None:
    # Zn-5Al 381-382 (trade solidus 381, S1 sourced); Al-12.5Si 577 (COST 507 computed; handbooks agree, memory).
    zinc = phases.freezing_range("Al", "Zn", 95.0)
    assert zinc.solidus_c == pytest.approx(381.0, abs=1.0)
    assert zinc.liquidus_c == pytest.approx(381.9, abs=0.5)
    silicon = phases.freezing_range("Al", "Si", 12.5)
    assert silicon.liquidus_c == pytest.approx(577.0, abs=1.5)


@settings(max_examples=15, deadline=None)
@given(zinc=st.floats(1.0, 99.0))
def test_solidus_never_lies_above_liquidus(zinc: float) -> None:
    found = phases.freezing_range("Al", "Zn", zinc)
    assert 379.0 < found.solidus_c <= found.liquidus_c < 661.0


@pytest.mark.parametrize(("pair", "percent"), [(("Cu", "Zn"), 40.0), (("Al", "Si"), 30.0), (("Al", "Zn"), 0.0)])
def test_compositions_beyond_the_phases_kept_are_refused(pair: tuple[str, str], percent: float) -> None:
    with pytest.raises(OutOfRange):
        phases.freezing_range(*pair, percent)
    with pytest.raises(BadInput):
        phases.freezing_range("Pb", "Sn", 63.0)


@pytest.mark.parametrize(
    "bad",
    [
        lambda: vapour.zinc_pressure_pa(20.0),
        lambda: vapour.zinc_pressure_pa(float("nan")),
        lambda: vapour.temp_at_fraction_c({"Zn": 100.0}, 0.0),
        lambda: evaporation.mass_transfer_m_per_s(500.0, 0.0),
        lambda: evaporation.mass_transfer_m_per_s(10.0, 80.0),
        lambda: filling.fall_speed_m_per_s(-1.0),
        lambda: filling.choke_area_mm2(1.0, 2380.0, 0.0, 100.0),
        lambda: filling.surface_tension_head_mm(LIBRARY.get("za27"), 0.0),
        lambda: solidify.plate_modulus_mm(-4.0),
        lambda: solidify.cylinder_modulus_mm(30.0, 0.0),
        lambda: filling.lowest_fill_c(LIBRARY.get("za27"), 3.0, -1.0),
        lambda: energy.melt_energy(LIBRARY.get("za27"), -1.0, 560.0),
        lambda: energy.enthalpy_kj_per_kg(LIBRARY.get("za27"), 1e5),
        lambda: energy.melt_energy(LIBRARY.get("za27"), 1.0, 560.0, power_w=-3.0),
        lambda: transfer.radiated_w(500.0, 0.01, 1.5),
        lambda: Pot(mouth_mm=-80.0),
        lambda: Carry(walk_s=-1.0),
        lambda: Carry(fitted_c_per_s=0.0),
        lambda: Ladle(mass_kg=0.0),
        lambda: energy.addition_dip(LIBRARY.get("za27"), 0.0, 500.0, 1.0),
    ],
)
def test_what_cannot_be_meant_is_refused(bad: object) -> None:
    with pytest.raises(OutOfRange):
        bad()  # type: ignore[operator]
