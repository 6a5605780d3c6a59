"""What lies ahead, and why nothing can be said of it."""

TEXTS: dict[str, str] = {
    "forecast.working": "working it out",
    "forecast.power_off": "the power is off",
    "forecast.out_of_reach": "at this setting it does not get there",
    "forecast.stopped": "the forecast stopped for this melt: {error}",
}
