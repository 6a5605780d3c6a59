"""Alarms as lines. The first is told in full: what it means and what to do; the others in one line each."""

from pourcall.contract.events import AlarmState, AlarmView
from pourcall.contract.snapshot import FurnaceSnapshot
from pourcall.texts import say
from pourcall.tui.drawing.spans import Line, Role, Span, fit, line
from pourcall.tui.screen.words import (
    ALARM_WORDS,
    PRIORITY_LOOK,
    UNSEEN,
    Look,
    blinking,
    duration,
    is_shelved,
    sorted_alarms,
)


def alarm_lines(
    snapshot: FurnaceSnapshot, others: tuple[FurnaceSnapshot, ...], look: Look, rows: int, *, known: bool = True
) -> tuple[Line, ...]:
    """At most `rows` lines; what does not fit is counted in words, never dropped in silence.

    `known` is False while the daemon is away: then these are the last that were heard of.
    """
    elsewhere = [line(*row) for row in _elsewhere(others, look)]
    listed = sorted_alarms(snapshot.alarms)
    aside = _aside(snapshot, listed)
    if not listed:
        quiet = (
            []
            if elsewhere and not aside
            else [line(Span((" no alarms" if known else " alarms: not known") + aside, Role.DIM))]
        )
        return tuple(fit(row, look.width) for row in (elsewhere + quiet)[:rows])
    out: list[Line] = elsewhere[:1]
    room = rows - len(out)
    out.append(_headline(listed[0], look, _silenced(snapshot) if known else ", last heard"))
    if room >= 2:
        out.append(line(Span(f"    Do: {say(listed[0].remedy, look.unit)}", Role.STRONG)))
    rest = listed[1:]
    room = rows - len(out)
    if rest and room > 0:
        if len(rest) <= room and not aside:
            out += [_headline(alarm, look, "") for alarm in rest]
        else:
            out += [_headline(alarm, look, "") for alarm in rest[: room - 1]]
            hidden = rest[room - 1 :]
            words = ", ".join(f"{PRIORITY_LOOK[a.priority][0]} {say(a.what, look.unit)}" for a in hidden)
            count = f" +{len(hidden)} more: {words}" if hidden else ""
            out.append(line(Span(f"{count}{aside}", Role.STRONG)))
    elif aside and room > 0:
        out.append(line(Span(f"   {aside}", Role.DIM)))
    elif rest:
        out[-1] = line(Span(f" +{len(rest)} more: ", Role.STRONG), *out[-1])
    return tuple(fit(row, look.width) for row in out[:rows])


def _headline(alarm: AlarmView, look: Look, silenced: str) -> Line:
    word, mark, role = PRIORITY_LOOK[alarm.priority]
    unseen = alarm.state in UNSEEN
    shown_role = Role.DIM if alarm.state is AlarmState.RTN_UNACKED else role
    first = blinking(mark, shown_role, look) if unseen else Span(f"{mark:<2}", shown_role)
    state = ALARM_WORDS[alarm.state]
    pending = "" if alarm.recorded == "recorded" else ", not yet on record"
    return line(
        " ",
        first,
        Span(f" {word} ", shown_role),
        Span(f" {state}{silenced}  ", Role.DIM),
        Span(say(alarm.what, look.unit), Role.STRONG if unseen else Role.PLAIN),
        Span(pending, Role.DIM),
    )


def _silenced(snapshot: FurnaceSnapshot) -> str:
    until = snapshot.silenced_until_mono_s
    if until is None or until <= snapshot.mono_s:
        return ""
    return f", silent {duration(until - snapshot.mono_s)}"


def _aside(snapshot: FurnaceSnapshot, listed: tuple[AlarmView, ...]) -> str:
    """What is not listed: shelved, with the time left, and what a stronger alarm explains."""
    words = []
    shelved = [a for a in snapshot.alarms if is_shelved(a)]
    if shelved:
        soonest = min(a.shelved_until_mono_s or 0.0 for a in shelved)
        words.append(f"{len(shelved)} shelved, back in {duration(soonest - snapshot.mono_s)}")
    under = [a for a in snapshot.alarms if a.suppressed_by and a.state is not AlarmState.NORMAL and not is_shelved(a)]
    if under:
        words.append(f"{len(under)} explained by the above" if listed else f"{len(under)} suppressed")
    return "".join(f"; {word}" for word in words)


def _elsewhere(others: tuple[FurnaceSnapshot, ...], look: Look) -> list[Line]:
    """The worst alarm of all other furnaces: seen or not, it may not hide behind a key."""
    found = [(alarm, other.furnace) for other in others for alarm in sorted_alarms(other.alarms)]
    if not found:
        return []
    alarm, furnace = min(found, key=lambda pair: (pair[0].state not in UNSEEN, pair[0].priority))
    word, mark, role = PRIORITY_LOOK[alarm.priority]
    first = blinking(mark, role, look) if alarm.state in UNSEEN else Span(f"{mark:<2}", role)
    return [
        line(
            " ",
            first,
            Span(f" {word} ", role),
            Span(f" {ALARM_WORDS[alarm.state]}  ", Role.DIM),
            Span(f"on {furnace} (f): {say(alarm.what, look.unit)}", Role.STRONG),
        )
    ]
