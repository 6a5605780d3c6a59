"""Listing, naming and scanning ports; capturing what they send and playing it back."""

import json
import os
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from pourcall.contract.errors import BadTrace, LinkError
from pourcall.contract.frames import Identity, Sample
from pourcall.contract.message import tell
from pourcall.drivers import access, capture, ports
from pourcall.drivers.ports import PortInfo
from pourcall.drivers.wire import guess, max31855, ourline
from tests.told import name_of, refused

KNOWN = [
    PortInfo("/dev/ttyACM0", "board", 0x2E8A, 5, "E661"),
    PortInfo("/dev/ttyUSB0", "adapter", 0x1A86, 0x7523),
    PortInfo("/dev/ttyUSB1", "adapter", 0x1A86, 0x7523),
    PortInfo("/dev/ttyS0", "built in"),
]


class ScriptedPort:
    """A port that says what a script has for its speed, and answers `?`."""

    def __init__(self, pieces: list[bytes], answer: bytes = b"") -> None:
        self.pieces, self.answer, self.written, self.closed = list(pieces), answer, b"", False
        self.timeout: float | None = 0.1

    @property
    def in_waiting(self) -> int:
        return len(self.pieces[0]) if self.pieces else 0

    def fileno(self) -> int:
        raise OSError("no file")

    def read(self, size: int = 1, /) -> bytes:
        return self.pieces.pop(0) if self.pieces else b""

    def write(self, data: bytes, /) -> int | None:
        self.written += data
        if b"?" in data and self.answer:
            self.pieces.append(self.answer)
        return len(data)

    def close(self) -> None:
        self.closed = True


class Steps:
    """A clock that moves a tenth of a second each time it is asked."""

    def __init__(self) -> None:
        self.now_s = 0.0

    def __call__(self) -> float:
        self.now_s += 0.1
        return self.now_s


@pytest.mark.parametrize(
    ("name", "device"),
    [
        ("/dev/ttyACM7", "/dev/ttyACM7"),
        ("socket://127.0.0.1:4000", "socket://127.0.0.1:4000"),
        ("usb:E661", "/dev/ttyACM0"),
        ("usb:2e8a:0005", "/dev/ttyACM0"),
        ("usb:2E8A:0005:E661", "/dev/ttyACM0"),
    ],
)
def test_name_leads_to_the_device_it_means(name: str, device: str) -> None:
    assert ports.resolve(name, KNOWN) == device


def test_own_usb_name_of_a_port_leads_back_to_it() -> None:
    assert ports.resolve(KNOWN[0].usb_name, KNOWN) == "/dev/ttyACM0"
    assert KNOWN[3].usb_name == ""


@pytest.mark.parametrize(
    ("name", "why"),
    [("usb:nobody", "port.usb_absent"), ("usb:", "port.usb_absent"), ("usb:1a86:7523", "port.usb_twice")],
)
def test_usb_identity_that_nobody_or_two_have_is_refused(name: str, why: str) -> None:
    with pytest.raises(LinkError) as refused:
        ports.resolve(name, KNOWN)
    assert name_of(refused.value.what) == why


def test_ports_of_this_machine_are_listed_without_error() -> None:
    assert [info.device for info in ports.list_ports()] == sorted(info.device for info in ports.list_ports())


IDENTITY = Identity("bench", "1.0", "A1", "max31855", ("pot",))


def test_scan_says_what_each_port_speaks() -> None:
    hex_line = b"900\n" + b"29A01900\n" * 5
    made = {
        "ours": ScriptedPort([ourline.encode_sample(1, 2, "pot", emf_uv=1.5)], ourline.encode_identity(IDENTITY)),
        "hex": ScriptedPort([hex_line]),
        "text": ScriptedPort([b"5\n661.25;24.9\n661.25;24.9\n661.50;24.9\n"]),
        "quiet": ScriptedPort([]),
    }

    def opening(device: str, baud: int) -> access.Port:
        if device == "busy":
            raise OSError(16, "Device or resource busy")
        return made[device]

    infos = [PortInfo(device) for device in [*made, "busy"]]
    reports = {
        report.port.device: report
        for report in ports.scan(infos, mono_s=Steps(), bauds=(115_200,), listen_s=3.0, open_port=opening)
    }
    assert {device: report.format for device, report in reports.items()} == {
        "ours": "pourcall",
        "hex": "max31855_hex",
        "text": "text",
        "quiet": guess.NOTHING,
        "busy": guess.NOTHING,
    }
    assert (reports["ours"].heard.identity, reports["ours"].baud) == (IDENTITY, 115_200)
    assert reports["text"].heard.columns == 2
    assert reports["hex"].data == hex_line
    assert reports["busy"].unavailable is access.Unavailable.BUSY
    assert reports["quiet"].says == tell("port.nothing_heard")
    assert all(port.closed for port in made.values())


def test_scan_tries_other_speeds_until_one_makes_sense() -> None:
    asked: list[int] = []

    def opening(device: str, baud: int) -> access.Port:
        asked.append(baud)
        return ScriptedPort([b"29A01900\n" * 5] if baud == 9600 else [b"\xf8\x80\xe0\xfe" * 20])

    (report,) = ports.scan([PortInfo("a")], mono_s=Steps(), listen_s=3.0, open_port=opening)
    assert (report.format, report.baud, asked) == ("max31855_hex", 9600, [115_200, 9600])
    (report,) = ports.scan([PortInfo("a")], mono_s=Steps(), bauds=(115_200,), listen_s=3.0, open_port=opening)
    assert report.format == guess.WRONG_SPEED
    assert report.says == tell("port.other_speed", speeds="115200")


def test_board_that_talks_without_end_of_other_things_is_left() -> None:
    def asked(*pieces: bytes, answer: bytes = b"") -> Identity | None:
        return ports.ask_identity(ScriptedPort(list(pieces), answer), ourline.decoder(), 0.5)

    says = ourline.encode_identity(IDENTITY)
    assert asked(*[b"29A01900\n"] * 1000) is None
    assert asked() is None
    assert asked(b"noise", answer=says) is None
    assert asked(b"noise\n", answer=says) == IDENTITY


@pytest.fixture
def bench() -> Iterator[tuple[int, str]]:
    board, other = os.openpty()
    name = os.ttyname(other)
    os.close(other)
    yield board, name
    os.close(board)


def test_capture_of_a_real_port_plays_back_to_the_same_frames(bench: tuple[int, str], tmp_path: Path) -> None:
    board, name = bench
    lines = b"".join(ourline.encode_sample(n, 100 * n, "pot", emf_uv=26457.9) for n in range(20))
    path = tmp_path / "bench.bin"
    written: list[int] = []

    def keep_on(_: float, size: int) -> bool:
        if not written:
            written.append(os.write(board, lines))
        return size < len(lines)

    size = capture.capture_port(
        name, path, baud=115_200, mono_s=time.monotonic, utc_s=lambda: 1_767_225_600.0, keep_on=keep_on, send=b"?\n"
    )
    assert os.read(board, 16) == b"?\n"
    assert (size, path.read_bytes()) == (len(lines), lines)
    about = json.loads(capture.sidecar_of(path).read_text(encoding="utf-8"))
    assert (about["kind"], about["port"], about["baud"]) == ("pourcall-capture", name, 115_200)
    assert about["started_utc"] == "2026-01-01T00:00:00.000+00:00"
    back = capture.read_capture(path)
    assert back.data == lines
    played = [frame for _, frames in capture.replay(back, ourline.decoder()) for frame in frames]
    assert played == ourline.decoder().feed(lines)
    assert len(played) == 20
    assert isinstance(played[0], Sample)
    with pytest.raises(FileExistsError):
        capture.capture_port(name, path, baud=9600, mono_s=time.monotonic, utc_s=time.time, keep_on=lambda *_: False)


def test_capture_keeps_when_each_piece_came_and_joins_those_that_came_together(tmp_path: Path) -> None:
    path = tmp_path / "a.bin"
    with capture.CaptureWriter(path, port="x", baud=9600, started_utc_s=0.0, started_mono_s=50.0) as writer:
        for data, mono_s in [(b"29A0", 50.0), (b"1900\n", 50.001), (b"", 50.5), (b"01901900\n", 51.0)]:
            writer.add(data, mono_s)
    back = capture.read_capture(path)
    assert back.pieces == ((0.0, b"29A01900\n"), (1.0, b"01901900\n"))
    assert [at_s for at_s, _ in capture.replay(back, max31855.decoder())] == [0.0, 1.0]


def test_capture_that_was_cut_off_or_has_no_sidecar_is_still_a_capture(tmp_path: Path) -> None:
    path = tmp_path / "a.bin"
    writer = capture.CaptureWriter(path, port="x", baud=9600, started_utc_s=0.0, started_mono_s=0.0)
    writer.add(b"29A01900\n", 1.0)  # and the power goes: close() is never called
    assert capture.read_capture(path).pieces == ((0.0, b"29A01900\n"),)
    writer.close()
    capture.sidecar_of(path).unlink()
    assert capture.read_capture(path).data == b"29A01900\n"
    capture.sidecar_of(path).write_text('{"kind": "something else", "version": 1}')
    with refused(BadTrace, "trace.no_sidecar"):
        capture.read_capture(path)


def test_capture_of_a_port_that_is_not_there_is_a_link_error_with_a_remedy(tmp_path: Path) -> None:
    with pytest.raises(LinkError) as err:
        capture.capture_port(
            "/dev/ttyNOT-THERE",
            tmp_path / "a.bin",
            baud=9600,
            mono_s=time.monotonic,
            utc_s=time.time,
            keep_on=lambda *_: False,
        )
    assert err.value.remedy == tell("port.absent.remedy")
    assert not (tmp_path / "a.bin").exists()


def test_capture_ends_with_what_there_is_when_the_port_is_unplugged(tmp_path: Path) -> None:
    board, other = os.openpty()
    name = os.ttyname(other)
    os.close(other)
    seen: list[int] = []

    def keep_on(_: float, size: int) -> bool:
        seen.append(size)
        if len(seen) == 1:
            os.write(board, b"29A01900\n")
        elif size == 9:
            os.close(board)
        return True

    size = capture.capture_port(
        name, tmp_path / "a.bin", baud=9600, mono_s=time.monotonic, utc_s=time.time, keep_on=keep_on
    )
    assert size == 9
