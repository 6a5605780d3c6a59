"""The middle of the screen: the large figure, what stands beside and below it.

Pure: a snapshot and the reader's unit in, lines out.
"""

from pourcall.contract.events import MeltState
from pourcall.contract.reading import Place
from pourcall.contract.snapshot import FurnaceSnapshot, MetalView, ProbeView
from pourcall.contract.status import Reason, Status
from pourcall.texts import say, word
from pourcall.tui.drawing.digits import big
from pourcall.tui.drawing.spans import Line, Role, Span, joined, line
from pourcall.tui.screen.dipping import countdown, dip_facts
from pourcall.tui.screen.forecast_lines import METAL_PLACES, reckoned, reckoned_facts
from pourcall.tui.screen.scene import Sizes
from pourcall.tui.screen.words import (
    DASH,
    MELT_WORDS,
    PLACE_WORDS,
    POWER_WORDS,
    PROBE_WORDS,
    UNIT_MARK,
    Look,
    clock,
    figure,
    plus_minus,
    rate,
    status_spans,
    with_unit,
)

POURABLE = (MeltState.LIQUID, MeltState.READY, MeltState.ABOVE)


def metal_reason(snapshot: FurnaceSnapshot) -> Reason:
    """Why the metal's figure is as good as it is; without a figure, why its probe gives none."""
    if snapshot.metal.temp_c is None:
        return next((p.reason for p in _metal_probes(snapshot) if p.status is Status.BAD), Reason.WAITING)
    return snapshot.metal.reason


def _metal_probes(snapshot: FurnaceSnapshot) -> tuple[ProbeView, ...]:
    return tuple(probe for probe in snapshot.probes if probe.place in METAL_PLACES)


def main_figure(snapshot: FurnaceSnapshot, look: Look, sizes: Sizes) -> tuple[Line, ...]:
    """What stands large: after the lift the time left, during a dip how long to hold still, else the metal."""
    if is_lifted(snapshot):
        return countdown_lines(snapshot, sizes)
    if snapshot.dip_now is not None:
        return countdown(snapshot.dip_now, sizes)
    return figure_lines(snapshot, look, sizes)


def figure_lines(snapshot: FurnaceSnapshot, look: Look, sizes: Sizes) -> tuple[Line, ...]:
    """The metal's temperature, large. Where there is no number: a dash, never a nought, never the last value."""
    metal = snapshot.metal
    text = figure(metal.temp_c, look.unit)
    digits = big(f"{text:>4}", sizes.digit_rows)
    role = Role.DIM if text == DASH else Role.STRONG
    rows = [line("  ", Span(row, role)) for row in digits]
    rows[0] = line(*rows[0], Span(f" {UNIT_MARK[look.unit]}", Role.STRONG))
    band = plus_minus(metal.u_c, look.unit) if text != DASH else ""
    rows[-1] = line(*rows[-1], Span(f" {band}", Role.STRONG))
    return tuple(rows)


def countdown_lines(snapshot: FurnaceSnapshot, sizes: Sizes) -> tuple[Line, ...]:
    """After the lift: the time left inside the window, large, and nothing else in its place."""
    left_s = snapshot.countdown_s or 0.0
    role = Role.STRONG if left_s > 0 else Role.WARN
    return tuple(line("  ", Span(row, role)) for row in big(clock(left_s), sizes.digit_rows))


def is_lifted(snapshot: FurnaceSnapshot) -> bool:
    """The pot is out and the countdown runs."""
    return snapshot.lift_mono_s is not None and snapshot.countdown_s is not None


def fact_lines(snapshot: FurnaceSnapshot, look: Look) -> tuple[Line, ...]:
    """Beside the figure: its status, its rate, what probe, melt and power do, each with its name."""
    metal = snapshot.metal
    reason, third = metal_reason(snapshot), line()
    if is_lifted(snapshot):
        over = (snapshot.countdown_s or 0.0) <= 0
        first = line(Span("! WINDOW CLOSED", Role.WARN)) if over else line(Span("LEFT in the window", Role.STRONG))
        known = metal.temp_c is not None
        second = line(f"pot {with_unit(metal.temp_c, look.unit, metal.u_c)}") if known else line("pot is lifted")
    elif snapshot.dip_now is not None:
        return dip_facts(snapshot, snapshot.dip_now, look.unit, _power(snapshot))
    elif metal.temp_c is None and reason is Reason.WAITING:
        first, second, guess = line(Span("-- NO FIGURE", Role.STRONG)), line(), reckoned(snapshot)
        if guess is not None:
            second, third = reckoned_facts(guess, look.unit)
    else:
        first, second = line(status_spans(reason)[0]), line(rate(metal.rate_c_per_min, look.unit))
        if metal.temp_c is None:
            second = line(word("reason", reason))
    probes = _metal_probes(snapshot) or snapshot.probes
    probe = PROBE_WORDS[probes[0].state] if probes else DASH
    third = third or line(Span("probe ", Role.DIM), probe)
    melt_role = Role.OK if snapshot.melt_state is MeltState.READY else Role.STRONG
    return (
        first,
        second,
        third,
        line(Span("melt  ", Role.DIM), Span(MELT_WORDS[snapshot.melt_state], melt_role)),
        line(Span("power ", Role.DIM), *_power(snapshot)),
    )


def _power(snapshot: FurnaceSnapshot) -> Line:
    """Power is never red: red is kept for alarms. A bar and a figure where the board reports what it applies."""
    said = POWER_WORDS[snapshot.power] if snapshot.power is not None else ""
    if not snapshot.applied_permille:
        # A board that drives nothing reports nought; what a person set on the knob is the better word then.
        return line(said or (DASH if snapshot.applied_permille is None else "0 %"))
    share = snapshot.applied_permille / 1000
    bar = "▪" * round(share * 5) + "·" * (5 - round(share * 5))
    return line(f"{said + ' ' if said else ''}{share * 100:.0f} % {bar}")


def _flags(snapshot: FurnaceSnapshot) -> Line:
    words = []
    fume = snapshot.flags.get("fume", 0)
    if fume:
        words.append(line(Span(f"{'! ' if fume >= 2 else ''}zinc fume level {fume} of 3", Role.WARN)))
    if snapshot.flags.get("no_metal_reading", 0):
        words.append(line(Span("? no reading of the metal", Role.CHECK)))
    return joined(words, ", ")


def how_line(snapshot: FurnaceSnapshot, look: Look) -> Line:
    """How the figure is known, or why there is none; then the other probes."""
    how = say(snapshot.metal.how, look.unit) or ("no probe in the metal" if snapshot.metal.temp_c is None else "")
    pieces = [line(Span(how))] if how else []
    reason = metal_reason(snapshot)
    if snapshot.metal.temp_c is not None and reason is not Reason.OK:
        pieces.insert(0, line(Span(word("reason", reason), Role.STRONG)))
    if flags := _flags(snapshot):
        pieces.append(flags)
    for probe in snapshot.probes:
        if probe.place in (Place.MELT, Place.DIP) and _tells_the_metal(probe, snapshot.metal):
            continue  # the large figure says it
        place = PLACE_WORDS[probe.place]
        _, mark, role = _probe_look(probe)
        pieces.append(line(Span(f"{mark}{place} ", role), Span(with_unit(probe.temp_c, look.unit, probe.u_c))))
    return joined(pieces, " · ")


def _tells_the_metal(probe: ProbeView, metal: MetalView) -> bool:
    return metal.probe == probe.name if metal.temp_c is not None else probe.temp_c is None


def _probe_look(probe: ProbeView) -> tuple[str, str, Role]:
    if probe.reason is Reason.OK:
        return "", "", Role.DIM
    spans = status_spans(probe.reason)
    return spans[0].text, f"{spans[0].text} ", spans[0].role
