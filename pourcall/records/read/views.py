"""Records as a person asks for them. Frozen structs, ready for JSON; degC, times in UTC seconds."""

from enum import StrEnum
from typing import TypedDict

import msgspec

from pourcall.contract.events import DipFault, DipHow, Marking, MarkKind, PourSource
from pourcall.contract.inputs import MeltEnding
from pourcall.contract.message import Message, Told, tell
from pourcall.contract.plan import MeltPlan
from pourcall.records.write.typed_columns import GapKind

NOTHING_POURED = MeltEnding.UNPOURED.value
AFTER_POUR_S = 300.0  # of the trace, where one pour is asked for  and kept whole when old traces are thinned


class _View(msgspec.Struct, frozen=True, kw_only=True):
    """Common to all views."""


class MeltFilter(TypedDict, total=False):
    """Which melts are asked for; what is absent or None does not matter."""

    furnace: str | None
    year: int | None
    alloy: str | None  # key or name
    since_utc_s: float | None  # when they began
    until_utc_s: float | None


class PourFilter(TypedDict, total=False):
    """Which pours are asked for; what is absent, None or False does not matter, nor does case in texts of people."""

    melt: str | None
    setup: str | None  # of the pour, else its mould's name
    batch: str | None  # of the pour, else of its setup as it stood then
    tag: str | None  # of the pour or its melt
    alloy: str | None  # key or name
    defect: str | None  # that stands on record
    awaiting: bool  # not inspected yet
    furnace: str | None
    since_utc_s: float | None
    until_utc_s: float | None


class MeltRow(_View, frozen=True):
    """One line of `melt list`."""

    melt: str  # "2026-014"
    furnace: str
    alloy: str
    alloy_name: str
    charge_kg: float
    began_utc_s: float
    ended_utc_s: float | None
    ending: str  # empty while it runs
    moulds: int  # planned
    moulds_poured: int  # of those; one that was poured twice counts once
    pours: int
    dips: int
    tags: tuple[str, ...] = ()
    ingots_kg: float | None = None  # all ingots that were left of it
    heel_kg: float | None = None
    ending_detail: str = ""  # in words: why it was abandoned
    outcome: str = ""  # the ending, or `unpoured`: ended as poured, and no pour of it is on record

    def __post_init__(self) -> None:
        unpoured = self.ending == MeltEnding.POURED and self.pours == 0
        msgspec.structs.force_setattr(self, "outcome", NOTHING_POURED if unpoured else self.ending)


class PourRow(_View, frozen=True):
    """One line of `pour list`, as it stands after corrections. who, why: of its last correction."""

    pour: str  # "2026-014-1"
    melt: str
    number: int
    furnace: str
    alloy: str
    mould: str
    setup: str
    at_utc_s: float
    pot_temp_c: float | None
    pot_u_c: float | None
    lip_temp_c: float | None
    lip_u_c: float | None
    lip_min_c: float
    lip_max_c: float
    marked: Marking
    basis: str  # as it was said
    result: str  # "", "sound", "misrun 2, cold shut 1"
    corrected: bool
    inside: bool | None = None  # arrived inside its window; None where its temperature is not known; made from the rest
    batch: str = ""  # of the mould material
    not_poured: bool = False  # marked by mistake
    who: str = ""
    why: str = ""
    source: PourSource | None = None  # None: `basis` alone tells it

    def __post_init__(self) -> None:
        known = self.lip_temp_c is not None
        inside = self.lip_min_c <= (self.lip_temp_c or 0.0) <= self.lip_max_c if known else None
        msgspec.structs.force_setattr(self, "inside", inside)


class DipRow(_View, frozen=True):
    """One dip."""

    probe: str
    number: int
    ended_utc_s: float
    temp_c: float | None
    u_c: float | None
    how: DipHow
    fit_error_c: float | None
    depth_mm: float | None
    stirred: bool | None
    why: str  # as it was said
    widened: bool = False  # U is the spread of three in a row
    fault: DipFault | None = None


def dip_how(how: DipHow, widened: bool) -> Message:
    """How a dip's figure was found."""
    return tell("record.dip.widened" if widened else "record.dip.how", dip_how=how.value)


class AlarmRow(_View, frozen=True):
    """One move of an alarm."""

    alarm: str
    at_utc_s: float
    priority: int
    state: str
    present: bool
    what: str
    remedy: str
    by: str


class NoteRow(_View, frozen=True):
    """A note, a skim, a typed temperature."""

    at_utc_s: float
    what: MarkKind
    text: str
    value: float | None
    who: str
    pour_number: int | None = None
    source: str = ""  # of a figure that a person read off: the instrument


class ChargeView(_View, frozen=True):
    """Metal that went into the pot, as it stands after corrections; `number` within the melt, from 1, stays."""

    number: int
    at_utc_s: float
    mass_kg: float | None
    source: str  # new, returns, scrap, or in words
    origin: str  # of returns: 2026-011, or its ingot 2026-011-i1
    remelts: int | None
    remelts_how: str  # "told", "carried on", "at least"; empty where it is not known
    detail: str
    who: str
    why: str  # of its correction
    corrected: bool
    added: bool  # while the melt ran


class LeftView(_View, frozen=True):
    """Metal that was left at the end: an ingot with its name, 2026-014-i1, or the heel."""

    name: str
    kind: str  # ingot, heel
    number: int
    mass_kg: float
    at_utc_s: float
    who: str
    why: str
    corrected: bool


class LipStep(StrEnum):
    """Where the temperature at the lip comes from, step by step."""

    POT = "pot"
    SINCE = "since"  # between the figure and the lift
    WALK = "walk"
    LADLE = "ladle"
    STREAM = "stream"
    WAY = "way"  # all of it, where its parts are not told apart; else its uncertainty
    WAITING = "waiting"
    REST = "rest"
    LIP = "lip"


class LipPart(_View, frozen=True):
    """One step on the way to the temperature at the lip. temp_c: a level; change_c: what it adds; u_c: k = 2."""

    what: LipStep
    text: Told
    temp_c: float | None = None
    change_c: float | None = None
    u_c: float | None = None


class ResultRow(_View, frozen=True):
    """What inspection found on one pour."""

    pour: str
    at_utc_s: float
    who: str
    defect: str
    severity: int
    detail: str


class GapRow(_View, frozen=True):
    """A time without readings; `board` empty: nothing at all was recorded. ended None: it lasts."""

    board: str
    began_utc_s: float
    ended_utc_s: float | None
    reason: str  # of a link that was down, as the port told it; else the kind
    kind: GapKind


class PlanRow(_View, frozen=True):
    """One version of the plan of a melt."""

    version: int
    at_utc_s: float
    why: str
    plan: MeltPlan


class PhotoRow(_View, frozen=True):
    """One photo; its file is `<hash><suffix>` in the photo folder."""

    hash: str
    suffix: str
    at_utc_s: float
    caption: str
    pour_number: int | None


class Correction(StrEnum):
    """What a correction put right about a pour."""

    RESTORED = "restored"  # everything as it was first marked
    STRUCK_OUT = "struck_out"  # it was no pour
    MOULD = "mould"
    SETUP = "setup"
    BATCH = "batch"
    TIME = "time"
    LIFT = "lift"


class CorrectedPour(_View, frozen=True):
    """One correction of a pour; `text` tells it after the pour's name. at_utc_s: when it was made; None: not known."""

    pour: str
    at_utc_s: float | None
    kinds: tuple[Correction, ...]
    text: Told
    who: str
    why: str


class SetupView(_View, frozen=True):
    """One version of a mould setup, from 1; pours: of all its versions."""

    name: str
    version: int
    at_utc_s: float
    pattern: str
    material: str
    batch: str
    gating: str
    venting: str
    thinnest_mm: float | None
    mass_kg: float | None
    preheat_c: float | None
    detail: str
    who: str
    why: str
    pours: int = 0


class MeltDetail(_View, frozen=True):
    """All of `melt show`."""

    row: MeltRow
    plans: tuple[PlanRow, ...]
    pours: tuple[PourRow, ...]
    dips: tuple[DipRow, ...]
    alarms: tuple[AlarmRow, ...]
    notes: tuple[NoteRow, ...]
    gaps: tuple[GapRow, ...]
    results: tuple[ResultRow, ...]
    photos: tuple[PhotoRow, ...]
    charges: tuple[ChargeView, ...] = ()
    left: tuple[LeftView, ...] = ()
    corrections: tuple[CorrectedPour, ...] = ()  # of its pours, in the order they were made
    thinned: str = ""  # "thinned on 2026-11-25 to one reading in 10 s"; empty: the trace is whole


class PourDetail(_View, frozen=True):
    """All of `pour show`. `earlier`: the same pour before its corrections, oldest first; `parts` of its temperature."""

    row: PourRow
    earlier: tuple[PourRow, ...]
    results: tuple[ResultRow, ...]
    notes: tuple[NoteRow, ...]
    photos: tuple[PhotoRow, ...]
    lift_mono_s: float | None
    at_mono_s: float
    session_id: int
    parts: tuple[LipPart, ...] = ()
    tags: tuple[str, ...] = ()
    lift_utc_s: float | None = None


class SessionRow(_View, frozen=True):
    """One start of the daemon for one furnace."""

    id: int
    furnace: str
    began_mono_s: float
    began_utc_s: float
    ended_utc_s: float | None
    settings_toml: str
    config_json: str
    program: str


def pour_id(melt: str, number: int) -> str:
    """`2026-014-1`."""
    return f"{melt}-{number}"
