"""The cut: how high the metal goes without power, when to call for it, when the call is over. Guided or not. Pure."""

from dataclasses import dataclass

from pourcall.engine.guidance.profile_advice import CoastForecast

BLIND_S = 45.0  # without a forecast: so long it may rise on after the power went off
USUAL_SPREAD_C, UNSURE_SHARE = 3.5, 1.3
RISES_C_PER_MIN = 2.0  # slower than this no rise is told from noise
FALLING_SHARE = 0.5  # of the rise that was called for: it gives way
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


def cut_is_due(peaks: CoastPeaks, delay_s: float, aim_c: float) -> bool:
    """With the power off so many seconds from now the metal still goes as high as it should."""
    peak_c = peaks.after(delay_s)
    return peak_c is not None and peak_c >= aim_c


def cut_is_over(rose_c_per_min: float, rate_c_per_min: float | None, *, off: bool) -> bool:
    """The power is off, or the metal shows it: the rise of the moment of the call gives way, or it falls."""
    if off or rate_c_per_min is None:
        return off
    if rose_c_per_min > RISES_C_PER_MIN:
        return rate_c_per_min < FALLING_SHARE * rose_c_per_min
    return rate_c_per_min < -RISES_C_PER_MIN
