"""The metal figures against `chemicals`, a general-purpose library of handbook tables; skipped without it."""

import math

import pytest

from pourcall.metal.alloys import elements
from pourcall.metal.vapour import pressure as vapour

# Witness: the general-purpose library `chemicals` (its CRC tables), which knows nothing of this program.
chemicals = pytest.importorskip("chemicals", reason="the witness library is in the dev dependencies")


@pytest.mark.parametrize(
    ("symbol", "cas"),
    [
        ("Ag", "7440-22-4"),
        ("Al", "7429-90-5"),
        ("Bi", "7440-69-9"),
        ("Cu", "7440-50-8"),
        ("Fe", "7439-89-6"),
        ("Mg", "7439-95-4"),
        ("Mn", "7439-96-5"),
        ("Ni", "7440-02-0"),
        ("Sb", "7440-36-0"),
        ("Si", "7440-21-3"),
        ("Pb", "7439-92-1"),
        ("Sn", "7440-31-5"),
        ("Zn", "7440-66-6"),
    ],
)
def test_fusion_and_melting_points_agree_with_the_crc_tables_of_a_general_library(symbol: str, cas: str) -> None:
    assert elements.FUSION_J_PER_MOL[symbol] == pytest.approx(chemicals.Hfus(cas), rel=1e-6)
    assert elements.MELTING_C[symbol] + 273.15 == pytest.approx(chemicals.Tm(cas), abs=0.02)


def test_zinc_pressure_agrees_with_the_librarys_alcock_line_only_inside_its_validity() -> None:
    from chemicals.vapor_pressure import Psat_data_Alcock_elements

    row = Psat_data_Alcock_elements.loc["7440-66-6"]
    assert row["Tmax"] == 750.0  # K: the line must not be used above 477 degC, brass or not

    def library_pa(temp_c: float) -> float:
        kelvin = temp_c + 273.15
        return float(math.exp(row["A"] + row["B"] / kelvin + row["C"] * math.log(kelvin) + row["D"] * kelvin))

    for temp_c in (425.0, 450.0, 475.0):
        assert vapour.zinc_pressure_pa(temp_c) == pytest.approx(library_pa(temp_c), rel=0.04)
    assert library_pa(1090.0) / vapour.zinc_pressure_pa(1090.0) > 1.2  # what ignoring Tmax would cost
