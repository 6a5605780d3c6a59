"""One word of the catalogue for one value: a state, a place, a level."""

from pourcall.texts.catalogue import current


def word(kind: str, value: str) -> str:
    """`word("level", "high")`; the value itself where the catalogue has no word for it."""
    return current().template(f"word.{kind}.{value}") or value
