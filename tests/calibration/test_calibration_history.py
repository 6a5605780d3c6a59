"""Points become the calibration in force; drift, due dates, contradictions; the chart; the live watch."""

import random
import xml.etree.ElementTree as ET
from math import sqrt

import pytest

from pourcall.calibration.correction import EmfTrace, ProbeFacts
from pourcall.calibration.history import DAY_S, PointDetail, PointRow, in_force, moved
from pourcall.calibration.live import LiveWatch, Standing, uncorrected_uv
from pourcall.contract.calibration import Calibration
from pourcall.contract.errors import BadInput
from pourcall.contract.message import tell
from pourcall.contract.units import Unit
from pourcall.reports.drawings.drift_plot import drift_svg
from pourcall.sim.plant.cup import Cup, CupRun, bath, cool_cup
from pourcall.thermometry.reference_points import cal_point
from pourcall.thermometry.thermocouple import emf_uv, temp_c_or_none
from tests.told import names, refused, said

T0 = 1_780_000_000.0


def row(number: int, key: str, offset_uv: float, at_day: float, **more: object) -> PointRow:
    point = cal_point(key)
    detail = PointDetail(point=key, due_days=float(more.pop("due_days", 180.0)), tc_type=str(more.pop("tc_type", "K")))  # type: ignore[arg-type]
    return PointRow(
        id=number,
        furnace="club",
        probe="metal",
        at_utc_s=T0 + DAY_S * at_day,
        method="arrest",
        reference_c=point.temp_c,
        emf_uv=emf_uv("K", point.temp_c) - offset_uv,
        offset_uv=offset_uv,
        spread_uv=float(more.pop("spread_uv", 30.0)),  # type: ignore[arg-type]
        who="ann",
        detail=detail,
        **more,  # type: ignore[arg-type]
    )


def test_points_of_several_metals_become_one_calibration_that_corrects_each() -> None:
    force = in_force([row(1, "zinc", -60.0, 0.0), row(2, "aluminium", -90.0, 1.0, spread_uv=40.0)], "K")
    assert force is not None
    for key, offset_uv in (("zinc", -60.0), ("aluminium", -90.0)):
        measured_uv = emf_uv("K", cal_point(key).temp_c) - offset_uv
        corrected_c = temp_c_or_none("K", measured_uv + force.calibration.correction_uv(measured_uv))
        assert corrected_c == pytest.approx(cal_point(key).temp_c, abs=1e-6)
    assert (force.calibration.how, force.calibration.spread_uv, force.drift_uv) == ("zinc, aluminium", 40.0, None)
    assert force.due_utc_s == T0 + 180.0 * DAY_S  # the zinc point, a day older
    assert not force.overdue(T0 + 179.0 * DAY_S)
    assert force.overdue(T0 + 181.0 * DAY_S)


def test_the_newest_of_each_point_counts_and_what_it_moved_widens_the_spread() -> None:
    rows = [row(1, "zinc", -60.0, 0.0), row(2, "aluminium", -90.0, 0.0), row(3, "zinc", -81.0, 90.0)]
    force = in_force(rows, "K")
    assert force is not None
    assert [one.id for one in force.rows] == [3, 2]
    assert force.drift_uv == pytest.approx(21.0)
    # JCGM 100:2008, 4.3.7: limits of +-21 uV are 21 / sqrt(3), in squares with the points' own 30 uV
    assert force.calibration.spread_uv == pytest.approx(sqrt(30.0**2 + 21.0**2 / 3.0), abs=1e-3)
    (change,) = moved(rows)
    assert (change.row.id, change.earlier.id, change.change_uv, change.days) == (3, 1, -21.0, 90.0)


def test_a_point_that_was_overdue_when_the_newest_was_taken_is_dropped() -> None:
    rows = [row(1, "tin", -20.0, 0.0), row(2, "zinc", -60.0, 10.0, due_days=400.0), row(3, "aluminium", -90.0, 300.0)]
    force = in_force(rows, "K")
    assert force is not None
    assert [one.key for one in force.rows] == ["zinc", "aluminium"]
    alone = in_force(rows[:1], "K")
    assert alone is not None  # overdue itself, it stays: dropping it would be a jump
    assert alone.overdue(T0 + 1000.0 * DAY_S)


def test_a_correction_takes_the_place_of_its_row_and_another_type_of_couple_does_not_count() -> None:
    rows = [row(1, "zinc", -60.0, 0.0), row(2, "zinc", -66.0, 0.0, corrects=1)]
    force = in_force(rows, "K")
    assert force is not None
    assert [one.id for one in force.rows] == [2]
    assert force.drift_uv is None
    assert moved(rows) == []
    assert in_force(rows, "N") is None
    assert in_force([], "K") is None


def test_a_row_entered_by_hand_without_an_emf_is_an_offset() -> None:
    by_hand = PointRow(
        id=1,
        furnace="club",
        probe="metal",
        at_utc_s=T0,
        method="ice",
        reference_c=0.0,
        emf_uv=None,
        offset_uv=-12.0,
        spread_uv=None,
        who="ann",
    )
    force = in_force([by_hand], "K")
    assert force is not None
    assert (force.calibration.offset_uv, force.calibration.points, force.calibration.how) == (-12.0, (), "ice 0.0")


def test_two_points_at_one_emf_are_a_contradiction() -> None:
    lead = row(2, "lead", emf_uv("K", 327.462) - emf_uv("K", 419.527), 0.0)
    with refused(BadInput, "calibration.same_emf"):
        in_force([row(1, "zinc", 0.0, 0.0), lead], "K")


@pytest.mark.parametrize("unit", [Unit.C, Unit.F])
def test_the_drift_chart_is_whole_xml_with_every_point_named(unit: Unit) -> None:
    rows = [row(n, key, -10.0 * n, 30.0 * n) for n, key in enumerate(("zinc", "aluminium", "zinc", "aluminium"), 1)]
    root = ET.fromstring(drift_svg("metal & <co>", rows, unit=unit))
    texts = [each.text or "" for each in root.iter("{http://www.w3.org/2000/svg}text")]
    assert any("metal & <co>" in text for text in texts)
    legend = {said("drift.point", unit, point=key, at_c=cal_point(key).temp_c) for key in ("zinc", "aluminium")}
    assert legend <= set(texts)
    assert len(list(root.iter("{http://www.w3.org/2000/svg}circle"))) == 4
    assert any(text in ("°C", "°F") for text in texts)
    empty = ET.fromstring(drift_svg("metal", []))
    assert said("drift.none") in [each.text for each in empty.iter("{http://www.w3.org/2000/svg}text")]
    assert len(list(ET.fromstring(drift_svg("metal", rows[:1])).iter("{http://www.w3.org/2000/svg}circle"))) == 1


# -- live -------------------------------------------------------------------------------------------------------------


def watched(run: CupRun, watch: LiveWatch) -> tuple[list[Standing], float]:
    """Everything that was said, and when the point was there."""
    said: list[Standing] = []
    cold_uv = emf_uv("K", 24.0)
    for sample in run.samples:
        said.append(watch.take(sample.at_s, sample.emf_uv + cold_uv))
        if watch.found is not None:
            return said, sample.at_s
    return said, float("inf")


def test_a_cup_is_followed_to_its_plateau_and_ended_by_itself(facts: ProbeFacts) -> None:
    run = cool_cup(Cup("zinc", gain=1.002, superheat_c=60.0))
    watch = LiveWatch(cal_point("zinc"), facts, grade="99.9", depth_mm=45.0)
    said, at_s = watched(run, watch)
    assert watch.found is not None
    assert at_s < run.samples[-1].at_s
    assert abs(watch.found.offset_uv - run.correction_uv) < 2.0 * watch.found.spread_uv
    assert said[30].now.name == "calibration.falling"
    assert said[30].wanted == tell("calibration.target", metal=tell("point.name.zinc"), point_c=419.527)
    assert said[-1].now.name == "calibration.found"
    assert said[-1].now.facts["plateau_c"] == watch.found.plateau.value_c


def test_a_bath_is_found_live_once_it_has_stood(facts: ProbeFacts) -> None:
    watch = LiveWatch(cal_point("ice"), facts, depth_mm=60.0)
    said, at_s = watched(bath(0.0, length_s=400.0), watch)
    assert watch.found is not None
    assert at_s >= 180.0
    assert any(one.wanted == tell("calibration.target", metal=tell("point.name.ice"), point_c=0.0) for one in said)


def test_silence_is_said_and_a_broken_probe_ends_nothing(facts: ProbeFacts) -> None:
    watch = LiveWatch(cal_point("zinc"), facts)
    assert watch.take(0.0, None).told == tell("calibration.no_reading", probe="metal")
    watch.take(1.0, 18_000.0)
    assert watch.take(5.0, None).told == tell("calibration.waiting")
    assert watch.take(30.0, None).told == tell("calibration.silent", quiet_s=29.0)
    assert watch.take(30.0, 18_000.0).told == tell("calibration.silent", quiet_s=29.0)  # the same reading again
    assert watch.take(31.0, 99_000.0).told == tell("calibration.beyond")
    assert watch.found is None


def test_a_reason_is_given_while_a_sample_will_not_do(facts: ProbeFacts) -> None:
    watch = LiveWatch(cal_point("zinc"), facts)
    rng = random.Random(4)
    said = [watch.take(float(s), emf_uv("K", 419.5 + rng.gauss(0.0, 0.1))) for s in range(60)]
    assert {"calibration.not_yet", "calibration.no_approach"} <= names(said[-1].told)


def test_the_emf_before_a_correction_is_found_from_the_corrected_temperature() -> None:
    force = in_force([row(1, "zinc", -60.0, 0.0), row(2, "aluminium", -90.0, 1.0)], "K")
    assert force is not None
    for cal in (None, Calibration(offset_uv=-33.0), Calibration(slope=0.003, offset_uv=5.0), force.calibration):
        for measured_uv in (5_000.0, 17_250.0, 22_000.0, 30_000.0):
            added_uv = 0.0 if cal is None else cal.correction_uv(measured_uv)
            shown_c = temp_c_or_none("K", measured_uv + added_uv)
            assert shown_c is not None
            assert uncorrected_uv(shown_c, "K", cal) == pytest.approx(measured_uv, abs=1e-3)


def test_the_watch_hands_out_what_it_heard(facts: ProbeFacts) -> None:
    watch = LiveWatch(cal_point("zinc"), facts)
    watch.take(1.0, 18_000.0)
    assert watch.trace == EmfTrace([1.0], [18_000.0])
