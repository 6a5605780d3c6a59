"""Rates against exact slopes. Straight lines have one slope; least squares of noise is known in closed form."""

import math
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pourcall.thermal_analysis.trend import Trend


def fed(points: list[tuple[float, float]], span_s: float = 2.0) -> Trend:
    trend = Trend(span_s)
    for mono_s, temp_c in points:
        trend.add(mono_s, temp_c)
    return trend


@given(
    slope=st.floats(-20.0, 20.0),
    start_c=st.floats(0.0, 1200.0),
    step_s=st.sampled_from([0.1, 0.25, 0.5, 1.0, 2.0]),
    began_s=st.floats(0.0, 1e6),
)
def test_a_straight_line_has_its_own_slope_by_both_measures(
    slope: float, start_c: float, step_s: float, began_s: float
) -> None:
    trend = fed([(began_s + k * step_s, start_c + slope * k * step_s) for k in range(round(60.0 / step_s))])
    assert trend.probe_rate_c_per_s() == pytest.approx(slope, abs=1e-6)
    assert trend.rate_c_per_min(30.0) == pytest.approx(60.0 * slope, abs=1e-3)


def test_the_slope_of_noise_is_that_of_least_squares() -> None:
    """Against the closed form: sum((t - mean t)(c - mean c)) / sum((t - mean t)^2)."""
    rng = Random(5)
    points = [(float(k), 500.0 + rng.gauss(0.0, 1.0)) for k in range(40)]
    last = points[-31:]
    mean_t, mean_c = sum(t for t, _ in last) / 31, sum(c for _, c in last) / 31
    wanted = sum((t - mean_t) * (c - mean_c) for t, c in last) / sum((t - mean_t) ** 2 for t, _ in last)
    assert fed(points).rate_c_per_min(30.0) == pytest.approx(60.0 * wanted, rel=1e-9)


def test_too_young_a_trend_gives_no_rate() -> None:
    assert Trend(2.0).probe_rate_c_per_s() is None
    assert fed([(0.0, 500.0)]).probe_rate_c_per_s() is None
    assert fed([(0.0, 500.0), (1.0, 501.0)]).rate_c_per_min(30.0) is None
    assert fed([(float(k), 500.0) for k in range(9)]).rate_c_per_min(30.0) is None  # less than a third of the span
    assert fed([(float(k), 500.0) for k in range(12)]).rate_c_per_min(30.0) == pytest.approx(0.0)


def test_times_that_stand_or_run_backwards_are_ignored() -> None:
    trend = fed([(float(k), 500.0 + k) for k in range(30)])
    before = trend.rate_c_per_min(20.0)
    for mono_s in (29.0, 10.0, -5.0):
        trend.add(mono_s, 9999.0)
    assert trend.rate_c_per_min(20.0) == before
    assert trend.probe_rate_c_per_s() == pytest.approx(1.0)


def test_memory_stays_flat_over_a_day() -> None:
    trend = Trend(2.0)
    for k in range(200_000):
        trend.add(0.1 * k, 500.0 + math.sin(k))
    assert len(trend._short) < 200
    assert len(trend._long) < 200


def test_the_span_is_highest_less_lowest_and_only_told_when_it_is_old_enough() -> None:
    trend = fed([(float(k), 500.0 + (k % 10)) for k in range(61)])
    assert trend.span_c(60.0) == 9.0
    assert trend.span_c(90.0) is None


def test_slow_sampling_still_gives_a_rate() -> None:
    trend = fed([(20.0 * k, 500.0 + 10.0 * k) for k in range(10)])
    assert trend.probe_rate_c_per_s() == pytest.approx(0.5)
    assert trend.rate_c_per_min(60.0) == pytest.approx(30.0)
