"""Room: `pourcall export`."""

import argparse
import re
from pathlib import Path

from pourcall.cli.common import add_json, our_paths, print_json
from pourcall.contract.errors import BadInput

MELT, POUR = re.compile(r"\d{4}-\d{3,}"), re.compile(r"\d{4}-\d{3,}-\d+")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What, and where to."""
    parser.add_argument("what", help="a melt (2026-014) or a pour (2026-014-1)")
    parser.add_argument("--to", type=Path, default=Path("."), metavar="DIR", help="folder to write to (default: here)")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """CSV with W3C metadata beside it."""
    from pourcall.daemon.records.export import export_melt, export_pour
    from pourcall.daemon.records.store import Store

    if not (MELT.fullmatch(args.what) or POUR.fullmatch(args.what)):
        raise BadInput(
            f"{args.what!r} is no melt or pour", remedy="Write 2026-014 for a melt, 2026-014-1 for its first pour"
        )
    args.to.mkdir(parents=True, exist_ok=True)
    with Store.read(our_paths().database) as store:
        done = (export_pour if POUR.fullmatch(args.what) else export_melt)(store, args.what, args.to)
    if args.json:
        print_json({"csv": str(done.csv), "metadata": str(done.metadata), "rows": done.rows})
    else:
        print(f"{done.rows} rows in {done.csv}; what its columns mean is in {done.metadata.name}")
    return 0
