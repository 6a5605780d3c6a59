"""Sentences of an alloy sheet, as people wrote them (`480-500 degC`, `plus 40 degC`), made readable in any unit."""

import re

from pourcall.contract.message import NOTHING, Told, tell
from pourcall.metal.alloys.sheet import AlloySheet
from pourcall.metal.vapour.pressure import BOILING_KNOWN_C, temp_at_fraction_c

_FIGURES = re.compile(
    r"(?P<cue>\b(?:plus|by|within|superheat of)\s+|\+-\s?|)(?P<low>\d+(?:\.\d+)?)(?:-(?P<high>\d+(?:\.\d+)?))? degC"
    r"(?! apart|>)"
)


def figures_marked(text: str) -> str:
    """The sentence with its temperatures as tokens, which `contract.units.in_unit` shows in the reader's unit.

    A figure after `plus`, `by`, `within`, `superheat of` or `+-` is a difference, any other a temperature.
    """

    def marked(found: re.Match[str]) -> str:
        kind = " apart" if found["cue"] else ""
        ends = [f"<{float(end):.2f} degC{kind}>" for end in (found["low"], found["high"]) if end]
        return found["cue"] + " to ".join(ends)

    return _FIGURES.sub(marked, text)


def pour_range_beyond(sheet: AlloySheet) -> Told:
    """That the published pouring range goes above what this alloy may be in the pot; NOTHING where it does not."""
    published_c, limit_c = sheet.pour_max.value, sheet.highest_in_pot_c
    if published_c <= limit_c:
        return NOTHING
    boils_c = None if sheet.boiling_limit_c() is None else temp_at_fraction_c(sheet.weight_percent(), 1.0)
    if boils_c is None:
        return tell("alloy.beyond", published_c=published_c, highest_c=limit_c)
    if published_c < boils_c:
        return tell(
            "alloy.beyond.near_boiling",
            published_c=published_c,
            highest_c=limit_c,
            boils_c=boils_c,
            known_difference_c=BOILING_KNOWN_C,
        )
    return tell(
        "alloy.beyond.boiling",
        published_c=published_c,
        highest_c=limit_c,
        boils_c=boils_c,
        known_difference_c=BOILING_KNOWN_C,
    )
