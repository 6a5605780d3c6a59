"""`pourcall melt show`. One melt on record: charged, poured, dipped, what was left, notes, gaps; a line each."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from pourcall.cli.common import local_time
from pourcall.contract.events import MarkKind
from pourcall.contract.message import Told, tell
from pourcall.contract.units import Unit
from pourcall.texts import say, word

if TYPE_CHECKING:
    from pourcall.records.read.views import CorrectedPour, MeltDetail, NoteRow


def melt_lines(detail: "MeltDetail", unit: Unit) -> Iterator[str]:
    """Lines for the screen, temperatures in `unit`."""
    from pourcall.records.entries.charges import charge_told
    from pourcall.records.entries.melt_outcome import left_told

    def line(told: Told) -> str:
        return f"  {say(told, unit)}"

    row = detail.row
    furnace = row.furnace
    yield say(tell("melt_list.melt", melt=row.melt, alloy=row.alloy_name, charge_kg=row.charge_kg, furnace=furnace))
    began = local_time(row.began_utc_s)
    if not row.ended_utc_s:
        yield line(tell("melt_list.began", began=began))
    else:
        ended, why = local_time(row.ended_utc_s), f": {row.ending_detail}" if row.ending_detail else ""
        yield line(tell("melt_list.ended", began=began, ended=ended, ending=row.outcome)) + why
    if row.moulds or row.pours:
        yield line(tell("melt_list.poured", count=row.moulds_poured, of=row.moulds, pours=row.pours))
    if row.tags:
        yield line(tell("melt_list.tags", tags=", ".join(row.tags)))
    for charge in detail.charges:
        when = f" {say(tell('melt_list.at', at=_clock(charge.at_utc_s)))}" if charge.added else ""
        said = line(tell("melt_list.charge", number=charge.number, what=charge_told(charge)))
        yield said + when + _corrected(charge.corrected, charge.why)
    for left in detail.left:
        yield line(tell("melt_list.left", what=left_told([left]))) + _corrected(left.corrected, left.why)
    for pour in detail.pours:
        window = tell("melt_list.window", low_c=pour.lip_min_c, high_c=pour.lip_max_c)
        if pour.lip_temp_c is None:
            told = tell("melt_list.pour_unknown", pour=pour.pour, mould=pour.mould, window=window)
        else:
            told = tell("melt_list.pour", pour=pour.pour, mould=pour.mould, lip_c=pour.lip_temp_c, window=window)
        yield f"{line(told)}; {say(pour.basis, unit)}"
    for dip in detail.dips:
        figure = say(tell("melt_list.temperature", temp_c=dip.temp_c), unit) if dip.temp_c is not None else "--"
        said = line(tell("melt_list.dip", number=dip.number, figure=figure, how=dip.how))
        yield f"{said} {say(dip.why, unit)}".rstrip()
    yield from (_line_of(one, row.began_utc_s, unit) for one in _happened(detail))
    for gap in detail.gaps:
        yield line(tell("melt_list.gap", at=_clock(gap.began_utc_s), reason=gap.reason))


def _happened(detail: "MeltDetail") -> "list[NoteRow | CorrectedPour]":
    """Notes and corrections in order. The engine's own note of a correction says less than the rows themselves."""
    notes = [note for note in detail.notes if note.what is not MarkKind.CORRECTION]
    return sorted([*notes, *detail.corrections], key=lambda one: one.at_utc_s or 0.0)


def _line_of(one: "NoteRow | CorrectedPour", began_utc_s: float, unit: Unit) -> str:
    from pourcall.records.read.views import NoteRow

    when = "" if one.at_utc_s is None else f"{_when(one.at_utc_s, began_utc_s)} "
    if isinstance(one, NoteRow):
        return f"  {when}{word('what', one.what)}: {say(one.text, unit)}"
    said = say(tell("melt_list.correction", pour=one.pour, what=one.text), unit)
    return (
        f"  {when}{word('what', MarkKind.CORRECTION)}: {said}{f'; {say(one.why, unit)}' if one.why else ''} ({one.who})"
    )


def _when(utc_s: float, began_utc_s: float) -> str:
    """The time of day; with its day where that is another one than the melt's."""
    same_day = local_time(utc_s)[:10] == local_time(began_utc_s)[:10]
    return _clock(utc_s) if same_day else f"{local_time(utc_s)[:10]} {_clock(utc_s)}"


def _clock(utc_s: float | None) -> str:
    return local_time(utc_s, with_date=False)


def _corrected(corrected: bool, why: str) -> str:
    if not corrected:
        return ""
    return f" ({say(tell('melt_list.corrected_why', why=why) if why else tell('melt_list.corrected'))})"
