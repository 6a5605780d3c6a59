"""A profile with every number resolved, frozen while it runs. pourcall/profiles/resolve.py makes it, the engine
follows it.

Temperatures degC, of the metal. The text it was made from and its hash go on record with the run.
"""

from enum import StrEnum

import msgspec


class SegmentKind(StrEnum):
    """What a segment does."""

    RAMP = "ramp"
    HOLD = "hold"


class ProfileSegment(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One segment. rate_c_per_min None: full power. for_s None on a hold: until told."""

    kind: SegmentKind
    to_c: float
    asked: str  # as the file says it: "tap_mid", "liquidus+40", "520C"
    rate_c_per_min: float | None = None
    for_s: float | None = None
    wait_within_c: float = 5.0  # a ramp is over, and a hold's time runs, only this near
    limit_s: float | None = None  # longer is said aloud; None: only where the segment ends by itself
    note: str = ""


class ProfilePlan(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A whole profile for one melt."""

    name: str
    hash: str  # of the file's text, sixteen hex digits
    alloy: str  # key
    segments: tuple[ProfileSegment, ...]
    limit_c: float  # lowest of all limits that were checked
    limit_whose: str
    text: str = ""  # the file, for the record
    about: str = ""
