"""What the records say, as the API asks for it. Blocking: called in the service's reading threads."""

import sqlite3
import threading
from typing import Any, assert_never

import msgspec

from pourcall.contract.api import ResultRequest, Trace
from pourcall.contract.entries import (
    SOUND,
    ChargeRequest,
    EndingRequest,
    Entry,
    MeltNote,
    MouldSetupRequest,
    PourCompletion,
    PourCorrection,
)
from pourcall.contract.errors import BadInput, StoreError
from pourcall.contract.furnace_model import FurnaceModel
from pourcall.contract.inputs import PourFigures, StartMelt
from pourcall.contract.message import Message, tell
from pourcall.contract.plan import MouldRequest
from pourcall.records.entries.furnace_models import latest_model
from pourcall.records.entries.profile_runs import running_profile
from pourcall.records.read.so_far import melt_so_far
from pourcall.records.read.store import Store
from pourcall.records.read.views import MeltDetail, MeltRow, PourDetail, PourRow, SetupView

RESUME_WITHIN_S = 24 * 3600.0  # a melt that began earlier was forgotten, not interrupted


def running_melt(store: Store, furnace: str, utc_s: float) -> StartMelt | None:
    """How a furnace's melt goes on that has no end on record and began within a day; None: there is none.

    Its latest plan, what was marked and found in it so far, and the profile that guided it if that was neither stopped
    nor over.
    """
    rows = store.melts(limit=1, furnace=furnace)
    if not rows or rows[0].ended_utc_s is not None or abs(utc_s - rows[0].began_utc_s) > RESUME_WITHIN_S:
        return None
    plan = store.melt(rows[0].melt).plans[-1].plan
    with store.reading() as conn:
        profile = running_profile(conn, plan.melt)
        poured = poured_so_far(conn, plan.melt)
        so_far = melt_so_far(conn, plan.melt, utc_s)
    if profile is not None and profile.alloy != plan.alloy.key:
        profile = None
    return StartMelt(plan=plan, profile=profile, poured=poured, so_far=so_far)


def poured_now(store: Store, melt: str) -> tuple[tuple[int, str], ...]:
    """`poured_so_far` of a melt on record."""
    with store.reading() as conn:
        return poured_so_far(conn, melt)


def pour_figures(store: Store, pour: str, mould: str) -> PourFigures | None:
    """A pour as the record has it; None: it was none (no mould)."""
    if not mould:
        return None
    found = store.pour(pour)
    row = found.row
    return PourFigures(
        at_mono_s=found.at_mono_s,
        at_utc_s=row.at_utc_s,
        lift_mono_s=found.lift_mono_s,
        pot_temp_c=row.pot_temp_c,
        pot_u_c=row.pot_u_c,
        lip_temp_c=row.lip_temp_c,
        lip_u_c=row.lip_u_c,
        lip_min_c=row.lip_min_c,
        lip_max_c=row.lip_max_c,
        setup=row.setup,
        basis=row.basis,
    )


def poured_so_far(conn: sqlite3.Connection, melt: str) -> tuple[tuple[int, str], ...]:
    """Number and mould of each pour of a melt as it stands; no mould: it turned out to be none."""
    rows = conn.execute(
        "SELECT p.number, iif(p.not_poured, '', p.mould) FROM pours p JOIN melts m ON m.id = p.melt_id WHERE m.melt = ?"
        " AND NOT EXISTS (SELECT 1 FROM pours c WHERE c.corrects = p.id) ORDER BY p.number",
        (melt,),
    )
    return tuple((int(number), str(mould)) for number, mould in rows)


def learned_model(store: Store, furnace: str) -> FurnaceModel | None:
    """What this furnace's own melts taught; None: nothing yet."""
    with store.reading() as conn:
        return latest_model(conn, furnace)


def melts(store: Store, furnace: str, limit: int) -> tuple[MeltRow, ...]:
    """Melts, newest first."""
    return store.melts(limit=limit, furnace=furnace or None)


def melt(store: Store, name: str) -> MeltDetail:
    """One melt. Raises NotFound."""
    return store.melt(name)


def melt_trace(store: Store, name: str, points: int) -> Trace:
    """A whole melt's trace. Raises NotFound."""
    return store.melt_trace(name, points)


def pours(store: Store, melt_name: str, limit: int) -> tuple[PourRow, ...]:
    """Pours, newest first."""
    return store.pours(limit=limit, melt=melt_name or None)


def pour(store: Store, name: str) -> PourDetail:
    """One pour. Raises NotFound."""
    return store.pour(name)


def melt_csv(store: Store, name: str) -> str:
    """A melt's whole trace as CSV. Raises NotFound."""
    from pourcall.reports.tables import export

    return export.melt_csv(store, name)


def add_result(conn: sqlite3.Connection, pour_name: str, found: ResultRequest, utc_s: float) -> Message:
    """Findings on a pour, in the writer's transaction: all of them or, raising NotFound or BadInput, none."""
    from pourcall.records.entries import entries
    from pourcall.trials.defects import Finding, check_findings

    told = [
        Finding(defect=one.defect, severity=one.severity, detail=one.detail or found.detail) for one in found.findings
    ]
    if found.defect:
        told.append(Finding(defect=found.defect, severity=found.severity, detail=found.detail))
    if not told:
        raise BadInput(tell("cli.pour.nothing_found"), where=pour_name, remedy=tell("cli.pour.nothing_found.remedy"))
    check_findings(told)
    for one in sorted(told, key=lambda finding: finding.severity > 0):  # what is taken back comes first
        entries.add_result(
            conn,
            pour_name,
            one.defect,
            one.severity,
            who=found.who,
            utc_s=utc_s,
            detail=one.detail,
            correcting=found.correcting,
        )
    said = [
        tell("record.defect", defect=one.defect.replace("_", " "), severity=one.severity)
        if one.severity
        else tell("record.sound")
        if one.defect == SOUND
        else tell("record.defect_taken_back", defect=one.defect.replace("_", " "))
        for one in told
    ]
    return tell("record.result", pour=pour_name, said=tuple(said))


def prepare(store: Store | None, entry: Entry, utc_s: float, *, apart: threading.Event | None = None) -> Any:
    """What an entry needs read beforehand, off the writer's thread: for `enter`. Raises NotFound, BadInput.

    apart: what takes long is worked out in a process of its own, until that is set.
    """
    if not isinstance(entry, PourCorrection):
        return None
    if store is None:
        raise StoreError(tell("daemon.no_record"), remedy=tell("daemon.no_record.remedy"))
    from pourcall.replay import correction_worker, pour_changes

    if apart is not None:
        return correction_worker.prepare_apart(store.path, entry, utc_s, apart)
    return pour_changes.prepare(store, entry, utc_s)


def enter(conn: sqlite3.Connection, entry: Entry, utc_s: float, prepared: Any = None) -> Message:
    """A later entry, in the writer's transaction; what was done. Raises NotFound, BadInput: nothing was."""
    from pourcall.records.entries import charges, melt_outcome, setups
    from pourcall.replay import pour_changes

    match entry:
        case ChargeRequest():
            return charges.charge(conn, entry, utc_s)
        case EndingRequest():
            return melt_outcome.ending(conn, entry, utc_s)
        case MouldSetupRequest():
            return setups.describe_mould(conn, entry, utc_s)
        case PourCorrection():
            return pour_changes.correct_pour(conn, entry, prepared, utc_s)
        case PourCompletion():
            return pour_changes.complete_pour(conn, entry, utc_s)
        case MeltNote():
            return pour_changes.note_melt(conn, entry.melt, entry.note, entry.tags, entry.who, utc_s)
        case _:
            assert_never(entry)


def described(store: Store, moulds: tuple[MouldRequest, ...]) -> tuple[MouldRequest, ...]:
    """Moulds with what their setups say: section, material and mass, where the person gave none.

    A mould named after a setup (`deck cleat`, `deck cleat 2`) is poured with it; several of one name are numbered.
    """
    from pourcall.records.entries.setups import find_setup, setup_of_mould

    with store.reading() as conn:
        known = [find_setup(conn, one.setup) if one.setup else setup_of_mould(conn, one.name) for one in moulds]
    names = [one.name for one in moulds]
    full: list[MouldRequest] = []
    for at, (one, setup) in enumerate(zip(moulds, known, strict=True)):
        if setup is None:
            full.append(one)
            continue
        several = names.count(one.name) > 1
        full.append(
            msgspec.structs.replace(
                one,
                name=f"{one.name} {names[: at + 1].count(one.name)}" if several else one.name,
                setup=setup.name,
                thinnest_mm=one.thinnest_mm if one.thinnest_mm is not None else setup.thinnest_mm,
                material=one.material or setup.material,
                mass_kg=one.mass_kg or setup.mass_kg or 0.0,
            )
        )
    return tuple(full)


def setup_list(store: Store) -> tuple[SetupView, ...]:
    """Mould setups, the newest version of each."""
    from pourcall.records.entries import setups

    with store.reading() as conn:
        return setups.setup_list(conn)
