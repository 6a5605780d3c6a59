"""The temperature that is shown lies within its own U (k = 2: 95 %) of the bath, by how it is known.

A dozen normal melts; the truth is the simulated plant's bulk of the bath. What counts are the seconds in which the
engine says that the metal is liquid, ready or too hot: then somebody acts on the figure. While it melts a probe between
lumps half sees the pot, and the state says so.
"""

from collections import Counter
from collections.abc import Sequence
from functools import cache

from pourcall.contract.events import FigureSource, MeltState
from pourcall.contract.inputs import TickIn
from pourcall.engine.core import Engine
from pourcall.sim.scenarios.normal_melts import normal_melt, run
from tests.simulated import config_of

LEFT_IN = (0, 4, 5, 9, 10, 14)  # thin and mineral sheaths, one probe or two
TUBES = (1, 16)  # ceramic tubes, 20 s and more behind the metal
DIPS = (2, 7, 12, 17, 27, 32)
ACTED_ON = (MeltState.LIQUID, MeltState.READY, MeltState.ABOVE)
LEAST_S = 60  # so many seconds make a share


@cache
def told(seed: int) -> dict[FigureSource, Counter[bool]]:
    """Seconds within U and beyond it, by where the figure came from."""
    scenario = normal_melt(seed)
    engine = Engine(config_of(scenario))
    seen: dict[FigureSource, Counter[bool]] = {}
    for item, truth in run(scenario):
        engine.handle(item)
        metal = engine.metal
        if type(item) is not TickIn or truth.lifted or truth.metal_c is None or metal.temp_c is None:
            continue
        if engine.state in ACTED_ON:
            within = abs(metal.temp_c - truth.metal_c) <= metal.u_c
            seen.setdefault(metal.source, Counter())[within] += 1
    return seen


def share(seeds: Sequence[int], source: FigureSource) -> float:
    seconds = sum((told(seed).get(source, Counter()) for seed in seeds), Counter[bool]())
    assert seconds.total() >= LEAST_S
    return seconds[True] / seconds.total()


def test_a_probe_left_in_the_metal_is_within_its_u() -> None:
    assert share(LEFT_IN, FigureSource.PROBE) >= 0.95


def test_a_dip_that_goes_on_is_within_its_u() -> None:
    assert share(DIPS, FigureSource.DIP_ON) >= 0.95


def test_a_ceramic_tube_is_within_its_u() -> None:
    assert share(TUBES, FigureSource.PROBE) >= 0.95


def test_a_dip_that_is_over_is_within_its_u() -> None:
    assert share(DIPS, FigureSource.DIP) >= 0.95
