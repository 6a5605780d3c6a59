"""What lies ahead, in words: time to ready, when to cut the power, where the metal coasts to, how long it lasts.

Every figure comes with its 90 % interval where there is one. What a model reckons is called reckoned.
"""

from pourcall.contract.events import CallKind, MeltState
from pourcall.contract.reading import Place
from pourcall.contract.snapshot import AheadView, FurnaceSnapshot, Interval
from pourcall.contract.status import Status
from pourcall.contract.units import Unit
from pourcall.texts import say
from pourcall.tui.drawing.spans import Line, Role, Span, joined, line, width_of
from pourcall.tui.screen.words import UNIT_MARK, Look, about, duration, figure, finite, with_unit

WIDEST_C = 120.0  # an interval wider than this says less than "dip to know" does
BELIED_C, PEAK_BEHIND_S = 2.0, 5.0
COAST_MARK, RECKONED_MARK, BAND_MARK, DIP_MARK = "◇", "≈", "░", "●"
METAL_PLACES = (Place.MELT, Place.DIP)
IN_WINDOW_OR_ABOVE = (MeltState.READY, MeltState.ABOVE)


def ahead_lines(snapshot: FurnaceSnapshot, look: Look, *, most: int) -> tuple[Line, ...]:
    """At most `most` lines, always in the order: ready, cut, coast, how long, reckoned. Shorter words where one line
    holds them all by that."""
    ahead = snapshot.ahead
    if ahead is None or snapshot.lift_mono_s is not None:
        return ()
    label = Span("ahead ", Role.DIM)
    room = look.width - 1 - len(label.text)
    rows = _folded(_pieces(snapshot, ahead, look.unit), room)
    if len(rows) > 1 and len(shorter := _folded(_pieces(snapshot, ahead, look.unit, short=True), room)) < len(rows):
        rows = shorter
    blank = Span(" " * len(label.text))
    return tuple(line(blank if n else label, *row) for n, row in enumerate(rows[:most]))


def _folded(pieces: list[Line], room: int) -> list[Line]:
    rows: list[Line] = []
    for piece in pieces:
        longer = joined((rows[-1], piece), " · ") if rows else piece
        if not rows or width_of(longer) > room:
            rows.append(piece)
        else:
            rows[-1] = longer
    return rows


def _pieces(snapshot: FurnaceSnapshot, ahead: AheadView, unit: Unit, *, short: bool = False) -> list[Line]:
    gone_s = _gone_s(snapshot, ahead)
    said = [
        _ready(snapshot, ahead, gone_s, unit),
        _cut(snapshot, ahead, gone_s, short),
        _coast(snapshot, ahead, unit, gone_s),
        _lasts(snapshot, ahead, gone_s),
        _reckoned(snapshot, unit),
    ]
    return [piece for piece in said if piece]


def _ready(snapshot: FurnaceSnapshot, ahead: AheadView, gone_s: float, unit: Unit) -> Line:
    if snapshot.melt_state in IN_WINDOW_OR_ABOVE:
        return ()
    span = ahead.ready_s
    if span is None or not finite(span.mid):
        if not ahead.why or ahead.power_off:
            return ()
        return line(Span("no time to ready: ", Role.DIM), say(ahead.why, unit))
    if span.mid <= 0.0:
        return ()
    return line(Span(f"ready in {_left(span, gone_s)}", Role.STRONG))


def _left(span: Interval, gone_s: float) -> str:
    """A time with its interval, less what has passed since it was reckoned."""
    low_s = span.low - gone_s if finite(span.low) else None
    high_s = span.high - gone_s if finite(span.high) else None
    return about(max(0.0, (span.mid or 0.0) - gone_s), low_s, high_s)


def _cut(snapshot: FurnaceSnapshot, ahead: AheadView, gone_s: float, short: bool) -> Line:
    if ahead.power_off or not finite(ahead.cut_in_s) or any(c.kind is CallKind.CUT_POWER for c in snapshot.calls):
        return ()  # once it is called, the call says all there is to say
    what = "burner off" if snapshot.kind == "fuel" else "cut power"
    left_s = ahead.cut_in_s - gone_s
    if left_s < 1.0:
        return line(Span(f"{what} now", Role.STRONG))
    return line(Span(f"{'cut' if short else what} in {duration(left_s)}"))


def coast_c(snapshot: FurnaceSnapshot) -> float | None:
    """Where the metal goes if the power is cut now; None: not known, or of no meaning any more.

    A highest temperature below the measured one is no forecast: the probe is believed, and nothing said. With the power
    off, a peak that is behind is none any more.
    """
    ahead, metal = snapshot.ahead, snapshot.metal
    if ahead is None or ahead.coast_c is None or snapshot.lift_mono_s is not None or not finite(ahead.coast_c.mid):
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


def _coast(snapshot: FurnaceSnapshot, ahead: AheadView, unit: Unit, gone_s: float) -> Line:
    peak_c = coast_c(snapshot)
    if peak_c is None:
        return ()
    if not ahead.power_off:
        return line(Span(f"{COAST_MARK} cut now: coasts to {with_unit(peak_c, unit)}"))
    left_s = (ahead.coast_in_s or 0.0) - gone_s
    return line(Span(f"{COAST_MARK} coasts to {with_unit(peak_c, unit)} in {duration(left_s)}"))


def _lasts(snapshot: FurnaceSnapshot, ahead: AheadView, gone_s: float) -> Line:
    span = ahead.cooling_s
    if not ahead.power_off or snapshot.melt_state not in IN_WINDOW_OR_ABOVE or span is None or not finite(span.mid):
        return ()
    if span.mid <= gone_s:
        return ()
    return line(Span(f"window lasts {_left(span, gone_s)}", Role.STRONG))


def reckoned(snapshot: FurnaceSnapshot) -> Interval | None:
    """The metal by the model, where nothing measures it; None: measured, being measured, or hardly known at all."""
    ahead = snapshot.ahead
    if snapshot.metal.temp_c is not None or ahead is None or ahead.model_c is None:
        return None
    span = ahead.model_c
    if snapshot.lift_mono_s is not None or snapshot.dip_now is not None or not finite(span.mid):
        return None
    if finite(span.low) and finite(span.high) and span.high - span.low > WIDEST_C:
        return None
    return span


def best_metal_c(snapshot: FurnaceSnapshot) -> float | None:
    """The metal as measured, as reckoned, or as the last dip had it; None: nobody knows. For the scale of a picture."""
    if finite(snapshot.metal.temp_c):
        return snapshot.metal.temp_c
    guess = reckoned(snapshot)
    if guess is not None:
        return guess.mid
    return snapshot.last_dip.temp_c if snapshot.last_dip is not None else None


def reckoned_facts(span: Interval, unit: Unit) -> tuple[Line, Line]:
    """Beside the large dash: the figure, never without the word, and its interval. It is never drawn large."""
    between = (
        f"{figure(span.low, unit)} to {figure(span.high, unit)}, by model"
        if finite(span.low) and finite(span.high)
        else "interval not known"
    )
    return line(f"{RECKONED_MARK} {with_unit(span.mid, unit)} reckoned"), line(Span(f"  {between}", Role.DIM))


def _reckoned(snapshot: FurnaceSnapshot, unit: Unit) -> Line:
    """In a line only where the place beside the dash is taken by what is wrong with the probe."""
    span = reckoned(snapshot)
    if span is None or not any(p.status is Status.BAD and p.place in METAL_PLACES for p in snapshot.probes):
        return ()
    between = (
        f" ({figure(span.low, unit)} to {figure(span.high, unit)})"
        if finite(span.low) and finite(span.high)
        else ", interval not known,"
    )
    return line(f"{RECKONED_MARK} reckoned, not measured: {figure(span.mid, unit)}{between} {UNIT_MARK[unit]}")
