"""MAX31855 words. 32 bits in, one `Word` or `Sample` out, and back for the simulator.

The chip takes the couple for linear (41.276 uV/degC for type K) and adds its own temperature; undoing that is the
work of `thermometry.compensation`. Bit layout: MAX31855 data sheet 19-5793 Rev 5, Tables 2 to 5.
Hex lines: `drivers.wire.hexline`, 8 digits a field, most significant first.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from pourcall.contract.errors import FrameError, OutOfRange
from pourcall.contract.frames import RawKind, Sample, SampleFlag
from pourcall.contract.message import tell
from pourcall.contract.settings import Board
from pourcall.drivers.wire.format import WireFormat
from pourcall.drivers.wire.hexline import HexLineDecoder, format_hex_line, right_size, signed

NAME = "max31855_hex"
WORD_BYTES = 4
HOT_STEP_C = 0.25
COLD_STEP_C = 0.0625
RESERVED_MASK = (1 << 17) | (1 << 3)  # D17 and D3 always read 0; a bus that is stuck high breaks this
FAULT_SUMMARY = 1 << 16
_FAULTS = ((1, SampleFlag.OPEN), (2, SampleFlag.SHORT_GROUND), (4, SampleFlag.SHORT_SUPPLY))  # D0 OC, D1 SCG, D2 SCV


@dataclass(frozen=True, slots=True)
class Word:
    """What one word says. hot_c and cold_c are None where a fault or a reserved bit says that they mean nothing."""

    hot_c: float | None
    cold_c: float | None
    flags: int  # SampleFlag bits


def decode_word(word: int) -> Word:
    """One 32-bit word. A word of zeros is 0 and 0 with no flag: that it is no furnace is the engine's to see.

    The cold junction is measured apart and stays good with an open or shorted couple. The summary bit D16 without any
    of D2..D0 cannot come from a sound chip (data sheet: it is their OR) and counts as a reserved bit.
    Raises FrameError when `word` is not of 32 bits.
    """
    if not 0 <= word <= 0xFFFF_FFFF:
        raise FrameError(tell("frame.no_word", word=f"{word:#x}"))
    faults = word & 0b111
    if word & RESERVED_MASK or bool(word & FAULT_SUMMARY) != bool(faults):
        return Word(None, None, int(SampleFlag.RESERVED_BITS))
    flags = sum(int(flag) for bit, flag in _FAULTS if faults & bit)
    hot_c = None if faults else signed(word >> 18, 14) * HOT_STEP_C
    return Word(hot_c, signed((word >> 4) & 0xFFF, 12) * COLD_STEP_C, flags)


def encode_word(hot_c: float | None, cold_c: float, flags: int = 0) -> int:
    """The word the chip sends: linearised degC and cold junction, to the nearest step; `flags` are SampleFlag bits.

    hot_c None sends what the data sheet gives for an unconnected couple (D31 = 0, D30..D18 = 1).
    Raises OutOfRange beyond -2048..2047.75 and -128..127.9375 degC.
    """
    hot_steps = 0x1FFF if hot_c is None else round(hot_c / HOT_STEP_C)
    cold_steps = round(cold_c / COLD_STEP_C)
    if not -0x2000 <= hot_steps <= 0x1FFF:
        raise OutOfRange(tell("error.hot_bits", hot_c=hot_c or 0.0))
    if not -0x800 <= cold_steps <= 0x7FF:
        raise OutOfRange(tell("error.cold_bits", cold_c=cold_c))
    word = (hot_steps & 0x3FFF) << 18 | (cold_steps & 0xFFF) << 4
    faults = sum(bit for bit, flag in _FAULTS if flags & flag)
    return word | faults | (FAULT_SUMMARY if faults else 0)


def decode_sample(channel: str, raw: bytes) -> Sample:
    """Four bytes, most significant first, as a Sample. Raises FrameError for another size."""
    code = int.from_bytes(right_size(raw, WORD_BYTES), "big")
    word = decode_word(code)
    return Sample(
        channel=channel,
        raw_kind=RawKind.LINEAR_C,
        raw_value=word.hot_c,
        cold_junction_c=word.cold_c,
        flags=word.flags,
        raw_code=code,
    )


def word_bytes(word: int) -> bytes:
    """A word as it goes over the wire, most significant byte first."""
    return word.to_bytes(WORD_BYTES, "big")


def decoder(*, midway: bool = False) -> HexLineDecoder:
    """The decoder of hex lines of MAX31855 words."""
    return HexLineDecoder(NAME, WORD_BYTES, decode_sample, midway=midway)


def encode(samples: Sequence[Sample]) -> list[bytes]:
    """One conversion of all channels: a line of words."""
    return [format_hex_line({sample.channel: word_of(sample) for sample in samples})]


def word_of(sample: Sample) -> bytes:
    """The word behind a sample, as the chip sent it."""
    assert sample.raw_code is not None
    return word_bytes(sample.raw_code)


def _decoder(board: Board) -> HexLineDecoder:
    return decoder(midway=True)


FORMAT = WireFormat(
    name=NAME,
    example=b"29A01900\n",
    decoder=_decoder,
    encode=encode,
    carries=(RawKind.LINEAR_C,),
    chip="max31855",
)
