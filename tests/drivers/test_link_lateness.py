"""Old bytes in a burst are told late (fault S10), and nothing else is."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pourcall.drivers.lateness import LEAK, Lateness


def run(pairs: list[tuple[int, float]], lateness: Lateness | None = None) -> list[float]:
    lateness = lateness or Lateness()
    return [lateness.late_s(board_ms % 2**32, arrived_s) for board_ms, arrived_s in pairs]


def test_steady_stream_is_never_late_whatever_the_clocks_show() -> None:
    late = run([(5_000_000 + 100 * n, 77.0 + 0.1 * n) for n in range(3000)])
    assert max(late) < 0.001


def test_jitter_of_arrival_is_told_as_it_is() -> None:
    late = run([(0, 10.0), (100, 10.1), (200, 10.25), (300, 10.3)])
    assert late == pytest.approx([0.0, 0.0, 0.05, 0.0], abs=0.002)


def test_backlog_of_ten_seconds_is_late_by_its_age_and_then_no_more() -> None:
    lateness = Lateness()
    run([(100 * n, 50.0 + 0.1 * n) for n in range(100)], lateness)  # up to board 9.9 s, host 59.9 s
    burst = run([(9_900 + 100 * n, 69.9) for n in range(1, 101)], lateness)  # ten seconds at once
    assert burst[0] == pytest.approx(9.9, abs=0.1)
    assert burst[49] == pytest.approx(5.0, abs=0.1)
    assert burst[-1] == pytest.approx(0.0, abs=0.1)
    assert max(run([(19_900 + 100 * n, 69.9 + 0.1 * n) for n in range(1, 50)], lateness)) < 0.1


def test_millis_that_wrap_are_no_restart_and_not_late() -> None:
    lateness = Lateness()
    late = run([(2**32 - 500 + 100 * n, 10.0 + 0.1 * n) for n in range(10)], lateness)
    assert max(late) < 0.002
    assert lateness.restarts == 0


def test_board_that_starts_again_begins_anew() -> None:
    lateness = Lateness()
    run([(100_000 + 100 * n, 10.0 + 0.1 * n) for n in range(10)], lateness)
    late = run([(50 + 100 * n, 14.0 + 0.1 * n) for n in range(10)], lateness)
    assert lateness.restarts == 1
    assert max(late) < 0.002


def test_restart_after_more_than_half_the_wrap_heals_at_once() -> None:
    lateness = Lateness()
    run([(3_000_000_000, 10.0), (3_000_000_100, 10.1)], lateness)
    assert max(run([(50 + 100 * n, 14.0 + 0.1 * n) for n in range(10)], lateness)) < 0.002


@pytest.mark.parametrize("drift", [-0.005, -0.0001, 0.0001, 0.005])
def test_board_clock_that_drifts_half_a_percent_is_not_called_late(drift: float) -> None:
    assert LEAK > 0.005
    late = run([(round(1000 * n * (1 + drift)), float(n)) for n in range(4 * 3600)])
    assert max(late) < 0.01


@given(
    steps=st.lists(st.tuples(st.integers(1, 5000), st.floats(0.0, 0.4)), min_size=1, max_size=60),
    start_ms=st.integers(0, 2**32 - 1),
)
def test_lateness_never_exceeds_the_delay_that_was_made(steps: list[tuple[int, float]], start_ms: int) -> None:
    lateness, board_ms, arrived_s = Lateness(), start_ms, 100.0
    for step_ms, delay_s in steps:
        board_ms += step_ms
        arrived_s = max(arrived_s, 100.0 + (board_ms - start_ms) / 1000.0 + delay_s)
        told = lateness.late_s(board_ms % 2**32, arrived_s)
        assert 0.0 <= told <= arrived_s - 100.0 - (board_ms - start_ms) / 1000.0 + 1e-6
