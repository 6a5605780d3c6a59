"""Profiles. What is read, what is refused and with which limit, what is chosen for an alloy."""

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pourcall.contract.errors import BadSheet, NotFound
from pourcall.contract.plan import PotLimit
from pourcall.contract.profile_plan import SegmentKind
from pourcall.metal.alloys.sheet import load_sheets
from pourcall.profiles.profile import ProfileLibrary, parse_profile, resolve, temperature_c

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


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (wrong("rate = 12", "rtae = 12"), r"segment 1: rtae: unknown key; did you mean 'rate'"),
        (wrong('name = "cleats"', 'nmae = "cleats"'), r"nmae: unknown key; did you mean 'name'"),
        (wrong("format = 1", "format = 2"), r"format: must be 1"),
        (wrong("liquidus+40", "liquidos+40"), r"segment 1: to: 'liquidos\+40' is no temperature; did you mean 'liq"),
        (wrong('to = "tap_mid"', "to = 560"), r"segment 3: to: 560 has no unit"),
        (wrong('to = "tap_mid"', 'to = "11000C"'), r"segment 3: to: '11000C' is no temperature"),
        (wrong("rate = 12", "rate = 0"), r"segment 1: rate: must be \"full\" or 0.5 to 60"),
        (wrong("rate = 12", "rate = true"), r"segment 1: rate"),
        (wrong("wait_within_c = 8\nlimit_min = 60", "wait_within_c = 8"), r"segment 1: limit_min: is missing.*endless"),
        (wrong('until = "told"\nlimit_min = 20', 'until = "told"'), r"segment 4: limit_min: is missing.*endless"),
        (wrong("for_min = 4\n", ""), r"segment 2: a hold wants either"),
        (wrong("for_min = 4\n", 'for_min = 4\nuntil = "told"\n'), r"segment 2: a hold wants either"),
        (wrong("for_min = 4\nlimit_min = 10", "for_min = 14\nlimit_min = 10"), r"segment 2: limit_min: is shorter"),
        (wrong("for_min = 4", "for_min = inf"), r"segment 2: for_min"),
        (wrong("for_min = 4", "for_min = 4\nrate = 3"), r"segment 2: rate: belongs to a ramp"),
        (wrong('to = "tap_mid"', 'to = "tap_mid"\nuntil = "told"'), r"segment 3: until: belongs to a hold"),
        (wrong('kind = "hold"\nfor_min', 'kind = "soak"\nfor_min'), r"segment 2: kind"),
        ("format = 1\n", r"at least one \[\[segment\]\]"),
        ("format = ", "not valid TOML"),
    ],
)
def test_a_bad_file_is_refused_by_segment(text: str, said: str) -> None:
    with pytest.raises(BadSheet, match=said):
        parse_profile(text, key="cleats", file="cleats.toml")


def test_every_fault_is_told_at_once() -> None:
    with pytest.raises(BadSheet) as refused:
        parse_profile(wrong("rate = 12", "rtae = 12").replace("for_min = 4\n", ""), key="cleats")
    assert "rtae" in refused.value.what
    assert "segment 2" in refused.value.what


@pytest.mark.parametrize("whose", ["pot", "probe metal", "furnace", "boiling"])
def test_a_target_beyond_a_rating_is_refused_with_the_rating(whose: str) -> None:
    limit = PotLimit(limit_c=560.0, whose=whose, why="settings")
    with pytest.raises(
        BadSheet, match=rf"segment 3: to: <565.0 degC> \(tap_mid\) is above the limit of the {whose}, <560"
    ):
        resolve(parse_profile(GOOD, key="cleats"), ZA27, TAP_C, [ALLOY, limit])


def test_a_hold_below_the_liquidus_is_refused_with_the_liquidus() -> None:
    text = wrong('at = "1049F"', 'at = "470C"')
    with pytest.raises(BadSheet, match=r"segment 4: to: <470.0 degC> is below the liquidus, <484.0 degC>"):
        resolve(parse_profile(text, key="cleats"), ZA27, TAP_C, [ALLOY])


def test_a_ramp_that_cannot_be_done_in_its_time_is_refused() -> None:
    text = wrong("rate = 12\nwait_within_c = 8\nlimit_min = 60", "rate = 2\nlimit_min = 60")
    with pytest.raises(BadSheet, match=r"segment 1: limit_min: 60 min is too short.* 252 min"):
        resolve(parse_profile(text, key="cleats"), ZA27, TAP_C, [ALLOY])


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
    with pytest.raises(NotFound, match="did you mean 'cleats'"):
        library.get("cleat")


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
