"""The keys at the foot of the screen. Which there are now, which fit, how they are drawn, what the help says."""

from pourcall.contract.snapshot import FurnaceSnapshot
from pourcall.tui.drawing.spans import Line, Role, Span, joined, line, width_of
from pourcall.tui.input.key_controller import done_call
from pourcall.tui.screen.profile_panel import is_guiding
from pourcall.tui.screen.scene import Key
from pourcall.tui.screen.words import sorted_alarms

GAP = "  "


def keys_for(snapshot: FurnaceSnapshot | None, others: int) -> tuple[Key, ...]:
    """The keys that mean something now, always in the same order. What is not listed still works: see the help."""
    if snapshot is None:
        return (Key("s", "silence"), Key("?", "help"), Key("q", "quit"))
    alarms = (Key("a", "acknowledge", 1), Key("s", "silence", 1)) if sorted_alarms(snapshot.alarms) else ()
    furnace = (Key("f", "furnace", 3),) if others else ()
    last = (Key("u", "unit", 5), *furnace, Key("?", "help"), Key("q", "quit", 6))
    if not snapshot.melt:
        return (Key("m", "start melt"), *alarms, Key("p", "power", 4), *last)
    profile = snapshot.profile
    waits = profile is not None and profile.waits
    guide = Key("g", "go on" if waits else "guide", 0 if waits else 3)
    return (
        Key("space", "pour", 1),
        Key("l", "lift", 2),
        Key("d", "dip", 2 if is_guiding(profile) else 3),
        guide,
        *((Key("n", "not now", 1),) if snapshot.calls else ()),
        *((Key("enter", "done", 1),) if done_call(snapshot) is not None else ()),
        *alarms,
        Key("p", "power", 2),
        Key("m", "end melt", 4),
        *last,
    )


def fitting_keys(keys: tuple[Key, ...], width: int, rows: int) -> tuple[tuple[str, str], ...]:
    """As many keys as `rows` lines hold; those of the highest rank give way first."""
    kept = list(keys)
    while len(kept) > 1 and len(key_lines(tuple((k.key, k.word) for k in kept), width)) > rows:
        worst = max(range(len(kept)), key=lambda n: (kept[n].rank, n))
        del kept[worst]
    return tuple((one.key, one.word) for one in kept)


def key_lines(keys: tuple[tuple[str, str], ...], width: int) -> tuple[Line, ...]:
    """The keys over as many lines as they need: the key in reverse, its word beside it."""
    lines: list[Line] = []
    row: Line = ()
    for key, word in keys:
        piece = line(Span(f" {key} ", Role.KEY), Span(f" {word}"))
        longer = joined((row, piece), GAP)
        if row and width_of(longer) + 1 > width:
            lines.append(line(" ", *row))
            row = piece
        else:
            row = longer
    return (*lines, line(" ", *row)) if row else tuple(lines)
