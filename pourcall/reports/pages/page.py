"""What printable pages and inline drawings share. Text in, HTML and SVG text out.

No script, no font, no picture from elsewhere: a page can be kept for years and opened anywhere.
"""

import math
from collections.abc import Iterable
from html import escape


def esc(text: str) -> str:
    """Text of a person inside HTML or SVG: control characters (which XML forbids) become spaces, markup harmless."""
    return escape("".join(" " if ord(char) < 32 or 127 <= ord(char) < 160 else char for char in text))


def page(title: str, style: str, parts: Iterable[str]) -> str:
    """A whole self-contained page. `parts` are HTML, `title` is text."""
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{esc(title)}</title><style>{style}</style></head>\n<body>\n" + "\n".join(parts) + "\n</body></html>\n"
    )


def section(title: str, body: str) -> str:
    """A heading and what stands under it (HTML)."""
    return f"<h2>{esc(title)}</h2>\n{body}"


def bullets(items: Iterable[str], kind: str = "") -> str:
    """A list of texts."""
    attribute = f' class="{kind}"' if kind else ""
    return f"<ul{attribute}>" + "".join(f"<li>{esc(item)}</li>" for item in items) + "</ul>"


def svg(width: int, height: int, drawn: Iterable[str], title: str, style: str = "") -> str:
    """A drawing that stands alone as a file as well as inline."""
    look = f' style="{style}"' if style else ""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" role="img"{look}>'
        f"<title>{esc(title)}</title>{''.join(drawn)}</svg>"
    )


def ticks(low: float, high: float, most: float = 8.0) -> list[float]:
    """Round values between the ends, at most about `most`."""
    span = max(high - low, 1e-9)
    sizes = (1.0, 2.0, 5.0, 10.0, 20.0, 25.0, 50.0, 100.0, 200.0, 250.0, 500.0, 1000.0)
    step = next((size for size in sizes if span / size <= most), 10.0 ** math.ceil(math.log10(span / most)))
    first = math.ceil(low / step) * step
    return [first + step * number for number in range(int((high - first) / step + 1e-9) + 1)] if first <= high else []


def round_out(low: float, high: float, to: float = 10.0) -> tuple[float, float]:
    """The ends moved outwards to multiples of `to`."""
    return math.floor(low / to) * to, math.ceil(high / to) * to
