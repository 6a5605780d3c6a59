"""`pourcall watch`. The dashboard of a daemon that runs."""

import argparse

from pourcall.cli.common import add_unit, our_paths, settings_or_none, unit_of
from pourcall.cli.parser import option
from pourcall.contract.settings import Sound


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Unit, furnace, and where else a daemon may be."""
    add_unit(parser)
    parser.add_argument("--furnace", default="", help=option("watch.furnace"))
    parser.add_argument("--url", default="", help=option("watch.url"))
    parser.add_argument("--token", default="", help=option("watch.token"))
    parser.add_argument("--steady", action="store_true", help=option("watch.steady"))
    parser.add_argument("--quiet", action="store_true", help=option("watch.quiet"))


def run(args: argparse.Namespace) -> int:
    """Until the person leaves."""
    from pourcall.tui.main import address_for, run_dashboard

    paths, settings = our_paths(), settings_or_none()
    sound = Sound(player="off") if args.quiet else settings.sound if settings is not None else Sound()
    return run_dashboard(
        address_for(paths, url=args.url, token=args.token),
        unit=unit_of(args),
        sound=sound,
        furnace=args.furnace,
        steady_marks=args.steady,
        log_file=paths.data / "dashboard.log",
    )
