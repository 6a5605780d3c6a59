"""A link on a pseudo-terminal: who the board is, unplugged and plugged in again, ended (fault catalogue, serial)."""

import os
import termios
import threading
import time

from pourcall.contract.frames import BoardStatus, Identity, Sample
from pourcall.contract.inputs import LinkKind
from pourcall.drivers import access
from pourcall.drivers.inbox import Arrival, Inbox, LinkEvent
from pourcall.drivers.ports import PortInfo
from pourcall.drivers.wire import max31855, ourline
from tests.drivers.conftest import IDENTITY, UNPLUGGED, WAIT_S, Bench, Heard, Start, line
from tests.told import name_of


def test_frames_come_with_the_clock_that_was_given(bench: Bench, heard: Heard, start: Start) -> None:
    before_s = time.monotonic()
    start(bench.name)
    assert heard.event(LinkKind.OPENED).detail == bench.name
    bench.write(line(1) + line(2)[:20])
    bench.write(line(2)[20:] + ourline.encode_status(BoardStatus(0, 200, 7, 0, 0, 0)))
    samples = heard.arrivals(2)
    assert [(each.frame.raw_value, each.frame.board_seq) for each in samples if isinstance(each.frame, Sample)] == [
        (666.0, 1),
        (666.0, 2),
    ]
    mono_s, item = heard.items.get(timeout=WAIT_S)
    assert isinstance(item, Arrival)
    assert isinstance(item.frame, BoardStatus)
    assert before_s <= mono_s <= time.monotonic()


def test_board_is_asked_who_it_is_and_power_is_sent_at_once(bench: Bench, heard: Heard, start: Start) -> None:
    link = start(bench.name)
    heard.event(LinkKind.OPENED)
    assert bench.read_until(b"?\n") == b"?\n"
    bench.write(ourline.encode_identity(IDENTITY))
    while not (isinstance(item := heard.next(), Arrival) and item.frame == IDENTITY):
        pass
    assert link.identity == IDENTITY
    command = ourline.encode_power(1, 0, 500, 3000)
    assert link.send(command)
    assert bench.read_until(b"\n") == command


def test_board_that_started_again_is_asked_anew_and_its_lines_are_not_late(
    bench: Bench, heard: Heard, start: Start
) -> None:
    start(bench.name)
    heard.event(LinkKind.OPENED)
    assert bench.read_until(b"?\n") == b"?\n"
    bench.write(ourline.encode_identity(IDENTITY) + ourline.encode_status(BoardStatus(0, 900_000, 7, 0, 0, 0)))
    bench.write(line(5, 900_100) + ourline.encode_status(BoardStatus(0, 40, 8, 0, 0, 0)) + line(1, 60))
    assert [each.late_s < 1.0 for each in heard.arrivals(2)] == [True, True]
    assert bench.read_until(b"?\n") == b"?\n"


def test_board_of_another_format_is_never_talked_to(bench: Bench, heard: Heard, start: Start) -> None:
    link = start(bench.name, lambda: max31855.decoder(midway=True))
    heard.event(LinkKind.OPENED)
    bench.write(b"900\n29A01900\n")
    heard.arrivals(1)
    link.send(b"!")
    assert bench.read_until(b"!") == b"!"


def test_unplugged_port_is_told_and_nothing_is_sent_to_it(bench: Bench, heard: Heard, start: Start) -> None:
    link = start(bench.name)
    heard.event(LinkKind.OPENED)
    bench.write(line(1))
    heard.arrivals(1)
    bench.unplug()
    closed = heard.event(LinkKind.CLOSED)
    assert name_of(closed.detail) in UNPLUGGED
    assert link.open_as == ""
    assert not link.send(b"PW1\n")


def test_port_that_comes_back_is_opened_again_and_half_a_line_from_before_is_gone(
    heard: Heard, start: Start, tmp_path: "os.PathLike[str]"
) -> None:
    first, second = Bench(), Bench()
    name = os.path.join(tmp_path, "ttyBENCH0")
    os.symlink(first.name, name)
    try:
        start(name)
        heard.event(LinkKind.OPENED)
        first.write(line(1) + line(2)[:25])
        heard.arrivals(1)
        os.unlink(name)
        first.unplug()
        heard.event(LinkKind.CLOSED)
        os.symlink(second.name, name)
        heard.event(LinkKind.OPENED)
        second.write(line(3))
        (after,) = heard.arrivals(1)
        assert isinstance(after.frame, Sample)
        assert after.frame.board_seq == 3
        assert not [item for item in heard.all if isinstance(item, LinkEvent) and item.kind is LinkKind.BAD_FRAMES]
        assert not [item for item in heard.all if isinstance(item, LinkEvent) and item.kind is LinkKind.UNAVAILABLE]
    finally:
        first.unplug()
        second.unplug()


def answer(bench: Bench, identity: Identity) -> threading.Thread:
    """A board that answers `?` until it is unplugged."""

    def run() -> None:
        heard = b""
        while True:
            try:
                data = os.read(bench.board, 4096)
            except OSError:
                return  # nobody has the other end open
            heard += data
            if not data:
                return
            if b"?\n" in heard:
                heard = b""
                bench.write(ourline.encode_identity(identity))

    thread = threading.Thread(target=run, name="board")
    thread.start()
    return thread


def test_board_that_comes_back_under_another_name_is_known_by_its_answer(heard: Heard, start: Start) -> None:
    old, other, new = Bench(), Bench(), Bench()
    known = [PortInfo(old.name)]
    # Held open, so that the boards' reads do not end while the link is still looking for them.
    holds = [os.open(each.name, os.O_RDWR | os.O_NOCTTY) for each in (other, new)]
    threads = [answer(other, Identity("bench", serial="B2")), answer(new, IDENTITY)]
    try:
        link = start(old.name, list_ports=lambda: list(known))
        heard.event(LinkKind.OPENED)
        old.write(ourline.encode_identity(IDENTITY) + line(1))
        heard.arrivals(1)
        known[:] = []
        old.unplug()
        heard.event(LinkKind.CLOSED)
        known[:] = [PortInfo(other.name), PortInfo(new.name)]  # both are new since ours was opened
        assert heard.event(LinkKind.OPENED).detail == new.name
        assert link.open_as == new.name
        new.write(line(2))
        heard.arrivals(1)
    finally:
        link.stop()
        for hold in holds:
            os.close(hold)
        for each in (old, other, new):
            for thread in threads:
                thread.join(0.05)
            each.unplug()
        for thread in threads:
            thread.join(WAIT_S)
            assert not thread.is_alive()


def test_board_that_comes_back_under_another_name_is_known_by_its_usb_identity(heard: Heard, start: Start) -> None:
    old, new = Bench(), Bench()
    known = [PortInfo(old.name, vid=0x2E8A, pid=5, serial_number="E6:61")]
    try:
        link = start("usb:E6:61", lambda: max31855.decoder(), list_ports=lambda: list(known))
        assert heard.event(LinkKind.OPENED).detail == old.name
        known[:] = [PortInfo(new.name, vid=0x2E8A, pid=5, serial_number="E6:61")]
        old.unplug()
        heard.event(LinkKind.CLOSED)
        assert heard.event(LinkKind.OPENED).detail == new.name
        new.write(b"29A01900\n")
        heard.arrivals(1)
        link.stop()
    finally:
        old.unplug()
        new.unplug()


def test_stopping_leaves_no_thread_and_the_port_free(bench: Bench, heard: Heard, start: Start) -> None:
    link = start(bench.name)
    heard.event(LinkKind.OPENED)
    assert link.stop()
    assert link.stop()
    assert not link.send(b"x")
    access.close_port(access.open_port(bench.name, 115_200))
    number = os.open(bench.name, os.O_RDWR | os.O_NOCTTY)
    termios.tcgetattr(number)
    os.close(number)


def test_inbox_wakes_once_and_drops_samples_before_events() -> None:
    woken: list[int] = []
    inbox = Inbox(lambda: woken.append(1), max_waiting=3)
    sample = Arrival(IDENTITY)
    inbox.put(0.0, (LinkEvent(LinkKind.OPENED, "a"),))
    for n in range(1, 9):
        inbox.put(float(n), (sample,))
    waiting = inbox.drain()
    assert len(woken) == 1
    assert len(waiting) <= 3
    assert [item.kind for _, items in waiting for item in items if isinstance(item, LinkEvent)] == [LinkKind.OPENED]
    assert waiting[-1] == (8.0, (sample,))
    assert inbox.dropped + sum(isinstance(item, Arrival) for _, items in waiting for item in items) == 8
    inbox.put(9.0, (sample,))
    assert len(woken) == 2
