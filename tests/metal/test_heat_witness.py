"""The enthalpy curves of the sheets against pycalphad, a general library for phase equilibria.

Its figures are kept in tests/data/metals/calphad_heat.csv with their provenance; where the library is installed they
are computed anew.
"""

import csv
from collections import defaultdict
from pathlib import Path
from typing import Any

import pytest

from pourcall.metal.alloys.elements import MOLAR_MASS_G_PER_MOL
from pourcall.metal.alloys.sheet import SheetLibrary, load_sheets
from pourcall.metal.heat.curve import curve_of
from pourcall.metal.heat.energy import enthalpy_kj_per_kg

FOLDER = Path(__file__).parents[1] / "data" / "metals"
ROWS = list(csv.DictReader((FOLDER / "calphad_heat.csv").read_text("utf-8").splitlines()))
SHEETS = load_sheets()
WITHIN = 0.01  # of the heat: the curve is drawn through these points; a tin bronze would be 10 % off


def name_of(row: dict[str, str]) -> str:
    return f"{row['alloy']} {row['state']} {row['temp_c']}"


@pytest.fixture(scope="module")
def library() -> SheetLibrary:
    return SHEETS


@pytest.mark.parametrize("row", ROWS, ids=name_of)
def test_heat_at_solidus_liquidus_and_pouring_temperature_is_that_of_an_assessed_database(
    library: SheetLibrary, row: dict[str, str]
) -> None:
    sheet, temp_c, calphad = library.get(row["alloy"]), float(row["temp_c"]), float(row["kj_per_kg"])
    curve = curve_of(sheet.facts())
    solid = row["state"] == "solid"
    at_the_end = abs(temp_c - (curve.solidus_c if solid else curve.liquidus_c)) < 0.01
    ours_j = (curve.h_solid if solid else curve.h_liquid) if at_the_end else curve.enthalpy(temp_c)
    assert ours_j / 1000.0 == pytest.approx(calphad, rel=WITHIN)
    if not at_the_end:  # what energy asks and what furnace and plant follow is one figure
        assert enthalpy_kj_per_kg(sheet, temp_c) == pytest.approx(curve.kj_per_kg(temp_c), rel=1e-9)


def test_every_alloy_of_the_kept_figures_has_both_ends_of_melting_and_a_pouring_temperature() -> None:
    states = defaultdict(list)
    for row in ROWS:
        states[row["alloy"]].append(row["state"])
    assert len(states) == 26
    assert all(seen == ["solid", "liquid", "liquid", "liquid"] for seen in states.values())


# Latent heat: liquid less solid at one temperature. Silicon bronze had 62 and 250 kJ/kg, ZA-27 201 and 130, C95400 171
# and 230, 413 485 and 389, A356 448 and 389, in two places each. Computed in the middle of the range, same databases.
@pytest.mark.parametrize(
    ("key", "latent"),
    [("c87300", 107.5), ("za27", 175.8), ("c95400", 180.2), ("413", 500.5), ("a356", 440.5), ("c85700", 145.8)],
)
def test_the_latent_heat_is_one_figure_wherever_it_is_used(library: SheetLibrary, key: str, latent: float) -> None:
    sheet = library.get(key)
    assert sheet.curve.latent_kj_per_kg == pytest.approx(latent, rel=0.01)
    assert sheet.facts().latent_kj_per_kg == pytest.approx(sheet.curve.latent_kj_per_kg, abs=0.01)
    assert sheet.latent is not None
    assert sheet.latent.value == pytest.approx(sheet.curve.latent_kj_per_kg, abs=0.6)  # as the sheet shows it


@pytest.mark.long
@pytest.mark.parametrize("row", ROWS, ids=name_of)
def test_the_kept_heats_are_what_the_library_computes(row: dict[str, str]) -> None:
    pycalphad = pytest.importorskip("pycalphad", reason="the witness library is not installed")
    shipped = Path(pycalphad.__file__).parent / "tests" / "databases" / row["database"]
    database = shipped if shipped.exists() else FOLDER / row["database"]
    if not database.exists():
        pytest.skip("this release of the library ships no such database")
    phases = row["solid_phases"].split()
    shares = {symbol: float(share) for symbol, share in (one.split(":") for one in row["weight_percent"].split())}
    data = pycalphad.Database(str(database))
    here = heat_of(pycalphad, data, shares, phases if row["state"] == "solid" else ["LIQUID"], float(row["temp_c"]))
    cold = heat_of(pycalphad, data, shares, phases, 25.0)
    assert here - cold == pytest.approx(float(row["kj_per_kg"]), abs=0.3)


def heat_of(pycalphad: Any, data: Any, shares: dict[str, float], phases: list[str], temp_c: float) -> float:
    """Enthalpy at equilibrium of these phases, kJ/kg, against the library's own zero."""
    v = pycalphad.variables
    mass = {symbol: MOLAR_MASS_G_PER_MOL[symbol.capitalize()] for symbol in shares}
    moles = {symbol: share / mass[symbol] for symbol, share in shares.items()}
    fractions = {symbol: amount / sum(moles.values()) for symbol, amount in moles.items()}
    where = {v.T: temp_c + 273.15, v.P: 101325.0, v.N: 1.0}
    where |= {v.X(symbol): fraction for symbol, fraction in list(fractions.items())[1:]}
    found = pycalphad.equilibrium(data, [*shares, "VA"], phases, where, output="HM")
    kg_per_mol = sum(fractions[symbol] * mass[symbol] for symbol in shares) / 1000.0
    return float(found.HM.values.squeeze()) / kg_per_mol / 1000.0
