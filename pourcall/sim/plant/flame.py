"""A burner furnace: gas from a cylinder that cools as it boils, a flame in its draught, a brick in modes, a pot of two
skins, and a charge that melts from its surface. No randomness.

In: what a person does. Out: the true state, step by step, and a ledger that balances. Of another build than the other
plants and than the forecast's model, from other literature; only the geometry of a pot is shared. Not here: probes
(sim.plant.tube), the metal's law (sim.plant.melting: diffusion back into the solid).

    cylinder: heat of evaporation out of liquid and steel, air warms them; pressure by Clausius and Clapeyron; the valve
      passes sqrt(pressure). Propane: boils at -42.1 degC, 8.4 bar at 20 degC, 0.43 MJ/kg to boil, 46.3 MJ/kg burnt
      (lower value; printed tables of gas suppliers and the Canadian propane code B149.2); steel and areas are ours
    flame: a well-stirred volume. Heat of the fuel = warm exhaust + what wall, pot and surface take by film and by gas
      radiation, emissivity 0.05-0.2 of a small flame (H. C. Hottel and A. F. Sarofim, Radiative Transfer, 1967).
      15.7 kg of air to a kilogram of propane; the draught draws more, as sqrt(1 - T0/T) of a chimney, also unlit
    brick: a slab in six cosine modes between two fluxes (H. S. Carslaw and J. C. Jaeger, Conduction of Heat in Solids,
      2nd ed., 3.8), with a thin skin of wash before it
    charge: equal spheres; they warm through, then melt from outside at a front and drip (J. Stefan 1889; the sphere's
      surface goes as m^(2/3)). The bath is one, stirred by its own heat
"""

import copy
import math
from dataclasses import dataclass

from pourcall.sim.plant.interface import COLD, PlantStart, PotSpec
from pourcall.sim.plant.melting import ZERO_HEAT_C, Molten

BLACK_W = 5.670374419e-8  # W/(m2 K4), CODATA 2018
ICE_K = 273.15
PROPANE_J_PER_KG = 46.35e6
BOILING_J_PER_KG = 3.6e5  # at 10 degC
LIQUID_GAS_J_PER_KG_K = 2500.0
AIR_PER_FUEL = 15.67
CP_GAS, CP_GAS_RISE = 1060.0, 0.277  # of burnt gas, J/(kg K), and its rise for each K, dissociation in it (memory)
MODES = 6
LOOK_AHEAD_S = 1.0
MOST_STEP_S = 1.0
CRUMB_KG = 0.01
POOL = 0.05  # share of the metal from which one may speak of a bath


@dataclass(frozen=True, slots=True)
class CylinderSpec:
    """The gas. `regulator_bar`: above the air's pressure, as set."""

    gas_kg: float = 8.0
    steel_kg: float = 9.0
    warmed_w_per_k: float = 4.0  # 0.4 m2 wetted by 10 W/(m2 K)
    regulator_bar: float = 1.5


@dataclass(frozen=True, slots=True)
class FlameSpec:
    """The furnace. Ranges: castable of 0.3-1.2 W/(m K), 1000-2200 kg/m3 (makers' sheets, from memory)."""

    name: str = "burner furnace"
    full_kg_per_s: float = 1.9e-4  # at the regulator's pressure: 8.8 kW
    low_share: float = 0.5
    cylinder: CylinderSpec = CylinderSpec()
    air_ratio: float = 1.05  # drawn in by the burner itself
    draught_kg_per_s: float = 1.2e-3
    face_m2: float = 0.14
    thick_m: float = 0.06
    w_per_m_k: float = 0.5
    j_per_m3_k: float = 1.5e6
    skin_j_per_m2_k: float = 5000.0
    skin_m2_k_per_w: float = 0.004
    outside_w_per_m2_k: float = 14.0
    vent_m2: float = 0.004
    opening_m2: float = 0.014  # with the cover off
    wall_film_w_per_m2_k: float = 35.0  # of the swirling flame at full flow
    pot_film_w_per_m2_k: float = 55.0
    gas_emissivity: float = 0.12
    wall_pot_m2: float = 0.022
    through_pot_w_per_k: float = 32.0
    touch_w_per_m2_k: float = 60.0  # pot to spheres, few points and gas between
    bath_pot_w_per_m2_k: float = 1400.0
    bath_sphere_w_per_m2_k: float = 4000.0
    spheres: int = 5
    back_diffusion: float = 0.1  # 0 as Scheil, 0.5 the lever rule
    terminals_rise_c: float = 6.0
    rating_c: float = 1300.0
    fuel: bool = True


class FlamePlant:
    """The true state. Same verbs as every plant (sim.plant.interface)."""

    def __init__(
        self, furnace: FlameSpec, pot: PotSpec, metal: Molten, *, dt_s: float = 0.5, start: PlantStart = COLD
    ) -> None:
        if not 0.0 < dt_s <= MOST_STEP_S:
            raise ValueError(f"a step of {dt_s} s is not within 0 and {MOST_STEP_S}")
        room_c = start.ambient_c
        self.furnace, self.pot, self.metal, self.ambient_c = furnace, pot, metal, room_c
        hot_c = room_c if start.wall_c is None else start.wall_c
        outer_c = room_c if start.lining_c is None else room_c + 0.3 * (start.lining_c - room_c)
        self.skin_c = hot_c
        # cosines of a straight line from hot to outer
        self.modes = [0.5 * (hot_c + outer_c)] + [
            2.0 * (outer_c - hot_c) * ((-1.0) ** n - 1.0) / (n * math.pi) ** 2 for n in range(1, MODES + 1)
        ]
        self._rest = furnace.thick_m / furnace.w_per_m_k
        self._rest *= 1.0 / 3.0 - sum(2.0 / (n * math.pi) ** 2 for n in range(1, MODES + 1))
        self._stays: list[float] = []
        self._gains: list[float] = []
        self.outer_pot_c = self.inner_pot_c = room_c if start.pot_c is None else start.pot_c
        self.gas_k = hot_c + ICE_K
        self.cylinder_c, self.gas_kg = room_c, furnace.cylinder.gas_kg
        self.solid_kg = self.bath_kg = self.poured_kg = 0.0
        self._solid_h = self._bath_h = 0.0
        self._late = False
        self.t_s, self.power_share, self.power_w, self.flow_kg_per_s = 0.0, 0.0, 0.0, 0.0
        self.lid_open = self.lifted = False
        self._welded = self._out = False
        self._strength = 1.0
        self._pour_rate, self._pour_until_kg = 0.0, 0.0
        self.supplied_j = self.brought_j = self.exhaust_j = self.lost_j = self.poured_j = self.skimmed_j = 0.0
        self.dt_s = 0.0
        self._at_step(dt_s)

    def _at_step(self, dt_s: float) -> None:
        """How a mode decays and gains in a step of this length."""
        spec = self.furnace
        self.dt_s = dt_s
        self._stays, self._gains = [], []
        for n in range(1, MODES + 1):
            rate = spec.w_per_m_k / spec.j_per_m3_k * (n * math.pi / spec.thick_m) ** 2
            stays = math.exp(-rate * dt_s)
            self._stays.append(stays)
            self._gains.append((1.0 - stays) / rate * 2.0 / (spec.j_per_m3_k * spec.thick_m))

    # ---- what is seen -------------------------------------------------------------------------------------------

    @property
    def wall_c(self) -> float:
        """The skin of the brick."""
        return self.skin_c

    @property
    def pot_c(self) -> float:
        """The pot's outer skin."""
        return self.outer_pot_c

    @property
    def gas_c(self) -> float:
        """The flame, or the air drawn through."""
        return self.gas_k - ICE_K

    @property
    def terminals_c(self) -> float:
        """In the open, warmed a little by what the furnace gives off."""
        glow = max(0.0, self.skin_c - self.ambient_c) / 1000.0
        return self.ambient_c + 1.0 + self.furnace.terminals_rise_c * glow

    @property
    def mass_kg(self) -> float:
        """All metal in the pot."""
        return self.bath_kg + self.solid_kg

    @property
    def lump_kg(self) -> float:
        """What was added later and still lies solid in the bath."""
        return self.solid_kg if self._late else 0.0

    @property
    def pouring(self) -> bool:
        """Is metal leaving the pot now."""
        return self._pour_rate > 0.0

    @property
    def metal_c(self) -> float:
        """The bath; while there is hardly one the spheres; of an empty pot its inside."""
        if self.bath_kg > POOL * self.mass_kg:
            return self.metal.temp_c(self._bath_h)
        return self.metal.temp_c(self._solid_h) if self.solid_kg > 0.0 else self.inner_pot_c

    @property
    def solid_c(self) -> float:
        """The spheres; the bath where there are none."""
        return self.metal.temp_c(self._solid_h) if self.solid_kg > 0.0 else self.metal_c

    @property
    def liquid_fraction(self) -> float:
        """Of all metal in the pot."""
        total = self.bath_kg + self.solid_kg
        return self.bath_kg * self.metal.liquid(self._bath_h) / total if total > 0.0 else 0.0

    # ---- what a person does -------------------------------------------------------------------------------------

    def set_lid(self, open_: bool) -> None:
        """The cover with its vent: off or on."""
        self.lid_open = open_

    def set_power(self, share: float) -> None:
        """The valve."""
        self.power_share = min(1.0, max(0.0, share))

    def set_faults(self, *, welded_on: bool, element_broken: bool, strength: float = 1.0) -> None:
        """A valve that stays open, a flame that is out, a choked nozzle."""
        self._welded, self._out, self._strength = welded_on, element_broken, strength

    def add(self, kg: float, temp_c: float | None = None) -> None:
        """Solid metal, or a ladle of liquid."""
        if kg <= 0.0:
            raise ValueError(f"cannot add {kg} kg")
        h = self.metal.heat(self.ambient_c if temp_c is None else temp_c)
        self.brought_j += kg * h
        if h >= self.metal.h_liquid:
            self._bath_h = (self._bath_h * self.bath_kg + h * kg) / (self.bath_kg + kg)
            self.bath_kg += kg
            return
        self._late = self.bath_kg > 0.0
        self._solid_h = (self._solid_h * self.solid_kg + h * kg) / (self.solid_kg + kg)
        self.solid_kg += kg

    def skim(self, kg: float) -> None:
        """Dross off."""
        kg = min(kg, 0.2 * self.bath_kg)
        self.skimmed_j += kg * self._bath_h
        self.bath_kg -= kg

    def stir(self) -> None:
        """The bath is even already."""

    def lift(self) -> None:
        """The pot leaves the furnace."""
        self.lifted = True

    def put_back(self) -> None:
        """The pot returns."""
        self.lifted, self._pour_rate = False, 0.0

    def pour(self, kg: float, rate_kg_per_s: float) -> None:
        """Begin to pour; crumbs leave with the last."""
        self._pour_rate, self._pour_until_kg = rate_kg_per_s, max(0.0, self.mass_kg - kg)

    def fork(self, dt_s: float) -> "FlamePlant":
        """A copy to look ahead with."""
        ahead = copy.copy(self)
        ahead.modes = list(self.modes)
        ahead._at_step(dt_s)
        return ahead

    def coast_peak_c(self, horizon_s: float = 900.0) -> float:
        """The highest the metal would reach with the flame out and the cover on from now."""
        ahead = self.fork(LOOK_AHEAD_S)
        ahead.power_share, ahead.lid_open = 0.0, False
        peak_c = ahead.metal_c
        for at in range(int(horizon_s / LOOK_AHEAD_S)):
            ahead.step()
            if at % 10 == 0:
                now_c = ahead.metal_c
                if now_c < peak_c - 0.5 and now_c > ahead.inner_pot_c:
                    break
                peak_c = max(peak_c, now_c)
        return peak_c

    # ---- time ---------------------------------------------------------------------------------------------------

    def step(self) -> None:
        """Advance by the fixed step."""
        spec, dt, room = self.furnace, self.dt_s, self.ambient_c
        self._draw_gas()
        power = self.flow_kg_per_s * PROPANE_J_PER_KG
        skin4, outer4, room4 = (self.skin_c + ICE_K) ** 4, (self.outer_pot_c + ICE_K) ** 4, (room + ICE_K) ** 4
        to_wall, to_pot, power, exhaust = self._burn(power)
        self.power_w = power
        face = spec.face_m2
        # radiation between brick and pot, and out of the vent and the opening
        wall_pot = 0.0 if self.lifted else BLACK_W * spec.wall_pot_m2 * (skin4 - outer4)
        hole_m2 = spec.vent_m2 + (spec.opening_m2 if self.lid_open else 0.0)
        out_of_hole = 0.9 * BLACK_W * hole_m2 * (skin4 - room4)
        slab = self.modes
        inner_c = sum(slab)
        outside_c = slab[0] + sum(slab[2::2]) - sum(slab[1::2])
        into_slab = (self.skin_c - inner_c) / (spec.skin_m2_k_per_w + self._rest)
        from_slab = (outside_c - room) / (1.0 / spec.outside_w_per_m2_k + self._rest)
        self._soak(into_slab, from_slab)
        self.skin_c += dt * ((to_wall - wall_pot - out_of_hole) / face - into_slab) / spec.skin_j_per_m2_k
        pot_loss, metal_loss = self._pot_and_metal(to_pot + wall_pot, room4)
        self.supplied_j += dt * power
        self.exhaust_j += dt * exhaust
        self.lost_j += dt * (from_slab * face + out_of_hole + pot_loss + metal_loss)
        if self._pour_rate > 0.0:
            self._pour_some()
        self.t_s += dt

    def _soak(self, into: float, out: float) -> None:
        """The slab a step later, between the flux into its face and the flux out of its back, W/m2."""
        spec, slab = self.furnace, self.modes
        slab[0] += self.dt_s * (into - out) / (spec.j_per_m3_k * spec.thick_m)
        for at in range(MODES):
            flux = into + out if at % 2 == 0 else into - out
            slab[at + 1] = slab[at + 1] * self._stays[at] + self._gains[at] * flux

    def _draw_gas(self) -> None:
        """Gas drawn, the cylinder colder for it; its pressure by Clausius and Clapeyron."""
        spec, dt = self.furnace, self.dt_s
        bottle = spec.cylinder
        share = 1.0 if self._welded else self.power_share * self._strength
        bar = 8.4 * math.exp(2302.0 * (1.0 / 293.15 - 1.0 / (self.cylinder_c + ICE_K))) - 1.013
        bar = max(0.0, min(bar, bottle.regulator_bar))
        flow = 0.0
        if not self._out and self.gas_kg > 0.02:
            flow = share * spec.full_kg_per_s * math.sqrt(bar / bottle.regulator_bar)
        self.flow_kg_per_s = flow
        self.gas_kg -= flow * dt
        warm = bottle.warmed_w_per_k * (self.ambient_c - self.cylinder_c) - flow * BOILING_J_PER_KG
        self.cylinder_c += dt * warm / (self.gas_kg * LIQUID_GAS_J_PER_KG_K + bottle.steel_kg * 480.0)

    def _burn(self, power: float) -> tuple[float, float, float, float]:
        """Heat to wall and pot, heat that the fuel gives with the air it finds, heat in the exhaust; W."""
        spec, room_k = self.furnace, self.ambient_c + ICE_K
        skin_k, pot_k, gas = self.skin_c + ICE_K, self.outer_pot_c + ICE_K, self.gas_k
        own_air = self.flow_kg_per_s * AIR_PER_FUEL * spec.air_ratio
        drawn = spec.draught_kg_per_s * math.sqrt(max(0.02, 1.0 - room_k / max(gas, room_k + 1.0)))
        if self.lid_open:
            drawn *= 0.5  # the chimney is gone
        if self.flow_kg_per_s > 0.0:
            power *= min(1.0, (own_air + drawn) / (self.flow_kg_per_s * AIR_PER_FUEL))
        mass = own_air + drawn + self.flow_kg_per_s
        speed = (mass / (spec.full_kg_per_s * (1.0 + AIR_PER_FUEL * spec.air_ratio))) ** 0.8
        # burning gas glows; what the draught draws through an unlit furnace is clear
        glow = spec.gas_emissivity * BLACK_W if self.flow_kg_per_s > 0.0 else 0.02 * BLACK_W
        wall_film = spec.wall_film_w_per_m2_k * speed * spec.face_m2
        pot_m2 = 0.0 if self.lifted else self.pot.outer_m2
        pot_film = spec.pot_film_w_per_m2_k * speed * pot_m2
        wall_glow, pot_glow = glow * spec.face_m2, glow * pot_m2
        skin4, pot4 = skin_k**4, pot_k**4
        for _ in range(3):
            cube = gas * gas * gas
            over = gas - room_k
            exhaust = mass * over * (CP_GAS + 0.5 * CP_GAS_RISE * (gas + room_k - 2.0 * 273.15))
            to_wall = wall_film * (gas - skin_k) + wall_glow * (cube * gas - skin4)
            to_pot = pot_film * (gas - pot_k) + pot_glow * (cube * gas - pot4)
            slope = mass * (CP_GAS + CP_GAS_RISE * (gas - 273.15)) + wall_film + pot_film
            slope += 4.0 * (wall_glow + pot_glow) * cube
            gas = min(2600.0, max(room_k, gas + (power - exhaust - to_wall - to_pot) / slope))
        self.gas_k = gas
        over = gas - room_k
        exhaust = mass * over * (CP_GAS + 0.5 * CP_GAS_RISE * (gas + room_k - 2.0 * 273.15))
        to_wall = wall_film * (gas - skin_k) + wall_glow * (gas**4 - skin4)
        to_pot = pot_film * (gas - pot_k) + pot_glow * (gas**4 - pot4)
        return to_wall, to_pot, power, exhaust

    def _pot_and_metal(self, into_pot: float, room4: float) -> tuple[float, float]:
        """Pot, spheres and bath; heat lost by the lifted pot's outside and by the bath's surface, W."""
        spec, pot, metal, dt, room = self.furnace, self.pot, self.metal, self.dt_s, self.ambient_c
        outer, inner = self.outer_pot_c, self.inner_pot_c
        through = spec.through_pot_w_per_k * (outer - inner)
        pot_loss = 0.0
        if self.lifted:
            pot_loss = pot.outer_m2 * (0.82 * BLACK_W * ((outer + ICE_K) ** 4 - room4) + 9.0 * (outer - room))
        from_inner = metal_loss = 0.0
        total = self.mass_kg
        if self.solid_kg > 0.0:
            ball_c = metal.temp_c(self._solid_h)
            ball_m2 = self._sphere_m2()
            lies = self.bath_kg / total
            ball_k, inner_k = ball_c + ICE_K, inner + ICE_K
            glow = 0.3 * BLACK_W * (inner_k + ball_k) * (inner_k * inner_k + ball_k * ball_k)
            dry = 0.35 * ball_m2 * (1.0 - lies) * (spec.touch_w_per_m2_k + glow) * (inner - ball_c)
            from_inner += dry
            wet = 0.0
            if lies > 0.0:
                bath_c = metal.temp_c(self._bath_h)
                wet = spec.bath_sphere_w_per_m2_k * ball_m2 * min(1.0, 2.0 * lies) * (bath_c - ball_c)
                wet = min(wet, 0.15 * self.bath_kg * metal.cp_liquid * max(0.0, bath_c - ball_c) / dt)
                self._bath_h -= dt * wet / self.bath_kg
            self._melt_front(dt * (dry + wet))
        if self.bath_kg > 0.0:
            bath_c = metal.temp_c(self._bath_h)
            film = spec.bath_pot_w_per_m2_k * (0.3 + 0.7 * metal.liquid(self._bath_h))
            wetted = film * 0.55 * pot.outer_m2 * min(1.0, self.bath_kg / max(0.3, total)) * (inner - bath_c)
            from_inner += wetted
            seen4 = room4 if self.lid_open or self.lifted else (0.85 * self.skin_c + 0.15 * room + ICE_K) ** 4
            pool_m2 = pot.mouth_m2 * min(1.0, self.bath_kg / max(0.3, total))
            surface = pool_m2 * metal.emissivity * BLACK_W * (seen4 - (bath_c + ICE_K) ** 4)
            if self.lid_open or self.lifted:
                surface -= pool_m2 * 9.0 * (bath_c - room)
                metal_loss = -surface
            else:
                self.skin_c -= dt * surface / (spec.face_m2 * spec.skin_j_per_m2_k)
            self._bath_h += dt * (wetted + surface) / self.bath_kg
        half_j = 0.5 * pot.mass_kg * pot.cp_j_per_kg_k
        self.outer_pot_c = outer + dt * (into_pot - through - pot_loss) / half_j
        self.inner_pot_c = inner + dt * (through - from_inner) / half_j
        return pot_loss, metal_loss

    def _sphere_m2(self) -> float:
        """Surface of the spheres, by their mass; density 5000 kg/m3, middling."""
        each_m3 = self.solid_kg / (5000.0 * self.furnace.spheres)
        return float(self.furnace.spheres * 4.836 * each_m3 ** (2.0 / 3.0))

    def _melt_front(self, heat_j: float) -> None:
        """Heat into the spheres: they warm to where melting begins, then melt from outside and drip as liquid."""
        metal = self.metal
        begins_h = metal.heat(metal.last_c)
        warm_j = (begins_h - self._solid_h) * self.solid_kg
        if heat_j <= warm_j:
            self._solid_h += heat_j / self.solid_kg
            return
        drip_kg = (heat_j - warm_j) / (metal.h_liquid - begins_h)
        self._solid_h = begins_h
        if drip_kg > self.solid_kg - 0.003:  # the last crumbs
            crumbs, left_j = self.solid_kg, heat_j - warm_j
            self._bath_h = (self._bath_h * self.bath_kg + begins_h * crumbs + left_j) / (self.bath_kg + crumbs)
            self.bath_kg += crumbs
            self.solid_kg = self._solid_h = 0.0
            self._late = False
            return
        self._bath_h = (self._bath_h * self.bath_kg + metal.h_liquid * drip_kg) / (self.bath_kg + drip_kg)
        self.bath_kg += drip_kg
        self.solid_kg -= drip_kg

    def _pour_some(self) -> None:
        out_kg = min(self._pour_rate * self.dt_s, self.mass_kg - self._pour_until_kg, self.bath_kg)
        if self.bath_kg - out_kg < CRUMB_KG:
            out_kg = self.bath_kg
        self.poured_kg += out_kg
        self.poured_j += out_kg * self._bath_h
        self.bath_kg -= out_kg
        if self.bath_kg <= 0.0:
            self.bath_kg = self._bath_h = 0.0
        if out_kg <= 0.0 or self.mass_kg <= self._pour_until_kg + 1e-9:
            self._pour_rate = 0.0

    # ---- the ledger ---------------------------------------------------------------------------------------------

    def stored_j(self) -> float:
        """Heat in all bodies above 25 degC. Of the slab's modes only the mean holds heat; gas holds none."""
        spec, zero = self.furnace, ZERO_HEAT_C
        half_j = 0.5 * self.pot.mass_kg * self.pot.cp_j_per_kg_k
        return (
            spec.face_m2 * spec.skin_j_per_m2_k * (self.skin_c - zero)
            + spec.face_m2 * spec.thick_m * spec.j_per_m3_k * (self.modes[0] - zero)
            + half_j * (self.outer_pot_c + self.inner_pot_c - 2.0 * zero)
            + self.bath_kg * self._bath_h
            + self.solid_kg * self._solid_h
        )

    def net_in_j(self) -> float:
        """What came in less what went out since the start; equals the change of `stored_j`."""
        return self.supplied_j + self.brought_j - self.exhaust_j - self.lost_j - self.poured_j - self.skimmed_j
