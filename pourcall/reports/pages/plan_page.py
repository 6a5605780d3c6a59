"""A pour plan as one printable page. Self-contained HTML: no script, no font, no picture from elsewhere.

Pictures are inline SVG: a temperature scale with melting range, windows and limits; for an alloy with zinc, its
pressure and what a person at the pot breathes against temperature. Numbers come ready in `PourPlan`.
"""

import math
from collections.abc import Iterable, Sequence

from pourcall.contract.message import Told
from pourcall.contract.units import Unit, format_difference, format_temperature
from pourcall.metal.vapour import exposure_limits as limits
from pourcall.planning.plan_text import advice_lines, caution_lines, charge_lines, energy_lines, level_words, pot_lines
from pourcall.planning.planner import PourPlan
from pourcall.reports.pages.page import bullets, esc, page, svg
from pourcall.reports.pages.page import round_out as _round_out
from pourcall.reports.pages.page import section as _section
from pourcall.reports.pages.page import ticks as _ticks
from pourcall.texts import say

_STYLE = """
body{font:10.5pt/1.4 Georgia,serif;color:#1b1b1b;max-width:48em;margin:1.5em auto;padding:0 1em}
h1{font-size:1.5em;margin:0 0 .2em}h2{font-size:1.1em;margin:1.1em 0 .3em;border-bottom:1px solid #999}
ul,ol{margin:.2em 0 .2em 1.2em;padding:0}li{margin:.12em 0}.stop{border:3px solid #a11;padding:.4em .8em}
.check{list-style:none;margin-left:0}.check li:before{content:"\\2610  "}.small{font-size:.8em;color:#444}
.check li{padding-left:1.4em;text-indent:-1.4em}
.head{display:flex;flex-wrap:wrap;gap:.5em 2em;margin:.6em 0;padding:.5em .8em;border:2px solid #1b1b1b}
.head div{min-width:6em}.head b{display:block;font-size:1.45em;font-family:sans-serif;white-space:nowrap}
table{border-collapse:collapse;width:100%;font-family:sans-serif;font-size:.85em}
th,td{text-align:left;padding:.25em .6em .25em 0;border-bottom:1px solid #ccc;vertical-align:top}
td.n{white-space:nowrap}.wide{overflow-x:auto}
svg{max-width:100%;height:auto;display:block;margin:.5em 0}svg text{font:12px sans-serif;fill:#1b1b1b}
@media (max-width:40em){svg text{font-size:19px}.wide table{min-width:36em}body{padding:0 .6em}}
@media (min-width:46em){.two{columns:2;column-gap:2em}.two>div{break-inside:avoid}.two h2:first-child{margin-top:.4em}}
@page{size:A4;margin:12mm 13mm}
@media print{body{margin:0;max-width:none;padding:0;font-size:8.8pt;line-height:1.3}
h2{break-after:avoid;margin-top:.8em}.two{columns:2;column-gap:2em}.two>div,svg,li,tr,.head{break-inside:avoid}svg{max-width:88%}.small{font-size:.75em}}
"""
_WIDTH, _LEFT, _RIGHT = 720, 70, 20


def render_html(plan: PourPlan, unit: Unit = Unit.C) -> str:
    """The plan as one HTML page, temperatures in `unit`, in the reasons too."""

    def told(items: Iterable[Told], kind: str = "") -> str:
        return bullets((say(item, unit) for item in items), kind)

    parts = [f"<h1>Plan for {esc(plan.alloy_name)}</h1>"]
    parts.append(f'<p class="small">{esc(plan.alloy_key)}, sheet {esc(plan.sheet_hash)}</p>')
    if plan.conflicts:
        parts.append(f'<div class="stop"><b>This plan cannot be poured as it is</b>{told(plan.conflicts)}</div>')
    parts += [_head(plan, unit), _section("Moulds, in the order of pouring", _table(plan, unit))]
    parts.append(_section("Temperatures", scale_svg(plan, unit)))
    columns = [
        _section("Suggested profile", told(plan.profile)),
        _section("Charge", told(charge_lines(plan))),
        _section("Energy", told(energy_lines(plan))),
        _section("Wear and have at hand", told(plan.clothing, "check")),
        _section("Pot", told(pot_lines(plan)[1:])),
    ]
    for order, planned in enumerate(plan.melt.moulds):
        columns.append(_section(f"Mould {planned.name}", told([planned.why, *advice_lines(plan, order)])))
    parts.append(_columns(columns))
    if plan.fume is not None:
        body = f"<p>{esc(say(level_words(plan), unit))}</p>{told(plan.fume.words)}{fume_svg(plan, unit)}"
        parts.append(_section("Fume, to a factor of ten", body))
    parts.append(_section("Mind", f'<div class="two">{told(caution_lines(plan))}</div>'))
    said = "; ".join(say(source, unit) for source in plan.sources.values())
    parts.append(_section("Where the numbers come from", f'<p class="small">{esc(said)}</p>'))
    return page(f"Plan for {plan.alloy_name}", _STYLE, parts)


def _columns(parts: Iterable[str]) -> str:
    """Sections side by side where the page is wide enough."""
    return '<div class="two">' + "".join(f"<div>{part}</div>" for part in parts) + "</div>"


def _head(plan: PourPlan, unit: Unit) -> str:
    """The figures one looks for from across the shop."""
    lowest = plan.melt.lowest_limit
    boxes = [
        ("charge", f"{plan.melt.charge_kg:.2f} kg"),
        ("bring the pot to", format_temperature(plan.aim_c, unit)),
        (f"never above ({lowest.whose})", format_temperature(lowest.limit_c, unit)),
    ]
    if plan.energy.minutes is not None:
        boxes.append(("from cold to tap", f"{plan.energy.minutes[0]:.0f} to {plan.energy.minutes[1]:.0f} min"))
    if plan.fume is not None:
        boxes.append(("fume level, still / disturbed", f"{plan.fume.level_still} / {plan.fume.level_disturbed}"))
    return (
        '<div class="head">' + "".join(f"<div>{esc(name)}<b>{esc(text)}</b></div>" for name, text in boxes) + "</div>"
    )


def _table(plan: PourPlan, unit: Unit) -> str:
    """One line for each mould."""
    rows = []
    for planned, advice in zip(plan.melt.moulds, plan.moulds, strict=True):
        top_c = min(planned.tap_max_c, plan.melt.lowest_limit.limit_c)
        pot = "no window" if top_c < planned.tap_min_c else _range(planned.tap_min_c, top_c, unit)
        fills = "" if advice.fill is None else format_temperature(advice.fill.lowest_c, unit)
        thin = "" if planned.thinnest_mm is None else f", {planned.thinnest_mm:g} mm"
        cells = [
            f"{planned.name} ({planned.material.replace('_', ' ')}{thin})",
            f"{planned.mass_kg:.2f} kg" if planned.mass_kg > 0.0 else "",
            pot,
            _range(planned.lip_min_c, planned.lip_max_c, unit),
            f"{format_difference(planned.loss_c, unit, 0)} ± {format_difference(planned.loss_u_c, unit, 0)}",
            fills,
        ]
        rows.append("".join(f"<td{' class=n' if at else ''}>{esc(cell)}</td>" for at, cell in enumerate(cells)))
    head = "".join(f"<th>{name}</th>" for name in ("mould", "metal", "in the pot", "at the lip", "lost", "fills from"))
    lines = "".join(f"<tr>{row}</tr>" for row in rows)
    return f'<div class="wide"><table><tr>{head}</tr>{lines}</table></div>'


def _range(low_c: float, high_c: float, unit: Unit) -> str:
    low, high = format_temperature(low_c, unit), format_temperature(high_c, unit)
    return f"{low.split()[0]} to {high}"


def scale_svg(plan: PourPlan, unit: Unit = Unit.C) -> str:
    """One horizontal temperature scale: melting range, window at the lip and in the pot for each mould, limits."""
    facts = plan.melt.alloy
    rows: list[tuple[str, float, float, str]] = [
        ("solid to liquid", facts.solidus_c, facts.liquidus_c, "#d9b382"),
        ("not yet sure", facts.liquidus_c, facts.liquidus_c + facts.liquid_margin_c, "#e8d9c0"),
    ]
    for mould in plan.melt.moulds:
        rows.append((f"{mould.name}: lip", mould.lip_min_c, mould.lip_max_c, "#4a8f5a"))
        top_c = min(mould.tap_max_c, plan.melt.lowest_limit.limit_c)
        rows.append((f"{mould.name}: pot", mould.tap_min_c, max(top_c, mould.tap_min_c), "#3a6ea5"))
    ends = [end_c for _, low_c, high_c, _ in rows for end_c in (low_c, high_c)] + [plan.melt.lowest_limit.limit_c]
    low, high = _round_out(min(ends) - 15.0, max(ends) + 25.0)
    left = 190
    height = 24 * len(rows) + 64

    def x(temp_c: float) -> float:
        return left + (temp_c - low) / (high - low) * (_WIDTH - left - _RIGHT)

    drawn = []
    for number, (name, low_c, high_c, colour) in enumerate(rows):
        y = 26 + 24 * number
        drawn.append(f'<text x="{left - 8}" y="{y + 13}" text-anchor="end">{esc(_short(name))}</text>')
        wide = max(1.0, x(high_c) - x(low_c))
        drawn.append(f'<rect x="{x(low_c):.1f}" y="{y}" width="{wide:.1f}" height="17" fill="{colour}"/>')
    base = height - 34
    for limit in plan.melt.limits:
        if limit.limit_c <= high:
            at = f"{x(limit.limit_c):.1f}"
            drawn.append(f'<line x1="{at}" y1="19" x2="{at}" y2="{base}" stroke="#a11" stroke-width="2"/>')
            drawn.append(f'<text x="{at}" y="15" text-anchor="middle" style="fill:#a11">{esc(limit.whose)}</text>')
            break  # the lowest; the others are listed under Pot
    for temp_c in _ticks(low, high):
        at = f"{x(temp_c):.1f}"
        drawn.append(f'<line x1="{at}" y1="{base}" x2="{at}" y2="{base + 5}" stroke="#444"/>')
        drawn.append(
            f'<text x="{at}" y="{base + 19}" text-anchor="middle">{esc(format_temperature(temp_c, unit))}</text>'
        )
    drawn.append(f'<line x1="{left}" y1="{base}" x2="{_WIDTH - _RIGHT}" y2="{base}" stroke="#444"/>')
    return _svg(height, drawn, "Temperatures of this plan")


def _short(name: str) -> str:
    """A label that fits beside a bar: the middle of a long mould's name goes."""
    return name if len(name) <= 22 else f"{name[:11]}…{name[-10:]}"


def fume_svg(plan: PourPlan, unit: Unit = Unit.C) -> str:
    """Two charts on logarithmic scales against temperature: zinc pressure, and concentration at the pot with limits."""
    if len(plan.curve) < 2:
        return ""
    pressure = [(point.temp_c, point.zinc_pa) for point in plan.curve]
    still = [(point.temp_c, point.still_mg_per_m3) for point in plan.curve]
    bare = [(point.temp_c, point.disturbed_mg_per_m3) for point in plan.curve]
    short = limits.SHORT_TERM.mg_per_m3
    windows = [(mould.tap_min_c, mould.tap_max_c) for mould in plan.melt.moulds]
    band = (min(low for low, _ in windows), min(plan.melt.lowest_limit.limit_c, max(high for _, high in windows)))
    chart = _log_chart(
        "Zinc pressure over the melt, Pa",
        [("", "#3a6ea5", pressure)],
        [(101325.0, "boiling")],
        band,
        unit,
    )
    series = [("skimming, pouring", "#c0662a", bare)]
    if any(low_value < 0.99 * high_value for (_, low_value), (_, high_value) in zip(still, bare, strict=True)):
        series.append(("undisturbed", "#4a8f5a", still))
    else:
        series = [("no skin holds it back", "#c0662a", bare)]
    air = _log_chart(
        "Zinc oxide at the pot, first 15 min, mg/m3 (to a factor of ten)",
        series,
        [(short, "15-minute limit")],
        band,
        unit,
    )
    return chart + air


def _log_chart(
    title: str,
    series: Sequence[tuple[str, str, Sequence[tuple[float, float]]]],
    levels: Iterable[tuple[float, str]],
    band: tuple[float, float],
    unit: Unit,
) -> str:
    height, top, base = 250, 28, 212
    temps = [temp_c for _, _, points in series for temp_c, _ in points]
    values = [value for _, _, points in series for _, value in points if value > 0.0]
    levels = list(levels)
    near = [value for value, _ in levels if value < 1000.0 * max(values) and value > min(values) / 1000.0]
    low, high = min(temps), max(temps)
    bottom = math.floor(math.log10(min(values + near)) - 1e-9)
    summit = math.ceil(math.log10(max(values + near)) + 1e-9)
    summit = max(summit, bottom + 1)

    def x(temp_c: float) -> float:
        return _LEFT + (temp_c - low) / (high - low) * (_WIDTH - _LEFT - _RIGHT)

    def y(value: float) -> float:
        share = (math.log10(max(value, 1e-30)) - bottom) / (summit - bottom)
        return base - min(1.0, max(0.0, share)) * (base - top)

    drawn = [f'<text x="{_LEFT}" y="16">{esc(title)}</text>']
    left_x, right_x = x(max(low, band[0])), x(min(high, max(band)))
    wide = max(0.0, right_x - left_x)
    drawn.append(f'<rect x="{left_x:.1f}" y="{top}" width="{wide:.1f}" height="{base - top}" fill="#e3edf6"/>')
    for power in range(bottom, summit + 1):
        at = f"{y(10.0**power):.1f}"
        drawn.append(f'<line x1="{_LEFT}" y1="{at}" x2="{_WIDTH - _RIGHT}" y2="{at}" stroke="#ddd"/>')
        drawn.append(f'<text x="{_LEFT - 6}" y="{float(at) + 4:.1f}" text-anchor="end">{_power(power)}</text>')
    for value, name in levels:
        if bottom <= math.log10(value) <= summit:
            at = f"{y(value):.1f}"
            drawn.append(
                f'<line x1="{_LEFT}" y1="{at}" x2="{_WIDTH - _RIGHT}" y2="{at}" stroke="#a11" stroke-dasharray="5 3"/>'
            )
            begins = [points[0][1] / value for _, _, points in series]
            down = 16.0 if any(0.9 < ratio < 4.0 for ratio in begins) else -4.0  # out of the way of a curve
            drawn.append(f'<text x="{_LEFT + 4}" y="{float(at) + down:.1f}" style="fill:#a11">{esc(name)}</text>')
    for number, (name, colour, points) in enumerate(series):
        path = " ".join(f"{x(temp_c):.1f},{y(value):.1f}" for temp_c, value in points if value > 0.0)
        drawn.append(f'<polyline points="{path}" fill="none" stroke="{colour}" stroke-width="2"/>')
        if name:
            drawn.append(
                f'<text x="{_WIDTH - _RIGHT - 4}" y="{base - 8 - 16 * number}" text-anchor="end" '
                f'style="fill:{colour}">{esc(name)}</text>'
            )
    for temp_c in _ticks(low, high):
        drawn.append(
            f'<text x="{x(temp_c):.1f}" y="{base + 18}" text-anchor="middle">'
            f"{esc(format_temperature(temp_c, unit))}</text>"
        )
    return _svg(height, drawn, title)


def _power(power: int) -> str:
    return f"{10.0**power:g}" if -4 < power < 6 else f"1e{power}"


def _svg(height: int, drawn: Iterable[str], title: str) -> str:
    return svg(_WIDTH, height, drawn, title)
