"""A printable page as a typed description: what stands on it, in order. Written once, rendered twice.

HTML by as_html.py, PDF by as_pdf.py. All text is plain text here; neither markup nor measures, only what a thing is.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import Literal, NamedTuple

Tone = Literal["", "good", "bad", "grey", "stamp"]


class Run(NamedTuple):
    """Words in one look; `fill`: a colour behind them."""

    text: str
    bold: bool = False
    tone: Tone = ""
    fill: str = ""


Line = str | tuple[Run | str, ...]


class Banner(NamedTuple):
    """What is read from across the shop, and lines beside it. `rule`: it heads the page."""

    big: str
    beside: tuple[Line, ...] = ()
    rule: bool = False
    hint: str = ""


class Paragraph(NamedTuple):
    """Running words."""

    line: Line
    small: bool = False


class Bullets(NamedTuple):
    """A list; `check`: to be ticked off by hand."""

    items: Sequence[Line]
    check: bool = False


class Figures(NamedTuple):
    """Names, each with its figure, in a row."""

    items: Sequence[tuple[str, str]]


class Pairs(NamedTuple):
    """Names and values."""

    rows: Sequence[tuple[str, str]]


class Row(NamedTuple):
    """Of a table; `look`: strong words, or shaded as what deserves a look."""

    cells: tuple[str, ...]
    look: Literal["", "strong", "shaded"] = ""


class Table(NamedTuple):
    """Rows under a row of names."""

    head: tuple[str, ...]
    rows: Sequence[Row]


class Happened(NamedTuple):
    """One thing in a list by the clock; `sign`: its number on a drawing."""

    sign: str
    when: str
    what: str
    strong: bool = False


class Listing(NamedTuple):
    """What happened, in order, in two columns."""

    items: Sequence[Happened]


class Drawing(NamedTuple):
    """An SVG; `broad`: on a telephone it is not made too small to read, it scrolls."""

    svg: str
    broad: bool = False


class Picture(NamedTuple):
    """A photo."""

    path: Path
    caption: str


class Pictures(NamedTuple):
    """Photos, two in a row."""

    items: Sequence[Picture]


class Box(NamedTuple):
    """What must not be overlooked."""

    title: str
    items: Sequence[Line]


class Section(NamedTuple):
    """A title and what stands under it."""

    title: str
    body: tuple["Block", ...]


class Beside(NamedTuple):
    """Two by two where the page is wide enough; `flow`: in two columns as they come, on paper one after another."""

    parts: Sequence[tuple["Block", ...]]
    flow: bool = False


Block = Banner | Paragraph | Bullets | Figures | Pairs | Table | Listing | Drawing | Pictures | Box | Section | Beside


class Document(NamedTuple):
    """`one_page`: `body` is kept on one page of paper, made smaller where it must; `after` begins another."""

    title: str
    body: Sequence[Block]
    after: Sequence[Block] = ()
    one_page: bool = False
    author: str = ""
    creator: str = ""


def runs(line: Line) -> tuple[Run, ...]:
    """The line in pieces of one look."""
    return tuple(Run(one) if isinstance(one, str) else one for one in ((line,) if isinstance(line, str) else line))
