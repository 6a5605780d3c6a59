"""The band under the header: the one instruction, in the most prominent place, from afar and in full, and why.

The large letters only say what kind of thing is to be done; the full instruction always stands beside them. Where no
short words would be true, there are none.
"""

from pourcall.contract.events import MeltState
from pourcall.contract.message import tell
from pourcall.contract.snapshot import DipView, FurnaceSnapshot, ToDo
from pourcall.contract.units import UNIT_MARK, finite, rounded
from pourcall.texts import say, sentence, word
from pourcall.tui.client import LinkState
from pourcall.tui.drawing.letters import letters, letters_width, writable
from pourcall.tui.drawing.styled import Line, Role, StyledText, fit, line, wrap
from pourcall.tui.screen.dipping import heading_words, keeps_on
from pourcall.tui.screen.scene import Scene, Sizes
from pourcall.tui.screen.words import Look, blinking

LEAST_CELLS = 30  # that the full instruction needs beside the large letters
LONGEST = 13  # characters; more is no headline
DIP_OVER = frozenset({ToDo.DIP, ToDo.STEP, ToDo.SKIM, ToDo.POUR})  # a dip that goes on stands above these


def dip_leads(snapshot: FurnaceSnapshot) -> bool:
    """A dip goes on, and nothing more pressing (cut the power, the window closes, a fault) takes its place."""
    if snapshot.dip_now is None or snapshot.lift_mono_s is not None:
        return False
    return not snapshot.instruction.must or snapshot.instruction.todo in DIP_OVER


def headline(snapshot: FurnaceSnapshot) -> str:
    """A few capitals of what is to be done or waited for; empty where nothing short is true."""
    if dip_leads(snapshot) and snapshot.dip_now is not None:
        return dip_headline(snapshot.dip_now)
    if snapshot.instruction.must:
        return _fitting(_to_do(snapshot))
    if not snapshot.melt:
        return ""
    if snapshot.melt_state is MeltState.READY:
        return word("headline", "ready")
    ready = snapshot.ahead.ready_s if snapshot.ahead is not None else None
    if ready is None or not finite(ready.mid) or not finite(ready.low) or not finite(ready.high):
        return ""
    # Large letters leave no place for an interval: a time that may be twice or half as long is not said in them.
    if ready.mid < 60.0 or ready.high - ready.low > ready.mid:
        return ""
    if ready.mid >= 6000.0:
        return _fitting(word("headline", "wait"))
    return _fitting(say(tell("screen.headline.wait", minutes=int(rounded(ready.mid / 60.0)))))


def dip_headline(dip: DipView) -> str:
    """What whoever holds the probe is to do."""
    return _fitting(word("headline", f"dip_{dip.hint.value}"))


def _to_do(snapshot: FurnaceSnapshot) -> str:
    instruction = snapshot.instruction
    match instruction.todo:
        case ToDo.CUT if snapshot.kind == "fuel":
            return word("headline", "burner_off")
        case ToDo.STEP:
            return _step(snapshot)
        case _:
            return word("headline", instruction.todo.value)


def _step(snapshot: FurnaceSnapshot) -> str:
    instruction, profile = snapshot.instruction, snapshot.profile
    if instruction.dial is not None and profile is not None:
        return f"{word('headline', 'dial')} {instruction.dial:g} {UNIT_MARK[profile.dial_unit]}"
    if instruction.level is not None:
        source = word("headline", "burner" if snapshot.kind == "fuel" else "power")
        return f"{source} {word('level', instruction.level).upper()}"
    return word("headline", "go_on") if profile is not None and profile.waits else ""


def _fitting(words: str) -> str:
    """The words if letters can draw them: a value without a word of its own is in small letters, and is not drawn."""
    return words if writable(words) and len(words) <= LONGEST else ""


def band_of(scene: Scene, snapshot: FurnaceSnapshot | None, sizes: Sizes) -> tuple[tuple[Line, ...], Role]:
    """The rows of the band, always of one height, and the role its ground is coloured by."""
    link, look = scene.link, scene.look
    if link.state is LinkState.LOST:
        what, why = say(tell("screen.lost", silent_s=link.silent_s)), say(tell("screen.lost.why"))
        return _rows(blinking("!!", Role.LOST, look), "", "", what, why, Role.LOST, sizes, look), Role.LOST
    if link.state is LinkState.CONNECTING:
        what, why = (
            say(tell("screen.connecting")),
            say(tell("screen.connecting.why", where=link.problem or link.address)),
        )
        return _rows(StyledText("? "), "", "", what, why, Role.STRONG, sizes, look), Role.PLAIN
    if link.read_only:
        what = sentence(link.read_only)
        return _rows(StyledText("? "), word("status", "check"), "", what, "", Role.CHECK, sizes, look), Role.CHECK
    if snapshot is None:
        what, why = say(tell("screen.no_furnace")), say(tell("screen.no_furnace.why"))
        return _rows(StyledText("? "), "", "", what, why, Role.STRONG, sizes, look), Role.PLAIN
    large = headline(snapshot)
    if dip_leads(snapshot) and (dip := snapshot.dip_now) is not None:
        role = Role.STRONG if keeps_on(dip) else Role.DO
        mark = blinking("> ", role, look) if role is Role.DO else StyledText("> ", role)
        what, kind = sentence(dip.text, look.unit), say(tell("screen.band.dip"))
        return _rows(mark, kind, large, what, heading_words(dip, look.unit), role, sizes, look), _ground(role)
    instruction = snapshot.instruction
    what, why = sentence(instruction.text, look.unit), sentence(instruction.why, look.unit)
    if instruction.must:
        mark, kind = blinking("> ", Role.DO, look), say(tell("screen.band.do"))
        return _rows(mark, kind, large, what, why, Role.DO, sizes, look), Role.DO
    if not instruction.text:  # the daemon is lost, or very new
        what = say(tell("screen.nothing_to_do" if snapshot.melt else "screen.no_melt"))
    return _rows(StyledText("  "), "", large, what, why, Role.STRONG, sizes, look), Role.PLAIN


def _ground(role: Role) -> Role:
    return Role.DO if role is Role.DO else Role.PLAIN


def _rows(
    mark: StyledText, kind: str, large: str, what: str, why: str, role: Role, sizes: Sizes, look: Look
) -> tuple[Line, ...]:
    """Large words at the left; mark, kind and the full instruction beside them; the reason gets what is left."""
    height, lettered = sizes.band_rows, 0
    if large:
        lettered = next(
            (r for r in (5, 3) if r <= height and look.width - letters_width(large, r) - 4 >= LEAST_CELLS), 0
        )
    left = letters_width(large, lettered) + 3 if lettered else 0
    head = f"{kind}  " if kind else ""
    indent = " " * (4 + len(head))
    cells = max(1, look.width - left - len(indent))
    plain_role = role if role in (Role.DO, Role.LOST) else Role.DIM
    rows = wrap(what, cells, role, most=height)
    right = (
        [line(StyledText(" ", role), StyledText(mark.text, role), StyledText(f" {head}", role), *rows[0])]
        if rows
        else [()]
    )
    right += [line(StyledText(indent, role), *row) for row in rows[1:]]
    if why and len(right) < height:
        right += [
            line(StyledText(indent, plain_role), *row) for row in wrap(why, cells, plain_role, most=height - len(right))
        ]
    right = ([()] if len(right) + 2 <= height and not lettered else []) + right
    right += [()] * (height - len(right))
    if not lettered:
        return tuple(fit(row, look.width) for row in right[:height])
    drawn = letters(large, lettered)
    top = (height - lettered) // 2
    shown = [drawn[n - top] if top <= n < top + lettered else " " * (left - 3) for n in range(height)]
    return tuple(
        fit(line(StyledText(f"  {one} ", role), *row), look.width)
        for one, row in zip(shown, right[:height], strict=True)
    )
