"""Every decoder fed whole, byte by byte, joined, cut anywhere, and with rubbish (faults S3 to S5, S11)."""

import gc
import random
import tracemalloc
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pourcall.contract.frames import BadFrame, BoardStatus, Frame, Identity, Sample
from pourcall.drivers.wire import max31855, max31856, mcp960x, ourline, text
from pourcall.drivers.wire.framing import Decoder, LineFramer, printable_share
from pourcall.drivers.wire.hexline import format_hex_line

MAP = text.TextMap((text.TextColumn(1, "pot", cold_column=2), text.TextColumn(3, "chamber", text.TextUnit.F)))
MAKERS: dict[str, Callable[[], Decoder]] = {
    "our_line": ourline.decoder,
    "max31855": max31855.decoder,
    "max31856": max31856.decoder,
    "mcp960x": mcp960x.decoder,
    "text": lambda: text.TextDecoder(MAP),
    "text_midway": lambda: text.TextDecoder(MAP, midway=True),
}
SOUND: dict[str, bytes] = {
    "our_line": ourline.encode_sample(1, 10, "1", chip_code=b"\x29\xa0\x19\x00", cold_junction_c=25.0)
    + ourline.encode_status(BoardStatus(3, 20, 7, 0, 500, 2000, 1))
    + ourline.encode_identity(Identity("bench", "1.0", "A1", "max31855", ("1", "2")))
    + ourline.encode_sample(2, 110, "2", emf_uv=26457.9, cold_junction_c=25.0, flags=16),
    "max31855": format_hex_line({"pot": b"\x29\xa0\x19\x00", "2": b"\x00\x01\x19\x01"}) * 3,
    "max31856": format_hex_line([bytes.fromhex("190029452000")]) * 3,
    "mcp960x": format_hex_line([bytes.fromhex("2945019040")]) * 3,
    "text": b"pot;cold;chamber\r\n661,25;24,9;1300\r\n661,50;24,9;1301\r\n",
    "text_midway": b"pot;cold;chamber\r\n661,25;24,9;1300\r\n661,50;24,9;1301\r\n",
}
KINDS = sorted(MAKERS)


def whole(kind: str, data: bytes) -> list[Frame]:
    return MAKERS[kind]().feed(data)


def in_pieces(kind: str, data: bytes, cuts: list[int]) -> list[Frame]:
    decoder, frames, at = MAKERS[kind](), [], 0
    for cut in [*sorted(cut % (len(data) + 1) for cut in cuts), len(data)]:
        frames += decoder.feed(data[at:cut])
        at = cut
    return frames


@pytest.mark.parametrize("kind", KINDS)
def test_sound_lines_all_decode(kind: str) -> None:
    frames = whole(kind, SOUND[kind])
    assert len(frames) >= 3
    assert not [frame for frame in frames if isinstance(frame, BadFrame)]


@pytest.mark.parametrize("kind", KINDS)
def test_byte_by_byte_and_five_at_once_give_what_whole_lines_give(kind: str) -> None:
    data = SOUND[kind] * 5
    expected = whole(kind, data)
    decoder = MAKERS[kind]()
    assert [frame for byte in data for frame in decoder.feed(bytes([byte]))] == expected


@pytest.mark.parametrize("kind", KINDS)
def test_cut_at_each_offset_gives_the_same_frames(kind: str) -> None:
    data = SOUND[kind]
    expected = whole(kind, data)
    for cut in range(len(data) + 1):
        assert in_pieces(kind, data, [cut]) == expected


@pytest.mark.parametrize("kind", KINDS)
@settings(max_examples=60)
@given(data=st.binary(max_size=3000), cuts=st.lists(st.integers(0, 4000), max_size=8))
def test_rubbish_cut_anywhere_gives_the_same_bad_frames_and_no_error(kind: str, data: bytes, cuts: list[int]) -> None:
    assert in_pieces(kind, data, cuts) == whole(kind, data)


@pytest.mark.parametrize("kind", KINDS)
@settings(max_examples=60)
@given(data=st.text("0123456789abcdefABCDEF,;:.*\t \r\n-+eEnaN?PC1PS1PI1xX=°\0", max_size=400), lead=st.integers(0, 60))
def test_lookalikes_after_half_a_sound_line_never_raise(kind: str, data: str, lead: int) -> None:
    whole(kind, SOUND[kind][:lead] + data.encode("utf-8") + b"\n" + SOUND[kind])


@pytest.mark.parametrize("kind", KINDS)
def test_ten_thousand_random_strings_leave_memory_flat_and_the_decoder_able(kind: str) -> None:
    rng = random.Random(20260114)
    decoder = MAKERS[kind]()
    strings = [rng.randbytes(rng.randrange(64)) for _ in range(10_000)]
    for junk in strings[:2000]:
        decoder.feed(junk)
    tracemalloc.start()
    for junk in strings[2000:]:
        decoder.feed(junk)
    grown, _ = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert grown < 20_000
    frames = decoder.feed(b"\n" + SOUND[kind])
    assert sum(not isinstance(frame, BadFrame) for frame in frames) >= 2


@pytest.mark.parametrize("kind", KINDS)
def test_endless_line_is_told_before_64_kb_and_memory_stays_flat(kind: str) -> None:
    decoder = MAKERS[kind]()
    decoder.feed(b"x" * 100_000)
    gc.collect()  # what other tests left behind is not this decoder's
    tracemalloc.start()
    told = sum(len(decoder.feed(b"x" * 4096)) for _ in range(256))  # 1 MB without a line end
    gc.collect()
    grown, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert told >= 16
    assert grown < 4_000
    assert peak < 100_000


def test_framer_lines_do_not_depend_on_how_they_end() -> None:
    assert LineFramer().feed(b"a\r\nb\nc\rd\n\n\r\ne") == [b"a", b"b", b"c", b"d"]


def test_framer_keeps_a_line_of_exactly_the_cap_and_drops_a_longer_one_whole() -> None:
    framer = LineFramer(8)
    assert framer.feed(b"12345678\n") == [b"12345678"]
    (bad,) = framer.feed(b"123456789tail\n")
    assert isinstance(bad, BadFrame)
    assert bad.size == 8
    assert framer.feed(b"ok\n") == [b"ok"]


def test_framer_joined_midway_still_tells_of_an_endless_line() -> None:
    framer = LineFramer(8, midway=True)
    assert framer.feed(b"half\nwhole\n") == [b"whole"]
    assert len(LineFramer(8, midway=True).feed(b"x" * 9)) == 1


@pytest.mark.parametrize(("data", "share"), [(b"", 1.0), (b"abc\r\n", 1.0), (b"\x80\xff", 0.0), (b"a\x00", 0.5)])
def test_printable_share_tells_text_from_another_speed(data: bytes, share: float) -> None:
    assert printable_share(data) == share


def test_one_flipped_bit_in_our_line_is_always_noticed() -> None:
    line = SOUND["our_line"].split(b"\n")[0]
    for at in range(len(line)):
        for bit in range(8):
            spoiled = bytearray(line)
            spoiled[at] ^= 1 << bit
            frames = ourline.decoder().feed(bytes(spoiled) + b"\n")
            good = [frame for frame in frames if isinstance(frame, Sample)]
            # Only the case of a checksum digit may change without changing what is said.
            assert not good or bytes(spoiled).upper() == line.upper()
