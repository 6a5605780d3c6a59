"""`pourcall probe check`. A sample cup of the shop's own alloy against its sheet, and the trend."""

import argparse
import time
from pathlib import Path
from typing import TYPE_CHECKING

from pourcall.cli.common import depth_mm, our_paths, print_json, print_table, unit_of
from pourcall.cli.parser import option
from pourcall.cli.probes.calibration_sources import trace_arguments
from pourcall.cli.probes.probe_facts import facts_of, who_of
from pourcall.contract.errors import Refused
from pourcall.contract.message import Fact, tell
from pourcall.contract.units import Unit, format_difference, format_temperature
from pourcall.texts import say, sentence

if TYPE_CHECKING:
    from pourcall.calibration.correction import ProbeFacts
    from pourcall.calibration.sample_cup import CupCheck, CupWatch


def check_arguments(parser: argparse.ArgumentParser) -> None:
    """Which probe, of which alloy the cup is, from where."""
    parser.add_argument("probe", help=option("shared.probe"))
    parser.add_argument("--alloy", required=True, help=option("cup_check.alloy"))
    source = parser.add_mutually_exclusive_group()
    source.add_argument("--watch", action="store_true", help=option("cup_check.watch"))
    source.add_argument("--from", dest="trace", type=Path, default=None, metavar="FILE", help=option("cup_check.from"))
    trace_arguments(parser)
    heated = option("cup_check.power")
    parser.add_argument("--power", default="", choices=("off", "on", "panel"), help=heated)
    parser.add_argument("--wait", default="60m", help=option("shared.wait"))
    parser.add_argument("--dry-run", action="store_true", help=option("shared.dry_run"))
    parser.add_argument("--furnace", default="", help=option("shared.furnace"))
    parser.add_argument("--who", default="", help=option("shared.who_2"))


def check_cup(args: argparse.Namespace) -> int:
    """Follow the cup, say what it says, keep it."""
    from pourcall.calibration.sample_cup import CupWatch
    from pourcall.metal.alloys.sheet import load_sheets
    from pourcall.records.entries.calibrations import write_aside
    from pourcall.records.entries.probe_checks import keep_check
    from pourcall.thermal_analysis.arrest_check import expected_of
    from pourcall.thermal_analysis.standstill import PoorPlateau

    depth_mm(args.depth)  # refused before anything is read
    if args.trace is None and not args.power:  # asked before anybody waits for an hour
        raise Refused(
            tell("calibration.no_check", why=tell("calibration.unproven.cup")), remedy=tell("calibration.do.vouch")
        )
    unit = unit_of(args)
    facts = facts_of(args.probe, args.furnace)
    library = load_sheets(our_paths().alloys)
    own = expected_of(library.get(args.alloy).facts())
    others = tuple(expected_of(sheet.facts()) for sheet in library.all() if sheet.key != own.key)
    halt_c = min(point.temp_c for point in own.points)
    watch = CupWatch(
        own, others, facts, probe_u_c=_budget_c(facts, halt_c), depth_mm=depth_mm(args.depth), heating=args.power
    )
    source = _follow(args, watch, facts, unit)
    utc_s = time.time()
    try:
        found = watch.result(at_utc_s=utc_s, who=args.who or who_of(), source=source)
    except PoorPlateau as err:
        raise Refused(tell("calibration.no_check", why=err.told), remedy=err.to_do) from err
    kept = None
    if not args.dry_run:
        kept = write_aside(our_paths().database, lambda conn: keep_check(conn, found), utc_s=utc_s)
    checks = checks_of(facts)
    if args.json:
        print_json({"check": found, "beyond": found.beyond, "kept_as": kept, "checks": len(checks)})
        return 0
    _tell(found, unit)
    if kept is None:
        print(say(tell("calibration.dry_run")))
    elif len(checks) > 1:
        checks_table(checks, unit)
    return 0


def _follow(args: argparse.Namespace, watch: "CupWatch", facts: "ProbeFacts", unit: Unit) -> str:
    """Feed the watch; where the readings came from."""
    from pourcall.cli.probes.calibration_sources import file_trace, readings
    from pourcall.thermometry.thermocouple import temp_c_or_none

    if args.trace is not None:
        trace = file_trace(args, facts, unit)
        for at_s, emf_uv in zip(trace.times_s, trace.emf_uv, strict=True):
            watch.take(at_s, None if emf_uv is None else temp_c_or_none(facts.tc_type, emf_uv))
        return str(args.trace.name)
    halts = tuple(tell("melt_list.temperature", temp_c=point.temp_c) for point in watch.own.points)
    cup = tell("calibration.watched.cup", alloy=watch.own.name, halts=halts)
    for _ in readings(facts, unit, args.wait, cup, watch.take):
        if watch.done:
            break
    return "live"


def _budget_c(facts: "ProbeFacts", at_c: float) -> float:
    """What the probe may be out by at a temperature, with the calibration in force: expanded, k = 2."""
    from pourcall.calibration.history import in_force
    from pourcall.contract.calibration import NO_CALIBRATION, Calibration
    from pourcall.records.entries.calibrations import calibration_rows
    from pourcall.records.read.store import Store
    from pourcall.thermometry.tolerance import WireClass
    from pourcall.thermometry.uncertainty import Chain, budget

    force = None
    if our_paths().database.exists():
        with Store.read(our_paths().database) as store, store.reading() as conn:
            force = in_force(calibration_rows(conn, facts.name, facts.furnace), facts.tc_type)
    by_hand = Calibration(offset_uv=facts.offset_uv) if facts.offset_uv else NO_CALIBRATION
    calibration = by_hand if force is None else force.calibration
    chain = Chain(facts.tc_type, facts.amplifier, WireClass(facts.wire_class), calibration)
    return float(budget(chain, at_c, None).expanded_c)


def _tell(found: "CupCheck", unit: Unit) -> None:
    text = say(found.text, unit) if found.offset_c is not None else sentence(found.text, unit)
    print(f"{found.alloy_name}: {text}")
    halt = {"reads_c": found.reads_c, "lasted_s": found.lasted_s}
    told = tell("calibration.cup.stood", **halt) if found.kind == "plateau" else tell("calibration.cup.slowed", **halt)
    if found.undercooling_c:
        told = tell("calibration.cup.after_undercooling", halt=told, under_difference_c=found.undercooling_c)
    print(f"  {say(told, unit)}")
    if found.probe_u_c is not None and found.offset_c is not None:
        print(f"  {say(tell('calibration.cup.budget', probe_u_c=found.probe_u_c), unit)}")
    if found.others and found.offset_c is not None:
        print(f"  {say(tell('calibration.cup.others', sheets=', '.join(found.others)), unit)}")
    print(f"  {say(found.remedy, unit)}")


def checks_of(facts: "ProbeFacts") -> "list[CupCheck]":
    """All checks of a probe on record, oldest first."""
    from pourcall.records.entries.probe_checks import probe_checks
    from pourcall.records.read.store import Store

    path = our_paths().database
    if not path.exists():
        return []
    with Store.read(path) as store, store.reading() as conn:
        return probe_checks(conn, facts.name, facts.furnace)


def checks_table(checks: "list[CupCheck]", unit: Unit) -> None:
    """Every check with its offset; then how the probe drifts, where that can be told."""
    from pourcall.calibration.history import day
    from pourcall.calibration.sample_cup import drift

    rows = []
    for one in checks:
        known = one.offset_c is not None and one.u_c is not None
        rows.append(
            [
                day(one.at_utc_s),
                one.alloy,
                "-" if one.at_c is None else format_temperature(one.at_c, unit, 1),
                format_temperature(one.reads_c, unit, 1),
                format_difference(one.offset_c, unit, signed=True) if known and one.offset_c is not None else "-",
                f"± {format_difference(one.u_c, unit)}" if known and one.u_c is not None else "-",
                _verdict(one),
                one.who,
            ]
        )
    print_table(
        ("check", "alloy", "sheet", "read", "off_by", "twice_u", "", "who"),
        rows,
        right=("sheet", "read", "off_by", "twice_u"),
    )
    found = drift(checks)
    if found is None:
        print(say(tell("drift.checks.few")))
        return
    month = tell(
        "drift.checks.month", by=format_difference(found.drift_c_per_month, unit, signed=True), month_u_c=found.u_c
    )
    drifts: dict[str, Fact] = {"month": month, "count": found.checks, "days": round(found.days)}
    print(say(tell("drift.checks.sure", **drifts) if found.is_sure else tell("drift.checks.none", **drifts), unit))


def _verdict(one: "CupCheck") -> str:
    if one.beyond:
        return say(tell("calibration.cup.beyond"))
    return "" if one.verdict in ("fits", "probe") else say(tell("calibration.cup.not_the_alloy"))
