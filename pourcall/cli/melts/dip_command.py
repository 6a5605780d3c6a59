"""`pourcall dip`. A dip is recognised from its trace; this tells depth and stirring, types a figure in, or lists.

Not here: what a dip is worth (pourcall/engine/bath/dips.py). The listing is read from the record, and needs no daemon.
"""

import argparse
from collections.abc import Sequence

import msgspec

from pourcall.cli.client import DaemonClient
from pourcall.cli.common import (
    add_json,
    add_unit,
    asked_unit,
    depth_mm,
    local_time,
    our_paths,
    print_json,
    print_table,
    unit_of,
)
from pourcall.cli.melts.melt_command import add_sure, print_result
from pourcall.cli.parser import option
from pourcall.contract.errors import BadInput
from pourcall.contract.events import MarkKind
from pourcall.contract.inputs import EnterTemperature, StartDip
from pourcall.contract.message import Told, tell
from pourcall.contract.quantities import instrument_of, seconds, spelled_unit, temperature_c
from pourcall.contract.reading import Place
from pourcall.contract.units import Unit, format_difference, format_temperature
from pourcall.texts import say, word

TYPED = {MarkKind.TYPED_TEMPERATURE: "typed", MarkKind.PANEL_TEMPERATURE: "typed, of the furnace"}


class DipLine(msgspec.Struct, frozen=True, kw_only=True):
    """One line of the listing: a dip of ours, or a figure typed in (`number` is None then, `probe` its source)."""

    at_utc_s: float
    number: int | None
    probe: str
    temp_c: float | None
    u_c: float | None
    how: str
    depth_mm: float | None = None
    stirred: bool | None = None
    why: Told = ""


class _Read(argparse.Action):
    """A figure as it was read: where its unit is spelled out and no other is asked for, the answer comes in it."""

    def __call__(
        self,
        parser: argparse.ArgumentParser,
        namespace: argparse.Namespace,
        values: str | Sequence[object] | None,
        option_string: str | None = None,
    ) -> None:
        setattr(namespace, self.dest, values)
        if not getattr(namespace, "unit", "") and isinstance(values, str):
            setattr(namespace, "unit", spelled_unit(values))  # noqa: B010  # as argparse itself sets what it parses


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What is known of the dip."""
    parser.add_argument("--probe", default="", help=option("dip.probe"))
    parser.add_argument("--depth", default="", metavar="LENGTH", help=option("dip.depth"))
    parser.add_argument("--stirred", action=argparse.BooleanOptionalAction, default=None, help=option("dip.stirred"))
    parser.add_argument("--read", metavar="TEMP", default="", action=_Read, help=option("dip.read"))
    parser.add_argument("--source", default="handheld", help=option("dip.source"))
    parser.add_argument("--ago", default="", help=option("dip.ago"))
    add_sure(parser)
    parser.add_argument("--list", action="store_true", help=option("dip.list"))
    parser.add_argument("--melt", default="", help=option("dip.melt"))
    parser.add_argument("--furnace", default="")
    add_json(parser)
    add_unit(parser)


def run(args: argparse.Namespace) -> int:
    """Announce, type in, or list."""
    told = bool(args.depth) or args.stirred is not None or bool(args.probe)
    if args.list:
        if told or args.read or args.ago:
            raise BadInput(tell("usage.dip.list"), remedy=tell("usage.dip.list.remedy"))
        return _list(args)
    if args.melt or args.json:
        option = "--melt" if args.melt else "--json"
        raise BadInput(
            tell("usage.only_with", option=option, other="--list"), remedy=tell("usage.leave_out", option=option)
        )
    if args.read and told:
        raise BadInput(tell("usage.dip.read"), remedy=tell("usage.dip.read.remedy"))
    if args.ago and not args.read:
        raise BadInput(
            tell("usage.only_with", option="--ago", other="--read"), remedy=tell("usage.leave_out", option="--ago")
        )
    if args.read:
        temp_c = temperature_c(args.read, asked_unit(args))
        ago_s = seconds(args.ago) if args.ago else 0.0
        client = DaemonClient()
        told_of = instrument_of(args.source)
        request = EnterTemperature(temp_c=temp_c, source=args.source, instrument=told_of, ago_s=ago_s, sure=args.sure)
        print_result(client, client.furnace(args.furnace), request, unit_of(args))
        return 0
    deep_mm = depth_mm(args.depth)
    client = DaemonClient()
    furnace = client.furnace(args.furnace)
    probe = args.probe or _dipping_probe(client, furnace)
    print_result(client, furnace, StartDip(probe=probe, depth_mm=deep_mm, stirred=args.stirred))
    return 0


def _dipping_probe(client: DaemonClient, furnace: str) -> str:
    """The probe set up for dipping, or the only one there is."""
    probes = next(shot for shot in client.furnaces() if shot.furnace == furnace).probes
    dipping = [probe.name for probe in probes if probe.place is Place.DIP] or [probe.name for probe in probes]
    if len(dipping) != 1:
        names = ", ".join(dipping) or "none"
        raise BadInput(tell("cli.dip.which_probe"), remedy=tell("cli.dip.which_probe.remedy", probes=names))
    return dipping[0]


def _list(args: argparse.Namespace) -> int:
    from pourcall.records.read.store import Store

    unit = unit_of(args)
    with Store.read(our_paths().database) as store:
        melt = args.melt
        if not melt:
            latest = store.melts(limit=1, furnace=args.furnace or None)
            if not latest:
                print("[]" if args.json else say(tell("melt_list.none_yet")))
                return 0
            melt = latest[0].melt
        detail = store.melt(melt)
    lines = [
        DipLine(
            at_utc_s=dip.ended_utc_s,
            number=dip.number,
            probe=dip.probe,
            temp_c=dip.temp_c,
            u_c=dip.u_c,
            how=dip.how,
            depth_mm=dip.depth_mm,
            stirred=dip.stirred,
            why=dip.why,
        )
        for dip in detail.dips
    ]
    for note in detail.notes:
        if note.what in TYPED:
            source = note.source or "typed"
            how = TYPED[note.what]
            lines.append(
                DipLine(at_utc_s=note.at_utc_s, number=None, probe=source, temp_c=note.value, u_c=None, how=how)
            )
    lines.sort(key=lambda line: line.at_utc_s)
    if args.json:
        print_json(lines)
    elif not lines:
        print(say(tell("cli.dip.none", melt=melt)))
    else:
        print(say(tell("cli.dip.melt", melt=melt)))
        print_table(
            ("when", "dip", "taken_by", "metal", "plus_minus", "how", "depth", "stirred"),
            [_row(line, unit) for line in lines],
            right=("dip", "metal", "plus_minus"),
        )
        for line in lines:
            if line.why:
                print(say(tell("cli.dip.why", number=line.number or 0, why=line.why), unit))
    return 0


def _row(line: DipLine, unit: Unit) -> tuple[str, ...]:
    return (
        local_time(line.at_utc_s, with_date=False),
        "" if line.number is None else str(line.number),
        line.probe,
        "-" if line.temp_c is None else format_temperature(line.temp_c, unit),
        "" if line.u_c is None else format_difference(line.u_c, unit, 0),
        word("dip_how", line.how),
        "" if line.depth_mm is None else f"{line.depth_mm:.0f} mm",
        "" if line.stirred is None else say(tell("key.yes" if line.stirred else "key.no")),
    )
