"""From a raw value to degC. Cold junctions, linear amplifiers and calibrations, all of it in emf.

    emf at the terminals + emf of the cold junction + correction = emf to invert

The emf of the cold junction is the reference function at the terminals' temperature; adding that temperature to a
result instead is wrong by 3.4 degC at 1150 degC (type K, terminals at 45 degC). A linear amplifier is undone first:
the MAX31855 reports T = cold junction + V / sensitivity, so V = sensitivity * (T - cold junction).
Source: MAX31855 data sheet, 19-5793 Rev 5, pages 8 and 9 (formula) and table of sensitivities.

Runs once per reading: no exception, no time, no memory of the past. Flags, probe state and health are the engine's.
"""

from functools import lru_cache
from math import isfinite
from typing import Final

from pourcall.contract.calibration import NO_CALIBRATION, Calibration
from pourcall.contract.errors import BadInput
from pourcall.contract.frames import RawKind
from pourcall.contract.message import tell
from pourcall.contract.status import Reason
from pourcall.contract.units import ABSOLUTE_ZERO_C, HIGHEST_MEANT_C
from pourcall.thermometry.thermocouple import TYPES, curves, emf_uv_or_none, seebeck_uv_per_c, temp_c_or_none

# uV/degC by which each part of the MAX31855 family divides. Source: its data sheet. There is no part for type B.
LINEAR_UV_PER_C: Final = {
    "K": 41.276,
    "J": 57.953,
    "N": 36.256,
    "T": 52.18,
    "E": 76.373,
    "R": 10.506,
    "S": 9.587,
}

# Terminals outside these are used, knowing it (fault A3): the amplifier is where it was not meant to be.
COLD_LOW_C: Final = -10.0
COLD_HIGH_C: Final = 60.0

_KNOWN: Final = frozenset(TYPES)


@lru_cache(maxsize=4096)  # terminals move slowly and in steps of the chip; most calls meet a value seen before
def cold_emf_uv(tc_type: str, cold_junction_c: float) -> float | None:
    """Emf of the terminals at cold_junction_c, in uV; None beyond the type's function.

    Type B is published from 0 degC only. Down to -40 degC its first piece is continued: its emf there is below
    20 uV, and terminals that cold are told as `cold_junction` anyway.
    """
    found_uv = emf_uv_or_none(tc_type, cold_junction_c)
    if found_uv is None and tc_type == "B" and -40.0 <= cold_junction_c < 0.0:
        slope, bend = seebeck_uv_per_c("B", 0.0), curves("B")[0].bend[-1]
        return slope * cold_junction_c + 0.5 * bend * cold_junction_c**2
    return found_uv


def total_emf_uv(
    raw_kind: RawKind, raw_value: float | None, cold_junction_c: float | None, tc_type: str
) -> tuple[float | None, Reason]:
    """The emf a couple would give with its terminals at 0 degC, in uV, before any correction; and why not.

    For `emf_uv` and `linear_c` as measured; for degrees already made the emf that belongs to them. The number is None
    exactly when the reason's status is BAD.
    """
    if raw_value is None or not isfinite(raw_value):
        return None, _no_number(raw_value)
    if tc_type not in _KNOWN:
        return None, Reason.CONFIG
    if raw_kind is RawKind.EMF_UV:
        terminals_uv = raw_value
    elif raw_kind is RawKind.LINEAR_C:
        sensitivity = LINEAR_UV_PER_C.get(tc_type)
        if sensitivity is None or cold_junction_c is None:
            return None, Reason.CONFIG
        terminals_uv = sensitivity * (raw_value - cold_junction_c)
    else:
        found_uv = emf_uv_or_none(tc_type, raw_value)
        return found_uv, Reason.OVER_RANGE if found_uv is None else Reason.OK
    if cold_junction_c is None:
        return None, Reason.CONFIG
    if cold_junction_c != cold_junction_c:
        return None, Reason.DEAD_BUS
    cold_uv = cold_emf_uv(tc_type, cold_junction_c)
    if cold_uv is None:
        return None, Reason.OVER_RANGE
    good = COLD_LOW_C <= cold_junction_c <= COLD_HIGH_C
    return terminals_uv + cold_uv, Reason.OK if good else Reason.COLD_JUNCTION


def to_temperature(
    raw_kind: RawKind,
    raw_value: float | None,
    cold_junction_c: float | None,
    tc_type: str,
    correction: Calibration = NO_CALIBRATION,
) -> tuple[float | None, Reason]:
    """Temperature in degC on ITS-90 and the reason that goes with it: None exactly when the status is BAD. No error.

    `emf_uv` and `linear_c` need cold_junction_c (config without it); `its90_c` has the cold junction in it already.
    A calibration applies to all of these, in emf. `typed_c` is another instrument's figure: taken as typed, `override`.
    An empty type means that nothing is known of the sensor: then `its90_c` passes as it came, uncorrected.

    ok, cold_junction (used, terminals outside -10 to 60 degC), override; over_range (beyond the type's function, or an
    infinity), dead_bus (no number and no flag that says why, or NaN), config (unknown type, no cold junction, no such
    linear amplifier).
    """
    if raw_kind is RawKind.TYPED_C or (raw_kind is RawKind.ITS90_C and not tc_type):
        if raw_value is None or not isfinite(raw_value):
            return None, _no_number(raw_value)
        if not ABSOLUTE_ZERO_C <= raw_value <= HIGHEST_MEANT_C:
            return None, Reason.OVER_RANGE
        return raw_value, Reason.OVERRIDE if raw_kind is RawKind.TYPED_C else Reason.OK

    emf_uv, reason = total_emf_uv(raw_kind, raw_value, cold_junction_c, tc_type)
    if emf_uv is None:
        return None, reason
    added_uv = 0.0 if correction is NO_CALIBRATION else correction.correction_uv(emf_uv)
    if added_uv == 0.0 and raw_kind is RawKind.ITS90_C:
        return raw_value, reason
    emf_uv += added_uv
    temp_c = temp_c_or_none(tc_type, emf_uv)
    if temp_c is None:
        return None, Reason.OVER_RANGE
    return temp_c, reason


def _no_number(raw_value: float | None) -> Reason:
    return Reason.DEAD_BUS if raw_value is None or raw_value != raw_value else Reason.OVER_RANGE


def linear_chip_c(tc_type: str, temp_c: float, cold_junction_c: float) -> float:
    """What a MAX31855 of this type reports at temp_c, unrounded, in degC: the inverse of `linear_c` above.

    Raises BadInput where there is no such part or a temperature is beyond the type's function.
    """
    sensitivity = LINEAR_UV_PER_C.get(tc_type)
    hot_uv, cold_uv = emf_uv_or_none(tc_type, temp_c), emf_uv_or_none(tc_type, cold_junction_c)
    if sensitivity is None or hot_uv is None or cold_uv is None:
        raise BadInput(
            tell("error.no_linear", tc_type=tc_type, temp_c=temp_c, terminals_c=cold_junction_c),
            remedy=tell("error.no_linear.remedy", types=", ".join(LINEAR_UV_PER_C)),
        )
    return cold_junction_c + (hot_uv - cold_uv) / sensitivity
