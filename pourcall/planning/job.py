"""An intended melt as a person writes it, in a TOML file or on the command line. Text in, `Job` out.

Unknown keys are refused with the nearest, every fault is told at once, each with its place. A key that ends in `_c`
takes degC as a number, or a text with its unit (`"2192F"`); differences (`loss_c` and the like) are numbers only.
What a job means for the planner: job_request.py.
"""

import math
import tomllib
from collections.abc import Mapping
from typing import Annotated, Any, Literal

import msgspec
from msgspec import Meta

from pourcall.contract.errors import BadInput
from pourcall.contract.units import parse_temperature_c
from pourcall.metal.alloys.sheet_check import nearest

_DIFFERENCES = ("loss_c", "stream_loss_c", "wall_drop_c")
_Kg = Annotated[float, Meta(gt=0.0, le=2000.0)]
_Mm = Annotated[float, Meta(gt=0.0, le=5000.0)]
_Percent = Annotated[float, Meta(ge=0.0, le=100.0)]
_Temp = Annotated[float, Meta(ge=-100.0, le=2000.0)]


class JobTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A typo must be refused, not ignored."""


class JobMould(JobTable, frozen=True):
    """One mould, or `copies` alike. The casting by mass, by volume, or by the mass of a solid pattern."""

    name: Annotated[str, Meta(min_length=1, max_length=80)]
    setup: str = ""
    material: str = "green_sand"
    mass_kg: _Kg | None = None  # casting and gating together
    casting_kg: _Kg | None = None
    volume_cm3: Annotated[float, Meta(gt=0.0, le=1e6)] | None = None
    pattern_kg: _Kg | None = None
    pattern_kg_per_m3: Annotated[float, Meta(ge=10.0, le=20000.0)] | None = None
    gating_kg: Annotated[float, Meta(ge=0.0, le=2000.0)] | None = None
    cavities: Annotated[int, Meta(ge=1, le=500)] = 1  # castings in one mould
    copies: Annotated[int, Meta(ge=1, le=50)] = 1  # such moulds, one after another
    thinnest_mm: _Mm | None = None
    thickest_mm: _Mm | None = None
    head_mm: _Mm | None = None
    flow_mm: _Mm | None = None
    fill_s: Annotated[float, Meta(gt=0.0, le=600.0)] | None = None
    fill_factor: Annotated[float, Meta(gt=0.0, le=20.0)] | None = None
    lip_min_c: _Temp | None = None
    lip_max_c: _Temp | None = None
    loss_c: Annotated[float, Meta(ge=0.0, le=400.0)] | None = None


class JobMetal(JobTable, frozen=True):
    """A metal at hand: new, the shop's own returns with how often they were melted, or scrap whose make is a guess."""

    name: str
    kind: Literal["new", "returns", "scrap"] = "new"
    alloy: str = ""  # composition of a sheet, or:
    composition: dict[str, _Percent] = {}
    remelts: Annotated[int, Meta(ge=0, le=50)] = 0
    price_per_kg: Annotated[float, Meta(ge=0.0)] = 0.0
    available_kg: Annotated[float, Meta(ge=0.0)] | None = None
    least_kg: Annotated[float, Meta(ge=0.0)] = 0.0


class JobBath(JobTable, frozen=True):
    """Metal already molten, to be corrected."""

    mass_kg: _Kg
    alloy: str = ""
    composition: dict[str, _Percent] = {}


class JobFurnace(JobTable, frozen=True):
    """Where it is melted."""

    kind: Literal["electric", "fuel"] | None = None
    power_w: Annotated[float, Meta(gt=0.0, le=1e6)] | None = None
    efficiency: tuple[float, float] | None = None
    price_per_kwh: Annotated[float, Meta(ge=0.0)] | None = None
    start_c: _Temp | None = None


class JobPot(JobTable, frozen=True):
    """The pot, as far as it differs from the settings'."""

    mouth_mm: _Mm | None = None
    outside_mm: _Mm | None = None
    height_mm: _Mm | None = None
    depth_mm: _Mm | None = None
    mass_kg: _Kg | None = None
    material: Literal["clay_graphite", "silicon_carbide", "steel"] | None = None
    lid: bool | None = None
    emissivity: Annotated[float, Meta(gt=0.0, le=1.0)] | None = None
    wall_drop_c: Annotated[float, Meta(ge=0.0, le=400.0)] | None = None
    rating_c: _Temp | None = None


class JobWalk(JobTable, frozen=True):
    """The way from furnace to mould. Stating `loss_c` replaces all of it."""

    walk_s: Annotated[float, Meta(ge=0.0, le=3600.0)] | None = None
    between_s: Annotated[float, Meta(ge=0.0, le=3600.0)] | None = None
    ambient_c: Annotated[float, Meta(ge=-40.0, le=60.0)] | None = None
    stream_loss_c: Annotated[float, Meta(ge=0.0, le=100.0)] | None = None
    fitted_c_per_s: Annotated[float, Meta(gt=0.0, le=20.0)] | None = None
    loss_c: Annotated[float, Meta(ge=0.0, le=400.0)] | None = None


class JobLadle(JobTable, frozen=True):
    """A ladle between pot and mould."""

    mass_kg: _Kg
    cp_j_per_kg_k: Annotated[float, Meta(gt=50.0, le=3000.0)] | None = None
    preheat_c: Annotated[float, Meta(ge=-40.0, le=1200.0)] | None = None
    contact: Annotated[float, Meta(gt=0.0, le=1.0)] | None = None


class JobRoom(JobTable, frozen=True):
    """The air one breathes. `place`: indoors, under extraction, outdoors."""

    volume_m3: Annotated[float, Meta(gt=0.0, le=1e6)] | None = None
    changes_per_h: Annotated[float, Meta(gt=0.0, le=1000.0)] | None = None
    near_field: Annotated[float, Meta(ge=1.0, le=100.0)] | None = None
    place: Literal["indoors", "extraction", "outdoors"] | None = None


class Job(JobTable, frozen=True):
    """The whole of what is intended."""

    alloy: str = ""
    charge_kg: _Kg | None = None
    heel_kg: Annotated[float, Meta(ge=0.0, le=2000.0)] = 0.0
    yield_share: Annotated[float, Meta(ge=0.05, le=1.0)] | None = None
    probe_rating_c: _Temp | None = None
    furnace: JobFurnace = JobFurnace()
    pot: JobPot = JobPot()
    walk: JobWalk = JobWalk()
    ladle: JobLadle | None = None
    room: JobRoom = JobRoom()
    bath: JobBath | None = None
    mould: tuple[JobMould, ...] = ()
    metal: tuple[JobMetal, ...] = ()


_TABLES: dict[str, type[JobTable]] = {
    "furnace": JobFurnace,
    "pot": JobPot,
    "walk": JobWalk,
    "ladle": JobLadle,
    "room": JobRoom,
    "bath": JobBath,
}
_LISTS: dict[str, type[JobTable]] = {"mould": JobMould, "metal": JobMetal}


def parse_job(text: str, *, where: str = "plan file") -> Job:
    """A job from TOML text. Raises BadInput with every fault found."""
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as err:
        raise BadInput(f"not valid TOML: {err}", where=where, remedy="Correct the file") from err
    faults: list[str] = []
    made: dict[str, Any] = {}
    for key in [key for key in raw if key in _TABLES]:
        made[key] = read_table(_TABLES[key], raw.pop(key), f"[{key}]", faults)
    for key in [key for key in raw if key in _LISTS]:
        bodies = raw.pop(key)
        if not isinstance(bodies, list):
            faults.append(f"[{key}]: several are possible, so write [[{key}]]")
            continue
        rows = [read_table(_LISTS[key], body, f"[[{key}]] {at}", faults) for at, body in enumerate(bodies, 1)]
        made[key] = tuple(rows)
    made.update(_good_values(Job, raw, "", faults))
    if faults:
        raise BadInput("the plan has faults:\n  - " + "\n  - ".join(faults) + "\n", where=where, remedy="Correct them")
    return Job(**made)


def read_table(kind: type[JobTable], body: Any, where: str, faults: list[str]) -> Any:
    """One table, key by key; None where it has faults, which are added to `faults`."""
    if not isinstance(body, Mapping):
        faults.append(f"{where}: must be a table")
        return None
    before = len(faults)
    good = _good_values(kind, body, where, faults)
    faults += [
        f"{where}: {field.name} is missing"
        for field in msgspec.structs.fields(kind)
        if field.required and field.name not in body
    ]
    return kind(**good) if len(faults) == before else None


def _good_values(kind: type[JobTable], body: Mapping[str, Any], where: str, faults: list[str]) -> dict[str, Any]:
    fields = {field.name: field for field in msgspec.structs.fields(kind)}
    good: dict[str, Any] = {}
    for key, value in body.items():
        place = f"{where} {key}".strip()
        if key not in fields:
            faults.append(f"{place}: unknown key{nearest(key, [*fields])}; known are {', '.join(fields)}")
            continue
        try:
            if isinstance(value, str) and key.endswith("_c") and key not in _DIFFERENCES:
                value = parse_temperature_c(value)
            good[key] = _finite(msgspec.convert(value, fields[key].type))
        except (msgspec.ValidationError, BadInput) as err:
            faults.append(f"{place} = {value!r}: {err}")
    return good


def _finite(value: Any) -> Any:
    """The value itself; TOML knows `nan` and `inf`, and no comparison stops the first."""
    parts = value.values() if isinstance(value, Mapping) else value if isinstance(value, tuple) else (value,)
    if any(isinstance(part, float) and not math.isfinite(part) for part in parts):
        raise BadInput("is no number")
    return value
