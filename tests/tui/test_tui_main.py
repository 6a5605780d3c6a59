"""The way into the dashboard: address, terminal, log file; and the real program on a real terminal."""

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from pourcall.contract.errors import DaemonError
from pourcall.contract.message import tell
from pourcall.contract.paths import paths_for
from pourcall.tui.client import Address
from pourcall.tui.main import address_for, run_dashboard

PROGRAM = """
import sys, pathlib
from pourcall.tui.main import run_dashboard
from pourcall.tui.client import Address
from pourcall.contract.settings import Sound
address = Address(socket=pathlib.Path(sys.argv[1]))
sys.exit(run_dashboard(address, sound=Sound(player="off"), log_file=pathlib.Path(sys.argv[2])))
"""


def test_the_daemon_is_looked_for_at_the_socket_of_this_installation(tmp_path: Path) -> None:
    paths = paths_for({"POURCALL_HOME": str(tmp_path)}, "linux", tmp_path)
    assert address_for(paths) == Address(socket=paths.socket)


def test_over_tcp_the_token_comes_from_its_file_or_is_missed_in_words(tmp_path: Path) -> None:
    paths = paths_for({"POURCALL_HOME": str(tmp_path)}, "linux", tmp_path)
    with pytest.raises(DaemonError) as missed:
        address_for(paths, url="http://127.0.0.1:8123")
    assert missed.value.what == tell("screen.link.no_token")
    paths.token.parent.mkdir(parents=True)
    paths.token.write_text("127.0.0.1:8123 s3cret\n")
    assert address_for(paths, url="http://127.0.0.1:8123") == Address(url="http://127.0.0.1:8123", token="s3cret")
    assert address_for(paths, url="http://127.0.0.1:8123", token="other").token == "other"
    assert address_for(paths) == Address(url="http://127.0.0.1:8123", token="s3cret"), "no socket: the token file tells"


def test_without_a_terminal_it_says_what_to_use_instead(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with open(os.devnull) as nothing:
        monkeypatch.setattr(sys, "stdin", nothing)
        with pytest.raises(DaemonError) as refused:
            run_dashboard(Address(socket=tmp_path / "d.sock"))
    assert refused.value.what == tell("screen.no_terminal")


@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
@pytest.mark.parametrize("no_color", ["", "1"])
def test_on_a_real_terminal_it_draws_takes_a_key_and_leaves_the_terminal_tidy(short_dir: Path, no_color: str) -> None:
    import pty

    ours, theirs = pty.openpty()
    environ = {**os.environ, "TERM": "xterm-256color", "COLUMNS": "80", "LINES": "24"}
    environ.pop("NO_COLOR", None)
    if no_color:
        environ["NO_COLOR"] = no_color
    log_file = short_dir / "log" / "watch.log"
    process = subprocess.Popen(
        [sys.executable, "-c", PROGRAM, str(short_dir / "d.sock"), str(log_file)],
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        env=environ,
        start_new_session=True,
    )
    os.close(theirs)
    text = bytearray()
    keys = [b"q", b"q"]
    end_s = time.monotonic() + 20.0
    os.set_blocking(ours, False)
    try:
        pressed_s = 0.0
        while process.poll() is None and time.monotonic() < end_s:
            try:
                text += os.read(ours, 65536)
            except BlockingIOError:
                time.sleep(0.01)
            except OSError:
                break
            if b"Looking for the daemon" in text and keys and time.monotonic() - pressed_s > 2.0:
                os.write(ours, keys.pop())  # the second one well after the first: a bounce is no answer
                pressed_s = time.monotonic()
        assert process.wait(timeout=5.0) == 0
    finally:
        process.kill()
        process.wait()
        os.close(ours)
    assert b"\x1b[?1049l" in text  # DEC private mode 1049 reset: back on the screen the person came from
    assert "stream ended" in log_file.read_text(encoding="utf-8")
