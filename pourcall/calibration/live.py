"""A calibration while it happens. Readings in, a plain sentence of how it stands, and the point once it is there.

The metal is done when the trace has left the plateau, or has stood on it for two minutes; a bath when it has stood for
three. Nothing here waits or asks: the caller brings the readings and their times.
"""

from pourcall.calibration.correction import EmfTrace, FoundPoint, ProbeFacts, find_point
from pourcall.contract.calibration import NO_CALIBRATION, Calibration
from pourcall.contract.units import say_c, say_difference_c
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


class LiveWatch:
    """Follow one probe towards one point."""

    def __init__(
        self, point: CalPoint, facts: ProbeFacts, *, grade: str = "commercial", depth_mm: float | None = None
    ) -> None:
        self.point, self.facts, self._grade, self._depth_mm = point, facts, grade, depth_mm
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

    def take(self, at_s: float, measured_uv: float | None) -> str:
        """One reading: emf uncorrected, uV, None where there is no number. A sentence with temperature tokens."""
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
        return self._sentence(at_s, measured_uv)

    def _look(self, at_s: float) -> None:
        try:
            found = find_point(self.trace, self.point, self.facts, grade=self._grade, depth_mm=self._depth_mm)
        except PoorPlateau as err:
            self.last_refusal = err
            return
        self.last_refusal = None
        bath = self.point.kind == "bath"
        over = not bath and found.plateau.ended_s is not None
        if over or found.plateau.flat_s >= (STOOD_BATH_S if bath else STOOD_ARREST_S):
            self.found = found

    def _silence(self, at_s: float) -> str:
        if self._heard_s is None:
            return f"no reading from {self.facts.name} yet"
        quiet_s = at_s - self._heard_s
        return f"nothing heard for {quiet_s:.0f} s" if quiet_s >= SILENT_S else "waiting for a reading"

    def _sentence(self, at_s: float, measured_uv: float) -> str:
        now_c = temp_c_or_none(self.facts.tc_type, measured_uv)
        if now_c is None:
            return "beyond what this couple can tell"
        rate = self._rate(at_s)
        if self.found is not None:
            return f"plateau found: {say_c(self.found.plateau.value_c)}, {self.found.plateau.flat_s:.0f} s long"
        moving = "steady"
        if rate is not None and abs(rate) >= 0.02:
            moving = f"{'rising' if rate > 0.0 else 'falling'} by {say_difference_c(abs(rate) * 60.0)} a minute"
        target = f"{self.point.name}: {say_c(self.point.temp_c)}"
        if abs(now_c - self.point.temp_c) > 3.0 * NEAR_C or self.last_refusal is None:
            return f"{say_c(now_c)}, {moving}; {target}"
        return f"{say_c(now_c)}, {moving}; {target}; not yet: {self.last_refusal.what}"

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
