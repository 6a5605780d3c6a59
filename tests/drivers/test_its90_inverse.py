"""The exact inverse. Round trip, monotone, no step at a joint, NaN, infinities, ends of the range."""

import subprocess
import sys
from itertools import pairwise
from math import inf, isnan, nan, nextafter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pourcall.contract.errors import BadInput, OutOfRange
from pourcall.thermometry import thermocouple as tc

EXACT_C = 1e-6  # the budget
JOINTS = [
    (tc_type, piece.high_c, piece, next_piece)
    for tc_type in tc.TYPES
    for piece, next_piece in pairwise(tc.curves(tc_type))
]


@st.composite
def type_and_temp(draw: st.DrawFn) -> tuple[str, float]:
    tc_type = draw(st.sampled_from(tc.TYPES))
    low_c, high_c = tc.invertible_range_c(tc_type)
    return tc_type, draw(st.floats(low_c, high_c))


@given(type_and_temp())
def test_any_temperature_comes_back_within_a_millionth_of_a_degree(case: tuple[str, float]) -> None:
    tc_type, temp_c = case
    assert tc.temp_c(tc_type, tc.emf_uv(tc_type, temp_c)) == pytest.approx(temp_c, abs=EXACT_C)


@given(st.sampled_from(tc.TYPES), st.floats(0.0, 1.0))
def test_any_emf_comes_back(tc_type: str, share: float) -> None:
    low_uv, high_uv = tc.emf_range_uv(tc_type)
    emf_uv = low_uv + share * (high_uv - low_uv)
    temp_c = tc.temp_c(tc_type, emf_uv)
    assert tc.emf_uv(tc_type, temp_c) == pytest.approx(emf_uv, abs=EXACT_C * 90.0)  # no type exceeds 90 uV/degC


@given(st.sampled_from(tc.TYPES), st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_a_higher_emf_never_means_a_lower_temperature(tc_type: str, one: float, two: float) -> None:
    low_uv, high_uv = tc.emf_range_uv(tc_type)
    cold_uv, hot_uv = sorted(low_uv + share * (high_uv - low_uv) for share in (one, two))
    assert tc.temp_c(tc_type, cold_uv) <= tc.temp_c(tc_type, hot_uv) + 1e-11  # rounding of one cubic


@pytest.mark.parametrize("tc_type", tc.TYPES)
def test_temperature_rises_with_every_step_of_emf(tc_type: str) -> None:
    low_uv, high_uv = tc.emf_range_uv(tc_type)
    temps = [tc.temp_c(tc_type, low_uv + (high_uv - low_uv) * k / 50_000) for k in range(50_001)]
    assert all(one < two for one, two in pairwise(temps))


@pytest.mark.parametrize("tc_type", tc.TYPES)
def test_no_cubic_steps_against_its_neighbour(tc_type: str) -> None:
    cells = tc.inverse_table(tc_type).cells
    for (a, b, c, d), following in pairwise(cells):
        assert a + b + c + d == pytest.approx(following[0], abs=1e-10)


@pytest.mark.parametrize(("tc_type", "joint_c"), [(tc_type, joint_c) for tc_type, joint_c, _, _ in JOINTS])
def test_no_step_and_no_fold_at_a_joint_of_the_published_pieces(tc_type: str, joint_c: float) -> None:
    middle_uv = tc.emf_uv(tc_type, joint_c)
    slope = tc.seebeck_uv_per_c(tc_type, joint_c)
    temps = [tc.temp_c(tc_type, middle_uv + 1e-4 * k) for k in range(-50, 51)]
    for one, two in pairwise(temps):
        assert two - one == pytest.approx(1e-4 / slope, rel=0.02, abs=1e-9)
    for away_c in (0.0, 1e-9, -1e-9, 1e-6, -1e-6, 1e-3, -1e-3):
        temp_c = joint_c + away_c
        assert tc.temp_c(tc_type, tc.emf_uv(tc_type, temp_c)) == pytest.approx(temp_c, abs=EXACT_C)


def test_type_k_has_no_kink_at_500_degc() -> None:
    # The published inverse polynomials step there by -0.033 degC (20.644 mV): a plateau detector would see it.
    temps = [tc.temp_c("K", 20644.0 + 0.1 * k) for k in range(-100, 101)]
    steps = [two - one for one, two in pairwise(temps)]
    assert max(steps) - min(steps) < 1e-6


@pytest.mark.parametrize("tc_type", tc.TYPES)
def test_the_very_ends_of_the_range_go_both_ways(tc_type: str) -> None:
    low_c, high_c = tc.invertible_range_c(tc_type)
    low_uv, high_uv = tc.emf_range_uv(tc_type)
    for end_c, inward_c in ((low_c, high_c), (high_c, low_c)):
        temp_c = end_c
        for _ in range(100):
            assert tc.temp_c(tc_type, tc.emf_uv(tc_type, temp_c)) == pytest.approx(temp_c, abs=EXACT_C)
            temp_c = nextafter(temp_c, inward_c)
    for end_uv in (low_uv, high_uv):
        tc.emf_uv(tc_type, tc.temp_c(tc_type, end_uv))  # what the inverse gives, the forward function takes


# NIST tables print emf at the lowest and highest temperature; exact limits of type K: its90 reference work, 1372 degC.
@pytest.mark.parametrize(
    ("tc_type", "low_c", "high_c"),
    [
        ("B", 0, 1820),
        ("E", -270, 1000),
        ("J", -210, 1200),
        ("K", -270, 1372),
        ("N", -270, 1300),
        ("R", -50, 1768.1),
        ("S", -50, 1768.1),
        ("T", -270, 400),
    ],
)
def test_ranges_are_the_published_ones(tc_type: str, low_c: float, high_c: float) -> None:
    assert tc.temp_range_c(tc_type) == (low_c, high_c)
    if tc_type != "B":
        assert tc.invertible_range_c(tc_type) == (low_c, high_c)
    emf_low_uv, emf_high_uv = tc.emf_range_uv(tc_type)
    assert emf_high_uv == pytest.approx(tc.emf_uv(tc_type, high_c), abs=1e-6)
    assert emf_low_uv == pytest.approx(tc.emf_uv(tc_type, tc.invertible_range_c(tc_type)[0]), abs=1e-6)


def test_type_b_is_inverted_on_its_rising_branch_from_its_least_emf_on() -> None:
    low_c, _ = tc.invertible_range_c("B")
    assert low_c == pytest.approx(21.02, abs=0.005)  # "falls below zero near 21 degC": Monograph 175 table, -0.003 mV
    assert tc.seebeck_uv_per_c("B", low_c) == pytest.approx(0.0, abs=1e-12)
    assert tc.emf_range_uv("B")[0] == pytest.approx(-2.585, abs=0.001)
    two_meanings_uv = tc.emf_uv("B", 10.0)
    assert tc.temp_c("B", two_meanings_uv) == pytest.approx(32.1, abs=0.2)
    assert tc.emf_uv("B", tc.temp_c("B", two_meanings_uv)) == pytest.approx(two_meanings_uv, abs=1e-9)
    with pytest.raises(OutOfRange):
        tc.temp_c("B", -2.6)


@pytest.mark.parametrize("tc_type", tc.TYPES)
def test_nan_in_gives_nan_out(tc_type: str) -> None:
    assert isnan(tc.emf_uv(tc_type, nan))
    assert isnan(tc.temp_c(tc_type, nan))
    assert isnan(tc.seebeck_uv_per_c(tc_type, nan))
    for found in (tc.temp_c_or_none(tc_type, nan), tc.emf_uv_or_none(tc_type, nan)):
        assert found is not None
        assert isnan(found)


@pytest.mark.parametrize("tc_type", tc.TYPES)
@pytest.mark.parametrize("value", [inf, -inf, 1e9, -1e9])
def test_out_of_range_is_told_never_extrapolated(tc_type: str, value: float) -> None:
    assert tc.temp_c_or_none(tc_type, value) is None
    assert tc.emf_uv_or_none(tc_type, value) is None
    for function in (tc.temp_c, tc.emf_uv, tc.seebeck_uv_per_c):
        with pytest.raises(OutOfRange, match=rf"\b{tc_type}\b"):
            function(tc_type, value)


@pytest.mark.parametrize("tc_type", tc.TYPES)
def test_just_beyond_the_ends_is_out_of_range(tc_type: str) -> None:
    low_uv, high_uv = tc.emf_range_uv(tc_type)
    assert tc.temp_c_or_none(tc_type, low_uv - 0.001) is None
    assert tc.temp_c_or_none(tc_type, high_uv + 0.001) is None
    low_c, high_c = tc.temp_range_c(tc_type)
    assert tc.emf_uv_or_none(tc_type, low_c - 0.001) is None
    assert tc.emf_uv_or_none(tc_type, high_c + 0.001) is None


@pytest.mark.parametrize("tc_type", ["", "k", "C", "KX", "Pt100"])
def test_an_unknown_type_is_refused_with_the_known_ones(tc_type: str) -> None:
    for call in (tc.temp_range_c, tc.emf_range_uv, tc.inverse_table, tc.invertible_range_c, tc.curves):
        with pytest.raises(BadInput, match="B, E, J, K, N, R, S, T"):
            call(tc_type)
    for function in (tc.temp_c, tc.emf_uv, tc.temp_c_or_none, tc.emf_uv_or_none, tc.seebeck_uv_per_c):
        with pytest.raises(BadInput):
            function(tc_type, 20.0)


def test_the_measurement_chain_of_the_daemon_loads_no_numpy() -> None:
    code = (
        "import sys\n"
        "import pourcall.thermometry.uncertainty, pourcall.thermometry.compensation\n"
        "import pourcall.thermometry.thermocouple as tc\n"
        "tc.temp_c('K', 20000.0)\n"
        "sys.exit(int(any(name.split('.')[0] in ('numpy', 'scipy') for name in sys.modules)))\n"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False, timeout=60).returncode == 0
