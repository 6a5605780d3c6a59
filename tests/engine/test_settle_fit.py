"""Where a settling probe is heading, against the analytic exponential and the published sheath response table.

Table: response of mineral-insulated sheaths in water, insulated junction, t50 / t90 in seconds, as printed by
sab-cable.com (1.5 mm 0.21/0.60, 3.0 mm 1.2/2.9, 4.5 mm 2.5/5.9, 6.0 mm 4.0/9.6). For a first-order response
t90 = tau ln 10 and t50 = tau ln 2 (textbook). Witness of the fit: scipy.optimize.curve_fit with the
same two lags and drift.
"""

import math
from functools import cache
from random import Random
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import curve_fit

from pourcall.sim.plant.probe import two_lags
from pourcall.thermal_analysis.settling import SettleFit, settle_fit
from pourcall.thermometry.sheaths import SHEATHS

SAB_TABLE = {"mi_1.5": (0.21, 0.60), "mi_3.0": (1.2, 2.9), "mi_4.5": (2.5, 5.9), "mi_6.0": (4.0, 9.6)}


def exponential(
    end_c: float, start_c: float, tau_s: float, *, since_s: float, until_s: float, step_s: float = 0.5
) -> list[tuple[float, float]]:
    count = round((until_s - since_s) / step_s)
    times = [since_s + k * step_s for k in range(count + 1)]
    return [(t, end_c - (end_c - start_c) * math.exp(-t / tau_s)) for t in times]


@pytest.mark.parametrize("tau_s", [1.0, 1.3, 2.0, 3.0])
@pytest.mark.parametrize("end_c", [380.0, 560.0, 1150.0])
def test_a_true_exponential_is_found_within_half_a_degree_before_it_has_settled(tau_s: float, end_c: float) -> None:
    points = exponential(end_c, 40.0, tau_s, since_s=tau_s, until_s=4.0 * tau_s, step_s=tau_s / 10.0)
    assert points[-1][1] < end_c - 6.0  # it is not there yet
    fit = settle_fit(points, 1.3)
    assert fit is not None
    assert fit.temp_c == pytest.approx(end_c, abs=0.5)
    assert abs(fit.temp_c - end_c) <= fit.fit_error_c <= 2.0
    assert fit.tau_s == pytest.approx(tau_s, rel=0.01)
    assert not fit.tau_at_edge


def test_a_trace_too_short_to_tell_one_response_from_another_says_so_by_its_error() -> None:
    """With 0.25 degC steps, one time constant of data cannot tell tau: worse than the 2 degC that DESIGN allows."""

    def seen(until_s: float) -> SettleFit | None:
        clean = exponential(560.0, 40.0, 1.3, since_s=1.3, until_s=until_s, step_s=0.25)
        return settle_fit([(t, round(c * 4.0) / 4.0) for t, c in clean], 1.3)

    short, long = seen(2.6), seen(8.0)
    assert short is not None
    assert long is not None
    assert short.fit_error_c > 2.0
    assert long.fit_error_c < 1.0


def test_hot_gas_is_told_from_metal_by_its_slowness() -> None:
    """The same sheath needs ten times as long in air (sab-cable.com: 3 mm 80 s against 2.9 s)."""
    fit = settle_fit(exponential(700.0, 40.0, 80.0 / math.log(10.0), since_s=2.0, until_s=25.0), 1.3)
    assert fit is not None
    assert fit.tau_at_edge


def test_a_settled_trace_is_its_own_end() -> None:
    fit = settle_fit([(0.5 * k, 560.0) for k in range(20)], 1.3)
    assert fit is not None
    assert fit.temp_c == pytest.approx(560.0, abs=1e-6)


@pytest.mark.parametrize("points", [[], [(0.0, 500.0)], [(k * 0.5, 500.0) for k in range(4)], [(1.0, 500.0)] * 8])
def test_too_few_points_or_no_time_give_no_fit(points: list[tuple[float, float]]) -> None:
    assert settle_fit(points, 1.3) is None


_lags = cache(two_lags)


def sheath_response(t50_s: float, t90_s: float, end_c: float, start_c: float, t_s: float) -> float:
    """A response through both printed points: two lags in a row, or one where the pair is steeper than any two."""
    slow_s, fast_s = _lags(t50_s, t90_s)
    slow = math.exp(-t_s / slow_s)
    if fast_s == 0.0:
        return end_c - (end_c - start_c) * slow
    fast = math.exp(-t_s / fast_s)
    return end_c - (end_c - start_c) * (slow_s * slow - fast_s * fast) / (slow_s - fast_s)


@pytest.mark.parametrize("sheath", sorted(SAB_TABLE))
def test_the_response_used_here_passes_through_the_printed_points(sheath: str) -> None:
    t50_s, t90_s = SAB_TABLE[sheath]
    ratio = t90_s / t50_s
    if ratio >= 2.33:  # two lags can follow it (one lag: 3.32, two equal ones: 2.32)
        assert sheath_response(t50_s, t90_s, 1.0, 0.0, t50_s) == pytest.approx(0.5, abs=0.06)
    assert sheath_response(t50_s, t90_s, 1.0, 0.0, t90_s) == pytest.approx(0.9, abs=0.01)


def test_the_engines_time_constants_are_those_of_the_printed_table() -> None:
    """tau = t90 / ln 10 of the 3 mm and the 6 mm sheath."""
    assert SHEATHS["mineral_3mm"].tau_metal_s == pytest.approx(2.9 / math.log(10.0), rel=0.05)
    assert SHEATHS["mineral_6mm"].tau_metal_s == pytest.approx(9.6 / math.log(10.0), rel=0.05)


RULES = {"mi_1.5": "thin", "mi_3.0": "mineral_3mm", "mi_4.5": "mineral_6mm", "mi_6.0": "mineral_6mm"}


def noisy_fit(sheath: str, seed: int, *, hold: float) -> tuple[SettleFit | None, float]:
    """A real sheath with noise and a 0.25 degC chip, left out before it settled: the fit, and where it would end."""
    rng = Random(seed)
    t50_s, t90_s = SAB_TABLE[sheath]
    end_c, start_c = rng.uniform(450.0, 1150.0), rng.uniform(20.0, 150.0)
    tau_s = SHEATHS[RULES[sheath]].tau_metal_s
    step_s = rng.choice([0.1, 0.25, 0.5])
    noise_c = rng.uniform(0.03, 0.35)
    points = []
    for k in range(round(hold * tau_s / step_s) + 1):
        t_s = tau_s + k * step_s
        clean_c = sheath_response(t50_s, t90_s, end_c, start_c, t_s)
        points.append((t_s, round((clean_c + rng.gauss(0.0, noise_c)) * 4.0) / 4.0))
    if len(points) > 40:
        stride = len(points) / 40.0
        points = [points[int(i * stride)] for i in range(40)]
    return settle_fit(points, tau_s), end_c


@pytest.mark.parametrize("sheath", sorted(SAB_TABLE))
def test_the_fit_error_covers_the_truth_for_every_printed_sheath(sheath: str) -> None:
    """Fits with an error under 2 degC are used for calls: of those, 95 % must hold the true end within their error."""
    used = held = 0
    for seed in range(60):
        fit, end_c = noisy_fit(sheath, seed, hold=2.0 + 3.0 * (seed % 12) / 11.0)
        if fit is not None and fit.fit_error_c <= 2.0 and not fit.tau_at_edge:
            used += 1
            held += abs(fit.temp_c - end_c) <= fit.fit_error_c
    assert used >= 15  # and it must not be so careful that nothing is ever extrapolated
    assert held >= 0.95 * used, f"{held} of {used}"


# -- a general library as witness -------------------------------------------------------------------------------------


Array = np.ndarray[Any, np.dtype[np.float64]]


def _two_lags_and_drift(
    t_s: Array, end_c: float, rate: float, slow_c: float, quick_c: float, slow_s: float, quick_s: float
) -> Array:
    """The model of settle_fit.py, written down once more."""
    drift = rate * (t_s - t_s[-1] - slow_s - quick_s)
    made: Array = end_c + drift - slow_c * np.exp(-t_s / slow_s) - quick_c * np.exp(-t_s / quick_s)
    return made


@pytest.mark.parametrize(("slow_s", "quick_s"), [(1.1, 0.4), (1.3, 0.9), (3.0, 0.6), (3.4, 1.4)])
@pytest.mark.parametrize("rate", [-0.1, 0.0, 0.08])
def test_a_general_library_finds_the_same_end_and_as_wide_an_error(slow_s: float, quick_s: float, rate: float) -> None:
    """curve_fit knows nothing beforehand and starts at the truth; here the trace is long enough to tell all of it."""
    rng = Random(round(100.0 * slow_s + 1000.0 * rate))
    last_s = 8.0 * slow_s
    times = np.arange(0.0, last_s + 1e-9, last_s / 23.0)
    share = slow_s / (slow_s - quick_s)
    truth = (560.0, rate, 400.0 * share, 400.0 * (1.0 - share), slow_s, quick_s)
    temps = _two_lags_and_drift(times, *truth) + np.array([rng.gauss(0.0, 0.2) for _ in times])
    fit = settle_fit(list(zip(times.tolist(), temps.tolist(), strict=True)), 1.3 if slow_s < 2.0 else 4.2)
    assert fit is not None
    found, covariance = curve_fit(_two_lags_and_drift, times, temps, p0=truth)
    witness_u_c = 2.0 * math.sqrt(covariance[0][0])
    assert abs(fit.temp_c - found[0]) <= max(witness_u_c, 0.3)  # ours knows something beforehand
    assert abs(fit.temp_c - 560.0) <= max(fit.fit_error_c, witness_u_c)
    assert 0.3 * witness_u_c <= fit.fit_error_c <= 4.0 * witness_u_c


# -- whatever comes ---------------------------------------------------------------------------------------------------

_numbers = st.one_of(st.floats(), st.floats(-300.0, 2000.0), st.sampled_from([math.nan, math.inf, -math.inf, 0.0]))


@given(st.lists(st.tuples(_numbers, _numbers), max_size=60), st.sampled_from([1.0, 1.3, 4.2, 30.0]))
def test_no_samples_whatever_break_the_fit(points: list[tuple[float, float]], tau_s: float) -> None:
    fit = settle_fit(points, tau_s)
    if fit is not None:
        assert math.isfinite(fit.temp_c)
        assert math.isfinite(fit.fit_error_c)
        assert fit.fit_error_c >= 0.0
        assert fit.tau_s > 0.0


@given(
    st.lists(st.floats(-300.0, 300.0), min_size=5, max_size=40),
    st.floats(100.0, 1100.0),
    st.floats(0.05, 5.0),
    st.sampled_from([1.0, 4.2, 30.0]),
)
def test_jumps_in_steps_of_a_quarter_degree_never_look_surer_than_they_are(
    moves: list[float], start_c: float, step_s: float, tau_s: float
) -> None:
    """Whatever the trace does, a figure is not claimed to 2 degC that lies far outside all that was read."""
    points, at_c = [], start_c
    for k, move in enumerate(moves):
        at_c += round(move * 4.0) / 4.0
        points.append((k * step_s, at_c))
    fit = settle_fit(points, tau_s)
    assert fit is not None
    if fit.fit_error_c <= 2.0:
        low_c, high_c = min(c for _, c in points), max(c for _, c in points)
        assert low_c - (high_c - low_c) - 5.0 <= fit.temp_c <= high_c + (high_c - low_c) + 5.0


@given(st.floats(-200.0, 1500.0), st.integers(5, 60), st.sampled_from([0.1, 0.25, 1.0, 10.0]))
def test_a_constant_trace_is_its_own_end_however_long(temp_c: float, count: int, step_s: float) -> None:
    fit = settle_fit([(k * step_s, temp_c) for k in range(count)], 1.3)
    assert fit is not None
    assert fit.temp_c == pytest.approx(temp_c, abs=0.05)
    assert not fit.tau_at_edge
