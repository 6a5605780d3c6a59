"""`pourcall plan`. An intended melt on one page: charge, energy, windows, filling, fume, cautions, clothing.

The melt is described by words on the command line, by a TOML file, or by both (the words win). Nothing is asked of a
daemon, and nothing is started: `--start` only prints the command that would.
"""

import argparse
import shlex
from pathlib import Path
from typing import Any, TypeVar

import msgspec

from pourcall.cli.common import (
    add_json,
    add_unit,
    asked_unit,
    our_paths,
    pick_furnace,
    print_json,
    settings_or_none,
    unit_of,
)
from pourcall.cli.parser import option
from pourcall.contract.errors import BadInput
from pourcall.contract.message import tell
from pourcall.contract.nearest import did_you_mean
from pourcall.contract.quantities import (
    difference_c,
    figure,
    key_values,
    kilograms,
    measured,
    millimetres,
    seconds,
    share,
    temperature_c,
)
from pourcall.contract.toml_tables import Checker, told
from pourcall.contract.units import Unit, difference_from_c, from_c
from pourcall.metal.alloys.sheet import load_sheets
from pourcall.metal.heat.transfer import Carry
from pourcall.planning.job import Job, JobLadle, JobMould, parse_job, read_value
from pourcall.planning.job_request import Shop, request_of
from pourcall.planning.plan_text import render_text
from pourcall.planning.planner import PlanRequest, PourPlan, make_plan
from pourcall.texts import say

T = TypeVar("T", bound=msgspec.Struct)
# Words of the command line -> keys of the job. Each figure carries its unit, but for `kg`, `mm` and plain numbers.
MOULD_KEYS = {
    "kg": "mass_kg",
    "casting": "casting_kg",
    "gating": "gating_kg",
    "volume": "volume_cm3",
    "pattern": "pattern_kg",
    "density": "pattern_kg_per_m3",
    "cavities": "cavities",
    "copies": "copies",
    "mm": "thinnest_mm",
    "thickest": "thickest_mm",
    "head": "head_mm",
    "flow": "flow_mm",
    "fill": "fill_s",
    "factor": "fill_factor",
    "material": "material",
    "setup": "setup",
    "min": "lip_min_c",
    "max": "lip_max_c",
    "loss": "loss_c",
}
POT_KEYS = {
    "kg": "mass_kg",
    "mouth": "mouth_mm",
    "outside": "outside_mm",
    "height": "height_mm",
    "depth": "depth_mm",
    "material": "material",
    "rating": "rating_c",
}
LADLE_KEYS = {"kg": "mass_kg", "preheat": "preheat_c", "contact": "contact"}
ROOM_KEYS = {"volume": "volume_m3", "changes": "changes_per_h"}
_WORDS = ("name", "setup", "material")
_WHOLE = ("cavities", "copies")
_MEASURES = {
    "volume_cm3": "volume",
    "pattern_kg_per_m3": "density",
    "volume_m3": "room",
    "changes_per_h": "air_changes",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """One command; every figure may also stand in the file."""
    parser.add_argument("alloy", nargs="?", default="", help=option("plan.alloy"))
    parser.add_argument("--file", type=Path, metavar="PLAN.toml", help=option("plan.file"))
    parser.add_argument("--mould", action="append", default=[], help=option("plan.mould"))
    parser.add_argument("--charge", help=option("plan.charge"))
    parser.add_argument("--heel", help=option("plan.heel"))
    parser.add_argument("--yield", dest="yield_share", metavar="SHARE", help=option("plan.yield"))
    parser.add_argument("--furnace", default="", help=option("plan.furnace"))
    parser.add_argument("--power", metavar="POWER", help=option("plan.power"))
    parser.add_argument("--price", metavar="PER_KWH", help=option("plan.price"))
    parser.add_argument(
        "--pot", metavar="mouth=90mm,height=120mm,kg=0.8", help=option("plan.pot", keys=", ".join(POT_KEYS))
    )
    parser.add_argument("--lid", action="store_true", default=None, help=option("plan.lid"))
    parser.add_argument("--ladle", metavar="kg=0.4,preheat=200C", help=option("plan.ladle", keys=", ".join(LADLE_KEYS)))
    parser.add_argument("--walk", metavar="20s", help=option("plan.walk"))
    parser.add_argument("--between", metavar="15s", help=option("plan.between"))
    parser.add_argument("--loss", metavar="DEGREES", help=option("plan.loss"))
    parser.add_argument("--room", metavar="volume=50m3,changes=2/h", help=option("plan.room"))
    air = parser.add_mutually_exclusive_group()
    air.add_argument("--outdoors", dest="place", action="store_const", const="outdoors")
    air.add_argument(
        "--extraction", dest="place", action="store_const", const="extraction", help=option("plan.extraction")
    )
    parser.add_argument("--html", type=Path, metavar="FILE", help=option("plan.html"))
    parser.add_argument("--pdf", type=Path, metavar="FILE", help=option("shared.pdf"))
    parser.add_argument("--paper", choices=["a4", "letter"], default="a4", help=option("plan.paper"))
    parser.add_argument("--start", action="store_true", help=option("plan.start"))
    parser.add_argument("--sources", action="store_true", help=option("plan.sources"))
    add_json(parser)
    add_unit(parser)


def run(args: argparse.Namespace) -> int:
    """Make the plan and show it; exit code 7 where the plan cannot be poured as it is."""
    unit = unit_of(args)
    job = job_of(args, asked_unit(args))
    library = load_sheets(our_paths().alloys)
    sheet = library.get(job.alloy)
    request = request_of(job, sheet, library, _shop(args.furnace))
    plan = make_plan(sheet, request)
    pages = _write_pages(args, plan, unit)
    if args.json:
        print_json(plan)
    elif args.start:
        print(start_words(plan, request, args.furnace, unit))
    elif pages:
        for path in pages:
            print(say(tell("sheet.written_page", file=str(path)) if path == args.html else str(path)))
    else:
        print(render_text(plan, unit, sources=args.sources), end="")
    return 7 if plan.conflicts else 0


def _write_pages(args: argparse.Namespace, plan: PourPlan, unit: Unit) -> dict[Path, str | bytes]:
    """The page in every form asked for; all or none is written. Raises BadInput, StoreError."""
    pages: dict[Path, str | bytes] = {}
    if args.html is None and args.pdf is None:
        return pages
    from pourcall.reports.drawings.pictures import write_pictures
    from pourcall.reports.pages.as_html import html
    from pourcall.reports.pages.as_pdf import pdf
    from pourcall.reports.pages.plan_page import plan_page

    page = plan_page(plan, unit)
    if args.html is not None:
        pages[args.html] = html(page)
    if args.pdf is not None:
        pages[args.pdf] = pdf(page, paper=args.paper)
    write_pictures({}, pages)
    return pages


def job_of(args: argparse.Namespace, bare: Unit | None) -> Job:
    """File and words together; a word wins over the file. Raises BadInput with what is wrong and where.

    bare: unit of a temperature or a difference of two without one; None: it is refused.
    """
    job = Job()
    if args.file is not None:
        try:
            text = args.file.read_text("utf-8")
        except UnicodeDecodeError as err:
            raise BadInput(
                tell("usage.plan.not_text", error=str(err)),
                where=str(args.file),
                remedy=tell("usage.plan.not_text.remedy"),
            ) from err
        job = parse_job(text, where=str(args.file))
    plain: dict[str, Any] = {}
    if args.alloy:
        plain["alloy"] = args.alloy
    if args.charge:
        plain["charge_kg"] = kilograms(args.charge)
    if args.heel:
        plain["heel_kg"] = kilograms(args.heel)
    if args.yield_share:
        plain["yield_share"] = share(args.yield_share, where="--yield")
    _made(Job, plain, "pourcall plan")  # checks them
    changes = dict(plain)
    if args.mould:
        changes["mould"] = tuple(mould_of(text, bare) for text in args.mould)
    power = {"power_w": measured(args.power, "power", where="--power")} if args.power else {}
    price = {"price_per_kwh": measured(args.price, "price", where="--price")} if args.price else {}
    if power or price:
        changes["furnace"] = _changed(job.furnace, {**power, **price}, "--power, --price")
    if args.pot or args.lid:
        given = _pairs(args.pot, POT_KEYS, "--pot", bare) if args.pot else {}
        lid = {"lid": True} if args.lid else {}
        changes["pot"] = _changed(job.pot, {**given, **lid}, "--pot")
    if args.ladle:
        changes["ladle"] = _made(JobLadle, _pairs(args.ladle, LADLE_KEYS, "--ladle", bare), "--ladle")
    walk: dict[str, Any] = {}
    if args.walk:
        walk["walk_s"] = seconds(args.walk)
    if args.between:
        walk["between_s"] = seconds(args.between)
    if args.loss:
        walk["loss_c"] = difference_c(args.loss, bare, where="--loss")
    if walk:
        changes["walk"] = _changed(job.walk, walk, "--walk, --between, --loss")
    if args.room or args.place:
        given = _pairs(args.room, ROOM_KEYS, "--room", bare) if args.room else {}
        place = {"place": args.place} if args.place else {}
        changes["room"] = _changed(job.room, {**given, **place}, "--room")
    job = msgspec.structs.replace(job, **changes)
    if not job.alloy:
        raise BadInput(tell("usage.plan.no_alloy"), remedy=tell("usage.plan.no_alloy.remedy"))
    if not job.mould:
        raise BadInput(tell("plan.no_mould"), remedy=tell("usage.mould.remedy"))
    return job


def mould_of(text: str, bare: Unit | None = None) -> JobMould:
    """`cleat 1,casting=350g,mm=6` as a mould of the job."""
    name, _, rest = text.partition(",")
    if not name.strip() or "=" in name:
        raise BadInput(tell("usage.mould.no_name", given=text), remedy=tell("usage.mould.remedy"))
    where = f"--mould {name.strip()!r}"
    given = _pairs(rest, MOULD_KEYS, where, bare) if rest.strip() else {}
    return _made(JobMould, {"name": name.strip(), **given}, where)


def _pairs(text: str, keys: dict[str, str], where: str, bare: Unit | None) -> dict[str, Any]:
    """`key=value,key=value` with our keys and numbers."""
    made: dict[str, Any] = {}
    for word, value in key_values(text, where=where):
        if word not in keys:
            raise BadInput(
                tell("usage.unknown_key", word=word, hint=did_you_mean(word, keys)),
                where=where,
                remedy=tell("cli.unknown.remedy", known=", ".join(keys)),
            )
        key = keys[word]
        if key in made:
            raise BadInput(tell("usage.twice", word=word), where=where, remedy=tell("usage.twice.remedy"))
        made[key] = _value(word, key, value, where, bare)
    return made


def _value(word: str, key: str, text: str, where: str, bare: Unit | None) -> Any:
    if key in _WORDS:
        return text.strip("\"'")
    where = f"{where}, {word}"
    if key == "loss_c":
        return difference_c(text, bare, where=where)
    if key.endswith("_c"):
        return temperature_c(text, bare, where=where)
    if key.endswith("_mm"):
        return millimetres(text, bare=word == "mm", where=where)
    if key.endswith("_s"):
        return seconds(text, where=where)
    if key.endswith("_kg"):
        return kilograms(text, bare=word == "kg", where=where)
    if key in _WHOLE and text.isdigit():
        return int(text)
    return measured(text, _MEASURES[key], where=where) if key in _MEASURES else figure(text, where=where)


def _made(kind: type[T], given: dict[str, Any], where: str) -> T:
    words = Checker(given, where)
    table = words.struct(kind, read_value)
    if table is None:
        raise BadInput(tell("plan.option", faults=told(words.faults)), remedy=tell("plan.option.remedy"))
    return table


def _changed(table: T, given: dict[str, Any], where: str) -> T:
    """The table with what was given, checked like a file's."""
    return _made(type(table), {**msgspec.structs.asdict(table), **given}, where)


def _shop(wanted: str) -> Shop:
    """What the settings say of the furnace; without settings, a small electric one of ours."""
    settings = settings_or_none()
    if settings is None or not settings.furnace:
        if wanted:
            raise BadInput(tell("settings.none_no_furnace", furnace=wanted), remedy=tell("settings.none.remedy"))
        return Shop()
    from pourcall.planning.melt_plans import air_of, carry_of, pot_of, probe_rating_c

    name = pick_furnace(list(settings.furnace), wanted)
    furnace = settings.furnace[name]
    return Shop(
        kind=furnace.kind,
        power_w=furnace.power_w,
        pot=pot_of(furnace),
        pot_rating_c=furnace.pot.rating_c,
        probe_rating_c=probe_rating_c(settings, name),
        loss_c=furnace.transfer_loss_c,
        carry=carry_of(furnace),
        air=air_of(settings.shop),
        air_limits=settings.shop.air_limits,
    )


def start_words(plan: PourPlan, request: PlanRequest, furnace: str, unit: Unit) -> str:
    """The command that starts this melt. What the daemon would work out otherwise is said in it."""
    own_way = request.loss_c is not None or request.carry != Carry()
    words = [
        "pourcall",
        "melt",
        "start",
        plan.alloy_key,
        "--charge",
        f"{plan.melt.charge_kg:.3f}kg",
        "--unit",
        unit.name,
    ]
    if furnace:
        words += ["--furnace", furnace]
    for asked, planned, advice in zip(request.moulds, plan.melt.moulds, plan.moulds, strict=True):
        parts = [planned.name.replace(",", " ")]
        if planned.mass_kg > 0.0:
            parts.append(f"kg={planned.mass_kg:.3f}")
        if planned.thinnest_mm is not None:
            parts.append(f"mm={planned.thinnest_mm:g}")
        parts.append(f"material={planned.material}")
        if planned.setup:
            parts.append(f"setup={planned.setup.replace(',', ' ')}")
        raised = advice.fill is not None and abs(advice.fill.lowest_c - planned.lip_min_c) < 0.01
        if asked.lip_min_c is not None or raised:
            low, high = from_c(planned.lip_min_c, unit), from_c(planned.lip_max_c, unit)
            parts += [f"min={low:.1f}{unit.name}", f"max={high:.1f}{unit.name}"]
        if asked.loss_c is not None or own_way:
            parts.append(f"loss={difference_from_c(planned.loss_c, unit):.1f}{unit.name}")
        words += ["--mould", ",".join(parts)]
    return shlex.join(words)
