"""What an intended melt (job.py) means for the planner: masses from volumes, the way, the air, the metals.

What a job leaves open comes from the shop's settings (`Shop`), then from the planner's own defaults. Errors: BadInput
for contradictions, OutOfRange, NotFound for the alloy of a metal.
"""

from collections.abc import Mapping
from typing import Any

import msgspec

from pourcall.contract.errors import BadInput
from pourcall.contract.message import Message, tell
from pourcall.contract.settings import AirLimits
from pourcall.metal.alloys.sheet import AlloySheet, SheetLibrary
from pourcall.metal.alloys.stand_in import with_stand_ins
from pourcall.metal.heat.transfer import Carry, Ladle, Pot
from pourcall.metal.vapour.ventilation import OUTDOORS, Air, under_extraction
from pourcall.planning.charge import casting_kg as mass_of_volume_kg
from pourcall.planning.charge import casting_kg_from_pattern
from pourcall.planning.job import Job, JobAir, JobBath, JobMetal, JobMould
from pourcall.planning.planner import PlanRequest
from pourcall.planning.recipe import LOSS, LOSS_ELSE, Bath, Ingredient


class Shop(msgspec.Struct, frozen=True, kw_only=True):
    """What the shop's settings say: it fills what the job leaves open."""

    kind: str = "electric"
    power_w: float | None = None
    pot: Pot = Pot()
    pot_rating_c: float | None = None
    probe_rating_c: float | None = None
    loss_c: float | None = None
    carry: Carry = Carry()
    air: Air = Air()
    air_limits: AirLimits = "strictest"


def request_of(job: Job, sheet: AlloySheet, library: SheetLibrary, shop: Shop | None = None) -> PlanRequest:
    """The planner's request. Raises BadInput for contradictions, NotFound for the alloy of a metal."""
    shop = shop or Shop()
    pot = shop.pot
    sizes = {key: value for key, value in _stated(job.pot).items() if key not in ("depth_mm", "rating_c")}
    if "mouth_mm" in sizes and "outside_mm" not in sizes:
        sizes["outside_mm"] = sizes["mouth_mm"] + pot.outside_mm - pot.mouth_mm
    walk = _stated(job.walk)
    stated_loss = walk.pop("loss_c", None)
    if job.ladle is not None:
        walk["ladle"] = Ladle(**_stated(job.ladle))
    full, _ = with_stand_ins(sheet)
    metals, notes = _metals(job, library)
    return PlanRequest(
        moulds=tuple(made for mould in job.mould for made in _moulds(mould, full)),
        charge_kg=job.charge_kg,
        heel_kg=job.heel_kg,
        yield_share=job.yield_share,
        pot=msgspec.structs.replace(pot, **sizes),
        pot_depth_mm=job.pot.depth_mm,
        carry=msgspec.structs.replace(shop.carry, **walk),
        loss_c=stated_loss if stated_loss is not None or walk else shop.loss_c,
        air=_air(job.room, shop.air),
        air_limits=shop.air_limits,
        furnace_kind=job.furnace.kind or shop.kind,
        power_w=job.furnace.power_w if job.furnace.power_w is not None else shop.power_w,
        pot_rating_c=job.pot.rating_c if job.pot.rating_c is not None else shop.pot_rating_c,
        probe_rating_c=job.probe_rating_c if job.probe_rating_c is not None else shop.probe_rating_c,
        ingredients=metals,
        bath=None
        if job.bath is None
        else Bath(mass_kg=job.bath.mass_kg, composition=_of(tell("charge_plan.bath"), job.bath, library)),
        notes=notes,
        **{key: value for key, value in _stated(job.furnace).items() if key not in ("kind", "power_w")},
    )


def _stated(table: msgspec.Struct) -> dict[str, Any]:
    """The keys that were given."""
    return {key: value for key, value in msgspec.structs.asdict(table).items() if value is not None}


def _moulds(mould: JobMould, sheet: AlloySheet) -> list[JobMould]:
    """The mould, or so many alike, with the mass of its casting however that was given."""
    ways = {
        "mass_kg": mould.mass_kg,
        "casting_kg": mould.casting_kg,
        "volume_cm3": mould.volume_cm3,
        "pattern_kg": mould.pattern_kg,
    }
    given = [key for key, value in ways.items() if value]
    if len(given) > 1 and given != ["mass_kg", "casting_kg"]:
        raise BadInput(
            tell("charge_plan.wrong.twice", mould=mould.name, keys=", ".join(given)),
            remedy=tell("charge_plan.wrong.twice.remedy"),
        )
    if bool(mould.pattern_kg) != bool(mould.pattern_kg_per_m3):
        raise BadInput(
            tell("charge_plan.wrong.density", mould=mould.name), remedy=tell("charge_plan.wrong.density.remedy")
        )
    casting_kg = mould.casting_kg
    if mould.volume_cm3:
        casting_kg = mass_of_volume_kg(mould.volume_cm3, sheet)
    elif mould.pattern_kg:
        casting_kg = casting_kg_from_pattern(mould.pattern_kg, mould.pattern_kg_per_m3, sheet)
    whole_kg = casting_kg * mould.cavities
    names = [mould.name] if mould.copies == 1 else [f"{mould.name} {at}" for at in range(1, mould.copies + 1)]
    return [msgspec.structs.replace(mould, name=name, casting_kg=whole_kg, copies=1, cavities=1) for name in names]


def _air(room: JobAir, usual: Air) -> Air:
    stated = _stated(room)
    place = stated.pop("place", None)
    if place is None and not stated:
        return usual
    base = OUTDOORS if place == "outdoors" else Air()
    air = msgspec.structs.replace(base, **stated)
    return under_extraction(air) if place == "extraction" else air


def _of(name: str | Message, metal: JobMetal | JobBath, library: SheetLibrary) -> dict[str, float]:
    if bool(metal.alloy) == bool(metal.composition):
        raise BadInput(
            tell("charge_plan.wrong.composition", metal=name), remedy=tell("charge_plan.wrong.composition.remedy")
        )
    return library.get(metal.alloy).weight_percent() if metal.alloy else dict(metal.composition)


def _metals(job: Job, library: SheetLibrary) -> tuple[tuple[Ingredient, ...], tuple[Message, ...]]:
    """Ingredients as they are after the remelts, and what to mind about them."""
    made, notes = [], []
    for metal in job.metal:
        composition = _of(metal.name, metal, library)
        if metal.remelts and metal.kind == "new":
            raise BadInput(
                tell("charge_plan.wrong.remelted", metal=metal.name), remedy=tell("charge_plan.wrong.remelted.remedy")
            )
        if metal.kind == "returns":
            composition = remelted(composition, metal.remelts)
            if metal.remelts >= 3:
                notes.append(tell("charge_plan.returns", metal=metal.name, times=metal.remelts))
        if metal.kind == "scrap":
            notes.append(tell("charge_plan.scrap", metal=metal.name))
        made.append(
            Ingredient(
                name=metal.name,
                composition=composition,
                price_per_kg=metal.price_per_kg,
                available_kg=metal.available_kg,
                least_kg=metal.least_kg,
            )
        )
    return tuple(made), tuple(notes)


def remelted(composition: Mapping[str, float], times: int) -> dict[str, float]:
    """Weight percent after so many meltings, each taking its share of every element (recipe.LOSS: common practice)."""
    kept = {symbol: percent * (1.0 - LOSS.get(symbol, LOSS_ELSE)) ** times for symbol, percent in composition.items()}
    total, whole = sum(kept.values()), sum(composition.values())
    return {symbol: value * whole / total for symbol, value in kept.items()}
