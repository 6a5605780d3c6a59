"""Everything a plot of a whole melt shows, on one time axis. Reads through `Store`; elapsed seconds, degC.

A melt needs no pour for it: one that still runs, was abandoned or went into ingots is drawn as well. Not here: drawing
(melt_plot.py), a pour with its setup and results (facts.py).
"""

import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise

import msgspec

from pourcall.contract.api import TracePoint
from pourcall.contract.message import tell
from pourcall.contract.plan import AlloyFacts
from pourcall.records.read import tracing
from pourcall.records.read.facts import AFTER_S, Mark, StateStretch, stretch, timeline
from pourcall.records.read.simulated_melts import invented_melts
from pourcall.records.read.store import Store
from pourcall.records.read.views import AFTER_POUR_S, MeltDetail, PourRow
from pourcall.texts import written

_SHORT_GAP_S = 2.0  # not worth a mark
_SPREAD_SAMPLES = 150  # places at which the uncertainty is read from the record


class TapWindow(msgspec.Struct, frozen=True):
    """How hot the pot should be for the mould that is next, and while it is."""

    mould: str
    from_s: float
    until_s: float
    min_c: float
    max_c: float


class PouredAt(msgspec.Struct, frozen=True):
    """A pour on the axis."""

    at_s: float
    row: PourRow


class MeltFacts(msgspec.Struct, frozen=True, kw_only=True):
    """One melt, or one up to some minutes after a pour. Traces are decimated to what a drawing can show."""

    melt: str
    furnace: str
    alloy_name: str
    alloy: AlloyFacts | None
    limit_c: float | None  # the pot must not pass it
    limit_whose: str
    began_utc_s: float
    end_s: float
    ending: str  # empty while it runs
    trace: dict[str, tuple[TracePoint, ...]]
    spread_c: dict[str, tuple[tuple[float, float], ...]]  # (elapsed, expanded uncertainty) here and there
    states: tuple[StateStretch, ...]
    marks: tuple[Mark, ...]  # lifts and pours among them
    windows: tuple[TapWindow, ...]
    pours: tuple[PouredAt, ...]
    invented: bool = False  # of a simulated furnace
    number: int = 0  # of the pour that is asked for; 0: the melt


def melt_facts(store: Store, melt: str, *, number: int = 0, points: int = 520) -> MeltFacts:
    """A melt `2026-014`; with a number up to five minutes after that pour. Raises NotFound, StoreError."""
    wanted = store.pour(f"{melt}-{number}") if number else None
    detail = store.melt(melt)
    with store.reading() as conn:
        furnace, began_s, spans = tracing.melt_spans(conn, melt, AFTER_S)
        marks, states = timeline(conn, detail, began_s, spans)
        held = [(span, found) for span in spans if (found := tracing.extent(conn, span)) is not None]
        last_s = max((found.until_s + span.shift_s - began_s for span, found in held), default=0.0)
        end_s = max([last_s, *(mark.at_s + 1.0 for mark in marks)])
        if wanted is not None:
            shift_of = {span.session_id: span.shift_s for span in spans}
            poured_s = wanted.at_mono_s + shift_of.get(wanted.session_id, 0.0) - began_s
            end_s = min(end_s, poured_s + AFTER_POUR_S)
        end_s = max(end_s, 60.0)
        trace = stretch(conn, furnace, began_s, spans, 0.0, end_s, points)
        spread_c = _spread(conn, held, began_s)
        invented = melt in invented_melts(conn)
    seen_s = max((series[-1].mono_s + 1.0 for series in trace.values() if series), default=60.0)
    end_s = min(end_s, max([seen_s, *(mark.at_s + 1.0 for mark in marks)]))
    marks = tuple(mark for mark in sorted((*marks, *_gaps(detail, trace, end_s)), key=_when) if mark.at_s <= end_s)
    at_of = {mark.number: mark.at_s for mark in marks if mark.kind == "pour"}
    pours = tuple(PouredAt(at_of[row.number], row) for row in detail.pours if row.number in at_of)
    plan = detail.plans[-1].plan if detail.plans else None
    limit = min(plan.limits, key=lambda one: one.limit_c, default=None) if plan is not None else None
    return MeltFacts(
        melt=melt,
        furnace=furnace,
        alloy_name=detail.row.alloy_name if plan is None else plan.alloy.name,
        alloy=None if plan is None else plan.alloy,
        limit_c=None if limit is None else limit.limit_c,
        limit_whose="" if limit is None else limit.whose,
        began_utc_s=detail.row.began_utc_s,
        end_s=end_s,
        ending=detail.row.outcome,
        trace=trace,
        spread_c=spread_c,
        states=states,
        marks=marks,
        windows=tuple(_windows(detail, pours, end_s)),
        pours=pours,
        number=number,
        invented=invented,
    )


def spreads_at(samples: Sequence[tuple[float, float]], times_s: Iterable[float]) -> list[float | None]:
    """The uncertainty at times in order, between the samples on both sides; None where none is near."""
    if not samples:
        return [None for _ in times_s]
    near_s = 3.0 * (samples[-1][0] - samples[0][0]) / max(len(samples) - 1, 1) + 5.0
    found: list[float | None] = []
    after, last = 0, len(samples) - 1
    for at_s in times_s:
        while after < last and samples[after][0] < at_s:
            after += 1
        next_s, next_c = samples[after]
        first_s, first_c = samples[max(after - 1, 0)]
        if first_s < at_s < next_s and next_s - first_s <= near_s:
            found.append(first_c + (next_c - first_c) * (at_s - first_s) / (next_s - first_s))
        else:
            apart_s, one_c = min((abs(at_s - first_s), first_c), (abs(at_s - next_s), next_c))
            found.append(one_c if apart_s <= near_s else None)
    return found


def _spread(
    conn: sqlite3.Connection, held: Iterable[tuple[tracing.SessionStretch, tracing.Extent]], began_s: float
) -> dict[str, tuple[tuple[float, float], ...]]:
    """Read here and there: it changes slowly, and a long melt must not be read whole for it."""
    names = dict(conn.execute("SELECT id, name FROM probes").fetchall())
    found: dict[str, list[tuple[float, float]]] = {}
    for span, extent in held:
        probe_of = dict(
            conn.execute(
                "SELECT id, probe_id FROM sources WHERE session_id = ? AND probe_id IS NOT NULL", (span.session_id,)
            ).fetchall()
        )
        step = max(extent.rows // _SPREAD_SAMPLES, 1)
        reach = min(step, 6 * max(extent.probes, 1))
        for first_id in range(extent.first_id, extent.last_id + 1, step):
            seen: set[int] = set()
            for source, mono, u_mc in conn.execute(
                "SELECT source, mono, u_mc FROM journal WHERE id BETWEEN ? AND ? AND u_mc IS NOT NULL",
                (first_id, first_id + reach - 1),
            ):
                probe = probe_of.get(source)
                if probe is None or probe in seen:
                    continue
                seen.add(probe)
                time_s = mono / 1000.0 if type(mono) is int else mono
                found.setdefault(names[probe], []).append((time_s + span.shift_s - began_s, u_mc / 1000.0))
    return {name: tuple(sorted(samples)) for name, samples in found.items()}


def _gaps(detail: MeltDetail, trace: dict[str, tuple[TracePoint, ...]], end_s: float) -> Iterator[Mark]:
    for gap in detail.gaps:
        at_s = gap.began_utc_s - detail.row.began_utc_s
        until_s = end_s if gap.ended_utc_s is None else gap.ended_utc_s - detail.row.began_utc_s
        if at_s < 0.0 or until_s - at_s < _SHORT_GAP_S:
            continue
        if not gap.board and any(at_s + 1.0 < p.mono_s < until_s - 1.0 for series in trace.values() for p in series):
            continue  # the clock was set: by UTC the program was not running, by the clock that never steps it was
        told = tell("plot.gap", reason=gap.reason)
        if gap.board:
            told = tell("plot.gap_of", board=gap.board, reason=gap.reason)
        yield Mark(at_s=at_s, kind="gap", text=written(told))


def _windows(detail: MeltDetail, pours: tuple[PouredAt, ...], end_s: float) -> Iterator[TapWindow]:
    """In the pot for the mould that was next, by the plan in force. No limit of the pot is raised by a loss."""
    turns = [0.0, *(pour.at_s for pour in pours)]
    turns += [plan.at_utc_s - detail.row.began_utc_s for plan in detail.plans[1:]]
    for from_s, until_s in pairwise([*sorted(turn for turn in turns if 0.0 <= turn < end_s), end_s]):
        began_utc_s = detail.row.began_utc_s + from_s + 0.5
        plan = next((p.plan for p in reversed(detail.plans) if p.at_utc_s <= began_utc_s), None)
        if plan is None and detail.plans:
            plan = detail.plans[0].plan
        if plan is None or until_s <= from_s:
            continue
        poured = [pour.row.mould for pour in pours if pour.at_s <= from_s]
        mould = next((one for one in plan.moulds if one.name not in poured), None)
        if mould is None:
            continue
        limit_c = min((one.limit_c for one in plan.limits), default=mould.tap_max_c)
        max_c = min(mould.tap_max_c, limit_c)
        if max_c > mould.tap_min_c:
            yield TapWindow(mould.name, from_s, until_s, mould.tap_min_c, max_c)


def _when(mark: Mark) -> float:
    return mark.at_s
