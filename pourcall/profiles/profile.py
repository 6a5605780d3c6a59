"""Profiles. TOML in, checked; with alloy, window and ratings every number resolved into a frozen ProfilePlan.

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

Refused by segment, with the limit: unknown keys, a target above pot, probe, furnace or alloy, a hold below the
liquidus, a wait without an end. Files that ship lie in pourcall/profiles/ramps; a user's folder adds and overrides by
name of the file. Errors: BadSheet, NotFound.
"""

import hashlib
import re
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import msgspec

from pourcall.contract.errors import BadInput, BadSheet, BadTemperature, NotFound
from pourcall.contract.nearest import did_you_mean
from pourcall.contract.plan import AlloyFacts, PotLimit
from pourcall.contract.profile_plan import ProfilePlan, ProfileSegment, SegmentKind
from pourcall.contract.quantities import temperature_c as typed_temperature_c
from pourcall.contract.toml_tables import parse_toml
from pourcall.contract.units import say_c, say_difference_c

RAMP_DIR = Path(__file__).parent / "ramps"
FORMAT = 1
RATE_C_PER_MIN = (0.5, 60.0)
LONGEST_MIN = 720.0
WITHIN_C = (1.0, 40.0)
MOST_SEGMENTS = 20
_TOP = ("about", "alloys", "families", "format", "name", "segment")
_SEGMENT = ("at", "for_min", "kind", "limit_min", "note", "rate", "to", "until", "wait_within_c")
_FAMILIES = ("aluminium", "copper", "other", "zinc")
_POINTS = ("liquidus", "pour_max", "pour_min", "solidus", "tap_max", "tap_mid", "tap_min")
_RELATIVE = re.compile(rf"({'|'.join(_POINTS)})\s*(?:([+-])\s*(\d+(?:\.\d+)?)\s*(F|C|K)?)?", re.IGNORECASE)


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


class Fault(msgspec.Struct, frozen=True):
    """Why a profile is refused: where (`segment 2: to`) and what."""

    where: str
    what: str

    def __str__(self) -> str:
        return f"{self.where}: {self.what}"


def parse_profile(text: str, *, key: str, file: str = "") -> Profile:
    """A profile from TOML text. Raises BadSheet naming every fault by segment."""
    try:
        raw = parse_toml(text)
    except BadInput as err:
        raise _refused(key, file, [Fault("file", err.what)]) from err
    faults = [Fault(word, f"unknown key{_nearest(word, _TOP)}") for word in raw if word not in _TOP]
    if raw.get("format") != FORMAT:
        faults.append(Fault("format", f"must be {FORMAT}, is {raw.get('format')!r}"))
    for word in ("name", "about"):
        if not isinstance(raw.get(word, ""), str):
            faults.append(Fault(word, "must be text"))
    for word in ("alloys", "families"):
        value = raw.get(word, [])
        if not isinstance(value, list) or not all(isinstance(one, str) for one in value):
            faults.append(Fault(word, "must be a list of texts"))
    for family in raw.get("families", []) if isinstance(raw.get("families", []), list) else ():
        if family not in _FAMILIES:
            faults.append(Fault("families", f"{family!r} is none of {', '.join(_FAMILIES)}"))
    written = raw.get("segment", [])
    segments: list[Segment] = []
    if not isinstance(written, list) or not written or not all(isinstance(one, dict) for one in written):
        faults.append(Fault("segment", "at least one [[segment]] is wanted"))
    elif len(written) > MOST_SEGMENTS:
        faults.append(Fault("segment", f"{len(written)} segments; at most {MOST_SEGMENTS}"))
    else:
        for number, one in enumerate(written, 1):
            found, made = _segment(one, number, segments)
            faults += found
            if made is not None:
                segments.append(made)
    if faults:
        raise _refused(key, file, faults)
    return Profile(
        key=key,
        name=raw.get("name", key),
        hash=hashlib.sha256(text.encode()).hexdigest()[:16],
        text=text,
        about=raw.get("about", ""),
        alloys=tuple(raw.get("alloys", ())),
        families=tuple(raw.get("families", ())),
        segments=tuple(segments),
        file=file,
    )


def _segment(raw: dict[str, Any], number: int, before: Sequence[Segment]) -> tuple[list[Fault], Segment | None]:
    """One table; every fault in it."""
    where = f"segment {number}"
    faults = [
        Fault(f"{where}: {word}", f"unknown key{_nearest(word, _SEGMENT)}") for word in raw if word not in _SEGMENT
    ]
    kind = raw.get("kind")
    if kind not in ("ramp", "hold"):
        return [*faults, Fault(f"{where}: kind", f'must be "ramp" or "hold", is {kind!r}')], None
    to = raw.get("to", raw.get("at", ""))
    if isinstance(to, int | float) and not isinstance(to, bool):
        faults.append(Fault(f"{where}: to", f'{to:g} has no unit; write "{to:g}C" or "{to:g}F"'))
    elif not isinstance(to, str):
        faults.append(Fault(f"{where}: to", 'must be text such as "tap_mid", "liquidus+40" or "520C"'))
    elif to and (what := _temperature_fault(to)):
        faults.append(Fault(f"{where}: to", what))
    elif not to and (kind == "ramp" or not before):
        faults.append(Fault(f"{where}: to", "is missing: a temperature to go to"))
    rate = raw.get("rate", "full")
    rate_c: float | None = None
    if rate != "full":
        if not _number(rate) or not RATE_C_PER_MIN[0] <= rate <= RATE_C_PER_MIN[1]:
            low, high = RATE_C_PER_MIN
            faults.append(Fault(f"{where}: rate", f'must be "full" or {low:g} to {high:g} degC a minute, is {rate!r}'))
        else:
            rate_c = float(rate)
    figures: dict[str, float | None] = {"for_min": None, "limit_min": None, "wait_within_c": 5.0}
    ranges = {"for_min": (0.1, LONGEST_MIN), "limit_min": (0.5, LONGEST_MIN), "wait_within_c": WITHIN_C}
    for word, (low, high) in ranges.items():
        if word in raw:
            if not _number(raw[word]) or not low <= raw[word] <= high:
                faults.append(Fault(f"{where}: {word}", f"must be a number from {low:g} to {high:g}, is {raw[word]!r}"))
            else:
                figures[word] = float(raw[word])
    if not isinstance(raw.get("note", ""), str):
        faults.append(Fault(f"{where}: note", "must be text"))
    if kind == "ramp":
        faults += [Fault(f"{where}: {word}", "belongs to a hold") for word in ("for_min", "until") if word in raw]
        if "limit_min" not in raw:
            faults.append(
                Fault(f"{where}: limit_min", "is missing: a furnace that never gets there would wait endlessly")
            )
    else:
        if "rate" in raw:
            faults.append(Fault(f"{where}: rate", "belongs to a ramp"))
        if ("for_min" in raw) == ("until" in raw):
            faults.append(Fault(where, 'a hold wants either for_min or until = "told"'))
        if "until" in raw and raw["until"] != "told":
            faults.append(Fault(f"{where}: until", f'can only be "told", is {raw["until"]!r}'))
        if "limit_min" not in raw:
            faults.append(
                Fault(f"{where}: limit_min", "is missing: nobody answers and the furnace would wait endlessly")
            )
        elif (
            figures["for_min"] is not None
            and figures["limit_min"] is not None
            and figures["limit_min"] < figures["for_min"]
        ):
            faults.append(Fault(f"{where}: limit_min", f"is shorter than for_min, {figures['for_min']:g}"))
    if faults:
        return faults, None
    return [], Segment(
        kind=SegmentKind(kind),
        to=to,
        rate_c_per_min=rate_c,
        for_min=figures["for_min"],
        wait_within_c=figures["wait_within_c"] or 5.0,
        limit_min=figures["limit_min"],
        note=raw.get("note", ""),
    )


def _temperature_fault(text: str) -> str:
    if _RELATIVE.fullmatch(text.strip()):
        return ""
    try:
        typed_temperature_c(text)
    except BadTemperature as err:
        word = re.split(r"[+-]", text)[0].strip()
        hint = _nearest(word, _POINTS) if not text[:1].isdigit() else f". {err.remedy}"
        return f"{text!r} is no temperature{hint}"
    return ""


def temperature_c(text: str, facts: AlloyFacts, tap_c: tuple[float, float]) -> float:
    """A written temperature in degC for an alloy and a tap window. Raises BadTemperature."""
    found = _RELATIVE.fullmatch(text.strip())
    if found is None:
        return typed_temperature_c(text)
    point, sign, figure, unit = found.groups()
    base = {
        "liquidus": facts.liquidus_c,
        "solidus": facts.solidus_c,
        "pour_min": facts.pour_min_c,
        "pour_max": facts.pour_max_c,
        "tap_min": tap_c[0],
        "tap_max": tap_c[1],
        "tap_mid": 0.5 * (tap_c[0] + tap_c[1]),
    }[point.lower()]
    by = float(figure or 0.0) * (5.0 / 9.0 if (unit or "").upper() == "F" else 1.0)
    return base - by if sign == "-" else base + by


def resolve(profile: Profile, facts: AlloyFacts, tap_c: tuple[float, float], limits: Iterable[PotLimit]) -> ProfilePlan:
    """Numbers for one melt.

    limits: of alloy, pot, probe, furnace, boiling. Raises BadSheet by segment with the limit.
    """
    lowest = min(limits, key=lambda limit: limit.limit_c)
    faults: list[Fault] = []
    made: list[ProfileSegment] = []
    at_c: float | None = None
    for number, one in enumerate(profile.segments, 1):
        where = f"segment {number}"
        to_c = at_c if not one.to else temperature_c(one.to, facts, tap_c)
        if to_c is None:  # the file was checked: a first hold names its temperature
            continue
        if to_c > lowest.limit_c:
            what = f"{say_c(to_c)} ({one.to}) is above the limit of the {lowest.whose}, {say_c(lowest.limit_c)}"
            faults.append(Fault(f"{where}: to", what))
        if one.kind is SegmentKind.HOLD and to_c < facts.liquidus_c:
            what = f"{say_c(to_c)} is below the liquidus, {say_c(facts.liquidus_c)}: the metal would freeze in the pot"
            faults.append(Fault(f"{where}: to", what))
        if one.rate_c_per_min is not None and one.limit_min is not None:
            from_c = 20.0 if at_c is None else at_c
            least_min = abs(to_c - from_c) / one.rate_c_per_min
            if least_min > one.limit_min:
                faults.append(
                    Fault(
                        f"{where}: limit_min",
                        f"{one.limit_min:g} min is too short: {say_difference_c(abs(to_c - from_c))} at "
                        f"{say_difference_c(one.rate_c_per_min)} a minute take {least_min:.0f} min",
                    )
                )
        made.append(
            ProfileSegment(
                kind=one.kind,
                to_c=round(to_c, 2),
                asked=one.to,
                rate_c_per_min=one.rate_c_per_min,
                for_s=None if one.for_min is None else 60.0 * one.for_min,
                wait_within_c=one.wait_within_c,
                limit_s=None if one.limit_min is None else 60.0 * one.limit_min,
                note=one.note,
            )
        )
        at_c = to_c
    if faults:
        raise _refused(profile.key, profile.file, faults)
    return ProfilePlan(
        name=profile.key,
        hash=profile.hash,
        alloy=facts.key,
        segments=tuple(made),
        limit_c=lowest.limit_c,
        limit_whose=lowest.whose,
        text=profile.text,
        about=profile.about,
    )


class ProfileLibrary:
    """Profiles by key (the name of the file); a file with a fault is refused and the rest load."""

    def __init__(self, user_dir: Path | None = None, *, shipped_dir: Path = RAMP_DIR) -> None:
        self._files = {path.stem: path for path in sorted(shipped_dir.glob("*.toml"))}
        self.own: frozenset[str] = frozenset()
        if user_dir is not None and user_dir.is_dir():
            own = {path.stem: path for path in sorted(user_dir.glob("*.toml"))}
            self.own = frozenset(own)
            self._files |= own

    def keys(self) -> tuple[str, ...]:
        """Keys of all files, sound or not."""
        return tuple(sorted(self._files))

    def get(self, key: str) -> Profile:
        """One profile. Raises NotFound naming the nearest, BadSheet."""
        path = self._files.get(key)
        if path is None:
            raise NotFound(
                f"no profile called {key!r}{_nearest(key, self._files)}",
                remedy="`pourcall profile list` shows all",
            )
        try:
            text = path.read_text("utf-8")
        except (OSError, UnicodeDecodeError) as err:
            raise _refused(key, str(path), [Fault("file", f"cannot be read: {err}")]) from err
        return parse_profile(text, key=key, file=str(path))

    def all(self) -> tuple[tuple[Profile, ...], tuple[BadSheet, ...]]:
        """Every sound profile, and why the others are refused."""
        sound, refused = [], []
        for key in self.keys():
            try:
                sound.append(self.get(key))
            except BadSheet as err:
                refused.append(err)
        return tuple(sound), tuple(refused)

    def default_for(self, alloy: str, family: str) -> Profile:
        """The user's own first; one that names the alloy before one that names its family. Raises NotFound."""
        sound, _ = self.all()
        ranked = sorted(sound, key=lambda profile: (profile.key not in self.own, profile.key))
        for profile in ranked:
            if alloy in profile.alloys:
                return profile
        for profile in ranked:
            if family in profile.families:
                return profile
        raise NotFound(f"no profile is meant for {alloy}", remedy="Write one, or name one: `pourcall profile list`")


def _refused(key: str, file: str, faults: Sequence[Fault]) -> BadSheet:
    listed = "; ".join(str(fault) for fault in faults)
    return BadSheet(f"the profile {key} is refused: {listed}", where=file, remedy="Correct it; nothing was started")


def _nearest(word: str, known: Iterable[str]) -> str:
    return did_you_mean(word, known, else_all=True)


def _number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and value == value
