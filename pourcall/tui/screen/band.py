"""The band under the header: the one instruction, in the most prominent place, in large letters, and why."""

from pourcall.contract.snapshot import FurnaceSnapshot
from pourcall.texts import say, sentence
from pourcall.tui.client import LinkState
from pourcall.tui.drawing.letters import letters, letters_width
from pourcall.tui.drawing.spans import Line, Role, Span, fit, line, wrap
from pourcall.tui.screen.dipping import heading_words
from pourcall.tui.screen.headline import dip_leads, headline, keeps_on
from pourcall.tui.screen.scene import Scene, Sizes
from pourcall.tui.screen.words import Look, blinking, duration

LEAST_ROOM = 30  # cells that the full instruction needs beside the large letters


def band_of(scene: Scene, snapshot: FurnaceSnapshot | None, sizes: Sizes) -> tuple[tuple[Line, ...], Role]:
    """The rows of the band, always of one height, and the role its ground is coloured by."""
    link, look = scene.link, scene.look
    if link.state is LinkState.LOST:
        what = f"No word from the daemon for {duration(link.silent_s)}: the figures below are old"
        why = "Go by your own eyes and meter. Trying again. To start it: pourcall serve"
        return _rows(blinking("!!", Role.LOST, look), "", "", what, why, Role.LOST, sizes, look), Role.LOST
    if link.state is LinkState.CONNECTING:
        what, why = "Looking for the daemon", f"{link.problem or link.address}. Start it with: pourcall serve"
        return _rows(Span("? "), "", "", what, why, Role.STRONG, sizes, look), Role.PLAIN
    if link.read_only:
        what = link.read_only[:1].upper() + link.read_only[1:]
        return _rows(Span("? "), "CHECK", "", what, "", Role.CHECK, sizes, look), Role.CHECK
    if snapshot is None:
        what, why = "The daemon names no furnace", "See: pourcall setup"
        return _rows(Span("? "), "", "", what, why, Role.STRONG, sizes, look), Role.PLAIN
    large = headline(snapshot)
    if dip_leads(snapshot) and (dip := snapshot.dip_now) is not None:
        role = Role.STRONG if keeps_on(dip) else Role.DO
        mark = blinking("> ", role, look) if role is Role.DO else Span("> ", role)
        what = sentence(dip.text, look.unit)
        return _rows(mark, "DIP", large, what, heading_words(dip, look.unit), role, sizes, look), _ground(role)
    instruction = snapshot.instruction
    what, why = say(instruction.text, look.unit), say(instruction.why, look.unit)
    if instruction.must:
        mark = blinking("> ", Role.DO, look)
        return _rows(mark, "DO", large, what, why, Role.DO, sizes, look), Role.DO
    what = what or ("No melt is running" if not snapshot.melt else "Nothing to do now")
    return _rows(Span("  "), "", large, what, why, Role.STRONG, sizes, look), Role.PLAIN


def _ground(role: Role) -> Role:
    return Role.DO if role is Role.DO else Role.PLAIN


def _rows(
    mark: Span, word: str, large: str, what: str, why: str, role: Role, sizes: Sizes, look: Look
) -> tuple[Line, ...]:
    """Large words at the left; mark, word and the full instruction beside them; the reason gets what is left."""
    height, lettered = sizes.band_rows, 0
    if large:
        lettered = next(
            (r for r in (5, 3) if r <= height and look.width - letters_width(large, r) - 4 >= LEAST_ROOM), 0
        )
    left = letters_width(large, lettered) + 3 if lettered else 0
    head = f"{word}  " if word else ""
    indent = " " * (4 + len(head))
    room = max(1, look.width - left - len(indent))
    plain_role = role if role in (Role.DO, Role.LOST) else Role.DIM
    rows = wrap(what, room, role, most=height)
    right = [line(Span(" ", role), Span(mark.text, role), Span(f" {head}", role), *rows[0])] if rows else [()]
    right += [line(Span(indent, role), *row) for row in rows[1:]]
    if why and len(right) < height:
        right += [line(Span(indent, plain_role), *row) for row in wrap(why, room, plain_role, most=height - len(right))]
    right = ([()] if len(right) + 2 <= height and not lettered else []) + right
    right += [()] * (height - len(right))
    if not lettered:
        return tuple(fit(row, look.width) for row in right[:height])
    drawn = letters(large, lettered)
    top = (height - lettered) // 2
    cells = [drawn[n - top] if top <= n < top + lettered else " " * (left - 3) for n in range(height)]
    return tuple(
        fit(line(Span(f"  {cell} ", role), *row), look.width) for cell, row in zip(cells, right[:height], strict=True)
    )
