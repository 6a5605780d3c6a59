"""Bytes in any pieces -> whole lines. A line that never ends is thrown away at a cap, and said.

Whole, byte by byte, joined, or cut anywhere: the same bytes give the same lines, because every decision here depends on
positions in the stream and none on how it was delivered. Memory stays below the cap plus one delivery.
"""

from typing import Protocol

from pourcall.contract.errors import FrameError
from pourcall.contract.frames import BadFrame, Frame
from pourcall.contract.message import Told, tell

MAX_LINE_BYTES = 65_536  # the cap for one frame of any kind; formats with short lines set a lower one
SAMPLE_BYTES = 24  # how much of a bad frame is kept to be shown


class Decoder(Protocol):
    """A wire format. Frames come out in the order of their bytes; rubbish comes out as BadFrame, never as an error."""

    @property
    def name(self) -> str:
        """The format's word in settings and reports."""
        ...

    @property
    def query(self) -> bytes:
        """What makes such a board say who it is; empty: it is not to be talked to."""
        ...

    def feed(self, data: bytes) -> list[Frame]:
        """The frames completed by `data`."""
        ...


def printable_share(data: bytes) -> float:
    """The share of bytes that are ASCII text (with tab and line ends); 1.0 for no bytes. Wrong speed makes it small."""
    if not data:
        return 1.0
    unprintable = data.translate(None, _TEXT)
    return 1.0 - len(unprintable) / len(data)


_TEXT = bytes([9, 10, 13, *range(32, 127)])


def bad_frame(why: Told, data: bytes) -> BadFrame:
    """A BadFrame that keeps only the first bytes of `data`."""
    return BadFrame(
        why=why, sample_hex=data[:SAMPLE_BYTES].hex(), size=len(data), printable=round(printable_share(data), 3)
    )


def ascii_text(line: bytes) -> str:
    """The line as text. Raises FrameError for anything that is not printable ASCII or a tab."""
    if line.translate(None, _TEXT):
        raise FrameError(tell("frame.no_text"), where=line[:SAMPLE_BYTES].hex())
    return line.decode("ascii")


class LineFramer:
    """Cuts a byte stream at CR and LF; empty lines are dropped.

    max_line: bytes without a line end that are still a line; each further `max_line` of them becomes one BadFrame and
    the rest up to the next line end is dropped. midway: the stream was joined in the middle (a port just opened), so
    what comes before the first line end is dropped: half a line may look like a whole one with a wrong number.
    """

    def __init__(self, max_line: int = MAX_LINE_BYTES, *, midway: bool = False) -> None:
        if max_line < 1:
            raise ValueError(f"max_line {max_line} must be at least 1")
        self._max_line = max_line
        self._part = bytearray()
        self._dropping = midway  # until the next line end

    def feed(self, data: bytes) -> list[bytes | BadFrame]:
        """Whole lines without their ends, and a BadFrame for each cap's worth of bytes that has none."""
        found: list[bytes | BadFrame] = []
        pieces = data.replace(b"\r", b"\n").split(b"\n")
        for position, piece in enumerate(pieces):
            self._extend(piece, found)
            if position < len(pieces) - 1:
                if self._part and not self._dropping:
                    found.append(bytes(self._part))
                self._part.clear()
                self._dropping = False
        return found

    def _extend(self, piece: bytes, found: list[bytes | BadFrame]) -> None:
        start = 0
        while len(self._part) + len(piece) - start > self._max_line:
            take = self._max_line - len(self._part)
            self._part += piece[start : start + take]
            start += take
            found.append(bad_frame(tell("frame.endless", count=self._max_line), bytes(self._part)))
            self._part.clear()
            self._dropping = True
        self._part += piece[start:] if start else piece


class LineDecoder:
    """What all line formats share: framing, and turning FrameError into BadFrame. Subclasses give `decode_line`."""

    name = "line"
    query = b""
    max_line = MAX_LINE_BYTES

    def __init__(self, *, midway: bool = False) -> None:
        self._framer = LineFramer(self.max_line, midway=midway)

    def feed(self, data: bytes) -> list[Frame]:
        """The frames completed by `data`; never raises."""
        frames: list[Frame] = []
        for line in self._framer.feed(data):
            if isinstance(line, BadFrame):
                frames.append(line)
                continue
            try:
                frames.extend(self.decode_line(line))
            except FrameError as err:
                frames.append(bad_frame(err.what, line))
        return frames

    def decode_line(self, line: bytes) -> list[Frame]:
        """The frames of one line. Raises FrameError."""
        raise NotImplementedError
