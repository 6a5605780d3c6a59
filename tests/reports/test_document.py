"""What a page is described to have stands on the HTML page and on paper alike. pypdf reads the PDF (ISO 32000)."""

import io
from html.parser import HTMLParser
from pathlib import Path

import pypdf
import pytest
from PIL import Image

from pourcall.reports.drawings import chart
from pourcall.reports.drawings.chart_svg import chart_svg
from pourcall.reports.pages import document as doc
from pourcall.reports.pages.as_html import html
from pourcall.reports.pages.as_pdf import pdf

SVG = chart_svg(chart.Chart(name="It", x=chart.Axis(0, 1, ((0, "zero"),)), y=chart.Axis(0, 1, ())))
WORDS: dict[str, doc.Block] = {
    "banner": doc.Banner("banner-big", ("banner-beside",)),
    "heading": doc.Banner("heading-big", ((doc.Run("heading-bold", bold=True), " heading-plain"),), rule=True),
    "paragraph": doc.Paragraph((doc.Run("paragraph-good", tone="good"), doc.Run("paragraph-fill", fill="#eeeeee"))),
    "bullets": doc.Bullets(["bullets-one", "bullets-two"]),
    "check": doc.Bullets(["check-one"], check=True),
    "figures": doc.Figures([("figures-name", "figures-12")]),
    "pairs": doc.Pairs([("pairs-name", "pairs-value")]),
    "table": doc.Table(("table-head",), [doc.Row(("table-cell",), "shaded"), doc.Row(("table-strong",), "strong")]),
    "listing": doc.Listing([doc.Happened("7", "09-30", "listing-what", strong=True)]),
    "drawing": doc.Drawing(SVG),
    "box": doc.Box("box-title", ["box-one", "box-two"]),
    "section": doc.Section("section-title", (doc.Paragraph("section-body"),)),
    "beside": doc.Beside([(doc.Paragraph("beside-left"),), (doc.Paragraph("beside-right"),)]),
    "flow": doc.Beside([(doc.Paragraph("flow-one"),)], flow=True),
}


class Words(HTMLParser):
    def __init__(self, page: str) -> None:
        super().__init__()
        self.body, self.style = "", False
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.style = tag == "style"

    def handle_endtag(self, tag: str) -> None:
        self.style = False

    def handle_data(self, data: str) -> None:
        self.body += "" if self.style else data


def said(document: doc.Document) -> tuple[str, str]:
    reader = pypdf.PdfReader(io.BytesIO(pdf(document)))
    return Words(html(document)).body, " ".join(page.extract_text() for page in reader.pages)


def words_of(value: object) -> list[str]:
    if isinstance(value, str):
        return [word for word in value.split() if "-" in word and not word.startswith("#")]
    return [word for one in value for word in words_of(one)] if isinstance(value, tuple | list) else []


@pytest.mark.parametrize("name", sorted(WORDS))
def test_every_kind_of_block_says_the_same_in_a_browser_and_on_paper(name: str) -> None:
    block = WORDS[name]
    wanted = ["zero"] if isinstance(block, doc.Drawing) else words_of(block)
    assert wanted
    for body in said(doc.Document("A page", [block])):
        for word in wanted:
            assert word in body, word


def test_typed_markup_is_shown_as_it_was_typed() -> None:
    nasty = "<b>&</b><script>-"
    document = doc.Document("T", [doc.Paragraph(nasty), doc.Box(nasty, [nasty]), doc.Pairs([(nasty, nasty)])])
    for body in said(document):
        assert body.count(nasty) == 5
    assert "<script>" not in html(document)


def test_a_page_that_is_to_stay_one_page_does_and_another_takes_as_many_as_it_needs() -> None:
    body = [doc.Section(f"part {number}", (doc.Paragraph("word " * 120),)) for number in range(30)]
    one = pypdf.PdfReader(io.BytesIO(pdf(doc.Document("T", body, one_page=True))))
    assert len(one.pages) == 1
    assert "part 29" in one.pages[0].extract_text()
    several = pypdf.PdfReader(io.BytesIO(pdf(doc.Document("T", body))))
    assert len(several.pages) > 1
    assert "part 29" in several.pages[-1].extract_text()


def test_a_photo_is_on_both_and_a_missing_one_is_named_on_both(tmp_path: Path) -> None:
    Image.new("RGB", (8, 8), "#aa5500").save(tmp_path / "a.png")
    pictures = doc.Pictures([doc.Picture(tmp_path / "a.png", "photo-a"), doc.Picture(tmp_path / "b.png", "photo-b")])
    document = doc.Document("T", [doc.Paragraph("front-page")], after=[pictures])
    page = html(document)
    assert page.count("data:image/png;base64,") == 1
    reader = pypdf.PdfReader(io.BytesIO(pdf(document)))
    assert [len(list(one.images)) for one in reader.pages] == [0, 1]
    for body in said(document):
        assert "photo-a" in body
        assert "photo-b" in body
        assert "b.png" in body
