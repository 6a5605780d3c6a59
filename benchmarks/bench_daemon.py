"""What the daemon costs and how quick it is, as a process of its own behind a real pty and its real socket.

`run()` gives one row for each figure: {"what", "measured", "unit", "budget", "peer", "peer_measured", "ratio", "ok"}.
The latency's peer is a bare echo in this process: the same bytes over the same kind of pty and socket with nothing
between, so that the machine's own share is seen. Linux only (reads /proc); elsewhere `run()` gives no rows.
Run: `python benchmarks/bench_daemon.py [SECONDS]`.
"""

import asyncio
import json
import os
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

CHILD = """
import os, sys
from pathlib import Path
from pourcall.contract.paths import paths_for
from pourcall.daemon.main import serve
paths = paths_for(os.environ, sys.platform, Path(os.environ["POURCALL_HOME"]))
sys.exit(serve(paths.settings, paths, on_ready=lambda: print("ready", flush=True)))
"""
CHANNELS, RATE_HZ = 8, 10
DAY_S = 86_400.0

Row = dict[str, Any]


def settings_text(port: str) -> str:
    """Eight probes on one board of one furnace, one of them in the metal."""
    probes = "".join(
        f'[probe.p{n}]\nfurnace = "crucible"\nboard = "bench"\nchannel = "{n}"\n'
        f'place = "{"chamber" if n else "melt"}"\n'
        for n in range(CHANNELS)
    )
    return f'[board.bench]\nport = "{port}"\nsample_s = {1 / RATE_HZ}\n[furnace.crucible]\n{probes}'


class Daemon:
    """The daemon under test, and the board's end of its wire."""

    def __init__(self) -> None:
        import tty

        self.folder = tempfile.TemporaryDirectory(prefix="pc-")
        self.home = Path(self.folder.name)
        self.master, self.slave = os.openpty()
        tty.setraw(self.slave)
        (self.home / "settings").mkdir()
        (self.home / "settings" / "pourcall.toml").write_text(settings_text(os.ttyname(self.slave)))
        began_s = time.perf_counter()
        self.child = subprocess.Popen(
            [sys.executable, "-c", CHILD], env={**os.environ, "POURCALL_HOME": str(self.home)}, stdout=subprocess.PIPE
        )
        assert self.child.stdout is not None
        if self.child.stdout.readline() != b"ready\n":
            raise RuntimeError("the daemon did not start")
        self.ready_s = time.perf_counter() - began_s
        self.seq = 0
        self.began_s = time.perf_counter()

    @property
    def socket(self) -> str:
        """Where its API listens."""
        return str(self.home / "run" / "daemon.sock")

    def cpu_s(self) -> float:
        """User and system time so far, all threads."""
        fields = Path(f"/proc/{self.child.pid}/stat").read_text().rsplit(")", 1)[1].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    def rss_mb(self) -> float:
        """Resident memory."""
        text = Path(f"/proc/{self.child.pid}/status").read_text()
        return int(text.split("VmRSS:")[1].split()[0]) / 1024.0

    def written_bytes(self) -> int:
        """Bytes handed to the system to be stored (`write_bytes` of proc(5): what reaches the block layer)."""
        text = Path(f"/proc/{self.child.pid}/io").read_text()
        return int(text.split("\nwrite_bytes: ")[1].split()[0])

    def lines(self, opened: int = 0) -> bytes:
        """One sample of each channel, 20 mV and a little noise; the first `opened` channels say their couple is open.

        The channel that opens last comes last, so that the alarm's latency counts from the last byte written.
        """
        from pourcall.drivers.wire.ourline import encode_sample

        out = b""
        millis = int((time.perf_counter() - self.began_s) * 1000) + 1000
        for channel in sorted(range(CHANNELS), key=lambda channel: channel == opened - 1):
            self.seq += 1
            is_open = channel < opened
            out += encode_sample(
                self.seq,
                millis,
                str(channel),
                flags=1 if is_open else 0,
                cold_junction_c=25.0,
                emf_uv=None if is_open else 20_000.0 + 1.7 * ((self.seq * 7919) % 13),
            )
        return out

    def close(self) -> None:
        """End it in order."""
        self.child.send_signal(signal.SIGTERM)
        self.child.wait(10)
        os.close(self.master)
        os.close(self.slave)
        self.folder.cleanup()


def percentile(values: list[float], share: float) -> float:
    """The value below which `share` of them lie (nearest rank)."""
    ranked = sorted(values)
    return ranked[min(len(ranked) - 1, int(share * len(ranked)))]


async def alarm_latency_ms(daemon: Daemon) -> list[float]:
    """Milliseconds from the last byte of a channel's second open-couple frame to its alarm at a WebSocket client.

    One figure for each channel: a couple that opened twice within a minute would be a loose contact, another alarm.
    """
    import aiohttp

    took_ms: list[float] = []
    connector = aiohttp.UnixConnector(daemon.socket)
    async with (
        aiohttp.ClientSession("http://pourcall", connector=connector) as http,
        http.ws_connect("/v1/stream", max_msg_size=0) as stream,
    ):

        async def alarm_of(probe: str) -> float:
            while True:
                text = (await stream.receive()).data
                at_s = time.perf_counter()
                if "alarm_changed" in text and json.loads(text)["event"]["alarm"]["id"] == f"sensor_open:{probe}":
                    return at_s

        for _ in range(RATE_HZ):
            os.write(daemon.master, daemon.lines())
            await asyncio.sleep(1 / RATE_HZ)
        for channel in range(CHANNELS):
            waiting = asyncio.create_task(alarm_of(f"p{channel}"))
            os.write(daemon.master, daemon.lines(channel + 1))
            await asyncio.sleep(1.37 / RATE_HZ)
            line = daemon.lines(channel + 1)
            os.write(daemon.master, line)
            sent_s = time.perf_counter()
            took_ms.append((await asyncio.wait_for(waiting, 5.0) - sent_s) * 1000.0)
    return took_ms


def echo_latency_ms(rounds: int) -> list[float]:
    """The machine's own share: a line through a pty to a thread, over a Unix socket pair and back to a waiting loop."""
    import socket
    import threading
    import tty

    master, slave = os.openpty()
    tty.setraw(slave)
    near, far = socket.socketpair()

    def forward() -> None:
        while data := os.read(slave, 4096):
            far.sendall(data)
            if data.endswith(b"!"):
                return

    thread = threading.Thread(target=forward, daemon=True)
    thread.start()
    took_ms = []
    for _ in range(rounds):
        time.sleep(0.01)
        began_s = time.perf_counter()
        os.write(master, b"PC1,1,1000,0,,,25.0,1*0000\r\n")
        near.recv(4096)
        took_ms.append((time.perf_counter() - began_s) * 1000.0)
    os.write(master, b"!")
    near.recv(4096)
    thread.join()
    near.close()
    far.close()
    os.close(master)
    os.close(slave)
    return took_ms


async def cost(daemon: Daemon, seconds: float) -> tuple[float, float, float]:
    """CPU share, RSS in MB and bytes written a second at 8 channels x 10 Hz in a melt, with one dashboard watching."""
    import aiohttp

    connector = aiohttp.UnixConnector(daemon.socket)
    async with (
        aiohttp.ClientSession("http://pourcall", connector=connector) as http,
        http.ws_connect("/v1/stream", max_msg_size=0) as stream,
    ):
        await http.post(
            "/v1/furnaces/crucible/commands", json={"type": "start_request", "alloy": "za27", "charge_kg": 1.5}
        )

        async def watch() -> None:
            async for _ in stream:
                pass

        watching = asyncio.create_task(watch())
        for _ in range(3 * RATE_HZ):  # past the events of the melt's beginning
            os.write(daemon.master, daemon.lines())
            await asyncio.sleep(1 / RATE_HZ)
        cpu_s, written, began_s = daemon.cpu_s(), daemon.written_bytes(), time.perf_counter()
        turn = 0
        while time.perf_counter() - began_s < seconds:
            os.write(daemon.master, daemon.lines())
            turn += 1
            await asyncio.sleep(max(0.0, began_s + turn / RATE_HZ - time.perf_counter()))
        took_s = time.perf_counter() - began_s
        figures = (
            (daemon.cpu_s() - cpu_s) / took_s,
            daemon.rss_mb(),
            (daemon.written_bytes() - written) / took_s,
        )
        watching.cancel()
        await asyncio.gather(watching, return_exceptions=True)
    return figures


def row(
    what: str, measured: float, unit: str, budget: float, peer: str = "", peer_measured: float | None = None
) -> Row:
    """One figure against its budget; smaller is better in all of these."""
    return {
        "what": what,
        "measured": round(measured, 3),
        "unit": unit,
        "budget": budget,
        "peer": peer,
        "peer_measured": None if peer_measured is None else round(peer_measured, 3),
        "ratio": round(measured / budget, 3),
        "ok": measured <= budget,
    }


def run(seconds: float = 20.0, rounds: int = 8) -> list[Row]:
    """All figures. Takes about `seconds` and four more for each round of eight alarms."""
    if sys.platform != "linux":
        return []
    starts, took_ms = [], []
    for _ in range(rounds):
        daemon = Daemon()
        try:
            starts.append(daemon.ready_s)
            took_ms += asyncio.run(alarm_latency_ms(daemon))
        finally:
            daemon.close()
    daemon = Daemon()
    try:
        share, rss_mb, written = asyncio.run(cost(daemon, seconds))
    finally:
        daemon.close()
    bare_ms = echo_latency_ms(200)
    peer = "bare echo over pty and socket"
    return [
        row(f"daemon: start to ready, median of {rounds}", percentile(starts, 0.5), "s", 0.8),
        row(f"daemon: processor at {CHANNELS} x {RATE_HZ} Hz, in a melt, watched", 100 * share, "% of one core", 6.0),
        row("daemon: resident memory", rss_mb, "MB", 60.0),
        row("daemon: written at 8 x 10 Hz in a melt", written * DAY_S / 1e9, "GB a day", 1.0),
        row("wire to alarm, p50", percentile(took_ms, 0.5), "ms", 10.0, peer, percentile(bare_ms, 0.5)),
        row(
            f"wire to alarm, p99 of {len(took_ms)}",
            percentile(took_ms, 0.99),
            "ms",
            10.0,
            peer,
            percentile(bare_ms, 0.99),
        ),
    ]


if __name__ == "__main__":
    for each in run(float(sys.argv[1]) if len(sys.argv) > 1 else 20.0):
        print(json.dumps(each))
