"""A board on a pseudo-terminal, a link to it, and what the link told: for the tests of links on real ports."""

import os
import pty
import queue
import threading
import time
import tty
from collections.abc import Callable, Iterator, Sequence

import pytest

from pourcall.contract.frames import Identity, Sample
from pourcall.contract.inputs import LinkKind
from pourcall.contract.message import Message, Told
from pourcall.drivers.inbox import Arrival, Item, LinkEvent
from pourcall.drivers.link import SerialLink
from pourcall.drivers.wire import max31855, ourline
from pourcall.drivers.wire.framing import Decoder

WAIT_S = 30.0  # a bound for a hung test, not a time that anything takes


class Bench:
    """A pseudo-terminal: we are the board, the link opens the other end."""

    def __init__(self) -> None:
        self.board, self._keep = pty.openpty()
        self.name = os.ttyname(self._keep)
        tty.setraw(self._keep)
        os.close(self._keep)
        os.set_blocking(self.board, True)

    def write(self, data: bytes) -> None:
        os.write(self.board, data)

    def read_until(self, wanted: bytes) -> bytes:
        heard = b""
        while wanted not in heard:
            heard += os.read(self.board, 4096)
        return heard

    def unplug(self) -> None:
        if self.board >= 0:
            os.close(self.board)
            self.board = -1


class Heard:
    """Collects deliveries; waits for one of a kind."""

    def __init__(self) -> None:
        self.items: queue.Queue[tuple[float, Item]] = queue.Queue()
        self.all: list[Item] = []

    def put(self, mono_s: float, items: Sequence[Item]) -> None:
        for item in items:
            self.items.put((mono_s, item))

    def next(self) -> Item:
        _, item = self.items.get(timeout=WAIT_S)
        self.all.append(item)
        return item

    def event(self, kind: LinkKind) -> LinkEvent:
        while True:
            item = self.next()
            if isinstance(item, LinkEvent) and item.kind is kind:
                return item

    def events_now(self, kind: LinkKind) -> LinkEvent | None:
        while not self.items.empty():
            item = self.next()
            if isinstance(item, LinkEvent) and item.kind is kind:
                return item
        return None

    def arrivals(self, count: int) -> list[Arrival]:
        found: list[Arrival] = []
        while len(found) < count:
            item = self.next()
            if isinstance(item, Arrival) and isinstance(item.frame, Sample):
                found.append(item)
        return found


@pytest.fixture
def bench() -> Iterator[Bench]:
    made = Bench()
    yield made
    made.unplug()


@pytest.fixture
def heard() -> Heard:
    return Heard()


Start = Callable[..., SerialLink]
UNPLUGGED = ("link.ended", "link.unplugged")


def fact(told: Told, key: str) -> Message | str:
    assert isinstance(told, Message)
    found = told.facts[key]
    assert isinstance(found, Message | str)
    return found


@pytest.fixture
def start(heard: Heard) -> Iterator[Start]:
    links: list[SerialLink] = []

    def begin(port: str, make_decoder: Callable[[], Decoder] = ourline.decoder, **options: object) -> SerialLink:
        options.setdefault("list_ports", list)
        link = SerialLink(port, make_decoder, heard.put, mono_s=time.monotonic, **options)  # type: ignore[arg-type]
        links.append(link)
        link.start()
        return link

    yield begin
    for link in links:
        assert link.stop()
    assert not [thread for thread in threading.enumerate() if thread.name.startswith("link ")]


def line(seq: int, millis: int | None = None, word: int = 0x29A01900) -> bytes:
    code = max31855.word_bytes(word)
    return ourline.encode_sample(seq, 100 * seq if millis is None else millis, "pot", chip_code=code)


def into(got: "queue.Queue[Item]") -> Callable[[float, Sequence[Item]], None]:
    def deliver(_: float, items: Sequence[Item]) -> None:
        for item in items:
            got.put(item)

    return deliver


IDENTITY = Identity("bench", "1.0", "A1", "max31855", ("pot",))
