"""The serial link on real pseudo-terminals and sockets (fault catalogue, S1, S3 to S5, S8 to S12)."""

import errno
import os
import pty
import queue
import random
import socket
import subprocess
import sys
import termios
import threading
import time
import tty
from collections.abc import Callable, Iterator, Sequence

import pytest

from pourcall.contract.frames import BoardStatus, Identity, Sample
from pourcall.contract.inputs import LinkKind
from pourcall.contract.message import Message, Told, tell
from pourcall.drivers import access
from pourcall.drivers import link as link_module
from pourcall.drivers.inbox import Arrival, Inbox, Item, LinkEvent
from pourcall.drivers.link import SerialLink
from pourcall.drivers.ports import PortInfo
from pourcall.drivers.wire import max31855, ourline
from pourcall.drivers.wire.framing import Decoder
from pourcall.texts import say
from tests.told import name_of

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


def test_garbage_becomes_few_events_with_counts_and_the_share_of_text(bench: Bench, heard: Heard, start: Start) -> None:
    start(bench.name)
    heard.event(LinkKind.OPENED)
    rng = random.Random(11)
    began_s = time.monotonic()
    for _ in range(50):
        bench.write(rng.randbytes(200) + b"\n")
    bench.write(line(1))
    heard.arrivals(1)
    took_s = time.monotonic() - began_s
    bench.unplug()
    heard.event(LinkKind.CLOSED)
    events = [item for item in heard.all if isinstance(item, LinkEvent) and item.kind is LinkKind.BAD_FRAMES]
    assert sum(event.count for event in events) >= 50
    assert len(events) <= 3 + 10 * took_s
    assert all(0.2 < event.printable < 0.6 and event.sample_hex for event in events)


def test_flood_without_line_ends_is_told_and_a_sound_line_after_it_is_heard(
    bench: Bench, heard: Heard, start: Start
) -> None:
    start(bench.name)
    heard.event(LinkKind.OPENED)
    for _ in range(64):
        bench.write(b"U" * 2048)
    event = heard.event(LinkKind.BAD_FRAMES)
    assert name_of(event.detail) == "frame.endless"
    bench.write(b"\n" + line(1))
    heard.arrivals(1)


def test_backlog_delivered_in_a_burst_is_marked_late_by_its_age(bench: Bench, heard: Heard, start: Start) -> None:
    now_s = [100.0]
    got: queue.Queue[Item] = queue.Queue()
    link = SerialLink(
        bench.name,
        ourline.decoder,
        into(got),
        mono_s=lambda: now_s[0],
        list_ports=list,
    )
    link.start()

    def samples(count: int) -> list[float]:
        late: list[float] = []
        while len(late) < count:
            item = got.get(timeout=WAIT_S)
            if isinstance(item, Arrival) and isinstance(item.frame, Sample):
                late.append(item.late_s)
        return late

    try:
        opened = got.get(timeout=WAIT_S)
        assert isinstance(opened, LinkEvent)
        bench.write(line(1, 1000))
        assert samples(1) == [0.0]
        now_s[0] = 111.0  # eleven seconds pass; ten seconds of lines come at once
        bench.write(b"".join(line(n, 1000 * n) for n in range(2, 13)))
        late = samples(11)
        assert late[0] == pytest.approx(10.0, abs=0.1)
        assert late[5] == pytest.approx(5.0, abs=0.1)
        assert late[-1] == pytest.approx(0.0, abs=0.1)
    finally:
        link.stop()


OTHER_READER = """import os, sys
os.open(sys.argv[1], os.O_RDONLY | os.O_NOCTTY)
print(1, flush=True)
sys.stdin.read()
"""


def test_second_program_on_the_port_is_named(bench: Bench, heard: Heard, start: Start) -> None:
    # It had the port open before us: afterwards the system lets only the superuser in.
    other = subprocess.Popen(
        [sys.executable, "-c", OTHER_READER, bench.name], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    )
    try:
        assert other.stdout is not None
        assert other.stdout.readline() == b"1\n"
        start(bench.name)
        heard.event(LinkKind.OPENED)
        bench.write(b"a line that was cut\n")
        event = heard.event(LinkKind.PORT_SHARED)
        assert name_of(event.detail) == "link.shared"
        assert f"process {other.pid}" in say(event.detail)
    finally:
        other.communicate(b"")


def test_lines_that_vanish_make_the_link_look_who_else_reads(
    bench: Bench, heard: Heard, start: Start, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(access, "other_holders", lambda name: ["terminal (process 7)"])
    start(bench.name)
    heard.event(LinkKind.OPENED)
    bench.write(line(1) + line(2))
    heard.arrivals(2)
    bench.write(line(9))
    told = tell("link.shared", port=bench.name, holders="terminal (process 7)")
    assert heard.event(LinkKind.PORT_SHARED).detail == told


def test_program_that_cannot_be_seen_but_takes_our_bytes_is_told_all_the_same(
    bench: Bench, heard: Heard, start: Start, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(access, "other_holders", lambda name: [])
    monkeypatch.setattr(access, "hung_up", lambda number: False)
    real_read, taken, read_once = os.read, [0], threading.Event()

    def read(number: int, size: int) -> bytes:
        data = real_read(number, size)
        if data.startswith(b"PC1"):
            read_once.set()
            taken[0] += 1
            return b""  # what a second reader of a terminal leaves us
        return data

    start(bench.name)
    heard.event(LinkKind.OPENED)
    monkeypatch.setattr(os, "read", read)
    # The first is looked into alone and may be an accident; a second later there have been more.
    while (event := heard.events_now(LinkKind.PORT_SHARED)) is None:
        read_once.clear()
        bench.write(line(taken[0]))
        assert read_once.wait(WAIT_S)
    assert event.detail == tell("link.shared", port=bench.name, holders=tell("link.shared_unseen"))


def test_stranger_that_never_answers_is_asked_three_times_and_then_left_alone(
    heard: Heard, start: Start, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(link_module, "BACK_OFF_S", (0.01,))
    monkeypatch.setattr(link_module, "ASK_WAIT_S", 0.1)
    old, stranger = Bench(), Bench()
    known, asked, looked_since = [PortInfo(old.name)], [], []
    done = threading.Event()

    def opening(name: str, baud: int) -> access.Port:
        if name == stranger.name:
            asked.append(name)
        return access.open_port(name, baud)

    def listing() -> list[PortInfo]:
        if len(asked) >= 3:
            looked_since.append(1)
        if len(looked_since) >= 5:
            done.set()
        return list(known)

    try:
        link = start(old.name, list_ports=listing, open_port=opening)
        heard.event(LinkKind.OPENED)
        old.write(ourline.encode_identity(IDENTITY) + line(1))
        heard.arrivals(1)
        known[:] = [PortInfo(stranger.name)]
        old.unplug()
        heard.event(LinkKind.CLOSED)
        assert done.wait(WAIT_S)
        assert len(asked) == 3
        link.stop()
    finally:
        old.unplug()
        stranger.unplug()


def test_busy_port_is_told_once_and_opened_when_it_is_free(bench: Bench, heard: Heard, start: Start) -> None:
    holder = access.open_port(bench.name, 9600)
    try:
        start(bench.name)
        event = heard.event(LinkKind.UNAVAILABLE)
        busy = fact(event.detail, "what")
        assert name_of(busy).startswith("port.busy.")
        assert fact(busy, "port") == bench.name
        assert fact(event.detail, "remedy") == tell("port.busy.remedy")
    finally:
        access.close_port(holder)
    heard.event(LinkKind.OPENED)
    assert len([item for item in heard.all if isinstance(item, LinkEvent)]) == 2


def test_port_that_is_not_there_is_told_with_what_to_do(heard: Heard, start: Start) -> None:
    start("/dev/ttyNOT-THERE")
    assert heard.event(LinkKind.UNAVAILABLE).detail == tell(
        "port.unavailable",
        what=tell("port.absent", port="/dev/ttyNOT-THERE"),
        remedy=tell("port.absent.remedy"),
    )


def test_unknown_usb_identity_and_nonsense_urls_are_told_in_words(heard: Heard, start: Start) -> None:
    start("usb:nobody")
    assert fact(heard.event(LinkKind.UNAVAILABLE).detail, "what") == tell("port.usb_absent", port="usb:nobody")
    start("morse://here")
    assert name_of(fact(heard.event(LinkKind.UNAVAILABLE).detail, "what")) == "port.failed"


def test_no_permission_names_the_group_to_join(tmp_path: "os.PathLike[str]", monkeypatch: pytest.MonkeyPatch) -> None:
    import grp

    name = os.path.join(tmp_path, "ttyBENCH0")
    with open(name, "w"):
        pass
    os.chmod(name, 0o660)
    group = grp.getgrgid(os.stat(name).st_gid).gr_name
    refused = PermissionError(errno.EACCES, "Permission denied")
    if os.geteuid() == 0:
        wanted = next(entry for entry in grp.getgrall() if entry.gr_gid != 0 and entry.gr_name == "dialout")
        os.chown(name, 0, wanted.gr_gid)
        group = wanted.gr_name
    monkeypatch.setattr(os, "getgroups", list)
    monkeypatch.setattr(os, "getegid", lambda: 99_999)
    kind, what, remedy = access.why_unavailable(name, refused)
    assert kind == access.Unavailable.NO_PERMISSION
    assert what == tell("port.forbidden", port=name)
    assert (remedy.name, remedy.facts["group"]) == ("port.forbidden.join", group)
    monkeypatch.setattr(access, "_user", lambda: grp.getgrnam(group).gr_mem[0] if grp.getgrnam(group).gr_mem else "x")
    os.chmod(name, 0o600)
    assert access.why_unavailable(name, refused).remedy.name == "port.forbidden.join"


OPEN_AS_NOBODY = """import os, sys
from pourcall.drivers import access
from tests.told import name_of
os.setgid(65534)
os.setuid(65534)
try:
    access.open_port(sys.argv[1], 9600)
except OSError as err:
    fault = access.why_unavailable(sys.argv[1], err)
    print(fault.kind, fault.what.name, fault.remedy.name)
"""


@pytest.mark.skipif(os.geteuid() != 0, reason="needs the superuser, who alone can become somebody without rights")
def test_port_of_another_user_is_refused_by_the_system_and_told_as_no_permission(bench: Bench) -> None:
    os.chmod(bench.name, 0o600)
    told = subprocess.run(
        [sys.executable, "-c", OPEN_AS_NOBODY, bench.name], capture_output=True, text=True, check=True
    )
    assert told.stdout == "no_permission port.forbidden port.forbidden.join\n"


def test_socket_works_like_a_port_and_is_tried_again(heard: Heard, start: Start) -> None:
    server = socket.create_server(("127.0.0.1", 0))
    port = server.getsockname()[1]
    try:
        start(f"socket://127.0.0.1:{port}")
        client, _ = server.accept()
        with client:
            heard.event(LinkKind.OPENED)
            assert client.recv(16) == b"?\n"
            client.sendall(line(1) + line(2))
            heard.arrivals(2)
        assert name_of(heard.event(LinkKind.CLOSED).detail) in UNPLUGGED
        client, _ = server.accept()
        with client:
            heard.event(LinkKind.OPENED)
            client.sendall(line(3))
            heard.arrivals(1)
    finally:
        server.close()


def test_socket_that_nobody_serves_is_told(heard: Heard, start: Start) -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
    start(f"socket://127.0.0.1:{port}")
    assert name_of(fact(heard.event(LinkKind.UNAVAILABLE).detail, "what")) == "port.refused"


def test_port_that_is_no_file_is_read_through_pyserial(heard: Heard, start: Start) -> None:
    link = start("loop://", max31855.decoder)
    heard.event(LinkKind.OPENED)
    assert link.send(b"29A01900\n")
    heard.arrivals(1)


def test_receiver_that_fails_does_not_stop_the_reading(bench: Bench, caplog: pytest.LogCaptureFixture) -> None:
    got: queue.Queue[Item] = queue.Queue()

    def deliver(_: float, items: Sequence[Item]) -> None:
        for item in items:
            got.put(item)
        raise RuntimeError("the receiver is broken")

    link = SerialLink(bench.name, ourline.decoder, deliver, mono_s=time.monotonic, list_ports=list)
    link.start()
    try:
        got.get(timeout=WAIT_S)
        bench.write(line(1))
        assert isinstance(got.get(timeout=WAIT_S), Arrival)
    finally:
        assert link.stop()
    assert "was not taken" in caplog.text


def test_decoder_that_fails_is_told_as_a_loss_and_the_port_is_opened_again(
    bench: Bench, heard: Heard, start: Start, caplog: pytest.LogCaptureFixture
) -> None:
    class Broken:
        name = "broken"
        query = b""

        def feed(self, data: bytes) -> list[object]:
            raise ZeroDivisionError("a fault of ours")

    start(bench.name, Broken)
    heard.event(LinkKind.OPENED)
    bench.write(b"x")
    assert heard.event(LinkKind.CLOSED).detail == tell("link.reader_failed", error="ZeroDivisionError: a fault of ours")
    heard.event(LinkKind.OPENED)
    assert "a fault of ours" in caplog.text


def test_bytes_at_another_speed_without_line_ends_are_not_taken_for_silence(
    bench: Bench, heard: Heard, start: Start
) -> None:
    now_s = [0.0]
    got: queue.Queue[Item] = queue.Queue()
    link = SerialLink(
        bench.name,
        ourline.decoder,
        into(got),
        mono_s=lambda: now_s[0],
        list_ports=list,
    )
    link.start()
    try:
        got.get(timeout=WAIT_S)
        bench.write(b"\xf8\xe0\x80\xfe" * 8)
        while True:
            now_s[0] += 0.6
            bench.write(b"\xf8\xe0\x80\xfe")
            try:
                event = got.get(timeout=0.05)
            except queue.Empty:
                continue
            break
        assert isinstance(event, LinkEvent)
        assert (event.kind, event.printable) == (LinkKind.BAD_FRAMES, 0.0)
    finally:
        link.stop()


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
