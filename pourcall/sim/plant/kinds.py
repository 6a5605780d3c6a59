"""The simulated furnaces there are, and how a plant and its probes are made of one.

`FurnaceSpec`: lumped wall, lining, pot, charge (sim.plant.furnace), melts by the alloy's sheet. `BrickSpec`: an
electric chamber of brick with a panel (sim.plant.brick), melts by Scheil. `FlameSpec`: a burner with its gas and
draught (sim.plant.flame), melts from the surface with diffusion back into the solid. Each has its
own probes.
"""

from random import Random
from typing import assert_never

from pourcall.sim.plant.brick import BrickPlant, BrickSpec
from pourcall.sim.plant.flame import FlamePlant, FlameSpec
from pourcall.sim.plant.furnace import FurnaceSpec, Plant
from pourcall.sim.plant.interface import PlantStart, PotSpec, ProbeMake, SimPlant, SimProbe
from pourcall.sim.plant.melting import melted_by_scheil, melted_diffused
from pourcall.sim.plant.metal import SimAlloy
from pourcall.sim.plant.probe import SHEATHS, Probe
from pourcall.sim.plant.rod import Pickup, RodProbe
from pourcall.sim.plant.tube import Flicker, TubeProbe

AnyFurnace = FurnaceSpec | BrickSpec | FlameSpec


def plant_of(furnace: AnyFurnace, pot: PotSpec, alloy: SimAlloy, *, dt_s: float, start: PlantStart) -> SimPlant:
    """The furnace with this pot and metal in it; `dt_s`: its fixed step."""
    match furnace:
        case FurnaceSpec():
            return Plant(furnace, pot, alloy, dt_s=dt_s, start=start)
        case BrickSpec():
            metal = melted_by_scheil(alloy.facts, by_c=alloy.batch_c, latent_x=alloy.latent_x)
            return BrickPlant(furnace, pot, metal, dt_s=dt_s, start=start)
        case FlameSpec():
            alpha = furnace.back_diffusion
            metal = melted_diffused(alloy.facts, alpha=alpha, by_c=alloy.batch_c, latent_x=alloy.latent_x)
            return FlamePlant(furnace, pot, metal, dt_s=dt_s, start=start)
        case _:
            assert_never(furnace)


def probe_of(plant: SimPlant, make: ProbeMake, rng: Random) -> SimProbe:
    """A probe that lives in this plant."""
    match plant:
        case Plant():
            return Probe(
                SHEATHS[make.sheath],
                dt_s=make.dt_s,
                start_c=make.start_c,
                place=make.place,
                depth_mm=make.depth_mm,
                gain=make.gain,
                noise_c=make.noise_c,
                rng=rng,
                plant=plant,
            )
        case BrickPlant():
            pickup = Pickup(make.noise_c, make.wander_c, make.wander_s, make.burst_c, make.burst_share)
            return RodProbe(
                plant,
                make.sheath,
                dt_s=make.dt_s,
                start_c=make.start_c,
                place=make.place,
                depth_mm=make.depth_mm,
                gain=make.gain,
                pickup=pickup,
                sees_pot=make.sees_pot,
                rng=rng,
            )
        case FlamePlant():
            return TubeProbe(
                plant,
                make.sheath,
                dt_s=make.dt_s,
                start_c=make.start_c,
                place=make.place,
                depth_mm=make.depth_mm,
                gain=make.gain,
                noise=Flicker(make.noise_c, make.wander_c, make.burst_c, make.burst_share),
                sees_pot=make.sees_pot,
                rng=rng,
            )
        case _:
            raise TypeError(f"no probes are made for {type(plant).__name__}")
