"""What waits to be written. Never drops; order kept; an hour of readings packed to a few tens of megabytes.

While the disk is well this is a short queue. While it is not, the oldest entries are packed (MessagePack, deflate):
an hour at 80 readings/s takes about 20 MB instead of 200 MB. Not here: locks; the recorder holds its own.
"""

import zlib
from collections import deque
from collections.abc import Callable, Sequence
from itertools import islice
from typing import Any

import msgspec

from pourcall.contract.events import Output
from pourcall.contract.inputs import Input

PACK_ROWS = 4096


# One thing to write: ticket, index into the recorder's sessions (-1 for calls), input (None for the beginning of a
# session and for calls), what came of it, and the function of a call. A bare tuple: eighty are made every second.
Entry = tuple[int, int, Input | None, Sequence[Output], Callable[[Any], Any] | None]


_Plain = tuple[int, int, Input | None, list[Output]]
_encoder = msgspec.msgpack.Encoder()
_decoder = msgspec.msgpack.Decoder(list[_Plain])


class Backlog:
    """A queue in two parts: packed blocks, older than all that is not packed."""

    def __init__(self) -> None:
        self._blocks: deque[tuple[int, bytes | list[Entry]]] = deque()
        self._opened: list[Entry] = []  # the oldest block, unpacked
        self._fresh: deque[Entry] = deque()
        self._packed_rows = 0
        self.append: Callable[[Entry], None] = self._fresh.append  # at the end; no call of ours between

    def __len__(self) -> int:
        return len(self._opened) + self._packed_rows + len(self._fresh)

    def oldest(self, most: int) -> list[Entry]:
        """Up to `most` entries from the front; they stay until `drop`."""
        if not self._opened and self._blocks:
            count, block = self._blocks.popleft()
            self._packed_rows -= count
            self._opened = unpack(block) if isinstance(block, bytes) else block
        if self._opened:
            return self._opened[:most]
        return list(islice(self._fresh, most))

    def drop(self, count: int) -> None:
        """The first `count` entries given by `oldest` are written."""
        if self._opened:
            del self._opened[:count]
            return
        for _ in range(count):
            self._fresh.popleft()

    def take_to_pack(self) -> list[Entry]:
        """The oldest fresh entries, if there are enough to be worth packing; give them back with `put_packed`.

        They are out of the queue meanwhile: the same thread packs and commits, so nobody can miss them.
        """
        if len(self._fresh) < 2 * PACK_ROWS:
            return []
        run: list[Entry] = []
        while len(run) < PACK_ROWS and (self._fresh[0][4] is None or not run):
            run.append(self._fresh.popleft())
            if run[0][4] is not None:
                break  # a call is code and cannot be packed: a block of its own keeps its place
        self._packed_rows += len(run)
        return run

    def put_packed(self, run: Sequence[Entry], block: bytes | list[Entry]) -> None:
        """The packed form of the entries last taken."""
        self._blocks.append((len(run), block))


def pack(run: Sequence[Entry]) -> bytes | list[Entry]:
    """Entries as one block; as they are where they cannot be packed."""
    if any(entry[4] is not None for entry in run):
        return list(run)
    try:
        plain = [(ticket, session, item, list(outputs)) for ticket, session, item, outputs, _ in run]
        return zlib.compress(_encoder.encode(plain), 1)
    except (OverflowError, TypeError):  # an integer beyond 64 bits, a type msgspec does not know
        return list(run)


def unpack(block: bytes) -> list[Entry]:
    """Inverse of pack."""
    return [(*plain, None) for plain in _decoder.decode(zlib.decompress(block))]
