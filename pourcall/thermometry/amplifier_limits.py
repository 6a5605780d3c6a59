"""What the makers of amplifiers promise. Limits by chip, as half-widths, each with its source.

Data sheets: MAX31855 (19-5793 Rev 5, 1/15); MAX31856 (Maxim, 30 pages); MCP960X/L0X/RL0X (DS20005426G); ADS1118
(SBAS457F, September 2019). "Widened" beyond a stated ambient range means twice the last stated figure: common
practice, no source.
"""

from collections.abc import Callable
from enum import StrEnum
from typing import Final, NamedTuple

from pourcall.thermometry.compensation import LINEAR_UV_PER_C


class Amplifier(StrEnum):
    """What turned the couple's microvolts into figures."""

    MAX31855 = "max31855"
    MAX31856 = "max31856"
    MCP960X = "mcp960x"
    EMF_BOARD = "emf_board"  # our own board: a 16-bit converter of the ADS1118 kind at +-0.256 V
    INSTRUMENT = "instrument"  # a panel, a handheld meter, a transmitter: nothing known but its figure


# What stands behind `chip` of a board in the settings; another word, or none: nothing is known but the figure.
_OF_CHIP: Final = {
    "max31855": Amplifier.MAX31855,
    "max31856": Amplifier.MAX31856,
    "mcp960x": Amplifier.MCP960X,
    "emf": Amplifier.EMF_BOARD,
}


def amplifier_of(chip: str) -> Amplifier:
    """The amplifier of a board by the word for its chip."""
    return _OF_CHIP.get(chip, Amplifier.INSTRUMENT)


class LimitKind(StrEnum):
    """What a limit is about, and with it what a calibration on the board does to it."""

    FIXED = "fixed"  # gain, offset, linearity: constant while the board is, so a calibration on it takes it out
    COLD = "cold"  # the cold-junction sensor, in degC at the terminals: follows the ambient, no calibration helps
    COLD_WHEN_CALIBRATED = "cold_when_calibrated"  # in the maker's fixed figure; stands alone once that is corrected
    STEP = "step"  # resolution


# (type, temp_c, cold_junction_c or None, emf at the terminals in uV) -> half-width and whether the sheet covers it
HalfWidth = Callable[[str, float, float | None, float], tuple[float, bool]]


class Limit(NamedTuple):
    """One promise of a maker: half_width gives uV where in_uv, else degC (at the terminals for the cold kinds)."""

    name: str
    kind: LimitKind
    in_uv: bool
    words: str
    half_width: HalfWidth


def _constant(half: float) -> HalfWidth:
    return lambda tc_type, temp_c, cold_c, emf_uv: (half, True)


def _ambient(*steps: tuple[float, float, float]) -> HalfWidth:
    """Steps (low, high, half-width) of ambient, narrow first; not known: the last; beyond: twice the last."""

    def half_width(tc_type: str, temp_c: float, cold_c: float | None, emf_uv: float) -> tuple[float, bool]:
        if cold_c is None:
            return steps[-1][2], True
        for low_c, high_c, half in steps:
            if low_c <= cold_c <= high_c:
                return half, True
        return 2.0 * steps[-1][2], False

    return half_width


def _max31855_gain(tc_type: str, temp_c: float, cold_c: float | None, emf_uv: float) -> tuple[float, bool]:
    """In chip degrees, so as emf through the chip's sensitivity.

    The figures are those of the K part; other parts are taken for alike (not looked up).
    """
    sensitivity = LINEAR_UV_PER_C.get(tc_type, LINEAR_UV_PER_C["K"])
    if -200.0 <= temp_c <= 700.0:
        chip_c = 2.0
    elif 700.0 < temp_c <= 1350.0:
        chip_c = 4.0
    else:
        chip_c = 6.0
    covered = cold_c is None or -20.0 <= cold_c <= 85.0
    return chip_c * sensitivity * (1.0 if covered else 2.0), covered


def _max31855_step(tc_type: str, temp_c: float, cold_c: float | None, emf_uv: float) -> tuple[float, bool]:
    return 0.125 * LINEAR_UV_PER_C.get(tc_type, LINEAR_UV_PER_C["K"]), True


def _max31856_scale(tc_type: str, temp_c: float, cold_c: float | None, emf_uv: float) -> tuple[float, bool]:
    """0.15 % of full scale: 78.125 mV at gain 8; types B, R and S run at gain 32 (a quarter; from memory)."""
    covered = cold_c is None or -20.0 <= cold_c <= 85.0
    full_uv = 78125.0 / (4.0 if tc_type in ("B", "R", "S") else 1.0)
    return 0.0015 * full_uv * (1.0 if covered else 2.0), covered


def _ads_gain(tc_type: str, temp_c: float, cold_c: float | None, emf_uv: float) -> tuple[float, bool]:
    return 0.0015 * abs(emf_uv), True


def _instrument(tc_type: str, temp_c: float, cold_c: float | None, emf_uv: float) -> tuple[float, bool]:
    return 1.0 + 0.001 * abs(temp_c), True


_FIXED, _COLD, _STEP = LimitKind.FIXED, LimitKind.COLD, LimitKind.STEP

# fmt: off
LIMITS: Final[dict[Amplifier, tuple[Limit, ...]]] = {
    Amplifier.MAX31855: (
        Limit("amplifier", _FIXED, True, "MAX31855 gain and offset", _max31855_gain),
        Limit("cold junction", _COLD, False, "MAX31855 internal sensor", _ambient((-20, 85, 2.0), (-40, 125, 3.0))),
        Limit("resolution", _STEP, True, "half a step of the MAX31855", _max31855_step),
    ),
    Amplifier.MAX31856: (
        Limit("amplifier", _FIXED, True, "MAX31856 full scale and linearity, 0.15 % of range", _max31856_scale),
        Limit("offset", _FIXED, True, "MAX31856 offset", _constant(7.8)),
        Limit("linearisation", _FIXED, False, "MAX31856 linearity correction (type K)", _constant(0.13)),
        Limit("cold junction", _COLD, False, "MAX31856 internal sensor",
              _ambient((-20, 85, 0.7), (-40, 105, 1.0), (-55, 125, 2.0))),
        Limit("resolution", _STEP, False, "half a step of the MAX31856", _constant(0.00390625)),
    ),
    Amplifier.MCP960X: (
        Limit("amplifier", _FIXED, False, "MCP960x hot junction, cold junction within", _ambient((0, 85, 1.5))),
        Limit("cold junction", LimitKind.COLD_WHEN_CALIBRATED, False, "MCP960x internal sensor",
              _ambient((0, 85, 1.0))),
        Limit("resolution", _STEP, False, "half a step of the MCP960x", _constant(0.03125)),
    ),
    # The sheet gives gain at +-2.048 V and 25 degC and offset in codes there; taken for the +-0.256 V range as well.
    Amplifier.EMF_BOARD: (
        Limit("amplifier", _FIXED, True, "board's converter (ADS1118) gain, 0.15 % of the emf", _ads_gain),
        Limit("offset", _FIXED, True, "board's converter offset, two codes", _constant(2 * 7.8125)),
        Limit("cold junction", _COLD, False, "board's sensor at the terminals",
              _ambient((0, 70, 0.5), (-40, 125, 1.0))),
        Limit("resolution", _STEP, True, "half a step of the converter", _constant(7.8125 / 2)),
    ),
    # Common practice, no source: what a good handheld meter promises of itself, the couple apart.
    Amplifier.INSTRUMENT: (
        Limit("instrument", _FIXED, False, "instrument, 1 degC and 0.1 %", _instrument),
    ),
}
# fmt: on
