"""Parts for the tests of the commands: runs in this process and in one of its own, a board on a socket."""

import os
import signal
import socket
import subprocess
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import redirect_stderr, redirect_stdout
from functools import cache
from io import StringIO
from pathlib import Path
from typing import NamedTuple

import pytest

from pourcall.cli.main import main
from pourcall.contract.frames import Identity
from pourcall.drivers.wire import ourline
from tests.reworded import program

ROOT = Path(__file__).parents[2]
START_S = 15.0


class Done(NamedTuple):
    code: int
    out: str
    err: str


Run = Callable[..., Done]


@pytest.fixture
def home() -> Iterator[Path]:
    """A short folder: the path of a Unix socket may not be long."""
    with tempfile.TemporaryDirectory(prefix="pc-") as folder:
        yield Path(folder)


@pytest.fixture
def run(home: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """`run("alloy", "list")`: the command in this process, as the shell would call it."""
    monkeypatch.setenv("POURCALL_HOME", str(home))

    def one(*words: str) -> Done:
        try:
            code = main(words)
        except SystemExit as leave:
            code = leave.code if isinstance(leave.code, int) else 1
        said = capsys.readouterr()
        return Done(code, said.out, said.err)

    return one


@pytest.fixture(scope="session")
def demonstrated(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Path]:
    """The home that a headless demonstration of a scenario leaves behind, made once: to be copied, never written to."""

    @cache
    def one(scenario: str) -> Path:
        home = tmp_path_factory.mktemp("demonstrated") / "home"
        words = ("--headless", "--scenario", scenario, "--home", str(home), "--export", str(home.parent / "out"))
        with redirect_stdout(StringIO()), redirect_stderr(StringIO()):  # whoever asked for it reads its own words
            assert main(["demo", *words]) == 0
        return home

    return one


def environment(home: Path) -> dict[str, str]:
    return {**os.environ, "POURCALL_HOME": str(home), "PYTHONWARNINGS": "error"}


@pytest.fixture
def shell(home: Path) -> Run:
    """The command in a process of its own."""

    def one(*words: str) -> Done:
        done = subprocess.run(
            program(*words),
            env=environment(home),
            capture_output=True,
            text=True,
            stdin=subprocess.DEVNULL,
            timeout=60.0,
        )
        return Done(done.returncode, done.stdout, done.stderr)

    return one


class SocketBoard:
    """A board of ours behind a serial server: ten lines a second, an answer to `?`. Real time, loopback."""

    def __init__(self, *, emf_uv: float = 20_000.0, every_s: float = 0.1) -> None:
        self.emf_uv, self.every_s = emf_uv, every_s
        self._server = socket.create_server(("127.0.0.1", 0))
        self._server.settimeout(0.1)
        self.port = f"socket://127.0.0.1:{self._server.getsockname()[1]}"
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._serve, name="socket-board")
        self._thread.start()

    def _serve(self) -> None:
        while not self._ended.is_set():
            try:
                peer, _ = self._server.accept()
            except TimeoutError:
                continue
            with peer:
                self._talk(peer)

    def _talk(self, peer: socket.socket) -> None:
        identity = Identity(board="bench", firmware="test", serial="A1", chip="emf", channels=("0",))
        peer.settimeout(self.every_s)
        began_s, seq = time.monotonic(), 0
        while not self._ended.is_set():
            seq += 1
            board_ms = int((time.monotonic() - began_s) * 1000.0)
            line = ourline.encode_sample(seq, board_ms, "0", emf_uv=self.emf_uv + seq % 3, cold_junction_c=24.5)
            try:
                peer.sendall(line)
                heard = peer.recv(256)
                if not heard:
                    return
                if b"?" in heard:
                    peer.sendall(ourline.encode_identity(identity))
            except TimeoutError:
                continue
            except OSError:
                return

    def close(self) -> None:
        self._ended.set()
        self._thread.join(5.0)
        self._server.close()


@pytest.fixture
def socket_board() -> Iterator[SocketBoard]:
    board = SocketBoard()
    yield board
    board.close()


def settings_text(port: str) -> str:
    """As a person would write them: one furnace, one probe."""
    return (
        f'schema = 1\n\n[board.bench]\nport = "{port}"\nformat = "pourcall"\nchip = "emf"\nsample_s = 0.1\n\n'
        '[furnace.club]\nkind = "electric"\n\n[probe.metal]\nfurnace = "club"\nboard = "bench"\nchannel = "0"\n'
    )


class Serving:
    """`pourcall serve` in a process of its own; has said its first line when this returns."""

    def __init__(self, home: Path, *words: str) -> None:
        self.process = subprocess.Popen(
            program("serve", *words),
            env=environment(home),
            stderr=subprocess.PIPE,
            text=True,
        )
        assert self.process.stderr is not None
        self.said = self.process.stderr.readline()

    def stop(self) -> int:
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(START_S)

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.communicate()


@pytest.fixture
def settings_for() -> Callable[[str], str]:
    return settings_text


@pytest.fixture
def serve(home: Path) -> Iterator[Callable[..., Serving]]:
    """`serve()`: a daemon on this home, ended with the test."""
    started: list[Serving] = []

    def one(*words: str) -> Serving:
        started.append(Serving(home, *words))
        return started[-1]

    yield one
    for serving in started:
        serving.close()


@pytest.fixture
def write_settings(home: Path) -> Callable[[str], Path]:
    """Put a settings file into the home."""

    def write(text: str) -> Path:
        path = home / "settings" / "pourcall.toml"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
        return path

    return write
