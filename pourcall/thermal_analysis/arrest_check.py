"""What an arrest says. Of the probe ("reads 6 degC low at 577 degC"), and of the alloy ("this is not ZA-12").

Only cooling is taken for a measure: on heating a probe between lumps reads part of the pot, and the plateau says that
it melts, not at how many degrees. A published arrest is good to the tolerance it carries here; what lies beyond what a
probe can be out by speaks against the alloy. Pure: the tables of other alloys are handed in, made where sheets are.
"""

from collections.abc import Sequence
from enum import StrEnum

import msgspec

from pourcall.contract.message import Fact, Message, tell
from pourcall.contract.plan import AlloyFacts, AlloyHalts
from pourcall.thermal_analysis.arrests import Arrest, Kind, Way

AGREES_C = 2.0  # nearer than this there is nothing to correct: thermocouple class, batch and reading together
PROBE_MAY_C = 15.0  # more than a used thermocouple is out by below 700 degC (type K class 2 at 700: 5.3; drift: memory)
PROBE_MAY_SHARE = 0.016  # the same hotter: of the temperature
OTHER_WITHIN_C = 7.0  # another alloy must meet it so well to be named
EUTECTIC_U_C = 4.0  # trade figures of one eutectic scatter by so much (zinc alloys: 375 to 381)
LIQUIDUS_U_C = 6.0  # moves with the composition inside its limits
SHORT_C = 12.0  # a shorter freezing range shows as one plateau
SLOPING_C = 30.0  # a shorter one as a plateau that slopes
KNEE_U_C = 5.0  # a knee is read less surely than a plateau
MODIFIED_C = 12.0  # sodium or strontium lowers the Al-Si eutectic by 5-12 degC (memory)


class Halt(StrEnum):
    """Which halt of an alloy it is."""

    EUTECTIC = "eutectic"
    FREEZING = "freezing"
    LIQUIDUS = "liquidus"
    FREEZING_RANGE = "freezing range"


class Point(msgspec.Struct, frozen=True):
    """One temperature at which an alloy halts on cooling."""

    temp_c: float
    kind: Kind
    what: Halt
    u_c: float  # expanded: batch and sources
    lowered_c: float = 0.0  # may lie lower by so much for a known reason


class Expected(msgspec.Struct, frozen=True):
    """All of them for one alloy."""

    key: str
    name: str
    points: tuple[Point, ...]


class Verdict(StrEnum):
    """What comes of it."""

    FITS = "fits"  # probe and alloy agree with the sheet
    PROBE = "probe"  # the alloy's arrest, read too high or too low
    ALLOY = "alloy"  # not this alloy; another one may fit
    UNKNOWN = "unknown"  # fits nothing we know
    MELTS = "melts"  # on heating: it melts, no more is said


class Check(msgspec.Struct, frozen=True, kw_only=True):
    """A verdict. error_c: reading less published, where it is the probe's."""

    verdict: Verdict
    text: Message
    reads_c: float
    expected_c: float | None = None
    error_c: float | None = None
    u_c: float | None = None  # expanded, of the error
    others: tuple[str, ...] = ()  # names of alloys that would fit
    lowered: bool = False  # by no more than a modified metal is: it may be that, or the probe


def halts_of(facts: AlloyFacts) -> AlloyHalts:
    """What of a sheet is needed to name its alloy by where it halts."""
    cp = facts.cp_solid_j_per_kg_k
    return AlloyHalts(
        facts.key,
        facts.name,
        facts.family,
        facts.solidus_c,
        facts.liquidus_c,
        facts.eutectic_c,
        facts.arrests_c,
        round(1000.0 * facts.latent_kj_per_kg / cp, 1) if cp > 0.0 else 0.0,
    )


def expected_of(facts: AlloyFacts | AlloyHalts) -> Expected:
    """The arrests of a sheet: freezing point of a pure metal or eutectic, eutectics, liquidus knee.

    ZA: see its sheet.
    """
    points: list[Point] = []
    pure = facts.liquidus_c - facts.solidus_c < 1.0
    if pure:
        points.append(Point(facts.liquidus_c, Kind.PLATEAU, Halt.FREEZING, 2.0))
    else:
        for temp_c in facts.arrests_c:
            lowered = MODIFIED_C if facts.family == "aluminium" else 0.0
            points.append(Point(temp_c, Kind.PLATEAU, Halt.EUTECTIC, 3.0, lowered))
        if facts.eutectic_c is not None:
            points.append(Point(facts.eutectic_c, Kind.PLATEAU, Halt.EUTECTIC, EUTECTIC_U_C))
        range_c = facts.liquidus_c - facts.solidus_c
        if not any(abs(facts.liquidus_c - point.temp_c) < SHORT_C for point in points):  # one halt, not two
            kind = Kind.PLATEAU if range_c < SHORT_C else Kind.KNEE
            points.append(Point(facts.liquidus_c, kind, Halt.LIQUIDUS, LIQUIDUS_U_C))
        if SHORT_C <= range_c < SLOPING_C and not points[:-1]:  # it hardly moves from one end to the other
            middle_c = 0.5 * (facts.solidus_c + facts.liquidus_c)
            points.append(Point(middle_c, Kind.PLATEAU, Halt.FREEZING_RANGE, 0.5 * range_c + 3.0))
    return Expected(facts.key, facts.name, tuple(points))


def check_arrest(
    arrest: Arrest, own: Expected | None, others: Sequence[Expected] = (), *, probe_u_c: float = 6.0
) -> Check:
    """What an arrest says of probe and alloy.

    own None: the alloy is not known. probe_u_c: the probe's own budget, k = 2.
    """
    reads_c = arrest.plateau_c
    if arrest.way is Way.HEATING:
        text = tell("arrest.stood", reads_c=reads_c, lasted_s=arrest.lasted_s)
        return Check(verdict=Verdict.MELTS, text=text, reads_c=reads_c)
    near = None if own is None else _nearest(arrest, own)
    if own is not None and near is not None:
        found = _by_own(arrest, own, near, others, probe_u_c)
        if found is not None:
            return found
    return _by_others(arrest, own, near, others)


def _by_own(arrest: Arrest, own: Expected, near: Point, others: Sequence[Expected], probe_u_c: float) -> Check | None:
    """It is this alloy's halt, read as it should be or not; None: too far from it to be."""
    reads_c = arrest.plateau_c
    error_c = reads_c - near.temp_c
    u_c = (near.u_c**2 + (KNEE_U_C if arrest.kind is Kind.KNEE else 0.6) ** 2) ** 0.5
    lowered = -near.lowered_c <= error_c < 0.0 and near.lowered_c > 0.0 and error_c < -max(AGREES_C, u_c)
    verdict = Verdict.FITS
    fitting: tuple[str, ...] = ()
    if lowered or abs(error_c) <= max(AGREES_C, u_c):
        text = tell(
            "arrest.lowered" if lowered else "arrest.agrees",
            reads_c=reads_c,
            halt=near.what.value,
            alloy=own.name,
            published_c=near.temp_c,
        )
    elif abs(error_c) <= max(PROBE_MAY_C, PROBE_MAY_SHARE * reads_c, 1.5 * probe_u_c):
        text = tell(
            "arrest.probe_off",
            off_difference_c=abs(error_c),
            side=side_of(error_c),
            published_c=near.temp_c,
            halt=near.what.value,
            alloy=own.name,
            u_c=u_c,
        )
        verdict, fitting = Verdict.PROBE, _fitting(arrest, others, own.key)
    else:
        return None
    return Check(
        verdict=verdict,
        text=text,
        reads_c=reads_c,
        expected_c=near.temp_c,
        error_c=error_c,
        u_c=max(u_c, near.lowered_c) if lowered else u_c,
        others=fitting,
        lowered=lowered,
    )


def _by_others(arrest: Arrest, own: Expected | None, near: Point | None, others: Sequence[Expected]) -> Check:
    """It is no halt of this alloy, or the alloy is not known: which it may be."""
    reads_c = arrest.plateau_c
    fitting = _fitting(arrest, others, "" if own is None else own.key)
    verdict = Verdict.UNKNOWN
    if own is None or near is not None or any(point.kind is arrest.kind for point in own.points):
        if fitting:
            verdict = Verdict.ALLOY
        if fitting and own is not None:
            text = tell("arrest.other_alloy", alloy=own.name, reads_c=reads_c, like=one_of(fitting))
        elif fitting:
            text = tell("arrest.like", reads_c=reads_c, like=one_of(fitting))
        elif own is not None:
            text = tell("arrest.none_of", alloy=own.name, reads_c=reads_c)
        else:
            text = tell("arrest.none", reads_c=reads_c)
    elif fitting:
        text = tell("arrest.not_named_like", reads_c=reads_c, alloy=own.name, like=one_of(fitting))
    else:
        text = tell("arrest.not_named", reads_c=reads_c, alloy=own.name)
    return Check(verdict=verdict, text=text, reads_c=reads_c, others=fitting)


def missing(own: Expected) -> Message:
    """What to say when it cooled through its arrest and none was seen (ArrestWatch.not_seen for each plateau)."""
    halts = tuple(tell("arrest.halt", halt_c=point.temp_c) for point in own.points if point.kind is Kind.PLATEAU)
    return tell("arrest.missing", alloy=own.name, halts=halts)


def _nearest(arrest: Arrest, own: Expected) -> Point | None:
    same = [point for point in own.points if point.kind is arrest.kind]
    return min(same, key=lambda point: abs(arrest.plateau_c - point.temp_c), default=None)


def _gap_c(reads_c: float, point: Point) -> float:
    """How far a halt lies from where another alloy's may be: a range has width, a modified eutectic lies lower."""
    above_c = reads_c - point.temp_c
    return max(0.0, abs(above_c) - max(point.u_c - LIQUIDUS_U_C, point.lowered_c if above_c < 0.0 else 0.0))


def _fitting(arrest: Arrest, others: Sequence[Expected], own: str) -> tuple[str, ...]:
    found = []
    for other in others:
        near = _nearest(arrest, other)
        if other.key != own and near is not None:
            gap = _gap_c(arrest.plateau_c, near)
            if gap <= OTHER_WITHIN_C:
                found.append((gap, other.name))
    return tuple(name for _, name in sorted(found)[:4])


def side_of(error_c: float) -> str:
    """On which side a reading is off: a word of the catalogue."""
    return "low" if error_c < 0.0 else "high"


def one_of(names: Sequence[str]) -> Fact:
    """`A`, `A or B`, `A, B or C`: a fact for a message."""
    return names[0] if len(names) == 1 else tell("arrest.one_of", some=", ".join(names[:-1]), last=names[-1])
