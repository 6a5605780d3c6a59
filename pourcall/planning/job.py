"""An intended melt as a person writes it, in a TOML file or on the command line. Text in, `Job` out.

Unknown keys are refused with the nearest, every fault is told at once, each with its place. A key that ends in `_c`
takes degC as a number, or a text with its unit (`"2192F"`); differences (`loss_c` and the like) are numbers only.
What a job means for the planner: job_request.py.
"""

from typing import Annotated, Any, Literal

import msgspec
from msgspec import Meta

from pourcall.contract.errors import BadInput, FaultyFile
from pourcall.contract.message import tell
from pourcall.contract.plan import MouldRequest
from pourcall.contract.quantities import temperature_c
from pourcall.contract.toml_tables import Checker, parse_toml, told

_DIFFERENCES = ("loss_c", "loss_u_c", "stream_loss_c", "wall_drop_c")
_Kg = Annotated[float, Meta(gt=0.0, le=2000.0)]
_Mm = Annotated[float, Meta(gt=0.0, le=5000.0)]
_Percent = Annotated[float, Meta(ge=0.0, le=100.0)]
_Temp = Annotated[float, Meta(ge=-100.0, le=2000.0)]


class JobTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A typo must be refused, not ignored."""


class JobMould(MouldRequest, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """A mould as asked for, with what charge, filling and feeding need; `copies` alike. 0 kg or cm3: not given.

    The casting by mass, by volume, or by the mass of a solid pattern.
    """

    name: Annotated[str, Meta(min_length=1, max_length=80)]
    mass_kg: _Kg = 0.0  # casting and gating together
    casting_kg: _Kg = 0.0
    volume_cm3: Annotated[float, Meta(gt=0.0, le=1e6)] = 0.0
    pattern_kg: _Kg = 0.0
    pattern_kg_per_m3: Annotated[float, Meta(ge=10.0, le=20000.0)] = 0.0
    gating_kg: Annotated[float, Meta(ge=0.0, le=2000.0)] | None = None  # None: from the yield
    cavities: Annotated[int, Meta(ge=1, le=500)] = 1  # castings in one mould
    copies: Annotated[int, Meta(ge=1, le=50)] = 1  # such moulds, one after another
    thinnest_mm: _Mm | None = None
    thickest_mm: _Mm | None = None
    head_mm: _Mm | None = None  # metal above the section: cup level to casting
    flow_mm: _Mm | None = None  # longest way from a gate through the thinnest section
    fill_s: Annotated[float, Meta(gt=0.0, le=600.0)] | None = None  # wanted time to fill
    fill_factor: Annotated[float, Meta(gt=0.0, le=20.0)] | None = None  # fitted by the shop; 1 is the plain formula
    lip_min_c: _Temp | None = None
    lip_max_c: _Temp | None = None
    loss_c: Annotated[float, Meta(ge=0.0, le=400.0)] | None = None
    loss_u_c: Annotated[float, Meta(ge=0.0, le=400.0)] | None = None


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


class JobAir(JobTable, frozen=True):
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
    room: JobAir = JobAir()
    bath: JobBath | None = None
    mould: tuple[JobMould, ...] = ()
    metal: tuple[JobMetal, ...] = ()


_TABLES: dict[str, type[msgspec.Struct]] = {
    "furnace": JobFurnace,
    "pot": JobPot,
    "walk": JobWalk,
    "ladle": JobLadle,
    "room": JobAir,
    "bath": JobBath,
}
_LISTS: dict[str, type[msgspec.Struct]] = {"mould": JobMould, "metal": JobMetal}


def parse_job(text: str, *, where: str = "plan file") -> Job:
    """A job from TOML text. Raises FaultyFile with every fault found."""
    try:
        raw = parse_toml(text)
    except BadInput as err:
        raise BadInput(err.what, where=where, remedy=err.remedy) from err
    file = Checker(raw)
    made: dict[str, Any] = {}
    for key in [key for key in raw if key in _TABLES]:
        table = file.headed(key, f"[{key}]")
        made[key] = table.struct(_TABLES[key], read_value) if table is not None else None
    for key in [key for key in raw if key in _LISTS]:
        made[key] = tuple(one.struct(_LISTS[key], read_value) for one in file.rows(key))
    top = Checker({key: value for key, value in raw.items() if key not in made}, faults=file.faults)
    made |= top.fields(Job, read_value)
    if file.faults:
        raise FaultyFile(tell("plan.faults", faults=told(file.faults)), where=where, remedy=tell("plan.faults.remedy"))
    return Job(**made)


def read_value(key: str, value: Any) -> Any:
    """A temperature may be written with its unit."""
    if isinstance(value, str) and key.endswith("_c") and key not in _DIFFERENCES:
        return temperature_c(value)
    return value
