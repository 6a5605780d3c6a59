"""The simulated furnace, in degrees. Lumped bodies hot wall, lining, pot, charge; enthalpy method; no randomness.

In: what a person does (power, lid, metal, lift, pour). Out: the true state, step by step, and an energy ledger that
must balance. Not here: what a probe reads of it (sim.probe), who acts (sim.crew), bytes (sim.board).

Heat flows, in W, with the wall and lining at one temperature each:
    element or flame -> hot wall (a flame also -> pot) -> lining -> room
    hot wall <-> pot and bath surface by radiation and slow air;  pot <-> charge by contact;  cold lump <-> charge
    open lid: wall and bath surface -> room;  lifted: pot wall and bath surface -> room
Coefficients of the open air: wall 0.85 sigma T^4 + 10 dT per m2 (bare crucible), surface by the alloy's emissivity.
Explicit steps: every flow leaves one account and enters another, so the ledger balances to rounding whatever the step;
accuracy in time comes from steps (0.1-1 s) far below the time constants (20 s and more).
"""

import copy
from dataclasses import dataclass

from pourcall.metal.heat.curve import REFERENCE_C
from pourcall.sim.plant.interface import COLD, PlantStart, PotSpec
from pourcall.sim.plant.metal import SimAlloy

__all__ = ["COLD", "FurnaceSpec", "Plant", "PlantStart", "PotSpec"]

SIGMA = 5.670374419e-8  # W/(m2 K4), CODATA 2018
KELVIN = 273.15
WALL_EMISSIVITY = 0.85  # hot bare crucible
AIR_W_PER_M2_K = 10.0  # still air, 8-15 usual
HEEL_GONE_KG = 0.01  # less than this clings to the pot


@dataclass(frozen=True, slots=True)
class FurnaceSpec:
    """A small furnace. `fuel`: the power is of gas or oil burnt, most of which leaves by the exhaust."""

    name: str
    power_w: float  # full electric power, or full fuel power
    fuel: bool = False
    low_share: float = 0.5  # of full power at "low"
    useful_share: float = 1.0  # of the power that stays in the furnace; the rest is exhaust
    pot_share: float = 0.0  # of the useful power that strikes the pot itself
    hot_j_per_k: float = 1200.0  # element, hot face
    lining_j_per_k: float = 4000.0
    hot_lining_w_per_k: float = 1.0
    lining_room_w_per_k: float = 1.2
    exchange_m2: float = 0.04  # wall to pot, effective
    opening_m2: float = 0.012  # seen by the room with the lid off
    leak_w_per_k: float = 0.15  # through the closed lid and joints
    rating_c: float = 1200.0  # as its plate and the settings say
    wall_limit_c: float = 1300.0  # the furnace's own controller throttles the element here


class Plant:
    """The true state of the shop. Call the verbs between steps, then `step()`; read the attributes."""

    __slots__ = (
        "_armed",
        "_bath_h",
        "_deficit_c",
        "_lump_h",
        "_pour_rate",
        "_pour_until_kg",
        "alloy",
        "ambient_c",
        "brought_j",
        "dt_s",
        "element_broken",
        "exhaust_j",
        "furnace",
        "lid_open",
        "lifted",
        "lining_c",
        "liquid_fraction",
        "lost_j",
        "lump_kg",
        "mass_kg",
        "metal_c",
        "pot",
        "pot_c",
        "poured_j",
        "poured_kg",
        "power_share",
        "power_w",
        "skimmed_j",
        "stirred_s",
        "strength",
        "supplied_j",
        "t_s",
        "wall_c",
        "welded_on",
    )

    def __init__(
        self, furnace: FurnaceSpec, pot: PotSpec, alloy: SimAlloy, *, dt_s: float = 0.5, start: PlantStart = COLD
    ) -> None:
        """`dt_s` is the fixed step: 0.05 to 1 s; 5 s is good enough to look ahead."""
        room_c = start.ambient_c
        self.furnace, self.pot, self.alloy, self.ambient_c, self.dt_s = furnace, pot, alloy, room_c, dt_s
        self.wall_c = room_c if start.wall_c is None else start.wall_c
        self.lining_c = room_c if start.lining_c is None else start.lining_c
        self.pot_c = room_c if start.pot_c is None else start.pot_c
        self.t_s = 0.0
        self.mass_kg = self.lump_kg = self.poured_kg = 0.0
        self._bath_h = self._lump_h = self._deficit_c = 0.0
        self.metal_c, self.liquid_fraction, self._armed = self.pot_c, 0.0, False
        self.power_share = self.power_w = 0.0
        self.lid_open = self.lifted = self.welded_on = self.element_broken = False
        self.strength = 1.0
        self._pour_rate, self._pour_until_kg, self.stirred_s = 0.0, 0.0, -1e9
        self.supplied_j = self.brought_j = self.exhaust_j = self.lost_j = self.poured_j = self.skimmed_j = 0.0

    # ---- what a person does -------------------------------------------------------------------------------------

    def set_lid(self, open_: bool) -> None:
        """Open or shut."""
        self.lid_open = open_

    def set_faults(self, *, welded_on: bool, element_broken: bool, strength: float = 1.0) -> None:
        """What is broken now: a relay that does not let go, an element that gives no heat or but a share of it."""
        self.welded_on, self.element_broken, self.strength = welded_on, element_broken, strength

    def set_power(self, share: float) -> None:
        """Knob or burner, 0 (off) to 1 (full)."""
        self.power_share = min(1.0, max(0.0, share))

    def add(self, kg: float, temp_c: float | None = None) -> None:
        """Solid metal into the pot, at room temperature unless told. Into a bath with liquid it sinks as a lump."""
        if kg <= 0.0:
            raise ValueError(f"cannot add {kg} kg")
        h = self.alloy.curve.enthalpy(self.ambient_c if temp_c is None else temp_c)
        self.brought_j += kg * h
        if self.mass_kg > 0.0 and self.liquid_fraction > 0.0:
            self._lump_h = (self._lump_h * self.lump_kg + h * kg) / (self.lump_kg + kg)
            self.lump_kg += kg
            return
        self._bath_h = (self._bath_h * self.mass_kg + h * kg) / (self.mass_kg + kg)
        self.mass_kg += kg
        self._armed = False
        self._read_metal()

    def skim(self, kg: float) -> None:
        """Dross off the bath, and the bath stirred by it."""
        kg = min(kg, 0.2 * self.mass_kg)
        self.skimmed_j += kg * self._bath_h
        self.mass_kg -= kg
        self.stirred_s = self.t_s

    def stir(self) -> None:
        """Evens the bath; a probe in it reads the bulk for a while."""
        self.stirred_s = self.t_s

    def lift(self) -> None:
        """The pot leaves the furnace."""
        self.lifted = True

    def put_back(self) -> None:
        """The pot returns to the furnace."""
        self.lifted = False
        self._pour_rate = 0.0

    def pour(self, kg: float, rate_kg_per_s: float) -> None:
        """Begin to pour `kg` at a rate; ends by itself. What is left under 10 g leaves with the last."""
        self._pour_rate, self._pour_until_kg = rate_kg_per_s, max(0.0, self.mass_kg - kg)

    @property
    def pouring(self) -> bool:
        """Is metal leaving the pot now."""
        return self._pour_rate > 0.0

    @property
    def terminals_c(self) -> float:
        """Where the thermocouples end: the room, warmed slowly by the lining."""
        return self.ambient_c + (2.0 + 0.006 * max(0.0, self.lining_c - self.ambient_c))

    def fork(self, dt_s: float) -> "Plant":
        """A copy to look ahead with, at its own step."""
        ahead = copy.copy(self)
        ahead.dt_s = dt_s
        return ahead

    def coast_peak_c(self, horizon_s: float = 900.0) -> float:
        """The highest temperature the metal would reach with the power cut now."""
        ahead = self.fork(5.0)
        ahead.power_share = 0.0
        ahead.lid_open = False
        peak_c = ahead.metal_c
        for _ in range(int(horizon_s / 5.0)):
            ahead.step()
            if ahead.metal_c < peak_c - 0.5 and ahead.metal_c > ahead.wall_c - 5.0:
                break
            peak_c = max(peak_c, ahead.metal_c)
        return peak_c

    # ---- time ---------------------------------------------------------------------------------------------------

    def step(self) -> None:
        """Advance by `dt_s`."""
        spec, pot, dt = self.furnace, self.pot, self.dt_s
        wall, lining, pot_c, metal, room = self.wall_c, self.lining_c, self.pot_c, self.metal_c, self.ambient_c
        wall4: float = (wall + KELVIN) ** 4
        pot4: float = (pot_c + KELVIN) ** 4
        room4: float = (room + KELVIN) ** 4
        mass = self.mass_kg

        power = spec.power_w * (1.0 if self.welded_on else self.power_share * self.strength)
        if self.element_broken:
            power = 0.0
        elif not spec.fuel and wall > spec.wall_limit_c - 20.0:
            power *= max(0.0, (spec.wall_limit_c - wall) / 20.0)
        self.power_w = power
        useful = power * spec.useful_share
        to_pot = 0.0 if self.lifted else useful * spec.pot_share
        wall_w = useful - to_pot
        exhaust_w = power - useful

        to_lining = spec.hot_lining_w_per_k * (wall - lining)
        to_room = spec.lining_room_w_per_k * (lining - room)
        wall_loss = spec.leak_w_per_k * (wall - room)
        if self.lid_open:
            wall_loss += spec.opening_m2 * (0.9 * SIGMA * (wall4 - room4) + AIR_W_PER_M2_K * (wall - room))
        surface_w = pot_loss = metal_loss = 0.0
        exposed = mass > 0.0 and (self.lifted or self.lid_open)
        if self.lifted:
            pot_loss = pot.outer_m2 * (WALL_EMISSIVITY * SIGMA * (pot4 - room4) + AIR_W_PER_M2_K * (pot_c - room))
            wall_to_pot = 0.0
        else:
            wall_to_pot = spec.exchange_m2 * (0.8 * SIGMA * (wall4 - pot4) + AIR_W_PER_M2_K * (wall - pot_c))
        if mass > 0.0:
            metal4 = (metal + KELVIN) ** 4
            grey = self.alloy.emissivity * SIGMA * pot.mouth_m2
            if exposed:
                metal_loss = grey * (metal4 - room4) + AIR_W_PER_M2_K * pot.mouth_m2 * (metal - room)
            else:
                surface_w = grey * (wall4 - metal4)
            contact: float = (6.0 + 30.0 * self.liquid_fraction) * mass**0.6667
            pot_to_metal = contact * (pot_c - metal)
        else:
            pot_to_metal = 0.0

        self.wall_c = wall + dt * (wall_w - to_lining - wall_loss - wall_to_pot - surface_w) / spec.hot_j_per_k
        self.lining_c = lining + dt * (to_lining - to_room) / spec.lining_j_per_k
        self.pot_c = pot_c + dt * (to_pot + wall_to_pot - pot_loss - pot_to_metal) / (pot.mass_kg * pot.cp_j_per_kg_k)
        self.supplied_j += dt * power
        self.exhaust_j += dt * exhaust_w
        self.lost_j += dt * (to_room + wall_loss + pot_loss + metal_loss)
        if mass > 0.0:
            into_metal = pot_to_metal + surface_w - metal_loss
            if self.lump_kg > 0.0:
                self._bath_h += dt * (into_metal - self._heat_lump(dt)) / mass
                self._merge_lump()
            else:
                self._bath_h += dt * into_metal / mass
            if self._pour_rate > 0.0:
                self._pour_some(dt)
            self._read_metal()
        else:
            self.metal_c = self.pot_c
        self.t_s += dt

    def _heat_lump(self, dt: float) -> float:
        """Heat, W, that the bath gives to the cold metal lying in it."""
        lump_c = self.alloy.curve.temp_c(self._lump_h)
        flow_w: float = (4.0 + 21.0 * self.liquid_fraction) * self.lump_kg**0.6667 * (self.metal_c - lump_c)
        self._lump_h += dt * flow_w / self.lump_kg
        return flow_w

    def _merge_lump(self) -> None:
        """The lump is bath once it is as hot as the bath, or molten."""
        lump_c = self.alloy.curve.temp_c(self._lump_h)
        if lump_c >= self.metal_c - 2.0 or self._lump_h >= self.alloy.curve.h_liquid:
            total_kg = self.mass_kg + self.lump_kg
            self._bath_h = (self._bath_h * self.mass_kg + self._lump_h * self.lump_kg) / total_kg
            self.mass_kg, self.lump_kg, self._lump_h = total_kg, 0.0, 0.0

    def _pour_some(self, dt: float) -> None:
        out_kg = min(self._pour_rate * dt, self.mass_kg - self._pour_until_kg)
        if self.mass_kg - out_kg < HEEL_GONE_KG:
            out_kg = self.mass_kg
        self.mass_kg -= out_kg
        self.poured_kg += out_kg
        self.poured_j += out_kg * self._bath_h
        if self.mass_kg <= self._pour_until_kg + 1e-9:
            self._pour_rate = 0.0
        if self.mass_kg < HEEL_GONE_KG:
            self.mass_kg, self._bath_h, self._armed = self.lump_kg, self._lump_h, False
            self.lump_kg = self._lump_h = 0.0

    def _read_metal(self) -> None:
        """Temperature and liquid fraction of the enthalpy; a clean liquid first undercools, then springs back."""
        curve, h = self.alloy.curve, self._bath_h
        if h >= curve.h_liquid:
            self.metal_c = curve.liquidus_c + (h - curve.h_liquid) / curve.cp_liquid
            self.liquid_fraction, self._armed, self._deficit_c = 1.0, True, 0.0
        elif self._armed:
            self.metal_c = curve.liquidus_c + (h - curve.h_liquid) / curve.cp_liquid
            if curve.liquidus_c - self.metal_c >= self.alloy.undercooling_c or self.lump_kg > 0.0:
                self._armed = False
                self._deficit_c = max(0.0, curve.temp_c(h) - self.metal_c)
        else:
            self.metal_c, self.liquid_fraction = curve.temp_c(h), curve.liquid(h)
            if self._deficit_c > 0.005:
                self._deficit_c *= max(0.0, 1.0 - self.dt_s / 3.0)
                self.metal_c -= self._deficit_c

    # ---- the ledger ---------------------------------------------------------------------------------------------

    def stored_j(self) -> float:
        """Heat in all bodies above 25 degC."""
        return (
            self.furnace.hot_j_per_k * (self.wall_c - REFERENCE_C)
            + self.furnace.lining_j_per_k * (self.lining_c - REFERENCE_C)
            + self.pot.mass_kg * self.pot.cp_j_per_kg_k * (self.pot_c - REFERENCE_C)
            + self.mass_kg * self._bath_h
            + self.lump_kg * self._lump_h
        )

    def net_in_j(self) -> float:
        """What came in less what went out since the start, by the ledger; equals the change of `stored_j`."""
        return self.supplied_j + self.brought_j - self.exhaust_j - self.lost_j - self.poured_j - self.skimmed_j
