"""A sample cup of the alloy (150-200 g) checks alloy and probe. Readings in, a `CupCheck` out.

The probe is read as it is shown, with whatever calibration is in force: what is asked is how far the shop's figure is
from a published one. The plateau is found by live.py, knees and strange halts by the arrests of the engine; what the
halt says of probe and alloy is arrest_check.py. A temperature that a panel held looks much the same
(arrest_or_hold.py): where neither undercooling nor a person's word on the power proves the halt, it is refused.
A check corrects nothing: that is what `calibrate` and pure metal are for. Checks on record show whether a probe drifts
(weighted least squares; the slope's standard error: any text).
"""

from collections.abc import Sequence
from math import hypot, isfinite, sqrt

import msgspec

from pourcall.calibration.correction import ProbeFacts
from pourcall.calibration.history import DAY_S
from pourcall.calibration.live import LiveWatch, Standing
from pourcall.contract.message import NOTHING, Message, Told, tell
from pourcall.thermal_analysis.arrest_check import (
    KNEE_U_C,
    Check,
    Expected,
    Point,
    Verdict,
    check_arrest,
    missing,
    side_of,
)
from pourcall.thermal_analysis.arrest_or_hold import Heating
from pourcall.thermal_analysis.arrests import Arrest, ArrestWatch, Kind, Way
from pourcall.thermal_analysis.standstill import PoorPlateau
from pourcall.thermometry.reference_points import CalPoint
from pourcall.thermometry.sheaths import SHEATHS
from pourcall.thermometry.thermocouple import emf_uv_or_none

PAST_C = 25.0  # so far below the lowest halt everything has been seen
TREND_LEAST = 3
REPEAT_U_C = 1.5  # k = 2: cups of one metal repeat within a degree or two (memory)
TREND_DAYS = 14.0
MONTH_DAYS = 30.4375
FAST_C_PER_S = 1.5  # the plateau of 200 g is over within a minute or two
KNEE_ONLY_S = 60.0  # a strange halt counts in a cup once it lasted so long


class CupCheck(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One check, as it is kept. offset_c: reading less published; None where the alloy is the matter.

    u_c: its expanded uncertainty (k = 2), of cup and sheet. probe_u_c: what the probe may be out by, by its own budget.
    """

    probe: str
    furnace: str
    alloy: str
    alloy_name: str
    at_utc_s: float
    verdict: str
    reads_c: float
    at_c: float | None = None
    offset_c: float | None = None
    u_c: float | None = None
    probe_u_c: float | None = None
    kind: str = "plateau"
    lasted_s: float = 0.0
    undercooling_c: float = 0.0
    others: tuple[str, ...] = ()
    unseen_c: float | None = None  # where it should have begun to freeze, and nothing was seen
    text: Told = NOTHING
    remedy: Told = NOTHING
    who: str = ""
    source: str = ""

    @property
    def beyond(self) -> bool:
        """The probe is out by more than it should be."""
        if self.offset_c is None or self.u_c is None or self.probe_u_c is None:
            return False
        return abs(self.offset_c) > hypot(self.u_c, self.probe_u_c)


class CupWatch:
    """Follow one cup. `take` each reading; `done` once everything is seen; `result` says what came of it."""

    def __init__(
        self,
        own: Expected,
        others: Sequence[Expected],
        facts: ProbeFacts,
        *,
        probe_u_c: float,
        sample_s: float = 1.0,
        depth_mm: float | None = None,
        heating: Heating = "",
    ) -> None:
        """probe_u_c: expanded, k = 2, at the alloy's halts. sample_s: between readings.

        heating: what a person says of the power while the cup cooled; empty where nobody said.
        """
        self._heating: Heating = heating
        self.own, self._others, self._facts, self._probe_u_c = own, tuple(others), facts, probe_u_c
        rule = SHEATHS.get(facts.sheath, SHEATHS["mineral_6mm"])
        self._arrests = ArrestWatch(rule.tau_metal_s, sample_s)
        self._lives = [
            LiveWatch(cal_point(own, point), facts, depth_mm=depth_mm, heating=heating)
            for point in own.points
            if point.kind is Kind.PLATEAU
        ]
        self.arrests: list[Arrest] = []
        self._lowest_c = min((point.temp_c for point in own.points), default=0.0)
        self._past = False
        self._fastest: float | None = None  # degC/s, falling

    @property
    def done(self) -> bool:
        """Nothing more is to come: the plateau is measured, or the metal has cooled past every halt."""
        return self._past or self._measured() is not None

    def take(self, at_s: float, temp_c: float | None) -> Standing:
        """One reading; how it stands."""
        measured_uv = None if temp_c is None else emf_uv_or_none(self._facts.tc_type, temp_c)
        standings = [live.take(at_s, measured_uv) for live in self._lives]
        if temp_c is None or not isfinite(temp_c):
            return standings[0] if standings else Standing(tell("calibration.no_reading", probe=self._facts.name))
        arrest = self._arrests.add(at_s, temp_c)
        if (line := self._arrests.line) is not None:
            self._fastest = max(self._fastest or 0.0, -line[2])
        if arrest is not None and arrest.way is Way.COOLING:
            self.arrests.append(arrest)
        low_c = min([self._lowest_c, *(one.plateau_c for one in self.arrests)])
        self._past = self._past or (bool(self.arrests) and temp_c < low_c - PAST_C)
        if standings:
            return standings[0]
        halts = tuple(tell("arrest.halt", halt_c=point.temp_c) for point in self.own.points)
        return Standing(
            tell("calibration.steady", now_c=temp_c), tell("calibration.halts", alloy=self.own.name, halts=halts)
        )

    def _measured(self) -> LiveWatch | None:
        for live in self._lives:
            if live.found is not None and live.found.plateau.direction == "freezing":
                return live
        return None

    def result(self, *, at_utc_s: float, who: str = "", source: str = "") -> CupCheck:
        """What the cup says. Raises PoorPlateau where no halt was seen, with the reason."""
        kept = {"at_utc_s": at_utc_s, "who": who, "source": source}
        self._check_held()
        live = self._measured()
        if live is not None and live.found is not None:
            plateau = live.found.plateau
            seen = Arrest(
                Kind.PLATEAU,
                Way.COOLING,
                plateau.began_s,
                plateau.value_c,
                plateau.value_c,
                plateau.began_s + plateau.flat_s,
                plateau.value_c,
                plateau.undercooling_c,
                plateau.tilt_c,
            )
            return self._judged(seen, 2.0 * live.found.standard_c, kept)
        halts = [one for one in self.arrests if one.kind is Kind.PLATEAU and one.lasted_s >= KNEE_ONLY_S]
        knees = [one for one in self.arrests if one.kind is Kind.KNEE]
        if halts or knees:
            self._check_vouched()
        if halts:
            return self._judged(max(halts, key=lambda one: one.lasted_s), None, kept)
        only_knees = all(point.kind is Kind.KNEE for point in self.own.points)
        if knees and (only_knees or not self._lives):
            return self._judged(knees[0], None, kept)
        if self._fastest is not None and self._fastest > FAST_C_PER_S and not self.arrests:
            raise PoorPlateau(
                "too_fast",
                tell("calibration.cooled_fast", rate_c_per_min=60.0 * self._fastest),
                tell("calibration.do.warm_cup"),
            )
        refusals = [live.last_refusal for live in self._lives if live.last_refusal is not None]
        if any(self._arrests.not_seen(point.temp_c) for point in self.own.points if point.kind is Kind.PLATEAU):
            raise PoorPlateau("not_seen", missing(self.own), tell("calibration.do.cover"))
        if knees:
            return self._judged(knees[0], None, kept)
        if refusals:
            raise refusals[0]
        raise PoorPlateau(
            "no_arrest",
            tell("calibration.no_halt", alloy=self.own.name),
            tell("calibration.do.begin_hotter", hotter_difference_c=30.0),
        )

    def _check_held(self) -> None:
        """Raises PoorPlateau where a panel or a hand held the cup, by its trace or by what a person says."""
        for live in self._lives:
            if live.last_refusal is not None and live.last_refusal.code == "hold":
                raise live.last_refusal
        if self._heating in ("panel", "on"):
            name = "calibration.hold.regulated" if self._heating == "panel" else "calibration.hold.power_on"
            near_c = self.arrests[0].plateau_c if self.arrests else self._lowest_c
            raise PoorPlateau("hold", tell(name, near_c=near_c), tell("calibration.do.unheated"))

    def _check_vouched(self) -> None:
        """Raises PoorPlateau where nobody says that nothing heated it: a knee or a rough halt proves nothing itself."""
        if self._heating != "off":
            raise PoorPlateau("unproven", tell("calibration.unproven.cup"), tell("calibration.do.vouch"))

    def _judged(self, arrest: Arrest, u_c: float | None, kept: dict[str, object]) -> CupCheck:
        check = check_arrest(arrest, self.own, self._others, probe_u_c=self._probe_u_c)
        u_c = check.u_c if u_c is None or check.u_c is None else max(u_c, 0.5)
        if arrest.kind is Kind.KNEE and u_c is not None:
            u_c = max(u_c, KNEE_U_C)
        what = next((point.what for point in self.own.points if point.temp_c == check.expected_c), "")
        unseen = [
            point.temp_c
            for point in self.own.points
            if point.kind is Kind.KNEE and arrest.kind is Kind.PLATEAU and self._arrests.not_seen(point.temp_c)
        ]
        blamed = check.verdict in (Verdict.FITS, Verdict.PROBE)
        made = CupCheck(
            probe=self._facts.name,
            furnace=self._facts.furnace,
            alloy=self.own.key,
            alloy_name=self.own.name,
            verdict=check.verdict.value,
            reads_c=round(check.reads_c, 2),
            at_c=check.expected_c,
            offset_c=round(check.error_c, 2) if blamed and check.error_c is not None else None,
            u_c=None if u_c is None or not blamed else round(u_c, 2),
            probe_u_c=round(self._probe_u_c, 2),
            kind=arrest.kind.value,
            lasted_s=round(arrest.lasted_s, 1),
            undercooling_c=round(arrest.undercooling_c, 1),
            others=check.others,
            unseen_c=unseen[0] if unseen else None,
            **kept,  # type: ignore[arg-type]
        )
        return msgspec.structs.replace(made, text=_text(made, check, what), remedy=_remedy(made, check))


def cal_point(own: Expected, point: Point) -> CalPoint:
    """A halt of an alloy as a known temperature: its tolerance is the sheet's, its grade is in that."""
    named = tell("point.name.of_alloy", what=point.what, alloy=own.name)
    return CalPoint(f"{own.key}+{point.what}", point.temp_c, "arrest", point.u_c, "sheet", "sheet", named=named)


def _text(made: CupCheck, check: Check, what: str) -> Message:
    """What the cup says of the probe; where the alloy is the matter, of the alloy."""
    if made.offset_c is None or made.at_c is None or made.u_c is None:
        return check.text
    text = tell(
        "calibration.cup.reads",
        probe=made.probe,
        off_difference_c=abs(made.offset_c),
        side=side_of(made.offset_c),
        at_c=made.at_c,
        halt=what,
        u_c=made.u_c,
    )
    if made.unseen_c is not None:
        text = tell("calibration.cup.unseen", reads=text, unseen_c=made.unseen_c)
    return tell("calibration.cup.lowered", reads=text, why=check.text) if check.lowered else text


def _remedy(made: CupCheck, check: Check) -> Message:
    if check.verdict is Verdict.UNKNOWN:
        return tell("calibration.cup.do.both")
    if check.verdict is Verdict.ALLOY or made.unseen_c is not None:
        return tell("calibration.cup.do.look")
    if check.lowered:
        return tell("calibration.cup.do.modified")
    if made.beyond:
        return tell("calibration.cup.do.replace")
    agrees = made.offset_c is None or abs(made.offset_c) <= (made.u_c or 0.0)
    return tell("calibration.cup.do.nothing" if agrees else "calibration.cup.do.calibrate")


class Drift(msgspec.Struct, frozen=True):
    """How a probe's offset goes. drift_c_per_month with its expanded uncertainty (k = 2)."""

    drift_c_per_month: float
    u_c: float
    checks: int
    days: float

    @property
    def is_sure(self) -> bool:
        """More than the checks' own scatter would make."""
        return abs(self.drift_c_per_month) > self.u_c


def drift(checks: Sequence[CupCheck]) -> Drift | None:
    """Slope of the offsets over time; None: fewer than three checks, or within two weeks.

    Three of one alloy's halt are enough, and go by how well cups repeat: what the sheet is out by is the same in each.
    Else all are taken, weighted by their uncertainty.
    """
    known = [one for one in checks if one.offset_c is not None and one.u_c is not None]
    same: dict[tuple[str, float | None], list[CupCheck]] = {}
    for one in known:
        same.setdefault((one.alloy, one.at_c), []).append(one)
    most = max(same.values(), key=len, default=[])
    if len(most) >= TREND_LEAST and _days(most) >= TREND_DAYS:
        return _slope(most, [REPEAT_U_C] * len(most))
    if len(known) < TREND_LEAST or _days(known) < TREND_DAYS:
        return None
    return _slope(known, [max(one.u_c or 0.0, REPEAT_U_C) for one in known])


def _days(checks: Sequence[CupCheck]) -> float:
    return (max(one.at_utc_s for one in checks) - min(one.at_utc_s for one in checks)) / DAY_S


def _slope(checks: Sequence[CupCheck], us_c: Sequence[float]) -> Drift | None:
    points = [(one.at_utc_s / DAY_S, one.offset_c or 0.0, 4.0 / u_c**2) for one, u_c in zip(checks, us_c, strict=True)]
    days = _days(checks)
    whole = sum(weight for _, _, weight in points)
    mean_day = sum(day * weight for day, _, weight in points) / whole
    mean_c = sum(off * weight for _, off, weight in points) / whole
    spread = sum(weight * (day - mean_day) ** 2 for day, _, weight in points)
    if spread <= 0.0:
        return None
    slope = sum(weight * (day - mean_day) * (off - mean_c) for day, off, weight in points) / spread
    return Drift(slope * MONTH_DAYS, 2.0 * MONTH_DAYS / sqrt(spread), len(points), days)
