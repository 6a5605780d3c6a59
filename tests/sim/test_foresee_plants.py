"""The furnaces that the forecast is judged on: any simulated plant, driven second by second from outside."""

import pytest

from pourcall.sim.scenarios.foresee import Workshop
from pourcall.sim.scenarios.plants import MELTS


@pytest.mark.parametrize("plant", MELTS)
def test_a_melt_can_be_driven_second_by_second_on_any_plant(plant: str) -> None:
    bout = Workshop(7001, plant).bout(1, hot=False, parts=False)
    seen = bout.second("high")
    began_c = seen.metal_c
    while bout.t_s < 600.0:
        seen = bout.second("high")
    assert seen.t_s == 600.0
    assert seen.metal_c > began_c + 20.0
    assert seen.reading_c == round(seen.reading_c * 4.0) / 4.0
    told = bout.second("off", ask=True)
    assert told.peak_if_cut_c is not None
    assert told.peak_if_cut_c >= told.metal_c - 1.0


@pytest.mark.parametrize("plant", MELTS)
def test_the_same_seed_is_the_same_melt_on_any_plant(plant: str) -> None:
    def trace() -> list[float]:
        bout = Workshop(7002, plant).bout(2)
        return [bout.second("high").reading_c for _ in range(200)]

    assert trace() == trace()
