"""Points on record become the calibration in force, with drift against the earlier ones and a due date.

Rule: of each known point the newest counts, unless it was overdue already when the newest of all was taken. The spread
is the largest of the points' and of their drift: what a point has moved since the time before may come again, as limits
(JCGM 100:2008, 4.3.7). Overdue calibrations stay in force: dropping one would be a jump no metal made; it is only said.
"""

from collections.abc import Sequence
from datetime import UTC, datetime
from itertools import pairwise
from math import sqrt
from typing import NamedTuple

import msgspec

from pourcall.contract.calibration import Calibration
from pourcall.contract.errors import BadInput
from pourcall.contract.message import tell

DAY_S = 86400.0
USUAL_DUE_DAYS = 180.0  # common practice, no source: type K drifts from its first melt on


class PointPart(msgspec.Struct, frozen=True):
    """One part of a point's budget as it was: degC, k = 1."""

    name: str
    standard_c: float
    words: str


class PointDetail(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What the record keeps of a point beside its figures, as JSON in `calibrations.detail`."""

    point: str
    tc_type: str = "K"
    due_days: float = USUAL_DUE_DAYS
    with_board: bool = True
    source: str = ""  # "melt 2026-014", a file's name, "live"
    grade: str = ""
    depth_mm: float | None = None
    error_c: float | None = None
    standard_c: float | None = None
    parts: tuple[PointPart, ...] = ()
    plateau: dict[str, float | str | None] = {}


class PointRow(msgspec.Struct, frozen=True, kw_only=True):
    """One row of `calibrations`. detail None: entered by hand, without more."""

    id: int
    furnace: str
    probe: str
    at_utc_s: float
    method: str
    reference_c: float
    emf_uv: float | None
    offset_uv: float
    spread_uv: float | None
    who: str
    detail: PointDetail | None = None
    corrects: int | None = None

    @property
    def key(self) -> str:
        """Rows of one key stand for the same known temperature."""
        return self.detail.point if self.detail is not None else f"{self.method} {self.reference_c:.1f}"

    @property
    def due_utc_s(self) -> float:
        """When it should be done again."""
        days = self.detail.due_days if self.detail is not None else USUAL_DUE_DAYS
        return self.at_utc_s + DAY_S * days


class Moved(NamedTuple):
    """A point against the time before: by how much its correction changed, uV, and over how long."""

    row: PointRow
    earlier: PointRow
    change_uv: float
    days: float


class InForce(msgspec.Struct, frozen=True):
    """What corrects a probe now. `rows` are its points, in rising order; due_utc_s the earliest of theirs."""

    calibration: Calibration
    rows: tuple[PointRow, ...]
    due_utc_s: float
    drift_uv: float | None  # largest change of a point in use; None where none was measured twice

    def overdue(self, utc_s: float) -> bool:
        """Whether a point in use should have been done again by now."""
        return utc_s > self.due_utc_s


def standing(rows: Sequence[PointRow]) -> list[PointRow]:
    """Rows no later row corrects, oldest first."""
    corrected = {row.corrects for row in rows if row.corrects is not None}
    return sorted((row for row in rows if row.id not in corrected), key=lambda row: (row.at_utc_s, row.id))


def moved(rows: Sequence[PointRow]) -> list[Moved]:
    """Each point against the one before it of the same key, oldest first."""
    last: dict[str, PointRow] = {}
    out: list[Moved] = []
    for row in standing(rows):
        earlier = last.get(row.key)
        if earlier is not None:
            days = (row.at_utc_s - earlier.at_utc_s) / DAY_S
            out.append(Moved(row, earlier, row.offset_uv - earlier.offset_uv, days))
        last[row.key] = row
    return out


def in_force(rows: Sequence[PointRow], tc_type: str) -> InForce | None:
    """The calibration of a probe from all its rows; None where there is none for this type of couple.

    Rows without an emf (entered by hand) are an offset alone: they count where no point has an emf, the newest only.
    Raises BadInput where points contradict each other (two known temperatures at one emf).
    """
    usable = [row for row in standing(rows) if row.detail is None or row.detail.tc_type == tc_type]
    if not usable:
        return None
    newest = usable[-1]
    by_key = {row.key: row for row in usable if row.due_utc_s >= newest.at_utc_s or row is newest}
    chosen = sorted((row for row in by_key.values() if row.emf_uv is not None), key=_emf_uv)
    if not chosen:
        chosen = [newest]
    drifts = [abs(one.change_uv) for one in moved(usable) if one.row in chosen]
    drift_uv = max(drifts) if drifts else None
    spread_uv = max(row.spread_uv or 0.0 for row in chosen)
    spread_uv = sqrt(spread_uv**2 + (drift_uv or 0.0) ** 2 / 3.0)
    due_utc_s = min(row.due_utc_s for row in chosen)
    points = tuple((_emf_uv(row), row.offset_uv) for row in chosen if row.emf_uv is not None)
    if any(high <= low for (low, _), (high, _) in pairwise(points)):
        raise BadInput(tell("calibration.same_emf"), where=newest.probe, remedy=tell("calibration.same_emf.remedy"))
    calibration = Calibration(
        points=points,
        offset_uv=0.0 if points else newest.offset_uv,
        spread_uv=round(spread_uv, 3),
        with_board=all(row.detail is None or row.detail.with_board for row in chosen),
        date=day(newest.at_utc_s),
        who=newest.who,
        how=", ".join(row.key for row in chosen),
        due=day(due_utc_s),
    )
    return InForce(calibration, tuple(chosen), due_utc_s, drift_uv)


def _emf_uv(row: PointRow) -> float:
    assert row.emf_uv is not None
    return row.emf_uv


def day(utc_s: float) -> str:
    """`2026-11-25`, UTC."""
    return datetime.fromtimestamp(utc_s, UTC).strftime("%Y-%m-%d")
