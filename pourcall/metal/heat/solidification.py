"""How long a section stays liquid in sand, and whether a riser outlasts it. Chvorinov's rule, +-50 %.

t = B (V/A)^2; B from metal and mould where it is not known from a trial. Moduli in mm, times in s. Also hydrogen in
aluminium, which decides how hot and how long one dares. Errors: OutOfRange.
"""

import math

from pourcall.contract.errors import OutOfRange
from pourcall.contract.message import Message, tell
from pourcall.metal.alloys.elements import KELVIN_OF_0_C
from pourcall.metal.alloys.sheet import AlloySheet

DRY_SAND = 0.61 * 1600.0 * 1050.0  # k rho c of dry silica sand, W2 s/(m4 K2) (memory); moist green sand up to double
RISER_RATIO = 1.2  # modulus of the riser over that of the section it feeds, 1.1-1.2 (foundry textbooks, memory)
HYDROGEN_BESIDE_C = 700.0  # an ordinary temperature of liquid aluminium, to compare with
HYDROGEN_IN_SOLID_ML_PER_100G = 0.045  # what solid aluminium holds at its melting point, 0.04-0.05 (memory)


def chvorinov_b_s_per_m2(
    density_kg_per_m3: float,
    latent_j_per_kg: float,
    cp_liquid: float,
    superheat_c: float,
    freezing_c: float,
    mould_c: float = 25.0,
    mould_k_rho_c: float = DRY_SAND,
) -> float:
    """B = (pi/4) [rho (H + c dT)/(T_f - T_0)]^2/(k rho c), s/m2; thick sand, one-dimensional."""
    if not (density_kg_per_m3 > 0.0 and freezing_c > mould_c and mould_k_rho_c > 0.0 and superheat_c >= 0.0):
        told = tell("metal.freezes_not", freezing_c=freezing_c, mould_c=mould_c)
        raise OutOfRange(told, remedy=tell("metal.no_freezing.remedy"))
    per_degree = density_kg_per_m3 * (latent_j_per_kg + cp_liquid * superheat_c) / (freezing_c - mould_c)
    return math.pi / 4.0 * per_degree**2 / mould_k_rho_c


def solidification_s(modulus_mm: float, b_s_per_m2: float) -> float:
    """Chvorinov's time, s."""
    _check_modulus(modulus_mm)
    return b_s_per_m2 * (modulus_mm / 1000.0) ** 2


def sheet_b_s_per_m2(sheet: AlloySheet, lip_c: float) -> float:
    """B of an alloy poured at `lip_c` into dry sand; the freezing point taken midway between liquidus and solidus."""
    middle_c = 0.5 * (sheet.liquidus.value + sheet.solidus.value)
    superheat_c = max(0.0, lip_c - sheet.liquidus.value)
    curve = sheet.curve
    return chvorinov_b_s_per_m2(
        sheet.need("density_liquid"), 1000.0 * curve.latent_kj_per_kg, curve.cp_liquid, superheat_c, middle_c
    )


def plate_modulus_mm(thickness_mm: float) -> float:
    """A wide plate: half its thickness."""
    _check_modulus(thickness_mm)
    return thickness_mm / 2.0


def cylinder_modulus_mm(diameter_mm: float, height_mm: float) -> float:
    """Volume over whole surface of a cylinder."""
    _check_modulus(diameter_mm)
    _check_modulus(height_mm)
    return diameter_mm * height_mm / (4.0 * height_mm + 2.0 * diameter_mm)


def riser_diameter_mm(section_modulus_mm: float) -> float:
    """Diameter of a riser as high as wide that just outlasts the section: its modulus is a sixth of its diameter."""
    _check_modulus(section_modulus_mm)
    return 6.0 * RISER_RATIO * section_modulus_mm


def hydrogen_ml_per_100g(temp_c: float, pressure_atm: float = 1.0) -> float:
    """Hydrogen that liquid aluminium can hold, mL/100 g: log10 S = 2.72 - 2700/T, times the root of its pressure.

    Source: Talbot and Anyalebechi, Mater. Sci. Technol. 4 (1988) 1. Other assessments differ by 30-60 %. Raises
    OutOfRange outside the liquid, 640-1000 degC.
    """
    if not (640.0 <= temp_c <= 1000.0 and pressure_atm >= 0.0):
        told = tell("metal.hydrogen", temp_c=temp_c, least_c=640.0, most_c=1000.0)
        raise OutOfRange(told, remedy=tell("error.figure.remedy"))
    return math.pow(10.0, 2.72 - 2700.0 / (temp_c + KELVIN_OF_0_C)) * math.sqrt(pressure_atm)


def hydrogen_told(temp_c: float) -> Message:
    """What hydrogen means at a temperature, against 700 degC."""
    here = hydrogen_ml_per_100g(temp_c)
    return tell(
        "alloy.hydrogen",
        temp_c=temp_c,
        times=here / hydrogen_ml_per_100g(HYDROGEN_BESIDE_C),
        beside_c=HYDROGEN_BESIDE_C,
        over=here / HYDROGEN_IN_SOLID_ML_PER_100G,
    )


def _check_modulus(modulus_mm: float) -> None:
    if not 0.0 < modulus_mm <= 5000.0:
        raise OutOfRange(tell("metal.size", size_mm=modulus_mm), remedy=tell("metal.size.remedy"))
