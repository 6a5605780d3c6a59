"""The keys for a guided profile and for dips, and the help page that tells them."""

from typing import Any

import pytest

from pourcall.contract.api import ProfileRequest
from pourcall.contract.events import CallKind, CallView
from pourcall.contract.inputs import Answer, AnswerCall, NextSegment, StartDip, StopProfile
from pourcall.contract.message import tell
from pourcall.contract.reading import Place
from pourcall.contract.units import Unit
from pourcall.texts import say
from pourcall.tui.dialogs.help_page import KEYS, help_lines, pressing
from pourcall.tui.drawing.styled import plain
from pourcall.tui.input.key_actions import Do, Say, Send, What
from pourcall.tui.input.key_controller import ASK_S, BOUNCE_S, KeyController
from pourcall.tui.input.offered_keys import keys_for
from pourcall.tui.input.profile_keys import DIP_ASK_S
from tests.told import said, tells

WHERE_IT_HOLDS = tell("key.profile.where", profile="za27_standard", number=3, of=3)


def words(controller: KeyController, now_s: float) -> str:
    """The open question with its keys, as text."""
    prompt = controller.prompt(now_s)
    assert prompt is not None
    return plain(prompt[0]) + " / " + ", ".join(f"{key.key} {say(key.does)}" for key in prompt[1])


# -- the profile ------------------------------------------------------------------------------------------------------


def test_a_profile_is_begun_by_two_keys_and_never_by_one(scenes: Any) -> None:
    controller = KeyController()
    assert controller.press("g", scenes.heating(), 100.0) == []
    asked = said("key.ask.profile", alloy="ZA-27")
    assert f"{asked} / g {said('key.yes')}, esc {said('key.no')}" in words(controller, 100.0)
    assert controller.press("g", scenes.heating(), 100.4) == []  # still held down
    assert controller.tick(100.0 + ASK_S, live=True) == []
    assert not controller.busy
    controller.press("g", scenes.heating(), 200.0)
    assert controller.press("g", scenes.heating(), 202.0) == [Send("forge", ProfileRequest(who="dashboard"))]


def test_a_hold_that_waits_goes_on_by_two_keys(scenes: Any) -> None:
    controller, snapshot = KeyController(), scenes.guided(profile=scenes.holding())
    controller.press("g", snapshot, 100.0)
    asked = said("key.ask.go_on", where=WHERE_IT_HOLDS)
    assert f"{asked} / g {said('key.go_on')}, x {said('key.stop_profile')}" in words(controller, 100.0)
    assert controller.press("g", snapshot, 100.0 + BOUNCE_S) == [Send("forge", NextSegment())]


def test_a_hold_that_still_runs_is_ended_only_as_such(scenes: Any) -> None:
    controller, snapshot = KeyController(), scenes.guided(profile=scenes.holding(waits=False, hold_left_s=300.0))
    controller.press("g", snapshot, 100.0)
    assert said("key.ask.end_hold", where=WHERE_IT_HOLDS) in words(controller, 100.0)
    assert controller.press("g", snapshot, 103.0) == [Send("forge", NextSegment())]


def test_a_ramp_is_not_skipped_and_a_profile_is_stopped_by_x(scenes: Any) -> None:
    controller = KeyController()
    controller.press("g", scenes.guided(), 100.0)
    asked = said("key.ask.ramp", where=tell("key.profile.where", profile="za27_standard", number=2, of=3))
    assert f"{asked} / x {said('key.stop_profile')}" in words(controller, 100.0)
    assert controller.press("g", scenes.guided(), 103.0) == [Say(tell("key.nothing_done"))]
    controller.press("g", scenes.guided(), 110.0)
    assert controller.press("x", scenes.guided(), 111.0) == [Send("forge", StopProfile())]


def test_after_the_end_of_a_profile_another_can_begin(scenes: Any) -> None:
    controller, snapshot = KeyController(), scenes.guided(profile=scenes.profile(stopped=True))
    controller.press("g", snapshot, 100.0)
    assert tells(words(controller, 100.0), "key.ask.profile", alloy="ZA-27")


def test_without_a_melt_there_is_no_profile_to_follow(scenes: Any) -> None:
    said = KeyController().press("g", scenes.idle(), 100.0)
    assert isinstance(said[0], Say)
    assert said[0].text == tell("key.no_melt.profile")


def test_done_to_the_call_to_cut_says_that_the_power_is_off(scenes: Any) -> None:
    call = CallView(kind=CallKind.CUT_POWER, text="Cut the power", why="", raised_mono_s=0.0, repeat_s=5.0)
    controller, snapshot = KeyController(), scenes.guided(calls=(call,))
    assert ("enter", tell("key.done")) in [(key.key, key.does) for key in keys_for(snapshot, 0)]
    controller.press("enter", snapshot, 0.0)
    assert f"{said('key.power_off')}: {said('key.held.due', left_s=3.0)}" in words(controller, 0.0)
    assert controller.tick(3.0, live=True) == [Send("forge", AnswerCall(call="cut_power", answer=Answer.DONE))]


# -- dips -------------------------------------------------------------------------------------------------------------


def test_depth_and_stirring_are_asked_once_and_remembered(scenes: Any) -> None:
    controller = KeyController()
    assert controller.press("d", scenes.heating(), 100.0) == []
    depths = [f"{n} {said('key.depth', depth_mm=20.0 * n)}" for n in range(1, 6)]
    keys = ", ".join([*depths, f"0 {said('key.dont_know')}"])
    assert f"{said('key.ask.depth')} / {keys}" in words(controller, 100.0)
    assert controller.press("2", scenes.heating(), 101.0) == []
    assert said("key.ask.stirred") in words(controller, 101.0)
    told = StartDip(probe="melt_probe", depth_mm=40.0, stirred=True)
    assert controller.press("y", scenes.heating(), 102.0) == [Send("forge", told)]
    assert controller.press("d", scenes.heating(), 200.0) == [Send("forge", told)]
    assert controller.press("D", scenes.heating(), 300.0) == []  # asks anew
    controller.press("3", scenes.heating(), 301.0)
    again = StartDip(probe="melt_probe", depth_mm=60.0, stirred=False)
    assert controller.press("n", scenes.heating(), 302.0) == [Send("forge", again)]


def test_what_another_screen_said_of_this_melts_dips_is_not_asked_again(scenes: Any) -> None:
    snapshot = scenes.heating(last_dip=scenes.dip(depth_mm=60.0, stirred=False))
    sent = KeyController().press("d", snapshot, 100.0)
    assert sent == [Send("forge", StartDip(probe="melt_probe", depth_mm=60.0, stirred=False))]


def test_a_question_nobody_answers_announces_the_dip_all_the_same(scenes: Any) -> None:
    controller = KeyController()
    controller.press("d", scenes.heating(), 100.0)
    assert controller.tick(100.0 + DIP_ASK_S - 0.1, live=True) == []
    assert controller.tick(100.0 + DIP_ASK_S, live=True) == [Send("forge", StartDip(probe="melt_probe"))]
    controller.press("d", scenes.heating(), 200.0)
    controller.press("4", scenes.heating(), 201.0)
    assert controller.tick(230.0, live=True) == [Send("forge", StartDip(probe="melt_probe", depth_mm=80.0))]


def test_a_question_left_by_escape_announces_nothing(scenes: Any) -> None:
    controller = KeyController()
    controller.press("d", scenes.heating(), 100.0)
    assert controller.press("escape", scenes.heating(), 101.0) == []
    assert controller.tick(200.0, live=True) == []


def test_the_key_held_down_is_no_answer_and_announces_once(scenes: Any) -> None:
    controller, known = KeyController(), scenes.heating(last_dip=scenes.dip(depth_mm=60.0))
    controller.press("d", scenes.heating(), 100.0)
    assert controller.press("d", scenes.heating(), 100.3) == []
    assert controller.busy
    controller.press("escape", scenes.heating(), 101.0)
    assert len(controller.press("d", known, 110.0)) == 1
    assert controller.press("d", known, 110.5) == []


def test_a_probe_for_dipping_is_preferred_to_one_that_stays(scenes: Any) -> None:
    probes = (scenes.probe(), scenes.probe(name="hand_probe", place=Place.DIP))
    snapshot = scenes.heating(probes=probes, last_dip=scenes.dip(depth_mm=60.0))
    (sent,) = KeyController().press("d", snapshot, 100.0)
    assert isinstance(sent, Send)
    assert isinstance(sent.command, StartDip)
    assert sent.command.probe == "hand_probe"
    assert isinstance(KeyController().press("d", scenes.heating(probes=(scenes.chamber(),)), 100.0)[0], Say)


def test_a_lapse_while_the_daemon_is_away_sends_nothing(scenes: Any) -> None:
    controller = KeyController()
    controller.press("d", scenes.heating(), 100.0)
    assert controller.tick(150.0, live=False) == []


# -- the help page ----------------------------------------------------------------------------------------------------


def test_help_is_one_key_and_needs_no_daemon(scenes: Any) -> None:
    for key in ("question_mark", "h"):
        assert KeyController().press(key, None, 0.0) == [Do(What.HELP)]
        assert KeyController().press(key, scenes.guided(), 0.0) == [Do(What.HELP)]


def test_every_key_of_the_screen_is_on_the_help_page(scenes: Any) -> None:
    told = {key for keys in KEYS for key in keys.split()} | {"?"}
    call = CallView(kind=CallKind.SKIM, text="Skim", why="", raised_mono_s=0.0, repeat_s=5.0)
    for snapshot in (scenes.idle(), scenes.guided(calls=(call,)), scenes.broken(), None):
        assert {key.key for key in keys_for(snapshot, 1)} <= told


@pytest.mark.parametrize("unit", list(Unit))
def test_the_help_page_fits_a_small_terminal(unit: Unit) -> None:
    rows = help_lines(unit)
    assert len(rows) <= 22
    assert all(len(plain(row)) <= 76 for row in rows), [plain(row) for row in rows if len(plain(row)) > 76]


def test_only_what_is_new_presses_through_a_page_of_words(scenes: Any) -> None:
    before = pressing(scenes.broken())
    assert pressing(scenes.broken()) - before == frozenset()
    assert pressing(scenes.ready()) - before
    assert pressing(None) == frozenset()
