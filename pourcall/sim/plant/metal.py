"""What the simulated metal is. Alloys as the plant melts them, and temperature as a function of enthalpy.

Not here: pots, furnaces, time (sim.plant). The plant keeps enthalpy, because that is what is conserved; temperature
and liquid fraction follow from it by the alloy's curve (metal/heat/curve.py), which is the one of the sheet that ships.
Undercooling: aluminium 1-4 degC, zinc under 1, bronze 1-5 (memory).
"""

from dataclasses import dataclass, replace
from functools import cache

from pourcall.contract.errors import BadInput
from pourcall.contract.message import tell
from pourcall.contract.plan import AlloyFacts, HeatPoint
from pourcall.metal.alloys.sheet import load_sheets
from pourcall.metal.heat.curve import REFERENCE_C, HeatCurve, curve_of

LOWER_HALF = 0.3  # of what melts above a plateau: the share of the lower half of the range


@dataclass(frozen=True, slots=True)
class SimAlloy:
    """An alloy sheet and what a sheet does not say, such as how far the first crystal undercools."""

    facts: AlloyFacts
    undercooling_c: float  # below the liquidus before the first crystal; clean melts of ordinary grain size
    emissivity: float  # of the open, skinned surface; infrared tables, total value near the oxidised end
    curve: HeatCurve
    batch_c: float = 0.0  # this batch melts so much higher, and by so much heat: of plants with laws of their own
    latent_x: float = 1.0

    @property
    def plateau_c(self) -> float:
        """Where the eutectic melts and freezes; the solidus where there is none."""
        return self.curve.plateau_c


def reshaped(curve: HeatCurve, plateau_c: float, plateau_fraction: float) -> HeatCurve:
    """The heat of a curve, melted otherwise: this share of the metal at `plateau_c`, the rest up to the liquidus.

    The upper half of the range takes more of the latent heat than the lower, as solidification without diffusion in
    the solid does (Scheil). A plateau at the liquidus takes all of it.
    """
    range_k = curve.liquidus_c - plateau_c
    if not 0.0 <= plateau_fraction <= 1.0 or range_k < 0.0:
        raise ValueError(f"a plateau of {plateau_fraction} at {plateau_c} degC does not fit {curve.liquidus_c}")
    solid_j = curve.cp_solid * (plateau_c - REFERENCE_C)
    cp_mean = 0.5 * (curve.cp_solid + curve.cp_liquid)
    melting_j = curve.h_liquid - solid_j - cp_mean * range_k
    flat = plateau_fraction if range_k > 0.0 else 1.0
    made = [(REFERENCE_C, 0.0, 0.0), (plateau_c, solid_j, 0.0)]
    if flat > 0.0:
        made.append((plateau_c, solid_j + flat * melting_j, flat))
    if range_k > 0.0 and flat < 1.0:
        middle = flat + LOWER_HALF * (1.0 - flat)
        made.append((plateau_c + 0.5 * range_k, solid_j + 0.5 * cp_mean * range_k + middle * melting_j, middle))
    if range_k > 0.0:
        made.append((curve.liquidus_c, curve.h_liquid, 1.0))
    points = [HeatPoint(temp_c, h / 1000.0, share) for temp_c, h, share in made]
    return HeatCurve(points, curve.cp_liquid)


def sim_alloy(
    facts: AlloyFacts,
    *,
    plateau_c: float | None = None,
    plateau_fraction: float = 0.0,
    undercooling_c: float = 1.0,
    emissivity: float = 0.3,
) -> SimAlloy:
    """An alloy for the plant from any sheet; `plateau_c`: it melts otherwise than its sheet says."""
    curve = curve_of(facts)
    if plateau_c is not None:
        curve = reshaped(curve, plateau_c, plateau_fraction)
    return SimAlloy(facts, undercooling_c, emissivity, curve)


def shifted(made: SimAlloy, by_c: float) -> SimAlloy:
    """The same alloy from another batch: solidus, plateau and liquidus `by_c` higher. `facts` stay as printed."""
    return replace(made, curve=made.curve.moved(by_c))


# What the sheets do not say: (undercooling, emissivity). Undercooling: head of this file; emissivity: infrared tables.
_BEYOND_THE_SHEET: dict[str, tuple[float, float]] = {
    "za27": (1.0, 0.2),
    "za12": (1.0, 0.2),
    "alloy3": (0.7, 0.15),
    "a356": (2.0, 0.2),
    "c87300": (2.5, 0.4),
    "c85700": (1.5, 0.5),
}
ALLOY_KEYS = tuple(_BEYOND_THE_SHEET)


@cache
def alloy(key: str) -> SimAlloy:
    """One of ALLOY_KEYS, from the alloy sheet that ships. Raises BadInput for another key."""
    if key not in _BEYOND_THE_SHEET:
        told = tell("sim.unknown", simulated="alloy", typed=key)
        raise BadInput(told, remedy=tell("error.use_one", known=", ".join(ALLOY_KEYS)))
    undercooling_c, emissivity = _BEYOND_THE_SHEET[key]
    return sim_alloy(load_sheets().get(key).facts(), undercooling_c=undercooling_c, emissivity=emissivity)
