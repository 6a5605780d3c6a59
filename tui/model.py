"""Room: what the screen says. Snapshot, link, unit and size in; a frozen description of every region out.

Pure: no terminal, no clock, no widget. All wording and layout is decided here and tested without a screen.
Order of cues: place on the screen, word, shape; colour only repeats what those have said.
"""

import msgspec

from pourcall.contract.snapshot import FurnaceSnapshot
from pourcall.tui.alarm_lines import alarm_lines
from pourcall.tui.client import LinkState
from pourcall.tui.panels import countdown_lines, fact_lines, figure_lines, how_line, info_lines, is_lifted
from pourcall.tui.scale import scale_rows
from pourcall.tui.scene import Scene, Sizes, dashed, in_readers_unit, sizes_for
from pourcall.tui.spans import Line, Role, Span, fit, joined, line, spread, width_of, wrap
from pourcall.tui.words import (
    Look,
    blinking,
    duration,
)

DISCLAIMER = "This program controls and records; it does not protect."


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


def screen_of(scene: Scene, *, scale_height: int) -> Screen:
    """The whole screen; `scale_height` is the room the upright scale has been given, in rows."""
    scene = in_readers_unit(scene)
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
        figure=countdown_lines(snapshot, sizes) if is_lifted(snapshot) else figure_lines(snapshot, look, sizes),
        facts=tuple(fit(row, sizes.facts_width) for row in fact_lines(snapshot, look)),
        how=fit(line(" ", *how_line(snapshot, look)), look.width - sizes.scale_width),
        scale=scale_rows(
            snapshot.plan, snapshot.window, snapshot.metal.temp_c, look.unit, sizes.scale_width, scale_height
        ),
        info=tuple(fit(line(" ", *row), look.width) for row in info_lines(snapshot, look, sizes)),
        alarms=alarm_lines(snapshot, scene.others, look, sizes.alarm_rows, known=scene.link.state is LinkState.LIVE),
        message=fit(line(" ", *scene.message), look.width) if scene.message else (),
        keys=keys,
    )


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
    if len(lines) + 2 <= sizes.band_rows:
        lines.insert(0, ())
    lines += [()] * (sizes.band_rows - len(lines))  # of one height, so that nothing below it jumps
    return tuple(lines[: sizes.band_rows])
