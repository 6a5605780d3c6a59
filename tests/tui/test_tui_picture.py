"""The picture of past and future: what is foreseen stands right of now, and never looks measured."""

import itertools
import math
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from pourcall.contract.snapshot import AheadView, Interval
from pourcall.tui.drawing.picture import ENOUGH_ROWS, NEAR, NEARER, Picture, band_ahead, band_cells, picture_of
from pourcall.tui.drawing.styled import Role
from pourcall.tui.drawing.trace import TraceBuffer

WINDOW = (529.0, 559.0)
NUMBER = st.one_of(st.floats(allow_nan=True, allow_infinity=True), st.floats(-500.0, 3000.0))


def curve(*, minutes: int = 60, to_c: float = 490.0) -> list[Any]:
    """A rise of so many minutes that ends now."""
    buffer = TraceBuffer()
    for n in range(minutes * 60 + 1):
        buffer.add(float(n), 20.0 + (to_c - 20.0) * n / (minutes * 60))
    return [(buffer.segments(minutes * 60.0, minutes * 60.0, 200), Role.STRONG)]


def ahead_of(**over: Any) -> AheadView:
    """Six degrees a minute for forty minutes, from `at`."""
    band = tuple((60.0 * n, 490.0 + 6.0 * n - n, 490.0 + 6.0 * n + n) for n in range(1, 41))
    return AheadView(
        **{"at_mono_s": 3600.0, "coast_c": Interval(510.0, 505.0, 515.0), "coast_in_s": 240.0, "band": band, **over}
    )


def test_the_band_begins_now_and_ends_with_the_picture() -> None:
    picture = picture_of(curve(), WINDOW, 3600.0, ahead_of(), 3600.0)
    assert picture.band[0] == (0.0, 495.0, 497.0)
    assert picture.ahead_min == picture.band[-1][0] == 30.0  # half of the hour that is shown behind
    assert picture_of(curve(minutes=10), WINDOW, 600.0, ahead_of(), 3600.0).ahead_min == 10.0


def test_time_that_has_passed_since_it_was_worked_out_is_taken_off() -> None:
    picture = picture_of(curve(), WINDOW, 3600.0, ahead_of(), 3600.0 + 90.0)
    assert picture.band[1] == (0.5, 490.0 + 12.0 - 2.0, 490.0 + 12.0 + 2.0)  # the point of two minutes, 90 s later
    assert picture.coast == (2.5, 510.0)  # four minutes, 90 s later


def test_without_a_forecast_now_is_the_right_edge() -> None:
    for ahead in (None, ahead_of(band=())):
        picture = picture_of(curve(), WINDOW, 3600.0, ahead, 3600.0)
        assert (picture.ahead_min, picture.band, picture.coast) == (0.0, (), None)
        assert band_cells(picture, 50, 10) == ([], [])


def test_a_coast_beyond_the_picture_or_behind_now_has_no_mark() -> None:
    for in_s, now_s in ((9000.0, 3600.0), (240.0, 3600.0 + 300.0), (None, 3600.0)):
        assert picture_of(curve(), WINDOW, 3600.0, ahead_of(coast_in_s=in_s), now_s).coast is None


@given(
    st.lists(st.tuples(st.floats(-600.0, 9000.0), NUMBER, NUMBER), max_size=60),
    st.floats(0.0, 9000.0),
    st.integers(0, 200),
    st.integers(0, 40),
)
def test_whatever_the_band_the_picture_holds_only_numbers(
    band: list[tuple[float, float, float]], now_s: float, columns: int, rows: int
) -> None:
    ahead = ahead_of(at_mono_s=0.0, band=tuple(sorted(band, key=lambda p: p[0])))
    picture = picture_of(curve(minutes=10), WINDOW, 600.0, ahead, now_s)
    assert math.isfinite(picture.low_c)
    assert picture.low_c < picture.high_c < 559.0 + 200.0
    assert all(0.0 <= t <= picture.ahead_min and low <= high for t, low, high in picture.band)
    assert all(a[0] <= b[0] for a, b in itertools.pairwise(picture.band))
    x, y = band_cells(picture, columns, rows)
    assert all(0.0 < minutes <= picture.ahead_min for minutes in x)
    assert all(picture.low_c <= temp_c <= picture.high_c for temp_c in y)
    assert len(x) == len(y) <= columns * rows


def test_the_shaded_cells_cover_the_band_and_nothing_far_from_it() -> None:
    picture = picture_of(curve(), WINDOW, 3600.0, ahead_of(), 3600.0)
    columns, rows = 90, 12
    x, y = band_cells(picture, columns, rows)
    row_c = (picture.high_c - picture.low_c) / rows
    for minutes, temp_c in zip(x, y, strict=True):
        low_c, high_c = 490.0 + 5.0 * minutes, 490.0 + 7.0 * minutes
        assert low_c - row_c - 6.0 <= temp_c <= high_c + row_c + 6.0
    # every column right of now has at least one
    wide = (picture.past_min + picture.ahead_min) / columns
    assert len({round(minutes / wide, 3) for minutes in x}) >= int(picture.ahead_min / wide) - 1


def test_power_left_on_for_half_an_hour_does_not_flatten_what_matters() -> None:
    band = tuple((60.0 * n, 500.0 + 40.0 * n, 520.0 + 50.0 * n) for n in range(1, 41))
    picture = picture_of(curve(to_c=500.0), WINDOW, 3600.0, ahead_of(band=band), 3600.0)
    assert picture.high_c < 660.0


def test_on_few_rows_the_picture_comes_near_when_the_metal_does() -> None:
    chamber = curve(to_c=900.0)
    far = picture_of(curve(to_c=300.0) + chamber, WINDOW, 3600.0, ahead_of(), 3600.0, 4, metal_c=300.0)
    assert far.low_c < 50.0
    near = picture_of(curve() + chamber, WINDOW, 3600.0, ahead_of(), 3600.0, 4, metal_c=490.0)
    assert 430.0 < near.low_c < 490.0
    assert near.past_min == NEARER[0] / 60.0
    assert near.ahead_min == 30.0
    drawn = [temp_c for runs, _ in near.curves for run in runs for _, temp_c in run]
    assert drawn
    assert all(near.low_c <= temp_c <= near.high_c for temp_c in drawn)
    middling = picture_of(curve() + chamber, WINDOW, 3600.0, ahead_of(), 3600.0, 10, metal_c=490.0)
    assert near.low_c > middling.low_c > 490.0 - NEAR[1] - 20.0
    assert middling.past_min == NEAR[0] / 60.0
    whole = picture_of(curve() + chamber, WINDOW, 3600.0, ahead_of(), 3600.0, ENOUGH_ROWS, metal_c=490.0)
    assert whole.low_c < 50.0
    assert whole.high_c > 880.0
    assert whole.past_min == 60.0


def test_a_chamber_is_not_taken_for_the_metal() -> None:
    alone = picture_of(curve(to_c=700.0), WINDOW, 3600.0, ahead_of(), 3600.0, 4)
    assert alone.high_c > 690.0
    assert alone.low_c < 50.0


def test_between_dips_the_picture_shows_what_they_found_and_not_the_air() -> None:
    air = curve(to_c=30.0)
    dips = ((3600.0 - 60.0, 531.0), (3600.0 - 300.0, 505.0), (3600.0 - 1500.0, 470.0))
    picture = picture_of(air, WINDOW, 3600.0, ahead_of(), 3600.0, 4, metal_c=531.0, dips=dips)
    assert picture.dips == ((-1.0, 531.0), (-5.0, 505.0))  # the third is further back than is shown
    assert picture.low_c > 400.0
    assert all(not runs for runs, _ in picture.curves)


def test_figures_that_were_typed_in_make_an_axis_of_their_own_where_no_probe_draws_one() -> None:
    typed = ((3600.0 - 300.0, 150.0), (3600.0 - 20.0, 410.0))
    picture = picture_of([], WINDOW, 600.0, None, 3600.0, dips=typed)
    assert picture.past_min == 10.0
    assert picture.dips == ((-5.0, 150.0), (-20.0 / 60.0, 410.0))
    assert picture.low_c < 150.0
    assert picture.high_c > WINDOW[1]  # 410 is near enough to it


def test_an_hour_of_trace_with_a_band_stays_small_enough_for_a_small_computer() -> None:
    buffer = TraceBuffer()
    for n in range(36_000):
        buffer.add(n / 10.0 * 1.0, 500.0 + 10.0 * math.sin(n / 300.0))
    picture = picture_of([(buffer.segments(3600.0, 3600.0, 240), Role.STRONG)], WINDOW, 3600.0, ahead_of(), 3600.0)
    assert sum(len(run) for runs, _ in picture.curves for run in runs) <= 2 * 242
    x, _ = band_cells(picture, 112, 12)
    assert len(x) <= 38 * 12  # a third of the columns, at most


def test_a_picture_of_nothing_is_no_fault() -> None:
    picture = picture_of([([], Role.STRONG)], None, 600.0, None, 0.0, 4)
    assert isinstance(picture, Picture)
    assert picture.low_c < picture.high_c
    assert band_ahead(None, 0.0, 600.0) == ()
