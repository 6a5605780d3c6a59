"""What one frame from a board says, after decoding and before any physics.

Bytes become one of these in drivers/wire/*; the engine takes them from here. No temperature is computed here.
"""

from enum import IntFlag, StrEnum

import msgspec

from pourcall.contract.message import Told


class SampleFlag(IntFlag):
    """Flags a board may set on a sample; the bit values are those of our own line."""

    OPEN = 1
    SHORT_GROUND = 2
    SHORT_SUPPLY = 4
    COLD_JUNCTION = 8
    RESTARTED = 16
    # Set by decoders on this side of the wire, never sent:
    RESERVED_BITS = 256  # a chip word with a bit set that the data sheet says is always 0
    CHIP_RANGE = 512  # a converting chip says that its input is beyond what it converts; it kept its old value
    NO_OPEN_CHECK = 1024  # its own settings, read back with the measurement: it does not look for an open couple
    # From bit 12 on: the type of couple it is set to, as `CHIP_TYPES` counts; none where it was not read back.


CHIP_TYPES = ("", "B", "E", "J", "K", "N", "R", "S", "T", "-")  # "-": none of them, a plain voltage
_TYPE_SHIFT, _TYPE_MASK = 12, 0xF


def chip_type_flag(tc_type: str) -> int:
    """The flag bits that say so of a chip."""
    return CHIP_TYPES.index(tc_type) << _TYPE_SHIFT


def chip_type_of(flags: int) -> str:
    """The type a chip says it is set to; empty where it was not read back."""
    code = flags >> _TYPE_SHIFT & _TYPE_MASK
    return CHIP_TYPES[code] if code < len(CHIP_TYPES) else "-"


class RawKind(StrEnum):
    """What `raw_value` is, and therefore how a temperature is made of it."""

    EMF_UV = "emf_uv"  # microvolts at the amplifier's terminals; the cold junction is added in emf
    LINEAR_C = "linear_c"  # degC from an amplifier that takes the couple for linear (MAX31855)
    ITS90_C = "its90_c"  # degC already on ITS-90: a converting chip, an instrument, a file
    TYPED_C = "typed_c"  # degC typed by a person from a panel or a handheld meter


class Sample(msgspec.Struct, frozen=True, tag="sample", tag_field="type", omit_defaults=True):
    """One measurement of one board channel, as sent.

    raw_value is None where the flags or the chip say that there is no value; what a chip still converts beside the flag
    of an open couple is kept, and counts for nothing. board_ms is the board's own
    millisecond counter as sent: it wraps at 2**32 and the host unwraps it.
    """

    channel: str
    raw_kind: RawKind
    raw_value: float | None
    cold_junction_c: float | None = None
    flags: int = 0
    raw_code: int | None = None  # the chip's word as sent, where there is one
    board_seq: int | None = None
    board_ms: int | None = None


class BoardStatus(msgspec.Struct, frozen=True, tag="board_status", tag_field="type", omit_defaults=True):
    """The board's own report: applied power, time left before it drops, contacts and buttons."""

    board_seq: int
    board_ms: int
    boot: int
    output: int
    applied_permille: int
    ttl_left_ms: int
    inputs: int = 0


class Identity(msgspec.Struct, frozen=True, tag="identity", tag_field="type", omit_defaults=True):
    """The board's answer to `?`."""

    board: str
    firmware: str = ""
    serial: str = ""
    chip: str = ""
    channels: tuple[str, ...] = ()


class BadFrame(msgspec.Struct, frozen=True, tag="bad_frame", tag_field="type", omit_defaults=True):
    """Bytes that are no frame: why, and the first of them in hex. `printable` is the share of ASCII text in them."""

    why: Told
    sample_hex: str
    size: int
    printable: float = 1.0


Frame = Sample | BoardStatus | Identity | BadFrame
