"""The reference firmware, run under CPython with the hardware replaced. Its lines meet our own decoder."""

import importlib.util
import itertools
import os
import select
import sys
import time
from collections.abc import Callable
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pourcall.contract.frames import BoardStatus, Frame, Identity, RawKind, Sample, SampleFlag
from pourcall.drivers.wire import max31855, ourline

FILE = Path(__file__).parents[2] / "pourcall" / "drivers" / "firmware" / "pourcall_board.py"


def load() -> ModuleType:
    spec = importlib.util.spec_from_file_location("pourcall_board_under_test", FILE)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


FIRMWARE = load()


def new_board() -> Any:
    return FIRMWARE.Board("e66138", 77)


def decoded(lines: list[bytes]) -> list[Frame]:
    return ourline.decoder().feed(b"".join(lines))


def status_of(lines: list[bytes]) -> BoardStatus:
    (frame,) = decoded(lines)
    assert isinstance(frame, BoardStatus)
    return frame


@given(st.binary(max_size=80))
def test_board_and_host_reckon_the_same_checksum(data: bytes) -> None:
    assert FIRMWARE.crc16(data) == ourline.crc16(data)


def test_samples_decode_to_the_word_that_the_chip_gave_and_tell_of_the_restart_once() -> None:
    board = new_board()
    frames = decoded(
        [board.sample("1", 0x29A01900, 2**32 + 5), board.sample("2", 0x00011901, 6), board.sample("1", 0x29A01900, 7)]
    )
    assert frames == [
        Sample("1", RawKind.LINEAR_C, 666.0, 25.0, SampleFlag.RESTARTED, 0x29A01900, 1, 5),
        Sample("2", RawKind.LINEAR_C, None, 25.0, SampleFlag.RESTARTED | SampleFlag.OPEN, 0x00011901, 2, 6),
        Sample("1", RawKind.LINEAR_C, 666.0, 25.0, 0, 0x29A01900, 3, 7),
    ]


@given(word=st.integers(0, 0xFFFF_FFFF))
def test_any_word_of_the_bus_becomes_a_line_that_decodes(word: int) -> None:
    (frame,) = decoded([new_board().sample("1", word, 1)])
    assert isinstance(frame, Sample)
    seen = max31855.decode_word(word)
    assert (frame.raw_code, frame.flags & SampleFlag.RESERVED_BITS) == (word, seen.flags & SampleFlag.RESERVED_BITS)
    if not seen.flags:
        assert (frame.raw_value, frame.cold_junction_c) == (seen.hot_c, seen.cold_c)


def test_question_is_answered_with_who_the_board_is() -> None:
    (frame,) = decoded(new_board().hear(b"?\r\n", 10))
    assert frame == Identity("pourcall-board", "1.0", "e66138", "max31855", ("1", "2"))


def test_power_dies_by_itself_when_it_is_not_renewed() -> None:
    board = new_board()
    status = status_of(board.hear(ourline.encode_power(9, 0, 1000, 3000), 10_000))
    assert (status.board_seq, status.applied_permille, status.ttl_left_ms, status.boot) == (9, 1000, 3000, 77)
    assert all(board.output_on(now_ms) for now_ms in range(10_000, 13_000, 7))
    assert not any(board.output_on(now_ms) for now_ms in range(13_000, 60_000, 7))
    assert status_of(board.tick(13_000, 0)).applied_permille == 0


def test_power_that_is_renewed_stays_and_zero_ends_it_at_once() -> None:
    board = new_board()
    for second in range(30):
        board.hear(ourline.encode_power(second, 0, 1000, 3000), 1000 * second)
        assert board.output_on(1000 * second + 999)
    assert status_of(board.hear(ourline.encode_power(30, 0, 0, 3000), 30_000)).applied_permille == 0
    assert not board.output_on(30_001)


def test_part_of_full_power_is_that_part_of_the_time() -> None:
    board = new_board()
    board.hear(ourline.encode_power(1, 0, 250, 5000), 0)
    assert sum(board.output_on(now_ms) for now_ms in range(4000)) == 1000


def test_limit_contact_takes_power_away_whatever_is_commanded() -> None:
    board = new_board()
    board.hear(ourline.encode_power(1, 0, 1000, 5000), 0)
    status = status_of(board.tick(10, int(ourline.InputBit.LIMIT_TRIPPED)))
    assert (status.inputs, status.applied_permille) == (ourline.InputBit.LIMIT_TRIPPED, 0)
    assert not board.output_on(20)


def test_status_comes_once_a_second_and_at_once_when_a_button_moves() -> None:
    board = new_board()
    assert len(board.tick(0, 0)) == 1
    assert [now_ms for now_ms in range(1, 3000) if board.tick(now_ms, 0)] == [1000, 2000]
    assert status_of(board.tick(3001 - 900, int(ourline.InputBit.NEXT))).inputs == ourline.InputBit.NEXT
    assert status_of(board.tick(3001 - 890, 0)).inputs == 0


@pytest.mark.parametrize(
    "line",
    [
        ourline.encode_power(1, 0, 500, 3000).replace(b"500", b"900"),  # spoiled on the way
        ourline.encode_power(1, 1, 500, 3000),  # no such output
        ourline.seal("PW1,1,0,1001,3000"),
        ourline.seal("PW1,1,0,500,60000"),
        ourline.seal("PW1,1,0,500"),
        ourline.seal("PW1,1,0,-5,100"),
        ourline.seal("PW1,x,0,500,100"),
        ourline.seal("PW2,1,0,500,100"),
        b"PW1,1,0,500,3000\n",
        b"*\n",
        b"\xff\xfe*1234\n",
        b"PW1,1,0,500,3000*zzzz\n",
        b"x" * 500 + b"\n",
    ],
)
def test_what_is_no_command_changes_nothing_and_is_not_answered(line: bytes) -> None:
    board = new_board()
    assert board.hear(line, 0) == []
    assert board.applied_permille(1) == 0
    assert len(board.hear(ourline.encode_power(2, 0, 500, 3000), 5)) == 1  # and it still listens


@given(data=st.binary(max_size=300))
def test_noise_on_the_line_never_switches_power_on_nor_stops_the_board(data: bytes) -> None:
    board = new_board()
    board.hear(data + b"\n", 0)
    assert board.applied_permille(1) == 0
    assert len(board.part) <= FIRMWARE.MAX_LINE


class Enough(Exception):
    """Ends the firmware's endless loop."""


class FakePin:
    OUT, IN, PULL_UP = 1, 2, 3
    made: "dict[int, FakePin]" = {}  # noqa: RUF012

    def __init__(self, number: int, mode: int = 0, pull: int = 0, value: int = 1) -> None:
        self.state, self.history = value, [value]
        FakePin.made[number] = self

    def value(self, state: int | None = None) -> int:
        if state is not None:
            self.state = state
            self.history.append(state)
        return self.state


def run_main(monkeypatch: pytest.MonkeyPatch, loops: int, heard_at: dict[int, bytes], step_ms: int = 10) -> bytes:
    """Run `main` for so many rounds; heard_at: bytes that the host sends at a round."""
    ticks, waiting, written, rounds = [2**30 - 500], bytearray(), bytearray(), itertools.count(1)
    watchdog: dict[str, float] = {"fed": 0, "timeout": 0}

    def sleep_ms(_: int) -> None:
        done = next(rounds)
        if done >= loops:
            raise Enough
        ticks[0] = (ticks[0] + step_ms) % 2**30  # MicroPython's ticks wrap at 2**30 on these boards
        waiting.extend(heard_at.get(done, b""))

    def ticks_diff(new: int, old: int) -> int:
        return (new - old + 2**29) % 2**30 - 2**29

    def read(size: int) -> bytes:
        data = bytes(waiting[:size])
        del waiting[:size]
        return data

    def make_watchdog(timeout: int) -> SimpleNamespace:
        watchdog["timeout"] = timeout
        return SimpleNamespace(feed=lambda: watchdog.__setitem__("fed", watchdog["fed"] + 1))

    machine = SimpleNamespace(
        Pin=FakePin,
        WDT=make_watchdog,
        unique_id=lambda: b"\xe6\x61\x38",
        SPI=lambda *_, **__: SimpleNamespace(read=lambda size: b"\x29\xa0\x19\x00"[:size]),
    )
    FakePin.made = {}
    poller = SimpleNamespace(register=lambda *_: None, poll=lambda _: [1] if waiting else [])
    with monkeypatch.context() as patch:
        patch.setitem(sys.modules, "machine", machine)
        patch.setitem(sys.modules, "micropython", SimpleNamespace(kbd_intr=lambda _: None))
        for name, stand_in in {"ticks_ms": lambda: ticks[0], "ticks_diff": ticks_diff, "sleep_ms": sleep_ms}.items():
            patch.setattr(time, name, stand_in, raising=False)
        make_poller: Callable[[], Any] = lambda: poller  # noqa: E731
        patch.setattr(select, "poll", make_poller)
        patch.setattr(os, "urandom", lambda size: bytes(range(size)))
        patch.setattr(sys, "stdin", SimpleNamespace(buffer=SimpleNamespace(read=read)))
        patch.setattr(sys, "stdout", SimpleNamespace(buffer=SimpleNamespace(write=written.extend)))
        with pytest.raises(Enough):
            FIRMWARE.main()
    assert watchdog["timeout"] == FIRMWARE.WATCHDOG_MS
    assert watchdog["fed"] >= loops
    return bytes(written)


def test_whole_firmware_samples_answers_and_drops_the_power_of_a_silent_host(monkeypatch: pytest.MonkeyPatch) -> None:
    command = ourline.encode_power(4, 0, 1000, 2000)
    frames = ourline.decoder().feed(run_main(monkeypatch, 500, {20: b"?\n", 50: command}))
    samples = [frame for frame in frames if isinstance(frame, Sample)]
    statuses = [frame for frame in frames if isinstance(frame, BoardStatus)]
    assert [frame.serial for frame in frames if isinstance(frame, Identity)] == ["e66138"]
    assert len(samples) + len(statuses) + 1 == len(frames)
    assert 90 <= len(samples) <= 100  # 5 s, two channels, ten a second, from 0.2 s on
    assert [sample.board_seq for sample in samples] == list(range(1, len(samples) + 1))
    times = [sample.board_ms or 0 for sample in samples]
    assert times == sorted(times)
    assert times[-1] < 5000  # board time begins at the start, across the wrap of ticks
    assert max(status.applied_permille for status in statuses) == 1000
    assert statuses[-1].applied_permille == 0
    output = FakePin.made[FIRMWARE.OUTPUT_PIN]
    assert output.history[0] == 0
    assert 1 in output.history
    assert output.state == 0


def test_firmware_ends_nothing_on_while_nobody_speaks(monkeypatch: pytest.MonkeyPatch) -> None:
    run_main(monkeypatch, 300, {})
    assert set(FakePin.made[FIRMWARE.OUTPUT_PIN].history) == {0}
