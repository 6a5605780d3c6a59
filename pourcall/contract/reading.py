"""A temperature with its status and both its times. A number never travels without them."""

import math
from enum import StrEnum
from typing import Any

import msgspec

from pourcall.contract.frames import RawKind
from pourcall.contract.status import STATUS_OF, Reason, Status

TYPED_U_C = 15.0  # a handheld meter: nothing is known of it
LAG_SAID_C = 2.0  # a sheath's lag is said with the figure from here on
GROWTH_C_PER_MIN = 3.0  # what an old dip's uncertainty gains in a minute: power off, lid on (ours)
LAG_SAID_C = 2.0  # a lag of a sheath that was allowed for is said from there on


class Place(StrEnum):
    """Where a probe is meant to be; may change during a melt."""

    MELT = "melt"  # left in the pot
    DIP = "dip"  # held in for seconds, several times a melt
    CHAMBER = "chamber"  # the furnace's own atmosphere or wall, never the metal
    AMBIENT = "ambient"

    @classmethod
    def _missing_(cls, value: object) -> Any:
        """Settings of old name two more places, which nothing was ever done with: as little as with ambient air."""
        return cls.AMBIENT if value in ("mould", "lip") else None


class ProbeState(StrEnum):
    """What the probe is doing, seen from its trace and corrected by a key."""

    OUT = "out"
    ENTERING = "entering"
    SETTLING = "settling"
    IN_METAL = "in_metal"
    LEAVING = "leaving"
    FROZEN_IN = "frozen_in"


class Reading(msgspec.Struct, frozen=True, tag="reading", tag_field="type", omit_defaults=True):
    """One measurement turned into degrees.

    temp_c is None exactly when status is BAD. u_c is the expanded uncertainty (k = 2), None where not computed.
    at_mono_s is for intervals and never steps back; at_utc_s is for the record and may step: never subtract it.
    """

    probe: str
    temp_c: float | None
    reason: Reason
    at_mono_s: float
    at_utc_s: float
    raw_kind: RawKind
    raw_value: float | None = None
    cold_junction_c: float | None = None
    u_c: float | None = None

    @property
    def status(self) -> Status:
        """The status that belongs to the reason."""
        return STATUS_OF[self.reason]

    def __post_init__(self) -> None:
        if (self.temp_c is None) != (STATUS_OF[self.reason] is Status.BAD):
            raise ValueError(f"{self.probe}: temp_c {self.temp_c} and reason {self.reason.value} disagree")
        if self.temp_c is not None and not math.isfinite(self.temp_c):
            raise ValueError(f"{self.probe}: temp_c {self.temp_c} is not finite")
