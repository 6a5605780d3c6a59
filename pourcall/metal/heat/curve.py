"""The one enthalpy curve of an alloy: temperature to heat in J/kg and back, and how much of it is liquid.

In: points of a sheet (degC, kJ/kg above the solid at 25 degC, share liquid), or the three plain figures of a sheet
that has no more. Energy, forecast, arrests, filling and the simulated plant all read this object, so that a figure of
the metal is one figure. Straight between its points, never falling, its own inverse. Pure and cheap: no file, no sheet.
"""

from bisect import bisect_right
from collections.abc import Sequence
from itertools import pairwise

from pourcall.contract.errors import BadInput
from pourcall.contract.message import Message, tell
from pourcall.contract.plan import AlloyFacts, HeatPoint

REFERENCE_C = 25.0  # solid at this temperature has no enthalpy
EUTECTIC_RANGE_K = (
    100.0  # an alloy with its arrest so far below the liquidus keeps no eutectic; nearer, in proportion (ours)
)
STEEP = 1e6  # J/(kg K) of a plateau, where temperature does not move
BEGUN = 0.1  # share liquid up to which only traces melt


class HeatCurve:
    """Heat in a kilogram of one alloy. Temperatures in degC, heat in J/kg, shares 0 to 1.

    `heats`, `temps`, `slopes`: the points up to the liquidus, and K for each J/kg from each point on (0 on a plateau);
    above `h_liquid` the liquid warms by `cp_liquid`. They are open to the one loop that has no time for calls.
    """

    __slots__ = (
        "_shares",
        "begins_c",
        "cp_liquid",
        "cp_solid",
        "h_liquid",
        "h_solid",
        "heats",
        "liquidus_c",
        "slopes",
        "solidus_c",
        "temps",
    )

    def __init__(self, points: Sequence[HeatPoint], cp_liquid_j_per_kg_k: float | None = None) -> None:
        """`points` in order, the first solid, from the solidus to the liquidus as they melt; of those above the
        liquidus the last gives the specific heat of the liquid, unless it is given. Raises BadInput.
        """
        fault = fault_of(points, liquid_known=cp_liquid_j_per_kg_k is not None)
        if fault is not None:
            raise BadInput(fault, remedy=tell("alloy.curve.remedy"))
        molten = next(at for at, point in enumerate(points) if point.liquid >= 1.0)
        solid = max(at for at, point in enumerate(points) if point.liquid <= 0.0)
        below = points[: molten + 1]
        self.temps = tuple(point.temp_c for point in below)
        self.heats = tuple(1000.0 * point.kj_per_kg for point in below)
        self._shares = tuple(point.liquid for point in below)
        self.solidus_c, self.liquidus_c = points[solid].temp_c, points[molten].temp_c
        self.h_solid, self.h_liquid = self.heats[solid], self.heats[molten]
        self.slopes = (*(_slope(a, b) for a, b in pairwise(below)), 0.0)
        self.cp_solid = self.h_solid / (self.solidus_c - REFERENCE_C)
        last, top = points[molten], points[-1]
        if cp_liquid_j_per_kg_k is None:
            cp_liquid_j_per_kg_k = 1000.0 * (top.kj_per_kg - last.kj_per_kg) / (top.temp_c - last.temp_c)
        self.cp_liquid = cp_liquid_j_per_kg_k
        self.begins_c = max(point.temp_c for point in below if point.liquid <= BEGUN)  # melting in earnest

    def temp_c(self, h: float) -> float:
        """Temperature at a specific enthalpy."""
        if h >= self.h_liquid:
            return self.liquidus_c + (h - self.h_liquid) / self.cp_liquid
        at = max(0, bisect_right(self.heats, h) - 1)
        return self.temps[at] + (h - self.heats[at]) * self.slopes[at]

    def liquid(self, h: float) -> float:
        """Share that is liquid, 0 to 1."""
        if h >= self.h_liquid:
            return 1.0
        if h <= self.h_solid:
            return 0.0
        at = bisect_right(self.heats, h) - 1
        part = (h - self.heats[at]) / (self.heats[at + 1] - self.heats[at])
        return self._shares[at] + part * (self._shares[at + 1] - self._shares[at])

    def enthalpy(self, temp_c: float) -> float:
        """Specific enthalpy at a temperature, J/kg; on a plateau that of its beginning, the more solid end."""
        if temp_c > self.liquidus_c:
            return self.h_liquid + (temp_c - self.liquidus_c) * self.cp_liquid
        at = next((at for at in range(1, len(self.temps)) if temp_c <= self.temps[at]), len(self.temps) - 1)
        low_c, high_c = self.temps[at - 1], self.temps[at]
        if high_c <= low_c:
            return self.heats[at - 1]
        return self.heats[at - 1] + (temp_c - low_c) * (self.heats[at] - self.heats[at - 1]) / (high_c - low_c)

    def kj_per_kg(self, temp_c: float) -> float:
        """Specific enthalpy at a temperature, kJ/kg."""
        return self.enthalpy(temp_c) / 1000.0

    def heat_of_share(self, liquid: float) -> float:
        """Specific enthalpy, J/kg, at which this share is liquid, 0 to 1."""
        shares = self._shares
        at = next(at for at in range(1, len(shares)) if shares[at] >= liquid and shares[at] > 0.0)
        part = (liquid - shares[at - 1]) / (shares[at] - shares[at - 1])
        return self.heats[at - 1] + part * (self.heats[at] - self.heats[at - 1])

    def heat_capacity(self, h: float) -> float:
        """J/(kg K) there, melting included; a great number on a plateau."""
        if h >= self.h_liquid:
            return self.cp_liquid
        slope = self.slopes[max(0, bisect_right(self.heats, h) - 1)]
        return 1.0 / slope if slope > 1.0 / STEEP else STEEP

    @property
    def cp_before_melting(self) -> float:
        """J/(kg K) just below the solidus: what an arrest is measured against."""
        return 1.0 / self.slopes[self.temps.index(self.solidus_c) - 1]

    @property
    def latent_kj_per_kg(self) -> float:
        """Heat of melting without the warming in between: liquid less solid in the middle of the range, both drawn
        on from where they are alone.
        """
        half_k = 0.5 * (self.liquidus_c - self.solidus_c)
        sensible_j = half_k * (self.cp_liquid + self.cp_before_melting)
        return (self.h_liquid - self.h_solid - sensible_j) / 1000.0

    @property
    def plateau_c(self) -> float:
        """Where most of it melts at one temperature: the longest plateau, else the solidus."""
        flat = [(b - a, at) for at, (a, b) in enumerate(pairwise(self.heats)) if self.temps[at] == self.temps[at + 1]]
        return self.temps[max(flat)[1]] if flat else self.solidus_c

    def moved(self, by_c: float) -> "HeatCurve":
        """The same curve of another batch: all that melts melts `by_c` higher, for the same heat."""
        melting = self.temps.index(self.solidus_c)
        points = [
            HeatPoint(temp_c + (by_c if at >= melting else 0.0), h / 1000.0, share)
            for at, (temp_c, h, share) in enumerate(zip(self.temps, self.heats, self._shares, strict=True))
        ]
        return HeatCurve(points, self.cp_liquid)

    def points(self) -> tuple[HeatPoint, ...]:
        """Its points, with one above the liquidus that keeps the specific heat of the liquid."""
        below = zip(self.temps, self.heats, self._shares, strict=True)
        top = HeatPoint(self.liquidus_c + 100.0, (self.h_liquid + 100.0 * self.cp_liquid) / 1000.0, 1.0)
        return (*(HeatPoint(temp_c, h / 1000.0, share) for temp_c, h, share in below), top)


def curve_of(facts: AlloyFacts) -> HeatCurve:
    """The curve of a plan's alloy: its points, or what its three figures say where it has none (an older record)."""
    if facts.heat:
        return HeatCurve(facts.heat)
    arrests = [c for c in (*facts.arrests_c, facts.eutectic_c) if c is not None and c <= facts.liquidus_c]
    return curve_of_figures(
        min(facts.solidus_c, facts.liquidus_c),
        facts.liquidus_c,
        cp_solid=facts.cp_solid_j_per_kg_k,
        cp_liquid=facts.cp_liquid_j_per_kg_k,
        latent_kj_per_kg=facts.latent_kj_per_kg,
        arrest_c=max(arrests) if arrests else None,
    )


def curve_of_figures(
    solidus_c: float,
    liquidus_c: float,
    *,
    cp_solid: float,
    cp_liquid: float,
    latent_kj_per_kg: float,
    arrest_c: float | None = None,
) -> HeatCurve:
    """A curve from two specific heats and a latent heat, J/(kg K) and kJ/kg.

    The heat of the whole is as the figures have it: solid to the solidus, the latent heat and the mean of both
    specific heats over the range. Melting begins at `arrest_c`, where a eutectic is named, else at the solidus; what
    melts there at one temperature is guessed from how near the liquidus that is, the rest spread evenly.
    """
    begins_c = arrest_c if arrest_c is not None else solidus_c
    range_k, sheet_k = liquidus_c - begins_c, liquidus_c - solidus_c
    cp_mean = 0.5 * (cp_solid + cp_liquid)
    h_liquid = cp_solid * (solidus_c - REFERENCE_C) + 1000.0 * latent_kj_per_kg + cp_mean * sheet_k
    h_solid = cp_solid * (begins_c - REFERENCE_C)
    flat = max(0.0, 1.0 - range_k / EUTECTIC_RANGE_K) if arrest_c is not None else 0.0 if range_k > 0.0 else 1.0
    h_flat = h_solid + flat * (h_liquid - h_solid - cp_mean * range_k)
    share = (h_flat - h_solid) / (h_liquid - h_solid)
    points = [HeatPoint(REFERENCE_C, 0.0, 0.0), HeatPoint(begins_c, h_solid / 1000.0, 0.0)]
    if flat > 0.0 and range_k > 0.0:
        points.append(HeatPoint(begins_c, h_flat / 1000.0, share))
    points.append(HeatPoint(liquidus_c, h_liquid / 1000.0, 1.0))
    return HeatCurve(points, cp_liquid)


def fault_of(points: Sequence[HeatPoint], *, liquid_known: bool = False) -> Message | None:
    """What is wrong with such points, or None."""
    if len(points) < 3 or points[0] != HeatPoint(REFERENCE_C, 0.0, 0.0):
        return tell("alloy.curve.begin", begin_c=REFERENCE_C)
    for before, after in pairwise(points):
        if after.temp_c < before.temp_c or not 0.0 <= before.liquid <= after.liquid <= 1.0:
            return tell("alloy.curve.falls", after_c=before.temp_c)
        if not after.kj_per_kg > before.kj_per_kg:
            return tell("alloy.curve.no_heat", after_c=before.temp_c)
        if after.temp_c == before.temp_c and after.liquid == before.liquid:
            return tell("alloy.curve.stands", at_c=before.temp_c)
    if points[1].liquid > 0.0 or points[1].temp_c <= REFERENCE_C:
        return tell("alloy.curve.melts_at_once", begin_c=REFERENCE_C)
    if points[-1].liquid < 1.0:
        return tell("alloy.curve.never_liquid")
    if not liquid_known and sum(1 for point in points if point.liquid >= 1.0) < 2:
        return tell("alloy.curve.no_liquid_point")
    return None


def _slope(low: HeatPoint, high: HeatPoint) -> float:
    """K for each J/kg."""
    return (high.temp_c - low.temp_c) / (1000.0 * (high.kj_per_kg - low.kj_per_kg))
