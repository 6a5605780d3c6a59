"""How this screen shows figures, marks and labels. Formats of the program are in contract.units and texts; here is
what only a screen of cells needs: bare figures in columns, a figure with its uncertainty, marks that blink.

Marks and words: shape and word first, colour last. A mark that asks to be seen blinks; the word beside it stays.
"""

import math
from collections.abc import Callable
from typing import TypeGuard

import msgspec

from pourcall.contract.events import AlarmState, AlarmView, CallKind, CallView, Priority
from pourcall.contract.message import Message, tell
from pourcall.contract.plan import SURROUNDINGS_C
from pourcall.contract.status import Reason
from pourcall.contract.units import (
    DASH,
    UNIT_MARK,
    Unit,
    bare_lowest,
    bare_temperature,
    difference_from_c,
    finite,
    format_highest,
    format_rate,
    format_temperature,
    rounded,
)
from pourcall.texts import say, word
from pourcall.texts.saying import duration
from pourcall.tui.drawing.styled import Role, StyledText

PRIORITY_LOOK = {  # mark, role
    Priority.ALARM: ("!!", Role.DANGER),
    Priority.WARNING: ("! ", Role.WARN),
    Priority.CAUTION: ("- ", Role.WARN),
}
UNSEEN = frozenset({AlarmState.UNACKED, AlarmState.RTN_UNACKED})
CALL_ORDER = (
    CallKind.CUT_POWER,
    CallKind.CHECK_POWER,
    CallKind.WINDOW_CLOSING,
    CallKind.POUR,
    CallKind.DIP,
    CallKind.SKIM,
    CallKind.STEP,
)

# Signal status after NAMUR NE 107: name of its word, mark, role. Reasons not named here are failures. A probe that
# moves or hangs in air has not failed: it reads what is there, which is not the metal.
_STATUS_LOOK: dict[Reason, tuple[str, str, Role]] = {
    Reason.OK: ("ok", "", Role.OK),
    Reason.MOVING: ("moving", "", Role.STRONG),
    Reason.OUT_OF_METAL: ("out", "", Role.STRONG),
    Reason.UNPROVEN: ("check", "? ", Role.CHECK),
    Reason.UNEXPLAINED: ("check", "? ", Role.CHECK),
    Reason.OVERRIDE: ("check", "? ", Role.CHECK),
    Reason.WAITING: ("check", "? ", Role.CHECK),
    Reason.SPIKE: ("off_spec", "~ ", Role.OFFSPEC),
    Reason.LAST_KNOWN: ("off_spec", "~ ", Role.OFFSPEC),
    Reason.LATE: ("off_spec", "~ ", Role.OFFSPEC),
    Reason.OFF_SPEC: ("off_spec", "~ ", Role.OFFSPEC),
    Reason.DISAGREE: ("off_spec", "~ ", Role.OFFSPEC),
    Reason.COLD_JUNCTION: ("off_spec", "~ ", Role.OFFSPEC),
    Reason.INTERMITTENT: ("maintenance", "+ ", Role.MAINT),
}
NOT_FAILED = frozenset({Reason.MOVING, Reason.OUT_OF_METAL})


class Look(msgspec.Struct, frozen=True, kw_only=True):
    """How this reader wants the screen: unit, size in cells, and whether marks may blink."""

    unit: Unit = Unit.C
    width: int = 80
    height: int = 24
    blink_on: bool = True  # the phase of the blinking, toggled by the clock
    steady_marks: bool = False  # a `*` instead of blinking


def label(name: str) -> StyledText:
    """The word at the head of a line, in a column of its own."""
    return StyledText(f"{say(tell(f'screen.label.{name}')):<5} ", Role.DIM)


def status_text(reason: Reason) -> StyledText:
    """`OK`, or mark and word of a reading's reason."""
    status, mark, role = _STATUS_LOOK.get(reason, ("fail", "!!", Role.DANGER))
    gap = " " if len(mark.strip()) == 2 else ""
    return StyledText(f"{mark}{gap}{word('status', status)}", role)


def blinking(mark: str, role: Role, look: Look) -> StyledText:
    """A mark that asks to be seen: blinks, or stands as `*` where blinking is not wanted. Always two cells."""
    if look.steady_marks:
        return StyledText("* ", role)
    return StyledText(f"{mark:<2}", role) if look.blink_on else StyledText("  ", Role.PLAIN)


def of_metal(temp_c: float | None) -> TypeGuard[float]:
    """Whether this can be metal from a furnace: nothing that was poured or foreseen is colder than its surroundings."""
    return finite(temp_c) and temp_c >= SURROUNDINGS_C


def plus_minus(u_c: float | None, unit: Unit) -> str:
    """`±4`: never less than it is, nor than ±1, because the figure beside it is whole. Empty where not known."""
    return f"±{_ceiled(u_c, unit)}" if finite(u_c) else ""


def within_words(spread_c: float, unit: Unit) -> str:
    """`4 °C`, rounded as an uncertainty is: never less than it is."""
    return f"{_ceiled(spread_c, unit)} {UNIT_MARK[unit]}"


def _ceiled(u_c: float, unit: Unit) -> int:
    return max(1, math.ceil(difference_from_c(u_c, unit) - 1e-9))


def with_uncertainty(temp_c: float | None, unit: Unit, u_c: float | None) -> str:
    """`512 ±4 °C`; `-- °C` where there is no number."""
    band = plus_minus(u_c, unit) if finite(temp_c) else ""
    return f"{bare_temperature(temp_c, unit)} {band} {UNIT_MARK[unit]}" if band else format_temperature(temp_c, unit)


def span_words(low_c: float | None, high_c: float | None, unit: Unit) -> str:
    """`505 to 540 °C`: the unit once."""
    high = format_temperature(high_c, unit)
    return say(tell("screen.span", low=bare_temperature(low_c, unit), high=high))


def window_words(low_c: float, high_c: float, unit: Unit) -> str:
    """The same of a window, whose ends are rounded inwards."""
    return say(tell("screen.span", low=bare_lowest(low_c, unit), high=format_highest(high_c, unit)))


def rate_words(rate_c_per_min: float | None, unit: Unit) -> str:
    """`▲ +6.2 °C/min`, with a sign and a shape that say the direction; a dash where not known."""
    if not finite(rate_c_per_min):
        return format_rate(None, unit)
    shown = rounded(difference_from_c(rate_c_per_min, unit), 1)
    arrow = "▲" if shown >= 0.5 else "▼" if shown <= -0.5 else "="
    return f"{arrow} {'+' if shown > 0.0 else ''}{format_rate(rate_c_per_min, unit)}"


def lasted(seconds: float) -> str:
    """An age or a time left, never below nought."""
    return duration(max(0.0, seconds))


def about(mid_s: float, low_s: float | None = None, high_s: float | None = None) -> Message:
    """`12 min (10 to 15)`: a time with its interval, which is never made narrower by rounding.

    Under 100 s in seconds, under 100 min in minutes, the unit once; above that each time has its own.
    """
    if not math.isfinite(mid_s):
        return tell("screen.about.alone", mid=DASH)
    divisor, unit = (1, " s") if mid_s < 99.5 else (60, " min") if mid_s < 5970.0 else (0, "")
    mid = f"{int(rounded(max(mid_s, 0.0) / divisor))}{unit}" if divisor else duration(mid_s)
    low = _bound(low_s, divisor, math.floor)
    high = _bound(high_s, divisor, math.ceil)
    if low and high:
        return tell("screen.about.between", mid=mid, low=low, high=high)
    if low:
        return tell("screen.about.or_more", mid=mid, low=low)
    return tell("screen.about.at_most", mid=mid, high=high) if high else tell("screen.about.alone", mid=mid)


def _bound(seconds: float | None, divisor: int, towards: Callable[[float], int]) -> str:
    """An end of an interval, rounded away from its middle; empty where it is not known."""
    if not finite(seconds):
        return ""
    whole = towards(max(seconds, 0.0) / (divisor or 60))
    return str(whole) if divisor else duration(60.0 * whole)


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
