"""`pourcall pour show`. One pour: what it was poured at, part by part, what stands now and what it was before."""

import itertools
from collections.abc import Iterator
from typing import TYPE_CHECKING

from pourcall.cli.common import local_time
from pourcall.contract.message import Message, Told, tell
from pourcall.contract.units import Unit, format_below, format_difference, format_temperature
from pourcall.texts import say, word

if TYPE_CHECKING:
    from pourcall.records.read.views import LipPart, PourDetail, PourRow

_INSIDE = {True: "inside", False: "outside", None: "unknown"}


def pour_lines(detail: "PourDetail", unit: Unit) -> Iterator[str]:
    """Lines for the screen, temperatures in `unit`."""
    row = detail.row
    at = local_time(row.at_utc_s)
    yield say(tell("cli.pour.head", pour=row.pour, mould=row.mould, alloy=row.alloy, at=at, marked=row.marked))
    if row.not_poured:
        yield _line(tell("cli.pour.struck_out", why=row.why, who=row.who), unit)
    window = tell("cli.pour.window", low_c=row.lip_min_c, high_c=row.lip_max_c)
    if row.lip_temp_c is None or row.lip_u_c is None:
        yield _line(tell("cli.pour.lip_unknown", window=window), unit)
    else:
        arrived = _INSIDE[row.inside]
        yield _line(
            tell("cli.pour.lip", lip_c=row.lip_temp_c, lip_u_c=row.lip_u_c, arrived=arrived, window=window), unit
        )
    yield _line(row.basis, unit)
    yield from (f"    {line}" for line in lip_table(detail.parts, unit))
    if row.setup or row.batch:
        setup = row.setup or row.mould
        with_batch = tell("cli.pour.setup_batch", setup=setup, batch=row.batch)
        yield _line(with_batch if row.batch else tell("cli.pour.setup", setup=setup), unit)
    if detail.tags:
        yield _line(tell("cli.pour.tags", tags=", ".join(detail.tags)), unit)
    yield _line(tell("cli.pour.result", result=row.result) if row.result else tell("cli.pour.not_inspected"), unit)
    for found in detail.results:
        if found.detail:
            yield f"    {found.defect.replace('_', ' ')}: {found.detail}"
    for note in detail.notes:
        yield f"  {word('what', note.what)}: {say(note.text, unit)} ({note.who})"
    for old, new in itertools.pairwise((*detail.earlier, row)):
        why = f"; {say(new.why, unit)}" if new.why else ""
        yield f"  {say(tell('cli.pour.was', parts=tuple(_was(old, new))), unit)}{why} ({new.who})"


def _line(told: Told, unit: Unit) -> str:
    return f"  {say(told, unit)}"


def lip_table(parts: "tuple[LipPart, ...]", unit: Unit) -> list[str]:
    """What it was made up of, in columns."""
    cells = []
    at_c, last = 0.0, max((at for at, part in enumerate(parts) if part.change_c is not None), default=-1)
    for at, part in enumerate(parts):
        if part.temp_c is not None:
            at_c, figure = part.temp_c, format_temperature(part.temp_c, unit, 1)
        elif part.change_c is not None:
            # As the temperatures on both sides are shown, so that what is shown adds up; the last leads to the lip.
            to_c = parts[-1].temp_c if at == last else at_c + part.change_c
            to_c = at_c if to_c is None else to_c
            sign = "-" if to_c <= at_c else "+"
            figure = f"{sign} {format_below(at_c - to_c, at_c, unit, 1).lstrip('-')}"
            at_c = to_c
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
        f"{what:<{widths[0]}}  {figure:>{widths[1]}}  {u:>{widths[2]}}  {say(text, unit)}".rstrip()
        for what, figure, u, text in cells
    ]


def _was(old: "PourRow", new: "PourRow") -> Iterator[Message]:
    """What a correction changed, as it was before it."""
    same = True
    if old.not_poured != new.not_poured:
        same = False
        yield tell("cli.pour.was.no_pour") if old.not_poured else tell("cli.pour.was.a_pour")
    if old.at_utc_s != new.at_utc_s:
        same = False
        yield tell("cli.pour.was.at", at=local_time(old.at_utc_s, with_date=False))
    if old.mould != new.mould:
        same = False
        yield tell("cli.pour.was.into", mould=old.mould)
    if old.setup != new.setup:
        same = False
        yield tell("cli.pour.was.setup", setup=old.setup or "?")
    if old.batch != new.batch:
        same = False
        yield tell("cli.pour.was.batch", batch=old.batch or "?")
    if old.lip_temp_c != new.lip_temp_c:
        same = False
        yield (
            tell("cli.pour.was.unknown") if old.lip_temp_c is None else tell("cli.pour.was.lip", lip_c=old.lip_temp_c)
        )
    if same:
        yield tell("cli.pour.was.lift")
