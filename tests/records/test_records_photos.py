"""Photos. What is an image by its bytes, when it was taken, where it belongs.

Bytes by hand after JPEG (ITU-T T.81), PNG (W3C), WebP (RFC 9649), Exif 2.3; the Exif block made here was read back once
with Pillow (Exif.load), which found the same texts.
"""

import os
import struct
import zlib
from datetime import UTC, datetime
from pathlib import Path

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pourcall.contract.errors import BadInput
from pourcall.contract.events import Marking
from pourcall.records.entries.entries import store_photo_file
from pourcall.records.entries.photos import belongs_to, exif_time, image_suffix, look_at, pour_in_name
from pourcall.records.read.views import PourRow

TAKEN = "2026:05:14 10:11:12"


def png() -> bytes:
    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    head = struct.pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0)
    body = chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"\0\0")) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + body


def webp() -> bytes:
    body = b"WEBPVP8L" + struct.pack("<I", 8) + b"\x2f" + bytes(7)
    return b"RIFF" + struct.pack("<I", len(body)) + body


def jpeg(taken: str = "", zone: str = "", order: str = "<") -> bytes:
    app1 = b""
    if taken:
        texts = [(0x9003, taken)] + ([(0x9011, zone)] if zone else [])
        first = 8  # IFD0 with one entry pointing to the Exif directory
        inner = first + 2 + 12 + 4
        data_at = inner + 2 + 12 * len(texts) + 4
        entries, data = b"", b""
        for tag, text in texts:
            body = text.encode() + b"\0"
            entries += struct.pack(order + "HHII", tag, 2, len(body), data_at + len(data))
            data += body
        tiff = {"<": b"II*\0", ">": b"MM\0*"}[order] + struct.pack(order + "I", first)
        tiff += struct.pack(order + "HHHIII", 1, 0x8769, 4, 1, inner, 0)
        tiff += struct.pack(order + "H", len(texts)) + entries + struct.pack(order + "I", 0) + data
        block = b"Exif\0\0" + tiff
        app1 = b"\xff\xe1" + struct.pack(">H", len(block) + 2) + block
    return b"\xff\xd8\xff\xe0\0\x04ab" + app1 + b"\xff\xda\0\x02" + bytes(50) + b"\xff\xd9"


@pytest.mark.parametrize(("body", "suffix"), [(jpeg(), ".jpg"), (png(), ".png"), (webp(), ".webp")])
def test_an_image_is_known_by_its_bytes_whatever_it_is_called(tmp_path: Path, body: bytes, suffix: str) -> None:
    path = tmp_path / "casting.txt"
    path.write_bytes(body)
    photo = look_at(path)
    assert photo.suffix == suffix
    kept = store_photo_file(tmp_path / "photos", path, photo.suffix)
    assert (tmp_path / "photos" / f"{kept[0]}{suffix}").read_bytes() == body
    assert store_photo_file(tmp_path / "photos", path, photo.suffix) == kept  # the same photo twice is there once
    assert len(os.listdir(tmp_path / "photos")) == 1


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"\xff",
        b"GIF89a" + bytes(40),
        b"<svg onload=alert(1)>",
        b"%PDF-1.7",
        b"MZ" + bytes(90),
        jpeg()[:-9],
        png()[:-9],
        webp()[:-3],
        b"RIFF\0\0\0\0WAVE",
        "pour 1".encode("utf-16"),
    ],
)
def test_what_is_no_whole_image_is_refused_though_it_be_called_one(tmp_path: Path, body: bytes) -> None:
    path = tmp_path / "casting.jpg"
    path.write_bytes(body)
    with pytest.raises(BadInput):
        look_at(path)


def test_the_camera_says_when_in_either_byte_order_and_with_its_zone() -> None:
    for order in "<>":
        assert exif_time(jpeg(TAKEN, "+02:00", order)) == datetime(2026, 5, 14, 8, 11, 12, tzinfo=UTC).timestamp()
        assert exif_time(jpeg(TAKEN, "-03:30", order)) == datetime(2026, 5, 14, 13, 41, 12, tzinfo=UTC).timestamp()
        local = exif_time(jpeg(TAKEN, "", order))
        assert local is not None
        assert datetime.fromtimestamp(local, UTC).astimezone().strftime("%Y:%m:%d %H:%M:%S") == TAKEN


@pytest.mark.parametrize("body", [jpeg(), jpeg("0000:00:00 00:00:00"), jpeg("soon"), jpeg(TAKEN, "x")])
def test_a_camera_that_says_nothing_of_use_leaves_the_time_of_the_file(tmp_path: Path, body: bytes) -> None:
    path = tmp_path / "a.jpg"
    path.write_bytes(body)
    os.utime(path, (1_780_000_000, 1_780_000_000))
    photo = look_at(path)
    assert (photo.taken_utc_s, photo.by_exif) == (1_780_000_000.0, False)


@given(st.binary(max_size=300), st.integers(0, 120))
def test_a_scrambled_header_never_breaks_the_reading(noise: bytes, at: int) -> None:
    body = bytearray(jpeg(TAKEN, "+02:00"))
    body[at : at + len(noise)] = noise
    found = exif_time(bytes(body))
    assert found is None or isinstance(found, float)
    assert image_suffix(noise) in ("", ".jpg", ".png", ".webp")


def pour(name: str, at_s: float) -> PourRow:
    melt, _, number = name.rpartition("-")
    return PourRow(
        pour=name,
        melt=melt,
        number=int(number),
        furnace="club",
        alloy="za27",
        mould="cleat",
        setup="",
        at_utc_s=at_s,
        pot_temp_c=None,
        pot_u_c=None,
        lip_temp_c=None,
        lip_u_c=None,
        lip_min_c=535.0,
        lip_max_c=570.0,
        marked=Marking.LIVE,
        basis="",
        result="",
        corrected=False,
    )


def test_a_photo_belongs_to_the_melt_before_it_and_to_a_pour_only_where_there_is_one() -> None:
    single = [pour("2026-001-1", 1000.0), pour("2026-002-1", 5000.0), pour("2026-002-2", 5009.0)]
    assert belongs_to(single, 2000.0, within_s=86_400.0) == ("2026-001", 1)
    assert belongs_to(single, 9000.0, within_s=86_400.0) == ("2026-002", None)  # which of two nobody can know
    assert belongs_to(single, 5004.0, within_s=86_400.0) == ("2026-002", 1)  # taken between the two
    assert belongs_to(single, 900.0, within_s=86_400.0) is None  # before any pour
    assert belongs_to(single, 5009.0 + 86_401.0, within_s=86_400.0) is None
    assert belongs_to([], 1.0, within_s=1.0) is None
    corrected = [msgspec.structs.replace(single[0], at_utc_s=3000.0)]
    assert belongs_to(corrected, 2000.0, within_s=86_400.0) is None


def test_a_file_named_after_its_pour_says_so_itself() -> None:
    assert pour_in_name("2026-014-1 horn tip.jpg") == "2026-014-1"
    assert pour_in_name("IMG_2026-014-12.jpg") == "2026-014-12"
    for other in ("IMG_20260514_101112.jpg", "2026-05-14.jpg", "12026-014-1.jpg", "cleat.jpg"):
        assert pour_in_name(other) == ""
