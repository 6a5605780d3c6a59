"""Sentences for people, made once, at the edge, from facts. One catalogue; everything else names what it means.

How a message becomes a sentence (saying.py) is loaded when asked for: `pourcall --help` needs the catalogue alone.
"""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pourcall.texts.saying import say, sentence, written
    from pourcall.texts.words import word

__all__ = ["say", "sentence", "word", "written"]


def __getattr__(name: str) -> Any:
    """`say` and its like, the first time that one of them is asked for."""
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from pourcall.contract.message import speak_by
    from pourcall.texts import saying, words

    speak_by(saying.say)
    globals().update(say=saying.say, sentence=saying.sentence, written=saying.written, word=words.word)
    return globals()[name]
