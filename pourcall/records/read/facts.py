"""Everything on record about one pour, on one time axis: what sheet, plot and comparison are made from.

Reads through `Store`; times are seconds since the melt began by the clock that never steps. Not here:
drawing (chart.py), the page (sheet.py), what differs between pours (compare.py).
"""

import sqlite3
from bisect import bisect_right
from collections.abc import Iterable, Iterator
from typing import Any, assert_never, get_args

import msgspec

from pourcall.contract.api import Trace, TracePoint
from pourcall.contract.errors import BadInput
from pourcall.contract.events import (
    AlarmChanged,
    CallChanged,
    CallHow,
    DipHow,
    Marked,
    MarkKind,
    MeltState,
    MeltStateChanged,
    PanelCompared,
    PowerMarked,
)
from pourcall.contract.message import tell
from pourcall.contract.plan import AlloyFacts, MouldPlan
from pourcall.records.entries.charges import charge_told
from pourcall.records.entries.setups import setup_at
from pourcall.records.read import tracing
from pourcall.records.read.store import Store
from pourcall.records.read.tracing import SessionStretch
from pourcall.records.read.views import DipRow, MeltDetail, NoteRow, PhotoRow, PourRow, ResultRow, dip_how
from pourcall.texts import word, written

AFTER_S = 180.0  # of the trace behind the last pour
DETAIL_BEFORE_S, DETAIL_AFTER_S = 420.0, 120.0
SAME_CALL_S = 120.0  # a call that comes back within this is the same call, flickering
_LIQUID = (MeltState.LIQUID, MeltState.READY, MeltState.ABOVE)
_Shown = MeltStateChanged | CallChanged | AlarmChanged | PowerMarked | PanelCompared | Marked  # on the time axis
_TYPES = tuple(kind.__struct_config__.tag for kind in get_args(_Shown))


class _Fact(msgspec.Struct, frozen=True, kw_only=True):
    """Common."""


class Mark(_Fact, frozen=True):
    """Something that happened. kind: state, call, alarm, power, dip, lift, pour, or the word of what was marked."""

    at_s: float
    kind: str
    text: str  # temperatures as `<523.0 degC>`
    temp_c: float | None = None
    number: int = 0  # of a pour or a dip
    state: MeltState | None = None  # of the melt, where that is what changed


class StateStretch(_Fact, frozen=True):
    """How long the melt stood in one state; until_s None: to the end."""

    state: MeltState
    from_s: float
    until_s: float | None


class Setup(_Fact, frozen=True):
    """A mould setup as described before the pour; `batch`: of the mould material, the pour's own where one was told."""

    name: str
    pattern: str = ""
    material: str = ""
    gating: str = ""
    venting: str = ""
    thinnest_mm: float | None = None
    mass_kg: float | None = None
    detail: str = ""
    batch: str = ""
    preheat_c: float | None = None
    version: int = 0  # 0: not described


class ChargeRow(_Fact, frozen=True):
    """Metal that went into the pot. origin: of returns, 2026-011 or 2026-011-i1; words: all of it."""

    at_s: float
    mass_kg: float | None
    source: str
    remelts: int | None
    detail: str
    origin: str = ""
    added: bool = False  # while the melt ran
    words: str = ""


class ProbeFact(_Fact, frozen=True):
    """A probe as it was set up for the melt."""

    name: str
    tc_type: str = ""
    wire_class: str = ""
    place: str = ""
    sheath: str = ""
    offset_uv: float = 0.0


class PourFacts(_Fact, frozen=True):
    """One pour. `trace` and `detail` are decimated to what a drawing can show, times as elapsed seconds."""

    row: PourRow
    pour_s: float
    lift_s: float | None
    melt_began_utc_s: float
    furnace: str
    alloy_name: str
    alloy: AlloyFacts | None
    mould: MouldPlan | None
    setup: Setup | None
    charge_kg: float
    charges: tuple[ChargeRow, ...]
    pours_in_melt: int
    liquidus_s: float | None  # when it passed the liquidus for the last time before the pour
    highest_c: float | None  # of a probe that stays in the metal, before the pour
    probes: tuple[ProbeFact, ...]
    main_probe: str
    simulated: bool
    program: str
    states: tuple[StateStretch, ...]
    marks: tuple[Mark, ...]
    dips: tuple[DipRow, ...]
    results: tuple[ResultRow, ...]
    notes: tuple[NoteRow, ...]
    photos: tuple[PhotoRow, ...]
    tags: tuple[str, ...]
    earlier: tuple[PourRow, ...]
    trace: dict[str, tuple[TracePoint, ...]]
    detail: dict[str, tuple[TracePoint, ...]]

    @property
    def liquid_s(self) -> float | None:
        """How long it was above the liquidus before it was poured."""
        return None if self.liquidus_s is None else self.pour_s - self.liquidus_s


def pour_facts(store: Store, pour: str, *, points: int = 400) -> PourFacts:
    """All there is on a pour `2026-014-1`. Raises NotFound, StoreError, BadInput for a pour that was none."""
    found = store.pour(pour)
    if found.row.not_poured:
        raise BadInput(
            tell("record.was_no_pour", why=found.row.why or tell("record.by_mistake")),
            where=pour,
            remedy=tell("record.was_no_pour.remedy", pour=pour),
        )
    melt = store.melt(found.row.melt)
    with store.reading() as conn:
        furnace, began_s, spans = tracing.melt_spans(conn, found.row.melt, AFTER_S)
        shift_of = {span.session_id: span.shift_s for span in spans}
        marks, states = timeline(conn, melt, began_s, spans)
        last_s = max((mark.at_s for mark in marks if mark.kind == "pour"), default=0.0)
        pour_s = found.at_mono_s + shift_of.get(found.session_id, 0.0) - began_s
        trace = stretch(conn, furnace, began_s, spans, 0.0, max(last_s, pour_s) + AFTER_S, points)
        detail = stretch(conn, furnace, began_s, spans, pour_s - DETAIL_BEFORE_S, pour_s + DETAIL_AFTER_S, points)
        setup = _setup(conn, found.row)
        probes, simulated, program = _session(conn, found.session_id, trace)
        tags = conn.execute(
            "SELECT DISTINCT tag FROM tags t JOIN melts m ON m.id = t.melt_id"
            " WHERE m.melt = ? AND pour_number IN (0, ?) ORDER BY tag",
            (found.row.melt, found.row.number),
        ).fetchall()
    charges = _charges(melt)
    plans = [plan.plan for plan in melt.plans if plan.at_utc_s <= found.row.at_utc_s] or [p.plan for p in melt.plans]
    plan = plans[-1] if plans else None
    moulds = () if plan is None else plan.moulds
    mould = next((m for m in moulds if m.name == found.row.mould), None)
    mould = mould or next((m for m in moulds if m.setup and m.setup == found.row.setup), None)
    lift_s = None
    if found.lift_mono_s is not None:
        lift_s = found.lift_mono_s + shift_of.get(found.session_id, 0.0) - began_s
    stays = next((probe.name for probe in probes if probe.place == "melt" and probe.name in trace), "")
    main = stays or next((probe.name for probe in probes if probe.name in trace), "") or next(iter(trace), "")
    until_s = pour_s if lift_s is None else lift_s
    liquidus_s = _liquid_since(states, until_s)
    if stays and plan is not None:
        crossed_s = _crossing(trace[stays], plan.alloy.liquidus_c, until_s)
        liquidus_s = liquidus_s if crossed_s is None else crossed_s
    highs = [p.max_c for p in trace.get(stays, ()) if p.max_c is not None and p.mono_s <= until_s]
    if highs and found.row.pot_temp_c is not None:
        highs.append(found.row.pot_temp_c)  # of the metal; what the sheath lagged behind is in it, and not in the trace
    return PourFacts(
        row=found.row,
        pour_s=pour_s,
        lift_s=lift_s,
        melt_began_utc_s=melt.row.began_utc_s,
        furnace=furnace,
        alloy_name=melt.row.alloy_name if plan is None else plan.alloy.name,
        alloy=None if plan is None else plan.alloy,
        mould=mould,
        setup=setup,
        charge_kg=melt.row.charge_kg if plan is None else plan.charge_kg,
        charges=charges,
        pours_in_melt=len(melt.pours),
        liquidus_s=liquidus_s,
        highest_c=max(highs, default=None),
        probes=probes,
        main_probe=main,
        simulated=simulated,
        program=program,
        states=states,
        marks=marks,
        dips=melt.dips,
        results=found.results,
        tags=tuple(tag for (tag,) in tags),
        earlier=found.earlier,
        photos=tuple(p for p in melt.photos if p.pour_number in (None, found.row.number)),
        notes=tuple(n for n in melt.notes if n.pour_number in (None, found.row.number) and n.who != "daemon"),
        trace=trace,
        detail=detail,
    )


def stretch(
    conn: sqlite3.Connection,
    furnace: str,
    began_s: float,
    spans: Iterable[SessionStretch],
    from_s: float,
    until_s: float,
    points: int,
) -> dict[str, tuple[TracePoint, ...]]:
    """The trace between two elapsed times."""
    from_s = max(from_s, 0.0)
    clipped = []
    for span in spans:
        low_s, high_s = began_s + from_s - span.shift_s, began_s + until_s - span.shift_s
        since_s = max(span.since_s, low_s)
        end_s = high_s if span.until_s is None else min(span.until_s, high_s)
        if since_s < end_s:
            clipped.append(msgspec.structs.replace(span, since_s=since_s, until_s=end_s))
    found: Trace = tracing.draw(conn, furnace, began_s + from_s, clipped, points)
    return {
        probe: tuple(TracePoint(round(p.mono_s - began_s, 3), p.min_c, p.max_c) for p in series)
        for probe, series in found.probes.items()
    }


def timeline(
    conn: sqlite3.Connection, melt: MeltDetail, began_s: float, spans: list[SessionStretch]
) -> tuple[tuple[Mark, ...], tuple[StateStretch, ...]]:
    """What happened, in order, and the states of the melt."""
    melt_id, first_id = conn.execute("SELECT id, journal_id FROM melts WHERE melt = ?", (melt.row.melt,)).fetchone()
    shift_of = {span.session_id: span.shift_s for span in spans}
    held = [(span, found) for span in spans if (found := tracing.extent(conn, span)) is not None]
    (ended_id,) = conn.execute("SELECT max(journal_id) FROM melt_endings WHERE melt_id = ?", (melt_id,)).fetchone()
    last_id = max([found.last_id for _, found in held] + [ended_id or first_id])
    until_s = max((found.until_s + span.shift_s for span, found in held), default=began_s)
    kinds = ",".join("?" * len(_TYPES))
    rows = conn.execute(
        f"SELECT session_id, body FROM events WHERE journal_id BETWEEN ? AND ? AND type IN ({kinds})"
        " ORDER BY journal_id, id",
        (first_id, last_id, *_TYPES),
    ).fetchall()
    events = [
        (shift_of[session_id] - began_s, msgspec.json.decode(body, type=_Shown))
        for session_id, body in rows
        if session_id in shift_of
    ]
    marks = [*_marks(events), *_dips(conn, melt_id, shift_of, began_s), *_pours(conn, melt_id, shift_of, began_s)]
    if melt.thinned:
        marks.append(Mark(at_s=0.0, kind="thinned", text=melt.thinned))
    states: list[StateStretch] = []
    for less_s, event in events:
        if isinstance(event, MeltStateChanged):
            at_s = max(0.0, event.mono_s + less_s)
            if states:
                states[-1] = msgspec.structs.replace(states[-1], until_s=at_s)
            states.append(StateStretch(state=event.new, from_s=at_s, until_s=None))
    end_s = until_s - began_s
    kept = (mark for mark in marks if -1.0 <= mark.at_s <= max(end_s, 0.0) + AFTER_S)
    return tuple(sorted(kept, key=lambda mark: mark.at_s)), tuple(states)


def _marks(events: Iterable[tuple[float, _Shown]]) -> Iterator[Mark]:
    last: dict[str, float] = {}
    alarms: set[str] = set()
    for less_s, event in events:
        at_s = event.mono_s + less_s
        match event:
            case MeltStateChanged():
                yield Mark(at_s=at_s, kind="state", text=f"{event.new.value}: {written(event.why)}", state=event.new)
            case CallChanged():
                if event.how is CallHow.REPEATED:
                    continue
                name = f"{event.call.kind.value} {event.call.mould}"
                if event.how is CallHow.RAISED and at_s - last.get(name, -1e9) > SAME_CALL_S:
                    yield Mark(at_s=at_s, kind="call", text=written(event.call.text))
                last[name] = at_s
            case AlarmChanged():
                if not event.alarm.active:
                    alarms.discard(event.alarm.id)
                    continue
                if event.alarm.id in alarms:
                    continue
                alarms.add(event.alarm.id)
                yield Mark(
                    at_s=at_s,
                    kind="alarm",
                    text=f"{word('priority', event.alarm.priority.name.lower())}: {written(event.alarm.what)}",
                )
            case PowerMarked():
                yield Mark(
                    at_s=event.at_mono_s + less_s,
                    kind="power",
                    text=written(tell("record.power", level=event.level.value)),
                )
            case PanelCompared():
                text = tell("record.panel_compared", metal_c=event.metal_c, panel_c=event.panel_c)
                yield Mark(at_s=at_s, kind="panel_pair", text=written(text))
            case Marked():
                if event.what is not MarkKind.NOTE:
                    yield Mark(at_s=event.at_mono_s + less_s, kind=event.what, text=written(event.text) or event.what)
            case _:
                assert_never(event)


def _dips(conn: sqlite3.Connection, melt_id: int, shift_of: dict[int, float], began_s: float) -> Iterator[Mark]:
    for number, temp_c, how, widened, why, ended_s, session_id in conn.execute(
        "SELECT d.number, d.temp_c, d.how, d.widened, d.why, d.ended_mono_s, e.session_id FROM dips d"
        " LEFT JOIN events e ON e.id = d.event_id WHERE d.melt_id = ?1"
        " AND NOT EXISTS (SELECT 1 FROM dips c WHERE c.melt_id = ?1 AND c.corrects = d.id)",
        (melt_id,),
    ):
        at_s = ended_s + shift_of.get(session_id, 0.0) - began_s
        found = dip_how(DipHow(how), bool(widened))
        text = tell("record.dip.figure", number=number, temp_c=temp_c, how=found) if temp_c is not None else None
        text = text or tell("record.dip.none", number=number, why=why or found)
        yield Mark(at_s=at_s, kind="dip", text=written(text), temp_c=temp_c, number=number)


def _pours(conn: sqlite3.Connection, melt_id: int, shift_of: dict[int, float], began_s: float) -> Iterator[Mark]:
    lifts: set[float] = set()
    for number, mould, session_id, at_mono_s, lift_mono_s, lip_c in conn.execute(
        "SELECT number, mould, session_id, at_mono_s, lift_mono_s, lip_temp_c FROM pours_now WHERE melt_id = ?"
        " ORDER BY number",
        (melt_id,),
    ):
        less_s = shift_of.get(session_id, 0.0) - began_s
        if lift_mono_s is not None and lift_mono_s + less_s not in lifts:
            lifts.add(lift_mono_s + less_s)
            yield Mark(at_s=lift_mono_s + less_s, kind="lift", text=written(tell("record.lifted")))
        if lip_c is None:
            text = tell("record.poured", number=number, mould=mould)
        else:
            text = tell("record.poured_at", number=number, mould=mould, lip_c=lip_c)
        yield Mark(at_s=at_mono_s + less_s, kind="pour", text=written(text), temp_c=lip_c, number=number)


def _charges(melt: MeltDetail) -> tuple[ChargeRow, ...]:
    return tuple(
        ChargeRow(
            at_s=one.at_utc_s - melt.row.began_utc_s,
            mass_kg=one.mass_kg,
            source=one.source,
            remelts=one.remelts,
            detail=one.detail,
            origin=one.origin,
            added=one.added,
            words=written(charge_told(one)),
        )
        for one in melt.charges
    )


def _setup(conn: sqlite3.Connection, row: PourRow) -> Setup | None:
    """The setup as it stood at the pour; described only later: as it was first described. The pour's own batch wins."""
    name = row.setup or row.mould
    known = setup_at(conn, name, row.at_utc_s)
    if known is None:
        return Setup(name=name, batch=row.batch) if row.batch else None
    return Setup(
        name=known.name,
        pattern=known.pattern,
        material=known.material,
        gating=known.gating,
        venting=known.venting,
        thinnest_mm=known.thinnest_mm,
        mass_kg=known.mass_kg,
        detail=known.detail,
        batch=row.batch or known.batch,
        preheat_c=known.preheat_c,
        version=known.version,
    )


def _session(
    conn: sqlite3.Connection, session_id: int, trace: dict[str, Any]
) -> tuple[tuple[ProbeFact, ...], bool, str]:
    """Probes as set up, whether the shop was simulated, and the program's version."""
    row = conn.execute(
        "SELECT t.body, s.program FROM sessions s JOIN texts t ON t.hash = s.config_hash WHERE s.id = ?", (session_id,)
    ).fetchone()
    try:
        told: Any = msgspec.json.decode(row[0])
        probes = tuple(msgspec.convert(probe, ProbeFact) for probe in told.get("probes", ()))
        simulated = bool(told.get("simulated", False))
    except (msgspec.MsgspecError, AttributeError):
        probes, simulated = (), False
    known = {probe.name for probe in probes}
    more = tuple(ProbeFact(name=name) for name in trace if name not in known)
    return probes + more, simulated, row[1]


def _liquid_since(states: tuple[StateStretch, ...], until_s: float) -> float | None:
    """When it was first known to be liquid, and not known to be solid again before then."""
    since_s = None
    for at in range(bisect_right([span.from_s for span in states], until_s) - 1, -1, -1):
        if states[at].state in _LIQUID:
            since_s = states[at].from_s
        elif states[at].state is not MeltState.UNKNOWN:
            break
    return since_s


def _crossing(series: tuple[TracePoint, ...], level_c: float, until_s: float) -> float | None:
    """Elapsed time of the last rise through a level before `until_s`, between two points."""
    found: float | None = None
    last: tuple[float, float] | None = None
    for point in series:
        if point.mono_s > until_s:
            break
        if point.min_c is None or point.max_c is None:
            last = None
            continue
        temp_c = (point.min_c + point.max_c) / 2.0
        if last is not None and last[1] < level_c <= temp_c:
            found = last[0] + (point.mono_s - last[0]) * (level_c - last[1]) / (temp_c - last[1])
        last = point.mono_s, temp_c
    return found
