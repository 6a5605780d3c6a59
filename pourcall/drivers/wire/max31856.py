"""MAX31856 registers 0x0A to 0x0F, or all from 0x00 on. Bytes in, one Sample out, and back for the simulator.

Order: CJTH CJTL LTCBH LTCBM LTCBL SR, as one burst read gives them. The chip linearises by ITS-90 itself, for the type
it is set to. A burst of all sixteen registers begins with CR0 and CR1, its settings: it comes up set to type K and with
its check for an open couple off, and after every dip of its supply again.
Layout: MAX31856 data sheet, Tables 2 and 3, CR0 and CR1 and the fault status register. Hex lines: `hexline`, 12 or 32
digits a field.
"""

from collections.abc import Sequence

from pourcall.contract.errors import OutOfRange
from pourcall.contract.frames import RawKind, Sample, SampleFlag, chip_type_flag
from pourcall.contract.message import tell
from pourcall.contract.settings import Board
from pourcall.drivers.wire.format import WireFormat
from pourcall.drivers.wire.hexline import HexLineDecoder, format_hex_line, right_size, signed

NAME = "max31856_hex"
REGISTER_BYTES = 6
ALL_BYTES = 16
CR0_OPEN_CHECK = 0x30  # OCFAULT; 00: off
CR1_TYPE = 0x0F
TYPES = ("B", "E", "J", "K", "N", "R", "S", "T")  # codes 0 to 7; from 8 on it gives a voltage
HOT_STEP_C = 0.0078125  # 19 bits
COLD_STEP_C = 0.015625  # 14 bits

SR_COLD_RANGE = 0x80
SR_HOT_RANGE = 0x40
SR_OVUV = 0x02  # input over- or undervoltage: conversions stop and the old value stays in the register
SR_OPEN = 0x01
# Bits 5..2 (CJHIGH, CJLOW, TCHIGH, TCLOW) compare with limits somebody may have set in the chip; ours are elsewhere.


def decode_cold_c(raw: bytes) -> float:
    """CJTH, CJTL in degC: 14 bits left-justified. Raises FrameError for another size."""
    return (signed(int.from_bytes(right_size(raw, 2), "big"), 16) & ~0b11) / 256


def decode_hot_c(raw: bytes) -> float:
    """LTCBH, LTCBM, LTCBL in degC: 19 bits left-justified, the low five "don't care" and cleared. Raises FrameError."""
    return (signed(int.from_bytes(right_size(raw, 3), "big"), 24) & ~0b11111) / 4096


def decode_sample(channel: str, raw: bytes) -> Sample:
    """Six register bytes, or all sixteen, as a Sample. Raises FrameError for another size.

    CJTL bits 1..0 always read 0: set, nothing of this read is believed. OVUV is told as a short to the supply. What it
    converts beside the flag of an open couple is kept: a flag that stays though the couple is whole shows by it.
    """
    set_up = 0
    if len(raw) == ALL_BYTES:
        set_up, raw = settings_flags(raw[0], raw[1]), raw[-REGISTER_BYTES:]
    code, status = int.from_bytes(right_size(raw, REGISTER_BYTES), "big"), raw[5]
    if raw[1] & 0b11:
        flags = int(SampleFlag.RESERVED_BITS)
        return Sample(channel=channel, raw_kind=RawKind.ITS90_C, raw_value=None, flags=flags, raw_code=code)
    flags = set_up
    if status & SR_OPEN:
        flags |= SampleFlag.OPEN
    if status & SR_OVUV:
        flags |= SampleFlag.SHORT_SUPPLY
    if status & SR_HOT_RANGE:
        flags |= SampleFlag.CHIP_RANGE
    if status & SR_COLD_RANGE:
        flags |= SampleFlag.COLD_JUNCTION
    without = flags & (SampleFlag.SHORT_SUPPLY | SampleFlag.CHIP_RANGE)
    return Sample(
        channel=channel,
        raw_kind=RawKind.ITS90_C,
        raw_value=None if without else decode_hot_c(raw[2:5]),
        cold_junction_c=decode_cold_c(raw[:2]),
        flags=int(flags),
        raw_code=code,
    )


def settings_flags(cr0: int, cr1: int) -> int:
    """What the two settings registers say, as flags of a sample."""
    code = cr1 & CR1_TYPE
    flags = chip_type_flag(TYPES[code] if code < len(TYPES) else "-")
    return flags | (0 if cr0 & CR0_OPEN_CHECK else int(SampleFlag.NO_OPEN_CHECK))


def encode_registers(hot_c: float, cold_c: float, status: int = 0) -> bytes:
    """The six bytes for these temperatures, to the nearest step. Raises OutOfRange."""
    hot, cold = round(hot_c / HOT_STEP_C), round(cold_c / COLD_STEP_C)
    if not -(1 << 18) <= hot < 1 << 18 or not -(1 << 13) <= cold < 1 << 13 or not 0 <= status <= 0xFF:
        raise OutOfRange(tell("error.registers", hot_c=hot_c, cold_c=cold_c, status=status))
    return (
        ((cold << 2) & 0xFFFF).to_bytes(2, "big")
        + ((hot << 5) & 0xFF_FFFF).to_bytes(3, "big")
        + status.to_bytes(1, "big")
    )


def decoder(*, midway: bool = False) -> HexLineDecoder:
    """The decoder of hex lines of MAX31856 registers."""
    return HexLineDecoder(NAME, (REGISTER_BYTES, ALL_BYTES), decode_sample, midway=midway)


def registers_of(sample: Sample) -> bytes:
    """The registers behind a sample; an open couple leaves 0 beside its fault bit."""
    status = SR_OPEN if sample.flags & SampleFlag.OPEN else 0
    status |= SR_OVUV if sample.flags & (SampleFlag.SHORT_GROUND | SampleFlag.SHORT_SUPPLY) else 0
    return encode_registers(sample.raw_value or 0.0, sample.cold_junction_c or 0.0, status)


def encode(samples: Sequence[Sample]) -> list[bytes]:
    """One conversion of all channels: a line of registers."""
    return [format_hex_line({sample.channel: registers_of(sample) for sample in samples})]


def _decoder(board: Board) -> HexLineDecoder:
    return decoder(midway=True)


FORMAT = WireFormat(
    name=NAME,
    example=b"T1:188002E00000\n",
    decoder=_decoder,
    encode=encode,
    carries=(RawKind.ITS90_C,),
    chip="max31856",
)
