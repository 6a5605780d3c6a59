"""The band under the header: the one instruction, in the most prominent place, from afar and in full, and why.

The large letters only say what kind of thing is to be done; the full instruction always stands beside them. Where no
short words would be true, there are none.
"""

from pourcall.contract.events import MeltState
from pourcall.contract.message import NOTHING, Message, tell
from pourcall.contract.snapshot import FurnaceSnapshot, ToDo
from pourcall.contract.units import finite, rounded
from pourcall.texts import say, sentence, word
from pourcall.tui.client import LinkState
from pourcall.tui.drawing.letters import letters, letters_width, writable
from pourcall.tui.drawing.styled import Line, Role, StyledText, fit, line, wrap
from pourcall.tui.screen.dipping import heading_words, keeps_on
from pourcall.tui.screen.scene import Scene, Sizes
from pourcall.tui.screen.words import Look, blinking

LEAST_CELLS = 30  # that the full instruction needs beside the large letters
LONGEST = 13  # characters; more is no headline
DIP_OVER = frozenset(
    {ToDo.DIP, ToDo.STEP, ToDo.SKIM, ToDo.POUR, ToDo.BEST_AIM}
)  # a dip that goes on stands above these


def dip_leads(snapshot: FurnaceSnapshot) -> bool:
    """A dip goes on, and nothing more pressing (cut the power, the window closes, a fault) takes its place."""
    if snapshot.dip_now is None or snapshot.lift_mono_s is not None:
        return False
    return not snapshot.instruction.must or snapshot.instruction.todo in DIP_OVER


def in_large(snapshot: FurnaceSnapshot) -> str:
    """The headline in letters; empty where the words of the catalogue in use are too long or have no shape."""
    words = say(headline(snapshot))
    return words if writable(words) and len(words) <= LONGEST else ""


def headline(snapshot: FurnaceSnapshot) -> Message:
    """A few words of what is to be done or waited for; nothing where nothing short is true."""
    if dip_leads(snapshot) and snapshot.dip_now is not None:
        return tell(f"word.headline.dip_{snapshot.dip_now.hint.value}")
    if snapshot.instruction.must:
        return _to_do(snapshot)
    if not snapshot.melt:
        return NOTHING
    if snapshot.instruction.todo is ToDo.HOLD:
        return tell("word.headline.hold")
    if snapshot.melt_state is MeltState.READY:
        return tell("word.headline.ready")
    ready = snapshot.ahead.ready_s if snapshot.ahead is not None else None
    if ready is None or not finite(ready.mid) or not finite(ready.low) or not finite(ready.high):
        return NOTHING
    # Large letters leave no place for an interval: a time that may be twice or half as long is not said in them.
    if ready.mid < 60.0 or ready.high - ready.low > ready.mid:
        return NOTHING
    if ready.mid >= 6000.0:
        return tell("word.headline.wait")
    return tell("screen.headline.wait", minutes=int(rounded(ready.mid / 60.0)))


def _to_do(snapshot: FurnaceSnapshot) -> Message:
    instruction = snapshot.instruction
    match instruction.todo:
        case ToDo.CUT if snapshot.kind == "fuel":
            return tell("word.headline.burner_off")
        case ToDo.STEP:
            return _step(snapshot)
        case ToDo.START:
            return NOTHING  # the instruction says it better in full
        case _:
            return tell(f"word.headline.{instruction.todo.value}")


def _step(snapshot: FurnaceSnapshot) -> Message:
    instruction, profile = snapshot.instruction, snapshot.profile
    if instruction.dial is not None and profile is not None:
        return tell("screen.headline.dial", dial=instruction.dial, panel_unit=profile.dial_unit.value)
    if instruction.level is not None:
        source = "burner" if snapshot.kind == "fuel" else "power"
        return tell(f"word.headline.{source}_{instruction.level.value}")
    return tell("word.headline.go_on") if profile is not None and profile.waits else NOTHING


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
    large = in_large(snapshot)
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
