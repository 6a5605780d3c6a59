"""Words large enough to be read from the furnace: every letter has its shape, and says only what is so."""

import itertools
import string
from typing import Any

import msgspec
import pytest

from pourcall.contract.events import MeltState
from pourcall.contract.inputs import PowerLevel
from pourcall.contract.message import tell
from pourcall.contract.snapshot import DipHint, Instruction, Interval, ToDo
from pourcall.tui.drawing.letters import letters, letters_width, writable
from pourcall.tui.screen.band import LONGEST, headline

SHAPES = string.ascii_uppercase + string.digits + "?!.:-°"


def told(todo: ToDo, **over: Any) -> dict[str, Any]:
    """Fields of a snapshot in which this is to be done."""
    return {"instruction": Instruction(todo=todo, text="in full", must=True, **over)}


@pytest.mark.parametrize("rows", [3, 5])
def test_no_two_characters_look_the_same(rows: int) -> None:
    drawn = {char: letters(char, rows) for char in SHAPES}
    same = [(a, b) for a, b in itertools.combinations(SHAPES, 2) if drawn[a] == drawn[b]]
    assert same == [("O", "0"), ("S", "5")]  # as on a panel of seven bars; words and figures never mix them up
    assert all(any(cell != " " for row in shape for cell in row) for shape in drawn.values())


@pytest.mark.parametrize("rows", [3, 5])
@pytest.mark.parametrize("text", ["POUR NOW", "TAKE IT OUT", "DIAL 977 °F", "WAIT 12 MIN", "A"])
def test_all_rows_are_as_wide_as_is_said(text: str, rows: int) -> None:
    drawn = letters(text, rows)
    assert len(drawn) == rows
    assert {len(row) for row in drawn} == {letters_width(text, rows)}


def test_what_has_no_shape_is_known_beforehand() -> None:
    assert not writable("")
    assert not writable("pour")
    assert writable("POUR?")
    with pytest.raises(KeyError):
        letters("ß")
    with pytest.raises(ValueError, match="rows high"):
        letters("A", 4)


@pytest.mark.parametrize(
    ("todo", "over", "large"),
    [
        (ToDo.POUR, {}, "POUR NOW"),
        (ToDo.POUR_SOON, {}, "POUR NOW"),
        (ToDo.CUT, {}, "CUT POWER"),
        (ToDo.DIP, {}, "DIP NOW"),
        (ToDo.SKIM, {}, "SKIM"),
        (ToDo.COOL, {}, "TOO HOT"),
        (ToDo.CHOOSE, {}, "TOO COLD"),
        (ToDo.CHECK, {}, "CHECK"),
        (ToDo.EMPTY, {}, "EMPTY POT"),
        (ToDo.MARK_POUR, {}, "POUR"),
        (ToDo.STEP, {"dial": 977.0}, "DIAL 977 °F"),
        (ToDo.STEP, {"level": PowerLevel.LOW}, "POWER LOW"),
        (ToDo.STEP, {}, ""),
    ],
)
def test_from_afar_one_reads_what_is_to_be_done(scenes: Any, todo: ToDo, over: dict[str, Any], large: str) -> None:
    assert headline(scenes.guided(**told(todo, **over))) == large


@pytest.mark.parametrize("todo", list(ToDo))
def test_whatever_is_to_be_done_its_short_words_can_be_drawn(scenes: Any, todo: ToDo) -> None:
    large = headline(scenes.guided(**told(todo)))
    assert len(large) <= LONGEST
    assert large == "" or writable(large)
    assert (large == "") is (todo in (ToDo.STEP, ToDo.START)), "only these say it better in full"


def test_on_a_fuel_furnace_it_is_the_burner_that_goes_off(scenes: Any) -> None:
    assert headline(scenes.guided(kind="fuel", **told(ToDo.CUT))) == "BURNER OFF"
    assert headline(scenes.guided(kind="fuel", **told(ToDo.STEP, level=PowerLevel.LOW))) == "BURNER LOW"


def test_a_hold_that_waits_asks_from_afar(scenes: Any) -> None:
    assert headline(scenes.guided(profile=scenes.holding(), **told(ToDo.STEP))) == "GO ON?"


def test_the_text_of_an_instruction_decides_nothing(scenes: Any) -> None:
    for text in ("Cut the power", "POUR now", "Dial 977 degF on the panel", ""):
        assert headline(scenes.ready(instruction=Instruction(todo=ToDo.SKIM, text=text, must=True))) == "SKIM"


def test_waiting_has_its_time_only_where_one_is_foreseen(scenes: Any) -> None:
    assert headline(scenes.guided()) == "WAIT 12 MIN"
    assert headline(scenes.heating()) == ""
    for span in (
        Interval(None),
        Interval(0.0, 0.0, 0.0),
        Interval(30.0, 20.0, 40.0),
        Interval(720.0),
        Interval(720.0, 300.0, 1200.0),
    ):
        assert headline(scenes.guided(ahead=scenes.ahead(ready_s=span))) == ""
    assert headline(scenes.guided(ahead=scenes.ahead(ready_s=Interval(7000.0, 6000.0, 8000.0)))) == "WAIT"
    assert headline(scenes.guided(melt_state=MeltState.READY)) == "READY"
    assert headline(scenes.idle()) == ""


@pytest.mark.parametrize(
    ("hint", "large"),
    [
        (DipHint.HOLD, "HOLD STILL"),
        (DipHint.HOLD_ON, "HOLD ON"),
        (DipHint.DEEPER, "DEEPER"),
        (DipHint.OUT, "TAKE IT OUT"),
    ],
)
def test_a_dip_says_what_is_to_be_done_with_the_probe(scenes: Any, hint: DipHint, large: str) -> None:
    for text in (tell("dip.hint.hold"), "an old sentence", ""):
        assert headline(scenes.dipping(dip_now=scenes.dip_now(hint=hint, text=text))) == large
    assert len(large) <= LONGEST


@pytest.mark.parametrize("todo", [todo for todo in ToDo if todo is not ToDo.WAIT])
def test_only_what_is_more_pressing_takes_the_place_of_a_dip(scenes: Any, todo: ToDo) -> None:
    waits = todo in (ToDo.DIP, ToDo.STEP, ToDo.SKIM, ToDo.POUR)
    assert (headline(scenes.dipping(**told(todo))) == "HOLD STILL") is waits
    fault = msgspec.structs.replace(scenes.broken(), dip_now=scenes.dip_now())
    assert headline(fault) == "CHECK"
