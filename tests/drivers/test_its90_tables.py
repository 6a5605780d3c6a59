"""The reference functions against what others printed.

NIST Monograph 175 / SRD 60 tables (tests/data/thermocouple, provenance there), the published inverse polynomials within
their own stated errors, the ITS-90 fixed points, and an independent library.
"""

import csv
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from thermocouples_reference import thermocouples as independent

from pourcall.thermometry import thermocouple as tc
from pourcall.thermometry import vector
from pourcall.thermometry.its90 import REFERENCE, TYPE_K_EXPONENTIAL

DATA = Path(__file__).parents[1] / "data" / "thermocouple"
PUBLISHED: dict[str, Any] = json.loads((DATA / "its90_coefficients.json").read_text(encoding="utf-8"))["types"]


def table(tc_type: str) -> list[tuple[float, float]]:
    """The printed table: degC, uV."""
    with (DATA / f"type_{tc_type}_table.csv").open(encoding="utf-8", newline="") as lines:
        return [(float(row["t_degC"]), 1000.0 * float(row["emf_mV"])) for row in csv.DictReader(lines)]


# Printed to 0.001 mV: a right function is never further than half of that from the print.
@pytest.mark.parametrize("tc_type", tc.TYPES)
def test_every_printed_emf_is_the_functions_rounded(tc_type: str) -> None:
    for temp_c, printed_uv in table(tc_type):
        assert tc.emf_uv(tc_type, temp_c) == pytest.approx(printed_uv, abs=0.5 + 1e-6), f"at {temp_c} degC"


def test_all_twelve_thousand_printed_points_are_there() -> None:
    assert sum(len(table(tc_type)) for tc_type in tc.TYPES) == 12026  # count of the two copies, PROVENANCE.md


@pytest.mark.parametrize("tc_type", tc.TYPES)
def test_every_printed_emf_inverts_to_its_temperature_within_the_rounding(tc_type: str) -> None:
    low_c, _ = tc.invertible_range_c(tc_type)
    low_uv, high_uv = tc.emf_range_uv(tc_type)
    checked = 0
    for temp_c, printed_uv in table(tc_type):
        if temp_c < low_c or not low_uv <= printed_uv <= high_uv:
            continue
        found_c = tc.temp_c(tc_type, printed_uv)
        least_slope = min(tc.seebeck_uv_per_c(tc_type, at) for at in (temp_c, found_c))
        # 0.5 uV of print over the slope; where the slope itself changes (the cold end), over the bend
        allowed_c = 0.5 / max(least_slope, 0.3) + 0.01
        if least_slope > 1.0:
            assert found_c == pytest.approx(temp_c, abs=allowed_c)
            checked += 1
    assert checked > 600


@pytest.mark.parametrize("tc_type", tc.TYPES)
def test_coefficients_are_the_published_digits(tc_type: str) -> None:
    pieces = PUBLISHED[tc_type]["forward"]
    assert [(p["t_min"], p["t_max"]) for p in pieces] == [(p.low_c, p.high_c) for p in REFERENCE[tc_type]]
    for published, ours in zip(pieces, REFERENCE[tc_type], strict=True):
        assert tuple(float(text) for text in published["coeffs_text"]) == ours.coefficients_mv
    if tc_type == "K":
        text = PUBLISHED["K"]["exponential"]["text"]
        assert tuple(float(text[name]) for name in ("a0", "a1", "a2")) == TYPE_K_EXPONENTIAL


# The published inverse polynomials state how far they may be from the exact inverse ("error: approximate minus exact").
@pytest.mark.parametrize("tc_type", tc.TYPES)
def test_published_inverse_polynomials_differ_from_ours_by_no_more_than_they_say(tc_type: str) -> None:
    for piece in PUBLISHED[tc_type]["inverse"]:
        # stated errors have two decimals, and some types' limits are exceeded by the print rounding of that
        low_c, high_c = piece["error_low_c"] - 0.006, piece["error_high_c"] + 0.006
        low_uv, high_uv = tc.emf_range_uv(tc_type)
        for emf_mv in np.linspace(piece["emf_min"], piece["emf_max"], 400).tolist():
            if not low_uv <= 1000.0 * emf_mv <= high_uv:
                continue
            approximate_c = float(np.polynomial.polynomial.polyval(emf_mv, piece["coeffs"]))
            assert low_c <= approximate_c - tc.temp_c(tc_type, 1000.0 * emf_mv) <= high_c


# thermocouples_reference 0.20: its own typing of the functions. Its wrappers fail under numpy 2; `.func` takes arrays.
@pytest.mark.parametrize("tc_type", tc.TYPES)
def test_an_independent_library_gives_the_same_emf_and_slope(tc_type: str) -> None:
    low_c, high_c = tc.temp_range_c(tc_type)
    temps = np.linspace(low_c, high_c, 3001)[1:-1]
    theirs = independent[tc_type].func
    assert np.abs(1000.0 * theirs(temps) - vector.emf_uv(tc_type, temps)).max() < 1e-4
    slopes = np.array([tc.seebeck_uv_per_c(tc_type, temp) for temp in temps.tolist()])
    assert np.abs(1000.0 * theirs(temps, derivative=1) - slopes).max() < 2e-6 * slopes.max()


# Temperatures: ITS-90 text, table 1. Type K emf (mV) and slope (uV/degC): from SRD 60, worked out apart from us.
@pytest.mark.parametrize(
    ("point", "temp_c", "emf_mv", "slope"),
    [
        ("ice", 0.0, 0.0000, 39.45),
        ("water triple", 0.01, 0.0004, 39.45),
        ("gallium", 29.7646, 1.1937, 40.69),
        ("indium", 156.5985, 6.4037, 40.16),
        ("tin", 231.928, 9.4205, 40.39),
        ("zinc", 419.527, 17.2231, 42.35),
        ("aluminium", 660.323, 27.4607, 42.19),
        ("silver", 961.78, 39.7781, 39.38),
        ("gold", 1064.18, 43.7552, 38.28),
        ("copper", 1084.62, 44.5351, 38.04),
    ],
)
def test_type_k_at_the_fixed_points(point: str, temp_c: float, emf_mv: float, slope: float) -> None:
    assert tc.emf_uv("K", temp_c) / 1000.0 == pytest.approx(emf_mv, abs=5.1e-5), point
    assert tc.seebeck_uv_per_c("K", temp_c) == pytest.approx(slope, abs=0.0051)
    assert tc.temp_c("K", 1000.0 * emf_mv) == pytest.approx(temp_c, abs=0.05 / slope + 1e-4)


@pytest.mark.parametrize("tc_type", tc.TYPES)
def test_the_slope_is_the_derivative_of_the_emf(tc_type: str) -> None:
    low_c, high_c = tc.temp_range_c(tc_type)
    for temp_c in np.linspace(low_c + 1.0, high_c - 1.0, 97).tolist():
        by_difference = (tc.emf_uv(tc_type, temp_c + 0.01) - tc.emf_uv(tc_type, temp_c - 0.01)) / 0.02
        assert tc.seebeck_uv_per_c(tc_type, temp_c) == pytest.approx(by_difference, abs=2e-4)
