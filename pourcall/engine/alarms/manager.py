"""The lifecycle of alarms. One table, one manager; every (state, event) pair is decided and a test says so.

After OPC UA Part 9 (Alarms and Conditions) and, for the sounding rules, IMO MSC.302(87): a silenced alarm that nobody
acknowledged sounds again after 30 s; one situation shows one alarm, the rest stand suppressed under it.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from enum import StrEnum

from pourcall.contract.events import AlarmState, AlarmView, Priority
from pourcall.contract.inputs import SILENCE_S
from pourcall.contract.message import NOTHING, Message, Told, tell
from pourcall.engine.alarms.catalogue import CATALOGUE, PARENTS, SETTLED_BY_THE_END, AlarmKind, Scope

SHELVE_LEAST_MIN, SHELVE_MOST_MIN = 5.0, 60.0
MELT_END = "melt end"  # in the place of the person who acknowledged it


class AlarmEvent(StrEnum):
    """What may happen to an alarm."""

    RAISE = "raise"
    CLEAR = "clear"
    ACK = "ack"
    WORSEN = "worsen"  # raised again at a higher severity
    SETTLE = "settle"  # what it was about is behind: the melt ended


A, E = AlarmState, AlarmEvent
ALARM_TABLE: dict[tuple[AlarmState, AlarmEvent], AlarmState] = {
    (A.NORMAL, E.RAISE): A.UNACKED,
    (A.UNACKED, E.ACK): A.ACKED,
    (A.UNACKED, E.CLEAR): A.RTN_UNACKED,
    (A.ACKED, E.CLEAR): A.NORMAL,
    (A.ACKED, E.WORSEN): A.UNACKED,
    (A.RTN_UNACKED, E.ACK): A.NORMAL,
    (A.RTN_UNACKED, E.RAISE): A.UNACKED,
    (A.RTN_UNACKED, E.WORSEN): A.UNACKED,
    (A.RTN_UNACKED, E.SETTLE): A.NORMAL,
}
_SUPPRESSED_BY: dict[str, tuple[str, ...]] = {
    child: tuple(parent for parent, children in PARENTS.items() if child in children)
    for children in PARENTS.values()
    for child in children
}


@dataclass(slots=True)
class _Alarm:
    """One alarm's memory. `condition` is what the rules say; `active` follows it after the on- or off-delay."""

    id: str
    kind: AlarmKind
    subject: str
    state: AlarmState = AlarmState.NORMAL
    active: bool = False
    condition: bool = False
    condition_since_s: float = 0.0
    priority: Priority = Priority.CAUTION
    what: Told = NOTHING
    remedy: Told = NOTHING
    raised_mono_s: float = 0.0
    raised_utc_s: float = 0.0
    shelved_until_s: float | None = None
    suppressed_by: str = ""


class AlarmManager:
    """All alarms of one furnace. `said` receives (view, who) at each change a client should see."""

    def __init__(
        self, said: Callable[[AlarmView, str], None], board_of: Callable[[str], str] = lambda subject: subject
    ) -> None:
        """board_of: the subject whose alarms explain those of a subject too (the board of a probe)."""
        self._said, self._board_of = said, board_of
        self._alarms: dict[str, _Alarm] = {}
        self.silenced_until_s: float | None = None

    # -- what the rules say -------------------------------------------------------------------------------------------

    def set_condition(
        self,
        kind: str,
        subject: str,
        condition: bool,
        mono_s: float,
        utc_s: float,
        *,
        detail: Told = NOTHING,
        priority: Priority | None = None,
        at_once: bool = False,
    ) -> None:
        """The rule for (kind, subject) holds, or does not. The catalogue's delays apply, unless at_once."""
        key = f"{kind}:{subject}"
        alarm = self._alarms.get(key)
        if alarm is None:
            if not condition:
                return
            alarm = self._alarms[key] = _Alarm(key, CATALOGUE[kind], subject)
        if condition != alarm.condition:
            alarm.condition = condition
            alarm.condition_since_s = mono_s
        if condition:
            severity = priority or alarm.kind.priority
            worse = alarm.active and severity < alarm.priority
            if not alarm.active or worse:
                alarm.what, alarm.remedy = alarm.kind.texts(subject, detail)
            if worse:
                alarm.priority = severity
                self._step(alarm, AlarmEvent.WORSEN, mono_s, utc_s, always=True)
            elif not alarm.active:
                # Highest severity seen is kept until acknowledged and clear.
                fresh = alarm.state is AlarmState.NORMAL
                alarm.priority = severity if fresh else min(severity, alarm.priority)
        delay_s = alarm.kind.on_delay_s if condition else alarm.kind.off_delay_s
        if condition != alarm.active and (at_once or mono_s - alarm.condition_since_s >= delay_s):
            alarm.active = condition
            self._step(alarm, AlarmEvent.RAISE if condition else AlarmEvent.CLEAR, mono_s, utc_s, always=True)

    def withdraw_scope(self, scope: Scope, mono_s: float, utc_s: float) -> None:
        """What `scope` names is over (the lift, the melt): alarms that end with it clear without their off-delay."""
        for alarm in list(self._alarms.values()):
            if alarm.kind.scope <= scope:
                self.set_condition(alarm.kind.name, alarm.subject, False, mono_s, utc_s, at_once=True)

    def settle(self, mono_s: float, utc_s: float) -> None:
        """The melt ended: what is over of it, though nobody acknowledged it, is not brought into the next. The record
        has it. One that still holds stands, and so does what befell the record or the daemon."""
        for alarm in list(self._alarms.values()):
            if alarm.kind.name in SETTLED_BY_THE_END:
                self._step(alarm, AlarmEvent.SETTLE, mono_s, utc_s, who=MELT_END)

    def tick(self, mono_s: float, utc_s: float) -> None:
        """Delays, silence and shelves run on."""
        for alarm in list(self._alarms.values()):
            delay_s = alarm.kind.on_delay_s if alarm.condition else alarm.kind.off_delay_s
            if alarm.condition != alarm.active and mono_s - alarm.condition_since_s >= delay_s:
                alarm.active = alarm.condition
                self._step(alarm, AlarmEvent.RAISE if alarm.condition else AlarmEvent.CLEAR, mono_s, utc_s, always=True)
            if alarm.shelved_until_s is not None and mono_s >= alarm.shelved_until_s:
                alarm.shelved_until_s = None
                self._said(self._view(alarm), "time")
        if self.silenced_until_s is not None and mono_s >= self.silenced_until_s:
            self.silenced_until_s = None

    def update_suppression(self) -> None:
        """One situation shows one alarm: what a stronger alarm explains stands under it."""
        alarms = self._alarms
        if len(alarms) < 2 and not any(alarm.suppressed_by for alarm in alarms.values()):
            return
        for alarm in list(alarms.values()):
            parent = self._parent(alarm)
            if alarm.state is not AlarmState.NORMAL and parent != alarm.suppressed_by:
                self.suppress([alarm.id], parent)

    def _parent(self, alarm: _Alarm) -> str:
        """The id of a stronger alarm that is up and explains this one; empty: none."""
        for kind in _SUPPRESSED_BY.get(alarm.kind.name, ()):
            for subject in (alarm.subject, self._board_of(alarm.subject)):
                key = f"{kind}:{subject}"
                parent = self._alarms.get(key)
                if parent is not None and parent.active and key != alarm.id:
                    return key
        return ""

    def suppress(self, children: Iterable[str], parent: str) -> None:
        """`parent` (an alarm id) explains these; an empty parent lifts that. They keep running underneath."""
        for key in children:
            alarm = self._alarms.get(key)
            if alarm is not None and alarm.suppressed_by != parent and alarm.id != parent:
                alarm.suppressed_by = parent
                if alarm.state is not AlarmState.NORMAL:
                    self._said(self._view(alarm), "")

    # -- what a person says -------------------------------------------------------------------------------------------

    def ack(self, key: str, mono_s: float, utc_s: float, who: str) -> int:
        """Acknowledge one alarm, or all where key is empty; returns how many changed. KeyError: no such alarm."""
        if key and key not in self._alarms:
            raise KeyError(key)
        changed = 0
        for alarm in [self._alarms[key]] if key else list(self._alarms.values()):
            changed += self._step(alarm, AlarmEvent.ACK, mono_s, utc_s, who=who)
        return changed

    def silence(self, mono_s: float) -> None:
        """Quiet for 30 s; not an acknowledgement. An alarm raised meanwhile ends the silence."""
        self.silenced_until_s = mono_s + SILENCE_S

    def shelve(self, key: str, minutes: float, mono_s: float, who: str) -> Message:
        """Set aside; returns why not, or nothing. KeyError: no such alarm."""
        alarm = self._alarms[key]
        if not SHELVE_LEAST_MIN <= minutes <= SHELVE_MOST_MIN:
            return tell("alarm.shelf_range", asked_min=minutes, least_min=SHELVE_LEAST_MIN, most_min=SHELVE_MOST_MIN)
        alarm.shelved_until_s = mono_s + 60.0 * minutes
        self._said(self._view(alarm), who)
        return NOTHING

    def unshelve(self, key: str, who: str) -> None:
        """Take it back. KeyError: no such alarm."""
        alarm = self._alarms[key]
        alarm.shelved_until_s = None
        self._said(self._view(alarm), who)

    # -- what others see ----------------------------------------------------------------------------------------------

    def is_up(self, kind: str, subject: str) -> bool:
        """The condition holds now, delays included."""
        alarm = self._alarms.get(f"{kind}:{subject}")
        return alarm is not None and alarm.active

    def is_acked(self, kind: str, subject: str) -> bool:
        """A person has seen it (or it is not up at all)."""
        alarm = self._alarms.get(f"{kind}:{subject}")
        return alarm is None or alarm.state in (AlarmState.NORMAL, AlarmState.ACKED)

    def views(self) -> tuple[AlarmView, ...]:
        """Alarms not in NORMAL, most severe first, then oldest."""
        live = [alarm for alarm in self._alarms.values() if alarm.state is not AlarmState.NORMAL]
        live.sort(key=lambda alarm: (alarm.priority, alarm.raised_mono_s, alarm.id))
        return tuple(self._view(alarm) for alarm in live)

    def _view(self, alarm: _Alarm) -> AlarmView:
        return AlarmView(
            id=alarm.id,
            kind=alarm.kind.name,
            subject=alarm.subject,
            priority=alarm.priority,
            state=alarm.state,
            active=alarm.active,
            what=alarm.what,
            remedy=alarm.remedy,
            raised_mono_s=alarm.raised_mono_s,
            raised_utc_s=alarm.raised_utc_s,
            shelved_until_mono_s=alarm.shelved_until_s,
            suppressed_by=alarm.suppressed_by,
        )

    def _step(
        self, alarm: _Alarm, event: AlarmEvent, mono_s: float, utc_s: float, *, who: str = "", always: bool = False
    ) -> bool:
        new = ALARM_TABLE.get((alarm.state, event))
        if new is not None:
            if alarm.state is AlarmState.NORMAL or (new is AlarmState.UNACKED and event is not AlarmEvent.WORSEN):
                alarm.raised_mono_s, alarm.raised_utc_s = mono_s, utc_s
            if event is AlarmEvent.RAISE:
                alarm.suppressed_by = self._parent(alarm)  # at birth: what is explained is never heard
            if new is AlarmState.UNACKED and not alarm.suppressed_by:
                self.silenced_until_s = None
            alarm.state = new
        if new is not None or always:
            self._said(self._view(alarm), who)
        if alarm.state is AlarmState.NORMAL and not alarm.condition and alarm.shelved_until_s is None:
            del self._alarms[alarm.id]
        return new is not None
