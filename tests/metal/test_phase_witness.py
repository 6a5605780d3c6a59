"""Al-Zn against pycalphad, a general library for phase equilibria that knows nothing of this program.

Its figures, from the Al-Zn database it ships (an Mey, Z. Metallkd. 84 (1993) 451, as a file of NIMS), are kept in
tests/data/metals/al_zn_equilibrium.csv with their provenance; where the library is installed they are computed anew.
"""

import csv
import math
from pathlib import Path
from typing import Any

import pytest

from pourcall.metal.alloys.sheet import load_sheets
from pourcall.metal.heat.phases import freezing_range
from pourcall.metal.vapour import activity

TABLE = Path(__file__).parents[1] / "data" / "metals" / "al_zn_equilibrium.csv"
ROWS = list(csv.DictReader(TABLE.read_text("utf-8").splitlines()))
ENDS = [row for row in ROWS if row["what"] != "zinc_activity"]
ACTIVITIES = [row for row in ROWS if row["what"] == "zinc_activity"]
SAME_ASSESSMENT_C = 0.5  # both solve the same assessment; ours on a grid, with SGTE's newer unary functions
SAME_ACTIVITY = 2e-4


def ours(row: dict[str, str]) -> float:
    """The figure of a row by our own code."""
    aluminium = float(row["aluminium_weight_percent"])
    if row["what"] == "zinc_activity":
        return activity.zinc_activity({"Al": aluminium, "Zn": 100.0 - aluminium}, float(row["temp_c"]))
    return float(getattr(freezing_range("Al", "Zn", 100.0 - aluminium), row["what"]))


def name_of(row: dict[str, str]) -> str:
    return f"{row['what']} of Zn-{row['aluminium_weight_percent']}Al {row['temp_c']}".strip()


@pytest.mark.parametrize("row", ENDS, ids=name_of)
def test_liquidus_and_solidus_of_zinc_aluminium_are_those_of_a_general_library(row: dict[str, str]) -> None:
    assert ours(row) == pytest.approx(float(row["value"]), abs=SAME_ASSESSMENT_C)


@pytest.mark.parametrize("row", ACTIVITIES, ids=name_of)
def test_activity_of_zinc_in_liquid_zinc_aluminium_is_that_of_a_general_library(row: dict[str, str]) -> None:
    assert ours(row) == pytest.approx(float(row["value"]), abs=SAME_ACTIVITY)


def test_the_margin_of_za27_covers_what_equilibrium_says_above_the_trades_liquidus() -> None:
    computed = next(
        float(row["value"]) for row in ENDS if (row["what"], row["aluminium_weight_percent"]) == ("liquidus_c", "27")
    )
    sheet = load_sheets().get("za27")
    assert sheet.liquidus.value < computed < sheet.liquidus.value + sheet.margin_c


@pytest.mark.long
@pytest.mark.parametrize("row", ROWS, ids=name_of)
def test_the_kept_witness_figures_are_what_the_library_computes(row: dict[str, str]) -> None:
    pycalphad = pytest.importorskip("pycalphad", reason="the witness library is not installed")
    database = Path(pycalphad.__file__).parent / "tests" / "databases" / "alzn_mey.tdb"
    if not database.exists():
        pytest.skip("this release of the library ships no Al-Zn database")
    al_zn = AlZn(pycalphad, database)
    aluminium = float(row["aluminium_weight_percent"])
    if row["what"] == "zinc_activity":
        assert al_zn.activity(aluminium, float(row["temp_c"])) == pytest.approx(float(row["value"]), abs=2e-6)
    else:
        found = al_zn.boundary_c(aluminium, wholly=row["what"] == "liquidus_c")
        assert found == pytest.approx(float(row["value"]), abs=0.05)


class AlZn:
    """The library with its database, asked for what we keep."""

    def __init__(self, pycalphad: Any, database: Path) -> None:
        self._library, self._data = pycalphad, pycalphad.Database(str(database))

    def _equilibrium(self, elements: list[str], phases: list[str], temp_c: float, x_zinc: float | None) -> Any:
        v = self._library.variables
        where = {v.T: temp_c + 273.15, v.P: 101325.0, v.N: 1.0}
        if x_zinc is not None:
            where[v.X("ZN")] = x_zinc
        return self._library.equilibrium(self._data, [*elements, "VA"], phases, where)

    def boundary_c(self, aluminium: float, *, wholly: bool) -> float:
        """Lowest temperature at which all is liquid, or some is."""
        low_c, high_c = 340.0, 680.0
        while high_c - low_c > 0.02:
            middle_c = 0.5 * (low_c + high_c)
            found = self._equilibrium(["AL", "ZN"], ["LIQUID", "FCC_A1", "HCP_A3"], middle_c, x_of(aluminium))
            phases = {phase for phase in found.Phase.values.flatten().tolist() if phase}
            if phases == {"LIQUID"} if wholly else "LIQUID" in phases:
                high_c = middle_c
            else:
                low_c = middle_c
        return high_c

    def activity(self, aluminium: float, temp_c: float) -> float:
        """Of zinc in the liquid, against pure liquid zinc at the same temperature."""
        mixed = self._equilibrium(["AL", "ZN"], ["LIQUID"], temp_c, x_of(aluminium))
        potential = float(mixed.MU.sel(component="ZN").values.squeeze())
        pure = float(self._equilibrium(["ZN"], ["LIQUID"], temp_c, None).GM.values.squeeze())
        return math.exp((potential - pure) / (8.3145 * (temp_c + 273.15)))


def x_of(aluminium: float) -> float:
    """Mole fraction of zinc for weight percent of aluminium (IUPAC masses 26.9815, 65.38)."""
    al, zn = aluminium / 26.981538, (100.0 - aluminium) / 65.38
    return zn / (al + zn)
