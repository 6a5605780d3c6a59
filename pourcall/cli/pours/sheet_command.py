"""`pourcall sheet`. One page of a pour to pin on the wall, and its drawing alone."""

import argparse
from pathlib import Path

from pourcall.cli.common import add_unit, local_time, our_paths, settings_or_none, unit_of
from pourcall.cli.parser import option
from pourcall.contract.errors import PourcallError
from pourcall.contract.message import Told, tell
from pourcall.texts import say


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Which pour, and where to."""
    parser.add_argument("pour", help=option("shared.pour"))
    parser.add_argument("--html", type=Path, default=None, metavar="FILE", help=option("sheet.html"))
    parser.add_argument("--pdf", type=Path, default=None, metavar="FILE", help=option("shared.pdf"))
    parser.add_argument("--png", type=Path, default=None, metavar="FILE", help=option("sheet.png"))
    parser.add_argument("--paper", choices=["a4", "letter"], default="a4", help=option("sheet.paper"))
    parser.add_argument("--plot", "--svg", type=Path, default=None, metavar="FILE", help=option("sheet.plot"))
    add_unit(parser)


def run(args: argparse.Namespace) -> int:
    """The page, or what was asked for instead of it."""
    from pourcall.records.read.facts import pour_facts
    from pourcall.records.read.store import Store
    from pourcall.reports.drawings.pictures import pdf_png, write_pictures
    from pourcall.reports.drawings.pour_plot import both_svg
    from pourcall.reports.pages.as_html import html as as_html
    from pourcall.reports.pages.as_pdf import pdf as as_pdf
    from pourcall.reports.pages.pour_sheet import pour_sheet
    from pourcall.texts import say

    unit, paths = unit_of(args), our_paths()
    with Store.read(paths.database) as store:
        facts = pour_facts(store, args.pour)
    drawings = {} if args.plot is None else {args.plot: both_svg(facts, unit)}
    pages: dict[Path, str | bytes] = {}
    settings = settings_or_none()
    material = "green_sand" if facts.mould is None else facts.mould.material
    furnace = None if settings is None else settings.furnace.get(facts.furnace)
    fuel = furnace is not None and furnace.kind == "fuel"
    sheet = pour_sheet(
        facts,
        paths.photos,
        unit=unit,
        cautions=caution_lines(facts.row.alloy, material, fuel=fuel),
        shop="" if settings is None else settings.shop.name,
        clock=local_time,
    )
    html = args.html
    if html is None and not drawings and args.pdf is None and args.png is None:
        html = Path(f"pour-{facts.row.pour}.html")
    if html is not None:
        pages[html] = as_html(sheet)
    if args.pdf is not None or args.png is not None:
        page = as_pdf(sheet, paper=args.paper)
        if args.pdf is not None:
            pages[args.pdf] = page
        if args.png is not None:
            pages[args.png] = pdf_png(page)
    write_pictures(drawings, pages)
    for path in (*drawings, *pages):
        print(say(tell("sheet.written_page", file=str(path)) if path == html else str(path)))
    return 0


def caution_lines(alloy: str, material: str, *, fuel: bool = False) -> list[Told]:
    """What else can hurt with this alloy, mould and fire. A sheet that is gone or broken leaves what holds for all."""
    from pourcall.metal.alloys.sheet import load_sheets
    from pourcall.metal.vapour.cautions import cautions

    try:
        sheet = load_sheets(our_paths().alloys).get(alloy)
        return [say(caution.text) for caution in cautions(sheet, (material,), fuel=fuel)]
    except PourcallError:
        return [tell("sheet.no_hazards", alloy=alloy)]
