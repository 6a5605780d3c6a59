"""Ordinary melts in a very small furnace: a fifth to half a kilogram, the brick furnace at bench size, by seed.

Everything is quicker: a melt of ten to twenty minutes, a bath that cools a degree a second in the hand. The physics are
those of sim.plant.brick with parameters of this size; who works here stands beside the mould. Not here: running it.
"""

from dataclasses import replace

from pourcall.sim.plant.brick import BrickSpec
from pourcall.sim.plant.interface import PotSpec
from pourcall.sim.scenarios.brick_melts import BrickDraw
from pourcall.sim.scenarios.normal_melts import pot_for
from pourcall.sim.shop import Scenario


class SmallDraw(BrickDraw):
    """One melt in the very small furnace."""

    salt = 67

    def __init__(self, seed: int) -> None:
        super().__init__(seed)
        rng = self.rng
        self.charge_kg = round(rng.uniform(0.2, 0.5), 3)
        usual = pot_for(self.facts, self.charge_kg)
        self.pot = PotSpec(
            usual.mass_kg * rng.uniform(0.6, 1.0), rng.uniform(820.0, 1080.0), usual.outer_m2, usual.mouth_m2
        )
        self.walk_s = rng.uniform(2.0, 6.0)

    def settle_furnace(self) -> None:
        """As the brick furnace, made for this pot."""
        super().settle_furnace()
        made, rng = self.furnace, self.rng
        assert isinstance(made, BrickSpec)
        face_m2 = 4.0 * self.pot.outer_m2
        share = face_m2 / made.face_m2
        self.furnace = replace(
            made,
            name="bench furnace",
            power_w=max(350.0, made.power_w * rng.uniform(0.55, 0.8)),
            face_m2=face_m2,
            shell_m2=made.shell_m2 * share,
            shell_j_per_k=made.shell_j_per_k * share,
            element_j_per_k=rng.uniform(40.0, 90.0),
            element_face_m2=made.element_face_m2 * 0.4,
            lid_j_per_k=made.lid_j_per_k * 0.3,
            plinth_j_per_k=made.plinth_j_per_k * 0.3,
            base_plinth_w_per_k=made.base_plinth_w_per_k * 0.4,
            slit_w_per_k=made.slit_w_per_k * 0.5,
        )
        self.tags.append("bench")

    def scenario(self) -> Scenario:
        """All of it."""
        return replace(super().scenario(), name=f"small {self.seed}")


def small_melt(seed: int) -> Scenario:
    """An ordinary melt in the very small furnace; kinds come round by seed % 5."""
    return SmallDraw(seed).scenario()
