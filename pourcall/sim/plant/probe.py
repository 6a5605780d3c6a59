"""One simulated thermocouple in its sheath: what its junction is at, as against what the metal is at.

In: the plant, step by step, and where a person holds the probe. Out: the junction's temperature and what the couple
would say of it. Not here: the amplifier (sim.amp), people (sim.operator).

A sheath is two lags in a row. Their time constants come from a printed pair of t50 and t90; where the pair is steeper
than any two lags (insulated, thinnest) or flatter than one (grounded), from t90 alone.
Source of the pairs: the mineral-insulated sheath response table of sab-cable.com, water at 0.2 m/s and air. Molten
metal is taken as the water figures, because the sheath's inside limits; a ceramic tube multiplies them (5-20: memory).
In air the printed figure holds for room temperature and moving air; radiation shortens it when either side glows.
"""

import math
from dataclasses import dataclass
from random import Random

from pourcall.sim.plant.furnace import KELVIN, SIGMA, Plant

AIR_FILM_W_PER_M2_K = 50.0  # film of the printed air figures, own estimate: moving air on a thin rod
NOISE_POOL = 4096


@dataclass(frozen=True, slots=True)
class Sheath:
    """A sheath by its printed response. `fin_per_m`: sqrt(4 h/(k d)) in melt, for the error of shallow immersion."""

    name: str
    t50_s: float  # in water, and here in metal
    t90_s: float
    air_t90_s: float
    fin_per_m: float = 231.0


SHEATHS: dict[str, Sheath] = {
    sheath.name: sheath
    for sheath in (
        # sab-cable.com table: insulated junction, water t50 / t90, air t90
        Sheath("mi_0.5", 0.06, 0.13, 5.5, 800.0),
        Sheath("mi_1.0", 0.15, 0.50, 10.0, 566.0),
        Sheath("mi_1.5", 0.21, 0.60, 25.0, 462.0),
        Sheath("mi_3.0", 1.2, 2.9, 80.0, 327.0),
        Sheath("mi_4.5", 2.5, 5.9, 120.0, 267.0),
        Sheath("mi_6.0", 4.0, 9.6, 200.0, 231.0),
        Sheath("mi_8.0", 7.0, 17.0, 360.0, 200.0),
        # the same, grounded junction, water
        Sheath("grounded_3.0", 0.22, 0.75, 80.0, 327.0),
        Sheath("grounded_4.5", 0.45, 1.6, 120.0, 267.0),
        Sheath("grounded_6.0", 0.55, 2.6, 200.0, 231.0),
        # a 6 mm couple in a ceramic tube: "30-120 s to settle" (practice, memory)
        Sheath("tube_12", 20.0, 48.0, 300.0, 160.0),
        Sheath("tube_20", 45.0, 110.0, 500.0, 120.0),
    )
}


def two_lags(t50_s: float, t90_s: float) -> tuple[float, float]:
    """Time constants, longer first, of two lags in a row that reach 50 % and 90 % of a step at these times.

    One lag has t90/t50 = 3.322, two equal ones 2.318; a ratio outside is met at t90 alone.
    """
    ratio = t90_s / t50_s
    if ratio >= 3.3219:
        return t90_s / math.log(10.0), 0.0
    low, high = 0.0, 0.999
    for _ in range(60):  # ratio falls as the second lag grows
        part = 0.5 * (low + high)
        if _crossing(part, 0.9) / _crossing(part, 0.5) > ratio:
            low = part
        else:
            high = part
    first_s = t90_s / _crossing(high, 0.9)
    return first_s, first_s * high


def _crossing(part: float, level: float) -> float:
    """Time at which lags of 1 and `part` in a row reach `level`."""
    low, high = 0.0, 20.0
    for _ in range(60):
        t = 0.5 * (low + high)
        fast = part * math.exp(-t / part) if part > 1e-9 else 0.0
        if 1.0 - (math.exp(-t) - fast) / (1.0 - part) < level:
            low = t
        else:
            high = t
    return high


_LAGS: dict[str, tuple[float, float]] = {}


class Probe:
    """A sheathed couple. `place` is where a person holds it: "melt" (in the pot), "chamber" or "air"."""

    __slots__ = (
        "_air_s",
        "_dt_s",
        "_fast_s",
        "_gauss_at",
        "_k_fast",
        "_k_mix",
        "_k_slow",
        "_near",
        "_outer_c",
        "_plant",
        "_pool",
        "_shell_k_s",
        "_slow_s",
        "depth_mm",
        "gain",
        "in_metal",
        "junction_c",
        "noise_c",
        "place",
        "sheath",
        "stem_share",
    )

    def __init__(
        self,
        sheath: Sheath,
        *,
        dt_s: float,
        start_c: float = 20.0,
        place: str = "air",
        depth_mm: float = 50.0,
        gain: float = 1.0,
        noise_c: float = 0.1,
        rng: Random | None = None,
        plant: Plant | None = None,
    ) -> None:
        """`gain`: the couple's own error (IEC class 1 type K: within 1 +- 0.004). `noise_c`: sigma of one sample.

        `plant`: where it is held, for calls that do not say.
        """
        self._plant = plant
        if sheath.name not in _LAGS:
            _LAGS[sheath.name] = two_lags(sheath.t50_s, sheath.t90_s)
        slow_s, fast_s = _LAGS[sheath.name]
        self.sheath, self._slow_s, self._fast_s, self._dt_s = sheath, slow_s, fast_s, dt_s
        self._air_s = sheath.air_t90_s / math.log(10.0)
        self._k_slow = math.exp(-dt_s / slow_s)
        self._k_fast = math.exp(-dt_s / fast_s) if fast_s > 0.0 else 0.0
        self._k_mix = slow_s / (slow_s - fast_s) * (self._k_slow - self._k_fast)
        self._outer_c = self.junction_c = start_c
        self.place, self.depth_mm, self.gain, self.noise_c = place, depth_mm, gain, noise_c
        self.in_metal, self._shell_k_s = False, 0.0
        self.stem_share = 0.0
        self._near = 0.02  # how far the junction reads towards the pot's wall in an unstirred bath
        rng = rng or Random(0)
        self._pool = [rng.gauss(0.0, 1.0) for _ in range(NOISE_POOL)]
        self._gauss_at = rng.randrange(NOISE_POOL)

    @property
    def settle_s(self) -> float:
        """Time to within 1 % of a step in metal."""
        return 4.6 * (self._slow_s + 0.5 * self._fast_s)

    def move(self, place: str, depth_mm: float | None = None, plant: Plant | None = None) -> None:
        """To another place at once; the lag does the rest. Cold into liquid metal, it takes a shell of frozen metal."""
        if depth_mm is not None:
            self.depth_mm = depth_mm
        plant = plant or self._plant
        if place == "melt" and self.place != "melt" and plant is not None and plant.liquid_fraction > 0.5:
            short_k = max(0.0, plant.alloy.facts.liquidus_c - self._outer_c)
            self._shell_k_s = 0.3 * short_k * min(self._slow_s, 4.0)
            self.stem_share = 1.0 / math.cosh(self.depth_mm * 1e-3 * self.sheath.fin_per_m)
        elif place == "melt":
            self.stem_share = 1.0 / math.cosh(self.depth_mm * 1e-3 * self.sheath.fin_per_m)
        self.place = place

    def step(self, plant: Plant | None = None) -> None:
        """One plant step of `dt_s`, with what surrounds the probe now."""
        plant = plant or self._plant
        if plant is None:
            raise ValueError("a probe that is held nowhere")
        if self.place == "melt" and plant.mass_kg > 0.0:
            metal_c, liquid = plant.metal_c, plant.liquid_fraction
            towards = self._near if plant.t_s - plant.stirred_s > 30.0 else 0.0
            if liquid < 0.3 and not plant.lifted:
                towards = 0.35 - (0.35 - towards) * liquid / 0.3  # between lumps it half sees the pot
            around_c = metal_c + towards * (plant.pot_c - metal_c)
            if self.stem_share > 1e-4:
                above_c = plant.ambient_c if plant.lifted or plant.lid_open else plant.wall_c
                around_c += self.stem_share * (above_c - around_c)
            if self._shell_k_s > 0.0:
                gap_c = metal_c - plant.alloy.facts.liquidus_c
                self._shell_k_s -= max(gap_c, 0.5) * self._dt_s
                around_c = min(around_c, plant.alloy.facts.solidus_c)
            self.in_metal = True
            k_slow, k_fast, k_mix = self._k_slow, self._k_fast, self._k_mix
        else:
            self.in_metal = False
            self._shell_k_s = 0.0
            if self.place == "chamber":
                around_c = plant.wall_c if plant.lifted else 0.7 * plant.wall_c + 0.3 * plant.pot_c
                if plant.lid_open:
                    around_c -= 0.25 * (around_c - plant.ambient_c)
            elif self.place == "melt":  # the pot is empty
                around_c = plant.pot_c
            else:
                around_c = plant.ambient_c
            mean_k = 0.5 * (around_c + self._outer_c) + KELVIN
            film = AIR_FILM_W_PER_M2_K + 3.2 * SIGMA * mean_k * mean_k * mean_k  # 4 eps sigma T^3, eps 0.8
            slow_s = max(self._slow_s, self._air_s * AIR_FILM_W_PER_M2_K / film)
            k_slow, k_fast = math.exp(-self._dt_s / slow_s), self._k_fast
            # with lags almost equal the mixed term is 0/0; keep them apart
            k_mix = slow_s / max(slow_s - self._fast_s, 0.02 * slow_s) * (k_slow - k_fast)
        outer = self._outer_c - around_c
        self.junction_c = around_c + (self.junction_c - around_c) * k_fast + outer * k_mix
        self._outer_c = around_c + outer * k_slow

    def sense_c(self) -> float:
        """What the couple says of its junction now: its own error and the noise of one sample."""
        self._gauss_at = at = (self._gauss_at + 1) % NOISE_POOL
        return self.junction_c * self.gain + self._pool[at] * self.noise_c
