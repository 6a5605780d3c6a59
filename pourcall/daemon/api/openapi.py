"""The API described for machines (OpenAPI 3.1), made from the very types that are sent.

Nothing here is typed twice: the schemas come from the msgspec structs, the routes from `ROUTES`, which routes.py
serves. Source of the format: OpenAPI Specification 3.1.0.
"""

from typing import Any, NamedTuple

import msgspec

from pourcall.contract.api import (
    ApiError,
    Asked,
    CommandResult,
    Health,
    ResultRequest,
    StreamMessage,
    Trace,
)
from pourcall.contract.entries import Entry
from pourcall.contract.snapshot import FurnaceSnapshot
from pourcall.contract.version import API_VERSION
from pourcall.records.read.views import MeltDetail, MeltRow, PourDetail, PourRow, SetupView


class Route(NamedTuple):
    """One way into the daemon. `gives` is a type, or a media type for what is no JSON of ours."""

    method: str
    path: str
    handler: str  # name of the method in api.Api
    what: str
    gives: Any
    takes: Any = None
    query: tuple[tuple[str, str, str], ...] = ()  # name, JSON type, what


_MELT = "number of a melt, such as 2026-014"
_POINTS = ("points", "integer", "at most so many for each probe")
ROUTES: tuple[Route, ...] = (
    Route("GET", "/v1/health", "health", "Who the daemon is, and both its times", Health),
    Route("GET", "/v1/furnaces", "furnaces", "Every furnace as it stands", tuple[FurnaceSnapshot, ...]),
    Route("GET", "/v1/furnaces/{furnace}", "furnace", "One furnace as it stands", FurnaceSnapshot),
    Route(
        "POST",
        "/v1/furnaces/{furnace}/commands",
        "command",
        "Do something: a command, or a request to start or change a melt",
        CommandResult,
        Asked,
    ),
    Route(
        "GET",
        "/v1/furnaces/{furnace}/trace",
        "trace",
        "The running melt's trace, decimated",
        Trace,
        None,
        (("since_s", "number", "from this moment of the daemon's monotonic time"), _POINTS),
    ),
    Route(
        "GET",
        "/v1/melts",
        "melts",
        "Melts on record, newest first",
        tuple[MeltRow, ...],
        None,
        (("furnace", "string", "only this furnace"), ("limit", "integer", "at most so many")),
    ),
    Route("GET", "/v1/melts/{melt}", "melt", "One melt: plans, pours, dips, alarms, notes, gaps", MeltDetail),
    Route("GET", "/v1/melts/{melt}/trace", "melt_trace", "A melt's trace, decimated", Trace, None, (_POINTS,)),
    Route("GET", "/v1/melts/{melt}/trace.csv", "melt_csv", "A melt's whole trace as CSV", "text/csv"),
    Route(
        "GET",
        "/v1/pours",
        "pours",
        "Pours on record, newest first",
        tuple[PourRow, ...],
        None,
        (("melt", "string", _MELT), ("limit", "integer", "at most so many")),
    ),
    Route("GET", "/v1/pours/{pour}", "pour", "One pour, such as 2026-014-1, with its results", PourDetail),
    Route("POST", "/v1/pours/{pour}/results", "pour_result", "What inspection found", CommandResult, ResultRequest),
    Route("GET", "/v1/moulds", "setups", "Mould setups on record, the newest version of each", tuple[SetupView, ...]),
    Route(
        "POST",
        "/v1/entries",
        "entry",
        "A later entry: charge, ending, mould setup, correction of a pour, note",
        CommandResult,
        Entry,
    ),
    Route("GET", "/v1/openapi.json", "openapi", "This description", dict[str, Any]),
    Route("GET", "/v1/stream", "stream", "WebSocket: snapshots, then deltas and events", StreamMessage),
)


def document() -> dict[str, Any]:
    """The OpenAPI document, ready to be sent."""
    types = [route.gives for route in ROUTES if not isinstance(route.gives, str)]
    types += [route.takes for route in ROUTES if route.takes is not None]
    wanted = [ApiError, *types]
    schemas, components = msgspec.json.schema_components(wanted, ref_template="#/components/schemas/{name}")
    by_type = dict(zip((id(each) for each in wanted), schemas, strict=True))
    paths: dict[str, Any] = {}
    for route in ROUTES:
        media = route.gives if isinstance(route.gives, str) else "application/json"
        schema = {"type": "string"} if isinstance(route.gives, str) else by_type[id(route.gives)]
        operation: dict[str, Any] = {
            "operationId": route.handler,
            "summary": route.what,
            "parameters": _parameters(route),
            "responses": {
                "101" if route.handler == "stream" else "200": {
                    "description": route.what,
                    "content": {media: {"schema": schema}},
                },
                "default": {
                    "description": "What was wrong, where, and what to do",
                    "content": {"application/json": {"schema": by_type[id(ApiError)]}},
                },
            },
        }
        if route.takes is not None:
            body = {"required": True, "content": {"application/json": {"schema": by_type[id(route.takes)]}}}
            operation["requestBody"] = body
        paths.setdefault(route.path, {})[route.method.lower()] = operation
    return {
        "openapi": "3.1.0",
        "info": {"title": "pourcall", "version": API_VERSION, "license": {"name": "Apache-2.0"}},
        "paths": paths,
        "components": {"schemas": components},
    }


def _parameters(route: Route) -> list[dict[str, Any]]:
    named = [part[1:-1] for part in route.path.split("/") if part.startswith("{")]
    parameters: list[dict[str, Any]] = [
        {"name": name, "in": "path", "required": True, "schema": {"type": "string"}} for name in named
    ]
    parameters += [
        {"name": name, "in": "query", "required": False, "description": what, "schema": {"type": kind}}
        for name, kind, what in route.query
    ]
    return parameters
