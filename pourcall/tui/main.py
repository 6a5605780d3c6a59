"""The way into the dashboard, for the command line. Finds the daemon's address, sends logs to a file, runs it."""

import logging
import os
import sys
from pathlib import Path

from pourcall.contract.errors import DaemonError
from pourcall.contract.message import tell
from pourcall.contract.paths import Paths
from pourcall.contract.settings import Sound
from pourcall.contract.units import Unit
from pourcall.tui.client import Address

LOG_BYTES = 1_000_000


def address_for(paths: Paths, *, url: str = "", token: str = "") -> Address:
    """Where to look for the daemon: the socket of this installation, or a URL with a token (from its file if empty).

    The token file holds `127.0.0.1:PORT TOKEN`: where there is no socket, both are taken from it. Raises DaemonError
    when a URL is given and there is no token to be found.
    """
    if url and token:
        return Address(url=url, token=token)
    if not url and (paths.socket.exists() or not paths.token.exists()):
        return Address(socket=paths.socket)
    try:
        place, said = paths.token.read_text(encoding="ascii").split()
    except (OSError, ValueError) as err:
        raise DaemonError(
            tell("screen.link.no_token"), where=str(paths.token), remedy=tell("screen.link.no_token.do")
        ) from err
    return Address(url=url or f"http://{place}", token=token or said)


def run_dashboard(
    address: Address,
    *,
    unit: Unit = Unit.C,
    sound: Sound | None = None,
    furnace: str = "",
    steady_marks: bool = False,
    log_file: Path | None = None,
) -> int:
    """Show the dashboard until the person leaves; the exit code.

    `steady_marks` draws a `*` where marks would blink. The dashboard draws on standard error, so log lines go to
    `log_file`, or nowhere. Raises DaemonError where there is no terminal to draw on.
    """
    if not sys.stderr.isatty() or not sys.stdin.isatty():
        raise DaemonError(tell("screen.no_terminal"), remedy=tell("screen.no_terminal.do"))
    from pourcall.tui.app import Dashboard

    handler = _log_to(log_file)
    try:
        app = Dashboard(
            address,
            unit=unit,
            sound=sound,
            furnace=furnace,
            steady_marks=steady_marks or bool(os.environ.get("POURCALL_STEADY")),
        )
        code = app.run()
        return app.return_code or code or 0
    finally:
        if handler is not None:
            logging.getLogger("pourcall").removeHandler(handler)
            handler.close()


def _log_to(log_file: Path | None) -> logging.Handler | None:
    """Our log lines into a file that cannot grow for ever; none on the screen."""
    root = logging.getLogger("pourcall")
    root.propagate = False
    if log_file is None:
        root.addHandler(logging.NullHandler())
        return None
    from logging.handlers import RotatingFileHandler

    log_file.parent.mkdir(parents=True, exist_ok=True)
    handler = RotatingFileHandler(log_file, maxBytes=LOG_BYTES, backupCount=1, encoding="utf-8")
    handler.setFormatter(logging.Formatter("%(asctime)s %(levelname)s %(name)s: %(message)s"))
    root.addHandler(handler)
    return handler
