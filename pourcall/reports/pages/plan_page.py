"""A pour plan as one printable page, with its pictures. Numbers come ready in `PourPlan`."""

from collections.abc import Iterable

from pourcall.contract.message import Message, Told, tell
from pourcall.contract.plan import MeltPlan, MouldPlan, NoAimCause, lip_window_c, no_aim, tap_window_c
from pourcall.contract.units import (
    Unit,
    format_difference,
    format_highest,
    format_lowest,
    format_temperature,
    format_window,
)
from pourcall.planning.plan_text import (
    advice_lines,
    caution_lines,
    charge_lines,
    energy_lines,
    level_words,
    odds_lines,
    pot_lines,
    stop_lines,
)
from pourcall.planning.planner import PourPlan
from pourcall.reports.drawings.plan_plot import fume_svgs, scale_svg
from pourcall.reports.pages import document as doc
from pourcall.reports.pages.as_html import html
from pourcall.texts import say, written


def render_html(plan: PourPlan, unit: Unit = Unit.C) -> str:
    """The page for a browser."""
    return html(plan_page(plan, unit))


def plan_page(plan: PourPlan, unit: Unit = Unit.C) -> doc.Document:
    """The plan as one page, temperatures in `unit`, in the reasons too."""

    def listed(title: Message, items: Iterable[Told], *, check: bool = False) -> doc.Section:
        return doc.Section(say(title), (doc.Bullets([say(item, unit) for item in items], check),))

    title = say(tell("page.plan", alloy=plan.alloy_name))
    about = tell("page.plan_sheet", key=plan.alloy_key, sheet=plan.sheet_hash)
    body: list[doc.Block] = [doc.Banner(title, rule=True), doc.Paragraph(say(about), small=True)]
    if plan.conflicts:
        body.append(doc.Box(say(tell("page.plan_stop")), [say(one, unit) for one in stop_lines(plan)]))
    body.append(doc.Figures(_figures(plan, unit)))
    body.append(doc.Section(say(tell("page.plan_moulds")), (_moulds(plan, unit),)))
    body.append(doc.Section(say(tell("page.plan_temperatures")), (doc.Drawing(scale_svg(plan, unit), broad=True),)))
    sections = [
        listed(tell("page.plan_profile"), plan.profile),
        listed(tell("page.plan_charge"), charge_lines(plan)),
        listed(tell("page.plan_energy"), energy_lines(plan)),
        listed(tell("page.plan_wear"), plan.clothing, check=True),
        listed(tell("page.plan_pot"), pot_lines(plan)[1:]),
    ]
    for order, planned in enumerate(plan.melt.moulds):
        why = [*odds_lines(planned, plan), written(planned.why), *advice_lines(plan, order)]
        sections.append(listed(tell("page.plan_mould", mould=planned.name), why))
    body.append(doc.Beside([(section,) for section in sections], flow=True))
    if plan.fume is not None:
        words = doc.Bullets([say(one, unit) for one in plan.fume.words])
        drawings = (doc.Drawing(svg, broad=True) for svg in fume_svgs(plan, unit))
        body.append(
            doc.Section(say(tell("page.plan_fume")), (doc.Paragraph(say(level_words(plan), unit)), words, *drawings))
        )
    body.append(listed(tell("page.plan_caution"), caution_lines(plan)))
    sources = "; ".join(say(source, unit) for source in plan.sources.values())
    body.append(doc.Section(say(tell("page.plan_sources")), (doc.Paragraph(sources, small=True),)))
    return doc.Document(title, body)


def _figures(plan: PourPlan, unit: Unit) -> list[tuple[str, str]]:
    """The figures one looks for from across the shop."""
    lowest = plan.melt.lowest_limit
    told: list[tuple[Message, str]] = [
        (tell("page.figure_charge"), f"{plan.melt.charge_kg:.2f} kg"),
        (
            tell("page.figure_aim"),
            say(tell("page.no_aim")) if plan.aim_c is None else format_temperature(plan.aim_c, unit),
        ),
        (tell("page.figure_never_above", whose=lowest.whose), format_highest(lowest.limit_c, unit)),
    ]
    if plan.energy.minutes is not None:
        low, high = plan.energy.minutes
        told.append((tell("page.figure_time"), say(tell("page.minutes", low=round(low), high_min=round(high)))))
    if plan.fume is not None:
        told.append((tell("page.figure_fume"), f"{plan.fume.level_still} / {plan.fume.level_disturbed}"))
    return [(say(name), figure) for name, figure in told]


def _moulds(plan: PourPlan, unit: Unit) -> doc.Table:
    """One line for each mould."""
    rows = []
    for planned, advice in zip(plan.melt.moulds, plan.moulds, strict=True):
        pot, lip = _windows(planned, plan.melt, unit)
        thin = "" if planned.thinnest_mm is None else f", {planned.thinnest_mm:g} mm"
        cells = (
            f"{planned.name} ({planned.material.replace('_', ' ')}{thin})",
            f"{planned.mass_kg:.2f} kg" if planned.mass_kg > 0.0 else "",
            pot,
            lip,
            f"{format_difference(planned.loss_c, unit, 0)} ± {format_difference(planned.loss_u_c, unit, 0)}",
            "" if advice.fill is None else format_lowest(advice.fill.lowest_c, unit),
        )
        rows.append(doc.Row(cells))
    names = (
        tell("page.mould_name"),
        tell("page.mould_mass"),
        tell("page.mould_pot"),
        tell("page.mould_lip"),
        tell("page.mould_lost"),
        tell("page.mould_fills"),
    )
    return doc.Table(tuple(say(name) for name in names), rows)


def _windows(planned: MouldPlan, plan: MeltPlan, unit: Unit) -> tuple[str, str]:
    """In the pot and at the lip; of a mould that no pot serves, that, and what it would want."""
    found = no_aim(planned, plan)
    if found is None:
        return _range(*tap_window_c(planned, plan), unit), _range(*lip_window_c(planned, plan), unit)
    none = say(tell("page.no_aim"))
    if found.cause is NoAimCause.NOT_LIQUID:
        return none, say(tell("page.ends_at", highest_c=found.lip_max_c), unit)
    if found.cause is NoAimCause.TURN:
        return say(tell("plan.mould.own_lift")), _range(found.lip_min_c, found.lip_max_c, unit)
    return none, _range(found.lip_min_c, found.lip_max_c, unit)


def _range(low_c: float, high_c: float, unit: Unit) -> str:
    return format_window(low_c, high_c, unit, " – ")
