"""What lies ahead, and why nothing can be said of it."""

TEXTS: dict[str, str] = {
    "forecast.working": "working it out",
    "forecast.stopped": "the forecast stopped for this melt: {error}",
}
