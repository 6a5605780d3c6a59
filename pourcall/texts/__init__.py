"""Sentences for people, made once, at the edge, from facts. One catalogue; everything else names what it means."""

from pourcall.contract.message import speak_by
from pourcall.texts.say import say, sentence, written
from pourcall.texts.words import word

__all__ = ["say", "sentence", "word", "written"]

speak_by(say)
