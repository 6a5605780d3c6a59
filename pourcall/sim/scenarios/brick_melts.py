"""Ordinary melts in the brick furnace with a panel, drawn from a seed, wider than `normal_melts` and less tidy.

Plant, metal and probes are those of sim.plant.brick, melting and rod. What a shop does not know is drawn too: losses of
60 to 140 %, a charge weighed up to 10 % wrong, marks forgotten, samples lost, a hand that takes 5 to 40 s, cold metal
added late. Competent still: whoever works here means to stay inside the window; whether the bath did is for the test to
look at, for a late hand may overshoot. Not here: running it (sim.shop).
"""

from collections.abc import Mapping
from dataclasses import replace
from typing import ClassVar

from pourcall.sim.plant.brick import BrickPlant, BrickSpec, Panel, PanelSpec
from pourcall.sim.plant.interface import PlantStart, PotSpec
from pourcall.sim.plant.melting import melted_by_scheil
from pourcall.sim.scenarios.normal_melts import pot_for
from pourcall.sim.scenarios.untidy_melts import UntidyDraw
from pourcall.sim.shop import Scenario

HOTTEST_C = 1180.0  # the elements' and the bricks' own limit, which nobody dials beyond but for bronze


class BrickDraw(UntidyDraw):
    """One melt in the brick furnace."""

    plant_name = "brick"
    salt = 23
    alloys: ClassVar[Mapping[str, int]] = {
        "za27": 18,
        "za12": 9,
        "alloy3": 9,
        "a356": 16,
        "413": 9,
        "319": 7,
        "c87300": 10,
        "c85700": 9,
        "c90300": 7,
        "c95400": 6,
    }

    def __init__(self, seed: int) -> None:
        super().__init__(seed)
        rng = self.rng
        self.fuel = False
        usual = pot_for(self.facts, self.charge_kg)
        wall = rng.uniform(0.7, 1.7)  # a wall of 6 to 14 mm
        self.pot = PotSpec(
            usual.mass_kg * wall, rng.uniform(820.0, 1080.0), usual.outer_m2 * rng.uniform(0.95, 1.15), usual.mouth_m2
        )
        self.alloy = replace(self.sheet, batch_c=rng.uniform(-3.0, 3.0), latent_x=rng.uniform(0.94, 1.06))

    def losses_c(self, tap_c: float, pours: list[tuple[float, float, float]]) -> list[tuple[float, float]]:
        """As the lifted pot cools here."""
        metal = melted_by_scheil(self.facts, by_c=self.alloy.batch_c, latent_x=self.alloy.latent_x)
        plant = BrickPlant(BrickSpec(), self.pot, metal, dt_s=0.5, start=PlantStart(pot_c=tap_c + 5.0))
        plant.add(self.charge_kg, max(tap_c, metal.liquidus_c + 1.0))
        plant.lift()
        losses = []
        for wait_s, kg, rate in pours:
            for _ in range(round(wait_s / plant.dt_s)):
                plant.step()
            begun_c = tap_c - plant.metal_c
            plant.pour(kg, rate)
            while plant.pouring:
                ended_c = tap_c - plant.metal_c
                plant.step()
            losses.append((begun_c, ended_c))
        return losses

    def settle_furnace(self) -> None:
        """A furnace that does this melt in twenty minutes to an hour; panel, brick and person as they come."""
        rng = self.rng
        thick_m = rng.choice((0.050, 0.064, 0.075, 0.114))
        face_m2 = max(0.09, 3.2 * self.pot.outer_m2) * rng.uniform(0.85, 1.3)
        losses = rng.uniform(0.6, 1.4)
        heavy = rng.uniform(4.8e5, 9.0e5)
        metal = melted_by_scheil(self.facts, by_c=self.alloy.batch_c, latent_x=self.alloy.latent_x)
        soak_j = 0.35 * heavy * face_m2 * thick_m * self.target_c
        bodies_j = self.pot.mass_kg * self.pot.cp_j_per_kg_k * self.target_c + soak_j
        length_s = rng.uniform(1100.0, 2600.0)
        power_w = (self.charge_kg * metal.heat(self.target_c) + bodies_j) / length_s
        power_w += losses * 0.2 * face_m2 / thick_m * self.target_c + 250.0
        over_c = rng.uniform(140.0, 330.0)
        kind: Panel = rng.choice(("on_off", "pid", "bimetal"))
        band_c = rng.uniform(25.0, 60.0) if kind == "bimetal" else rng.uniform(3.0, 12.0)
        panel = PanelSpec(
            kind=kind,
            high_c=max(self.target_c + 50.0, min(self.target_c + over_c, HOTTEST_C)),
            low_c=self.target_c + rng.uniform(-20.0, 60.0),
            band_c=band_c,
            lag_s=rng.uniform(40.0, 90.0) if kind == "bimetal" else rng.uniform(10.0, 45.0),
            cycle_s=rng.uniform(4.0, 20.0),
        )
        ways = rng.choices(((1.0,), (0.55, 0.45), (0.4, 0.35, 0.25), (0.3, 0.3, 0.2, 0.2)), weights=(20, 30, 30, 20))[0]
        self.furnace = BrickSpec(
            power_w=power_w,
            rating_c=max(1200.0, panel.high_c + 120.0),
            panel=panel,
            face_m2=face_m2,
            thick_m=thick_m,
            w_per_m_k=rng.uniform(0.10, 0.20) * losses,
            w_per_m_k2=rng.uniform(0.6e-4, 1.5e-4) * losses,
            j_per_m3_k=heavy,
            shell_m2=face_m2 * rng.uniform(2.5, 4.5),
            element_j_per_k=rng.uniform(110.0, 320.0),
            element_face_m2=rng.uniform(0.015, 0.030),
            element_pot_m2=self.pot.outer_m2 * rng.uniform(0.18, 0.45),
            face_pot_m2=self.pot.outer_m2 * rng.uniform(0.35, 0.65),
            lid_m2=self.pot.mouth_m2 * rng.uniform(1.8, 4.0),
            lid_j_per_k=rng.uniform(450.0, 1500.0),
            lid_room_w_per_k=rng.uniform(0.06, 0.16) * losses,
            slit_w_per_k=rng.uniform(0.03, 0.16) * losses,
            plinth_j_per_k=rng.uniform(250.0, 800.0),
            base_plinth_w_per_k=rng.uniform(0.3, 1.2),
            wetting_w_per_m2_k=rng.uniform(500.0, 1500.0),
            piece_contact_w_per_k=rng.uniform(1.2, 4.0),
            piece_m2=rng.uniform(0.008, 0.018),
            piece_bath_w_per_m2_k=rng.uniform(3000.0, 7000.0),
            pieces=ways,
            collapse_at=rng.uniform(0.2, 0.65),
            collapse_s=rng.uniform(4.0, 18.0),
            sweat_s=rng.uniform(15.0, 90.0),
            mixing_w_per_k=rng.uniform(3.0, 9.0),
            dross_m2_k_per_w=rng.uniform(0.0005, 0.008),
            terminals_share=rng.uniform(0.02, 0.25),
        )
        room_c = rng.uniform(4.0, 34.0)
        self.hot = rng.random() < 0.35
        if self.hot:
            wall_c = rng.uniform(0.4, 0.9) * self.target_c
            pot_c = rng.uniform(0.4, 0.8) * wall_c
            self.start = PlantStart(room_c, wall_c, room_c + rng.uniform(0.2, 0.5) * (wall_c - room_c), pot_c)
        else:
            self.start = PlantStart(room_c)
        self.tags += ["brick", kind, "hot_start" if self.hot else "cold_start"]

    def settle_probes(self) -> None:
        """The same sheaths and chips; rods of their own, with pickup."""
        super().settle_probes()
        rng = self.rng
        wander_c = rng.uniform(0.1, 0.6) if rng.random() < 0.4 else 0.0
        burst_share = rng.uniform(0.002, 0.02) if rng.random() < 0.25 else 0.0
        self.probes = tuple(
            replace(
                setup,
                wander_c=wander_c,
                wander_s=rng.uniform(3.0, 40.0),
                burst_c=rng.uniform(1.0, 4.0),
                burst_share=burst_share,
                sees_pot=rng.uniform(0.05, 0.5),
            )
            for setup in self.probes
        )


def brick_melt(seed: int) -> Scenario:
    """An ordinary melt in the brick furnace; the same for ever, kinds come round by seed % 5."""
    return BrickDraw(seed).scenario()
