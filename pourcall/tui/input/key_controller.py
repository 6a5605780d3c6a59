"""What a key does. A pure machine: key, snapshot and time in; actions out. No terminal, no socket.

One stray key must do no harm. What goes on the record is held for some seconds, on the screen, and can be taken back
or dated back; what cannot be meant now, ends a melt or makes alarms unheard is asked once. A key held down or
bouncing counts once.
"""

from typing import assert_never

import msgspec

from pourcall.contract.events import CallKind, CallView, Priority
from pourcall.contract.inputs import (
    AckAlarm,
    Answer,
    AnswerCall,
    Command,
    EndMelt,
    Happened,
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
from pourcall.contract.message import Message, Told, tell
from pourcall.contract.questions import question
from pourcall.contract.snapshot import FurnaceSnapshot
from pourcall.contract.units import Unit
from pourcall.texts import say
from pourcall.tui.drawing.styled import Line, Role, StyledText, line
from pourcall.tui.input.key_actions import Action, Ask, Choice, Do, Held, Say, Send, What
from pourcall.tui.input.profile_keys import DipMemory, dip_asked, profile_asked
from pourcall.tui.screen.scene import Key
from pourcall.tui.screen.words import UNSEEN, lasted, sorted_alarms, sorted_calls

HOLD_POUR_S = 6.0
HOLD_LIFT_S = 3.0
HOLD_ANSWER_S = 3.0
ASK_S = 6.0
STEP_S = 5.0  # of dating back
BOUNCE_S = 1.5  # the same marking key sooner than this after itself is the same press
LEVELS = (PowerLevel.OFF, PowerLevel.LOW, PowerLevel.HIGH)  # by the keys 0, 1, 2
ENDINGS = {"o": MeltEnding.POURED, "i": MeltEnding.INGOTS, "h": MeltEnding.HEEL, "x": MeltEnding.ABANDONED}
READ_S = 1.0  # an alarm younger than this on the screen cannot have been read


class KeyController:
    """The keys of the dashboard. Marks are dated back by this computer's time; in a simulation by the simulated one."""

    def __init__(self) -> None:
        self._held: Held | None = None
        self._ask: Ask | None = None
        self._pressed_s: dict[str, float] = {}
        self._seen_since_s: dict[str, float] = {}
        self._dips = DipMemory()
        self._sim_s: float | None = None  # the simulated time as last seen; None where time is real

    @property
    def busy(self) -> bool:
        """A mark is held or a question is open."""
        return self._held is not None or self._ask is not None

    def press(self, key: str, snapshot: FurnaceSnapshot | None, now_s: float) -> list[Action]:
        """What a key does now. `snapshot`: the furnace on the screen, None when there is none or it is old."""
        bounced = now_s - self._pressed_s.get(key, float("-inf")) < BOUNCE_S
        self._pressed_s[key] = now_s
        self._tell_time(snapshot)
        if self._ask is not None:
            return self._answer(key, snapshot, now_s, bounced)
        if self._held is not None:
            if key in ("plus", "minus", "equals_sign", "+", "-", "="):
                return self._date_back(self._held, key, now_s)
            if key in ("escape", "backspace"):
                text, self._held = self._held.text, None
                return [Say(tell("key.taken_back", what=text))]
            if key == "enter":
                return self.flush(now_s)
        if key == "enter":
            return self._done(snapshot, now_s)
        if key in ("u", "f"):
            return [Do(What.UNIT if key == "u" else What.FURNACE)]
        if key == "s":
            return self._silence(snapshot)
        if key == "q":
            return self._quit(snapshot, now_s)
        if key in ("question_mark", "?", "h"):
            return [Do(What.HELP)]
        if key not in ("space", "l", "b", "d", "D", "g", "n", "a", "p", "m"):
            return []
        if snapshot is None:
            return [Say(tell("key.no_daemon"), Role.WARN)]
        if bounced and key in ("space", "l", "b", "n", "d", "D", "g"):
            return []
        match key:
            case "space":
                return self._pour(snapshot, now_s)
            case "l":
                return self._lift(snapshot, now_s)
            case "b":
                return self._back_in(snapshot, now_s)
            case "d" | "D":
                return self._ask_or_do(dip_asked(snapshot, self._dips, now_s, anew=key == "D"))
            case "g":
                return self._ask_or_do(profile_asked(snapshot, now_s, ASK_S))
            case "n":
                return self._not_now(snapshot, now_s)
            case "a":
                return self._acknowledge(snapshot, now_s)
            case "p":
                return self._power(snapshot, now_s)
            case _:
                return self._melt(snapshot, now_s)

    def tick(self, now_s: float, *, live: bool) -> list[Action]:
        """Time passed: what was held long enough goes out, once somebody is there to take it."""
        if self._ask is not None and now_s >= self._ask.until_s:
            lapse, self._ask = self._ask.lapse, None
            if lapse is not None and live:
                return [lapse]
        if self._held is not None and live and now_s >= self._held.due_s:
            return self.flush(now_s)
        return []

    def flush(self, now_s: float) -> list[Action]:
        """Send what is held, now."""
        held, self._held = self._held, None
        if held is None:
            return []
        if not isinstance(held.command, Happened):
            return [Send(held.furnace, held.command)]
        since_s = now_s - held.pressed_s
        if held.pressed_sim_s is not None and self._sim_s is not None:
            since_s = self._sim_s - held.pressed_sim_s
        dated = msgspec.structs.replace(held.command, ago_s=round(since_s + held.ago_s, 2))
        if isinstance(dated, MarkPour | MarkLift):
            dated = msgspec.structs.replace(dated, sure=True)  # asked at the key, where there was something to ask
        return [Send(held.furnace, dated)]

    def see(self, snapshot: FurnaceSnapshot | None, now_s: float) -> None:
        """Remember since when each alarm has been on the screen, and what time it is in a simulation."""
        self._tell_time(snapshot)
        ids = {_alarm_key(a.id, a.raised_mono_s, a.priority) for a in snapshot.alarms} if snapshot else set()
        self._seen_since_s = {key: self._seen_since_s.get(key, now_s) for key in ids}

    def _tell_time(self, snapshot: FurnaceSnapshot | None) -> None:
        if snapshot is not None:
            self._sim_s = snapshot.mono_s if snapshot.simulated else None

    def prompt(self, now_s: float, *, live: bool = True, unit: Unit = Unit.C) -> tuple[Line, tuple[Key, ...]] | None:
        """The open question or the held mark as a line, and the keys that answer it; None when there is neither."""
        if self._ask is not None:
            keys = tuple(Key(key, choice.does) for key, choice in self._ask.choices.items())
            text = tell("key.too_soon", text=self._ask.text) if self._ask.too_soon else self._ask.text
            asked = StyledText(say(text, unit), Role.STRONG)
            return line(StyledText("? ", Role.CHECK), asked), (*keys, Key("esc", tell("key.no")))
        held = self._held
        if held is None:
            return None
        what = say(held.text, unit)
        if held.dated:
            what += f", {say(tell('key.held.ago', ago=lasted(now_s - held.pressed_s + held.ago_s)))}"
        rest = tell("key.held.due", left_s=max(0.0, held.due_s - now_s)) if live else tell("key.held.waits")
        keys = (Key("enter", tell("key.now")), Key("esc", tell("key.take_back")))
        if held.dated:
            keys = (Key("+", tell("key.earlier", step_s=STEP_S)), Key("-", tell("key.later", step_s=STEP_S)), *keys)
        return line(StyledText("> ", Role.STRONG), StyledText(what, Role.STRONG), f": {say(rest)}"), keys

    # -- the keys, one by one ------------------------------------------------------------------------------------

    def _pour(self, snapshot: FurnaceSnapshot, now_s: float) -> list[Action]:
        if not snapshot.melt:
            return [Say(tell("key.no_melt.pour"), Role.WARN)]
        if snapshot.window is None:
            return [*self.flush(now_s), Say(tell("key.all_poured"), Role.WARN)]
        mould = snapshot.window.mould
        text = tell("key.pour_into", mould=mould)
        before: list[Action] = []
        if self._held is not None:
            before = self.flush(now_s)  # a second mould right after the first: both count
            text, mould = tell("key.next_pour"), ""
        held = self._hold(snapshot, MarkPour(mould=mould), text, now_s, HOLD_POUR_S)
        return before + self._hold_or_ask(held, snapshot, now_s, "space")

    def _lift(self, snapshot: FurnaceSnapshot, now_s: float) -> list[Action]:
        if not snapshot.melt:
            return [Say(tell("key.no_melt.lift"), Role.WARN)]
        before = self.flush(now_s)
        held = self._hold(snapshot, MarkLift(), tell("key.lifted"), now_s, HOLD_LIFT_S)
        return before + self._hold_or_ask(held, snapshot, now_s, "l")

    def _back_in(self, snapshot: FurnaceSnapshot, now_s: float) -> list[Action]:
        lifting = self._held is not None and isinstance(self._held.command, MarkLift)
        if not lifting and snapshot.lift_mono_s is None:
            return [Say(tell("key.not_lifted"), Role.WARN)]
        before = self.flush(now_s)  # a lift that is still held was one all the same
        self._held = self._hold(snapshot, MarkReturn(), tell("key.is_back_in"), now_s, HOLD_LIFT_S)
        return before

    def _hold(self, snapshot: FurnaceSnapshot, command: Command, text: Told, now_s: float, for_s: float) -> Held:
        return Held(snapshot.furnace, command, text, now_s, now_s + for_s, pressed_sim_s=self._sim_s)

    def _hold_or_ask(self, held: Held, snapshot: FurnaceSnapshot, now_s: float, key: str) -> list[Action]:
        asked = question(held.command, snapshot)
        if asked is None:
            self._held = held
            return []
        self._ask = Ask(asked.text, now_s + ASK_S, {key: Choice(tell("key.yes_mark"), held)})
        return []

    def _ask_or_do(self, wanted: Action | Ask) -> list[Action]:
        if isinstance(wanted, Ask):
            self._ask = wanted
            return []
        return [wanted]

    def _not_now(self, snapshot: FurnaceSnapshot, now_s: float) -> list[Action]:
        calls = sorted_calls(snapshot.calls)
        if not calls:
            return [Say(tell("key.no_call"))]
        before = self.flush(now_s)
        kind = calls[0].kind
        command = AnswerCall(call=kind.value, answer=Answer.NOT_NOW)
        if kind is CallKind.CUT_POWER:
            yes = Choice(tell("key.yes_not_now"), Send(snapshot.furnace, command))
            self._ask = Ask(tell("key.ask.overshoots"), now_s + ASK_S, {"n": yes})
        else:
            text = tell("key.answered.not_now", call=kind.value)
            self._held = self._hold(snapshot, command, text, now_s, HOLD_ANSWER_S)
        return before

    def _done(self, snapshot: FurnaceSnapshot | None, now_s: float) -> list[Action]:
        if snapshot is None:
            return [Say(tell("key.no_daemon"), Role.WARN)]
        call = done_call(snapshot)
        if call is None:
            return [Say(_not_by_enter(snapshot))]
        command: Command = AnswerCall(call=call.kind.value, answer=Answer.DONE)
        text = tell("key.answered.done", call=call.kind.value)
        match call.kind:
            case CallKind.CUT_POWER:
                text = tell("key.burner_off" if snapshot.kind == "fuel" else "key.power_off")
            case CallKind.SKIM:
                command, text = MarkSkim(), tell("key.skimmed")
            case _:
                pass
        self._held = self._hold(snapshot, command, text, now_s, HOLD_ANSWER_S)
        return []

    def _acknowledge(self, snapshot: FurnaceSnapshot, now_s: float) -> list[Action]:
        alarms = sorted_alarms(snapshot.alarms)
        top = next((a for a in alarms if a.state in UNSEEN), None)
        if top is not None:
            key = _alarm_key(top.id, top.raised_mono_s, top.priority)
            if now_s - self._seen_since_s.get(key, now_s) < READ_S:
                return [Say(tell("key.alarm_unread"), Role.WARN)]
            return [Send(snapshot.furnace, AckAlarm(alarm=top.id))]
        return [Say(tell("key.no_alarm"))]

    def _silence(self, snapshot: FurnaceSnapshot | None) -> list[Action]:
        out: list[Action] = [Do(What.SILENCE)]
        if snapshot is not None:
            out.append(Send(snapshot.furnace, SilenceAlarms()))
        return out

    def _power(self, snapshot: FurnaceSnapshot, now_s: float) -> list[Action]:
        choices = {
            str(n): Choice(tell("key.level", level=level.value), Send(snapshot.furnace, MarkPower(level=level)))
            for n, level in enumerate(LEVELS)
        }
        text = tell("key.ask.burner" if snapshot.kind == "fuel" else "key.ask.power")
        self._ask = Ask(text, now_s + ASK_S, choices)
        return []

    def _melt(self, snapshot: FurnaceSnapshot, now_s: float) -> list[Action]:
        if not snapshot.melt:
            return [Do(What.START_MELT)]
        choices = {
            key: Choice(
                tell("key.ending", ending=ending.value),
                Send(snapshot.furnace, EndMelt(ending=ending, melt=snapshot.melt)),
            )
            for key, ending in _endings(snapshot).items()
        }
        asked = tell("key.ask.end_melt", melt=snapshot.melt)
        if snapshot.moulds_left:
            asked = tell("key.ask.end_melt.left", melt=snapshot.melt, moulds=", ".join(snapshot.moulds_left))
        self._ask = Ask(asked, now_s + 2 * ASK_S, choices)
        return []

    def _quit(self, snapshot: FurnaceSnapshot | None, now_s: float) -> list[Action]:
        if snapshot is not None and not snapshot.melt and not snapshot.alarms and self._held is None:
            return [Do(What.QUIT)]
        self._ask = Ask(tell("key.ask.quit"), now_s + ASK_S, {"q": Choice(tell("key.yes_leave"), Do(What.QUIT))})
        return []

    def _answer(self, key: str, snapshot: FurnaceSnapshot | None, now_s: float, bounced: bool) -> list[Action]:
        assert self._ask is not None
        if bounced and (key in ("space", "l", "n", "a", "q") or key in self._ask.keys):
            self._ask.answered_too_soon()  # the key that asked, still held down, is no answer; it is said
            return []
        ask, self._ask = self._ask, None
        choice = ask.choices.get(key)
        if choice is None:
            return [] if key == "escape" else [Say(tell("key.nothing_done"))]
        match choice.then:
            case Held() as held:
                self._held = msgspec.structs.replace(held, due_s=now_s + (held.due_s - held.pressed_s))
                return []
            case Ask() as further:
                self._ask = further
                return []
            case Send(furnace, command) as send:
                if snapshot is None:
                    return [Say(tell("key.not_sent"), Role.WARN)]
                if isinstance(command, StartDip):
                    self._dips.see(furnace, command)
                # A mark that is still held belongs before what is decided now: no pour after the end of its melt.
                return [*self.flush(now_s), send]
            case Do(What.QUIT) as leave:
                return [*self.flush(now_s), leave]
            case Do() | Say() as other:
                return [other]
            case _:
                assert_never(choice.then)

    def _date_back(self, held: Held, key: str, now_s: float) -> list[Action]:
        if held.dated:
            held.shift(-STEP_S if key in ("minus", "-") else STEP_S, now_s, wait_s=HOLD_LIFT_S)
        return []


def _not_by_enter(snapshot: FurnaceSnapshot) -> Message:
    """Why *done* did nothing: no call is up, or what it asks for is marked by its own key."""
    kinds = {call.kind for call in snapshot.calls}
    if kinds & {CallKind.POUR, CallKind.WINDOW_CLOSING}:
        return tell("key.enter_is_no_pour")
    return tell("key.enter_is_no_dip" if CallKind.DIP in kinds else "key.no_call")


def _endings(snapshot: FurnaceSnapshot) -> dict[str, MeltEnding]:
    """How a melt may end, by its key: poured only where a pour is on record."""
    of = 0 if snapshot.plan is None else len(snapshot.plan.moulds)
    poured = bool(snapshot.pours) or len(snapshot.moulds_left) < of
    return ENDINGS if poured else {**ENDINGS, "o": MeltEnding.UNPOURED}


def done_call(snapshot: FurnaceSnapshot | None) -> CallView | None:
    """The call that "done" would answer. A dip and a pour are seen or marked, not claimed."""
    kinds = (CallKind.CUT_POWER, CallKind.CHECK_POWER, CallKind.SKIM, CallKind.STEP)
    calls = sorted_calls(snapshot.calls) if snapshot is not None else ()
    return next((call for call in calls if call.kind in kinds), None)


def _alarm_key(alarm_id: str, raised_mono_s: float, priority: Priority) -> str:
    return f"{alarm_id}/{raised_mono_s}/{priority:d}"
