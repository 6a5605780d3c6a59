"""What somebody may have meant by a word that is not known: the nearest of those that are."""

import difflib
from collections.abc import Iterable


def nearest(word: str, known: Iterable[str], *, most: int = 1, cutoff: float = 0.6) -> list[str]:
    """The known words that are nearest, the nearest first; none where none is near."""
    return difflib.get_close_matches(word, list(known), n=most, cutoff=cutoff)


def did_you_mean(word: str, known: Iterable[str], *, else_all: bool = False) -> str:
    """`; did you mean liquidus?`; where nothing is near nothing, or all that is known."""
    words = list(known)
    found = nearest(word, words)
    if found:
        return f"; did you mean {found[0]}?"
    return f"; valid are {', '.join(words)}" if else_all else ""
