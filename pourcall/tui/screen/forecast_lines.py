"""What lies ahead, in words: time to ready, when the power is due off, how far the metal coasts, how long it lasts.

Every figure comes with its 90 % interval where there is one. What a model says of the metal is called estimated.
Statements only: what is to be done is the band's to say.
"""

from pourcall.contract.events import CallKind, MeltState
from pourcall.contract.message import Message, tell
from pourcall.contract.reading import Place
from pourcall.contract.snapshot import AheadView, FurnaceSnapshot, Interval
from pourcall.contract.status import Status
from pourcall.contract.units import Unit, finite
from pourcall.texts import say
from pourcall.tui.drawing.picture import COAST_MARK, ESTIMATE_MARK
from pourcall.tui.drawing.scale import METAL_TIP, Pointer
from pourcall.tui.drawing.styled import Line, Role, StyledText, joined, line, width_of
from pourcall.tui.screen.words import Look, about, label, of_metal, plus_minus, span_words

WIDEST_C = 120.0  # an interval wider than this says less than "not known" does
BELIED_C, PEAK_BEHIND_S = 2.0, 5.0
METAL_PLACES = (Place.MELT, Place.DIP)
IN_WINDOW_OR_ABOVE = (MeltState.READY, MeltState.ABOVE)


def ahead_lines(snapshot: FurnaceSnapshot, look: Look, *, most: int) -> tuple[Line, ...]:
    """At most `most` lines, always in the order: ready, power off, coast, how long, estimate. Shorter words where one
    line holds them all by that."""
    ahead = snapshot.ahead
    if ahead is None or snapshot.lift_mono_s is not None:
        return ()
    head = label("ahead")
    width = look.width - 1 - len(head.text)
    rows = _folded(_pieces(snapshot, ahead, look.unit), width)
    if len(rows) > 1 and len(shorter := _folded(_pieces(snapshot, ahead, look.unit, short=True), width)) < len(rows):
        rows = shorter
    blank = StyledText(" " * len(head.text))
    return tuple(line(blank if n else head, *row) for n, row in enumerate(rows[:most]))


def _folded(pieces: list[Line], width: int) -> list[Line]:
    rows: list[Line] = []
    for piece in pieces:
        longer = joined((rows[-1], piece), " · ") if rows else piece
        if not rows or width_of(longer) > width:
            rows.append(piece)
        else:
            rows[-1] = longer
    return rows


def _pieces(snapshot: FurnaceSnapshot, ahead: AheadView, unit: Unit, *, short: bool = False) -> list[Line]:
    gone_s = _gone_s(snapshot, ahead)
    said = [
        _ready(snapshot, ahead, gone_s, unit),
        _cut(snapshot, ahead, gone_s),
        _coast(snapshot, ahead, unit, gone_s, short),
        _lasts(snapshot, ahead, gone_s),
        _estimate(snapshot, unit),
    ]
    return [piece for piece in said if piece]


def _ready(snapshot: FurnaceSnapshot, ahead: AheadView, gone_s: float, unit: Unit) -> Line:
    if snapshot.melt_state in IN_WINDOW_OR_ABOVE:
        return ()
    span = ahead.ready_s
    if span is None or not finite(span.mid):
        if not ahead.why or ahead.power_off:
            return ()
        return line(StyledText(f"{say(tell('screen.ahead.no_time'))} ", Role.DIM), say(ahead.why, unit))
    if span.mid <= 0.0:
        return ()
    return line(StyledText(say(tell("screen.ahead.ready", about=_left(span, gone_s))), Role.STRONG))


def _left(span: Interval, gone_s: float) -> Message:
    """A time with its interval, less what has passed since it was worked out."""
    low_s = span.low - gone_s if finite(span.low) else None
    high_s = span.high - gone_s if finite(span.high) else None
    return about(max(0.0, (span.mid or 0.0) - gone_s), low_s, high_s)


def _source(snapshot: FurnaceSnapshot) -> str:
    """What is switched off."""
    return "burner" if snapshot.kind == "fuel" else "power"


def _cut(snapshot: FurnaceSnapshot, ahead: AheadView, gone_s: float) -> Line:
    if ahead.power_off or not finite(ahead.cut_in_s) or any(c.kind is CallKind.CUT_POWER for c in snapshot.calls):
        return ()  # once it is called, the call says all there is to say
    source, left_s = _source(snapshot), ahead.cut_in_s - gone_s
    if left_s < 1.0:
        return line(StyledText(say(tell("screen.ahead.off_due_now", heat_off=source)), Role.STRONG))
    return line(say(tell("screen.ahead.off_due", heat_off=source, left_s=left_s)))


def coast_c(snapshot: FurnaceSnapshot) -> float | None:
    """Where the metal goes if the power is cut now; None: not known, or of no meaning any more.

    A highest temperature below the measured one is no forecast: the probe is believed, and nothing said. With the power
    off, a peak that is behind is none any more.
    """
    ahead, metal = snapshot.ahead, snapshot.metal
    if ahead is None or ahead.coast_c is None or snapshot.lift_mono_s is not None or not of_metal(ahead.coast_c.mid):
        return None
    if finite(metal.temp_c) and ahead.coast_c.mid < metal.temp_c - BELIED_C:
        return None
    if ahead.power_off and (
        not finite(ahead.coast_in_s) or _gone_s(snapshot, ahead) > ahead.coast_in_s - PEAK_BEHIND_S
    ):
        return None
    return ahead.coast_c.mid


def _gone_s(snapshot: FurnaceSnapshot, ahead: AheadView) -> float:
    return max(0.0, snapshot.mono_s - ahead.at_mono_s)


def _coast(snapshot: FurnaceSnapshot, ahead: AheadView, unit: Unit, gone_s: float, short: bool) -> Line:
    peak_c = coast_c(snapshot)
    if peak_c is None:
        return ()
    span = ahead.coast_c
    doubt = say(tell("screen.estimate.interval_unknown"))
    if span is not None and finite(span.low) and finite(span.high):
        doubt = plus_minus(max(peak_c - span.low, span.high - peak_c), unit)
    if ahead.power_off:
        left_s = (ahead.coast_in_s or 0.0) - gone_s
        told = tell("screen.ahead.peak_in", peak_c=peak_c, doubt=doubt, left_s=left_s)
    else:
        off = "short" if short else _source(snapshot)
        told = tell("screen.ahead.peak_if_off", heat_off=off, peak_c=peak_c, doubt=doubt)
    return line(f"{COAST_MARK} {say(told, unit)}")


def _lasts(snapshot: FurnaceSnapshot, ahead: AheadView, gone_s: float) -> Line:
    span = ahead.cooling_s
    if not ahead.power_off or snapshot.melt_state not in IN_WINDOW_OR_ABOVE or span is None or not finite(span.mid):
        return ()
    if span.mid <= gone_s:
        return ()
    return line(StyledText(say(tell("screen.ahead.lasts", about=_left(span, gone_s))), Role.STRONG))


def estimated_metal(snapshot: FurnaceSnapshot) -> Interval | None:
    """The metal by the model, where nothing measures it; None: measured, being measured, or hardly known at all."""
    ahead = snapshot.ahead
    if snapshot.metal.temp_c is not None or ahead is None or ahead.model_c is None:
        return None
    span = ahead.model_c
    if snapshot.lift_mono_s is not None or snapshot.dip_now is not None or not of_metal(span.mid):
        return None
    if finite(span.low) and finite(span.high) and span.high - span.low > WIDEST_C:
        return None
    return span


def best_metal_c(snapshot: FurnaceSnapshot) -> float | None:
    """The metal as measured, estimated, or as the last dip had it; None: nobody knows. For the scale of a picture."""
    if finite(snapshot.metal.temp_c):
        return snapshot.metal.temp_c
    guess = estimated_metal(snapshot)
    if guess is not None:
        return guess.mid
    return snapshot.last_dip.temp_c if snapshot.last_dip is not None else None


def pointers(snapshot: FurnaceSnapshot) -> tuple[Pointer, ...]:
    """On the scale: the metal as measured, or else as estimated; then where it coasts to if the power is cut now."""
    out = []
    if finite(snapshot.metal.temp_c):
        out.append(Pointer(snapshot.metal.temp_c, METAL_TIP, Role.STRONG))
    elif (guess := estimated_metal(snapshot)) is not None and guess.mid is not None:
        out.append(Pointer(guess.mid, ESTIMATE_MARK))
    if (peak_c := coast_c(snapshot)) is not None:
        out.append(Pointer(peak_c, COAST_MARK))
    return tuple(out)


def estimate_facts(span: Interval, unit: Unit) -> tuple[Line, Line]:
    """Beside the large dash: the figure, never without the word, and its interval. It is never drawn large."""
    told = say(tell("screen.estimate", metal_c=span.mid or 0.0), unit)
    return line(f"{ESTIMATE_MARK} {told}"), line(StyledText(f"  {_between(span, unit)}", Role.DIM))


def _between(span: Interval, unit: Unit) -> str:
    if finite(span.low) and finite(span.high):
        return span_words(span.low, span.high, unit)
    return say(tell("screen.estimate.interval_unknown"))


def _estimate(snapshot: FurnaceSnapshot, unit: Unit) -> Line:
    """In a line only where the place beside the dash is taken by what is wrong with the probe."""
    span = estimated_metal(snapshot)
    if span is None or not any(p.status is Status.BAD and p.place in METAL_PLACES for p in snapshot.probes):
        return ()
    told = tell("screen.estimate.not_measured", metal_c=span.mid or 0.0, between=_between(span, unit))
    return line(f"{ESTIMATE_MARK} {say(told, unit)}")
