"""A cut now or later by the model: how high the metal goes, when to cut for a peak, how long it stays. Pure."""

from pourcall.furnace.model import Furnace, State, advance, coast, time_to_c
from pourcall.metal.heat.curve import HeatCurve

KNOTS_S = (0.0, 20.0, 45.0, 80.0, 130.0, 200.0, 300.0, 440.0)  # moments to cut that are tried; between them, a line


class Cuts:
    """Of one furnace as it stands at one moment, at the setting it has. Each cut is tried when first asked for."""

    def __init__(
        self, furnace: Furnace, metal: HeatCurve, state: State, mass_kg: float, share: float, room_c: float
    ) -> None:
        """share: of full power, until it is cut."""
        self._furnace, self._metal, self._state = furnace, metal, state
        self._mass_kg, self._share, self._room_c = mass_kg, share, room_c
        self._tried: list[tuple[float, float, float]] = []  # (cut so long after, peak, then so long to it)

    def _try_next(self) -> bool:
        """One more moment to cut; False where none is left."""
        at = len(self._tried)
        if at == len(KNOTS_S):
            return False
        furnace, metal, mass_kg, room_c = self._furnace, self._metal, self._mass_kg, self._room_c
        if at > 0:
            step_s = KNOTS_S[at] - KNOTS_S[at - 1]
            self._state = advance(furnace, metal, self._state, mass_kg, self._share, room_c, step_s, step_s=10.0)
        peak = coast(furnace, metal, self._state, mass_kg, room_c)
        self._tried.append((KNOTS_S[at], peak.peak_c, peak.in_s))
        return True

    @property
    def now_c(self) -> float:
        """The peak if it is cut at once."""
        if not self._tried:
            self._try_next()
        return self._tried[0][1]

    def after(self, after_s: float) -> tuple[float, float] | None:
        """(peak, seconds from the cut to it) if it is cut so long after; None: longer than is tried."""
        while not self._tried or self._tried[-1][0] < after_s:
            if not self._try_next():
                return None
        k = next(k for k, (tried_s, _, _) in enumerate(self._tried) if tried_s >= after_s)
        tried_s, peak_c, in_s = self._tried[k]
        if k == 0 or tried_s == after_s:
            return peak_c, in_s
        was_s, was_c, was_in_s = self._tried[k - 1]
        part = (after_s - was_s) / (tried_s - was_s)
        return was_c + part * (peak_c - was_c), was_in_s + part * (in_s - was_in_s)

    def when(self, aim_c: float) -> float | None:
        """So long after it is cut for this peak; 0: it is too late; None: further on than is tried."""
        k = 0
        while True:
            if k == len(self._tried) and not self._try_next():
                return None
            if self._tried[k][1] >= aim_c:
                break
            k += 1
        at_s, peak_c, _ = self._tried[k]
        if k > 0:
            was_s, was_c, _ = self._tried[k - 1]
            at_s = was_s + (at_s - was_s) * (aim_c - was_c) / max(peak_c - was_c, 1e-6)
        return at_s


def stays_above_s(
    furnace: Furnace, metal: HeatCurve, state: State, mass_kg: float, room_c: float, low_c: float
) -> float | None:
    """Seconds from a cut at once until the metal, its peak behind it, is down at `low_c`; None: over 90 minutes."""
    peak = coast(furnace, metal, state, mass_kg, room_c)
    turned = advance(furnace, metal, state, mass_kg, 0.0, room_c, peak.in_s, step_s=16.0)
    seconds = time_to_c(furnace, metal, turned, mass_kg, 0.0, room_c, low_c, horizon_s=5400.0)
    return None if seconds is None else seconds + peak.in_s
