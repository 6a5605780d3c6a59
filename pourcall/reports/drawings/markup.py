"""Text of a person made harmless inside HTML and SVG, and the frame of a drawing that stands alone."""

from collections.abc import Iterable
from html import escape


def esc(text: str) -> str:
    """Text of a person inside HTML or SVG: control characters (which XML forbids) become spaces, markup harmless."""
    return escape("".join(" " if ord(char) < 32 or 127 <= ord(char) < 160 else char for char in text))


def svg(width: float, height: float, drawn: Iterable[str], title: str, style: str) -> str:
    """A drawing that stands alone as a file as well as inline: no script, no font, no picture from elsewhere."""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" role="img" style="{style}">'
        f"<title>{esc(title)}</title>{''.join(drawn)}</svg>"
    )
