"""Text lines by a column map, and the guess of a format."""

import random

import pytest

from pourcall.contract.errors import BadInput
from pourcall.contract.frames import BadFrame, BoardStatus, Frame, Identity, RawKind, Sample, SampleFlag
from pourcall.contract.message import tell
from pourcall.contract.settings import Board
from pourcall.drivers.wire import guess, max31855, ourline, text
from pourcall.drivers.wire.hexline import format_hex_line
from pourcall.drivers.wire.registry import FORMATS, decoder_of
from pourcall.drivers.wire.text import TextColumn, TextMap, TextUnit
from tests.told import parts, refused


def decode(line: bytes, *columns: TextColumn, separator: str = "", ms_column: int = 0) -> list[Frame]:
    return text.TextDecoder(TextMap(columns or (TextColumn(1, "1"),), separator, ms_column)).feed(line + b"\n")


def value(line: bytes, *columns: TextColumn, separator: str = "") -> float | None:
    (frame,) = decode(line, *columns, separator=separator)
    assert isinstance(frame, Sample), frame
    return frame.raw_value


# Conversions by the definitions of the scales (SI Brochure, 9th edition, 2.3.1): 1000 degF = 537.777... degC.
@pytest.mark.parametrize(
    ("line", "unit", "kind", "raw_value"),
    [
        (b"660.25", TextUnit.C, RawKind.ITS90_C, 660.25),
        (b"1000", TextUnit.F, RawKind.ITS90_C, 537.7777777777778),
        (b"773.15", TextUnit.K, RawKind.ITS90_C, 500.0),
        (b"27458.2", TextUnit.UV, RawKind.EMF_UV, 27458.2),
        (b"27.4582", TextUnit.MV, RawKind.EMF_UV, 27458.2),
    ],
)
def test_every_unit_becomes_degrees_or_microvolts(line: bytes, unit: TextUnit, kind: RawKind, raw_value: float) -> None:
    (frame,) = decode(line, TextColumn(1, "1", unit))
    assert isinstance(frame, Sample)
    assert frame.raw_kind is kind
    assert frame.raw_value == pytest.approx(raw_value, rel=1e-12)


@pytest.mark.parametrize(
    "line",
    [
        b"12,661.5,24.9",
        b"12;661,5;24,9",
        b"12\t661,5\t24,9",
        b"12 661.5 24.9",
        b"12 661,5 24,9",
        b"12 | 661.5 | 24.9",
        b"12, 661.5, 24.9",
        b"n=12 T=661.5 cj=24.9",
        b"12 661.5 C 24.9 C",
        b"12;661,5 \xb0C;24,9 \xc2\xb0C",
        b"n: 12, T: 661.5 degC, CJ: 24.9",
        b"12,6.615e2,24.9",
    ],
)
def test_separators_and_decimal_commas_are_guessed(line: bytes) -> None:
    (frame,) = decode(line, TextColumn(2, "pot", cold_column=3))
    assert isinstance(frame, Sample), frame
    assert (frame.channel, frame.raw_value, frame.cold_junction_c) == ("pot", 661.5, 24.9)


def test_single_mapped_column_reads_a_lone_comma_as_a_decimal_comma() -> None:
    assert value(b"661,25") == 661.25
    assert value(b"661,25", separator=",") == 661.0
    assert value(b"661,25", TextColumn(2, "1")) == 25.0


def test_several_channels_come_from_one_line_with_board_time() -> None:
    frames = decode(
        b"4294967295,661.5,24.9,1300",
        TextColumn(2, "pot", linear=True, cold_column=3),
        TextColumn(4, "chamber", TextUnit.F),
        ms_column=1,
    )
    assert frames == [
        Sample("pot", RawKind.LINEAR_C, 661.5, 24.9, 0, board_ms=4_294_967_295),
        Sample("chamber", RawKind.ITS90_C, (1300 - 32) * 5 / 9, board_ms=4_294_967_295),
    ]


@pytest.mark.parametrize("line", [b"time;temp", b"# 661.5", b"", b"Thermometer ready", b"pot degC"])
def test_headings_comments_and_greetings_are_skipped_in_silence(line: bytes) -> None:
    assert decode(line, TextColumn(2, "1")) == []


@pytest.mark.parametrize(
    ("line", "flags"), [(b"nan,24.9", 0), (b"OPEN,24.9", SampleFlag.OPEN), (b"--,24.9", 0), (b",24.9", 0)]
)
def test_word_for_no_value_is_a_sample_without_one(line: bytes, flags: int) -> None:
    (frame,) = decode(line, TextColumn(1, "1", cold_column=2))
    assert frame == Sample("1", RawKind.ITS90_C, None, 24.9, int(flags))


@pytest.mark.parametrize(
    "line",
    [b"661.5", b"661.5,abc", b"661.5,1e30", b"661.5,2.5.1", b"661.5 F,24.9", b"661.5 furlongs,24.9", b"66\x851.5,24.9"],
)
def test_line_that_does_not_fit_the_map_is_a_bad_frame_never_a_number(line: bytes) -> None:
    (frame,) = decode(line, TextColumn(1, "1", cold_column=2))
    assert isinstance(frame, BadFrame)


def test_unit_in_the_line_that_is_not_the_one_in_the_map_is_told() -> None:
    (frame,) = decode(b"1221 F")
    assert isinstance(frame, BadFrame)
    assert frame.why == tell("frame.other_unit", channel="1", found="degF", wanted="degC")


def test_decoder_joined_midway_does_not_read_the_tail_of_a_number() -> None:
    frames = text.TextDecoder(TextMap((TextColumn(1, "1"),)), midway=True).feed(b"0.25\n660.50\n")
    assert [frame.raw_value for frame in frames if isinstance(frame, Sample)] == [660.5]


def test_map_that_makes_no_sense_tells_every_fault_at_once() -> None:
    with refused(BadInput, "columns.refused") as caught:
        TextMap((TextColumn(0, "a"), TextColumn(1, "a"), TextColumn(2, "b", TextUnit.MV, linear=True)), separator="x")
    assert [one.name for one in parts(caught.value.what, "faults")] == [
        "columns.separator",
        "columns.reach",
        "columns.channel",
        "columns.linear",
    ]


def test_line_as_hobby_boards_print_it_decodes_again() -> None:
    line = text.encode_line([661.234, None, -3.5], ";", decimal_comma=True)
    assert line == b"661,23;nan;-3,50\r\n"
    with refused(BadInput, "columns.comma"):
        text.encode_line([1.0], ",", decimal_comma=True)


OURS = b"".join(ourline.encode_sample(n, 100 * n, "pot", emf_uv=26457.9, cold_junction_c=25.0) for n in range(5))


@pytest.mark.parametrize(
    ("data", "name"),
    [
        (b"", guess.NOTHING),
        (b"\n", guess.UNKNOWN),
        (OURS[20:], "pourcall"),
        (ourline.encode_identity(Identity("bench", "1.0", "A1", "max31855", ("1", "2"))), "pourcall"),
        (ourline.encode_status(BoardStatus(1, 2, 3, 0, 0, 0)), "pourcall"),
        (b"900\n" + format_hex_line({"pot": b"\x29\xa0\x19\x00"}) * 3, "max31855_hex"),
        (b"1900\n29A01900\n01901900\n", "max31855_hex"),
        (b"900\n" + format_hex_line([bytes.fromhex("190029452000")]) * 3, "max31856_hex"),
        (b"900\n" + format_hex_line([bytes.fromhex("2945019040")]) * 3, "mcp960x_hex"),
        (b"5\r\n661.25;24.9\r\n661.50;24.9\r\n66", "text"),
        (b"ready\r\nT=661.25 C\r\nT=661.50 C\r\n", "text"),
        (b"hello\nthis board talks\nbut not in numbers\n", guess.UNKNOWN),
        (random.Random(5).randbytes(400), guess.WRONG_SPEED),
    ],
)
def test_format_is_named_from_what_was_heard(data: bytes, name: str) -> None:
    assert guess.guess_format(data).format == name


def test_guess_says_who_answered_and_what_to_do() -> None:
    told = guess.guess_format(
        OURS[30:] + ourline.encode_identity(Identity("bench", "1.0", "A1", "max31855", ("1", "2")))
    )
    assert (told.format, told.heard.channels) == ("pourcall", ("1", "2", "pot"))
    assert (told.says.name, told.says.facts["serial"]) == ("port.board", "A1")
    told = guess.guess_format(b"5\n661.25;24.9\n")
    assert told.heard.columns == 2
    assert told.says == tell("port.columns", count=2, example="661.25;24.9")


@pytest.mark.parametrize("name", FORMATS)
def test_every_format_decodes_the_line_it_shows_as_its_example(name: str) -> None:
    made = FORMATS[name]
    board = Board(port="", format=name, columns={"2": "0"} if made.has_columns else {})
    frames = decoder_of(board).feed(b"\n" + made.example)
    assert decoder_of(board).name == name
    assert [type(frame) for frame in frames] == [Sample]


def test_unknown_format_and_text_without_a_map_are_refused_in_words() -> None:
    with refused(BadInput, "error.no_format", typed="morse") as caught:
        decoder_of(Board(port="", format="morse"))
    assert caught.value.remedy == tell("error.use_one", known=", ".join(FORMATS))
    with refused(BadInput, "columns.missing"):
        decoder_of(Board(port="", format="text"))
    assert decoder_of(Board(port="", format=max31855.NAME)).feed(b"29A01900\n") == []
