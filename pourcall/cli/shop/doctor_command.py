"""`pourcall doctor`. Looks at this installation and says what is well, what is not, and what to do."""

import argparse
import shutil
import sys
import time
from collections.abc import Iterator
from typing import TYPE_CHECKING

import msgspec

from pourcall.cli.common import add_json, local_time, our_paths, print_json, settings_or_none
from pourcall.contract.errors import PourcallError
from pourcall.contract.version import VERSION

if TYPE_CHECKING:
    from pourcall.records.read.store import Store

WELL, MIND, FAULT = "well", "mind", "FAULT"
OLD_S = 2 * 365.25 * 86_400.0
WORTH_THINNING = 100e6  # bytes of old readings from which on thinning is worth a word
BACKUP_DAYS = 30.0


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
    from pourcall.records.read.store import Store

    try:
        with Store.read(path) as store:
            melts = len(store.melts(limit=100_000))
            yield from _disk(store, melts)
            yield from _calibrations(store)
    except PourcallError as err:
        yield Finding("record", FAULT, str(err))
        return
    yield _backup(time.time())


def _disk(store: "Store", melts: int) -> Iterator[Finding]:
    """What lies where, how fast it grows, what could be given back."""
    from pourcall.records.upkeep.usage import usage

    paths = our_paths()
    with store.reading() as conn:
        used = usage(conn, paths, older_than_utc_s=time.time() - OLD_S)
    free = shutil.disk_usage(paths.data)
    state = MIND if free.free < max(1e9, 0.05 * free.total) else WELL
    yield Finding(
        "record",
        state,
        f"{paths.database}: {melts} melts, {_mb(used.record)}; {free.free / 1e9:.1f} GB free on its disk",
    )
    kinds = (("photos", used.photos), ("old copies of the record", used.copies), ("of other shops", used.aside))
    others = [f"{_mb(size)} {name}" for name, size in (*kinds, ("log", used.log)) if size]
    grows = "" if used.per_melt_hour is None else f"; an hour of a melt adds about {_mb(used.per_melt_hour)}"
    yield Finding("disk", WELL, f"{_mb(used.record)} record{''.join(f', {one}' for one in others)}{grows}")
    if used.old_bytes > WORTH_THINNING:
        yield Finding(
            "old readings",
            WELL,
            f"about {_mb(used.old_bytes)} are readings older than two years; should the disk get full, most of that "
            "can be given back: `pourcall thin --older-than 2y --dry-run`",
        )


def _backup(utc_s: float) -> Finding:
    """How old the last one is, and whether it is still where it was put."""
    from pathlib import Path

    from pourcall.records.upkeep.backup import last_backup

    last = last_backup(our_paths())
    if last is None:
        return Finding("backup", MIND, "none was made here yet: `pourcall backup FILE`, and keep it elsewhere")
    days = (utc_s - last.made_utc_s) / 86_400.0
    archive = Path(last.file)
    there = f"{_mb(archive.stat().st_size)} in {archive}" if archive.exists() else f"no longer at {archive}"
    says = f"the last is of {local_time(last.made_utc_s)}, {there}"
    return Finding(
        "backup", MIND if days > BACKUP_DAYS else WELL, says + (": time for another" if days > BACKUP_DAYS else "")
    )


def _calibrations(store: "Store") -> Iterator[Finding]:
    """Each probe of the settings: calibrated, due, overdue, or never."""
    from pourcall.records.entries.calibrations import calibrations_in_force

    try:
        settings = settings_or_none()
    except PourcallError:
        return  # told already
    utc_s = time.time()
    for furnace in () if settings is None else settings.furnace:
        assert settings is not None
        types = {name: probe.type for name, probe in settings.probe.items() if probe.furnace == furnace}
        with store.reading() as conn:
            found = calibrations_in_force(conn, furnace, types)
        for name in types:
            what, one = f"calibration of {name}", found.get(name)
            if one is None:
                yield Finding(what, MIND, f"never calibrated: `pourcall calibrate {name} --point ice`")
            elif isinstance(one, PourcallError):
                yield Finding(what, FAULT, f"not used: {one}")
            elif one.overdue(utc_s):
                days = (utc_s - one.due_utc_s) / 86_400.0
                yield Finding(
                    what, MIND, f"overdue for {days:.0f} days; {one.calibration.how} stays in force until then"
                )
            else:
                yield Finding(what, WELL, f"{one.calibration.how}; due {local_time(one.due_utc_s)[:10]}")


def _mb(size: float) -> str:
    return f"{size / 1e6:.1f} MB" if size < 1e9 else f"{size / 1e9:.1f} GB"


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
    from pourcall.metal.alloys.sheet import load_sheets

    library = load_sheets(our_paths().alloys)
    faults = library.faults()
    if faults:
        yield Finding("alloy sheets", FAULT, f"{len(faults)} faults: run `pourcall alloy check`")
    else:
        yield Finding("alloy sheets", WELL, f"{len(library.keys())}, all sound")
