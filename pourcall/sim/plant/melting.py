"""Metal of the plants that do not melt by the curve of our own sheets: heat and liquid share by laws of solidification.

In: what a sheet prints (solidus, liquidus) and a table of this module; out: a `Molten`, temperature and liquid share of
a heat. Two laws, one for each plant, so that neither melts as the tool reckons nor as the other:
  scheil     no diffusion in the solid. E. Scheil, Z. Metallkd. 34 (1942) 70
  diffused   some diffusion back into the solid, as T. W. Clyne and W. Kurz, Metall. Trans. A 12 (1981) 965, in the
             form of H. D. Brody and M. C. Flemings, Trans. AIME 236 (1966) 615
Both formulas as in W. Kurz and D. J. Fisher, Fundamentals of Solidification (from memory).
Specific and latent heats are of handbooks (K. C. Mills, Recommended Values of Thermophysical Properties for Selected
Commercial Alloys, 2002; Smithells Metals Reference Book), from memory and rounded; no figure is of our sheets. Melting
points of the solvent, distribution coefficients and last-liquid temperatures are of the binary diagrams, from memory.
"""

from bisect import bisect_right
from collections.abc import Callable, Sequence
from typing import NamedTuple

from pourcall.contract.plan import AlloyFacts
from pourcall.metal.alloys.sheet import load_sheets

ZERO_HEAT_C = 25.0
PATH_POINTS = 24  # of the freezing path; a straight line between two of them is within 1 % of the latent heat


class Solvent(NamedTuple):
    """Of one alloy: melting point of the solvent and last liquid, degC; distribution coefficient; specific heats of
    the solid at 25 degC, its rise for each K, and of the liquid, J/(kg K); latent heat, kJ/kg; emissivity of the skin;
    conductivity of the liquid, W/(m K)."""

    pure_c: float
    last_c: float
    k: float
    cp_solid: float
    cp_rise: float
    cp_liquid: float
    latent_kj_per_kg: float
    emissivity: float
    w_per_m_k: float


# Aluminium-silicon: eutectic 577, depressed to about 574 as it freezes. Zinc-aluminium: 381; k of the aluminium-rich
# branch is fitted to the share of eutectic in the diagram. Copper: peritectics of Cu-Si, Cu-Zn and Cu-Sn.
SOLVENTS: dict[str, Solvent] = {
    "alloy3": Solvent(419.5, 380.5, 0.20, 385.0, 0.22, 500.0, 113.0, 0.12, 50.0),
    "za12": Solvent(660.0, 380.5, 0.74, 430.0, 0.35, 560.0, 132.0, 0.15, 55.0),
    "za27": Solvent(660.0, 380.0, 0.74, 520.0, 0.60, 640.0, 178.0, 0.18, 62.0),
    "a356": Solvent(660.3, 574.0, 0.13, 880.0, 0.42, 1160.0, 425.0, 0.14, 65.0),
    "413": Solvent(660.3, 574.0, 0.13, 860.0, 0.40, 1190.0, 480.0, 0.14, 66.0),
    "319": Solvent(660.3, 522.0, 0.15, 870.0, 0.42, 1140.0, 405.0, 0.15, 65.0),
    "c87300": Solvent(1084.6, 846.0, 0.60, 380.0, 0.13, 520.0, 150.0, 0.45, 60.0),
    "c85700": Solvent(1084.6, 899.0, 0.84, 377.0, 0.14, 490.0, 160.0, 0.55, 70.0),
    "c90300": Solvent(1084.6, 799.0, 0.36, 376.0, 0.12, 480.0, 175.0, 0.40, 60.0),
    "c95400": Solvent(1084.6, 1027.0, 0.88, 420.0, 0.18, 600.0, 220.0, 0.35, 65.0),
}


class Molten(NamedTuple):
    """Heat (J/kg above the solid at 25 degC), temperature and share liquid, point by point up to the liquidus."""

    heats: tuple[float, ...]
    temps: tuple[float, ...]
    shares: tuple[float, ...]
    liquidus_c: float
    h_liquid: float
    cp_liquid: float
    latent_j_per_kg: float
    last_c: float
    emissivity: float
    w_per_m_k: float

    def temp_c(self, h: float) -> float:
        """Temperature at a heat."""
        if h >= self.h_liquid:
            return self.liquidus_c + (h - self.h_liquid) / self.cp_liquid
        heats, temps = self.heats, self.temps
        at = max(0, bisect_right(heats, h) - 1)
        return temps[at] + (h - heats[at]) * (temps[at + 1] - temps[at]) / (heats[at + 1] - heats[at])

    def liquid(self, h: float) -> float:
        """Share that is liquid."""
        if h >= self.h_liquid:
            return 1.0
        heats, shares = self.heats, self.shares
        at = max(0, bisect_right(heats, h) - 1)
        if shares[at + 1] == 0.0:
            return 0.0
        return shares[at] + (h - heats[at]) * (shares[at + 1] - shares[at]) / (heats[at + 1] - heats[at])

    def heat(self, temp_c: float) -> float:
        """Heat at a temperature; of a eutectic that of its more solid end."""
        if temp_c >= self.liquidus_c:
            return self.h_liquid + (temp_c - self.liquidus_c) * self.cp_liquid
        temps, heats = self.temps, self.heats
        at = max(0, min(bisect_right(temps, temp_c) - 1, len(temps) - 2))
        while at > 0 and temps[at] >= temp_c and temps[at - 1] >= temp_c:
            at -= 1
        if temps[at + 1] <= temps[at]:
            return heats[at]
        return heats[at] + (temp_c - temps[at]) * (heats[at + 1] - heats[at]) / (temps[at + 1] - temps[at])


def scheil_c(solid: float, *, pure_c: float, liquidus_c: float, k: float) -> float:
    """Temperature of the liquid left when this share is solid, with no diffusion in the solid (Scheil 1942)."""
    below_c: float = (pure_c - liquidus_c) * (1.0 - solid) ** (k - 1.0)
    return pure_c - below_c


def diffused_c(solid: float, *, pure_c: float, liquidus_c: float, k: float, alpha: float) -> float:
    """The same with diffusion back into the solid: alpha 0 is Scheil, 0.5 the lever rule (Brody and Flemings 1966)."""
    u = 1.0 - 2.0 * alpha * k
    below_c: float = (pure_c - liquidus_c) * (1.0 - u * solid) ** ((k - 1.0) / u)
    return pure_c - below_c


def melted_by_scheil(facts: AlloyFacts, *, by_c: float = 0.0, latent_x: float = 1.0) -> Molten:
    """An alloy of SOLVENTS that melts by Scheil's law. by_c: this batch melts so much higher."""
    of, liquidus_c = SOLVENTS[facts.key], facts.liquidus_c + by_c
    pure_c = of.pure_c + by_c
    return _path(of, liquidus_c, by_c, latent_x, lambda s: scheil_c(s, pure_c=pure_c, liquidus_c=liquidus_c, k=of.k))


def melted_diffused(facts: AlloyFacts, *, alpha: float, by_c: float = 0.0, latent_x: float = 1.0) -> Molten:
    """An alloy of SOLVENTS that melts with diffusion back into the solid."""
    of, liquidus_c = SOLVENTS[facts.key], facts.liquidus_c + by_c
    pure_c = of.pure_c + by_c

    def at(solid: float) -> float:
        return diffused_c(solid, pure_c=pure_c, liquidus_c=liquidus_c, k=of.k, alpha=alpha)

    return _path(of, liquidus_c, by_c, latent_x, at)


def _path(of: Solvent, liquidus_c: float, by_c: float, latent_x: float, law: Callable[[float], float]) -> Molten:
    """The points of a freezing path: along the law down to the last liquid, which freezes at one temperature."""
    last_c = min(of.last_c + by_c, liquidus_c - 0.5)
    low, high = 0.0, 1.0 - 1e-9
    for _ in range(60):  # the share solid when the last liquid's temperature is reached
        middle = 0.5 * (low + high)
        low, high = (middle, high) if law(middle) > last_c else (low, middle)
    end = low
    solids = [end * n / PATH_POINTS for n in range(PATH_POINTS + 1)]
    latent = of.latent_kj_per_kg * 1000.0 * latent_x
    below: list[tuple[float, float]] = [
        (c, of.cp_solid * (c - ZERO_HEAT_C) + 0.5 * of.cp_rise * (c - ZERO_HEAT_C) ** 2)
        for c in (ZERO_HEAT_C + (last_c - ZERO_HEAT_C) * n / 10.0 for n in range(11))
    ]
    temps, heats, shares = [c for c, _ in below], [h for _, h in below], [0.0] * len(below)
    h, was_c, was_solid = heats[-1], last_c, 1.0
    for solid in reversed(solids):
        temp_c = max(law(solid), was_c)
        cp_solid = of.cp_solid + of.cp_rise * (temp_c - ZERO_HEAT_C)
        mean_cp = was_solid * cp_solid + (1.0 - was_solid) * of.cp_liquid
        h += (was_solid - solid) * latent + mean_cp * (temp_c - was_c)
        was_c, was_solid = temp_c, solid
        temps.append(temp_c)
        heats.append(h)
        shares.append(1.0 - solid)
    return Molten(
        *_rising(heats, temps, shares),
        liquidus_c=temps[-1],
        h_liquid=h,
        cp_liquid=of.cp_liquid,
        latent_j_per_kg=latent,
        last_c=last_c,
        emissivity=of.emissivity,
        w_per_m_k=of.w_per_m_k,
    )


def _rising(
    heats: Sequence[float], temps: Sequence[float], shares: Sequence[float]
) -> tuple[tuple[float, ...], tuple[float, ...], tuple[float, ...]]:
    """The points without those that add no heat."""
    kept = [0]
    for at in range(1, len(heats)):
        if heats[at] > heats[kept[-1]] + 1e-6:
            kept.append(at)
    return tuple(heats[at] for at in kept), tuple(temps[at] for at in kept), tuple(shares[at] for at in kept)


def facts_of(key: str) -> AlloyFacts:
    """The sheet a caster would plan by."""
    return load_sheets().get(key).facts()
