"""The one rule of the cut: when it is called for, and when the call is over, with a profile or without."""

import pytest

from pourcall.engine.guidance.coast_peaks import CoastPeaks, cut_is_due, cut_is_over


@pytest.mark.parametrize(
    ("rose", "rate", "over"),
    [
        (12.0, 11.0, False),
        (12.0, 6.1, False),
        (12.0, 5.9, True),  # half of the rise it was called at
        (12.0, None, False),  # a figure that is lost answers nothing
        (1.0, 0.2, False),  # a rise that slow is not told from noise
        (1.0, -1.9, False),
        (1.0, -2.1, True),
    ],
)
def test_a_cut_is_over_when_the_rise_gives_way_and_not_by_noise(rose: float, rate: float | None, over: bool) -> None:
    assert cut_is_over(rose, rate, off=False) is over


@pytest.mark.parametrize("rate", [None, 12.0])
def test_a_cut_is_over_when_the_power_is_off_whatever_the_metal_does(rate: float | None) -> None:
    assert cut_is_over(12.0, rate, off=True)


def test_without_a_forecast_the_metal_rises_on_at_its_rate_and_the_cut_is_due_as_it_would_pass_the_aim() -> None:
    peaks = CoastPeaks(None, 545.0, 12.0)  # a minute on: 557
    assert cut_is_due(peaks, 15.0, 557.0)
    assert not cut_is_due(peaks, 15.0, 557.1)
    assert not cut_is_due(CoastPeaks(None, None), 15.0, 500.0)
