"""The pour sheet. One self-contained HTML page to pin on the wall: what was poured, how hot, how that is known.

Facts, photos and cautions in, HTML out; readable on a telephone, one A4 page when printed (photos may add pages). Not
here: reading the record (facts.py), drawing (chart.py), the same page as PDF (pour_sheet_pdf.py).
"""

import base64
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

from pourcall.contract.units import Unit, format_difference, format_temperature, in_unit
from pourcall.records.entries.photos import TYPES
from pourcall.records.read.facts import PourFacts
from pourcall.records.read.views import PhotoRow, PourRow
from pourcall.reports.drawings.pour_plot import STATE_FILL, melt_svg, numbered, pour_svg
from pourcall.reports.pages.page import bullets, esc, page, section

INLINE_BYTES = 24 * 2**20  # of photos in one page; a browser on a telephone still opens that
BLANK = "_" * 30  # to write on by hand
TO_INSPECT = f"not inspected yet: {BLANK}"
SEVERITIES = "1 slight, usable; 2 marked; 3 scrap"
LEGEND = "Numbers: see What happened. Ring: a dip."
Clock = Callable[[float], str]  # UTC seconds -> wall-clock text, where the reader is

_STYLE = """
*{box-sizing:border-box}
body{font:15px/1.35 system-ui,sans-serif;color:#1b1b1b;max-width:60em;margin:0 auto;padding:.8em;background:#fff}
header{display:flex;flex-wrap:wrap;gap:.2em 1.2em;align-items:flex-end;border-bottom:3px solid #1b1b1b;
padding-bottom:.3em}
.number{font-size:3.4em;line-height:1;font-weight:800;letter-spacing:.01em;white-space:nowrap}
.what{font-size:1.15em}.what b{font-size:1.2em}
.lip{display:flex;flex-wrap:wrap;gap:.3em 1.6em;align-items:baseline;margin:.5em 0 .2em}
.lip .figure{font-size:2.3em;font-weight:700;white-space:nowrap}.lip .judged{font-size:1.15em;font-weight:700}
.outside{color:#a11d1d}.inside{color:#1b6b2f}
.how{margin:.1em 0 .5em}
h2{font-size:1em;margin:.8em 0 .25em;border-bottom:1px solid #999}
.columns{display:flex;flex-wrap:wrap;gap:0 1.6em}.columns>section{flex:1 1 20em;min-width:0}
.charts{display:flex;flex-wrap:wrap;gap:.4em 1em}.charts>svg{flex:1 1 21em;min-width:0;width:100%;max-width:44em}
table{border-collapse:collapse;width:100%}th{text-align:left;font-weight:600;vertical-align:top;
padding:.08em .8em .08em 0;white-space:nowrap}td{padding:.08em 0;overflow-wrap:anywhere}
ol,ul{margin:.1em 0;padding-left:1.3em}li{overflow-wrap:anywhere}
.happened{columns:21em;font-size:.88em;list-style:none;padding:0}.happened li{break-inside:avoid;padding-left:3.1em;
text-indent:-3.1em}.happened b{display:inline-block;width:1.4em;text-align:center;text-indent:0}
.happened i{display:inline-block;width:1.4em;text-indent:0}
.happened time{color:#444;font-variant-numeric:tabular-nums}
.photos{display:flex;flex-wrap:wrap;gap:.6em}.photos figure{margin:0;flex:1 1 15em;max-width:26em;break-inside:avoid}
.photos img{width:100%;max-height:26em;object-fit:contain;border:1px solid #bbb}figcaption{font-size:.85em}
.mind{border:2px solid #a11d1d;padding:.2em .6em;margin:.7em 0 .3em;font-size:.85em;break-inside:avoid}
.small{font-size:.8em;color:#444;margin:.2em 0}
.legend span{display:inline-block;border:1px solid #888;padding:0 .35em;margin-right:.3em}
.stamp{border:2px solid #a11d1d;color:#a11d1d;font-weight:700;padding:0 .4em}
@page{size:A4;margin:10mm}
@media print{body{font-size:9.6pt;padding:0;max-width:none}.charts{flex-wrap:nowrap}.charts>svg{width:50%;flex:1 1 50%}
.columns{flex-wrap:nowrap}h2{break-after:avoid;margin:.5em 0 .2em}
*{-webkit-print-color-adjust:exact;print-color-adjust:exact}}
"""


def sheet_html(
    facts: PourFacts,
    photos: Path,
    *,
    unit: Unit = Unit.C,
    cautions: Sequence[str] = (),
    shop: str = "",
    clock: Clock,
) -> str:
    """The page. `photos` is the photo folder, `cautions` whole sentences; temperatures in `unit`."""
    row = facts.row
    parts = [_header(facts, shop, clock), _lip(facts, unit)]
    parts.append(f'<div class="charts">{melt_svg(facts, unit)}{pour_svg(facts, unit)}</div>')
    parts.append(_legend(facts))
    pairs = (
        ("Mould", _table(mould_rows(facts, unit)), "Metal and measuring", _table(metal_rows(facts, unit))),
        ("What came of it", _result(facts, clock), "Notes", _notes(facts, unit, clock)),
    )
    for left, left_body, right, right_body in pairs:
        both = f"<section>{section(left, left_body)}</section><section>{section(right, right_body)}</section>"
        parts.append(f'<div class="columns">{both}</div>')
    parts.append(section("What happened", _happened(facts, unit, clock)))
    parts.append(f'<p class="mind"><b>Mind:</b> {esc(minded(cautions, unit))}</p>')
    parts.append(f'<p class="small">{esc(small_print(facts))}</p>')
    if facts.photos:
        parts.append(section("Photos", _photos(facts.photos, photos, clock)))
    return page(f"Pour {row.pour}: {row.mould}", _STYLE, parts)


def minded(cautions: Sequence[str], unit: Unit) -> str:
    """What else can hurt, and what these figures are worth."""
    told = (*cautions, "Figures are measured or worked out, not guaranteed; this program protects nothing.")
    return in_unit(" ".join(told), unit)


def small_print(facts: PourFacts) -> str:
    """Where the figures come from."""
    stamped = " Simulated furnace: invented figures." if facts.simulated else ""
    return (
        f"pourcall {facts.program}, furnace {facts.furnace}.{stamped} Temperatures as decided at the time; ± is the "
        "expanded uncertainty (k = 2)."
    )


def judged(row: PourRow, unit: Unit) -> tuple[str, str]:
    """Whether it arrived in its window, in words, and the class of the words."""
    if row.lip_temp_c is None:
        return "temperature at the lip not known", "outside"
    over_c, under_c = row.lip_temp_c - row.lip_max_c, row.lip_min_c - row.lip_temp_c
    if over_c > 0.0:
        return f"{format_difference(over_c, unit, 0)} TOO HOT", "outside"
    if under_c > 0.0:
        return f"{format_difference(under_c, unit, 0)} TOO COLD", "outside"
    u_c = row.lip_u_c or 0.0
    if -over_c < u_c or -under_c < u_c:
        return "inside its window, by less than its uncertainty", "inside"
    return "inside its window", "inside"


def mould_rows(facts: PourFacts, unit: Unit = Unit.C) -> list[tuple[str, str]]:
    """The mould setup as name and value; what was never told is left out."""
    setup, planned = facts.setup, facts.mould
    thinnest = setup.thinnest_mm if setup is not None and setup.thinnest_mm is not None else None
    mass = setup.mass_kg if setup is not None and setup.mass_kg is not None else None
    material = setup.material if setup is not None else ""
    if planned is not None:
        thinnest = planned.thinnest_mm if thinnest is None else thinnest
        mass = planned.mass_kg or None if mass is None else mass
        material = material or planned.material
    rows = [("mould", facts.row.mould), ("setup", facts.row.setup)]
    if setup is not None:
        rows += [("pattern", setup.pattern)]
    rows += [("material", material.replace("_", " "))]
    if setup is not None:
        rows += [("batch", setup.batch), ("gating", setup.gating), ("venting", setup.venting)]
        rows += [("preheated", "" if setup.preheat_c is None else format_temperature(setup.preheat_c, unit))]
    rows += [
        ("thinnest", "" if thinnest is None else f"{thinnest:g} mm"),
        ("metal", "" if not mass else f"{mass:g} kg"),
    ]
    if setup is not None:
        rows += [("more", setup.detail)]
    return [(name, value) for name, value in rows if value]


def metal_rows(facts: PourFacts, unit: Unit) -> list[tuple[str, str]]:
    """Metal, charge, order and probes as name and value."""
    rows = [("charge", f"{facts.charge_kg:g} kg")]
    for charge in facts.charges:
        rows.append(("added" if charge.added else "of which", charge.words))
    if facts.alloy is not None:
        solid, liquid = (format_temperature(t, unit) for t in (facts.alloy.solidus_c, facts.alloy.liquidus_c))
        rows.append(("melts", f"{solid} to {liquid}"))
    if facts.highest_c is not None:
        rows.append(("highest", f"{format_temperature(facts.highest_c, unit)} in the pot before the pour"))
    if facts.liquid_s is not None:
        rows.append(("liquid for", f"{_length(facts.liquid_s)} before the pour"))
    if facts.lift_s is not None:
        rows.append(("on the way", f"{_length(facts.pour_s - facts.lift_s)} from lift to pour"))
    rows.append(("order", f"pour {facts.row.number} of {facts.pours_in_melt}, marked {facts.row.marked}"))
    for probe in facts.probes:
        told = [f"type {probe.tc_type} {probe.wire_class}" if probe.tc_type else "", probe.sheath, probe.place]
        told.append(f"corrected by {probe.offset_uv:+g} uV" if probe.offset_uv else "")
        words = ", ".join(word.replace("_", " ") for word in told if word)
        rows.append((f"probe {probe.name}", words or "not in the settings"))
    return rows


def made_up(facts: PourFacts, unit: Unit) -> str:
    """How the lip temperature was made up, in a sentence."""
    row = facts.row
    told = in_unit(row.basis, unit, 1)
    if row.pot_temp_c is not None and row.pot_u_c is not None and row.lip_u_c is not None:
        loss_u_c = max(row.lip_u_c**2 - row.pot_u_c**2, 0.0) ** 0.5
        told += (
            f". Uncertainty: {format_difference(row.pot_u_c, unit)} of the pot, {format_difference(loss_u_c, unit)} "
            f"of the way, together {format_difference(row.lip_u_c, unit)}"
        )
    return told


def poured_where(facts: PourFacts, shop: str, clock: Clock) -> str:
    """Shop, time and tags in a line."""
    where = f"{shop}, " if shop else ""
    return f"{where}{clock(facts.row.at_utc_s)}{''.join(f' · {tag}' for tag in facts.tags)}"


def lip_words(facts: PourFacts, unit: Unit) -> tuple[str, str, str, str]:
    """Figure at the lip, how it is judged, what was wanted, how the figure was made up."""
    row = facts.row
    u_text = "" if row.lip_u_c is None else f" ± {format_difference(row.lip_u_c, unit, 0)}"
    wanted = f"wanted {format_temperature(row.lip_min_c, unit)} to {format_temperature(row.lip_max_c, unit)}"
    again = ""
    old = facts.earlier[0] if facts.earlier else row
    if (old.lip_temp_c, old.mould) != (row.lip_temp_c, row.mould):
        again = f" Corrected; first on record as {format_temperature(old.lip_temp_c, unit)} into {old.mould}."
    figure = f"{format_temperature(row.lip_temp_c, unit)}{u_text}"
    return figure, judged(row, unit)[0], wanted, f"{made_up(facts, unit)}.{again}"


def result_lines(facts: PourFacts, clock: Clock) -> list[str]:
    """What inspection found; empty: not inspected yet."""
    lines = []
    for one in facts.results:
        grade = f" {one.severity}" if one.severity else ""
        detail = f": {one.detail}" if one.detail else ""
        lines.append(f"{one.defect.replace('_', ' ')}{grade}{detail} ({one.who}, {clock(one.at_utc_s)})")
    return lines


def note_lines(facts: PourFacts, unit: Unit, clock: Clock) -> list[str]:
    """Notes of the melt and of the pour."""
    told = (note for note in facts.notes if note.what == "note")
    return [f"{in_unit(note.text, unit)} ({note.who}, {clock(note.at_utc_s)})" for note in told]


def happened(facts: PourFacts, unit: Unit, clock: Clock) -> list[tuple[int | None, str, str, bool]]:
    """In order: number on the drawing, time of day, words, whether it is this pour."""
    number_of = {id(mark): number for number, mark in numbered(facts)}
    items = []
    for mark in facts.marks:
        words = in_unit(mark.text, unit)
        if mark.kind == "dip" and mark.temp_c is None:
            words = f"{words.partition(':')[0]}: no figure"
        if mark.kind == "state":
            words = words.partition(":")[0]
        words = f"call: {words}" if mark.kind == "call" else words
        ours = mark.kind == "pour" and mark.number == facts.row.number
        at = clock(facts.melt_began_utc_s + mark.at_s)[-5:]
        items.append((number_of.get(id(mark)), at, words, ours))
    return items


def _header(facts: PourFacts, shop: str, clock: Clock) -> str:
    row = facts.row
    stamp = '<span class="stamp">SIMULATED</span>' if facts.simulated else ""
    return (
        f'<header><div class="number" title="write this on the casting">{esc(row.pour)}</div><div class="what">'
        f"<b>{esc(row.mould)}</b> in <b>{esc(facts.alloy_name)}</b> {stamp}<br>{esc(poured_where(facts, shop, clock))}"
        "</div></header>"
    )


def _lip(facts: PourFacts, unit: Unit) -> str:
    figure, words, wanted, how = lip_words(facts, unit)
    return (
        f'<div class="lip"><span class="figure">{esc(figure)}</span> <span>at the mould lip</span> '
        f'<span class="judged {judged(facts.row, unit)[1]}">{esc(words)}</span> <span>{esc(wanted)}</span></div>'
        f'<p class="how">{esc(how)}</p>'
    )


def _legend(facts: PourFacts) -> str:
    seen = dict.fromkeys(span.state for span in facts.states)
    shown = "".join(f'<span style="background:{STATE_FILL[state]}">{state.value}</span>' for state in seen)
    return f'<p class="small legend">Melt: {shown} {LEGEND}</p>' if shown else ""


def _result(facts: PourFacts, clock: Clock) -> str:
    lines = result_lines(facts, clock)
    return f'{bullets(lines)}<p class="small">{SEVERITIES}</p>' if lines else f"<p>{TO_INSPECT}</p>"


def _notes(facts: PourFacts, unit: Unit, clock: Clock) -> str:
    lines = note_lines(facts, unit, clock)
    return bullets(lines) if lines else f"<p>{BLANK}</p>"


def _happened(facts: PourFacts, unit: Unit, clock: Clock) -> str:
    items = []
    for number, at, words, ours in happened(facts, unit, clock):
        sign = f"<b>{number}</b>" if number is not None else "<i></i>"
        told = f"<strong>{esc(words)}</strong>" if ours else esc(words)
        items.append(f"<li>{sign} <time>{esc(at)}</time> {told}</li>")
    return f'<ul class="happened">{"".join(items)}</ul>'


def _photos(rows: Iterable[PhotoRow], folder: Path, clock: Clock) -> str:
    left, figures = INLINE_BYTES, []
    for row in rows:
        path = folder / f"{row.hash}{row.suffix}"
        caption = esc(f"{row.caption} ({clock(row.at_utc_s)})".strip())
        try:
            body = path.read_bytes()
        except OSError:
            figures.append(f"<figure><figcaption>{caption}: the file {esc(path.name)} is missing</figcaption></figure>")
            continue
        kind = TYPES.get(row.suffix)
        if kind is None or len(body) > left:
            why = "is no picture" if kind is None else "is too large for this page"
            figures.append(f"<figure><figcaption>{caption}: {esc(path.name)} {why}</figcaption></figure>")
            continue
        left -= len(body)
        data = base64.b64encode(body).decode("ascii")
        figures.append(
            f'<figure><img alt="{caption}" src="data:{kind};base64,{data}"><figcaption>{caption}</figcaption></figure>'
        )
    return f'<div class="photos">{"".join(figures)}</div>'


def _table(rows: Iterable[tuple[str, str]]) -> str:
    cells = "".join(f"<tr><th>{esc(name)}</th><td>{esc(value)}</td></tr>" for name, value in rows)
    return f"<table>{cells}</table>"


def _length(seconds: float) -> str:
    """`12 s`, `3 min 18 s`, `1 h 20 min`."""
    whole = round(max(seconds, 0.0))
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60} s"
    return f"{whole // 3600} h {whole % 3600 // 60} min"
