"""`pourcall serve`."""

import argparse
import sys
from pathlib import Path

from pourcall.cli.common import our_paths
from pourcall.contract.errors import BadInput


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Settings file, and a TCP port where wanted."""
    parser.add_argument("--settings", type=Path, help="another settings file than the usual one")
    parser.add_argument(
        "--tcp", type=int, metavar="PORT", help="listen on loopback TCP too (a token is written beside the socket)"
    )


def run(args: argparse.Namespace) -> int:
    """Until told to stop."""
    from pourcall.daemon.main import serve

    if args.tcp is not None and not 0 <= args.tcp <= 65535:
        raise BadInput(f"there is no TCP port {args.tcp}", remedy="Choose 1024 to 65535, or 0 for a free one")
    paths = our_paths()
    settings = args.settings or paths.settings

    def ready() -> None:
        print(f"pourcall is listening; the dashboard is `pourcall watch`; the log is {paths.log}", file=sys.stderr)

    return serve(settings, paths, tcp_port=args.tcp, on_ready=ready)
