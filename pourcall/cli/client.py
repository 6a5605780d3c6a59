"""Asking the daemon from a command. One request, one answer, over the Unix socket or loopback TCP."""

import http.client
import socket
from typing import Any, TypeVar
from urllib.parse import quote

import msgspec

from pourcall.cli.common import our_paths, pick_furnace
from pourcall.contract import errors
from pourcall.contract.api import ApiError, Asked, CommandResult, Health, ResultRequest
from pourcall.contract.entries import Entry
from pourcall.contract.message import as_message, tell
from pourcall.contract.paths import Paths
from pourcall.contract.snapshot import FurnaceSnapshot

TIMEOUT_S = 10.0
ENTRY_S = 150.0  # a pour that is worked out again goes through hours of readings
_BY_CODE: dict[int, type[errors.PourcallError]] = {
    kind.exit_code: kind
    for kind in (
        errors.BadInput,
        errors.NotFound,
        errors.LinkError,
        errors.StoreError,
        errors.DaemonError,
        errors.Refused,
    )
}
T = TypeVar("T")


class _UnixConnection(http.client.HTTPConnection):
    def __init__(self, path: str, patience_s: float) -> None:
        super().__init__("localhost", timeout=patience_s)
        self._path = path

    def connect(self) -> None:
        self.sock = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self.sock.settimeout(self.timeout)
        self.sock.connect(self._path)


class DaemonClient:
    """The daemon of this installation. Every call raises DaemonError where none answers."""

    def __init__(self, paths: Paths | None = None) -> None:
        self.paths = paths or our_paths()

    def health(self) -> Health:
        """Who answers."""
        return self._get("/v1/health", Health)

    def furnaces(self) -> list[FurnaceSnapshot]:
        """All furnaces as they stand."""
        return self._get("/v1/furnaces", list[FurnaceSnapshot])

    def furnace(self, wanted: str = "") -> str:
        """The name of the furnace that is meant."""
        return pick_furnace(self.health().furnaces, wanted)

    def command(self, furnace: str, command: Asked) -> CommandResult:
        """Send a command. Raises Refused, with the daemon's reason, where it was not done and nothing is asked."""
        data = self._ask("POST", f"/v1/furnaces/{furnace}/commands", msgspec.json.encode(command))
        result = msgspec.json.decode(data, type=CommandResult)
        if not result.accepted and result.doubt is None:
            raise errors.Refused(as_message(result.what), remedy=as_message(result.remedy))
        return result

    def result(self, pour: str, found: ResultRequest) -> CommandResult:
        """Record what inspection found on a pour. Raises NotFound, BadInput as the daemon does."""
        data = self._ask("POST", f"/v1/pours/{quote(pour, safe='')}/results", msgspec.json.encode(found))
        return msgspec.json.decode(data, type=CommandResult)

    def enter(self, entry: Entry) -> CommandResult:
        """Record a later entry: a charge, an ending, a mould setup, a correction. Raises NotFound, BadInput."""
        data = self._ask("POST", "/v1/entries", msgspec.json.encode(entry), ENTRY_S)
        return msgspec.json.decode(data, type=CommandResult)

    def _get(self, path: str, kind: type[T]) -> T:
        return msgspec.json.decode(self._ask("GET", path), type=kind)

    def _ask(self, method: str, path: str, body: bytes | None = None, patience_s: float = TIMEOUT_S) -> bytes:
        headers = {"Content-Type": "application/json"} if body is not None else {}
        connection = self._connection(headers, patience_s)
        try:
            connection.request(method, path, body=body, headers=headers)
            answer = connection.getresponse()
            data = answer.read()
        except (OSError, http.client.HTTPException) as err:
            raise errors.DaemonError(
                tell("api.unreachable"), where=str(self.paths.socket), remedy=tell("api.not_running.remedy")
            ) from err
        finally:
            connection.close()
        if answer.status >= 400:
            raise _as_error(data, answer.status)
        return data

    def _connection(self, headers: dict[str, Any], patience_s: float) -> http.client.HTTPConnection:
        if hasattr(socket, "AF_UNIX") and self.paths.socket.exists():
            return _UnixConnection(str(self.paths.socket), patience_s)
        try:
            address, token = self.paths.token.read_text("ascii").split()
        except (OSError, ValueError):
            raise errors.DaemonError(
                tell("api.not_running"), where=str(self.paths.runtime), remedy=tell("api.not_running.remedy")
            ) from None
        headers["Authorization"] = f"Bearer {token}"
        return http.client.HTTPConnection(address, timeout=patience_s)


def _as_error(data: bytes, status: int) -> errors.PourcallError:
    try:
        told = msgspec.json.decode(data, type=ApiError)
    except msgspec.DecodeError:
        return errors.DaemonError(tell("api.no_reason", status=status), remedy=tell("api.no_reason.remedy"))
    kind = _BY_CODE.get(told.exit_code, errors.DaemonError)
    return kind(as_message(told.what), where=told.where, remedy=as_message(told.remedy))
