"""Drawings as PDF and PNG. SVG text in, bytes out; the SVG stays the drawing of record.

One chain for both: svglib and ReportLab make a PDF page of the drawing, its letters embedded; PDFium paints that page
for a PNG. So all three show the same, on a machine without a single font too. The libraries are the extra `pictures`,
loaded when asked for. Not here: what is drawn (chart.py, melt_plot.py), files (csv_text.py).
"""

import importlib
import io
import re
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from pourcall.contract.errors import BadInput
from pourcall.contract.message import tell
from pourcall.reports.tables.csv_text import write_files

_UNFILLED = re.compile(r"<path (?![^>]*\bfill=)")  # lines: they have no inside, yet some paint it a hair wide
ENDINGS = (".svg", ".png", ".pdf")
PNG_SCALE = 8.0 / 3.0  # pixels for each point: a drawing 540 wide becomes 1080 pixels wide
# The first that has every letter of a text is taken. Bitstream Vera comes with ReportLab, the others with systems.
_FAMILIES = (
    ("Vera", "VeraBd"),
    ("DejaVuSans", "DejaVuSans-Bold"),
    ("LiberationSans-Regular", "LiberationSans-Bold"),
    ("arial", "arialbd"),
)


def ending_of(path: Path, allowed: Iterable[str] = ENDINGS) -> str:
    """`.svg`, `.png` or `.pdf`. Raises BadInput for a name that says none of them."""
    ending = path.suffix.lower()
    if ending not in allowed:
        raise BadInput(
            tell("export.no_kind", file=path.name),
            remedy=tell("export.no_kind.remedy", names=", ".join(f"{path.stem or 'plot'}{one}" for one in allowed)),
        )
    return ending


def load(name: str) -> Any:
    """A module of the extra `pictures`. Raises BadInput saying how to get it."""
    try:
        return importlib.import_module(name)
    except ImportError as err:
        raise BadInput(
            tell("export.no_pictures", package=name.partition(".")[0]), remedy=tell("export.no_pictures.remedy")
        ) from err


def picture(svg: str, ending: str, *, title: str = "") -> bytes:
    """The drawing as a file of this ending. Raises BadInput where the extra is missing."""
    if ending == ".svg":
        return svg.encode()
    page = svg_pdf(svg, title=title)
    return page if ending == ".pdf" else pdf_png(page)


def write_pictures(drawings: Mapping[Path, str], others: Mapping[Path, str | bytes] | None = None) -> None:
    """Drawings by the endings of their names, and what belongs to them; all or none. Raises BadInput, StoreError."""
    kinds = {path: ending_of(path) for path in drawings}
    write_files({path: picture(svg, kinds[path]) for path, svg in drawings.items()} | dict(others or {}))


def svg_pdf(svg: str, *, title: str = "") -> bytes:
    """One page of the size of the drawing; its words can be searched and copied."""
    drawing = flowable(svg)
    canvas = load("reportlab.pdfgen.canvas")
    out = io.BytesIO()
    page = canvas.Canvas(out, pagesize=(drawing.width, drawing.height), invariant=1)
    page.setTitle(title)
    load("reportlab.graphics.renderPDF").draw(drawing, page, 0, 0)
    page.showPage()
    page.save()
    return out.getvalue()


def flowable(svg: str) -> Any:
    """The drawing as a ReportLab `Drawing`, three quarters of a point for each of its units."""
    svglib = load("svglib.svglib")
    plain, bold = faces(svg)
    svglib.register_font("sans-serif", f"{plain}.ttf", rlgFontName=plain)
    svglib.register_font("sans-serif", f"{bold}.ttf", weight="bold", rlgFontName=bold)
    _family(plain, bold)
    svg = _UNFILLED.sub('<path fill="none" ', svg)
    drawn = svglib.svg2rlg(io.BytesIO(svg.encode()))
    if drawn is None:
        raise ValueError("the drawing is no SVG")
    return drawn


def faces(text: str) -> tuple[str, str]:
    """An upright and a bold face with every letter of a text, made known to ReportLab; those of Vera where none has."""
    ttfonts, metrics = load("reportlab.pdfbase.ttfonts"), load("reportlab.pdfbase.pdfmetrics")
    letters = {ord(char) for char in text if ord(char) >= 32}
    found: list[Any] = []
    for names in _FAMILIES:
        try:
            made = [ttfonts.TTFont(name, f"{name}.ttf") for name in names]
        except ttfonts.TTFError:
            continue
        found = found or made
        if all(letters <= font.face.charToGlyph.keys() for font in made):
            found = made
            break
    for font in found:
        metrics.registerFont(font)
    plain, bold = found[0].fontName, found[1].fontName
    _family(plain, bold)
    return plain, bold


def _family(plain: str, bold: str) -> None:
    """So that <b> finds its face; every registration of a face forgets it."""
    load("reportlab.pdfbase.pdfmetrics").registerFontFamily(
        plain, normal=plain, bold=bold, italic=plain, boldItalic=bold
    )


def pdf_png(pdf: bytes, scale: float = PNG_SCALE) -> bytes:
    """The first page of a PDF as PNG, on white."""
    pdfium = load("pypdfium2")
    document = pdfium.PdfDocument(pdf)
    try:
        out = io.BytesIO()
        document[0].render(scale=scale).to_pil().save(out, "PNG")
        return out.getvalue()
    finally:
        document.close()
