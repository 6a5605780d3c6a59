"""Lines of chip registers in hex, whatever the chip. Text in, (channel, register bytes) out.

A line is one or more fields separated by blanks, tabs, commas or semicolons; a field is `<hex>` or `<channel>:<hex>`,
with or without `0x`, always with all digits of the chip's registers. A field without a channel is named by its place:
`1`, `2`, ... A line of nothing but two-digit groups (`29 A0 19 00`) is read as bytes of unnamed fields.
Where a chip may be read in two ways, every field of a line says by its length which it is.
One bad field refuses the whole line: a line is either understood or it is not.
"""

import re
from collections.abc import Callable

from pourcall.contract.errors import FrameError
from pourcall.contract.frames import Frame, Sample
from pourcall.contract.message import tell
from pourcall.drivers.wire.framing import LineDecoder, ascii_text

# 16 channels of `name:` and 32 digits are 800 bytes; a line without an end is told within 1 s at 9600 baud.
HEX_LINE_MAX = 832
MAX_CHANNELS = 16
CHANNEL = re.compile(r"[A-Za-z0-9_.\-]{1,16}")
_SPLIT = re.compile(r"[ \t,;]+")
_FIELD = re.compile(r"(?:([A-Za-z0-9_.\-]{1,16}):)?(?:0[xX])?([0-9A-Fa-f]+)")
_PAIR = re.compile(r"[0-9A-Fa-f]{2}")


def parse_hex_line(text: str, *sizes: int) -> list[tuple[str, bytes]]:
    """The (channel, bytes) fields of one line, each of one of these sizes. Raises FrameError."""
    words = [word for word in _SPLIT.split(text) if word]
    if not words:
        raise FrameError(tell("frame.empty"))
    size = len(words) if len(words) in sizes else sizes[0]
    if size > 1 and all(_PAIR.fullmatch(word) for word in words):
        joined = "".join(words)
        words = [joined[at : at + 2 * size] for at in range(0, len(joined), 2 * size)]
    if len(words) > MAX_CHANNELS:
        raise FrameError(tell("frame.too_many", count=len(words), most=MAX_CHANNELS))
    fields: dict[str, bytes] = {}
    for place, word in enumerate(words, start=1):
        found = _FIELD.fullmatch(word)
        if found is None:
            raise FrameError(tell("frame.no_hex", place=place))
        channel, digits = found.group(1) or str(place), found.group(2)
        if len(digits) % 2 or len(digits) // 2 not in sizes:
            wanted = min((2 * each for each in sizes), key=lambda each: abs(each - len(digits)))
            raise FrameError(tell("frame.digits", place=place, count=len(digits), wanted=wanted))
        if channel in fields:
            raise FrameError(tell("frame.channel_twice", channel=channel))
        fields[channel] = bytes.fromhex(digits)
    return list(fields.items())


def format_hex_line(fields: dict[str, bytes] | list[bytes]) -> bytes:
    """One line with its end; named fields from a dict, unnamed ones from a list. For simulators and firmware tests."""
    if isinstance(fields, dict):
        words = [f"{channel}:{raw.hex().upper()}" for channel, raw in fields.items()]
    else:
        words = [raw.hex().upper() for raw in fields]
    return " ".join(words).encode("ascii") + b"\n"


class HexLineDecoder(LineDecoder):
    """Hex lines of one chip. `to_sample(channel, registers)` decodes a field."""

    max_line = HEX_LINE_MAX

    def __init__(
        self, name: str, size: int | tuple[int, ...], to_sample: Callable[[str, bytes], Sample], *, midway: bool
    ) -> None:
        super().__init__(midway=midway)
        self.name = name
        self._sizes = (size,) if isinstance(size, int) else size
        self._to_sample = to_sample

    def decode_line(self, line: bytes) -> list[Frame]:
        """The samples of one line. Raises FrameError."""
        fields = parse_hex_line(ascii_text(line), *self._sizes)
        return [self._to_sample(channel, raw) for channel, raw in fields]


def right_size(raw: bytes, size: int) -> bytes:
    """The registers of a chip, when they are as many bytes as it has. Raises FrameError."""
    if len(raw) != size:
        raise FrameError(tell("frame.size", count=len(raw), wanted=size))
    return raw


def signed(value: int, bits: int) -> int:
    """Two's complement of `bits` bits."""
    return value - (1 << bits) if value & (1 << (bits - 1)) else value
