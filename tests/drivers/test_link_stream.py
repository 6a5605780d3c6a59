"""What comes over a link and is no sound line: garbage, floods, backlogs, another speed (fault catalogue, serial)."""

import queue
import random
import time
from collections.abc import Sequence

import pytest

from pourcall.contract.frames import Sample
from pourcall.contract.inputs import LinkKind
from pourcall.contract.message import tell
from pourcall.drivers.inbox import Arrival, Item, LinkEvent
from pourcall.drivers.link import SerialLink
from pourcall.drivers.wire import ourline
from tests.drivers.conftest import WAIT_S, Bench, Heard, Start, into, line
from tests.told import name_of


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
