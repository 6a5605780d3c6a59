"""Room: `pourcall serve`."""

import argparse
import sys
from pathlib import Path

from pourcall.cli.common import our_paths


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Settings file, and a TCP port where wanted."""
    parser.add_argument("--settings", type=Path, help="another settings file than the usual one")
    parser.add_argument(
        "--tcp", type=int, metavar="PORT", help="listen on loopback TCP too (a token is written beside the socket)"
    )


def run(args: argparse.Namespace) -> int:
    """Until told to stop."""
    from pourcall.daemon.main import serve

    paths = our_paths()
    settings = args.settings or paths.settings

    def ready() -> None:
        print(f"pourcall is listening; the dashboard is `pourcall watch`; the log is {paths.log}", file=sys.stderr)

    return serve(settings, paths, tcp_port=args.tcp, on_ready=ready)
