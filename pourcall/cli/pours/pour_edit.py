"""`pourcall pour correct` and `pour complete`. What was wrong about a pour, and what hot hands could not tell."""

import argparse

from pourcall.cli.common import our_paths
from pourcall.cli.melts.moments import moment
from pourcall.cli.parser import option
from pourcall.cli.pours.entering import enter
from pourcall.contract.entries import Entry, PourCompletion, PourCorrection
from pourcall.contract.errors import BadInput
from pourcall.contract.message import tell


def add_arguments(subs: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """The sub-commands of `pour`."""
    correct = subs.add_parser(
        "correct", help=option("pour_edit.correct"), description=option("pour_edit.correct.about")
    )
    correct.add_argument("pour", help=option("shared.pour"))
    correct.add_argument("--at", default="", metavar="TIME", help=option("pour_edit.correct.at"))
    correct.add_argument("--lift", default="", metavar="TIME", help=option("pour_edit.correct.lift"))
    correct.add_argument("--no-lift", action="store_true", help=option("pour_edit.correct.no_lift"))
    correct.add_argument("--mould", default="", help=option("pour_edit.correct.mould"))
    correct.add_argument("--not-poured", default=None, metavar="WHY", help=option("pour_edit.correct.not_poured"))
    correct.add_argument("--restore", action="store_true", help=option("pour_edit.correct.restore"))
    correct.add_argument("--why", default="", help=option("shared.why_2"))
    complete = subs.add_parser("complete", help=option("pour_edit.complete"))
    complete.add_argument("pour", help=option("shared.pour"))
    complete.add_argument("--setup", "--mould", default="", metavar="NAME", help=option("pour_edit.complete.setup"))
    complete.add_argument("--batch", default="", help=option("shared.batch"))
    complete.add_argument("--note", default="", help=option("shared.vents"))
    complete.add_argument("--tag", action="append", default=[], help=option("pour_edit.complete.tag"))
    for sub in (correct, complete):
        sub.add_argument("--who", default="shop", help=option("shared.who"))


def run(args: argparse.Namespace) -> int:
    """The entry, and what was done."""
    entry = _correction(args) if args.what == "correct" else _completion(args)
    return enter(entry)


def _correction(args: argparse.Namespace) -> Entry:
    at_utc_s = lift_utc_s = None
    if args.at or args.lift:
        from pourcall.records.read.store import Store

        with Store.read(our_paths().database) as store:
            found = store.pour(args.pour)
        at_utc_s = moment(args.at, found.row.at_utc_s) if args.at else None
        if args.lift:
            near_s = found.lift_utc_s if found.lift_utc_s is not None else found.row.at_utc_s
            lift_utc_s = moment(args.lift, near_s)
    not_poured = args.not_poured is not None
    if not_poured and args.why:
        raise BadInput(
            tell("usage.contradict", first="--not-poured WHY", second="--why"), remedy=tell("usage.contradict.remedy")
        )
    if not_poured and not args.not_poured.strip():
        raise BadInput(tell("correction.no_reason"), where=args.pour, remedy=tell("correction.no_reason.remedy"))
    return PourCorrection(
        pour=args.pour,
        at_utc_s=at_utc_s,
        lift_utc_s=lift_utc_s,
        no_lift=args.no_lift,
        mould=args.mould,
        not_poured=not_poured,
        restore=args.restore,
        why=args.not_poured if not_poured else args.why,
        who=args.who,
    )


def _completion(args: argparse.Namespace) -> Entry:
    return PourCompletion(
        pour=args.pour, setup=args.setup, batch=args.batch, note=args.note, tags=tuple(args.tag), who=args.who
    )
