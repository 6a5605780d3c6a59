"""Thermocouple functions, compensation, tolerance, uncertainty: from microvolts to degC, and how well it is known."""
