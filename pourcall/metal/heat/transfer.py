"""What the metal loses between the pot's place in the furnace and the mould's lip. First-order, stated accuracy.

In: pot, metal, seconds, ladle. Out: degC lost with its parts and its uncertainty. Model: one lump of metal and pot that
radiates and convects from the open mouth and from the outside of the wall; then the ladle, then the stream. The wall's
outside is taken to follow the metal at a fixed distance; in truth it cools faster, so long walks are overestimated.
Accuracy +-40 % until the shop has measured it: its own degC/s then replaces the walk.
Source: heat balance of the reference tables on filling and heat, section 4 (Stefan-Boltzmann; film coefficient 8-15
W/(m2 K), memory; contact with a ladle a third to a half of full mixing and stream loss 5-20 degC, memory).
"""

import itertools
import math
from typing import Annotated

import msgspec
from msgspec import Meta

from pourcall.contract.errors import BadInput, OutOfRange
from pourcall.contract.message import Message, tell
from pourcall.contract.plan import LossBasis, Way
from pourcall.metal.alloys.elements import KELVIN_OF_0_C, STEFAN_BOLTZMANN_W_PER_M2_K4
from pourcall.metal.alloys.sheet import AlloySheet

MOUTH_FILM_W_PER_M2_K = 8.0
WALL_FILM_W_PER_M2_K = 10.0
WALL_EMISSIVITY = 0.85
LID_FACTOR = 0.2  # share of the mouth's loss that a lid lets through (judgement)
UNMEASURED_SHARE = 0.4  # expanded uncertainty (k = 2) of a loss that was only computed
LEAST_U_C = 5.0
_STEP_S = 0.5

# Emissivity of the skin (infrared tables, S-marked in the reference) and loss of the stream in degC (memory).
EMISSIVITY = {"zinc": 0.2, "aluminium": 0.2, "copper": 0.5, "other": 0.3}
STREAM_LOSS_C = {"zinc": 5.0, "aluminium": 8.0, "copper": 15.0, "other": 5.0}
# Specific heat of pots, J/(kg K) at degC (memory: clay-graphite about 0.85 of graphite; silicon carbide; mild steel).
_POT_HEAT = {
    "clay_graphite": ((25.0, 650.0), (450.0, 1200.0), (650.0, 1400.0), (950.0, 1610.0), (1100.0, 1680.0)),
    "silicon_carbide": ((25.0, 680.0), (450.0, 1080.0), (900.0, 1220.0), (1300.0, 1290.0)),
    "steel": ((25.0, 470.0), (450.0, 620.0), (600.0, 760.0)),
}

_Length = Annotated[float, Meta(gt=0.0, le=2000.0)]
_Mass = Annotated[float, Meta(gt=0.0, le=2000.0)]
_Seconds = Annotated[float, Meta(ge=0.0, le=3600.0)]


class Pot(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The crucible as it is carried: mouth and outside in mm, empty mass in kg, its material, a lid on the way."""

    mouth_mm: _Length = 80.0
    outside_mm: _Length = 100.0
    height_mm: _Length = 100.0
    mass_kg: _Mass = 0.6
    material: str = "clay_graphite"
    lid: bool = False
    emissivity: Annotated[float, Meta(gt=0.0, le=1.0)] | None = None  # of the metal's skin; None: by family
    wall_drop_c: Annotated[float, Meta(ge=0.0, le=400.0)] = 60.0  # outside of the wall below the metal

    def __post_init__(self) -> None:
        sizes = (self.mouth_mm, self.outside_mm, self.height_mm, self.mass_kg)
        if not all(0.0 < size <= 2000.0 for size in sizes):
            told = tell(
                "metal.pot",
                mouth_mm=self.mouth_mm,
                outside_mm=self.outside_mm,
                height_mm=self.height_mm,
                mass_kg=self.mass_kg,
            )
            raise OutOfRange(told, remedy=tell("metal.above_0.remedy"))


class Ladle(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A ladle the metal passes through: its mass, specific heat, preheat, and the share of full mixing it reaches."""

    mass_kg: _Mass
    cp_j_per_kg_k: Annotated[float, Meta(gt=50.0, le=3000.0)] = 500.0
    preheat_c: Annotated[float, Meta(ge=-40.0, le=1200.0)] = 25.0
    contact: Annotated[float, Meta(gt=0.0, le=1.0)] = 0.4

    def __post_init__(self) -> None:
        if not (0.0 < self.mass_kg <= 2000.0 and self.cp_j_per_kg_k > 0.0 and 0.0 < self.contact <= 1.0):
            told = tell("metal.ladle", mass_kg=self.mass_kg, contact_share=self.contact)
            raise OutOfRange(told, remedy=tell("metal.ladle.remedy"))


class Carry(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The way from furnace to lip. `fitted_c_per_s`: what this shop measured with this pot; it replaces the physics."""

    walk_s: _Seconds = 20.0  # lift to the first mould
    between_s: _Seconds = 15.0  # from one mould to the next
    ambient_c: Annotated[float, Meta(ge=-40.0, le=60.0)] = 25.0
    ladle: Ladle | None = None
    stream_loss_c: Annotated[float, Meta(ge=0.0, le=100.0)] | None = None
    fitted_c_per_s: Annotated[float, Meta(gt=0.0, le=20.0)] | None = None

    def __post_init__(self) -> None:
        if not (0.0 <= self.walk_s <= 3600.0 and 0.0 <= self.between_s <= 3600.0):
            told = tell("metal.walk", walk_s=self.walk_s, between_s=self.between_s)
            raise OutOfRange(told, remedy=tell("metal.walk.remedy"))
        if self.fitted_c_per_s is not None and not 0.0 < self.fitted_c_per_s <= 20.0:
            told = tell("metal.fitted_loss", loss_c_per_min=60.0 * self.fitted_c_per_s)
            raise OutOfRange(told, remedy=tell("error.figure.remedy"))


class TransferLoss(msgspec.Struct, frozen=True, kw_only=True):
    """Degrees from pot to lip, with parts and expanded uncertainty (k = 2)."""

    loss_c: float
    u_c: float
    way: Way
    rate_c_per_s: float  # at the lift
    why: Message


def pot_heat_capacity(material: str, temp_c: float) -> float:
    """Specific heat of a pot's material, J/(kg K), between the points kept (memory). Raises BadInput."""
    points = _POT_HEAT.get(material)
    if points is None:
        known = ", ".join(_POT_HEAT)
        raise BadInput(tell("metal.no_pot_material", typed=material), remedy=tell("error.use_one", known=known))
    for (low_c, low), (high_c, high) in itertools.pairwise(points):
        if temp_c <= high_c:
            return low + (high - low) * max(0.0, temp_c - low_c) / (high_c - low_c)
    return points[-1][1]


def radiated_w(temp_c: float, area_m2: float, emissivity: float, ambient_c: float = 25.0) -> float:
    """Power radiated by a grey surface into a room, W. Source: Stefan-Boltzmann, CODATA 2018. Raises OutOfRange."""
    if not 0.0 < emissivity <= 1.0:
        raise OutOfRange(tell("metal.emissivity", emissivity=emissivity), remedy=tell("metal.emissivity.remedy"))
    if not area_m2 > 0.0:
        raise OutOfRange(tell("metal.no_area", area_m2=area_m2), remedy=tell("metal.above_0.remedy"))
    hot_k, cold_k = temp_c + KELVIN_OF_0_C, ambient_c + KELVIN_OF_0_C
    return emissivity * STEFAN_BOLTZMANN_W_PER_M2_K4 * area_m2 * (hot_k**4 - cold_k**4)


def mouth_loss_w(pot: Pot, temp_c: float, emissivity: float, ambient_c: float) -> tuple[float, float]:
    """Radiation and convection from the open mouth, W; a lid lets a fifth through."""
    area_m2 = math.pi * (pot.mouth_mm / 2000.0) ** 2
    through = LID_FACTOR if pot.lid else 1.0
    convected = MOUTH_FILM_W_PER_M2_K * area_m2 * (temp_c - ambient_c)
    return through * radiated_w(temp_c, area_m2, emissivity, ambient_c), through * convected


def wall_loss_w(pot: Pot, outside_c: float, ambient_c: float) -> float:
    """Radiation and convection from side and bottom of a bare hot pot, W."""
    outside_m, height_m = pot.outside_mm / 1000.0, pot.height_mm / 1000.0
    area_m2 = math.pi * outside_m * height_m + math.pi * outside_m**2 / 4.0
    return radiated_w(outside_c, area_m2, WALL_EMISSIVITY, ambient_c) + WALL_FILM_W_PER_M2_K * area_m2 * (
        outside_c - ambient_c
    )


def cooling_rate_c_per_s(
    sheet: AlloySheet, metal_kg: float, temp_c: float, pot: Pot, ambient_c: float = 25.0, outside_c: float | None = None
) -> float:
    """How fast metal and pot cool in the open at `temp_c`, degC/s, positive. Raises OutOfRange for no metal."""
    if not metal_kg > 0.0:
        raise OutOfRange(tell("metal.not_carried", metal_kg=metal_kg), remedy=tell("metal.above_0.remedy"))
    emissivity = pot.emissivity
    if emissivity is None:
        emissivity = sheet.emissivity.value if sheet.emissivity is not None else EMISSIVITY[sheet.family]
    wall_c = outside_c if outside_c is not None else max(ambient_c, temp_c - pot.wall_drop_c)
    lost_w = sum(mouth_loss_w(pot, temp_c, emissivity, ambient_c)) + wall_loss_w(pot, wall_c, ambient_c)
    stored = metal_kg * sheet.curve.cp_liquid + pot.mass_kg * pot_heat_capacity(pot.material, wall_c)
    return lost_w / stored


def mixed_c(hot_kg: float, hot_cp: float, hot_c: float, cold_kg: float, cold_cp: float, cold_c: float) -> float:
    """Common temperature of two bodies that exchange heat only with each other, degC; no change of phase."""
    hot, cold = hot_kg * hot_cp, cold_kg * cold_cp
    if not (hot > 0.0 and cold > 0.0):
        raise OutOfRange(tell("metal.not_mixed"), remedy=tell("metal.above_0.remedy"))
    return (hot * hot_c + cold * cold_c) / (hot + cold)


def transfer_loss(
    sheet: AlloySheet, metal_kg: float, tap_c: float, pot: Pot, carry: Carry, *, order: int = 0, poured_kg: float = 0.0
) -> TransferLoss:
    """Loss from the pot's place to the lip of the mould that is `order` (0 the first) in this pour, degC.

    `metal_kg` is the charge, `poured_kg` what has gone into the moulds before; a shop's `fitted_c_per_s` replaces the
    computed cooling. Raises OutOfRange for absurd masses and BadInput for an unknown pot material.
    """
    if order < 0 or poured_kg < 0.0 or not metal_kg - poured_kg > 0.0:
        told = tell("metal.none_left", metal_kg=metal_kg, poured_kg=poured_kg, number=order + 1)
        raise OutOfRange(told, remedy=tell("metal.none_left.remedy"))
    seconds = carry.walk_s + order * carry.between_s
    temp_c, left_s = tap_c, seconds
    first_rate = carry.fitted_c_per_s or cooling_rate_c_per_s(sheet, metal_kg, tap_c, pot, carry.ambient_c)
    while left_s > 1e-9:
        step_s = min(_STEP_S, left_s)
        in_walk = seconds - left_s < carry.walk_s  # the pot is full on the walk and lighter from mould to mould
        kg = metal_kg if in_walk else metal_kg - poured_kg
        rate = carry.fitted_c_per_s or cooling_rate_c_per_s(sheet, kg, temp_c, pot, carry.ambient_c)
        temp_c -= rate * step_s
        left_s -= step_s
    walk_c, ladle_c = tap_c - temp_c, 0.0
    if carry.ladle is not None and carry.ladle.preheat_c < temp_c:
        ladle = carry.ladle
        common_c = mixed_c(
            metal_kg - poured_kg, sheet.curve.cp_liquid, temp_c, ladle.mass_kg, ladle.cp_j_per_kg_k, ladle.preheat_c
        )
        ladle_c = ladle.contact * (temp_c - common_c)
    stream_c = carry.stream_loss_c if carry.stream_loss_c is not None else STREAM_LOSS_C[sheet.family]
    loss_c = walk_c + ladle_c + stream_c
    computed_c = ladle_c + stream_c + (0.1 if carry.fitted_c_per_s else 1.0) * walk_c
    way = Way(
        basis=LossBasis.MEASURED if carry.fitted_c_per_s else LossBasis.COMPUTED,
        open_s=seconds,
        walk_c=walk_c,
        ladle_c=ladle_c if carry.ladle is not None else None,
        stream_c=stream_c,
    )
    return TransferLoss(
        loss_c=loss_c,
        u_c=max(LEAST_U_C, UNMEASURED_SHARE * computed_c),
        way=way,
        rate_c_per_s=first_rate,
        why=_told(loss_c, way, carry.fitted_c_per_s),
    )


def _told(loss_c: float, way: Way, fitted_c_per_s: float | None) -> Message:
    parts = [tell("way.open", open_s=way.open_s, walk_difference_c=way.walk_c)]
    if way.ladle_c is not None:
        parts.append(tell("way.ladle", ladle_difference_c=way.ladle_c))
    parts.append(tell("way.stream", stream_difference_c=way.stream_c))
    if fitted_c_per_s is None:
        how = tell("way.computed", within_share=UNMEASURED_SHARE)
    else:
        how = tell("way.measured", rate_c_per_min=60.0 * fitted_c_per_s)
    return tell("way.loss", loss_difference_c=loss_c, parts=tuple(parts), how=how)
