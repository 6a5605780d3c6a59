"""The pour sheet. A melt recorded by the real recorder, a page parsed by a reader nobody here wrote.

Well-formedness of the drawing is checked by expat (an XML 1.0 parser), the page by html.parser of the standard library.
"""

import base64
import re
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import msgspec
import pytest

from pourcall.contract.errors import NotFound
from pourcall.contract.events import Event
from pourcall.contract.message import tell
from pourcall.contract.units import Unit
from pourcall.records.entries import entries
from pourcall.records.read.facts import PourFacts, pour_facts
from pourcall.records.read.store import Store
from pourcall.records.write.rows import insert
from pourcall.reports.drawings.pour_plot import both_svg, melt_svg, pour_svg
from pourcall.reports.pages.as_html import html
from pourcall.reports.pages.pour_sheet import judged, pour_sheet
from pourcall.texts import word
from tests.told import said

UTC_S = 1_780_000_000.0
NASTY = '<script>alert(1)</script>\x1b[31m & "co"'
Maker = Any


class Page(HTMLParser):
    """Tags, their attributes, the text, and whether all that was opened was closed."""

    VOID = frozenset({"meta", "br", "img"})

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.words = ""
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.words += data


def enter(database: Path, recording: Callable[..., Any], make: Callable[[Any], object]) -> None:
    recorder = recording(2000.0, UTC_S + 1900.0)
    recorder.call(make).result(5)
    recorder.stop()


def clock(utc_s: float) -> str:
    return f"day {int(utc_s - UTC_S) // 60:05d}"


def page_of(facts: PourFacts, photos: Path, **told: Any) -> str:
    return html(pour_sheet(facts, photos, **told))


def facts_of(database: Path, pour: str = "2026-001-1") -> PourFacts:
    with Store.read(database) as store:
        return pour_facts(store, pour)


def test_the_facts_of_a_pour_stand_on_one_time_axis(cast: Path) -> None:
    facts = facts_of(cast)
    assert (facts.pour_s, facts.lift_s, facts.pours_in_melt) == (1200.0, 1180.0, 2)
    assert facts.liquidus_s == 900.0  # said ready then; this record names no probe that stays in the metal
    assert facts.liquid_s == 300.0
    kinds = [(round(mark.at_s), mark.kind) for mark in facts.marks]
    assert kinds == [
        (300, "state"),
        (900, "state"),
        (1100, "dip"),
        (1180, "lift"),
        (1190, "lift"),
        (1200, "pour"),
        (1210, "pour"),
    ]
    assert [(span.state.value, span.from_s, span.until_s) for span in facts.states] == [
        ("melting", 300.0, 900.0),
        ("ready", 900.0, None),
    ]
    points = facts.detail["melt_probe"]
    assert points[0].mono_s == pytest.approx(780.0, abs=3.0)
    near = next(point for point in points if 999.0 < point.mono_s < 1001.0)
    assert near.min_c == pytest.approx(20.0 + 1000.0 * 464.0 / 900.0, abs=1.0)


def test_a_pour_nobody_made_has_no_sheet(cast: Path) -> None:
    with pytest.raises(NotFound):
        facts_of(cast, "2026-001-9")


def test_the_page_says_number_temperature_window_and_how_it_is_known(cast: Path) -> None:
    page = Page(page_of(facts_of(cast), cast.parent / "photos", clock=clock, shop="boat club", cautions=("Hot.",)))
    for told in (
        "2026-001-1",
        "Cleat A",
        "ZA-27",
        "541 °C ± 6 °C",
        said("sheet.wanted", low_c=520.0, high_c=560.0),
        said("sheet.inside"),
        "boat club",
        "probe in the metal less 25 degC on the way",
        "cleat_v1",
        said("sheet.not_inspected"),
        "Hot.",
        said("sheet.before_pour", length="5 min 0 s"),
        said("sheet.lift_to_pour", length="20 s"),
        said("record.dip.figure", number=1, temp_c=548.2, how=tell("record.dip.how", dip_how="settled")),
        said("record.poured_at", number=2, mould="Cleat B", lip_c=500.0),
    ):
        assert told in page.words, told
    assert page.open == []
    assert page.words.count("2026-001-1") >= 2


def test_a_pour_outside_its_window_says_by_how_much_in_the_readers_unit(cast: Path) -> None:
    facts = facts_of(cast, "2026-001-2")
    cold, tone = judged(facts.row)
    assert (cold, tone) == (tell("sheet.too_cold", under_difference_c=20.0), "bad")
    page = Page(page_of(facts, cast.parent, clock=clock, unit=Unit.F))
    assert "932 °F ± 11 °F" in page.words  # 500 degC exactly
    assert "36 °F" in said("sheet.too_cold", Unit.F, under_difference_c=20.0)
    assert said("sheet.too_cold", Unit.F, under_difference_c=20.0) in page.words
    wanted = said("sheet.wanted", Unit.F, low_c=520.0, high_c=560.0)
    assert wanted in page.words
    assert {"968 °F", "1040 °F"} <= set(re.findall(r"\d+ °F", wanted))  # 520 and 560 degC exactly
    unknown = msgspec.structs.replace(facts.row, lip_temp_c=None, lip_u_c=None)
    assert judged(unknown) == (tell("sheet.lip_unknown"), "bad")
    edge = msgspec.structs.replace(facts.row, lip_temp_c=557.0, lip_u_c=6.0)
    assert judged(edge) == (tell("sheet.inside_by_less"), "good")


def test_nothing_is_fetched_and_nothing_typed_becomes_markup(
    cast: Path, recording: Callable[..., Any], make: Maker
) -> None:
    def nasty(conn: Any) -> None:
        entries.add_note(conn, "2026-001", NASTY, who=NASTY, utc_s=UTC_S + 1, pour_number=1)
        insert(conn, "mould_setups", name="cleat_v1", at_utc_s=UTC_S, pattern=NASTY, gating=NASTY, detail=NASTY)
        entries.add_result(conn, "2026-001-1", NASTY, 2, who=NASTY, utc_s=UTC_S + 2, detail=NASTY)
        entries.add_tag(conn, "2026-001", NASTY, utc_s=UTC_S)

    enter(cast, recording, nasty)
    text = page_of(facts_of(cast), cast.parent, clock=clock, cautions=(NASTY,), shop=NASTY)
    page = Page(text)
    assert page.open == []
    names = {tag for tag, _ in page.tags}
    assert not names & {"script", "link", "iframe", "object", "embed", "base"}
    for _, attributes in page.tags:
        for name, value in attributes.items():
            assert not name.startswith("on")
            assert name not in ("src", "href") or str(value).startswith("data:image/")
    assert not re.findall(r"url\((?!#)", text)
    assert "@import" not in text
    assert "\x1b" not in text
    assert page.words.count("alert(1)") >= 8  # it is all there, as words


def test_photos_are_in_the_page_itself_and_a_missing_one_is_named(
    cast: Path, recording: Callable[..., Any], tmp_path: Path
) -> None:
    body = b"\xff\xd8\xff\xe0" + bytes(range(256)) + b"\xff\xd9"
    source = tmp_path / "side.JPG"
    source.write_bytes(body)
    folder = tmp_path / "photos"
    kept = entries.store_photo_file(folder, source)

    def put(conn: Any) -> None:
        entries.add_photo(conn, "2026-001", *kept, who="Ann", utc_s=UTC_S, pour_number=1, caption="horn tip")
        entries.add_photo(conn, "2026-001", "ab" * 32, ".png", 3, who="Ann", utc_s=UTC_S, pour_number=1, caption="gone")

    enter(cast, recording, put)
    page = Page(page_of(facts_of(cast), folder, clock=clock))
    (image,) = [attributes for tag, attributes in page.tags if tag == "img"]
    kind, _, data = str(image["src"]).partition(";base64,")
    assert kind == "data:image/jpeg"
    assert base64.b64decode(data) == body
    assert "horn tip" in page.words
    assert said("page.photo_missing", file=f"{'ab' * 32}.png") in page.words
    other = Page(page_of(facts_of(cast, "2026-001-2"), folder, clock=clock))
    assert not [tag for tag, _ in other.tags if tag == "img"]


@pytest.mark.parametrize("draw", [melt_svg, pour_svg, both_svg])
@pytest.mark.parametrize("unit", list(Unit))
def test_a_drawing_is_whole_xml_with_every_figure_inside_it(
    cast: Path, draw: Callable[[PourFacts, Unit], str], unit: Unit
) -> None:
    root = ElementTree.fromstring(draw(facts_of(cast), unit))
    _, _, wide, high = (float(word) for word in root.attrib["viewBox"].split())
    seen = 0
    for element in root.iter():
        for name, most in (("x", wide), ("y", high), ("cx", wide), ("cy", high)):
            if name in element.attrib:
                assert 0.0 <= float(element.attrib[name]) <= most, (element.tag, element.attrib)
        if element.tag.endswith("polyline"):
            points = [pair.split(",") for pair in element.attrib["points"].split()]
            seen += len(points)
            assert all(0.0 <= float(at) <= wide for at, _ in points)
    assert seen > 100
    words = [str(element.text) for element in root.iter() if element.tag.endswith("text")]
    assert {said("plot.pour_number", number=1), said("plot.liquidus", unit, liquidus_c=484.0)} <= set(words)
    assert {word("stretch", state) for state in ("ready", "melting")} <= {
        str(element.text) for element in root.iter() if element.tag.endswith("title")
    }


def test_a_melt_without_one_reading_still_has_a_sheet(
    database: Path, recording: Callable[..., Any], make: Maker
) -> None:
    recorder = recording()
    recorder.put("crucible", *make.start(100.0, make.plan()))
    recorder.put("crucible", *make.pour(160.0))
    recorder.stop()
    facts = facts_of(database)
    assert facts.trace == {}
    page = Page(page_of(facts, database.parent, clock=clock))
    assert "541 °C" in page.words
    assert page.open == []


def test_events_of_every_kind_are_read_back_without_a_complaint(cast: Path) -> None:
    with Store.read(cast) as store, store.reading() as conn:
        bodies = [body for (body,) in conn.execute("SELECT body FROM events")]
    assert len(bodies) >= 7
    for body in bodies:
        msgspec.json.decode(body, type=Event)
