"""Quantities as people type them, with a comma or a point, with or without a unit; and what is refused, and how."""

import argparse
import contextlib
import math
import re
from collections.abc import Callable, Iterator
from functools import partial
from importlib import import_module
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pourcall.cli.main import COMMANDS
from pourcall.cli.melts.melt_command import mould_request
from pourcall.cli.parser import CommandParser
from pourcall.contract.errors import BadInput, BadTemperature
from pourcall.contract.message import Message, tell
from pourcall.contract.quantities import (
    LENGTHS,
    MASSES,
    MEASURES,
    days,
    difference_c,
    figure,
    is_measure,
    key_values,
    kilograms,
    measured,
    millimetres,
    seconds,
    share,
    spelled_unit,
    temperature_c,
)
from pourcall.contract.units import Unit
from pourcall.texts import say
from pourcall.texts.catalogue import subject_texts
from tests.told import message, refused, tells


@pytest.mark.parametrize(
    ("typed", "temp_c"),
    [("529,5C", 529.5), ("529.5 °C", 529.5), ("1050F", 565.5556), ("838K", 564.85), ("-40F", -40.0), ("0,5C", 0.5)],
)
def test_a_temperature_is_read_with_its_unit_and_a_decimal_comma(typed: str, temp_c: float) -> None:
    assert temperature_c(typed) == pytest.approx(temp_c, abs=1e-3)


def test_a_bare_temperature_is_in_the_agreed_unit_or_refused() -> None:
    assert temperature_c("1050", Unit.F) == pytest.approx(565.556, abs=1e-3)
    with refused(BadTemperature, "quantity.no_unit") as caught:
        temperature_c("529,5")
    assert caught.value.remedy == tell("quantity.with_unit.temperature", typed="529,5")


@pytest.mark.parametrize(
    ("typed", "name"),
    [
        ("hot", "quantity.none"),
        ("5,,5C", "quantity.none"),
        ("1.2.3C", "quantity.none"),
        ("1e999C", "quantity.none"),
        ("nanC", "quantity.none"),
        ("500 fathoms", "quantity.no_scale"),
        ("-300C", "quantity.below_zero"),
        ("11000C", "quantity.too_hot"),
    ],
)
def test_what_is_no_temperature_or_cannot_be_meant_is_refused(typed: str, name: str) -> None:
    with refused(BadTemperature, name) as caught:
        temperature_c(typed)
    assert str(message(caught.value.what).facts["typed"]) in typed


@pytest.mark.parametrize(
    ("typed", "plain", "decimal"), [("1,050F", "1050", "1.050"), ("1,050.5F", "1050.5", ""), ("1.050,5C", "1050.5", "")]
)
def test_what_may_be_read_two_ways_is_refused_with_what_to_type(typed: str, plain: str, decimal: str) -> None:
    with refused(BadTemperature, "quantity.two_ways", typed=typed[:-1]) as caught:
        temperature_c(typed)
    either = tell("quantity.two_ways.write_either", plain=plain, decimal=decimal)
    assert caught.value.remedy == (either if decimal else tell("quantity.two_ways.write", plain=plain))


@pytest.mark.parametrize(("typed", "unit", "limit"), [("-500F", Unit.F, "-460 °F"), ("-500C", Unit.C, "-273 °C")])
def test_how_cold_anything_can_be_is_said_in_the_readers_unit(typed: str, unit: Unit, limit: str) -> None:
    # SI Brochure, 9th edition, 2.3.1: 0 K is -273.15 degC, and so -459.67 degF.
    with refused(BadTemperature, "quantity.below_zero") as caught:
        temperature_c(typed)
    assert limit in caught.value.said(lambda told: say(told, unit))


def test_a_difference_is_turned_without_the_zero_of_the_scale() -> None:
    assert [difference_c("22F"), difference_c("22", Unit.F)] == pytest.approx([12.2222] * 2, abs=1e-4)
    assert (difference_c("12,5C"), difference_c("12.5K"), difference_c("12C", Unit.F)) == (12.5, 12.5, 12.0)


def test_masses_lengths_times_and_shares() -> None:
    masses_kg = [kilograms(text) for text in ("1,5kg", "800g", "3 lb", "0,350 kg")]
    assert masses_kg == pytest.approx([1.5, 0.8, 1.36077711, 0.35])
    assert [millimetres(text) for text in ("6mm", "0,6cm", "1/4in", "1/4 in", "0.25in")] == pytest.approx(
        [6.0, 6.0, 6.35, 6.35, 6.35]
    )
    assert millimetres("6", bare=True) == 6.0
    assert kilograms("0,6", bare=True) == 0.6
    assert [seconds(text) for text in ("40s", "2m", "1m30s", "1m30", "1,5min", "0")] == [
        40.0,
        120.0,
        90.0,
        90.0,
        90.0,
        0.0,
    ]
    assert [share(text) for text in ("80%", "0,8", "62,5 %")] == [0.8, 0.8, 0.625]


@pytest.mark.parametrize(
    ("read", "typed", "name", "remedy"),
    [
        (kilograms, "-1kg", "quantity.none", tell("quantity.write.mass")),
        (kilograms, "900kg", "quantity.mass_outside", tell("error.figure.remedy")),
        (kilograms, "1.5 stone", "quantity.none", tell("quantity.write.mass")),
        (kilograms, "1.5", "quantity.no_unit", tell("quantity.with_unit.mass", typed="1.5")),
        (
            kilograms,
            "1,250g",
            "quantity.two_ways",
            tell("quantity.two_ways.write_either", plain="1250", decimal="1.250"),
        ),
        (millimetres, "6", "quantity.no_unit", tell("quantity.with_unit.length", typed="6")),
        (millimetres, "1/0in", "quantity.none", tell("quantity.write.length")),
        (millimetres, "thin", "quantity.none", tell("quantity.write.length")),
        (seconds, "soon", "quantity.none", tell("quantity.write.time")),
        (seconds, "", "quantity.none", tell("quantity.write.time")),
        (seconds, "90", "quantity.no_unit", tell("quantity.with_unit.time", typed="90")),
        (partial(measured, measure="power"), "2", "quantity.no_unit", tell("quantity.with_unit.power", typed="2")),
        (difference_c, "12", "quantity.no_unit", tell("quantity.with_unit.difference", typed="12")),
        (difference_c, "much", "quantity.none", tell("quantity.write.difference")),
        (figure, "nan", "quantity.none", tell("quantity.write.number")),
        (figure, "six", "quantity.none", tell("quantity.write.number")),
    ],
)
def test_what_cannot_be_meant_is_refused_with_what_to_type(
    read: Callable[[str], float], typed: str, name: str, remedy: Message
) -> None:
    with refused(BadInput, name) as caught:
        read(typed)
    assert caught.value.remedy == remedy


@pytest.mark.wording
def test_every_unit_that_may_be_typed_is_named_where_one_is_missing() -> None:
    for measure, units in (("mass", MASSES), ("length", LENGTHS)):
        told = say(tell("quantity.with_unit.mass" if measure == "mass" else "quantity.with_unit.length", typed="6"))
        assert set(re.findall(r"6([a-z]+)", told)) == set(units)


def test_a_decimal_comma_among_keys_belongs_to_its_figure() -> None:
    assert key_values("kg=0,6,mm=6,min=535,5C,material=green_sand") == [
        ("kg", "0,6"),
        ("mm", "6"),
        ("min", "535,5C"),
        ("material", "green_sand"),
    ]
    with refused(BadInput, "quantity.no_key", typed="thin"):
        key_values("kg=0,6,thin")


READERS = [
    temperature_c,
    difference_c,
    kilograms,
    millimetres,
    seconds,
    share,
    figure,
    partial(measured, measure="power"),
]


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=12), st.sampled_from(READERS))
def test_any_text_is_read_as_a_finite_figure_or_refused_as_bad_input(text: str, read: object) -> None:
    value = 0.0
    with contextlib.suppress(BadInput):
        value = read(text)  # type: ignore[operator]
    assert math.isfinite(value)


@given(st.floats(-200.0, 1999.0))
def test_a_point_and_a_comma_are_read_alike(value: float) -> None:
    typed = f"{value:.2f}C"
    assert temperature_c(typed) == temperature_c(typed.replace(".", ","))


def test_a_decimal_comma_is_one_in_every_option_that_takes_a_figure() -> None:
    parser = CommandParser()
    parser.add_argument("--loss", type=float)
    assert parser.parse_args(["--loss", "20,5"]).loss == 20.5
    with refused(BadInput, "quantity.two_ways", typed="1,050"):
        parser.parse_args(["--loss", "1,050"])
    with refused(BadInput, "quantity.none", typed="nan"):
        parser.parse_args(["--loss", "nan"])


def test_a_mould_is_read_with_decimal_commas_as_with_points() -> None:
    points = mould_request("cleat,kg=0.4,mm=6.5,min=535.5C,loss=12.5C")
    assert mould_request("cleat,kg=0,4,mm=6,5,min=535,5C,loss=12,5C") == points
    assert (points.mass_kg, points.thinnest_mm, points.lip_min_c, points.loss_c) == (0.4, 6.5, 535.5, 12.5)


def test_what_a_calibration_is_told_of_the_day_is_read_with_commas_too() -> None:
    assert measured("120,5m", "altitude") == 120.5
    assert measured("1013,25hPa", "pressure") == 1013.25
    assert days("1,5y") == pytest.approx(547.875)


@pytest.mark.parametrize(
    ("typed", "unit"),
    [("1112F", "F"), (" 560 °C ", "°C"), ("838 K", "K"), ("560 X", ""), ("560", ""), ("-40", ""), ("hot", "")],
)
def test_the_unit_behind_a_temperature_is_found_as_it_was_typed(typed: str, unit: str) -> None:
    assert spelled_unit(typed) == unit


# One rule at every door: a figure that may be meant in more than one unit is refused bare, but beside --unit.
BARE = (
    ("thermocouple", "K", "750"),
    ("thermocouple", "K", "31.2mV", "--cold", "25"),
    ("plan", "za27", "--mould", "cleat,kg=0.5,loss=12"),
    ("plan", "za27", "--mould", "cleat,kg=0.5,min=535,max=570C"),
    ("plan", "za27", "--mould", "cleat,kg=0.5,flow=180"),
    ("plan", "za27", "--mould", "cleat,kg=0.5", "--loss", "12"),
    ("plan", "za27", "--mould", "cleat,kg=0.5", "--walk", "2"),
    ("plan", "za27", "--mould", "cleat,kg=0.5", "--power", "2"),
    ("plan", "za27", "--mould", "cleat,kg=0.5", "--pot", "mouth=90,height=120mm"),
    ("melt", "start", "za27", "--charge", "1.5"),
    ("melt", "start", "za27", "--mould", "cleat,loss=12"),
    ("melt", "mark", "skim", "--ago", "2"),
    ("pour", "mark", "--ago", "40"),
    ("dip", "--read", "560"),
    ("dip", "--depth", "60"),
    ("melt", "end", "--ingots", "2"),
    ("plan", "za27", "--mould", "cleat,volume=70"),
    ("plan", "za27", "--mould", "cleat,pattern=40g,density=500"),
    ("plan", "za27", "--mould", "cleat,kg=0.5", "--room", "volume=50m3,changes=2"),
    ("plan", "za27", "--mould", "cleat,kg=0.5", "--room", "volume=50"),
    ("plan", "za27", "--mould", "cleat,kg=0.5", "--price", "0.3"),
    ("capture", "/dev/no-such", "no-such.bin", "--for", "30"),
    ("thin", "--older-than", "2"),
)
# Plain numbers: how many, a rate of a line, a port, a factor. Nothing here has a unit that could be mistaken.
COUNTS = frozenset(["--baud", "--bytes", "--latest", "--limit", "--speed", "--tcp", "--accept"])


@pytest.mark.parametrize("words", BARE, ids=" ".join)
def test_a_bare_figure_that_could_be_meant_otherwise_is_refused_with_what_to_type(
    words: tuple[str, ...], run: Callable[..., Any]
) -> None:
    done = run(*words)
    assert (done.code, tells(done.err, "quantity.no_unit")) == (2, True), done.err


def actions_of(parser: argparse.ArgumentParser) -> Iterator[argparse.Action]:
    for action in parser._actions:
        yield action
        if isinstance(action, argparse._SubParsersAction):
            for under in action.choices.values():
                yield from actions_of(under)


@pytest.mark.parametrize("command", COMMANDS)
def test_a_number_that_the_parser_reads_by_itself_is_a_plain_count(command: str) -> None:
    parser = CommandParser(prog=command)
    import_module(COMMANDS[command].module(command)).add_arguments(parser)
    numbers = [action for action in actions_of(parser) if action.type in (int, float)]
    assert {name for one in numbers for name in one.option_strings} <= COUNTS


@pytest.mark.parametrize(
    ("typed", "measure", "value"),
    [
        ("4.3in3", "volume", 70.4645),  # 1 in = 25.4 mm
        ("1800ft3", "room", 50.97),  # 1 ft = 0.3048 m
        ("0.5g/cm3", "density", 500.0),
        ("0.08/MJ", "price", 0.288),  # 3.6 MJ in a kWh
        ("1480ft", "altitude", 451.104),
        ("29.92inHg", "pressure", 1013.2),  # standard atmosphere 1013.25 hPa, NIST SP 811 table B.8 for inHg
        ("101.325kPa", "pressure", 1013.25),
        ("31200uV", "emf", 31200.0),
        ("6mo", "age", 182.625),
    ],
)
def test_each_unit_turns_into_the_one_its_measure_is_kept_in(typed: str, measure: str, value: float) -> None:
    assert measured(typed, measure) == pytest.approx(value, rel=1e-4)


@pytest.mark.parametrize("measure", MEASURES)
def test_every_measure_says_what_to_type_with_units_that_are_read(measure: str) -> None:
    for told in (tell(f"quantity.with_unit.{measure}", typed="6"), tell(f"quantity.write.{measure}")):
        assert told.name in subject_texts("quantity")
        for typed in re.findall(r"\d[^\s,]*", subject_texts("quantity")[told.name].replace("{typed}", "6")):
            assert is_measure(typed, measure), typed


def test_the_word_before_a_figure_or_a_unit_on_the_line_stands_for_its_unit(run: Callable[..., Any]) -> None:
    assert run("thermocouple", "K", "750", "--cold", "25", "--unit", "C").code == 0
    named = ("plan", "za27", "--mould", "cleat,kg=0.5,mm=6")
    assert tells(run(*named, "--loss", "12").err, "quantity.no_unit")
    assert not run(*named, "--loss", "22", "--unit", "F").err
