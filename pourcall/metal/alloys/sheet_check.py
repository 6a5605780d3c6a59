"""What is wrong with an alloy sheet, before it becomes one. A plain table in, all its faults out.

Checks each key and unit, that every value has a source and a mark, the ranges, and what must hold between values:
liquidus not below solidus, pour window not below liquidus plus margin, shares that add up, an enthalpy curve that
melts where solidus and liquidus say.
"""

import math
from collections.abc import Mapping
from typing import Any

from pourcall.contract.message import tell
from pourcall.contract.plan import HeatPoint
from pourcall.contract.toml_tables import Checker, Fault, as_found, hint, is_number, near
from pourcall.metal.alloys.elements import FUSION_J_PER_MOL, MOLAR_MASS_G_PER_MOL, fusion_kj_per_kg
from pourcall.metal.heat.curve import HeatCurve, fault_of

FORMAT = 1
DEFAULT_MARGIN_C = 15.0
CURVE_WITHIN_C = 1.0  # of solidus and liquidus: the curve's are the sheet's
CURVE_WITHIN_SHARE = 0.1  # of a heat printed beside the curve
# An alloy's heat of melting over that of its elements by mass. Mixing takes from it: 0.4 for silicon bronze, whose
# silicon brings much and is bound in the melt; 0.7-1.05 for the rest (the sheets that ship, computed). Outside, a
# figure was put at the wrong temperature.
FUSION_SHARE = (0.33, 1.2)
UNKNOWN_PERCENT = 1.5  # so much of elements whose heat of fusion is not kept is let pass
FAMILIES = ("zinc", "aluminium", "copper", "other")
MARKS = ("sourced", "memory", "computed")

_TEMPERATURE = ("degC", "degF", "K")
_DIFFERENCE = ("K", "degC", "degF")
_DENSITY, _CP, _HEAT, _CONDUCTIVITY = "kg/m3", "J/(kg K)", "kJ/kg", "W/(m K)"

# key -> (units allowed, lowest, highest) in the canonical unit, which is the first one
VALUE_KEYS: dict[str, tuple[tuple[str, ...], float, float]] = {
    "solidus": (_TEMPERATURE, -50.0, 2000.0),
    "liquidus": (_TEMPERATURE, -50.0, 2000.0),
    "eutectic": (_TEMPERATURE, -50.0, 2000.0),
    "liquid_margin": (_DIFFERENCE, 5.0, 150.0),
    "pour_min": (_TEMPERATURE, 0.0, 2000.0),
    "pour_max": (_TEMPERATURE, 0.0, 2000.0),
    "pour_light_min": (_TEMPERATURE, 0.0, 2000.0),
    "pour_light_max": (_TEMPERATURE, 0.0, 2000.0),
    "pour_heavy_min": (_TEMPERATURE, 0.0, 2000.0),
    "pour_heavy_max": (_TEMPERATURE, 0.0, 2000.0),
    "pressure_die_min": (_TEMPERATURE, 0.0, 2000.0),
    "pressure_die_max": (_TEMPERATURE, 0.0, 2000.0),
    "alloy_max": (_TEMPERATURE, 0.0, 2000.0),
    "density_solid": ((_DENSITY,), 500.0, 25000.0),
    "density_liquid": ((_DENSITY,), 500.0, 25000.0),
    "cp_solid": ((_CP,), 50.0, 5000.0),
    "cp_liquid": ((_CP,), 50.0, 5000.0),
    "latent": ((_HEAT,), 1.0, 2000.0),
    "conductivity": ((_CONDUCTIVITY,), 1.0, 1000.0),
    "shrinkage": (("%",), -1.0, 6.0),
    "stop_fraction": (("1",), 0.05, 1.0),
    "emissivity": (("1",), 0.01, 1.0),
}
REQUIRED_VALUES = ("solidus", "liquidus", "pour_min", "pour_max")
REQUIRED_WORDS = ("name", "family", "base")
_WORD_KEYS = ("key", "name", "family", "base", "designation", "notes")
_TOP_KEYS = (
    "format",
    *_WORD_KEYS,
    "aliases",
    "zinc_bearing",
    "hazards",
    "composition",
    "arrests",
    "heat",
    "protection_tube",
    "extends",
    *VALUE_KEYS,
)
_VALUE_FIELDS = ("value", "unit", "source", "mark", "note", "also")
_OTHER_FIELDS = ("value", "unit", "source", "mark", "note")
_SHARE_FIELDS = ("nominal", "min", "max", "source", "mark")
_ARREST_FIELDS = ("name", "value", "unit", "source", "mark", "note")
_HEAT_FIELDS = ("points", "source", "mark", "note")
_TUBE_FIELDS = ("works", "fails", "source", "mark")


def check(table: dict[str, Any], *, key: str, file: str) -> tuple[Fault, ...]:
    """Every fault of one sheet; none means that it can be used."""
    sheet = Checker(table, file=file)
    sheet.known(_TOP_KEYS)
    if table.get("format", FORMAT) != FORMAT:
        sheet.add("format", tell("alloy.check.format", format=FORMAT, found=as_found(table["format"])))
    if table.get("key", key) != key:
        sheet.add("key", tell("alloy.check.key", key=key, found=as_found(table["key"])))
    for word in _WORD_KEYS:
        sheet.text(word)
    sheet.required(REQUIRED_WORDS)
    sheet.one_of("family", FAMILIES)
    sheet.one_of("base", MOLAR_MASS_G_PER_MOL)
    sheet.truth("zinc_bearing")
    for word in ("aliases", "hazards"):
        sheet.texts(word)
    sheet.required(REQUIRED_VALUES)
    for word, (units, low, high) in VALUE_KEYS.items():
        if word in table:
            _check_value(sheet, word, units, low, high)
    _check_composition(sheet)
    _check_arrests(sheet)
    if "heat" in table:
        _check_heat(sheet.part("heat", _HEAT_FIELDS))
    if "protection_tube" in table:
        _check_fields(sheet.part("protection_tube", _TUBE_FIELDS), _TUBE_FIELDS, _TUBE_FIELDS)
    if not sheet.faults:
        _check_between(sheet, in_canonical_units(table))
    return tuple(sheet.faults)


def in_canonical_units(table: dict[str, Any]) -> dict[str, Any]:
    """The same table with every temperature in degC and every difference in K; other units are fixed. Checked tables
    only."""
    ready = {key: value for key, value in table.items() if key not in ("format", "extends")}
    for key, (units, _, _) in VALUE_KEYS.items():
        if key in ready:
            ready[key] = _canonical(ready[key], units)
            if "also" in ready[key]:
                ready[key]["also"] = [_canonical(other, units) for other in ready[key]["also"]]
    if "arrests" in ready:
        ready["arrests"] = [_canonical(arrest, _TEMPERATURE) for arrest in ready["arrests"]]
    return ready


def _canonical(entry: Mapping[str, Any], units: tuple[str, ...]) -> dict[str, Any]:
    value, unit = float(entry["value"]), entry["unit"]
    if units is _TEMPERATURE:
        value = {"degC": value, "degF": (value - 32.0) / 1.8, "K": value - 273.15}[unit]
    elif units is _DIFFERENCE and unit == "degF":
        value /= 1.8
    return {**entry, "value": value, "unit": units[0]}


def _check_value(sheet: Checker, key: str, units: tuple[str, ...], low: float, high: float) -> None:
    entry = sheet.part(key, _OTHER_FIELDS[:-1])
    if not _check_fields(entry, _VALUE_FIELDS, _OTHER_FIELDS[:-1]) or entry is None:
        return
    before = len(sheet.faults)
    others = entry.rows("also")
    sound = [_check_fields(other, _OTHER_FIELDS, _OTHER_FIELDS[:-1]) for other in others]
    if not all(sound) or len(sheet.faults) > before:
        return
    for one in (entry, *others):
        if one.raw["unit"] not in units:
            one.add("unit", tell("alloy.check.unit", found=one.raw["unit"], key=key, units=", ".join(units)))
            continue
        value = _canonical(one.raw, units)["value"]
        if low <= value <= high:
            continue
        if units is _TEMPERATURE:
            one.add("value", tell("alloy.check.outside_c", found_c=value, least_c=low, most_c=high))
        else:
            one.add("value", tell("alloy.check.outside", found=value, unit=units[0], least=low, most=high))


def _check_fields(entry: Checker | None, known: tuple[str, ...], required: tuple[str, ...]) -> bool:
    """Whether a table has what it should; None is no table, which was told."""
    if entry is None:
        return False
    before = len(entry.faults)
    entry.known(known)
    entry.required(required)
    for word in required:
        if word in ("value", "nominal"):
            entry.number(word)
        elif word in entry.raw and not (isinstance(entry.raw[word], str) and entry.raw[word].strip()):
            entry.add(word, tell("toml.empty_text"))
    entry.one_of("mark", MARKS)
    entry.text("note")
    return len(entry.faults) == before


def _check_composition(sheet: Checker) -> None:
    shares = sheet.part("composition") if "composition" in sheet.raw else None
    if shares is None:
        return
    total = 0.0
    for symbol in shares.raw:
        if symbol not in MOLAR_MASS_G_PER_MOL:
            what = tell("alloy.check.no_element", hint=hint(symbol, MOLAR_MASS_G_PER_MOL))
            shares.add(symbol, what, near(symbol, MOLAR_MASS_G_PER_MOL))
        entry = shares.part(symbol, _SHARE_FIELDS)
        if not _check_fields(entry, _SHARE_FIELDS, ("nominal", "source", "mark")) or entry is None:
            continue
        low, nominal, high = entry.raw.get("min", 0.0), entry.raw["nominal"], entry.raw.get("max", 100.0)
        if not (is_number(low) and is_number(high)):
            shares.add(symbol, tell("alloy.check.limits"))
        elif not 0.0 <= low <= nominal <= high <= 100.0:
            shares.add(symbol, tell("alloy.check.order", least=low, nominal=nominal, most=high))
        elif symbol != sheet.raw.get("base"):
            total += nominal
    if total > 100.0:
        sheet.add("composition", tell("alloy.check.total", percent=total))


def _check_arrests(sheet: Checker) -> None:
    for arrest in sheet.rows("arrests"):
        if _check_fields(arrest, _ARREST_FIELDS, _ARREST_FIELDS[:-1]) and arrest.raw["unit"] not in _TEMPERATURE:
            arrest.add("unit", tell("alloy.check.no_unit", found=arrest.raw["unit"], units=", ".join(_TEMPERATURE)))


def _check_between(sheet: Checker, table: dict[str, Any]) -> None:
    """What must hold between values; all in canonical units."""
    value = {key: table[key]["value"] for key in VALUE_KEYS if key in table}
    margin_c = value.get("liquid_margin", DEFAULT_MARGIN_C)
    liquidus_c, solidus_c = value["liquidus"], value["solidus"]
    if liquidus_c < solidus_c:
        sheet.add("liquidus", tell("alloy.check.below_solidus", liquidus_c=liquidus_c, solidus_c=solidus_c))
    if value.get("eutectic", solidus_c) > liquidus_c:
        sheet.add("eutectic", tell("alloy.check.above_liquidus", liquidus_c=liquidus_c))
    floor_c = liquidus_c + margin_c
    for key in ("pour_min", "pour_light_min", "pour_heavy_min"):
        if key in value and value[key] < floor_c:
            what = tell("alloy.check.not_liquid", found_c=value[key], margin_difference_c=margin_c, floor_c=floor_c)
            sheet.add(key, what)
    for kind in ("pour", "pour_light", "pour_heavy", "pressure_die"):
        low, high = value.get(f"{kind}_min"), value.get(f"{kind}_max")
        if (low is None) != (high is None):
            sheet.add(f"{kind}_{'min' if low is None else 'max'}", tell("alloy.check.one_end"))
        elif low is not None and high is not None and not low < high:
            sheet.add(f"{kind}_max", tell("alloy.check.not_above", found_c=high, key=f"{kind}_min", low_c=low))
    if value.get("alloy_max", math.inf) <= value["pour_min"]:
        sheet.add("alloy_max", tell("alloy.check.never_poured", pour_min_c=value["pour_min"]))
    if table.get("zinc_bearing") and table.get("base") != "Zn" and "Zn" not in table.get("composition", {}):
        sheet.add("composition.Zn", tell("alloy.check.no_zinc"))
    if "heat" in table:
        _check_curve(sheet, table, value)


def _check_curve(sheet: Checker, table: dict[str, Any], value: dict[str, float]) -> None:
    """Whether the enthalpy curve is one, and agrees with the solidus, the liquidus and every heat beside it."""
    points = [HeatPoint(*map(float, point)) for point in table["heat"]["points"]]
    broken = fault_of(points)
    if broken is not None:
        sheet.add("heat.points", broken)
        return
    curve = HeatCurve(points)
    for key, curve_c in (("solidus", curve.solidus_c), ("liquidus", curve.liquidus_c)):
        if abs(value[key] - curve_c) > CURVE_WITHIN_C:
            sheet.add("heat.points", tell("alloy.check.curve_moved", key=key, curve_c=curve_c, sheet_c=value[key]))
    for key, own in (("latent", curve.latent_kj_per_kg), ("cp_liquid", curve.cp_liquid)):
        if key in value and abs(value[key] / own - 1.0) > CURVE_WITHIN_SHARE:
            sheet.add(key, tell("alloy.check.not_of_curve", found=value[key], own=own))
    mixed = _fusion_of_elements(table)
    if mixed is not None and not FUSION_SHARE[0] <= curve.latent_kj_per_kg / mixed <= FUSION_SHARE[1]:
        what = tell("alloy.check.fusion", curve_kj_per_kg=curve.latent_kj_per_kg, elements_kj_per_kg=mixed)
        sheet.add("heat.points", what)


def _fusion_of_elements(table: dict[str, Any]) -> float | None:
    """Heat of fusion of the elements by mass, kJ/kg; None where an element that counts is not kept."""
    shares = {symbol: share["nominal"] for symbol, share in table.get("composition", {}).items()}
    shares[table["base"]] = 100.0 - sum(amount for symbol, amount in shares.items() if symbol != table["base"])
    if sum(amount for symbol, amount in shares.items() if symbol not in FUSION_J_PER_MOL) > UNKNOWN_PERCENT:
        return None
    known = {symbol: amount for symbol, amount in shares.items() if symbol in FUSION_J_PER_MOL}
    return float(sum(amount * fusion_kj_per_kg(symbol) for symbol, amount in known.items()) / sum(known.values()))


def _check_heat(heat: Checker | None) -> None:
    """The table of the curve, before its points are looked at."""
    _check_fields(heat, _HEAT_FIELDS, ("source", "mark"))
    points = heat.raw.get("points") if heat is not None else None
    if heat is not None and not (isinstance(points, list) and all(map(_is_point, points))):
        heat.add("points", tell("alloy.check.points"))


def _is_point(point: object) -> bool:
    return isinstance(point, list) and len(point) == 3 and all(is_number(figure) for figure in point)
