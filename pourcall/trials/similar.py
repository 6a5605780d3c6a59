"""How alike two mould setups are. Section, material and the sheet's windows in; how far apart they may lie out.

Temperatures in degC. Not here: what pours of a similar setup say (borrow.py).
"""

import math

import msgspec

from pourcall.contract.errors import PourcallError
from pourcall.contract.plan import MouldPlan
from pourcall.metal.alloys.sheet import AlloySheet
from pourcall.metal.windows import MATERIAL_SHIFT, USUAL_MATERIAL, pour_window
from pourcall.records.read.views import SetupView

# How many times as far as a setup exactly like it the thresholds of another may lie (all judgement).
SECTION_LIKENESS = 0.4  # sections that differ by this in their natural logarithm: twice as far
OTHER_MATERIAL = 1.0  # so much further
UNKNOWN_SECTION = 1.0
MOST_APART = 3.0  # beyond it tells nothing that the sheet does not


class Known(msgspec.Struct, frozen=True):
    """Section and material of a setup: as it is described now, else as it was planned last."""

    thinnest_mm: float | None
    material: str


def known(described: SetupView | None, planned: MouldPlan | None) -> Known:
    """What is known of a setup: the description goes before the plan."""
    thinnest_mm = None if described is None else described.thinnest_mm
    material = "" if described is None else described.material
    if planned is not None:
        thinnest_mm = planned.thinnest_mm if thinnest_mm is None else thinnest_mm
        material = material or planned.material
    return Known(thinnest_mm, material)


def likeness_of(
    sheet: AlloySheet, thinnest_mm: float | None, material: str, middle_c: float, other: Known
) -> tuple[float, float]:
    """How much further apart than a setup exactly like it, and by how much its temperatures are moved."""
    apart = 1.0
    if thinnest_mm is None or other.thinnest_mm is None:
        apart += UNKNOWN_SECTION
    else:
        apart += (math.log(thinnest_mm / other.thinnest_mm) / SECTION_LIKENESS) ** 2
    if other.material != material:
        apart += OTHER_MATERIAL
    try:
        known = other.material if other.material in MATERIAL_SHIFT else USUAL_MATERIAL
        window = pour_window(sheet, thinnest_mm=other.thinnest_mm, material=known)
    except PourcallError:
        return apart + UNKNOWN_SECTION, 0.0
    return apart, middle_c - 0.5 * (window.min_c + window.max_c)
