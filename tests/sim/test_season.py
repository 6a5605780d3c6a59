"""A season's melts and its judge: the same for ever, forked without a trace, dipped only where there is liquid."""

import sys

import pytest

from pourcall.furnace.training import why_not
from pourcall.sim.scenarios.foresee import Workshop
from pourcall.sim.scenarios.season import DIPS_FROM_LIQUID, SeasonBout
from tests.benches import FOLDER, bench_module


@pytest.mark.parametrize("plant", ["lumped", "brick", "flame", "small"])
def test_a_fork_goes_on_as_the_melt_itself_does_and_leaves_it_alone(plant: str) -> None:
    bout = SeasonBout(Workshop(6001, plant), 2, dips=True)
    while bout.t_s < 300.0:
        bout.second("high")
    other = bout.fork()
    cold = [other.second("off") for _ in range(120)]
    again, kept = bout.fork(), [bout.second("high") for _ in range(120)]
    assert [again.second("high") for _ in range(120)] == kept
    assert kept[-1].metal_c > cold[-1].metal_c


def test_a_person_dips_only_into_liquid_and_comes_to_a_figure_near_the_metal() -> None:
    bout = SeasonBout(Workshop(6002, "brick"), 1, dips=True)
    figures: list[float] = []
    while bout.t_s < 5000.0 and len(figures) < 4:
        seen = bout.second("high")
        if bout.dip is not None:
            assert seen.liquid > DIPS_FROM_LIQUID - 0.1
            if bout.dip.temp_c is not None:
                figures.append(bout.dip.temp_c - seen.metal_c)
    assert len(figures) == 4
    assert max(map(abs, figures)) < 12.0  # 0.4 % of gain and a spread of 1.5 degC


def test_the_oracle_that_is_counted_down_hits_and_a_late_hand_costs_degrees() -> None:
    sys.path.insert(0, str(FOLDER))
    judge = bench_module("foresight_judge")
    counted, late = [], []
    for seed in (4000, 4001, 4003):
        shop = judge.Shop(seed, "lumped", dips=False)
        shop.regulators = {}
        made = shop.rivals(2)
        counted.append(abs(made.first["oracle counted down"]))
        late.append(abs(made.first["oracle"]))
        assert not why_not(made.trace)
        assert made.trace.power[-1][1] == 0.0
    assert max(counted) < 3.0
    assert sum(late) > sum(counted)
