"""Days, months and years as a person types them, in the time of the place."""

import argparse
import re
from datetime import datetime

from pourcall.cli.parser import option
from pourcall.contract.errors import BadInput
from pourcall.contract.message import tell

_TYPED = re.compile(r"(\d{4})(?:-(\d{1,2})(?:-(\d{1,2}))?)?")


def add_period(parser: argparse.ArgumentParser) -> None:
    """`--since 2026-09 --until 2026-10-15`, both of them included."""
    parser.add_argument("--since", default="", metavar="DATE", help=option("periods.since"))
    parser.add_argument("--until", default="", metavar="DATE", help=option("periods.until"))


def period_of(args: argparse.Namespace) -> tuple[float | None, float | None]:
    """(since, until) in UTC seconds, until not included. Raises BadInput for what is no date, or is turned round."""
    since_s = bounds(args.since)[0] if args.since else None
    until_s = bounds(args.until)[1] if args.until else None
    if since_s is not None and until_s is not None and until_s <= since_s:
        raise BadInput(tell("usage.period", since=args.since, until=args.until), remedy=tell("usage.period.remedy"))
    return since_s, until_s


def bounds(text: str) -> tuple[float, float]:
    """Beginning and end of a day, month or year, in UTC seconds, as the clock on the wall here has them."""
    found = _TYPED.fullmatch(text.strip())
    if found is None:
        raise BadInput(tell("usage.date", word=text), remedy=tell("usage.date.remedy"))
    year, month, day = (None if part is None else int(part) for part in found.groups())
    try:
        first = datetime(year or 0, month or 1, day or 1)  # noqa: DTZ001  (local on purpose)
        if month is None:
            after = first.replace(year=first.year + 1)
        elif day is None:
            after = first.replace(year=first.year + first.month // 12, month=first.month % 12 + 1)
        else:
            after = datetime.fromordinal(first.toordinal() + 1)
        return first.timestamp(), after.timestamp()
    except (ValueError, OverflowError, OSError) as err:
        raise BadInput(tell("usage.date", word=text), remedy=tell("usage.date.remedy")) from err
