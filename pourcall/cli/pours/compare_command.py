"""`pourcall compare`. Pours side by side: what differs, differences first."""

import argparse
from pathlib import Path

from pourcall.cli.common import add_json, add_unit, local_time, our_paths, print_json, unit_of


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Which pours."""
    parser.add_argument("pours", nargs="+", metavar="POUR", help="two to eight, such as 2026-014-1 2026-015-1")
    parser.add_argument(
        "--align", choices=["pour", "liquidus"], default="pour", help="what stands at zero in the drawing"
    )
    parser.add_argument(
        "--plot",
        "--svg",
        type=Path,
        default=None,
        metavar="FILE",
        help="write the drawing: .svg, or .png and .pdf with the extra `pictures`",
    )
    parser.add_argument("--html", type=Path, default=None, metavar="FILE", help="write everything as one page")
    parser.add_argument("--pdf", type=Path, default=None, metavar="FILE", help="the page as PDF (extra `pictures`)")
    add_json(parser)
    add_unit(parser)


def run(args: argparse.Namespace) -> int:
    """Text or JSON, and the files asked for."""
    from pourcall.contract.message import tell
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
