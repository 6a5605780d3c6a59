"""Room: `pourcall doctor`. Looks at this installation and says what is well, what is not, and what to do."""

import argparse
import shutil
import sys
from collections.abc import Iterator

import msgspec

from pourcall.cli.common import add_json, our_paths, print_json, settings_or_none
from pourcall.contract.errors import PourcallError
from pourcall.contract.version import VERSION

WELL, MIND, FAULT = "well", "mind", "FAULT"


class Finding(msgspec.Struct, frozen=True):
    """One thing looked at."""

    what: str
    state: str  # well, mind, FAULT
    says: str


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Only the form."""
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """All of it; 1 where there is a fault."""
    findings = list(_all())
    if args.json:
        print_json(findings)
    else:
        for finding in findings:
            print(f"{finding.state:<5}  {finding.what}: {finding.says}")
    return int(any(finding.state == FAULT for finding in findings))


def _all() -> Iterator[Finding]:
    yield Finding("program", WELL, f"pourcall {VERSION} on Python {sys.version.split()[0]}, {sys.platform}")
    yield from _settings()
    yield from _record()
    yield from _daemon()
    yield from _ports()
    yield from _sheets()
    player = next((name for name in ("aplay", "paplay", "afplay") if shutil.which(name)), "")
    if player or sys.platform == "win32":
        yield Finding("sound", WELL, f"through {player or 'winsound'}; try it with `pourcall setup`")
    else:
        yield Finding("sound", MIND, "no player found: the terminal bell is all there is. Install alsa-utils")
    yield Finding(
        "safety", MIND, "this program protects nothing: is there an independent over-temperature limit, and tested?"
    )


def _settings() -> Iterator[Finding]:
    path = our_paths().settings
    try:
        settings = settings_or_none()
    except PourcallError as err:
        yield Finding("settings", FAULT, str(err))
        return
    if settings is None:
        yield Finding("settings", MIND, f"none yet at {path}. Run `pourcall setup`, or `pourcall demo` to look around")
        return
    count = f"{len(settings.furnace)} furnaces, {len(settings.board)} boards, {len(settings.probe)} probes"
    yield Finding("settings", WELL, f"{path}: {count}")


def _record() -> Iterator[Finding]:
    path = our_paths().database
    if not path.exists():
        yield Finding("record", WELL, f"none yet; it will be {path}")
        return
    from pourcall.daemon.records.store import Store

    try:
        with Store.read(path) as store:
            melts = len(store.melts(limit=100_000))
    except PourcallError as err:
        yield Finding("record", FAULT, str(err))
        return
    free = shutil.disk_usage(path.parent)
    size = sum(one.stat().st_size for one in path.parent.glob(path.name + "*"))
    state = MIND if free.free < max(1e9, 0.05 * free.total) else WELL
    yield Finding(
        "record", state, f"{path}: {melts} melts, {size / 1e6:.1f} MB; {free.free / 1e9:.1f} GB free on its disk"
    )


def _daemon() -> Iterator[Finding]:
    from pourcall.cli.client import DaemonClient

    try:
        health = DaemonClient().health()
    except PourcallError as err:
        yield Finding("daemon", MIND, str(err))
        return
    yield Finding("daemon", WELL, f"pid {health.pid}, version {health.version}, furnaces {', '.join(health.furnaces)}")


def _ports() -> Iterator[Finding]:
    import os

    from pourcall.drivers.ports import list_ports

    ports = list_ports()
    if not ports:
        yield Finding("ports", MIND, "no serial port is there: plug the amplifier board in")
    for port in ports:
        allowed = not port.device.startswith("/") or os.access(port.device, os.R_OK | os.W_OK)
        named = f" ({port.usb_name})" if port.usb_name else ""
        if allowed:
            yield Finding("port", WELL, f"{port.device}{named} {port.description}".rstrip())
        else:
            yield Finding(
                "port", FAULT, f"{port.device}{named}: no permission. Join its group (usually dialout), log in anew"
            )


def _sheets() -> Iterator[Finding]:
    from pourcall.profiles.sheet import load_sheets

    library = load_sheets(our_paths().alloys)
    faults = library.faults()
    if faults:
        yield Finding("alloy sheets", FAULT, f"{len(faults)} faults: run `pourcall alloy check`")
    else:
        yield Finding("alloy sheets", WELL, f"{len(library.keys())}, all sound")
