"""One plateau becomes one correction in emf, with its budget part by part.

correction = reference function at the known temperature - emf measured there, uV, terminals referred to 0 degC.
Parts (JCGM 100:2008, uncorrelated, in squares): scatter of the plateau; the sample's own temperature (figure and
purity); unevenness of the cup; heat led along the sheath where the probe stands shallow; what the board leaves open
once its fixed error is taken out together with the wire's (cold junction, resolution).
"""

from collections.abc import Sequence
from math import cosh
from statistics import median
from typing import Literal, NamedTuple

from pourcall.contract.calibration import Calibration
from pourcall.contract.frames import RawKind
from pourcall.contract.message import Message, tell
from pourcall.thermal_analysis.plateau import Plateau, find_plateau
from pourcall.thermal_analysis.standstill import PoorPlateau
from pourcall.thermometry.amplifier_limits import LIMITS, Amplifier, amplifier_of
from pourcall.thermometry.compensation import total_emf_uv
from pourcall.thermometry.emf_correction import calibration_point
from pourcall.thermometry.reference_points import CalPoint
from pourcall.thermometry.thermocouple import emf_uv, seebeck_uv_per_c, temp_c_or_none
from pourcall.thermometry.tolerance import WireClass, tolerance
from pourcall.thermometry.uncertainty import LEAST_SLOPE, Chain, Part, budget, combine, normal, rectangular

# sqrt(4 h / (k d)) of the sheath in molten metal, per m: own estimate with h 2000 W/(m2 K), k 25 W/(m K).
FIN_PER_M = {"thin": 462.0, "mineral_3mm": 327.0, "mineral_6mm": 231.0, "ceramic_tube": 140.0}
IN_WATER = 0.6  # of the figure in metal: h near 700 W/(m2 K) in stirred water; judgement
USUAL_DEPTH_MM = 40.0
LEAST_DEPTH_MM = 15.0
ROOM_C = 20.0
# Off the middle a probe reads towards the wall, and the plateau slopes with it. In the simulator it reads low by 0.6 of
# the whole drop from end to end, whatever the metal; the whole of it is taken as limits.
LEAN = 1.0
# Time to show a new temperature, five time constants: sheaths of 1.5, 3 and 6 mm by their printed t90 in water (the
# table behind sim.probe); ceramic tubes 30 to 120 s (memory).
SETTLE_S = {"thin": 1.5, "mineral_3mm": 6.5, "mineral_6mm": 21.0, "ceramic_tube": 110.0}
OTHER_METER_C = 0.5  # what another instrument adds at the least: judgement


class ProbeFacts(NamedTuple):
    """What is calibrated, as the settings tell it."""

    name: str
    furnace: str
    tc_type: str = "K"
    wire_class: str = "iec_2"
    chip: str = ""
    sheath: str = "mineral_6mm"
    offset_uv: float = 0.0

    @property
    def amplifier(self) -> Amplifier:
        """The board's amplifier."""
        return amplifier_of(self.chip)


class RawSample(NamedTuple):
    """One sample as the board gave it, uncorrected."""

    at_s: float
    raw_kind: RawKind
    raw_value: float | None
    cold_junction_c: float | None


class EmfTrace(NamedTuple):
    """Emf referred to 0 degC in uV, None where there is no number; the terminals' temperature in the middle of it."""

    times_s: list[float]
    emf_uv: list[float | None]
    cold_junction_c: float | None = None


class FoundPoint(NamedTuple):
    """One point of a calibration. emf_uv as measured, offset_uv what to add, spread_uv its standard uncertainty."""

    point: CalPoint
    plateau: Plateau
    emf_uv: float
    offset_uv: float
    spread_uv: float
    error_c: float  # by how much the probe reads high, nominal
    standard_c: float
    parts: tuple[Part, ...]
    with_board: bool
    beyond_class: bool  # more than new wire of its class and the board may be off


def emf_trace(samples: Sequence[RawSample], tc_type: str) -> EmfTrace:
    """Samples to emf referred to 0 degC; what cannot be converted stays None."""
    emfs = [total_emf_uv(s.raw_kind, s.raw_value, s.cold_junction_c, tc_type)[0] for s in samples]
    colds = [s.cold_junction_c for s in samples if s.cold_junction_c is not None]
    return EmfTrace([s.at_s for s in samples], emfs, median(colds) if colds else None)


def search_c(facts: ProbeFacts, temp_c: float) -> float:
    """How far from its figure a plateau is looked for: twice what wire and board may be off, and some more."""
    return 4.0 + 2.0 * _allowed_c(facts, temp_c)


def _allowed_c(facts: ProbeFacts, temp_c: float) -> float:
    wire_c = tolerance(facts.tc_type, WireClass(facts.wire_class), temp_c).half_width_c
    slope = max(seebeck_uv_per_c(facts.tc_type, temp_c), LEAST_SLOPE)
    board_c = 0.0
    for limit in LIMITS[facts.amplifier]:
        half, _ = limit.half_width(facts.tc_type, temp_c, None, emf_uv(facts.tc_type, temp_c))
        board_c += half / slope if limit.in_uv else half
    return wire_c + board_c


def find_point(
    trace: EmfTrace,
    point: CalPoint,
    facts: ProbeFacts,
    *,
    grade: str = "commercial",
    depth_mm: float | None = None,
    with_board: bool = True,
    direction: Literal["freezing", "melting", ""] = "",
) -> FoundPoint:
    """The correction of a probe at a point, from the trace of its sample.

    with_board False: measured with another instrument, whose own error stays in. Raises PoorPlateau where the trace
    will not do, OutOfRange for a point beyond the couple's type, BadInput for an unknown grade.
    """
    if depth_mm is not None and depth_mm < LEAST_DEPTH_MM:
        raise PoorPlateau(
            "too_shallow",
            tell("calibration.shallow", depth_mm=depth_mm),
            tell("calibration.do.deeper", least_mm=USUAL_DEPTH_MM),
        )
    temps_c = [None if uv is None else temp_c_or_none(facts.tc_type, uv) for uv in trace.emf_uv]
    plateau = find_plateau(
        trace.times_s,
        temps_c,
        point,
        near_c=search_c(facts, point.temp_c),
        direction=direction,
        settle_s=SETTLE_S.get(facts.sheath, SETTLE_S["mineral_6mm"]),
    )
    slope = max(seebeck_uv_per_c(facts.tc_type, point.temp_c), LEAST_SLOPE)
    measured_uv, offset_uv = calibration_point(facts.tc_type, emf_uv(facts.tc_type, plateau.value_c), point.temp_c)
    parts = [
        normal("plateau", plateau.standard_c, _scatter_words(plateau)),
        _sample_part(point, grade),
        _depth_part(point, facts, depth_mm),
        _uneven_part(plateau),
        *_board_parts(facts, point.temp_c, trace.cold_junction_c, with_board),
    ]
    whole = combine(parts)
    error_c = plateau.value_c - point.temp_c
    beyond = abs(error_c) > _allowed_c(facts, point.temp_c) + 2.0 * whole.standard_c
    return FoundPoint(
        point,
        plateau,
        measured_uv,
        offset_uv,
        whole.standard_c * slope,
        error_c,
        whole.standard_c,
        whole.parts,
        with_board,
        beyond,
    )


def _scatter_words(plateau: Plateau) -> Message:
    return tell("calibration.part.plateau", flat_s=plateau.flat_s, scatter_difference_c=plateau.scatter_c)


def _uneven_part(plateau: Plateau) -> Part:
    words = tell("calibration.part.evenness", tilt_difference_c=plateau.tilt_c)
    return rectangular("bath" if plateau.direction == "bath" else "cup", LEAN * plateau.tilt_c, words)


def _sample_part(point: CalPoint, grade: str) -> Part:
    standard_c = point.standard_c(grade)
    if point.kind == "bath" or "+" in point.key:  # a bath, or a cup of an alloy: no grade of metal
        words = tell("calibration.part.sample", metal=point.name, point_c=point.temp_c, mark=point.mark)
    else:
        words = tell(
            "calibration.part.sample_of_grade", metal=point.name, grade=grade, point_c=point.temp_c, mark=point.mark
        )
    return normal("sample", standard_c, words)


def _depth_part(point: CalPoint, facts: ProbeFacts, depth_mm: float | None) -> Part:
    """A fin's tip error is 1 / cosh(L sqrt(4h/(kd))) of the way to the surroundings: taken as limits."""
    deep_mm = USUAL_DEPTH_MM if depth_mm is None else depth_mm
    fin = FIN_PER_M.get(facts.sheath, FIN_PER_M["mineral_6mm"]) * (IN_WATER if point.kind == "bath" else 1.0)
    share = 1.0 / cosh(min(50.0, deep_mm * 1e-3 * fin))
    words = tell(
        "calibration.part.depth_taken" if depth_mm is None else "calibration.part.depth",
        depth_mm=deep_mm,
        sheath=facts.sheath,
    )
    return rectangular("depth", share * abs(point.temp_c - ROOM_C), words)


def _board_parts(facts: ProbeFacts, temp_c: float, cold_c: float | None, with_board: bool) -> list[Part]:
    amplifier = facts.amplifier if with_board else Amplifier.INSTRUMENT
    at_uv = emf_uv(facts.tc_type, temp_c)
    spanned = Calibration(points=((at_uv, 0.0),), with_board=with_board)  # the wire's part is what is being measured
    chain = Chain(facts.tc_type, amplifier, WireClass(facts.wire_class), spanned)
    parts = list(budget(chain, temp_c, cold_c).parts)
    if not parts:  # an instrument: its own error is in the correction, its steadiness is not known
        parts = [rectangular("instrument", OTHER_METER_C, tell("calibration.part.instrument"))]
    return parts
