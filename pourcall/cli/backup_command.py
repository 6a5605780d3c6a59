"""Room: `pourcall backup`."""

import argparse
import time
from pathlib import Path

from pourcall.cli.common import our_paths


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The archive."""
    parser.add_argument("file", type=Path, help="the archive to write, or to read with --restore or --check")
    group = parser.add_mutually_exclusive_group()
    group.add_argument("--restore", action="store_true", help="put an archive into an empty installation")
    group.add_argument("--check", action="store_true", help="read an archive whole and compare it with its manifest")


def run(args: argparse.Namespace) -> int:
    """Everything: record, settings, sheets, photos."""
    from pourcall.daemon.records.backup import back_up, restore, verify
    from pourcall.daemon.records.store import Store

    paths = our_paths()
    if args.restore:
        done = restore(args.file, paths)
        print(f"restored {len(done.files)} files into {paths.data}")
    elif args.check:
        done = verify(args.file)
        print(f"{args.file} is whole: {len(done.files)} files, {sum(done.rows.values())} rows")
    else:
        with Store.read(paths.database) as store:
            done = back_up(store, paths, args.file, utc_s=time.time())
        print(f"{args.file}: {len(done.files)} files, {sum(done.rows.values())} rows, checked")
    return 0
