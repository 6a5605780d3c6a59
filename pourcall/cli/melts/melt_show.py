"""`pourcall melt show`. One melt on record: charged, poured, dipped, what was left, notes, gaps; a line each."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from pourcall.cli.common import local_time
from pourcall.contract.message import Told, tell
from pourcall.contract.units import Unit
from pourcall.texts import say, word

if TYPE_CHECKING:
    from pourcall.records.read.views import MeltDetail


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
        yield line(tell("melt_list.ended", began=began, ended=ended, ending=row.ending)) + why
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
    for note in detail.notes:
        yield f"  {_clock(note.at_utc_s)} {word('what', note.what)}: {say(note.text, unit)}"
    for gap in detail.gaps:
        yield line(tell("melt_list.gap", at=_clock(gap.began_utc_s), reason=gap.reason))


def _clock(utc_s: float | None) -> str:
    return local_time(utc_s, with_date=False)


def _corrected(corrected: bool, why: str) -> str:
    if not corrected:
        return ""
    return f" ({say(tell('melt_list.corrected_why', why=why) if why else tell('melt_list.corrected'))})"
