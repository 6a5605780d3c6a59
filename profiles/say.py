"""Room: temperatures inside texts for people, as tokens that every client shows in the reader's own unit.

`say_c` and `say_difference_c` of contract.units make one token; here is what alloy sheets need besides: ranges, and
sentences that people wrote with `480-500 degC` or `plus 40 degC` in them.
"""

import re

from pourcall.contract.units import say_c, say_difference_c

_FIGURES = re.compile(
    r"(?P<cue>\b(?:plus|by|within|superheat of)\s+|\+-\s?|)(?P<low>\d+(?:\.\d+)?)(?:-(?P<high>\d+(?:\.\d+)?))? degC"
    r"(?! apart|>)"
)


def say_range(low_c: float, high_c: float) -> str:
    """`<530.0 degC> to <595.0 degC>`."""
    return f"{say_c(low_c)} to {say_c(high_c)}"


def tokens(text: str) -> str:
    """A sentence of a sheet with its temperatures as tokens.

    A figure after `plus`, `by`, `within`, `superheat of` or `+-` is a difference, any other a temperature.
    """

    def said(found: re.Match[str]) -> str:
        say = say_difference_c if found["cue"] else say_c
        ends = [say(float(end)) for end in (found["low"], found["high"]) if end]
        return found["cue"] + " to ".join(ends)

    return _FIGURES.sub(said, text)
