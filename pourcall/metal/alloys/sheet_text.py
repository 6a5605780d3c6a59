"""An alloy sheet as plain text, every number with its source and what other sources say. For `pourcall alloy`."""

import textwrap
from collections.abc import Callable, Iterable, Mapping

from pourcall.contract.units import Unit, difference_from_c, from_c, in_unit
from pourcall.metal.alloys.sheet import AlloySheet, Heat, Value
from pourcall.metal.alloys.sheet_sentences import figures_marked

WIDTH = 100
_MARK = {Unit.C: "°C", Unit.F: "°F", Unit.K: "K"}


def render_sheet(
    sheet: AlloySheet, sources: Mapping[str, str], unit: Unit = Unit.C, *, named: Callable[[str], str] = str
) -> str:
    """The whole sheet, at most 100 columns. `sources`: what each key stands for, from `load_sources`.

    named: what a person calls the value of a key.
    """
    lines = [f"{sheet.name} ({sheet.key}), {sheet.family}; {sheet.designation}".rstrip("; ")]
    if sheet.aliases:
        lines += _wrap(f"also called {', '.join(sheet.aliases)}")
    if sheet.notes:
        lines += _wrap(_said(sheet.notes, unit))
    lines += ["", "Composition, weight percent"]
    shares = sheet.weight_percent()
    lines.append(f"  {sheet.base:<4} {shares[sheet.base]:.4g} (balance)")
    for symbol, share in sheet.composition.items():
        if symbol != sheet.base:
            low, high = share.min, share.max
            bounds = (
                f"{'' if low is None else f'{low:g} to '}{'at most ' if low is None else ''}{high:g}" if high else ""
            )
            lines.append(f"  {symbol:<4} {share.nominal:g}  {bounds}  [{share.source}, {share.mark}]")
    lines += ["", "Values"]
    used: list[str] = []
    for key, value in sheet.values():
        used += [value.source, *(other.source for other in value.also)]
        lines += _value_lines(key, named(key), value, unit)
    if sheet.heat is not None:
        used.append(sheet.heat.source)
        lines += _heat_lines(named("heat"), sheet.heat, unit)
    for arrest in sheet.arrests:
        used.append(arrest.source)
        lines += _wrap(
            f"arrest {_figure(arrest.value, 'degC', unit)}  [{arrest.source}, {arrest.mark}] {_said(arrest.name, unit)}"
        )
    lines += ["", "Hazards"] + [line for hazard in sheet.hazards for line in _wrap(_said(hazard, unit))]
    if sheet.protection_tube is not None:
        tube = sheet.protection_tube
        lines += [
            "",
            "Probe",
            *_wrap(f"works: {_said(tube.works, unit)}"),
            *_wrap(f"fails: {_said(tube.fails, unit)} [{tube.source}, {tube.mark}]"),
        ]
        used.append(tube.source)
    lines += ["", "Sources"]
    for source in sorted(set(used)):
        lines += _wrap(f"{source}: {_said(sources.get(source, 'as written in the sheet'), unit)}")
    return "\n".join(lines) + f"\n\nfrom {sheet.file}\n"


def list_rows(sheets: Iterable[AlloySheet]) -> list[dict[str, object]]:
    """One plain row for each sheet, for a table or JSON; temperatures degC."""
    return [
        {
            "key": sheet.key,
            "name": sheet.name,
            "family": sheet.family,
            "solidus_c": sheet.solidus.value,
            "liquidus_c": sheet.liquidus.value,
            "pour_min_c": sheet.pour_min.value,
            "pour_max_c": sheet.pour_max.value,
            "pot_max_c": round(sheet.highest_in_pot_c, 1),
            "zinc_percent": round(sheet.zinc_percent, 3),
            "aliases": list(sheet.aliases),
            "file": sheet.file,
        }
        for sheet in sheets
    ]


def _value_lines(key: str, name: str, value: Value, unit: Unit) -> list[str]:
    difference = key == "liquid_margin"
    note = f" {_said(value.note, unit)}" if value.note else ""
    lines = _wrap(f"{name} {_figure(value.value, value.unit, unit, difference)}  [{value.source}, {value.mark}]{note}")
    for other in value.also:
        said = f" {_said(other.note, unit)}" if other.note else ""
        figure = _figure(other.value, other.unit, unit, difference)
        lines += _wrap(f"also {figure}  [{other.source}, {other.mark}]{said}", "      ")
    return lines


def _heat_lines(name: str, heat: Heat, unit: Unit) -> list[str]:
    note = f" {_said(heat.note, unit)}" if heat.note else ""
    points = "; ".join(
        f"{_figure(point.temp_c, 'degC', unit)} {point.kj_per_kg:g} kJ/kg, {100.0 * point.liquid:.3g} % liquid"
        for point in heat.points
    )
    return _wrap(f"{name} [{heat.source}, {heat.mark}]{note}") + _wrap(points, "      ")


def _figure(value: float, written: str, unit: Unit, difference: bool = False) -> str:
    if difference:
        return f"{difference_from_c(value, unit):.4g} {_MARK[unit]}"
    if written == "degC":
        return f"{round(from_c(value, unit), 1):g} {_MARK[unit]}"
    return f"{value:g}" if written == "1" else f"{value:g} {written}"


def _said(text: str, unit: Unit) -> str:
    return in_unit(figures_marked(text), unit)


def _wrap(text: str, indent: str = "  ") -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent + "    ", break_on_hyphens=False)
