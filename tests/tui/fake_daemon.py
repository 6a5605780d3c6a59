"""A daemon on a real Unix socket, played by a test: it sends what the test says and keeps what it hears."""

from pathlib import Path
from typing import Any

import aiohttp
import msgspec
from aiohttp import web

from pourcall.contract.api import (
    CommandResult,
    Health,
    StreamDelta,
    StreamEvent,
    StreamSnapshot,
)
from pourcall.contract.events import (
    Event,
)
from pourcall.contract.snapshot import (
    FurnaceSnapshot,
)
from tests.tui.moments import Scenes


class FakeDaemon:
    """The daemon's API, served for real; what it streams and answers is set by the test."""

    def __init__(self, socket: Path) -> None:
        self.socket = socket
        self.snapshots: dict[str, FurnaceSnapshot] = {}
        self.commands: list[tuple[str, dict[str, Any]]] = []
        self.result = CommandResult(accepted=True, seq=1, recorded=True, what="done as asked")
        self.status = 200
        self.api = "1.0"
        self.speed = 1.0
        self.extra: list[str] = []  # sent after the snapshots, as it stands
        self.traces_asked: list[dict[str, str]] = []
        self._streams: set[web.WebSocketResponse] = set()
        self._runner: web.AppRunner | None = None

    async def start(self) -> None:
        """Listen."""
        app = web.Application()
        app.router.add_get("/v1/stream", self._stream)
        app.router.add_post("/v1/furnaces/{furnace}/commands", self._command)
        app.router.add_get("/v1/furnaces/{furnace}/trace", self._trace)
        self._runner = web.AppRunner(app, access_log=None, shutdown_timeout=0.5)
        await self._runner.setup()
        await web.UnixSite(self._runner, str(self.socket)).start()

    async def stop(self) -> None:
        """Go away as a killed daemon does: streams end, the socket is gone."""
        for stream in list(self._streams):
            await stream.close()
        if self._runner is not None:
            await self._runner.cleanup()
            self._runner = None
        self.socket.unlink(missing_ok=True)

    def health(self) -> Health:
        """Who we are."""
        return Health(
            api=self.api, pid=1, mono_s=0.0, utc_s=0.0, furnaces=tuple(sorted(self.snapshots)), speed=self.speed
        )

    async def send(self, message: StreamSnapshot | StreamDelta | StreamEvent | str) -> None:
        """To everyone who listens."""
        text = message if isinstance(message, str) else msgspec.json.encode(message).decode()
        for stream in list(self._streams):
            await stream.send_str(text)

    async def put(self, snapshot: FurnaceSnapshot) -> None:
        """A furnace as it stands, whole."""
        self.snapshots[snapshot.furnace] = snapshot
        await self.send(StreamSnapshot(health=self.health(), snapshot=snapshot))

    async def change(self, furnace: str, **fields: Any) -> None:
        """Some fields of a furnace, as a delta."""
        self.snapshots[furnace] = msgspec.structs.replace(self.snapshots[furnace], **fields)
        changed = {name: msgspec.Raw(msgspec.json.encode(value)) for name, value in fields.items()}
        await self.send(StreamDelta(furnace=furnace, changed=changed))

    async def event(self, event: Event) -> None:
        """An event, at once."""
        await self.send(StreamEvent(event=event))

    @property
    def listeners(self) -> int:
        """How many dashboards are listening."""
        return len(self._streams)

    async def _stream(self, request: web.Request) -> web.WebSocketResponse:
        stream = web.WebSocketResponse()
        await stream.prepare(request)
        for snapshot in self.snapshots.values():
            await stream.send_str(msgspec.json.encode(StreamSnapshot(health=self.health(), snapshot=snapshot)).decode())
        for text in self.extra:
            await stream.send_str(text)
        self._streams.add(stream)
        try:
            async for message in stream:
                if message.type is aiohttp.WSMsgType.ERROR:
                    break
        finally:
            self._streams.discard(stream)
        return stream

    async def _command(self, request: web.Request) -> web.Response:
        body = msgspec.json.decode(await request.read())
        self.commands.append((request.match_info["furnace"], body))
        return web.Response(body=msgspec.json.encode(self.result), status=self.status, content_type="application/json")

    async def _trace(self, request: web.Request) -> web.Response:
        self.traces_asked.append(dict(request.query))
        snapshot = self.snapshots[request.match_info["furnace"]]
        return web.Response(body=msgspec.json.encode(Scenes.trace(snapshot)), content_type="application/json")
