"""What the screen says. Snapshot, link, unit and size in; a frozen description of every region out.

Pure: no terminal, no clock, no widget. All wording and layout is decided here and tested without a screen.
Order of cues: place on the screen, word, shape; colour only repeats what those have said.
"""

import msgspec

from pourcall.contract.message import tell
from pourcall.contract.snapshot import BoardState, FurnaceSnapshot
from pourcall.texts import say, word
from pourcall.tui.client import LinkState
from pourcall.tui.drawing.scale import scale_rows
from pourcall.tui.drawing.styled import Line, Role, StyledText, fit, joined, line, spread, width_of, wrap_spans
from pourcall.tui.screen.alarm_lines import alarm_lines
from pourcall.tui.screen.band import band_of
from pourcall.tui.screen.forecast_lines import pointers
from pourcall.tui.screen.info import info_lines
from pourcall.tui.screen.key_line import fitting_keys, key_lines
from pourcall.tui.screen.panels import fact_lines, how_line, main_figure
from pourcall.tui.screen.scene import Scene, Sizes, dashed, sizes_for
from pourcall.tui.screen.words import lasted

MESSAGE_ROWS = 3


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
    message: tuple[Line, ...]
    keys: tuple[Line, ...]


def screen_of(scene: Scene, *, scale_height: int) -> Screen:
    """The whole screen; `scale_height` is how many rows the upright scale has been given."""
    look, sizes = scene.look, sizes_for(scene.look)
    snapshot = scene.snapshot
    if snapshot is not None and scene.link.state is not LinkState.LIVE:
        snapshot = dashed(snapshot, scene.link.silent_s)
    keys = key_lines(fitting_keys(scene.keys, look.width, sizes.key_rows), look.width)
    if scene.prompt_keys:
        asked = key_lines(scene.prompt_keys, look.width)
        keys = asked + ((),) * (len(keys) - len(asked))  # as high as before, so that nothing jumps
    band, band_role = band_of(scene, snapshot, sizes)
    if snapshot is None:
        return Screen(
            sizes=sizes,
            header=_header_alone(scene),
            band=band,
            band_role=band_role,
            figure=(),
            facts=(),
            how=line(StyledText(f" {say(tell('screen.disclaimer'))}", Role.DIM)),
            scale=(),
            info=(),
            alarms=(),
            message=_message(scene),
            keys=keys,
        )
    message = _message(scene)
    below = msgspec.structs.replace(sizes, info_rows=sizes.info_rows + 1 - len(message))
    return Screen(
        sizes=sizes,
        header=_header(snapshot, scene),
        band=band,
        band_role=band_role,
        figure=main_figure(snapshot, look, sizes),
        facts=tuple(fit(row, sizes.facts_width) for row in fact_lines(snapshot, look, sizes.facts_width)),
        how=fit(line(" ", *how_line(snapshot, look)), look.width - sizes.scale_width),
        scale=scale_rows(
            snapshot.plan, snapshot.window, pointers(snapshot), look.unit, sizes.scale_width, scale_height
        ),
        info=tuple(fit(line(" ", *row), look.width) for row in info_lines(snapshot, look, below)),
        alarms=alarm_lines(snapshot, scene.others, look, sizes.alarm_rows, known=scene.link.state is LinkState.LIVE),
        message=message,
        keys=keys,
    )


def _message(scene: Scene) -> tuple[Line, ...]:
    """The last answer or the open question, whole: what does not fit in one line takes its lines from what is below the
    middle, so that nothing else moves."""
    if not scene.message:
        return ((),)
    rows = wrap_spans(scene.message, scene.look.width - 3, most=MESSAGE_ROWS)
    return tuple(line("   " if n else " ", *row) for n, row in enumerate(rows))


def _header_alone(scene: Scene) -> Line:
    name = line(StyledText(f" {say(tell('screen.header.name'))}", Role.STRONG))
    return spread(name, line(StyledText(f"{say(scene.sound)} ", Role.DIM)), scene.look.width)


def _header(snapshot: FurnaceSnapshot, scene: Scene) -> Line:
    """Furnace and melt at the left; at the right what must never be missed, then links and sound.

    Where both do not fit, what is good to know gives way to what must be known, and the sound first of all.
    """
    must = []
    if snapshot.simulated:
        must.append(line(StyledText(f" {say(tell('screen.header.simulated'))} ", Role.KEY)))
    if snapshot.store_problem:
        told = tell("screen.header.not_recorded", store_problem=snapshot.store_problem)
        must.append(line(StyledText(f"!! {say(told)}", Role.DANGER)))
    down = [
        f"{board} {say(one.detail) or word('board_state', one.state)}"
        for board, one in snapshot.boards.items()
        if one.state is not BoardState.UP
    ]
    good: list[tuple[int, Line]] = []
    if scene.link.state is not LinkState.LIVE:
        must.append(line(StyledText(f"!! {say(tell('screen.header.lost'))}", Role.DANGER)))
    elif down:
        told = tell("screen.header.board", boards=", ".join(down))
        must.append(line(StyledText(f"!! {say(told)}", Role.DANGER)))
    elif snapshot.boards:
        told = tell("screen.header.board_ok" if len(snapshot.boards) == 1 else "screen.header.boards_ok")
        good.append((1, line(StyledText(say(told), Role.DIM))))
    sound = StyledText(f"{say(scene.sound)} ", Role.DIM)
    left = [(9, line(StyledText(f" {snapshot.furnace}", Role.STRONG)))]
    if snapshot.melt:
        left.append((5, line(StyledText(snapshot.melt))))
    if snapshot.plan is not None:
        alloy = tell("screen.header.alloy", alloy=snapshot.plan.alloy.name, charge_kg=snapshot.plan.charge_kg)
        left.append((4, line(StyledText(say(alloy)))))
    if snapshot.melt_began_mono_s is not None:
        left.append((3, line(StyledText(lasted(snapshot.mono_s - snapshot.melt_began_mono_s), Role.DIM))))
    good.append((2, line(sound)))
    for least in range(10):
        kept_left = joined([piece for rank, piece in left if rank >= least])
        kept_right = joined([*must, *(piece for rank, piece in good if rank >= least)])
        if width_of(kept_left) + width_of(kept_right) + 1 <= scene.look.width:
            break
    return spread(kept_left, kept_right, scene.look.width)
