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
from pourcall.contract.errors import BadInput, LinkError, Refused
from pourcall.contract.settings import Name, parse_settings
from pourcall.drivers.ports import PortReport

TYPES = ("K", "N", "J", "T", "E", "R", "S", "B")
PLACES = ("melt", "dip", "chamber", "ambient")
HEAR_S = 2.0
SHEATHS = ("thin", "mineral_3mm", "mineral_6mm", "ceramic_tube")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Scan only, or all of it."""
    how = parser.add_mutually_exclusive_group()
    how.add_argument("--scan", action="store_true", help="only say what is heard on each port")
    how.add_argument("--yes", action="store_true", help="ask nothing, take what is proposed")
    parser.add_argument("--port", action="append", default=[], help="look at this port too, such as socket://host:port")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Scan, ask, write, test."""
    from pourcall.drivers.ports import PortInfo, list_ports, resolve, scan

    print("Listening on every serial port, a few seconds each ...", file=sys.stderr)
    known = list_ports()
    named = [PortInfo(resolve(name, known)) for name in args.port]
    ports = [*(port for port in known if port.device not in {one.device for one in named}), *named]
    reports = scan(ports, mono_s=time.monotonic)
    if args.json:
        print_json([_as_row(report) for report in reports])
    else:
        for report in reports:
            print(f"{report.port.device}: {report.sentence}")
        if not reports:
            print("No serial port is there. Plug the amplifier board in and run this again")
    if args.scan:
        asked_for = {port.device for port in named}
        shut = any(report.unavailable for report in reports if report.port.device in asked_for)
        return LinkError.exit_code if shut else 0
    speaking = [report for report in reports if _format(report) in FORMATS]
    if not speaking:
        raise LinkError("no board was heard", remedy="Plug it in, or name a port with --port")
    text = _ask_all(speaking, ask=not args.yes)
    parse_settings(text, where="the new settings")
    path = our_paths().settings
    _write(path, text)
    print(f"The settings are in {path}. Next: `pourcall serve`, and `pourcall watch` in another terminal")
    if not args.yes:
        _test_sound()
    return 0


FORMATS = ("pourcall", "max31855_hex", "max31856_hex", "mcp960x_hex", "text")


def _format(report: PortReport) -> str:
    """What was heard, in the settings' own word for it."""
    from pourcall.drivers.wire import ourline

    return "pourcall" if report.format == ourline.NAME else report.format


def _as_row(report: PortReport) -> dict[str, object]:
    return {
        "port": report.port.device,
        "usb": report.port.usb_name,
        "format": _format(report),
        "baud": report.baud,
        "channels": report.channels,
        "says": report.sentence,
        "unavailable": report.unavailable,
        "identity": None if report.identity is None else msgspec.to_builtins(report.identity),
    }


def _ask(question: str, ready: str, *, ask: bool, among: tuple[str, ...] = ()) -> str:
    """One question; Enter takes what is ready. Asks again until the answer can be used."""
    choices = f" ({', '.join(among)})" if among else ""
    while ask:
        try:
            answer = input(f"{question}{choices} [{ready}]: ").strip()
        except EOFError:
            raise Refused("the questions were not answered", remedy="Run it in a terminal, or with --yes") from None
        if not answer:
            return ready
        if not among or answer in among:
            return answer
        print(f"  {answer!r} is none of these")
    return ready


def _name(question: str, ready: str, *, ask: bool) -> str:
    """A name as the settings want it."""
    while True:
        name = _ask(question, ready, ask=ask)
        try:
            return msgspec.convert(name, Name)
        except msgspec.ValidationError:
            print("  a name is lower-case letters, digits and _, and begins with a letter")
            if not ask:
                raise BadInput(f"{name!r} is no name", remedy="Answer the questions instead of --yes") from None


def _ask_all(speaking: list[PortReport], *, ask: bool) -> str:
    """The text of the settings file."""
    lines = [
        "# Written by `pourcall setup`; change it as you like: a fault in it is told at the next start.",
        "schema = 1",
    ]
    shop = _ask("Name of the shop", "workshop", ask=ask)
    unit = _ask("Unit to show", "degC", ask=ask, among=("degC", "degF", "K"))
    lines += ["", "[shop]", f"name = {_quoted(shop)}", f'unit = "{unit}"']
    furnace = _name("Name of the furnace", "furnace", ask=ask)
    kind = _ask("Its heat", "electric", ask=ask, among=("electric", "fuel"))
    lines += ["", f"[furnace.{furnace}]", f'kind = "{kind}"']
    probes: list[str] = []
    for number, report in enumerate(speaking, 1):
        board = _name(f"Name of the board on {report.port.device}", f"board{number}", ask=ask)
        columns = _columns(report, ask=ask) if report.format == "text" else {}
        lines += ["", f"[board.{board}]", *_board_lines(report, columns)]
        channels = [role for role in columns.values() if role.isdigit()] or report.channels or ("0",)
        for channel in channels:
            ready = "melt_probe" if not probes else f"probe{len(probes) + 1}"
            name = _name(f"Name of the probe on channel {channel}", ready, ask=ask)
            tc_type = _ask("  its thermocouple type", "K", ask=ask, among=TYPES)
            place = _ask("  where it is", "melt" if not probes else "chamber", ask=ask, among=PLACES)
            sheath = _ask("  its sheath", "mineral_6mm", ask=ask, among=SHEATHS)
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
    from pourcall.contract.errors import FrameError
    from pourcall.drivers.wire.text import parse_cell, split_line

    cells, comma = split_line(report.example)
    roles: dict[int, str] = {}
    last = ""
    if ask:
        print(f"A line of it: {report.example}")
    for number, cell in enumerate(cells, 1):
        try:
            value = parse_cell(cell, comma).value
        except FrameError:
            value = None
        whole = cell.strip().isdigit()
        ready = "nothing" if value is None and not whole else "millis" if whole and (value or 0) > 2500 else "probe"
        role = _ask(f"  column {number} ({cell}) is", ready, ask=ask, among=("probe", "cold", "millis", "nothing"))
        if role == "probe":
            last = str(sum(one.isdigit() for one in roles.values()))
            roles[number] = last
        elif role == "cold" and last:
            roles[number] = f"cold:{last}"
        elif role == "millis":
            roles[number] = "ms"
    return roles


def _board_lines(report: PortReport, columns: dict[int, str]) -> list[str]:
    identity = report.identity
    lines = [f"port = {_quoted(report.port.usb_name or report.port.device)}", f'format = "{_format(report)}"']
    if report.baud and report.baud != 115_200:
        lines.append(f"baud = {report.baud}")
    chips = ("max31855", "max31856", "mcp960x", "emf")
    chip = next((chip for chip in chips if identity is not None and chip in identity.chip.lower()), "")
    chip = chip or (report.format.removesuffix("_hex") if report.format.endswith("_hex") else "")
    if chip:
        lines.append(f'chip = "{chip}"')
    if identity is not None and identity.serial:
        lines.append(f"serial = {_quoted(identity.serial)}")
    if report.format == "text":
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
        print(f"The old settings are kept in {kept}")
    part = path.with_suffix(".part")
    part.write_text(text, encoding="utf-8")
    part.chmod(0o600)  # it may come to hold a password
    part.replace(path)


def _test_sound() -> None:
    """Let the person hear it once, beside the furnace."""
    from pourcall.contract.settings import Sound
    from pourcall.tui.sounds.cues import Code, Cue
    from pourcall.tui.sounds.player import Player

    if _ask("Play the pour call now", "yes", ask=True, among=("yes", "no")) != "yes":
        return
    with Player("auto", Sound().volume, lambda: print("\a", end="", flush=True)) as player:
        player.play(Cue(Code.POUR, "test"))
        time.sleep(HEAR_S)
        player.check()
        print(f"That was the call to pour ({player.label}). Is it loud enough beside a burner?")
