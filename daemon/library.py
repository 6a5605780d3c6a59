"""Room: what the records say, as the API asks for it. Blocking: called in the service's reading threads."""

import sqlite3

from pourcall.contract.api import ResultRequest, Trace
from pourcall.contract.furnace_model import FurnaceModel
from pourcall.contract.inputs import StartMelt
from pourcall.daemon.records.furnace_models import latest_model
from pourcall.daemon.records.profile_runs import running_profile
from pourcall.daemon.records.store import Store
from pourcall.daemon.records.views import MeltDetail, MeltRow, PourDetail, PourRow

RESUME_WITHIN_S = 24 * 3600.0  # a melt that began earlier was forgotten, not interrupted


def running_melt(store: Store, furnace: str, utc_s: float) -> StartMelt | None:
    """How a furnace's melt goes on that has no end on record and began within a day; None: there is none.

    Its latest plan, and the profile that guided it if that was neither stopped nor over.
    """
    rows = store.melts(limit=1, furnace=furnace)
    if not rows or rows[0].ended_utc_s is not None or abs(utc_s - rows[0].began_utc_s) > RESUME_WITHIN_S:
        return None
    plan = store.melt(rows[0].melt).plans[-1].plan
    with store.reading() as conn:
        profile = running_profile(conn, plan.melt)
    return StartMelt(plan=plan, profile=profile if profile is not None and profile.alloy == plan.alloy.key else None)


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
    from pourcall.daemon.records import export  # only here: nobody else needs it, and it is no part of the start

    return export.melt_csv(store, name)


def add_result(conn: sqlite3.Connection, pour_name: str, found: ResultRequest, utc_s: float) -> int:
    """One finding on a pour, in the writer's transaction. Raises NotFound, BadInput."""
    from pourcall.daemon.records import entries

    return entries.add_result(
        conn, pour_name, found.defect, found.severity, who=found.who, utc_s=utc_s, detail=found.detail,
        correcting=found.correcting,
    )  # fmt: skip
