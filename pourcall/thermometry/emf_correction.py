"""Corrections found by calibration. A correction lives in emf, so that a cold junction never disturbs it.

A probe checked at a known temperature (ice, boiling water, the arrest of a pure metal) gave one emf where the
reference function wants another; the difference is added to every later emf. Readings keep the calibration that was
in force; nothing here changes a stored one.
"""

from pourcall.thermometry import thermocouple


def calibration_point(tc_type: str, measured_emf_uv: float, true_temp_c: float) -> tuple[float, float]:
    """A point for `Calibration.points`: emf measured (with its cold junction added, uV) at a known temperature.

    Raises OutOfRange for a temperature beyond the type's function, BadInput for an unknown type.
    """
    return measured_emf_uv, thermocouple.emf_uv(tc_type, true_temp_c) - measured_emf_uv
