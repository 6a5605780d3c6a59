"""The one or two words that must be read from the furnace. A snapshot in, a few capitals out.

The full instruction always stands beside them: these only say from afar what kind of thing is to be done. Where no
short words would be true, there are none.
"""

from pourcall.contract.events import MeltState
from pourcall.contract.inputs import PowerLevel
from pourcall.contract.snapshot import DipHint, DipView, FurnaceSnapshot, ToDo
from pourcall.texts import word
from pourcall.tui.drawing.letters import writable
from pourcall.tui.screen.words import UNIT_MARK, finite

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
    # Large letters leave no room for an interval: a time that may be twice or half as long is not said in them.
    if ready.mid < 60.0 or ready.high - ready.low > ready.mid:
        return ""
    wait = word("headline", "wait")
    return _fitting(f"{wait} {round(ready.mid / 60.0)} MIN" if ready.mid < 6000.0 else wait)


def dip_headline(dip: DipView) -> str:
    """What the hand on the probe is to do."""
    return _fitting(word("headline", f"dip_{dip.hint.value}"))


def dip_words(dip: DipView) -> str:
    """The same for the place beside the countdown."""
    return word("headline", f"dip_{dip.hint.value}").lower()


def keeps_on(dip: DipView) -> bool:
    """Nothing else is to be done than what the hand does already."""
    return dip.hint in (DipHint.HOLD, DipHint.HOLD_ON)


def _to_do(snapshot: FurnaceSnapshot) -> str:
    instruction = snapshot.instruction
    match instruction.todo:
        case ToDo.CUT if snapshot.kind == "fuel":
            return word("headline", "burner_off")
        case ToDo.STEP:
            return _step(snapshot)
        case _:
            told = word("headline", instruction.todo.value)
            return "" if told == instruction.todo.value else told


def _step(snapshot: FurnaceSnapshot) -> str:
    instruction, profile = snapshot.instruction, snapshot.profile
    if instruction.dial is not None and profile is not None:
        return f"{word('headline', 'dial')} {instruction.dial:g} {UNIT_MARK[profile.dial_unit]}"
    if instruction.level is not None:
        source = word("headline", "burner" if snapshot.kind == "fuel" else "power")
        return f"{source} {_level(instruction.level)}"
    return word("headline", "go_on") if profile is not None and profile.waits else ""


def _level(level: PowerLevel) -> str:
    return word("level", level.value).upper()


def _fitting(words: str) -> str:
    return words if writable(words) and len(words) <= LONGEST else ""
