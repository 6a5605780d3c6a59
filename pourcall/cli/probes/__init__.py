"""Commands about probes: calibration, checks, thermocouple functions, capture, replay of a trace."""
