"""`pourcall furnace`. What was learned of a furnace from its own melts, and learning anew."""

import argparse
import time
from typing import TYPE_CHECKING

from pourcall.cli.common import (
    add_json,
    add_unit,
    local_time,
    our_paths,
    pick_furnace,
    print_json,
    print_table,
    settings_or_none,
    unit_of,
)
from pourcall.cli.parser import option
from pourcall.contract.furnace_model import PARAMETERS, FurnaceModel
from pourcall.contract.message import Message, tell
from pourcall.contract.units import Unit, format_difference, format_temperature
from pourcall.texts import say, word

if TYPE_CHECKING:
    from pourcall.furnace.training import Fitted

MEASURES = {
    "power_w": "W",
    "low_share": "",
    "wall_j_per_k": "J/K",
    "loss_w_per_k": "W/K",
    "exchange_m2": "m2",
    "contact_w_per_k": "W/K",
    "limit_c": "degC",
    "pot_j_per_k": "J/K",
    "flame_share": "",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Sub-commands."""
    subs = parser.add_subparsers(dest="what", required=True, metavar="show|learn|history")
    show = subs.add_parser("show", help=option("furnace.show"))
    learn = subs.add_parser("learn", help=option("furnace.learn"))
    learn.add_argument("melts", nargs="*", metavar="MELT", help=option("furnace.learn.melts"))
    learn.add_argument("--latest", type=int, default=5, metavar="N", help=option("furnace.learn.latest"))
    learn.add_argument("--dry-run", action="store_true", help=option("furnace.learn.dry_run"))
    history = subs.add_parser("history", help=option("furnace.history"))
    for sub in (show, learn, history):
        sub.add_argument("--furnace", default="", help=option("furnace.furnace"))
        add_json(sub)
        add_unit(sub)


def run(args: argparse.Namespace) -> int:
    """The sub-command."""
    settings = settings_or_none()
    furnaces = {} if settings is None else settings.furnace
    name = pick_furnace(list(furnaces) or _recorded(), args.furnace)
    return {"show": _show, "learn": _learn, "history": _history}[args.what](args, name)


def _recorded() -> list[str]:
    """Furnaces of the record, where there are no settings."""
    from pourcall.records.read.store import Store

    with Store.read(our_paths().database) as store, store.reading() as conn:
        return [name for (name,) in conn.execute("SELECT name FROM furnaces ORDER BY id")]


def _models(name: str) -> tuple[FurnaceModel, ...]:
    from pourcall.records.entries.furnace_models import models
    from pourcall.records.read.store import Store

    path = our_paths().database
    if not path.exists():
        return ()
    with Store.read(path) as store, store.reading() as conn:
        return models(conn, name)


def _usual(name: str) -> FurnaceModel:
    from pourcall.furnace.model import usual_model
    from pourcall.planning.melt_plans import Planner

    settings = settings_or_none()
    if settings is None or name not in settings.furnace:
        return usual_model(name)
    return Planner(settings, None).usual(name)


def _show(args: argparse.Namespace, name: str) -> int:
    known = _models(name)
    model = known[-1] if known else _usual(name)
    if args.json:
        print_json(model)
        return 0
    _tell(model, unit_of(args))
    return 0


def _tell(model: FurnaceModel, unit: Unit) -> None:
    if model.version == 0:
        print(say(tell("furnace.show.usual", furnace=model.furnace)))
    else:
        told = tell(
            "furnace.show.learned",
            furnace=model.furnace,
            version=model.version,
            hash=model.hash,
            at=local_time(model.learned_utc_s),
            melts=", ".join(model.melts),
            residual_difference_c=model.residual_c,
        )
        print(say(told, unit))
    for parameter in PARAMETERS:
        measure, value = MEASURES[parameter], model.value(parameter)
        said = format_temperature(value, unit) if measure == "degC" else f"{float(f'{value:.3g}'):g} {measure}".rstrip()
        known = say(tell("furnace.known_to", spread_share=model.spread(parameter)))
        print(f"  {word('parameter', parameter):<34} {said:>12}  {known}")
    print(f"  {say(_panel(model), unit)}")


def _panel(model: FurnaceModel) -> Message:
    offset_c = model.panel_offset_c
    if offset_c is None:
        return tell("furnace.panel.never_compared")
    u_c = model.panel_offset_u_c or 0.0
    return tell(
        "furnace.panel.above" if offset_c >= 0.0 else "furnace.panel.below", by_difference_c=abs(offset_c), u_c=u_c
    )


def _learn(args: argparse.Namespace, name: str) -> int:
    from pourcall.furnace.worker import learn
    from pourcall.records.entries.calibrations import write_aside
    from pourcall.records.entries.furnace_models import job_for, keep_model
    from pourcall.records.read.store import Store

    path = our_paths().database
    with Store.read(path) as store, store.reading() as conn:
        job = job_for(conn, _usual(name), melts=args.melts, latest=args.latest, utc_s=time.time())
    fitted = learn(job)
    if not args.dry_run:
        write_aside(path, lambda conn: keep_model(conn, fitted.model), utc_s=fitted.model.learned_utc_s)
    if args.json:
        print_json(fitted)
        return 0
    _tell_fit(fitted, unit_of(args))
    print(say(tell("furnace.not_kept" if args.dry_run else "furnace.kept")))
    return 0


def _tell_fit(fitted: "Fitted", unit: Unit) -> None:
    for melt, rms_c, points in fitted.traces:
        print(say(tell("furnace.met", melt=melt, points=points, residual_difference_c=rms_c), unit))
    for melt, why in fitted.refused:
        print(say(tell("furnace.melt_not_used", melt=melt, why=why), unit))
    _tell(fitted.model, unit)


def _history(args: argparse.Namespace, name: str) -> int:
    known = _models(name)
    if args.json:
        print_json(known)
        return 0
    if not known:
        print(say(tell("furnace.nothing_learned", furnace=name)))
        return 0
    unit = unit_of(args)
    print_table(
        ("model", "learned", "from_melts", "power", "wall", "heat_loss", "met_to", "hash"),
        [
            (
                str(one.version),
                local_time(one.learned_utc_s),
                ", ".join(one.melts),
                f"{one.value('power_w'):.0f} W",
                f"{one.value('wall_j_per_k'):.0f} J/K",
                f"{one.value('loss_w_per_k'):.2g} W/K",
                format_difference(one.residual_c, unit),
                one.hash,
            )
            for one in known
        ],
        right=("model", "power", "wall", "heat_loss", "met_to"),
    )
    return 0
