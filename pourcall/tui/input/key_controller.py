"""What a key does. A pure machine: key, snapshot and time in; actions out. No terminal, no socket.

One stray key must do no harm. What goes on the record is held for some seconds, on the screen, and can be taken back
or dated back; what cannot be meant now, ends a melt or makes alarms unheard is asked once. A key held down or
bouncing counts once.
"""

import msgspec

from pourcall.contract.events import CallKind, CallView, MeltState, Priority
from pourcall.contract.inputs import (
    AckAlarm,
    Answer,
    AnswerCall,
    EndMelt,
    MarkLift,
    MarkPour,
    MarkPower,
    MeltEnding,
    PowerLevel,
    SilenceAlarms,
    StartDip,
)
from pourcall.contract.snapshot import FurnaceSnapshot
from pourcall.tui.drawing.spans import Line, Role, Span, line
from pourcall.tui.input.key_actions import Action, Ask, Do, Held, Say, Send
from pourcall.tui.input.profile_keys import DipMemory, dip_asked, guide_asked
from pourcall.tui.screen.words import CALL_WORDS, UNSEEN, duration, sorted_alarms, sorted_calls

HOLD_POUR_S = 6.0
HOLD_LIFT_S = 3.0
HOLD_ANSWER_S = 3.0
ASK_S = 6.0
STEP_S = 5.0  # of dating back
BOUNCE_S = 1.5  # the same marking key sooner than this after itself is the same press
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
                return [Say(f"Taken back: {text}. Nothing was recorded")]
            if key == "enter":
                return self.flush(now_s)
        if key == "enter":
            return self._done(snapshot, now_s)
        if key in ("u", "f"):
            return [Do({"u": "unit", "f": "furnace"}[key])]
        if key == "s":
            return self._silence(snapshot)
        if key == "q":
            return self._quit(snapshot, now_s)
        if key in ("question_mark", "?", "h"):
            return [Do("help")]
        if key not in ("space", "l", "d", "D", "g", "n", "a", "p", "m"):
            return []
        if snapshot is None:
            return [Say("No word from the daemon: nothing can be marked now", Role.WARN)]
        if bounced and key in ("space", "l", "n", "d", "D", "g"):
            return []
        match key:
            case "space":
                return self._pour(snapshot, now_s)
            case "l":
                return self._lift(snapshot, now_s)
            case "d" | "D":
                return self._ask_or_do(dip_asked(snapshot, self._dips, now_s, anew=key == "D"))
            case "g":
                return self._ask_or_do(guide_asked(snapshot, now_s, ASK_S))
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
        if held.kind is None:
            return [Send(held.furnace, held.fixed)] if held.fixed is not None else []
        since_s = now_s - held.pressed_s
        if held.pressed_sim_s is not None and self._sim_s is not None:
            since_s = self._sim_s - held.pressed_sim_s
        ago_s = round(since_s + held.ago_s, 2)
        if held.kind is MarkPour:
            return [Send(held.furnace, MarkPour(ago_s=ago_s, mould=held.mould))]
        return [Send(held.furnace, MarkLift(ago_s=ago_s))]

    def see(self, snapshot: FurnaceSnapshot | None, now_s: float) -> None:
        """Remember since when each alarm has been on the screen, and what time it is in a simulation."""
        self._tell_time(snapshot)
        ids = {_alarm_key(a.id, a.raised_mono_s, a.priority) for a in snapshot.alarms} if snapshot else set()
        self._seen_since_s = {key: self._seen_since_s.get(key, now_s) for key in ids}

    def _tell_time(self, snapshot: FurnaceSnapshot | None) -> None:
        if snapshot is not None:
            self._sim_s = snapshot.mono_s if snapshot.simulated else None

    def prompt(self, now_s: float, *, live: bool = True) -> tuple[Line, tuple[tuple[str, str], ...]] | None:
        """The open question or the held mark as a line, and the keys that answer it; None when there is neither."""
        if self._ask is not None:
            keys = tuple((key, word) for key, (word, _) in self._ask.choices.items())
            return line(Span("? ", Role.CHECK), Span(self._ask.text, Role.STRONG)), (*keys, ("esc", "no"))
        held = self._held
        if held is None:
            return None
        left_s = max(0, round(held.due_s - now_s))
        when = f", {duration((now_s - held.pressed_s) + held.ago_s)} ago" if held.kind else ""
        rest = f": goes on record in {left_s} s" if live else ": waits for the daemon, not on record yet"
        keys = (("enter", "now"), ("esc", "take back"))
        if held.kind is not None:
            keys = (("+", "5 s earlier"), ("-", "5 s later"), *keys)
        return line(Span("> ", Role.STRONG), Span(held.text + when, Role.STRONG), Span(rest)), keys

    # -- the keys, one by one ------------------------------------------------------------------------------------

    def _pour(self, snapshot: FurnaceSnapshot, now_s: float) -> list[Action]:
        if not snapshot.melt:
            return [Say("No melt is running, so there is no pour to mark. m starts one", Role.WARN)]
        mould = snapshot.window.mould if snapshot.window is not None else ""
        text = f"Pour into {mould}" if mould else "Pour (no mould left in the list)"
        before: list[Action] = []
        if self._held is not None:
            before = self.flush(now_s)  # a second mould right after the first: both count
            text = "Next pour"
            mould = ""
        held = Held(
            snapshot.furnace, MarkPour, None, text, now_s, now_s + HOLD_POUR_S, mould=mould, pressed_sim_s=self._sim_s
        )
        return before + self._hold_or_ask(held, snapshot, now_s, "space")

    def _lift(self, snapshot: FurnaceSnapshot, now_s: float) -> list[Action]:
        if not snapshot.melt:
            return [Say("No melt is running, so there is no lift to mark. m starts one", Role.WARN)]
        before = self.flush(now_s)
        held = Held(
            snapshot.furnace, MarkLift, None, "Pot lifted", now_s, now_s + HOLD_LIFT_S, pressed_sim_s=self._sim_s
        )
        return before + self._hold_or_ask(held, snapshot, now_s, "l")

    def _hold_or_ask(self, held: Held, snapshot: FurnaceSnapshot, now_s: float, key: str) -> list[Action]:
        if can_be_meant(snapshot):
            self._held = held
            return []
        what = f"The metal is not called for pouring ({snapshot.melt_state.value}). {held.text} all the same?"
        self._ask = Ask(what, now_s + ASK_S, {key: ("yes, mark it", held)})
        return []

    def _ask_or_do(self, wanted: Action | Ask) -> list[Action]:
        if isinstance(wanted, Ask):
            self._ask = wanted
            return []
        return [wanted]

    def _not_now(self, snapshot: FurnaceSnapshot, now_s: float) -> list[Action]:
        calls = sorted_calls(snapshot.calls)
        if not calls:
            return [Say("There is no call to answer")]
        before = self.flush(now_s)
        kind = calls[0].kind
        command = AnswerCall(call=kind.value, answer=Answer.NOT_NOW)
        held = Held(
            snapshot.furnace, None, command, f'"Not now" to the call: {CALL_WORDS[kind]}', now_s, now_s + HOLD_ANSWER_S
        )
        if kind is CallKind.CUT_POWER:
            text = "The metal overshoots if the power stays on. Not now all the same?"
            self._ask = Ask(text, now_s + ASK_S, {"n": ("yes, not now", Send(snapshot.furnace, command))})
        else:
            self._held = held
        return before

    def _done(self, snapshot: FurnaceSnapshot | None, now_s: float) -> list[Action]:
        call = done_call(snapshot)
        if snapshot is None or call is None:
            return []
        command = AnswerCall(call=call.kind.value, answer=Answer.DONE)
        text = f'"Done" to the call: {CALL_WORDS[call.kind]}'
        if call.kind is CallKind.CUT_POWER:
            text = "The burner is off" if snapshot.kind == "fuel" else "The power is off"
        self._held = Held(snapshot.furnace, None, command, text, now_s, now_s + HOLD_ANSWER_S)
        return []

    def _acknowledge(self, snapshot: FurnaceSnapshot, now_s: float) -> list[Action]:
        alarms = sorted_alarms(snapshot.alarms)
        top = next((a for a in alarms if a.state in UNSEEN), None)
        if top is not None:
            key = _alarm_key(top.id, top.raised_mono_s, top.priority)
            if now_s - self._seen_since_s.get(key, now_s) < READ_S:
                return [Say("A new alarm came just now: read it, then press a", Role.WARN)]
            return [Send(snapshot.furnace, AckAlarm(alarm=top.id))]
        return [Say("There is no alarm to acknowledge")]

    def _silence(self, snapshot: FurnaceSnapshot | None) -> list[Action]:
        out: list[Action] = [Do("silence")]
        if snapshot is not None:
            out.append(Send(snapshot.furnace, SilenceAlarms()))
        return out

    def _power(self, snapshot: FurnaceSnapshot, now_s: float) -> list[Action]:
        what = "Burner is set to" if snapshot.kind == "fuel" else "Power is set to"
        choices = {
            key: (word, Send(snapshot.furnace, MarkPower(level=level)))
            for key, word, level in (
                ("0", "off", PowerLevel.OFF),
                ("1", "low", PowerLevel.LOW),
                ("2", "high", PowerLevel.HIGH),
            )
        }
        self._ask = Ask(f"{what}:", now_s + ASK_S, choices)
        return []

    def _melt(self, snapshot: FurnaceSnapshot, now_s: float) -> list[Action]:
        if not snapshot.melt:
            return [Do("start_melt")]
        endings = (
            ("o", "poured", MeltEnding.POURED),
            ("i", "ingots", MeltEnding.INGOTS),
            ("h", "heel left", MeltEnding.HEEL),
            ("x", "abandoned", MeltEnding.ABANDONED),
        )
        choices = {key: (word, Send(snapshot.furnace, EndMelt(ending=ending))) for key, word, ending in endings}
        self._ask = Ask(f"End melt {snapshot.melt}? How did it end:", now_s + 2 * ASK_S, choices)
        return []

    def _quit(self, snapshot: FurnaceSnapshot | None, now_s: float) -> list[Action]:
        if snapshot is not None and not snapshot.melt and not snapshot.alarms and self._held is None:
            return [Do("quit")]
        text = "Leave the dashboard? The melt goes on, but no alarm is heard here any more"
        self._ask = Ask(text, now_s + ASK_S, {"q": ("yes, leave", Do("quit"))})
        return []

    def _answer(self, key: str, snapshot: FurnaceSnapshot | None, now_s: float, bounced: bool) -> list[Action]:
        assert self._ask is not None
        if bounced and (key in ("space", "l", "n", "a", "q") or key in self._ask.keys):
            return []  # the key that asked, still held down, is no answer
        ask, self._ask = self._ask, None
        choice = ask.choices.get(key)
        if choice is None:
            return [] if key == "escape" else [Say("Nothing was done")]
        if isinstance(choice[1], Held):
            held = choice[1]
            self._held = msgspec.structs.replace(held, due_s=now_s + (held.due_s - held.pressed_s))
            return []
        if isinstance(choice[1], Ask):
            self._ask = choice[1]
            return []
        if isinstance(choice[1], Send) and snapshot is None:
            return [Say("No word from the daemon: nothing was sent", Role.WARN)]
        if isinstance(choice[1], Send) and isinstance(choice[1].command, StartDip):
            self._dips.see(choice[1].furnace, choice[1].command)
        # A mark that is still held belongs before whatever is decided now: no pour after the end of its melt.
        before = self.flush(now_s) if choice[1] == Do("quit") or isinstance(choice[1], Send) else []
        return [*before, choice[1]]

    def _date_back(self, held: Held, key: str, now_s: float) -> list[Action]:
        if held.kind is None:
            return []
        step_s = -STEP_S if key in ("minus", "-") else STEP_S
        held.ago_s = max(-(now_s - held.pressed_s), held.ago_s + step_s)
        held.due_s = max(held.due_s, now_s + HOLD_LIFT_S)
        return []


def done_call(snapshot: FurnaceSnapshot | None) -> CallView | None:
    """The call that "done" would answer. A dip and a pour are seen or marked, not claimed."""
    kinds = (CallKind.CUT_POWER, CallKind.SKIM, CallKind.STEP)
    calls = sorted_calls(snapshot.calls) if snapshot is not None else ()
    return next((call for call in calls if call.kind in kinds), None)


def can_be_meant(snapshot: FurnaceSnapshot) -> bool:
    """Whether a lift or a pour can be meant now: it was called, the pot is out, or the metal is liquid."""
    if snapshot.lift_mono_s is not None:
        return True
    if any(call.kind in (CallKind.POUR, CallKind.WINDOW_CLOSING) for call in snapshot.calls):
        return True
    return snapshot.melt_state in (MeltState.READY, MeltState.ABOVE)


def _alarm_key(alarm_id: str, raised_mono_s: float, priority: Priority) -> str:
    return f"{alarm_id}/{raised_mono_s}/{priority:d}"
