"""`pourcall mould`. Mould setups: described once, changed by another version, used by `pourcall melt start`."""

import argparse
import itertools
from typing import TYPE_CHECKING

from pourcall.cli.common import add_json, add_unit, asked_unit, local_time, our_paths, print_listing, unit_of
from pourcall.cli.parser import option
from pourcall.cli.pours.entering import enter
from pourcall.contract.entries import MouldSetupRequest
from pourcall.contract.errors import BadInput
from pourcall.contract.message import NOTHING, tell
from pourcall.contract.quantities import kilograms, millimetres, temperature_c
from pourcall.contract.units import Unit, format_mass, format_temperature
from pourcall.texts import say

if TYPE_CHECKING:
    from pourcall.records.read.views import SetupView


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Sub-commands."""
    subs = parser.add_subparsers(dest="what", required=True, metavar="add|change|list|show")
    add = subs.add_parser("add", help=option("mould.add"))
    change = subs.add_parser("change", help=option("mould.change"))
    for sub in (add, change):
        sub.add_argument("name", help=option("mould.name"))
        sub.add_argument("--pattern", help=option("mould.pattern"))
        sub.add_argument("--material", help=option("mould.material"))
        sub.add_argument("--batch", help=option("shared.batch"))
        sub.add_argument("--gating", help=option("mould.gating"))
        sub.add_argument("--vents", help=option("shared.vents"))
        sub.add_argument("--thinnest", metavar="LENGTH", help=option("mould.thinnest"))
        sub.add_argument("--mm", metavar="LENGTH", help=option("mould.mm"))
        sub.add_argument("--mass", help=option("mould.mass"))
        sub.add_argument("--preheat", metavar="TEMPERATURE", help=option("mould.preheat"))
        sub.add_argument("--note", help=option("mould.note"))
        sub.add_argument("--why", default="", help=option("mould.why"))
        sub.add_argument("--who", default="shop", help=option("shared.who"))
    listing = subs.add_parser("list", help=option("mould.list"))
    show = subs.add_parser("show", help=option("mould.show"))
    show.add_argument("name")
    for sub in (listing, show):
        add_json(sub)
    for sub in (add, change, listing, show):
        add_unit(sub)


def run(args: argparse.Namespace) -> int:
    """The sub-command."""
    if args.what in ("add", "change"):
        return enter(_request(args))
    from pourcall.records.entries.setups import setup_list, setup_versions
    from pourcall.records.read.store import Store

    unit = unit_of(args)
    with Store.read(our_paths().database) as store, store.reading() as conn:
        rows = setup_list(conn) if args.what == "list" else setup_versions(conn, args.name)
    if args.what == "show" and not args.json:
        _show(rows, unit)
        return 0
    print_listing(
        args,
        rows,
        {
            "setup": lambda row: row.name,
            "version": lambda row: str(row.version),
            "pattern": lambda row: row.pattern,
            "material": lambda row: row.material.replace("_", " "),
            "thinnest": _mm,
            "mass": _kg,
            "preheat": lambda row: "" if row.preheat_c is None else format_temperature(row.preheat_c, unit),
            "pours": lambda row: str(row.pours),
        },
        right=("version", "thinnest", "mass", "preheat", "pours"),
        none=tell("cli.mould.none_yet"),
    )
    return 0


def _request(args: argparse.Namespace) -> MouldSetupRequest:
    return MouldSetupRequest(
        name=args.name,
        add=args.what == "add",
        pattern=args.pattern,
        material=_material(args.material),
        batch=args.batch,
        gating=args.gating,
        venting=args.vents,
        thinnest_mm=_thinnest_mm(args),
        mass_kg=None if args.mass is None else kilograms(args.mass),
        preheat_c=None if args.preheat is None else temperature_c(args.preheat, asked_unit(args)),
        detail=args.note,
        why=args.why,
        who=args.who,
    )


def _thinnest_mm(args: argparse.Namespace) -> float | None:
    if args.thinnest is not None and args.mm is not None:
        raise BadInput(tell("cli.mould.twice"), remedy=tell("cli.mould.twice.remedy"))
    if args.mm is not None:
        return millimetres(args.mm, bare=True, where="--mm")
    return None if args.thinnest is None else millimetres(args.thinnest)


def _material(text: str | None) -> str | None:
    return None if text is None else text.strip().casefold().replace(" ", "_")


def _show(rows: "tuple[SetupView, ...]", unit: Unit) -> None:
    newest = rows[-1]
    poured = tell("cli.mould.pours", count=newest.pours)
    print(say(tell("cli.mould.head", setup=newest.name, version=newest.version, poured=poured)))
    facts = {say(tell(f"column.{name}")): value for name, value in _facts(newest, unit).items() if value}
    width = max((len(name) for name in facts), default=0)
    for name, value in facts.items():
        print(f"  {name:<{width}}  {value}")
    for old, new in itertools.pairwise(rows):
        now = _facts(new, unit)
        changed = tuple(
            tell("cli.mould.was", name=say(tell(f"column.{name}")), value=was or say(tell("cli.mould.not_told")))
            for name, was in _facts(old, unit).items()
            if was != now[name]
        )
        why = tell("cli.mould.why", why=new.why) if new.why else NOTHING
        at = local_time(new.at_utc_s)
        print(say(tell("cli.mould.old", version=old.version, at=at, changed=changed, why=why, who=new.who)))


def _facts(row: "SetupView", unit: Unit) -> dict[str, str]:
    """What a setup is, by the name of its heading."""
    return {
        "pattern": row.pattern,
        "material": row.material.replace("_", " "),
        "batch": row.batch,
        "gating": row.gating,
        "vents": row.venting,
        "thinnest": _mm(row),
        "mass": _kg(row),
        "preheat": "" if row.preheat_c is None else format_temperature(row.preheat_c, unit),
        "note": row.detail,
    }


def _mm(row: "SetupView") -> str:
    return "" if row.thinnest_mm is None else f"{row.thinnest_mm:g} mm"


def _kg(row: "SetupView") -> str:
    return "" if row.mass_kg is None else format_mass(row.mass_kg)
