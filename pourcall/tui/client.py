"""The dashboard's end of the API. Streams snapshots, merges deltas, sends commands, comes back by itself.

Not here: what a snapshot looks like on a screen (tui.screen). Nothing here draws, and nothing blocks.
"""

import asyncio
import logging
import time
from collections.abc import Callable
from enum import StrEnum
from pathlib import Path
from types import TracebackType
from typing import Any, Self, TypeVar

import aiohttp
import msgspec

from pourcall.contract.api import (
    ApiError,
    Asked,
    CommandResult,
    Health,
    StreamDelta,
    StreamEvent,
    StreamSnapshot,
    Trace,
)
from pourcall.contract.errors import DaemonError, PourcallError, Refused
from pourcall.contract.events import Event
from pourcall.contract.message import NOTHING, Message, as_message, tell
from pourcall.contract.snapshot import FurnaceSnapshot
from pourcall.contract.version import API_VERSION
from pourcall.texts import written

log = logging.getLogger(__name__)
_T = TypeVar("_T")

LOST_AFTER_S = 3.0  # no message for this long: the daemon is lost, whatever the socket says
DROP_AFTER_S = 6.0  # a socket silent for this long is given up and opened anew
BACK_OFF_S = (0.1, 0.25, 0.5, 1.0, 2.0)
COMMAND_TIMEOUT_S = 5.0
_NOT_DONE = 409  # understood and not done: a CommandResult that says why
_LARGEST_MESSAGE = 8 * 1024 * 1024

_FIELD_TYPES = {field.name: field.type for field in msgspec.structs.fields(FurnaceSnapshot)}


class Address(msgspec.Struct, frozen=True, kw_only=True):
    """Where the daemon listens: a Unix socket, or a loopback URL with a bearer token."""

    socket: Path | None = None
    url: str = "http://pourcall"  # host part is only read over TCP
    token: str = ""

    def __str__(self) -> str:
        return str(self.socket) if self.socket is not None else self.url


class LinkState(StrEnum):
    """How the link to the daemon stands."""

    CONNECTING = "connecting"  # never heard from it
    LIVE = "live"
    LOST = "lost"  # heard from it, and no more


class _Head(msgspec.Struct):
    """The tag of a stream message, read first: what a newer daemon adds must not break us."""

    type: str


def merge(snapshot: FurnaceSnapshot, delta: StreamDelta) -> FurnaceSnapshot:
    """The snapshot with the delta's fields replaced. Fields we do not know (a newer minor version) are left out.

    Raises msgspec.ValidationError when a field we know has another shape.
    """
    changed = {
        name: msgspec.json.decode(raw, type=_FIELD_TYPES[name])
        for name, raw in delta.changed.items()
        if name in _FIELD_TYPES
    }
    return msgspec.structs.replace(snapshot, **changed)


def major(version: str) -> str:
    """`1` of `1.0`."""
    return version.split(".", 1)[0]


class ApiClient:
    """One daemon. `run()` keeps `snapshots`, `health` and the link state current until cancelled."""

    def __init__(
        self,
        address: Address,
        *,
        mono_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self.address = address
        self._mono_s = mono_s
        self.subscribe(lambda _furnace: None, lambda _event: None)
        self.snapshots: dict[str, FurnaceSnapshot] = {}
        self.health: Health | None = None
        self.problem = NOTHING  # why there is no connection
        self.read_only = NOTHING  # why nothing may be sent
        self._last_message_s: float | None = None
        self._session: aiohttp.ClientSession | None = None
        self._connected = False

    def subscribe(self, on_change: Callable[[str], None], on_event: Callable[[Event], None]) -> None:
        """on_change(furnace) is called after each merged message, on_event(event) for each event; both at once."""
        self._on_change, self._on_event = on_change, on_event

    async def __aenter__(self) -> Self:
        connector: aiohttp.BaseConnector
        if self.address.socket is not None:
            connector = aiohttp.UnixConnector(path=str(self.address.socket))
        else:
            connector = aiohttp.TCPConnector()
        headers = {"Authorization": f"Bearer {self.address.token}"} if self.address.token else {}
        self._session = aiohttp.ClientSession(self.address.url, connector=connector, headers=headers)
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, err: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._session is not None:
            await self._session.close()
            self._session = None

    @property
    def silent_s(self) -> float:
        """Seconds since the last message; 0 before the first."""
        return 0.0 if self._last_message_s is None else self._mono_s() - self._last_message_s

    @property
    def link(self) -> LinkState:
        """Live only while messages come: an open socket alone proves nothing."""
        if self._last_message_s is None:
            return LinkState.CONNECTING
        return LinkState.LIVE if self._connected and self.silent_s < LOST_AFTER_S else LinkState.LOST

    async def run(self) -> None:
        """Listen until cancelled; reconnect by itself, waiting at most 2 s between attempts."""
        attempt = 0
        while True:
            heard = await self._listen()
            attempt = 0 if heard else min(attempt + 1, len(BACK_OFF_S) - 1)
            await asyncio.sleep(BACK_OFF_S[attempt])

    async def _listen(self) -> bool:
        """One connection, from open to broken; True when at least one message came."""
        heard = False
        try:
            async with self._http().ws_connect("/v1/stream", max_msg_size=_LARGEST_MESSAGE, heartbeat=None) as stream:
                fresh: set[str] = set()
                while True:
                    message = await stream.receive(timeout=DROP_AFTER_S)
                    if message.type is not aiohttp.WSMsgType.TEXT:
                        self._went_away(tell("screen.link.closed"))
                        return heard
                    if not heard:
                        self.snapshots.clear()  # of the connection before: old, and not to be taken for new
                    self._connected = heard = True
                    self._last_message_s = self._mono_s()
                    self.problem = NOTHING
                    self._take(message.data, fresh)
        except TimeoutError:
            self._went_away(tell("screen.link.silent", silent_s=DROP_AFTER_S))
        except aiohttp.WSServerHandshakeError as err:
            unknown_token = err.status in (401, 403)
            self._went_away(tell("screen.link.token") if unknown_token else tell("screen.link.http", status=err.status))
        except (aiohttp.ClientError, OSError) as err:
            log.info("no stream from %s: %s", self.address, err)
            self._went_away(tell("screen.link.none", where=str(self.address)))
        except msgspec.DecodeError as err:
            self._went_away(tell("screen.link.unreadable", error=str(err)))
        return heard

    def _went_away(self, problem: Message) -> None:
        if problem != self.problem:
            log.warning("stream ended: %s", written(problem))
        self._connected, self.problem = False, problem

    def _take(self, text: str, fresh: set[str]) -> None:
        """One message. Raises msgspec.DecodeError when our picture can no longer be trusted: a new stream heals it."""
        kind = msgspec.json.decode(text, type=_Head).type
        if kind == "snapshot":
            self._take_snapshot(text, fresh)
        elif kind == "delta":
            delta = msgspec.json.decode(text, type=StreamDelta)
            before = self.snapshots.get(delta.furnace)
            if before is not None and delta.furnace in fresh:
                self.snapshots[delta.furnace] = merge(before, delta)
                self._on_change(delta.furnace)
        elif kind == "event":
            try:
                event = msgspec.json.decode(text, type=StreamEvent).event
            except msgspec.ValidationError as err:
                log.info("an event of a newer daemon was left out: %s", err)
                return
            self._on_event(event)

    def _take_snapshot(self, text: str, fresh: set[str]) -> None:
        whole: dict[str, Any] = msgspec.json.decode(text)
        api = str(whole.get("health", {}).get("api", "?"))
        other_major = major(api) != major(API_VERSION)
        self.read_only = tell("screen.read_only", theirs=api, ours=API_VERSION) if other_major else NOTHING
        try:
            message = msgspec.convert(whole, StreamSnapshot)
        except msgspec.ValidationError as err:
            if not other_major:
                raise
            self.read_only = tell("screen.read_only.unreadable", theirs=api, ours=API_VERSION, error=str(err))
            self.snapshots.clear()
            return
        self.health = message.health
        name = message.snapshot.furnace
        fresh.add(name)
        self.snapshots[name] = message.snapshot
        for gone in set(self.snapshots) - set(message.health.furnaces) - fresh:
            del self.snapshots[gone]
        self._on_change(name)

    async def send(self, furnace: str, command: Asked) -> CommandResult:
        """Ask the daemon for something; its answer, `accepted` or not with the reason.

        Raises Refused when read-only, DaemonError when no daemon answers in time: then it is not known whether the
        command was done.
        """
        if self.read_only:
            raise Refused(self.read_only, remedy=tell("screen.nothing_sent"))
        status, body = await self._request(
            "POST", f"/v1/furnaces/{furnace}/commands", data=msgspec.json.encode(command)
        )
        if status == _NOT_DONE:
            try:
                return msgspec.json.decode(body, type=CommandResult)
            except msgspec.DecodeError:
                pass  # refused at the door: an ApiError, as any other
        if status >= 400:
            raise _error_of(body, status)
        return _decoded(body, CommandResult)

    async def trace(self, furnace: str, *, since_s: float, points: int) -> Trace:
        """The trace of the running melt since `since_s` (the daemon's monotonic time), in about `points` buckets.

        Raises DaemonError, Refused.
        """
        query = {"since_s": f"{since_s:.3f}", "points": str(points)}
        status, body = await self._request("GET", f"/v1/furnaces/{furnace}/trace", params=query)
        if status >= 400:
            raise _error_of(body, status)
        return _decoded(body, Trace)

    def _http(self) -> aiohttp.ClientSession:
        if self._session is None:
            raise RuntimeError("ApiClient is used outside `async with`")
        return self._session

    async def _request(
        self, method: str, path: str, *, data: bytes | None = None, params: dict[str, str] | None = None
    ) -> tuple[int, bytes]:
        headers = {"Content-Type": "application/json"} if data is not None else {}
        limit = aiohttp.ClientTimeout(total=COMMAND_TIMEOUT_S)
        try:
            async with self._http().request(
                method, path, data=data, params=params, headers=headers, timeout=limit
            ) as response:
                return response.status, await response.read()
        except TimeoutError as err:
            raise DaemonError(
                tell("screen.link.no_answer", within_s=COMMAND_TIMEOUT_S),
                where=str(self.address),
                remedy=tell("screen.link.no_answer.do"),
            ) from err
        except (aiohttp.ClientError, OSError) as err:
            raise DaemonError(
                tell("screen.link.nobody"), where=str(self.address), remedy=tell("screen.link.nobody.do")
            ) from err


def _decoded(body: bytes, kind: type[_T]) -> _T:
    try:
        return msgspec.json.decode(body, type=kind)
    except msgspec.DecodeError as err:
        raise DaemonError(
            tell("screen.link.answer_unreadable", error=str(err)), remedy=tell("screen.link.answer_unreadable.do")
        ) from err


def _error_of(body: bytes, status: int) -> PourcallError:
    """The daemon's own words, or the bare HTTP status where there are none."""
    try:
        said = msgspec.json.decode(body, type=ApiError)
    except msgspec.DecodeError:
        return DaemonError(tell("screen.link.http", status=status), remedy=tell("screen.link.http.do"))
    return Refused(as_message(said.what), where=said.where, remedy=as_message(said.remedy))
