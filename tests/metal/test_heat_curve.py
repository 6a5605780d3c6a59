"""The enthalpy curve itself: its own inverse, never falling, refused where it contradicts the rest of its sheet."""

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pourcall.contract.errors import BadInput
from pourcall.contract.plan import AlloyFacts, HeatPoint
from pourcall.metal.alloys.sheet import load_sheets
from pourcall.metal.heat.curve import HeatCurve, curve_of, curve_of_figures
from tests.told import name_of

SHEETS = load_sheets()
KEYS = tuple(sheet.key for sheet in SHEETS.all())


@given(key=st.sampled_from(KEYS), kj_per_kg=st.floats(-20.0, 1500.0))
def test_temperature_and_heat_are_each_others_inverse_off_the_plateaus(key: str, kj_per_kg: float) -> None:
    curve = SHEETS.get(key).curve
    temp_c = curve.temp_c(1000.0 * kj_per_kg)
    if curve.heat_capacity(1000.0 * kj_per_kg) < 1e6:
        assert curve.kj_per_kg(temp_c) == pytest.approx(kj_per_kg, abs=1e-4)


@given(key=st.sampled_from(KEYS), low=st.floats(-20.0, 1500.0), more=st.floats(0.0, 400.0))
def test_more_heat_never_makes_it_colder_nor_more_solid(key: str, low: float, more: float) -> None:
    curve = SHEETS.get(key).curve
    assert curve.temp_c(1000.0 * (low + more)) >= curve.temp_c(1000.0 * low) - 1e-9
    assert curve.liquid(1000.0 * (low + more)) >= curve.liquid(1000.0 * low) - 1e-12


@pytest.mark.parametrize("key", KEYS)
def test_it_is_solid_at_the_solidus_and_wholly_liquid_at_the_liquidus(key: str) -> None:
    curve = SHEETS.get(key).curve
    assert curve.liquid(curve.h_solid) == 0.0
    assert curve.liquid(curve.h_liquid) == 1.0
    assert curve.temp_c(curve.h_liquid) == pytest.approx(curve.liquidus_c)
    assert curve.temp_c(curve.h_solid) == pytest.approx(curve.solidus_c)
    for tenths in range(1, 11):
        assert curve.liquid(curve.heat_of_share(tenths / 10.0)) == pytest.approx(tenths / 10.0)


def test_a_plan_of_an_older_record_has_a_curve_from_its_three_figures() -> None:
    facts = msgspec.structs.replace(SHEETS.get("c87300").facts(), heat=())
    curve = curve_of(facts)
    by_hand = facts.cp_solid_j_per_kg_k * (821.0 - 25.0) + 1000.0 * facts.latent_kj_per_kg
    by_hand += 0.5 * (facts.cp_solid_j_per_kg_k + facts.cp_liquid_j_per_kg_k) * 150.0
    assert curve.h_liquid == pytest.approx(by_hand)
    assert (curve.solidus_c, curve.liquidus_c) == (821.0, 971.0)


def test_a_pure_metal_takes_all_its_latent_heat_at_one_temperature() -> None:
    # Zinc: 419.527 degC (ITS-90), 7068 J/mol over 65.38 g/mol (CRC): 108.1 kJ/kg
    curve = curve_of_figures(419.527, 419.527, cp_solid=430.0, cp_liquid=480.0, latent_kj_per_kg=108.1)
    assert curve.temp_c(curve.h_solid + 1000.0) == curve.temp_c(curve.h_liquid - 1000.0) == 419.527
    assert curve.h_liquid - curve.h_solid == pytest.approx(108_100.0)
    assert curve.latent_kj_per_kg == pytest.approx(108.1)
    assert curve.enthalpy(419.527) == pytest.approx(curve.h_solid)


def test_the_curve_of_a_plan_survives_the_record() -> None:
    facts = SHEETS.get("a356").facts()
    again = msgspec.json.decode(msgspec.json.encode(facts), type=AlloyFacts)
    assert again == facts
    assert curve_of(again).h_liquid == curve_of(facts).h_liquid


@pytest.mark.parametrize(
    ("points", "name"),
    [
        ([(25, 0, 0), (400, 160, 0)], "alloy.curve.begin"),
        ([(20, 0, 0), (400, 160, 0), (420, 270, 1), (500, 310, 1)], "alloy.curve.begin"),
        ([(25, 0, 0), (400, 160, 0), (390, 270, 1), (500, 310, 1)], "alloy.curve.falls"),
        ([(25, 0, 0), (400, 160, 0), (420, 150, 1), (500, 310, 1)], "alloy.curve.no_heat"),
        ([(25, 0, 0), (400, 160, 0.5), (420, 270, 1), (500, 310, 1)], "alloy.curve.melts_at_once"),
        ([(25, 0, 0), (400, 160, 0), (420, 270, 0.9)], "alloy.curve.never_liquid"),
        ([(25, 0, 0), (400, 160, 0), (420, 270, 1)], "alloy.curve.no_liquid_point"),
        ([(25, 0, 0), (400, 160, 0), (400, 170, 0), (420, 270, 1), (500, 310, 1)], "alloy.curve.stands"),
    ],
)
def test_points_that_make_no_curve_are_refused(points: list[tuple[float, float, float]], name: str) -> None:
    with pytest.raises(BadInput) as caught:
        HeatCurve([HeatPoint(*map(float, point)) for point in points])
    assert name_of(caught.value.what) == name
