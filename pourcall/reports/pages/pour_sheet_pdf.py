"""The pour sheet as PDF. Words and drawings of sheet.py on one page, A4 or US Letter; photos on further pages.

Its words can be searched and copied; what does not fit is made smaller until it does. ReportLab (the extra `pictures`)
lays it out. Not here: what is said (sheet.py), drawings (chart.py), drawings as PDF (pictures.py).
"""

import io
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any, Literal

import msgspec

from pourcall.contract.units import Unit
from pourcall.records.read.facts import PourFacts
from pourcall.records.read.views import PhotoRow
from pourcall.reports.drawings.pictures import faces, flowable, load
from pourcall.reports.drawings.pour_plot import STATE_FILL, melt_svg, pour_svg
from pourcall.reports.pages import pour_sheet as sheet
from pourcall.reports.pages.page import esc

Paper = Literal["a4", "letter"]
_SIZES: dict[Paper, tuple[float, float]] = {"a4": (595.276, 841.89), "letter": (612.0, 792.0)}  # ISO 216, ANSI; pt
_MARGIN = 28.35  # 10 mm
_GAP = 14.0
_RED, _GREEN, _GREY, _INK = "#a11d1d", "#1b6b2f", "#444444", "#1b1b1b"
_PHOTO_PIXELS = 1400


class _Look:
    """Styles and the width of the page, made once."""

    def __init__(self, text: str, wide: float) -> None:
        self.lib = load("reportlab.platypus")
        styles = load("reportlab.lib.styles")
        self.plain, _ = faces(text)
        self.wide = wide

        def style(size: float, **more: Any) -> Any:
            known = {"fontName": self.plain, "fontSize": size, "leading": 1.28 * size, "textColor": _INK}
            return styles.ParagraphStyle(f"s{size}", **known | more)

        self.body, self.small, self.how = style(9.6), style(8.0, textColor=_GREY), style(10.0, spaceAfter=4)
        self.number, self.what = style(38.0, leading=43.0), style(12.5)
        self.figure, self.judged = style(27.0, leading=31.0), style(12.0)
        self.heading = style(10.4)
        self.mind = style(
            8.4,
            borderColor=_RED,
            borderWidth=1.4,
            borderPadding=(3, 5, 5, 5),
            spaceBefore=10,
            spaceAfter=9,
            leftIndent=6,
            rightIndent=6,
        )

    def say(self, markup: str, style: Any = None) -> Any:
        return self.lib.Paragraph(markup, self.body if style is None else style)

    def table(self, rows: Sequence[Sequence[Any]], widths: Sequence[float], *look: tuple[Any, ...]) -> Any:
        plain: list[tuple[Any, ...]] = [("LEFTPADDING", (0, 0), (-1, -1), 0), ("RIGHTPADDING", (0, 0), (-1, -1), 0)]
        plain += [("TOPPADDING", (0, 0), (-1, -1), 0.5), ("BOTTOMPADDING", (0, 0), (-1, -1), 0.5)]
        return self.lib.Table(
            rows, colWidths=widths, style=[*plain, ("VALIGN", (0, 0), (-1, -1), "TOP"), *look], hAlign="LEFT"
        )

    def halves(self, left: Sequence[Any], right: Sequence[Any]) -> Any:
        half = (self.wide - _GAP) / 2.0
        return self.table([[list(left), "", list(right)]], [half, _GAP, half], ("TOPPADDING", (0, 0), (-1, -1), 4))

    def titled(self, title: str, body: Sequence[Any], wide: float) -> list[Any]:
        rule = ("LINEBELOW", (0, 0), (-1, -1), 0.5, _grey())
        return [self.table([[self.say(f"<b>{esc(title)}</b>", self.heading)]], [wide], rule), *body]


def sheet_pdf(
    facts: PourFacts,
    photos: Path,
    *,
    unit: Unit = Unit.C,
    cautions: Sequence[str] = (),
    shop: str = "",
    clock: sheet.Clock,
    paper: Paper = "a4",
) -> bytes:
    """The page, as `sheet_html` has it. Raises BadInput where the extra `pictures` is missing."""
    wide, high = (side - 2.0 * _MARGIN for side in _SIZES[paper])
    known = msgspec.json.encode(msgspec.structs.replace(facts, trace={}, detail={})).decode()
    look = _Look(f"{known}{shop}{''.join(cautions)}°±·", wide)
    one_page = look.lib.KeepInFrame(wide, high - 1.0, _page(look, facts, unit, cautions, shop, clock), mode="shrink")
    story: list[Any] = [one_page]
    if facts.photos:
        story += [look.lib.PageBreak(), *_photos(look, facts.photos, photos, clock)]
    out = io.BytesIO()
    templates = load("reportlab.platypus.doctemplate")
    frame = load("reportlab.platypus.frames").Frame(
        _MARGIN, _MARGIN, wide, high, leftPadding=0, rightPadding=0, topPadding=0, bottomPadding=0
    )
    document = templates.BaseDocTemplate(
        out,
        pagesize=_SIZES[paper],
        title=f"Pour {facts.row.pour}: {facts.row.mould}",
        author=shop,
        invariant=1,
        creator=f"pourcall {facts.program}",
        lang="en",
    )
    document.addPageTemplates([templates.PageTemplate(frames=[frame])])
    document.build(story)
    return out.getvalue()


def _page(
    look: _Look, facts: PourFacts, unit: Unit, cautions: Sequence[str], shop: str, clock: sheet.Clock
) -> list[Any]:
    half = (look.wide - _GAP) / 2.0
    parts = [_header(look, facts, shop, clock), *_lip(look, facts, unit)]
    parts.append(look.halves([_drawing(melt_svg(facts, unit), half)], [_drawing(pour_svg(facts, unit), half)]))
    states = dict.fromkeys(span.state for span in facts.states)
    shown = " ".join(f'<font backcolor="{STATE_FILL[state]}">&nbsp;{state.value}&nbsp;</font>' for state in states)
    if shown:
        parts.append(look.say(f"Melt: {shown} {sheet.LEGEND}", look.small))
    parts.append(
        look.halves(
            look.titled("Mould", [_pairs(look, sheet.mould_rows(facts), half)], half),
            look.titled("Metal and measuring", [_pairs(look, sheet.metal_rows(facts, unit), half)], half),
        )
    )
    results, notes = sheet.result_lines(facts, clock), sheet.note_lines(facts, unit, clock)
    came = [*_items(look, results), look.say(sheet.SEVERITIES, look.small)] if results else [_blank(look, "result")]
    parts.append(
        look.halves(
            look.titled("What came of it", came, half),
            look.titled("Notes", _items(look, notes) or [_blank(look, "")], half),
        )
    )
    parts.append(look.lib.Spacer(1, 4))
    parts += look.titled("What happened", [_happened(look, sheet.happened(facts, unit, clock), half)], look.wide)
    parts.append(look.say(f"<b>Mind:</b> {esc(sheet.minded(cautions, unit))}", look.mind))
    parts.append(look.say(esc(sheet.small_print(facts)), look.small))
    return parts


def _header(look: _Look, facts: PourFacts, shop: str, clock: sheet.Clock) -> Any:
    row = facts.row
    stamp = f' <font color="{_RED}"><b>SIMULATED</b></font>' if facts.simulated else ""
    what = (
        f"<b>{esc(row.mould)}</b> in <b>{esc(facts.alloy_name)}</b>{stamp}<br/>"
        f"{esc(sheet.poured_where(facts, shop, clock))}"
    )
    number = look.say(f"<b>{esc(row.pour)}</b>", look.number)
    across = min(look.wide * 0.6, 26.0 * len(row.pour) + 12.0)
    return look.table(
        [[number, look.say(what, look.what)]],
        [across, look.wide - across],
        ("VALIGN", (0, 0), (-1, -1), "BOTTOM"),
        ("LINEBELOW", (0, 0), (-1, -1), 2.2, _grey(0.1)),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 4),
    )


def _lip(look: _Look, facts: PourFacts, unit: Unit) -> list[Any]:
    figure, words, wanted, how = sheet.lip_words(facts, unit)
    ink = _GREEN if sheet.judged(facts.row, unit)[1] == "inside" else _RED
    beside = f'at the mould lip: <font color="{ink}"><b>{esc(words)}</b></font><br/>{esc(wanted)}'
    across = min(look.wide * 0.6, 17.5 * len(figure) + 12.0)
    line = look.table(
        [[look.say(f"<b>{esc(figure)}</b>", look.figure), look.say(beside, look.judged)]],
        [across, look.wide - across],
        ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
        ("TOPPADDING", (0, 0), (-1, -1), 4),
    )
    return [line, look.say(esc(how), look.how)]


def _drawing(svg: str, wide: float) -> Any:
    drawn = flowable(svg)
    share = wide / drawn.width
    drawn.scale(share, share)
    drawn.width, drawn.height = wide, drawn.height * share
    return drawn


def _pairs(look: _Look, rows: Iterable[tuple[str, str]], wide: float) -> Any:
    cells = [[look.say(f"<b>{esc(name)}</b>"), look.say(esc(value))] for name, value in rows]
    return look.table(cells or [["", ""]], [0.3 * wide, 0.7 * wide])


def _items(look: _Look, lines: Iterable[str]) -> list[Any]:
    return [look.say(f"• {esc(line)}") for line in lines]


def _blank(look: _Look, what: str) -> Any:
    return look.say(sheet.TO_INSPECT if what else sheet.BLANK)


def _happened(look: _Look, items: Sequence[tuple[int | None, str, str, bool]], half: float) -> Any:
    rows = []
    for number, at, words, ours in items:
        told = f"<b>{esc(words)}</b>" if ours else esc(words)
        sign = "" if number is None else f"<b>{number}</b>"
        rows.append([look.say(sign), look.say(f'<font color="{_GREY}">{esc(at)}</font>'), look.say(told)])
    middle = -(-len(rows) // 2)
    widths = [18.0, 34.0, half - 52.0]
    left, right = (look.table(part, widths) if part else "" for part in (rows[:middle], rows[middle:]))
    return look.halves([left], [right])


def _photos(look: _Look, rows: Sequence[PhotoRow], folder: Path, clock: sheet.Clock) -> list[Any]:
    """Two in a row, upright as the camera meant them; one that cannot be read is named."""
    half = (look.wide - _GAP) / 2.0
    cells: list[list[Any]] = []
    for row in rows:
        caption = look.say(esc(f"{row.caption} ({clock(row.at_utc_s)})".strip()), look.small)
        path = folder / f"{row.hash}{row.suffix}"
        try:
            shown = _photo(look, path, half)
        except OSError:
            shown = look.say(esc(f"the file {path.name} is missing or no picture"))
        cells.append([shown, caption])
    pairs = [cells[at : at + 2] for at in range(0, len(cells), 2)]
    return [look.halves(pair[0], pair[1] if len(pair) > 1 else []) for pair in pairs]


def _photo(look: _Look, path: Path, wide: float) -> Any:
    image, turn = load("PIL.Image"), load("PIL.ImageOps")
    with image.open(path) as opened:
        upright = turn.exif_transpose(opened).convert("RGB")
    upright.thumbnail((_PHOTO_PIXELS, _PHOTO_PIXELS))
    body = io.BytesIO()
    upright.save(body, "JPEG", quality=85)
    body.seek(0)
    share = min(wide / upright.width, 300.0 / upright.height)
    return look.lib.Image(body, upright.width * share, upright.height * share)


def _grey(share: float = 0.6) -> Any:
    return load("reportlab.lib.colors").Color(share, share, share)
