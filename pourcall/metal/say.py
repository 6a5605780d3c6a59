"""Temperatures inside texts for people, as tokens that every client shows in the reader's own unit.

The tokens are those of contract.units (`in_unit` shows them), here with two decimals, so that a figure rounded in a
sentence is the figure rounded beside it. Also ranges, and sentences of people with `480-500 degC` or `plus 40 degC`.
"""

import re


def say_c(temp_c: float) -> str:
    """A temperature inside a text."""
    return f"<{temp_c:.2f} degC>"


def say_difference_c(delta_c: float) -> str:
    """A difference of temperatures inside a text."""
    return f"<{delta_c:.2f} degC apart>"


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
