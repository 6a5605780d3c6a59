"""How likely a brass pot is too near boiling. Two temperatures with their doubt in, odds out.

The line is where zinc reaches 0.8 of its boiling pressure (pressure.py). Both it and the reading are uncertain, so the
pot is aimed so far below it that it is above with a chance of one in twenty at most, and a pour is not called at more
than one in ten (judgement, no source). Normal quantities, expanded uncertainties with k = 2 (GUM, JCGM 100:2008, 6.2).
"""

import math

import msgspec

from pourcall.contract.plan import chance_above, planned_reading_u_c
from pourcall.metal.vapour.pressure import BOILING_KNOWN_C, pot_line_c, temp_at_fraction_c

AIM_CHANCE = 0.05
_AIM_SIGMAS = 1.6449  # of a normal quantity, one in twenty lies above so many


class BoilingOdds(msgspec.Struct, frozen=True, kw_only=True):
    """Chances, 0 to 1, at one temperature of the pot."""

    line_c: float  # 0.8 of boiling
    above_line: float
    boiling: float


def keep_off_c(line_c: float) -> float:
    """How far below its line a pot is aimed, degC."""
    return _AIM_SIGMAS * math.hypot(BOILING_KNOWN_C, planned_reading_u_c(line_c)) / 2.0


def boiling_odds(weight_percent: dict[str, float], pot_c: float, pot_u_c: float | None = None) -> BoilingOdds | None:
    """The odds at a temperature of the pot; None for an alloy that does not reach the line below 1500 degC."""
    line_c = pot_line_c(weight_percent)
    if line_c is None:
        return None
    u_c = planned_reading_u_c(pot_c) if pot_u_c is None else pot_u_c
    boils_c = temp_at_fraction_c(weight_percent, 1.0)
    boiling = 0.0 if boils_c is None else chance_above(pot_c, u_c, boils_c, BOILING_KNOWN_C)
    return BoilingOdds(line_c=line_c, above_line=chance_above(pot_c, u_c, line_c, BOILING_KNOWN_C), boiling=boiling)
