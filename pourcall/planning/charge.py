"""How much metal a job needs and whether the pot holds it. Masses kg, sizes mm, volumes cm3.

Yield and melt loss are common practice (no source) until the shop has its own. Errors: BadSheet, OutOfRange.
"""

import math

import msgspec

from pourcall.contract.errors import OutOfRange
from pourcall.contract.message import tell
from pourcall.metal.alloys.sheet import AlloySheet

DEFAULT_YIELD = 0.6  # casting over metal poured, small sand castings (common practice, no source)
MELT_LOSS = {"zinc": 0.02, "aluminium": 0.03, "copper": 0.03, "other": 0.01}  # to dross and fume (common practice)
FILL_SHARE = 0.8  # of the pot's depth that may be filled and still carried (common practice, no source)


class MetalNeed(msgspec.Struct, frozen=True, kw_only=True):
    """What must be charged for the castings of one melt, and where it goes."""

    castings_kg: float
    gating_kg: float
    heel_kg: float
    loss_kg: float
    charge_kg: float
    poured_kg: float


def casting_kg(volume_cm3: float, sheet: AlloySheet) -> float:
    """Mass of a casting from its volume."""
    if not 0.0 < volume_cm3 <= 1e6:
        raise OutOfRange(tell("charge_plan.wrong.casting", volume_cm3=volume_cm3), remedy=tell("error.figure.remedy"))
    return volume_cm3 * sheet.need("density_solid") / 1e6


def casting_kg_from_pattern(pattern_kg: float, pattern_density_kg_per_m3: float, sheet: AlloySheet) -> float:
    """Mass of a casting from the mass of a solid pattern: the ratio of densities. Cores are not taken off."""
    if not (0.0 < pattern_kg <= 1000.0 and 10.0 <= pattern_density_kg_per_m3 <= 20000.0):
        raise OutOfRange(
            tell("charge_plan.wrong.pattern", pattern_kg=pattern_kg, density_kg_per_m3=pattern_density_kg_per_m3),
            remedy=tell("charge_plan.wrong.density.remedy"),
        )
    return pattern_kg * sheet.need("density_solid") / pattern_density_kg_per_m3


def metal_needed(
    sheet: AlloySheet,
    castings_kg: float,
    *,
    gating_kg: float | None = None,
    yield_share: float | None = None,
    heel_kg: float = 0.0,
    melt_loss: float | None = None,
) -> MetalNeed:
    """Charge for castings of this mass: gating as weighed, or from the yield; heel left in the pot; loss to dross.

    Raises OutOfRange for shares or masses that cannot be meant.
    """
    share = DEFAULT_YIELD if yield_share is None else yield_share
    loss = MELT_LOSS[sheet.family] if melt_loss is None else melt_loss
    if not (0.0 < castings_kg <= 2000.0 and 0.05 <= share <= 1.0 and 0.0 <= loss < 0.5 and 0.0 <= heel_kg <= 2000.0):
        raise OutOfRange(
            tell(
                "charge_plan.wrong.need", castings_kg=castings_kg, yield_share=share, loss_share=loss, heel_kg=heel_kg
            ),
            remedy=tell("charge_plan.wrong.need.remedy"),
        )
    if gating_kg is None:
        gates_kg = castings_kg * (1.0 / share - 1.0)
    elif 0.0 <= gating_kg <= 2000.0:
        gates_kg = gating_kg
    else:
        raise OutOfRange(tell("charge_plan.wrong.gating", gating_kg=gating_kg), remedy=tell("error.figure.remedy"))
    poured_kg = castings_kg + gates_kg
    charge_kg = (poured_kg + heel_kg) / (1.0 - loss)
    return MetalNeed(
        castings_kg=castings_kg,
        gating_kg=gates_kg,
        heel_kg=heel_kg,
        loss_kg=charge_kg - poured_kg - heel_kg,
        charge_kg=charge_kg,
        poured_kg=poured_kg,
    )


def pot_capacity_kg(sheet: AlloySheet, mouth_mm: float, depth_mm: float, fill: float = FILL_SHARE) -> float:
    """Liquid metal a cylindrical pot holds when filled to this share of its inner depth."""
    if not (0.0 < mouth_mm <= 2000.0 and 0.0 < depth_mm <= 2000.0 and 0.0 < fill <= 1.0):
        raise OutOfRange(
            tell("charge_plan.wrong.pot", mouth_mm=mouth_mm, depth_mm=depth_mm, full_share=fill),
            remedy=tell("error.figure.remedy"),
        )
    volume_m3 = math.pi * (mouth_mm / 2000.0) ** 2 * depth_mm / 1000.0
    return fill * volume_m3 * sheet.need("density_liquid")
