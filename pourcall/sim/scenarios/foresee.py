"""Furnaces and melts to try foresight on. One furnace of the ordinary kind by seed, melted in second by second.

The caller is the caster: `Bout.second(level)` sets the knob and gives what a probe in the pot reads, with the truth.
Furnace, pot, alloy, mould window and start are those of the plant's ordinary melts (sim.scenarios.plants); drawn here
are the charge of each melt, its additions, the probe and the person. Plant and probe are the simulator's own; the
usual one has four bodies, radiation with air beside it, a lining that soaks, eutectic plateaus, undercooling, lumps
that melt in the bath, alloys that differ from their sheets by 2 degC, sheaths of two lags. Nothing of the forecast's
model is used.
"""

from random import Random
from typing import NamedTuple

from pourcall.contract.plan import AlloyFacts
from pourcall.sim.plant.flame import FlameSpec
from pourcall.sim.plant.interface import PlantStart, ProbeMake
from pourcall.sim.plant.kinds import plant_of, probe_of
from pourcall.sim.scenarios.plants import MELTS
from pourcall.sim.shop import Scenario

SHEATH_S = {"mi_3.0": 1.3, "mi_4.5": 2.6, "mi_6.0": 4.2, "grounded_4.5": 0.7, "tube_12": 21.0}  # t90 / ln 10
SECOND_STEPS = 2
CUT_DELAY_S = (2.0, 25.0)  # from hearing the call to a hand on the knob: a caster near the furnace (judgement)

NEAR_DELAY_S = (1.0, 9.0)  # the same, told before to stand by


class Seen(NamedTuple):
    """One second. reading_c as the probe says it, in steps of 0.25 degC; the rest is truth or told by the caster."""

    t_s: float
    reading_c: float
    level: str
    added_kg: float  # put into the pot in this second, told by a key
    metal_c: float
    liquid: float
    lump: bool  # cold metal still lies in the bath
    peak_if_cut_c: float | None  # only when asked for


class Workshop:
    """One furnace with its pot, alloy and moulds."""

    def __init__(self, seed: int, plant: str = "lumped") -> None:
        """`plant`: one of `plants.MELTS`, on which the forecast is judged."""
        self.seed = seed
        self.scenario: Scenario = MELTS[plant](seed)
        self.rng = Random(seed * 613 + 29)
        self.facts: AlloyFacts = self.scenario.plans[0].alloy
        self.fuel = self.scenario.furnace.fuel
        self.full_kg = self.scenario.plans[0].charge_kg
        mould = self.scenario.plans[0].moulds[0]
        limit_c = self.scenario.plans[0].lowest_limit.limit_c
        self.tap_c = (mould.tap_min_c, min(mould.tap_max_c, limit_c))
        self.sheath = self.rng.choice(list(SHEATH_S)[:4])
        self.gain = 1.0 + max(-0.004, min(0.004, self.rng.gauss(0.0, 0.0015)))

    @property
    def aim_c(self) -> float:
        """Middle of the tap window."""
        return 0.5 * (self.tap_c[0] + self.tap_c[1])

    @property
    def panel_w(self) -> float | None:
        """What the settings say of the power: an electric furnace's plate, 5 % off; a burner has none."""
        furnace = self.scenario.furnace
        if furnace.fuel or isinstance(furnace, FlameSpec):
            return None
        return furnace.power_w * (0.95 + 0.1 * Random(self.seed).random())

    def bout(self, number: int, *, hot: bool | None = None, parts: bool | None = None) -> "Bout":
        """Melt `number` of this furnace; 0 is the one that `normal_melt` starts (hot or cold as there)."""
        return Bout(self, number, hot=hot, parts=parts)


class Bout:
    """One melt, driven from outside."""

    def __init__(self, shop: Workshop, number: int, *, hot: bool | None, parts: bool | None) -> None:
        rng = self.rng = Random(shop.seed * 7907 + number * 31 + 5)
        self.shop, scenario = shop, shop.scenario
        self.charge_kg = round(shop.full_kg * (1.0 if number == 0 else rng.uniform(0.75, 1.03)), 2)
        self.hot = scenario.start.wall_c is not None if hot is None else hot
        start = scenario.start
        if (self.hot and start.wall_c is None) or (number > 0 and self.hot):
            wall_c = rng.uniform(0.5, 0.9) * shop.aim_c
            start = PlantStart(start.ambient_c, wall_c, rng.uniform(0.3, 0.5) * wall_c, rng.uniform(0.5, 0.8) * wall_c)
        elif not self.hot:
            start = PlantStart(start.ambient_c)
        self.room_c = start.ambient_c
        dt_s = 1.0 / SECOND_STEPS
        self.plant = plant_of(scenario.furnace, scenario.pot, scenario.alloy, dt_s=dt_s, start=start)
        make = ProbeMake(
            shop.sheath,
            dt_s=dt_s,
            start_c=self.plant.pot_c,
            place="melt",
            gain=shop.gain,
            noise_c=rng.uniform(0.05, 0.35),
        )
        self.probe = probe_of(self.plant, make, rng)
        in_parts = rng.random() < 0.5 if parts is None else parts
        self.first_kg = round(self.charge_kg * (rng.uniform(0.6, 0.75) if in_parts else 1.0), 3)
        self.rest_kg = round(self.charge_kg - self.first_kg, 3)
        self._add_at = rng.uniform(0.6, 0.95)
        self._closed_s: float | None = None
        self._stirred_s = 0.0
        self.plant.add(self.first_kg)
        self.t_s, self.peak_c = 0.0, -1e9
        self.delay_s = rng.uniform(*CUT_DELAY_S)
        self.near_s = rng.uniform(*NEAR_DELAY_S)
        self.spoken_kg = self.charge_kg * rng.uniform(0.97, 1.03)  # kitchen scales and memory

    def second(self, level: str, *, ask: bool = False, share: float | None = None) -> Seen:
        """One second with the knob at off, low or high. ask: also what the metal would peak at if cut now (1 ms).

        share: of full power, for a knob that stands between them.
        """
        plant, added = self.plant, 0.0
        if share is None:
            share = {"off": 0.0, "low": plant.furnace.low_share, "high": 1.0}[level]
        plant.set_power(share)
        if self.rest_kg > 0.0 and plant.liquid_fraction >= self._add_at:
            added, self.rest_kg = self.rest_kg, 0.0
            plant.add(added)
            plant.set_lid(True)
            self._closed_s = self.t_s + self.rng.uniform(6.0, 16.0)
        if self._closed_s is not None and self.t_s >= self._closed_s:
            plant.set_lid(False)
            self._closed_s = None
        if plant.liquid_fraction >= 1.0 and self.t_s - self._stirred_s > 200.0:
            plant.stir()
            self._stirred_s = self.t_s
        for _ in range(SECOND_STEPS):
            plant.step()
            self.probe.step()
        self.t_s += 1.0
        if plant.mass_kg > 0.0 and plant.lump_kg == 0.0:
            self.peak_c = max(self.peak_c, plant.metal_c)
        reading = round(self.probe.sense_c() * 4.0) / 4.0
        peak = plant.coast_peak_c() if ask else None
        return Seen(self.t_s, reading, level, added, plant.metal_c, plant.liquid_fraction, plant.lump_kg > 0.0, peak)
