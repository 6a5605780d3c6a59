"""How well a temperature is known. A published worked example, class tables, and what calibration takes away."""

from math import sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pourcall.contract.calibration import Calibration
from pourcall.contract.errors import BadInput, OutOfRange
from pourcall.contract.units import Unit
from pourcall.texts import say
from pourcall.thermometry import thermocouple as tc
from pourcall.thermometry.amplifier_limits import Amplifier
from pourcall.thermometry.tolerance import BANDS, WireClass, class_range_c, tolerance
from pourcall.thermometry.uncertainty import Chain, Shape, budget, combine, normal, rectangular
from tests.told import inside as inside_of
from tests.told import name_of, names, refused

CLASS_1, CLASS_2 = WireClass.IEC_1, WireClass.IEC_2


# EA-4/02 (European accreditation), example S5: furnace temperature in the calibration of a type N couple at 1000 degC.
# A public worksheet of the example prints u = 0.640870516811861 degC and, as limits, the couples' calibration, the
# voltmeter, the switch and 0.077 degC/uV. Scatter, ice point, drift, furnace and 0.189 degC/uV are from memory; they
# bring the printed result to its sixth digit.
def test_the_furnace_temperature_of_ea_4_02_example_s5_comes_out_as_printed() -> None:
    sensitivity, sensitivity_at_0 = 0.077, 0.189  # degC/uV of the type R references at 1000 and 0 degC
    parts = [
        normal("reading of the reference couples", 0.10, "pooled"),
        normal("their calibration, 0.3 degC at k = 2", 0.3 / 2, ""),
        normal("voltmeter calibration, 2 uV at k = 2", sensitivity * 2.0 / 2, ""),
        rectangular("voltmeter resolution, +-0.5 uV", sensitivity * 0.5, ""),
        rectangular("reversing switch, +-2 uV", sensitivity * 2.0, ""),
        rectangular("ice point, +-0.1 degC", sensitivity / sensitivity_at_0 * 0.1, ""),
        rectangular("drift, +-0.3 degC", 0.3, ""),
        rectangular("furnace, +-1 degC", 1.0, ""),
    ]
    furnace = combine(parts)
    assert furnace.standard_c == pytest.approx(0.640870516811861, abs=2e-6)
    assert furnace.expanded_c == pytest.approx(2.0 * 0.640870516811861, abs=4e-6)
    assert furnace.largest.name == "furnace, +-1 degC"


# JCGM 100:2008, 4.3.7: for a rectangle of half-width a the variance is a**2 / 3.
def test_limits_become_a_standard_uncertainty_as_the_gum_says() -> None:
    part = rectangular("x", 3.0, "")
    assert part.standard_c**2 == pytest.approx(3.0)
    assert (part.stated_c, part.shape) == (3.0, Shape.RECTANGULAR)


# What the classes mean at a pour: type K, +-degC (from three makers' tables of IEC 60584-1, printed to 0.1 degC).
@pytest.mark.parametrize(
    ("temp_c", "class_1", "special", "class_2", "standard"),
    [
        (231.928, 1.5, 1.1, 2.5, 2.2),
        (419.527, 1.7, 1.7, 3.1, 3.1),
        (660.323, 2.6, 2.6, 5.0, 5.0),
        (750.0, 3.0, 3.0, 5.6, 5.6),
        (961.78, 3.8, 3.8, 7.2, 7.2),
        (1084.62, None, 4.3, 8.1, 8.1),
        (1150.0, None, 4.6, 8.6, 8.6),
    ],
)
def test_what_the_classes_mean_at_a_pour(
    temp_c: float, class_1: float | None, special: float, class_2: float, standard: float
) -> None:
    printed = {CLASS_2: class_2, WireClass.ASTM_SPECIAL: special, WireClass.ASTM_STANDARD: standard}
    if class_1 is not None:
        printed[CLASS_1] = class_1
    for wire_class, half_c in printed.items():
        found = tolerance("K", wire_class, temp_c)
        assert found.half_width_c == pytest.approx(half_c, abs=0.051)
        assert found.covered


# Other types, at a point from each maker's table named in tolerance.py.
@pytest.mark.parametrize(
    ("tc_type", "wire_class", "temp_c", "half_c"),
    [
        ("S", CLASS_1, 1000.0, 1.0),
        ("R", CLASS_1, 1500.0, 2.2),
        ("S", CLASS_2, 500.0, 1.5),
        ("R", CLASS_2, 1200.0, 3.0),
        ("T", CLASS_1, 100.0, 0.5),
        ("T", CLASS_2, 300.0, 2.25),
        ("T", WireClass.IEC_3, -100.0, 1.5),
        ("J", CLASS_2, 700.0, 5.25),
        ("E", WireClass.ASTM_STANDARD, 400.0, 2.0),
        ("B", CLASS_2, 1000.0, 2.5),
        ("B", WireClass.IEC_3, 700.0, 4.0),
        ("N", CLASS_1, 1000.0, 4.0),
        ("K", WireClass.ASTM_STANDARD, -200.0, 4.0),
        ("R", WireClass.ASTM_SPECIAL, 1000.0, 1.0),
    ],
)
def test_tolerances_of_other_types(tc_type: str, wire_class: WireClass, temp_c: float, half_c: float) -> None:
    assert tolerance(tc_type, wire_class, temp_c).half_width_c == pytest.approx(half_c)


def test_class_1_of_type_k_ends_at_1000_degc_and_what_lies_beyond_is_widened_and_said() -> None:
    inside = budget(Chain("K", Amplifier.EMF_BOARD, CLASS_1), 1000.0, 25.0)
    beyond = budget(Chain("K", Amplifier.EMF_BOARD, CLASS_1), 1084.62, 25.0)
    assert (inside.off_spec, beyond.off_spec) == (False, True)
    assert beyond.parts[0].stated_c == pytest.approx(2.0 * 0.004 * 1084.62)
    (range_c,) = (one.facts for one in inside_of(beyond.parts[0].words) if one.name == "uncertainty.beyond_class")
    assert (range_c["low_c"], range_c["high_c"]) == (-40, 1000)
    assert beyond.expanded_c > inside.expanded_c


@pytest.mark.parametrize(("tc_type", "wire_class"), sorted(BANDS))
def test_every_class_gives_a_tolerance_over_the_types_whole_range(tc_type: str, wire_class: WireClass) -> None:
    low_c, high_c = tc.temp_range_c(tc_type)
    for k in range(101):
        found = tolerance(tc_type, wire_class, low_c + (high_c - low_c) * k / 100)
        assert 0.0 < found.half_width_c < 70.0


def test_a_class_that_does_not_exist_is_refused_with_those_that_do() -> None:
    with pytest.raises(BadInput, match="iec_1, iec_2, astm_special, astm_standard"):
        tolerance("R", WireClass.IEC_3, 500.0)
    with refused(BadInput, "error.no_type", tc_type="Q"):
        tolerance("Q", CLASS_1, 500.0)
    with pytest.raises(BadInput):
        budget(Chain("B", Amplifier.MAX31856, CLASS_1), 900.0, 25.0)


def test_the_range_of_a_class_is_at_hand_for_every_reading() -> None:
    assert class_range_c("K", CLASS_1) == (-40.0, 1000.0)
    assert class_range_c("K", WireClass.ASTM_STANDARD) == (-200.0, 1260.0)
    assert class_range_c("B", WireClass.UNKNOWN) == (600.0, 1700.0)
    assert tolerance("K", CLASS_1, 1000.1).covered is False


def test_an_unknown_class_is_judged_as_the_widest_sold_for_a_furnace() -> None:
    assert tolerance("K", WireClass.UNKNOWN, 660.0) == tolerance("K", CLASS_2, 660.0)
    assert tolerance("B", WireClass.UNKNOWN, 900.0) == tolerance("B", WireClass.IEC_3, 900.0)


def test_the_parts_add_in_squares_and_each_says_what_it_is() -> None:
    made = budget(Chain("K", Amplifier.MAX31855, CLASS_1), 540.0, 25.0, noise_c=0.3, samples=9)
    assert [part.name for part in made.parts] == ["wire", "amplifier", "cold junction", "resolution", "noise"]
    assert made.standard_c == pytest.approx(sqrt(sum(part.standard_c**2 for part in made.parts)))
    assert made.expanded_c == pytest.approx(2.0 * made.standard_c)
    assert all("°C" in say(part.words) and "°F" in say(part.words, Unit.F) for part in made.parts)
    assert made.parts[-1].standard_c == pytest.approx(0.1)


# MAX31855 data sheet: +-2 degC to 700 and +-4 degC to 1350 degC *of the chip*, 41.276 uV each; sensor +-2 degC.
def test_the_data_sheets_limits_are_carried_to_the_hot_end_in_emf() -> None:
    parts = {part.name: part for part in budget(Chain("K", Amplifier.MAX31855, CLASS_1), 660.323, 25.0).parts}
    slope, cold_slope = 42.19, 40.52  # uV/degC at 660.323 and 25 degC, thermocouple reference work from SRD 60
    assert parts["amplifier"].stated_c == pytest.approx(2.0 * 41.276 / slope, abs=0.001)
    assert parts["cold junction"].stated_c == pytest.approx(2.0 * cold_slope / slope, abs=0.001)
    assert parts["resolution"].stated_c == pytest.approx(0.125 * 41.276 / slope, abs=0.001)
    hot = {part.name: part for part in budget(Chain("K", Amplifier.MAX31855, CLASS_2), 750.0, 25.0).parts}
    assert hot["amplifier"].stated_c == pytest.approx(4.0 * 41.276 / 41.47, abs=0.001)


def test_an_amplifier_outside_its_ambient_range_is_widened_and_told() -> None:
    cool = budget(Chain("K", Amplifier.MAX31856, CLASS_2), 540.0, 25.0)
    hot = budget(Chain("K", Amplifier.MAX31856, CLASS_2), 540.0, 95.0)
    assert (cool.off_spec, hot.off_spec) == (False, True)
    assert hot.expanded_c > cool.expanded_c
    assert any("uncertainty.beyond_sheet" in names(part.words) for part in hot.parts)


def test_a_calibration_on_the_board_replaces_wire_and_fixed_amplifier_error_where_it_reaches() -> None:
    checked = Calibration(points=((0.0, 5.0), (27461.0, -40.0)), spread_uv=21.0, date="2026-03-01")
    bare = budget(Chain("K", Amplifier.MAX31855, CLASS_2), 540.0, 25.0)
    known = budget(Chain("K", Amplifier.MAX31855, CLASS_2, checked), 540.0, 25.0)
    assert {part.name for part in known.parts} == {"cold junction", "resolution", "calibration"}
    assert known.expanded_c < 0.5 * bare.expanded_c
    beyond = budget(Chain("K", Amplifier.MAX31855, CLASS_2, checked), 1084.62, 25.0)
    wire = beyond.parts[0]
    assert wire.stated_c == pytest.approx((44535.0 - 27461.0) / 44535.0 * 0.0075 * 1084.62, rel=1e-3)
    assert "uncertainty.beyond_span" in names(wire.words)


def test_a_calibration_of_the_wire_alone_leaves_the_amplifier_in() -> None:
    certificate = Calibration(offset_uv=-12.0, low_uv=0.0, high_uv=45000.0, spread_uv=20.0, with_board=False)
    names = [part.name for part in budget(Chain("K", Amplifier.MAX31856, CLASS_1, certificate), 700.0, 25.0).parts]
    assert "wire" not in names
    assert {"amplifier", "offset", "cold junction", "calibration"} <= set(names)


def test_a_panel_of_which_nothing_is_known_still_gets_an_honest_figure() -> None:
    made = budget(Chain("", Amplifier.INSTRUMENT), 525.0, None)
    assert made.expanded_c == pytest.approx(2.0 * sqrt(((0.0075 * 525.0) ** 2 + 1.525**2) / 3.0))


@given(st.sampled_from(tc.TYPES), st.floats(0.0, 1.0), st.none() | st.floats(-40.0, 125.0), st.sampled_from(Amplifier))
def test_every_budget_is_finite_and_positive(
    tc_type: str, share: float, cold_c: float | None, amplifier: Amplifier
) -> None:
    low_c, high_c = tc.invertible_range_c(tc_type)
    made = budget(Chain(tc_type, amplifier), low_c + share * (high_c - low_c), cold_c)
    assert 0.5 < made.expanded_c < 1e5
    assert made.largest in made.parts


def test_no_budget_beyond_the_type() -> None:
    with pytest.raises(OutOfRange):
        budget(Chain("K", Amplifier.MAX31855), 1380.0, 25.0)
    with pytest.raises(OutOfRange):
        budget(Chain("K", Amplifier.MAX31855), float("nan"), 25.0)
    with pytest.raises(OutOfRange) as refused:
        budget(Chain("K", Amplifier.MAX31855), 500.0, 2000.0)
    assert name_of(refused.value.what) == "error.terminals"
