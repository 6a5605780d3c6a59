"""What was put right about the pours of a melt: rows in; each correction, by kind and message, out.

The kind follows from what differs between a row and the one it corrects, never from a sentence. The same message
answers who corrects it (replay/pour_changes.py). Not here: writing (entries/entries.py), the temperature worked out
again (replay/pour_again.py).
"""

import sqlite3
from collections.abc import Iterator
from itertools import groupby
from typing import Any, NamedTuple

from pourcall.contract.message import Message, tell
from pourcall.records.read.views import CorrectedPour, Correction, PourRow, pour_id

SAME_MOMENT_S = 0.0005  # times are kept to the millisecond


class Standing(NamedTuple):
    """A pour as one of its rows has it. lift_before_s: None: no lift is known."""

    mould: str
    setup: str
    batch: str
    at_utc_s: float
    lift_before_s: float | None
    lip_temp_c: float | None
    not_poured: bool


def standing(row: PourRow, lift_mono_s: float | None, at_mono_s: float) -> Standing:
    """What a correction may change of a pour."""
    before_s = None if lift_mono_s is None else at_mono_s - lift_mono_s
    return Standing(row.mould, row.setup, row.batch, row.at_utc_s, before_s, row.lip_temp_c, row.not_poured)


def kinds(old: Standing, new: Standing, first: Standing | None = None) -> tuple[Correction, ...]:
    """In what a row differs from the one it corrects. first: as it was marked; a row like that restores it.

    A batch that was told later is no part of the mark and stays.
    """
    if new.not_poured and not old.not_poured:
        return (Correction.STRUCK_OUT,)
    if first is not None and new == first._replace(batch=old.batch) and old != new:
        return (Correction.RESTORED,)
    return tuple(_moved(old, new))


def _moved(old: Standing, new: Standing) -> Iterator[Correction]:
    if new.mould != old.mould:
        yield Correction.MOULD
    elif new.setup != old.setup:  # that of another mould follows from it
        yield Correction.SETUP
    if new.batch != old.batch:
        yield Correction.BATCH
    moved_s = new.at_utc_s - old.at_utc_s
    if abs(moved_s) >= SAME_MOMENT_S:
        yield Correction.TIME
    if (new.lift_before_s is None) != (old.lift_before_s is None):
        yield Correction.LIFT
    elif new.lift_before_s is not None and old.lift_before_s is not None:
        same_lift_s = old.lift_before_s + moved_s  # what it would be if the pour alone was moved
        if abs(new.lift_before_s - same_lift_s) >= SAME_MOMENT_S:
            yield Correction.LIFT


def correction_told(old: Standing, new: Standing, first: Standing | None = None) -> Message:
    """What a correction did, after `pour 2026-014-1`."""
    found = kinds(old, new, first)
    parts = tuple(_part(kind, old, new) for kind in found)
    if len(parts) == 1 and found[0] in (Correction.STRUCK_OUT, Correction.RESTORED):
        return parts[0]
    if old.lip_temp_c == new.lip_temp_c:
        return tell("correction.plain", parts=parts)
    return tell("correction.moved", parts=parts, now=_lip(new.lip_temp_c), was=_lip(old.lip_temp_c))


def _part(kind: Correction, old: Standing, new: Standing) -> Message:
    match kind:
        case Correction.RESTORED:
            return tell("correction.restored")
        case Correction.STRUCK_OUT:
            return tell("correction.struck_out")
        case Correction.MOULD:
            return tell("correction.moved.mould", mould=new.mould, was_mould=old.mould)
        case Correction.SETUP:
            return tell("correction.moved.setup", setup=new.setup)
        case Correction.BATCH:
            return tell("correction.moved.batch", batch=new.batch)
        case Correction.TIME:
            later_s = new.at_utc_s - old.at_utc_s
            by_s = abs(later_s)
            return tell("correction.moved.later" if later_s > 0.0 else "correction.moved.earlier", by_s=by_s)
        case Correction.LIFT:
            if new.lift_before_s is None:
                return tell("correction.moved.no_lift")
            return tell("correction.moved.lift", before_s=new.lift_before_s)


def _lip(lip_c: float | None) -> Message:
    return tell("correction.lip_unknown") if lip_c is None else tell("correction.lip", lip_c=lip_c)


def corrected_pours(conn: sqlite3.Connection, melt_id: int, melt: str) -> tuple[CorrectedPour, ...]:
    """Each correction of a pour of a melt, in the order they were made."""
    rows = conn.execute(
        "SELECT w.number, w.mould, w.setup, w.batch, w.at_utc_s, w.at_mono_s, w.lift_mono_s, w.lip_temp_c,"
        " w.not_poured, w.who, w.why, w.id, (SELECT min(c.at_utc_s) FROM corrections c WHERE c.table_name = 'pours'"
        "   AND c.row_id = w.corrects)"
        " FROM pours w WHERE w.melt_id = ? ORDER BY w.number, w.id",
        (melt_id,),
    ).fetchall()
    made: list[tuple[int, CorrectedPour]] = []
    for number, versions in groupby(rows, key=lambda row: int(row[0])):
        first, *later = versions
        old = _standing(first)
        for row in later:
            new = _standing(row)
            found = kinds(old, new, _standing(first))
            if found:
                entry = CorrectedPour(
                    pour=pour_id(melt, number),
                    at_utc_s=row[12],
                    kinds=found,
                    text=correction_told(old, new, _standing(first)),
                    who=row[9],
                    why=row[10],
                )
                made.append((row[11], entry))
            old = new
    return tuple(entry for _, entry in sorted(made, key=lambda one: one[0]))


def _standing(r: tuple[Any, ...]) -> Standing:
    return Standing(r[1], r[2], r[3], r[4], None if r[6] is None else r[5] - r[6], r[7], bool(r[8]))
