"""What a screen is made of before a word is chosen: snapshot, link, the reader's wishes, division of cells."""

import msgspec

from pourcall.contract.events import MeltState
from pourcall.contract.message import NOTHING, Told, tell
from pourcall.contract.snapshot import WATCH, FurnaceSnapshot, MetalView
from pourcall.tui.client import LinkState
from pourcall.tui.drawing.styled import Line
from pourcall.tui.screen.words import Look


class LinkView(msgspec.Struct, frozen=True, kw_only=True):
    """How the daemon is heard."""

    state: LinkState = LinkState.LIVE
    silent_s: float = 0.0
    problem: Told = NOTHING
    read_only: Told = NOTHING
    address: str = ""


class Key(msgspec.Struct, frozen=True):
    """A key and what it does in a word; where keys do not all fit, those of the highest rank are left to the help."""

    key: str
    does: Told
    rank: int = 0


class Scene(msgspec.Struct, frozen=True, kw_only=True):
    """All that a screen is made of."""

    snapshot: FurnaceSnapshot | None
    others: tuple[FurnaceSnapshot, ...] = ()
    link: LinkView = LinkView()
    look: Look = Look()
    sound: Told = NOTHING
    message: Line = ()  # the last answer, or the open question
    keys: tuple[Key, ...] = ()
    prompt_keys: tuple[Key, ...] = ()  # in their place, while a question is open


class Sizes(msgspec.Struct, frozen=True):
    """How the screen is divided, in cells."""

    scale_width: int
    figure_width: int
    facts_width: int
    digit_rows: int
    band_rows: int
    alarm_rows: int
    info_rows: int
    key_rows: int
    roomy: bool


def sizes_for(look: Look) -> Sizes:
    """The division of a screen of this size: everything has a place at 80 x 24, and grows from there."""
    roomy = look.width >= 104 and look.height >= 32
    scale_width, figure_width = (30, 44) if roomy else (24, 34)
    return Sizes(
        scale_width=scale_width,
        figure_width=figure_width,
        facts_width=look.width - scale_width - figure_width,
        digit_rows=7 if roomy else 5,
        band_rows=5 if roomy and look.height >= 40 else 3,
        alarm_rows=max(3, min(9, look.height - 25)),
        info_rows=4 if look.height < 27 else 8 if roomy and look.height >= 36 else 5,
        key_rows=1 if look.height < 27 else 2,
        roomy=roomy,
    )


def dashed(snapshot: FurnaceSnapshot, silent_s: float = 0.0) -> FurnaceSnapshot:
    """The snapshot without a single figure that is only true now; what is on the record stays, and ages.

    The forecast, a dip that goes on and a profile's place are of now, all of them.
    """
    window = snapshot.window
    if window is not None:
        window = msgspec.structs.replace(window, lip_now_c=None, too_cold=None, too_hot=None)
    return msgspec.structs.replace(
        snapshot,
        metal=MetalView(temp_c=None, how=tell("screen.lost.how", melt_state=snapshot.melt_state.value)),
        probes=(),
        melt_state=MeltState.UNKNOWN,
        window=window,
        mono_s=snapshot.mono_s + max(0.0, silent_s),
        ahead=None,
        dip_now=None,
        profile=None,
        countdown_s=None,
        applied_permille=None,
        power=None,
        calls=(),
        boards={},
        flags={},
        instruction=WATCH,
    )
