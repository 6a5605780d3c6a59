"""A thermocouple as a rod in the brick furnace: tip, shank and dry end with heat along it, pickup, and a frozen shell.

In: the plant and where a person holds the rod. Out: the junction's temperature and what the couple would say of it.
Three finite volumes along the rod (S. V. Patankar, 1980); each follows what it lies in through a film and through half
of its own inside. Conductivities of sheaths and of compacted magnesia, and films of 10-15 W/(m2 K) in still air and
2000-4000 in liquid metal: handbook values from memory. A cold rod freezes a shell of metal on itself, by the balance of
heat at its face (J. Stefan, Sitzungsber. Akad. Wiss. Wien 98 (1889) 965). Pickup: white noise, slow wander after G. E.
Uhlenbeck and L. S. Ornstein, Phys. Rev. 36 (1930) 823, and bursts while the element is on; their sizes are ours.
"""

import math
from dataclasses import dataclass
from random import Random

from pourcall.sim.plant.brick import CELSIUS_K, STEFAN, BrickPlant

METAL_FILM_W_PER_M2_K = 2500.0
AIR_FILM_W_PER_M2_K = 11.0
DRAUGHT_FILM_W_PER_M2_K = 25.0  # in the chamber
TIP_M, DRY_M = 0.012, 0.05


@dataclass(frozen=True, slots=True)
class Rod:
    """Diameter, m; conductivity across (to the junction) and along; volumetric heat, J/(m3 K)."""

    diameter_m: float
    across_w_per_m_k: float
    along_w_per_m_k: float
    j_per_m3_k: float = 3.8e6


# Magnesia in a steel sheath: along it a third of the section is metal of 22 W/(m K). Grounded: the junction touches the
# sheath. Tubes: alumina of 6 W/(m K) with an air gap inside. Across: such that t90 is that of the printed table.
RODS: dict[str, Rod] = {
    "mi_1.5": Rod(0.0015, 5.0, 9.0),
    "mi_3.0": Rod(0.0030, 5.0, 9.0),
    "mi_4.5": Rod(0.0045, 5.0, 9.0),
    "mi_6.0": Rod(0.0060, 5.0, 9.0),
    "mi_8.0": Rod(0.0080, 5.0, 9.0),
    "grounded_3.0": Rod(0.0030, 12.0, 9.0),
    "grounded_4.5": Rod(0.0045, 12.0, 9.0),
    "grounded_6.0": Rod(0.0060, 12.0, 9.0),
    "tube_12": Rod(0.0120, 2.5, 5.0, 3.0e6),
    "tube_20": Rod(0.0200, 3.0, 5.0, 3.0e6),
}


@dataclass(frozen=True, slots=True)
class Pickup:
    """Noise of the leads, degC: one sigma of a sample, of the slow wander with its time; peak of a burst, its share."""

    white_c: float = 0.1
    wander_c: float = 0.0
    wander_s: float = 15.0
    burst_c: float = 0.0
    burst_share: float = 0.0


class RodProbe:
    """A probe in a BrickPlant. `place`: melt, chamber, air."""

    def __init__(
        self,
        plant: BrickPlant,
        sheath: str,
        *,
        dt_s: float,
        start_c: float,
        place: str = "air",
        depth_mm: float = 50.0,
        gain: float = 1.0,
        pickup: Pickup = Pickup(),
        sees_pot: float = 0.3,
        rng: Random | None = None,
    ) -> None:
        """`sees_pot`: between solid pieces, the share of the pot's wall in what surrounds the tip."""
        self.plant, self.rod, self.dt_s = plant, RODS[sheath], dt_s
        self.place, self.depth_mm, self.gain, self.pickup, self.sees_pot = place, depth_mm, gain, pickup, sees_pot
        self._tip_c = self._shank_c = self._dry_c = self._core_c = start_c
        self._shell_m, self._wander, self.in_metal = 0.0, 0.0, False
        self._rng = rng or Random(0)

    @property
    def junction_c(self) -> float:
        """The hot junction in the tip."""
        return self._core_c

    def move(self, place: str, depth_mm: float | None = None) -> None:
        """To another place at once."""
        if depth_mm is not None:
            self.depth_mm = depth_mm
        if place != self.place:
            self._shell_m = 0.0
        self.place = place

    def step(self) -> None:
        """One step of the plant's."""
        rod, plant, dt = self.rod, self.plant, self.dt_s
        self.in_metal = self.place == "melt" and plant.mass_kg > 0.0
        section = math.pi * rod.diameter_m * rod.diameter_m / 4.0
        round_m = math.pi * rod.diameter_m
        wet_m = max(0.004, self.depth_mm * 1e-3 - TIP_M) if self.in_metal else 0.03
        tip_film, tip_at, shank_film, shank_at, dry_at = self._around()
        # a shell of frozen metal holds the tip at the temperature where the last liquid freezes
        if self.in_metal and plant.bath_kg > 0.0:
            tip_film, tip_at = self._shell(tip_film, tip_at)
        dry_film = AIR_FILM_W_PER_M2_K if self.place == "air" or plant.lid_open else DRAUGHT_FILM_W_PER_M2_K
        dry_film += _glow(self._dry_c, dry_at)
        tip_shank = rod.along_w_per_m_k * section / (0.5 * (TIP_M + wet_m)) * (self._shank_c - self._tip_c)
        shank_dry = rod.along_w_per_m_k * section / (0.5 * (wet_m + DRY_M)) * (self._dry_c - self._shank_c)
        unit_j = rod.j_per_m3_k * section
        self._tip_c = _follow(self._tip_c, tip_at, tip_film * round_m * TIP_M, tip_shank, unit_j * TIP_M, dt)
        self._shank_c = _follow(
            self._shank_c, shank_at, shank_film * round_m * wet_m, shank_dry - tip_shank, unit_j * wet_m, dt
        )
        self._dry_c = _follow(self._dry_c, dry_at, dry_film * round_m * DRY_M, -shank_dry, unit_j * DRY_M, dt)
        # the junction sits inside: a quarter of the radius squared over the diffusivity
        inner_s = rod.j_per_m3_k * rod.diameter_m**2 / (23.0 * rod.across_w_per_m_k)
        self._core_c += (self._tip_c - self._core_c) * (1.0 - math.exp(-dt / max(1e-3, inner_s)))
        if self.pickup.wander_c > 0.0:
            stays = math.exp(-dt / self.pickup.wander_s)
            drawn = self._rng.gauss(0.0, self.pickup.wander_c * math.sqrt(1.0 - stays * stays))
            self._wander = self._wander * stays + drawn

    def _around(self) -> tuple[float, float, float, float, float]:
        """Film, W/(m2 K), and temperature around the tip; the same of the shank; temperature around the dry end."""
        plant, rod = self.plant, self.rod
        inside = 4.0 * rod.across_w_per_m_k / rod.diameter_m
        room_c = plant.ambient_c
        above_c = room_c if plant.lid_open or plant.lifted else plant.wall_c
        if self.in_metal:
            wet = 1.0 / (1.0 / METAL_FILM_W_PER_M2_K + 1.0 / inside)
            if plant.bath_kg <= 0.0 or plant.bath_kg < 0.15 * plant.mass_kg:
                between_c = plant.pieces_c + self.sees_pot * (plant.side_c - plant.pieces_c)
                film = 40.0 + _glow(self._tip_c, between_c)
                return film, between_c, film, between_c, above_c
            depth = min(1.0, self.depth_mm / 70.0)
            return wet, plant.layer_c(depth), wet, plant.layer_c(0.4 * depth), above_c
        if self.place == "air":
            film = AIR_FILM_W_PER_M2_K + _glow(self._tip_c, room_c)
            return film, room_c, film, room_c, room_c
        if self.place == "melt":  # the pot is empty
            film = AIR_FILM_W_PER_M2_K + _glow(self._tip_c, plant.side_c)
            return film, plant.side_c, film, plant.side_c, above_c
        around_c = 0.7 * plant.wall_c + 0.15 * plant.element_c + 0.15 * plant.side_c
        if plant.lid_open:
            around_c -= 0.3 * (around_c - room_c)
        film = DRAUGHT_FILM_W_PER_M2_K + _glow(self._tip_c, around_c)
        return film, around_c, film, around_c, room_c

    def _shell(self, film: float, metal_c: float) -> tuple[float, float]:
        """Film and temperature with the shell counted: it grows while the rod takes more heat than the bath brings."""
        metal = self.plant.metal
        takes = film * (metal.last_c - self._tip_c)
        brings = METAL_FILM_W_PER_M2_K * (metal_c - metal.last_c)
        if self._shell_m > 0.0 or takes > brings:
            per_m3 = metal.latent_j_per_kg * 5000.0  # kg/m3, middling of zinc, aluminium and copper alloys
            self._shell_m = min(0.004, max(0.0, self._shell_m + self.dt_s * (takes - brings) / per_m3))
        if self._shell_m > 0.0:
            return film, metal.last_c
        return film, metal_c

    def sense_c(self) -> float:
        """What the couple says now."""
        noise, rng = self.pickup, self._rng
        said = self._core_c * self.gain + self._wander + rng.gauss(0.0, noise.white_c)
        if noise.burst_share > 0.0 and self.plant.power_w > 0.0 and rng.random() < noise.burst_share:
            said += rng.uniform(-1.0, 1.0) * noise.burst_c
        return said


def _glow(here_c: float, there_c: float) -> float:
    """Radiation as a film, W/(m2 K), emissivity 0.8."""
    a, b = here_c + CELSIUS_K, there_c + CELSIUS_K
    return 0.8 * STEFAN * (a + b) * (a * a + b * b)


def _follow(here_c: float, around_c: float, film_w_per_k: float, along_w: float, heat_j: float, dt_s: float) -> float:
    """A volume a step later: exact for its film and a constant flow along the rod."""
    rest_c = around_c + along_w / film_w_per_k
    return rest_c + (here_c - rest_c) * math.exp(-dt_s * film_w_per_k / heat_j)
