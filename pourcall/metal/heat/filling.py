"""Does the metal reach the end of the mould. Stream that freezes, head, choke, gate speed, surface tension.

First-order (Flemings' heat balance of a stream: memory; Torricelli): an absolute flow length is good to a factor of
two, the ratio between two temperatures in one pattern to 10-20 %. `factor` is what the shop fits from its own results.
Lengths in m or mm as named, temperatures degC. Errors: OutOfRange.
"""

import math

import msgspec

from pourcall.contract.errors import OutOfRange
from pourcall.contract.message import Message, tell
from pourcall.metal.alloys.elements import GRAVITY_M_PER_S2, SURFACE_TENSION_N_PER_M
from pourcall.metal.alloys.sheet import AlloySheet

GATE_SPEED_M_PER_S = 0.5  # above it the skin is folded in (casting handbooks, memory; 0.4-0.6)
DEFAULT_SPEED_M_PER_S = 0.5
STOP_FRACTION_SHORT, STOP_FRACTION_LONG = 1.0, 0.35  # where the sheet is silent, by freezing range
LONG_RANGE_C = 40.0

# Heat-transfer coefficient while filling, W/(m2 K). Sand: aluminium 500-1000, copper 500-1500, zinc 400-1000 (memory);
# plaster 100-500 (memory); coated steel die 700-1500 (sourced). Oil sand 10-20 % below green sand (low confidence).
_INTERFACE = {
    ("green_sand", "aluminium"): 800.0,
    ("green_sand", "zinc"): 600.0,
    ("green_sand", "copper"): 1000.0,
    ("green_sand", "other"): 600.0,
    ("plaster", "aluminium"): 250.0,
    ("plaster", "zinc"): 250.0,
    ("plaster", "copper"): 300.0,
    ("plaster", "other"): 250.0,
    ("steel_die", "aluminium"): 1100.0,
    ("steel_die", "zinc"): 1100.0,
    ("steel_die", "copper"): 1300.0,
    ("steel_die", "other"): 1100.0,
}
_LIKE = {"oil_sand": ("green_sand", 0.85), "resin_sand": ("green_sand", 1.0)}
_MOULD_C = {"green_sand": 25.0, "oil_sand": 25.0, "resin_sand": 25.0, "plaster": 100.0, "steel_die": 200.0}


class FillCheck(msgspec.Struct, frozen=True, kw_only=True):
    """Filling of one mould: the lowest temperature at the lip that fills, and what it rests on."""

    lowest_c: float
    freeze_s: float  # how long the stream stays open in the thinnest section at that temperature
    flow_mm: float  # how far it runs in that time
    head_needed_mm: float  # to overcome surface tension in the thinnest section
    speed_m_per_s: float
    fitted: bool  # to this shop's own castings; else good to a factor of two in length
    why: Message


def interface_w_per_m2_k(material: str, family: str) -> float:
    """Heat-transfer coefficient between stream and mould while filling, W/(m2 K)."""
    like, factor = _LIKE.get(material, (material, 1.0))
    value = _INTERFACE.get((like, family))
    if value is None:
        raise OutOfRange(
            tell("metal.no_interface", family=family, material=material),
            remedy=tell("error.use_one", known=", ".join(sorted({name for name, of in _INTERFACE if of == family}))),
        )
    return factor * value


def freeze_time_s(
    density_kg_per_m3: float,
    modulus_m: float,
    stop_fraction: float,
    latent_j_per_kg: float,
    cp_liquid: float,
    superheat_c: float,
    interface: float,
    liquidus_c: float,
    mould_c: float,
) -> float:
    """t = rho M (f H + c dT)/(h (T_liq - T_mould)), s: time until a stream at constant speed stops at its tip.

    Valid while the interface and not the mould is the resistance. Source: Flemings, Solidification Processing, 1974
    (memory). Raises OutOfRange for sizes that cannot be meant.
    """
    if not (modulus_m > 0.0 and interface > 0.0 and liquidus_c > mould_c and superheat_c >= 0.0):
        told = tell(
            "metal.no_freezing",
            modulus_mm=1000.0 * modulus_m,
            superheat_difference_c=superheat_c,
            freezing_c=liquidus_c,
            mould_c=mould_c,
        )
        raise OutOfRange(told, remedy=tell("metal.no_freezing.remedy"))
    heat = stop_fraction * latent_j_per_kg + cp_liquid * superheat_c
    return density_kg_per_m3 * modulus_m * heat / (interface * (liquidus_c - mould_c))


def stop_fraction(sheet: AlloySheet) -> float:
    """Share of the latent heat given up before a thin stream stops: 1 for skin-forming alloys, 0.35 for mushy ones."""
    if sheet.stop_fraction is not None:
        return sheet.stop_fraction.value
    long_range = sheet.liquidus.value - sheet.solidus.value > LONG_RANGE_C
    return STOP_FRACTION_LONG if long_range else STOP_FRACTION_SHORT


def section_freeze_s(sheet: AlloySheet, thinnest_mm: float, lip_c: float, material: str = "green_sand") -> float:
    """Time a plate of this thickness stays open for metal that arrives at `lip_c`, s."""
    _check_section(thinnest_mm)
    curve = sheet.curve
    return freeze_time_s(
        sheet.need("density_liquid"),
        thinnest_mm / 2000.0,
        stop_fraction(sheet),
        1000.0 * curve.latent_kj_per_kg,
        curve.cp_liquid,
        lip_c - sheet.liquidus.value,
        interface_w_per_m2_k(material, sheet.family),
        sheet.liquidus.value,
        min(_MOULD_C[material], 0.5 * sheet.liquidus.value),  # a die for a low-melting alloy is kept cooler
    )


def flow_length_mm(
    sheet: AlloySheet,
    thinnest_mm: float,
    lip_c: float,
    material: str = "green_sand",
    speed_m_per_s: float = DEFAULT_SPEED_M_PER_S,
    factor: float = 1.0,
) -> float:
    """How far metal runs in a plate of this thickness, mm; a factor-of-two figure until `factor` is fitted."""
    return 1000.0 * factor * speed_m_per_s * section_freeze_s(sheet, thinnest_mm, lip_c, material)


def lowest_fill_c(
    sheet: AlloySheet,
    thinnest_mm: float,
    flow_mm: float,
    material: str = "green_sand",
    *,
    speed_m_per_s: float = DEFAULT_SPEED_M_PER_S,
    head_mm: float | None = None,
    factor: float = 1.0,
    fitted: bool = False,
) -> FillCheck:
    """Lowest temperature at the lip that fills a section `flow_mm` long from its gate.

    Never below liquidus plus the sheet's margin. Raises OutOfRange for absurd sizes, and for a head that surface
    tension does not let into the section: no temperature fills that.
    """
    _check_section(thinnest_mm)
    if not (0.0 < flow_mm <= 5000.0 and speed_m_per_s > 0.0 and factor > 0.0):
        told = tell("metal.flow", flow_mm=flow_mm, speed=speed_m_per_s, factor=factor)
        raise OutOfRange(told, remedy=tell("metal.flow.remedy"))
    needed_mm = surface_tension_head_mm(sheet, thinnest_mm)
    if head_mm is not None and head_mm < needed_mm:
        told = tell("filling.no_head", head_mm=head_mm, thinnest_mm=thinnest_mm, needed_mm=needed_mm)
        raise OutOfRange(told, remedy=tell("filling.no_head.remedy"))
    liquidus_c = sheet.liquidus.value
    at_liquidus_s = section_freeze_s(sheet, thinnest_mm, liquidus_c, material)
    per_degree_s = section_freeze_s(sheet, thinnest_mm, liquidus_c + 1.0, material) - at_liquidus_s
    needed_s = flow_mm / 1000.0 / (speed_m_per_s * factor)
    floor_c = liquidus_c + sheet.margin_c
    lowest_c = max(floor_c, liquidus_c + (needed_s - at_liquidus_s) / per_degree_s)
    freeze_s = section_freeze_s(sheet, thinnest_mm, lowest_c, material)
    by_flow = tell("filling.by_flow", flow_mm=round(flow_mm))
    bound = tell("filling.by_margin") if lowest_c == floor_c else by_flow
    return FillCheck(
        lowest_c=lowest_c,
        freeze_s=freeze_s,
        flow_mm=1000.0 * factor * speed_m_per_s * freeze_s,
        head_needed_mm=needed_mm,
        speed_m_per_s=speed_m_per_s,
        fitted=fitted,
        why=tell(
            "filling.open",
            thinnest_mm=thinnest_mm,
            open_s=freeze_s,
            bound=bound,
            basis=tell("filling.fitted" if fitted else "filling.not_fitted"),
        ),
    )


def surface_tension_head_mm(sheet: AlloySheet, thinnest_mm: float) -> float:
    """Head of metal that pushes it into a gap, 2 gamma/(rho g t), mm. Clean metal; a skin of oxide asks for more."""
    _check_section(thinnest_mm)
    gamma = SURFACE_TENSION_N_PER_M.get(sheet.base, 1.0)
    return head_for_gap_mm(gamma, sheet.need("density_liquid"), thinnest_mm)


def head_for_gap_mm(gamma_n_per_m: float, density_kg_per_m3: float, gap_mm: float) -> float:
    """2 gamma/(rho g t) in mm."""
    return 2.0 * gamma_n_per_m / (density_kg_per_m3 * GRAVITY_M_PER_S2 * gap_mm / 1000.0) * 1000.0


def fall_speed_m_per_s(drop_mm: float) -> float:
    """Torricelli: v = sqrt(2 g h)."""
    if not 0.0 <= drop_mm <= 1e5:
        raise OutOfRange(tell("metal.fall", drop_mm=drop_mm), remedy=tell("error.figure.remedy"))
    return math.sqrt(2.0 * GRAVITY_M_PER_S2 * drop_mm / 1000.0)


def drop_for_speed_mm(speed_m_per_s: float) -> float:
    """The fall after which metal has this speed, mm: 12.75 mm for 0.5 m/s."""
    return speed_m_per_s**2 / (2.0 * GRAVITY_M_PER_S2) * 1000.0


def choke_area_mm2(
    mass_kg: float, density_kg_per_m3: float, fill_s: float, head_mm: float, loss_factor: float = 0.8
) -> float:
    """Smallest section of the gating that fills in time: A = W/(rho t C sqrt(2 g H)). C 0.7-0.9 tapered (memory)."""
    if not (mass_kg > 0.0 and density_kg_per_m3 > 0.0 and fill_s > 0.0 and head_mm > 0.0 and 0.0 < loss_factor <= 1.0):
        told = tell("metal.no_choke", mass_kg=mass_kg, fill_s=fill_s, head_mm=head_mm, loss_factor=loss_factor)
        raise OutOfRange(told, remedy=tell("metal.no_choke.remedy"))
    return mass_kg / (density_kg_per_m3 * fill_s * loss_factor * fall_speed_m_per_s(head_mm)) * 1e6


def _check_section(thinnest_mm: float) -> None:
    if not 0.1 <= thinnest_mm <= 500.0:
        raise OutOfRange(tell("metal.section", thinnest_mm=thinnest_mm), remedy=tell("metal.section.remedy"))
