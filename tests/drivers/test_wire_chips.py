"""The chips' registers against their data sheets. Vectors: tests/data/amplifiers (provenance in its README)."""

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pourcall.contract.errors import FrameError, OutOfRange
from pourcall.contract.frames import BadFrame, RawKind, Sample, SampleFlag, chip_type_of
from pourcall.drivers.wire import max31855, max31856, mcp960x
from pourcall.drivers.wire.hexline import format_hex_line, parse_hex_line
from tests.told import name_of

VECTORS: dict[str, list[dict[str, Any]]] = json.loads(
    (Path(__file__).parents[1] / "data" / "amplifiers" / "amplifier_vectors.json").read_text(encoding="utf-8")
)
M55 = VECTORS["max31855"]


# MAX31855 data sheet 19-5793 Rev 5, Table 4: printed 14-bit patterns.
@pytest.mark.parametrize("row", [row for row in M55 if "field14" in row], ids=lambda row: str(row["t_tc"]))
def test_max31855_hot_junction_decodes_to_the_printed_temperature(row: dict[str, Any]) -> None:
    word = max31855.decode_word(int(row["field14"], 2) << 18)
    assert (word.hot_c, word.flags) == (row["t_tc"], 0)


# MAX31855 data sheet 19-5793 Rev 5, Table 5: printed 12-bit patterns.
@pytest.mark.parametrize("row", [row for row in M55 if "field12" in row], ids=lambda row: str(row["t_cj"]))
def test_max31855_cold_junction_decodes_to_the_printed_temperature(row: dict[str, Any]) -> None:
    word = max31855.decode_word(int(row["field12"], 2) << 4)
    assert (word.cold_c, word.flags) == (row["t_cj"], 0)


@pytest.mark.parametrize("row", [row for row in M55 if "true_t" in row], ids=lambda row: row["frame"])
def test_max31855_computed_frames_decode_and_encode(row: dict[str, Any]) -> None:
    frame = int(row["frame"], 16)
    word = max31855.decode_word(frame)
    assert (word.hot_c, word.cold_c, word.flags) == (row["chip_t_quantised"], row["t_cj"], 0)
    assert max31855.encode_word(row["chip_t_ideal"], row["t_cj"]) == frame


# Data sheet, Table 2: D2 SCV, D1 SCG, D0 OC; the frames are in the vectors.
@pytest.mark.parametrize(
    ("frame", "flag"),
    [
        (0x00011901, SampleFlag.OPEN),
        (0x00011902, SampleFlag.SHORT_GROUND),
        (0x00011904, SampleFlag.SHORT_SUPPLY),
        (0x7FFD1901, SampleFlag.OPEN),  # data sheet text: unconnected couple reads D31 = 0, D30..D18 = 1
    ],
)
def test_max31855_fault_gives_no_temperature_but_keeps_the_cold_junction(frame: int, flag: SampleFlag) -> None:
    sample = max31855.decode_sample("1", max31855.word_bytes(frame))
    assert (sample.raw_value, sample.cold_junction_c, sample.flags) == (None, 25.0625 - 0.0625, flag)


def test_max31855_bus_stuck_high_breaks_the_reserved_bits_and_gives_no_numbers() -> None:
    sample = max31855.decode_sample("1", b"\xff\xff\xff\xff")
    assert sample.flags == SampleFlag.RESERVED_BITS
    assert sample.raw_value is None
    assert sample.cold_junction_c is None


def test_max31855_bus_stuck_low_passes_as_zero_and_zero_because_only_the_engine_can_reject_it() -> None:
    assert max31855.decode_word(0) == max31855.Word(0.0, 0.0, 0)


def test_max31855_summary_bit_that_disagrees_with_the_fault_bits_is_no_word_of_the_chip() -> None:
    assert max31855.decode_word(0x0190_1900 | 1 << 16).flags == SampleFlag.RESERVED_BITS
    assert max31855.decode_word(0x0190_1900 | 1).flags == SampleFlag.RESERVED_BITS


@given(hot=st.integers(-0x2000, 0x1FFF), cold=st.integers(-0x800, 0x7FF))
def test_max31855_every_step_survives_the_round_trip(hot: int, cold: int) -> None:
    word = max31855.decode_word(max31855.encode_word(hot * 0.25, cold * 0.0625))
    assert word == max31855.Word(hot * 0.25, cold * 0.0625, 0)


def test_max31855_encoder_refuses_what_does_not_fit() -> None:
    with pytest.raises(OutOfRange) as hot:
        max31855.encode_word(2048.0, 25.0)
    with pytest.raises(OutOfRange) as cold:
        max31855.encode_word(25.0, 128.0)
    assert (name_of(hot.value.what), name_of(cold.value.what)) == ("error.hot_bits", "error.cold_bits")


def _registers(hot: list[str], cold: list[str], status: int = 0) -> bytes:
    return bytes.fromhex("".join(cold) + "".join(hot)) + bytes([status])


# MAX31856 data sheet, Table 3; the other rows are marked in the vectors.
@pytest.mark.parametrize("row", VECTORS["max31856_ltc"], ids=lambda row: str(row["t"]))
def test_max31856_linearised_temperature_decodes_to_the_printed_value(row: dict[str, Any]) -> None:
    sample = max31856.decode_sample("1", _registers(row["bytes"], ["19", "00"]))
    assert (sample.raw_value, sample.cold_junction_c, sample.flags) == (row["t"], 25.0, 0)
    assert sample.raw_kind is RawKind.ITS90_C


# MAX31856 data sheet, Table 2.
@pytest.mark.parametrize("row", VECTORS["max31856_cj"], ids=lambda row: str(row["t"]))
def test_max31856_cold_junction_decodes_to_the_printed_value(row: dict[str, Any]) -> None:
    assert max31856.decode_cold_c(bytes.fromhex("".join(row["bytes"]))) == row["t"]


def test_max31856_low_five_bits_are_dont_care() -> None:
    assert max31856.decode_hot_c(bytes.fromhex("01901F")) == 25.0


@pytest.mark.parametrize(
    ("status", "flag", "has_value"),
    [
        (0x01, SampleFlag.OPEN, True),  # kept, and counts for nothing: a flag that stays shows by it
        (0x02, SampleFlag.SHORT_SUPPLY, False),
        (0x40, SampleFlag.CHIP_RANGE, False),
        (0x80, SampleFlag.COLD_JUNCTION, True),
        (0x3C, 0, True),  # limits set in the chip are not ours
    ],
)
def test_max31856_status_register_becomes_flags(status: int, flag: int, has_value: bool) -> None:
    sample = max31856.decode_sample("1", _registers(["29", "45", "20"], ["19", "00"], status))
    assert (sample.flags, sample.raw_value is not None) == (flag, has_value)


def test_max31856_all_ones_break_the_reserved_bits() -> None:
    assert max31856.decode_sample("1", b"\xff" * 6).flags == SampleFlag.RESERVED_BITS


# CR0 bits 5:4 switch the open-circuit check, CR1 bits 3:0 are the type (MAX31856 data sheet, registers 00h and
# 01h): it starts with 00 03.
@pytest.mark.parametrize(
    ("cr0", "cr1", "tc_type", "checks"),
    [(0x00, 0x03, "K", False), (0x90, 0x03, "K", True), (0xA0, 0x42, "J", True), (0x90, 0x04, "N", True),
     (0x10, 0x07, "T", True), (0x90, 0x08, "-", True)],
)  # fmt: skip
def test_max31856_settings_are_read_back_with_all_sixteen_registers(
    cr0: int, cr1: int, tc_type: str, checks: bool
) -> None:
    measured = max31856.encode_registers(570.0, 25.0)
    (sample,) = max31856.decoder().decode_line(f"T1:{cr0:02X}{cr1:02X}FF7FC07FFF800000{measured.hex()}".encode())
    assert isinstance(sample, Sample)
    assert (sample.channel, sample.raw_value, sample.cold_junction_c) == ("T1", 570.0, 25.0)
    assert chip_type_of(sample.flags) == tc_type
    assert bool(sample.flags & SampleFlag.NO_OPEN_CHECK) is not checks


def test_max31856_six_registers_say_nothing_of_its_settings() -> None:
    sample = max31856.decode_sample("1", max31856.encode_registers(570.0, 25.0))
    assert (sample.flags, chip_type_of(sample.flags)) == (0, "")


@given(hot=st.integers(-(1 << 18), (1 << 18) - 1), cold=st.integers(-(1 << 13), (1 << 13) - 1))
def test_max31856_every_step_survives_the_round_trip(hot: int, cold: int) -> None:
    sample = max31856.decode_sample("1", max31856.encode_registers(hot / 128, cold / 64))
    assert (sample.raw_value, sample.cold_junction_c) == (hot / 128, cold / 64)


# Computed from DS20005426G equation 5-1, independently of this program.
@pytest.mark.parametrize("row", VECTORS["mcp9600_th"], ids=lambda row: row["word"])
def test_mcp960x_temperature_decodes_by_equation_5_1(row: dict[str, Any]) -> None:
    sample = mcp960x.decode_sample("1", bytes.fromhex(row["word"] + "0190" + "40"))
    assert (sample.raw_value, sample.cold_junction_c, sample.flags) == (row["t"], 25.0, 0)


# DS20005426G, status register: bit 4 is a 9600's input range and a 9601's open circuit, bit 5 a 9601's short.
@pytest.mark.parametrize(
    ("chip", "status", "flags"),
    [
        ("mcp9600", 0x10, SampleFlag.CHIP_RANGE),
        ("mcp9601", 0x10, SampleFlag.OPEN),
        ("", 0x10, SampleFlag.CHIP_RANGE),
        ("mcp9601", 0x20, SampleFlag.SHORT_GROUND | SampleFlag.SHORT_SUPPLY),
        ("mcp9600", 0x20, SampleFlag.RESERVED_BITS),
    ],
)
def test_mcp960x_old_value_is_never_taken_for_a_new_one(chip: str, status: int, flags: int) -> None:
    sample = mcp960x.decode_sample("1", bytes.fromhex("43CA0190") + bytes([status]), chip)
    assert (sample.raw_value, sample.flags) == (None, flags)


@given(hot=st.integers(-0x8000, 0x7FFF), cold=st.integers(-0x8000, 0x7FFF))
def test_mcp960x_every_step_survives_the_round_trip(hot: int, cold: int) -> None:
    sample = mcp960x.decode_sample("1", mcp960x.encode_registers(hot / 16, cold / 16))
    assert (sample.raw_value, sample.cold_junction_c) == (hot / 16, cold / 16)


@pytest.mark.parametrize(
    ("text", "fields"),
    [
        ("29A01900", {"1": "29a01900"}),
        ("0x29A01900", {"1": "29a01900"}),
        ("pot:29A01900 chamber:0x01901900", {"pot": "29a01900", "chamber": "01901900"}),
        ("29A01900, 01901900;\t00011901", {"1": "29a01900", "2": "01901900", "3": "00011901"}),
        ("29 A0 19 00", {"1": "29a01900"}),
        ("29 A0 19 00 01 90 19 00", {"1": "29a01900", "2": "01901900"}),
    ],
)
def test_hex_lines_are_read_in_every_form_that_is_documented(text: str, fields: dict[str, str]) -> None:
    assert {channel: raw.hex() for channel, raw in parse_hex_line(text, 4)} == fields


@pytest.mark.parametrize(
    "text", ["29A0190", "29A019000", "hello", "1:29A01900 1:01901900", "29 A0 19", "1:", ":29A01900"]
)
def test_one_bad_field_refuses_the_whole_hex_line(text: str) -> None:
    with pytest.raises(FrameError):
        parse_hex_line(text, 4)


def test_hex_decoder_gives_samples_and_counts_rubbish() -> None:
    frames = max31855.decoder().feed(b"29A01900\r\nnonsense\r\n" + format_hex_line({"pot": b"\x01\x90\x19\x00"}))
    assert [type(frame) for frame in frames] == [Sample, BadFrame, Sample]
    first, bad, second = frames
    assert isinstance(first, Sample)
    assert isinstance(bad, BadFrame)
    assert isinstance(second, Sample)
    assert (first.channel, first.raw_value, first.raw_kind) == ("1", 666.0, RawKind.LINEAR_C)
    assert (bad.size, bad.printable) == (8, 1.0)
    assert (second.channel, second.raw_value, second.raw_code) == ("pot", 25.0, 0x01901900)


def test_decoder_joined_midway_does_not_take_half_a_line_for_a_whole_one() -> None:
    # Cut inside "10:29A01900": what is left looks like a sound line of channel 0.
    assert max31855.decoder(midway=True).feed(b"0:29A01900\n") == []
    assert len(max31855.decoder(midway=False).feed(b"0:29A01900\n")) == 1
