"""The one or two words that must be read from the furnace. A snapshot in, a few capitals out.

The full instruction always stands beside them: these only say from afar what kind of thing is to be done. Where no
short words would be true, there are none.
"""

import re

from pourcall.contract.events import CallKind, CallView, MeltState
from pourcall.contract.snapshot import DipView, FurnaceSnapshot
from pourcall.tui.drawing.letters import writable
from pourcall.tui.screen.words import finite

LONGEST = 13  # characters; more is no headline
OUT_WORDS, STILL_WORDS = "TAKE IT OUT", "HOLD STILL"
KEEP_ON = frozenset({STILL_WORDS, "HOLD ON"})  # nothing else is to be done
_END_OF_WORDS = re.compile(r"[:;,.(]")
_BARE_UNIT = re.compile(r"(?<=\d) deg(?=[CF]\b)")
_KNOB = re.compile(r"(?:Turn|Set) the (\w+) (?:to )?(off|low|high)\b")
_BY_KIND = {
    CallKind.POUR: "POUR NOW",
    CallKind.WINDOW_CLOSING: "POUR NOW",
    CallKind.DIP: "DIP NOW",
    CallKind.SKIM: "SKIM",
    CallKind.ADD: "ADD METAL",
}
DIP_OVER = frozenset({CallKind.DIP, CallKind.STEP, CallKind.SKIM, CallKind.ADD, CallKind.POUR})


def call_of(snapshot: FurnaceSnapshot) -> CallView | None:
    """The call whose words the instruction is; None: it is of another kind."""
    return next((call for call in snapshot.calls if call.text == snapshot.instruction), None)


def dip_leads(snapshot: FurnaceSnapshot) -> bool:
    """A dip goes on, and nothing more pressing (cut the power, the window closes, a fault) takes its place."""
    if snapshot.dip_now is None or snapshot.lift_mono_s is not None:
        return False
    call = call_of(snapshot)
    return not snapshot.instruction_is_do or (call is not None and call.kind in DIP_OVER)


def headline(snapshot: FurnaceSnapshot) -> str:
    """A few capitals of what is to be done or waited for; empty where nothing short is true."""
    if dip_leads(snapshot) and snapshot.dip_now is not None:
        return _fitting(dip_headline(snapshot.dip_now))
    if snapshot.instruction_is_do:
        return _fitting(_to_do(snapshot))
    if not snapshot.melt:
        return ""
    if snapshot.melt_state is MeltState.READY:
        return "READY"
    ready = snapshot.ahead.ready_s if snapshot.ahead is not None else None
    if ready is None or not finite(ready.mid) or not finite(ready.low) or not finite(ready.high):
        return ""
    # Large letters leave no room for an interval: a time that may be twice or half as long is not said in them.
    if ready.mid < 60.0 or ready.high - ready.low > ready.mid:
        return ""
    return _fitting(f"WAIT {round(ready.mid / 60.0)} MIN" if ready.mid < 6000.0 else "WAIT")


def dip_headline(dip: DipView) -> str:
    """What the hand on the probe is to do."""
    if dip.hold_s is not None and dip.hold_s <= 0.0:
        return OUT_WORDS
    words = _END_OF_WORDS.split(dip.text, maxsplit=1)[0].strip().upper()
    return words if writable(words) and len(words) <= LONGEST else STILL_WORDS


def dip_words(dip: DipView) -> str:
    """The same for the place beside the countdown; of two sentences ("Power off. Hold still") the last."""
    if dip_headline(dip) == OUT_WORDS:
        return OUT_WORDS.lower()
    words = _END_OF_WORDS.split(dip.text.rsplit(". ", 1)[-1], maxsplit=1)[0].strip().lower()
    return words if 0 < len(words) <= LONGEST else STILL_WORDS.lower()


def _to_do(snapshot: FurnaceSnapshot) -> str:
    call = call_of(snapshot)
    if snapshot.lift_mono_s is not None and snapshot.instruction.startswith("Pour "):
        return "POUR"
    if snapshot.instruction.startswith("Every mould is poured"):
        return "EMPTY POT"
    if call is None:
        return ""
    if call.kind is CallKind.CUT_POWER:
        return "BURNER OFF" if snapshot.kind == "fuel" else "CUT POWER"
    if call.kind is CallKind.STEP:
        return _step(call.text, snapshot)
    return _BY_KIND[call.kind]


def _step(text: str, snapshot: FurnaceSnapshot) -> str:
    profile = snapshot.profile
    if profile is not None and profile.dial and text.startswith("Dial "):
        return f"DIAL {panel_figure(profile.dial)}"
    if found := _KNOB.search(text):
        return f"{found.group(1)} {found.group(2)}".upper()
    return "GO ON?" if profile is not None and profile.waits else ""


def panel_figure(dial: str) -> str:
    """`977 degF` as a panel shows it, `977 °F`, also inside a text. It stays in the panel's own unit."""
    return _BARE_UNIT.sub(" °", dial)


def _fitting(words: str) -> str:
    return words if writable(words) and len(words) <= LONGEST else ""
