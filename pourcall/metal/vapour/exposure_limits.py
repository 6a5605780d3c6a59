"""Occupational exposure limits, each with its jurisdiction and date. They are law or guidance and they change.

Figures in mg/m3 of air. `kind`: "8 h" time-weighted average, "15 min" short-term, "ceiling", "idlh" (immediately
dangerous). The text of a limit always shows whose it is and of when; none of them is a no-effect level.
"""

import msgspec

from pourcall.contract.errors import NotFound
from pourcall.contract.message import Message, tell


class ExposureLimit(msgspec.Struct, frozen=True):
    """One limit of one body."""

    substance: str
    kind: str
    mg_per_m3: float
    body: str
    jurisdiction: str
    dated: str
    mark: str  # sourced, memory

    def told(self) -> Message:
        """The limit with whose it is and of when."""
        return tell(
            "fume.limit",
            amount=self.mg_per_m3,
            kind=self.kind,
            body=self.body,
            jurisdiction=self.jurisdiction,
            dated=self.dated,
        )


_OSHA, _NIOSH = ("OSHA PEL", "US law"), ("NIOSH REL", "US guidance")
_ACGIH, _ONT = ("ACGIH TLV", "guidance"), ("Ontario table", "Ontario")
_UNDATED = "undated, read 2026-11"
_BY_HEART = "from memory, check"

LIMITS: tuple[ExposureLimit, ...] = (
    ExposureLimit("zinc oxide fume", "8 h", 5.0, *_OSHA, "sampling page of 2008", "sourced"),
    ExposureLimit("zinc oxide fume", "8 h", 5.0, *_NIOSH, _UNDATED, "sourced"),
    ExposureLimit("zinc oxide fume", "15 min", 10.0, *_NIOSH, _UNDATED, "sourced"),
    ExposureLimit("zinc oxide fume", "8 h", 2.0, *_ONT, _UNDATED, "sourced"),
    ExposureLimit("zinc oxide fume", "15 min", 10.0, *_ONT, _UNDATED, "sourced"),
    ExposureLimit("zinc oxide fume", "idlh", 500.0, *_NIOSH, _UNDATED, "sourced"),
    ExposureLimit("zinc oxide dust", "8 h", 15.0, *_OSHA, "sampling page of 2008", "sourced"),
    ExposureLimit("zinc oxide dust", "ceiling", 15.0, *_NIOSH, _UNDATED, "sourced"),
    ExposureLimit("copper fume", "8 h", 0.1, *_OSHA, "1994-05", "sourced"),
    ExposureLimit("copper fume", "8 h", 0.2, *_ACGIH, "1994-05", "sourced"),
    ExposureLimit("lead", "8 h", 0.050, *_OSHA, "29 CFR 1910.1025", "sourced"),
    ExposureLimit("cadmium", "8 h", 0.005, *_OSHA, _BY_HEART, "memory"),
    ExposureLimit("cadmium", "8 h", 0.002, *_ONT, _UNDATED, "sourced"),
    ExposureLimit("beryllium", "8 h", 0.0002, *_OSHA, "2017-01-09", "sourced"),
    ExposureLimit("beryllium", "15 min", 0.002, *_OSHA, "2017-01-09", "sourced"),
    ExposureLimit("aluminium", "8 h", 1.0, *_ONT, _UNDATED, "sourced"),
    ExposureLimit("manganese", "ceiling", 5.0, *_OSHA, _BY_HEART, "memory"),
    ExposureLimit("manganese", "8 h", 0.2, *_ONT, _UNDATED, "sourced"),
    ExposureLimit("manganese", "8 h", 0.02, *_ACGIH, _BY_HEART, "memory"),
    ExposureLimit("respirable crystalline silica", "8 h", 0.050, *_OSHA, "29 CFR 1910.1053, 2016-03-25", "sourced"),
    ExposureLimit("silver", "8 h", 0.01, *_OSHA, _BY_HEART, "memory"),
    ExposureLimit("antimony", "8 h", 0.5, *_ONT, _UNDATED, "sourced"),
    ExposureLimit("tin", "8 h", 2.0, *_OSHA, _BY_HEART, "memory"),
)


def limits_for(substance: str) -> tuple[ExposureLimit, ...]:
    """All limits kept for a substance. Raises NotFound."""
    found = tuple(limit for limit in LIMITS if limit.substance == substance)
    if not found:
        known = sorted({limit.substance for limit in LIMITS})
        raise NotFound(f"no exposure limit is kept for {substance!r}", remedy=f"Kept: {', '.join(known)}")
    return found


def limit(substance: str, kind: str, body: str) -> ExposureLimit:
    """One limit by substance, kind and the start of the body's name. Raises NotFound."""
    for one in limits_for(substance):
        if one.kind == kind and one.body.startswith(body):
            return one
    raise NotFound(f"no {kind} limit of {body} is kept for {substance}")


SHORT_TERM = limit("zinc oxide fume", "15 min", "NIOSH")
FULL_SHIFT = limit("zinc oxide fume", "8 h", "OSHA")
