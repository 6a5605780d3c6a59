"""`pourcall replay`. The engine over a trace from a file: what it would have seen, called and warned of."""

import argparse
import csv
import errno
import os
import re
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO

import msgspec

from pourcall.cli.common import add_json, add_unit, unit_of
from pourcall.cli.melts.melt_command import MOULD_HELP, mould_request
from pourcall.contract import events as ev
from pourcall.contract.errors import BadInput, BadTrace
from pourcall.contract.quantities import kilograms, temperature_c
from pourcall.contract.reading import Place, Reading
from pourcall.contract.units import Unit
from pourcall.texts import say

if TYPE_CHECKING:
    from pourcall.contract.plan import MeltPlan
    from pourcall.drivers.trace_file import Column, TraceFile
    from pourcall.replay.traces import Setup

SHEATHS = ("thin", "mineral_3mm", "mineral_6mm", "ceramic_tube")
MOST_BYTES = 512 * 1024 * 1024
THINNED = re.compile(r"thinned on \d{4}-\d\d-\d\d to one reading in [\d.]+ s")  # as an export of ours says it


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """File, alloy, and what cannot be guessed."""
    parser.add_argument("trace", type=Path, help="a delimited text file")
    parser.add_argument("--alloy", default="", help="key or name of an alloy sheet")
    parser.add_argument("--column", default="", help="the temperature or emf column (default: the likeliest)")
    parser.add_argument("--time", default="", help="the time column (default: guessed)")
    parser.add_argument("--column-unit", default="", help="degC, degF, K, uV, mV, V where the file does not say")
    parser.add_argument("--type", default="K", help="thermocouple type, for an emf (default K)")
    parser.add_argument("--cold", default="", metavar="TEMP", help="cold junction of an emf (default: 0 degC)")
    parser.add_argument("--place", default="melt", choices=[place.value for place in Place])
    parser.add_argument("--sheath", default="thin", choices=SHEATHS)
    parser.add_argument("--mould", action="append", default=[], help=MOULD_HELP)
    parser.add_argument("--charge", default="1kg")
    parser.add_argument("--loss", type=float, default=None, help="degC from pot to lip (default: computed)")
    parser.add_argument("--csv", type=Path, default=None, help="write every row with status and states to this file")
    parser.add_argument("--columns", action="store_true", help="only say which columns the file has")
    add_unit(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Read, replay, tell."""
    from pourcall.drivers.trace_file import decode, read_trace
    from pourcall.replay import traces as replay

    text = decode(_bytes(args.trace))
    trace = read_trace(text, name=str(args.trace), time_column=args.time)
    given_up = THINNED.search(text)
    if given_up is not None:
        print(f"{args.trace} was {given_up[0]}: this replay cannot say again all that was said then", file=sys.stderr)
    if args.columns:
        likely = [column.name for column in trace.candidates()]
        for column in trace.columns:
            doubt = "" if column.name in likely else "  no thermocouple, it seems"
            print(f"{column.name}  {column.unit or '(no unit)'}{doubt}")
        return 0
    if not args.alloy:
        raise BadInput("no alloy is named", remedy="Say with --alloy what is in the pot: `pourcall alloy list`")
    column = _column(trace, args.column)
    setup = _setup(args, column)
    plan = _plan(args)
    config = replay.config_of(trace, setup)
    rows: list[dict[str, Any]] = []
    happened: list[ev.Event] = []
    for step, shot in replay.run(config, replay.inputs_of(trace, column, plan, setup)):
        happened += [output for output in step.outputs if not isinstance(output, Reading)]
        if shot is not None:
            reading = next(output for output in step.outputs if isinstance(output, Reading))
            rows.append(
                {
                    "elapsed_s": reading.at_mono_s,
                    "temp_c": reading.temp_c,
                    "u_c": shot.probes[0].u_c,
                    "status": reading.status.value,
                    "reason": reading.reason.value,
                    "probe_state": shot.probes[0].state.value,
                    "melt_state": shot.melt_state.value,
                    "metal_c": shot.metal.temp_c,
                }
            )
    if args.csv is not None:
        _write_csv(args.csv, rows)
    if args.json:
        for event in happened:
            sys.stdout.write(msgspec.json.encode(event).decode() + "\n")
        return 0
    unit = unit_of(args)
    _tell(trace, column, plan, unit)
    for line in _lines(happened, unit):
        print(line)
    bad = sum(row["status"] == "bad" for row in rows)
    doubtful = sum(row["status"] == "uncertain" for row in rows)
    print(f"{len(rows)} rows: {len(rows) - bad - doubtful} good, {doubtful} uncertain, {bad} without a number")
    if args.csv is not None:
        print(f"all rows are in {args.csv}")
    return 0


def _bytes(path: Path) -> bytes:
    try:
        if path.stat().st_size > MOST_BYTES:
            raise BadTrace("larger than 512 MB", where=str(path), remedy="Cut it into parts")
        return path.read_bytes()
    except OSError as err:
        raise BadTrace(f"cannot be read: {err.strerror}", where=str(path), remedy="Check the name") from err


def _column(trace: "TraceFile", wanted: str) -> "Column":
    if wanted:
        return trace.column(wanted)
    likely = trace.candidates()
    if not likely:
        names = ", ".join(column.name for column in trace.columns)
        raise BadTrace(
            "no column looks like a thermocouple's", where=trace.name, remedy=f"Name one with --column: {names}"
        )
    if len(likely) > 1:
        others = ", ".join(column.name for column in likely[1:6])
        print(
            f"column {likely[0].name!r} is taken; others are {others}{' ...' if len(likely) > 6 else ''}",
            file=sys.stderr,
        )
    return likely[0]


def _setup(args: argparse.Namespace, column: "Column") -> "Setup":
    from pourcall.replay.traces import DEGREES, Setup
    from pourcall.thermometry.thermocouple import TYPES

    tc_type = args.type.upper()
    if tc_type not in TYPES:
        raise BadInput(f"{args.type!r} is no thermocouple type", remedy=f"Types are {', '.join(TYPES)}")
    unit = args.column_unit or column.unit
    if not unit:
        print(f"the file does not say the unit of {column.name!r}: degC is taken", file=sys.stderr)
        unit = "degC"
    if args.cold and unit in DEGREES:
        raise BadInput(
            f"--cold is for an emf, and {column.name!r} is in {unit}", where=str(args.trace), remedy="Leave --cold out"
        )
    cold_c = temperature_c(args.cold, unit_of(args)) if args.cold else None
    return Setup(unit, tc_type, args.sheath, Place(args.place), cold_c)


def _plan(args: argparse.Namespace) -> "MeltPlan":
    from pourcall.cli.common import our_paths
    from pourcall.metal.alloys.sheet import load_sheets
    from pourcall.metal.windows import melt_plan

    unit = unit_of(args)
    moulds = [mould_request(text, unit) for text in args.mould or ["mould"]]
    sheet = load_sheets(our_paths().alloys).get(args.alloy)
    return melt_plan("replay", sheet, kilograms(args.charge), moulds, loss_c=args.loss)


def _tell(trace: "TraceFile", column: "Column", plan: "MeltPlan", unit: Unit) -> None:
    from pourcall.contract.units import format_temperature

    mould = plan.moulds[0]
    print(
        f"{trace.name}: {column.name} against {trace.time_column}, {len(trace.times_s)} rows, {trace.times_s[-1]:.0f} s"
    )
    print(
        f"{plan.alloy.name}: {mould.name} wants {format_temperature(mould.lip_min_c, unit)} to "
        f"{format_temperature(mould.lip_max_c, unit)} at the lip, {format_temperature(mould.tap_min_c, unit)} to "
        f"{format_temperature(mould.tap_max_c, unit)} in the pot"
    )
    if trace.dropped_rows:
        print(f"{trace.dropped_rows} rows are left out: their time cannot be read or does not move on")
    if column.texts:
        print(f"{column.texts} cells hold text where a number should stand: no number there")


def _lines(happened: list[ev.Event], unit: Unit) -> Iterator[str]:
    for event in happened:
        at = f"{event.mono_s:9.1f} s  "
        if isinstance(event, ev.MeltStateChanged):
            yield f"{at}melt {event.new.value}: {say(event.why, unit)}"
        elif isinstance(event, ev.ProbeStateChanged):
            yield f"{at}probe {event.new.value.replace('_', ' ')}: {say(event.why, unit)}"
        elif isinstance(event, ev.CallChanged) and event.how != "repeated":
            yield f"{at}call {event.how}: {say(event.call.text, unit)}"
        elif isinstance(event, ev.AlarmChanged) and event.alarm.active:
            yield f"{at}{event.alarm.priority.name}: {say(event.alarm.what, unit)}"
        elif isinstance(event, ev.AlarmChanged):
            yield f"{at}cleared: {say(event.alarm.what, unit)}"


def _write_csv(path: Path, rows: list[dict[str, Any]]) -> None:
    """Plain CSV; a cell without a number is empty, and its reason stands beside it."""
    from pourcall.reports.tables.csv_text import write_whole

    def fill(file: TextIO) -> None:
        writer = csv.DictWriter(file, list(rows[0]) if rows else [], lineterminator="\n")
        writer.writeheader()
        writer.writerows({key: "" if value is None else value for key, value in row.items()} for row in rows)

    if not path.parent.is_dir():  # a slip of the pen: no folder is made for it
        raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT), str(path))
    write_whole([(path, fill)])
