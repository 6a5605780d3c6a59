"""Which format was heard. Bytes in, a `Guess` with a sentence a person can act on out.

Each format's own decoder judges (`registry.FORMATS`); nothing here knows a format. Used by the port scan.
"""

from dataclasses import dataclass

from pourcall.contract.frames import BadFrame, Identity, Sample
from pourcall.contract.message import Message, tell
from pourcall.contract.settings import Board
from pourcall.drivers.wire.format import UNHEARD, Heard, WireFormat
from pourcall.drivers.wire.framing import Decoder, printable_share
from pourcall.drivers.wire.registry import FORMATS

NOTHING = "nothing"
WRONG_SPEED = "wrong_speed"
UNKNOWN = "unknown"
FEWEST_BYTES = 8  # fewer say nothing about a format
TEXT_SHARE = 0.75  # printable bytes below this: another speed, or a binary protocol
GOOD_SHARE = 0.6  # of whole lines, for a format without a checksum


@dataclass(frozen=True, slots=True)
class Guess:
    """format: a format's name, or `nothing`, `wrong_speed`, `unknown`; says: the same in a sentence."""

    format: str
    says: Message
    heard: Heard = UNHEARD
    printable: float = 1.0


def guess_format(data: bytes) -> Guess:
    """What `data`, heard on a port that was joined in the middle, most likely is."""
    share = printable_share(data)
    if not data:
        return Guess(NOTHING, tell("port.nothing_heard"))
    for each in FORMATS.values():
        if each.checksum and (heard := _heard(each, data)) is not None:
            return _found(each, heard, share)
    if len(data) < FEWEST_BYTES:
        return Guess(UNKNOWN, tell("port.few_bytes", count=len(data)), printable=share)
    if share < TEXT_SHARE:
        return Guess(WRONG_SPEED, tell("port.no_text", printable_share=share), printable=share)
    for each in FORMATS.values():
        if not each.checksum and (heard := _heard(each, data)) is not None:
            return _found(each, heard, share)
    whole = len([line for line in data.replace(b"\r", b"\n").split(b"\n")[1:-1] if line.strip()])
    return Guess(UNKNOWN, tell("port.text_without_numbers" if whole else "port.text_without_line"), printable=share)


def _heard(one: WireFormat, data: bytes) -> Heard | None:
    if one.recognise is not None:
        return one.recognise(data)
    return _by_decoder(one.decoder(Board(port="")), data, share=0.0 if one.checksum else GOOD_SHARE)


def _by_decoder(decoder: Decoder, data: bytes, *, share: float) -> Heard | None:
    frames = decoder.feed(data)
    good = [frame for frame in frames if not isinstance(frame, BadFrame)]
    if not good or len(good) < share * len(frames):
        return None
    identity = next((frame for frame in reversed(good) if isinstance(frame, Identity)), None)
    channels = dict.fromkeys(frame.channel for frame in good if isinstance(frame, Sample))
    if identity is not None:
        channels = dict.fromkeys(identity.channels) | channels
    return Heard(tuple(channels), identity)


def _found(one: WireFormat, heard: Heard, share: float) -> Guess:
    identity, channels = heard.identity, ", ".join(heard.channels)
    if heard.columns:
        says = tell("port.columns", count=heard.columns, example=heard.example)
    elif identity is not None:
        board, serial = f"{identity.board} {identity.firmware}".strip(), identity.serial or "none"
        says = tell("port.board", format=one.name, channels=channels, board=board, serial=serial)
    else:
        says = tell("port.lines", format=one.name, channels=channels)
    return Guess(one.name, says, heard, share)
