"""`pourcall probe`. How well a probe is known at a temperature, part by part, and what it was checked against."""

import argparse
import time

from pourcall.cli.common import (
    add_json,
    add_unit,
    asked_unit,
    our_paths,
    print_json,
    print_table,
    settings_or_none,
    unit_of,
)
from pourcall.cli.parser import option
from pourcall.cli.probes.calibration_history import history_table
from pourcall.cli.probes.cup_check import check_arguments, check_cup, checks_of, checks_table
from pourcall.cli.probes.probe_facts import facts_of
from pourcall.contract.errors import NotFound
from pourcall.contract.message import tell
from pourcall.contract.quantities import difference_c, temperature_c
from pourcall.contract.units import format_difference
from pourcall.texts import say, word


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Show one, list all, check one in a sample cup."""
    what = parser.add_subparsers(dest="what", required=True)
    show = what.add_parser("show", help=option("probe.show"))
    show.add_argument("probe", help=option("shared.probe"))
    show.add_argument("--at", default="700C", metavar="TEMP", help=option("probe.show.at"))
    show.add_argument("--cold", default="", metavar="TEMP", help=option("probe.show.cold"))
    show.add_argument("--noise", default="0", metavar="DEGREES", help=option("probe.show.noise"))
    show.add_argument("--furnace", default="", help=option("shared.furnace"))
    listing = what.add_parser("list", help=option("probe.list"))
    check = what.add_parser("check", help=option("probe.check"))
    check_arguments(check)
    for parser_of in (show, listing, check):
        add_unit(parser_of)
        add_json(parser_of)


def run(args: argparse.Namespace) -> int:
    """Show, list or check."""
    if args.what == "check":
        return check_cup(args)
    return _show(args) if args.what == "show" else _list(args)


def _show(args: argparse.Namespace) -> int:
    from pourcall.calibration.history import in_force
    from pourcall.contract.calibration import NO_CALIBRATION, Calibration
    from pourcall.records.entries.calibrations import calibration_rows
    from pourcall.records.read.store import Store
    from pourcall.thermometry.tolerance import WireClass
    from pourcall.thermometry.uncertainty import Chain, budget

    unit = unit_of(args)
    facts = facts_of(args.probe, args.furnace)
    at_c = temperature_c(args.at, asked_unit(args), where="--at")
    cold_c = temperature_c(args.cold, asked_unit(args), where="--cold") if args.cold else None
    noise_c = abs(difference_c(args.noise, asked_unit(args), where="--noise"))
    path = our_paths().database
    rows = []
    if path.exists():
        with Store.read(path) as store, store.reading() as conn:
            rows = calibration_rows(conn, facts.name, facts.furnace)
    checks = checks_of(facts)
    force = in_force(rows, facts.tc_type)
    by_hand = Calibration(offset_uv=facts.offset_uv) if facts.offset_uv else NO_CALIBRATION
    calibration = by_hand if force is None else force.calibration
    wire_class = WireClass(facts.wire_class)
    whole = budget(Chain(facts.tc_type, facts.amplifier, wire_class, calibration), at_c, cold_c, noise_c=noise_c)
    if args.json:
        print_json(
            {
                "probe": facts.name,
                "furnace": facts.furnace,
                "type": facts.tc_type,
                "wire_class": facts.wire_class,
                "amplifier": facts.amplifier.value,
                "sheath": facts.sheath,
                "at_c": at_c,
                "cold_junction_c": cold_c,
                "parts": [part._asdict() | {"words": say(part.words)} for part in whole.parts],
                "standard_c": whole.standard_c,
                "expanded_c": whole.expanded_c,
                "off_spec": whole.off_spec,
                "calibration": calibration,
                "due": calibration.due or None,
                "overdue": force is not None and force.overdue(time.time()),
                "history": rows,
                "checks": checks,
            }
        )
        return 0
    chain = tell(
        "uncertainty.chain",
        probe=facts.name,
        tc_type=facts.tc_type,
        wire_class=wire_class.value,
        sheath=facts.sheath,
        amplifier=facts.amplifier.value,
        furnace=facts.furnace,
    )
    print(say(chain))
    print(say(tell("uncertainty.at", at_c=at_c, expanded_u_c=whole.expanded_c), unit))
    print_table(
        ("part", "stated", "spread_as", "u_standard", "share", "comes_from"),
        [
            [
                word("part", part.name),
                format_difference(part.stated_c, unit, 2),
                word("shape", part.shape.value),
                format_difference(part.standard_c, unit, 2),
                f"{_share(part.standard_c, whole.standard_c)} %",
                say(part.words, unit),
            ]
            for part in sorted(whole.parts, key=lambda one: -one.standard_c)
        ],
        right=("stated", "u_standard", "share"),
    )
    print(say(tell("uncertainty.not_in_it", part=word("part", whole.largest.name))))
    if whole.off_spec:
        print(say(tell("uncertainty.off_spec")))
    if rows:
        print()
        history_table(rows, force, unit, facts.tc_type)
    elif facts.offset_uv:
        print(say(tell("uncertainty.by_settings", offset_uv=facts.offset_uv)))
    else:
        print(say(tell("uncertainty.never_calibrated")))
    if checks:
        print()
        checks_table(checks, unit)
    return 0


def _share(part_c: float, whole_c: float) -> str:
    """How much of the variance a part makes."""
    return f"{100.0 * (part_c / whole_c) ** 2:.0f}" if whole_c > 0.0 else "0"


def _list(args: argparse.Namespace) -> int:
    from pourcall.calibration.history import in_force
    from pourcall.records.entries.calibrations import calibration_rows
    from pourcall.records.read.store import Store

    settings = settings_or_none()
    if settings is None or not settings.probe:
        raise NotFound(tell("uncertainty.no_probes"), remedy=tell("uncertainty.no_probes.remedy"))
    path = our_paths().database
    rows = []
    if path.exists():
        with Store.read(path) as store, store.reading() as conn:
            rows = calibration_rows(conn)
    now_s = time.time()
    out = []
    for name, probe in settings.probe.items():
        own = [row for row in rows if (row.furnace, row.probe) == (probe.furnace, name)]
        force = in_force(own, probe.type)
        out.append(
            {
                "probe": name,
                "furnace": probe.furnace,
                "place": probe.place.value,
                "type": probe.type,
                "wire_class": probe.wire_class,
                "board": probe.board,
                "channel": probe.channel,
                "sheath": probe.sheath,
                "calibrated": None if force is None else force.calibration.date,
                "due": None if force is None else force.calibration.due,
                "overdue": force is not None and force.overdue(now_s),
            }
        )
    if args.json:
        print_json(out)
        return 0
    print_table(
        ("probe", "furnace", "place", "type", "wire_class", "board", "calibrated", "due"),
        [
            [
                str(one["probe"]),
                str(one["furnace"]),
                word("place", str(one["place"])),
                str(one["type"]),
                str(one["wire_class"]),
                f"{one['board']}/{one['channel']}",
                str(one["calibrated"] or say(tell("drift.never"))),
                " ".join([str(one["due"] or "-"), *([say(tell("drift.overdue"))] if one["overdue"] else [])]),
            ]
            for one in out
        ],
    )
    return 0
