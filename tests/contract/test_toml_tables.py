"""What is wrong in a person's TOML: every fault at once, by its key, with what should stand there or was meant."""

from typing import Annotated, Literal

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec import Meta

from pourcall.contract.errors import BadInput, BadSettings
from pourcall.contract.message import Message, tell
from pourcall.contract.settings import parse_settings
from pourcall.contract.toml_tables import Checker, Fault, parse_toml
from tests.told import fault, meant, parts, refused

SHOP = """
schema = 1
[furnace.club]
power_w = 2000
pot = { mass_kg = 0.8 }
[furnace.club.panel]
max_c = 1100
[board.bench]
port = "/dev/ttyACM0"
[board.other]
port = "/dev/ttyACM1"
columns = { "2" = "0" }
[probe.metal]
furnace = "club"
board = "bench"
[probe.wall]
furnace = "club"
board = "other"
"""


def limits(*pairs: tuple[str, float]) -> tuple[Message, ...]:
    return tuple(tell(name, **{"most" if name == "toml.at_most" else "least": figure}) for name, figure in pairs)


def test_the_settings_of_this_page_are_sound() -> None:
    assert parse_settings(SHOP).furnace["club"].pot.mass_kg == 0.8


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (
            ("mass_kg = 0.8", "masskg = 0.8"),
            fault("[furnace.club] pot.masskg", "toml.unknown_key", hint=meant("mass_kg")),
        ),
        (("pot = { mass_kg = 0.8 }", "pot = 3"), fault("[furnace.club] pot", "toml.not_table")),
        (
            ("max_c = 1100", "max_c = 0"),
            fault(
                "[furnace.club] panel.max_c",
                "toml.beyond",
                found="0",
                limits=limits(("toml.more_than", 0), ("toml.at_most", 2000)),
            ),
        ),
        (
            ("power_w = 2000", "walk_s = -1"),
            fault(
                "[furnace.club] walk_s",
                "toml.beyond",
                found="-1",
                limits=limits(("toml.at_least", 0), ("toml.at_most", 600)),
            ),
        ),
        (("power_w = 2000", "power_w = true"), fault("[furnace.club] power_w", "toml.not_number", found="true")),
        (("power_w = 2000", "power_w = nan"), fault("[furnace.club] power_w", "toml.not_number", found="nan")),
        (
            ("power_w = 2000", 'kind = "gas"'),
            fault("[furnace.club] kind", "toml.one_of", valid="electric, fuel", found="gas"),
        ),
        (('port = "/dev/ttyACM0"', "port = 3"), fault("[board.bench] port", "toml.not_text", found="3")),
        (('port = "/dev/ttyACM0"', ""), fault("[board.bench] port", "toml.missing")),
        (('"2" = "0"', '"2" = 0'), fault("[board.other] columns.2", "toml.not_text", found="0")),
        (('{ "2" = "0" }', "2"), fault("[board.other] columns", "toml.not_table")),
        (("[board.bench]", "[board.Bench]"), fault("[board.Bench]", "settings.name")),
        (("[board.bench]", "[bord.bench]"), fault("[bord]", "toml.unknown_table", hint=meant("board"))),
        (("schema = 1", "schema = 2"), fault("schema", "settings.schema", schema=1, found="2")),
        (("schema = 1", "mqtt = 1"), fault("[mqtt]", "toml.not_table")),
        (
            ('furnace = "club"', 'furnace = "clubb"'),
            fault("[probe.metal] furnace", "settings.no_such", table="[furnace.clubb]", hint=meant("club")),
        ),
        (
            ('board = "other"', 'board = "bench"'),
            fault("[probe.wall] channel", "settings.same_input", board="bench", channel="0", table="[probe.metal]"),
        ),
        (
            ("ttyACM1", "ttyACM0"),
            fault("[board.other] port", "settings.same_port", port="/dev/ttyACM0", table="[board.bench]"),
        ),
    ],
)
def test_a_fault_of_the_settings_is_told_by_key_what_and_what_it_should_be(
    change: tuple[str, str], told: Message
) -> None:
    assert change[0] in SHOP
    with pytest.raises(BadSettings) as caught:
        parse_settings(SHOP.replace(*change, 1))
    assert parts(caught.value.what, "faults") == (told,)


def test_all_faults_are_told_at_once_and_counted() -> None:
    text = SHOP.replace("mass_kg", "masskg").replace("max_c = 1100", "max_c = 0").replace('port = "/dev/ttyACM1"', "")
    with pytest.raises(BadSettings) as caught:
        parse_settings(text)
    assert isinstance(caught.value.what, Message)
    keys = [one.facts["key"] for one in parts(caught.value.what, "faults")]
    assert sorted(map(str, keys)) == ["[board.other] port", "[furnace.club] panel.max_c", "[furnace.club] pot.masskg"]
    assert caught.value.what.facts["count"] == 3


def test_what_is_no_toml_is_told_as_such_however_deep_it_is() -> None:
    for text, name in (("[shop", "toml.no_toml"), (f"a = {'[' * 9000}{']' * 9000}", "toml.too_deep")):
        with pytest.raises(BadInput) as caught:
            parse_toml(text)
        assert isinstance(caught.value.what, Message)
        assert caught.value.what.name == name


class _Inner(msgspec.Struct, frozen=True):
    share: Annotated[float, Meta(ge=0.0, lt=1.0)] = 0.5


class _Outer(msgspec.Struct, frozen=True):
    name: str
    lid: bool | None = None
    copies: Annotated[int, Meta(ge=1)] = 1
    between: tuple[float, float] | None = None
    inner: _Inner | None = None
    way: Literal["", "thin", "thick"] = ""
    shares: dict[str, Annotated[float, Meta(ge=0.0)]] = {}


@pytest.mark.parametrize(
    ("raw", "told"),
    [
        ({"lid": "yes"}, fault("[[row]] 2 lid", "toml.not_truth", found="'yes'")),
        ({"copies": 1.5}, fault("[[row]] 2 copies", "toml.not_whole", found="1.5")),
        ({"copies": 0}, fault("[[row]] 2 copies", "toml.beyond", found="0", limits=limits(("toml.at_least", 1)))),
        ({"between": [1.0]}, fault("[[row]] 2 between", "toml.not_numbers", count=2, found="[ ... ]")),
        ({"between": [1.0, float("inf")]}, fault("[[row]] 2 between", "toml.not_number", found="inf")),
        ({"inner": {"share": "half"}}, fault("[[row]] 2 inner.share", "toml.not_number", found="'half'")),
        ({"inner": {"shar": 0.5}}, fault("[[row]] 2 inner.shar", "toml.unknown_key", hint=meant("share"))),
        ({"way": "thinn"}, fault("[[row]] 2 way", "toml.one_of", valid="thin, thick", found="thinn")),
        ({"shares": {"Al": float("nan")}}, fault("[[row]] 2 shares.Al", "toml.not_number", found="nan")),
        (
            {"shares": {"Al": -1}},
            fault("[[row]] 2 shares.Al", "toml.beyond", found="-1", limits=limits(("toml.at_least", 0))),
        ),
    ],
)
def test_a_value_of_a_typed_table_is_told_what_it_should_be(raw: dict[str, object], told: Message) -> None:
    checker = Checker({"name": "cleat", **raw}, "[[row]] 2")
    assert checker.struct(_Outer) is None
    assert [one.told for one in checker.faults] == [told]


def test_a_sound_table_becomes_its_struct_without_a_fault() -> None:
    checker = Checker({"name": "cleat", "inner": {"share": 0.25}, "between": [1, 2], "lid": True, "shares": {"Al": 3}})
    made = checker.struct(_Outer)
    assert made == _Outer("cleat", lid=True, between=(1.0, 2.0), inner=_Inner(0.25), shares={"Al": 3.0})
    assert checker.faults == []


def test_a_fault_carries_the_valid_word_that_is_nearest() -> None:
    checker = Checker({"name": "cleat", "way": "thinn", "copys": 2, "xyz": 1})
    checker.struct(_Outer)
    assert {one.key: one.near for one in checker.faults} == {"way": "thin", "copys": "copies", "xyz": ""}
    assert Fault("a", tell("toml.missing")).near == ""


ANYTHING = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=6,
)


@given(st.dictionaries(st.sampled_from([*_Outer.__struct_fields__, "nmae"]), ANYTHING))
def test_whatever_stands_in_a_table_it_is_read_or_at_least_one_fault_is_told(raw: dict[str, object]) -> None:
    checker = Checker(raw, "[row]")
    made = checker.struct(_Outer)
    assert (made is None) == bool(checker.faults)
    assert all(one.key.startswith("[row]") for one in checker.faults)


@pytest.mark.parametrize(
    ("text", "typed", "line"),
    [
        ("a = 1\nwalk_s = 12,5\n", "12,5", 2),
        ("pot = { mass_kg = 0,8 }", "0,8", 1),
        ("pot = { mass_kg = 0,8, height_mm = 120 } # pot", "0,8", 1),
        ("t = 529,5# as read", "529,5", 1),
    ],
)
def test_a_decimal_comma_in_a_file_is_told_with_its_line_and_what_to_write(text: str, typed: str, line: int) -> None:
    with refused(BadInput, "toml.decimal_comma", typed=typed, line=line) as caught:
        parse_toml(text)
    assert caught.value.remedy == tell("toml.decimal_comma.remedy", plain=typed.replace(",", "."))


def test_commas_that_are_no_decimal_ones_are_no_matter() -> None:
    assert parse_toml("a = [1,2]\nb = { c = 1, d = 2 }\ne = '1,5'") == {"a": [1, 2], "b": {"c": 1, "d": 2}, "e": "1,5"}
    with refused(BadInput, "toml.no_toml"):
        parse_toml("a = [1,2]\nb = ")
