"""`pourcall calibrate`. A probe against a known temperature: from a melt on record, a file, or live."""

import argparse
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pourcall.cli.common import add_json, add_unit, depth_mm, our_paths, print_json, unit_of
from pourcall.cli.parser import option
from pourcall.cli.probes.calibration_history import listing, points, show
from pourcall.cli.probes.calibration_sources import (
    due_days,
    file_trace,
    live,
    melt_trace,
    same_furnace,
    trace_arguments,
)
from pourcall.cli.probes.probe_facts import facts_of, who_of
from pourcall.contract.errors import BadInput, Refused
from pourcall.contract.message import tell
from pourcall.contract.quantities import measured
from pourcall.contract.units import Unit, format_difference
from pourcall.texts import say, word, written

if TYPE_CHECKING:
    from pourcall.calibration.correction import FoundPoint, ProbeFacts
    from pourcall.calibration.history import InForce
    from pourcall.contract.message import Message
    from pourcall.thermometry.reference_points import CalPoint

WORDS = ("list", "show", "points")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Which probe, which point, from where; or what is on record."""
    parser.usage = (
        "pourcall calibrate PROBE --point POINT [--from-melt MELT | --trace FILE]\n"
        "       pourcall calibrate list | show PROBE | points"
    )
    parser.add_argument("what", metavar="PROBE", help=option("calibrate.what"))
    parser.add_argument("probe", nargs="?", default="", help=argparse.SUPPRESS)
    parser.add_argument("--point", default="", help=option("calibrate.point"))
    source = parser.add_mutually_exclusive_group()
    source.add_argument("--from-melt", default="", metavar="MELT", help=option("calibrate.from_melt"))
    source.add_argument("--trace", type=Path, default=None, metavar="FILE", help=option("calibrate.trace"))
    trace_arguments(parser)
    parser.add_argument("--other-meter", action="store_true", help=option("calibrate.other_meter"))
    parser.add_argument(
        "--grade", default="commercial", choices=("99.99", "99.9", "commercial"), help=option("calibrate.grade")
    )
    parser.add_argument("--altitude", default="", metavar="M", help=option("calibrate.altitude"))
    parser.add_argument("--weather", default="", metavar="HPA", help=option("calibrate.weather"))
    parser.add_argument("--pressure", default="", metavar="HPA", help=option("calibrate.pressure"))
    parser.add_argument("--direction", default="", choices=("freezing", "melting"), help=option("calibrate.direction"))
    parser.add_argument("--power", default="", choices=("off", "on", "panel"), help=option("calibrate.power"))
    parser.add_argument("--cover", default="", choices=("charcoal", "graphite", "none"), help=option("calibrate.cover"))
    parser.add_argument("--due", default="180d", metavar="DAYS", help=option("calibrate.due"))
    parser.add_argument("--wait", default="60m", help=option("shared.wait"))
    parser.add_argument("--anyway", action="store_true", help=option("calibrate.anyway"))
    parser.add_argument("--dry-run", action="store_true", help=option("shared.dry_run"))
    parser.add_argument("--svg", type=Path, default=None, metavar="FILE", help=option("calibrate.svg"))
    parser.add_argument("--furnace", default="", help=option("shared.furnace"))
    parser.add_argument("--who", default="", help=option("shared.who_2"))
    add_unit(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """List, show, or calibrate."""
    if args.what in WORDS:
        if args.what != "show" and args.probe:
            raise BadInput(
                tell("usage.calibrate.no_probe", word=args.what), remedy=tell("usage.calibrate.show", probe=args.probe)
            )
        return {"list": listing, "show": show, "points": points}[args.what](args)
    if args.probe:
        raise BadInput(tell("usage.calibrate.word", word=args.probe), remedy=tell("usage.calibrate.word.remedy"))
    return _calibrate(args)


# -- calibrating ------------------------------------------------------------------------------------------------------


def _calibrate(args: argparse.Namespace) -> int:
    from pourcall.calibration.correction import find_point
    from pourcall.thermometry.reference_points import cal_point

    if not args.point:
        raise BadInput(tell("usage.calibrate.no_point"), remedy=tell("usage.calibrate.no_point.remedy"))
    depth_mm(args.depth)  # refused before anything is read
    if args.svg is not None:
        raise BadInput(
            tell("usage.only_with", option="--svg", other="`calibrate show`"),
            remedy=tell("usage.calibrate.svg", probe=args.what),
        )
    due_again_days = due_days(args.due)
    point = cal_point(
        args.point,
        altitude_m=measured(args.altitude, "altitude", where="--altitude") if args.altitude else None,
        pressure_hpa=measured(args.pressure, "pressure", where="--pressure") if args.pressure else None,
        sea_level_hpa=measured(args.weather, "pressure", where="--weather") if args.weather else None,
    )
    unit = unit_of(args)
    facts = facts_of(args.what, args.furnace)
    point = _as_covered(args, point, unit)
    if args.from_melt:
        same_furnace(args.from_melt, facts)
        trace, source = melt_trace(args.from_melt, facts)
    elif args.trace is not None:
        trace, source = file_trace(args, facts, unit), args.trace.name
    else:
        if args.other_meter:
            raise BadInput(
                tell("usage.only_with", option="--other-meter", other="--trace"),
                remedy=tell("usage.leave_out", option="--other-meter"),
            )
        found = live(args, point, facts, unit)
        return _keep(args, facts, found, "live", due_again_days, unit)
    found = find_point(
        trace,
        point,
        facts,
        grade=args.grade,
        depth_mm=depth_mm(args.depth),
        with_board=not args.other_meter,
        direction=args.direction,
        heating=args.power,
        cover=args.cover,
    )
    return _keep(args, facts, found, source, due_again_days, unit)


def _as_covered(args: argparse.Namespace, point: "CalPoint", unit: Unit) -> "CalPoint":
    """The point of metal melted as the person says; asked before anybody waits for a trace."""
    from pourcall.calibration.correction import point_as_covered

    taken = point_as_covered(point, args.cover)
    if taken is not point:
        print(say(tell("calibration.in_air", name=taken.name, point_c=taken.temp_c), unit), file=sys.stderr)
    return taken


def _doubt(found: "FoundPoint", facts: "ProbeFacts") -> "Message | None":
    """What is strange about the point beside those on record."""
    from pourcall.calibration.agreement import doubt
    from pourcall.records.entries.calibrations import calibration_rows
    from pourcall.records.read.store import Store

    if not our_paths().database.exists():
        return None
    with Store.read(our_paths().database) as store, store.reading() as conn:
        return doubt(found, calibration_rows(conn, facts.name, facts.furnace), facts)


def _keep(
    args: argparse.Namespace, facts: "ProbeFacts", found: "FoundPoint", source: str, due_days: float, unit: Unit
) -> int:
    from pourcall.calibration.history import in_force
    from pourcall.records.entries.calibrations import add_point, calibration_rows, write_aside

    if found.beyond_class and not (args.anyway or args.dry_run):
        _tell(found, facts, unit)
        raise Refused(
            tell("calibration.not_kept", why=tell("calibration.beyond_class", off_difference_c=abs(found.error_c))),
            remedy=tell("calibration.do.make_sure", point=found.point.name),
        )
    strange = _doubt(found, facts)
    if strange is not None and not (args.anyway or args.dry_run):
        _tell(found, facts, unit)
        told = tell("calibration.not_kept", why=strange)
        raise Refused(told, remedy=tell("calibration.do.find_false"))
    utc_s = time.time()
    row_id: int | None = None
    force: InForce | None = None
    if not args.dry_run:

        def enter(conn: Any) -> int:
            new = add_point(
                conn,
                facts,
                found,
                who=args.who or who_of(),
                utc_s=utc_s,
                source=source,
                due_days=due_days,
                grade=args.grade,
                depth_mm=depth_mm(args.depth),
            )
            nonlocal force
            force = in_force(calibration_rows(conn, facts.name, facts.furnace), facts.tc_type)
            return new

        row_id = write_aside(our_paths().database, enter, utc_s=utc_s)
    if args.json:
        print_json(
            {
                "probe": facts.name,
                "furnace": facts.furnace,
                "point": found.point.key,
                "reference_c": found.point.temp_c,
                "measured_c": found.plateau.value_c,
                "error_c": found.error_c,
                "standard_c": found.standard_c,
                "emf_uv": found.emf_uv,
                "correction_uv": found.offset_uv,
                "standard_uv": found.spread_uv,
                "beyond_class": found.beyond_class,
                "doubt": written(strange) if strange is not None else "",
                "plateau": found.plateau,
                "parts": [part._asdict() | {"words": written(part.words)} for part in found.parts],
                "kept_as": row_id,
                "source": source,
            }
        )
        return 0
    _tell(found, facts, unit)
    if strange is not None:
        print(f"  {say(tell('calibration.mind', why=strange), unit)}")
    if row_id is None:
        print(say(tell("calibration.dry_run")))
        return 0
    assert force is not None
    print(say(tell("calibration.kept", number=row_id, due=force.calibration.due, how=force.calibration.how)))
    print(say(tell("calibration.kept.when")))
    return 0


def _tell(found: "FoundPoint", facts: "ProbeFacts", unit: Unit) -> None:
    plateau = found.plateau
    stood = tell(
        "calibration.stood",
        metal=found.point.name,
        point_c=found.point.temp_c,
        probe=facts.name,
        shown_c=plateau.value_c,
        direction=plateau.direction,
        flat_s=plateau.flat_s,
    )
    print(say(stood, unit))
    if plateau.undercooling_c:
        print(f"  {say(tell('calibration.sprang_back', under_difference_c=plateau.undercooling_c), unit)}")
    off = tell(
        "calibration.reads",
        off_difference_c=abs(found.error_c),
        side="high" if found.error_c > 0 else "low",
        correction=f"{found.offset_uv:+.1f}",
        spread=f"{found.spread_uv:.1f}",
        standard_difference_c=found.standard_c,
    )
    print(f"  {say(off, unit)}")
    for part in sorted(found.parts, key=lambda one: -one.standard_c):
        print(
            f"    {format_difference(part.standard_c, unit, 2):>9}  {word('part', part.name)}: {say(part.words, unit)}"
        )
    if found.beyond_class:
        print(f"  {say(tell('calibration.mind', why=tell('calibration.mind.beyond_class')), unit)}")
    if found.point.note:
        print(f"  {say(tell('calibration.mind', why=found.point.note), unit)}")
