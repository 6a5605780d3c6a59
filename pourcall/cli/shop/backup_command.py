"""`pourcall backup`. Record, photos, settings and sheets into one archive; checked, restored, or merged from one."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from pourcall.cli.common import our_paths
from pourcall.cli.parser import option
from pourcall.contract.errors import BadInput
from pourcall.contract.message import tell
from pourcall.texts import say

if TYPE_CHECKING:
    from pourcall.contract.paths import Paths


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The archive."""
    parser.add_argument("file", type=Path, help=option("backup.file"))
    group = parser.add_mutually_exclusive_group()
    group.add_argument("--restore", action="store_true", help=option("backup.restore"))
    group.add_argument("--check", action="store_true", help=option("backup.check"))
    parser.add_argument("--merge", action="store_true", help=option("backup.merge"))
    parser.add_argument("--mark", default="", help=option("backup.mark"))
    parser.add_argument("--dry-run", action="store_true", help=option("backup.dry_run"))
    parser.add_argument("--who", default="", help=option("backup.who"))


def run(args: argparse.Namespace) -> int:
    """Everything: record, settings, sheets, photos."""
    from pourcall.daemon.clock import RealClock
    from pourcall.records.read.store import Store
    from pourcall.records.upkeep.backup import back_up, restore, verify

    paths = our_paths()
    if (args.merge and not args.restore) or ((args.mark or args.dry_run) and not args.merge):
        raise BadInput(tell("usage.backup"), remedy=tell("usage.backup.remedy"))
    if args.merge:
        return _merge(args, paths)
    if args.restore:
        done = restore(args.file, paths)
        print(say(tell("cli.backup.restored", count=len(done.files), folder=str(paths.data))))
    elif args.check:
        done = verify(args.file)
        print(say(tell("cli.backup.whole", file=str(args.file), files=len(done.files), rows=sum(done.rows.values()))))
    else:
        with Store.read(paths.database) as store:
            done = back_up(store, paths, args.file, utc_s=RealClock().utc_s())
        print(say(tell("cli.backup.made", file=str(args.file), files=len(done.files), rows=sum(done.rows.values()))))
    return 0


def _merge(args: argparse.Namespace, paths: "Paths") -> int:
    """With the daemon kept out: the whole archive is one transaction."""
    from pourcall.cli.probes.probe_facts import who_of
    from pourcall.daemon.clock import RealClock
    from pourcall.daemon.process.process_lock import SingleLock
    from pourcall.records.upkeep.merge import merge

    with SingleLock(paths.lock):
        done = merge(
            args.file,
            paths,
            mark=args.mark,
            who=args.who or who_of() or "shop",
            utc_s=RealClock().utc_s(),
            dry_run=args.dry_run,
        )
    if done.nothing:
        print(say(tell("cli.merge.nothing")))
        return 0
    for theirs, ours in done.melts:
        print(say(tell("cli.merge.melt_would" if args.dry_run else "cli.merge.melt", theirs=theirs, ours=ours)))
    rows = ", ".join(f"{count} {table}" for table, count in sorted(done.rows.items()))
    told = tell(
        "cli.merge.rows_would" if args.dry_run else "cli.merge.rows",
        mark=done.mark,
        rows=rows or "-",
        photos=done.photos,
    )
    print(say(told))
    for name in done.aside:
        print(say(tell("cli.merge.aside_would" if args.dry_run else "cli.merge.aside", file=name)))
    return 0
