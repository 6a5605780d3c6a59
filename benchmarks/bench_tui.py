"""The dashboard's budgets: time to the first frame in a real terminal, and what a frame with a full trace costs.

Peers: the same terminal library showing one line of text (what no program on it can beat), and the same frame with
every point of the trace handed to the plot library. `python benchmarks/bench_tui.py` prints the rows.
"""

import asyncio
import math
import os
import pty
import statistics
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import msgspec
from aiohttp import web

from pourcall.contract.api import Health, StreamSnapshot, Trace, TracePoint
from pourcall.contract.reading import Place, ProbeState
from pourcall.contract.settings import Sound
from pourcall.contract.snapshot import AheadView, FurnaceSnapshot, Interval, MetalView, ProbeView, WindowView
from pourcall.contract.status import Reason, Status

FIRST_FRAME_BUDGET_S = 1.2
FRAME_BUDGET_MS = 40.0  # ours: a frame a second then costs at most 4 % of a core
RUNS, FRAMES = 5, 20
HOUR_S, HZ = 3600, 10
_DASHBOARD = """
import sys, pathlib
from pourcall.tui.main import run_dashboard
from pourcall.tui.client import Address
from pourcall.contract.settings import Sound
run_dashboard(Address(socket=pathlib.Path(sys.argv[1])), sound=Sound(player="off"))
"""
_BARE = """
from textual.app import App
from textual.widgets import Static
class Bare(App):
    def compose(self):
        yield Static("bench furnace")
Bare().run()
"""


def _snapshot() -> FurnaceSnapshot:
    probe = ProbeView(
        name="melt_probe",
        place=Place.MELT,
        state=ProbeState.IN_METAL,
        temp_c=512.0,
        u_c=4.0,
        status=Status.GOOD,
        reason=Reason.OK,
    )
    return FurnaceSnapshot(
        furnace="bench furnace",
        seq=1,
        mono_s=float(HOUR_S),
        utc_s=0.0,
        probes=(probe,),
        melt="2026-001",
        metal=MetalView(temp_c=512.0, u_c=4.0),
        instruction="nothing to do",
        window=WindowView(
            mould="bench",
            index=0,
            of=1,
            lip_min_c=515.0,
            lip_max_c=545.0,
            tap_min_c=529.0,
            tap_max_c=559.0,
            loss_c=14.0,
        ),
        ahead=AheadView(
            at_mono_s=float(HOUR_S),
            ready_s=Interval(700.0, 600.0, 800.0),
            coast_c=Interval(520.0),
            coast_in_s=200.0,
            band=tuple((60.0 * n, 512.0 + 2.0 * n, 516.0 + 4.0 * n) for n in range(1, 41)),
        ),
    )


def _points() -> tuple[TracePoint, ...]:
    """An hour at 10 Hz, moving all the time."""
    values = (500.0 + 200.0 * math.sin(n / 3000.0) + 3.0 * math.sin(n / 7.0) for n in range(HOUR_S * HZ))
    return tuple(TracePoint(n / HZ, value, value) for n, value in enumerate(values))


async def _serve(socket: Path) -> web.AppRunner:
    """A daemon's end of the API that sends one furnace as it stands."""

    async def stream(request: web.Request) -> web.WebSocketResponse:
        out = web.WebSocketResponse()
        await out.prepare(request)
        health = Health(pid=1, mono_s=0.0, utc_s=0.0, furnaces=("bench furnace",))
        await out.send_str(msgspec.json.encode(StreamSnapshot(health=health, snapshot=_snapshot())).decode())
        async for _ in out:
            pass
        return out

    async def trace(_request: web.Request) -> web.Response:
        points = _points()[::HZ]
        answer = Trace(furnace="bench furnace", began_mono_s=0.0, probes={"melt_probe": points})
        return web.Response(body=msgspec.json.encode(answer), content_type="application/json")

    app = web.Application()
    app.router.add_get("/v1/stream", stream)
    app.router.add_get("/v1/furnaces/{furnace}/trace", trace)
    runner = web.AppRunner(app, access_log=None, shutdown_timeout=0.2)
    await runner.setup()
    await web.UnixSite(runner, str(socket)).start()
    return runner


async def _first_seen_s(code: str, arg: str, wanted: tuple[bytes, ...]) -> list[float]:
    """Seconds from starting a Python program on a terminal of its own until each of `wanted` has been drawn."""
    ours, theirs = pty.openpty()
    loop = asyncio.get_running_loop()
    seen: dict[bytes, float] = {}
    done = asyncio.Event()
    text = bytearray()
    environ = {**os.environ, "TERM": "xterm-256color", "COLUMNS": "80", "LINES": "24"}
    began_s = time.perf_counter()

    def read() -> None:
        try:
            text.extend(os.read(ours, 65536))
        except OSError:
            done.set()
            return
        for words in wanted:
            if words not in seen and words in text:
                seen[words] = time.perf_counter() - began_s
        if len(seen) == len(wanted):
            done.set()

    loop.add_reader(ours, read)
    process = await asyncio.create_subprocess_exec(
        sys.executable, "-c", code, arg, stdin=theirs, stdout=theirs, stderr=theirs, env=environ, start_new_session=True
    )
    try:
        await asyncio.wait_for(done.wait(), 20.0)
    finally:
        loop.remove_reader(ours)
        process.kill()
        await process.wait()
        os.close(theirs)
        os.close(ours)
    return [seen[words] for words in wanted]


async def _measure_start() -> tuple[float, float, float]:
    """Medians: first frame, first figures from the daemon, first frame of the bare library."""
    with tempfile.TemporaryDirectory(prefix="pc-") as folder:
        socket = Path(folder) / "d.sock"
        runner = await _serve(socket)
        try:
            ours = [
                await _first_seen_s(_DASHBOARD, str(socket), (b"Looking for the daemon", b"bench furnace"))
                for _ in range(RUNS)
            ]
            bare = [await _first_seen_s(_BARE, "", (b"bench furnace",)) for _ in range(RUNS)]
        finally:
            await runner.cleanup()
    return (
        statistics.median(run[0] for run in ours),
        statistics.median(run[1] for run in ours),
        statistics.median(run[0] for run in bare),
    )


async def _measure_frame() -> tuple[float, float]:
    """CPU milliseconds of a frame with a full trace at 120 x 36: thinned, and with every point."""
    from pourcall.tui.app import Dashboard
    from pourcall.tui.client import Address
    from pourcall.tui.drawing.plot import BRAILLE, Plot
    from pourcall.tui.drawing.trace import TraceBuffer

    points = _points()
    x, y = [(point.mono_s - HOUR_S) / 60.0 for point in points], [point.max_c or 0.0 for point in points]
    with tempfile.TemporaryDirectory(prefix="pc-") as folder:
        socket = Path(folder) / "d.sock"
        runner = await _serve(socket)
        app = Dashboard(Address(socket=socket), sound=Sound(player="off"), mono_s=lambda: 0.0)
        async with app.run_test(size=(120, 36)) as pilot:
            async with asyncio.timeout(10.0):
                while app.snapshot is None or not app.query(Plot):  # noqa: ASYNC110 - a screen has no event
                    await asyncio.sleep(0.02)
            await pilot.pause(0.3)
            buffer = TraceBuffer()
            buffer.replace(points)
            app._traces["bench furnace", "melt_probe"] = buffer
            plot = app.query_one(Plot)

            async def frames(every_point: bool) -> float:
                spent = []
                for number in range(FRAMES):
                    now = msgspec.structs.replace(_snapshot(), metal=MetalView(temp_c=500.0 + number))
                    app.client.snapshots["bench furnace"] = now
                    began_s = time.process_time()
                    app.draw()
                    if every_point:
                        plot.clear()
                        plot.plot(x, y, "white", BRAILLE)
                    else:
                        app._plot(force=True)
                    plot.render()
                    app.screen._compositor.render_strips()
                    spent.append((time.process_time() - began_s) * 1000.0)
                    await pilot.pause()
                return statistics.median(spent)

            result = await frames(False), await frames(True)
        await runner.cleanup()
    return result


def run() -> list[dict[str, Any]]:
    """One row for each figure, as all benchmarks give them."""
    first_s, figures_s, bare_s = asyncio.run(_measure_start())
    thinned_ms, all_ms = asyncio.run(_measure_frame())
    return [
        {
            "what": "dashboard: first frame on a terminal",
            "measured": round(first_s, 3),
            "unit": "s",
            "budget": FIRST_FRAME_BUDGET_S,
            "peer": "the bare library with one line of text",
            "peer_measured": round(bare_s, 3),
            "ratio": round(first_s / bare_s, 2),
            "ok": first_s <= FIRST_FRAME_BUDGET_S,
        },
        {
            "what": "dashboard: first figures of a running daemon",
            "measured": round(figures_s, 3),
            "unit": "s",
            "budget": FIRST_FRAME_BUDGET_S,
            "peer": "the bare library with one line of text",
            "peer_measured": round(bare_s, 3),
            "ratio": round(figures_s / bare_s, 2),
            "ok": figures_s <= FIRST_FRAME_BUDGET_S,
        },
        {
            "what": "dashboard: a frame with an hour at 10 Hz (CPU)",
            "measured": round(thinned_ms, 1),
            "unit": "ms",
            "budget": FRAME_BUDGET_MS,
            "peer": "the same frame with every point plotted",
            "peer_measured": round(all_ms, 1),
            "ratio": round(thinned_ms / all_ms, 3),
            "ok": thinned_ms <= FRAME_BUDGET_MS,
        },
    ]


if __name__ == "__main__":
    for row in run():
        print(row)
