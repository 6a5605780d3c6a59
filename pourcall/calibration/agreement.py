"""A new point against the earlier ones of its probe: do they fit one couple? Found point and rows in, a doubt out.

One couple's error follows a pattern: it builds up along the wire with temperature, so that two points share most of
it (that is why wire tolerances are percentages), and the board's comes on top. And it drifts: type K by less than its
class between calibrations as long as it is fit for use (reversible ordering near 250 to 550 degC and oxidation move it
by a few degrees: memory; that its class bounds them is judgement). What does not fit is a hold taken for an arrest,
another metal, or a couple that has changed: a person must say which.
"""

from collections.abc import Sequence
from math import hypot

from pourcall.calibration.correction import FoundPoint, ProbeFacts, limits_c
from pourcall.calibration.history import PointRow, day, standing
from pourcall.contract.message import Message, tell
from pourcall.thermometry.thermocouple import seebeck_uv_per_c
from pourcall.thermometry.tolerance import WireClass, tolerance
from pourcall.thermometry.uncertainty import LEAST_SLOPE

OWN_SHARE = 0.5  # of class and board: what two points of one couple may have each for itself; judgement
MOST_SCALE = 2.0  # by how much a pattern is stretched from one point to another


def doubt(found: FoundPoint, rows: Sequence[PointRow], facts: ProbeFacts) -> Message | None:
    """What is strange about a point beside the earlier ones, the worst of it; None where they fit one couple."""
    worst: tuple[float, Message] | None = None
    latest = {row.key: row for row in standing(rows) if _comparable(row, found, facts)}
    for key, row in latest.items():
        over, told = _moved(found, row, facts) if key == found.point.key else _apart(found, row, facts)
        if over > 1.0 and (worst is None or over > worst[0]):
            worst = over, told
    return worst[1] if worst is not None else None


def _comparable(row: PointRow, found: FoundPoint, facts: ProbeFacts) -> bool:
    detail = row.detail
    same = detail is not None and detail.tc_type == facts.tc_type and detail.with_board == found.with_board
    return same and row.emf_uv is not None


def _error_c(row: PointRow, facts: ProbeFacts) -> tuple[float, float]:
    """By how much the probe read high there, and its standard uncertainty."""
    slope = max(seebeck_uv_per_c(facts.tc_type, row.reference_c), LEAST_SLOPE)
    return -row.offset_uv / slope, (row.spread_uv or 0.0) / slope


def _wire_c(facts: ProbeFacts, temp_c: float) -> float:
    return tolerance(facts.tc_type, WireClass(facts.wire_class), temp_c).half_width_c


def _apart(found: FoundPoint, row: PointRow, facts: ProbeFacts) -> tuple[float, Message]:
    here_c, there_c = found.point.temp_c, row.reference_c
    other_c, other_u_c = _error_c(row, facts)
    scale = min(MOST_SCALE, _wire_c(facts, here_c) / _wire_c(facts, there_c))
    wire_c, board_c = limits_c(facts, here_c)
    board = sum(half**2 for half in board_c) ** 0.5
    most_c = OWN_SHARE * (wire_c + board) + 2.0 * hypot(found.standard_c, scale * other_u_c)
    told = tell(
        "calibration.apart",
        point=found.point.key,
        other=row.key,
        error_difference_c=found.error_c,
        other_difference_c=other_c,
        most_difference_c=most_c,
    )
    return abs(found.error_c - scale * other_c) / most_c, told


def _moved(found: FoundPoint, row: PointRow, facts: ProbeFacts) -> tuple[float, Message]:
    before_c, before_u_c = _error_c(row, facts)
    most_c = _wire_c(facts, found.point.temp_c) + 2.0 * hypot(found.standard_c, before_u_c)
    moved_c = found.error_c - before_c
    told = tell(
        "calibration.moved",
        point=found.point.key,
        moved_difference_c=moved_c,
        date=day(row.at_utc_s),
        most_difference_c=most_c,
    )
    return abs(moved_c) / most_c, told
