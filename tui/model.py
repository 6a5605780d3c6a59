"""Room: what the screen says. Snapshot, link, unit and size in; a frozen description of every region out.

Pure: no terminal, no clock, no widget. All wording and layout is decided here and tested without a screen.
Order of cues: place on the screen, word, shape; colour only repeats what those have said.
"""

import msgspec

from pourcall.contract.events import MeltState
from pourcall.contract.reading import Place, ProbeState
from pourcall.contract.snapshot import FurnaceSnapshot, MetalView, ProbeView
from pourcall.contract.status import REASON_WORDS, Reason, Status
from pourcall.tui.alarm_lines import alarm_lines
from pourcall.tui.client import LinkState
from pourcall.tui.digits import big
from pourcall.tui.scale import scale_rows
from pourcall.tui.spans import Line, Role, Span, fit, joined, line, spread, width_of, wrap
from pourcall.tui.words import (
    DASH,
    MELT_WORDS,
    PLACE_WORDS,
    POWER_WORDS,
    PROBE_WORDS,
    UNIT_MARK,
    Look,
    blinking,
    clock,
    duration,
    figure,
    percent,
    plus_minus,
    rate,
    span_of,
    status_spans,
    with_unit,
)

DISCLAIMER = "This program controls and records; it does not protect."


class LinkView(msgspec.Struct, frozen=True, kw_only=True):
    """How the daemon is heard."""

    state: LinkState = LinkState.LIVE
    silent_s: float = 0.0
    problem: str = ""
    read_only: str = ""
    address: str = ""


class Scene(msgspec.Struct, frozen=True, kw_only=True):
    """All that a screen is made of."""

    snapshot: FurnaceSnapshot | None
    others: tuple[FurnaceSnapshot, ...] = ()
    link: LinkView = LinkView()
    look: Look = Look()
    sound: str = "sound: off"
    message: Line = ()  # the last answer, or the open question
    keys: tuple[tuple[str, str], ...] = ()  # key, word
    prompt_keys: tuple[tuple[str, str], ...] = ()  # in their place, while a question is open


class Sizes(msgspec.Struct, frozen=True):
    """How the screen is divided, in cells."""

    scale_width: int
    figure_width: int
    facts_width: int
    digit_rows: int
    band_rows: int
    alarm_rows: int
    info_rows: int
    roomy: bool


class Screen(msgspec.Struct, frozen=True, kw_only=True):
    """The description of the screen, region by region."""

    sizes: Sizes
    header: Line
    band: tuple[Line, ...]
    band_role: Role
    figure: tuple[Line, ...]
    facts: tuple[Line, ...]
    how: Line
    scale: tuple[Line, ...]
    info: tuple[Line, ...]
    alarms: tuple[Line, ...]
    message: Line
    keys: tuple[Line, ...]


def sizes_for(look: Look) -> Sizes:
    """The division of a screen of this size: everything has a place at 80 x 24, and grows from there."""
    roomy = look.width >= 104 and look.height >= 32
    scale_width, figure_width = (30, 44) if roomy else (23, 34)
    return Sizes(
        scale_width=scale_width,
        figure_width=figure_width,
        facts_width=look.width - scale_width - figure_width,
        digit_rows=7 if roomy else 5,
        band_rows=3 if look.height >= 30 else 2,
        alarm_rows=max(3, min(9, look.height - 25)),
        info_rows=5 if roomy else 3,
        roomy=roomy,
    )


def screen_of(scene: Scene, *, scale_height: int) -> Screen:
    """The whole screen; `scale_height` is the room the upright scale has been given, in rows."""
    look, sizes = scene.look, sizes_for(scene.look)
    snapshot = scene.snapshot
    if snapshot is not None and scene.link.state is not LinkState.LIVE:
        snapshot = dashed(snapshot)
    keys = key_lines(scene.keys, look.width)
    if scene.prompt_keys:
        asked = key_lines(scene.prompt_keys, look.width)
        keys = asked + ((),) * (len(keys) - len(asked))  # as high as before, so that nothing jumps
    if snapshot is None:
        return Screen(
            sizes=sizes, header=_header_alone(scene), band=_band(scene, None, sizes)[0],
            band_role=_band(scene, None, sizes)[1], figure=(), facts=(),
            how=line(Span(" " + DISCLAIMER, Role.DIM)), scale=(), info=(), alarms=(), message=scene.message, keys=keys,
        )  # fmt: skip
    band, band_role = _band(scene, snapshot, sizes)
    return Screen(
        sizes=sizes,
        header=_header(snapshot, scene),
        band=band,
        band_role=band_role,
        figure=_countdown(snapshot, sizes) if is_lifted(snapshot) else _figure(snapshot, look, sizes),
        facts=tuple(fit(row, sizes.facts_width) for row in _facts(snapshot, look)),
        how=fit(line(" ", *_how(snapshot, look)), look.width - sizes.scale_width),
        scale=scale_rows(
            snapshot.plan, snapshot.window, snapshot.metal.temp_c, look.unit, sizes.scale_width, scale_height
        ),
        info=tuple(fit(line(" ", *row), look.width) for row in _info(snapshot, look, sizes)),
        alarms=alarm_lines(snapshot, scene.others, look, sizes.alarm_rows),
        message=fit(line(" ", *scene.message), look.width) if scene.message else (),
        keys=keys,
    )


def dashed(snapshot: FurnaceSnapshot) -> FurnaceSnapshot:
    """The snapshot without a single figure that is only true now; what is on the record stays."""
    was = MELT_WORDS[snapshot.melt_state]
    window = snapshot.window
    if window is not None:
        window = msgspec.structs.replace(window, lip_now_c=None, too_cold=None, too_hot=None)
    return msgspec.structs.replace(
        snapshot, metal=MetalView(temp_c=None, how=f"no word from the daemon; the melt was last {was}"), probes=(),
        melt_state=MeltState.UNKNOWN, window=window,
        countdown_s=None, applied_permille=None, power=None, calls=(), boards={}, flags={},
        instruction="", instruction_is_do=False,
    )  # fmt: skip


def key_lines(keys: tuple[tuple[str, str], ...], width: int) -> tuple[Line, ...]:
    """The keys over as many lines as they need: the key in reverse, its word beside it."""
    lines: list[Line] = []
    row: Line = ()
    for key, word in keys:
        piece = line(Span(f" {key} ", Role.KEY), Span(f" {word}"))
        longer = joined((row, piece), "  ")
        if row and width_of(longer) + 1 > width:
            lines.append(line(" ", *row))
            row = piece
        else:
            row = longer
    return (*lines, line(" ", *row)) if row else tuple(lines)


def metal_reason(snapshot: FurnaceSnapshot) -> Reason:
    """Why the metal's figure is as good as it is: the reason of the probe it comes from.

    A figure of a dip or typed by a person stands on its own; so does one that no probe in the metal agrees with.
    """
    if snapshot.metal.temp_c is None:
        return next((p.reason for p in _metal_probes(snapshot) if p.status is Status.BAD), Reason.WAITING)
    for probe in _metal_probes(snapshot):
        immersed = probe.state in (ProbeState.IN_METAL, ProbeState.FROZEN_IN, ProbeState.SETTLING)
        if immersed and probe.temp_c is not None and abs(probe.temp_c - snapshot.metal.temp_c) <= 1.0:
            return probe.reason
    return Reason.OVERRIDE if "typed" in snapshot.metal.how else Reason.OK


def _metal_probes(snapshot: FurnaceSnapshot) -> tuple[ProbeView, ...]:
    return tuple(probe for probe in snapshot.probes if probe.place in (Place.MELT, Place.DIP))


def _header_alone(scene: Scene) -> Line:
    return spread(line(Span(" pourcall", Role.STRONG)), line(Span(f"{scene.sound} ", Role.DIM)), scene.look.width)


def _header(snapshot: FurnaceSnapshot, scene: Scene) -> Line:
    """Furnace and melt at the left; at the right what must never be missed, then links and sound.

    Where both do not fit, what is good to know gives way to what must be known.
    """
    must = []
    if snapshot.simulated:
        must.append(line(Span(" SIMULATED ", Role.KEY)))
    if snapshot.store_problem:
        must.append(line(Span(f"!! NOT RECORDED: {snapshot.store_problem}", Role.DANGER)))
    down = [f"{board} {how}" for board, how in snapshot.boards.items() if how != "up"]
    good: list[tuple[int, Line]] = []
    if scene.link.state is not LinkState.LIVE:
        must.append(line(Span("!! daemon lost", Role.DANGER)))
    elif down:
        must.append(line(Span(f"!! board {', '.join(down)}", Role.DANGER)))
    elif snapshot.boards:
        good.append((1, line(Span("boards up", Role.DIM))))
    good.append((4, line(Span(f"{scene.sound} ", Role.DIM))))
    left = [(9, line(Span(f" {snapshot.furnace}", Role.STRONG)))]
    if snapshot.melt:
        left.append((5, line(Span(snapshot.melt))))
    if snapshot.plan is not None:
        left.append((3, line(Span(f"{snapshot.plan.alloy.name} {snapshot.plan.charge_kg:g} kg"))))
    if snapshot.melt_began_mono_s is not None:
        left.append((2, line(Span(duration(snapshot.mono_s - snapshot.melt_began_mono_s), Role.DIM))))
    for least in range(10):
        kept_left = joined([piece for rank, piece in left if rank >= least])
        kept_right = joined([*must, *(piece for rank, piece in good if rank >= least)])
        if width_of(kept_left) + width_of(kept_right) + 1 <= scene.look.width:
            break
    return spread(kept_left, kept_right, scene.look.width)


def _band(scene: Scene, snapshot: FurnaceSnapshot | None, sizes: Sizes) -> tuple[tuple[Line, ...], Role]:
    """The one instruction, in the most prominent place, and why."""
    link, look = scene.link, scene.look
    if link.state is LinkState.LOST:
        what = f"No word from the daemon for {duration(link.silent_s)}: the figures below are old"
        why = "Go by your own eyes and meter. Trying again. To start it: pourcall serve"
        return _band_rows(blinking("!!", Role.LOST, look), "", what, why, Role.LOST, sizes, look), Role.LOST
    if link.state is LinkState.CONNECTING:
        what, why = "Looking for the daemon", f"{link.problem or link.address}. Start it with: pourcall serve"
        return _band_rows(Span("? "), "", what, why, Role.STRONG, sizes, look), Role.PLAIN
    if link.read_only:
        what = link.read_only[:1].upper() + link.read_only[1:]
        return _band_rows(Span("? "), "CHECK", what, "", Role.CHECK, sizes, look), Role.CHECK
    if snapshot is None:
        return _band_rows(
            Span("? "), "", "The daemon names no furnace", "See: pourcall setup", Role.STRONG, sizes, look
        ), (Role.PLAIN)
    call = snapshot.calls[0] if snapshot.calls else None
    why = next((c.why for c in snapshot.calls if c.text == snapshot.instruction), call.why if call else "")
    if snapshot.instruction_is_do:
        return _band_rows(blinking("> ", Role.DO, look), "DO", snapshot.instruction, why, Role.DO, sizes, look), Role.DO
    what = snapshot.instruction or ("No melt is running" if not snapshot.melt else "Nothing to do now")
    return _band_rows(Span("  "), "", what, why, Role.STRONG, sizes, look), Role.PLAIN


def _band_rows(mark: Span, word: str, what: str, why: str, role: Role, sizes: Sizes, look: Look) -> tuple[Line, ...]:
    """Mark, word and instruction; the instruction may take a second row, the reason gets what is left."""
    head = f"{word}  " if word else ""
    room = look.width - 4 - len(head)
    rows = wrap(what, room, role, most=2)
    lines = [line(Span(" ", role), Span(mark.text, role), Span(f" {head}", role), *rows[0])]
    lines += [line(Span(" " * (4 + len(head)), role), *row) for row in rows[1:]]
    plain_role = role if role in (Role.DO, Role.LOST) else Role.DIM
    if why and len(lines) < sizes.band_rows:
        lines += [
            line(Span(" " * (4 + len(head)), plain_role), *row)
            for row in wrap(why, room, plain_role, most=sizes.band_rows - len(lines))
        ]
    lines += [()] * (sizes.band_rows - len(lines))  # of one height, so that nothing below it jumps
    return tuple(lines[: sizes.band_rows])


def _figure(snapshot: FurnaceSnapshot, look: Look, sizes: Sizes) -> tuple[Line, ...]:
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


def _countdown(snapshot: FurnaceSnapshot, sizes: Sizes) -> tuple[Line, ...]:
    """After the lift: the time left inside the window, large, and nothing else in its place."""
    left_s = snapshot.countdown_s or 0.0
    role = Role.STRONG if left_s > 0 else Role.WARN
    return tuple(line("  ", Span(row, role)) for row in big(clock(left_s), sizes.digit_rows))


def is_lifted(snapshot: FurnaceSnapshot) -> bool:
    """The pot is out and the countdown runs."""
    return snapshot.lift_mono_s is not None and snapshot.countdown_s is not None


def _facts(snapshot: FurnaceSnapshot, look: Look) -> tuple[Line, ...]:
    """Beside the figure: its status, its rate, what probe, melt and power do, each with its name."""
    metal = snapshot.metal
    reason = metal_reason(snapshot)
    if is_lifted(snapshot):
        over = (snapshot.countdown_s or 0.0) <= 0
        first = line(Span("! WINDOW CLOSED", Role.WARN)) if over else line(Span("LEFT in the window", Role.STRONG))
        known = metal.temp_c is not None
        second = line(f"pot {with_unit(metal.temp_c, look.unit, metal.u_c)}") if known else line("pot is lifted")
    elif metal.temp_c is None and reason is Reason.WAITING:
        first, second = line(Span("-- NO FIGURE", Role.STRONG)), line()
    else:
        first, second = line(status_spans(reason)[0]), line(rate(metal.rate_c_per_min, look.unit))
        if metal.temp_c is None:
            second = line(REASON_WORDS[reason])
    probes = _metal_probes(snapshot) or snapshot.probes
    probe = PROBE_WORDS[probes[0].state] if probes else DASH
    melt_role = Role.OK if snapshot.melt_state is MeltState.READY else Role.STRONG
    return (
        first,
        second,
        line(Span("probe ", Role.DIM), probe),
        line(Span("melt  ", Role.DIM), Span(MELT_WORDS[snapshot.melt_state], melt_role)),
        line(Span("power ", Role.DIM), *_power(snapshot)),
    )


def _power(snapshot: FurnaceSnapshot) -> Line:
    """Power is never red: red is kept for alarms. A bar and a figure where the board reports what it applies."""
    said = POWER_WORDS[snapshot.power] if snapshot.power is not None else ""
    if snapshot.applied_permille is None:
        return line(said or DASH)
    share = snapshot.applied_permille / 1000
    bar = "▪" * round(share * 5) + "·" * (5 - round(share * 5))
    return line(f"{said + ' ' if said else ''}{share * 100:.0f} % {bar}")


def _flags(snapshot: FurnaceSnapshot) -> Line:
    words = []
    fume = snapshot.flags.get("fume", 0)
    if fume:
        words.append(line(Span(f"{'! ' if fume >= 2 else ''}zinc fume level {fume} of 3", Role.WARN)))
    if snapshot.flags.get("holding", 0):
        words.append(line("holding"))
    if snapshot.flags.get("no_metal_reading", 0):
        words.append(line(Span("? no reading of the metal", Role.CHECK)))
    return joined(words, ", ")


def _how(snapshot: FurnaceSnapshot, look: Look) -> Line:
    """How the figure is known, or why there is none; then the other probes."""
    how = snapshot.metal.how or ("no probe in the metal" if snapshot.metal.temp_c is None else "")
    pieces = [line(Span(how))] if how else []
    reason = metal_reason(snapshot)
    if snapshot.metal.temp_c is not None and reason is not Reason.OK:
        pieces.insert(0, line(Span(REASON_WORDS[reason], Role.STRONG)))
    if flags := _flags(snapshot):
        pieces.append(flags)
    for probe in snapshot.probes:
        if probe.place in (Place.MELT, Place.DIP) and _tells_the_metal(probe, snapshot.metal, len(snapshot.probes)):
            continue  # the large figure says it
        place = PLACE_WORDS[probe.place]
        _, mark, role = _probe_look(probe)
        pieces.append(line(Span(f"{mark}{place} ", role), Span(with_unit(probe.temp_c, look.unit, probe.u_c))))
    return joined(pieces, " · ")


def _tells_the_metal(probe: ProbeView, metal: MetalView, probes: int) -> bool:
    if probe.temp_c is None or metal.temp_c is None:
        return probes == 1
    return abs(probe.temp_c - metal.temp_c) <= 1.0


def _probe_look(probe: ProbeView) -> tuple[str, str, Role]:
    if probe.reason is Reason.OK:
        return "", "", Role.DIM
    spans = status_spans(probe.reason)
    return spans[0].text, f"{spans[0].text} ", spans[0].role


def _info(snapshot: FurnaceSnapshot, look: Look, sizes: Sizes) -> tuple[Line, ...]:
    """The mould that is next, what would arrive there now, the last dip, the pours so far."""
    rows: list[Line] = []
    window = snapshot.window
    if window is not None:
        rows.append(
            line(
                Span("next  ", Role.DIM), Span(f"{window.mould}", Role.STRONG), f" ({window.index + 1} of {window.of})",
                f": at the lip {span_of(window.lip_min_c, window.lip_max_c, look.unit)}",
                f", in the pot {span_of(window.tap_min_c, window.tap_max_c, look.unit)}",
            )
        )  # fmt: skip
        rows.append(
            line(
                Span("now   ", Role.DIM), f"arrives at {with_unit(window.lip_now_c, look.unit)}: ",
                Span(f"too cold {percent(window.too_cold)}, too hot {percent(window.too_hot)}", Role.STRONG),
            )
        )  # fmt: skip
        if sizes.roomy and window.why:
            rows.append(line(Span("why   ", Role.DIM), window.why))
    elif snapshot.melt:
        rows.append(line(Span("next  ", Role.DIM), "no mould left in the list"))
    last = joined((_last_dip(snapshot, look), _pours(snapshot, look)), "   ")
    if last:
        rows.append(last)
    return tuple(rows[: sizes.info_rows])


def _last_dip(snapshot: FurnaceSnapshot, look: Look) -> Line:
    dip = snapshot.last_dip
    if dip is None:
        return ()
    age_s = snapshot.mono_s - dip.ended_mono_s
    old = age_s > dip.valid_s
    return line(
        Span("dip   ", Role.DIM), f"{dip.number}: {with_unit(dip.temp_c, look.unit, dip.u_c)} {dip.how}, ",
        Span(f"{duration(age_s)} ago{', ? too old to pour by' if old else ''}", Role.CHECK if old else Role.PLAIN),
    )  # fmt: skip


def _pours(snapshot: FurnaceSnapshot, look: Look) -> Line:
    total = len(snapshot.plan.moulds) if snapshot.plan is not None else 0
    if not snapshot.pours:
        return line(Span("poured ", Role.DIM), f"0 of {total}") if total else ()
    latest = snapshot.pours[-1]
    lip = f" at the lip {with_unit(latest.lip_temp_c, look.unit)}"
    return line(Span("poured ", Role.DIM), f"{len(snapshot.pours)} of {total}, last {latest.mould}{lip}")
