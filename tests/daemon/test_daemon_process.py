"""The daemon as a process: what it loads, how it ends, and what is left when it is killed."""

import json
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from http.client import HTTPConnection
from pathlib import Path
from socket import AF_UNIX, SOCK_STREAM, socket
from types import TracebackType
from typing import Any

import pytest

from pourcall.contract.message import tell
from pourcall.contract.paths import Paths
from pourcall.records.read.store import Store
from tests.reworded import python
from tests.told import meant, said, tells

if sys.platform == "win32":
    pytest.skip("signals and Unix sockets are missing here", allow_module_level=True)

START_S = 60.0  # a bound for a hung test, not a time that anything takes
CHILD = """
import json, os, sys
from pathlib import Path
from pourcall.contract.paths import paths_for
from pourcall.daemon.main import serve

def ready():
    tops = sorted({name.split(".")[0] for name in sys.modules})
    print(json.dumps({"tops": tops, "count": len(sys.modules)}), flush=True)

home = Path(os.environ["POURCALL_HOME"])
paths = paths_for(os.environ, sys.platform, home)
sys.exit(serve(paths.settings, paths, on_ready=ready))
"""
SETTINGS = """
[board.bench]
port = "/dev/no-such-board"
[furnace.crucible]
[probe.melt_probe]
furnace = "crucible"
board = "bench"
"""


class UnixHttp(HTTPConnection):
    def __init__(self, path: Path) -> None:
        super().__init__("pourcall", timeout=START_S)
        self._path = path

    def connect(self) -> None:
        self.sock = socket(AF_UNIX, SOCK_STREAM)
        self.sock.settimeout(START_S)
        self.sock.connect(str(self._path))


class Process:
    """A daemon in a process of its own."""

    def __init__(self, paths: Paths, home: Path, settings: str = SETTINGS) -> None:
        paths.settings.parent.mkdir(parents=True, exist_ok=True)
        paths.settings.write_text(settings)
        self.paths = paths
        self.child = subprocess.Popen(
            python(CHILD),
            env={**os.environ, "POURCALL_HOME": str(home)},
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        assert self.child.stdout is not None
        line = self.child.stdout.readline()
        assert line, self.child.communicate()[1]
        self.told: dict[str, Any] = json.loads(line)

    def __enter__(self) -> "Process":
        return self

    def __exit__(self, kind: type[BaseException] | None, err: BaseException | None, tb: TracebackType | None) -> None:
        if self.child.poll() is None:
            self.child.send_signal(signal.SIGCONT)
            self.child.kill()
        self.child.communicate()

    def ask(self, method: str, path: str, body: Any = None) -> Any:
        http = UnixHttp(self.paths.socket)
        try:
            http.request(method, path, body=None if body is None else json.dumps(body))
            return json.loads(http.getresponse().read())
        finally:
            http.close()

    def tell(self, body: Any) -> Any:
        return self.ask("POST", "/v1/furnaces/crucible/commands", body)

    def shot(self) -> Any:
        return self.ask("GET", "/v1/furnaces/crucible")

    def end(self, number: int) -> int:
        """Send a signal, wait for the end; its exit code."""
        self.child.send_signal(number)
        return self.child.wait(START_S)


def until(holds: Callable[[], bool]) -> None:
    """Look until it is so: what is waited for is another process."""
    until_s = time.monotonic() + START_S
    while not holds():
        assert time.monotonic() < until_s, "it never happened"
        time.sleep(0.02)


def test_nothing_heavy_is_loaded_and_memory_stays_small(paths: Paths, home: Path) -> None:
    with Process(paths, home) as daemon:
        heavy = {"numpy", "scipy", "pandas", "matplotlib", "sqlite_utils", "aiomqtt", "paho", "textual", "rich"}
        heavy |= {"reportlab", "svglib", "lxml", "PIL", "pypdfium2", "pyarrow"}
        assert not heavy & set(daemon.told["tops"])
        assert daemon.told["count"] < 700
        status = Path(f"/proc/{daemon.child.pid}/status")
        if status.exists():
            (line,) = (line for line in status.read_text().splitlines() if line.startswith("VmRSS"))
            assert int(line.split()[1]) < 60_000  # kB: DESIGN section 13


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_told_to_stop_in_a_melt_it_ends_in_order_within_five_seconds(paths: Paths, home: Path, number: int) -> None:
    with Process(paths, home) as daemon:
        melt = daemon.tell({"type": "start_request", "alloy": "za27", "charge_kg": 1.5})["melt"]
        daemon.tell({"type": "note", "text": "the last word"})
        assert daemon.end(number) == 0  # fault P8
    assert not paths.socket.exists()
    with Store.read(paths.database) as store:
        notes = [note.text for note in store.melt(melt).notes]
        assert "the last word" in notes
        assert notes[-1] == said("daemon.stops")
        assert all(session.ended_utc_s is not None for session in store.sessions())


def test_killed_in_a_melt_nothing_confirmed_is_lost_and_the_melt_goes_on(paths: Paths, home: Path) -> None:
    confirmed = []
    with Process(paths, home) as daemon:
        melt = daemon.tell({"type": "start_request", "alloy": "za27", "charge_kg": 1.5})["melt"]
        for number in range(20):
            answer = daemon.tell({"type": "note", "text": f"note {number}"})
            if answer["recorded"]:
                confirmed.append(f"note {number}")
        daemon.end(signal.SIGKILL)
    assert len(confirmed) == 20
    with Process(paths, home) as daemon:  # fault P1: the socket and lock of the dead one are no obstacle
        shot = daemon.ask("GET", "/v1/furnaces/crucible")
        assert shot["melt"] == melt
        assert "unclean_stop" in [alarm["kind"] for alarm in shot["alarms"]]
        notes = [note["text"] for note in daemon.ask("GET", f"/v1/melts/{melt}")["notes"]]
        assert [text for text in notes if text in confirmed] == confirmed
        assert daemon.end(signal.SIGTERM) == 0


def test_a_second_process_is_refused_with_the_pid_of_the_first(paths: Paths, home: Path) -> None:
    with Process(paths, home) as daemon:
        second = subprocess.run(
            python(CHILD),
            env={**os.environ, "POURCALL_HOME": str(home)},
            capture_output=True,
            text=True,
        )
        assert second.returncode != 0
        assert tells(second.stderr, "daemon.runs_already", process=str(daemon.child.pid))
        assert daemon.ask("GET", "/v1/health")["pid"] == daemon.child.pid


def test_a_daemon_that_was_stopped_and_goes_on_says_so(paths: Paths, home: Path) -> None:
    with Process(paths, home) as daemon:
        time.sleep(0.6)  # its watch must have begun
        stopped_s = time.monotonic()
        daemon.child.send_signal(signal.SIGSTOP)
        time.sleep(2.6)  # the stop is real, so is the time: fault C5
        daemon.child.send_signal(signal.SIGCONT)
        until(lambda: "paused" in [alarm["kind"] for alarm in daemon.shot().get("alarms", [])])
        at_most_s = time.monotonic() - stopped_s + 1.0  # with the beat that was running when it was stopped
        text = paths.log.read_text()
        assert "stopped as a whole" in text
        assert not [held for held in re.findall(r"busy with itself for ([\d.]+) s", text) if float(held) >= 2.0]
        assert daemon.end(signal.SIGTERM) == 0
    with Store.read(paths.database) as store, store.reading() as conn:
        ((began_s, ended_s),) = conn.execute(
            "SELECT began_utc_s, ended_utc_s FROM gaps WHERE reason = 'the daemon stood still'"
        ).fetchall()
    assert 2.0 <= ended_s - began_s <= at_most_s


def test_the_broker_client_is_loaded_only_when_a_broker_is_named(paths: Paths, home: Path) -> None:
    with Process(paths, home, SETTINGS + '[mqtt]\nhost = "127.0.0.1"\nport = 1\n') as daemon:
        assert "aiomqtt" in daemon.told["tops"]
        assert daemon.ask("GET", "/v1/health")["pid"] == daemon.child.pid
        assert daemon.end(signal.SIGTERM) == 0


def test_settings_with_faults_start_nothing_and_name_them_all(paths: Paths, home: Path) -> None:
    with pytest.raises(AssertionError) as ended:
        Process(paths, home, SETTINGS + "[mqtt]\nhots = 'x'\n[sound]\nvolume = 7\n")
    assert tells(str(ended.value), "toml.fault", key="[mqtt] hots", what=tell("toml.unknown_key", hint=meant("host")))
    assert tells(str(ended.value), "toml.fault", key="[sound] volume")
    assert not paths.database.exists()


def test_a_password_others_may_read_is_said_in_the_log_and_never_shown(paths: Paths, home: Path) -> None:
    secret = "correct-horse"
    with Process(paths, home, SETTINGS + f'[mqtt]\nhost = "127.0.0.1"\nport = 1\npassword = "{secret}"\n') as daemon:
        until(lambda: "broker_down" in paths.log.read_text())  # it has been used
        assert daemon.end(signal.SIGTERM) == 0
    text = paths.log.read_text()
    assert "secret_exposed" in text
    assert secret not in text
