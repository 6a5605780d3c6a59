"""What else can hurt, by alloy and process, in plain words; and what to wear and have at hand.

Triggered by composition (so that a sheet of the shop's own is covered too) and by the mould material. Limits carry
their date and jurisdiction (exposure_limits.py). Words on health: NIOSH and poisoning texts as quoted in the
reference tables; what to wear: common practice, no source.
"""

import msgspec

from pourcall.contract.message import NOTHING, Message, tell
from pourcall.contract.settings import AirLimits
from pourcall.metal.alloys.sheet import AlloySheet
from pourcall.metal.vapour.exposure_limits import LIMITED, limits_for
from pourcall.metal.vapour.fume import has_zinc, is_brass

SAND = ("green_sand", "oil_sand", "resin_sand")


class Caution(msgspec.Struct, frozen=True, kw_only=True):
    """One hazard: its name, what to know and do, and the limits that go with it."""

    topic: str
    text: Message
    limits: tuple[Message, ...] = ()
    stand_in: Message = NOTHING  # none of those limits is of the region that was asked for


# When it holds; the name of its text; the substance whose limits go with it, or its topic.
_Listed = tuple[bool, str, str]


# Solder and silver, whose old scrap was joined with cadmium (common practice, no source).
_SOLDERED = ("Ag", "Sn", "Pb", "Bi")


def cautions(
    sheet: AlloySheet,
    materials: tuple[str, ...] = ("green_sand",),
    *,
    fuel: bool = False,
    air_limits: AirLimits = "strictest",
) -> tuple[Caution, ...]:
    """Every caution for this alloy in these mould materials, the worst first. fuel: the furnace burns something."""
    shares = sheet.weight_percent()

    def has(symbol: str, percent: float) -> bool:
        return shares.get(symbol, 0.0) >= percent

    copper, cadmium = sheet.family == "copper", has("Cd", 0.01)
    in_sand = any(material in SAND for material in materials)
    listed: tuple[_Listed, ...] = (
        (has("Be", 0.0005), "beryllium", "beryllium"),
        (has("Pb", 0.1), "lead", "lead"),
        (cadmium, "cadmium", "cadmium"),
        (is_brass(sheet), "brass", "zinc oxide fume"),
        (has_zinc(sheet) and not is_brass(sheet), "zinc", "zinc oxide fume"),
        (fuel or sheet.base == "Fe", "monoxide", "carbon monoxide"),
        ((has_zinc(sheet) or copper) and not cadmium, "plated_scrap", "cadmium"),
        (sheet.base in _SOLDERED and not cadmium, "soldered_scrap", "cadmium"),
        (copper and not has("Be", 0.0005), "beryllium_scrap", "beryllium"),
        (has("Cu", 20.0), "copper_fume", "copper fume"),
        (has("Mn", 0.5), "manganese", "manganese"),
        (has("Ag", 50.0), "silver", "silver"),
        (has("Sb", 1.0), "antimony", "antimony"),
        (has("Mg", 1.0), "fire", "fire"),
        (in_sand, "silica", "respirable crystalline silica"),
        (sheet.family in ("aluminium", "zinc"), "flux", "chlorine"),
        (sheet.family in ("aluminium", "zinc"), "fluoride", "hydrogen fluoride"),
        ("resin_sand" in materials or "oil_sand" in materials, "binder", "formaldehyde"),
        ("plaster" in materials, "plaster", "damp plaster"),
        (True, "steam", "steam explosion"),
    )
    return tuple(
        Caution(
            topic=topic,
            text=tell(f"caution.hazard.{name}"),
            limits=tuple(one.told() for one in limits_for(topic, air_limits)) if topic in LIMITED else (),
            stand_in=_stand_in(topic, air_limits),
        )
        for holds, name, topic in listed
        if holds
    )


def _stand_in(substance: str, air_limits: AirLimits) -> Message:
    """That a region's own limits are not known here; NOTHING where one is, or none is asked for."""
    if substance not in LIMITED or air_limits == "strictest":
        return NOTHING
    if any(one.region == air_limits for one in limits_for(substance, air_limits)):
        return NOTHING
    return tell("caution.stand_in", region=tell(f"fume.region.{air_limits}"))


def clothing(sheet: AlloySheet) -> tuple[Message, ...]:
    """What to wear and have at hand, as a checklist (common practice, no source).

    A respirator is no matter of choice where no airing keeps the metal inside limits: brass, leaded bronze, beryllium.
    """
    shares = sheet.weight_percent()
    leaded, beryllium = shares.get("Pb", 0.0) >= 0.1, shares.get("Be", 0.0) > 0.0
    harmful = has_zinc(sheet) or leaded or beryllium
    for_heat = ("face_hot", "hands_hot", "apron_hot") if sheet.liquidus.value > 700.0 else ("face", "hands", "apron")
    worn = [*for_heat, "boots", "underneath"]
    if is_brass(sheet) or beryllium or (leaded and sheet.family == "copper"):
        worn.append("respirator_worn")
    elif harmful or shares.get("Mn", 0.0) >= 0.5:
        worn.append("respirator")
    worn += ["sand", "tools", "sealed", "way", "spectators", "ingots", "second_person"]
    return tuple(tell(f"caution.wear.{name}") for name in worn)
