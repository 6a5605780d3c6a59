"""Foresight held to what comes true, on simulated furnaces of another structure than the model's.

Furnaces and melts: pourcall/sim/scenarios/foresee.py; how a melt is followed and judged:
benchmarks/bench_foresight.py. Three melts of each furnace teach the model, a fourth is foreseen. The long tier does
200 furnaces, the quick one a few.
"""

from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest
from scipy.stats import binomtest, chi2

from pourcall.contract.furnace_model import PARAMETERS
from pourcall.contract.message import tell
from pourcall.furnace.forecast import Forecast
from pourcall.furnace.model import usual_model
from pourcall.metal.alloys.sheet import load_sheets
from tests.benches import bench_module

MELTS = 200


bench = bench_module("bench_foresight")


def of(rows: list[dict[str, Any]], start: str) -> float:
    return float(next(row["measured"] for row in rows if row["what"].startswith(start)))


def both(seeds: range) -> Iterator[tuple[Any, Any]]:
    for seed in seeds:
        shop = bench.Workshop(seed)
        model = bench.learned(shop)
        yield bench.foresee(shop, model), bench.follow(shop, model)


@pytest.mark.long
@pytest.mark.timeout(240)
def test_a_few_furnaces_are_foreseen_to_a_tenth_and_their_calls_land() -> None:
    seen, followed = zip(*both(range(7000, 7003)), strict=True)
    assert sum(one.worst_share <= 0.10 for one in seen) >= 2
    rows = bench.rows(seen, followed)
    assert of(rows, "90 % interval of the time left covers") >= 0.8
    assert of(rows, "coast peak, error") <= 12.0
    assert all(one.peak_c is not None for one in followed)
    assert sum(-8.0 <= one.peak_c <= 6.0 for one in followed) >= 2


@pytest.mark.long
@pytest.mark.timeout(5400)
def test_two_hundred_furnaces_are_foreseen_as_stated() -> None:
    seen, followed = zip(*both(range(7000, 7000 + MELTS)), strict=True)
    rows = bench.rows(seen, followed)
    assert of(rows, "moment of ready within 10 %") >= 0.90
    assert of(rows, "coast peak, error") <= 10.0
    # coverage: one look at each melt, three quarters through, so that looks are independent; 90 % are promised
    looks = [min(one.ready, key=lambda pair: abs(pair[0] - 0.25 * one.ready_s)) for one in seen if one.ready]
    inside = sum(bench._inside(left, span) for left, span in looks)
    assert binomtest(inside, len(looks), 0.9, alternative="less").pvalue > 0.01
    assert of(rows, "the same, all metal in from the start") >= 0.75
    assert of(rows, "true peak within -5/+3") >= 0.60


@pytest.mark.timeout(120)
def test_learning_helps_and_its_uncertainty_is_honest() -> None:
    """The learned parameters against those of the plant where both have the same one: power of electric furnaces."""
    squares = []
    for seed in (5001, 5003, 5006):
        shop = bench.Workshop(seed)
        if shop.fuel:
            continue
        model = bench.learned(shop)
        at = PARAMETERS.index("power_w")
        true = np.log(shop.scenario.furnace.power_w)
        squares.append((model.mean[at] - true) ** 2 / (model.cov[at][at] + 0.06**2))  # structure: 6 % (ours)
        assert model.spread("wall_j_per_k") < bench.usual(shop).spread("wall_j_per_k")
    assert squares
    assert sum(squares) < chi2.ppf(0.999, len(squares))


# -- what must hold of the tracker whatever the furnace ---------------------------------------------------------------

ZA12 = load_sheets().get("za12").facts()


def fresh(**own: Any) -> Forecast:
    return Forecast(usual_model("small", power_w=2200.0), ZA12, 1.5, 0.0, **own)


def test_the_same_melt_gives_the_same_bytes() -> None:
    views = []
    for _ in range(2):
        ahead = fresh()
        ahead.set_power(1.0, 0.0)
        for second in range(1, 200):
            ahead.take(20.0 + 0.4 * second, 4.0, float(second))
            view = ahead.tick(float(second), 500.0, 520.0, 500.0)
        views.append(view)
    assert views[0] == views[1]


def test_with_the_power_off_no_time_is_promised_and_why_is_said() -> None:
    ahead = fresh()
    ahead.set_power(0.0, 0.0)
    view = ahead.tick(10.0, 500.0, 520.0, 500.0)
    assert view.ready_s.mid is None
    assert view.why == tell("forecast.power_off")


def test_a_setting_that_never_gets_there_is_said() -> None:
    weak = usual_model("small", power_w=250.0)
    ahead = Forecast(weak, ZA12, 3.0, 0.0)
    ahead.set_power(1.0, 0.0)
    for second in range(1, 60):
        view = ahead.tick(float(second), 700.0, 720.0, 700.0)
    assert view.ready_s.mid is None
    assert view.why == tell("forecast.out_of_reach")


def test_an_addition_is_foreseen_and_its_dip_told() -> None:
    ahead = fresh(metal_c=520.0, wall_c=620.0)
    before_c = ahead.tick(1.0, 500.0, 530.0, 500.0).metal_c.mid
    ahead.add(0.3, 2.0)
    after_c = ahead.tick(3.0, 500.0, 530.0, 500.0).metal_c.mid
    assert before_c is not None
    assert after_c is not None
    assert before_c - after_c > 20.0


def test_metal_that_is_still_to_be_added_makes_it_take_longer() -> None:
    def ready(still_kg: float) -> float:
        ahead = fresh()
        ahead.planned(1.0, still_kg)
        ahead.set_power(1.0, 0.0)
        for second in range(1, 40):
            view = ahead.tick(float(second), 500.0, 520.0, 500.0)
        assert view.ready_s.mid is not None
        return view.ready_s.mid

    assert ready(0.5) > 1.08 * ready(0.0)


def test_a_chamber_probe_alone_says_metal_with_a_wide_margin_and_one_dip_narrows_it() -> None:
    ahead = fresh(wall_c=600.0, wall_u_c=100.0, metal_c=480.0)
    ahead.set_power(1.0, 0.0)
    for second in range(1, 300):
        ahead.take_chamber(600.0 + 0.3 * second, float(second))
        ahead.tick(float(second), 500.0, 520.0, 500.0)
    metal_c, before_u_c = ahead.metal_from_chamber()
    assert before_u_c >= 15.0
    ahead.take(metal_c - 10.0, 4.0, 300.0, settled=True)
    after_c, after_u_c = ahead.metal_from_chamber()
    assert after_c < metal_c - 3.0
    assert after_u_c <= before_u_c


def test_no_reading_however_wild_breaks_it() -> None:
    ahead = fresh()
    ahead.set_power(1.0, 0.0)
    for second, temp_c in ((10, 1500.0), (30, -20.0), (50, 800.0), (70, 20.0)):
        ahead.take(temp_c, 4.0, float(second))
        view = ahead.tick(float(second) + 1.0, 500.0, 520.0, 500.0)
        assert view.metal_c.mid is not None
        assert -50.0 < view.metal_c.mid < 2000.0


def test_the_band_for_the_screen_widens_with_time() -> None:
    ahead = fresh()
    ahead.set_power(1.0, 0.0)
    ahead.tick(1.0, 500.0, 520.0, 500.0)
    band = ahead.band(1.0, 900.0)
    assert [at for at, _, _ in band] == [60.0 * k for k in range(1, 16)]
    widths = [high - low for _, low, high in band]
    assert widths[-1] > widths[0]


# -- cheap, and the same ----------------------------------------------------------------------------------------------


@pytest.mark.timeout(60)
def test_a_tick_every_five_seconds_says_what_a_tick_every_second_says() -> None:
    """On a melt of another structure: coast peak within 1.5 degC, time to ready within 3 % and 10 s, moment to cut
    within 3 s; what the metal is at, within half a degree.
    """
    shop = bench.Workshop(5002)
    model = bench.usual(shop)
    views: list[dict[float, Any]] = []
    for every_s in (1, 5):
        bout = shop.bout(0)
        ahead = bench.begin(shop, bout, model)
        ahead.set_power(1.0, 0.0)
        seen: dict[float, Any] = {}
        while bout.t_s < 900.0:
            second = bout.second("high")
            if second.added_kg:
                ahead.add(second.added_kg, second.t_s)
            if second.t_s % 5.0 == 0.0:
                ahead.take(second.reading_c, 8.0, second.t_s)
            if second.t_s % every_s == 0:
                seen[second.t_s] = ahead.tick(second.t_s, shop.tap_c[0], shop.aim_c, shop.tap_c[0])
        views.append(seen)
    often, seldom = views
    compared = 0
    for at_s, view in seldom.items():
        other = often[at_s]
        if at_s < 120.0 or view.ready_s.mid is None or other.ready_s.mid is None:
            continue
        compared += 1
        assert view.metal_c.mid == pytest.approx(other.metal_c.mid, abs=0.5)
        assert view.coast_c.mid == pytest.approx(other.coast_c.mid, abs=1.5)
        assert view.ready_s.mid == pytest.approx(other.ready_s.mid, rel=0.03, abs=10.0)
        if view.cut_in_s is not None and other.cut_in_s is not None:
            assert view.cut_in_s == pytest.approx(other.cut_in_s, abs=3.0)
    assert compared > 100


def test_the_band_and_the_coast_change_nothing_however_often_they_are_asked() -> None:
    def told(asks: int) -> tuple[Any, Any]:
        ahead = fresh()
        ahead.set_power(1.0, 0.0)
        for second in range(1, 120):
            ahead.take(20.0 + 0.4 * second, 4.0, float(second))
            view = ahead.tick(float(second), 500.0, 520.0, 500.0)
            for _ in range(asks):
                ahead.band(second + 0.3, 600.0)
                ahead.coast_peak_c(13.0)
                ahead.coast_peak_c(400.0)
        return view, ahead.band(119.0)

    assert told(0) == told(3)


def test_the_moment_to_cut_is_where_the_coast_is_the_aim() -> None:
    ahead = fresh(metal_c=480.0, wall_c=640.0)
    ahead.set_power(1.0, 0.0)
    for second in range(1, 30):
        view = ahead.tick(float(second), 500.0, 560.0, 500.0)
        ahead.readings = 1
        if view.cut_in_s:
            peak_c = ahead.coast(view.cut_in_s).peak_c
            assert peak_c == pytest.approx(560.0, abs=1.0)
            assert ahead.coast_peak_c(view.cut_in_s) == pytest.approx(560.0, abs=0.01)
    assert view.cut_in_s is not None


def test_one_dip_sets_a_furnace_nobody_knows_anything_of_right() -> None:
    """Ensemble spread from solid to far too hot: degrees hide the heat in the freezing range, heat does not."""
    ahead = Forecast(usual_model("small", kind="fuel"), ZA12, 1.5, 0.0, wall_c=20.0, wall_u_c=120.0)
    ahead.set_power(1.0, 0.0)
    for second in range(5, 1300, 5):
        view = ahead.tick(float(second), 480.0, 510.0, 480.0)
    assert view.metal_c.low is not None
    assert view.metal_c.high is not None
    assert view.metal_c.high - view.metal_c.low > 300.0
    ahead.take(485.0, 5.0, 1300.0, settled=True)
    view = ahead.tick(1301.0, 480.0, 510.0, 480.0)
    assert view.metal_c.mid == pytest.approx(485.0, abs=6.0)
    assert view.metal_c.low is not None
    assert view.metal_c.high is not None
    assert view.metal_c.high - view.metal_c.low < 30.0


def test_a_dip_that_found_it_not_liquid_takes_back_what_was_believed_beyond() -> None:
    ahead = Forecast(usual_model("small", kind="fuel"), ZA12, 1.5, 0.0)
    ahead.set_power(1.0, 0.0)
    for second in range(5, 1300, 5):
        before = ahead.tick(float(second), 480.0, 510.0, 480.0)
    ahead.not_liquid(1300.0)
    after = ahead.tick(1301.0, 480.0, 510.0, 480.0)
    assert before.metal_c.mid is not None
    assert after.metal_c.mid is not None
    assert before.coast_c.mid is not None
    assert after.coast_c.mid is not None
    assert max(ahead.members.temps_c(1.5)) <= ZA12.liquidus_c + 45.0
    assert after.coast_c.mid < before.coast_c.mid
