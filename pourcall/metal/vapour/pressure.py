"""The pressure of zinc over a melt, and where an alloy would boil.

In: composition in weight percent and degC. Out: Pa, shares of boiling, degC. Not here: activity (activity.py), how fast
it leaves (fume.py). Source: zinc third-law line computed from the SGTE liquid and the CODATA gas (C1, C5). Everything
is quoted to a factor of ten once it becomes a fume; the pressures themselves are good to some 10 %, and a temperature
of boiling to +-40 degC: trade practice has brass boil 20 to 40 degC below what is computed (memory).
"""

import math
from collections.abc import Mapping

from pourcall.contract.errors import OutOfRange
from pourcall.contract.message import tell
from pourcall.metal.alloys.elements import KELVIN_OF_0_C, MELTING_C, STANDARD_ATMOSPHERE_PA
from pourcall.metal.vapour.activity import zinc_activity

LOWEST_C, HIGHEST_C = 100.0, 1500.0
POT_FRACTION_OF_BOILING = 0.8  # a pot of zinc-bearing copper alloy is never to pass this share of an atmosphere
BOILING_KNOWN_C = 40.0  # expanded uncertainty of a temperature at which a share of boiling is reached


def zinc_pressure_pa(temp_c: float) -> float:
    """Vapour pressure of pure liquid zinc, third-law form, in pascal; of the solid below the melting point.

    Liquid: log10(p/Pa) = 14.57866 - 6676.66/T - 1.27416 log10 T, computed for 692.68-1500 K (within 0.5 degC of the
    published boiling point); from 1227 degC to 1500 degC it is extrapolated, which its heat-capacity term bears within
    a few per cent. Solid: the four-term line of Alcock, Itkin and Horrigan 1984 (S9). Outside 100-1500 degC OutOfRange.
    """
    if not LOWEST_C <= temp_c <= HIGHEST_C:
        told = tell("metal.zinc_pressure", temp_c=temp_c, least_c=LOWEST_C, most_c=HIGHEST_C)
        raise OutOfRange(told, remedy=tell("error.figure.remedy"))
    if temp_c < MELTING_C["Zn"]:
        return alcock_solid_pa(temp_c)
    kelvin = temp_c + KELVIN_OF_0_C
    return math.pow(10.0, 14.57866 - 6676.66 / kelvin - 1.27416 * math.log10(kelvin))


def alcock_solid_pa(temp_c: float) -> float:
    """Solid zinc, four-term line, Pa; 298-692.68 K. Source: Alcock, Itkin and Horrigan 1984, in CRC tables (S9)."""
    kelvin = temp_c + KELVIN_OF_0_C
    return math.exp(30.94839 - 15940.80 / kelvin - 0.7523 * math.log(kelvin))


def alcock_liquid_pa(temp_c: float) -> float:
    """Liquid zinc, two-term line, Pa: a witness only, 692.68-750 K; beyond, it is up to 28 % high (no curvature)."""
    kelvin = temp_c + KELVIN_OF_0_C
    return STANDARD_ATMOSPHERE_PA * math.pow(10.0, 5.378 - 6286.0 / kelvin)


def zinc_pressure_over_pa(weight_percent: Mapping[str, float], temp_c: float) -> float:
    """Partial pressure of zinc over a melt, Pa. Raises OutOfRange outside 100-1500 degC."""
    activity = zinc_activity(weight_percent, temp_c)
    return activity * zinc_pressure_pa(temp_c) if activity > 0.0 else 0.0


def boiling_fraction(weight_percent: Mapping[str, float], temp_c: float) -> float:
    """Zinc pressure as a share of one atmosphere: 1 is boiling, 0.8 flares."""
    return zinc_pressure_over_pa(weight_percent, temp_c) / STANDARD_ATMOSPHERE_PA


def temp_at_fraction_c(weight_percent: Mapping[str, float], fraction: float) -> float | None:
    """Temperature at which the zinc pressure is `fraction` of an atmosphere, degC; None where it is above 1500 degC.

    Found by bisection: the pressure only rises with temperature.
    """
    if not fraction > 0.0:
        raise OutOfRange(tell("metal.no_fraction", fraction=fraction), remedy=tell("metal.above_0.remedy"))
    target_pa = fraction * STANDARD_ATMOSPHERE_PA

    def over_pa(temp_c: float) -> float:
        return zinc_pressure_over_pa(weight_percent, temp_c)

    low_c, high_c = LOWEST_C, HIGHEST_C
    if over_pa(high_c) < target_pa:
        return None
    if over_pa(low_c) >= target_pa:
        return low_c
    for _ in range(45):
        middle_c = 0.5 * (low_c + high_c)
        if over_pa(middle_c) < target_pa:
            low_c = middle_c
        else:
            high_c = middle_c
    return 0.5 * (low_c + high_c)


def pot_line_c(weight_percent: Mapping[str, float]) -> float | None:
    """The limit of a zinc-bearing pot: 0.8 of boiling, in whole degC as the sheets state it, rounded down; else None.

    One figure wherever it is meant, so that it is printed as one in every unit.
    """
    line_c = temp_at_fraction_c(weight_percent, POT_FRACTION_OF_BOILING)
    return None if line_c is None else float(math.floor(line_c))
