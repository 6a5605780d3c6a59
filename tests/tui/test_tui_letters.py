"""Words large enough to be read from the furnace: every letter has its shape, and says only what is so."""

import itertools
import string
from typing import Any

import msgspec
import pytest

from pourcall.contract.events import CallKind, CallView, MeltState
from pourcall.contract.snapshot import Interval
from pourcall.tui.drawing.letters import letters, letters_width, writable
from pourcall.tui.screen.headline import LONGEST, headline

SHAPES = string.ascii_uppercase + string.digits + "?!.:-°"


def told(kind: CallKind, text: str) -> dict[str, Any]:
    """Fields of a snapshot in which this call is the instruction."""
    call = CallView(kind=kind, text=text, why="", raised_mono_s=7000.0, repeat_s=5.0)
    return {"instruction": text, "instruction_is_do": True, "calls": (call,)}


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
    ("kind", "text", "large"),
    [
        (CallKind.POUR, "POUR now: cleat 1 of 3", "POUR NOW"),
        (CallKind.WINDOW_CLOSING, "Pour cleat 1 now: the window closes", "POUR NOW"),
        (CallKind.CUT_POWER, "Cut the power: the metal coasts on to <546.0 degC>", "CUT POWER"),
        (CallKind.DIP, "Dip now: hold the probe in the middle of the metal, still", "DIP NOW"),
        (CallKind.SKIM, "Skim the dross off, tools dry and warm", "SKIM"),
        (CallKind.STEP, "Dial 977 degF on the panel: metal to <544.0 degC>", "DIAL 977 °F"),
        (CallKind.STEP, "Set the burner to low", "BURNER LOW"),
        (CallKind.STEP, "Turn the knob off", "KNOB OFF"),
        (CallKind.STEP, "Stand by: the power is to be cut within a minute", ""),
    ],
)
def test_from_afar_one_reads_what_is_to_be_done(scenes: Any, kind: CallKind, text: str, large: str) -> None:
    assert headline(scenes.guided(**told(kind, text))) == large


def test_on_a_fuel_furnace_it_is_the_burner_that_goes_off(scenes: Any) -> None:
    words = told(CallKind.CUT_POWER, "Cut the power: <546.0 degC> comes within a minute")
    assert headline(scenes.guided(kind="fuel", **words)) == "BURNER OFF"


def test_a_hold_that_waits_asks_from_afar(scenes: Any) -> None:
    words = told(CallKind.STEP, "Holding at <544.0 degC>: say when to go on")
    assert headline(scenes.guided(profile=scenes.holding(), **words)) == "GO ON?"


def test_a_fault_that_is_no_call_has_no_short_words(scenes: Any) -> None:
    assert headline(scenes.broken()) == ""


def test_after_the_lift_it_says_pour_and_then_that_the_pot_is_to_be_emptied(scenes: Any) -> None:
    assert headline(scenes.lifted()) == "POUR"
    assert headline(scenes.lifted(instruction="Every mould is poured. Empty the pot, then end the melt")) == "EMPTY POT"


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
    ("hold_s", "text", "large"),
    [
        (5.6, "hold still", "HOLD STILL"),
        (None, "hold still", "HOLD STILL"),
        (0.0, "take it out", "TAKE IT OUT"),
        (4.0, "deeper: 40 mm at least", "DEEPER"),
        (4.0, "Power off. Hold still", "POWER OFF"),
        (4.0, "a word with much too much in it", "HOLD STILL"),
        (0.0, "", "TAKE IT OUT"),
        (3.0, "", "HOLD STILL"),
    ],
)
def test_a_dip_says_what_the_hand_is_to_do(scenes: Any, hold_s: float | None, text: str, large: str) -> None:
    assert headline(scenes.dipping(dip_now=scenes.dip_now(hold_s=hold_s, text=text))) == large
    assert len(large) <= LONGEST


@pytest.mark.parametrize("kind", list(CallKind))
def test_only_what_is_more_pressing_takes_the_place_of_a_dip(scenes: Any, kind: CallKind) -> None:
    pressing = kind in (CallKind.CUT_POWER, CallKind.WINDOW_CLOSING)
    shown = headline(scenes.dipping(**told(kind, "Dial 977 degF on the panel")))
    assert (shown != "HOLD STILL") is pressing
    fault = msgspec.structs.replace(scenes.broken(), dip_now=scenes.dip_now())
    assert headline(fault) == ""
