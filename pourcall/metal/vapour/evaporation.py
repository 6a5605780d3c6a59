"""How fast zinc leaves a bath at one atmosphere. A surface and its pressure in, grams a minute out.

Boundary layer over a hot disc facing up (McAdams; Incropera and DeWitt: memory), diffusion of zinc in air by
Chapman-Enskog (Svehla, NASA TR R-132: memory), Stefan flow for high pressures. The vacuum ceiling of Hertz, Knudsen
and Langmuir is 4000 times higher and is here only to be compared with. Accuracy: a factor of ten; one thermobalance
study of brass (Wilk et al., Materials 16 (2023) 5178, in helium with flow) lies 17 times above this model.
Neglected: draught, furnace gas (2-5 times more), oxygen that reacts inside the boundary layer of flaring brass (more).
"""

import math

from pourcall.contract.errors import OutOfRange
from pourcall.contract.message import tell
from pourcall.metal.alloys.elements import (
    GAS_CONSTANT_J_PER_MOL_K,
    GRAVITY_M_PER_S2,
    KELVIN_OF_0_C,
    MOLAR_MASS_G_PER_MOL,
    STANDARD_ATMOSPHERE_PA,
)

ZINC_OXIDE_PER_ZINC = 1.0 + MOLAR_MASS_G_PER_MOL["O"] / MOLAR_MASS_G_PER_MOL["Zn"]  # by mass
AIR_G_PER_MOL = 28.965
_SIGMA_ZN_A, _EPS_ZN_K = 2.284, 1393.0
_SIGMA_AIR_A, _EPS_AIR_K = 3.711, 78.6
_MOST_FRACTION = 0.99  # of an atmosphere; at 1 the bath boils and the formula has no answer


def diffusivity_zn_air_m2_per_s(film_k: float) -> float:
    """Zinc vapour in air at 1 atm, m2/s, by Chapman-Enskog with Neufeld's collision integral."""
    sigma_a = 0.5 * (_SIGMA_ZN_A + _SIGMA_AIR_A)
    reduced = film_k / math.sqrt(_EPS_ZN_K * _EPS_AIR_K)
    omega = (
        1.06036 / math.pow(reduced, 0.1561)
        + 0.193 / math.exp(0.47635 * reduced)
        + 1.03587 / math.exp(1.52996 * reduced)
        + 1.76474 / math.exp(3.89411 * reduced)
    )
    masses = 1.0 / MOLAR_MASS_G_PER_MOL["Zn"] + 1.0 / AIR_G_PER_MOL
    return 1.8583e-7 * math.sqrt(film_k**3 * masses) / (sigma_a**2 * omega)


def kinematic_viscosity_air_m2_per_s(film_k: float) -> float:
    """Air at 1 atm, m2/s: Sutherland viscosity over ideal-gas density."""
    viscosity = 1.716e-5 * math.pow(film_k / 273.15, 1.5) * (273.15 + 110.4) / (film_k + 110.4)
    return viscosity * GAS_CONSTANT_J_PER_MOL_K * film_k / (STANDARD_ATMOSPHERE_PA * AIR_G_PER_MOL / 1000.0)


def mass_transfer_m_per_s(surface_c: float, mouth_mm: float, air_c: float = 25.0) -> float:
    """Coefficient k_g = Sh D/L of a hot disc facing up, m/s. Raises OutOfRange for a surface no hotter than the air."""
    if not 1.0 <= mouth_mm <= 2000.0:
        raise OutOfRange(tell("metal.mouth", mouth_mm=mouth_mm), remedy=tell("metal.mouth.remedy"))
    if not surface_c > air_c:
        told = tell("metal.no_draught", surface_c=surface_c, air_c=air_c)
        raise OutOfRange(told, remedy=tell("error.figure.remedy"))
    surface_k, air_k = surface_c + KELVIN_OF_0_C, air_c + KELVIN_OF_0_C
    film_k = 0.5 * (surface_k + air_k)
    length_m = mouth_mm / 4000.0  # area over perimeter
    diffusivity, viscosity = diffusivity_zn_air_m2_per_s(film_k), kinematic_viscosity_air_m2_per_s(film_k)
    grashof = GRAVITY_M_PER_S2 * (surface_k - air_k) / film_k * length_m**3 / viscosity**2
    rayleigh = grashof * viscosity / diffusivity
    sherwood = 0.54 * math.pow(rayleigh, 0.25) if rayleigh < 1e7 else 0.15 * math.pow(rayleigh, 1.0 / 3.0)
    return max(1.0, sherwood) * diffusivity / length_m


def bare_flux_kg_per_m2_s(
    pressure_pa: float, surface_c: float, mouth_mm: float, air_c: float = 25.0, symbol: str = "Zn"
) -> float:
    """Metal leaving a bare surface at 1 atm, kg/(m2 s). At boiling it is cut at 0.99 of an atmosphere.

    Another metal than zinc diffuses like zinc but for its mass: well inside the factor of ten.
    """
    if pressure_pa <= 0.0:
        return 0.0
    film_k = 0.5 * (surface_c + air_c) + KELVIN_OF_0_C
    fraction = min(pressure_pa / STANDARD_ATMOSPHERE_PA, _MOST_FRACTION)
    stefan = -math.log1p(-fraction) / fraction
    concentration = fraction * STANDARD_ATMOSPHERE_PA / (GAS_CONSTANT_J_PER_MOL_K * film_k)
    kg_per_mol = MOLAR_MASS_G_PER_MOL[symbol] / 1000.0
    return mass_transfer_m_per_s(surface_c, mouth_mm, air_c) * concentration * stefan * kg_per_mol


def bare_lead_g_per_min(pressure_pa: float, surface_c: float, mouth_mm: float, air_c: float = 25.0) -> float:
    """Lead leaving a bare round bath, g/min, to a factor of ten."""
    area_m2 = math.pi * (mouth_mm / 2000.0) ** 2
    return bare_flux_kg_per_m2_s(pressure_pa, surface_c, mouth_mm, air_c, "Pb") * area_m2 * 60000.0


def bare_zinc_g_per_min(pressure_pa: float, surface_c: float, mouth_mm: float, air_c: float = 25.0) -> float:
    """Zinc leaving a bare round bath, g/min, to a factor of ten."""
    area_m2 = math.pi * (mouth_mm / 2000.0) ** 2
    return bare_flux_kg_per_m2_s(pressure_pa, surface_c, mouth_mm, air_c) * area_m2 * 60000.0
