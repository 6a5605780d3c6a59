"""A calibration in force: what is added to an emf. It lives in emf, so that a cold junction never disturbs it.

Recorded with the session that used it; readings keep theirs, nothing here changes a stored one.
"""

from bisect import bisect_right
from itertools import pairwise
from math import isfinite
from typing import Final

import msgspec

from pourcall.contract.errors import BadInput
from pourcall.contract.message import Message, tell


class Calibration(msgspec.Struct, frozen=True, omit_defaults=True):
    """What is added to an emf (uV, referred to 0 degC): `offset_uv + slope * emf` and a line through `points`.

    points: (emf_uv as measured, uV to add) in rising order; straight between, held beyond the ends.
    low_uv, high_uv: span a certificate vouches for when there are no points. spread_uv: standard uncertainty (k = 1).
    with_board: made with the probe on its own board, so that the amplifier's fixed error is corrected as well.
    due: the day it should be done again.
    Raises BadInput for figures that are not finite, points out of order, a negative spread, half a span.
    """

    points: tuple[tuple[float, float], ...] = ()
    offset_uv: float = 0.0
    slope: float = 0.0
    low_uv: float | None = None
    high_uv: float | None = None
    spread_uv: float = 0.0
    with_board: bool = True
    date: str = ""
    who: str = ""
    how: str = ""
    due: str = ""

    def __post_init__(self) -> None:
        figures = [self.offset_uv, self.slope, self.spread_uv, *(uv for point in self.points for uv in point)]
        figures += [uv for uv in (self.low_uv, self.high_uv) if uv is not None]
        if not all(isfinite(figure) for figure in figures):
            raise self._bad(tell("calibration.bad.not_finite"))
        if any(one[0] >= two[0] for one, two in pairwise(self.points)):
            raise self._bad(tell("calibration.bad.not_rising"))
        if self.spread_uv < 0.0:
            raise self._bad(tell("calibration.bad.spread", spread_uv=self.spread_uv))
        if (self.low_uv is None) != (self.high_uv is None):
            raise self._bad(tell("calibration.bad.one_end"))
        if self.low_uv is not None and self.high_uv is not None and self.low_uv > self.high_uv:
            raise self._bad(tell("calibration.bad.upside_down", low_uv=self.low_uv, high_uv=self.high_uv))

    def _bad(self, fault: Message) -> BadInput:
        return BadInput(fault, where=self.date, remedy=tell("calibration.bad.remedy"))

    @property
    def span_uv(self) -> tuple[float, float] | None:
        """Lowest and highest emf that were really checked; None where nobody says."""
        if self.points:
            return self.points[0][0], self.points[-1][0]
        if self.low_uv is not None and self.high_uv is not None:
            return self.low_uv, self.high_uv
        return None

    def correction_uv(self, emf_uv: float) -> float:
        """What to add to an emf, both in uV."""
        added_uv = self.offset_uv + self.slope * emf_uv
        points = self.points
        if not points:
            return added_uv
        above = bisect_right(points, emf_uv, key=_emf_of)
        if above == 0:
            return added_uv + points[0][1]
        if above == len(points):
            return added_uv + points[-1][1]
        (low_uv, low_add), (high_uv, high_add) = points[above - 1], points[above]
        return added_uv + low_add + (high_add - low_add) * (emf_uv - low_uv) / (high_uv - low_uv)

    def beyond(self, emf_uv: float) -> float:
        """How far an emf lies outside what was checked, as a share of the emf itself: 0 inside, up to 1 far away.

        An unchecked couple's error builds up along the temperature as the emf does (that is why wire tolerances are
        percentages), so this share of the wire's tolerance is what a calibration elsewhere leaves open. First order.
        """
        span = self.span_uv
        if span is None:
            return 1.0
        gap_uv = max(span[0] - emf_uv, emf_uv - span[1], 0.0)
        return min(1.0, gap_uv / max(abs(emf_uv), abs(span[0]), abs(span[1]))) if gap_uv > 0.0 else 0.0


def _emf_of(point: tuple[float, float]) -> float:
    return point[0]


NO_CALIBRATION: Final = Calibration()
