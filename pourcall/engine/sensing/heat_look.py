"""One second as the bounds of the metal's heat see it (heat_ceiling.py, heat_floor.py): figure, power, charge. Pure."""

from dataclasses import dataclass
from enum import StrEnum

READING_C = 9.0  # a couple of ordinary class, and how far a bath differs from place to place
PLATEAU_C = 12.0  # about solidus and liquidus a figure says little of the heat


class Heating(StrEnum):
    """What is known of the power."""

    OFF = "off"
    SOME = "some"  # on, or on and off by a panel of its own
    FULL = "full"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Look:
    """One second. temp_c: of a believed probe in the metal; None: there is none."""

    at_s: float
    temp_c: float | None
    heating: Heating
    mass_kg: float  # told to be in the pot in all
    held_c: float  # metal as hot as that may be held there by a panel
    peak_c: float | None = None  # the most that a learned furnace coasts to, its power cut now
