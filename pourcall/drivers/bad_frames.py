"""Many bad frames, few events. At most ten a second, each with a count, the first bytes and the share of text."""

from pourcall.contract.frames import BadFrame
from pourcall.contract.inputs import LinkKind
from pourcall.contract.message import tell
from pourcall.drivers.inbox import LinkEvent
from pourcall.drivers.wire.framing import bad_frame

EVERY_S = 0.1
UNFINISHED_S = 1.0  # bytes for so long and no line end: said, so that a wrong speed is not taken for silence
UNFINISHED_BYTES = 16
KEPT_BYTES = 256


class BadFrames:
    """Collects BadFrames and gives them out as LinkKind.BAD_FRAMES events."""

    def __init__(self) -> None:
        self._count = 0
        self._first: BadFrame | None = None
        self._size = 0
        self._text_bytes = 0.0
        self._told_s = float("-inf")
        self._unfinished = bytearray()
        self._unfinished_size = 0
        self._unfinished_since_s = 0.0

    def add(self, frame: BadFrame) -> None:
        """Count one."""
        self._first = self._first or frame
        self._count += 1
        self._size += frame.size
        self._text_bytes += frame.printable * frame.size

    def heard(self, data: bytes, now_s: float, *, any_frame: bool) -> None:
        """Bytes came; any_frame: a frame, good or bad, ended in them."""
        if any_frame:
            self._unfinished.clear()
            self._unfinished_size = 0
            return
        if not self._unfinished_size:
            self._unfinished_since_s = now_s
        self._unfinished_size += len(data)
        self._unfinished += data[: KEPT_BYTES - len(self._unfinished)]
        if now_s - self._unfinished_since_s >= UNFINISHED_S and self._unfinished_size >= UNFINISHED_BYTES:
            self.add(bad_frame(tell("frame.unfinished"), bytes(self._unfinished)))
            self._unfinished.clear()
            self._unfinished_size = 0

    def take(self, now_s: float, *, force: bool = False) -> list[LinkEvent]:
        """The event that is due, if any. force: due or not."""
        if self._first is None or (now_s - self._told_s < EVERY_S and not force):
            return []
        printable = self._text_bytes / self._size if self._size else 1.0
        event = LinkEvent(
            LinkKind.BAD_FRAMES, self._first.why, self._count, self._first.sample_hex, round(printable, 3)
        )
        self._told_s = now_s
        self._first, self._count, self._size, self._text_bytes = None, 0, 0, 0.0
        return [event]
