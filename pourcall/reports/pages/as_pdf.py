"""A document as PDF, on A4 or US Letter. What is to stay on one page is made smaller until it does.

Its words can be searched and copied. ReportLab (the extra `pictures`) lays it out. Not here: what is said
(pour_sheet.py and its neighbours), drawings as PDF (pictures.py).
"""

import io
from collections.abc import Iterable, Iterator, Sequence
from typing import Any, Literal, assert_never

from pourcall.contract.message import tell
from pourcall.reports.drawings.markup import esc
from pourcall.reports.drawings.pictures import faces, flowable, load
from pourcall.reports.pages import document as doc
from pourcall.texts import say

Paper = Literal["a4", "letter"]
_SIZES: dict[Paper, tuple[float, float]] = {"a4": (595.276, 841.89), "letter": (612.0, 792.0)}  # ISO 216, ANSI; pt
_MARGIN, _GAP, _HALVES = 28.35, 14.0, 2  # 10 mm
_INKS = {"good": "#1b6b2f", "bad": "#a11d1d", "grey": "#444444", "stamp": "#a11d1d"}
_PHOTO_PIXELS, _PHOTO_HIGH = 1400, 300.0
_LETTER = 0.66  # of the size of a bold letter: about its width


def pdf(document: doc.Document, *, paper: Paper = "a4") -> bytes:
    """The pages. Raises BadInput where the extra `pictures` is missing."""
    wide, high = (side - 2.0 * _MARGIN for side in _SIZES[paper])
    look = _Look("".join(_words(document.body)) + "".join(_words(document.after)) + "•°±☐")
    story = look.blocks(document.body, wide)
    if document.one_page:
        story = [look.lib.KeepInFrame(wide, high - 1.0, story, mode="shrink")]
    if document.after:
        story += [look.lib.PageBreak(), *look.blocks(document.after, wide)]
    out, templates = io.BytesIO(), load("reportlab.platypus.doctemplate")
    frame = load("reportlab.platypus.frames").Frame(
        _MARGIN, _MARGIN, wide, high, leftPadding=0, rightPadding=0, topPadding=0, bottomPadding=0
    )
    made = templates.BaseDocTemplate(
        out,
        pagesize=_SIZES[paper],
        title=document.title,
        author=document.author,
        creator=document.creator,
        invariant=1,
        lang="en",
    )
    made.addPageTemplates([templates.PageTemplate(frames=[frame])])
    made.build(story)
    return out.getvalue()


def _words(value: object) -> Iterator[str]:
    """All text in it, so that a face is found that has every letter."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, Iterable) and not isinstance(value, doc.Drawing):
        for one in value:
            yield from _words(one)


class _Look:
    """Styles, made once, and a flowable of ReportLab for each block."""

    def __init__(self, text: str) -> None:
        self.lib = load("reportlab.platypus")
        self.face, _ = faces(text)
        self.body, self.small, self.beside = self._style(9.6), self._style(8.0, _INKS["grey"]), self._style(12.0)
        self.title, self.boxed = self._style(10.4), self._style(8.4)

    def _style(self, size: float, ink: str = "#1b1b1b") -> Any:
        make = load("reportlab.lib.styles").ParagraphStyle
        return make(f"s{size}", fontName=self.face, fontSize=size, leading=1.28 * size, textColor=ink)

    def blocks(self, blocks: Iterable[doc.Block], wide: float) -> list[Any]:
        return [flowable for block in blocks for flowable in self.block(block, wide)]

    def block(self, block: doc.Block, wide: float) -> list[Any]:
        match block:
            case doc.Banner():
                return [self.banner(block, wide)]
            case doc.Paragraph():
                return [self.say(block.line, self.small if block.small else self.body), self.lib.Spacer(1, 3)]
            case doc.Bullets():
                return [self.listed("☐" if block.check else "•", item, wide) for item in block.items]
            case doc.Figures():
                cells = [self.say(name, self.small) for name, _ in block.items]
                figures = [self.say((_bold(figure),), self.beside) for _, figure in block.items]
                each = [wide / max(len(cells), 1)] * len(cells)
                return [self.table([cells, figures], each, ("BOX", (0, 0), (-1, -1), 1.4, self.grey(0.1)), pad=5.0)]
            case doc.Pairs():
                rows = [[self.say((_bold(name),)), self.say(value)] for name, value in block.rows]
                return [self.table(rows, [0.3 * wide, 0.7 * wide])] if rows else []
            case doc.Table():
                return [self.rows(block, wide)]
            case doc.Listing():
                return [self.listing(block, wide)]
            case doc.Drawing():
                return [self.drawing(block.svg, wide)]
            case doc.Pictures():
                parts = [self.picture(one, (wide - _GAP) / 2.0) for one in block.items]
                return self.beside_each_other(parts, wide)
            case doc.Box():
                return [self.lib.Spacer(1, 6), self.box(block, wide), self.lib.Spacer(1, 6)]
            case doc.Section():
                rule = ("LINEBELOW", (0, 0), (-1, -1), 0.5, self.grey())
                title = self.table([[self.say((_bold(block.title),), self.title)]], [wide], rule)
                return [self.lib.Spacer(1, 4), title, *self.blocks(block.body, wide)]
            case doc.Beside():
                if block.flow:
                    return [one for part in block.parts for one in self.blocks(part, wide)]
                half = (wide - _GAP) / 2.0
                return self.beside_each_other([self.blocks(part, half) for part in block.parts], wide)
            case _:
                assert_never(block)

    def say(self, line: doc.Line, style: Any = None) -> Any:
        return self.lib.Paragraph(_markup(line), self.body if style is None else style)

    def grey(self, share: float = 0.6) -> Any:
        return load("reportlab.lib.colors").Color(share, share, share)

    def table(
        self, rows: Sequence[Sequence[Any]], widths: Sequence[float], *look: tuple[Any, ...], pad: float = 0.5
    ) -> Any:
        whole = (0, 0), (-1, -1)
        style = [("LEFTPADDING", *whole, 0), ("RIGHTPADDING", *whole, 0), ("VALIGN", *whole, "TOP")]
        style += [("TOPPADDING", *whole, pad), ("BOTTOMPADDING", *whole, pad)]
        if pad > 1.0:
            style += [("LEFTPADDING", *whole, pad), ("RIGHTPADDING", *whole, pad)]
        return self.lib.Table(rows, colWidths=widths, style=[*style, *look], hAlign="LEFT")

    def beside_each_other(self, parts: Sequence[Sequence[Any]], wide: float) -> list[Any]:
        half = (wide - _GAP) / 2.0
        pairs = [parts[at : at + _HALVES] for at in range(0, len(parts), _HALVES)]
        return [
            self.table([[list(pair[0]), "", list(pair[1]) if len(pair) > 1 else ""]], [half, _GAP, half])
            for pair in pairs
        ]

    def banner(self, banner: doc.Banner, wide: float) -> Any:
        size = 38.0 if banner.rule and banner.beside else 27.0 if banner.beside else 22.0
        across = min(0.6 * wide, _LETTER * size * len(banner.big) + 14.0) if banner.beside else wide
        beside = [self.say(line, self.beside) for line in banner.beside]
        look: list[tuple[Any, ...]] = [("VALIGN", (0, 0), (-1, -1), "BOTTOM" if banner.rule else "MIDDLE")]
        look.append(("BOTTOMPADDING", (0, 0), (-1, -1), 4))
        if banner.rule:
            look.append(("LINEBELOW", (0, 0), (-1, -1), 2.2, self.grey(0.1)))
        big = self.say((_bold(banner.big),), self._style(size))
        return self.table([[big, beside] if beside else [big]], [across, wide - across] if beside else [wide], *look)

    def listed(self, sign: str, item: doc.Line, wide: float) -> Any:
        return self.table([[self.say(sign), self.say(item)]], [11.0, wide - 11.0])

    def rows(self, table: doc.Table, wide: float) -> Any:
        cells = [[self.say((_bold(name),), self.small) for name in table.head]]
        look: list[tuple[Any, ...]] = [("LINEBELOW", (0, 0), (-1, -1), 0.4, self.grey(0.8))]
        for number, row in enumerate(table.rows, 1):
            cells.append([self.say((_bold(cell),) if row.look == "strong" else cell) for cell in row.cells])
            if row.look == "shaded":
                look.append(("BACKGROUND", (0, number), (-1, number), "#fdf0e4"))
        return self.table(cells, [wide / max(len(table.head), 1)] * len(table.head), *look)

    def listing(self, listing: doc.Listing, wide: float) -> Any:
        half = (wide - _GAP) / 2.0
        rows = [
            [
                self.say((_bold(one.sign),)),
                self.say((doc.Run(one.when, tone="grey"),)),
                self.say((_bold(one.what),) if one.strong else one.what),
            ]
            for one in listing.items
        ]
        middle, widths = -(-len(rows) // 2), [18.0, 34.0, half - 52.0]
        parts = [[self.table(part, widths)] if part else [] for part in (rows[:middle], rows[middle:])]
        return self.beside_each_other(parts, wide)[0]

    def box(self, box: doc.Box, wide: float) -> Any:
        if len(box.items) == 1:
            body: list[Any] = [self.say((_bold(f"{box.title} "), *doc.runs(box.items[0])), self.boxed)]
        else:
            body = [self.say((_bold(box.title),)), *(self.listed("•", item, wide - 12.0) for item in box.items)]
        return self.table([[body]], [wide], ("BOX", (0, 0), (-1, -1), 1.4, _INKS["bad"]), pad=5.0)

    def drawing(self, svg: str, wide: float) -> Any:
        drawn = flowable(svg)
        share = wide / drawn.width
        drawn.scale(share, share)
        drawn.width, drawn.height = wide, drawn.height * share
        return drawn

    def picture(self, picture: doc.Picture, wide: float) -> list[Any]:
        """Upright as the camera meant it; one that cannot be read is named."""
        image, turn = load("PIL.Image"), load("PIL.ImageOps")
        try:
            with image.open(picture.path) as opened:
                upright = turn.exif_transpose(opened).convert("RGB")
        except OSError:
            return [
                self.say(say(tell("page.photo_unread", file=picture.path.name))),
                self.say(picture.caption, self.small),
            ]
        upright.thumbnail((_PHOTO_PIXELS, _PHOTO_PIXELS))
        body = io.BytesIO()
        upright.save(body, "JPEG", quality=85)
        body.seek(0)
        share = min(wide / upright.width, _PHOTO_HIGH / upright.height)
        shown = self.lib.Image(body, upright.width * share, upright.height * share)
        return [shown, self.say(picture.caption, self.small)]


def _bold(text: str) -> doc.Run:
    return doc.Run(text, bold=True)


def _markup(line: doc.Line) -> str:
    told = []
    for text, bold, tone, fill in doc.runs(line):
        said = f"<b>{esc(text)}</b>" if bold else esc(text)
        if tone:
            said = f'<font color="{_INKS[tone]}">{said}</font>'
        told.append(f'<font backcolor="{esc(fill)}">&nbsp;{said}&nbsp;</font>' if fill else said)
    return "".join(told)
