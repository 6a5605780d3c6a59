"""How well a temperature is known. One budget per reading, after the GUM, with a sentence for every part.

Method: JCGM 100:2008 (GUM). Limits +-a without further knowledge are a rectangle, u = a / sqrt(3) (4.3.7); parts are
uncorrelated and add in squares (5.1.2), each brought to degC by the slope of the reference function (5.1.3); expanded
with k = 2, about 95 % (6.2).

Parts: wire, amplifier, cold junction, resolution, calibration, noise. Not in it: drift of used wire, immersion and
stirring (the melt tracker's), lag (told apart). Amplifiers: `amplifier_limits.py`.
"""

from collections.abc import Iterable
from enum import StrEnum
from math import sqrt
from typing import Final, NamedTuple

from pourcall.contract.calibration import NO_CALIBRATION, Calibration
from pourcall.contract.errors import OutOfRange
from pourcall.contract.message import Told, tell
from pourcall.thermometry.amplifier_limits import LIMITS, Amplifier, LimitKind
from pourcall.thermometry.compensation import cold_emf_uv
from pourcall.thermometry.thermocouple import emf_uv, invertible_range_c, seebeck_uv_per_c
from pourcall.thermometry.tolerance import BEYOND_CLASS, WireClass, tolerance

COVERAGE: Final = 2.0
LEAST_SLOPE: Final = 0.05  # uV/degC; type B has none at its least emf, and no budget is finite there


class Shape(StrEnum):
    """Distribution of a part's limits."""

    RECTANGULAR = "rectangular"
    NORMAL = "normal"


class Part(NamedTuple):
    """One contribution: name, its stated figure in degC, how that is spread, its standard uncertainty, and words."""

    name: str
    stated_c: float
    shape: Shape
    standard_c: float
    words: Told


class Budget(NamedTuple):
    """Parts, standard uncertainty u and expanded uncertainty U = 2 u, in degC. off_spec: beyond class or data sheet."""

    parts: tuple[Part, ...]
    standard_c: float
    expanded_c: float
    off_spec: bool

    @property
    def largest(self) -> Part:
        """The part that would be worth improving."""
        return max(self.parts, key=lambda part: part.standard_c)


class Chain(NamedTuple):
    """What a probe is wired to and what is known of it. An empty type (a panel, a handheld meter) is judged as K."""

    tc_type: str
    amplifier: Amplifier
    wire_class: WireClass = WireClass.UNKNOWN
    calibration: Calibration = NO_CALIBRATION


def rectangular(name: str, half_width_c: float, words: Told) -> Part:
    """A part known by its limits +-half_width_c: u = a / sqrt(3), GUM 4.3.7."""
    return Part(name, half_width_c, Shape.RECTANGULAR, half_width_c / sqrt(3.0), words)


def normal(name: str, standard_c: float, words: Told) -> Part:
    """A part known by its standard uncertainty (k = 1)."""
    return Part(name, standard_c, Shape.NORMAL, standard_c, words)


def combine(parts: Iterable[Part], *, off_spec: bool = False) -> Budget:
    """Root of the sum of squares (GUM 5.1.2), and twice that. Parts that are nothing are left out."""
    kept = tuple(part for part in parts if part.standard_c > 0.0)
    standard_c = sqrt(sum(part.standard_c**2 for part in kept))
    return Budget(kept, standard_c, COVERAGE * standard_c, off_spec)


def budget(
    chain: Chain, temp_c: float, cold_junction_c: float | None, *, noise_c: float = 0.0, samples: int = 1
) -> Budget:
    """Budget of one temperature in degC, at k = 2.

    noise_c: standard deviation of single readings about their trend; the figure judged is a mean of `samples`.
    cold_junction_c None: not known, taken as 25 degC with the widest limits of the amplifier's sensor.
    Beyond the wire's class, or with the amplifier outside its data sheet's ambient range, the part is widened, its
    words say so and off_spec is true. Raises OutOfRange beyond the type's invertible range (a number there has no
    slope), BadInput for an unknown type or a class that does not exist for it.
    """
    tc_type = chain.tc_type or "K"
    low_c, high_c = invertible_range_c(tc_type)
    if not low_c <= temp_c <= high_c:
        raise OutOfRange(
            tell("error.beyond_type", temp_c=temp_c, tc_type=tc_type, low_c=low_c, high_c=high_c),
            remedy=tell("error.beyond_type.remedy"),
        )
    slope = max(seebeck_uv_per_c(tc_type, temp_c), LEAST_SLOPE)
    hot_uv = emf_uv(tc_type, temp_c)
    wire, wire_off = _wire(chain, tc_type, temp_c, hot_uv)
    amplifier, amplifier_off = _amplifier(chain, tc_type, temp_c, cold_junction_c, hot_uv, slope)
    parts = [*wire, *amplifier]
    spread_uv = chain.calibration.spread_uv
    if spread_uv > 0.0:
        date = chain.calibration.date
        words = (
            tell("uncertainty.calibration_of", date=date, spread_uv=spread_uv)
            if date
            else tell("uncertainty.calibration", spread_uv=spread_uv)
        )
        parts.append(normal("calibration", spread_uv / slope, words))
    if noise_c > 0.0:
        words = tell("uncertainty.noise", scatter_difference_c=noise_c)
        if samples > 1:
            words = tell("uncertainty.noise_mean", scatter_difference_c=noise_c, samples=samples)
        parts.append(normal("noise", noise_c / sqrt(max(1, samples)), words))
    return combine(parts, off_spec=wire_off or amplifier_off)


def _wire(chain: Chain, tc_type: str, temp_c: float, hot_uv: float) -> tuple[list[Part], bool]:
    """The couple's own error: the tolerance of its class, or what a calibration leaves of it."""
    share = chain.calibration.beyond(hot_uv)
    if share == 0.0:
        return [], False  # measured and corrected; the calibration's spread stands for it
    new = tolerance(tc_type, chain.wire_class, temp_c)
    half_c = share * new.half_width_c
    what = tell("uncertainty.wire", tc_type=tc_type, wire_class=chain.wire_class.value)
    if not new.covered:
        low_c, high_c = new.class_low_c, new.class_high_c
        what = tell("uncertainty.beyond_class", what=what, low_c=low_c, high_c=high_c, times=BEYOND_CLASS)
    if share < 1.0:
        what = tell("uncertainty.beyond_span", what=what, beyond_share=share)
    words = tell("uncertainty.within", what=what, half_difference_c=half_c)
    return [rectangular("wire", half_c, words)], not new.covered


def _amplifier(
    chain: Chain, tc_type: str, temp_c: float, cold_junction_c: float | None, hot_uv: float, slope: float
) -> tuple[list[Part], bool]:
    """What the amplifier adds: its own limits, its cold-junction sensor seen at the hot end, its step."""
    at_c = 25.0 if cold_junction_c is None else cold_junction_c
    cold_uv = cold_emf_uv(tc_type, at_c)
    if cold_uv is None:
        raise OutOfRange(
            tell("error.terminals", terminals_c=at_c, tc_type=tc_type), remedy=tell("error.terminals.remedy")
        )
    limits = LIMITS[chain.amplifier]
    # Made with the probe on its board, a calibration has corrected the board's fixed error together with the wire's.
    checked = chain.calibration.with_board and chain.calibration.beyond(hot_uv) == 0.0
    parts, off_spec = [], False
    for limit in limits:
        if limit.kind is LimitKind.FIXED and checked:
            continue
        if limit.kind is LimitKind.COLD_WHEN_CALIBRATED and not checked:
            continue
        half, covered = limit.half_width(tc_type, temp_c, None if cold_junction_c is None else at_c, hot_uv - cold_uv)
        off_spec |= not covered
        if limit.in_uv:
            half_c = half / slope
        elif limit.kind in (LimitKind.COLD, LimitKind.COLD_WHEN_CALIBRATED):
            # one degree at the terminals is worth the emf of one degree there, seen with the slope at the hot end
            half_c = half * abs(_cold_slope(tc_type, at_c)) / slope
        else:
            half_c = half
        what = tell("uncertainty.limit", limit=limit.words)
        if not covered:
            what = tell("uncertainty.beyond_sheet", what=what)
        parts.append(rectangular(limit.name, half_c, tell("uncertainty.within", what=what, half_difference_c=half_c)))
    return parts, off_spec


def _cold_slope(tc_type: str, at_c: float) -> float:
    """Slope of the cold-junction emf in uV/degC, also where type B's function is continued below 0 degC."""
    low_c = 0.0 if tc_type == "B" else at_c
    return seebeck_uv_per_c(tc_type, max(at_c, low_c))
