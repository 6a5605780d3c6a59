"""The API over HTTP and WebSocket. Thin: each handler checks what came in and asks the service.

Everything that reads the disk runs in the service's reading threads, so no question about old melts delays a sample.
Every answer carries the API version in the header `Pourcall-Api`; every error is an `ApiError` in JSON.
"""

import asyncio
import contextlib
import logging
import math
import socket
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any, TypeVar, assert_never

import msgspec
from aiohttp import WSCloseCode, web

from pourcall.contract.api import ApiError, ChangeRequest, CommandResult, ProfileRequest, StartRequest
from pourcall.contract.entries import PourCompletion, PourCorrection
from pourcall.contract.errors import (
    BadInput,
    DaemonError,
    FrameError,
    NotFound,
    OutOfRange,
    PourcallError,
    Refused,
    StoreError,
)
from pourcall.contract.inputs import Command, CorrectPour, DaemonTrouble
from pourcall.contract.message import Message, Told, tell
from pourcall.contract.version import API_VERSION
from pourcall.daemon.api import library, sockets
from pourcall.daemon.api.guard import BODY_BYTES, printable, read_command, read_entry, read_result
from pourcall.daemon.api.hub import Client, Hub
from pourcall.daemon.api.openapi import ROUTES, document
from pourcall.daemon.service import Service
from pourcall.records.read.store import Store

log = logging.getLogger(__name__)

STUCK_S = 10.0  # real seconds one message may take to leave; then the client is dropped
VERSION_HEADER = "Pourcall-Api"
HTTP_OF: tuple[tuple[type[PourcallError], int], ...] = (
    (NotFound, 404),
    (Refused, 409),
    (BadInput, 400),
    (FrameError, 400),
    (OutOfRange, 400),
    (StoreError, 503),
    (DaemonError, 503),
)
Answer = TypeVar("Answer")
Handler = Callable[[web.Request], Awaitable[web.StreamResponse]]


def answer(value: Any, status: int = 200) -> web.Response:
    """A value as a JSON answer."""
    return web.Response(
        body=msgspec.json.encode(value),
        status=status,
        content_type="application/json",
        headers={VERSION_HEADER: API_VERSION},
    )


def refusal(err: PourcallError) -> web.Response:
    """One of our errors as an answer."""
    status = next((code for kind, code in HTTP_OF if isinstance(err, kind)), 500)
    return answer(ApiError(what=err.what, where=err.where, remedy=err.remedy, exit_code=err.exit_code), status)


class Api:
    """The server. `await start(...)`, then `await close()`."""

    def __init__(self, service: Service, store: Store | None = None) -> None:
        self.service, self._store = service, store
        self.hub = Hub(service.sequencers, service.health)
        self.token = ""
        self._sockets: set[web.WebSocketResponse] = set()
        self._unix_path: Path | None = None
        self._token_path: Path | None = None
        self._description: bytes | None = None
        self._runner: web.AppRunner | None = None

    # -- start and stop -------------------------------------------------------------------------------------------

    async def start(
        self, *, unix_path: Path | None = None, tcp_port: int | None = None, token_path: Path | None = None
    ) -> None:
        """Listen on a Unix socket, on loopback TCP, or on both. Raises DaemonError; nothing listens then."""
        bound: list[socket.socket] = []
        app = web.Application(middlewares=[self._guarded], client_max_size=BODY_BYTES)
        for route in ROUTES:
            app.router.add_route(route.method, route.path, getattr(self, route.handler))
        runner = web.AppRunner(app, access_log=None, handle_signals=False, shutdown_timeout=0.5)
        try:
            if unix_path is not None:
                bound.append(sockets.unix_socket(unix_path))
                self._unix_path = unix_path
            if tcp_port is not None:
                if token_path is None:
                    raise DaemonError(tell("daemon.socket.no_token"), remedy=tell("daemon.socket.no_token.remedy"))
                bound.append(sockets.tcp_socket(tcp_port))
                self.token = sockets.write_token(token_path, bound[-1].getsockname()[1])
                self._token_path = token_path
            await runner.setup()
            for each in bound:
                await web.SockSite(runner, each).start()
        except BaseException:
            for each in bound:
                each.close()
            await runner.cleanup()
            self._forget_files()
            raise
        self._runner = runner

    async def close(self) -> None:
        """Say goodbye to the streams, stop listening, remove the socket file."""
        self.hub.close()
        for ws in tuple(self._sockets):
            with contextlib.suppress(TimeoutError, ConnectionError, RuntimeError):
                await asyncio.wait_for(ws.close(code=WSCloseCode.GOING_AWAY, message=b"the daemon stops"), 0.5)
        if self._runner is not None:
            await self._runner.cleanup()
            self._runner = None
        self._forget_files()

    def _forget_files(self) -> None:
        for path in (self._unix_path, self._token_path):
            if path is not None:
                with contextlib.suppress(FileNotFoundError):
                    path.unlink()
        self._unix_path = self._token_path = None

    # -- at the gate ----------------------------------------------------------------------------------------------

    @web.middleware
    async def _guarded(self, request: web.Request, handler: Handler) -> web.StreamResponse:
        try:
            self._admit(request)
            return await handler(request)
        except PourcallError as err:
            return refusal(err)
        except web.HTTPException as err:
            return self._http_refusal(err)
        except asyncio.CancelledError:
            raise
        except Exception as err:
            log.exception("%s %s failed", request.method, printable(request.path, 200))
            failed = tell("api.failed", error=type(err).__name__)
            return answer(ApiError(what=failed, remedy=tell("api.failed.remedy")), 500)

    def _admit(self, request: web.Request) -> None:
        """Whoever opened the Unix socket is let in (the file says who may); on TCP the token is asked for."""
        local = request.transport is not None and request.transport.get_extra_info("sockname")
        if isinstance(local, tuple) and not sockets.is_bearer(request.headers.get("Authorization", ""), self.token):
            raise web.HTTPUnauthorized(reason="no valid token")

    @staticmethod
    def _http_refusal(err: web.HTTPException) -> web.Response:
        see = tell("api.see_description")
        refusals: dict[int, tuple[Told, Told, int]] = {
            401: (tell("api.token"), tell("api.token.remedy"), DaemonError.exit_code),
            404: (tell("api.no_address"), see, NotFound.exit_code),
            405: (tell("api.no_method"), see, BadInput.exit_code),
            413: (tell("api.too_large", count=BODY_BYTES), tell("api.too_large.remedy"), BadInput.exit_code),
        }
        what, remedy, code = refusals.get(err.status, (err.reason, see, BadInput.exit_code))
        response = answer(ApiError(what=what, remedy=remedy, exit_code=code), err.status)
        for name in ("Allow", "WWW-Authenticate"):
            if name in err.headers:
                response.headers[name] = err.headers[name]
        if err.status == 401:
            response.headers["WWW-Authenticate"] = "Bearer"
        return response

    # -- handlers; their names stand in openapi.ROUTES ------------------------------------------------------------

    async def health(self, request: web.Request) -> web.StreamResponse:
        """Who the daemon is."""
        return answer(self.service.health())

    async def furnaces(self, request: web.Request) -> web.StreamResponse:
        """Every furnace as it stands."""
        return answer([sequencer.snapshot() for sequencer in self.service.sequencers.values()])

    async def furnace(self, request: web.Request) -> web.StreamResponse:
        """One furnace as it stands."""
        return answer(self.service.sequencer(request.match_info["furnace"]).snapshot())

    async def command(self, request: web.Request) -> web.StreamResponse:
        """A command, a start or a change: its CommandResult, `accepted` or not."""
        furnace = self.service.sequencer(request.match_info["furnace"]).furnace
        body = await request.read()
        try:
            asked = read_command(body)
        except BadInput as err:
            said = printable(body[:400].decode("utf-8", "replace"), 200)
            self.service.notices.report(
                DaemonTrouble.COMMAND_REJECTED, tell("daemon.rejected", why=err.what, body=said)
            )
            raise
        if isinstance(asked, StartRequest | ChangeRequest) and asked.moulds and self._store is not None:
            moulds = await self.service.in_thread(library.described, self._store, asked.moulds)
            asked = msgspec.structs.replace(asked, moulds=moulds)
        if isinstance(asked, Command):
            return answer(await self.service.command(furnace, asked))
        match asked:
            case StartRequest():
                result = await self.service.start_melt(furnace, asked)
            case ChangeRequest():
                result = await self.service.change_melt(furnace, asked)
            case ProfileRequest():
                result = await self.service.run_profile(furnace, asked)
            case _:
                assert_never(asked)
        return answer(result)

    async def trace(self, request: web.Request) -> web.StreamResponse:
        """The running melt's trace."""
        since_s = _figure(request, "since_s", 0.0, 0.0, 1e9)
        points = int(_figure(request, "points", 1000, 2, 5000))
        return answer(self.service.trace(request.match_info["furnace"], since_mono_s=since_s, points=points))

    async def melts(self, request: web.Request) -> web.StreamResponse:
        """Melts on record."""
        limit = int(_figure(request, "limit", 100, 1, 10_000))
        return answer(await self._read(library.melts, request.query.get("furnace", ""), limit))

    async def melt(self, request: web.Request) -> web.StreamResponse:
        """One melt on record."""
        return answer(await self._read(library.melt, request.match_info["melt"]))

    async def melt_trace(self, request: web.Request) -> web.StreamResponse:
        """A melt's trace on record, decimated."""
        points = int(_figure(request, "points", 1000, 2, 5000))
        return answer(await self._read(library.melt_trace, request.match_info["melt"], points))

    async def melt_csv(self, request: web.Request) -> web.StreamResponse:
        """A melt's trace as CSV."""
        melt = request.match_info["melt"]
        text = await self._read(library.melt_csv, melt)
        return web.Response(
            body=text,
            content_type="text/csv",
            charset="utf-8",
            headers={VERSION_HEADER: API_VERSION, "Content-Disposition": f'attachment; filename="{melt}.csv"'},
        )

    async def pours(self, request: web.Request) -> web.StreamResponse:
        """Pours on record."""
        limit = int(_figure(request, "limit", 100, 1, 10_000))
        return answer(await self._read(library.pours, request.query.get("melt", ""), limit))

    async def pour(self, request: web.Request) -> web.StreamResponse:
        """One pour on record."""
        return answer(await self._read(library.pour, request.match_info["pour"]))

    async def pour_result(self, request: web.Request) -> web.StreamResponse:
        """What inspection found on a pour, perhaps days later."""
        pour = printable(request.match_info["pour"], 40)
        found = read_result(await request.read())
        utc_s = self.service.clock.utc_s()
        what = await self.service.record(lambda conn: library.add_result(conn, pour, found, utc_s))
        return answer(CommandResult(accepted=True, seq=0, recorded=True, what=what))

    async def entry(self, request: web.Request) -> web.StreamResponse:
        """A later entry: charge, ending, mould setup, correction or completion of a pour, note."""
        told = read_entry(await request.read())
        utc_s = self.service.clock.utc_s()
        prepared = await self.service.in_thread(library.prepare, self._store, told, utc_s, apart=self.service.ending)
        what = await self.service.record(lambda conn: library.enter(conn, told, utc_s, prepared))
        if isinstance(told, PourCorrection | PourCompletion):
            await self._tell_engine(told, what)
        return answer(CommandResult(accepted=True, seq=0, recorded=True, what=what))

    async def _tell_engine(self, told: PourCorrection | PourCompletion, said: Message) -> None:
        """The melt that runs goes on from the pour as the record has it: a mould that got no metal is next again."""
        melt, _, number = told.pour.rpartition("-")
        for sequencer in self.service.sequencers.values():
            if sequencer.snapshot().melt == melt and self._store is not None:
                for known, mould in await self.service.in_thread(library.poured_now, self._store, melt):
                    if known == int(number):
                        figures = await self.service.in_thread(library.pour_figures, self._store, told.pour, mould)
                        command = CorrectPour(number=known, mould=mould, figures=figures, said=said, who=told.who)
                        await self.service.command(sequencer.furnace, command)

    async def setups(self, request: web.Request) -> web.StreamResponse:
        """Mould setups on record."""
        return answer(await self._read(library.setup_list))

    async def _read(self, call: Callable[..., Answer], *args: Any) -> Answer:
        """A question to the records, in a reading thread."""
        if self._store is None:
            raise StoreError(tell("daemon.no_record"), remedy=tell("daemon.no_record.remedy"))
        return await self.service.in_thread(call, self._store, *args)

    async def openapi(self, request: web.Request) -> web.StreamResponse:
        """The description of all this."""
        if self._description is None:
            self._description = await self.service.in_thread(lambda: msgspec.json.encode(document()))
        return web.Response(
            body=self._description, content_type="application/json", headers={VERSION_HEADER: API_VERSION}
        )

    async def stream(self, request: web.Request) -> web.StreamResponse:
        """Snapshots, deltas and events until one side goes."""
        ws = web.WebSocketResponse(heartbeat=20.0, max_msg_size=1024, compress=False)
        ws.headers[VERSION_HEADER] = API_VERSION
        await ws.prepare(request)
        client = Client()
        self._sockets.add(ws)
        self.hub.join(client)
        talking = asyncio.create_task(self._talk(request, ws, client), name="stream-out")
        listening = asyncio.create_task(_listen(ws), name="stream-in")
        try:
            await asyncio.wait((talking, listening), return_when=asyncio.FIRST_COMPLETED)
        finally:
            self.hub.leave(client)
            self._sockets.discard(ws)
            for task in (talking, listening):
                task.cancel()
            await asyncio.gather(talking, listening, return_exceptions=True)
        return ws

    async def _talk(self, request: web.Request, ws: web.WebSocketResponse, client: Client) -> None:
        while not ws.closed:
            for message in await client.next(self.hub.snapshots):
                try:
                    await asyncio.wait_for(ws.send_str(message), STUCK_S)
                except (TimeoutError, ConnectionError):
                    log.info("a stream client is gone or stuck after %d skips: dropped", client.skipped)
                    if request.transport is not None:
                        request.transport.abort()
                    return


async def _listen(ws: web.WebSocketResponse) -> None:
    """Nothing is asked over the stream; reading it answers pings and notices the end."""
    async for _ in ws:
        pass


def _figure(request: web.Request, name: str, default: float, least: float, most: float) -> float:
    text = request.query.get(name)
    if text is None:
        return default
    try:
        figure = float(text)
    except ValueError:
        figure = math.nan
    if not least <= figure <= most:
        raise BadInput(
            tell("api.query", field=name, figure=printable(text, 40), least=least, most=most),
            remedy=tell("api.query.remedy"),
        )
    return figure
