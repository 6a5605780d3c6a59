"""An electric chamber furnace of insulating brick whose panel regulates the chamber, not the metal. No randomness.

In: what a person does. Out: the true state, step by step, and a ledger that balances. Of another build than
sim.plant.furnace and than the forecast's model, from other literature; nothing is shared with either but the geometry
of a pot. Not here: probes (sim.plant.rod), the metal's law (sim.plant.melting: Scheil).

    element -(T4)-> hot face, pot;  hot face -(T4)-> pot, lid;  hot face -> brick, node by node -> shell -> room
    pot side <-> pot base <-> plinth brick;  side, base <-> lower and upper half of the bath;  lid -(T4)-> dross -> bath
    pieces of the charge <-> pot by their few points of contact and by T4, <-> bath as far as they lie in it

Brick: finite volumes, explicit (S. V. Patankar, Numerical Heat Transfer and Fluid Flow, 1980). Radiation: grey surfaces
by pairs (Incropera and DeWitt, Fundamentals of Heat and Mass Transfer, ch. 13). Convection of still air outside: 1.42
(dT/L)^0.25 W/(m2 K) of the same book, ch. 9, simplified. Mixing of the bath: conduction when the warmer half lies
above, more when below, after the 1/3 law of Rayleigh-Benard convection (from memory, coefficient ours).
A piece collapses into the bath when so much of it is liquid that its network of crystals no longer carries: coherency
at 15 to 50 % solid lost (L. Arnberg and L. Backerud, Solidification Characteristics of Aluminum Alloys 3, from memory).
"""

import copy
import math
from dataclasses import dataclass
from typing import Literal

from pourcall.sim.plant.interface import COLD, PlantStart, PotSpec
from pourcall.sim.plant.melting import ZERO_HEAT_C, Molten

STEFAN = 5.670374419e-8  # W/(m2 K4), CODATA 2018
CELSIUS_K = 273.15
LOOK_AHEAD_S = 2.0
MOST_STEP_S = 2.0  # the hot face, thinnest of the nodes, follows within 2.5 s at 1200 degC
HEEL_KG = 0.012
SWEATS = 0.08  # share liquid from which a piece lets liquid go, as in sweating furnaces (from memory)
POOL = 0.05  # share of the metal from which one may speak of a bath
CALM_S = 30.0  # after a stir the halves are still one

Panel = Literal["on_off", "pid", "bimetal"]


@dataclass(frozen=True, slots=True)
class PanelSpec:
    """The furnace's own controller, which sees the chamber. Own ranges of usual parts, no source."""

    kind: Panel = "on_off"
    high_c: float = 950.0  # what the person sets for "high"
    low_c: float = 650.0
    band_c: float = 6.0  # between on and off; a bimetal strip 25-60
    lag_s: float = 25.0  # of its sensor in the wall
    cycle_s: float = 12.0  # of a time-proportioned output
    proportional_c: float = 60.0
    integral_s: float = 400.0


@dataclass(frozen=True, slots=True)
class BrickSpec:
    """The furnace. Brick: conductivity and volumetric heat of insulating firebricks, group 23 to 28 of ASTM C155
    (0.12-0.35 W/(m K) rising with temperature, 480-900 kg/m3, 1.05 kJ/(kg K): makers' data sheets, from memory)."""

    name: str = "chamber furnace"
    power_w: float = 2400.0
    low_share: float = 0.5
    panel: PanelSpec = PanelSpec()
    face_m2: float = 0.13
    thick_m: float = 0.075
    w_per_m_k: float = 0.14  # at 0 degC
    w_per_m_k2: float = 1.0e-4  # its rise
    j_per_m3_k: float = 6.0e5
    shell_m2: float = 0.45
    shell_j_per_k: float = 900.0  # sheet steel
    element_j_per_k: float = 180.0  # 0.3 kg of FeCrAl wire at 0.6 kJ/(kg K)
    element_face_m2: float = 0.022  # grey exchange areas: emissivities 0.7-0.9 and view factors in them
    element_pot_m2: float = 0.012
    face_pot_m2: float = 0.018
    lid_m2: float = 0.014
    lid_j_per_k: float = 900.0
    lid_room_w_per_k: float = 0.10
    slit_w_per_k: float = 0.08  # air through the joint of the lid
    plinth_j_per_k: float = 500.0
    base_plinth_w_per_k: float = 0.6
    plinth_room_w_per_k: float = 0.06
    side_base_w_per_k: float = 1.6  # along a wall of 25-40 W/(m K)
    wetting_w_per_m2_k: float = 900.0  # bath to pot, oxide film between (500-1500)
    piece_contact_w_per_k: float = 2.2  # a kilogram's few points of contact with the pot
    piece_m2: float = 0.012  # of a kilogram, seen by the pot's wall
    piece_bath_w_per_m2_k: float = 4500.0  # a bath hardly outruns the pieces that lie in it (2000-10,000, from memory)
    pieces: tuple[float, ...] = (0.4, 0.35, 0.25)  # shares of a charge
    collapse_at: float = 0.4  # share liquid at which a piece gives way
    collapse_s: float = 9.0
    sweat_s: float = 40.0
    mixing_w_per_k: float = 6.0  # of a kilogram: halves of the bath, the warmer above
    dross_m2_k_per_w: float = 0.004  # of a skin ten minutes old
    rating_c: float = 1200.0  # as its plate and the settings say
    terminals_share: float = 0.25  # of the shell's rise that reaches the terminals
    fuel: bool = False


@dataclass(slots=True)
class Piece:
    """One piece of the charge. `touch`: its contact as against the mean; `later`: it was added to a bath."""

    kg: float
    h: float
    touch: float
    later: bool
    giving_way: bool = False


class BrickPlant:
    """The true state. Same verbs as every plant (sim.plant.interface)."""

    def __init__(
        self, furnace: BrickSpec, pot: PotSpec, metal: Molten, *, dt_s: float = 0.5, start: PlantStart = COLD
    ) -> None:
        if not 0.0 < dt_s <= MOST_STEP_S:
            raise ValueError(f"a step of {dt_s} s is not within 0 and {MOST_STEP_S}")
        room_c = start.ambient_c
        self.furnace, self.pot, self.metal, self.dt_s, self.ambient_c = furnace, pot, metal, dt_s, room_c
        hot_c = room_c if start.wall_c is None else start.wall_c
        outer_c = room_c if start.lining_c is None else room_c + 0.12 * (start.lining_c - room_c)
        parts = [1.0, 1.6, 2.6, 4.0, 5.5]
        self._thick = [furnace.thick_m * part / sum(parts) for part in parts]
        self._j = [furnace.j_per_m3_k * furnace.face_m2 * thick for thick in self._thick]
        depth, self.brick_c = 0.0, []
        for thick in self._thick:
            share = (depth + 0.5 * thick) / furnace.thick_m
            self.brick_c.append(hot_c + share * (outer_c - hot_c))
            depth += thick
        self.shell_c, self.element_c = outer_c, hot_c
        self.lid_c, self.plinth_c = room_c + 0.8 * (hot_c - room_c), room_c + 0.7 * (hot_c - room_c)
        self.side_c = self.base_c = room_c if start.pot_c is None else start.pot_c
        self.pieces: list[Piece] = []
        self.bath_kg = self.poured_kg = 0.0
        self._low_h = self._top_h = 0.0
        self.t_s, self.power_share, self.power_w = 0.0, 0.0, 0.0
        self.sensor_c, self._on, self._sum, self._duty, self._cycle_at_s = hot_c, False, 0.0, 0.0, -1e9
        self.lid_open = self.lifted = False
        self._welded = self._broken = False
        self._strength = 1.0
        self._stirred_s, self._bared_s = -1e9, 0.0
        self._pour_rate, self._pour_until_kg = 0.0, 0.0
        self.supplied_j = self.brought_j = self.lost_j = self.poured_j = self.skimmed_j = 0.0
        self._touches = (1.3, 0.7, 1.1, 0.85)

    # ---- what is seen -------------------------------------------------------------------------------------------

    @property
    def wall_c(self) -> float:
        """The hot face."""
        return self.brick_c[0]

    @property
    def pot_c(self) -> float:
        """The pot's side."""
        return self.side_c

    @property
    def terminals_c(self) -> float:
        """The terminals stand on the shell."""
        return self.ambient_c + 1.5 + self.furnace.terminals_share * max(0.0, self.shell_c - self.ambient_c)

    @property
    def mass_kg(self) -> float:
        """All metal in the pot."""
        return self.bath_kg + sum(piece.kg for piece in self.pieces)

    @property
    def lump_kg(self) -> float:
        """What was added later and still lies solid in the bath."""
        return sum(piece.kg for piece in self.pieces if piece.later)

    @property
    def pouring(self) -> bool:
        """Is metal leaving the pot now."""
        return self._pour_rate > 0.0

    @property
    def metal_c(self) -> float:
        """The bath as if stirred; while there is hardly one the mean of the pieces."""
        if self.bath_kg > POOL * self.mass_kg:
            return self.metal.temp_c(0.5 * (self._low_h + self._top_h))
        return self.pieces_c if self.pieces else self.side_c

    @property
    def liquid_fraction(self) -> float:
        """Of all metal in the pot."""
        total = self.bath_kg
        molten = 0.5 * total * (self.metal.liquid(self._low_h) + self.metal.liquid(self._top_h)) if total else 0.0
        for piece in self.pieces:
            total += piece.kg
            molten += piece.kg * self.metal.liquid(piece.h)
        return molten / total if total > 0.0 else 0.0

    def layer_c(self, depth_share: float) -> float:
        """The bath at this share of its depth; half-way between the halves in the middle."""
        low_c, top_c = self.metal.temp_c(self._low_h), self.metal.temp_c(self._top_h)
        share = min(1.0, max(0.0, 2.0 * depth_share - 0.5))
        return top_c + share * (low_c - top_c)

    @property
    def pieces_c(self) -> float:
        """Mean of the pieces; of the bath where there are none."""
        if not self.pieces:
            return self.metal.temp_c(0.5 * (self._low_h + self._top_h))
        return self.metal.temp_c(sum(p.kg * p.h for p in self.pieces) / sum(p.kg for p in self.pieces))

    # ---- what a person does -------------------------------------------------------------------------------------

    def set_lid(self, open_: bool) -> None:
        """Open or shut."""
        self.lid_open = open_

    def set_power(self, share: float) -> None:
        """Sets the panel: 0 off, `low_share` its lower setpoint, 1 its higher; between them in proportion."""
        self.power_share = min(1.0, max(0.0, share))

    def set_faults(self, *, welded_on: bool, element_broken: bool, strength: float = 1.0) -> None:
        """A relay that sticks, a broken element, a share of the power."""
        self._welded, self._broken, self._strength = welded_on, element_broken, strength

    def add(self, kg: float, temp_c: float | None = None) -> None:
        """A charge comes as the furnace's usual pieces; what is added to a bath as one."""
        if kg <= 0.0:
            raise ValueError(f"cannot add {kg} kg")
        h = self.metal.heat(self.ambient_c if temp_c is None else temp_c)
        self.brought_j += kg * h
        molten = self.liquid_fraction > 0.0
        if h >= self.metal.h_liquid:  # ladled in
            self._into_bath(kg, h)
            return
        for at, share in enumerate((1.0,) if molten else self.furnace.pieces):
            self.pieces.append(Piece(kg * share, h, 1.0 if molten else self._touches[at % 4], later=molten))

    def skim(self, kg: float) -> None:
        """Dross off; the surface is bare again and the bath stirred."""
        kg = min(kg, 0.2 * self.bath_kg)
        if kg > 0.0:
            self.skimmed_j += kg * self._top_h
            self._take_top(kg)
        self.stir()
        self._bared_s = self.t_s

    def stir(self) -> None:
        """The halves become one for a while."""
        self._stirred_s = self.t_s
        self._low_h = self._top_h = 0.5 * (self._low_h + self._top_h)

    def lift(self) -> None:
        """The pot leaves the furnace."""
        self.lifted = True

    def put_back(self) -> None:
        """The pot returns."""
        self.lifted, self._pour_rate = False, 0.0

    def pour(self, kg: float, rate_kg_per_s: float) -> None:
        """Begin to pour; a heel under 12 g leaves with the last."""
        self._pour_rate, self._pour_until_kg = rate_kg_per_s, max(0.0, self.mass_kg - kg)

    def fork(self, dt_s: float) -> "BrickPlant":
        """A copy to look ahead with."""
        ahead = copy.copy(self)
        ahead.brick_c = list(self.brick_c)
        ahead.pieces = [copy.copy(piece) for piece in self.pieces]
        ahead.dt_s = dt_s
        return ahead

    def coast_peak_c(self, horizon_s: float = 900.0) -> float:
        """The highest the bath would reach with the panel off and the lid on from now."""
        ahead = self.fork(LOOK_AHEAD_S)
        ahead.power_share, ahead.lid_open = 0.0, False
        peak_c = ahead.metal_c
        for at in range(int(horizon_s / LOOK_AHEAD_S)):
            ahead.step()
            if at % 5 == 0:
                now_c = ahead.metal_c
                if now_c < peak_c - 0.5 and now_c > ahead.side_c:
                    break
                peak_c = max(peak_c, now_c)
        return peak_c

    # ---- time ---------------------------------------------------------------------------------------------------

    def step(self) -> None:
        """Advance by the fixed step."""
        spec, dt, room = self.furnace, self.dt_s, self.ambient_c
        brick, element, side, lid = self.brick_c, self.element_c, self.side_c, self.lid_c
        face = brick[0]
        element4, face4 = (element + CELSIUS_K) ** 4, (face + CELSIUS_K) ** 4
        side4, lid4, room4 = (side + CELSIUS_K) ** 4, (lid + CELSIUS_K) ** 4, (room + CELSIUS_K) ** 4

        power = self._regulated(face, element)
        self.power_w = power
        to_face = STEFAN * spec.element_face_m2 * (element4 - face4) + 0.12 * (element - face)
        if self.lifted:
            to_side = side_from_face = 0.0
        else:
            to_side = STEFAN * spec.element_pot_m2 * (element4 - side4)
            side_from_face = STEFAN * spec.face_pot_m2 * (face4 - side4) + 0.10 * (face - side)
        # the lid: over the chamber, or lying beside it
        if self.lid_open:
            to_lid, face_to_room = 0.0, STEFAN * 0.85 * spec.lid_m2 * (face4 - room4) + 0.16 * (face - room)
            lid_to_room = STEFAN * 0.8 * spec.lid_m2 * (lid4 - room4) + spec.lid_room_w_per_k * (lid - room)
        else:
            to_lid = STEFAN * 0.75 * spec.lid_m2 * (face4 - lid4) + 0.08 * (face - lid)
            face_to_room, lid_to_room = spec.slit_w_per_k * (face - room), spec.lid_room_w_per_k * (lid - room)

        shell_to_room = self._shell_loss_w(room4)
        shell_in = self._conduct(to_face - side_from_face - to_lid - face_to_room)
        self.shell_c += dt * (shell_in - shell_to_room) / spec.shell_j_per_k
        self.element_c += dt * (power - to_face - to_side) / spec.element_j_per_k
        self.lid_c += dt * (to_lid - lid_to_room) / spec.lid_j_per_k
        pot_loss, metal_loss, lid_out = self._pot_and_metal(to_side + side_from_face, lid4, room4)
        self.lid_c -= dt * lid_out / spec.lid_j_per_k
        plinth_loss = spec.plinth_room_w_per_k * (self.plinth_c - room)
        self.plinth_c -= dt * plinth_loss / spec.plinth_j_per_k
        self.supplied_j += dt * power
        self.lost_j += dt * (shell_to_room + face_to_room + lid_to_room + plinth_loss + pot_loss + metal_loss)
        if self._pour_rate > 0.0:
            self._pour_some()
        self.t_s += dt

    def _regulated(self, face: float, element: float) -> float:
        """The power the panel gives, W. Its sensor sees the chamber: mostly the wall, partly the element."""
        spec, panel = self.furnace, self.furnace.panel
        seen = 0.75 * face + 0.25 * element
        self.sensor_c += (seen - self.sensor_c) * (1.0 - math.exp(-self.dt_s / panel.lag_s))
        if self._broken:
            return 0.0
        if self._welded:
            return spec.power_w
        if self.power_share <= 0.0:
            self._on, self._sum = False, 0.0
            return 0.0
        part = (self.power_share - spec.low_share) / max(1e-6, 1.0 - spec.low_share)
        setpoint = panel.low_c + part * (panel.high_c - panel.low_c)
        if panel.kind == "pid":
            self._proportion(setpoint)
        elif self.sensor_c < setpoint - 0.5 * panel.band_c:
            self._on = True
        elif self.sensor_c > setpoint + 0.5 * panel.band_c:
            self._on = False
        return spec.power_w * self._strength if self._on else 0.0

    def _proportion(self, setpoint: float) -> None:
        """A textbook PI controller with a time-proportioned output."""
        panel = self.furnace.panel
        if self.t_s - self._cycle_at_s >= panel.cycle_s:
            error = (setpoint - self.sensor_c) / panel.proportional_c
            if abs(error) < 1.0:
                self._sum = min(1.0, max(0.0, self._sum + error * panel.cycle_s / panel.integral_s))
            self._duty, self._cycle_at_s = min(1.0, max(0.0, error + self._sum)), self.t_s
        self._on = self.t_s - self._cycle_at_s < self._duty * panel.cycle_s

    def _shell_loss_w(self, room4: float) -> float:
        """Still air and radiation from the painted shell."""
        over = self.shell_c - self.ambient_c
        air: float = 1.42 * abs(over / 0.3) ** 0.25 * over
        return self.furnace.shell_m2 * (air + 0.9 * STEFAN * ((self.shell_c + CELSIUS_K) ** 4 - room4))

    def _conduct(self, into_face: float) -> float:
        """Heat through the brick, node by node; what reaches the shell, W."""
        spec, brick, dt = self.furnace, self.brick_c, self.dt_s
        thick, heat_j, flow = self._thick, self._j, into_face
        for at in range(len(brick)):
            here = brick[at]
            if at + 1 < len(brick):
                k = spec.w_per_m_k + 0.5 * spec.w_per_m_k2 * (here + brick[at + 1])
                onward = 2.0 * k * spec.face_m2 * (here - brick[at + 1]) / (thick[at] + thick[at + 1])
            else:
                k = spec.w_per_m_k + 0.5 * spec.w_per_m_k2 * (here + self.shell_c)
                onward = 2.0 * k * spec.face_m2 * (here - self.shell_c) / thick[at]
            brick[at] = here + dt * (flow - onward) / heat_j[at]
            flow = onward
        return flow

    def _pot_and_metal(self, into_side: float, lid4: float, room4: float) -> tuple[float, float, float]:
        """Pot, bath and pieces; heat lost by the pot's outside, by the bath's surface, and taken from the lid, W."""
        spec, pot, metal, dt, room = self.furnace, self.pot, self.metal, self.dt_s, self.ambient_c
        side, base, plinth = self.side_c, self.base_c, self.plinth_c
        along = spec.side_base_w_per_k * (side - base)
        down = 0.0 if self.lifted else spec.base_plinth_w_per_k * (base - plinth)
        side_loss = base_loss = 0.0
        if self.lifted:
            base_m2 = 0.25 * pot.outer_m2
            for_side = 0.88 * STEFAN * ((side + CELSIUS_K) ** 4 - room4) + 12.0 * (side - room)
            for_base = 0.88 * STEFAN * ((base + CELSIUS_K) ** 4 - room4) + 6.0 * (base - room)
            side_loss, base_loss = (pot.outer_m2 - base_m2) * for_side, base_m2 * for_base
        side_w, base_w = into_side - along - side_loss, along - down - base_loss
        metal_loss = lid_out = 0.0
        bare = self.lid_open or self.lifted
        side4 = (side + CELSIUS_K) ** 4
        bath_kg = self.bath_kg
        for piece in self.pieces:
            piece_c = metal.temp_c(piece.h)
            area = piece.kg**0.6667
            lies = bath_kg / (bath_kg + piece.kg) if bath_kg > 0.0 else 0.0
            seen = STEFAN * 0.35 * spec.piece_m2 * area * (side4 - (piece_c + CELSIUS_K) ** 4) * (1.0 - lies)
            touch = spec.piece_contact_w_per_k * piece.touch * math.sqrt(piece.kg) * (1.0 - 0.7 * lies)
            by_side, by_base = seen + 0.5 * touch * (side - piece_c), 0.5 * touch * (base - piece_c)
            side_w -= by_side
            base_w -= by_base
            by_bath = 0.0
            if lies > 0.0:
                low_c = metal.temp_c(self._low_h)
                by_bath = spec.piece_bath_w_per_m2_k * 0.02 * area * lies * (low_c - piece_c)
                by_bath = min(by_bath, 0.2 * bath_kg * max(0.0, self._low_h - piece.h) / dt)
                self._low_h -= dt * by_bath / (0.5 * bath_kg)
            piece.h += dt * (by_side + by_base + by_bath) / piece.kg
        if bath_kg > 0.0:
            low_c, top_c = metal.temp_c(self._low_h), metal.temp_c(self._top_h)
            wet_share = min(1.0, bath_kg / max(0.3, self.mass_kg))
            half_m2 = 0.35 * pot.outer_m2 * wet_share
            wet = spec.wetting_w_per_m2_k * (0.35 + 0.65 * metal.liquid(self._low_h))
            low_in, base_in = wet * half_m2 * (side - low_c), wet * 0.2 * pot.outer_m2 * wet_share * (base - low_c)
            top_in = wet * half_m2 * (side - top_c)
            upward = self._mixing_w(low_c - top_c)
            surface = wet_share * self._surface_w(top_c, room4 if bare else lid4)  # a small pool has a small surface
            if bare:
                metal_loss = -surface
            else:
                lid_out = surface
            side_w -= low_in + top_in
            base_w -= base_in
            half_kg = 0.5 * bath_kg
            self._low_h += dt * (low_in + base_in - upward) / half_kg
            self._top_h += dt * (top_in + upward + surface) / half_kg
        pot_j = pot.mass_kg * pot.cp_j_per_kg_k
        self.side_c = side + dt * side_w / (0.75 * pot_j)
        self.base_c = base + dt * base_w / (0.25 * pot_j)
        self.plinth_c = plinth + dt * down / spec.plinth_j_per_k
        if self.pieces:
            self._collapse()
        return side_loss + base_loss, metal_loss, lid_out

    def _mixing_w(self, low_over_top: float) -> float:
        """Heat from the lower to the upper half of the bath, W."""
        if self.t_s - self._stirred_s < CALM_S:
            return 60.0 * self.bath_kg * low_over_top
        rising: float = 3.0 * low_over_top ** (1.0 / 3.0) if low_over_top > 0.0 else 0.0
        return self.furnace.mixing_w_per_k * self.bath_kg * (1.0 + rising) * low_over_top

    def _surface_w(self, top_c: float, seen4: float) -> float:
        """Heat into the bath by its surface, W: radiation in series with a skin of dross that thickens as sqrt(t)."""
        age_s = max(0.0, self.t_s - self._bared_s)
        skin = self.furnace.dross_m2_k_per_w * math.sqrt(min(age_s, 3600.0) / 600.0)
        seen_k: float = seen4**0.25
        top_k = top_c + CELSIUS_K
        film = self.metal.emissivity * STEFAN * (seen_k + top_k) * (seen_k * seen_k + top_k * top_k) + 6.0
        return self.pot.mouth_m2 * (seen_k - top_k) / (1.0 / film + skin)

    def _into_bath(self, kg: float, h: float) -> None:
        """Metal runs into the lower half, and as much of that rises into the upper."""
        half_kg = 0.5 * self.bath_kg
        self._low_h = (self._low_h * half_kg + h * kg) / (half_kg + kg)
        self._top_h = (self._top_h * half_kg + self._low_h * 0.5 * kg) / (half_kg + 0.5 * kg)
        self.bath_kg += kg

    def _take_top(self, kg: float) -> None:
        """Metal leaves from the upper half, and as much of the lower rises."""
        left_kg = self.bath_kg - kg
        if left_kg > 1e-9:
            heat_j = 0.5 * self.bath_kg * self._top_h - kg * self._top_h + 0.5 * kg * self._low_h
            self._top_h = heat_j / (0.5 * left_kg)
        self.bath_kg = max(0.0, left_kg)

    def _collapse(self) -> None:
        """Pieces sweat their liquid from early on; those that no longer carry themselves run into the bath whole."""
        spec, metal, gone = self.furnace, self.metal, False
        for piece in self.pieces:
            liquid = metal.liquid(piece.h)
            if liquid > SWEATS and not piece.giving_way:
                kg = piece.kg * (liquid - SWEATS) * self.dt_s / spec.sweat_s
                h = piece.h + (1.0 - liquid) * metal.latent_j_per_kg  # it is all liquid that leaves
                self._into_bath(kg, h)
                piece.h = (piece.h * piece.kg - h * kg) / (piece.kg - kg)
                piece.kg -= kg
            if not piece.giving_way and liquid >= spec.collapse_at:
                piece.giving_way = True
            if piece.giving_way:
                kg = piece.kg if piece.kg < 0.004 else piece.kg * min(1.0, self.dt_s / spec.collapse_s)
                self._into_bath(kg, piece.h)
                piece.kg -= kg
                gone = gone or piece.kg <= 0.0
        if gone:
            self.pieces = [piece for piece in self.pieces if piece.kg > 0.0]

    def _pour_some(self) -> None:
        out_kg = min(self._pour_rate * self.dt_s, self.mass_kg - self._pour_until_kg, self.bath_kg)
        if self.bath_kg - out_kg < HEEL_KG:
            out_kg = self.bath_kg
        # a tilted pot mixes itself
        self._low_h = self._top_h = 0.5 * (self._low_h + self._top_h)
        self.poured_kg += out_kg
        self.poured_j += out_kg * self._top_h
        self.bath_kg -= out_kg
        if self.bath_kg <= 0.0:
            self.bath_kg = self._low_h = self._top_h = 0.0
        if out_kg <= 0.0 or self.mass_kg <= self._pour_until_kg + 1e-9:
            self._pour_rate = 0.0

    # ---- the ledger ---------------------------------------------------------------------------------------------

    def stored_j(self) -> float:
        """Heat in all bodies above 25 degC."""
        spec, zero = self.furnace, ZERO_HEAT_C
        pot_j = self.pot.mass_kg * self.pot.cp_j_per_kg_k
        return (
            spec.element_j_per_k * (self.element_c - zero)
            + sum(j * (c - zero) for j, c in zip(self._j, self.brick_c, strict=True))
            + spec.shell_j_per_k * (self.shell_c - zero)
            + spec.lid_j_per_k * (self.lid_c - zero)
            + spec.plinth_j_per_k * (self.plinth_c - zero)
            + pot_j * (0.75 * self.side_c + 0.25 * self.base_c - zero)
            + 0.5 * self.bath_kg * (self._low_h + self._top_h)
            + sum(piece.kg * piece.h for piece in self.pieces)
        )

    def net_in_j(self) -> float:
        """What came in less what went out since the start; equals the change of `stored_j`."""
        return self.supplied_j + self.brought_j - self.lost_j - self.poured_j - self.skimmed_j
