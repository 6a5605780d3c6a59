"""Profiles. What is read, what is refused and with which limit, what is chosen for an alloy."""

import re
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pourcall.contract.errors import BadSheet, NotFound
from pourcall.contract.message import Message, tell
from pourcall.contract.plan import PotLimit
from pourcall.contract.profile_plan import SegmentKind
from pourcall.contract.units import Unit
from pourcall.metal.alloys.sheet import load_sheets
from pourcall.profiles.library import ProfileLibrary
from pourcall.profiles.profile import parse_profile
from pourcall.profiles.resolve import resolve, temperature_c
from pourcall.texts import say
from tests.told import meant, parts

SHEETS = load_sheets()
ZA27 = SHEETS.get("za27").facts()
TAP_C = (540.0, 590.0)
ALLOY = PotLimit(limit_c=640.0, whose="alloy", why="sheet")

GOOD = """
format = 1
name = "cleats"
alloys = ["za27"]
[[segment]]
kind = "ramp"
to = "liquidus+40"
rate = 12
wait_within_c = 8
limit_min = 60
note = "lid on"
[[segment]]
kind = "hold"
for_min = 4
limit_min = 10
[[segment]]
kind = "ramp"
to = "tap_mid"
limit_min = 30
[[segment]]
kind = "hold"
at = "1049F"
until = "told"
limit_min = 20
"""


def wrong(old: str, new: str) -> str:
    assert old in GOOD
    return GOOD.replace(old, new)


def test_relative_and_absolute_temperatures_become_degrees() -> None:
    plan = resolve(parse_profile(GOOD, key="cleats"), ZA27, TAP_C, [ALLOY])
    assert [one.to_c for one in plan.segments] == [524.0, 524.0, 565.0, 565.0]  # liquidus of ZA-27: 484, trade figure
    assert [one.kind for one in plan.segments] == [SegmentKind.RAMP, SegmentKind.HOLD] * 2
    assert plan.segments[0].rate_c_per_min == 12.0
    assert plan.segments[2].rate_c_per_min is None
    assert plan.segments[1].for_s == 240.0
    assert plan.segments[3].for_s is None
    assert plan.text == GOOD


def test_a_difference_in_fahrenheit_is_nine_fifths() -> None:
    assert temperature_c("liquidus+45F", ZA27, TAP_C) == pytest.approx(484.0 + 25.0)
    assert temperature_c("tap_max-10", ZA27, TAP_C) == 580.0
    assert temperature_c("932F", ZA27, TAP_C) == pytest.approx(500.0)


def test_the_hash_is_of_the_text_and_nothing_else() -> None:
    one, two = parse_profile(GOOD, key="a"), parse_profile(GOOD, key="b")
    assert one.hash == two.hash
    assert parse_profile(wrong("lid on", "lid off"), key="a").hash != one.hash


def faults_of(err: BadSheet) -> list[tuple[int, str, Message]]:
    """(segment, key, what) of each fault, as the refusal carries them; segment 0: of the file."""
    return [_placed(one) for one in parts(err.what, "faults")]


def _placed(fault: Message) -> tuple[int, str, Message]:
    if fault.name != "toml.fault":
        return 0, "", fault
    place, what = fault.facts["key"], fault.facts["what"]
    assert isinstance(place, str)
    assert isinstance(what, Message)
    heading, _, rest = place.partition(" ")
    number, _, key = rest.partition(" ")
    return (int(number), key, what) if heading == "[[segment]]" else (0, place, what)


def refusal(text: str) -> list[tuple[int, str, Message]]:
    with pytest.raises(BadSheet) as caught:
        parse_profile(text, key="cleats", file="cleats.toml")
    assert caught.value.where == "cleats.toml"
    return faults_of(caught.value)


@pytest.mark.parametrize(
    ("text", "segment", "key", "what"),
    [
        (wrong("rate = 12", "rtae = 12"), 1, "rtae", tell("toml.unknown_key", hint=meant("rate"))),
        (wrong('name = "cleats"', 'nmae = "cleats"'), 0, "nmae", tell("toml.unknown_key", hint=meant("name"))),
        (wrong("format = 1", "format = 2"), 0, "format", tell("profile.check.format", format=1, found="2")),
        (
            wrong("liquidus+40", "liquidos+40"),
            1,
            "to",
            tell("profile.check.no_temperature", found="'liquidos+40'", hint=meant("liquidus")),
        ),
        (wrong('to = "tap_mid"', "to = 560"), 3, "to", tell("profile.check.no_unit", number=560)),
        (wrong('to = "tap_mid"', 'to = "11000C"'), 3, "to", "toml.refused"),
        (
            wrong("rate = 12", "rate = 0"),
            1,
            "rate",
            tell("profile.check.rate", least=0.5, most=60.0, found="0"),
        ),
        (wrong("rate = 12", "rate = true"), 1, "rate", "profile.check.rate"),
        (
            wrong("wait_within_c = 8\nlimit_min = 60", "wait_within_c = 8"),
            1,
            "limit_min",
            tell("profile.check.endless_ramp"),
        ),
        (
            wrong('until = "told"\nlimit_min = 20', 'until = "told"'),
            4,
            "limit_min",
            tell("profile.check.endless_hold"),
        ),
        (wrong("for_min = 4\n", ""), 2, "", tell("profile.check.hold_end")),
        (wrong("for_min = 4\n", 'for_min = 4\nuntil = "told"\n'), 2, "", tell("profile.check.hold_end")),
        (
            wrong("for_min = 4\nlimit_min = 10", "for_min = 14\nlimit_min = 10"),
            2,
            "limit_min",
            tell("profile.check.shorter", for_min=14.0),
        ),
        (wrong("for_min = 4", "for_min = inf"), 2, "for_min", tell("toml.not_number", found="inf")),
        (wrong("for_min = 4", "for_min = nan"), 2, "for_min", tell("toml.not_number", found="nan")),
        (wrong("for_min = 4", "for_min = 4\nrate = 3"), 2, "rate", tell("profile.check.of_a_ramp")),
        (wrong('to = "tap_mid"', 'to = "tap_mid"\nuntil = "told"'), 3, "until", tell("profile.check.of_a_hold")),
        (wrong('kind = "hold"\nfor_min', 'kind = "soak"\nfor_min'), 2, "kind", "profile.check.kind"),
        ("format = 1\n", 0, "segment", tell("profile.check.no_segment")),
        ("format = ", 0, "", "toml.said"),
    ],
)
def test_a_bad_file_is_refused_by_segment(text: str, segment: int, key: str, what: Message | str) -> None:
    found = [
        one if isinstance(what, Message) else one.name
        for at, under, one in refusal(text)
        if (at, under) == (segment, key)
    ]
    assert found == [what]


def test_every_fault_is_told_at_once() -> None:
    found = refusal(wrong("rate = 12", "rtae = 12").replace("for_min = 4\n", ""))
    assert [(segment, key) for segment, key, _ in found] == [(1, "rtae"), (2, "")]


def test_a_refusal_is_said_in_the_unit_of_the_reader() -> None:
    with pytest.raises(BadSheet) as caught:
        resolve(parse_profile(wrong('to = "tap_mid"', 'to = "650C"'), key="cleats"), ZA27, TAP_C, [ALLOY])
    text = say(caught.value.what, Unit.F)
    assert {"1202 °F", "1184 °F"} == set(re.findall(r"\d+ °[CF]", text))
    assert "650C" in text  # as it is written in the file


@pytest.mark.parametrize("whose", ["pot", "probe metal", "furnace", "boiling"])
def test_a_target_beyond_a_rating_is_refused_with_the_rating(whose: str) -> None:
    limit = PotLimit(limit_c=560.0, whose=whose, why="settings")
    with pytest.raises(BadSheet) as caught:
        resolve(parse_profile(GOOD, key="cleats"), ZA27, TAP_C, [ALLOY, limit])
    above = [
        (segment, key, what.facts["to_c"])
        for segment, key, what in faults_of(caught.value)
        if what.facts.get("whose") == whose and what.facts["limit_c"] == 560.0
    ]
    assert above == [(3, "to", 565.0), (4, "to", pytest.approx(565.0))]


def test_a_hold_below_the_liquidus_is_refused_with_the_liquidus() -> None:
    text = wrong('at = "1049F"', 'at = "470C"')
    with pytest.raises(BadSheet) as caught:
        resolve(parse_profile(text, key="cleats"), ZA27, TAP_C, [ALLOY])
    assert faults_of(caught.value) == [(4, "to", tell("profile.check.would_freeze", to_c=470.0, liquidus_c=484.0))]


def test_a_ramp_that_cannot_be_done_in_its_time_is_refused() -> None:
    text = wrong("rate = 12\nwait_within_c = 8\nlimit_min = 60", "rate = 2\nlimit_min = 60")
    with pytest.raises(BadSheet) as caught:
        resolve(parse_profile(text, key="cleats"), ZA27, TAP_C, [ALLOY])
    ((segment, key, what),) = faults_of(caught.value)
    assert (segment, key, what.name) == (1, "limit_min", "profile.check.limit_too_short")
    assert what.facts["least_min"] == pytest.approx(252.0)  # from 20 to 524 degC at 2 a minute
    assert what.facts["limit_min"] == 60.0


@pytest.mark.parametrize("sheet", SHEETS.all(), ids=lambda sheet: str(sheet.key))
def test_every_alloy_has_a_default_that_holds_for_it(sheet: object) -> None:
    facts = SHEETS.get(sheet.key).facts()  # type: ignore[attr-defined]
    profile = ProfileLibrary().default_for(facts.key, facts.family)
    high_c = min(facts.pour_max_c, facts.alloy_max_c)
    limit = PotLimit(limit_c=facts.alloy_max_c, whose="alloy", why="sheet")
    plan = resolve(profile, facts, (facts.pour_min_c, high_c), [limit])
    assert plan.segments[-1].kind is SegmentKind.HOLD
    assert all(one.limit_s is not None for one in plan.segments)


def test_brass_has_its_own_before_that_of_its_family() -> None:
    assert ProfileLibrary().default_for("c85700", "copper").key == "brass"
    assert ProfileLibrary().default_for("c87300", "copper").key == "copper"


def test_a_users_file_wins_and_a_bad_one_does_not_stop_the_rest(tmp_path: Path) -> None:
    (tmp_path / "cleats.toml").write_text(GOOD)
    (tmp_path / "broken.toml").write_text("format = 1\n")
    library = ProfileLibrary(tmp_path)
    assert library.default_for("za27", "zinc").key == "cleats"
    sound, refused = library.all()
    assert {one.key for one in sound} >= {"cleats", "zinc", "brass"}
    assert [err.where.endswith("broken.toml") for err in refused] == [True]
    with pytest.raises(NotFound) as caught:
        library.get("cleat")
    assert caught.value.what == tell("profile.not_found", profile="cleat", hint=meant("cleats"))


@settings(max_examples=200)
@given(st.text(max_size=200))
def test_no_text_does_anything_but_parse_or_be_refused(text: str) -> None:
    for source in (text, f'format = 1\n[[segment]]\nkind = "ramp"\nlimit_min = 3\nto = {text!r}\n'):
        refused: BadSheet | None = None
        try:
            parse_profile(source, key="x")
        except BadSheet as err:
            refused = err
        assert refused is None or refused.remedy
