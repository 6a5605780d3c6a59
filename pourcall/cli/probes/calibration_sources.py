"""Where a calibration's trace comes from: a melt on record, a file, the daemon; and typed figures."""

import argparse
import sys
import time
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

from pourcall.cli.common import asked_unit, depth_mm, our_paths
from pourcall.cli.parser import option
from pourcall.contract.errors import BadInput, NotFound, Refused
from pourcall.contract.message import tell
from pourcall.contract.quantities import days
from pourcall.contract.units import Unit
from pourcall.texts import say

if TYPE_CHECKING:
    from pourcall.calibration.correction import EmfTrace, FoundPoint, ProbeFacts
    from pourcall.calibration.live import Standing
    from pourcall.contract.message import Message
    from pourcall.thermometry.reference_points import CalPoint

LOOK_S = 1.0


def trace_arguments(parser: argparse.ArgumentParser) -> None:
    """What is to be known of a file with a cup's trace, and how deep the probe stood."""
    parser.add_argument("--column", default="", help=option("calibration_sources.column"))
    parser.add_argument("--time", default="", help=option("calibration_sources.time"))
    parser.add_argument("--column-unit", default="", help=option("calibration_sources.column_unit"))
    parser.add_argument("--cold", default="", metavar="TEMP", help=option("calibration_sources.cold"))
    parser.add_argument("--cold-column", default="", metavar="COLUMN", help=option("calibration_sources.cold_column"))
    parser.add_argument("--depth", default="", metavar="LENGTH", help=option("calibration_sources.depth"))


def melt_trace(melt: str, facts: "ProbeFacts") -> tuple["EmfTrace", str]:
    from pourcall.calibration.correction import emf_trace
    from pourcall.records.entries.calibrations import power_marks, raw_samples
    from pourcall.records.read.store import Store
    from pourcall.thermal_analysis.arrest_or_hold import PowerFrom

    with Store.read(our_paths().database) as store, store.reading() as conn:
        samples = list(raw_samples(conn, melt, facts.name))
        power = tuple(PowerFrom(at_s, on) for at_s, on in power_marks(conn, melt))
    return emf_trace(samples, facts.tc_type)._replace(power=power), f"melt {melt}"


def same_furnace(melt: str, facts: "ProbeFacts") -> None:
    """Raises BadInput where the melt was in another furnace: a probe's calibrations are kept under its own."""
    from pourcall.records.read.store import Store

    with Store.read(our_paths().database) as store:
        furnace = store.melt(melt).row.furnace
    if furnace != facts.furnace:
        raise BadInput(
            tell("calibration.other_furnace", melt=melt, furnace=furnace, probe=facts.name, own=facts.furnace),
            remedy=tell("calibration.other_furnace.remedy", own=facts.furnace),
        )


def file_trace(args: argparse.Namespace, facts: "ProbeFacts", unit: Unit) -> "EmfTrace":
    from pourcall.calibration.correction import EmfTrace, RawSample, emf_trace
    from pourcall.contract.errors import BadTrace
    from pourcall.contract.frames import RawKind
    from pourcall.contract.quantities import temperature_c
    from pourcall.drivers.trace_file import decode, read_trace
    from pourcall.replay.traces import DEGREES, EMF_UV_PER, Setup, cold_junctions_c
    from pourcall.thermometry.compensation import cold_emf_uv
    from pourcall.thermometry.thermocouple import emf_uv_or_none

    try:
        data = args.trace.read_bytes()
    except OSError as err:
        raise BadTrace(
            tell("cli.unreadable", error=err.strerror or str(err)),
            where=str(args.trace),
            remedy=tell("cli.unreadable.remedy"),
        ) from err
    file = read_trace(decode(data), name=str(args.trace), time_column=args.time)
    if args.column:
        column = file.column(args.column)
    else:
        likely = file.candidates()
        if not likely:
            names = ", ".join(one.name for one in file.columns)
            raise BadTrace(
                tell("replay.no_column"), where=file.name, remedy=tell("replay.no_column.remedy", columns=names)
            )
        column = likely[0]
        print(say(tell("calibration.column_taken", column=column.name)), file=sys.stderr)
    its_unit = args.column_unit or column.unit or "degC"
    cold_c = temperature_c(args.cold, asked_unit(args), where="--cold") if args.cold else None
    if its_unit in EMF_UV_PER:
        if cold_c is not None and cold_emf_uv(facts.tc_type, cold_c) is None:
            raise BadInput(
                tell("error.terminals", terminals_c=cold_c, tc_type=facts.tc_type), remedy=tell("error.figure.remedy")
            )
        if args.cold and args.cold_column:
            raise BadInput(
                tell("usage.contradict", first="--cold", second="--cold-column"), remedy=tell("usage.contradict.remedy")
            )
        by_row = file.column(args.cold_column) if args.cold_column else None
        colds_c = cold_junctions_c(file, Setup(its_unit, cold_junction_c=cold_c, cold_column=by_row))
        samples = [
            RawSample(at_s, RawKind.EMF_UV, None if value is None else value * EMF_UV_PER[its_unit], terminals_c)
            for at_s, value, terminals_c in zip(file.times_s, column.values, colds_c, strict=True)
        ]
        trace = emf_trace(samples, facts.tc_type)
        return trace if args.cold or args.cold_column else trace._replace(cold_junction_c=None)
    if its_unit in DEGREES:
        from pourcall.contract.units import to_c

        if args.cold or args.cold_column:
            option = "--cold" if args.cold else "--cold-column"
            raise BadInput(
                tell("usage.cold_for_emf", option=option, column=column.name, unit=its_unit),
                where=str(args.trace),
                remedy=tell("usage.leave_out", option=option),
            )
        emfs = [
            None if value is None else emf_uv_or_none(facts.tc_type, to_c(value, DEGREES[its_unit]))
            for value in column.values
        ]
    else:
        raise BadInput(tell("usage.column_unit", unit=its_unit), remedy=tell("usage.column_unit.remedy"))
    return EmfTrace(list(file.times_s), emfs, cold_c)


def live(args: argparse.Namespace, point: "CalPoint", facts: "ProbeFacts", unit: Unit) -> "FoundPoint":
    """Watch the daemon's readings until a plateau is found."""
    from pourcall.calibration.live import LiveWatch, uncorrected_uv

    applied = _running_calibration(facts)
    watch = LiveWatch(
        point, facts, grade=args.grade, depth_mm=depth_mm(args.depth), heating=args.power, cover=args.cover
    )

    def take(at_s: float, temp_c: float | None) -> "Standing":
        return watch.take(at_s, None if temp_c is None else uncorrected_uv(temp_c, facts.tc_type, applied))

    what = tell("calibration.watched.point", metal=point.name, point_c=point.temp_c)
    for _ in readings(facts, unit, args.wait, what, take):
        if watch.found is not None:
            return watch.found
    reason = watch.last_refusal
    if reason is None:
        raise Refused(tell("calibration.no_plateau", waited=args.wait), remedy=tell("calibration.no_plateau.remedy"))
    raise Refused(tell("calibration.none_in", waited=args.wait, why=reason.told), remedy=reason.to_do)


def readings(
    facts: "ProbeFacts", unit: Unit, wait: str, what: "Message", take: "Callable[[float, float | None], Standing]"
) -> Iterator[None]:
    """KeyController each look at the daemon's reading to `take` (time, degC or None), for so long as `wait` says.

    What `take` says is shown on standard error, one line that is rewritten. Raises NotFound for a probe it has not.
    """
    from pourcall.cli.client import DaemonClient
    from pourcall.contract.quantities import seconds
    from pourcall.contract.status import Status

    client = DaemonClient()
    client.furnaces()  # nobody there: said at once
    wait_s = seconds(wait)
    terminal = sys.stderr.isatty()
    began_s: float | None = None
    last_said = ""  # of what the metal does: what is wanted of it alone is not said again
    print(say(tell("calibration.watching", probe=facts.name, what=what), unit), file=sys.stderr)
    try:
        while True:
            shots = [shot for shot in client.furnaces() if shot.furnace == facts.furnace]
            views = [(shot.mono_s, view) for shot in shots for view in shot.probes if view.name == facts.name]
            if not views:
                raise NotFound(
                    tell("calibration.daemon_without", probe=facts.name),
                    remedy=tell("calibration.daemon_without.remedy"),
                )
            mono_s, view = views[0]
            began_s = mono_s if began_s is None else began_s
            number = view.temp_c if view.status is not Status.BAD else None
            standing = take(mono_s - view.age_s if number is not None else mono_s, number)
            now = say(standing.now, unit)
            if terminal:
                print(f"\r\x1b[K{say(standing.told, unit)}", end="", flush=True, file=sys.stderr)
            elif now != last_said:
                print(say(standing.told, unit), file=sys.stderr)
            last_said = now
            yield
            if mono_s - began_s > wait_s:
                return
            time.sleep(LOOK_S)
    finally:
        if terminal:
            print(file=sys.stderr)


def _running_calibration(facts: "ProbeFacts") -> Any:
    """What the running daemon applies to this probe: the configuration of its session, as recorded at its start."""
    from pourcall.contract.calibration import Calibration
    from pourcall.records.entries.calibrations import latest_config
    from pourcall.records.read.store import Store

    path = our_paths().database
    if not path.exists():
        return None
    with Store.read(path) as store, store.reading() as conn:
        config = latest_config(conn, facts.name, facts.furnace)
    own = next((probe for probe in config.probes if probe.name == facts.name), None) if config else None
    if own is None:
        return None
    if own.calibration is not None:
        return own.calibration
    return Calibration(offset_uv=own.offset_uv) if own.offset_uv else None


def due_days(text: str) -> float:
    """When a calibration is due again, from a day to ten years. Raises BadInput."""
    value = days(text, where="--due")
    if not 1.0 <= value <= 3653.0:
        raise BadInput(tell("usage.due", word=text.strip()), remedy=tell("quantity.write.age"))
    return value
