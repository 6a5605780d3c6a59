"""`pourcall thin`. Old readings given up, on request only, behind a whole backup, never beside a daemon."""

import argparse
import sys
from pathlib import Path

import msgspec

from pourcall.cli.common import add_json, local_time, our_paths, print_json
from pourcall.cli.parser import option
from pourcall.contract.errors import Refused
from pourcall.contract.message import tell
from pourcall.contract.paths import Paths
from pourcall.contract.quantities import days, seconds
from pourcall.texts import say, written

_DAY_S = 86_400.0


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What, how thin, and what makes it safe."""
    parser.add_argument("--older-than", required=True, metavar="AGE", help=option("thin.older_than"))
    parser.add_argument("--keep-every", default="10s", metavar="TIME", help=option("thin.keep_every"))
    parser.add_argument("--dry-run", action="store_true", help=option("thin.dry_run"))
    group = parser.add_mutually_exclusive_group()
    group.add_argument("--backup", type=Path, default=None, metavar="FILE", help=option("thin.backup"))
    group.add_argument("--no-backup", action="store_true", help=option("thin.no_backup"))
    parser.add_argument("--why", default="", help=option("shared.why_2"))
    parser.add_argument("--who", default="", help=option("thin.who"))
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """A backup, then the thinning, with the daemon kept out."""
    from pourcall.cli.probes.probe_facts import who_of
    from pourcall.daemon.clock import RealClock
    from pourcall.daemon.process.process_lock import SingleLock
    from pourcall.records.read.store import Store
    from pourcall.records.upkeep.thinning import thin

    paths = our_paths()
    older_than_s = days(args.older_than, where="--older-than") * _DAY_S
    keep_every_s = seconds(args.keep_every, where="--keep-every")
    utc_s = RealClock().utc_s()
    Store.read(paths.database).close()  # says it where there is none
    with SingleLock(paths.lock):
        if not args.dry_run:
            _backed_up(args, paths, utc_s)
        done = thin(
            paths.database,
            older_than_s=older_than_s,
            keep_every_s=keep_every_s,
            who=args.who or who_of() or "shop",
            why=args.why,
            utc_s=utc_s,
            dry_run=args.dry_run,
        )
    if args.json:
        print_json(msgspec.structs.asdict(done) | {"unshrunk": written(done.unshrunk)})
        return 0
    if not done.rows_given_up:
        print(say(tell("cli.thin.nothing", at=local_time(done.until_utc_s))))
    else:
        told = tell(
            "cli.thin.would" if args.dry_run else "cli.thin.done",
            count=f"{done.rows_given_up:,}",
            of=f"{done.rows_before:,}",
            begin=local_time(done.from_utc_s),
            end=local_time(done.to_utc_s),
            every_s=keep_every_s,
        )
        print(say(told))
        print(say(tell("cli.thin.kept")))
    before = f"{done.bytes_before / 1e6:.1f} MB"
    if args.dry_run:
        rows_share = done.rows_given_up / max(done.rows_before, 1)
        print(say(tell("cli.thin.dry_run", rows_share=rows_share, size=before)))
    elif done.bytes_after != done.bytes_before:
        print(say(tell("cli.thin.size", now=f"{done.bytes_after / 1e6:.1f} MB", before=before)))
    if done.unshrunk:
        print(say(tell("cli.thin.note", why=done.unshrunk)), file=sys.stderr)
    return 0


def _backed_up(args: argparse.Namespace, paths: Paths, utc_s: float) -> None:
    """A whole archive of this record as it is now, made here or before. Raises Refused where there is none."""
    from pourcall.records.read.store import Store
    from pourcall.records.upkeep.backup import back_up, covers, last_backup

    if args.no_backup:
        return
    with Store.read(paths.database) as store:
        if args.backup is not None:
            back_up(store, paths, args.backup, utc_s=utc_s)
            print(say(tell("cli.thin.backup", file=str(args.backup))), file=sys.stderr)
            return
        last = last_backup(paths)
        if last is not None and covers(last, store):
            made = tell("cli.thin.backup_known", file=last.file, at=local_time(last.made_utc_s))
            print(say(made), file=sys.stderr)
            return
    raise Refused(tell("cli.thin.no_backup"), remedy=tell("cli.thin.no_backup.remedy"))
