"""`pourcall advise`. What temperature next for one mould setup, how sure that is, and why."""

import argparse
from pathlib import Path

from pourcall.cli.common import add_json, add_unit, our_paths, print_json, unit_of
from pourcall.cli.parser import option
from pourcall.contract.errors import BadInput
from pourcall.contract.message import tell
from pourcall.contract.quantities import millimetres, share
from pourcall.texts import say, sentence


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Which setup, and how it is told."""
    parser.add_argument("setup", help=option("advise.setup"))
    parser.add_argument("--alloy", default="", help=option("advise.alloy"))
    parser.add_argument("--mm", default="", metavar="LENGTH", help=option("advise.mm"))
    parser.add_argument("--material", default="", help=option("advise.material"))
    parser.add_argument("--level", default="80%", help=option("advise.level"))
    parser.add_argument(
        "--accept", type=int, default=0, choices=(0, 1, 2), metavar="0|1|2", help=option("advise.accept")
    )
    known = parser.add_mutually_exclusive_group()
    known.add_argument("--since", default="", metavar="POUR", help=option("advise.since"))
    known.add_argument("--unchanged", action="store_true", help=option("advise.unchanged"))
    parser.add_argument("--plot", type=Path, default=None, metavar="FILE", help=option("advise.plot"))
    add_json(parser)
    add_unit(parser)


def run(args: argparse.Namespace) -> int:
    """Read the records, work it out, say it."""
    from pourcall.metal.alloys.sheet import load_sheets
    from pourcall.metal.windows import check_material
    from pourcall.records.read.store import Store
    from pourcall.reports.drawings.pictures import ending_of, write_pictures
    from pourcall.trials.gather import setup_data
    from pourcall.trials.model import advise

    level = _level(args.level)
    if args.plot is not None:
        ending_of(args.plot)  # before the work, not after it
    if args.material:
        check_material(args.material)
    thinnest_mm = millimetres(args.mm, bare=True, where="--mm") if args.mm else None
    unit = unit_of(args)
    paths = our_paths()
    if not args.json and _nothing_yet(paths.database, args.alloy):
        begin = (tell("cli.advise.nothing_yet", setup=args.setup), tell("cli.advise.see_invented"))
        print("\n".join(say(told, unit) for told in (*begin, tell("cli.advise.first_pour"))))
        return 0
    with Store.read(paths.database) as store:
        data = setup_data(
            store,
            args.setup,
            load_sheets(paths.alloys),
            alloy=args.alloy,
            thinnest_mm=thinnest_mm,
            material=args.material,
            since=args.since,
            unchanged=args.unchanged,
        )
    advice = advise(data, level=level, accept=args.accept)
    if args.plot is not None:
        from pourcall.reports.drawings.advice_plot import advice_svg

        write_pictures({args.plot: advice_svg(advice, unit)})
    if args.json:
        print_json(advice)
        return 0
    print(f"{data.setup}, {data.alloy_name}" + (f", {data.thinnest_mm:g} mm" if data.thinnest_mm is not None else ""))
    for told in advice.words:
        print(f"  {sentence(told, unit)}")
    if args.plot is not None:
        print(f"  {say(tell('advice.drawn', file=str(args.plot)))}")
    return 0


def _nothing_yet(database: Path, alloy: str) -> bool:
    """A shop that has just begun: no record, or one without a melt, and no alloy whose sheet could speak instead."""
    from pourcall.records.read.store import Store

    if not database.exists():
        return True
    with Store.read(database) as store:
        return not alloy and not store.melts(limit=1)


def _level(text: str) -> float:
    """`80%`, `0.8`, `80`. Raises BadInput."""
    try:
        level = share(text)
    except BadInput:
        level = 0.0
    if 1.0 < level <= 100.0:
        level /= 100.0
    if not 0.05 <= level <= 0.99:
        raise BadInput(tell("usage.level", word=text), remedy=tell("usage.level.remedy"))
    return level
