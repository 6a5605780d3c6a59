"""A port that a second program reads as well, or on which a stranger answers (fault catalogue, serial)."""

import os
import subprocess
import sys
import threading

import pytest

from pourcall.contract.inputs import LinkKind
from pourcall.contract.message import tell
from pourcall.drivers import access
from pourcall.drivers import link as link_module
from pourcall.drivers.ports import PortInfo
from pourcall.drivers.wire import ourline
from pourcall.texts import say
from tests.drivers.conftest import IDENTITY, WAIT_S, Bench, Heard, Start, line
from tests.told import name_of

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
