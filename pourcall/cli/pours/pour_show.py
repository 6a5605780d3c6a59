"""`pourcall pour show`. One pour: what it was poured at, part by part, what stands now and what it was before."""

import itertools
from collections.abc import Iterator
from typing import TYPE_CHECKING

from pourcall.cli.common import local_time
from pourcall.contract.units import Unit, format_difference, format_temperature, in_unit
from pourcall.texts import say, word

if TYPE_CHECKING:
    from pourcall.records.read.views import LipPart, PourDetail, PourRow

_INSIDE = {True: "inside its window", False: "OUTSIDE its window", None: "its temperature is not known"}


def pour_lines(detail: "PourDetail", unit: Unit) -> Iterator[str]:
    """Lines for the screen, temperatures in `unit`."""
    row = detail.row
    yield f"Pour {row.pour}: {row.mould}, {row.alloy}, {local_time(row.at_utc_s)}, marked {row.marked}"
    if row.not_poured:
        yield f"  NOT A POUR: {row.why} ({row.who})"
    yield (
        f"  {format_temperature(row.lip_temp_c, unit)} ± {format_difference(row.lip_u_c, unit)} at the lip, "
        f"{_INSIDE[row.inside]} ({format_temperature(row.lip_min_c, unit)} to "
        f"{format_temperature(row.lip_max_c, unit)})"
    )
    yield f"  {in_unit(row.basis, unit)}"
    yield from (f"    {line}" for line in _table(detail.parts, unit))
    if row.setup or row.batch:
        batch = f", batch {row.batch}" if row.batch else ""
        yield f"  setup: {row.setup or row.mould}{batch}"
    if detail.tags:
        yield f"  tags: {', '.join(detail.tags)}"
    yield f"  result: {row.result or 'not inspected yet'}"
    for found in detail.results:
        if found.detail:
            yield f"    {found.defect}: {found.detail}"
    for note in detail.notes:
        yield f"  {note.what}: {in_unit(note.text, unit)} ({note.who})"
    for old, new in itertools.pairwise((*detail.earlier, row)):
        why = f"; {in_unit(new.why, unit)}" if new.why else ""
        yield f"  was: {_was(old, new, unit)}{why} ({new.who})"


def _table(parts: "tuple[LipPart, ...]", unit: Unit) -> list[str]:
    """What it was made up of, in columns."""
    cells = []
    for part in parts:
        if part.temp_c is not None:
            figure = format_temperature(part.temp_c, unit, 1)
        elif part.change_c is not None:
            sign = "-" if part.change_c <= 0.0 else "+"
            figure = f"{sign} {format_difference(abs(part.change_c), unit)}"
        else:
            figure = ""
        cells.append(
            (
                word("lip_step", part.what),
                figure,
                "" if part.u_c is None else f"± {format_difference(part.u_c, unit)}",
                say(part.text, unit),
            )
        )
    widths = [max((len(line[at]) for line in cells), default=0) for at in range(3)]
    return [
        f"{what:<{widths[0]}}  {figure:>{widths[1]}}  {u:>{widths[2]}}  {text}".rstrip()
        for what, figure, u, text in cells
    ]


def _was(old: "PourRow", new: "PourRow", unit: Unit) -> str:
    """What a correction changed, as it was before it."""
    told = []
    if old.not_poured != new.not_poured:
        told.append("no pour" if old.not_poured else "a pour")
    if old.at_utc_s != new.at_utc_s:
        told.append(f"at {local_time(old.at_utc_s, with_date=False)}")
    if old.mould != new.mould:
        told.append(f"into {old.mould}")
    if old.setup != new.setup:
        told.append(f"setup {old.setup or 'not told'}")
    if old.batch != new.batch:
        told.append(f"batch {old.batch or 'not told'}")
    if old.lip_temp_c != new.lip_temp_c:
        told.append(f"{format_temperature(old.lip_temp_c, unit)} at the lip")
    return ", ".join(told) or "another lift"
