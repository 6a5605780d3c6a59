"""The keys at the foot of the screen. Which of them fit, and how they are drawn."""

from pourcall.texts import say
from pourcall.tui.drawing.styled import Line, Role, StyledText, joined, line, width_of
from pourcall.tui.screen.scene import Key

GAP = "  "


def fitting_keys(keys: tuple[Key, ...], width: int, rows: int) -> tuple[Key, ...]:
    """As many keys as `rows` lines hold; those of the highest rank give way first."""
    kept = list(keys)
    while len(kept) > 1 and len(key_lines(tuple(kept), width)) > rows:
        worst = max(range(len(kept)), key=lambda n: (kept[n].rank, n))
        del kept[worst]
    return tuple(kept)


def key_lines(keys: tuple[Key, ...], width: int) -> tuple[Line, ...]:
    """The keys over as many lines as they need: the key in reverse, its word beside it."""
    lines: list[Line] = []
    row: Line = ()
    for key in keys:
        piece = line(StyledText(f" {key.key} ", Role.KEY), StyledText(f" {say(key.does)}"))
        longer = joined((row, piece), GAP)
        if row and width_of(longer) + 1 > width:
            lines.append(line(" ", *row))
            row = piece
        else:
            row = longer
    return (*lines, line(" ", *row)) if row else tuple(lines)
