"""What several commands share. Where things lie, units on the command line, tables and JSON on the screen."""

import argparse
import os
import sys
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, TypeVar

import msgspec

from pourcall.cli.parser import option
from pourcall.contract.errors import BadInput, NotFound
from pourcall.contract.message import Message, tell
from pourcall.contract.paths import Paths, paths_for
from pourcall.contract.quantities import millimetres
from pourcall.contract.settings import Settings, parse_settings
from pourcall.contract.units import Unit, parse_unit
from pourcall.texts import say

Row = TypeVar("Row")


def our_paths() -> Paths:
    """Where this installation keeps its files."""
    return paths_for(os.environ, sys.platform, Path.home())


def add_unit(parser: argparse.ArgumentParser) -> None:
    """`--unit F`: how temperatures are shown, and read where they carry no unit."""
    parser.add_argument("--unit", default="", metavar="C|F|K", help=option("common.unit"))


def asked_unit(args: argparse.Namespace) -> Unit | None:
    """The unit of a temperature typed without one, where --unit stands on the same line; else it is refused."""
    return unit_of(args) if args.unit else None


def add_json(parser: argparse.ArgumentParser) -> None:
    """`--json`: for programs rather than people."""
    parser.add_argument("--json", action="store_true", help=option("common.json"))


def unit_of(args: argparse.Namespace) -> Unit:
    """The unit asked for, else that of the settings, else degC. Raises BadTemperature for an unknown one."""
    if getattr(args, "unit", ""):
        return parse_unit(args.unit)
    settings = settings_or_none()
    return settings.shop.unit if settings is not None else Unit.C


def settings_or_none() -> Settings | None:
    """The settings, or None where there are none yet. Raises BadSettings for faults in them."""
    path = our_paths().settings
    try:
        text = path.read_text("utf-8")
    except FileNotFoundError:
        return None
    except (OSError, UnicodeDecodeError) as err:
        raise BadInput(
            tell("settings.unreadable", error=str(err)), where=str(path), remedy=tell("settings.unreadable.remedy")
        ) from err
    from pourcall.drivers.wire.registry import board_faults

    return parse_settings(text, where=str(path), board_faults=board_faults)


def print_json(value: Any) -> None:
    """Indented JSON on standard output."""
    data = msgspec.json.format(msgspec.json.encode(value), indent=2)
    sys.stdout.write(data.decode() + "\n")


def print_table(columns: Sequence[str], rows: Sequence[Sequence[str]], *, right: Sequence[str] = ()) -> None:
    """Columns, aligned, each under its heading in the catalogue; an empty name has none. right: those of figures."""
    head = [say(tell(f"column.{name}")) if name else "" for name in columns]
    widths = [max(len(line[at]) for line in [head, *rows]) for at in range(len(head))]
    for line in [head, *rows]:
        cells = [
            cell.rjust(w) if name in right else cell.ljust(w)
            for name, cell, w in zip(columns, line, widths, strict=True)
        ]
        print("  ".join(cells).rstrip())


def print_listing(
    args: argparse.Namespace,
    rows: Sequence[Row],
    columns: Mapping[str, Callable[[Row], str]],
    *,
    right: Sequence[str] = (),
    none: Message,
) -> None:
    """What a listing found: JSON where it was asked for, a sentence where there is nothing, else a table.

    columns: what stands under each heading; right: those of figures.
    """
    if args.json:
        print_json(rows)
    elif not rows:
        print(say(none))
    else:
        print_table(list(columns), [[cell(row) for cell in columns.values()] for row in rows], right=right)


def local_time(utc_s: float | None, *, with_date: bool = True) -> str:
    """Wall-clock time where the reader is."""
    if utc_s is None:
        return ""
    return datetime.fromtimestamp(utc_s, UTC).astimezone().strftime("%Y-%m-%d %H:%M" if with_date else "%H:%M:%S")


def depth_mm(typed: str) -> float | None:
    """How deep a probe stood; None: nobody said. Raises BadInput for a depth that cannot be meant."""
    if not typed:
        return None
    deep_mm = millimetres(typed, where="--depth")
    if not 0.0 < deep_mm <= 1000.0:
        raise BadInput(tell("cli.dip.depth", figure=typed), remedy=tell("cli.dip.depth.remedy"))
    return deep_mm


def pick_furnace(names: Sequence[str], wanted: str) -> str:
    """The furnace asked for, or the only one. Raises NotFound, or BadInput where there are several."""
    if wanted:
        if wanted not in names:
            raise NotFound(
                tell("daemon.no_furnace", furnace=wanted),
                remedy=tell("daemon.no_furnace.remedy", furnaces=", ".join(names)),
            )
        return wanted
    if len(names) == 1:
        return names[0]
    raise BadInput(tell("cli.several_furnaces"), remedy=tell("cli.which_furnace", furnaces=", ".join(names)))
