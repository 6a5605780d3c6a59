"""What is wrong with an alloy sheet, before it becomes one. A plain table in, all its faults out.

Checks each key and unit, that every value has a source and a mark, the ranges, and what must hold between values:
liquidus not below solidus, pour window not below liquidus plus margin, shares that add up, an enthalpy curve that
melts where solidus and liquidus say.
"""

import math
from typing import Any

import msgspec

from pourcall.contract.nearest import did_you_mean
from pourcall.contract.plan import HeatPoint
from pourcall.contract.toml_tables import are_texts, is_number
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


class SheetFault(msgspec.Struct, frozen=True, kw_only=True):
    """One thing wrong: in which file, at which key, and what."""

    file: str
    key: str
    what: str

    def __str__(self) -> str:
        return f"{self.file}: {self.key}: {self.what}"


def check(table: dict[str, Any], *, key: str, file: str) -> tuple[SheetFault, ...]:
    """Every fault of one sheet; none means that it can be used."""
    faults: list[tuple[str, str]] = []
    for word in table:
        if word not in _TOP_KEYS:
            faults.append((word, f"unknown key{did_you_mean(word, _TOP_KEYS)}"))
    if table.get("format", FORMAT) != FORMAT:
        faults.append(("format", f"{table['format']!r} is not the format of sheets read here, which is {FORMAT}"))
    if table.get("key", key) != key:
        faults.append(("key", f"{table['key']!r} is not the name of the file, {key!r}"))
    for word in _WORD_KEYS:
        if word in table and not isinstance(table[word], str):
            faults.append((word, "must be text"))
    for word in REQUIRED_WORDS:
        if word not in table:
            faults.append((word, "is missing"))
    if isinstance(table.get("family"), str) and table["family"] not in FAMILIES:
        faults.append(("family", f"{table['family']!r} is none of {', '.join(FAMILIES)}"))
    if isinstance(table.get("base"), str) and table["base"] not in MOLAR_MASS_G_PER_MOL:
        faults.append(("base", f"{table['base']!r} is no element known here"))
    if not isinstance(table.get("zinc_bearing", False), bool):
        faults.append(("zinc_bearing", "must be true or false"))
    for word in ("aliases", "hazards"):
        if not are_texts(table.get(word, [])):
            faults.append((word, "must be a list of texts"))
    for word, (units, low, high) in VALUE_KEYS.items():
        if word in table:
            faults += _check_value(word, table[word], units, low, high)
        elif word in REQUIRED_VALUES:
            faults.append((word, "is missing"))
    faults += _check_composition(table.get("composition", {}), str(table.get("base")))
    faults += _check_arrests(table.get("arrests", []))
    if "heat" in table:
        faults += _check_heat(table["heat"])
    if "protection_tube" in table:
        faults += _check_fields("protection_tube", table["protection_tube"], _TUBE_FIELDS, _TUBE_FIELDS)
    if not faults:
        faults = _check_between(in_canonical_units(table))
    return tuple(SheetFault(file=file, key=where, what=what) for where, what in faults)


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


def _canonical(entry: dict[str, Any], units: tuple[str, ...]) -> dict[str, Any]:
    value, unit = float(entry["value"]), entry["unit"]
    if units is _TEMPERATURE:
        value = {"degC": value, "degF": (value - 32.0) / 1.8, "K": value - 273.15}[unit]
    elif units is _DIFFERENCE and unit == "degF":
        value /= 1.8
    return {**entry, "value": value, "unit": units[0]}


def _check_value(key: str, entry: object, units: tuple[str, ...], low: float, high: float) -> list[tuple[str, str]]:
    faults = _check_fields(key, entry, _VALUE_FIELDS, _OTHER_FIELDS[:-1])
    if faults or not isinstance(entry, dict):
        return faults
    also = entry.get("also", [])
    if not isinstance(also, list):
        return [(f"{key}.also", "must be a list of tables")]
    for number, other in enumerate(also, 1):
        faults += _check_fields(f"{key}.also[{number}]", other, _OTHER_FIELDS, _OTHER_FIELDS[:-1])
    if faults:
        return faults
    for where, one in ((key, entry), *((f"{key}.also[{number}]", other) for number, other in enumerate(also, 1))):
        if one["unit"] not in units:
            faults.append((f"{where}.unit", f"{one['unit']!r} is no unit for {key}; use {' or '.join(units)}"))
            continue
        value = _canonical(one, units)["value"]
        if not low <= value <= high:
            faults.append((f"{where}.value", f"{value:g} {units[0]} is outside {low:g} to {high:g}"))
    return faults


def _check_fields(key: str, entry: object, known: tuple[str, ...], required: tuple[str, ...]) -> list[tuple[str, str]]:
    if not isinstance(entry, dict):
        return [(key, f"must be a table with {', '.join(required)}")]
    faults = [(f"{key}.{word}", f"unknown key{did_you_mean(word, known)}") for word in entry if word not in known]
    for word in required:
        if word not in entry:
            faults.append((f"{key}.{word}", "is missing"))
        elif word in ("value", "nominal"):
            if not is_number(entry[word]):
                faults.append((f"{key}.{word}", "must be a number"))
        elif not isinstance(entry[word], str) or not entry[word].strip():
            faults.append((f"{key}.{word}", "must be text and not empty"))
    if isinstance(entry.get("mark"), str) and entry["mark"] not in MARKS:
        faults.append((f"{key}.mark", f"{entry['mark']!r} is none of {', '.join(MARKS)}"))
    if not isinstance(entry.get("note", ""), str):
        faults.append((f"{key}.note", "must be text"))
    return faults


def _check_composition(shares: object, base: str) -> list[tuple[str, str]]:
    if not isinstance(shares, dict):
        return [("composition", "must be a table of elements")]
    faults: list[tuple[str, str]] = []
    total = 0.0
    for symbol, share in shares.items():
        where = f"composition.{symbol}"
        if symbol not in MOLAR_MASS_G_PER_MOL:
            faults.append((where, f"no element known here{did_you_mean(symbol, MOLAR_MASS_G_PER_MOL)}"))
        found = _check_fields(where, share, _SHARE_FIELDS, ("nominal", "source", "mark"))
        faults += found
        if found:
            continue
        low, high = share.get("min", 0.0), share.get("max", 100.0)
        if not (is_number(low) and is_number(high)):
            faults.append((where, "min and max must be numbers"))
        elif not 0.0 <= low <= share["nominal"] <= high <= 100.0:
            faults.append((where, f"wants 0 <= min <= nominal <= max <= 100, has {low}, {share['nominal']}, {high}"))
        elif symbol != base:
            total += share["nominal"]
    if total > 100.0:
        faults.append(("composition", f"the nominal shares add up to {total:g} %"))
    return faults


def _check_arrests(arrests: object) -> list[tuple[str, str]]:
    if not isinstance(arrests, list):
        return [("arrests", "must be a list of tables, [[arrests]]")]
    faults = []
    for number, arrest in enumerate(arrests, 1):
        found = _check_fields(f"arrests[{number}]", arrest, _ARREST_FIELDS, _ARREST_FIELDS[:-1])
        if not found and arrest["unit"] not in _TEMPERATURE:
            found = [(f"arrests[{number}].unit", f"{arrest['unit']!r} is no unit of temperature")]
        faults += found
    return faults


def _check_between(table: dict[str, Any]) -> list[tuple[str, str]]:
    """What must hold between values; all in canonical units."""
    faults = []
    value = {key: table[key]["value"] for key in VALUE_KEYS if key in table}
    margin_c = value.get("liquid_margin", DEFAULT_MARGIN_C)
    if value["liquidus"] < value["solidus"]:
        faults.append(("liquidus", f"{value['liquidus']:g} degC lies below the solidus, {value['solidus']:g} degC"))
    if value.get("eutectic", value["solidus"]) > value["liquidus"]:
        faults.append(("eutectic", "lies above the liquidus"))
    floor_c = value["liquidus"] + margin_c
    for key in ("pour_min", "pour_light_min", "pour_heavy_min"):
        if key in value and value[key] < floor_c:
            what = f"{value[key]:g} degC lies below the liquidus plus its margin of {margin_c:g}, {floor_c:g} degC"
            faults.append((key, what))
    for kind in ("pour", "pour_light", "pour_heavy", "pressure_die"):
        low, high = value.get(f"{kind}_min"), value.get(f"{kind}_max")
        if (low is None) != (high is None):
            faults.append((f"{kind}_{'min' if low is None else 'max'}", "is missing: a window has two ends"))
        elif low is not None and high is not None and not low < high:
            faults.append((f"{kind}_max", f"{high:g} degC is not above {kind}_min, {low:g} degC"))
    if value.get("alloy_max", math.inf) <= value["pour_min"]:
        faults.append(("alloy_max", "is not above pour_min: the alloy could never be poured"))
    if table.get("zinc_bearing") and table.get("base") != "Zn" and "Zn" not in table.get("composition", {}):
        faults.append(("composition.Zn", "is missing: without it the boiling limit of a zinc-bearing alloy is unknown"))
    if "heat" in table:
        faults += _check_curve(table, value)
    return faults


def _check_curve(table: dict[str, Any], value: dict[str, float]) -> list[tuple[str, str]]:
    """Whether the enthalpy curve is one, and agrees with the solidus, the liquidus and every heat beside it."""
    points = [HeatPoint(*map(float, point)) for point in table["heat"]["points"]]
    broken = fault_of(points)
    if broken is not None:
        return [("heat.points", broken)]
    curve, faults = HeatCurve(points), []
    for key, curve_c in (("solidus", curve.solidus_c), ("liquidus", curve.liquidus_c)):
        if abs(value[key] - curve_c) > CURVE_WITHIN_C:
            what = f"the curve has its {key} at {curve_c:g} degC, the sheet at {value[key]:g}: move both or neither"
            faults.append(("heat.points", what))
    for key, own in (("latent", curve.latent_kj_per_kg), ("cp_liquid", curve.cp_liquid)):
        if key in value and abs(value[key] / own - 1.0) > CURVE_WITHIN_SHARE:
            faults.append((key, f"{value[key]:g} is not the {own:.4g} of the curve in [heat], which is what is used"))
    mixed = _fusion_of_elements(table)
    if mixed is not None and not FUSION_SHARE[0] <= curve.latent_kj_per_kg / mixed <= FUSION_SHARE[1]:
        what = f"the curve melts for {curve.latent_kj_per_kg:.0f} kJ/kg, where the elements in it take {mixed:.0f}"
        faults.append(("heat.points", what))
    return faults


def _fusion_of_elements(table: dict[str, Any]) -> float | None:
    """Heat of fusion of the elements by mass, kJ/kg; None where an element that counts is not kept."""
    shares = {symbol: share["nominal"] for symbol, share in table.get("composition", {}).items()}
    shares[table["base"]] = 100.0 - sum(amount for symbol, amount in shares.items() if symbol != table["base"])
    if sum(amount for symbol, amount in shares.items() if symbol not in FUSION_J_PER_MOL) > UNKNOWN_PERCENT:
        return None
    known = {symbol: amount for symbol, amount in shares.items() if symbol in FUSION_J_PER_MOL}
    return float(sum(amount * fusion_kj_per_kg(symbol) for symbol, amount in known.items()) / sum(known.values()))


def _check_heat(heat: object) -> list[tuple[str, str]]:
    """The table of the curve, before its points are looked at."""
    faults = _check_fields("heat", heat, _HEAT_FIELDS, ("source", "mark"))
    points = heat.get("points") if isinstance(heat, dict) else None
    if not isinstance(points, list) or not all(
        isinstance(point, list) and len(point) == 3 and all(is_number(figure) for figure in point) for point in points
    ):
        faults.append(("heat.points", "must be a list of [degC, kJ/kg above 25 degC, share liquid]"))
    return faults
