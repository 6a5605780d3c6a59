"""The middle of the screen: the large figure, what stands beside and below it.

Pure: a snapshot and the reader's unit in, lines out.
"""

from pourcall.contract.events import MeltState
from pourcall.contract.message import tell
from pourcall.contract.snapshot import FurnaceSnapshot, MetalView, ProbeView, ToDo
from pourcall.contract.status import Reason, Status
from pourcall.contract.units import DASH, UNIT_MARK, bare_temperature, finite
from pourcall.texts import say, word
from pourcall.texts.saying import share
from pourcall.tui.drawing.digits import big
from pourcall.tui.drawing.styled import Line, Role, StyledText, joined, line, width_of
from pourcall.tui.screen.dipping import countdown, dip_facts
from pourcall.tui.screen.forecast_lines import METAL_PLACES, estimate_facts, estimated_metal
from pourcall.tui.screen.scene import Sizes
from pourcall.tui.screen.words import (
    NOT_FAILED,
    Look,
    clock,
    label,
    plus_minus,
    rate_words,
    status_text,
    with_uncertainty,
)

POURABLE = (MeltState.LIQUID, MeltState.READY, MeltState.ABOVE)
FUME_IS_PRESSING = 2  # of 3 levels


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
    known = finite(metal.temp_c)
    digits = big(f"{bare_temperature(metal.temp_c, look.unit):>4}", sizes.digit_rows)
    rows = [line("  ", StyledText(row, Role.STRONG if known else Role.DIM)) for row in digits]
    rows[0] = line(*rows[0], StyledText(f" {UNIT_MARK[look.unit]}", Role.STRONG))
    band = plus_minus(metal.u_c, look.unit) if known else ""
    rows[-1] = line(*rows[-1], StyledText(f" {band}", Role.STRONG))
    return tuple(rows)


def countdown_lines(snapshot: FurnaceSnapshot, sizes: Sizes) -> tuple[Line, ...]:
    """After the lift: the time left inside the window, large, and nothing else in its place."""
    left_s = snapshot.countdown_s or 0.0
    role = Role.STRONG if left_s > 0 else Role.WARN
    return tuple(line("  ", StyledText(row, role)) for row in big(clock(left_s), sizes.digit_rows))


def is_lifted(snapshot: FurnaceSnapshot) -> bool:
    """The pot is out and the countdown runs."""
    return snapshot.lift_mono_s is not None and snapshot.countdown_s is not None


def fact_lines(snapshot: FurnaceSnapshot, look: Look, width: int) -> tuple[Line, ...]:
    """Beside the figure: its status, its rate, what probe, melt and power do, each with its name."""
    metal = snapshot.metal
    reason, third = metal_reason(snapshot), line()
    if is_lifted(snapshot):
        first, second = _in_the_hand(snapshot, look, width)
    elif snapshot.dip_now is not None:
        return dip_facts(snapshot, snapshot.dip_now, look.unit, _power(snapshot))
    elif metal.temp_c is None and reason is Reason.WAITING:
        first, second = line(StyledText(f"{DASH} {say(tell('screen.no_reading'))}", Role.STRONG)), line()
        if (guess := estimated_metal(snapshot)) is not None:
            second, third = estimate_facts(guess, look.unit)
    else:
        first, second = line(status_text(reason)), line(rate_words(metal.rate_c_per_min, look.unit))
        if metal.temp_c is None:
            second = line(word("reason", reason))
    probes = _metal_probes(snapshot) or snapshot.probes
    probe = word("probe_state", probes[0].state) if probes else DASH
    third = third or line(label("probe"), probe)
    held = snapshot.instruction.todo is ToDo.HOLD
    melt_role = Role.OK if snapshot.melt_state is MeltState.READY and not held else Role.STRONG
    state = StyledText(melt_word(snapshot), melt_role)
    melt = line(label("melt"), state)
    return (
        first,
        second,
        third,
        melt if width_of(melt) <= width else line(state),  # the state matters more than its name
        line(label("power"), *_power(snapshot)),
    )


def melt_word(snapshot: FurnaceSnapshot) -> str:
    """The melt's state, never against the instruction beside it: held back it is not ready, nor are all melts that no
    temperature serves too cold."""
    no_aim = snapshot.window is not None and snapshot.window.no_aim is not None
    if snapshot.melt_state is MeltState.READY and snapshot.instruction.todo is ToDo.HOLD:
        return say(tell("screen.melt.in_window"))
    if snapshot.melt_state is MeltState.LIQUID and no_aim:
        return say(tell("screen.melt.liquid"))
    return word("melt_state", snapshot.melt_state)


def _in_the_hand(snapshot: FurnaceSnapshot, look: Look, width: int) -> tuple[Line, Line]:
    """The pot is out: what the large time is, and the pot as far as it is still known."""
    metal = snapshot.metal
    if (snapshot.countdown_s or 0.0) <= 0.0:
        first = line(StyledText(f"! {say(tell('screen.left.closed'))}", Role.WARN))
    else:
        first = line(StyledText(say(tell("screen.left")), Role.STRONG))
        if width_of(first) > width:
            first = line(StyledText(say(tell("screen.left.short")), Role.STRONG))
    if metal.temp_c is None:
        return first, line(say(tell("screen.pot_lifted")))
    return first, line(label("pot"), with_uncertainty(metal.temp_c, look.unit, metal.u_c))


def _power(snapshot: FurnaceSnapshot) -> Line:
    """Power is never red: red is kept for alarms. A bar and a figure where the board reports what it applies."""
    said = word("level", snapshot.power).upper() if snapshot.power is not None else ""
    if not snapshot.applied_permille:
        # A board that drives nothing reports nought; what a person set on the knob is the better word then.
        return line(said or (DASH if snapshot.applied_permille is None else share(0.0)))
    applied = snapshot.applied_permille / 1000
    bar = "▪" * round(applied * 5) + "·" * (5 - round(applied * 5))
    return line(f"{said + ' ' if said else ''}{share(applied)} {bar}")


def _flags(snapshot: FurnaceSnapshot) -> Line:
    told = []
    if level := snapshot.flags.get("fume", 0):
        mark = "! " if level >= FUME_IS_PRESSING else ""
        told.append(line(StyledText(f"{mark}{say(tell('screen.flag.fume', level_of_3=level))}", Role.WARN)))
    if snapshot.flags.get("no_metal_reading", 0):
        told.append(line(StyledText(f"? {say(tell('screen.flag.no_metal_reading'))}", Role.CHECK)))
    return joined(told, ", ")


def how_line(snapshot: FurnaceSnapshot, look: Look) -> Line:
    """How the figure is known, or why there is none; then the other probes."""
    how = say(snapshot.metal.how, look.unit)
    if not how and snapshot.metal.temp_c is None:
        how = say(tell("screen.no_probe_in_metal"))
    pieces = [line(how)] if how else []
    reason = metal_reason(snapshot)
    if snapshot.metal.temp_c is not None and reason is not Reason.OK:
        pieces.insert(0, line(StyledText(word("reason", reason), Role.STRONG)))
    if flags := _flags(snapshot):
        pieces.append(flags)
    pieces += [
        _other_probe(probe, look)
        for probe in snapshot.probes
        if probe.place not in METAL_PLACES or not _tells_the_metal(probe, snapshot.metal)  # the large figure says it
    ]
    return joined(pieces, " · ")


def _tells_the_metal(probe: ProbeView, metal: MetalView) -> bool:
    return metal.probe == probe.name if metal.temp_c is not None else probe.temp_c is None


def _other_probe(probe: ProbeView, look: Look) -> Line:
    """`chamber 702 ±6 °C`, `melt probe 20 ±5 °C`, `melt probe out 310 ±4 °C`, `!! FAIL chamber -- °C`.

    A probe meant for the melt is named as a probe: its figure is not the melt's.
    """
    place, figure = word("probe_at", probe.place), with_uncertainty(probe.temp_c, look.unit, probe.u_c)
    if probe.reason is Reason.OK:
        return line(StyledText(f"{place} ", Role.DIM), figure)
    status = status_text(probe.reason)
    if probe.reason in NOT_FAILED:
        return line(StyledText(f"{word('place', probe.place)} {status.text} ", Role.DIM), figure)
    return line(StyledText(f"{status.text} {place} ", status.role), figure)
