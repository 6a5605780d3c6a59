"""The 58 independent check values of the metal reference, in their order, each at its own tolerance.

Source keys and marks are those of pourcall/metal/alloys/sources.toml. "computed" rows were worked out apart from this
program, with pycalphad or by hand, before it was written. Where a row is a literature value, the tolerance is the
spread to allow.
"""

import math

import pytest

from pourcall.metal.alloys import elements
from pourcall.metal.alloys.elements import MELTING_C, mole_fractions
from pourcall.metal.alloys.sheet import load_sheets
from pourcall.metal.heat import energy, filling, phases, transfer
from pourcall.metal.heat import solidification as solidify
from pourcall.metal.vapour import activity, evaporation
from pourcall.metal.vapour import exposure_limits as limits
from pourcall.metal.vapour import pressure as vapour
from pourcall.metal.vapour import ventilation as room
from pourcall.metal.vapour.ventilation import Air

LIBRARY = load_sheets()


# Rows 1-5: ITS-90 defining points (S8, sourced). Rows 6-7: CRC (S9, sourced).
@pytest.mark.parametrize(
    ("symbol", "melting_c", "tolerance_c"),
    [
        ("Zn", 419.527, 0.001),
        ("Sn", 231.928, 0.001),
        ("Al", 660.323, 0.001),
        ("Ag", 961.78, 0.01),
        ("Cu", 1084.62, 0.01),
        ("Pb", 327.46, 0.02),
        ("Bi", 271.41, 0.02),
    ],
)
def test_rows_1_to_7_melting_points(symbol: str, melting_c: float, tolerance_c: float) -> None:
    assert MELTING_C[symbol] == pytest.approx(melting_c, abs=tolerance_c)


def test_row_8_zinc_boils_at_907_degc() -> None:  # S9, sourced; third law 906.7
    boiling_c = vapour.temp_at_fraction_c({"Zn": 100.0}, 1.0)
    assert boiling_c == pytest.approx(907.0, abs=2.0)
    assert boiling_c == pytest.approx(906.7, abs=0.1)


# Rows 9-12: CRC heats of fusion (S9, sourced).
@pytest.mark.parametrize(
    ("symbol", "kj_per_kg", "relative"),
    [("Zn", 108.1, 0.003), ("Al", 396.9, 0.005), ("Cu", 208.7, 0.005), ("Sn", 60.24, 0.01)],
)
def test_rows_9_to_12_heats_of_fusion(symbol: str, kj_per_kg: float, relative: float) -> None:
    assert elements.fusion_kj_per_kg(symbol) == pytest.approx(kj_per_kg, rel=relative)


# Rows 13-16: third-law fit, computed.
@pytest.mark.parametrize(("temp_c", "pressure_pa"), [(450, 50.44), (500, 183.2), (780, 24424), (1090, 486170)])
def test_rows_13_to_16_pressure_of_pure_zinc(temp_c: float, pressure_pa: float) -> None:
    assert vapour.zinc_pressure_pa(temp_c) == pytest.approx(pressure_pa, rel=0.001)


def test_rows_17_to_19_the_alcock_lines_as_witness_and_their_extrapolation_fault() -> None:
    assert vapour.alcock_liquid_pa(500.0) == pytest.approx(179.2, rel=0.001)  # sourced coefficients
    assert vapour.alcock_solid_pa(400.0) == pytest.approx(10.68, rel=0.002)  # sourced coefficients
    low_c, high_c = 850.0, 950.0
    while high_c - low_c > 1e-3:
        middle_c = 0.5 * (low_c + high_c)
        low_c, high_c = (middle_c, high_c) if vapour.alcock_liquid_pa(middle_c) < 101325.0 else (low_c, middle_c)
    assert high_c == pytest.approx(895.7, abs=0.1)  # computed: 11 degC below the boiling point


def test_rows_20_to_23_activity_of_zinc_in_zinc_aluminium() -> None:  # an Mey's parameter; computed
    x_za12 = mole_fractions({"Zn": 89.0, "Al": 11.0})["Zn"]
    assert x_za12 == pytest.approx(0.76953, abs=1e-4)
    assert activity.gamma_zinc_in_aluminium(x_za12, 500.0) == pytest.approx(1.06695, abs=2e-4)
    x_za27 = mole_fractions({"Zn": 73.0, "Al": 27.0})["Zn"]
    assert activity.gamma_zinc_in_aluminium(x_za27, 560.0) == pytest.approx(1.27934, abs=2e-4)
    assert vapour.zinc_pressure_over_pa({"Zn": 91.6, "Al": 8.4}, 450.0) == pytest.approx(43.13, rel=0.002)


def test_rows_24_to_26_activity_of_zinc_in_brass() -> None:  # COST 507 parameters; computed
    x_zinc = mole_fractions({"Cu": 70.0, "Zn": 30.0})["Zn"]
    assert activity.gamma_zinc_in_copper(x_zinc, 1050.0) == pytest.approx(0.33250, abs=2e-4)
    assert vapour.zinc_pressure_over_pa({"Cu": 63.0, "Zn": 37.0}, 1090.0) == pytest.approx(79070, rel=0.002)
    assert vapour.temp_at_fraction_c({"Cu": 70.0, "Zn": 30.0}, 1.0) == pytest.approx(1175.0, abs=2.0)


# Rows 27-32: pycalphad 0.11 with an Mey's Al-Zn (C1) and COST 507 (C2), computed; +-0.5 degC.
@pytest.mark.parametrize(
    ("pair", "second_percent", "liquidus_c", "solidus_c"),
    [
        (("Al", "Zn"), 96.0, 388.4, 380.9),
        (("Al", "Zn"), 89.0, 434.3, 380.9),
        (("Al", "Zn"), 73.0, 508.4, 421.6),
        (("Al", "Si"), 7.0, 616.6, 577.0),
        (("Cu", "Zn"), 30.0, 949.1, 918.2),
    ],
)
def test_rows_27_to_32_liquidus_and_solidus_of_binaries(
    pair: tuple[str, str], second_percent: float, liquidus_c: float, solidus_c: float
) -> None:
    found = phases.freezing_range(*pair, second_percent)
    assert found.liquidus_c == pytest.approx(liquidus_c, abs=0.5)
    assert found.solidus_c == pytest.approx(solidus_c, abs=0.5)


def test_rows_33_to_37_melting_ranges_and_windows_of_the_trade() -> None:  # S1, S4, sourced, +-1 degC
    for name, solidus_c, liquidus_c in (
        ("ZA-12", 377, 432),
        ("ZA-27", 376, 484),
        ("C83600", 854, 1010),
        ("C86500", 862, 880),
    ):
        sheet = LIBRARY.get(name)
        assert (sheet.solidus.value, sheet.liquidus.value) == pytest.approx((solidus_c, liquidus_c), abs=1.0)
    brass = LIBRARY.get("C87500")
    ends = (brass.pour_light_min, brass.pour_light_max, brass.pour_heavy_min, brass.pour_heavy_max)
    assert [end.value for end in ends if end is not None] == pytest.approx([1038, 1093, 982, 1038], abs=1.0)


def test_rows_39_and_40_the_well_mixed_room() -> None:  # computed
    assert room.concentration_mg_per_m3(5.0, Air(volume_m3=50.0, changes_per_h=2.0), 10.0) == pytest.approx(
        850.4, rel=0.001
    )
    assert room.steady_mg_per_m3(0.5, Air(volume_m3=50.0, changes_per_h=6.0)) == pytest.approx(100.0, rel=0.001)


def test_row_41_zinc_oxide_from_zinc() -> None:  # ratio of molar masses
    assert pytest.approx(1.2447, abs=1e-3) == evaporation.ZINC_OXIDE_PER_ZINC


def test_rows_42_to_44_torricelli_choke_and_fall() -> None:  # computed
    assert filling.fall_speed_m_per_s(150.0) == pytest.approx(1.7152, abs=1e-4)
    assert filling.choke_area_mm2(1.0, 2380.0, 4.0, 120.0, 0.8) == pytest.approx(85.59, rel=0.001)
    assert filling.drop_for_speed_mm(0.5) == pytest.approx(12.75, abs=0.01)


def test_row_45_freezing_time_of_a_stream() -> None:  # Flemings' balance, computed
    time_s = filling.freeze_time_s(2380.0, 0.002, 0.35, 430e3, 1160.0, 105.0, 800.0, 615.0, 25.0)
    assert time_s == pytest.approx(2.746, rel=0.001)


def test_rows_46_and_47_chvorinov_from_a_textbook_problem() -> None:  # montoguequiz.com, sourced inputs
    b = 160.0 / (0.050 / 6.0) ** 2  # a cube of 50 mm: volume over surface is a sixth of its side
    assert b / 60.0 / 1e4 == pytest.approx(3.840, rel=0.001)  # min/cm2
    assert solidify.solidification_s(solidify.cylinder_modulus_mm(30.0, 50.0), b) == pytest.approx(76.7, rel=0.002)


def test_row_48_chvorinov_from_properties() -> None:  # computed
    b = solidify.chvorinov_b_s_per_m2(2380.0, 430e3, 1160.0, 105.0, 590.0)
    assert b == pytest.approx(4.141e6, rel=0.002)


def test_row_49_radiation_of_an_open_bath() -> None:  # Stefan-Boltzmann, computed
    power_w = transfer.radiated_w(720.0, math.pi * 0.04**2, 0.2, 25.0)
    assert power_w == pytest.approx(55.0, rel=0.002)


def test_row_50_hydrogen_in_liquid_aluminium() -> None:  # Talbot and Anyalebechi, sourced equation
    assert solidify.hydrogen_ml_per_100g(750.0) == pytest.approx(1.205, rel=0.002)


def test_rows_51_and_52_liquid_densities() -> None:  # S9 equations, sourced
    assert elements.liquid_density("Al", 720.0) == pytest.approx(2358.0, abs=1.0)
    assert elements.liquid_density("Zn", 500.0) == pytest.approx(6481.0, abs=1.0)


@pytest.mark.parametrize(("symbol", "cp"), [("Zn", 480.0), ("Al", 1176.7), ("Cu", 493.8)])
def test_row_53_liquid_heat_capacities(symbol: str, cp: float) -> None:  # SGTE functions, sourced
    assert elements.liquid_heat_capacity(symbol) == pytest.approx(cp, rel=0.002)


def test_row_54_heat_in_aluminium_at_720_degc() -> None:  # C2, computed
    kj_per_kg = elements.liquid_enthalpy_j_per_mol("Al", 720.0) / elements.molar_mass("Al")
    assert kj_per_kg == pytest.approx(1139.0, rel=0.003)


def test_row_55_heat_in_zinc_with_4_percent_aluminium() -> None:  # C1, computed
    assert energy.zinc_aluminium_enthalpy_kj_per_kg(4.0, 420.0) == pytest.approx(312.0, rel=0.005)


def test_row_56_limits_of_zinc_oxide_fume() -> None:  # NIOSH pocket guide, OSHA page of 2008, Ontario table: sourced
    assert limits.limit("zinc oxide fume", "8 h", "OSHA").mg_per_m3 == 5.0
    assert limits.limit("zinc oxide fume", "15 min", "NIOSH").mg_per_m3 == 10.0
    assert limits.limit("zinc oxide fume", "8 h", "Ontario").mg_per_m3 == 2.0


def test_row_57_a_cold_ladle() -> None:  # mixing-pot formula, computed
    assert transfer.mixed_c(2.0, 548.0, 500.0, 0.5, 500.0, 25.0) == pytest.approx(411.8, abs=0.1)
