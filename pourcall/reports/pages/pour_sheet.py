"""The pour sheet. One page to pin on the wall: what was poured, how hot, how that is known.

Facts, photos and cautions in, a document out; one page of paper (photos add pages), as HTML and as PDF. Not here:
reading the record (facts.py), drawing (pour_plot.py), how a page looks (as_html.py, as_pdf.py).
"""

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from pourcall.contract.events import MarkKind
from pourcall.contract.message import Message, Told, tell
from pourcall.contract.units import Unit, format_difference, format_mass, format_temperature, in_unit
from pourcall.records.read.facts import Mark, PourFacts
from pourcall.records.read.views import PourRow
from pourcall.reports.drawings.melt_parts import STATE_FILL, numbered
from pourcall.reports.drawings.pour_plot import melt_svg, pour_svg
from pourcall.reports.pages import document as doc
from pourcall.texts import say, word

_BLANK = "_" * 30  # to write on by hand
Clock = Callable[[float], str]  # UTC seconds -> wall-clock text, where the reader is


def pour_sheet(
    facts: PourFacts,
    photos: Path,
    *,
    unit: Unit = Unit.C,
    cautions: Sequence[Told] = (),
    shop: str = "",
    clock: Clock,
) -> doc.Document:
    """The page. `photos` is the photo folder, `cautions` whole sentences; temperatures in `unit`."""
    row = facts.row
    body: list[doc.Block] = [_header(facts, shop, clock), _lip(facts, unit), doc.Paragraph(_how(facts, unit))]
    body.append(doc.Beside([(doc.Drawing(melt_svg(facts, unit)),), (doc.Drawing(pour_svg(facts, unit)),)]))
    body += _legend(facts)
    body.append(
        doc.Beside(
            [
                (_section(tell("sheet.mould"), doc.Pairs(mould_rows(facts, unit))),),
                (_section(tell("sheet.metal"), doc.Pairs(metal_rows(facts, unit))),),
                (_section(tell("sheet.result"), *_result(facts, clock)),),
                (_section(tell("sheet.notes"), *_notes(facts, unit, clock)),),
            ]
        )
    )
    body.append(_section(tell("sheet.happened"), doc.Listing(list(_happened(facts, unit, clock)))))
    body.append(
        doc.Box(say(tell("sheet.caution")), [" ".join(say(told, unit) for told in (*cautions, tell("sheet.worth")))])
    )
    stamped = tell("sheet.simulated_figures") if facts.simulated else ""
    about = tell("sheet.small_print", program=facts.program, furnace=facts.furnace, stamped=stamped)
    body.append(doc.Paragraph(say(about), small=True))
    shown = [
        doc.Picture(photos / f"{one.hash}{one.suffix}", f"{one.caption} ({clock(one.at_utc_s)})".strip())
        for one in facts.photos
    ]
    return doc.Document(
        title=say(tell("sheet.title", pour=row.pour, mould=row.mould)),
        body=body,
        after=[_section(tell("sheet.photos"), doc.Pictures(shown))] if shown else (),
        one_page=True,
        author=shop,
        creator=f"pourcall {facts.program}",
    )


def _section(title: Message, *body: doc.Block) -> doc.Section:
    return doc.Section(say(title), body)


def judged(row: PourRow) -> tuple[Message, doc.Tone]:
    """Whether it arrived in its window, and the tone of the words."""
    if row.lip_temp_c is None:
        return tell("sheet.lip_unknown"), "bad"
    over_c, under_c, u_c = row.lip_temp_c - row.lip_max_c, row.lip_min_c - row.lip_temp_c, row.lip_u_c or 0.0
    if over_c > 0.0:
        return tell("sheet.too_hot", over_difference_c=over_c), "bad"
    if under_c > 0.0:
        return tell("sheet.too_cold", under_difference_c=under_c), "bad"
    if -over_c < u_c or -under_c < u_c:
        return tell("sheet.inside_by_less"), "good"
    return tell("sheet.inside"), "good"


def _header(facts: PourFacts, shop: str, clock: Clock) -> doc.Banner:
    row, stamp = facts.row, doc.Run(say(tell("sheet.simulated")), bold=True, tone="stamp")
    what: doc.Line = (doc.Run(row.mould, bold=True), f" {say(tell('sheet.in'))} ", doc.Run(facts.alloy_name, bold=True))
    if facts.simulated:
        what = (*what, " ", stamp)
    where = f"{shop}, " if shop else ""
    when = f"{where}{clock(row.at_utc_s)}{''.join(f' · {tag}' for tag in facts.tags)}"
    return doc.Banner(row.pour, (what, when), rule=True, hint=say(tell("sheet.write_on_casting")))


def _lip(facts: PourFacts, unit: Unit) -> doc.Banner:
    row = facts.row
    u_text = "" if row.lip_u_c is None else f" ± {format_difference(row.lip_u_c, unit, 0)}"
    words, tone = judged(row)
    wanted = tell("sheet.wanted", low_c=row.lip_min_c, high_c=row.lip_max_c)
    return doc.Banner(
        f"{format_temperature(row.lip_temp_c, unit)}{u_text}",
        ((f"{say(tell('sheet.at_lip'))} ", doc.Run(say(words, unit), bold=True, tone=tone)), say(wanted, unit)),
    )


def _how(facts: PourFacts, unit: Unit) -> str:
    """How the lip temperature was made up, in sentences."""
    row = facts.row
    basis = in_unit(row.basis, unit, 1) if isinstance(row.basis, str) else say(row.basis, unit)
    parts = [basis]
    if row.pot_u_c is not None and row.lip_u_c is not None and row.pot_temp_c is not None:
        way_u_c = max(row.lip_u_c**2 - row.pot_u_c**2, 0.0) ** 0.5
        parts.append(say(tell("sheet.uncertainty", pot_u_c=row.pot_u_c, way_u_c=way_u_c, lip_u_c=row.lip_u_c), unit))
    old = facts.earlier[0] if facts.earlier else row
    if (old.lip_temp_c, old.mould) != (row.lip_temp_c, row.mould):
        if old.lip_temp_c is None:
            parts.append(say(tell("sheet.corrected_unknown", mould=old.mould)))
        else:
            parts.append(say(tell("sheet.corrected", first_c=old.lip_temp_c, mould=old.mould), unit))
    return "".join(f"{part}. " for part in parts if part).strip()


def _legend(facts: PourFacts) -> list[doc.Block]:
    seen = dict.fromkeys(span.state for span in facts.states)
    if not seen:
        return []
    line: list[doc.Run | str] = [f"{say(tell('sheet.states'))} "]
    for state in seen:
        line += [doc.Run(word("stretch", state.value), fill=STATE_FILL[state]), " "]
    return [doc.Paragraph((*line, say(tell("sheet.legend"))), small=True)]


def mould_rows(facts: PourFacts, unit: Unit = Unit.C) -> list[tuple[str, str]]:
    """The mould setup as name and value; what was never told is left out."""
    setup, planned = facts.setup, facts.mould
    thinnest_mm = None if setup is None else setup.thinnest_mm
    mass_kg = None if setup is None else setup.mass_kg
    material = "" if setup is None else setup.material
    if planned is not None:
        thinnest_mm = planned.thinnest_mm if thinnest_mm is None else thinnest_mm
        mass_kg, material = planned.mass_kg if mass_kg is None else mass_kg, material or planned.material
    told: list[tuple[Message, str]] = [
        (tell("sheet.row.mould"), facts.row.mould),
        (tell("sheet.row.setup"), facts.row.setup),
        (tell("sheet.row.pattern"), setup.pattern if setup else ""),
        (tell("sheet.row.material"), word("material", material).replace("_", " ")),
        (tell("sheet.row.batch"), setup.batch if setup else ""),
        (tell("sheet.row.gating"), setup.gating if setup else ""),
        (tell("sheet.row.venting"), setup.venting if setup else ""),
    ]
    if setup is not None and setup.preheat_c is not None:
        told.append((tell("sheet.row.preheated"), format_temperature(setup.preheat_c, unit)))
    told.append((tell("sheet.row.thinnest"), "" if thinnest_mm is None else f"{thinnest_mm:g} mm"))
    told.append((tell("sheet.row.mass"), format_mass(mass_kg) if mass_kg else ""))
    told.append((tell("sheet.row.more"), setup.detail if setup else ""))
    return [(say(name), value) for name, value in told if value]


def metal_rows(facts: PourFacts, unit: Unit) -> list[tuple[str, str]]:
    """Metal, charge, order and probes as name and value."""
    told: list[tuple[Message, Message | str]] = [(tell("sheet.row.charge"), format_mass(facts.charge_kg))]
    for charge in facts.charges:
        told.append((tell("sheet.row.added") if charge.added else tell("sheet.row.of_which"), charge.words))
    if facts.alloy is not None:
        melts = tell("sheet.melts", solidus_c=facts.alloy.solidus_c, liquidus_c=facts.alloy.liquidus_c)
        told.append((tell("sheet.row.melts"), melts))
    if facts.highest_c is not None:
        told.append((tell("sheet.row.highest"), tell("sheet.highest", reached_c=facts.highest_c)))
    if facts.liquid_s is not None:
        told.append((tell("sheet.row.liquid_for"), tell("sheet.before_pour", length=_length(facts.liquid_s))))
    if facts.lift_s is not None:
        told.append((tell("sheet.row.way"), tell("sheet.lift_to_pour", length=_length(facts.pour_s - facts.lift_s))))
    order = tell("sheet.order", number=facts.row.number, of=facts.pours_in_melt, marked=facts.row.marked)
    told.append((tell("sheet.row.order"), order))
    for probe in facts.probes:
        kind = f"type {probe.tc_type} {probe.wire_class}" if probe.tc_type else ""
        offset = say(tell("sheet.corrected_by", offset=f"{probe.offset_uv:+g}")) if probe.offset_uv else ""
        about = ", ".join(one.replace("_", " ") for one in (kind, probe.sheath, probe.place, offset) if one)
        told.append((tell("sheet.row.probe", probe=probe.name), about or tell("sheet.not_in_settings")))
    return [(say(name), say(value, unit)) for name, value in told]


def _result(facts: PourFacts, clock: Clock) -> list[doc.Block]:
    """What inspection found, or a line to write it on."""
    if not facts.results:
        return [doc.Paragraph(f"{say(tell('sheet.not_inspected'))}: {_BLANK}")]
    lines = []
    for one in facts.results:
        grade = f" {one.severity}" if one.severity else ""
        detail = f": {one.detail}" if one.detail else ""
        lines.append(f"{one.defect.replace('_', ' ')}{grade}{detail} ({one.who}, {clock(one.at_utc_s)})")
    return [doc.Bullets(lines), doc.Paragraph(say(tell("sheet.severities")), small=True)]


def _notes(facts: PourFacts, unit: Unit, clock: Clock) -> list[doc.Block]:
    """Notes of the melt and of the pour, or a line to write on."""
    told = [note for note in facts.notes if note.what is MarkKind.NOTE]
    lines = [f"{say(note.text, unit)} ({note.who}, {clock(note.at_utc_s)})" for note in told]
    return [doc.Bullets(lines)] if lines else [doc.Paragraph(_BLANK)]


def _happened(facts: PourFacts, unit: Unit, clock: Clock) -> Iterator[doc.Happened]:
    """In order: number on the drawing, time of day, words."""
    number_of = {id(mark): str(number) for number, mark in numbered(facts.marks)}
    for mark in facts.marks:
        yield doc.Happened(
            number_of.get(id(mark), ""),
            clock(facts.melt_began_utc_s + mark.at_s)[-5:],
            _words(mark, unit),
            strong=mark.kind == "pour" and mark.number == facts.row.number,
        )


def _words(mark: Mark, unit: Unit) -> str:
    """A state, and a dip without a figure, in a word: why stands in the record."""
    if mark.state is not None:
        return word("stretch", mark.state.value)
    if mark.kind == "dip" and mark.temp_c is None:
        return say(tell("sheet.dip_without_figure", number=mark.number))
    return say(tell("plot.call", text=mark.text) if mark.kind == "call" else mark.text, unit)


def _length(seconds: float) -> str:
    """`12 s`, `3 min 18 s`, `1 h 20 min`."""
    whole = round(max(seconds, 0.0))
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60} s"
    return f"{whole // 3600} h {whole % 3600 // 60} min"
