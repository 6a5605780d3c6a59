"""Photos of castings. What is an image by its first bytes, when it was taken, which pour it belongs to by time.

Pure but for reading the files named. Not here: keeping them (entries.store_photo_file, entries.add_photo).
Sources: JPEG (ITU-T T.81, SOI marker and APPn), PNG (W3C, signature), WebP (RFC 9649, RIFF header); Exif 2.3 tags
0x9003 DateTimeOriginal and 0x9011 OffsetTimeOriginal in TIFF 6.0 directories.
"""

import re
import struct
from collections.abc import Sequence
from datetime import datetime, timedelta, timezone
from pathlib import Path

import msgspec

from pourcall.contract.errors import BadInput
from pourcall.contract.message import tell
from pourcall.records.read.views import PourRow

TYPES = {".jpg": "image/jpeg", ".jpeg": "image/jpeg", ".png": "image/png", ".webp": "image/webp"}
MOST_BYTES = 64 * 2**20
_NUMBER = re.compile(r"(?<!\d)\d{4}-\d{3,}(?:@[a-z0-9@]+)?-\d+(?!\d)")
_EXIF_IFD, _ORIGINAL, _OFFSET = 0x8769, 0x9003, 0x9011


class Photo(msgspec.Struct, frozen=True):
    """A file that is an image."""

    path: Path
    suffix: str  # by what it is, not by what it is called
    taken_utc_s: float
    by_exif: bool  # False: the time of the file


def image_suffix(head: bytes) -> str:
    """`.jpg`, `.png` or `.webp` by the first bytes; empty for anything else."""
    if head[:3] == b"\xff\xd8\xff":
        return ".jpg"
    if head[:8] == b"\x89PNG\r\n\x1a\n":
        return ".png"
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP":
        return ".webp"
    return ""


def look_at(path: Path) -> Photo:
    """What a file is. Raises BadInput for what is no image, is empty, cut off or too large; OSError for no file."""
    size = path.stat().st_size
    if size > MOST_BYTES:
        raise BadInput(
            tell("entry.photo.too_large", size_mb=size // 2**20),
            where=str(path),
            remedy=tell("entry.photo.too_large.remedy", most_mb=MOST_BYTES // 2**20),
        )
    body = path.read_bytes()
    suffix = image_suffix(body)
    if not suffix:
        raise BadInput(tell("entry.photo.no_image"), where=str(path), remedy=tell("entry.photo.no_image.remedy"))
    ends = {".jpg": b"\xff\xd9", ".png": b"IEND\xaeB`\x82"}.get(suffix)
    if ends is not None and ends not in body[-(2**16) :]:  # cameras append their own data behind the end
        raise BadInput(tell("entry.photo.cut_off"), where=str(path), remedy=tell("entry.photo.cut_off.remedy"))
    if suffix == ".webp" and struct.unpack("<I", body[4:8].ljust(4, b"\0"))[0] + 8 > size:
        raise BadInput(tell("entry.photo.cut_off"), where=str(path), remedy=tell("entry.photo.cut_off.remedy"))
    taken = exif_time(body) if suffix == ".jpg" else None
    return Photo(path, suffix, path.stat().st_mtime if taken is None else taken, taken is not None)


def exif_time(jpeg: bytes) -> float | None:
    """When a JPEG says it was taken, in UTC seconds; None where it says nothing. A clock without a zone is local."""
    try:
        tiff = _exif(jpeg)
        if tiff is None:
            return None
        order = {b"II": "<", b"MM": ">"}[tiff[:2]]
        first = struct.unpack(order + "I", tiff[4:8])[0]
        inner = _entries(tiff, order, first).get(_EXIF_IFD)
        if inner is None:
            return None
        entries = _entries(tiff, order, struct.unpack(order + "I", inner[1][:4])[0])
        if _ORIGINAL not in entries:
            return None
        at = datetime.strptime(_text(tiff, order, entries[_ORIGINAL]), "%Y:%m:%d %H:%M:%S")  # noqa: DTZ007
        if _OFFSET in entries:
            zone = _text(tiff, order, entries[_OFFSET])
            sign = -1 if zone[0] == "-" else 1
            away = timedelta(hours=int(zone[1:3]), minutes=int(zone[4:6])) * sign
            return at.replace(tzinfo=timezone(away)).timestamp()
        return at.timestamp()
    except (KeyError, ValueError, IndexError, struct.error, OverflowError, OSError):
        return None


def pour_in_name(name: str) -> str:
    """The pour a file is named after, `2026-014-1 tip.jpg`; empty where it is named otherwise."""
    found = _NUMBER.search(name)
    return "" if found is None else found.group(0)


def belongs_to(pours: Sequence[PourRow], taken_utc_s: float, *, within_s: float) -> tuple[str, int | None] | None:
    """Melt and pour a photo belongs to by its time; None where no pour lies that near before it.

    A casting is photographed after it was poured, so the latest melt before the photo is meant. Where that melt had
    several pours by then, which of them is shown nobody can know from the time: the photo goes to the melt as a whole.
    """
    before = [row for row in pours if 0.0 <= taken_utc_s - row.at_utc_s <= within_s]
    last = max(before, key=lambda row: row.at_utc_s, default=None)
    if last is None:
        return None
    of_melt = [row for row in before if row.melt == last.melt]
    return last.melt, last.number if len(of_melt) == 1 else None


def _exif(jpeg: bytes) -> bytes | None:
    """The TIFF block of an APP1 segment."""
    at = 2
    while at + 4 <= len(jpeg) and jpeg[at] == 0xFF:
        kind, length = jpeg[at + 1], int.from_bytes(jpeg[at + 2 : at + 4], "big")
        if kind == 0xE1 and jpeg[at + 4 : at + 10] == b"Exif\0\0":
            return jpeg[at + 10 : at + 2 + length]
        if kind == 0xDA or length < 2:
            return None
        at += 2 + length
    return None


def _entries(tiff: bytes, order: str, at: int) -> dict[int, tuple[int, bytes]]:
    """tag -> (count, four bytes of value or offset)."""
    count = struct.unpack(order + "H", tiff[at : at + 2])[0]
    found = {}
    for number in range(min(count, 512)):
        place = at + 2 + 12 * number
        tag, _, length = struct.unpack(order + "HHI", tiff[place : place + 8])
        found[tag] = (length, tiff[place + 8 : place + 12])
    return found


def _text(tiff: bytes, order: str, entry: tuple[int, bytes]) -> str:
    length, value = entry
    if length > 4:
        start = struct.unpack(order + "I", value)[0]
        value = tiff[start : start + min(length, 64)]
    return value.split(b"\0")[0].decode("ascii").strip()
