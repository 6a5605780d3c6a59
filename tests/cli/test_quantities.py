"""Quantities as people type them, with a comma or a point, with or without a unit; and what is refused, and how."""

import contextlib
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pourcall.contract.errors import BadInput, BadTemperature
from pourcall.contract.quantities import (
    difference_c,
    figure,
    key_values,
    kilograms,
    millimetres,
    seconds,
    share,
    temperature_c,
)
from pourcall.contract.units import Unit


@pytest.mark.parametrize(
    ("typed", "temp_c"),
    [("529,5C", 529.5), ("529.5 °C", 529.5), ("1050F", 565.5556), ("838K", 564.85), ("-40F", -40.0), ("0,5C", 0.5)],
)
def test_a_temperature_is_read_with_its_unit_and_a_decimal_comma(typed: str, temp_c: float) -> None:
    assert temperature_c(typed) == pytest.approx(temp_c, abs=1e-3)


def test_a_bare_temperature_is_in_the_agreed_unit_or_refused() -> None:
    assert temperature_c("1050", Unit.F) == pytest.approx(565.556, abs=1e-3)
    with pytest.raises(BadTemperature, match="Write 529,5C, 529,5F or 529,5K"):
        temperature_c("529,5")


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("1,050F", "Write 1050, or 1.050 for the decimal"),
        ("1,050.5F", "Write 1050.5"),
        ("1.050,5C", "Write 1050.5"),
        ("hot", "is no temperature"),
        ("5,,5C", "5,,5C is no temperature"),
        ("1.2.3C", "is no temperature"),
        ("500 fathoms", "is no unit of temperature"),
        ("-300C", "below absolute zero"),
        ("11000C", "digit too many"),
        ("1e999C", "1e999C is no temperature"),
        ("nanC", "is no temperature"),
    ],
)
def test_what_may_be_read_two_ways_or_not_at_all_is_refused_with_what_to_type(typed: str, said: str) -> None:
    with pytest.raises(BadTemperature, match=said):
        temperature_c(typed)


def test_a_difference_is_turned_without_the_zero_of_the_scale() -> None:
    assert [difference_c("22F"), difference_c("22", Unit.F)] == pytest.approx([12.2222] * 2, abs=1e-4)
    assert (difference_c("12,5"), difference_c("12.5K"), difference_c("12C", Unit.F)) == (12.5, 12.5, 12.0)


def test_masses_lengths_times_and_shares() -> None:
    masses_kg = [kilograms(text) for text in ("1,5kg", "800g", "3 lb", "0,350 kg")]
    assert masses_kg == pytest.approx([1.5, 0.8, 1.36077711, 0.35])
    assert [millimetres(text) for text in ("6mm", "0,6cm", "1/4in", "1/4 in", "0.25in")] == pytest.approx(
        [6.0, 6.0, 6.35, 6.35, 6.35]
    )
    assert millimetres("6", bare=True) == 6.0
    assert kilograms("0,6", bare=True) == 0.6
    assert [seconds(text) for text in ("40s", "2m", "1m30s", "90", "1,5min")] == [40.0, 120.0, 90.0, 90.0, 90.0]
    assert [share(text) for text in ("80%", "0,8", "62,5 %")] == [0.8, 0.8, 0.625]


@pytest.mark.parametrize(
    ("read", "typed", "said"),
    [
        (kilograms, "-1kg", "is no mass"),
        (kilograms, "900kg", "outside 0 to 100 kg"),
        (kilograms, "1.5 stone", "is no mass"),
        (kilograms, "1.5", "Write 1.5kg, 1.5g or 1.5lb"),
        (kilograms, "1,250g", "Write 1250, or 1.250"),
        (millimetres, "6", "has no unit of length"),
        (millimetres, "1/0in", "is no length"),
        (millimetres, "thin", "is no length"),
        (seconds, "soon", "is no length of time"),
        (seconds, "", "is no length of time"),
        (figure, "nan", "is no number"),
        (figure, "six", "is no number"),
    ],
)
def test_what_cannot_be_meant_is_refused(read: object, typed: str, said: str) -> None:
    with pytest.raises(BadInput, match=said):
        read(typed)  # type: ignore[operator]


def test_a_decimal_comma_among_keys_belongs_to_its_figure() -> None:
    assert key_values("kg=0,6,mm=6,min=535,5C,material=green_sand") == [
        ("kg", "0,6"),
        ("mm", "6"),
        ("min", "535,5C"),
        ("material", "green_sand"),
    ]
    with pytest.raises(BadInput, match="'thin' is not key=value"):
        key_values("kg=0,6,thin")


READERS = [temperature_c, difference_c, kilograms, millimetres, seconds, share, figure]


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=12), st.sampled_from(READERS))
def test_any_text_is_read_as_a_finite_figure_or_refused_as_bad_input(text: str, read: object) -> None:
    value = 0.0
    with contextlib.suppress(BadInput):
        value = read(text)  # type: ignore[operator]
    assert math.isfinite(value)


@given(st.floats(-200.0, 1999.0))
def test_a_point_and_a_comma_are_read_alike(value: float) -> None:
    typed = f"{value:.2f}C"
    assert temperature_c(typed) == temperature_c(typed.replace(".", ","))
