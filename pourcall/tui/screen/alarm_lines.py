"""Alarms as lines. The first is told in full: what it means and what to do; the others in one line each."""

from pourcall.contract.events import AlarmState, AlarmView
from pourcall.contract.message import NOTHING, Message, tell
from pourcall.contract.snapshot import FurnaceSnapshot
from pourcall.texts import say, word
from pourcall.tui.drawing.styled import Line, Role, StyledText, fit, line
from pourcall.tui.screen.words import PRIORITY_LOOK, UNSEEN, Look, blinking, is_shelved, sorted_alarms


def alarm_lines(
    snapshot: FurnaceSnapshot, others: tuple[FurnaceSnapshot, ...], look: Look, rows: int, *, known: bool = True
) -> tuple[Line, ...]:
    """At most `rows` lines; what does not fit is counted in words, never dropped in silence.

    `known` is False while the daemon is away: then these are the last that were heard of.
    """
    elsewhere = _elsewhere(others, look)
    listed = sorted_alarms(snapshot.alarms)
    aside = _aside(snapshot, listed)
    if not listed:
        none = say(tell("screen.alarms.none" if known else "screen.alarms.unknown"))
        quiet = [] if elsewhere and not aside else [line(StyledText(f" {none}{aside}", Role.DIM))]
        return tuple(fit(row, look.width) for row in (elsewhere + quiet)[:rows])
    out: list[Line] = elsewhere[:1]
    free = rows - len(out)
    out.append(_headline(listed[0], look, _silenced(snapshot) if known else tell("screen.alarms.last_heard")))
    if free >= 2:
        what_to_do = say(tell("screen.alarms.do", remedy=listed[0].remedy), look.unit)
        out.append(line(StyledText(f"    {what_to_do}", Role.STRONG)))
    rest = listed[1:]
    free = rows - len(out)
    if rest and free > 0:
        if len(rest) <= free and not aside:
            out += [_headline(alarm, look) for alarm in rest]
        else:
            out += [_headline(alarm, look) for alarm in rest[: free - 1]]
            hidden = rest[free - 1 :]
            words = ", ".join(f"{_priority(a)} {say(a.what, look.unit)}" for a in hidden)
            count = f" {_more(len(hidden))}{words}" if hidden else ""
            out.append(line(StyledText(f"{count}{aside}", Role.STRONG)))
    elif aside and free > 0:
        out.append(line(StyledText(f"   {aside}", Role.DIM)))
    elif rest:
        out[-1] = line(StyledText(f" {_more(len(rest))}", Role.STRONG), *out[-1])
    return tuple(fit(row, look.width) for row in out[:rows])


def _more(count: int) -> str:
    return f"{say(tell('screen.alarms.more', count=count))} "


def _priority(alarm: AlarmView) -> str:
    return word("priority", alarm.priority.name.lower())


def _headline(alarm: AlarmView, look: Look, silenced: Message = NOTHING) -> Line:
    mark, role = PRIORITY_LOOK[alarm.priority]
    unseen = alarm.state in UNSEEN
    shown_role = Role.DIM if alarm.state is AlarmState.RTN_UNACKED else role
    first = blinking(mark, shown_role, look) if unseen else StyledText(f"{mark:<2}", shown_role)
    state = word("alarm_state", alarm.state)
    pending = "" if alarm.recorded == "recorded" else f", {say(tell('screen.not_recorded_yet'))}"
    return line(
        " ",
        first,
        StyledText(f" {_priority(alarm)} ", shown_role),
        StyledText(f" {state}{', ' if silenced else ''}{say(silenced)}  ", Role.DIM),
        StyledText(say(alarm.what, look.unit), Role.STRONG if unseen else Role.PLAIN),
        StyledText(pending, Role.DIM),
    )


def _silenced(snapshot: FurnaceSnapshot) -> Message:
    until = snapshot.silenced_until_mono_s
    if until is None or until <= snapshot.mono_s:
        return NOTHING
    return tell("screen.alarms.silent", left_s=until - snapshot.mono_s)


def _aside(snapshot: FurnaceSnapshot, listed: tuple[AlarmView, ...]) -> str:
    """What is not listed: shelved, with the time left, and what a stronger alarm stands for."""
    told = []
    shelved = [a for a in snapshot.alarms if is_shelved(a)]
    if shelved:
        soonest_s = min(a.shelved_until_mono_s or 0.0 for a in shelved)
        told.append(tell("screen.alarms.shelved", count=len(shelved), back_in_s=max(0.0, soonest_s - snapshot.mono_s)))
    under = [a for a in snapshot.alarms if a.suppressed_by and a.state is not AlarmState.NORMAL and not is_shelved(a)]
    if under:
        told.append(tell("screen.alarms.explained" if listed else "screen.alarms.suppressed", count=len(under)))
    return "".join(f"; {say(one)}" for one in told)


def _elsewhere(others: tuple[FurnaceSnapshot, ...], look: Look) -> list[Line]:
    """The worst alarm of all other furnaces: seen or not, it may not hide behind a key."""
    found = [(alarm, other.furnace) for other in others for alarm in sorted_alarms(other.alarms)]
    if not found:
        return []
    alarm, furnace = min(found, key=lambda pair: (pair[0].state not in UNSEEN, pair[0].priority))
    mark, role = PRIORITY_LOOK[alarm.priority]
    first = blinking(mark, role, look) if alarm.state in UNSEEN else StyledText(f"{mark:<2}", role)
    return [
        line(
            " ",
            first,
            StyledText(f" {_priority(alarm)} ", role),
            StyledText(f" {word('alarm_state', alarm.state)}  ", Role.DIM),
            StyledText(say(tell("screen.alarms.on", furnace=furnace, what=alarm.what), look.unit), Role.STRONG),
        )
    ]
