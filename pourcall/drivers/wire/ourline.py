"""Our own checksummed line, both directions. ASCII, one line a frame, `*` and a CRC at its end.

Up (board to host):
    PC1,<seq>,<millis>,<channel>,<emf_uv or empty>,<chip code or empty>,<cold_junction_c or empty>,<flags>*crc
    PS1,<seq>,<millis>,<boot>,<output>,<applied_permille>,<ttl_left_ms>,<inputs>*crc
    PI1,<board>,<firmware>,<serial>,<chip>,<channels separated by ;>*crc
Down (host to board):
    ?                                           answered by PI1
    PW1,<seq>,<output>,<permille>,<ttl_ms>*crc  answered at once by PS1 with the same <seq>

crc: CRC-16/CCITT-FALSE (polynomial 0x1021, start 0xFFFF) over the text before `*`, four hex digits.
chip code: the chip's registers in hex, all digits, so that their number names the chip: 8 MAX31855 (the 32-bit word),
10 MCP960x (T_H, T_C, status), 12 MAX31856 (0x0A to 0x0F). The board does not linearise.
millis: the board's own milliseconds, 32 bits, wraps. PS1 comes once a second, after every command, and at once when an
input changes; its <seq> is that of the last command done for that output, 0 when there was none. <boot> changes with
every start of the board.
<inputs>: bits of `InputBit`. flags: 1 open, 2 short to ground, 4 short to supply, 8 cold junction, 16 restarted.
"""

import binascii
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntFlag
from typing import assert_never

from pourcall.contract.errors import FrameError, OutOfRange
from pourcall.contract.frames import BadFrame, BoardStatus, Frame, Identity, RawKind, Sample, SampleFlag
from pourcall.contract.message import tell
from pourcall.contract.settings import Board
from pourcall.drivers.wire import max31855, max31856, mcp960x
from pourcall.drivers.wire.format import WireFormat
from pourcall.drivers.wire.framing import LineDecoder, LineFramer, ascii_text
from pourcall.drivers.wire.hexline import CHANNEL, MAX_CHANNELS

NAME = "pourcall"
OUR_LINE_MAX = 512  # the longest PI1 is about 420; an endless line is told within 1 s at 9600 baud
IDENTITY_QUERY = b"?\n"
MAX_TTL_MS = 5_000  # power that is not renewed dies within this time, whatever the host asked for
MAX_OUTPUT = 15
HIGHEST_COUNT = 0xFFFF_FFFF  # 32 bits
SENT_FLAGS = 31  # bits above are set on this side of the wire only; a board that sends them is refused

_U32 = re.compile(r"\d{1,10}")
_DECIMAL = re.compile(r"-?\d{1,7}(?:\.\d{1,6})?")
_WORD = re.compile(r"[A-Za-z0-9_.+\- ]{0,32}")
_CODE = re.compile(r"(?:[0-9A-Fa-f]{8}|[0-9A-Fa-f]{10}|[0-9A-Fa-f]{12})")
_CHIP_OF_DIGITS = {8: "max31855", 10: "mcp960x", 12: "max31856"}
_NO_VALUE = SampleFlag.OPEN | SampleFlag.SHORT_GROUND | SampleFlag.SHORT_SUPPLY | SampleFlag.RESERVED_BITS


class InputBit(IntFlag):
    """Bits of `BoardStatus.inputs`: what is wired to the board's contacts."""

    NEXT = 1  # button or foot switch: "next"
    LIMIT_TRIPPED = 2  # the independent over-temperature limit has opened
    CURRENT = 4  # current flows to the element
    ON_BATTERY = 8  # mains is gone


@dataclass(frozen=True, slots=True)
class PowerCommand:
    """PW1 as a board reads it. permille 0..1000 of full power, gone after ttl_ms unless renewed."""

    seq: int
    output: int
    permille: int
    ttl_ms: int


@dataclass(frozen=True, slots=True)
class IdentityQuery:
    """`?` as a board reads it."""


def crc16(text: bytes) -> int:
    """CRC-16/CCITT-FALSE. Its check value for b"123456789" is 0x29B1 (catalogue of parametrised CRC algorithms)."""
    return binascii.crc_hqx(text, 0xFFFF)


def seal(text: str) -> bytes:
    """The text with its checksum and line end."""
    body = text.encode("ascii")
    return b"%s*%04X\n" % (body, crc16(body))


def unseal(line: bytes) -> list[str]:
    """The comma-separated fields of a sealed line. Raises FrameError."""
    body, star, crc_text = line.rpartition(b"*")
    if not star:
        raise FrameError(tell("frame.no_checksum"))
    if not re.fullmatch(rb"[0-9A-Fa-f]{4}", crc_text) or int(crc_text, 16) != crc16(body):
        raise FrameError(tell("frame.checksum", found=repr(crc_text[:8])[1:], wanted=f"'{crc16(body):04X}'"))
    return ascii_text(body).split(",")


# ---- up: encode (boards in simulation, tests of the firmware)


def encode_sample(
    seq: int,
    millis: int,
    channel: str,
    *,
    emf_uv: float | None = None,
    chip_code: bytes | None = None,
    cold_junction_c: float | None = None,
    flags: int = 0,
) -> bytes:
    """A PC1 line. emf in microvolts, chip_code as register bytes (4, 5 or 6). Raises OutOfRange."""
    if not CHANNEL.fullmatch(channel):
        raise OutOfRange(tell("frame.channel", channel=repr(channel)))
    _within("flags", flags, SENT_FLAGS)
    if chip_code is not None and 2 * len(chip_code) not in _CHIP_OF_DIGITS:
        raise OutOfRange(tell("frame.code_digits", count=2 * len(chip_code)))
    code = "" if chip_code is None else chip_code.hex().upper()
    count, at = _within("seq", seq), _within("millis", millis)
    return seal(f"PC1,{count},{at},{channel},{_number(emf_uv, 3)},{code},{_number(cold_junction_c, 4)},{flags}")


def encode_status(status: BoardStatus) -> bytes:
    """A PS1 line. Raises OutOfRange."""
    fields = (
        status.board_seq,
        status.board_ms,
        status.boot,
        status.output,
        status.applied_permille,
        status.ttl_left_ms,
        status.inputs,
    )
    return seal("PS1," + ",".join(str(_within("count", field)) for field in fields))


def encode_identity(identity: Identity) -> bytes:
    """A PI1 line. Raises OutOfRange for words with commas, stars, semicolons or more than 32 characters."""
    words = (identity.board, identity.firmware, identity.serial, identity.chip)
    if not identity.board or not all(_WORD.fullmatch(word) for word in words):
        raise OutOfRange(tell("frame.identity"), where=",".join(words))
    if len(identity.channels) > MAX_CHANNELS or not all(CHANNEL.fullmatch(name) for name in identity.channels):
        raise OutOfRange(tell("frame.channels", most=MAX_CHANNELS), where=";".join(identity.channels))
    return seal(",".join(("PI1", *words, ";".join(identity.channels))))


def _within(field: str, value: int, highest: int = HIGHEST_COUNT) -> int:
    if not 0 <= value <= highest:
        raise OutOfRange(tell("frame.count", field=field, found=str(value), highest=highest))
    return value


def _number(value: float | None, decimals: int) -> str:
    if value is None:
        return ""
    if not math.isfinite(value) or abs(value) >= 1e7:
        raise OutOfRange(tell("frame.no_figure", found=str(value)))
    return f"{value:.{decimals}f}"


# ---- down: encode (host) and decode (boards in simulation)


def encode_power(seq: int, output: int, permille: int, ttl_ms: int) -> bytes:
    """A PW1 line: power that dies by itself after ttl_ms. Raises OutOfRange beyond 0..1000 permille or 5 s."""
    fields = (
        _within("seq", seq),
        _within("output", output, MAX_OUTPUT),
        _within("permille", permille, 1000),
        _within("ttl_ms", ttl_ms, MAX_TTL_MS),
    )
    return seal("PW1," + ",".join(map(str, fields)))


def decode_down(line: bytes) -> PowerCommand | IdentityQuery:
    """One line from the host, without its end. Raises FrameError."""
    if line.strip() == b"?":
        return IdentityQuery()
    fields = unseal(line)
    if fields[0] != "PW1" or len(fields) != 5:
        raise FrameError(tell("frame.unknown", kind=repr(fields[0][:8]), count=len(fields)))
    seq = _count(fields[1], "seq")
    output = _count(fields[2], "output", MAX_OUTPUT)
    return PowerCommand(seq, output, _count(fields[3], "permille", 1000), _count(fields[4], "ttl_ms", MAX_TTL_MS))


class DownDecoder:
    """What a board hears: commands out of a byte stream. Lines that are none come out as BadFrame."""

    def __init__(self) -> None:
        self._framer = LineFramer(OUR_LINE_MAX)

    def feed(self, data: bytes) -> list[PowerCommand | IdentityQuery | BadFrame]:
        """The commands completed by `data`; never raises."""
        heard: list[PowerCommand | IdentityQuery | BadFrame] = []
        for line in self._framer.feed(data):
            if isinstance(line, BadFrame):
                heard.append(line)
                continue
            try:
                heard.append(decode_down(line))
            except FrameError as err:
                heard.append(BadFrame(why=err.what, sample_hex=line[:24].hex(), size=len(line)))
        return heard


# ---- up: decode (host)


def decode_up(line: bytes, chip: str = "") -> Sample | BoardStatus | Identity:
    """One line from a board, without its end. chip: what the board said it has, where known. Raises FrameError."""
    fields = unseal(line)
    kind, count = fields[0], len(fields)
    if kind == "PC1" and count == 8:
        return _sample(fields, chip)
    if kind == "PS1" and count == 8:
        return BoardStatus(
            board_seq=_count(fields[1], "seq"),
            board_ms=_count(fields[2], "millis"),
            boot=_count(fields[3], "boot"),
            output=_count(fields[4], "output", MAX_OUTPUT),
            applied_permille=_count(fields[5], "applied_permille", 1000),
            ttl_left_ms=_count(fields[6], "ttl_left_ms", MAX_TTL_MS),
            inputs=_count(fields[7], "inputs"),
        )
    if kind == "PI1" and count == 6:
        return _identity(fields)
    raise FrameError(tell("frame.unknown", kind=repr(kind[:8]), count=count))


def _sample(fields: list[str], chip: str) -> Sample:
    channel = fields[3]
    if not CHANNEL.fullmatch(channel):
        raise FrameError(tell("frame.channel", channel=repr(channel[:24])))
    emf_uv = _decimal(fields[4], "emf_uv")
    code = fields[5]
    cold_junction_c = _decimal(fields[6], "cold_junction_c")
    flags = _count(fields[7], "flags", SENT_FLAGS)
    if not code and emf_uv is None and not flags & _NO_VALUE:
        raise FrameError(tell("frame.no_value"))
    seq, millis = _count(fields[1], "seq"), _count(fields[2], "millis")
    if not code:
        return Sample(
            channel=channel,
            raw_kind=RawKind.EMF_UV,
            raw_value=None if flags & _NO_VALUE else emf_uv,
            cold_junction_c=cold_junction_c,
            flags=flags,
            board_seq=seq,
            board_ms=millis,
        )
    seen = _chip_sample(channel, code, chip)
    flags |= seen.flags
    value, kind = (seen.raw_value, seen.raw_kind) if emf_uv is None else (emf_uv, RawKind.EMF_UV)
    # The chip's own cold junction goes before the field: it is the one that the chip added to its reading.
    cold_c = seen.cold_junction_c if seen.cold_junction_c is not None else cold_junction_c
    if flags & SampleFlag.RESERVED_BITS:
        cold_c = None
    no_value = flags & (_NO_VALUE | SampleFlag.CHIP_RANGE)
    return Sample(
        channel=channel,
        raw_kind=kind,
        raw_value=None if no_value else value,
        cold_junction_c=cold_c,
        flags=flags,
        raw_code=seen.raw_code,
        board_seq=seq,
        board_ms=millis,
    )


def _chip_sample(channel: str, code: str, chip: str) -> Sample:
    if not _CODE.fullmatch(code):
        raise FrameError(tell("frame.code_digits", count=len(code)))
    named, raw = _CHIP_OF_DIGITS[len(code)], bytes.fromhex(code)
    said = "mcp960x" if chip in mcp960x.CHIPS else chip
    if said in _CHIP_OF_DIGITS.values() and said != named:
        raise FrameError(tell("frame.other_chip", count=len(code), chip=chip))
    if named == "max31855":
        return max31855.decode_sample(channel, raw)
    if named == "max31856":
        return max31856.decode_sample(channel, raw)
    return mcp960x.decode_sample(channel, raw, chip)


def _identity(fields: list[str]) -> Identity:
    if not fields[1] or not all(_WORD.fullmatch(word) for word in fields[1:5]):
        raise FrameError(tell("frame.identity"))
    channels = tuple(name for name in fields[5].split(";") if name)
    if len(channels) > MAX_CHANNELS or not all(CHANNEL.fullmatch(name) for name in channels):
        raise FrameError(tell("frame.channels", most=MAX_CHANNELS))
    return Identity(board=fields[1], firmware=fields[2], serial=fields[3], chip=fields[4].lower(), channels=channels)


def _count(text: str, field: str, highest: int = HIGHEST_COUNT) -> int:
    if not _U32.fullmatch(text) or int(text) > highest:
        raise FrameError(tell("frame.count", field=field, found=repr(text[:24]), highest=highest))
    return int(text)


def _decimal(text: str, field: str) -> float | None:
    if not text:
        return None
    if not _DECIMAL.fullmatch(text):
        raise FrameError(tell("frame.decimal", field=field, found=repr(text[:24])))
    return float(text)


class OurLineDecoder(LineDecoder):
    """Frames out of a board's byte stream. Remembers the chip that the board names, to cross-check and read its codes.

    A line ended by unplugging, or joined in the middle, fails its checksum: nothing need be dropped on joining midway.
    """

    name = NAME
    max_line = OUR_LINE_MAX
    query = IDENTITY_QUERY

    def __init__(self, *, chip: str = "") -> None:
        super().__init__()
        self._chip = chip

    def decode_line(self, line: bytes) -> list[Frame]:
        """The frame of one line. Raises FrameError."""
        frame = decode_up(line, self._chip)
        if isinstance(frame, Identity):
            self._chip = frame.chip
        return [frame]


def decoder(*, chip: str = "") -> OurLineDecoder:
    """The decoder of our own line."""
    return OurLineDecoder(chip=chip)


def encode(samples: Sequence[Sample]) -> list[bytes]:
    """One conversion of all channels, a PC1 line each: emf as it is, chips by their registers."""
    lines = []
    for sample in samples:
        emf_uv, code = None, None
        match sample.raw_kind:
            case RawKind.EMF_UV:
                emf_uv = sample.raw_value
            case RawKind.LINEAR_C:
                code = max31855.word_of(sample)
            case RawKind.ITS90_C | RawKind.TYPED_C:
                code = max31856.registers_of(sample)
            case _:
                assert_never(sample.raw_kind)
        lines.append(
            encode_sample(
                sample.board_seq or 0,
                sample.board_ms or 0,
                sample.channel,
                emf_uv=emf_uv,
                chip_code=code,
                cold_junction_c=sample.cold_junction_c,
                flags=sample.flags & SENT_FLAGS,
            )
        )
    return lines


def _decoder(board: Board) -> OurLineDecoder:
    return decoder(chip="" if board.chip == "emf" else board.chip)


FORMAT = WireFormat(
    name=NAME,
    example=b"PC1,23,184250,1,,02E01880,24.5000,0*BDF9\n",
    decoder=_decoder,
    encode=encode,
    carries=(RawKind.LINEAR_C, RawKind.EMF_UV, RawKind.ITS90_C),
    query=IDENTITY_QUERY,
    identity_mark=b"PI1,",
    checksum=True,
)
