"""Room: `pourcall sheet`. One page of a pour to pin on the wall, and its drawing alone."""

import argparse
from pathlib import Path

from pourcall.cli.common import add_unit, local_time, our_paths, settings_or_none, unit_of
from pourcall.contract.errors import PourcallError


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Which pour, and where to."""
    parser.add_argument("pour", help="such as 2026-014-1")
    parser.add_argument("--html", type=Path, default=None, metavar="FILE", help="the page (default: pour-POUR.html)")
    parser.add_argument("--svg", type=Path, default=None, metavar="FILE", help="the drawing alone, instead of the page")
    add_unit(parser)


def run(args: argparse.Namespace) -> int:
    """The page, or the drawing."""
    from pourcall.daemon.records.chart import both_svg
    from pourcall.daemon.records.csvtext import write_texts
    from pourcall.daemon.records.facts import pour_facts
    from pourcall.daemon.records.sheet import sheet_html
    from pourcall.daemon.records.store import Store

    unit, paths = unit_of(args), our_paths()
    with Store.read(paths.database) as store:
        facts = pour_facts(store, args.pour)
    texts: dict[Path, str] = {}
    if args.svg is not None:
        texts[args.svg] = both_svg(facts, unit)
    if args.svg is None or args.html is not None:
        settings = settings_or_none()
        material = "green_sand" if facts.mould is None else facts.mould.material
        texts[args.html or Path(f"pour-{facts.row.pour}.html")] = sheet_html(
            facts, paths.photos, unit=unit, cautions=caution_lines(facts.row.alloy, material),
            shop="" if settings is None else settings.shop.name, clock=local_time,
        )  # fmt: skip
    write_texts(texts)
    for path in texts:
        hint = "; print it from a browser, on paper or to PDF" if path.suffix != ".svg" else ""
        print(f"{path}{hint}")
    return 0


def caution_lines(alloy: str, material: str) -> list[str]:
    """What else can hurt with this alloy in this mould. A sheet that is gone or broken leaves what holds for all."""
    from pourcall.profiles.cautions import cautions
    from pourcall.profiles.sheet import load_sheets

    try:
        return [caution.text for caution in cautions(load_sheets(our_paths().alloys).get(alloy), (material,))]
    except PourcallError:
        return [f"No alloy sheet for {alloy}: its own hazards are not listed. Keep water away from metal."]
