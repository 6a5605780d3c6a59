"""`pourcall export`. The trace of a melt or a pour into files: CSV, JSON lines, Parquet, or a drawing."""

import argparse
import re
from pathlib import Path
from typing import TYPE_CHECKING

from pourcall.cli.common import add_json, add_unit, local_time, our_paths, print_json, unit_of
from pourcall.cli.parser import option
from pourcall.contract.errors import BadInput
from pourcall.contract.message import tell
from pourcall.texts import say

if TYPE_CHECKING:
    from pourcall.records.read.store import Store

# Behind @ stands the mark of another shop whose archive was taken in.
MELT, POUR = re.compile(r"\d{4}-\d{3,}(@[a-z0-9@]+)?"), re.compile(r"\d{4}-\d{3,}(@[a-z0-9@]+)?-\d+")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What, and where to."""
    group = parser.add_mutually_exclusive_group(required=True)
    group.add_argument("what", nargs="?", default="", help=option("export.what"))
    group.add_argument("--pours", type=Path, default=None, metavar="FILE.csv", help=option("export.pours"))
    parser.add_argument("--to", type=Path, default=Path("."), metavar="DIR", help=option("export.to"))
    parser.add_argument("--format", choices=["csv", "jsonl", "parquet"], default="csv", help=option("export.format"))
    parser.add_argument("--recompute", action="store_true", help=option("export.recompute"))
    parser.add_argument("--plot", type=Path, default=None, metavar="FILE", help=option("export.plot"))
    add_json(parser)
    add_unit(parser)


def run(args: argparse.Namespace) -> int:
    """The trace of a melt or pour, or the list of pours."""
    from pourcall.records.read.store import Store
    from pourcall.reports.tables.export import export_melt, export_pour

    if args.pours is not None:
        return _pours(args)
    if not (MELT.fullmatch(args.what) or POUR.fullmatch(args.what)):
        raise BadInput(tell("usage.export.name", word=args.what), remedy=tell("usage.export.name.remedy"))
    if args.recompute and args.format != "csv":
        raise BadInput(tell("usage.export.recompute"), remedy=tell("usage.export.recompute.remedy"))
    if args.plot is not None:
        return _plot(args)
    args.to.mkdir(parents=True, exist_ok=True)
    with Store.read(our_paths().database) as store:
        if args.recompute:
            return _recomputed(store, args)
        done = (export_pour if POUR.fullmatch(args.what) else export_melt)(store, args.what, args.to, kind=args.format)
    if args.json:
        print_json({args.format: str(done.csv), "metadata": str(done.metadata), "rows": done.rows})
    elif args.format != "csv":
        print(say(tell("export.rows", rows=done.rows, file=str(done.csv))))
    else:
        print(say(tell("export.rows_csv", rows=done.rows, file=str(done.csv), metadata=done.metadata.name)))
    return 0


def _plot(args: argparse.Namespace) -> int:
    """The whole melt as one drawing, or up to five minutes after the pour."""
    from pourcall.records.read.store import Store
    from pourcall.reports.drawings.melt_facts import melt_facts
    from pourcall.reports.drawings.melt_plot import plot_svg
    from pourcall.reports.drawings.pictures import write_pictures

    if args.recompute or args.format != "csv":
        raise BadInput(tell("usage.export.plot"), remedy=tell("usage.export.plot.remedy"))
    melt, number = args.what, 0
    if POUR.fullmatch(args.what):
        melt, _, last = args.what.rpartition("-")
        number = int(last)
    unit = unit_of(args)
    with Store.read(our_paths().database) as store:
        facts = melt_facts(store, melt, number=number)
    path = args.to / args.plot
    write_pictures({path: plot_svg(facts, unit, local_time)})
    if args.json:
        print_json({"plot": str(path)})
    else:
        print(path)
    return 0


def _recomputed(store: "Store", args: argparse.Namespace) -> int:
    """Both columns. A pour is taken as the melt it belongs to: a calibration is judged over a whole trace."""
    from pourcall.reports.tables.recompute import recompute_melt

    melt = args.what.rpartition("-")[0] if POUR.fullmatch(args.what) else args.what
    done = recompute_melt(store, melt, args.to)
    if args.json:
        print_json({"csv": str(done.csv), "metadata": str(done.metadata), "rows": done.rows})
    else:
        print(say(tell("export.recomputed", rows=done.rows, file=str(done.csv))))
    return 0


def _pours(args: argparse.Namespace) -> int:
    """Every pour as it stands after corrections, oldest first."""
    from pourcall.records.read.store import Store
    from pourcall.reports.tables.export import export_pours

    if args.recompute or args.format != "csv" or args.plot is not None:
        raise BadInput(tell("usage.export.pours"), remedy=tell("usage.export.pours.remedy"))
    with Store.read(our_paths().database) as store:
        rows = store.pours(limit=-1)
    export_pours(reversed(rows), args.pours)
    if args.json:
        print_json({"csv": str(args.pours), "rows": len(rows)})
    else:
        print(say(tell("export.pours", pours=len(rows), file=str(args.pours))))
    return 0
