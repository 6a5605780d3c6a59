"""`pourcall alloy`. What is known of each alloy, with its sources, and where they disagree."""

import argparse

from pourcall.cli.common import add_json, add_unit, our_paths, print_json, print_table, unit_of
from pourcall.cli.parser import option
from pourcall.contract.message import tell
from pourcall.contract.units import format_temperature, format_window
from pourcall.metal.alloys.sheet import load_sheets, load_sources
from pourcall.reports.pages.alloy_sheet import list_rows, render_sheet
from pourcall.texts import say


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Sub-commands."""
    subs = parser.add_subparsers(dest="what", required=True, metavar="list|show|check")
    listing = subs.add_parser("list", help=option("alloy.list"))
    show = subs.add_parser("show", help=option("alloy.show"))
    show.add_argument("alloy")
    check = subs.add_parser("check", help=option("alloy.check"))
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
            print(render_sheet(sheet, load_sources(), unit), end="")
        return 0
    if args.what == "check":
        faults = library.faults()
        if args.json:
            print_json([{"file": one.file, "key": one.key, "what": say(one.what, unit)} for one in faults])
        for fault in faults if not args.json else ():
            print(f"{fault.file}: {say(fault.told, unit)}")
        if not faults and not args.json:
            print(say(tell("cli.alloy.sound", count=len(library.keys()), folder=str(our_paths().alloys))))
        return 2 if faults else 0
    sheets = library.all()
    if args.json:
        print_json(list_rows(sheets))
        return 0
    print_table(
        ("key", "name", "solid_below", "liquid_above", "pour_window", "window_from"),
        [
            (
                sheet.key,
                sheet.name,
                format_temperature(sheet.solidus.value, unit),
                format_temperature(sheet.liquidus.value, unit),
                format_window(sheet.pour_min.value, sheet.pour_max.value, unit),
                f"{sheet.pour_min.mark} ({sheet.pour_min.source})",
            )
            for sheet in sheets
        ],
        right=("solid_below", "liquid_above"),
    )
    return 0
