"""What else can hurt, by alloy and process, in plain words; and what to wear and have at hand.

Triggered by composition (so that a sheet of the shop's own is covered too) and by the mould material. Limits carry
their date and jurisdiction (exposure_limits.py). Words on health: NIOSH and poisoning texts as quoted in the
reference tables; what to wear: common practice, no source.
"""

import msgspec

from pourcall.metal.alloys.sheet import AlloySheet
from pourcall.metal.vapour.exposure_limits import LIMITS
from pourcall.metal.vapour.fume import has_zinc, is_brass

SAND = ("green_sand", "oil_sand", "resin_sand")


class Caution(msgspec.Struct, frozen=True, kw_only=True):
    """One hazard: its name, what to know and do, and the limits that go with it."""

    topic: str
    text: str
    limits: tuple[str, ...] = ()


_TEXT = {
    "beryllium": (
        "Beryllium: its dust and fume scar the lungs for good. No grinding, sanding or dry skimming without a P3 "
        "respirator and extraction."
    ),
    "lead": (
        "Lead: fume, dross and dust. P3 respirator, wet cleaning, no food or smoking, wash before leaving, no "
        "children near."
    ),
    "cadmium": "Cadmium: its fume feels like fume fever for hours and can kill. Do not melt this.",
    "plated scrap": (
        "Unknown or plated scrap may carry cadmium, whose fume feels like fume fever and can kill: never melt plated "
        "or unknown pieces."
    ),
    "brass": "Outdoors or under extraction only.",
    "zinc": "Do not overheat; keep the bath undisturbed.",
    "fever": (
        "Metal fume fever (chills, fever, thirst, metallic taste) comes 4 to 12 h later and goes in one or two days, "
        "also at the first time; fever was measured after 2 h at 5 mg/m3. No visible fume is no proof."
    ),
    "copper fume": "Copper fume: irritates, and gives fume fever too. Stand upwind, ventilate.",
    "manganese": "Manganese: its fume harms the nerves over years. Extraction, or outdoors.",
    "silver": "Silver: its fume has a very low limit. Ventilate.",
    "antimony": "Antimony in dross and dust: do not breathe it, wash.",
    "fire": "Rich in magnesium: may burn. Dry sand or a class D powder, never water or carbon dioxide.",
    "silica": "Silica: shaking out and sieving throw respirable quartz dust. Damp sand, extraction, P3 respirator.",
    "binder": (
        "Binder in the sand burns on pouring: carbon monoxide and irritating smoke. Keep your head out, ventilate."
    ),
    "plaster": "Plaster moulds must be baked dry through: bound water throws metal.",
    "steam": (
        "Water under metal is a steam explosion: dry and warm moulds, tools, ingots and floor; no concrete under the "
        "pour."
    ),
    "monoxide": "Carbon monoxide: outdoors or under extraction.",
}


def cautions(sheet: AlloySheet, materials: tuple[str, ...] = ("green_sand",)) -> tuple[Caution, ...]:
    """Every caution for this alloy in these mould materials, the worst first."""
    shares = sheet.weight_percent()

    def has(symbol: str, percent: float) -> bool:
        return shares.get(symbol, 0.0) >= percent

    zinc_words = f"Zinc fume. {_TEXT['brass' if is_brass(sheet) else 'zinc']} {_TEXT['fever']}"
    copper, cadmium = sheet.family == "copper", has("Cd", 0.01)
    in_sand = any(material in SAND for material in materials)
    listed = (
        (has("Be", 0.0005), "beryllium", _TEXT["beryllium"]),
        (has("Pb", 0.1), "lead", _TEXT["lead"]),
        (cadmium, "cadmium", _TEXT["cadmium"]),
        (has_zinc(sheet), "zinc oxide fume", zinc_words),
        ((has_zinc(sheet) or copper) and not cadmium, "cadmium", _TEXT["plated scrap"]),
        (has("Cu", 20.0), "copper fume", _TEXT["copper fume"]),
        (has("Mn", 0.5), "manganese", _TEXT["manganese"]),
        (has("Ag", 50.0), "silver", _TEXT["silver"]),
        (has("Sb", 1.0), "antimony", _TEXT["antimony"]),
        (has("Mg", 1.0), "fire", _TEXT["fire"]),
        (in_sand, "respirable crystalline silica", _TEXT["silica"]),
        ("resin_sand" in materials or "oil_sand" in materials, "binder smoke", _TEXT["binder"]),
        ("plaster" in materials, "damp plaster", _TEXT["plaster"]),
        (True, "steam explosion", _TEXT["steam"]),
        (sheet.base == "Fe", "carbon monoxide", _TEXT["monoxide"]),
    )
    return tuple(
        Caution(topic=topic, text=text, limits=tuple(str(limit) for limit in LIMITS if limit.substance == topic))
        for holds, topic, text in listed
        if holds
    )


def clothing(sheet: AlloySheet) -> tuple[str, ...]:
    """What to wear and have at hand, as a checklist (common practice, no source)."""
    hot = sheet.liquidus.value > 700.0
    worn = [
        "Face shield over safety glasses" + (", shaded for the glare" if hot else ""),
        "Gauntlets of leather" + (" with heat-resistant lining or aluminised backs" if hot else ""),
        "Leather apron" + (" and leggings, or an aluminised coat" if hot else ""),
        "Leather boots without lace openings, trousers over them; spats",
        "Wool or cotton underneath, nothing synthetic, no cuffs or open pockets",
    ]
    shares = sheet.weight_percent()
    if has_zinc(sheet) or shares.get("Pb", 0.0) >= 0.1 or shares.get("Be", 0.0) > 0.0 or shares.get("Mn", 0.0) >= 0.5:
        worn.append("Respirator with P3 filters within reach, worn for skimming and pouring")
    worn += [
        "Dry sand bed under pot and moulds, dry sand and shovel at hand; no water near",
        "Tools, ladle and additions dry and warmed over the furnace before they touch the melt",
        "Nothing sealed or hollow in the charge: it bursts",
        "Clear way from furnace to mould, walked once without metal",
        "Spectators well back, animals and children out",
        "Ingot mould warm and ready for what is left",
        "A second person who knows where the main switch or the gas valve is",
    ]
    return tuple(worn)
