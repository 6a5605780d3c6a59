"""Our own line, both ways."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pourcall.contract.errors import FrameError, OutOfRange
from pourcall.contract.frames import BadFrame, BoardStatus, Identity, RawKind, Sample, SampleFlag
from pourcall.drivers.wire import max31855, ourline

U32 = st.integers(0, 0xFFFF_FFFF)
NAMES = st.text("abcXYZ019_.-", min_size=1, max_size=16)


def up(text: str, chip: str = "") -> Sample | BoardStatus | Identity:
    return ourline.decode_up(ourline.seal(text).strip(), chip)


# CRC-16/CCITT-FALSE: check value 0x29B1 for "123456789" (catalogue of parametrised CRC algorithms, Greg Cook).
def test_checksum_is_crc_16_ccitt_false() -> None:
    assert ourline.crc16(b"123456789") == 0x29B1
    assert ourline.crc16(b"") == 0xFFFF


def test_sample_with_a_max31855_word_says_linear_degrees_and_the_chips_own_cold_junction() -> None:
    line = ourline.encode_sample(7, 4_294_967_290, "pot", chip_code=bytes.fromhex("29A01900"), cold_junction_c=26.0)
    assert line == b"PC1,7,4294967290,pot,,29A01900,26.0000,0*" + b"%04X\n" % ourline.crc16(line[:-6])
    sample = ourline.decode_up(line.strip())
    assert sample == Sample("pot", RawKind.LINEAR_C, 666.0, 25.0, 0, 0x29A01900, 7, 4_294_967_290)


def test_sample_with_emf_alone_says_microvolts() -> None:
    sample = up("PC1,1,2,1,26457.916,,25.0625,0")
    assert sample == Sample("1", RawKind.EMF_UV, 26457.916, 25.0625, 0, None, 1, 2)


@pytest.mark.parametrize(
    ("code", "kind", "value", "cold_c"),
    [
        ("29A01900", RawKind.LINEAR_C, 666.0, 25.0),  # MAX31855 word, vectors: 660.323 degC true
        ("190029452000", RawKind.ITS90_C, 660.3203125, 25.0),  # MAX31856 registers, vectors
        ("2945019040", RawKind.ITS90_C, 660.3125, 25.0),  # MCP960x registers, vectors
    ],
)
def test_number_of_digits_names_the_chip(code: str, kind: RawKind, value: float, cold_c: float) -> None:
    sample = up(f"PC1,1,2,1,,{code},,0")
    assert isinstance(sample, Sample)
    assert (sample.raw_kind, sample.raw_value, sample.cold_junction_c) == (kind, value, cold_c)


def test_code_of_another_chip_than_the_board_said_is_refused() -> None:
    with pytest.raises(FrameError, match="max31856"):
        up("PC1,1,2,1,,29A01900,,0", chip="max31856")
    decoder = ourline.decoder()
    decoder.feed(ourline.encode_identity(Identity("b", chip="mcp9601", channels=("1",))))
    (frame,) = decoder.feed(ourline.seal("PC1,1,2,1,,29A01900,,0"))
    assert isinstance(frame, BadFrame)


def test_chip_named_by_the_board_decides_what_its_status_bits_mean() -> None:
    decoder = ourline.decoder()
    (before,) = decoder.feed(ourline.seal("PC1,1,2,1,,2945019010,,0"))
    decoder.feed(ourline.encode_identity(Identity("b", chip="MCP9601", channels=("1",))))
    (after,) = decoder.feed(ourline.seal("PC1,1,2,1,,2945019010,,0"))
    assert isinstance(before, Sample)
    assert isinstance(after, Sample)
    assert (before.flags, after.flags) == (SampleFlag.CHIP_RANGE, SampleFlag.OPEN)
    assert before.raw_value is after.raw_value is None


@pytest.mark.parametrize("flags", [1, 2, 4, 7, 17])
def test_flags_that_mean_no_value_leave_none(flags: int) -> None:
    for text in (f"PC1,1,2,1,26457.9,,25.0,{flags}", f"PC1,1,2,1,,,25.0,{flags}", f"PC1,1,2,1,,29A01900,25.0,{flags}"):
        sample = up(text)
        assert isinstance(sample, Sample)
        assert (sample.raw_value, sample.flags) == (None, flags)


@pytest.mark.parametrize("flags", [8, 16, 24])
def test_flags_that_say_something_else_keep_the_value(flags: int) -> None:
    sample = up(f"PC1,1,2,1,26457.9,,25.0,{flags}")
    assert isinstance(sample, Sample)
    assert (sample.raw_value, sample.flags) == (26457.9, flags)


def test_chip_word_with_reserved_bits_leaves_no_number_at_all() -> None:
    sample = up("PC1,1,2,1,,FFFFFFFF,25.0,0")
    assert isinstance(sample, Sample)
    assert (sample.raw_value, sample.cold_junction_c, sample.flags) == (None, None, SampleFlag.RESERVED_BITS)


@pytest.mark.parametrize(
    "text",
    [
        "PC1,1,2,1,nan,,25,0",
        "PC1,1,2,1,inf,,25,0",
        "PC1,1,2,1,1e5,,25,0",
        "PC1,1,2,1,12345678,,25,0",
        "PC1,1,2,1,1.5,,-inf,0",
        "PC1,4294967296,2,1,1.5,,25,0",
        "PC1,-1,2,1,1.5,,25,0",
        "PC1,1,2,,1.5,,25,0",
        "PC1,1,2,a channel,1.5,,25,0",
        "PC1,1,2,1,1.5,,25,256",
        "PC1,1,2,1,1.5,,25,32",
        "PC1,1,2,1,,,25,0",
        "PC1,1,2,1,1.5,XYZ,25,0",
        "PC1,1,2,1,1.5,,25",
        "PC1,1,2,1,1.5,,25,0,0",
        "PC2,1,2,1,1.5,,25,0",
        "PS1,1,2,3,0,1001,0,0",
        "PS1,1,2,3,16,0,0,0",
        "PS1,1,2,3,0,0,5001,0",
        "PI1,,1,2,3,4",
        "PI1,b,1,2,3,a b",
        "PI1,b,1,2,3,4,5",
        "",
        ",,,",
    ],
)
def test_sealed_nonsense_is_refused(text: str) -> None:
    with pytest.raises(FrameError):
        up(text)


@pytest.mark.parametrize("line", [b"PC1,1,2,1,1.5,,25,0", b"PC1,1,2,1,1.5,,25,0*", b"PC1,1,2,1,1.5,,25,0*12", b"*FFFF"])
def test_line_without_its_own_checksum_is_refused(line: bytes) -> None:
    with pytest.raises(FrameError):
        ourline.decode_up(line)


def test_two_lines_that_lost_the_line_end_between_them_are_one_bad_frame() -> None:
    one = ourline.encode_sample(1, 2, "1", emf_uv=1.5).strip()
    (frame,) = ourline.decoder().feed(one + one + b"\n")
    assert isinstance(frame, BadFrame)


@given(seq=U32, millis=U32, channel=NAMES, word=U32, flags=st.integers(0, 31))
def test_any_sample_with_a_word_survives_the_round_trip(
    seq: int, millis: int, channel: str, word: int, flags: int
) -> None:
    raw = max31855.word_bytes(word)
    (sample,) = ourline.decoder().feed(ourline.encode_sample(seq, millis, channel, chip_code=raw, flags=flags))
    assert isinstance(sample, Sample)
    assert (sample.board_seq, sample.board_ms, sample.channel, sample.raw_code) == (seq, millis, channel, word)


@given(emf_uv=st.floats(-80_000, 80_000), cold_c=st.floats(-55, 125))
def test_any_emf_survives_the_round_trip_to_a_nanovolt(emf_uv: float, cold_c: float) -> None:
    (sample,) = ourline.decoder().feed(ourline.encode_sample(1, 2, "1", emf_uv=emf_uv, cold_junction_c=cold_c))
    assert isinstance(sample, Sample)
    assert sample.raw_value == pytest.approx(emf_uv, abs=0.00051)
    assert sample.cold_junction_c == pytest.approx(cold_c, abs=0.000051)


@given(st.builds(BoardStatus, U32, U32, U32, st.integers(0, 15), st.integers(0, 1000), st.integers(0, 5000), U32))
def test_any_status_survives_the_round_trip(status: BoardStatus) -> None:
    assert ourline.decoder().feed(ourline.encode_status(status)) == [status]


def test_identity_survives_the_round_trip_and_the_longest_one_fits_in_a_line() -> None:
    longest = Identity("b" * 32, "f" * 32, "s" * 32, "c" * 32, tuple(f"channel-{n:08d}" for n in range(16)))
    line = ourline.encode_identity(longest)
    assert len(line) <= ourline.OUR_LINE_MAX
    assert ourline.decoder().feed(line) == [longest]


@given(U32, st.integers(0, 15), st.integers(0, 1000), st.integers(0, 5000))
def test_any_power_command_survives_the_round_trip(seq: int, output: int, permille: int, ttl_ms: int) -> None:
    (heard,) = ourline.DownDecoder().feed(ourline.encode_power(seq, output, permille, ttl_ms))
    assert heard == ourline.PowerCommand(seq, output, permille, ttl_ms)


def test_power_that_would_not_die_soon_or_is_more_than_all_is_not_even_sent() -> None:
    for output, permille, ttl_ms in [(0, 1001, 1000), (0, -1, 1000), (0, 500, 5001), (0, 500, -1), (16, 500, 1000)]:
        with pytest.raises(OutOfRange):
            ourline.encode_power(1, output, permille, ttl_ms)


def test_board_hears_the_query_and_refuses_a_spoiled_command() -> None:
    spoiled = ourline.encode_power(1, 0, 500, 3000).replace(b"500", b"900")
    query, bad = ourline.DownDecoder().feed(ourline.IDENTITY_QUERY + spoiled)
    assert query == ourline.IdentityQuery()
    assert isinstance(bad, BadFrame)


@pytest.mark.parametrize("emf_uv", [math.nan, math.inf, 1e9])
def test_encoder_refuses_what_is_no_number(emf_uv: float) -> None:
    with pytest.raises(OutOfRange):
        ourline.encode_sample(1, 2, "1", emf_uv=emf_uv)
