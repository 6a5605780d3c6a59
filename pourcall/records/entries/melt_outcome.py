"""What became of the metal at the end of a melt. Ingots with their numbers, a heel, why it was abandoned.

Told with the end of the melt (`ended`, from projections.py) or later (`ending`); a correction is a new row. An ingot is
`2026-014-i1`: short enough to write on it, and a source for a later charge (charges.py).
"""

import sqlite3
from collections.abc import Sequence

import msgspec

from pourcall.contract.entries import EndingRequest
from pourcall.contract.errors import BadInput
from pourcall.contract.inputs import EndMelt
from pourcall.contract.masses import more_than_went_in
from pourcall.contract.message import NOTHING, Message, tell
from pourcall.contract.plan import MeltPlan
from pourcall.records.entries.charges import charges_of
from pourcall.records.entries.checks import check_mass_kg, clean_text
from pourcall.records.read.lookup import find_melt
from pourcall.records.read.views import LeftView
from pourcall.records.write.rows import insert

INGOT, HEEL = "ingot", "heel"
MOST_INGOTS = 50


def left_of(conn: sqlite3.Connection, melt_id: int, melt: str) -> tuple[LeftView, ...]:
    """Ingots by number, then the heel, as they stand after corrections."""
    rows = conn.execute(
        "SELECT kind, number, mass_kg, at_utc_s, who, why, corrects IS NOT NULL FROM leavings_now WHERE melt_id = ?"
        " ORDER BY kind = 'heel', number, id",
        (melt_id,),
    )
    return tuple(
        LeftView(
            name=ingot_name(melt, r[1]) if r[0] == INGOT else "",
            kind=r[0],
            number=r[1],
            mass_kg=r[2],
            at_utc_s=r[3],
            who=r[4],
            why=r[5],
            corrected=bool(r[6]),
        )
        for r in rows
    )


def ingot_name(melt: str, number: int) -> str:
    """`2026-014-i1`."""
    return f"{melt}-i{number}"


def ended(conn: sqlite3.Connection, melt_id: int, command: EndMelt, utc_s: float) -> None:
    """Ingots and heel told with the end of a melt; figures that cannot be meant were refused at the door."""
    for number, mass_kg in enumerate(command.ingots_kg, start=1):
        _put(conn, melt_id, INGOT, number, mass_kg, command.who, "", utc_s)
    if command.heel_kg > 0.0:
        _put(conn, melt_id, HEEL, 0, command.heel_kg, command.who, "", utc_s)


def ending(conn: sqlite3.Connection, asked: EndingRequest, utc_s: float) -> Message:
    """Tell or correct how a melt ended that is over; what was done. Raises NotFound, BadInput."""
    melt_id, _, _ = find_melt(conn, asked.melt)
    last = conn.execute(
        "SELECT id, journal_id, mono_s, utc_s, ending, detail FROM melt_endings WHERE melt_id = ? ORDER BY id DESC"
        " LIMIT 1",
        (melt_id,),
    ).fetchone()
    if last is None:
        raise BadInput(tell("ending.not_ended", melt=asked.melt), remedy=tell("ending.not_ended.remedy"))
    who, why = clean_text(asked.who, "who"), clean_text(asked.why, "why")
    detail = clean_text(asked.detail, "end_detail")
    said: list[Message] = []
    if asked.ending is not None or detail:
        word = last[4] if asked.ending is None else asked.ending.value
        insert(
            conn,
            "melt_endings",
            melt_id=melt_id,
            journal_id=last[1],
            mono_s=last[2],
            utc_s=last[3],
            ending=word,
            corrects=last[0],
            who=who,
            detail=detail or (last[5] if word == last[4] else ""),
        )
        how = tell("ending.how", ending=word)
        said.append(tell("ending.why", how=how, detail=detail) if detail else how)
    if asked.ingots_kg is not None:
        if len(asked.ingots_kg) > MOST_INGOTS:
            raise BadInput(
                tell("ending.ingots_outside", count=len(asked.ingots_kg)),
                remedy=tell("entry.at_most", most=MOST_INGOTS),
            )
        masses = [check_mass_kg(mass_kg, "--ingots") for mass_kg in asked.ingots_kg]
        _replace(conn, melt_id, INGOT, masses, who, why, utc_s)
        ingots = enumerate(masses, start=1)
        said += [tell("ending.ingot", ingot=ingot_name(asked.melt, number), mass_kg=kg) for number, kg in ingots]
        said += [] if masses else [tell("ending.no_ingots")]
    if asked.heel_kg is not None:
        masses = [check_mass_kg(asked.heel_kg, "--heel")] if asked.heel_kg else []
        _replace(conn, melt_id, HEEL, masses, who, why, utc_s)
        said.append(tell("ending.heel", mass_kg=asked.heel_kg) if asked.heel_kg else tell("ending.no_heel"))
    _refuse_too_much(conn, melt_id, asked.melt)
    if not said:
        raise BadInput(tell("ending.nothing"), where=asked.melt, remedy=tell("ending.nothing.remedy"))
    return tell("ending.done", melt=asked.melt, said=tuple(said))


def _refuse_too_much(conn: sqlite3.Connection, melt_id: int, melt: str) -> None:
    """Moulds, ingots and heel, as they stand now, are no more than went in. Raises BadInput: then nothing is kept."""
    in_kg, unweighed = _went_in_kg(conn, melt_id, melt)
    left_kg = sum(one.mass_kg for one in left_of(conn, melt_id, melt))
    if in_kg is None or left_kg <= 0.0:
        return
    (poured_kg,) = conn.execute(
        "SELECT coalesce(sum(m.mass_kg), 0.0) FROM planned_moulds m"
        " WHERE m.plan_id = (SELECT max(id) FROM melt_plans WHERE melt_id = ?1)"
        " AND EXISTS (SELECT 1 FROM pours_now w WHERE w.melt_id = ?1 AND w.mould = m.name)",
        (melt_id,),
    ).fetchone()
    if more_than_went_in(in_kg, left_kg + poured_kg, unweighed=unweighed):
        out_kg = left_kg + poured_kg
        raise BadInput(
            tell("ending.more_than_weighed" if unweighed else "ending.more_than_in", out_kg=out_kg, in_kg=in_kg),
            where=melt,
            remedy=tell("ending.more_than_in.remedy", melt=melt),
        )


def _went_in_kg(conn: sqlite3.Connection, melt_id: int, melt: str) -> tuple[float | None, bool]:
    """The charge as planned or as told since, and what was added; None: nothing of it was weighed.

    True: some of it was not weighed, and the figure is the least that went in.
    """
    row = conn.execute("SELECT plan FROM melt_plans WHERE melt_id = ? ORDER BY id DESC LIMIT 1", (melt_id,)).fetchone()
    if row is None:
        return None, False
    plan = msgspec.json.decode(row[0], type=MeltPlan)
    entries = charges_of(conn, melt_id, find_melt(conn, melt)[2])
    unweighed = any(one.mass_kg is None for one in entries)
    told_kg = sum(one.mass_kg or 0.0 for one in entries if not one.added)
    added_kg = sum(one.mass_kg or 0.0 for one in entries if one.added)
    planned_kg = 0.0 if plan.asked is not None and plan.asked.charge_kg <= 0.0 else plan.charge_kg
    in_kg = max(planned_kg + max(0.0, added_kg - plan.later_kg), told_kg + added_kg)
    return (None if planned_kg <= 0.0 and told_kg <= 0.0 else in_kg), unweighed


def left_told(left: Sequence[LeftView]) -> Message:
    """`ingot 2026-014-i1 0.4 kg, heel 0.3 kg`; nothing where nothing was left."""
    parts = (
        tell("ending.ingot", ingot=one.name, mass_kg=one.mass_kg)
        if one.kind == INGOT
        else tell("ending.heel", mass_kg=one.mass_kg)
        for one in left
    )
    return tell("ending.left", parts=tuple(parts)) if left else NOTHING


def _replace(
    conn: sqlite3.Connection, melt_id: int, kind: str, masses: Sequence[float], who: str, why: str, utc_s: float
) -> None:
    """What holds of one kind from now on: each telling corrects the one of its number, what is over is taken back."""
    standing = {
        number: (row_id, mass_kg)
        for row_id, number, mass_kg in conn.execute(
            "SELECT id, number, mass_kg FROM leavings_now WHERE melt_id = ? AND kind = ?", (melt_id, kind)
        )
    }
    first = 1 if kind == INGOT else 0
    for number, mass_kg in enumerate(masses, start=first):
        old = standing.pop(number, None)
        if old is None or old[1] != mass_kg:
            _put(conn, melt_id, kind, number, mass_kg, who, why, utc_s, corrects=None if old is None else old[0])
    for number, (row_id, mass_kg) in standing.items():
        _put(conn, melt_id, kind, number, mass_kg, who, why, utc_s, corrects=row_id, taken_back=1)


def _put(
    conn: sqlite3.Connection,
    melt_id: int,
    kind: str,
    number: int,
    mass_kg: float,
    who: str,
    why: str,
    utc_s: float,
    *,
    corrects: int | None = None,
    taken_back: int = 0,
) -> None:
    insert(
        conn,
        "leavings",
        melt_id=melt_id,
        at_utc_s=utc_s,
        kind=kind,
        number=number,
        mass_kg=mass_kg,
        who=who,
        why=why,
        taken_back=taken_back,
        corrects=corrects,
    )
