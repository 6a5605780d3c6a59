"""Whole logs at once. The vectorised functions against the scalar ones, which the tables check."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pourcall.contract.errors import BadInput
from pourcall.thermometry import thermocouple as tc
from pourcall.thermometry import vector


@pytest.mark.parametrize("tc_type", tc.TYPES)
def test_a_long_log_equals_the_scalar_functions_point_by_point(tc_type: str) -> None:
    low_uv, high_uv = tc.emf_range_uv(tc_type)
    emfs = np.linspace(low_uv, high_uv, 2 * vector.BLOCK + 77)  # two whole blocks and a part
    temps = vector.temp_c(tc_type, emfs)
    sample = slice(None, None, 13)
    assert temps[sample].tolist() == pytest.approx([tc.temp_c(tc_type, uv) for uv in emfs[sample].tolist()], abs=1e-9)
    back = vector.emf_uv(tc_type, temps)
    assert back[sample].tolist() == pytest.approx([tc.emf_uv(tc_type, t) for t in temps[sample].tolist()], abs=1e-8)


@pytest.mark.parametrize("tc_type", tc.TYPES)
def test_round_trip_of_a_million_points_stays_within_a_millionth_of_a_degree(tc_type: str) -> None:
    temps = np.random.default_rng(7).uniform(*tc.invertible_range_c(tc_type), 125_000)
    assert np.abs(vector.temp_c(tc_type, vector.emf_uv(tc_type, temps)) - temps).max() < 1e-6


def test_nan_and_out_of_range_become_nan_and_the_mask_tells_them_apart() -> None:
    emfs = np.array([20000.0, np.nan, 60000.0, -7000.0, np.inf, -np.inf, 0.0])
    temps = vector.temp_c("K", emfs)
    assert np.isnan(temps).tolist() == [False, True, True, True, True, True, False]
    assert vector.outside("K", emfs).tolist() == [False, False, True, True, True, True, False]
    assert temps[0] == pytest.approx(tc.temp_c("K", 20000.0), abs=1e-9)
    assert np.isnan(vector.emf_uv("K", [np.nan, 1372.1, -270.1, np.inf])).all()
    assert emfs[1:3].tolist()[1] == 60000.0  # the caller's array is left alone


@given(st.lists(st.floats(width=64), max_size=40), st.sampled_from(tc.TYPES))
def test_any_floats_at_all_give_numbers_or_nan_exactly_as_the_scalar_path(emfs: list[float], tc_type: str) -> None:
    for emf_uv, found_c in zip(emfs, vector.temp_c(tc_type, emfs).tolist(), strict=True):
        expected_c = tc.temp_c_or_none(tc_type, emf_uv)
        if expected_c is None or expected_c != expected_c:
            assert found_c != found_c
        else:
            assert found_c == pytest.approx(expected_c, abs=1e-9)


def test_shape_and_kind_of_input_are_kept() -> None:
    assert vector.temp_c("K", np.zeros((3, 4), dtype=np.float32)).shape == (3, 4)
    assert vector.temp_c("K", []).shape == (0,)
    assert vector.temp_c("K", 20000).shape == ()
    assert vector.temp_c("K", np.arange(0, 40000, 4000)[::-1]).tolist()[-1] == pytest.approx(0.0, abs=1e-6)
    assert vector.emf_uv("T", [[0.0], [100.0]]).shape == (2, 1)


def test_an_unknown_type_is_refused() -> None:
    for function in (vector.temp_c, vector.emf_uv, vector.outside):
        with pytest.raises(BadInput):
            function("X", [1.0])
