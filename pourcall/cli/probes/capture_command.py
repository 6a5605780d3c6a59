"""`pourcall capture`. Raw bytes of a port into a file, which may become a test or be looked at later."""

import argparse
import math
import sys
import time
from pathlib import Path

from pourcall.cli.parser import option
from pourcall.contract.errors import BadInput
from pourcall.contract.message import tell
from pourcall.contract.quantities import seconds
from pourcall.texts import say


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Port and file."""
    parser.add_argument("port", help=option("capture.port"))
    parser.add_argument("file", type=Path)
    parser.add_argument("--baud", type=int, default=115_200)
    parser.add_argument("--for", dest="lasts", default="", metavar="30s", help=option("capture.for"))
    parser.add_argument("--bytes", type=int, default=0, help=option("capture.bytes"))


def run(args: argparse.Namespace) -> int:
    """Until told to stop."""
    from pourcall.drivers.capture import capture_port, sidecar_of
    from pourcall.drivers.ports import list_ports, resolve
    from pourcall.drivers.wire.registry import queries

    if args.file.exists():
        raise BadInput(tell("usage.capture.file"), where=str(args.file), remedy=tell("usage.capture.file.remedy"))
    most_s = seconds(args.lasts, where="--for") if args.lasts else math.inf
    if args.bytes < 0:
        raise BadInput(tell("usage.capture.ends"), remedy=tell("usage.capture.ends.remedy"))
    port = resolve(args.port, list_ports()) if args.port.startswith("usb:") else args.port
    stopped = told = False

    def keep_on(elapsed_s: float, size: int) -> bool:
        nonlocal told
        if not told:  # only now is the port open
            told = True
            print(say(tell("cli.capture.running")), file=sys.stderr)
        return not (stopped or most_s <= elapsed_s or 0 < args.bytes <= size)

    import signal

    def stop(*_: object) -> None:
        nonlocal stopped
        stopped = True

    before = signal.signal(signal.SIGINT, stop)
    try:
        size = capture_port(
            port, args.file, baud=args.baud, mono_s=time.monotonic, utc_s=time.time, keep_on=keep_on, send=queries()
        )
    finally:
        signal.signal(signal.SIGINT, before)
    print(say(tell("cli.capture.done", count=size, file=str(args.file), sidecar=sidecar_of(args.file).name)))
    return 0
