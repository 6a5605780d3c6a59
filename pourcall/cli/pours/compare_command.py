"""`pourcall compare`. Pours side by side: what differs, differences first."""

import argparse
from pathlib import Path

from pourcall.cli.common import add_json, add_unit, local_time, our_paths, print_json, unit_of
from pourcall.cli.parser import option
from pourcall.contract.message import tell


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Which pours."""
    parser.add_argument("pours", nargs="+", metavar="POUR", help=option("compare.pours"))
    parser.add_argument("--align", choices=["pour", "liquidus"], default="pour", help=option("compare.align"))
    parser.add_argument("--plot", "--svg", type=Path, default=None, metavar="FILE", help=option("compare.plot"))
    parser.add_argument("--html", type=Path, default=None, metavar="FILE", help=option("compare.html"))
    parser.add_argument("--pdf", type=Path, default=None, metavar="FILE", help=option("shared.pdf"))
    add_json(parser)
    add_unit(parser)


def run(args: argparse.Namespace) -> int:
    """Text or JSON, and the files asked for."""
    from pourcall.records.read.facts import pour_facts
    from pourcall.records.read.store import Store
    from pourcall.reports.drawings.pictures import write_pictures
    from pourcall.reports.pages.as_html import html
    from pourcall.reports.pages.as_pdf import pdf
    from pourcall.reports.pages.compare_page import compare_page, comparison_text, overlay
    from pourcall.texts import say
    from pourcall.trials.compare import compare

    unit = unit_of(args)
    with Store.read(our_paths().database) as store:
        several = [pour_facts(store, pour) for pour in args.pours]
    found = compare(several)
    drawings = {} if args.plot is None else {args.plot: overlay(several, args.align, unit)}
    pages: dict[Path, str | bytes] = {}
    if args.html is not None or args.pdf is not None:
        page = compare_page(found, several, align=args.align, unit=unit, clock=local_time)
        pages |= {} if args.html is None else {args.html: html(page)}
        pages |= {} if args.pdf is None else {args.pdf: pdf(page)}
    write_pictures(drawings, pages)
    if args.json:
        print_json(found)
        return 0
    for line in comparison_text(found, several, unit, local_time):
        print(line)
    for path in (*drawings, *pages):
        print(say(tell("comparison.written", file=str(path))))
    return 0
