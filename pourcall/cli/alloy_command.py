"""Room: `pourcall alloy`. What is known of each alloy, with its sources, and where they disagree."""

import argparse

from pourcall.cli.common import add_json, add_unit, our_paths, print_json, print_table, unit_of
from pourcall.contract.units import Unit, difference_from_c, format_temperature, from_c
from pourcall.profiles.sheet import AlloySheet, Other, Value, load_sheets


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Sub-commands."""
    subs = parser.add_subparsers(dest="what", required=True, metavar="list|show|check")
    listing = subs.add_parser("list", help="all alloys")
    show = subs.add_parser("show", help="one alloy, with sources and hazards")
    show.add_argument("alloy")
    check = subs.add_parser("check", help="look for faults in the sheets of your own folder")
    for sub in (listing, show, check):
        add_json(sub)
        add_unit(sub)


def run(args: argparse.Namespace) -> int:
    """The sub-command."""
    library = load_sheets(our_paths().alloys)
    unit = unit_of(args)
    if args.what == "show":
        sheet = library.get(args.alloy)
        if args.json:
            print_json(sheet)
        else:
            _show(sheet, unit)
        return 0
    if args.what == "check":
        faults = library.faults()
        if args.json:
            print_json(faults)
        for fault in faults if not args.json else ():
            print(fault)
        if not faults and not args.json:
            print(f"All {len(library.keys())} sheets are sound; your own belong into {our_paths().alloys}")
        return 2 if faults else 0
    sheets = library.all()
    if args.json:
        print_json(sheets)
        return 0
    print_table(
        ("key", "name", "solid below", "liquid above", "pour", "source of the pour window"),
        [
            (
                sheet.key, sheet.name, format_temperature(sheet.solidus.value, unit),
                format_temperature(sheet.liquidus.value, unit),
                f"{format_temperature(sheet.pour_min.value, unit)} to {format_temperature(sheet.pour_max.value, unit)}",
                f"{sheet.pour_min.mark} ({sheet.pour_min.source})",
            )
            for sheet in sheets
        ],
        right=(2, 3),
    )  # fmt: skip
    return 0


def _show(sheet: AlloySheet, unit: Unit) -> None:
    print(f"{sheet.name}  ({sheet.key}{', ' + sheet.designation if sheet.designation else ''})")
    if sheet.aliases:
        print(f"  also called {', '.join(sheet.aliases)}")
    shares = ", ".join(f"{symbol} {amount:.4g}" for symbol, amount in sheet.weight_percent().items())
    print(f"  composition, weight percent: {shares}")
    for key, value in sheet.values():
        note = f"  {value.note}" if value.note else ""
        print(f"  {key.replace('_', ' '):<18} {_figure(value, unit):>16}  {value.mark} ({value.source}){note}")
        for other in value.also:
            said = f"; {other.note}" if other.note else ""
            print(f"  {'':<18} {_figure(other, unit):>16}  says {other.source} ({other.mark}); not used{said}")
    print(f"  {'highest in the pot':<18} {format_temperature(sheet.highest_in_pot_c, unit):>16}")
    for hazard in sheet.hazards:
        print(f"  ! {hazard}")
    if sheet.protection_tube is not None:
        print(f"  probe: works {sheet.protection_tube.works}; fails {sheet.protection_tube.fails}")
    if sheet.notes:
        print(f"  {sheet.notes}")


def _figure(value: Value | Other, unit: Unit) -> str:
    """A value in the reader's unit where it is a temperature."""
    if value.unit == "degC":
        both = f"{from_c(value.value, unit):.0f} {unit.value}"
        other = Unit.F if unit is Unit.C else Unit.C
        return f"{both} / {from_c(value.value, other):.0f} {other.value}"
    if value.unit == "K":
        return f"{difference_from_c(value.value, unit):g} {'degF' if unit is Unit.F else 'K'}"
    return f"{value.value:g} {value.unit}"
