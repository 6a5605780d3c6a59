"""`pourcall pour`. Marks and results through the daemon; lists and shows from the record.

Not here: what one pour looks like (pour_show.py), corrections and completions (pour_edit.py), photos (photos.py).
"""

import argparse
from collections.abc import Sequence
from typing import TYPE_CHECKING

from pourcall.cli.client import DaemonClient
from pourcall.cli.common import (
    add_json,
    add_unit,
    local_time,
    our_paths,
    print_json,
    print_listing,
    print_table,
    unit_of,
)
from pourcall.cli.invented import say_invented
from pourcall.cli.melts.melt_command import add_sure, print_result
from pourcall.cli.parser import option
from pourcall.cli.periods import add_period, period_of
from pourcall.cli.pours import photos, pour_edit
from pourcall.cli.pours.pour_show import pour_lines
from pourcall.contract.api import FoundDefect, ResultRequest
from pourcall.contract.entries import SOUND
from pourcall.contract.errors import BadInput
from pourcall.contract.inputs import MarkLift, MarkPour, MarkReturn
from pourcall.contract.message import Message, tell
from pourcall.contract.quantities import seconds
from pourcall.contract.units import Unit, format_temperature, format_window
from pourcall.texts import say, word

if TYPE_CHECKING:
    from pourcall.records.read.views import PourFilter


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Sub-commands."""
    subs = parser.add_subparsers(
        dest="what", required=True, metavar="mark|lift|back|correct|complete|result|photo|list|show"
    )
    mark = subs.add_parser("mark", help=option("pour.mark"))
    mark.add_argument("--mould", default="", help=option("pour.mark.mould"))
    lift = subs.add_parser("lift", help=option("pour.lift"))
    back = subs.add_parser("back", help=option("pour.back"))
    for sub in (mark, lift, back):
        sub.add_argument("--ago", default="", help=option("pour.ago"))
        sub.add_argument("--furnace", default="")
        sub.add_argument("--who", default="shop")
    add_sure(mark)
    add_sure(lift)
    result = subs.add_parser("result", help=option("pour.result"), description=option("pour.result.about"))
    result.add_argument("pour", nargs="?", default="", help=option("shared.pour"))
    result.add_argument("findings", nargs="*", metavar="FINDING", help=option("pour.result.findings"))
    result.add_argument(
        "--defect", action="append", default=[], metavar="DEFECT:SEVERITY[@PLACE]", help=option("pour.result.defect")
    )
    result.add_argument("--detail", default="", help=option("pour.result.detail"))
    result.add_argument("--correct", action="store_true", help=option("pour.result.correct"))
    result.add_argument("--classes", action="store_true", help=option("pour.result.classes"))
    result.add_argument("--who", default="shop", help=option("pour.result.who"))
    pour_edit.add_arguments(subs)
    photos.add_arguments(subs)
    listing = subs.add_parser("list", help=option("pour.list"))
    listing.add_argument("--melt", default=None)
    listing.add_argument("--setup", default=None, help=option("pour.listing.setup"))
    listing.add_argument("--batch", default=None, help=option("pour.listing.batch"))
    listing.add_argument("--tag", default=None, help=option("pour.listing.tag"))
    listing.add_argument("--alloy", default=None)
    listing.add_argument("--furnace", default=None)
    add_period(listing)
    listing.add_argument("--defect", default=None, help=option("pour.listing.defect"))
    listing.add_argument("--awaiting", action="store_true", help=option("pour.listing.awaiting"))
    listing.add_argument("--limit", type=int, default=20)
    show = subs.add_parser("show", help=option("pour.show"))
    show.add_argument("pour", help=option("shared.pour"))
    for sub in (listing, show):
        add_json(sub)
        add_unit(sub)


def run(args: argparse.Namespace) -> int:
    """The sub-command."""
    if args.what in ("mark", "lift", "back"):
        told = _mark(args)  # what was typed wrongly is said whether a daemon runs or not
        client = DaemonClient()
        print_result(client, client.furnace(args.furnace), told)
        return 0
    if args.what == "result":
        return _result(args)
    if args.what == "photo":
        return photos.run(args)
    if args.what in ("correct", "complete"):
        return pour_edit.run(args)
    from pourcall.records.read.store import Store

    unit = unit_of(args)
    if args.what == "list":
        return _list(args, unit)
    with Store.read(our_paths().database) as store:
        detail = store.pour(args.pour)
    if args.json:
        print_json(detail)
        return 0
    for line in pour_lines(detail, unit):
        print(line)
    say_invented([detail.row.melt])
    return 0


def _mark(args: argparse.Namespace) -> MarkPour | MarkLift | MarkReturn:
    ago_s = seconds(args.ago) if args.ago else 0.0
    if args.what == "back":
        return MarkReturn(ago_s=ago_s, who=args.who)
    if args.what == "lift":
        return MarkLift(ago_s=ago_s, who=args.who, sure=args.sure)
    return MarkPour(ago_s=ago_s, mould=args.mould, who=args.who, sure=args.sure)


def _list(args: argparse.Namespace, unit: Unit) -> int:
    from pourcall.records.read.store import Store

    since_s, until_s = period_of(args)
    only: PourFilter = {
        "melt": args.melt,
        "setup": args.setup,
        "alloy": args.alloy,
        "defect": _defect_key(args.defect),
        "awaiting": args.awaiting,
        "furnace": args.furnace,
        "since_utc_s": since_s,
        "until_utc_s": until_s,
        "batch": args.batch,
        "tag": args.tag,
    }
    with Store.read(our_paths().database) as store:
        rows = store.pours(limit=args.limit, **only)
    print_listing(
        args,
        rows,
        {
            "pour": lambda row: row.pour,
            "when": lambda row: local_time(row.at_utc_s),
            "mould": lambda row: row.mould,
            "alloy": lambda row: row.alloy,
            "in_pot": lambda row: format_temperature(row.pot_temp_c, unit),
            "at_lip": lambda row: format_temperature(row.lip_temp_c, unit),
            "window": lambda row: format_window(row.lip_min_c, row.lip_max_c, unit),
            "result": lambda row: row.result or "-",
        },
        right=("in_pot", "at_lip"),
        none=tell("cli.pour.none_like_that" if any(only.values()) else "cli.pour.none_yet"),
    )
    if not args.json:
        say_invented(row.melt for row in rows)
    return 0


def _defect_key(name: str | None) -> str | None:
    """The class as the record spells it."""
    from pourcall.trials.defects import find_defect

    return name if name is None or name == SOUND else find_defect(name).key


def _result(args: argparse.Namespace) -> int:
    from pourcall.cli.pours.entering import record_results
    from pourcall.trials.defects import check_findings, defects, parse_finding

    if args.classes:
        print_table(
            ("key", "term", "looks", "tends", "first"),
            [(one.key, one.term, say(one.looks), _tends(one.direction), say(one.first)) for one in defects().values()],
        )
        return 0
    told = [*args.findings, *(_with_equals(text) for text in args.defect)]
    _refuse_nothing(args.pour, told)
    findings = [parse_finding(text) for text in told]
    check_findings(findings)
    found = tuple(
        FoundDefect(defect=one.defect, severity=one.severity, detail=one.detail or args.detail) for one in findings
    )
    record_results(args.pour, ResultRequest(findings=found, who=args.who, correcting=args.correct))
    said = tuple(_found(one.defect, one.severity) for one in findings)
    print(say(tell("cli.pour.result_recorded", pour=args.pour, found=said)))
    return 0


def _found(defect: str, severity: int) -> Message:
    if defect == SOUND:
        return tell("record.sound")
    return tell("defect.graded", defect=defect.replace("_", " "), severity=severity, grade=str(severity))


def _with_equals(text: str) -> str:
    """`misrun:2@gate` as it is written without an option, `misrun=2@gate`."""
    words, at, place = text.partition("@")
    return words.replace(":", "=", 1) + at + place


def _refuse_nothing(pour: str, findings: Sequence[str]) -> None:
    if not pour:
        raise BadInput(tell("cli.pour.none_named"), remedy=tell("cli.pour.none_named.remedy"))
    if not findings:
        raise BadInput(tell("cli.pour.nothing_found"), where=pour, remedy=tell("cli.pour.nothing_found.remedy"))


def _tends(direction: str) -> str:
    return word("tends", direction)
