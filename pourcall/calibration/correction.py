"""One plateau becomes one correction in emf, with its budget part by part.

correction = reference function at the known temperature - emf measured there, uV, terminals referred to 0 degC.
Parts (JCGM 100:2008, uncorrelated, in squares): scatter of the plateau; the sample's own temperature (figure and
purity); unevenness of the cup; heat led along the sheath where the probe stands shallow; what the board leaves open
once its fixed error is taken out together with the wire's (cold junction, resolution); oxygen that a cover may leave;
and, where nothing proves that metal stood there, that a panel may have held it (arrest_or_hold.py).
"""

from collections.abc import Sequence
from math import cosh, sqrt
from statistics import median
from typing import Literal, NamedTuple

from pourcall.contract.calibration import Calibration
from pourcall.contract.frames import RawKind
from pourcall.contract.message import Message, tell
from pourcall.thermal_analysis.arrest_or_hold import Heating, PowerFrom
from pourcall.thermal_analysis.plateau import Plateau, find_plateau
from pourcall.thermal_analysis.standstill import PoorPlateau
from pourcall.thermometry.amplifier_limits import LIMITS, Amplifier, amplifier_of
from pourcall.thermometry.compensation import total_emf_uv
from pourcall.thermometry.emf_correction import calibration_point
from pourcall.thermometry.reference_points import POINTS, CalPoint
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
# How often a plateau that shows no sign of a hold, and that nobody vouches for, is one all the same: judgement.
HELD_AFTER_ALL = 0.05
FAR_OFF = 1.5  # standard deviations of new wire and its board: further off, a person is asked
AS_IN_AIR_C = 4.0  # so near to the figure of the metal melted in air it is taken for that
OXYGEN_LEFT_C = {"silver": 0.5, "copper": 1.5}  # what charcoal may leave in the metal, as limits: judgement

Cover = Literal["charcoal", "graphite", "none", ""]


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
    """Emf referred to 0 degC in uV, None where there is no number; the terminals' temperature in the middle of it.

    power: from when on the power is known to have been on or off, in order.
    """

    times_s: list[float]
    emf_uv: list[float | None]
    cold_junction_c: float | None = None
    power: tuple[PowerFrom, ...] = ()


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


def point_as_covered(point: CalPoint, cover: Cover) -> CalPoint:
    """The point that a metal melted so has: silver and copper take up oxygen in the air and freeze lower.

    Raises PoorPlateau cover_unknown where nobody says how it was melted.
    """
    air = POINTS.get(f"{point.key}_air")
    if air is None or cover in ("charcoal", "graphite"):
        return point
    if cover == "none":
        return air
    raise PoorPlateau(
        "cover_unknown",
        tell("calibration.cover_unknown", metal=point.key, lower_difference_c=point.temp_c - air.temp_c),
        tell("calibration.do.tell_cover"),
    )


def _allowed_c(facts: ProbeFacts, temp_c: float) -> float:
    """What new wire of its class and the board may be off together, at the worst."""
    wire_c, board_c = limits_c(facts, temp_c)
    return wire_c + sum(board_c)


def unknown_c(facts: ProbeFacts, temp_c: float) -> float:
    """Standard deviation of what new wire and its board are off, before any calibration (JCGM 100:2008, 4.3.7)."""
    wire_c, board_c = limits_c(facts, temp_c)
    return sqrt((wire_c**2 + sum(half**2 for half in board_c)) / 3.0)


def limits_c(facts: ProbeFacts, temp_c: float) -> tuple[float, list[float]]:
    """What new wire of its class may be off, and each limit of its board."""
    wire_c = tolerance(facts.tc_type, WireClass(facts.wire_class), temp_c).half_width_c
    slope = max(seebeck_uv_per_c(facts.tc_type, temp_c), LEAST_SLOPE)
    board_c: list[float] = []
    for limit in LIMITS[facts.amplifier]:
        half, _ = limit.half_width(facts.tc_type, temp_c, None, emf_uv(facts.tc_type, temp_c))
        board_c.append(half / slope if limit.in_uv else half)
    return wire_c, board_c


def find_point(
    trace: EmfTrace,
    point: CalPoint,
    facts: ProbeFacts,
    *,
    grade: str = "commercial",
    depth_mm: float | None = None,
    with_board: bool = True,
    direction: Literal["freezing", "melting", ""] = "",
    heating: Heating = "",
    cover: Cover = "",
) -> FoundPoint:
    """The correction of a probe at a point, from the trace of its sample.

    with_board False: measured with another instrument, whose own error stays in. heating, cover: what a person or the
    record knows of the power and of what kept the air off; empty where nobody said. Raises PoorPlateau where the trace
    will not do or a question is open (cover_unknown, unproven), OutOfRange for a point beyond the couple's type,
    BadInput for an unknown grade.
    """
    point = point_as_covered(point, cover)
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
        heating=heating,
        power=trace.power,
    )
    error_c = plateau.value_c - point.temp_c
    _check_air(point, plateau.value_c, cover)
    _check_proof(point, plateau, error_c, facts)
    slope = max(seebeck_uv_per_c(facts.tc_type, point.temp_c), LEAST_SLOPE)
    measured_uv, offset_uv = calibration_point(facts.tc_type, emf_uv(facts.tc_type, plateau.value_c), point.temp_c)
    parts = [
        normal("plateau", plateau.standard_c, _scatter_words(plateau)),
        _sample_part(point, grade),
        _depth_part(point, facts, depth_mm),
        _uneven_part(plateau),
        *_board_parts(facts, point.temp_c, trace.cold_junction_c, with_board),
    ]
    if plateau.direction != "bath" and not plateau.proof:
        parts.append(_unproven_part(error_c, facts, point))
    if point.key in OXYGEN_LEFT_C:
        words = tell("calibration.part.oxygen", cover=cover, metal=point.key)
        parts.append(rectangular("oxygen", OXYGEN_LEFT_C[point.key], words))
    whole = combine(parts)
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


def _check_air(point: CalPoint, reads_c: float, cover: Cover) -> None:
    """Raises PoorPlateau where metal said to be covered stands where it stands in the air."""
    air = POINTS.get(f"{point.key}_air")
    if air is not None and abs(reads_c - air.temp_c) <= AS_IN_AIR_C:
        raise PoorPlateau(
            "as_in_air",
            tell("calibration.as_in_air", stands_c=reads_c, metal=point.key, air_c=air.temp_c, cover=cover),
            tell("calibration.do.deoxidize"),
        )


def _check_proof(point: CalPoint, plateau: Plateau, error_c: float, facts: ProbeFacts) -> None:
    """Raises PoorPlateau where only a person can say whether metal stood there or a panel held it."""
    if plateau.direction == "bath" or plateau.proof == "power":
        return
    if plateau.ended_s is None:
        raise PoorPlateau(
            "unproven",
            tell("calibration.unproven.no_end", near_c=plateau.value_c, flat_s=plateau.flat_s),
            tell("calibration.do.to_the_end"),
        )
    if not plateau.proof and abs(error_c) > FAR_OFF * unknown_c(facts, point.temp_c):
        raise PoorPlateau(
            "unproven",
            tell("calibration.unproven.far_off", off_difference_c=abs(error_c), metal=point.name),
            tell("calibration.do.vouch"),
        )


def _unproven_part(error_c: float, facts: ProbeFacts, point: CalPoint) -> Part:
    """A hold after all would leave the probe as unknown as before, and wrongly corrected: both in squares, seldom."""
    words = tell("calibration.part.unproven", metal=point.name)
    return normal("hold", sqrt(HELD_AFTER_ALL * (unknown_c(facts, point.temp_c) ** 2 + error_c**2)), words)


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
