"""What a probe's trace shows, and why its state changed."""

TEXTS: dict[str, str] = {
    "probe.sign.surge_up": "rises faster than metal can",
    "probe.sign.surge_down": "falls faster than metal in a pot can",
    "probe.sign.quiet": "slows down",
    "probe.sign.settled": "has settled",
    "probe.sign.warmed": "warms with the charge",
    "probe.sign.cold": "too cold to be in the metal",
    "probe.sign.frozen": "below the solidus after having been in liquid",
    "probe.sign.fluid": "above the liquidus again",
}
