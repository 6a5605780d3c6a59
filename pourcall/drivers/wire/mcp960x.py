"""MCP9600 and MCP9601 registers. T_H, T_C and STATUS in, one Sample out, and back for the simulator.

Five bytes: hot junction 0x00 (two), cold junction 0x02 (two), status 0x04 (one). The chip linearises by ITS-90 itself.
Layout: MCP960X/L0X/RL0X data sheet DS20005426G, equation 5-1 and the status register. Hex lines: 10 digits a field.
"""

from collections.abc import Sequence
from functools import partial

from pourcall.contract.errors import OutOfRange
from pourcall.contract.frames import RawKind, Sample, SampleFlag
from pourcall.contract.message import tell
from pourcall.contract.settings import Board
from pourcall.drivers.wire.format import WireFormat
from pourcall.drivers.wire.hexline import HexLineDecoder, format_hex_line, right_size, signed

NAME = "mcp960x_hex"
REGISTER_BYTES = 5
STEP_C = 0.0625

STATUS_UPDATED = 0x40  # T_H is new since it was last read
STATUS_SHORT = 0x20  # 9601 only; the 9600 always reads 0 here
STATUS_RANGE = 0x10  # 9600: input beyond the converter; 9601: open circuit. Either way T_H is not updated
CHIPS = ("mcp9600", "mcp9601")


def decode_temp_c(raw: bytes) -> float:
    """T_H or T_C in degC. Source: DS20005426G equation 5-1. Raises FrameError for another size than two bytes."""
    return signed(int.from_bytes(right_size(raw, 2), "big"), 16) * STEP_C


def decode_sample(channel: str, raw: bytes, chip: str = "") -> Sample:
    """Five bytes as a Sample. Raises FrameError for another size.

    chip: "mcp9600", "mcp9601" or "" for not known; only a 9601 tells open from out of range, and only it looks for
    shorts. It does not say to which side a short is, so both flags are set.
    """
    status, flags = right_size(raw, REGISTER_BYTES)[4], 0
    if status & STATUS_RANGE:
        flags |= SampleFlag.OPEN if chip == "mcp9601" else SampleFlag.CHIP_RANGE
    if status & STATUS_SHORT:
        if chip == "mcp9600":
            flags = SampleFlag.RESERVED_BITS
        else:
            flags |= SampleFlag.SHORT_GROUND | SampleFlag.SHORT_SUPPLY
    return Sample(
        channel=channel,
        raw_kind=RawKind.ITS90_C,
        raw_value=None if flags else decode_temp_c(raw[:2]),
        cold_junction_c=None if flags & SampleFlag.RESERVED_BITS else decode_temp_c(raw[2:4]),
        flags=int(flags),
        raw_code=int.from_bytes(raw, "big"),
    )


def encode_registers(hot_c: float, cold_c: float, status: int = STATUS_UPDATED) -> bytes:
    """The five bytes for these temperatures, to the nearest step. Raises OutOfRange."""
    hot, cold = round(hot_c / STEP_C), round(cold_c / STEP_C)
    if not -0x8000 <= hot <= 0x7FFF or not -0x8000 <= cold <= 0x7FFF or not 0 <= status <= 0xFF:
        raise OutOfRange(tell("error.registers", hot_c=hot_c, cold_c=cold_c, status=status))
    return (hot & 0xFFFF).to_bytes(2, "big") + (cold & 0xFFFF).to_bytes(2, "big") + status.to_bytes(1, "big")


def decoder(*, chip: str = "", midway: bool = False) -> HexLineDecoder:
    """The decoder of hex lines of MCP960x registers."""
    return HexLineDecoder(NAME, REGISTER_BYTES, partial(decode_sample, chip=chip), midway=midway)


def encode(samples: Sequence[Sample]) -> list[bytes]:
    """One conversion of all channels: a line of registers."""
    return [format_hex_line({sample.channel: registers_of(sample) for sample in samples})]


def registers_of(sample: Sample) -> bytes:
    """The registers behind a sample; an open couple leaves 0 beside its status bit."""
    status = STATUS_UPDATED | (STATUS_RANGE if sample.flags & SampleFlag.OPEN else 0)
    status |= STATUS_SHORT if sample.flags & (SampleFlag.SHORT_GROUND | SampleFlag.SHORT_SUPPLY) else 0
    return encode_registers(sample.raw_value or 0.0, sample.cold_junction_c or 0.0, status)


def _decoder(board: Board) -> HexLineDecoder:
    return decoder(chip=board.chip, midway=True)


FORMAT = WireFormat(
    name=NAME,
    example=b"02E0018840\n",
    decoder=_decoder,
    encode=encode,
    carries=(RawKind.ITS90_C,),
    chip="mcp960x",
)
