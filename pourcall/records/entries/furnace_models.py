"""Furnace models on record, and the melts they are learned from. Rows are added, never altered.

In: a connection. Out: `FurnaceModel`s, oldest first; `LearnTrace`s of recorded melts. Not here: fitting.
"""

import sqlite3
from collections.abc import Sequence
from typing import assert_never, get_args

import msgspec

from pourcall.contract.config import EngineConfig, ProbeConfig
from pourcall.contract.errors import NotFound
from pourcall.contract.events import DipRecorded, LiftMarked, Marked, MarkKind, PourMarked, PowerMarked
from pourcall.contract.furnace_model import FurnaceModel
from pourcall.contract.inputs import PowerLevel
from pourcall.contract.message import tell
from pourcall.contract.plan import MeltPlan
from pourcall.contract.reading import TYPED_U_C, Place
from pourcall.contract.status import Reason
from pourcall.furnace.model import HOT_START_C
from pourcall.furnace.training import LOW, Job, LearnTrace
from pourcall.records.entries.learned_texts import keep_learned, learned
from pourcall.records.read.tracing import extent, melt_spans
from pourcall.records.upkeep.migrate import REASON_CODES
from pourcall.records.upkeep.old_sentences import event_of_today
from pourcall.thermometry.sheaths import SHEATHS

WHAT = "furnace_model"
SHARES = {PowerLevel.OFF: 0.0, PowerLevel.LOW: LOW, PowerLevel.HIGH: 1.0}
POINT_S, CHAMBER_POINT_S = 2.0, 10.0
STILL_HOT_S, STILL_HOT_SHARE = 5400.0, 0.6  # after a melt; of the liquidus, a guess that the fit may leave (ours)
ENTERED_C_PER_S = 5.0  # a fall faster than this is a probe taken out
UNPROVEN = REASON_CODES[Reason.UNPROVEN]
DOUBTED = tuple(
    REASON_CODES[reason] for reason in (Reason.INTERMITTENT, Reason.IMPLAUSIBLE, Reason.UNCHANGING, Reason.UNEXPLAINED)
)
Taught = PowerMarked | Marked | LiftMarked | PourMarked | DipRecorded  # events that tell how a furnace behaved
_EVENTS: msgspec.json.Decoder[Taught] = msgspec.json.Decoder(Taught)
_TYPES = ", ".join(f"'{kind.__struct_config__.tag}'" for kind in get_args(Taught))


def keep_model(conn: sqlite3.Connection, model: FurnaceModel) -> int:
    """A new row; its id. Inside a transaction of the caller's (`calibrations.write_aside`, `Recorder.call`)."""
    return keep_learned(conn, WHAT, model.furnace, model.learned_utc_s, msgspec.json.encode(model).decode())


def models(conn: sqlite3.Connection, furnace: str) -> tuple[FurnaceModel, ...]:
    """All that was ever learned of a furnace, oldest first. One of a newer schema than ours is left out."""
    found = []
    for _, body in learned(conn, WHAT, furnace):
        try:
            found.append(msgspec.json.decode(body, type=FurnaceModel))
        except (msgspec.ValidationError, ValueError):
            continue
    return tuple(found)


def latest_model(conn: sqlite3.Connection, furnace: str) -> FurnaceModel | None:
    """The one in force for the next melt; None: nothing learned yet."""
    found = models(conn, furnace)
    return found[-1] if found else None


def melts_of(conn: sqlite3.Connection, furnace: str, limit: int) -> tuple[str, ...]:
    """The latest melts of a furnace that ended, oldest first."""
    rows = conn.execute(
        "SELECT DISTINCT m.id, m.melt FROM melts m JOIN furnaces f ON f.id = m.furnace_id"
        " JOIN melt_endings e ON e.melt_id = m.id WHERE f.name = ? ORDER BY m.id DESC LIMIT ?",
        (furnace, limit),
    ).fetchall()
    return tuple(melt for _, melt in reversed(rows))


def panel_pairs(conn: sqlite3.Connection, furnace: str, limit: int = 20) -> tuple[tuple[float, float], ...]:
    """(metal, panel) degC of the latest moments at which both were known and stood still."""
    rows = conn.execute(
        "SELECT p.metal_c, p.panel_c FROM panel_pairs p JOIN furnaces f ON f.id = p.furnace_id"
        " WHERE f.name = ? ORDER BY p.id DESC LIMIT ?",
        (furnace, limit),
    ).fetchall()
    return tuple(reversed(rows))


def job_for(
    conn: sqlite3.Connection, prior: FurnaceModel, *, melts: Sequence[str] = (), latest: int = 5, utc_s: float
) -> Job:
    """All that the worker needs to learn `prior.furnace` anew. Raises NotFound where no melt of it has ended."""
    wanted = tuple(melts) or melts_of(conn, prior.furnace, max(1, latest))
    if not wanted:
        raise NotFound(
            tell("furnace.no_melt_ended", furnace=prior.furnace), remedy=tell("furnace.no_melt_ended.remedy")
        )
    before = models(conn, prior.furnace)
    return Job(
        prior=prior,
        traces=tuple(learn_trace(conn, melt) for melt in wanted),
        utc_s=utc_s,
        version=(before[-1].version if before else 0) + 1,
        pairs=panel_pairs(conn, prior.furnace),
    )


def learn_trace(conn: sqlite3.Connection, melt: str) -> LearnTrace:
    """One recorded melt as the fit wants it, from its start to the lift. Raises NotFound."""
    _, began_s, spans = melt_spans(conn, melt, 0.0)
    span = spans[0]  # a melt that outlived a restart is learned from up to the restart
    row = conn.execute(
        "SELECT p.plan, t.body FROM melts m JOIN melt_plans p ON p.melt_id = m.id"
        " JOIN sessions s ON s.id = m.session_id JOIN texts t ON t.hash = s.config_hash"
        " WHERE m.melt = ? ORDER BY p.version DESC LIMIT 1",
        (melt,),
    ).fetchone()
    plan = msgspec.json.decode(row[0], type=MeltPlan)
    config = msgspec.json.decode(row[1], type=EngineConfig)
    until_s = span.until_s if span.until_s is not None else began_s + 4 * 3600.0
    events = [
        _EVENTS.decode(event_of_today(body))
        for (body,) in conn.execute(
            "SELECT body FROM events WHERE session_id = ? AND mono_s BETWEEN ? AND ?"
            f" AND type IN ({_TYPES}) ORDER BY id",
            (span.session_id, began_s - 600.0, until_s),
        )
    ]
    power, added = _marks(events, began_s)
    for event in events:
        match event:
            case LiftMarked():
                until_s = min(until_s, event.lift_mono_s)
            case PourMarked():
                if event.melt == melt:
                    until_s = min(until_s, event.pour.at_mono_s - 30.0)
            case PowerMarked() | Marked() | DipRecorded():
                pass
            case _:
                assert_never(event)
    probe = _probe_at(config, Place.MELT) or _probe_at(config, Place.DIP)
    times, temps = (
        ((), ())
        if probe is None or probe.place is not Place.MELT
        else _readings(conn, melt, probe.name, began_s, until_s)
    )
    above = _probe_at(config, Place.CHAMBER)
    chamber = (
        ((), ())
        if above is None
        else _readings(conn, melt, above.name, began_s, until_s, every_s=CHAMBER_POINT_S, to_the_end=True)
    )
    dips, typed = _figures(events, began_s, until_s)
    rule = SHEATHS["mineral_6mm" if probe is None else probe.sheath]
    first_c = temps[0] if temps else chamber[1][0] if chamber[1] else None
    # where nothing was read at the start, a furnace is hot that had a melt in it a while ago
    hot = first_c > HOT_START_C if first_c is not None else _melted_before(conn, melt)
    wall_c = first_c if first_c is not None else STILL_HOT_SHARE * plan.alloy.liquidus_c
    return LearnTrace(
        melt=melt,
        alloy=plan.alloy,
        charge_kg=max(0.0, plan.charge_kg - sum(kg for _, kg in added)),
        times_s=times,
        temps_c=temps,
        power=power,
        added=added,
        room_c=min(20.0 if first_c is None else first_c, 25.0),
        hot=hot,
        hot_wall_c=wall_c,
        sheath_s=rule.tau_metal_s,
        dips=dips,
        typed=typed,
        chamber=tuple(zip(*chamber, strict=True)),
    )


def _probe_at(config: EngineConfig, place: Place) -> ProbeConfig | None:
    return next((one for one in config.probes if one.place is place), None)


def _figures(
    events: Sequence[Taught], began_s: float, until_s: float
) -> tuple[tuple[tuple[float, float, float], ...], tuple[tuple[float, float, float], ...]]:
    """Dips that came to a figure, and figures read off a meter in the metal: (seconds from the start, degC, U)."""
    dips: list[tuple[float, float, float]] = []
    typed: list[tuple[float, float, float]] = []
    for event in events:
        match event:
            case DipRecorded(dip=dip):
                if dip.temp_c is not None and dip.u_c is not None and began_s <= dip.began_mono_s <= until_s:
                    dips.append((dip.ended_mono_s - began_s, dip.temp_c, dip.u_c))
            case Marked(what=MarkKind.TYPED_TEMPERATURE, value=float(temp_c)):
                if began_s <= event.at_mono_s <= until_s:
                    typed.append((event.at_mono_s - began_s, temp_c, TYPED_U_C))
            case PowerMarked() | Marked() | LiftMarked() | PourMarked():
                pass
            case _:
                assert_never(event)
    return tuple(sorted(dips)), tuple(sorted(typed))


def _melted_before(conn: sqlite3.Connection, melt: str) -> bool:
    """Did another melt of the same furnace end within the time that a furnace stays hot."""
    row = conn.execute(
        "SELECT 1 FROM melts m JOIN melts b ON b.furnace_id = m.furnace_id AND b.id <> m.id"
        " JOIN melt_endings e ON e.melt_id = b.id"
        " WHERE m.melt = ? AND e.utc_s BETWEEN m.began_utc_s - ? AND m.began_utc_s LIMIT 1",
        (melt, STILL_HOT_S),
    ).fetchone()
    return row is not None


def _marks(
    events: Sequence[Taught], began_s: float
) -> tuple[tuple[tuple[float, float], ...], tuple[tuple[float, float], ...]]:
    """Power as (from, share), and additions as (at, kg), in seconds from the melt's start."""
    power: list[tuple[float, float]] = []
    added: list[tuple[float, float]] = []
    for event in events:
        match event:
            case PowerMarked():
                at_s = event.at_mono_s - began_s
                if at_s <= 0.0:
                    power = []  # only how it stood when the melt began
                power.append((max(0.0, at_s), SHARES[event.level]))
            case Marked(what=MarkKind.ADDITION, value=float(mass_kg)) if mass_kg:
                added.append((event.at_mono_s - began_s, mass_kg))
            case Marked() | LiftMarked() | PourMarked() | DipRecorded():
                pass
            case _:
                assert_never(event)
    return tuple(sorted(power)), tuple(sorted(added))


def _readings(
    conn: sqlite3.Connection,
    melt: str,
    probe: str,
    began_s: float,
    until_s: float,
    *,
    every_s: float = POINT_S,
    to_the_end: bool = False,
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Readings of a probe as decided then, one in two seconds, up to where it was taken out; to_the_end: all of them,
    of one that nobody takes out.
    """
    span = melt_spans(conn, melt, 0.0)[2][0]
    held = extent(conn, span)
    if held is None:
        return (), ()
    rows = conn.execute(
        "SELECT j.mono, j.temp_mc, j.marks & 63 FROM journal j JOIN sources s ON s.id = j.source"
        " JOIN probes p ON p.id = s.probe_id"
        " WHERE j.id BETWEEN ? AND ? AND s.session_id = ? AND p.name = ?"
        " AND (j.temp_mc IS NOT NULL OR j.marks & 63 IN (?, ?, ?, ?)) AND typeof(j.extra) <> 'real' ORDER BY j.id",
        (held.first_id, held.last_id, span.session_id, probe, *DOUBTED),
    )
    times: list[float] = []
    temps: list[float] = []
    for mono, temp_mc, code in rows:
        at_s = (mono / 1000.0 if type(mono) is int else mono) - began_s
        if not 0.0 <= at_s <= until_s - began_s:
            continue
        if code in DOUBTED:
            return (), ()  # a probe that was not to be trusted in a melt teaches nothing of it, not even before
        if code == UNPROVEN or (times and at_s - times[-1] < every_s):
            continue
        temp_c = temp_mc / 1000.0
        if not to_the_end and times and temps[-1] - temp_c > ENTERED_C_PER_S * (at_s - times[-1]) and temps[-1] > 300.0:
            break
        times.append(at_s)
        temps.append(temp_c)
    return tuple(times), tuple(temps)
