"""Room: `pourcall pour`. Marks through the daemon; lists and shows from the record."""

import argparse

from pourcall.cli.client import DaemonClient
from pourcall.cli.common import add_json, add_unit, local_time, our_paths, print_json, print_table, seconds, unit_of
from pourcall.cli.melt_command import print_result
from pourcall.contract.inputs import MarkLift, MarkPour
from pourcall.contract.units import format_difference, format_temperature, in_unit


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Sub-commands."""
    subs = parser.add_subparsers(dest="what", required=True, metavar="mark|lift|list|show")
    mark = subs.add_parser("mark", help="metal left the pot into a mould")
    mark.add_argument("--mould", default="", help="which one (default: the next in order)")
    lift = subs.add_parser("lift", help="the pot left the furnace")
    for sub in (mark, lift):
        sub.add_argument("--ago", default="", help="how long ago, such as 40s: hands were on the tongs")
        sub.add_argument("--furnace", default="")
        sub.add_argument("--who", default="shop")
    listing = subs.add_parser("list", help="pours, newest first")
    listing.add_argument("--melt", default=None)
    listing.add_argument("--setup", default=None)
    listing.add_argument("--alloy", default=None)
    listing.add_argument("--limit", type=int, default=20)
    show = subs.add_parser("show", help="one pour")
    show.add_argument("pour", help="such as 2026-014-1")
    for sub in (listing, show):
        add_json(sub)
        add_unit(sub)


def run(args: argparse.Namespace) -> int:
    """The sub-command."""
    if args.what in ("mark", "lift"):
        client = DaemonClient()
        ago_s = seconds(args.ago) if args.ago else 0.0
        request = (
            MarkPour(ago_s=ago_s, mould=args.mould, who=args.who)
            if args.what == "mark"
            else MarkLift(ago_s=ago_s, who=args.who)
        )
        print_result(client, client.furnace(args.furnace), request)
        return 0
    from pourcall.daemon.records.store import Store

    unit = unit_of(args)
    with Store.read(our_paths().database) as store:
        if args.what == "show":
            detail = store.pour(args.pour)
            if args.json:
                print_json(detail)
                return 0
            row = detail.row
            inside = {True: "inside its window", False: "OUTSIDE its window", None: "its temperature is not known"}
            print(f"Pour {row.pour}: {row.mould}, {row.alloy}, {local_time(row.at_utc_s)}, marked {row.marked}")
            print(
                f"  {format_temperature(row.lip_temp_c, unit)} ± {format_difference(row.lip_u_c, unit)} at the lip, "
                f"{inside[row.inside]} ({format_temperature(row.lip_min_c, unit)} to "
                f"{format_temperature(row.lip_max_c, unit)})"
            )
            print(f"  {in_unit(row.basis, unit)}")
            print(f"  result: {row.result or 'not inspected yet'}")
            return 0
        rows = store.pours(limit=args.limit, melt=args.melt, setup=args.setup, alloy=args.alloy)
    if args.json:
        print_json(rows)
    elif not rows:
        print("No pour is on the record yet")
    else:
        print_table(
            ("pour", "at", "mould", "alloy", "pot", "lip", "window", "result"),
            [
                (
                    row.pour, local_time(row.at_utc_s), row.mould, row.alloy, format_temperature(row.pot_temp_c, unit),
                    format_temperature(row.lip_temp_c, unit),
                    f"{format_temperature(row.lip_min_c, unit)} to {format_temperature(row.lip_max_c, unit)}",
                    row.result or "-",
                )
                for row in rows
            ],
            right=(4, 5),
        )  # fmt: skip
    return 0
