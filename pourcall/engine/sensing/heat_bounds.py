"""Where the furnace can have put the metal: a figure against the most and the least heat it can hold. Pure.

Two bounds of the specific enthalpy (`metal/heat/curve.py`), moved on once a second: no power, no rise
(heat_ceiling.py); full power, at least so much (heat_floor.py). Not here: who is asked, what is said
(guidance/heat_watch.py).
"""

from collections import deque
from dataclasses import dataclass
from enum import StrEnum

from pourcall.contract.plan import AlloyFacts
from pourcall.engine.sensing.heat_ceiling import Ceiling, coast_tau_s
from pourcall.engine.sensing.heat_floor import MASS_SHARE, Floor
from pourcall.engine.sensing.heat_look import PLATEAU_C, READING_C, Look
from pourcall.furnace.model import Furnace
from pourcall.metal.heat.curve import HeatCurve

CHILLED_C, CHILLED_S = 20.0, 60.0  # a fall that no loss makes: cold metal went in, marked or not
LAG_C_PER_S = 1.0  # the pace of heated metal: a sheath is behind it by that times its time constant


class Side(StrEnum):
    """On which side of its bounds a reading lies."""

    HOT = "hot"
    COLD = "cold"


@dataclass(frozen=True, slots=True)
class Beyond:
    """A reading that the furnace cannot have made, and the nearest that it can."""

    side: Side
    temp_c: float
    bound_c: float


class HeatBounds:
    """Of one probe in one melt. `look` once a second."""

    def __init__(
        self,
        alloy: AlloyFacts,
        metal: HeatCurve,
        charge_kg: float,
        began_s: float,
        *,
        sheath_s: float,
        room_c: float,
        least: Furnace | None,
        kept_c: float | None = None,
    ) -> None:
        """least: the furnace at its weakest; None: nothing is known of it. kept_c: the bound of the melt before."""
        tau_s = coast_tau_s(alloy, metal, charge_kg)
        self.ceiling = Ceiling(metal, tau_s, 2.0 * sheath_s, began_s, kept_c)
        self.floor = Floor(metal, MASS_SHARE * charge_kg, room_c, least)
        self._metal, self._lag_c = metal, LAG_C_PER_S * sheath_s
        self._lately: deque[tuple[float, float]] = deque()

    def look(self, now: Look) -> Beyond | None:
        """A reading outside, if it is."""
        self.ceiling.step(now)
        self.floor.step(now)
        if now.temp_c is None:
            self._lately.clear()
            return None
        if self._chilled(now.at_s, now.temp_c):
            self.floor.anchor(now.temp_c)
        metal = self._metal
        most, least = self.ceiling.h, self.floor.h
        if metal.enthalpy(now.temp_c - READING_C) > most:
            return Beyond(Side.HOT, now.temp_c, metal.temp_c(most))
        if _at_most(metal, now.temp_c + self._lag_c) < least:
            return Beyond(Side.COLD, now.temp_c, metal.temp_c(least))
        return None

    def _chilled(self, at_s: float, temp_c: float) -> bool:
        """It fell faster than metal cools: where it fell to is where full power begins anew."""
        lately = self._lately
        lately.append((at_s, temp_c))
        while lately[0][0] < at_s - CHILLED_S:
            lately.popleft()
        return temp_c < max(then_c for _, then_c in lately) - CHILLED_C

    def disturbed(self, at_s: float) -> None:
        """Metal went in, or the pot came back to walls that gave nothing meanwhile."""
        self.ceiling.worked(at_s)
        self.floor.disturbed(at_s)

    def added(self, at_s: float, share: float, hot_c: float) -> None:
        """Metal went in, so great a share of what is in the pot now; it may have been liquid, and as hot as that."""
        self.ceiling.hot_metal(share, hot_c)
        self.disturbed(at_s)

    def anchor(self, temp_c: float) -> None:
        """A person has spoken: from here on."""
        self.ceiling.anchor(temp_c)
        self.floor.anchor(temp_c)


def _at_most(metal: HeatCurve, temp_c: float) -> float:
    """The most heat that metal of such a reading can hold: on a plateau all of its latent heat."""
    high_c = temp_c + READING_C
    if metal.solidus_c - PLATEAU_C <= high_c <= metal.liquidus_c + PLATEAU_C:
        high_c = metal.liquidus_c + PLATEAU_C
    return metal.enthalpy(high_c)
