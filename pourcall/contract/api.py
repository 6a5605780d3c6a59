"""Messages of the API between the daemon and its clients (dashboard, commands, scripts).

HTTP over a Unix socket, JSON, one version in every answer:
    GET  /v1/health                               Health
    GET  /v1/furnaces                             list of FurnaceSnapshot
    GET  /v1/furnaces/{furnace}                   FurnaceSnapshot
    POST /v1/furnaces/{furnace}/commands          Command (contract/inputs.py), StartRequest, ChangeRequest,
                                                  ProfileRequest -> CommandResult
    GET  /v1/furnaces/{furnace}/trace?since_s=&points=   Trace of the running melt (since: monotonic time)
    GET  /v1/melts, /v1/melts/{melt}, /v1/pours   records
    GET  /v1/melts/{melt}/trace, /v1/melts/{melt}/trace.csv, /v1/pours/{pour}
    POST /v1/pours/{pour}/results                 ResultRequest -> CommandResult
    POST /v1/entries                              Entry (contract/entries.py) -> CommandResult
    GET  /v1/openapi.json
    WS   /v1/stream                               StreamSnapshot for each furnace, then StreamDelta, StreamEvent
Errors: HTTP 4xx/5xx with ApiError.
"""

import msgspec

from pourcall.contract.events import Event
from pourcall.contract.inputs import Command
from pourcall.contract.message import NOTHING, Told
from pourcall.contract.plan import MouldRequest
from pourcall.contract.questions import Doubt
from pourcall.contract.snapshot import FurnaceSnapshot
from pourcall.contract.version import API_VERSION, VERSION


class Health(msgspec.Struct, frozen=True, kw_only=True):
    """The daemon says who it is."""

    api: str = API_VERSION
    version: str = VERSION
    pid: int
    mono_s: float
    utc_s: float
    furnaces: tuple[str, ...]
    simulated: bool = False
    speed: float = 1.0  # simulated seconds for each real one
    data_dir: str = ""


class StartRequest(
    msgspec.Struct,
    frozen=True,
    kw_only=True,
    omit_defaults=True,
    forbid_unknown_fields=True,
    tag="start_request",
    tag_field="type",
):
    """Start a melt: the daemon looks up the alloy, makes the plan and gives the melt its number."""

    alloy: str
    charge_kg: float = 0.0
    later_kg: float = 0.0  # of the charge: put in later, on top of what is liquid
    moulds: tuple[MouldRequest, ...] = ()
    profile: str = ""  # run this guided profile from the start; "default": the one meant for the alloy
    who: str = "shop"


class ChangeRequest(
    msgspec.Struct,
    frozen=True,
    kw_only=True,
    omit_defaults=True,
    forbid_unknown_fields=True,
    tag="change_request",
    tag_field="type",
):
    """Change alloy, charge or moulds of the running melt; what is None stays as it was asked.

    Of a mould that was planned, what is not given stays as it was asked, too.
    """

    alloy: str | None = None
    charge_kg: float | None = None
    moulds: tuple[MouldRequest, ...] | None = None
    why: str = ""
    who: str = "shop"


class ProfileRequest(
    msgspec.Struct,
    frozen=True,
    kw_only=True,
    omit_defaults=True,
    forbid_unknown_fields=True,
    tag="profile_request",
    tag_field="type",
):
    """Guide the running melt by a profile: the daemon looks it up and resolves it for the melt's alloy and limits."""

    profile: str = ""  # name of its file; empty: the one meant for the alloy
    who: str = "shop"


# What may be asked of a furnace.
Asked = Command | StartRequest | ChangeRequest | ProfileRequest


class FoundDefect(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """One finding of several on one casting; place and words in `detail`."""

    defect: str
    severity: int = 0
    detail: str = ""


class ResultRequest(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """What inspection found on a pour: a defect class with severity 1 to 3, or `sound` with 0; 0 takes a defect back.

    findings: several at once, in place of `defect`: all are recorded or none. correcting: what stands against it on
    record (sound, or defects) is corrected; without it that is refused.
    """

    defect: str = ""
    severity: int = 0
    detail: str = ""
    findings: tuple[FoundDefect, ...] = ()
    who: str = "shop"
    correcting: bool = False


class CommandResult(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What became of a command. `recorded` is True only after the commit."""

    api: str = API_VERSION
    accepted: bool
    seq: int
    recorded: bool
    what: Told = NOTHING  # what was done, or why not, or what is asked
    remedy: Told = NOTHING
    doubt: Doubt | None = None  # not done, and not refused: sent again with `sure` it is
    melt: str = ""
    pour: int | None = None


class TracePoint(msgspec.Struct, frozen=True, array_like=True):
    """min and max over one bucket; None where there was no number."""

    mono_s: float
    min_c: float | None
    max_c: float | None


class Trace(msgspec.Struct, frozen=True, kw_only=True):
    """A probe's trace, decimated to what a screen can show."""

    api: str = API_VERSION
    furnace: str
    began_mono_s: float
    probes: dict[str, tuple[TracePoint, ...]]
    thinned: str = ""  # on which day its readings were thinned to how many; empty: all are there


class ApiError(msgspec.Struct, frozen=True, kw_only=True):
    """What was wrong, where, and what to do."""

    api: str = API_VERSION
    what: Told
    where: str = ""
    remedy: Told = ""
    exit_code: int = 1


class StreamSnapshot(msgspec.Struct, frozen=True, kw_only=True, tag="snapshot", tag_field="type"):
    """The first message for each furnace, and again after a gap."""

    health: Health
    snapshot: FurnaceSnapshot


class StreamDelta(msgspec.Struct, frozen=True, kw_only=True, tag="delta", tag_field="type"):
    """Top-level fields of the snapshot that changed, already as JSON values; merge over the last snapshot."""

    furnace: str
    changed: dict[str, msgspec.Raw]


class StreamEvent(msgspec.Struct, frozen=True, kw_only=True, tag="event", tag_field="type"):
    """An event, at once; nothing waits for a disk."""

    event: Event


StreamMessage = StreamSnapshot | StreamDelta | StreamEvent
