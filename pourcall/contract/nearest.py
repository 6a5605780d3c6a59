"""What somebody may have meant by a word that is not known: the nearest of those that are."""

import difflib
from collections.abc import Iterable

from pourcall.contract.message import NOTHING, Message, tell


def nearest(word: str, known: Iterable[str], *, most: int = 1, cutoff: float = 0.6) -> list[str]:
    """The known words that are nearest, the nearest first; none where none is near."""
    return difflib.get_close_matches(word, list(known), n=most, cutoff=cutoff)


def did_you_mean(word: str, known: Iterable[str]) -> Message:
    """`; did you mean liquidus?`; nothing where none is near."""
    return next((tell("toml.near", near=one) for one in nearest(word, known)), NOTHING)
