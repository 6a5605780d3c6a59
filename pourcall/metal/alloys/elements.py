"""Figures of the pure elements, and nothing about alloys: masses, melting, liquid density, enthalpy.

In: a chemical symbol and a temperature in degC. Out: SI figures. Sources by key (pourcall/metal/alloys/sources.toml)
at each table. Not here: vapour (pressure.py), alloys (sheet.py), mixing rules (energy.py).
"""

from collections.abc import Iterable, Mapping

import msgspec

from pourcall.contract.errors import BadInput, OutOfRange
from pourcall.contract.message import tell

KELVIN_OF_0_C = 273.15
GAS_CONSTANT_J_PER_MOL_K = 8.314462618  # CODATA 2018, exact
STANDARD_ATMOSPHERE_PA = 101325.0
GRAVITY_M_PER_S2 = 9.80665  # standard gravity, exact
STEFAN_BOLTZMANN_W_PER_M2_K4 = 5.670374419e-8  # CODATA 2018

# g/mol; IUPAC standard atomic weights, abridged (S9)
MOLAR_MASS_G_PER_MOL = {
    "Ag": 107.8682,
    "Al": 26.9815385,
    "As": 74.9216,
    "Be": 9.0121831,
    "Bi": 208.9804,
    "C": 12.011,
    "Cd": 112.414,
    "Cr": 51.9961,
    "Cu": 63.546,
    "Fe": 55.845,
    "Mg": 24.305,
    "Mn": 54.938044,
    "Ni": 58.6934,
    "O": 15.999,
    "P": 30.973762,
    "Pb": 207.2,
    "S": 32.06,
    "Sb": 121.76,
    "Si": 28.085,
    "Sn": 118.71,
    "Sr": 87.62,
    "Ti": 47.867,
    "Zn": 65.38,
    "Zr": 91.224,
}

# degC. ITS-90 defining points (S8) for Ag, Al, Cu, Sn, Zn; the rest CRC tables (S9).
MELTING_C = {
    "Ag": 961.78,
    "Al": 660.323,
    "Bi": 271.406,
    "Cd": 321.07,
    "Cu": 1084.62,
    "Fe": 1538.0,
    "Mg": 650.0,
    "Mn": 1246.0,
    "Ni": 1455.0,
    "Pb": 327.462,
    "Sb": 630.628,
    "Si": 1414.0,
    "Sn": 231.928,
    "Zn": 419.527,
}

# J/mol at the melting point. CRC tables (S9), sourced.
FUSION_J_PER_MOL = {
    "Ag": 11300.0,
    "Al": 10710.0,
    "Bi": 11106.0,
    "Cu": 13260.0,
    "Fe": 13810.0,
    "Mg": 8480.0,
    "Mn": 12910.0,
    "Ni": 17480.0,
    "Pb": 4774.0,
    "Sb": 19790.0,
    "Si": 50210.0,
    "Sn": 7150.0,
    "Zn": 7068.0,
}


# kg/m3: rho = rho_m - k (T - T_m). (density at T_m, slope k, highest degC of the fit). CRC molten metals (S9).
_LIQUID_DENSITY = {
    "Ag": (9320.0, 0.9, 1500.0),
    "Al": (2377.0, 0.311, 917.0),
    "Bi": (10050.0, 1.35, 800.0),
    "Cu": (7997.0, 0.819, 2227.0),
    "Fe": (7035.0, 0.926, 2207.0),
    "Mg": (1584.0, 0.234, 900.0),
    "Mn": (5950.0, 1.05, 1590.0),
    "Ni": (7810.0, 0.726, 1700.0),
    "Pb": (10660.0, 1.22, 700.0),
    "Sb": (6530.0, 0.67, 745.0),
    "Si": (2570.0, 0.36, 1500.0),
    "Sn": (6979.0, 0.652, 1650.0),
    "Zn": (6570.0, 1.10, 700.0),
}

# N/m near the melting point, clean metal (memory, M2). A skin of oxide may double it, which is not counted.
SURFACE_TENSION_N_PER_M = {
    "Ag": 0.92,
    "Al": 0.90,
    "Bi": 0.38,
    "Cu": 1.30,
    "Fe": 1.80,
    "Pb": 0.45,
    "Sn": 0.55,
    "Zn": 0.78,
}


class Segment(msgspec.Struct, frozen=True):
    """One temperature range of an SGTE Gibbs energy: a + b T + c T ln T + d T2 + e T3 + f/T + g T7, J/mol, T in K."""

    top_k: float
    a: float
    b: float
    c: float
    d: float = 0.0
    e: float = 0.0
    f: float = 0.0
    g: float = 0.0

    def enthalpy(self, kelvin: float) -> float:
        """H = G - T dG/dT, J/mol."""
        return (
            self.a
            - self.c * kelvin
            - self.d * kelvin**2
            - 2.0 * self.e * kelvin**3
            + 2.0 * self.f / kelvin
            - 6.0 * self.g * kelvin**7
        )


# SGTE unary functions (A. T. Dinsdale, CALPHAD 15 (1991) 317), as in the stored databases of C1 and C2. Copper's
# solid uses T ln T, T2, T3 and 1/T only, as printed there.
_SOLID: dict[str, tuple[Segment, ...]] = {
    "Al": (
        Segment(700.0, -7976.15, 137.093038, -24.3671976, -1.884662e-3, -0.877664e-6, 74092.0),
        Segment(933.473, -11276.24, 223.048446, -38.5844296, 18.531982e-3, -5.764227e-6, 74092.0),
    ),
    "Cu": (Segment(1357.77, -7770.458, 130.485235, -24.112392, -2.65684e-3, 0.129223e-6, 52478.0),),
    "Zn": (Segment(692.677, -7285.787, 118.470069, -23.701314, -1.712034e-3, -1.264963e-6),),
}
# The liquid above the melting point; heat capacity is constant there.
_LIQUID: dict[str, Segment] = {
    "Al": Segment(2900.0, -795.991, 177.430209, -31.748192),
    "Cu": Segment(3200.0, -46.545, 173.881484, -31.38),
    "Zn": Segment(1700.0, -3620.391, 161.608594, -31.38),
}
# The undercooled liquid, as a difference from the solid below the melting point.
_LIQUID_LESS_SOLID: dict[str, Segment] = {
    "Al": Segment(933.473, 11005.045, -11.84185, 0.0, g=7.9337e-20),
    "Cu": Segment(1357.77, 12964.735, -9.511904, 0.0, g=-5.8489e-21),
    "Zn": Segment(692.677, 7157.213, -10.29299, 0.0, g=-3.5896e-19),
}


def _figure(table: dict[str, float], symbol: str, figure: str) -> float:
    value = table.get(symbol)
    if value is None:
        raise _unknown(figure, symbol, table)
    return value


def _unknown(figure: str, symbol: str, known: Iterable[str]) -> BadInput:
    told = tell("metal.no_figure", physical=figure, symbol=symbol)
    return BadInput(told, remedy=tell("error.use_one", known=", ".join(sorted(known))))


def molar_mass(symbol: str) -> float:
    """Molar mass in g/mol. Raises BadInput for an unknown symbol."""
    return _figure(MOLAR_MASS_G_PER_MOL, symbol, "molar_mass")


def fusion_kj_per_kg(symbol: str) -> float:
    """Heat of fusion at the melting point in kJ/kg. Source: CRC tables (S9). Raises BadInput."""
    return _figure(FUSION_J_PER_MOL, symbol, "fusion") / molar_mass(symbol)


def liquid_density(symbol: str, temp_c: float) -> float:
    """Density of the liquid element in kg/m3, linear in temperature. Source: CRC molten-metal equations (S9).

    Valid from the melting point to the top of the fit; below, it is the undercooled liquid of the same line, which is
    what mixing needs. Above the fit's top by more than 500 degC: OutOfRange.
    """
    fit = _LIQUID_DENSITY.get(symbol)
    if fit is None:
        raise _unknown("liquid_density", symbol, _LIQUID_DENSITY)
    at_melting, slope, top_c = fit
    if temp_c > top_c + 500.0:
        told = tell("metal.density_above", symbol=symbol, temp_c=temp_c, highest_c=top_c + 500.0)
        raise OutOfRange(told, remedy=tell("error.figure.remedy"))
    return at_melting - slope * (temp_c - MELTING_C[symbol])


def solid_enthalpy_j_per_mol(symbol: str, temp_c: float) -> float:
    """Enthalpy of the solid against itself at 25 degC, J/mol (Al, Cu, Zn). Above its melting point: OutOfRange."""
    kelvin = temp_c + KELVIN_OF_0_C
    for segment in _segments(symbol):
        if kelvin <= segment.top_k:
            return segment.enthalpy(kelvin)
    raise OutOfRange(tell("metal.not_solid", symbol=symbol, temp_c=temp_c), remedy=tell("error.figure.remedy"))


def liquid_enthalpy_j_per_mol(symbol: str, temp_c: float) -> float:
    """Enthalpy of the liquid, undercooled below its melting point, against the solid at 25 degC, J/mol."""
    kelvin = temp_c + KELVIN_OF_0_C
    if kelvin > _segments(symbol)[-1].top_k:
        return _LIQUID[symbol].enthalpy(kelvin)
    return solid_enthalpy_j_per_mol(symbol, temp_c) + _LIQUID_LESS_SOLID[symbol].enthalpy(kelvin)


def liquid_heat_capacity(symbol: str) -> float:
    """Specific heat of the liquid above its melting point, J/(kg K) (Al, Cu, Zn; SGTE)."""
    _segments(symbol)
    return -_LIQUID[symbol].c / molar_mass(symbol) * 1000.0


def _segments(symbol: str) -> tuple[Segment, ...]:
    segments = _SOLID.get(symbol)
    if segments is None:
        raise _unknown("enthalpy", symbol, _SOLID)
    return segments


def mole_fractions(weight_percent: Mapping[str, float]) -> dict[str, float]:
    """Mole fractions from weight percent (any scale: only the ratios count).

    Raises BadInput for an unknown symbol, a negative share or nothing at all.
    """
    for symbol, share in weight_percent.items():
        if not share >= 0.0:
            raise BadInput(tell("metal.share", percent=share, symbol=symbol), remedy=tell("metal.share.remedy"))
    moles = {symbol: share / molar_mass(symbol) for symbol, share in weight_percent.items()}
    total = sum(moles.values())
    if total <= 0.0:
        raise BadInput(tell("metal.no_composition"), remedy=tell("metal.no_composition.remedy"))
    return {symbol: amount / total for symbol, amount in moles.items()}
