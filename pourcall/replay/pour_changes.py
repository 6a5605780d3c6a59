"""What was wrong about a pour, and what hot hands could not tell. New rows naming the old, with who and why.

Two steps, so that the long one (working a temperature out again, pour_again.py) holds up no writer: `prepare` reads,
`correct_pour` writes, and refuses where the pour was corrected in between.
"""

import sqlite3
from collections.abc import Sequence
from typing import Any

import msgspec

from pourcall.contract.entries import PourCompletion, PourCorrection
from pourcall.contract.errors import BadInput, NotFound
from pourcall.contract.events import Pour
from pourcall.contract.message import Message, tell
from pourcall.records.entries import entries
from pourcall.records.entries.checks import clean_text
from pourcall.records.read.lookup import find_pour, standing_row
from pourcall.records.read.pour_corrections import Standing, correction_told, standing
from pourcall.records.read.store import Store
from pourcall.records.read.views import PourDetail
from pourcall.records.write.typed_columns import POUR_COLUMNS, SOURCE_COLUMNS, Column, source_columns
from pourcall.replay.pour_again import into_another_mould, pour_at
from pourcall.texts import written

_DERIVED = frozenset(("basis", *SOURCE_COLUMNS))  # follow from the others


class Change(msgspec.Struct, frozen=True):
    """What is to be written, for the row it was made from; `told`: what changed."""

    row_id: int
    values: dict[str, Column]
    told: Message


def prepare(store: Store, asked: PourCorrection, utc_s: float) -> Change:
    """What a correction means for the pour as it stands. Raises NotFound, BadInput for what contradicts itself."""
    found = store.pour(asked.pour)
    with store.reading() as conn:
        rows = conn.execute(
            f"SELECT id, {', '.join(POUR_COLUMNS)}, not_poured FROM pours WHERE melt_id = ? AND number = ? ORDER BY id",
            find_pour(conn, asked.pour),
        ).fetchall()
    row_id, *_, none_now = rows[-1]
    ways = [
        bool(asked.restore),
        asked.not_poured,
        asked.at_utc_s is not None or asked.lift_utc_s is not None or asked.no_lift or bool(asked.mould),
    ]
    if sum(ways) != 1:
        raise BadInput(
            tell("correction.several") if any(ways) else tell("correction.nothing"),
            where=asked.pour,
            remedy=tell("correction.nothing.remedy"),
        )
    if asked.restore:
        first: dict[str, Column] = dict(zip((*POUR_COLUMNS, "not_poured"), rows[0][1:], strict=True))
        now = dict(zip(first, rows[-1][1:], strict=True))
        if len(rows) == 1:
            raise BadInput(tell("correction.never"), where=asked.pour, remedy=tell("correction.never.remedy"))
        changed = {key: value for key, value in first.items() if value != now[key]}
        return Change(row_id, changed, tell("correction.restored"))
    if none_now:
        raise BadInput(
            tell("record.was_no_pour", why=tell("record.corrected")),
            where=asked.pour,
            remedy=tell("record.was_no_pour.remedy", pour=asked.pour),
        )
    if asked.not_poured:
        if not asked.why.strip():
            raise BadInput(tell("correction.no_reason"), where=asked.pour, remedy=tell("correction.no_reason.remedy"))
        return Change(row_id, {"not_poured": 1}, tell("correction.struck_out"))
    pour, told_of_it = _moved(store, asked, found, utc_s, first_standing(rows[0][1:]))
    values: dict[str, Column] = {
        "mould": pour.mould,
        "setup": pour.setup if asked.mould else found.row.setup,
        "at_mono_s": pour.at_mono_s,
        "at_utc_s": pour.at_utc_s,
        "lift_mono_s": pour.lift_mono_s,
        "pot_temp_c": pour.pot_temp_c,
        "pot_u_c": pour.pot_u_c,
        "lip_temp_c": pour.lip_temp_c,
        "lip_u_c": pour.lip_u_c,
        "lip_min_c": pour.lip_min_c,
        "lip_max_c": pour.lip_max_c,
        "basis": written(pour.basis),
        **source_columns(pour.source),
    }
    old = dict(zip(POUR_COLUMNS, rows[-1][1:-1], strict=True))
    values = {key: value for key, value in values.items() if value != old[key]}
    if not set(values) - _DERIVED:
        raise BadInput(tell("correction.same"), where=asked.pour, remedy=tell("entry.nothing_written"))
    return Change(row_id, values, told_of_it)


def correct_pour(conn: sqlite3.Connection, asked: PourCorrection, change: Change, utc_s: float) -> Message:
    """Write a prepared correction; what was done. Raises BadInput where the pour changed in between."""
    if standing_row(conn, asked.pour) != change.row_id:
        raise BadInput(tell("correction.overtaken"), where=asked.pour, remedy=tell("correction.overtaken.remedy"))
    who = clean_text(asked.who, "who")
    why = clean_text(asked.why, "why")
    entries.correct_pour(conn, change.row_id, change.values, who=who, why=why, utc_s=utc_s)
    return tell("correction.done", pour=asked.pour, what=change.told)


def complete_pour(conn: sqlite3.Connection, asked: PourCompletion, utc_s: float) -> Message:
    """Setup, batch, note and tags of a pour; what was done. Raises NotFound, BadInput: then nothing was."""
    melt_id, number = find_pour(conn, asked.pour)
    melt = asked.pour.rpartition("-")[0]
    who = clean_text(asked.who, "who")
    row_id, setup, batch, none_now = conn.execute(
        "SELECT id, setup, batch, not_poured FROM pours WHERE melt_id = ? AND number = ? ORDER BY id DESC LIMIT 1",
        (melt_id, number),
    ).fetchone()
    if none_now:
        raise BadInput(
            tell("record.was_no_pour", why=tell("record.corrected")),
            where=asked.pour,
            remedy=tell("record.was_no_pour.remedy", pour=asked.pour),
        )
    changes: dict[str, Any] = {}
    said: list[Message] = []
    if asked.setup:
        name = _known_setup(conn, clean_text(asked.setup, "setup"))
        if name != setup:
            changes["setup"] = name
        said.append(tell("correction.setup", setup=name))
    if asked.batch:
        told = clean_text(asked.batch, "batch", most=200)
        if told != batch:
            changes["batch"] = told
        said.append(tell("correction.batch", batch=told))
    if changes:
        why = clean_text(asked.why, "why") or written(tell("correction.why.completed"))
        entries.correct_pour(conn, row_id, changes, who=who, why=why, utc_s=utc_s)
    if asked.note:
        entries.add_note(conn, melt, clean_text(asked.note, "note"), who=who, utc_s=utc_s, pour_number=number)
        said.append(tell("correction.note"))
    said += _tagged(conn, melt, asked.tags, utc_s, number)
    if not said:
        raise BadInput(tell("correction.nothing_told"), where=asked.pour, remedy=tell("correction.nothing_told.remedy"))
    return tell("correction.pour_completed", pour=asked.pour, said=tuple(said))


def note_melt(conn: sqlite3.Connection, melt: str, note: str, tags: tuple[str, ...], who: str, utc_s: float) -> Message:
    """A note and tags for a melt; what was done. Raises NotFound, BadInput."""
    said: list[Message] = []
    if note.strip():
        entries.add_note(conn, melt, clean_text(note, "note"), who=clean_text(who, "who"), utc_s=utc_s)
        said.append(tell("correction.note"))
    said += _tagged(conn, melt, tags, utc_s, 0)
    if not said:
        raise BadInput(tell("melt.note_empty"), where=melt, remedy=tell("melt.note_empty.remedy"))
    return tell("correction.melt_noted", melt=melt, said=tuple(said))


def _tagged(conn: sqlite3.Connection, melt: str, tags: tuple[str, ...], utc_s: float, number: int) -> list[Message]:
    said = []
    for tag in tags:
        word = clean_text(tag, "tag", most=60)
        if not word:
            raise BadInput(tell("correction.no_tag"), where=melt, remedy=tell("correction.no_tag.remedy"))
        entries.add_tag(conn, melt, word, utc_s=utc_s, pour_number=number)
        said.append(tell("correction.tag", tag=word))
    return said


def first_standing(row: Sequence[Any]) -> Standing:
    """Of a pour as it was first marked: its columns, and whether it was struck out. A batch is no part of the mark."""
    first = dict(zip((*POUR_COLUMNS, "not_poured"), row, strict=True))
    lift_s = first["lift_mono_s"]
    return Standing(
        mould=first["mould"],
        setup=first["setup"],
        batch="",
        at_utc_s=first["at_utc_s"],
        lift_before_s=None if lift_s is None else first["at_mono_s"] - lift_s,
        lip_temp_c=first["lip_temp_c"],
        not_poured=bool(first["not_poured"]),
    )


def _moved(
    store: Store, asked: PourCorrection, found: PourDetail, utc_s: float, first: Standing
) -> tuple[Pour, Message]:
    """The pour at another moment, with another lift, into another mould."""
    melt = store.melt(found.row.melt)
    base_s = found.row.at_utc_s - found.at_mono_s  # UTC less monotonic, as it was when the pour was marked
    at_utc_s = found.row.at_utc_s if asked.at_utc_s is None else asked.at_utc_s
    ended_s = melt.row.ended_utc_s if melt.row.ended_utc_s is not None else utc_s
    if asked.lift_utc_s is not None and asked.no_lift:
        raise BadInput(
            tell("usage.contradict", first="--lift", second="--no-lift"),
            where=asked.pour,
            remedy=tell("usage.contradict.remedy"),
        )
    for told_s, moment in ((at_utc_s, "pour"), (asked.lift_utc_s, "lift")):
        if told_s is not None and told_s < melt.row.began_utc_s:
            raise BadInput(
                tell("correction.before_melt", moment=moment),
                where=asked.pour,
                remedy=tell("correction.before_melt.remedy"),
            )
        if told_s is not None and told_s > ended_s + 1.0:
            raise BadInput(
                tell("correction.after_melt", moment=moment),
                where=asked.pour,
                remedy=tell("correction.before_now" if melt.row.ended_utc_s is None else "correction.before_end"),
            )
    lift_s = found.lift_mono_s if asked.lift_utc_s is None else asked.lift_utc_s - base_s
    lift_s = None if asked.no_lift else lift_s
    at_s = at_utc_s - base_s
    if asked.lift_utc_s is not None and lift_s is not None and lift_s > at_s:
        raise BadInput(tell("correction.lift_after"), where=asked.pour, remedy=tell("correction.lift_after.remedy"))
    name = asked.mould or found.row.mould
    if asked.at_utc_s is None and asked.lift_utc_s is None and not asked.no_lift:
        pour = into_another_mould(found, melt, name)
    else:
        pour = pour_at(store, found, melt, at_mono_s=at_s, at_utc_s=at_utc_s, lift_mono_s=lift_s, mould=name)
    old = standing(found.row, found.lift_mono_s, found.at_mono_s)
    new = Standing(
        mould=pour.mould,
        setup=pour.setup if asked.mould else found.row.setup,
        batch=found.row.batch,
        at_utc_s=at_utc_s,
        lift_before_s=None if lift_s is None else at_s - lift_s,
        lip_temp_c=pour.lip_temp_c,
        not_poured=False,
    )
    return pour, correction_told(old, new, first)


def _known_setup(conn: sqlite3.Connection, name: str) -> str:
    """A setup that is described, planned or poured, as it is written there. Raises NotFound naming the nearest."""
    from pourcall.contract.nearest import did_you_mean
    from pourcall.records.entries.setups import find_setup  # brings the alloys' science along

    described = find_setup(conn, name)
    if described is not None:
        return described.name
    names = [
        row[0]
        for row in conn.execute(
            "SELECT setup FROM pours WHERE setup <> '' UNION SELECT setup FROM planned_moulds WHERE setup <> ''"
            " UNION SELECT name FROM mould_setups"
        )
    ]
    if name in names:
        return name
    raise NotFound(
        tell("record.setup.unknown", setup=name[:60], hint=did_you_mean(name, names)),
        remedy=tell("record.setup.unknown.remedy"),
    )
