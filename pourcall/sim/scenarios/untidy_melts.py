"""What a shop gets wrong, on whichever furnace: drawn from the seed of an ordinary melt, the same for each plant.

A charge weighed up to 10 % wrong, marks forgotten, samples lost, a hand that takes 5 to 40 s, cold returns put in late.
Not here: furnace, pot and probes, which each plant draws for itself.
"""

from dataclasses import replace
from typing import ClassVar

from pourcall.sim.plant.melting import facts_of
from pourcall.sim.plant.metal import SimAlloy, sim_alloy
from pourcall.sim.scenarios.normal_melts import Draw, make_plan
from pourcall.sim.scenarios.script import Step
from pourcall.sim.shop import Scenario

HAND_S = (5.0, 40.0)
FORGETFUL = 0.25  # share of the casters who forget marks at all


class UntidyDraw(Draw):
    """One melt of a shop that is competent and no more."""

    plant_name: ClassVar[str]

    def sheet_of(self, key: str) -> SimAlloy:
        """Any sheet the plant has a law for."""
        return sim_alloy(facts_of(key))

    def melt_steps(self, plan: int, *, again: bool) -> list[Step]:
        """As anyone's; one in eight puts some cold returns in just before the last look."""
        steps = super().melt_steps(plan, again=again)
        rng = self.rng
        if rng.random() < 0.12:
            last = max(at for at, step in enumerate(steps) if step.do == "bring")
            steps[last:last] = [
                Step("lid", when="after 3", open=True),
                Step("charge", when=f"after {rng.uniform(2.0, 8.0):.0f}", kg=self.charge_kg * rng.uniform(0.03, 0.1)),
                Step("lid", when=f"after {rng.uniform(3.0, 12.0):.0f}", open=False),
            ]
            self.tags.append("late_returns")
        return steps

    def scenario(self) -> Scenario:
        """All of it, with what the shop has wrong."""
        made, rng = super().scenario(), self.rng
        told_kg = round(self.charge_kg * rng.uniform(0.9, 1.1), 2)
        plans = tuple(make_plan(plan.melt, self.facts, told_kg, plan.moulds) for plan in made.plans)
        forgets = rng.uniform(0.1, 0.4) if rng.random() < FORGETFUL else 0.0
        lost_share = rng.uniform(0.001, 0.02) if rng.random() < 0.3 else 0.0
        return replace(
            made,
            name=f"{self.plant_name} {self.seed}",
            plans=plans,
            hand_s=HAND_S,
            forgets=forgets,
            lost_share=lost_share,
            tags=(*made.tags, *(["forgets"] if forgets else []), *(["loses_samples"] if lost_share else [])),
        )
