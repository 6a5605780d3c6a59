"""`pourcall watch`. The dashboard of a daemon that runs."""

import argparse

from pourcall.cli.common import add_unit, our_paths, settings_or_none, unit_of
from pourcall.contract.settings import Sound


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Unit, furnace, and where else a daemon may be."""
    add_unit(parser)
    parser.add_argument("--furnace", default="", help="show this furnace first")
    parser.add_argument("--url", default="", help="a daemon on loopback TCP, such as http://127.0.0.1:8765")
    parser.add_argument("--token", default="", help="its token (default: the token file of this installation)")
    parser.add_argument("--steady", action="store_true", help="no blinking: a steady * instead")
    parser.add_argument("--quiet", action="store_true", help="no sound from this dashboard")


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
