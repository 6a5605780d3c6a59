"""The keys. One stray key must do no harm; marks can be taken back and dated back."""

from typing import Any

import msgspec
import pytest

from pourcall.contract.events import CallKind, CallView, MeltState
from pourcall.contract.inputs import (
    AckAlarm,
    Answer,
    AnswerCall,
    EndMelt,
    MarkLift,
    MarkPour,
    MarkPower,
    MarkReturn,
    MarkSkim,
    MeltEnding,
    PowerLevel,
    SilenceAlarms,
    StartDip,
)
from pourcall.contract.message import Fact, tell
from pourcall.contract.units import Unit
from pourcall.tui.drawing.styled import plain
from pourcall.tui.input.key_actions import Do, Say, Send, What
from pourcall.tui.input.key_controller import ASK_S, BOUNCE_S, HOLD_POUR_S, KeyController
from tests.told import said, tells


def words(controller: KeyController, now_s: float) -> str:
    """The prompt as text."""
    prompt = controller.prompt(now_s)
    assert prompt is not None
    return plain(prompt[0])


def held(name: str, ago: str, left_s: float, **facts: Fact) -> str:
    """What stands on the screen of a mark that is held."""
    return f"{said(name, Unit.C, **facts)}, {said('key.held.ago', ago=ago)}: {said('key.held.due', left_s=left_s)}"


def call(kind: CallKind, **over: Any) -> CallView:
    """A call that is up."""
    base = CallView(kind=kind, text="do it", why="because", raised_mono_s=0.0, repeat_s=10.0)
    return msgspec.structs.replace(base, **over)


def test_space_marks_the_next_pour_without_a_question_and_holds_it_where_it_can_be_seen(scenes: Any) -> None:
    controller = KeyController()
    assert controller.press("space", scenes.ready(), 100.0) == []
    assert held("key.pour_into", "0 s", 6.0, mould="cleat 1") in words(controller, 100.0)
    assert controller.tick(100.0 + HOLD_POUR_S - 0.1, live=True) == []
    assert controller.tick(100.0 + HOLD_POUR_S, live=True) == [
        Send("forge", MarkPour(ago_s=6.0, mould="cleat 1", sure=True))
    ]
    assert controller.tick(120.0, live=True) == []


def test_a_pour_can_be_taken_back(scenes: Any) -> None:
    controller = KeyController()
    controller.press("space", scenes.ready(), 100.0)
    said = controller.press("escape", scenes.ready(), 102.0)
    assert isinstance(said[0], Say)
    assert controller.tick(200.0, live=True) == []


def test_a_pour_can_be_dated_back_and_forth(scenes: Any) -> None:
    controller = KeyController()
    controller.press("space", scenes.ready(), 100.0)
    for key in ("plus", "plus", "plus", "minus"):
        controller.press(key, scenes.ready(), 101.0)
    assert said("key.held.ago", ago="11 s") in words(controller, 101.0)
    assert controller.press("enter", scenes.ready(), 103.0) == [
        Send("forge", MarkPour(ago_s=13.0, mould="cleat 1", sure=True))
    ]


def test_a_pour_is_never_dated_into_the_future(scenes: Any) -> None:
    controller = KeyController()
    controller.press("space", scenes.ready(), 100.0)
    for _ in range(5):
        controller.press("minus", scenes.ready(), 101.0)
    assert controller.press("enter", scenes.ready(), 101.0) == [
        Send("forge", MarkPour(ago_s=0.0, mould="cleat 1", sure=True))
    ]


def test_a_key_held_down_marks_one_pour(scenes: Any) -> None:
    controller = KeyController()
    sent = []
    for n in range(300):  # ten seconds of auto-repeat at 30 a second
        sent += controller.press("space", scenes.ready(), 100.0 + n / 30)
        sent += controller.tick(100.0 + n / 30, live=True)
    sent += controller.tick(200.0, live=True)
    assert len(sent) == 1


def test_a_second_mould_right_after_the_first_counts_too(scenes: Any) -> None:
    controller = KeyController()
    controller.press("space", scenes.ready(), 100.0)
    first = controller.press("space", scenes.ready(), 100.0 + BOUNCE_S + 1.0)
    assert first == [Send("forge", MarkPour(ago_s=2.5, mould="cleat 1", sure=True))]
    second = controller.tick(110.0, live=True)
    assert second == [Send("forge", MarkPour(ago_s=7.5, sure=True))]  # the next in order is the daemon's to name


@pytest.mark.parametrize("key", ["space", "l"])
def test_a_mark_that_cannot_be_meant_now_is_asked_once(scenes: Any, key: str) -> None:
    for state in (MeltState.SOLID, MeltState.MELTING, MeltState.LIQUID, MeltState.UNKNOWN):
        controller = KeyController()
        snapshot = scenes.heating(melt_state=state)
        assert controller.press(key, snapshot, 100.0) == []
        asked = "question.pour_not_called" if key == "space" else "question.lift_not_called"
        assert tells(words(controller, 100.0), asked)
        assert controller.tick(100.0 + ASK_S, live=True) == []
        assert controller.tick(200.0, live=True) == []  # a stray key alone leaves nothing behind
        controller.press(key, snapshot, 300.0)
        assert controller.press(key, snapshot, 300.5) == []  # a bounce is no answer
        controller.press(key, snapshot, 303.0)
        assert len(controller.tick(320.0, live=True)) == 1


@pytest.mark.parametrize("key", ["space", "l", "d"])
def test_without_a_melt_nothing_is_marked_and_the_reason_is_said(scenes: Any, key: str) -> None:
    controller = KeyController()
    said = controller.press(key, scenes.idle(), 100.0)
    assert isinstance(said[0], Say)
    assert controller.tick(200.0, live=True) == []


def test_every_single_key_alone_sends_nothing_that_cannot_be_undone(scenes: Any) -> None:
    for snapshot in (scenes.idle(), scenes.heating(), scenes.ready(), scenes.lifted(), scenes.broken()):
        for key in "abcdefghijklmnopqrstuvwxyz0123456789":
            controller = KeyController()
            controller.see(snapshot, 0.0)
            for action in controller.press(key, snapshot, 100.0):
                harmless = (AckAlarm, SilenceAlarms, StartDip)
                assert not isinstance(action, Send) or isinstance(action.command, harmless), (key, action)
                assert action != Do(What.QUIT) or not snapshot.melt


def test_the_lift_is_held_for_a_moment_and_counted_from_the_key(scenes: Any) -> None:
    controller = KeyController()
    controller.press("l", scenes.ready(), 50.0)
    assert controller.tick(53.0, live=True) == [Send("forge", MarkLift(ago_s=3.0, sure=True))]


def test_a_pot_that_goes_back_into_the_furnace_is_told_by_one_key_and_can_be_taken_back(scenes: Any) -> None:
    controller = KeyController()
    assert controller.press("b", scenes.lifted(), 50.0) == []
    assert said("key.is_back_in") in words(controller, 50.0)
    assert controller.tick(53.0, live=True) == [Send("forge", MarkReturn(ago_s=3.0))]
    controller.press("b", scenes.lifted(), 60.0)
    controller.press("escape", scenes.lifted(), 61.0)
    assert controller.tick(70.0, live=True) == []


def test_a_pot_that_was_not_lifted_does_not_come_back_and_the_key_says_so(scenes: Any) -> None:
    controller = KeyController()
    (told,) = controller.press("b", scenes.ready(), 50.0)
    assert isinstance(told, Say)
    assert tell("key.not_lifted") == told.text
    assert controller.tick(60.0, live=True) == []


def test_a_lift_that_is_still_held_goes_before_the_return_that_ends_it(scenes: Any) -> None:
    controller = KeyController()
    controller.press("l", scenes.ready(), 50.0)
    assert controller.press("b", scenes.ready(), 52.0) == [Send("forge", MarkLift(ago_s=2.0, sure=True))]
    assert controller.tick(55.0, live=True) == [Send("forge", MarkReturn(ago_s=3.0))]


def test_a_mark_waits_for_a_daemon_that_is_away_and_keeps_its_time(scenes: Any) -> None:
    controller = KeyController()
    controller.press("space", scenes.ready(), 100.0)
    assert controller.tick(130.0, live=False) == []
    prompt = controller.prompt(130.0, live=False)
    assert prompt is not None
    assert said("key.held.waits") in plain(prompt[0])
    assert controller.tick(142.0, live=True) == [Send("forge", MarkPour(ago_s=42.0, mould="cleat 1", sure=True))]


def test_a_mark_stays_with_the_furnace_it_was_made_for(scenes: Any) -> None:
    controller = KeyController()
    controller.press("space", scenes.ready(), 100.0)
    assert controller.press("f", scenes.ready(), 101.0) == [Do(What.FURNACE)]
    sent = controller.press("enter", scenes.ready(furnace="kiln"), 102.0)
    assert isinstance(sent[0], Send)
    assert sent[0].furnace == "forge"


def test_in_a_fast_simulation_the_time_held_counts_as_simulated(scenes: Any) -> None:
    controller = KeyController()
    controller.press("space", scenes.ready(simulated=True, mono_s=5000.0), 100.0)
    controller.see(scenes.ready(simulated=True, mono_s=5040.0), 102.0)
    assert controller.press("enter", scenes.ready(simulated=True, mono_s=5040.0), 102.0) == [
        Send("forge", MarkPour(ago_s=40.0, mould="cleat 1", sure=True))
    ]


def test_a_pour_that_is_still_held_goes_out_before_the_end_of_its_melt(scenes: Any) -> None:
    controller = KeyController()
    controller.press("space", scenes.ready(), 100.0)
    controller.press("m", scenes.ready(), 101.0)
    sent = controller.press("o", scenes.ready(), 102.0)
    assert [type(one.command) for one in sent if isinstance(one, Send)] == [MarkPour, EndMelt]


def test_acknowledge_takes_the_alarm_on_top_and_only_that(scenes: Any) -> None:
    controller = KeyController()
    controller.see(scenes.broken(), 0.0)
    assert controller.press("a", scenes.broken(), 5.0) == [Send("forge", AckAlarm(alarm="sensor_open:melt_probe"))]


def test_an_alarm_that_came_this_moment_is_not_acknowledged_unread(scenes: Any) -> None:
    controller = KeyController()
    controller.see(scenes.heating(), 0.0)
    controller.see(scenes.broken(), 10.0)
    assert isinstance(controller.press("a", scenes.broken(), 10.4)[0], Say)
    controller.see(scenes.broken(), 12.0)
    assert isinstance(controller.press("a", scenes.broken(), 12.0)[0], Send)


def test_silence_is_at_once_here_and_asked_of_the_daemon(scenes: Any) -> None:
    assert KeyController().press("s", scenes.broken(), 0.0) == [Do(What.SILENCE), Send("forge", SilenceAlarms())]
    assert KeyController().press("s", None, 0.0) == [Do(What.SILENCE)]


def test_not_now_answers_the_most_urgent_call_after_a_moment(scenes: Any) -> None:
    controller = KeyController()
    snapshot = scenes.ready(calls=(call(CallKind.SKIM), call(CallKind.POUR)))
    assert controller.press("n", snapshot, 0.0) == []
    assert controller.tick(3.0, live=True) == [Send("forge", AnswerCall(call="pour", answer=Answer.NOT_NOW))]


def test_not_now_to_cutting_the_power_is_asked_once(scenes: Any) -> None:
    controller = KeyController()
    snapshot = scenes.heating(calls=(call(CallKind.CUT_POWER),))
    assert controller.press("n", snapshot, 0.0) == []
    assert controller.tick(100.0, live=True) == []
    controller.press("n", snapshot, 200.0)
    assert controller.press("n", snapshot, 202.0) == [
        Send("forge", AnswerCall(call="cut_power", answer=Answer.NOT_NOW))
    ]


def test_enter_says_done_to_a_call_that_only_a_person_can_tell(scenes: Any) -> None:
    controller = KeyController()
    assert controller.press("enter", scenes.ready(calls=(call(CallKind.POUR),)), 0.0) == [
        Say(tell("key.enter_is_no_pour"))
    ]
    assert not controller.busy
    controller.press("enter", scenes.ready(calls=(call(CallKind.STEP),)), 0.0)
    assert controller.tick(3.0, live=True) == [Send("forge", AnswerCall(call="step", answer=Answer.DONE))]


def test_done_to_the_call_to_skim_marks_a_skim_at_the_time_of_the_key(scenes: Any) -> None:
    controller = KeyController()
    controller.press("enter", scenes.ready(calls=(call(CallKind.SKIM),)), 0.0)
    assert held("key.skimmed", "0 s", 3.0) in words(controller, 0.0)
    assert controller.tick(3.0, live=True) == [Send("forge", MarkSkim(ago_s=3.0))]


@pytest.mark.parametrize(("key", "level"), [("0", PowerLevel.OFF), ("1", PowerLevel.LOW), ("2", PowerLevel.HIGH)])
def test_power_takes_two_keys(scenes: Any, key: str, level: PowerLevel) -> None:
    controller = KeyController()
    assert controller.press("p", scenes.heating(), 0.0) == []
    assert controller.press(key, scenes.heating(), 1.0) == [Send("forge", MarkPower(level=level))]


def test_ending_a_melt_asks_once_and_any_other_key_leaves_it(scenes: Any) -> None:
    controller = KeyController()
    assert controller.press("m", scenes.heating(moulds_left=()), 0.0) == []
    assert said("key.ask.end_melt", melt="2026-014") in words(controller, 0.0)
    assert controller.press("m", scenes.heating(), 0.2) == [Say(tell("key.nothing_done"))]
    controller.press("m", scenes.heating(), 10.0)
    assert controller.press("h", scenes.heating(), 11.0) == [
        Send("forge", EndMelt(ending=MeltEnding.HEEL, melt=scenes.heating().melt))
    ]


def test_m_without_a_melt_starts_one(scenes: Any) -> None:
    assert KeyController().press("m", scenes.idle(), 0.0) == [Do(What.START_MELT)]


def test_leaving_during_a_melt_asks_once_and_takes_a_held_mark_along(scenes: Any) -> None:
    controller = KeyController()
    controller.press("space", scenes.ready(), 0.0)
    assert controller.press("q", scenes.ready(), 1.0) == []
    assert controller.press("q", scenes.ready(), 3.0) == [
        Send("forge", MarkPour(ago_s=3.0, mould="cleat 1", sure=True)),
        Do(What.QUIT),
    ]
    assert KeyController().press("q", scenes.idle(), 0.0) == [Do(What.QUIT)]


def test_while_the_daemon_is_away_no_key_pretends_to_do_something() -> None:
    for key in ("space", "l", "d", "n", "a", "p", "m"):
        assert all(isinstance(action, Say) for action in KeyController().press(key, None, 0.0))


def test_a_melt_of_which_nothing_was_poured_is_not_offered_to_end_as_poured(scenes: Any) -> None:
    shot = scenes.heating()
    assert shot.plan is not None
    untouched = msgspec.structs.replace(shot, pours=(), moulds_left=tuple(m.name for m in shot.plan.moulds))
    controller = KeyController()
    controller.press("m", untouched, 0.0)
    assert controller.press("o", untouched, 2.0) == [
        Send("forge", EndMelt(ending=MeltEnding.UNPOURED, melt=untouched.melt))
    ]
    before_a_restart = msgspec.structs.replace(untouched, moulds_left=untouched.moulds_left[1:])
    controller.press("m", before_a_restart, 10.0)
    assert controller.press("o", before_a_restart, 12.0) == [
        Send("forge", EndMelt(ending=MeltEnding.POURED, melt=before_a_restart.melt))
    ]


@pytest.mark.parametrize(
    ("kinds", "told"),
    [
        ((CallKind.POUR,), "key.enter_is_no_pour"),
        ((CallKind.POUR, CallKind.WINDOW_CLOSING), "key.enter_is_no_pour"),
        ((CallKind.DIP,), "key.enter_is_no_dip"),
        ((), "key.no_call"),
    ],
)
def test_done_where_nothing_can_be_answered_by_it_says_so_and_which_key_does(
    scenes: Any, kinds: tuple[CallKind, ...], told: str
) -> None:
    calls = tuple(CallView(kind=kind, text="x", why="", raised_mono_s=0.0, repeat_s=0.0) for kind in kinds)
    controller = KeyController()
    assert controller.press("enter", scenes.ready(calls=calls), 10.0) == [Say(tell(told))]
    assert controller.tick(100.0, live=True) == []


def test_a_key_that_answers_a_question_too_soon_does_nothing_and_it_is_shown(scenes: Any) -> None:
    controller = KeyController()
    snapshot = scenes.heating(melt_state=MeltState.SOLID)
    controller.press("space", snapshot, 100.0)
    assert not tells(words(controller, 100.0), "key.too_soon")
    assert controller.press("space", snapshot, 100.5) == []
    assert tells(words(controller, 100.6), "key.too_soon")
    controller.press("space", snapshot, 103.0)
    assert tells(words(controller, 103.0), "key.pour_into")


def test_space_with_no_mould_left_marks_nothing_and_says_so(scenes: Any) -> None:
    controller = KeyController()
    (told,) = controller.press("space", scenes.ready(window=None, moulds_left=()), 100.0)
    assert isinstance(told, Say)
    assert told.text == tell("key.all_poured")
    assert controller.tick(200.0, live=True) == []
