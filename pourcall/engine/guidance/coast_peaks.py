"""How high the metal goes if the power is cut, and how far below the aim the call to cut it is set. Pure."""

from dataclasses import dataclass

from pourcall.engine.guidance.profile_advice import CoastForecast

BLIND_S = 45.0  # without a forecast: so long it may rise on after the power went off
USUAL_SPREAD_C, UNSURE_SHARE = 6.0, 1.6
UNSURE_MOST_C = 25.0  # lower than this nobody is helped: a furnace hardly known would be cut while it melts


@dataclass(frozen=True, slots=True)
class CoastPeaks:
    """How high the metal goes if the power is cut some seconds from now: never lower than it is already measured."""

    coast: CoastForecast | None
    metal_c: float | None
    rate_c_per_min: float | None = None

    def after(self, delay_s: float) -> float | None:
        """degC; None: nothing tells. Without a forecast the metal is taken to rise on for a minute as it does now."""
        forecast_c = None if self.coast is None else self.coast.coast_peak_c(delay_s)
        if self.metal_c is None:
            return forecast_c
        if forecast_c is None:
            return self.metal_c + max(self.rate_c_per_min or 0.0, 0.0) * (delay_s + BLIND_S) / 60.0
        return max(forecast_c, self.metal_c)


def unsure_margin_c(coast: CoastForecast | None) -> float:
    """How much lower to aim where the coast is known worse than usual, as after a cold addition.

    Power can come again; heat cannot be taken back.
    """
    if coast is None:
        return 0.0
    return min(UNSURE_MOST_C, UNSURE_SHARE * max(0.0, coast.coast_spread_c() - USUAL_SPREAD_C))
