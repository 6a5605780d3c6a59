"""What is on record of a probe's calibrations, as a person reads it."""

import argparse
import time
from typing import TYPE_CHECKING, Any

from pourcall.cli.common import our_paths, print_json, print_table, settings_or_none, unit_of
from pourcall.contract.errors import BadInput, NotFound
from pourcall.contract.message import NOTHING, tell
from pourcall.contract.units import Unit, format_difference, format_temperature
from pourcall.texts import say

if TYPE_CHECKING:
    from pourcall.calibration.history import InForce, PointRow
    from pourcall.thermometry.reference_points import CalPoint


def points(args: argparse.Namespace) -> int:
    from pourcall.thermometry.reference_points import POINTS

    unit = unit_of(args)
    if args.json:
        print_json([_as_json(point) for point in POINTS.values()])
        return 0
    rows = [
        [key, format_temperature(point.temp_c, unit, 2), say(point.name), _source(point), say(point.note, unit)]
        for key, point in POINTS.items()
    ]
    boiling = [say(tell("drift.by_altitude")), say(tell("drift.boiling_water"))]
    rows.append(["boiling", *boiling, "IAPWS-IF97 (computed)", say(tell("drift.boiling_needs"))])
    print_table(("point", "temperature", "what", "source", "note"), rows, right=("temperature",))
    return 0


def _as_json(point: "CalPoint") -> dict[str, Any]:
    names = ("key", "temp_c", "kind", "half_width_c", "source", "mark", "latent_over_heat_k")
    return {"name": say(point.name), "note": say(point.note)} | {name: getattr(point, name) for name in names}


def _source(point: "CalPoint") -> str:
    return point.mark if point.source == point.mark else f"{point.source} ({point.mark})"


def rows_of(probe: str = "", furnace: str = "") -> "list[PointRow]":
    from pourcall.records.entries.calibrations import calibration_rows
    from pourcall.records.read.store import Store

    with Store.read(our_paths().database) as store, store.reading() as conn:
        return calibration_rows(conn, probe, furnace)


def listing(args: argparse.Namespace) -> int:
    from pourcall.calibration.history import in_force

    rows = rows_of(furnace=args.furnace)
    now_s = time.time()
    settings = settings_or_none()
    out: list[dict[str, Any]] = []
    for furnace, probe in sorted({(row.furnace, row.probe) for row in rows}):
        own = [row for row in rows if (row.furnace, row.probe) == (furnace, probe)]
        force = in_force(own, type_of(settings, own))
        out.append(
            {
                "furnace": furnace,
                "probe": probe,
                "points": [] if force is None else [row.key for row in force.rows],
                "date": None if force is None else force.calibration.date,
                "due": None if force is None else force.calibration.due,
                "overdue": force is not None and force.overdue(now_s),
                "entries": len(own),
            }
        )
    if args.json:
        print_json(out)
        return 0
    if not out:
        print(say(tell("drift.nothing_yet")))
        return 0
    print_table(
        ("probe", "furnace", "date", "due", "points"),
        [
            [
                one["probe"],
                one["furnace"],
                one["date"] or "-",
                (one["due"] or "-") + (f" {say(tell('drift.overdue'))}" if one["overdue"] else ""),
                ", ".join(one["points"]) or say(tell("drift.no_points")),
            ]
            for one in out
        ],
    )
    return 0


def type_of(settings: Any, rows: "list[PointRow]") -> str:
    """The couple's type now, by the settings, else that of its newest point."""
    if settings is not None and rows[0].probe in settings.probe:
        return str(settings.probe[rows[0].probe].type)
    details = [row.detail for row in rows if row.detail is not None]
    return details[-1].tc_type if details else "K"


def show(args: argparse.Namespace) -> int:
    from pourcall.calibration.history import in_force

    if not args.probe:
        raise BadInput(tell("usage.calibrate.which"), remedy=tell("usage.calibrate.show", probe="PROBE"))
    rows = rows_of(args.probe, args.furnace)
    if not rows:
        raise NotFound(
            tell("calibration.not_on_record", probe=args.probe), remedy=tell("calibration.not_on_record.remedy")
        )
    if len({row.furnace for row in rows}) > 1:
        names = ", ".join(sorted({row.furnace for row in rows}))
        raise BadInput(
            tell("calibration.several_furnaces", probe=args.probe), remedy=tell("cli.which_furnace", furnaces=names)
        )
    tc_type = type_of(settings_or_none(), rows)
    force = in_force(rows, tc_type)
    if args.svg is not None:
        from pourcall.reports.drawings.drift_plot import drift_svg
        from pourcall.reports.drawings.pictures import write_pictures

        write_pictures({args.svg: drift_svg(args.probe, rows, tc_type=tc_type, unit=unit_of(args))})
    if args.json:
        print_json(
            {
                "probe": args.probe,
                "rows": rows,
                "in_force": None if force is None else force.calibration,
                "drift_uv": None if force is None else force.drift_uv,
            }
        )
        return 0
    history_table(rows, force, unit_of(args), tc_type)
    if args.svg is not None:
        print(say(tell("drift.chart_in", file=str(args.svg))))
    return 0


def history_table(rows: "list[PointRow]", force: "InForce | None", unit: Unit, tc_type: str) -> None:
    """All points with what has changed since the time before; then what is in force and when it is due."""
    from pourcall.calibration.history import day, moved
    from pourcall.thermometry.thermocouple import seebeck_uv_per_c

    changes = {one.row.id: one for one in moved(rows)}
    corrected = {row.corrects for row in rows if row.corrects is not None}
    used = {row.id for row in force.rows} if force is not None else set()
    lines = []
    for row in rows:
        slope = max(seebeck_uv_per_c(row.detail.tc_type if row.detail else tc_type, row.reference_c), 0.05)
        change = changes.get(row.id)
        state = "in_force" if row.id in used else "corrected" if row.id in corrected else ""
        lines.append(
            [
                str(row.id),
                day(row.at_utc_s),
                row.key,
                format_temperature(row.reference_c, unit, 1),
                f"{row.offset_uv:+.1f}",
                "-" if row.spread_uv is None else f"{row.spread_uv:.1f}",
                format_difference(-row.offset_uv / slope, unit, signed=True),
                "" if change is None else _moved(-change.change_uv / slope, change.days, unit),
                row.who,
                say(tell(f"drift.state.{state}")) if state else "",
            ]
        )
    print_table(
        ("number", "date", "point", "temperature", "microvolt", "u_microvolt", "reads_high", "moved", "who", ""),
        lines,
        right=("number", "temperature", "microvolt", "u_microvolt", "reads_high"),
    )
    if force is None:
        print(say(tell("drift.none_of_type")))
        return
    drift = tell("drift.unknown")
    if force.drift_uv is not None:
        drift = tell("drift.largest", drift=force.drift_uv)
    late = tell("drift.it_is_overdue") if force.overdue(time.time()) else NOTHING
    one = force.calibration
    told = tell("drift.force", how=one.how, date=one.date, spread=one.spread_uv, drift=drift, due=one.due, late=late)
    print(say(told, unit))


def _moved(delta_c: float, days: float, unit: Unit) -> str:
    return say(tell("drift.moved", by=format_difference(delta_c, unit, signed=True), days=round(days)))
