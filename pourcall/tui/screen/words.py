"""The words on the screen for states, times, figures, alarms and signal status. Nothing here knows a terminal.

Marks and words: shape and word first, colour last. A mark that asks to be seen blinks; the word beside it stays.
"""

import math
from typing import TypeGuard

import msgspec

from pourcall.contract.events import AlarmState, AlarmView, CallKind, CallView, MeltState, Priority
from pourcall.contract.inputs import PowerLevel
from pourcall.contract.reading import Place, ProbeState
from pourcall.contract.status import Reason
from pourcall.contract.units import Unit, difference_from_c, from_c
from pourcall.texts import word
from pourcall.tui.drawing.spans import Role, Span

DASH = "--"
UNIT_MARK = {Unit.C: "°C", Unit.F: "°F", Unit.K: "K"}

MELT_WORDS = {
    MeltState.EMPTY: "EMPTY",
    MeltState.SOLID: "SOLID",
    MeltState.MELTING: "MELTING",
    MeltState.LIQUID: "LIQUID, too cold",
    MeltState.READY: "READY",
    MeltState.ABOVE: "ABOVE, too hot",
    MeltState.FREEZING: "FREEZING",
    MeltState.UNKNOWN: "NOT KNOWN",
}
PROBE_WORDS = {
    ProbeState.OUT: "out",
    ProbeState.ENTERING: "entering",
    ProbeState.SETTLING: "settling",
    ProbeState.IN_METAL: "in the metal",
    ProbeState.LEAVING: "leaving",
    ProbeState.FROZEN_IN: "FROZEN IN",
}
PLACE_WORDS = {place: place.value for place in Place}
POWER_WORDS = {PowerLevel.OFF: "OFF", PowerLevel.LOW: "LOW", PowerLevel.HIGH: "HIGH"}
PRIORITY_LOOK = {  # word, mark, role
    Priority.ALARM: ("ALARM", "!!", Role.DANGER),
    Priority.WARNING: ("WARNING", "! ", Role.WARN),
    Priority.CAUTION: ("CAUTION", "- ", Role.WARN),
}
ALARM_WORDS = {  # the lifecycle, told apart by word alone
    AlarmState.NORMAL: "normal",
    AlarmState.UNACKED: "new",
    AlarmState.ACKED: "seen",
    AlarmState.RTN_UNACKED: "gone",
}
UNSEEN = frozenset({AlarmState.UNACKED, AlarmState.RTN_UNACKED})
CALL_ORDER = (
    CallKind.CUT_POWER,
    CallKind.WINDOW_CLOSING,
    CallKind.POUR,
    CallKind.DIP,
    CallKind.SKIM,
    CallKind.STEP,
)
CALL_WORDS = {
    CallKind.DIP: "dip",
    CallKind.CUT_POWER: "cut power",
    CallKind.SKIM: "skim",
    CallKind.POUR: "pour",
    CallKind.WINDOW_CLOSING: "window closing",
    CallKind.STEP: "next step",
}

# Signal status after NAMUR NE 107: word, mark, role. Reasons not named here are failures.
_STATUS_LOOK: dict[Reason, tuple[str, str, Role]] = {
    Reason.OK: ("OK", "", Role.OK),
    Reason.OVERRIDE: ("CHECK", "? ", Role.CHECK),
    Reason.WAITING: ("CHECK", "? ", Role.CHECK),
    Reason.SPIKE: ("OFFSPEC", "~ ", Role.OFFSPEC),
    Reason.LAST_KNOWN: ("OFFSPEC", "~ ", Role.OFFSPEC),
    Reason.LATE: ("OFFSPEC", "~ ", Role.OFFSPEC),
    Reason.OFF_SPEC: ("OFFSPEC", "~ ", Role.OFFSPEC),
    Reason.DISAGREE: ("OFFSPEC", "~ ", Role.OFFSPEC),
    Reason.COLD_JUNCTION: ("OFFSPEC", "~ ", Role.OFFSPEC),
    Reason.INTERMITTENT: ("MAINT", "+ ", Role.MAINT),
}


class Look(msgspec.Struct, frozen=True, kw_only=True):
    """How this reader wants the screen: unit, size in cells, and whether marks may blink."""

    unit: Unit = Unit.C
    width: int = 80
    height: int = 24
    blink_on: bool = True  # the phase of the blinking, toggled by the clock
    steady_marks: bool = False  # a `*` instead of blinking


def status_look(reason: Reason) -> tuple[str, str, Role]:
    """Word, mark and role of a reading's reason."""
    return _STATUS_LOOK.get(reason, ("FAIL", "!!", Role.DANGER))


def status_spans(reason: Reason) -> tuple[Span, ...]:
    """`OK`, or mark, word and the reason in words."""
    status, mark, role = status_look(reason)
    if reason is Reason.OK:
        return (Span(status, role),)
    gap = " " if len(mark.strip()) == 2 else ""
    return (Span(f"{mark}{gap}{status}", role), Span(" " + word("reason", reason)))


def blinking(mark: str, role: Role, look: Look) -> Span:
    """A mark that asks to be seen: blinks, or stands as `*` where blinking is not wanted. Always two cells."""
    if look.steady_marks:
        return Span("* ", role)
    return Span(f"{mark:<2}", role) if look.blink_on else Span("  ", Role.PLAIN)


def finite(value: float | None) -> TypeGuard[float]:
    """Whether there is a number at all."""
    return value is not None and math.isfinite(value)


def figure(temp_c: float | None, unit: Unit) -> str:
    """A temperature as a bare whole figure; a dash where there is no number."""
    if temp_c is None or not math.isfinite(temp_c):
        return DASH
    return f"{round(from_c(temp_c, unit)) + 0:d}"


def difference(delta_c: float | None, unit: Unit, decimals: int = 0) -> str:
    """A difference of temperatures as a bare figure; a dash where there is no number."""
    if delta_c is None or not math.isfinite(delta_c):
        return DASH
    return f"{round(difference_from_c(delta_c, unit), decimals) + 0.0:.{decimals}f}"


def plus_minus(u_c: float | None, unit: Unit) -> str:
    """`±4`: never less than ±1, because the figure beside it is whole. Empty where not known."""
    if u_c is None or not math.isfinite(u_c):
        return ""
    return f"±{max(1, math.ceil(difference_from_c(u_c, unit) - 1e-9))}"


def with_unit(temp_c: float | None, unit: Unit, u_c: float | None = None) -> str:
    """`512 ±4 °C`; `-- °C` where there is no number."""
    known = temp_c is not None and math.isfinite(temp_c)
    band = plus_minus(u_c, unit) if known else ""
    return f"{figure(temp_c, unit)} {band + ' ' if band else ''}{UNIT_MARK[unit]}"


def span_of(low_c: float, high_c: float, unit: Unit) -> str:
    """`505 to 540 °C`."""
    return f"{figure(low_c, unit)} to {figure(high_c, unit)} {UNIT_MARK[unit]}"


def rate(rate_c_per_min: float | None, unit: Unit) -> str:
    """`+6.2 °C/min`, with a shape that says the direction; a dash where not known."""
    mark = UNIT_MARK[unit]
    if rate_c_per_min is None or not math.isfinite(rate_c_per_min):
        return f"{DASH} {mark}/min"
    value = round(difference_from_c(rate_c_per_min, unit), 1) + 0.0
    arrow = "▲" if value >= 0.5 else "▼" if value <= -0.5 else "="
    return f"{arrow} {value:+.1f} {mark}/min" if value else f"= 0.0 {mark}/min"


def percent(share: float | None) -> str:
    """`72 %`; never rounds a doubt away: `<1 %`, `>99 %`."""
    if share is None or not math.isfinite(share):
        return f"{DASH} %"
    if 0.0 < share < 0.01:
        return "<1 %"
    if 0.99 < share < 1.0:
        return ">99 %"
    return f"{round(share * 100):d} %"


def duration(seconds: float) -> str:
    """`40 s`, `3 min`, `1 h 05`."""
    whole = max(0, int(seconds))
    if whole < 100:
        return f"{whole} s"
    if whole < 6000:
        return f"{whole // 60} min"
    return f"{whole // 3600} h {whole % 3600 // 60:02d}"


def about(mid_s: float, low_s: float | None = None, high_s: float | None = None) -> str:
    """`12 min (10 to 15)`: a time with its interval, which is never made narrower by rounding.

    Under 100 s in seconds, under 100 min in minutes; where an end of the interval needs another unit, with units.
    """
    if not math.isfinite(mid_s):
        return DASH
    divisor, unit = (1, "s") if mid_s < 99.5 else (60, "min") if mid_s < 5970.0 else (0, "")
    low_known, high_known = finite(low_s), finite(high_s)
    if divisor == 0:
        between = f" ({duration(low_s)} to {duration(high_s + 59.0)})" if finite(low_s) and finite(high_s) else ""
        return duration(mid_s) + between
    mid = f"{round(max(mid_s, 0.0) / divisor)} {unit}"
    low = f"{math.floor(max(low_s, 0.0) / divisor)}" if finite(low_s) else ""
    high = f"{math.ceil(max(high_s, 0.0) / divisor)}" if finite(high_s) else ""
    if low_known and high_known:
        return f"{mid} ({low} to {high})"
    if low_known:
        return f"{mid} ({low} or more)"
    return f"{mid} (at most {high})" if high_known else mid


def clock(seconds: float) -> str:
    """`1:05` of minutes and seconds, for a countdown."""
    whole = max(0, int(seconds))
    return f"{whole // 60}:{whole % 60:02d}"


def sorted_alarms(alarms: tuple[AlarmView, ...]) -> tuple[AlarmView, ...]:
    """Alarms to be listed, without shelved and suppressed ones: unseen first, then by severity, then the oldest."""
    shown = [a for a in alarms if a.state is not AlarmState.NORMAL and not a.suppressed_by and not is_shelved(a)]
    return tuple(sorted(shown, key=lambda a: (a.state not in UNSEEN, a.priority, a.raised_mono_s)))


def is_shelved(alarm: AlarmView) -> bool:
    """Set aside for a time. The daemon ends a shelf."""
    return alarm.shelved_until_mono_s is not None


def sorted_calls(calls: tuple[CallView, ...]) -> tuple[CallView, ...]:
    """Calls, the most urgent first."""
    return tuple(sorted(calls, key=lambda c: (CALL_ORDER.index(c.kind), c.raised_mono_s)))
