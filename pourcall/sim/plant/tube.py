"""A thermocouple as a tube with a gap around its junction, in the burner furnace; its stem stands in the flame.

In: the plant and where a person holds it. Out: the junction's temperature and what the couple would say of it.
Two bodies: the tube, which meets metal or gas, and the junction, which meets the tube by conduction and by radiation
across the gap, so that it is slower when it is cold (F. P. Incropera and D. P. DeWitt, ch. 13: grey cylinders). The
stem takes heat up or down along the tube as a fin would lose it (ch. 3.6), towards the flame while it burns. A cold
tube chills metal onto itself: so much as its heat can freeze, gone when the bath has given that heat back. Flicker: two
wanders of very different pace, as 1/f noise looks (from memory). Gaps, films and sizes are ours.
"""

import math
from dataclasses import dataclass
from random import Random

from pourcall.sim.plant.flame import BLACK_W, ICE_K, FlamePlant

BATH_W_PER_M2_K = 3200.0
ROOM_W_PER_M2_K = 13.0
HOT_GAS_W_PER_M2_K = 45.0
QUICK_S, SLOW_S = 4.0, 60.0


@dataclass(frozen=True, slots=True)
class Tube:
    """Of a square metre of its surface: heat of tube and of what is inside, J/(m2 K); conduction of the gap,
    W/(m2 K); its fin: 1/m in metal."""

    tube_j: float
    inside_j: float
    gap_w: float
    fin_per_m: float


TUBES: dict[str, Tube] = {
    "mi_1.5": Tube(700.0, 500.0, 4500.0, 420.0),
    "mi_3.0": Tube(1500.0, 900.0, 1700.0, 300.0),
    "mi_4.5": Tube(2200.0, 1500.0, 1000.0, 245.0),
    "mi_6.0": Tube(3000.0, 2200.0, 750.0, 210.0),
    "mi_8.0": Tube(4000.0, 3200.0, 600.0, 180.0),
    "grounded_3.0": Tube(1700.0, 500.0, 6000.0, 300.0),
    "grounded_4.5": Tube(2700.0, 800.0, 5000.0, 245.0),
    "grounded_6.0": Tube(3700.0, 1100.0, 4500.0, 210.0),
    "tube_12": Tube(6000.0, 2500.0, 90.0, 150.0),
    "tube_20": Tube(11000.0, 4500.0, 80.0, 115.0),
}


@dataclass(frozen=True, slots=True)
class Flicker:
    """Noise, degC: of a sample, of the wanders, of a spark, and the share of samples with one while it burns."""

    white_c: float = 0.1
    slow_c: float = 0.0
    spark_c: float = 0.0
    spark_share: float = 0.0


class TubeProbe:
    """A probe in a FlamePlant. `place`: melt, chamber, air."""

    def __init__(
        self,
        plant: FlamePlant,
        sheath: str,
        *,
        dt_s: float,
        start_c: float,
        place: str = "air",
        depth_mm: float = 50.0,
        gain: float = 1.0,
        noise: Flicker = Flicker(),
        sees_pot: float = 0.3,
        rng: Random | None = None,
    ) -> None:
        """`sees_pot`: between solid pieces, the share of the pot's inside in what surrounds the tip."""
        self.plant, self.tube, self.dt_s, self.noise = plant, TUBES[sheath], dt_s, noise
        self.place, self.depth_mm, self.gain, self.sees_pot = place, depth_mm, gain, sees_pot
        self._tube_c = self._inside_c = start_c
        self._frozen_j = self._quick = self._slow = 0.0
        self.in_metal = False
        self._rng = rng or Random(0)

    @property
    def junction_c(self) -> float:
        """The hot junction."""
        return self._inside_c

    def move(self, place: str, depth_mm: float | None = None) -> None:
        """To another place at once; cold into metal, it chills some of it onto itself."""
        if depth_mm is not None:
            self.depth_mm = depth_mm
        if place == "melt" and self.place != "melt" and self.plant.bath_kg > 0.0:
            short_c = max(0.0, self.plant.metal.last_c - self._tube_c)
            self._frozen_j = 0.5 * self.tube.tube_j * short_c
        elif place != "melt":
            self._frozen_j = 0.0
        self.place = place

    def step(self) -> None:
        """One step of the plant's."""
        tube, dt = self.tube, self.dt_s
        around_c, film = self._around()
        if self._frozen_j > 0.0:
            metal = self.plant.metal
            self._frozen_j -= dt * BATH_W_PER_M2_K * max(1.0, around_c - metal.last_c)
            around_c = min(around_c, metal.last_c)
        a, b = self._tube_c + ICE_K, self._inside_c + ICE_K
        gap = tube.gap_w + 0.6 * BLACK_W * (a + b) * (a * a + b * b)
        # both bodies at once, implicitly: the gap of a thin sheath is quick
        f, g, q = film * dt / tube.tube_j, gap * dt / tube.tube_j, gap * dt / tube.inside_j
        known_tube, known_in = self._tube_c + f * around_c, self._inside_c
        share = q / (1.0 + q)
        self._tube_c = (known_tube + g * known_in / (1.0 + q)) / (1.0 + f + g - g * share)
        self._inside_c = (known_in + q * self._tube_c) / (1.0 + q)
        if self.noise.slow_c > 0.0:
            gauss, size_c = self._rng.gauss, self.noise.slow_c
            self._quick += -self._quick * dt / QUICK_S + 0.5 * size_c * math.sqrt(2.0 * dt / QUICK_S) * gauss(0.0, 1.0)
            self._slow += -self._slow * dt / SLOW_S + size_c * math.sqrt(2.0 * dt / SLOW_S) * gauss(0.0, 1.0)

    def _around(self) -> tuple[float, float]:
        """What surrounds the tip, degC, the stem counted, and its film, W/(m2 K)."""
        plant = self.plant
        self.in_metal = self.place == "melt" and plant.mass_kg > 0.0
        burns = plant.flow_kg_per_s > 0.0 and not plant.lifted
        hot_c = 0.5 * (plant.gas_c + plant.skin_c) if burns else plant.skin_c
        above_c = plant.ambient_c if plant.lifted or plant.lid_open else hot_c
        if self.in_metal and plant.bath_kg > 0.2 * plant.mass_kg:
            stem = 1.0 / math.cosh(self.tube.fin_per_m * self.depth_mm * 1e-3)
            metal_c = plant.metal_c
            return metal_c + stem * (above_c - metal_c), BATH_W_PER_M2_K
        if self.in_metal:
            ball_c = plant.solid_c
            between_c = ball_c + self.sees_pot * (plant.inner_pot_c - ball_c)
            return between_c, 30.0 + _glow(self._tube_c, between_c)
        if self.place == "melt":
            return plant.inner_pot_c, ROOM_W_PER_M2_K + _glow(self._tube_c, plant.inner_pot_c)
        if self.place == "chamber":
            near_c = 0.2 * plant.gas_c + 0.8 * plant.skin_c if burns else plant.skin_c
            if plant.lid_open:
                near_c -= 0.2 * (near_c - plant.ambient_c)
            return near_c, HOT_GAS_W_PER_M2_K + _glow(self._tube_c, near_c)
        return plant.ambient_c, ROOM_W_PER_M2_K + _glow(self._tube_c, plant.ambient_c)

    def sense_c(self) -> float:
        """What the couple says now."""
        noise, rng = self.noise, self._rng
        said = self._inside_c * self.gain + self._quick + self._slow + rng.gauss(0.0, noise.white_c)
        if noise.spark_share > 0.0 and self.plant.flow_kg_per_s > 0.0 and rng.random() < noise.spark_share:
            said += rng.choice((-1.0, 1.0)) * noise.spark_c
        return said


def _glow(here_c: float, there_c: float) -> float:
    """Radiation as a film, W/(m2 K), emissivity 0.85."""
    a, b = here_c + ICE_K, there_c + ICE_K
    return 0.85 * BLACK_W * (a + b) * (a * a + b * b)
