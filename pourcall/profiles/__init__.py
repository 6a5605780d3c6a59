"""Ramp and hold profiles: TOML in, a frozen plan of segments out. Pure."""
