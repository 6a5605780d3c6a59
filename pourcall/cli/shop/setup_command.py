"""`pourcall setup`. Finds boards, asks for names, writes the settings, tests the sound.

Every question has an answer ready, so that Enter is enough; --yes takes them all. An existing file is kept beside.
"""

import argparse
import re
import sys
import time
from pathlib import Path

import msgspec

from pourcall.cli.common import add_json, our_paths, print_json
from pourcall.cli.parser import option
from pourcall.contract.errors import BadInput, BadTemperature, FrameError, LinkError, Refused
from pourcall.contract.message import Message, tell
from pourcall.contract.settings import Name, parse_settings
from pourcall.contract.units import Unit, parse_unit
from pourcall.drivers.ports import PortReport
from pourcall.texts import say
from pourcall.thermometry.sheaths import SHEATHS

TYPES = ("K", "N", "J", "T", "E", "R", "S", "B")
PLACES = ("melt", "dip", "chamber", "ambient")
CHIPS = ("max31855", "max31856", "mcp960x", "emf")
HEAR_S = 2.0


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Scan only, or all of it."""
    how = parser.add_mutually_exclusive_group()
    how.add_argument("--scan", action="store_true", help=option("setup.how.scan"))
    how.add_argument("--yes", action="store_true", help=option("setup.how.yes"))
    parser.add_argument("--port", action="append", default=[], help=option("setup.port"))
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Scan, ask, write, test."""
    from pourcall.drivers.ports import PortInfo, list_ports, resolve, scan
    from pourcall.drivers.wire.registry import FORMATS

    print(say(tell("setup.listening")), file=sys.stderr)
    known = list_ports()
    named = [PortInfo(resolve(name, known)) for name in args.port]
    ports = [*(port for port in known if port.device not in {one.device for one in named}), *named]
    reports = scan(ports, mono_s=time.monotonic)
    if args.json:
        print_json([_as_row(report) for report in reports])
    else:
        for report in reports:
            print(f"{report.port.device}: {say(report.says)}")
        if not reports:
            print(say(tell("setup.no_port")))
    if args.scan:
        asked_for = {port.device for port in named}
        shut = any(report.unavailable for report in reports if report.port.device in asked_for)
        return LinkError.exit_code if shut else 0
    speaking = [report for report in reports if report.format in FORMATS]
    if not speaking:
        raise LinkError(tell("setup.no_board"), remedy=tell("setup.no_board.remedy"))
    text = _ask_all(speaking, ask=not args.yes)
    path = our_paths().settings
    parse_settings(text, where=str(path))
    _write(path, text)
    print(say(tell("setup.written", path=str(path))))
    if not args.yes:
        _test_sound()
    return 0


def _as_row(report: PortReport) -> dict[str, object]:
    return {
        "port": report.port.device,
        "usb": report.port.usb_name,
        "format": report.format,
        "baud": report.baud,
        "channels": report.heard.channels,
        "says": say(report.says),
        "unavailable": report.unavailable or "",
        "identity": None if report.heard.identity is None else msgspec.to_builtins(report.heard.identity),
    }


def _ask(question: Message, ready: str, *, ask: bool, among: tuple[str, ...] = ()) -> str:
    """One question; Enter takes what is ready. Asks again until the answer can be used."""
    choices = f" ({', '.join(among)})" if among else ""
    while ask:
        try:
            answer = input(f"{say(question)}{choices} [{ready}]: ").strip()
        except EOFError:
            raise Refused(tell("setup.unanswered"), remedy=tell("setup.unanswered.remedy")) from None
        if not answer:
            return ready
        if not among or answer in among:
            return answer
        print("  " + say(tell("setup.none_of_these", answer=answer)))
    return ready


def _name(question: Message, ready: str, *, ask: bool) -> str:
    """A name as the settings want it."""
    while True:
        name = _ask(question, ready, ask=ask)
        try:
            return msgspec.convert(name, Name)
        except msgspec.ValidationError:
            print("  " + say(tell("setup.name_rule")))
            if not ask:
                raise BadInput(tell("setup.no_name", name=name), remedy=tell("setup.no_name.remedy")) from None


def _unit(*, ask: bool) -> str:
    """The unit to show: as people write it (`F`), or as the settings do."""
    while True:
        try:
            return parse_unit(_ask(tell("setup.ask.unit"), Unit.C.value, ask=ask)).value
        except BadTemperature as err:
            print(f"  {err.said(say)}")


def _ask_all(speaking: list[PortReport], *, ask: bool) -> str:
    """The text of the settings file."""
    lines = ["# " + say(tell("setup.head")), "schema = 1"]
    shop = _ask(tell("setup.ask.shop"), "workshop", ask=ask)
    unit = _unit(ask=ask)
    lines += ["", "[shop]", f"name = {_quoted(shop)}", f'unit = "{unit}"']
    furnace = _name(tell("setup.ask.furnace"), "furnace", ask=ask)
    kind = _ask(tell("setup.ask.heat"), "electric", ask=ask, among=("electric", "fuel"))
    lines += ["", f"[furnace.{furnace}]", f'kind = "{kind}"']
    probes: list[str] = []
    for number, report in enumerate(speaking, 1):
        board = _name(tell("setup.ask.board", port=report.port.device), f"board{number}", ask=ask)
        columns = _columns(report, ask=ask) if report.heard.columns else {}
        lines += ["", f"[board.{board}]", *_board_lines(report, columns)]
        channels = [role for role in columns.values() if role.isdigit()] or report.heard.channels or ("0",)
        for channel in channels:
            ready = "melt_probe" if not probes else f"probe{len(probes) + 1}"
            name = _name(tell("setup.ask.probe", channel=channel), ready, ask=ask)
            tc_type = _ask(tell("setup.ask.type"), "K", ask=ask, among=TYPES)
            place = _ask(tell("setup.ask.place"), "melt" if not probes else "chamber", ask=ask, among=PLACES)
            sheath = _ask(tell("setup.ask.sheath"), "mineral_6mm", ask=ask, among=tuple(SHEATHS))
            probes.append(name)
            lines += [
                "",
                f"[probe.{name}]",
                f'furnace = "{furnace}"',
                f'board = "{board}"',
                f'channel = "{channel}"',
                f'type = "{tc_type}"',
                f'place = "{place}"',
                f'sheath = "{sheath}"',
            ]
    return "\n".join(lines) + "\n"


def _columns(report: PortReport, *, ask: bool) -> dict[int, str]:
    """What each column of a text board is: a channel (`0`, `1` ...), `cold:CHANNEL`, `ms`; the rest is left out."""
    from pourcall.drivers.wire.text import parse_cell, split_line

    cells, comma = split_line(report.heard.example)
    roles: dict[int, str] = {}
    last = ""
    if ask:
        print(say(tell("setup.example", example=report.heard.example)))
    for number, cell in enumerate(cells, 1):
        try:
            value = parse_cell(cell, comma).value
        except FrameError:
            value = None
        whole = cell.strip().isdigit()
        ready = "nothing" if value is None and not whole else "millis" if whole and (value or 0) > 2500 else "probe"
        question = tell("setup.ask.column", number=number, cell=cell)
        role = _ask(question, ready, ask=ask, among=("probe", "cold", "millis", "nothing"))
        if role == "probe":
            last = str(sum(one.isdigit() for one in roles.values()))
            roles[number] = last
        elif role == "cold" and last:
            roles[number] = f"cold:{last}"
        elif role == "millis":
            roles[number] = "ms"
    return roles


def _board_lines(report: PortReport, columns: dict[int, str]) -> list[str]:
    from pourcall.drivers.wire.registry import FORMATS

    identity = report.heard.identity
    lines = [f"port = {_quoted(report.port.usb_name or report.port.device)}", f'format = "{report.format}"']
    if report.baud and report.baud != 115_200:
        lines.append(f"baud = {report.baud}")
    said = "" if identity is None else identity.chip.lower()
    chip = next((chip for chip in CHIPS if chip in said), FORMATS[report.format].chip)
    if chip:
        lines.append(f'chip = "{chip}"')
    if identity is not None and identity.serial:
        lines.append(f"serial = {_quoted(identity.serial)}")
    if columns:
        pairs = ", ".join(f'"{at}" = "{role}"' for at, role in columns.items())
        lines += [f"columns = {{ {pairs} }}", 'unit = "degC"']
    return lines


def _quoted(text: str) -> str:
    """A TOML basic string; control characters are left out."""
    clean = re.sub(r"[\x00-\x1f\x7f]", "", text).replace("\\", "\\\\").replace('"', '\\"')
    return f'"{clean}"'


def _write(path: Path, text: str) -> None:
    """Whole or not at all; what was there stays beside it under its date."""
    path.parent.mkdir(parents=True, exist_ok=True)
    if path.exists():
        kept = path.with_suffix(f".{time.strftime('%Y%m%d-%H%M%S')}.toml")
        path.rename(kept)
        print(say(tell("setup.old_kept", path=str(kept))))
    part = path.with_suffix(".part")
    part.write_text(text, encoding="utf-8")
    part.chmod(0o600)  # it may come to hold a password
    part.replace(path)


def _test_sound() -> None:
    """Let the person hear it once, beside the furnace."""
    from pourcall.contract.settings import Sound
    from pourcall.tui.sounds.cues import Code, Cue
    from pourcall.tui.sounds.player import Player

    if _ask(tell("setup.ask.sound"), "yes", ask=True, among=("yes", "no")) != "yes":
        return
    with Player("auto", Sound().volume, lambda: print("\a", end="", flush=True)) as player:
        player.play(Cue(Code.POUR, "test"))
        time.sleep(HEAR_S)
        player.check()
        print(say(tell("setup.sounded", player=player.label)))
