"""What a later entry may hold: texts without control characters, names, masses; pure.

Which part of an entry is at fault is a word of the catalogue, `word.entry_part.<part>`.

Unlike the texts of commands (guard.py), which are cleaned in silence because hands are hot, these are refused: there is
time to write them again. Formulas are taken as they are and made harmless in every export (csv_text.py).
"""

import math
import unicodedata

from pourcall.contract.errors import BadInput
from pourcall.contract.message import tell
from pourcall.contract.quantities import MOST_KG

MOST_TEXT = 2000
MOST_NAME = 80


def clean_text(text: str, entry_part: str, *, most: int = MOST_TEXT) -> str:
    """`text` without blanks at its ends. Raises BadInput for control, direction and zero-width characters."""
    text = text.strip()
    bad = next((mark for mark in text if unicodedata.category(mark) in ("Cc", "Cf", "Cs")), None)
    if bad is not None:
        raise BadInput(
            tell("entry.unseen", entry_part=entry_part, code=f"U+{ord(bad):04X}"), remedy=tell("entry.unseen.remedy")
        )
    if len(text) > most:
        raise BadInput(
            tell("entry.too_long", entry_part=entry_part, count=len(text)), remedy=tell("entry.at_most", most=most)
        )
    return text


def clean_name(text: str, entry_part: str) -> str:
    """A name that can be written on a command line and on a mould. Raises BadInput."""
    name = clean_text(text, entry_part, most=MOST_NAME)
    if not name:
        raise BadInput(tell("entry.no_name", entry_part=entry_part), remedy=tell("entry.no_name.remedy"))
    if "," in name or name.startswith("-"):
        raise BadInput(
            tell("entry.no_plain_name", entry_part=entry_part, given=name), remedy=tell("entry.no_plain_name.remedy")
        )
    return name


def check_mass_kg(mass_kg: float, where: str) -> float:
    """A mass that can be meant. Raises BadInput."""
    if not (math.isfinite(mass_kg) and 0.0 < mass_kg <= MOST_KG):
        raise BadInput(
            tell("entry.mass", mass_kg=mass_kg, most_kg=MOST_KG), where=where, remedy=tell("error.figure.remedy")
        )
    return mass_kg
