"""`pourcall pour correct` and `pour complete`. What was wrong about a pour, and what hot hands could not tell."""

import argparse

from pourcall.cli.common import our_paths
from pourcall.cli.melts.moments import moment
from pourcall.cli.pours.entering import enter
from pourcall.contract.entries import Entry, PourCompletion, PourCorrection
from pourcall.contract.errors import BadInput
from pourcall.contract.message import tell


def add_arguments(subs: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """The sub-commands of `pour`."""
    correct = subs.add_parser(
        "correct",
        help="its time, lift or mould was wrong, or it was no pour; what it was is kept",
        description="Where time, lift or mould change, the temperature at the lip is worked out again from the trace.",
    )
    correct.add_argument("pour", help="such as 2026-014-1")
    correct.add_argument("--at", default="", metavar="TIME", help="14:32:10, or +20s, -15s from what is on record")
    correct.add_argument("--lift", default="", metavar="TIME", help="when the pot was lifted; likewise")
    correct.add_argument("--no-lift", action="store_true", help="it was not lifted, or nobody knows when")
    correct.add_argument("--mould", default="", help="the mould of this melt it really went into")
    correct.add_argument("--not-poured", default=None, metavar="WHY", help="it was no pour, such as 'marked twice'")
    correct.add_argument("--restore", action="store_true", help="everything as it was first marked")
    correct.add_argument("--why", default="", help="for the record")
    complete = subs.add_parser("complete", help="what hot hands could not tell: setup, batch, a note, tags")
    complete.add_argument("pour", help="such as 2026-014-1")
    complete.add_argument("--setup", "--mould", default="", metavar="NAME", help="the mould setup it was poured with")
    complete.add_argument("--batch", default="", help="of the mould material")
    complete.add_argument("--note", default="", help="in words")
    complete.add_argument("--tag", action="append", default=[], help="a word to find it by; again for the next")
    for sub in (correct, complete):
        sub.add_argument("--who", default="shop", help="who says so, for the record")


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
