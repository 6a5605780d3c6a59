"""What a screen is made of before a word is chosen: snapshot, link, the reader's wishes, division of cells."""

import msgspec

from pourcall.contract.events import MeltState
from pourcall.contract.snapshot import FurnaceSnapshot, MetalView
from pourcall.contract.units import in_unit
from pourcall.tui.client import LinkState
from pourcall.tui.drawing.spans import Line, Span
from pourcall.tui.screen.words import (
    MELT_WORDS,
    Look,
    alarms_in_unit,
)


class LinkView(msgspec.Struct, frozen=True, kw_only=True):
    """How the daemon is heard."""

    state: LinkState = LinkState.LIVE
    silent_s: float = 0.0
    problem: str = ""
    read_only: str = ""
    address: str = ""


class Key(msgspec.Struct, frozen=True):
    """A key and what it does in a word; where keys do not all fit, those of the highest rank are left to the help."""

    key: str
    word: str
    rank: int = 0


class Scene(msgspec.Struct, frozen=True, kw_only=True):
    """All that a screen is made of."""

    snapshot: FurnaceSnapshot | None
    others: tuple[FurnaceSnapshot, ...] = ()
    link: LinkView = LinkView()
    look: Look = Look()
    sound: str = "sound: off"
    message: Line = ()  # the last answer, or the open question
    keys: tuple[Key, ...] = ()
    prompt_keys: tuple[tuple[str, str], ...] = ()  # in their place, while a question is open


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


def in_readers_unit(scene: Scene) -> Scene:
    """The scene with every temperature inside a text written in the reader's unit."""
    unit = scene.look.unit

    def written(snapshot: FurnaceSnapshot) -> FurnaceSnapshot:
        calls = tuple(
            msgspec.structs.replace(call, text=in_unit(call.text, unit), why=in_unit(call.why, unit))
            for call in snapshot.calls
        )
        window, ahead, profile = snapshot.window, snapshot.ahead, snapshot.profile
        dip, last = snapshot.dip_now, snapshot.last_dip
        return msgspec.structs.replace(
            snapshot, instruction=in_unit(snapshot.instruction, unit), calls=calls,
            alarms=alarms_in_unit(snapshot.alarms, unit),
            metal=msgspec.structs.replace(snapshot.metal, how=in_unit(snapshot.metal.how, unit)),
            window=window and msgspec.structs.replace(window, why=in_unit(window.why, unit)),
            ahead=ahead and msgspec.structs.replace(ahead, why=in_unit(ahead.why, unit)),
            profile=profile and msgspec.structs.replace(
                profile, advice=in_unit(profile.advice, unit),
                segments=tuple(in_unit(words, unit) for words in profile.segments),
            ),
            dip_now=dip and msgspec.structs.replace(dip, text=in_unit(dip.text, unit, 1)),  # a fit error is under 1
            last_dip=last and msgspec.structs.replace(last, why=in_unit(last.why, unit)),
            arrest=in_unit(snapshot.arrest, unit),
        )

    return msgspec.structs.replace(
        scene,
        snapshot=written(scene.snapshot) if scene.snapshot is not None else None,
        others=tuple(written(other) for other in scene.others),
        message=tuple(Span(in_unit(span.text, unit), span.role) for span in scene.message),
    )


def dashed(snapshot: FurnaceSnapshot, silent_s: float = 0.0) -> FurnaceSnapshot:
    """The snapshot without a single figure that is only true now; what is on the record stays, and ages.

    Foresight, a dip that goes on and a profile's place are of now, all of them.
    """
    was = MELT_WORDS[snapshot.melt_state]
    window = snapshot.window
    if window is not None:
        window = msgspec.structs.replace(window, lip_now_c=None, too_cold=None, too_hot=None)
    return msgspec.structs.replace(
        snapshot, metal=MetalView(temp_c=None, how=f"no word; the melt was last {was}"), probes=(),
        melt_state=MeltState.UNKNOWN, window=window,
        mono_s=snapshot.mono_s + max(0.0, silent_s), ahead=None, dip_now=None, profile=None,
        countdown_s=None, applied_permille=None, power=None, calls=(), boards={}, flags={},
        instruction="", instruction_is_do=False,
    )
