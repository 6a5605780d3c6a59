"""The ordinary melts of every simulated plant, by the plant's name: tests, benchmarks and demonstration run any."""

from collections.abc import Callable, Mapping

from pourcall.sim.scenarios.brick_melts import brick_melt
from pourcall.sim.scenarios.flame_melts import flame_melt
from pourcall.sim.scenarios.normal_melts import normal_melt
from pourcall.sim.scenarios.small_melts import small_melt
from pourcall.sim.shop import Scenario

MELTS: Mapping[str, Callable[[int], Scenario]] = {
    "lumped": normal_melt,
    "brick": brick_melt,
    "flame": flame_melt,
    "small": small_melt,
}
