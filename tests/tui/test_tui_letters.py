"""Words large enough to be read from the furnace: every letter has its shape, and says only what is so."""

import itertools
import string
from typing import Any

import msgspec
import pytest

from pourcall.contract.events import AlarmState, AlarmView, MeltState, Priority
from pourcall.contract.inputs import PowerLevel
from pourcall.contract.message import NOTHING, Message, tell
from pourcall.contract.snapshot import DipHint, Instruction, Interval, ToDo
from pourcall.contract.units import Unit
from pourcall.texts.catalogue import English, other_words
from pourcall.tui.drawing.letters import letters, letters_width, writable
from pourcall.tui.drawing.styled import plain
from pourcall.tui.screen.alarm_lines import alarm_lines
from pourcall.tui.screen.band import headline, in_large
from pourcall.tui.screen.model import screen_of
from pourcall.tui.screen.scene import LinkView, Scene
from pourcall.tui.screen.words import Look
from tests.told import said

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


def large(name: str, **facts: Any) -> Message:
    """One of the short sayings."""
    return tell(f"word.headline.{name}", **facts)


@pytest.mark.parametrize(
    ("todo", "over", "name"),
    [
        (ToDo.POUR, {}, "pour"),
        (ToDo.BEST_AIM, {}, "best_aim"),
        (ToDo.POUR_SOON, {}, "pour_soon"),
        (ToDo.CUT, {}, "cut"),
        (ToDo.DIP, {}, "dip"),
        (ToDo.SKIM, {}, "skim"),
        (ToDo.COOL, {}, "cool"),
        (ToDo.CHOOSE, {}, "choose"),
        (ToDo.NO_AIM, {}, "no_aim"),
        (ToDo.CHECK, {}, "check"),
        (ToDo.EMPTY, {}, "empty"),
        (ToDo.MARK_POUR, {}, "mark_pour"),
        (ToDo.STEP, {"level": PowerLevel.LOW}, "power_low"),
    ],
)
def test_from_afar_one_reads_what_is_to_be_done(scenes: Any, todo: ToDo, over: dict[str, Any], name: str) -> None:
    assert headline(scenes.guided(**told(todo, **over))) == large(name)


def test_a_step_of_the_panel_is_told_with_its_figure_in_the_panels_unit(scenes: Any) -> None:
    dial = tell("screen.headline.dial", dial=977.0, panel_unit=Unit.F.value)
    assert headline(scenes.guided(**told(ToDo.STEP, dial=977.0))) == dial
    assert headline(scenes.guided(**told(ToDo.STEP))) == NOTHING


@pytest.mark.wording
def test_whatever_is_to_be_done_its_short_words_can_be_drawn(scenes: Any) -> None:
    does = [told(todo) for todo in ToDo] + [told(ToDo.STEP, level=level) for level in PowerLevel]
    does += [told(ToDo.STEP, dial=1288.0)]
    for one, kind in itertools.product(does, ("electric", "fuel")):
        snapshot = scenes.guided(kind=kind, **one)
        assert (in_large(snapshot) != "") is bool(headline(snapshot))
    for hint in DipHint:
        assert in_large(scenes.dipping(dip_now=scenes.dip_now(hint=hint)))
    assert in_large(scenes.ready()) == "POUR NOW"
    assert in_large(scenes.guided(**told(ToDo.STEP, dial=977.0))) == "DIAL 977 °F"
    assert in_large(scenes.guided(kind="fuel", **told(ToDo.STEP, level=PowerLevel.LOW))) == "BURNER LOW"


@pytest.mark.parametrize("todo", list(ToDo))
def test_only_what_is_said_better_in_full_has_no_headline(scenes: Any, todo: ToDo) -> None:
    assert (headline(scenes.guided(**told(todo))) == NOTHING) is (todo in (ToDo.STEP, ToDo.START))


@pytest.mark.parametrize("words", ["x", "ß", "VERY LONG WORDS INDEED", ""])
def test_words_that_letters_cannot_draw_are_left_to_the_instruction_beside(scenes: Any, words: str) -> None:
    class Others:
        def template(self, name: str) -> str | None:
            return words if "headline" in name else English().template(name)

    with other_words(Others()):
        for snapshot in (scenes.ready(), scenes.dipping(), scenes.guided(), scenes.guided(melt_state=MeltState.READY)):
            assert in_large(snapshot) == ""
            drawn = screen_of(Scene(snapshot=snapshot, link=LinkView(), look=Look()), scale_height=12)
            assert len(drawn.band) == drawn.sizes.band_rows


def test_on_a_fuel_furnace_it_is_the_burner_that_goes_off(scenes: Any) -> None:
    assert headline(scenes.guided(kind="fuel", **told(ToDo.CUT))) == large("burner_off")
    for level in PowerLevel:
        assert headline(scenes.guided(kind="fuel", **told(ToDo.STEP, level=level))) == large(f"burner_{level.value}")


def test_a_hold_that_waits_asks_from_afar(scenes: Any) -> None:
    assert headline(scenes.guided(profile=scenes.holding(), **told(ToDo.STEP))) == large("go_on")


def test_the_text_of_an_instruction_decides_nothing(scenes: Any) -> None:
    for text in ("Cut the power", "POUR now", "Dial 977 degF on the panel", ""):
        assert headline(scenes.ready(instruction=Instruction(todo=ToDo.SKIM, text=text, must=True))) == large("skim")


def test_waiting_has_its_time_only_where_one_is_foreseen(scenes: Any) -> None:
    assert headline(scenes.guided()) == tell("screen.headline.wait", minutes=12)
    assert headline(scenes.heating()) == NOTHING
    for span in (
        Interval(None),
        Interval(0.0, 0.0, 0.0),
        Interval(30.0, 20.0, 40.0),
        Interval(720.0),
        Interval(720.0, 300.0, 1200.0),
    ):
        assert headline(scenes.guided(ahead=scenes.ahead(ready_s=span))) == NOTHING
    assert headline(scenes.guided(ahead=scenes.ahead(ready_s=Interval(7000.0, 6000.0, 8000.0)))) == large("wait")
    assert headline(scenes.guided(melt_state=MeltState.READY)) == large("ready")
    assert headline(scenes.idle()) == NOTHING


@pytest.mark.parametrize("hint", list(DipHint))
def test_a_dip_says_what_is_to_be_done_with_the_probe(scenes: Any, hint: DipHint) -> None:
    for text in (tell("dip.hint.hold"), "an old sentence", ""):
        assert headline(scenes.dipping(dip_now=scenes.dip_now(hint=hint, text=text))) == large(f"dip_{hint.value}")


@pytest.mark.parametrize("todo", [todo for todo in ToDo if todo is not ToDo.WAIT])
def test_only_what_is_more_pressing_takes_the_place_of_a_dip(scenes: Any, todo: ToDo) -> None:
    waits = todo in (ToDo.DIP, ToDo.STEP, ToDo.SKIM, ToDo.POUR, ToDo.BEST_AIM)
    assert (headline(scenes.dipping(**told(todo))) == large("dip_hold")) is waits
    fault = msgspec.structs.replace(scenes.broken(), dip_now=scenes.dip_now())
    assert headline(fault) == large("check")


@pytest.mark.wording
@pytest.mark.parametrize("state", [AlarmState.UNACKED, AlarmState.ACKED])
def test_the_fume_warning_is_read_to_its_end_on_the_narrowest_screen(scenes: Any, state: AlarmState) -> None:
    alarm = AlarmView(
        id="fume:forge",
        kind="fume",
        subject="forge",
        priority=Priority.ALARM,
        state=state,
        active=True,
        what=tell("alarm.fume.what"),
        remedy=tell("alarm.fume.remedy"),
        raised_mono_s=0.0,
        raised_utc_s=0.0,
        recorded="recorded",
    )
    rows = [plain(row) for row in alarm_lines(scenes.ready(alarms=(alarm,)), (), Look(width=80), 3)]
    assert said("alarm.fume.what") in rows[0]
    assert said("alarm.fume.remedy") in rows[1]
