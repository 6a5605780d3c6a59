"""`pourcall doctor`. Looks at this installation and says what is well, what is not, and what to do."""

import argparse
import shutil
import sys
import time
from collections.abc import Iterator
from enum import StrEnum
from typing import TYPE_CHECKING

import msgspec

from pourcall.cli.common import add_json, local_time, our_paths, print_json, settings_or_none, unit_of
from pourcall.contract.errors import PourcallError
from pourcall.contract.message import Told, tell
from pourcall.contract.units import Unit
from pourcall.contract.version import VERSION
from pourcall.texts import say, word

if TYPE_CHECKING:
    from pourcall.records.read.store import Store


class State(StrEnum):
    """How a thing stands that was looked at."""

    WELL = "well"
    NOTE = "note"
    FAULT = "fault"


OLD_S = 2 * 365.25 * 86_400.0
WORTH_THINNING = 100e6  # bytes of old readings from which on thinning is worth a word
BACKUP_DAYS = 30.0


class Finding(msgspec.Struct, frozen=True):
    """One thing looked at."""

    what: str
    state: State
    says: Told


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Only the form."""
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """All of it; 1 where there is a fault."""
    findings = list(_all())
    if args.json:
        print_json([{"what": one.what, "state": one.state, "says": say(one.says)} for one in findings])
    else:
        unit = _unit_of()
        for one in findings:
            print(f"{word('check', one.state):<5}  {word('topic', one.what)}: {say(one.says, unit)}")
    return int(any(one.state is State.FAULT for one in findings))


def _unit_of() -> Unit:
    try:
        return unit_of(argparse.Namespace())
    except PourcallError:  # faults in the settings are among what was found
        return Unit.C


def _said(err: PourcallError) -> Told:
    """An error as a finding says it."""
    if err.remedy and err.where:
        return tell("check.error_where", what=err.what, where=err.where, remedy=err.remedy)
    return tell("check.error", what=err.what, remedy=err.remedy) if err.remedy else err.what


def _all() -> Iterator[Finding]:
    python = sys.version.split()[0]
    yield Finding("program", State.WELL, tell("check.program", version=VERSION, python=python, system=sys.platform))
    yield from _settings()
    yield from _record()
    yield from _daemon()
    yield from _ports()
    yield from _sheets()
    player = next((name for name in ("aplay", "paplay", "afplay") if shutil.which(name)), "")
    if player or sys.platform == "win32":
        yield Finding("sound", State.WELL, tell("check.sound", player=player or "winsound"))
    else:
        yield Finding("sound", State.NOTE, tell("check.no_sound"))
    yield Finding("safety", State.NOTE, tell("check.safety"))


def _settings() -> Iterator[Finding]:
    path = our_paths().settings
    try:
        settings = settings_or_none()
    except PourcallError as err:
        yield Finding("settings", State.FAULT, str(err))
        return
    if settings is None:
        yield Finding("settings", State.NOTE, tell("check.no_settings", path=str(path)))
        return
    furnaces, boards, probes = len(settings.furnace), len(settings.board), len(settings.probe)
    says = tell("check.settings", path=str(path), furnaces=furnaces, boards=boards, probes=probes)
    yield Finding("settings", State.WELL, says)


def _record() -> Iterator[Finding]:
    path = our_paths().database
    if not path.exists():
        yield Finding("record", State.WELL, tell("check.no_record", path=str(path)))
        return
    from pourcall.records.read.store import Store

    try:
        with Store.read(path) as store:
            melts = len(store.melts(limit=100_000))
            yield from _disk(store, melts)
            yield from _calibrations(store)
    except PourcallError as err:
        yield Finding("record", State.FAULT, _said(err))
        return
    yield _backup(time.time())


def _disk(store: "Store", melts: int) -> Iterator[Finding]:
    """What lies where, how fast it grows, what could be given back."""
    from pourcall.records.upkeep.usage import usage

    paths = our_paths()
    with store.reading() as conn:
        used = usage(conn, paths, older_than_utc_s=time.time() - OLD_S)
    free = shutil.disk_usage(paths.data)
    state = State.NOTE if free.free < max(1e9, 0.05 * free.total) else State.WELL
    yield Finding(
        "record",
        state,
        tell("check.record", path=str(paths.database), count=melts, size=_mb(used.record), free=_mb(free.free)),
    )
    kinds = {"record": used.record, "photos": used.photos, "copies": used.copies, "aside": used.aside, "log": used.log}
    parts = tuple(tell("check.part", size=_mb(size), lies_there=kind) for kind, size in kinds.items() if size)
    if used.bytes_per_melt_hour is None:
        yield Finding("disk", State.WELL, tell("check.disk", parts=parts))
    else:
        yield Finding("disk", State.WELL, tell("check.disk_grows", parts=parts, size=_mb(used.bytes_per_melt_hour)))
    if used.old_bytes > WORTH_THINNING:
        yield Finding("old_readings", State.WELL, tell("check.old_readings", size=_mb(used.old_bytes)))


def _backup(utc_s: float) -> Finding:
    """How old the last one is, and whether it is still where it was put."""
    from pathlib import Path

    from pourcall.records.upkeep.backup import last_backup

    last = last_backup(our_paths())
    if last is None:
        return Finding("backup", State.NOTE, tell("check.no_backup"))
    days = (utc_s - last.made_utc_s) / 86_400.0
    archive = Path(last.file)
    made = local_time(last.made_utc_s)
    if archive.exists():
        says = tell("check.backup", at=made, size=_mb(archive.stat().st_size), path=str(archive))
    else:
        says = tell("check.backup_moved", at=made, path=str(archive))
    if days > BACKUP_DAYS:
        return Finding("backup", State.NOTE, tell("check.backup_old", what=says))
    return Finding("backup", State.WELL, says)


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
                yield Finding(what, State.NOTE, tell("check.never_calibrated", probe=name))
            elif isinstance(one, PourcallError):
                yield Finding(what, State.FAULT, tell("check.calibration_unused", why=_said(one)))
            elif one.overdue(utc_s):
                days = (utc_s - one.due_utc_s) / 86_400.0
                yield Finding(what, State.NOTE, tell("check.overdue", days=round(days), how=one.calibration.how))
            else:
                due = local_time(one.due_utc_s)[:10]
                yield Finding(what, State.WELL, tell("check.calibrated", how=one.calibration.how, due=due))


def _mb(size: float) -> str:
    return f"{size / 1e6:.1f} MB" if size < 1e9 else f"{size / 1e9:.1f} GB"


def _daemon() -> Iterator[Finding]:
    from pourcall.cli.client import DaemonClient

    try:
        health = DaemonClient().health()
    except PourcallError as err:
        yield Finding("daemon", State.NOTE, _said(err))
        return
    furnaces = ", ".join(health.furnaces)
    yield Finding(
        "daemon", State.WELL, tell("check.daemon", process=health.pid, version=health.version, furnaces=furnaces)
    )


def _ports() -> Iterator[Finding]:
    import os

    from pourcall.drivers.ports import list_ports

    ports = list_ports()
    if not ports:
        yield Finding("ports", State.NOTE, tell("check.no_ports"))
    for port in ports:
        allowed = not port.device.startswith("/") or os.access(port.device, os.R_OK | os.W_OK)
        named = f" ({port.usb_name})" if port.usb_name else ""
        if allowed:
            yield Finding("port", State.WELL, f"{port.device}{named} {port.description}".rstrip())
        else:
            yield Finding("port", State.FAULT, tell("check.port_forbidden", port=f"{port.device}{named}"))


def _sheets() -> Iterator[Finding]:
    from pourcall.metal.alloys.sheet import load_sheets

    library = load_sheets(our_paths().alloys)
    faults = library.faults()
    if faults:
        yield Finding("alloy_sheets", State.FAULT, tell("check.sheet_faults", count=len(faults)))
    else:
        yield Finding("alloy_sheets", State.WELL, tell("check.sheets", count=len(library.keys())))
