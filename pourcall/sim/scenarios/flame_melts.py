"""Ordinary melts in the burner furnace, drawn from a seed; as wide and as untidy as those of the brick furnace.

Plant, metal and probes are those of sim.plant.flame, melting and tube. The cylinder may be small and cold, so that the
flame sinks during the melt; brick light or heavy, cold or hot; losses of 60 to 140 %. Not here: running it (sim.shop).
"""

from collections.abc import Mapping
from dataclasses import replace
from typing import ClassVar

from pourcall.sim.plant.flame import PROPANE_J_PER_KG, CylinderSpec, FlamePlant, FlameSpec
from pourcall.sim.plant.interface import PlantStart, PotSpec
from pourcall.sim.plant.melting import melted_diffused
from pourcall.sim.scenarios.normal_melts import pot_for
from pourcall.sim.scenarios.untidy_melts import UntidyDraw
from pourcall.sim.shop import Scenario


class FlameDraw(UntidyDraw):
    """One melt in the burner furnace."""

    plant_name = "flame"
    salt = 41
    alloys: ClassVar[Mapping[str, int]] = {
        "za27": 12,
        "za12": 8,
        "alloy3": 8,
        "a356": 16,
        "413": 8,
        "319": 8,
        "c87300": 14,
        "c85700": 11,
        "c90300": 8,
        "c95400": 7,
    }

    def __init__(self, seed: int) -> None:
        super().__init__(seed)
        rng = self.rng
        self.fuel = True
        usual = pot_for(self.facts, self.charge_kg)
        self.pot = PotSpec(
            usual.mass_kg * rng.uniform(0.8, 1.6),
            rng.uniform(850.0, 1150.0),
            usual.outer_m2 * rng.uniform(0.9, 1.2),
            usual.mouth_m2 * rng.uniform(0.9, 1.3),
        )
        self.alloy = replace(self.sheet, batch_c=rng.uniform(-3.0, 3.0), latent_x=rng.uniform(0.94, 1.06))
        self.back_diffusion = rng.uniform(0.02, 0.3)

    def losses_c(self, tap_c: float, pours: list[tuple[float, float, float]]) -> list[tuple[float, float]]:
        """As the lifted pot cools here."""
        made = self.alloy
        metal = melted_diffused(self.facts, alpha=self.back_diffusion, by_c=made.batch_c, latent_x=made.latent_x)
        plant = FlamePlant(FlameSpec(), self.pot, metal, dt_s=0.5, start=PlantStart(pot_c=tap_c - 5.0))
        plant.add(self.charge_kg, max(tap_c, metal.liquidus_c + 1.0))
        plant.lift()
        losses = []
        for wait_s, kg, rate in pours:
            for _ in range(round(wait_s / plant.dt_s)):
                plant.step()
            begun_c = ended_c = tap_c - plant.metal_c
            plant.pour(kg, rate)
            while plant.pouring:
                ended_c = tap_c - plant.metal_c
                plant.step()
            losses.append((begun_c, ended_c))
        return losses

    def settle_furnace(self) -> None:
        """Burner, brick and bottle that do this melt in twenty minutes to an hour."""
        rng, made = self.rng, self.alloy
        metal = melted_diffused(self.facts, alpha=self.back_diffusion, by_c=made.batch_c, latent_x=made.latent_x)
        face_m2 = max(0.10, 3.0 * self.pot.outer_m2) * rng.uniform(0.85, 1.3)
        thick_m, losses = rng.uniform(0.03, 0.09), rng.uniform(0.6, 1.4)
        k = rng.uniform(0.25, 0.9) * losses
        heavy = rng.uniform(0.7e6, 2.0e6)
        length_s = rng.uniform(1000.0, 2400.0)
        # what the metal, the pot and the face of the brick take by then, and what goes through
        deep_m = min(thick_m, (k / heavy * length_s) ** 0.5)
        soak_j = 0.55 * heavy * face_m2 * deep_m * self.target_c
        bodies_j = self.charge_kg * metal.heat(self.target_c) + self.pot.mass_kg * 1000.0 * self.target_c + soak_j
        useful_w = 1.15 * bodies_j / length_s + 0.6 * face_m2 * k / thick_m * self.target_c * 0.5 + 300.0
        share = max(0.18, 0.62 - 0.00033 * (self.target_c + 150.0))  # a hotter exhaust takes more
        small = rng.random() < 0.3
        bottle = CylinderSpec(
            gas_kg=rng.uniform(1.2, 3.0) if small else rng.uniform(4.0, 11.0),
            steel_kg=rng.uniform(3.0, 5.0) if small else rng.uniform(7.0, 13.0),
            warmed_w_per_k=rng.uniform(1.2, 2.5) if small else rng.uniform(3.0, 7.0),
            regulator_bar=rng.uniform(0.5, 2.5),
        )
        wall_pot_m2 = self.pot.outer_m2 * rng.uniform(0.4, 0.75)
        self.furnace = FlameSpec(
            full_kg_per_s=useful_w / share / PROPANE_J_PER_KG,
            low_share=rng.uniform(0.35, 0.6),
            cylinder=bottle,
            air_ratio=rng.uniform(0.8, 1.25),
            draught_kg_per_s=rng.uniform(0.4e-3, 1.6e-3),
            face_m2=face_m2,
            thick_m=thick_m,
            w_per_m_k=k,
            j_per_m3_k=heavy,
            skin_j_per_m2_k=rng.uniform(3500.0, 8000.0),
            skin_m2_k_per_w=rng.uniform(0.002, 0.008),
            outside_w_per_m2_k=rng.uniform(9.0, 20.0),
            vent_m2=rng.uniform(0.002, 0.006),
            opening_m2=self.pot.mouth_m2 * rng.uniform(1.8, 3.5),
            wall_film_w_per_m2_k=rng.uniform(20.0, 50.0),
            pot_film_w_per_m2_k=rng.uniform(35.0, 80.0),
            gas_emissivity=rng.uniform(0.05, 0.20),
            wall_pot_m2=wall_pot_m2,
            through_pot_w_per_k=rng.uniform(18.0, 50.0),
            touch_w_per_m2_k=rng.uniform(35.0, 110.0),
            bath_pot_w_per_m2_k=rng.uniform(700.0, 2000.0),
            bath_sphere_w_per_m2_k=rng.uniform(4000.0, 9000.0),
            spheres=rng.choice((1, 2, 3, 5, 8, 13)),
            back_diffusion=self.back_diffusion,
            terminals_rise_c=rng.uniform(1.0, 14.0),
        )
        room_c = rng.uniform(2.0, 32.0)
        self.hot = rng.random() < 0.35
        if self.hot:
            wall_c = rng.uniform(0.4, 0.9) * self.target_c
            pot_c = rng.uniform(0.35, 0.8) * wall_c
            self.start = PlantStart(room_c, wall_c, room_c + rng.uniform(0.2, 0.6) * (wall_c - room_c), pot_c)
        else:
            self.start = PlantStart(room_c)
        self.tags += ["flame", "small_bottle" if small else "bottle", "hot_start" if self.hot else "cold_start"]

    def settle_probes(self) -> None:
        """The same sheaths and chips, as tubes with flicker."""
        super().settle_probes()
        rng = self.rng
        wander_c = rng.uniform(0.1, 0.5) if rng.random() < 0.5 else 0.0
        burst_share = rng.uniform(0.001, 0.01) if rng.random() < 0.2 else 0.0
        self.probes = tuple(
            replace(
                setup,
                wander_c=wander_c,
                burst_c=rng.uniform(1.0, 4.0),
                burst_share=burst_share,
                sees_pot=rng.uniform(0.05, 0.5),
            )
            for setup in self.probes
        )


def flame_melt(seed: int) -> Scenario:
    """An ordinary melt in the burner furnace; the same for ever, kinds come round by seed % 5."""
    return FlameDraw(seed).scenario()
