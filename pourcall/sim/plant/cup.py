"""A sample cup of metal cooling in the air, with a probe of known error in it: what a calibration has to find.

In: metal, probe, board, seed. Out: samples as a board gives them, and the correction that would be right. The cup's
physics are the plant's, the probe's the probe's. Not here: finding the plateau (daemon.calibrate).
"""

from dataclasses import dataclass, replace
from random import Random
from typing import NamedTuple

from pourcall.contract.errors import BadInput
from pourcall.contract.message import tell
from pourcall.contract.plan import AlloyFacts
from pourcall.sim.plant.furnace import FurnaceSpec, Plant, PlantStart, PotSpec
from pourcall.sim.plant.metal import SimAlloy, shifted, sim_alloy
from pourcall.sim.plant.probe import SHEATHS, Probe
from pourcall.thermometry.thermocouple import emf_uv

TERMINALS_C = 24.0
# Freezing point (ITS-90), latent heat kJ/kg, specific heats solid and liquid J/(kg K), density kg/m3, the most it
# undercools: handbook values from memory; undercooling as in sim.metal, tin up to 20 degC in small clean samples.
METALS: dict[str, tuple[float, float, float, float, float, float]] = {
    "tin": (231.928, 59.2, 240.0, 250.0, 6990.0, 20.0),
    "lead": (327.462, 23.0, 140.0, 147.0, 10660.0, 2.0),
    "zinc": (419.527, 112.0, 450.0, 480.0, 6575.0, 1.0),
    "aluminium": (660.323, 397.0, 1100.0, 1177.0, 2375.0, 2.0),
}


@dataclass(frozen=True, slots=True)
class Cup:
    """A run. impurity_c: by how much this sample freezes elsewhere. range_c: an alloy's, below its liquidus; 0: pure.

    gain, offset_uv: error of couple and board, in emf as the board sees it. from_wall: 0 in the middle, 1 at the wall.
    """

    metal: str
    seed: int = 0
    gain: float = 1.0
    offset_uv: float = 0.0
    noise_c: float = 0.1
    impurity_c: float = 0.0
    range_c: float = 0.0
    mass_kg: float = 0.2
    depth_mm: float = 45.0
    sheath: str = "mi_3.0"
    superheat_c: float = 45.0
    undercooling_c: float | None = None  # None: by the seed
    sample_s: float = 1.0
    from_wall: float = 0.0


class CupSample(NamedTuple):
    """One sample: emf at the terminals in uV."""

    at_s: float
    emf_uv: float
    cold_junction_c: float


class CupRun(NamedTuple):
    """samples; the metal's true plateau; what should be added there to the emf referred to 0 degC."""

    samples: list[CupSample]
    plateau_c: float
    correction_uv: float


def _alloy(cup: Cup, rng: Random) -> SimAlloy:
    if cup.metal not in METALS:
        told = tell("sim.unknown", simulated="cup", typed=cup.metal)
        raise BadInput(told, remedy=tell("error.use_one", known=", ".join(METALS)))
    at_c, latent, cp_solid, cp_liquid, density, most_c = METALS[cup.metal]
    facts = AlloyFacts(
        key=cup.metal,
        name=cup.metal,
        family="other",
        solidus_c=at_c - cup.range_c,
        liquidus_c=at_c,
        pour_min_c=at_c + 20.0,
        pour_max_c=at_c + 100.0,
        alloy_max_c=at_c + 200.0,
        latent_kj_per_kg=latent,
        cp_solid_j_per_kg_k=cp_solid,
        cp_liquid_j_per_kg_k=cp_liquid,
        density_liquid_kg_per_m3=density,
    )
    drawn_c = rng.uniform(0.2, most_c)
    made = sim_alloy(facts, undercooling_c=drawn_c if cup.undercooling_c is None else cup.undercooling_c)
    return shifted(made, cup.impurity_c)


def cool_cup(cup: Cup, *, most_s: float = 3000.0, past_c: float = 15.0) -> CupRun:
    """Let a cup cool until it is solid and `past_c` below its plateau, or for most_s. Raises BadInput for a metal."""
    rng = Random(cup.seed)
    alloy = _alloy(cup, rng)
    start_c = alloy.facts.liquidus_c + cup.impurity_c + cup.superheat_c
    start = PlantStart(wall_c=20.0, lining_c=20.0, pot_c=start_c)
    plant = Plant(
        FurnaceSpec("cup", 0.0), PotSpec(mass_kg=0.15, outer_m2=0.012, mouth_m2=0.0015), alloy, dt_s=0.5, start=start
    )
    plant.lift()
    plant.add(cup.mass_kg, start_c)
    sheath = replace(SHEATHS[cup.sheath])
    probe = Probe(sheath, dt_s=0.5, start_c=start_c, depth_mm=cup.depth_mm, noise_c=0.0, rng=rng)
    probe.move("melt", cup.depth_mm, plant)
    cold_uv = emf_uv("K", TERMINALS_C)
    every = max(1, round(cup.sample_s / 0.5))
    samples: list[CupSample] = []
    for step in range(int(most_s / 0.5)):
        plant.step()
        probe.step(plant)
        if step % every == 0:
            at_c = probe.sense_c() + cup.from_wall * (plant.pot_c - plant.metal_c) + rng.gauss(0.0, cup.noise_c)
            samples.append(CupSample(plant.t_s, cup.gain * emf_uv("K", at_c) + cup.offset_uv - cold_uv, TERMINALS_C))
        if plant.liquid_fraction <= 0.0 and plant.metal_c < alloy.plateau_c - past_c:
            break
    true_uv = emf_uv("K", alloy.plateau_c)
    return CupRun(samples, alloy.plateau_c, true_uv - (cup.gain * true_uv + cup.offset_uv))


def bath(
    temp_c: float,
    *,
    seed: int = 0,
    gain: float = 1.0,
    offset_uv: float = 0.0,
    noise_c: float = 0.05,
    length_s: float = 180.0,
    drift_c_per_min: float = 0.0,
    lag_s: float = 2.0,
) -> CupRun:
    """A probe put into ice or boiling water from the room's 20 degC, once a second."""
    rng = Random(seed)
    cold_uv = emf_uv("K", TERMINALS_C)
    samples: list[CupSample] = []
    junction_c = 20.0
    for second in range(int(length_s) + 20):
        around_c = 20.0 if second < 20 else temp_c + drift_c_per_min * (second - 20) / 60.0
        junction_c += (around_c - junction_c) * min(1.0, 1.0 / lag_s)
        seen_uv = gain * emf_uv("K", junction_c + rng.gauss(0.0, noise_c)) + offset_uv
        samples.append(CupSample(float(second), seen_uv - cold_uv, TERMINALS_C))
    true_uv = emf_uv("K", temp_c)
    return CupRun(samples, temp_c, true_uv - (gain * true_uv + offset_uv))
