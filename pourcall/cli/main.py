"""The way in. One table of commands, each in a module of its own, loaded only when it is called.

Exit codes stand with the errors (contract/errors.py): 0 done, 1 unexpected, 2 bad input, 3 not found, 4 a port,
5 the record, 6 the daemon, 7 refused, 130 interrupted.
"""

import argparse
import os
import sys
from collections.abc import Sequence
from importlib import import_module
from typing import NamedTuple

from pourcall.contract.errors import BadInput, PourcallError
from pourcall.contract.units import parse_unit
from pourcall.contract.version import VERSION
from pourcall.texts.catalogue import current


class Command(NamedTuple):
    """Where a command lives."""

    folder: str

    def module(self, name: str) -> str:
        """Its module, loaded only when it is called."""
        return f"pourcall.cli.{self.folder}.{name}_command"


COMMANDS: dict[str, Command] = {
    # the module is pourcall.cli.<folder>.<name>_command; its line in the overview: `overview.command.<name>`
    "demo": Command("shop"),
    "setup": Command("shop"),
    "serve": Command("shop"),
    "watch": Command("shop"),
    "plan": Command("melts"),
    "melt": Command("melts"),
    "pour": Command("pours"),
    "mould": Command("pours"),
    "dip": Command("melts"),
    "export": Command("pours"),
    "sheet": Command("pours"),
    "compare": Command("pours"),
    "advise": Command("pours"),
    "profile": Command("melts"),
    "furnace": Command("melts"),
    "replay": Command("probes"),
    "alloy": Command("shop"),
    "thermocouple": Command("probes"),
    "calibrate": Command("probes"),
    "probe": Command("probes"),
    "capture": Command("probes"),
    "doctor": Command("shop"),
    "backup": Command("shop"),
    "thin": Command("shop"),
}


def help_of(name: str) -> str:
    """What a command is for, as the overview says it."""
    return _overview_text(f"command.{name}")


def _overview_text(name: str) -> str:
    """A text of the overview: none has a fact in it, and nothing but the catalogue is loaded for it."""
    return current().template(f"overview.{name}") or name


def _overview() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="pourcall",
        description=_overview_text("about"),
        epilog=_overview_text("caution"),
        formatter_class=argparse.RawDescriptionHelpFormatter,
        usage="pourcall COMMAND ...",
    )
    parser.add_argument("--version", action="version", version=f"pourcall {VERSION}")
    group = parser.add_argument_group(_overview_text("commands"))
    width = max(len(name) for name in COMMANDS)
    listed = "\n".join(f"  {name:<{width}}  {help_of(name)}" for name in COMMANDS)
    group.description = "\n" + listed
    parser.add_argument("command", nargs="?", help=argparse.SUPPRESS)
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit code."""
    words = list(sys.argv[1:] if argv is None else argv)
    if not words or words[0] not in COMMANDS:
        return _no_command(words)
    name, rest = words[0], words[1:]
    from pourcall.cli.parser import CommandParser

    module = import_module(COMMANDS[name].module(name))
    about = help_of(name)
    parser = CommandParser(prog=f"pourcall {name}", description=about[:1].upper() + about[1:])
    module.add_arguments(parser)
    args = argparse.Namespace()
    try:
        args = parser.parse_args([_as_figure(word) for word in rest])
        if getattr(args, "unit", ""):
            parse_unit(args.unit)  # refused wherever it stands, also where the command shows no temperature
        return int(module.run(args) or 0)
    except PourcallError as err:
        print(f"pourcall: {_said(err, args)}", file=sys.stderr)
        return err.exit_code
    except KeyboardInterrupt:
        from pourcall.contract.message import tell
        from pourcall.texts import say

        print(say(tell("cli.interrupted")), file=sys.stderr)
        return 130
    except BrokenPipeError:
        # The reader of our output left (`| head`): not an error of ours, and nothing more can be said there.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except OSError as err:
        if not err.filename:
            raise
        from pourcall.contract.message import tell
        from pourcall.texts import say

        told = tell("cli.file", error=err.strerror or str(err), path=str(err.filename))
        print(f"pourcall: {say(told)}", file=sys.stderr)
        return BadInput.exit_code if isinstance(err, _TYPED_WRONG) else 1


def _said(err: PourcallError, args: argparse.Namespace) -> str:
    """An error in the reader's unit; in degC where even that cannot be found out."""
    from pourcall.cli.common import unit_of
    from pourcall.contract.units import Unit
    from pourcall.texts import say

    try:
        unit = unit_of(args)
    except PourcallError:
        unit = Unit.C
    return err.said(lambda told: say(told, unit))


_TYPED_WRONG = (FileNotFoundError, FileExistsError, NotADirectoryError, IsADirectoryError, PermissionError)


def _as_figure(word: str) -> str:
    """`-40C` and `-5.2mV` are figures and no options; argparse takes a word with a blank in it for a value."""
    is_figure = len(word) > 1 and word[0] == "-" and word[1:].lstrip(".")[:1].isdigit()
    return f" {word}" if is_figure else word


def _no_command(words: Sequence[str]) -> int:
    """Nothing, --help, --version, or a word that is no command."""
    parser = _overview()
    if words and not words[0].startswith("-"):
        from pourcall.contract.message import tell
        from pourcall.contract.nearest import nearest
        from pourcall.texts import say

        near = nearest(words[0], COMMANDS)
        word = words[0]
        told = tell("cli.no_command_near", word=word, near=near[0]) if near else tell("cli.no_command", word=word)
        print(f"pourcall: {say(told)}", file=sys.stderr)
        return 2
    if not words:
        parser.print_help()
        return 0
    parser.parse_args(list(words))
    return 0


if __name__ == "__main__":
    sys.exit(main())
