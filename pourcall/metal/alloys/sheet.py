"""Alloy sheets. TOML files in, checked and typed `AlloySheet`s out, one at a time and only when asked for.

A sheet keeps where each number comes from (source, mark) and what other sources say (`also`). Those that ship lie in
pourcall/metal/alloys/sheets; a folder of the user's adds to them and overrides them by key. A file with a fault is
refused by file and key and the rest load; an overriding file that is refused does not let the built-in one through in
its place. Not here: what a sheet means for a pour (windows.py). Errors: BadSheet, NotFound.
"""

import hashlib
import re
import tomllib
from collections.abc import Iterator, Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

import msgspec

from pourcall.contract.errors import BadInput, BadSheet, NotFound
from pourcall.contract.message import Message, tell
from pourcall.contract.nearest import nearest
from pourcall.contract.plan import AlloyFacts, HeatPoint
from pourcall.contract.toml_tables import Fault, as_found, hint, near, parse_toml, told
from pourcall.metal.alloys import sheet_check as sheetcheck
from pourcall.metal.heat.curve import HeatCurve, curve_of_figures
from pourcall.metal.vapour import pressure as vapour

SHEET_DIR = Path(__file__).parent / "sheets"
SOURCES_FILE = Path(__file__).parent / "sources.toml"
ROOM_C = 25.0
LEAST_ZINC_PERCENT = 1.0  # below it zinc is an impurity, and neither fumes nor boils to speak of
ABOVE_POUR_C = 40.0  # where the sheet is silent, the pot may be so much above the highest pour (judgement)


class Other(msgspec.Struct, frozen=True):
    """What another source says of the same value, and why it is not the one used."""

    value: float
    unit: str
    source: str
    mark: str  # sourced, memory, computed
    note: str = ""


class Value(msgspec.Struct, frozen=True):
    """A number that says where it comes from. Temperatures are kept in degC whatever unit the file used."""

    value: float
    unit: str
    source: str
    mark: str  # sourced, memory, computed
    note: str = ""
    also: tuple[Other, ...] = ()


class Arrest(msgspec.Struct, frozen=True):
    """A plateau of the cooling curve that is neither solidus nor liquidus, such as the Al-Si eutectic of A356."""

    name: str
    value: float
    unit: str
    source: str
    mark: str
    note: str = ""


class Heat(msgspec.Struct, frozen=True):
    """The enthalpy curve: degC, kJ/kg above the solid at 25 degC, share liquid; to above the liquidus."""

    points: tuple[HeatPoint, ...]
    source: str
    mark: str
    note: str = ""


class Share(msgspec.Struct, frozen=True):
    """One alloying element in weight percent: nominal, and the limits of the designation where it has them."""

    nominal: float
    source: str
    mark: str
    min: float | None = None
    max: float | None = None


class ProtectionTube(msgspec.Struct, frozen=True):
    """What a probe may wear in this melt, and what does not survive or spoils the metal."""

    works: str
    fails: str
    source: str
    mark: str


class AlloySheet(msgspec.Struct, frozen=True, kw_only=True):
    """All that is known of an alloy. Temperatures degC, densities kg/m3, heats kJ/kg, specific heats J/(kg K)."""

    key: str
    name: str
    family: str  # zinc, aluminium, copper, other
    base: str  # symbol of the metal that is the balance
    solidus: Value
    liquidus: Value
    pour_min: Value  # gravity, any section, at the mould lip
    pour_max: Value
    designation: str = ""
    aliases: tuple[str, ...] = ()
    zinc_bearing: bool = False
    notes: str = ""
    hazards: tuple[str, ...] = ()
    composition: dict[str, Share] = {}
    eutectic: Value | None = None
    liquid_margin: Value | None = None
    alloy_max: Value | None = None
    pour_light_min: Value | None = None
    pour_light_max: Value | None = None
    pour_heavy_min: Value | None = None
    pour_heavy_max: Value | None = None
    pressure_die_min: Value | None = None  # never used for a gravity pour
    pressure_die_max: Value | None = None
    density_solid: Value | None = None
    density_liquid: Value | None = None
    cp_solid: Value | None = None
    cp_liquid: Value | None = None
    latent: Value | None = None
    heat: Heat | None = None  # the enthalpy curve; None: what the figures above say
    conductivity: Value | None = None
    shrinkage: Value | None = None  # linear, for the pattern
    stop_fraction: Value | None = None  # share of the latent heat given up before a thin stream stops
    emissivity: Value | None = None
    arrests: tuple[Arrest, ...] = ()
    protection_tube: ProtectionTube | None = None
    file: str = ""  # where it was read
    sheet_hash: str = ""

    @property
    def margin_c(self) -> float:
        """Degrees above the liquidus before the metal is taken for fully liquid (15 where the sheet is silent)."""
        return self.liquid_margin.value if self.liquid_margin is not None else sheetcheck.DEFAULT_MARGIN_C

    @property
    def zinc_percent(self) -> float:
        """Nominal zinc in weight percent."""
        return self.weight_percent().get("Zn", 0.0)

    def boiling_limit_c(self) -> float | None:
        """Where the zinc pressure reaches 0.8 of an atmosphere, degC, +-40; None without zinc or above 1500 degC."""
        if self.zinc_percent < LEAST_ZINC_PERCENT:
            return None
        return vapour.pot_line_c(self.weight_percent())

    @property
    def highest_in_pot_c(self) -> float:
        """The alloy's own limit in the pot, degC: never above 0.8 of the boiling pressure of its zinc.

        Where the sheet is silent, 40 degC above its highest pouring temperature.
        """
        stated_c = self.alloy_max.value if self.alloy_max is not None else self.pour_max.value + ABOVE_POUR_C
        boiling_c = self.boiling_limit_c()
        return stated_c if boiling_c is None else min(stated_c, boiling_c)

    def weight_percent(self) -> dict[str, float]:
        """Nominal composition with the base metal as the balance; adds up to 100."""
        shares = {symbol: share.nominal for symbol, share in self.composition.items() if share.nominal > 0.0}
        rest = 100.0 - sum(amount for symbol, amount in shares.items() if symbol != self.base)
        shares[self.base] = rest
        return shares

    def need(self, key: str) -> float:
        """The value called `key`, or BadSheet saying which sheet lacks it."""
        value: Value | None = getattr(self, key)
        if value is None:
            what = tell("alloy.no_value", alloy=self.name, key=key)
            raise BadSheet(what, where=self.file or self.key, remedy=tell("alloy.no_value.remedy", key=key))
        return value.value

    def values(self) -> Iterator[tuple[str, Value]]:
        """Every number of the sheet with its key, in the order of the fields."""
        for key in sheetcheck.VALUE_KEYS:
            value = getattr(self, key)
            if value is not None:
                yield key, value

    @property
    def curve(self) -> HeatCurve:
        """The one enthalpy curve of the alloy. Raises BadSheet where neither it nor the figures for it are there."""
        if self.heat is not None:
            return _curve(self.heat.points)
        arrests = [arrest.value for arrest in self.arrests] + ([self.eutectic.value] if self.eutectic else [])
        arrests = [arrest_c for arrest_c in arrests if arrest_c <= self.liquidus.value]
        return curve_of_figures(
            self.solidus.value,
            self.liquidus.value,
            cp_solid=self.need("cp_solid"),
            cp_liquid=self.need("cp_liquid"),
            latent_kj_per_kg=self.need("latent"),
            arrest_c=max(arrests) if arrests else None,
        )

    def facts(self) -> AlloyFacts:
        """The figures that tracking, calls and alarms use. Raises BadSheet where one is missing.

        The heats are those of its curve. The highest pouring temperature is never above what the pot may have.
        """
        curve = self.curve
        highest_c = self.highest_in_pot_c
        return AlloyFacts(
            key=self.key,
            name=self.name,
            family=self.family,
            solidus_c=self.solidus.value,
            liquidus_c=self.liquidus.value,
            eutectic_c=self.eutectic.value if self.eutectic is not None else None,
            arrests_c=tuple(sorted(arrest.value for arrest in self.arrests)),
            pour_min_c=self.pour_min.value,
            pour_max_c=min(self.pour_max.value, highest_c),
            alloy_max_c=highest_c,
            liquid_margin_c=self.margin_c,
            latent_kj_per_kg=round(curve.latent_kj_per_kg, 3) if self.heat is not None else self.need("latent"),
            cp_solid_j_per_kg_k=round(curve.cp_before_melting, 3),
            cp_liquid_j_per_kg_k=round(curve.cp_liquid, 3),
            heat=self.heat.points if self.heat is not None else (),
            density_liquid_kg_per_m3=self.need("density_liquid"),
            zinc_bearing=self.zinc_bearing or self.zinc_percent >= LEAST_ZINC_PERCENT,
            sheet_hash=self.sheet_hash,
        )


@lru_cache(maxsize=64)
def _curve(points: tuple[HeatPoint, ...]) -> HeatCurve:
    return HeatCurve(points)


def load_sheets(user_dir: Path | None = None) -> "SheetLibrary":
    """The library of sheets that ship, with those of `user_dir` over them. Nothing is read until it is asked for."""
    return SheetLibrary(user_dir)


class SheetLibrary:
    """Alloy sheets by key or alias, read lazily and kept."""

    def __init__(self, user_dir: Path | None = None, *, shipped_dir: Path = SHEET_DIR) -> None:
        self._files: dict[str, Path] = {path.stem: path for path in sorted(shipped_dir.glob("*.toml"))}
        self._shipped = dict(self._files)
        if user_dir is not None and user_dir.is_dir():
            own = {path.stem: path for path in sorted(user_dir.glob("*.toml")) if path.stem != "sources"}
            self._files = own | {key: path for key, path in self._files.items() if key not in own}
        self._sheets: dict[str, AlloySheet] = {}
        self._faults: dict[str, tuple[Fault, ...]] = {}
        self._names: dict[str, str] | None = None

    def keys(self) -> tuple[str, ...]:
        """Keys of all sheet files, sound or not, sorted."""
        return tuple(sorted(self._files))

    def get(self, name: str) -> AlloySheet:
        """The sheet of a key, a name or an alias, however it is spaced, dashed or cased.

        Raises NotFound naming the nearest, or BadSheet where that sheet's file is refused.
        """
        return self._load(self._key_of(name))

    def all(self) -> tuple[AlloySheet, ...]:
        """Every sound sheet, sorted by key. The refused ones are in `faults()`."""
        sound = []
        for key in self.keys():
            try:
                sound.append(self._load(key))
            except BadSheet:
                continue
        return tuple(sound)

    def faults(self) -> tuple[Fault, ...]:
        """Every fault in every sheet file, by file and key."""
        self.all()
        return tuple(fault for key in sorted(self._faults) for fault in self._faults[key])

    def _key_of(self, name: str) -> str:
        wanted = fold(name)
        if wanted in self._files:
            return wanted
        if name.strip() in self._files:
            return name.strip()
        if self._names is None:
            self._names = self._read_names()
        key = self._names.get(wanted)
        if key is not None:
            return key
        raise NotFound(tell("alloy.not_found", alloy=name), remedy=self._instead(name, self._names))

    def _instead(self, name: str, names: dict[str, str]) -> Message:
        """What may be meant: sheets with the words in their names (`brass`), else the nearest, else all there are."""
        heads = {key: _head(path) for key, path in self._files.items()}
        asked = set(_words_of(name))
        like = [key for key in self.keys() if asked and asked <= set(_words_of(*_spelled(key, heads[key])))]
        if like:
            return tell("alloy.not_found.like", near=", ".join(_titled(key, heads[key]) for key in like))
        near = dict.fromkeys(names[one] for one in nearest(fold(name), names, most=3, cutoff=0.7))
        if near:
            return tell("alloy.not_found.near", near=", ".join(near))
        families: dict[str, list[str]] = {}
        for key in self.keys():
            families.setdefault(str(heads[key].get("family", "other")), []).append(_titled(key, heads[key]))
        of_each = (tell("alloy.family", family=one, sheets=", ".join(titled)) for one, titled in families.items())
        return tell("alloy.not_found.all", families=tuple(of_each))

    def _read_names(self) -> dict[str, str]:
        """Folded key, name and aliases of every file, from the part before its first table, so that it is quick."""
        names: dict[str, str] = {}
        for key, path in self._files.items():
            head = _head(path)
            spelled = _spelled(key, head)
            extends = head.get("extends")
            if isinstance(extends, str) and extends in self._shipped:
                inherited = _head(self._shipped[extends]) if extends == key else {}
                spelled += [inherited.get("name"), *_as_list(inherited.get("aliases"))]
            for spelling in spelled:
                if isinstance(spelling, str) and fold(spelling):
                    names.setdefault(fold(spelling), key)
        return names

    def _load(self, key: str) -> AlloySheet:
        if key in self._sheets:
            return self._sheets[key]
        path = self._files[key]
        if key not in self._faults:
            table, digest, faults = self._read(path)
            if not faults:
                faults = sheetcheck.check(table, key=key, file=path.name)
            if not faults:
                sheet = _convert(table, path, digest)
                self._sheets[key] = sheet
                return sheet
            self._faults[key] = faults
        what = tell("alloy.refused", alloy=key, faults=told(self._faults[key]))
        raise BadSheet(what, where=str(path), remedy=tell("alloy.refused.remedy"))

    def _read(self, path: Path) -> tuple[dict[str, Any], bytes, tuple[Fault, ...]]:
        try:
            raw = path.read_bytes()
            table = parse_toml(raw.decode("utf-8"))
        except BadInput as err:
            return {}, b"", (Fault("", tell("toml.said", what=err.what), file=path.name),)
        except (OSError, UnicodeDecodeError) as err:
            return {}, b"", (Fault("", tell("toml.unreadable", error=str(err)), file=path.name),)
        extends = table.pop("extends", None)
        if extends is None:
            return table, raw, ()
        base = self._shipped.get(extends) if isinstance(extends, str) else None
        if base is None or base == path:
            shipped = [key for key, file in self._shipped.items() if file != path]
            what = tell("alloy.check.not_shipped", found=as_found(extends), hint=hint(str(extends), shipped))
            return {}, b"", (Fault("extends", what, near(str(extends), shipped), path.name),)
        base_raw = base.read_bytes()
        merged = tomllib.loads(base_raw.decode("utf-8"))
        if extends != path.stem:
            for own in ("name", "designation", "aliases"):  # the alloy built upon keeps its own names
                merged.pop(own, None)
        merged |= {"key": path.stem}
        composition = {**merged.get("composition", {}), **_as_dict(table.get("composition"))}
        merged |= table
        merged["composition"] = composition
        return merged, base_raw + raw, ()


def _spelled(key: str, head: dict[str, Any]) -> list[Any]:
    """Every name a sheet goes by, as it is written there."""
    return [key, head.get("name"), head.get("designation"), *_as_list(head.get("aliases"))]


def _titled(key: str, head: dict[str, Any]) -> str:
    """`c85700 (leaded yellow brass)`; the key alone where it is the name."""
    name = head.get("name")
    return f"{key} ({name})" if isinstance(name, str) and fold(name) != fold(key) else key


def _words_of(*names: object) -> list[str]:
    return [word for name in names if isinstance(name, str) for word in re.findall(r"\w+", name.casefold())]


def fold(name: str) -> str:
    """A name without case, spaces, dashes or dots: `ZA-27` and `za 27` are one."""
    return "".join(char for char in name.casefold() if char.isalnum() or char == "_")


def load_sources(path: Path = SOURCES_FILE) -> dict[str, str]:
    """What each source key stands for, and what would settle it where it was not read or is weak."""
    settling = load_settling(path)
    read = tomllib.loads(path.read_text("utf-8"))
    return {
        key: f"{entry['what']}. To settle it: {settling[key]}" if key in settling else str(entry["what"])
        for key, entry in read.items()
    }


def load_settling(path: Path = SOURCES_FILE) -> dict[str, str]:
    """What would settle the figures of a source that was not read, or is weak."""
    read = tomllib.loads(path.read_text("utf-8"))
    return {key: str(entry["settle"]) for key, entry in read.items() if "settle" in entry}


def from_memory(sheet: AlloySheet) -> dict[str, tuple[str, ...]]:
    """The figures of a sheet that nobody has read, by the source they were recalled from."""
    found = [(value.source, key) for key, value in sheet.values() if value.mark == "memory"]
    found += [(one.source, f"arrest {one.name}") for one in sheet.arrests if one.mark == "memory"]
    found += [(share.source, f"% {symbol}") for symbol, share in sheet.composition.items() if share.mark == "memory"]
    if sheet.heat is not None and sheet.heat.mark == "memory":
        found.append((sheet.heat.source, "heat"))
    if sheet.protection_tube is not None and sheet.protection_tube.mark == "memory":
        found.append((sheet.protection_tube.source, "protection_tube"))
    return {source: tuple(key for named, key in found if named == source) for source in dict(found)}


def _convert(table: dict[str, Any], path: Path, digest: bytes) -> AlloySheet:
    ready = sheetcheck.in_canonical_units(table)
    ready["file"] = path.name
    ready["sheet_hash"] = hashlib.sha256(digest).hexdigest()[:16]
    try:
        return msgspec.convert(ready, AlloySheet)
    except msgspec.ValidationError as err:  # the checks before should have met everything; say it all the same
        raise BadSheet(tell("alloy.unusable", error=str(err)), where=str(path), remedy=tell("toml.remedy")) from err


def _head(path: Path) -> dict[str, Any]:
    """Top-level keys of a sheet file; empty where it is no TOML (the fault is told when the sheet is asked for)."""
    try:
        text = path.read_text("utf-8")
    except (OSError, UnicodeDecodeError):
        return {}
    for candidate in (text.split("\n[", 1)[0], text):
        try:
            return parse_toml(candidate)
        except BadInput:
            continue
    return {}


def _as_list(value: object) -> list[object]:
    return list(value) if isinstance(value, list) else []


def _as_dict(value: object) -> Mapping[str, Any]:
    return value if isinstance(value, dict) else {}
