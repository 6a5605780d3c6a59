"""Pours side by side. Made-up facts for the judgement, a real record for the whole way."""

from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import msgspec
import pytest

from pourcall.contract.api import TracePoint
from pourcall.contract.errors import BadInput
from pourcall.contract.events import Marking
from pourcall.contract.message import Message, tell
from pourcall.contract.plan import MouldPlan
from pourcall.contract.units import Unit
from pourcall.records.read.facts import ChargeRow, PourFacts, ProbeFact, Setup, pour_facts
from pourcall.records.read.store import Store
from pourcall.records.read.views import PourRow
from pourcall.reports.pages.as_html import html
from pourcall.reports.pages.compare_page import compare_page, comparison_text, overlay
from pourcall.texts import say, word
from pourcall.trials.compare import MOST, Comparison, compare
from tests.told import refused, said

Change = Callable[[PourFacts], PourFacts]


def facts(name: str, lip_c: float | None = 545.0, result: str = "sound", **changes: Any) -> PourFacts:
    """A deck cleat of the boat club in ZA-27, as one is like the other."""
    row = PourRow(
        pour=name,
        melt=name.rpartition("-")[0],
        number=1,
        furnace="club",
        alloy="za27",
        mould="cleat",
        setup="cleat v1",
        at_utc_s=1_780_000_000.0,
        pot_u_c=3.0,
        lip_temp_c=lip_c,
        pot_temp_c=None if lip_c is None else lip_c + 12.0,
        lip_u_c=None if lip_c is None else 6.0,
        lip_min_c=535.0,
        lip_max_c=570.0,
        marked=Marking.LIVE,
        basis="",
        result=result,
        corrected=False,
    )
    rise = tuple(TracePoint(float(t), 400.0 + t / 5.0, 400.5 + t / 5.0) for t in range(0, 900, 10))
    made = PourFacts(
        row=row,
        pour_s=800.0,
        lift_s=788.0,
        melt_began_utc_s=1_779_999_200.0,
        furnace="club",
        alloy_name="ZA-27",
        alloy=None,
        mould=MouldPlan(name="cleat", mass_kg=0.6, thinnest_mm=6.0, lip_min_c=535.0, lip_max_c=570.0, loss_c=12.0),
        setup=Setup(name="cleat v1", gating="foot", venting="two horns"),
        charge_kg=1.5,
        charges=(ChargeRow(at_s=10.0, mass_kg=0.5, source="returns", remelts=1, detail=""),),
        pours_in_melt=1,
        liquidus_s=420.0,
        highest_c=560.0,
        probes=(ProbeFact(name="metal", tc_type="K", place="melt"),),
        main_probe="metal",
        simulated=False,
        program="0",
        states=(),
        marks=(),
        dips=(),
        results=(),
        notes=(),
        photos=(),
        tags=(),
        earlier=(),
        trace={"metal": rise},
        detail={"metal": rise[40:]},
    )
    return msgspec.structs.replace(made, **changes)


def more_changed(name: str) -> Message:
    return tell("comparison.more_changed", what=(Message(f"word.aspect.{name}"),))


def causes(found: Comparison) -> list[str]:
    return [line.name for line in found.differ if line.weight == "cause"]


def test_two_pours_that_differ_in_temperature_alone_are_a_clean_trial() -> None:
    found = compare([facts("2026-001-1", 541.0, "misrun 2"), facts("2026-002-1", 561.0)])
    assert [line.name for line in found.differ] == ["result", "at_lip", "in_pot"]
    assert found.warnings == ()
    assert {"setup", "alloy", "mass", "remelt_count", "gating"} <= {line.name for line in found.same}


@pytest.mark.parametrize(
    ("name", "changes"),
    [
        ("alloy", {"alloy_name": "ZA-12"}),
        ("gating", {"setup": Setup(name="cleat v1", gating="side", venting="two horns")}),
        ("venting", {"setup": Setup(name="cleat v1", gating="foot", venting="none")}),
        ("mould_material", {"setup": Setup(name="", gating="foot", venting="two horns", material="oil sand")}),
        ("thinnest", {"setup": Setup(name="", gating="foot", venting="two horns", thinnest_mm=5.0)}),
        ("mass", {"setup": Setup(name="", gating="foot", venting="two horns", mass_kg=0.7)}),
        ("remelt_count", {"charges": (ChargeRow(at_s=1.0, mass_kg=1.0, source="returns", remelts=3, detail=""),)}),
        ("metal_source", {"charges": (ChargeRow(at_s=1.0, mass_kg=1.0, source="new", remelts=1, detail=""),)}),
        ("time_liquid", {"liquidus_s": 20.0}),
        ("probe", {"probes": (ProbeFact(name="metal", tc_type="N", place="melt"),)}),
        ("probe_correction", {"probes": (ProbeFact(name="metal", tc_type="K", place="melt", offset_uv=40.0),)}),
    ],
)
def test_anything_else_that_changed_is_named_in_a_warning(name: str, changes: dict[str, Any]) -> None:
    found = compare([facts("2026-001-1", 541.0), facts("2026-002-1", 561.0, **changes)])
    assert causes(found) == [name]
    assert found.warnings[0] == more_changed(name)
    assert word("aspect", name) in say(found.warnings[0])


@pytest.mark.parametrize(
    "changes",
    [
        {"setup": Setup(name="", gating="foot", venting="two horns", mass_kg=0.62)},  # 3 % of the metal
        {"liquidus_s": 330.0},  # a minute and a half
        {"pour_s": 801.0},
    ],
)
def test_what_a_careful_person_repeats_without_meaning_it_is_no_change(changes: dict[str, Any]) -> None:
    found = compare([facts("2026-001-1", 541.0), facts("2026-002-1", 561.0, **changes)])
    assert causes(found) == []


@pytest.mark.parametrize(
    ("name", "one", "other"),
    [
        ("batch", {"batch": "sand 7"}, {"batch": "sand 8"}),
        ("preheat", {"preheat_c": 20.0}, {"preheat_c": 120.0}),
        ("thinnest", {"thinnest_mm": 5.0}, {"thinnest_mm": 6.0}),
    ],
)
def test_another_batch_preheat_or_section_of_the_same_setup_is_named(
    name: str, one: dict[str, Any], other: dict[str, Any]
) -> None:
    def poured(pour: str, lip_c: float, told: dict[str, Any]) -> PourFacts:
        return facts(pour, lip_c, setup=Setup(name="cleat v1", gating="foot", venting="two horns", **told))

    found = compare([poured("2026-001-1", 541.0, one), poured("2026-002-1", 561.0, other)])
    assert causes(found) == [name]
    assert found.warnings == (more_changed(name),)
    same = compare([poured("2026-001-1", 541.0, one), poured("2026-002-1", 561.0, one)])
    assert same.warnings == ()


def test_invented_pours_are_told_from_real_ones_and_told_as_such_alone() -> None:
    real, never = facts("2026-001-1", 541.0), facts("2026-002-1", 561.0, simulated=True)
    assert compare([real, never]).warnings[0] == tell("comparison.some_invented", pours="2026-002-1")
    tagged = facts("2026-003-1", 580.0, tags=("invented",))
    assert compare([never, tagged]).warnings[-1] == tell("comparison.all_invented")
    assert compare([real, facts("2026-004-1", 561.0)]).warnings == ()


def test_what_was_told_of_one_pour_only_may_have_changed_too() -> None:
    found = compare([facts("2026-001-1", 541.0), facts("2026-002-1", 561.0, setup=None)])
    assert found.warnings == (
        tell("comparison.unsure", what=(tell("word.aspect.gating"), tell("word.aspect.venting"))),
    )


def test_temperatures_closer_than_their_uncertainty_are_said_to_be_so() -> None:
    # 6 and 6 together: root of 72 is 8.49 (GUM, 5.1.2, independent inputs)
    (told,) = compare([facts("2026-001-1", 541.0), facts("2026-002-1", 549.4)]).warnings
    assert told.name == "comparison.alike"
    assert told.facts == pytest.approx(
        {"low_c": 541.0, "high_c": 549.4, "apart_difference_c": 8.4, "together_u_c": 72.0**0.5}
    )
    assert compare([facts("2026-001-1", 541.0), facts("2026-002-1", 549.6)]).warnings == ()


def test_pours_that_rest_on_one_figure_of_the_pot_share_its_error() -> None:
    """5 and 5 from the way alone: root of 50 is 7.07; with the pot's 3 counted twice it would be 8.25."""
    u_c = (5.0**2 + 3.0**2) ** 0.5
    one = facts("2026-001-1", 549.0)
    pot = msgspec.structs.replace(one.row, pot_temp_c=560.0, pot_u_c=3.0, lip_u_c=u_c)

    def pair(name: str, lip_c: float, pot_c: float) -> tuple[Message, ...]:
        other = msgspec.structs.replace(pot, pour=name, melt=name[:-2], number=2, lip_temp_c=lip_c, pot_temp_c=pot_c)
        two = [msgspec.structs.replace(one, row=pot), msgspec.structs.replace(one, row=other)]
        return tuple(compare(two).warnings)

    assert pair("2026-001-2", 541.5, 560.0) == ()  # 7.5 apart
    assert pair("2026-001-2", 542.5, 560.0)[0].name == "comparison.alike"  # 6.5 apart
    assert pair("2026-002-2", 541.5, 560.0)[0].name == "comparison.alike"  # another melt: the pot's part counts


def test_pours_not_inspected_and_temperatures_not_known_are_said() -> None:
    told = compare([facts("2026-001-1", None), facts("2026-002-1", 561.0, result="")]).warnings
    assert told[-2:] == (tell("comparison.lip_unknown"), tell("comparison.waiting", pours="2026-002-1"))


@pytest.mark.parametrize(
    "names", [["2026-001-1"], ["2026-001-1", "2026-001-1"], [f"2026-{n:03}-1" for n in range(MOST + 1)]]
)
def test_one_pour_or_the_same_twice_or_a_crowd_is_refused(names: list[str]) -> None:
    with refused(BadInput, "comparison.not_several"):
        compare([facts(name) for name in names])


def test_the_text_puts_warnings_first_then_differences_then_what_is_the_same() -> None:
    two = [facts("2026-001-1", 541.0, "misrun 2"), facts("2026-002-1", 561.0, alloy_name="ZA-12")]
    lines = comparison_text(compare(two), two, Unit.F, lambda _: "noon")
    assert lines[0] == say(tell("comparison.note", warning=more_changed("alloy")))
    text = "\n".join(lines)
    assert "1006 °F" in text  # 541 degC = 1005.8 degF
    result, at_lip, alloy = (word("aspect", name) for name in ("result", "at_lip", "alloy"))
    alike = " ".join(said("comparison.same", alike="-").split("-")[0].split())
    assert text.index(result) < text.index(at_lip) < text.index(f"* {alloy}") < text.index(alike)


@pytest.mark.parametrize("align", ["pour", "liquidus"])
def test_the_overlay_has_a_line_and_a_name_for_each_pour(align: Any) -> None:
    two = [facts("2026-001-1", 541.0), facts("2026-002-1", 561.0, liquidus_s=300.0)]
    root = ElementTree.fromstring(overlay(two, align, Unit.C))
    lines = [e for e in root.iter() if e.tag.endswith("polyline")]
    assert len(lines) == 2
    words = " ".join(str(e.text) for e in root.iter() if e.tag.endswith("text"))
    assert "2026-001-1" in words
    assert "2026-002-1" in words
    zero = tell("plot.zero_pour") if align == "pour" else tell("plot.zero_liquidus")
    assert said("plot.overlay", zero=zero) in words


def test_lines_aligned_on_the_liquidus_meet_there_and_not_when_aligned_on_the_pour() -> None:
    """Two equal rises, one begun 120 s later: on the liquidus they lie on each other."""
    late = tuple(TracePoint(p.mono_s + 120.0, p.min_c, p.max_c) for p in facts("x-1").trace["metal"])
    two = [
        facts("2026-001-1", 541.0),
        facts("2026-002-1", 541.0, liquidus_s=540.0, trace={"metal": late}, detail={}),
    ]

    def firsts(align: Any) -> list[str]:
        root = ElementTree.fromstring(overlay(two, align, Unit.C))
        return [e.attrib["points"].split()[-1] for e in root.iter() if e.tag.endswith("polyline")]

    one, other = firsts("liquidus")
    assert one == other
    one, other = firsts("pour")
    assert one != other


def test_a_pour_whose_liquidus_is_not_known_cannot_be_aligned_on_it() -> None:
    with refused(BadInput, "comparison.no_liquidus", pour="2026-002-1"):
        overlay([facts("2026-001-1"), facts("2026-002-1", liquidus_s=None)], "liquidus", Unit.C)


def test_the_page_is_self_contained_and_keeps_typed_markup_harmless() -> None:
    two = [
        facts("2026-001-1", 541.0, "<img src=x onerror=alert(1)> 2"),
        facts("2026-002-1", 561.0, setup=Setup(name="<script>", gating="</table><script>")),
    ]
    text = html(compare_page(compare(two), two, align="pour", unit=Unit.C, clock=lambda _: "<noon>"))
    tags: set[str] = set()

    class Tags(HTMLParser):
        def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
            tags.add(tag)
            assert not {name for name, _ in attrs} & {"src", "href", "onerror"}

    Tags().feed(text)
    assert "svg" in tags
    assert not tags & {"script", "img", "link"}


def test_pours_of_a_real_record_are_compared(database: Path, recording: Callable[..., Any], make: Any) -> None:
    recorder = recording()
    for number, (melt, lip_c) in enumerate((("2026-001", 541.0), ("2026-002", 500.0))):
        base_s = 100.0 + 1000.0 * number
        recorder.put("crucible", *make.start(base_s, make.plan(melt)))
        for second in range(400):
            recorder.put("crucible", *make.sample(base_s + second, 300.0 + second / 2.0))
        recorder.put("crucible", *make.pour(base_s + 380.0, melt, lip_c=lip_c))
        recorder.put("crucible", *make.end(base_s + 400.0, melt))
    recorder.stop()
    with Store.read(database) as store:
        several = [pour_facts(store, pour) for pour in ("2026-001-1", "2026-002-1")]
    found = compare(several)
    by_name = {line.name: line.values for line in found.differ}
    assert by_name["at_lip"] == (541.0, 500.0)
    assert "alloy" not in by_name
    assert found.warnings == (tell("comparison.waiting", pours="2026-001-1, 2026-002-1"),)
