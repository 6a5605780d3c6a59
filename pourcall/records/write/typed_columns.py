"""Typed facts as columns, and back: what a pour's figure rests on; the way to a mould, and where its window is from."""

from collections.abc import Sequence
from enum import StrEnum
from typing import Any

import msgspec

from pourcall.contract.events import FigureSource, PourSource
from pourcall.contract.plan import LossBasis, MouldPlan, Way, WindowBasis


class GapKind(StrEnum):
    """Why a stretch of the record has no readings; written as it stands here."""

    NOT_RUNNING = "not running"  # the daemon was stopped in order
    CUT_OFF = "cut off"  # it ended without a word
    STOOD_STILL = "the daemon stood still"
    LINK_DOWN = "link down"  # of one board; the port's own words stand in its place where it gave any


Column = int | float | str | None
SOURCE_COLUMNS = ("figure", "at_lift", "age_s", "stale_s", "lag_c", "dip", "instrument")
POUR_COLUMNS = (  # of a pour, that another moment, lift or mould changes
    "mould",
    "setup",
    "at_mono_s",
    "at_utc_s",
    "lift_mono_s",
    "pot_temp_c",
    "pot_u_c",
    "lip_temp_c",
    "lip_u_c",
    "lip_min_c",
    "lip_max_c",
    "basis",
    *SOURCE_COLUMNS,
)
WAY_COLUMNS = ("window_basis", "loss_basis", "open_s", "walk_c", "ladle_c", "stream_c")


def source_columns(source: PourSource | None) -> dict[str, Column]:
    """All NULL where it is not known."""
    if source is None:
        return dict.fromkeys(SOURCE_COLUMNS)
    told = {**msgspec.structs.asdict(source), "figure": source.figure.value, "at_lift": int(source.at_lift)}
    return {name: told[name] for name in SOURCE_COLUMNS}


def source_of(columns: Sequence[Any]) -> PourSource | None:
    """Inverse, of the columns in their order."""
    figure, at_lift, age_s, stale_s, lag_c, dip, instrument = columns
    if figure is None:
        return None
    return PourSource(
        figure=FigureSource(figure),
        at_lift=bool(at_lift),
        age_s=age_s or 0.0,
        stale_s=stale_s or 0.0,
        lag_c=lag_c or 0.0,
        dip=dip,
        instrument=instrument or "",
    )


def way_columns(window: WindowBasis | None, way: Way | None) -> dict[str, Column]:
    """Of a planned mould; NULL where it is not known."""
    told: dict[str, Column] = {"window_basis": None if window is None else window.value}
    if way is not None:
        told |= {**msgspec.structs.asdict(way), "loss_basis": way.basis.value}
    return {name: told.get(name) for name in WAY_COLUMNS}


def with_way(mould: MouldPlan, columns: Sequence[Any]) -> MouldPlan:
    """The mould with what its columns say, which know more of an old plan than the plan itself does."""
    window, loss, open_s, walk_c, ladle_c, stream_c = columns
    way = None
    if loss is not None:
        way = Way(
            basis=LossBasis(loss), open_s=open_s or 0.0, walk_c=walk_c or 0.0, ladle_c=ladle_c, stream_c=stream_c or 0.0
        )
    return msgspec.structs.replace(mould, way=way, window_basis=None if window is None else WindowBasis(window))
