"""Known temperatures against what is printed elsewhere: ITS-90, IAPWS-IF97, tables of boiling points."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pourcall.contract.errors import BadInput, NotFound, OutOfRange
from pourcall.thermometry.reference_points import (
    POINTS,
    air_pressure_hpa,
    boiling_point,
    cal_point,
    saturation_c,
)
from tests.told import message, refused


# ITS-90, Table 1 (defining fixed points, freezing, degC = K - 273.15): 505.078, 692.677, 933.473, 1234.93, 1357.77 K.
@pytest.mark.parametrize(
    ("key", "kelvin"),
    [("tin", 505.078), ("zinc", 692.677), ("aluminium", 933.473), ("silver", 1234.93), ("copper", 1357.77)],
)
def test_metals_freeze_where_the_its_90_says(key: str, kelvin: float) -> None:
    assert POINTS[key].temp_c == pytest.approx(kelvin - 273.15, abs=1e-9)
    assert (POINTS[key].mark, POINTS[key].half_width_c) == ("sourced", 0.0)


# SGTE unary data: melting points 544.556 K (bismuth) and 600.612 K (lead).
def test_bismuth_and_lead_melt_where_the_unary_data_say() -> None:
    assert POINTS["bismuth"].temp_c == pytest.approx(544.556 - 273.15, abs=1e-9)
    assert POINTS["lead"].temp_c == pytest.approx(600.612 - 273.15, abs=1e-9)


# IAPWS-IF97, Table 36: saturation temperatures computed from equation 31 (for checking programs; from memory).
@pytest.mark.parametrize(("mpa", "kelvin"), [(0.1, 372.755919), (1.0, 453.035632), (10.0, 584.149488)])
def test_the_saturation_line_gives_the_check_values_of_its_release(mpa: float, kelvin: float) -> None:
    assert saturation_c(mpa * 1e4) + 273.15 == pytest.approx(kelvin, abs=5e-7)


# "Boiling point of pure water at elevated altitudes", en.wikipedia.org/wiki/High-altitude_cooking, which names NOAA and
# NASA: (feet, degF) as printed. Its lower rows follow 0.9 degF per 500 ft, a rule of thumb; hence 0.35 degC.
@pytest.mark.parametrize(
    ("feet", "degf"),
    [
        (0, 212.0),
        (500, 211.1),
        (1000, 210.2),
        (2000, 208.4),
        (5000, 203.0),
        (6000, 201.1),
        (8000, 197.4),
        (10000, 193.6),
        (12000, 189.8),
        (14000, 185.9),
        (15000, 184.1),
    ],
)
def test_water_boils_by_altitude_as_a_published_table_has_it(feet: int, degf: float) -> None:
    assert boiling_point(altitude_m=feet * 0.3048).temp_c == pytest.approx((degf - 32.0) / 1.8, abs=0.35)


# resourcenepal.com/tourism-nepal/high-altitude-cooking, "based on the standard sea-level pressure": metres, degC.
@pytest.mark.parametrize(("metres", "degc"), [(300, 99.1), (600, 98.1), (1000, 96.8), (2000, 93.3)])
def test_water_boils_by_altitude_as_a_second_table_has_it(metres: int, degc: float) -> None:
    assert boiling_point(altitude_m=metres).temp_c == pytest.approx(degc, abs=0.2)


# ICAO Standard Atmosphere (ISO 2533:1975), from memory: 1000 m 898.76 hPa, 2000 m 795.01 hPa, 5000 m 540.48 hPa, by
# geometric height; ours takes it for geopotential, which differs by 0.05 % at 5000 m.
@pytest.mark.parametrize(("metres", "hpa"), [(0, 1013.25), (1000, 898.76), (2000, 795.01), (5000, 540.48)])
def test_air_pressure_falls_as_in_the_standard_atmosphere(metres: int, hpa: float) -> None:
    assert air_pressure_hpa(metres) == pytest.approx(hpa, rel=6e-4)


def test_water_boils_at_the_steam_point_under_one_atmosphere() -> None:
    assert saturation_c(1013.25) == pytest.approx(99.974, abs=1e-3)  # ITS-90 steam point, printed by many; memory


def test_a_barometer_makes_boiling_water_a_better_point_than_the_altitude_alone() -> None:
    by_altitude = boiling_point(altitude_m=450.0)
    by_weather = boiling_point(altitude_m=450.0, sea_level_hpa=1021.0)
    on_the_spot = boiling_point(pressure_hpa=air_pressure_hpa(450.0, 1021.0))
    assert by_weather.temp_c == pytest.approx(on_the_spot.temp_c)
    assert by_weather.standard_c() == pytest.approx(on_the_spot.standard_c(), rel=0.01)
    assert by_weather.standard_c() < 0.3 * by_altitude.standard_c()
    assert by_weather.temp_c > by_altitude.temp_c


def test_air_pressure_must_be_told_once_and_can_be_meant() -> None:
    for wrong in ({}, {"altitude_m": 100.0, "pressure_hpa": 1000.0}, {"pressure_hpa": 960.0, "sea_level_hpa": 1010.0}):
        with pytest.raises(BadInput):
            boiling_point(**wrong)
    for beyond in ({"altitude_m": 9000.0}, {"pressure_hpa": 29.9}, {"altitude_m": 10.0, "sea_level_hpa": 29.9}):
        with pytest.raises(OutOfRange):
            boiling_point(**beyond)
    with refused(BadInput, "point.no_water"):
        cal_point("tin", altitude_m=450.0)


def test_points_have_the_names_people_use() -> None:
    assert cal_point("Aluminum") is POINTS["aluminium"]
    assert cal_point("lead-tin") is POINTS["tin+lead"]
    with refused(NotFound, "point.unknown", typed="unobtainium") as caught:
        cal_point("unobtainium")
    assert "tin" in str(message(caught.value.remedy).facts["known"])


def test_purer_metal_is_a_better_point_and_a_eutectic_has_no_grade() -> None:
    zinc = POINTS["zinc"]
    assert zinc.standard_c("99.99") < zinc.standard_c("99.9") < zinc.standard_c("commercial")
    assert POINTS["tin+lead"].standard_c("99.99") == POINTS["tin+lead"].standard_c("commercial")
    with refused(BadInput, "point.no_grade", typed="pure"):
        zinc.standard_c("pure")


@given(st.floats(6.2, 220000.0), st.floats(6.2, 220000.0))
def test_water_boils_hotter_under_more_pressure(one_hpa: float, other_hpa: float) -> None:
    low_c, high_c = (saturation_c(hpa) for hpa in sorted((one_hpa, other_hpa)))
    assert low_c <= high_c + 1e-9
    assert 0.0 <= low_c <= 374.0
