"""Drawings and sheets as PDF and PNG, opened by readers nobody here wrote.

pypdf (ISO 32000 files), Pillow (PNG, W3C), expat (XML 1.0). What a drawing looks like is checked against resvg, which
paints the SVG itself and shares no code with our chain. Paper sizes: ISO 216 (A4), ANSI/ASME Y14.1 (Letter).
"""

import io
import os
import re
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import msgspec
import numpy as np
import pypdf
import pytest
import resvg_py
from PIL import Image, ImageFilter

from pourcall.contract.api import TracePoint
from pourcall.contract.errors import BadInput, NotFound, StoreError
from pourcall.contract.message import tell
from pourcall.contract.units import Unit
from pourcall.records.entries import entries
from pourcall.records.read.facts import Mark, PourFacts, pour_facts
from pourcall.records.read.store import Store
from pourcall.reports.drawings.melt_facts import MeltFacts, melt_facts, spreads_at
from pourcall.reports.drawings.melt_parts import pieces
from pourcall.reports.drawings.melt_plot import plot_svg
from pourcall.reports.drawings.pictures import faces, picture, svg_pdf, write_pictures
from pourcall.reports.drawings.pour_plot import both_svg, overlay_svg
from pourcall.reports.pages.as_pdf import pdf
from pourcall.reports.pages.pour_sheet import pour_sheet
from pourcall.texts import word
from tests.told import refused, said

UTC_S = 1_780_000_000.0
MM_PER_POINT = 25.4 / 72.0
Maker = Any


def clock(utc_s: float) -> str:
    minutes = int(utc_s - UTC_S) // 60
    return f"2026-05-28 {minutes // 60:02d}:{minutes % 60:02d}"


def of_pour(database: Path, pour: str = "2026-001-1") -> PourFacts:
    with Store.read(database) as store:
        return pour_facts(store, pour)


def of_melt(database: Path, number: int = 0) -> MeltFacts:
    with Store.read(database) as store:
        return melt_facts(store, "2026-001", number=number)


def drawings(database: Path) -> dict[str, str]:
    pours = [of_pour(database), of_pour(database, "2026-001-2")]
    over = overlay_svg(pours, [one.pour_s for one in pours], from_s=-420.0, until_s=120.0, zero=tell("plot.zero_pour"))
    return {"melt": plot_svg(of_melt(database), Unit.F, clock), "pour": both_svg(pours[0]), "over": over}


def sheet_pdf(facts: PourFacts, photos: Path, *, paper: Any = "a4", **told: Any) -> bytes:
    return pdf(pour_sheet(facts, photos, **told), paper=paper)


def words_of(svg: str) -> list[str]:
    return [str(e.text) for e in ElementTree.fromstring(svg).iter() if e.tag.endswith("text")]


def size_of(svg: str) -> tuple[float, float]:
    _, _, wide, high = (float(word) for word in ElementTree.fromstring(svg).attrib["viewBox"].split())
    return wide, high


def grey(png: bytes) -> Any:
    """Greys from 0 to 1, a little out of focus: how the edge of a letter is smoothed differs between painters."""
    image = Image.open(io.BytesIO(png)).convert("L").filter(ImageFilter.GaussianBlur(3))
    return np.asarray(image, dtype=float) / 255.0


@pytest.mark.parametrize("which", ["melt", "pour", "over"])
def test_our_png_looks_as_another_painter_paints_the_svg(cast: Path, which: str) -> None:
    svg = drawings(cast)[which]
    ours = picture(svg, ".png")
    wide, high = Image.open(io.BytesIO(ours)).size
    assert (wide, high) == pytest.approx([2.0 * side for side in size_of(svg)], abs=2.0)
    fonts = [font.face.filename for font in map(_font, faces(svg))]
    theirs = resvg_py.svg_to_bytes(
        svg_string=svg,
        width=wide,
        height=high,
        skip_system_fonts=True,
        font_files=fonts,
        background="#ffffff",
        sans_serif_family="Bitstream Vera Sans",
        font_family="Bitstream Vera Sans",
    )
    one, other = grey(ours), grey(bytes(theirs))
    assert one.shape == other.shape
    ink = float(np.mean(one < 0.9))
    assert ink > 0.01  # there is something on it
    assert float(np.mean(np.abs(one - other) > 0.25)) < 0.05 * ink
    assert abs(float(np.mean(one)) - float(np.mean(other))) < 0.004


def _font(name: str) -> Any:
    from reportlab.pdfbase.pdfmetrics import getFont

    return getFont(name)


@pytest.mark.parametrize("which", ["melt", "pour", "over"])
def test_a_pdf_is_one_page_of_the_size_of_its_drawing_with_words_to_search(cast: Path, which: str) -> None:
    svg = drawings(cast)[which]
    reader = pypdf.PdfReader(io.BytesIO(svg_pdf(svg, title="A drawing")))
    (page,) = reader.pages
    assert [float(side) for side in page.mediabox[2:]] == pytest.approx([0.75 * side for side in size_of(svg)])
    assert reader.metadata is not None
    assert reader.metadata.title == "A drawing"
    text = page.extract_text()
    for words in words_of(svg):
        for piece in words.split():
            assert piece in text, piece
    embedded = [font["/FontDescriptor"] for font in _fonts_of(page)]
    assert embedded
    assert all("/FontFile2" in descriptor for descriptor in embedded)


def _fonts_of(page: Any) -> list[Any]:
    return [
        font.get_object() for font in page["/Resources"]["/Font"].values() if "/FontDescriptor" in font.get_object()
    ]


def test_the_same_records_give_the_same_bytes(cast: Path) -> None:
    svg = drawings(cast)["melt"]
    assert svg == drawings(cast)["melt"]
    assert picture(svg, ".pdf") == picture(svg, ".pdf")
    facts = of_pour(cast)
    assert sheet_pdf(facts, cast.parent, clock=clock) == sheet_pdf(facts, cast.parent, clock=clock)


def test_a_plot_of_a_melt_has_all_that_happened_in_words_and_in_both_times(cast: Path) -> None:
    words = words_of(plot_svg(of_melt(cast), Unit.C, clock))
    told = " ".join(words)
    for wanted in (
        said("plot.melt_title", what=tell("plot.melt", melt="2026-001"), alloy="ZA-27"),
        said("plot.liquidus", liquidus_c=484.0),
        said("plot.solidus", solidus_c=376.0),
        said("plot.window_in_pot", mould="Cleat A", low_c=545.0, high_c=585.0),
        word("stretch", "melting"),
        word("stretch", "ready"),
        said("record.lifted"),
        said("record.poured_at", number=1, mould="Cleat A", lip_c=541.0),
        said("plot.pour", number=1, mould="Cleat A", lip_c=541.0),
        said("record.dip.figure", number=1, temp_c=548.2, how=tell("record.dip.how", dip_how="settled")),
        said("plot.when", minutes=18.3, hour="00:18"),
        "°C",
        "melt_probe",
    ):
        assert wanted in told, wanted
    assert {"0", "10", "20", "00:00", "00:10", "00:20"} <= set(words)  # minutes since the start, and by the clock
    warm = " ".join(words_of(plot_svg(of_melt(cast), Unit.F, clock)))
    assert said("plot.liquidus", Unit.F, liquidus_c=484.0) in warm
    assert "903 °F" in warm
    assert "°C" not in warm


def test_a_plot_up_to_a_pour_ends_five_minutes_after_it(cast: Path) -> None:
    facts = of_melt(cast, number=1)
    assert facts.end_s <= 1200.0 + 300.0
    what = tell("plot.pour_and_melt", melt="2026-001", number=1)
    assert said("plot.melt_title", what=what, alloy="ZA-27") in words_of(plot_svg(facts, Unit.C, clock))
    with pytest.raises(NotFound):
        of_melt(cast, number=7)


@pytest.mark.parametrize("unit", list(Unit))
def test_a_plot_keeps_inside_its_edges_and_what_was_typed_never_becomes_markup(cast: Path, unit: Unit) -> None:
    facts = of_melt(cast)
    nasty = '<script>alert(1)</script>\x1b[31m & "co" ' + "w" * 90
    marks = [Mark(at_s=7.0 * n, kind=("alarm", "call", "dip", "addition")[n % 4], text=nasty) for n in range(170)]
    facts = msgspec.structs.replace(facts, marks=(*facts.marks, *marks), alloy_name=nasty[:40], furnace=nasty[:30])
    svg = plot_svg(facts, unit, clock)
    root = ElementTree.fromstring(svg)
    wide, high = size_of(svg)
    for element in root.iter():
        assert element.tag.rpartition("}")[2] != "script"
        for name, most in (("x", wide), ("y", high), ("cx", wide), ("cy", high)):
            if name in element.attrib:
                assert 0.0 <= float(element.attrib[name]) <= most, element.attrib
    assert "\x1b" not in svg


def test_every_probe_has_its_own_dash_and_a_pour_its_own_shape(cast: Path) -> None:
    facts = of_melt(cast)
    series = facts.trace["melt_probe"]
    several = {f"probe_{n}": series for n in range(6)}
    svg = plot_svg(msgspec.structs.replace(facts, trace=several, spread_c={}), Unit.C, clock)
    lines = [e.attrib for e in ElementTree.fromstring(svg).iter() if e.tag.endswith("polyline")]
    assert len({line.get("stroke-dasharray", "") for line in lines}) == 6
    pours = [of_pour(cast)] * 8
    over = ElementTree.fromstring(
        overlay_svg(pours, [p.pour_s for p in pours], from_s=-60, until_s=60, zero=tell("plot.zero_pour"))
    )
    marks = [
        (
            e.tag,
            e.attrib.get("fill") == "#ffffff",
            len(e.attrib.get("points", "").split()),
            e.attrib.get("points", "").split(" ")[0].split(",")[0],
        )
        for e in over.iter()
        if e.attrib.get("stroke-width") == "1.6"
    ]
    assert len(marks) == 16  # in the field and in the list
    assert len(set(marks[:8])) == len(set(marks[8:])) == 8


def test_a_line_is_broken_where_readings_are_missing_and_only_there() -> None:
    whole = [TracePoint(float(t), 500.0, 501.0) for t in range(100)]
    assert [len(piece) for piece in pieces(whole)] == [100]
    silent = [p for p in whole if not 40 <= p.mono_s < 60]
    assert [len(piece) for piece in pieces(silent)] == [40, 40]
    bad = [p if p.mono_s != 50.0 else TracePoint(50.0, None, None) for p in whole]
    assert [len(piece) for piece in pieces(bad)] == [50, 49]
    assert list(pieces([])) == []
    assert list(pieces(whole[:1])) == [[(0.0, 500.0, 501.0)]]


def test_the_uncertainty_of_the_record_is_the_width_of_the_band(cast: Path) -> None:
    facts = of_melt(cast)
    samples = facts.spread_c["melt_probe"]
    assert {u_c for _, u_c in samples} == {2.0}  # as recorded
    assert spreads_at(samples, [300.0, 90_000.0]) == [2.0, None]
    assert spreads_at((), [1.0]) == [None]
    assert spreads_at(((0.0, 1.0), (10.0, 3.0)), [-1.0, 0.0, 5.0, 10.0, 12.0]) == pytest.approx([1.0, 1, 2, 3, 3])
    svg = plot_svg(facts, Unit.C, clock)
    polygon = next(e for e in ElementTree.fromstring(svg).iter() if e.attrib.get("fill-opacity") == "0.28")
    points = [tuple(map(float, pair.split(","))) for pair in polygon.attrib["points"].split()]
    heights = [low - up for (_, up), (_, low) in zip(points, reversed(points), strict=True)][: len(points) // 2]
    ticks = {str(e.text): float(e.attrib["y"]) for e in ElementTree.fromstring(svg).iter() if e.tag.endswith("text")}
    px_per_c = (ticks["100"] - ticks["500"]) / 400.0
    assert min(heights) == pytest.approx(4.0 * px_per_c, rel=0.25)  # +-2 degC, and what it moved within a step


def test_a_melt_without_a_pour_or_a_reading_is_drawn_too(
    database: Path, recording: Callable[..., Any], make: Maker
) -> None:
    recorder = recording()
    recorder.put("crucible", *make.start(100.0, make.plan()))
    recorder.stop()
    facts = of_melt(database)
    assert facts.trace == {}
    assert facts.pours == ()
    title = said("plot.melt_title", what=tell("plot.melt", melt="2026-001"), alloy="ZA-27")
    assert title in words_of(plot_svg(facts, Unit.C, clock))
    assert picture(plot_svg(facts, Unit.C, clock), ".png").startswith(b"\x89PNG\r\n\x1a\n")


@pytest.mark.parametrize(("paper", "size_mm"), [("a4", (210.0, 297.0)), ("letter", (215.9, 279.4))])
def test_a_sheet_is_one_page_of_paper_with_what_matters_in_words(cast: Path, paper: Any, size_mm: Any) -> None:
    body = sheet_pdf(of_pour(cast), cast.parent, clock=clock, shop="boat club", cautions=("Hot <metal>.",), paper=paper)
    reader = pypdf.PdfReader(io.BytesIO(body))
    (page,) = reader.pages
    assert [float(side) * MM_PER_POINT for side in page.mediabox[2:]] == pytest.approx(size_mm, abs=0.1)
    text = " ".join(page.extract_text().split())
    for told in (
        "2026-001-1",
        f"Cleat A {said('sheet.in')} ZA-27",
        "541 °C ± 6 °C",
        said("sheet.inside"),
        said("sheet.wanted", low_c=520.0, high_c=560.0),
        "boat club",
        "probe in the metal less 25 degC on the way",
        "cleat_v1",
        said("sheet.not_inspected"),
        "Hot <metal>.",
        said("plot.liquidus", liquidus_c=484.0),
        said("record.poured_at", number=2, mould="Cleat B", lip_c=500.0),
        said("plot.around_pour"),
    ):
        assert told in text, told
    assert reader.metadata is not None
    assert reader.metadata.title == said("sheet.title", pour="2026-001-1", mould="Cleat A")


def test_however_much_happened_the_sheet_stays_one_page_and_photos_follow(
    cast: Path, recording: Callable[..., Any], tmp_path: Path
) -> None:
    image = Image.new("RGB", (60, 30), "#aa5500")
    exif = Image.Exif()
    exif[0x0112] = 6  # to be turned by a quarter: a camera held upright
    image.save(tmp_path / "side.jpg", exif=exif)
    folder = tmp_path / "photos"
    kept = entries.store_photo_file(folder, tmp_path / "side.jpg")

    def put(conn: Any) -> None:
        entries.add_photo(conn, "2026-001", *kept, who="Ann", utc_s=UTC_S, pour_number=1, caption="horn tip")
        entries.add_photo(conn, "2026-001", "ab" * 32, ".png", 3, who="Ann", utc_s=UTC_S, pour_number=1, caption="gone")
        for n in range(70):
            entries.add_note(
                conn, "2026-001", f"<b>note {n}</b> " + "sand " * 20, who="Ann", utc_s=UTC_S, pour_number=1
            )

    recorder = recording(2000.0, UTC_S + 1900.0)
    recorder.call(put).result(5)
    recorder.stop()
    reader = pypdf.PdfReader(io.BytesIO(sheet_pdf(of_pour(cast), folder, clock=clock)))
    first, second = reader.pages
    assert "<b>note 69</b>" in first.extract_text()
    assert "horn tip" in second.extract_text()
    # a long name is broken between two lines
    missing = said("page.photo_unread", file=f"{'ab' * 32}.png")
    assert "".join(missing.split()) in "".join(second.extract_text().split())
    (shown,) = second.images
    assert shown.image is not None
    assert shown.image.size == (30, 60)
    assert not list(first.images)


def test_letters_beyond_latin_are_shown_where_the_machine_has_a_face_for_them(cast: Path) -> None:
    facts = of_pour(cast)
    facts = msgspec.structs.replace(facts, row=msgspec.structs.replace(facts.row, mould="Утка № 2"))
    assert faces("é ± °C") == ("Vera", "VeraBd")
    plain, _ = faces("Утка")
    body = sheet_pdf(facts, cast.parent, clock=clock)  # never fails, whatever is typed
    if plain != "Vera":
        assert "Утка № 2" in pypdf.PdfReader(io.BytesIO(body)).pages[0].extract_text()


def test_without_the_extra_one_sentence_says_how_to_get_it(
    cast: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    svg = drawings(cast)["over"]
    for name in ("svglib.svglib", "reportlab.pdfgen.canvas", "reportlab.platypus", "pypdfium2"):
        monkeypatch.setitem(sys.modules, name, None)
    for file in ("a.png", "a.pdf"):
        with refused(BadInput, "export.no_pictures"):
            write_pictures({tmp_path / "out" / file: svg, tmp_path / "out" / "b.svg": svg})
    with refused(BadInput, "export.no_pictures"):
        sheet_pdf(of_pour(cast), cast.parent, clock=clock)
    assert not (tmp_path / "out").exists()
    write_pictures({tmp_path / "c.svg": svg})  # needs nothing
    assert (tmp_path / "c.svg").read_text("utf-8") == svg


@pytest.mark.parametrize("name", ["a.gif", "a", "pdf", "a.svgz", "a.png.txt"])
def test_a_name_that_says_no_kind_of_picture_is_refused(tmp_path: Path, name: str) -> None:
    with refused(BadInput, "export.no_kind"):
        write_pictures({tmp_path / name: "<svg/>"})
    assert os.listdir(tmp_path) == []


def test_of_several_pictures_none_is_left_where_one_cannot_be_written(cast: Path, tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file, no folder")
    svg, before = drawings(cast)["over"], sorted(os.listdir(tmp_path))
    with pytest.raises(StoreError, match=re.escape(str(tmp_path / "taken"))):
        write_pictures({tmp_path / "a.png": svg, tmp_path / "taken" / "b.svg": svg})
    assert sorted(os.listdir(tmp_path)) == before
