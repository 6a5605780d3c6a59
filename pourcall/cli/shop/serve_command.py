"""`pourcall serve`. The daemon in the foreground, until it is told to stop."""

import argparse
import sys
from pathlib import Path

from pourcall.cli.common import our_paths
from pourcall.cli.parser import option
from pourcall.contract.errors import BadInput
from pourcall.contract.message import tell
from pourcall.texts import say


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Settings file, and a TCP port where wanted."""
    parser.add_argument("--settings", type=Path, help=option("serve.settings"))
    parser.add_argument("--tcp", type=int, metavar="PORT", help=option("serve.tcp"))


def run(args: argparse.Namespace) -> int:
    """Until told to stop."""
    from pourcall.daemon.main import serve

    if args.tcp is not None and not 0 <= args.tcp <= 65535:
        raise BadInput(tell("cli.serve.no_port", port=args.tcp), remedy=tell("cli.serve.no_port.remedy"))
    paths = our_paths()
    settings = args.settings or paths.settings

    def ready() -> None:
        print(say(tell("cli.serve.listening", log=str(paths.log))), file=sys.stderr)

    return serve(settings, paths, tcp_port=args.tcp, on_ready=ready)
