"""Guided profiles: segments in a few words, and what a person is told to dial, set or wait for."""

TEXTS: dict[str, str] = {
    "profile.segment.full_power": "to {to_c} at full power",
    "profile.segment.ramp": "to {to_c} at {rate_c_per_min}",
    "profile.segment.hold": "hold {to_c} for {for_min}",
    "profile.segment.hold_until_told": "hold {to_c} until told",
}
