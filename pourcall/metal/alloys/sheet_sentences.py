"""Sentences of an alloy sheet, as people wrote them (`480-500 degC`, `plus 40 degC`), made readable in any unit."""

import re

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
