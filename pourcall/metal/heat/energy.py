"""Heat in the metal, and so the energy, time and cost to melt it, and what a cold addition does to the bath.

Enthalpy of an alloy is that of its sheet's curve (curve.py), in kJ/kg above 25 degC. Efficiency of small furnaces is
the great unknown: a range, replaced by the shop's own figure. Errors: BadSheet, OutOfRange.
"""

import msgspec

from pourcall.contract.errors import OutOfRange
from pourcall.contract.message import Message, tell
from pourcall.metal.alloys.elements import (
    liquid_enthalpy_j_per_mol,
    molar_mass,
    mole_fractions,
)
from pourcall.metal.alloys.sheet import ROOM_C, AlloySheet
from pourcall.metal.heat.transfer import Pot, pot_heat_capacity

# Heat in metal and pot over energy supplied, low and high, for one small melt from cold (memory; a hot and lidded
# electric crucible reaches 0.4-0.7).
EFFICIENCY = {"electric": (0.15, 0.4), "fuel": (0.08, 0.25)}
LATENT_MIXING_J_PER_MOL = 10465.55  # Al-Zn liquid, an Mey 1993: enthalpy of mixing x_Al x_Zn times this


class MeltEnergy(msgspec.Struct, frozen=True, kw_only=True):
    """Energy and time from room temperature to the tap. Ranges are from the efficiency, low to high."""

    metal_kj: float
    pot_kj: float
    useful_kwh: float
    supplied_kwh: tuple[float, float]
    minutes: tuple[float, float] | None  # None where the furnace's power is not known
    cost: tuple[float, float] | None
    efficiency: tuple[float, float]
    why: Message


class AdditionDip(msgspec.Struct, frozen=True, kw_only=True):
    """What an addition does to the bath, no heat going in meanwhile."""

    before_c: float
    after_c: float
    drop_c: float
    freezes: bool  # the mix ends below the liquidus
    why: Message


LEAST_HEAT_C, MOST_HEAT_C = -50.0, 2000.0  # between these the heat in an alloy is worked out


def enthalpy_kj_per_kg(sheet: AlloySheet, temp_c: float) -> float:
    """Heat in the alloy above 25 degC, kJ/kg; good to a few per cent. Raises BadSheet."""
    if not LEAST_HEAT_C <= temp_c <= MOST_HEAT_C:
        told = tell("metal.heat_at", temp_c=temp_c, least_c=LEAST_HEAT_C, most_c=MOST_HEAT_C)
        raise OutOfRange(told, remedy=tell("error.figure.remedy"))
    return sheet.curve.kj_per_kg(temp_c)


def temp_of_enthalpy_c(sheet: AlloySheet, kj_per_kg: float) -> float:
    """Temperature of an alloy that holds this heat above 25 degC; on a pure metal's plateau, the plateau."""
    temp_c = sheet.curve.temp_c(1000.0 * kj_per_kg)
    if not LEAST_HEAT_C <= temp_c <= MOST_HEAT_C:
        told = tell("metal.heat_beyond", heat_kj=kj_per_kg, alloy=sheet.name, least_c=LEAST_HEAT_C, most_c=MOST_HEAT_C)
        raise OutOfRange(told, remedy=tell("metal.masses.remedy"))
    return temp_c


def pot_heat_kj(pot: Pot, temp_c: float) -> float:
    """Heat in the empty pot above 25 degC, kJ, by its mean specific heat in three steps."""
    steps = [ROOM_C + (temp_c - ROOM_C) * share for share in (1 / 6, 3 / 6, 5 / 6)]
    mean = sum(pot_heat_capacity(pot.material, step_c) for step_c in steps) / len(steps)
    return pot.mass_kg * mean * (temp_c - ROOM_C) / 1000.0


def melt_energy(
    sheet: AlloySheet,
    charge_kg: float,
    tap_c: float,
    pot: Pot | None = None,
    *,
    kind: str = "electric",
    power_w: float | None = None,
    efficiency: tuple[float, float] | None = None,
    price_per_kwh: float | None = None,
    start_c: float = ROOM_C,
) -> MeltEnergy:
    """Energy, time and cost from `start_c` to `tap_c`.

    `efficiency`: low and high, of metal and pot over what is supplied; None: by kind of furnace, from memory. Raises
    OutOfRange for figures that cannot be meant.
    """
    low, high = efficiency if efficiency is not None else EFFICIENCY.get(kind, EFFICIENCY["electric"])
    if not (0.0 < charge_kg <= 2000.0 and start_c < tap_c and 0.0 < low <= high <= 1.0):
        told = tell("metal.no_melt", charge_kg=charge_kg, start_c=start_c, tap_c=tap_c, low_share=low, high_share=high)
        raise OutOfRange(told, remedy=tell("metal.no_melt.remedy"))
    if power_w is not None and not 10.0 <= power_w <= 1e6:
        raise OutOfRange(tell("metal.power", power_w=power_w), remedy=tell("metal.power.remedy"))
    pot = pot or Pot()
    metal_kj = charge_kg * (enthalpy_kj_per_kg(sheet, tap_c) - enthalpy_kj_per_kg(sheet, start_c))
    pot_kj = pot_heat_kj(pot, tap_c) - pot_heat_kj(pot, start_c)
    useful_kwh = (metal_kj + pot_kj) / 3600.0
    supplied = (useful_kwh / high, useful_kwh / low)
    minutes = None
    if power_w is not None:
        minutes = (supplied[0] * 60000.0 / power_w, supplied[1] * 60000.0 / power_w)
    cost = None if price_per_kwh is None else (supplied[0] * price_per_kwh, supplied[1] * price_per_kwh)
    return MeltEnergy(
        metal_kj=metal_kj,
        pot_kj=pot_kj,
        useful_kwh=useful_kwh,
        supplied_kwh=supplied,
        minutes=minutes,
        cost=cost,
        efficiency=(low, high),
        why=tell(
            "charge_plan.energy",
            metal_kj=metal_kj / charge_kg,
            pot_kj=pot_kj,
            low_share=low,
            high_share=high,
            basis=tell("charge_plan.efficiency.own" if efficiency is not None else "charge_plan.efficiency.memory"),
        ),
    )


def addition_dip(
    sheet: AlloySheet, bath_kg: float, bath_c: float, added_kg: float, added_c: float = ROOM_C
) -> AdditionDip:
    """Temperature of the bath after metal of the same kind is added, all mixed and no heat going in.

    An addition of another metal is taken for the same alloy: right within a few degrees while it is under a tenth of
    the bath. Raises OutOfRange for masses that cannot be meant.
    """
    if not (0.0 < bath_kg <= 2000.0 and 0.0 <= added_kg <= 2000.0):
        told = tell("metal.addition", added_kg=added_kg, bath_kg=bath_kg)
        raise OutOfRange(told, remedy=tell("metal.masses.remedy"))
    heat = bath_kg * enthalpy_kj_per_kg(sheet, bath_c) + added_kg * enthalpy_kj_per_kg(sheet, added_c)
    after_c = temp_of_enthalpy_c(sheet, heat / (bath_kg + added_kg)) if added_kg > 0.0 else bath_c
    freezes = after_c < sheet.liquidus.value
    slush = tell("charge_plan.dip.slush", liquidus_c=sheet.liquidus.value)
    return AdditionDip(
        before_c=bath_c,
        after_c=after_c,
        drop_c=bath_c - after_c,
        freezes=freezes,
        why=tell(
            "charge_plan.dip",
            added_kg=float(f"{added_kg:.3g}"),
            added_c=added_c,
            bath_kg=float(f"{bath_kg:.3g}"),
            bath_c=bath_c,
            after_c=after_c,
            state=slush if freezes else tell("charge_plan.dip.liquid"),
        ),
    )


def zinc_aluminium_enthalpy_kj_per_kg(aluminium_percent: float, temp_c: float) -> float:
    """Liquid Zn-Al against its elements at 25 degC, kJ/kg, from SGTE functions and the enthalpy of mixing.

    The solid at 25 degC is nearly demixed, so this is also what it takes to melt it. Sources: Dinsdale 1991, an Mey
    1993.
    """
    shares = mole_fractions({"Al": aluminium_percent, "Zn": 100.0 - aluminium_percent})
    x_al, x_zn = shares["Al"], shares["Zn"]
    mixed = (
        x_al * liquid_enthalpy_j_per_mol("Al", temp_c)
        + x_zn * liquid_enthalpy_j_per_mol("Zn", temp_c)
        + x_al * x_zn * LATENT_MIXING_J_PER_MOL
    )
    return mixed / (x_al * molar_mass("Al") + x_zn * molar_mass("Zn"))
