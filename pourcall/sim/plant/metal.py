"""What the simulated metal is. Alloys as the plant melts them, and temperature as a function of enthalpy.

Not here: pots, furnaces, time (sim.plant). The plant keeps enthalpy, because that is what is conserved; temperature
and liquid fraction follow from it. Reference state: solid at 25 degC has no enthalpy.
Figures of the alloys are those of the sheets that ship (pourcall/metal/alloys/sheets). The share of liquid left when
the eutectic arrives is computed from the binary phase diagrams by moles (Zn-4Al 72 %, Zn-11Al 46 %, Al-7Si 50 %,
Zn-27Al none, of which a real casting keeps a little); undercooling: aluminium 1-4 degC, zinc under 1, bronze 1-5
(memory).
"""

from dataclasses import dataclass, replace
from functools import cache

import msgspec

from pourcall.contract.errors import BadInput
from pourcall.contract.plan import AlloyFacts
from pourcall.metal.alloys.sheet import load_sheets

REFERENCE_C = 25.0


@dataclass(frozen=True, slots=True)
class SimAlloy:
    """An alloy sheet and what a sheet does not say: how the last liquid freezes, and how far the first undercools."""

    facts: AlloyFacts
    plateau_c: float  # where the eutectic melts and freezes; the solidus where there is none
    plateau_fraction: float  # share of the metal that melts there at one temperature
    undercooling_c: float  # below the liquidus before the first crystal; clean melts of ordinary grain size
    emissivity: float  # of the open, skinned surface; infrared tables, total value near the oxidised end
    curve: "MeltCurve"


class MeltCurve:
    """Temperature and liquid fraction from specific enthalpy, in five straight pieces.

    solid | eutectic plateau | lower and upper half of the freezing range | liquid. The upper half of the range gives
    up more of the latent heat than the lower, as solidification without diffusion in the solid does (Scheil).
    """

    __slots__ = (
        "_f_mid",
        "_f_plateau",
        "_h_mid",
        "_h_plateau_end",
        "_h_solid",
        "_k_lower",
        "_k_solid",
        "_k_upper",
        "_t_mid",
        "cp_liquid",
        "h_liquid",
        "k_liquid",
        "liquidus_c",
        "plateau_c",
    )

    def __init__(self, facts: AlloyFacts, plateau_c: float, plateau_fraction: float) -> None:
        """`plateau_fraction` 0..1. A pure metal or eutectic (plateau at the liquidus) melts wholly on the plateau."""
        latent_j = facts.latent_kj_per_kg * 1000.0
        cp_solid, cp_liquid = facts.cp_solid_j_per_kg_k, facts.cp_liquid_j_per_kg_k
        cp_mean = 0.5 * (cp_solid + cp_liquid)
        range_k = facts.liquidus_c - plateau_c
        if not 0.0 <= plateau_fraction <= 1.0 or range_k < 0.0:
            raise ValueError(f"{facts.key}: plateau {plateau_c} degC, {plateau_fraction} does not fit its liquidus")
        f_plateau = plateau_fraction if range_k > 0.0 else 1.0
        f_mid = f_plateau + 0.3 * (1.0 - f_plateau)
        self.plateau_c, self.liquidus_c, self.cp_liquid = plateau_c, facts.liquidus_c, cp_liquid
        self._t_mid = plateau_c + 0.5 * range_k
        self._f_plateau, self._f_mid = f_plateau, f_mid
        self._h_solid = cp_solid * (plateau_c - REFERENCE_C)
        self._h_plateau_end = self._h_solid + f_plateau * latent_j
        lower_j = cp_mean * 0.5 * range_k + (f_mid - f_plateau) * latent_j
        upper_j = cp_mean * 0.5 * range_k + (1.0 - f_mid) * latent_j
        self._h_mid = self._h_plateau_end + lower_j
        self.h_liquid = self._h_mid + upper_j
        self._k_solid, self.k_liquid = 1.0 / cp_solid, 1.0 / cp_liquid
        self._k_lower = 1.0 / lower_j if lower_j else 0.0
        self._k_upper = 1.0 / upper_j if upper_j else 0.0

    def state(self, h_j_per_kg: float) -> tuple[float, float]:
        """(temperature in degC, liquid fraction 0..1) in equilibrium at this specific enthalpy."""
        if h_j_per_kg >= self.h_liquid:
            return self.liquidus_c + (h_j_per_kg - self.h_liquid) * self.k_liquid, 1.0
        if h_j_per_kg <= self._h_solid:
            return REFERENCE_C + h_j_per_kg * self._k_solid, 0.0
        if h_j_per_kg <= self._h_plateau_end:
            share = (h_j_per_kg - self._h_solid) / (self._h_plateau_end - self._h_solid)
            return self.plateau_c, share * self._f_plateau
        if h_j_per_kg <= self._h_mid:
            share = (h_j_per_kg - self._h_plateau_end) * self._k_lower
            t_c = self.plateau_c + share * (self._t_mid - self.plateau_c)
            return t_c, self._f_plateau + share * (self._f_mid - self._f_plateau)
        share = (h_j_per_kg - self._h_mid) * self._k_upper
        return self._t_mid + share * (self.liquidus_c - self._t_mid), self._f_mid + share * (1.0 - self._f_mid)

    def enthalpy(self, temp_c: float) -> float:
        """Specific enthalpy in J/kg at a temperature; on the plateau itself, that of the solid."""
        if temp_c <= self.plateau_c:
            return (temp_c - REFERENCE_C) / self._k_solid
        if temp_c >= self.liquidus_c:
            return self.h_liquid + (temp_c - self.liquidus_c) / self.k_liquid
        if temp_c <= self._t_mid:
            share = (temp_c - self.plateau_c) / (self._t_mid - self.plateau_c)
            return self._h_plateau_end + share / self._k_lower
        share = (temp_c - self._t_mid) / (self.liquidus_c - self._t_mid)
        return self._h_mid + share / self._k_upper


def sim_alloy(
    facts: AlloyFacts,
    *,
    plateau_c: float | None = None,
    plateau_fraction: float = 0.0,
    undercooling_c: float = 1.0,
    emissivity: float = 0.3,
) -> SimAlloy:
    """An alloy for the plant from any sheet. Without a plateau the whole latent heat lies in the freezing range."""
    at_c = plateau_c if plateau_c is not None else (facts.eutectic_c or facts.solidus_c)
    curve = MeltCurve(facts, at_c, plateau_fraction)
    return SimAlloy(facts, at_c, plateau_fraction, undercooling_c, emissivity, curve)


def shifted(made: SimAlloy, by_c: float) -> SimAlloy:
    """The same alloy from another batch: solidus, plateau and liquidus `by_c` higher. `facts` stay as printed."""
    facts = made.facts
    moved = msgspec.structs.replace(facts, solidus_c=facts.solidus_c + by_c, liquidus_c=facts.liquidus_c + by_c)
    plateau_c = made.plateau_c + by_c
    return replace(made, plateau_c=plateau_c, curve=MeltCurve(moved, plateau_c, made.plateau_fraction))


# What the sheets do not say: (plateau_c or None for the sheet's own eutectic or solidus, share of the metal that
# freezes there, undercooling, emissivity). Shares and undercooling: head of this file; emissivity: infrared tables.
_BEYOND_THE_SHEET: dict[str, tuple[float | None, float, float, float]] = {
    "za27": (None, 0.04, 1.0, 0.2),
    "za12": (None, 0.46, 1.0, 0.2),
    "alloy3": (None, 0.72, 0.7, 0.15),
    "a356": (572.0, 0.5, 2.0, 0.2),  # growth plateau 570-577, below it when modified
    "c87300": (None, 0.0, 2.5, 0.4),
    "c85700": (None, 0.0, 1.5, 0.5),
}
ALLOY_KEYS = tuple(_BEYOND_THE_SHEET)


@cache
def alloy(key: str) -> SimAlloy:
    """One of ALLOY_KEYS, from the alloy sheet that ships. Raises BadInput for another key."""
    if key not in _BEYOND_THE_SHEET:
        raise BadInput(f"the simulator does not melt {key!r}", remedy=f"Use one of {', '.join(ALLOY_KEYS)}")
    plateau_c, fraction, undercooling_c, emissivity = _BEYOND_THE_SHEET[key]
    return sim_alloy(
        load_sheets().get(key).facts(),
        plateau_c=plateau_c,
        plateau_fraction=fraction,
        undercooling_c=undercooling_c,
        emissivity=emissivity,
    )
