"""A calibration while it happens. Readings in, how it stands, and the point once it is there.

The metal is done when the trace has left the plateau, or, with the power known to be off, has stood on it for two
minutes; a bath when it has stood for three. Nothing here waits or asks: the caller brings the readings and their times.
"""

from typing import NamedTuple

from pourcall.calibration.correction import (
    Cover,
    EmfTrace,
    FoundPoint,
    ProbeFacts,
    find_point,
    point_as_covered,
)
from pourcall.contract.calibration import NO_CALIBRATION, Calibration
from pourcall.contract.message import NOTHING, Message, tell
from pourcall.thermal_analysis.arrest_or_hold import Heating
from pourcall.thermal_analysis.standstill import PoorPlateau
from pourcall.thermometry.reference_points import CalPoint
from pourcall.thermometry.thermocouple import emf_uv, temp_c_or_none

LOOK_EVERY_S = 5.0
STOOD_ARREST_S, STOOD_BATH_S = 120.0, 180.0
SILENT_S = 10.0
NEAR_C = 3.0
RATE_S = 20.0


def uncorrected_uv(temp_c: float, tc_type: str, calibration: Calibration | None) -> float:
    """The emf a couple gave (terminals at 0 degC), from the temperature made of it under a calibration, uV.

    A correction changes slowly with the emf, so that a few steps of substitution find it. Raises OutOfRange.
    """
    wanted_uv = emf_uv(tc_type, temp_c)
    cal = calibration or NO_CALIBRATION
    measured_uv = wanted_uv
    for _ in range(8):
        measured_uv = wanted_uv - cal.correction_uv(measured_uv)
    return measured_uv


class Standing(NamedTuple):
    """How it stands: what the metal does now, and what is still wanted of it."""

    now: Message
    wanted: Message = NOTHING

    @property
    def told(self) -> Message:
        """Both."""
        return tell("calibration.standing", now=self.now, wanted=self.wanted) if self.wanted else self.now


class LiveWatch:
    """Follow one probe towards one point."""

    def __init__(
        self,
        point: CalPoint,
        facts: ProbeFacts,
        *,
        grade: str = "commercial",
        depth_mm: float | None = None,
        heating: Heating = "",
        cover: Cover = "",
    ) -> None:
        self.point = point_as_covered(point, cover)  # what must be asked is asked before anybody waits
        self.facts, self._grade, self._depth_mm, self._cover = facts, grade, depth_mm, cover
        self.heating = heating
        self._times_s: list[float] = []
        self._emf_uv: list[float | None] = []
        self._heard_s: float | None = None
        self._looked_s = -1e9
        self._began_s: float | None = None
        self.found: FoundPoint | None = None
        self.last_refusal: PoorPlateau | None = None

    @property
    def trace(self) -> EmfTrace:
        """All that came in."""
        return EmfTrace(list(self._times_s), list(self._emf_uv))

    def take(self, at_s: float, measured_uv: float | None) -> Standing:
        """One reading: emf uncorrected, uV, None where there is no number."""
        if self._times_s and at_s <= self._times_s[-1]:
            return self._silence(at_s)
        self._began_s = at_s if self._began_s is None else self._began_s
        self._times_s.append(at_s)
        self._emf_uv.append(measured_uv)
        if measured_uv is None:
            return self._silence(at_s)
        self._heard_s = at_s
        if at_s - self._looked_s >= LOOK_EVERY_S:
            self._looked_s = at_s
            self._look(at_s)
        return self._standing(at_s, measured_uv)

    def _look(self, at_s: float) -> None:
        try:
            found = find_point(
                self.trace,
                self.point,
                self.facts,
                grade=self._grade,
                depth_mm=self._depth_mm,
                heating=self.heating,
                cover=self._cover,
            )
        except PoorPlateau as err:
            self.last_refusal = err
            return
        self.last_refusal = None
        bath = self.point.kind == "bath"
        over = not bath and found.plateau.ended_s is not None
        if over or found.plateau.flat_s >= (STOOD_BATH_S if bath else STOOD_ARREST_S):
            self.found = found

    def _silence(self, at_s: float) -> Standing:
        if self._heard_s is None:
            return Standing(tell("calibration.no_reading", probe=self.facts.name))
        quiet_s = at_s - self._heard_s
        if quiet_s >= SILENT_S:
            return Standing(tell("calibration.silent", quiet_s=quiet_s))
        return Standing(tell("calibration.waiting"))

    def _standing(self, at_s: float, measured_uv: float) -> Standing:
        now_c = temp_c_or_none(self.facts.tc_type, measured_uv)
        if now_c is None:
            return Standing(tell("calibration.beyond"))
        if self.found is not None:
            plateau = self.found.plateau
            return Standing(tell("calibration.found", plateau_c=plateau.value_c, flat_s=plateau.flat_s))
        rate = self._rate(at_s)
        if rate is None or abs(rate) < 0.02:
            now = tell("calibration.steady", now_c=now_c)
        else:
            now = tell(
                "calibration.rising" if rate > 0.0 else "calibration.falling",
                now_c=now_c,
                rate_c_per_min=60.0 * abs(rate),
            )
        wanted = tell("calibration.target", metal=self.point.name, point_c=self.point.temp_c)
        if abs(now_c - self.point.temp_c) <= 3.0 * NEAR_C and self.last_refusal is not None:
            wanted = tell("calibration.not_yet", target=wanted, why=self.last_refusal.told)
        return Standing(now, wanted)

    def _rate(self, at_s: float) -> float | None:
        held = [
            (when_s, uv)
            for when_s, uv in zip(self._times_s[-200:], self._emf_uv[-200:], strict=True)
            if uv is not None and at_s - when_s <= RATE_S
        ]
        if len(held) < 2 or held[-1][0] - held[0][0] < 0.5 * RATE_S:
            return None
        first_c, last_c = (temp_c_or_none(self.facts.tc_type, uv) for _, uv in (held[0], held[-1]))
        if first_c is None or last_c is None:
            return None
        return (last_c - first_c) / (held[-1][0] - held[0][0])
