"""Profiles as written: TOML in, checked. resolve.py puts numbers in for one melt, library.py finds the files.

    format = 1
    name = "zinc, usual"
    families = ["zinc"]                      # default for these; `alloys = ["za27"]` is nearer and wins
    [[segment]]
    kind = "ramp"                            # to a temperature, at a rate or full power
    to = "tap_mid"                           # or "liquidus+40", "solidus-20", "tap_min", "pour_max-10", "520C", "968F"
    rate = "full"                            # or degC a minute
    wait_within_c = 5
    limit_min = 90
    note = "..."
    [[segment]]
    kind = "hold"                            # for a time, or until told
    for_min = 5                              # or until = "told"
    limit_min = 20

Every fault is told at once, by segment and key: unknown keys, figures out of range, a wait without an end.
Errors: BadSheet.
"""

import hashlib
import re
from collections.abc import Iterable

import msgspec

from pourcall.contract.errors import BadInput, BadSheet, BadTemperature
from pourcall.contract.message import tell
from pourcall.contract.profile_plan import SegmentKind
from pourcall.contract.quantities import temperature_c as typed_temperature_c
from pourcall.contract.toml_tables import (
    Checker,
    Fault,
    as_found,
    hint,
    is_number,
    near,
    of_error,
    parse_toml,
    row,
    told,
)

FORMAT = 1
RATE_C_PER_MIN = (0.5, 60.0)
LONGEST_MIN = 720.0
WITHIN_C = (1.0, 40.0)
MOST_SEGMENTS = 20
_TOP = ("about", "alloys", "families", "format", "name", "segment")
_SEGMENT = ("at", "for_min", "kind", "limit_min", "note", "rate", "to", "until", "wait_within_c")
_FAMILIES = ("aluminium", "copper", "other", "zinc")
_POINTS = ("liquidus", "pour_max", "pour_min", "solidus", "tap_max", "tap_mid", "tap_min")
RELATIVE = re.compile(rf"({'|'.join(_POINTS)})\s*(?:([+-])\s*(\d+(?:\.\d+)?)\s*(F|C|K)?)?", re.IGNORECASE)
_POINT = re.compile(r"[+-]")


class Segment(msgspec.Struct, frozen=True, kw_only=True):
    """One segment as written. to: text; empty on a hold: where the segment before ended."""

    kind: SegmentKind
    to: str = ""
    rate_c_per_min: float | None = None
    for_min: float | None = None
    wait_within_c: float = 5.0
    limit_min: float | None = None
    note: str = ""


class Profile(msgspec.Struct, frozen=True, kw_only=True):
    """A checked file, not yet for any melt."""

    key: str
    name: str
    hash: str
    text: str
    about: str = ""
    alloys: tuple[str, ...] = ()
    families: tuple[str, ...] = ()
    segments: tuple[Segment, ...] = ()
    file: str = ""


def parse_profile(text: str, *, key: str, file: str = "") -> Profile:
    """A profile from TOML text. Raises BadSheet naming every fault by segment."""
    try:
        raw = parse_toml(text)
    except BadInput as err:
        raise refused(key, file, [Fault("", tell("toml.said", what=err.what))]) from err
    top = Checker(raw)
    top.known(_TOP)
    if raw.get("format") != FORMAT:
        top.add("format", tell("profile.check.format", format=FORMAT, found=as_found(raw.get("format"))))
    name, about = top.text("name") or key, top.text("about")
    alloys, families = top.texts("alloys"), top.texts("families")
    for family in families:
        top.word("families", family, _FAMILIES)
    faults, segments = top.faults, _segments(top)
    if faults:
        raise refused(key, file, faults)
    return Profile(
        key=key,
        name=name,
        hash=hashlib.sha256(text.encode()).hexdigest()[:16],
        text=text,
        about=about,
        alloys=alloys,
        families=families,
        segments=tuple(segments),
        file=file,
    )


def _segments(top: Checker) -> list[Segment]:
    """All segments that are sound; faults are added to those of the file."""
    tables = top.raw.get("segment", [])
    if not isinstance(tables, list) or not tables or not all(isinstance(one, dict) for one in tables):
        top.add("segment", tell("profile.check.no_segment"))
        return []
    if len(tables) > MOST_SEGMENTS:
        top.add("segment", tell("profile.check.too_many", count=len(tables), most=MOST_SEGMENTS))
        return []
    made: list[Segment] = []
    for table in top.rows("segment"):
        segment = _segment(table, first=table.table == row("segment", 1))
        if segment is not None:
            made.append(segment)
    return made


def _segment(table: Checker, *, first: bool) -> Segment | None:
    """One table; None where it is at fault."""
    raw, before = table.raw, len(table.faults)
    table.known(_SEGMENT)
    if raw.get("kind") not in ("ramp", "hold"):
        table.add("kind", tell("profile.check.kind", found=as_found(raw.get("kind"))))
        return None
    kind = SegmentKind(raw["kind"])
    to = _target(table, needed=first or kind is SegmentKind.RAMP)
    rate_c = _rate(table)
    for_min = table.number("for_min", 0.1, LONGEST_MIN)
    limit_min = table.number("limit_min", 0.5, LONGEST_MIN)
    within_c = table.number("wait_within_c", *WITHIN_C)
    note = table.text("note")
    if kind is SegmentKind.RAMP:
        for key in ("for_min", "until"):
            if key in raw:
                table.add(key, tell("profile.check.of_a_hold"))
        if "limit_min" not in raw:
            table.add("limit_min", tell("profile.check.endless_ramp"))
    else:
        _hold(table, for_min, limit_min)
    if len(table.faults) > before:
        return None
    return Segment(
        kind=kind,
        to=to,
        rate_c_per_min=rate_c,
        for_min=for_min,
        wait_within_c=5.0 if within_c is None else within_c,
        limit_min=limit_min,
        note=note,
    )


def _hold(table: Checker, for_min: float | None, limit_min: float | None) -> None:
    """What a hold wants beside its temperature."""
    raw = table.raw
    if "rate" in raw:
        table.add("rate", tell("profile.check.of_a_ramp"))
    if ("for_min" in raw) == ("until" in raw):
        table.add("", tell("profile.check.hold_end"))
    if "until" in raw and raw["until"] != "told":
        table.add("until", tell("profile.check.until", found=as_found(raw["until"])))
    if "limit_min" not in raw:
        table.add("limit_min", tell("profile.check.endless_hold"))
    elif for_min is not None and limit_min is not None and limit_min < for_min:
        table.add("limit_min", tell("profile.check.shorter", for_min=for_min))


def _target(table: Checker, *, needed: bool) -> str:
    """Where a segment goes, as written."""
    to = table.raw.get("to", table.raw.get("at", ""))
    if isinstance(to, int | float) and not isinstance(to, bool):
        table.add("to", tell("profile.check.no_unit", number=to))
    elif not isinstance(to, str):
        table.add("to", tell("profile.check.no_target_text"))
    elif not to and needed:
        table.add("to", tell("profile.check.no_target"))
    elif to and not RELATIVE.fullmatch(to.strip()):
        try:
            typed_temperature_c(to)
        except BadTemperature as err:
            point = _POINT.split(to)[0].strip()
            if to[:1].isdigit():
                table.add("to", of_error(err))
            else:
                what = tell("profile.check.no_temperature", found=as_found(to), hint=hint(point, _POINTS))
                table.add("to", what, near(point, _POINTS))
    return to if isinstance(to, str) else ""


def _rate(table: Checker) -> float | None:
    """degC a minute; None: full power, or at fault."""
    rate, (least, most) = table.raw.get("rate", "full"), RATE_C_PER_MIN
    if rate == "full":
        return None
    if not is_number(rate) or not least <= rate <= most:
        table.add("rate", tell("profile.check.rate", least=least, most=most, found=as_found(rate)))
        return None
    return float(rate)


def refused(key: str, file: str, faults: Iterable[Fault]) -> BadSheet:
    """The error that tells all faults of one profile."""
    what = tell("profile.refused", profile=key, faults=told(faults))
    return BadSheet(what, where=file, remedy=tell("profile.refused.remedy"))
