"""`pourcall replay`. The engine over a trace from a file: what it would have seen, called and warned of."""

import argparse
import csv
import errno
import os
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO, assert_never

import msgspec

from pourcall.cli.common import add_json, add_unit, asked_unit, unit_of
from pourcall.cli.melts.melt_command import mould_request
from pourcall.cli.parser import option
from pourcall.contract import events as ev
from pourcall.contract.errors import BadInput, BadTrace
from pourcall.contract.message import NOTHING, Message, tell
from pourcall.contract.quantities import difference_c, kilograms, temperature_c
from pourcall.contract.reading import Place, Reading
from pourcall.contract.units import Unit
from pourcall.texts import say
from pourcall.thermometry.sheaths import SHEATHS

if TYPE_CHECKING:
    from pourcall.contract.plan import MeltPlan
    from pourcall.drivers.trace_file import Column, TraceFile
    from pourcall.replay.traces import Setup

MOST_BYTES = 512 * 1024 * 1024


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """File, alloy, and what cannot be guessed."""
    parser.add_argument("trace", type=Path, help=option("replay.trace"))
    parser.add_argument("--alloy", default="", help=option("shared.alloy"))
    parser.add_argument("--column", default="", help=option("replay.column"))
    parser.add_argument("--time", default="", help=option("replay.time"))
    parser.add_argument("--column-unit", default="", help=option("replay.column_unit"))
    parser.add_argument("--type", default="K", help=option("replay.type"))
    parser.add_argument("--cold", default="", metavar="TEMP", help=option("replay.cold"))
    parser.add_argument("--cold-column", default="", metavar="COLUMN", help=option("replay.cold_column"))
    parser.add_argument("--place", default="melt", choices=[place.value for place in Place])
    parser.add_argument("--sheath", default="thin", choices=tuple(SHEATHS))
    parser.add_argument("--mould", action="append", default=[], help=option("melt.mould"))
    parser.add_argument("--charge", default="1kg")
    parser.add_argument("--loss", default="", metavar="DEGREES", help=option("replay.loss"))
    parser.add_argument("--csv", type=Path, default=None, help=option("replay.csv"))
    parser.add_argument("--columns", action="store_true", help=option("replay.columns"))
    add_unit(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Read, replay, tell."""
    from pourcall.drivers.trace_file import decode, read_trace
    from pourcall.replay import traces as replay

    text = decode(_bytes(args.trace))
    trace = read_trace(text, name=str(args.trace), time_column=args.time)
    kept_every_s = _thinned_to_s(trace, text)
    if kept_every_s:
        print(say(tell("replay.thinned", file=str(args.trace), keep_every_s=kept_every_s)), file=sys.stderr)
    if args.columns:
        likely = [column.name for column in trace.candidates()]
        for column in trace.columns:
            doubt = "" if column.name in likely else "  " + say(tell("replay.no_thermocouple"))
            print(f"{column.name}  {column.unit or say(tell('replay.no_unit'))}{doubt}")
        return 0
    if not args.alloy:
        raise BadInput(tell("replay.no_alloy"), remedy=tell("replay.no_alloy.remedy"))
    column = _column(trace, args.column)
    setup = _setup(args, trace, column)
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
    good = len(rows) - bad - doubtful
    print(say(tell("replay.rows", count=len(rows), good=good, uncertain=doubtful, bad=bad)))
    if args.csv is not None:
        print(say(tell("replay.written", file=str(args.csv))))
    return 0


def _thinned_to_s(trace: "TraceFile", text: str) -> float:
    """How far apart the readings are that an export of ours still has; 0: nothing says that some were given up."""
    from pourcall.records.upkeep.old_sentences import thinned_to_s_of_old
    from pourcall.reports.tables.row_writers import THINNED_COLUMN

    told = [column for column in trace.columns if column.name == THINNED_COLUMN]
    if told:
        return max((value for value in told[0].values if value is not None), default=0.0)
    return thinned_to_s_of_old(text)


def _bytes(path: Path) -> bytes:
    try:
        if path.stat().st_size > MOST_BYTES:
            raise BadTrace(
                tell("cli.too_large", most_mb=MOST_BYTES // 2**20), where=str(path), remedy=tell("cli.too_large.remedy")
            )
        return path.read_bytes()
    except OSError as err:
        raise BadTrace(
            tell("cli.unreadable", error=err.strerror or str(err)),
            where=str(path),
            remedy=tell("cli.unreadable.remedy"),
        ) from err


def _column(trace: "TraceFile", wanted: str) -> "Column":
    if wanted:
        return trace.column(wanted)
    likely = trace.candidates()
    if not likely:
        names = ", ".join(column.name for column in trace.columns)
        raise BadTrace(
            tell("replay.no_column"), where=trace.name, remedy=tell("replay.no_column.remedy", columns=names)
        )
    if len(likely) > 1:
        others = ", ".join(column.name for column in likely[1:6])
        more = " ..." if len(likely) > 6 else ""
        print(say(tell("replay.column_taken", column=likely[0].name, others=others + more)), file=sys.stderr)
    return likely[0]


def _setup(args: argparse.Namespace, trace: "TraceFile", column: "Column") -> "Setup":
    from pourcall.replay.traces import DEGREES, Setup
    from pourcall.thermometry.thermocouple import TYPES

    tc_type = args.type.upper()
    if tc_type not in TYPES:
        raise BadInput(tell("error.no_type", tc_type=args.type), remedy=tell("error.use_one", known=", ".join(TYPES)))
    unit = args.column_unit or column.unit
    if not unit:
        print(say(tell("replay.unit_taken", column=column.name)), file=sys.stderr)
        unit = "degC"
    option = "--cold-column" if args.cold_column else "--cold"
    if (args.cold or args.cold_column) and unit in DEGREES:
        raise BadInput(
            tell("usage.cold_for_emf", option=option, column=column.name, unit=unit),
            where=str(args.trace),
            remedy=tell("usage.leave_out", option=option),
        )
    if args.cold and args.cold_column:
        raise BadInput(
            tell("usage.contradict", first="--cold", second="--cold-column"), remedy=tell("usage.contradict.remedy")
        )
    cold_column = trace.column(args.cold_column) if args.cold_column else None
    cold_c = temperature_c(args.cold, asked_unit(args), where="--cold") if args.cold else None
    return Setup(unit, tc_type, args.sheath, Place(args.place), cold_c, cold_column=cold_column)


def _plan(args: argparse.Namespace) -> "MeltPlan":
    from pourcall.cli.common import our_paths
    from pourcall.metal.alloys.sheet import load_sheets
    from pourcall.metal.windows import melt_plan

    loss_c = difference_c(args.loss, asked_unit(args), where="--loss") if args.loss else None
    moulds = [mould_request(text, asked_unit(args)) for text in args.mould or ["mould"]]
    sheet = load_sheets(our_paths().alloys).get(args.alloy)
    return melt_plan("replay", sheet, kilograms(args.charge), moulds, loss_c=loss_c)


def _tell(trace: "TraceFile", column: "Column", plan: "MeltPlan", unit: Unit) -> None:
    mould = plan.moulds[0]
    spans_s = trace.times_s[-1]
    print(
        say(
            tell(
                "replay.trace",
                file=trace.name,
                column=column.name,
                time_column=trace.time_column,
                count=len(trace.times_s),
                lasts_s=spans_s,
            )
        )
    )
    wants = tell(
        "replay.window",
        alloy=plan.alloy.name,
        mould=mould.name,
        lip_low_c=mould.lip_min_c,
        lip_high_c=mould.lip_max_c,
        pot_low_c=mould.tap_min_c,
        pot_high_c=mould.tap_max_c,
    )
    print(say(wants, unit))
    if trace.dropped_rows:
        print(say(tell("replay.dropped", count=trace.dropped_rows)))
    if column.texts:
        print(say(tell("replay.texts", count=column.texts)))


def _lines(happened: list[ev.Event], unit: Unit) -> Iterator[str]:
    for event in happened:
        told = _told(event)
        if told:
            yield f"{event.mono_s:9.1f} s  {say(told, unit)}"


def _told(event: ev.Event) -> Message:
    """What is shown of an event; nothing of what only the record wants."""
    match event:
        case ev.MeltStateChanged():
            return tell("replay.melt_state", melt_state=event.new.value, why=event.why)
        case ev.ProbeStateChanged():
            return tell("replay.probe_state", probe_state=event.new.value, why=event.why)
        case ev.CallChanged():
            return (
                NOTHING
                if event.how is ev.CallHow.REPEATED
                else tell("replay.call", how=event.how, text=event.call.text)
            )
        case ev.AlarmChanged(alarm=alarm):
            if not alarm.active:
                return tell("replay.cleared", what=alarm.what)
            return tell("replay.alarm", priority=alarm.priority.name, what=alarm.what)
        case ev.RecordOnly() | ev.MeltStarted() | ev.MeltEnded() | ev.LinkChanged() | ev.StoreChanged():
            return NOTHING
        case _:
            assert_never(event)


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
