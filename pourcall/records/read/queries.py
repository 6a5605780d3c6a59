"""SQL of the listings. Connection in, views out; every query stays under 100 ms at 10,000 pours."""

import sqlite3
from collections.abc import Mapping
from typing import Any

import msgspec

from pourcall.contract.events import DipFault, DipHow, Marking, MarkKind
from pourcall.contract.plan import MeltPlan, MouldPlan
from pourcall.records.entries.charges import charges_of
from pourcall.records.entries.melt_outcome import left_of
from pourcall.records.read.lookup import no_melt, no_pour, split_pour
from pourcall.records.read.pour_corrections import corrected_pours
from pourcall.records.read.tracing import melt_thinned
from pourcall.records.read.views import (
    AlarmRow,
    DipRow,
    GapRow,
    MeltDetail,
    MeltFilter,
    MeltRow,
    NoteRow,
    PhotoRow,
    PlanRow,
    PourDetail,
    PourFilter,
    PourRow,
    ResultRow,
    SessionRow,
    pour_id,
)
from pourcall.records.write.typed_columns import SOURCE_COLUMNS, WAY_COLUMNS, GapKind, source_of, with_way

_MELT = (
    "SELECT m.melt, f.name, coalesce(p.alloy, m.alloy), m.alloy_name, coalesce(p.charge_kg, m.charge_kg),"
    " m.began_utc_s, e.utc_s, coalesce(e.ending, ''),"
    " (SELECT count(*) FROM planned_moulds o WHERE o.plan_id = p.id),"
    " (SELECT count(*) FROM planned_moulds o WHERE o.plan_id = p.id"
    "   AND EXISTS (SELECT 1 FROM pours_now w WHERE w.melt_id = m.id AND w.mould = o.name)),"
    " (SELECT count(*) FROM pours_now w WHERE w.melt_id = m.id),"
    " (SELECT count(*) FROM dips d WHERE d.melt_id = m.id"
    "   AND NOT EXISTS (SELECT 1 FROM dips c WHERE c.melt_id = m.id AND c.corrects = d.id)),"
    " (SELECT group_concat(t.tag, char(31)) FROM tags t WHERE t.melt_id = m.id AND t.pour_number = 0), m.id, p.plan,"
    " (SELECT sum(mass_kg) FROM leavings_now l WHERE l.melt_id = m.id AND l.kind = 'ingot'),"
    " (SELECT sum(mass_kg) FROM leavings_now l WHERE l.melt_id = m.id AND l.kind = 'heel'), coalesce(e.detail, '')"
    " FROM melts m JOIN furnaces f ON f.id = m.furnace_id"
    " LEFT JOIN melt_plans p ON p.melt_id = m.id AND p.version ="
    "   (SELECT max(version) FROM melt_plans x WHERE x.melt_id = m.id)"
    " LEFT JOIN melt_endings e ON e.melt_id = m.id AND e.id ="
    "   (SELECT max(id) FROM melt_endings x WHERE x.melt_id = m.id)"
)
_POUR = (
    "SELECT m.melt, w.number, f.name, coalesce(p.alloy, m.alloy), w.mould, w.setup, w.at_utc_s, w.pot_temp_c,"
    " w.pot_u_c, w.lip_temp_c, w.lip_u_c, w.lip_min_c, w.lip_max_c, w.marked, w.basis, w.corrects IS NOT NULL,"
    " w.melt_id, (SELECT json_group_array(json_array(r.defect, r.severity)) FROM results r"
    "   WHERE r.melt_id = w.melt_id AND r.pour_number = w.number AND (r.severity > 0 OR r.defect = 'sound')"
    "   AND NOT EXISTS (SELECT 1 FROM results c WHERE c.melt_id = w.melt_id AND c.corrects = r.id)),"
    " w.lift_mono_s, w.at_mono_s, w.session_id, w.batch, w.not_poured, w.who, w.why,"
    f" {', '.join(f'w.{name}' for name in SOURCE_COLUMNS)}"
    " FROM {table} w JOIN melts m ON m.id = w.melt_id JOIN furnaces f ON f.id = m.furnace_id"
    " LEFT JOIN melt_plans p ON p.melt_id = m.id AND p.version ="
    "   (SELECT max(version) FROM melt_plans x WHERE x.melt_id = m.id AND x.at_utc_s <= w.at_utc_s)"
)

_FOUND: "msgspec.json.Decoder[list[tuple[str, int]]]" = msgspec.json.Decoder(list[tuple[str, int]])
_STANDING = (  # results of a pour that stand: not corrected, and not a defect taken back
    "SELECT 1 FROM results r WHERE r.melt_id = w.melt_id AND r.pour_number = w.number"
    " AND (r.severity > 0 OR r.defect = 'sound')"
    " AND NOT EXISTS (SELECT 1 FROM results c WHERE c.melt_id = w.melt_id AND c.corrects = r.id)"
)


_TAGGED = "SELECT 1 FROM tags t WHERE t.melt_id = w.melt_id AND t.pour_number IN (0, w.number)"
_SETUP_BATCH = (  # of the setup as it stood at the pour; described only later: as it was first described
    "coalesce((SELECT v.batch FROM mould_setups v WHERE v.name = coalesce(nullif(w.setup, ''), w.mould)"
    " AND v.at_utc_s <= w.at_utc_s ORDER BY v.at_utc_s DESC, v.id DESC LIMIT 1),"
    " (SELECT v.batch FROM mould_setups v WHERE v.name = coalesce(nullif(w.setup, ''), w.mould)"
    " ORDER BY v.at_utc_s, v.id LIMIT 1))"
)


_MELT_ONLY = {
    "furnace": "f.name = ?",
    "year": "m.melt GLOB printf('%04d-*', ?)",
    "alloy": "? COLLATE NOCASE IN (coalesce(p.alloy, m.alloy), m.alloy_name)",
    "since_utc_s": "m.began_utc_s >= ?",
    "until_utc_s": "m.began_utc_s < ?",
}
_POUR_ONLY = {
    "melt": "m.melt = ?",
    "setup": "coalesce(nullif(w.setup, ''), w.mould) = ? COLLATE NOCASE",
    "batch": f"coalesce(nullif(w.batch, ''), {_SETUP_BATCH}) = ? COLLATE NOCASE",
    "tag": f"EXISTS ({_TAGGED} AND t.tag = ? COLLATE NOCASE)",
    "alloy": "? COLLATE NOCASE IN (coalesce(p.alloy, m.alloy), m.alloy_name)",
    "defect": f"EXISTS ({_STANDING} AND r.defect = ?)",
    "awaiting": f"EXISTS ({_STANDING}) <> ?",
    "furnace": "f.name = ?",
    "since_utc_s": "w.at_utc_s >= ?",
    "until_utc_s": "w.at_utc_s < ?",
}


def melts(conn: sqlite3.Connection, only: MeltFilter, limit: int) -> tuple[MeltRow, ...]:
    """The newest melts first, those of other shops last."""
    where, args = _where(_MELT_ONLY, only)
    rows = conn.execute(f"{_MELT}{where} ORDER BY {_ours_first(conn, 'm.id')}m.id DESC LIMIT ?", (*args, limit))
    return tuple(_melt(row) for row in rows)


def pours(conn: sqlite3.Connection, only: PourFilter, limit: int) -> tuple[PourRow, ...]:
    """The newest pours first."""
    where, args = _where(_POUR_ONLY, only)
    order = f"{_ours_first(conn, 'w.melt_id')}w.melt_id DESC, w.number DESC"
    rows = conn.execute(f"{_POUR.format(table='pours_now')}{where} ORDER BY {order} LIMIT ?", (*args, limit))
    return tuple(_pour(row) for row in rows)


def melt(conn: sqlite3.Connection, name: str) -> MeltDetail:
    """All there is on one melt. Raises NotFound."""
    found = conn.execute(f"{_MELT} WHERE m.melt = ?", (name,)).fetchone()
    if found is None:
        raise no_melt(name)
    melt_id, row = found[13], _melt(found)
    return MeltDetail(
        row=row,
        plans=tuple(
            PlanRow(version=v, at_utc_s=at, why=why, plan=msgspec.json.decode(plan, type=MeltPlan))
            for v, at, why, plan in conn.execute(
                "SELECT version, at_utc_s, why, plan FROM melt_plans WHERE melt_id = ? ORDER BY version", (melt_id,)
            )
        ),
        pours=tuple(
            _pour(row)
            for row in conn.execute(f"{_POUR.format(table='pours_now')} WHERE m.id = ? ORDER BY w.number", (melt_id,))
        ),
        dips=tuple(
            DipRow(
                probe=r[0],
                number=r[1],
                ended_utc_s=r[2],
                temp_c=r[3],
                u_c=r[4],
                how=DipHow(r[5]),
                fit_error_c=r[6],
                depth_mm=r[7],
                stirred=None if r[8] is None else bool(r[8]),
                why=r[9],
                widened=bool(r[10]),
                fault=None if r[11] is None else DipFault(r[11]),
            )
            for r in conn.execute(
                "SELECT probe, number, ended_utc_s, temp_c, u_c, how, fit_error_c, depth_mm, stirred, why, widened,"
                " fault FROM dips d"
                " WHERE melt_id = ?1 AND NOT EXISTS"
                " (SELECT 1 FROM dips c WHERE c.melt_id = ?1 AND c.corrects = d.id) ORDER BY id",
                (melt_id,),
            )
        ),
        alarms=tuple(
            AlarmRow(
                alarm=r[0],
                at_utc_s=r[1],
                priority=r[2],
                state=r[3],
                present=bool(r[4]),
                what=r[5],
                remedy=r[6],
                by=r[7],
            )
            for r in conn.execute(
                "SELECT alarm, at_utc_s, priority, state, present, what, remedy, by FROM alarms WHERE melt_id = ?"
                " ORDER BY id",
                (melt_id,),
            )
        ),
        notes=_notes(conn, melt_id, None),
        gaps=_gaps(conn, row, melt_id),
        results=_results(conn, melt_id, name, None),
        photos=_photos(conn, melt_id, None),
        charges=charges_of(conn, melt_id, row.began_utc_s),
        left=left_of(conn, melt_id, name),
        corrections=corrected_pours(conn, melt_id, name),
        thinned=melt_thinned(conn, name),
    )


def pour(conn: sqlite3.Connection, name: str) -> PourDetail:
    """All there is on one pour, `2026-014-1`. Raises NotFound."""
    melt_name, number = split_pour(name)
    base = _POUR.format(table="pours")
    rows = conn.execute(f"{base} WHERE m.melt = ? AND w.number = ? ORDER BY w.id", (melt_name, number)).fetchall()
    if not rows:
        raise no_pour(name)
    from pourcall.records.read.lip_budget import Times, lip_parts  # only here: it brings the engine's arithmetic along

    last = rows[-1]
    melt_id, row = last[16], _pour(last)
    return PourDetail(
        row=row,
        earlier=tuple(_pour(row) for row in rows[:-1]),
        results=_results(conn, melt_id, melt_name, number),
        notes=_notes(conn, melt_id, number),
        photos=_photos(conn, melt_id, number),
        lift_mono_s=last[18],
        at_mono_s=last[19],
        session_id=last[20],
        parts=lip_parts(row, _planned(conn, melt_id, row), Times(*_times(conn, melt_id, last))),
        tags=tuple(
            tag
            for (tag,) in conn.execute(
                "SELECT tag FROM tags WHERE melt_id = ? AND pour_number = ? ORDER BY tag", (melt_id, number)
            )
        ),
        lift_utc_s=None if last[18] is None else row.at_utc_s + last[18] - last[19],
    )


def _planned(conn: sqlite3.Connection, melt_id: int, row: PourRow) -> MouldPlan | None:
    """The mould as planned when it was poured, else as it was planned at any time."""
    plans = conn.execute(
        f"SELECT p.plan, o.position, {', '.join(f'o.{name}' for name in WAY_COLUMNS)} FROM melt_plans p"
        " JOIN planned_moulds o ON o.plan_id = p.id WHERE p.melt_id = ? AND o.name = ?"
        " ORDER BY p.at_utc_s > ?, p.version DESC, o.position",
        (melt_id, row.mould, row.at_utc_s),
    )
    for text, position, *columns in plans:
        try:
            return with_way(msgspec.json.decode(text, type=MeltPlan).moulds[position], columns)
        except msgspec.DecodeError:
            continue  # written by another version: the rest of the pour is told all the same
    return None


def _times(conn: sqlite3.Connection, melt_id: int, r: tuple[Any, ...]) -> tuple[float, float | None, int]:
    """When it was poured and lifted, and which pour of that lift it was."""
    lift_s, at_s, session_id = r[18], r[19], r[20]
    (before,) = conn.execute(
        "SELECT count(*) FROM pours_now WHERE melt_id = ? AND session_id = ? AND at_mono_s < ? AND at_mono_s >= ?",
        (melt_id, session_id, at_s, at_s if lift_s is None else lift_s),
    ).fetchone()
    return at_s, lift_s, before + 1


def sessions(conn: sqlite3.Connection, furnace: str | None) -> tuple[SessionRow, ...]:
    """Starts of the daemon, oldest first."""
    where, args = _where({"furnace": "f.name = ?"}, {"furnace": furnace})
    return tuple(
        SessionRow(
            id=r[0],
            furnace=r[1],
            began_mono_s=r[2],
            began_utc_s=r[3],
            ended_utc_s=r[4],
            settings_toml=r[5],
            config_json=r[6],
            program=r[7],
        )
        for r in conn.execute(
            "SELECT s.id, f.name, s.began_mono_s, s.began_utc_s, e.utc_s, t.body, c.body, s.program FROM sessions s"
            " JOIN furnaces f ON f.id = s.furnace_id JOIN texts t ON t.hash = s.settings_hash"
            f" JOIN texts c ON c.hash = s.config_hash LEFT JOIN session_ends e ON e.session_id = s.id{where}"
            " ORDER BY s.id",
            args,
        )
    )


def _ours_first(conn: sqlite3.Connection, melt_id: str) -> str:
    """Melts of other shops come after ours, whenever taken in. Empty where there are none: it costs a sort."""
    if conn.execute("SELECT 1 FROM merged_melts LIMIT 1").fetchone() is None:
        return ""
    return f"{melt_id} IN (SELECT melt_id FROM merged_melts), "


def _where(conditions: Mapping[str, str], only: Mapping[str, Any]) -> tuple[str, tuple[Any, ...]]:
    """The conditions that were asked for: what is not given, None or False asks for nothing."""
    asked = {name: value for name, value in only.items() if value is not None and value is not False}
    if not asked:
        return "", ()
    return " WHERE " + " AND ".join(conditions[name] for name in asked), tuple(asked.values())


def _melt(r: tuple[Any, ...]) -> MeltRow:
    alloy_name = r[3]
    if r[14] is not None:
        alloy_name = msgspec.json.decode(r[14], type=MeltPlan).alloy.name
    return MeltRow(
        melt=r[0],
        furnace=r[1],
        alloy=r[2],
        alloy_name=alloy_name,
        charge_kg=r[4],
        began_utc_s=r[5],
        ended_utc_s=r[6],
        ending=r[7],
        moulds=r[8],
        moulds_poured=r[9],
        pours=r[10],
        dips=r[11],
        tags=tuple(r[12].split("\x1f")) if r[12] else (),
        ingots_kg=r[15],
        heel_kg=r[16],
        ending_detail=r[17],
    )


def _in_short(found: list[tuple[str, int]]) -> str:
    """`misrun 2, cold shut 1`; what has no severity is sound."""
    return ", ".join(f"{defect.replace('_', ' ')} {severity}" if severity else defect for defect, severity in found)


def _pour(r: tuple[Any, ...]) -> PourRow:
    return PourRow(
        pour=pour_id(r[0], r[1]),
        melt=r[0],
        number=r[1],
        furnace=r[2],
        alloy=r[3],
        mould=r[4],
        setup=r[5],
        at_utc_s=r[6],
        pot_temp_c=r[7],
        pot_u_c=r[8],
        lip_temp_c=r[9],
        lip_u_c=r[10],
        lip_min_c=r[11],
        lip_max_c=r[12],
        marked=Marking(r[13]),
        basis=r[14],
        corrected=bool(r[15]),
        result=_in_short(_FOUND.decode(r[17])),
        batch=r[21],
        not_poured=bool(r[22]),
        who=r[23],
        why=r[24],
        source=source_of(r[25:]),
    )


def _notes(conn: sqlite3.Connection, melt_id: int, number: int | None) -> tuple[NoteRow, ...]:
    rows = conn.execute(
        "SELECT n.at_utc_s, n.what, n.text, n.value, n.who, n.pour_number,"
        " coalesce(json_extract(e.body, '$.source'), iif(json_type(e.body, '$.text') = 'object', json_extract(e.body,"
        " '$.text.facts.source'), NULL), '')"
        " FROM notes n LEFT JOIN events e ON e.id = n.event_id WHERE n.melt_id = ?1"
        " AND (?2 IS NULL OR n.pour_number = ?2)"
        " AND NOT EXISTS (SELECT 1 FROM notes c WHERE c.melt_id = ?1 AND c.corrects = n.id) ORDER BY n.at_utc_s, n.id",
        (melt_id, number),
    )
    return tuple(
        NoteRow(at_utc_s=r[0], what=MarkKind(r[1]), text=r[2], value=r[3], who=r[4], pour_number=r[5], source=r[6])
        for r in rows
    )


def _results(conn: sqlite3.Connection, melt_id: int, name: str, number: int | None) -> tuple[ResultRow, ...]:
    rows = conn.execute(
        "SELECT pour_number, at_utc_s, who, defect, severity, detail FROM results r WHERE melt_id = ?1"
        " AND (?2 IS NULL OR pour_number = ?2) AND (r.severity > 0 OR r.defect = 'sound')"
        " AND NOT EXISTS (SELECT 1 FROM results c WHERE c.melt_id = ?1 AND c.corrects = r.id)"
        " ORDER BY pour_number, id",
        (melt_id, number),
    )
    return tuple(
        ResultRow(pour=pour_id(name, r[0]), at_utc_s=r[1], who=r[2], defect=r[3], severity=r[4], detail=r[5])
        for r in rows
    )


def _photos(conn: sqlite3.Connection, melt_id: int, number: int | None) -> tuple[PhotoRow, ...]:
    rows = conn.execute(
        "SELECT hash, suffix, at_utc_s, caption, pour_number FROM photos WHERE melt_id = ?1"
        " AND (?2 IS NULL OR pour_number = ?2) ORDER BY id",
        (melt_id, number),
    )
    return tuple(PhotoRow(hash=r[0], suffix=r[1], at_utc_s=r[2], caption=r[3], pour_number=r[4]) for r in rows)


def _gaps(conn: sqlite3.Connection, row: MeltRow, melt_id: int) -> tuple[GapRow, ...]:
    """Gaps that touch the melt; of a gap that was closed only the closing row."""
    rows = conn.execute(
        "SELECT board, began_utc_s, ended_utc_s, reason FROM gaps g WHERE furnace_id ="
        " (SELECT furnace_id FROM melts WHERE id = ?1) AND NOT EXISTS (SELECT 1 FROM gaps c WHERE c.closes = g.id)"
        " AND (ended_utc_s IS NULL OR ended_utc_s > ?2) AND (?3 IS NULL OR began_utc_s < ?3) ORDER BY began_utc_s, id",
        (melt_id, row.began_utc_s, row.ended_utc_s),
    )
    return tuple(
        GapRow(
            board=r[0],
            began_utc_s=r[1],
            ended_utc_s=r[2],
            reason=r[3],
            kind=GapKind.LINK_DOWN if r[0] else GapKind(r[3]),
        )
        for r in rows
    )
