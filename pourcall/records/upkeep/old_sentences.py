"""What records before schema 4 told in sentences alone, put into columns of its own: once, when they are brought up.

The one place that reads sentences of ours, those of versions that were released; none of them is changed. What a
sentence does not tell in the words of its day stays NULL.
"""

import re
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

import msgspec

from pourcall.contract.events import DipFault, DipHow, FigureSource, PourSource
from pourcall.contract.plan import LossBasis, MeltPlan, Way, WindowBasis
from pourcall.records.write.typed_columns import SOURCE_COLUMNS, WAY_COLUMNS, source_columns, way_columns

_POT = re.compile(r"in the pot at the (lift|pour) \((.*?)\)(?:, less |; )")
_STALE = re.compile(r"that figure was (\d+) s old")
_DIP = re.compile(r"dip (\d+)(?:, (\d+) s ago)?")
_TYPED = re.compile(r"(.*), typed (\d+) s ago")
_LAG = re.compile(r", <(-?[\d.]+) degC apart> of lag allowed for")
_LIVE = {
    "probe in the metal": FigureSource.PROBE,
    "last good figure": FigureSource.LAST_GOOD,
    "dip going on": FigureSource.DIP_ON,
}
_WAY = re.compile(
    r"(\d+) s in the open <([\d.]+) degC apart>(?:, ladle <([\d.]+) degC apart>)?, stream <([\d.]+) degC apart> "
    r"\(([^)]*)\)"
)
_WINDOWS = (("window ", WindowBasis.LEARNED), ("sheet of ", WindowBasis.SHEET))
_FAULTS = (  # beginnings, the longer one first
    ("too short:", DipFault.TOO_SHORT),
    ("too shallow:", DipFault.TOO_SHALLOW),
    ("it warmed far more slowly", DipFault.HOT_GAS),
    ("the figure wandered", DipFault.WANDERED),
    ("still settling", DipFault.UNSETTLED),
)
_BELOW = (  # of dips at or below the liquidus
    ("and even below the solidus", DipFault.SOLID),
    ("metal froze on the cold sheath, since", DipFault.SHELL),
    (": the pot is not fully liquid", DipFault.MUSHY),
    ("metal froze on the cold sheath, or", DipFault.SHELL_OR_MUSHY),
)
_PANEL = re.compile(r"panel <(-?[0-9.]+) degC>")
_SET_SOURCE = ", ".join(f"{name} = ?" for name in SOURCE_COLUMNS)
_SET_WAY = ", ".join(f"{name} = ?" for name in WAY_COLUMNS)
_THINNED = re.compile(r"thinned on \d{4}-\d\d-\d\d to one reading in (\d+(?:\.\d+)?) s")
_SPREAD = ", U by the spread of three dips"


def fill_typed_columns(conn: sqlite3.Connection) -> None:
    """Within the transaction of the step to schema 4, its columns there and empty."""
    with _written_once_more(conn, "pours"):
        for key, basis in conn.execute("SELECT id, basis FROM pours").fetchall():
            told = source_columns(_source(basis))
            conn.execute(f"UPDATE pours SET {_SET_SOURCE} WHERE id = ?", (*told.values(), key))
    with _written_once_more(conn, "dips"):
        conn.execute("UPDATE dips SET widened = 1 WHERE substr(how, -?) = ?", (len(_SPREAD), _SPREAD))
        conn.execute("UPDATE dips SET how = substr(how, 1, length(how) - ?) WHERE widened = 1", (len(_SPREAD),))
        faults = conn.execute("SELECT id, why FROM dips WHERE how = ?", (DipHow.NOT_USABLE.value,)).fetchall()
        conn.executemany("UPDATE dips SET fault = ? WHERE id = ?", [(_fault(why), key) for key, why in faults])
    with _written_once_more(conn, "planned_moulds"):
        _fill_ways(conn)
    pairs = conn.execute(
        "SELECT event_id, furnace_id, melt_id, at_utc_s, text, value FROM notes WHERE what = 'panel_pair'"
        " AND value IS NOT NULL AND furnace_id IS NOT NULL ORDER BY id"
    ).fetchall()
    for *told, text, offset_c in pairs:
        found = _PANEL.search(text)
        if found is not None:
            panel_c = float(found[1])
            conn.execute(
                "INSERT INTO panel_pairs (event_id, furnace_id, melt_id, at_utc_s, metal_c, panel_c)"
                " VALUES (?,?,?,?,?,?)",
                (*told, panel_c + offset_c, panel_c),
            )


def thinned_to_s_of_old(text: str) -> float:
    """Seconds between the readings that a thinned export of old still has, as its marks tell; 0: none was given up."""
    return max((float(found[1]) for found in _THINNED.finditer(text)), default=0.0)


def event_of_today(body: str) -> str:
    """The JSON of an event of old in the words of today: that a dip's U was widened stood in how it was found."""
    if _SPREAD not in body:
        return body
    event = msgspec.json.decode(body)
    dip = event.get("dip", {})
    if str(dip.get("how", "")).endswith(_SPREAD):
        dip["how"], dip["widened"] = dip["how"].removesuffix(_SPREAD), True
    return msgspec.json.encode(event).decode()


def _source(basis: str) -> PourSource | None:
    """What a pour's temperature rests on, by the sentence of its day."""
    if basis == "no temperature of the metal was known":
        return PourSource(figure=FigureSource.NONE)
    found = _POT.search(basis)
    if found is None:
        return None
    how, lag, stale = _LAG.sub("", found[2]), _LAG.search(found[2]), _STALE.search(basis)
    dip, typed = _DIP.fullmatch(how), _TYPED.fullmatch(how)
    if how in _LIVE:
        source = PourSource(figure=_LIVE[how])
    elif dip is not None:
        source = PourSource(figure=FigureSource.DIP, dip=int(dip[1]), age_s=float(dip[2] or 0.0))
    elif typed is not None:
        source = PourSource(figure=FigureSource.TYPED, instrument=typed[1], age_s=float(typed[2]))
    else:
        return None
    return msgspec.structs.replace(
        source,
        at_lift=found[1] == "lift",
        stale_s=float(stale[1]) if stale else 0.0,
        lag_c=float(lag[1]) if lag else 0.0,
    )


def _fault(why: str) -> str | None:
    """Why a dip was of no use."""
    kinds = _BELOW if why.startswith("at or below the liquidus") else _FAULTS
    return next((fault.value for words, fault in kinds if words in why), None)


def _way(why: str, loss_c: float) -> tuple[WindowBasis | None, Way | None]:
    """Where a mould's window and its loss come from."""
    window = next((basis for words, basis in _WINDOWS if why.startswith(words)), None)
    found = _WAY.search(why)
    if found is None:
        return window, Way(basis=LossBasis.STATED) if "as stated" in why else None
    walk_c, stream_c = float(found[2]), float(found[4])
    ladle_c = float(found[3]) if found[3] else None
    if abs(loss_c - walk_c - stream_c - (ladle_c or 0.0)) > 0.12:  # each figure in the sentence is rounded
        return window, None
    basis = LossBasis.MEASURED if "measured" in found[5] else LossBasis.COMPUTED
    return window, Way(basis=basis, open_s=float(found[1]), walk_c=walk_c, ladle_c=ladle_c, stream_c=stream_c)


def _fill_ways(conn: sqlite3.Connection) -> None:
    for plan_id, text in conn.execute("SELECT id, plan FROM melt_plans").fetchall():
        try:
            moulds = msgspec.json.decode(text, type=MeltPlan).moulds
        except msgspec.DecodeError:
            continue  # written by another version: its columns stay empty
        for position, mould in enumerate(moulds):
            told = way_columns(*_way(mould.why if isinstance(mould.why, str) else "", mould.loss_c))
            sql = f"UPDATE planned_moulds SET {_SET_WAY} WHERE plan_id = ? AND position = ?"
            conn.execute(sql, (*told.values(), plan_id, position))


@contextmanager
def _written_once_more(conn: sqlite3.Connection, table: str) -> Iterator[None]:
    """Lets a table be written whose rows stay as they are at all other times."""
    trigger = f"{table}_stay_as_written"
    found = conn.execute("SELECT sql FROM sqlite_master WHERE type = 'trigger' AND name = ?", (trigger,)).fetchall()
    conn.execute(f"DROP TRIGGER IF EXISTS {trigger}")
    yield
    for (sql,) in found:
        conn.execute(sql)
