"""What a later entry may hold. Texts without control characters, masses, lengths, temperatures; pure.

Unlike the texts of commands (guard.py), which are cleaned in silence because hands are hot, these are refused: there is
time to write them again. Formulas are taken as they are and made harmless in every export (csv_text.py).
"""

import math
import unicodedata

from pourcall.contract.errors import BadInput
from pourcall.contract.quantities import MOST_KG

MOST_TEXT = 2000
MOST_NAME = 80


def clean_text(text: str, what: str, *, most: int = MOST_TEXT) -> str:
    """`text` without blanks at its ends. Raises BadInput for control, direction and zero-width characters."""
    text = text.strip()
    bad = next((mark for mark in text if unicodedata.category(mark) in ("Cc", "Cf", "Cs")), None)
    if bad is not None:
        raise BadInput(
            f"{what} has a character that cannot be seen: U+{ord(bad):04X}", remedy="Write it without, in one line"
        )
    if len(text) > most:
        raise BadInput(f"{what} has {len(text)} characters", remedy=f"At most {most}")
    return text


def clean_name(text: str, what: str) -> str:
    """A name that can be written on a command line and on a mould. Raises BadInput."""
    name = clean_text(text, what, most=MOST_NAME)
    if not name:
        raise BadInput(f"{what} is empty", remedy="Write a name, such as 'deck cleat 160 mm'")
    if "," in name or name.startswith("-"):
        raise BadInput(f"{what} {name!r} has a comma, or begins with a dash", remedy="Write it without")
    return name


def check_mass_kg(mass_kg: float, where: str) -> float:
    """A mass that can be meant. Raises BadInput."""
    if not (math.isfinite(mass_kg) and 0.0 < mass_kg <= MOST_KG):
        raise BadInput(f"{mass_kg:g} kg is outside 0 to {MOST_KG:g} kg", where=where, remedy="Check figure and unit")
    return mass_kg


def check_between(value: float | None, low: float, high: float, what: str, unit: str) -> float | None:
    """A figure within bounds, or none. Raises BadInput."""
    if value is not None and not (math.isfinite(value) and low <= value <= high):
        raise BadInput(
            f"{what} of {value:g} {unit} cannot be meant", remedy=f"It lies between {low:g} and {high:g} {unit}"
        )
    return value
