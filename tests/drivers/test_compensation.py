"""From raw values to degrees. Cold junctions in emf, linear amplifiers, calibrations, ways to have no number.

Vectors: tests/data/amplifiers (provenance in its README). Wiring numbers were worked out from the ITS-90 functions
apart from this program and are given to the degree or tenth.
"""

import json
from math import inf, nan
from pathlib import Path
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pourcall.contract.calibration import NO_CALIBRATION, Calibration
from pourcall.contract.errors import BadInput, OutOfRange
from pourcall.contract.frames import RawKind
from pourcall.contract.status import STATUS_OF, Reason, Status
from pourcall.thermometry import thermocouple as tc
from pourcall.thermometry.compensation import LINEAR_UV_PER_C, cold_emf_uv, linear_chip_c, to_temperature, total_emf_uv
from pourcall.thermometry.emf_correction import calibration_point
from tests.told import refused

EMF, LINEAR, ITS90, TYPED = RawKind.EMF_UV, RawKind.LINEAR_C, RawKind.ITS90_C, RawKind.TYPED_C
VECTORS: dict[str, list[dict[str, Any]]] = json.loads(
    (Path(__file__).parents[1] / "data" / "amplifiers" / "amplifier_vectors.json").read_text(encoding="utf-8")
)
LINEAR_ROWS = [row for row in VECTORS["max31855"] if "t_corrected" in row]


def seen_c(terminals_uv: float, cold_junction_c: float, tc_type: str = "K") -> float:
    """What the chain makes of an emf at the terminals."""
    temp_c, _ = to_temperature(EMF, terminals_uv, cold_junction_c, tc_type)
    assert temp_c is not None
    return temp_c


@pytest.mark.parametrize("row", LINEAR_ROWS, ids=lambda row: f"{row['true_t']}")
def test_a_linear_chips_reading_is_corrected_to_the_true_temperature(row: dict[str, Any]) -> None:
    temp_c, reason = to_temperature(LINEAR, row["chip_t_quantised"], row["t_cj"], "K")
    assert reason is Reason.OK
    assert temp_c == pytest.approx(row["t_corrected"], abs=1e-4)
    total_uv, _ = total_emf_uv(LINEAR, row["chip_t_quantised"], row["t_cj"], "K")
    assert total_uv == pytest.approx(1000.0 * row["emf_total_mV"], abs=1e-3)
    assert linear_chip_c("K", row["true_t"], row["t_cj"]) == pytest.approx(row["chip_t_ideal"], abs=1e-4)


@pytest.mark.parametrize("row", VECTORS["raw_uV"], ids=lambda row: f"{row['true_t']}")
def test_a_converters_code_in_microvolts_becomes_the_temperature(row: dict[str, Any]) -> None:
    code_uv = 7.8125 * row["ads111x_code_fsr256mV"]  # ADS1118 data sheet SBAS457F: LSB at +-0.256 V
    assert seen_c(code_uv, row["t_cj"]) == pytest.approx(row["t_from_code"], abs=1e-4)
    assert seen_c(row["emf_tc_uV"], row["t_cj"]) == pytest.approx(row["true_t"], abs=1e-3)


# How wrong the MAX31855 is by itself, terminals at 25 degC (amplifiers reference, computed from data sheet and ITS-90).
@pytest.mark.parametrize(
    ("true_c", "error_c"),
    [
        (100, 0.0),
        (300, -3.45),
        (500, 0.9),
        (660.323, 5.7),
        (771, 7.0),
        (900, 5.1),
        (961.78, 2.7),
        (1000, 0.8),
        (1084.62, -4.9),
        (1100, -6.1),
        (1200, -16.0),
        (1300, -29.5),
        (1372, -41.5),
    ],
)
def test_the_raw_linear_reading_is_as_wrong_as_the_formula_says(true_c: float, error_c: float) -> None:
    chip_c = linear_chip_c("K", true_c, 25.0)
    assert chip_c - true_c == pytest.approx(error_c, abs=0.06)
    assert to_temperature(LINEAR, chip_c, 25.0, "K")[0] == pytest.approx(true_c, abs=1e-6)


# Adding the cold junction's degrees instead of its emf: +0.9, -1.8, -3.4 degC (thermocouple reference work, computed).
@pytest.mark.parametrize(
    ("true_c", "terminals_c", "wrong_by_c"), [(750.0, 25.0, 0.9), (1084.62, 35.0, -1.8), (1150.0, 45.0, -3.4)]
)
def test_the_cold_junction_is_never_added_in_degrees(true_c: float, terminals_c: float, wrong_by_c: float) -> None:
    terminals_uv = tc.emf_uv("K", true_c) - tc.emf_uv("K", terminals_c)
    assert tc.temp_c("K", terminals_uv) + terminals_c - true_c == pytest.approx(wrong_by_c, abs=0.05)
    assert seen_c(terminals_uv, terminals_c) == pytest.approx(true_c, abs=1e-6)


# A couple's leads swapped at terminals of 25 degC (same source): the reading falls as the metal heats.
@pytest.mark.parametrize(
    ("true_c", "read_c", "abs_c"), [(30, 20.0, 0.05), (60, -11.1, 0.05), (100, -55.8, 0.05), (200, -218.0, 0.5)]
)
def test_swapped_leads_read_colder_as_it_heats(true_c: float, read_c: float, abs_c: float) -> None:
    assert seen_c(tc.emf_uv("K", 25.0) - tc.emf_uv("K", true_c), 25.0) == pytest.approx(read_c, abs=abs_c)


# Wiring mistakes between head and terminals (25 degC), whole degrees low (same source).
@pytest.mark.parametrize(
    ("what", "true_c", "head_c", "low_by_c"),
    [
        ("extension swapped at both ends", 750, 60, 69),
        ("extension swapped at both ends", 1100, 80, 118),
        ("copper for extension", 750, 60, 34),
        ("copper for extension", 1100, 80, 59),
    ],
)
def test_wiring_mistakes_read_as_low_as_worked_out(what: str, true_c: float, head_c: float, low_by_c: float) -> None:
    cable_uv = tc.emf_uv("K", head_c) - tc.emf_uv("K", 25.0)
    couple_uv = tc.emf_uv("K", true_c) - tc.emf_uv("K", head_c)
    terminals_uv = couple_uv - cable_uv if what.startswith("extension") else couple_uv
    assert true_c - seen_c(terminals_uv, 25.0) == pytest.approx(low_by_c, abs=0.51)


# An open driver chose its piece by the couple's own emf instead of the sum and read 18.33; the published inverse
# polynomial of the right piece gives 20.02, and says of itself that it may be 0.05 degC low.
def test_a_slightly_negative_emf_at_warm_terminals_is_room_temperature() -> None:
    assert seen_c(-200.0, 25.0) == pytest.approx(20.02, abs=0.05)


@pytest.mark.parametrize("tc_type", tc.TYPES)
@given(st.floats(0.0, 60.0), st.floats(0.0, 1.0))
def test_emf_and_cold_junction_of_any_type_give_the_true_temperature(
    tc_type: str, terminals_c: float, share: float
) -> None:
    low_c, high_c = max(100.0, tc.invertible_range_c(tc_type)[0]), tc.invertible_range_c(tc_type)[1]
    true_c = low_c + share * (high_c - low_c)
    terminals_uv = tc.emf_uv(tc_type, true_c) - tc.emf_uv(tc_type, terminals_c)
    assert seen_c(terminals_uv, terminals_c, tc_type) == pytest.approx(true_c, abs=1e-5)
    if tc_type in LINEAR_UV_PER_C:
        chip_c = linear_chip_c(tc_type, true_c, terminals_c)
        found_c, _ = to_temperature(LINEAR, chip_c, terminals_c, tc_type)
        assert found_c == pytest.approx(true_c, abs=1e-5)


@pytest.mark.parametrize(
    ("kind", "raw", "cold_c", "tc_type", "reason"),
    [
        (EMF, None, 25.0, "K", Reason.DEAD_BUS),
        (EMF, nan, 25.0, "K", Reason.DEAD_BUS),
        (EMF, inf, 25.0, "K", Reason.OVER_RANGE),
        (EMF, -inf, 25.0, "K", Reason.OVER_RANGE),
        (EMF, 60000.0, 25.0, "K", Reason.OVER_RANGE),
        (EMF, 20000.0, None, "K", Reason.CONFIG),
        (EMF, 20000.0, nan, "K", Reason.DEAD_BUS),
        (EMF, 20000.0, inf, "K", Reason.OVER_RANGE),
        (EMF, 20000.0, 25.0, "Q", Reason.CONFIG),
        (EMF, 20000.0, 25.0, "", Reason.CONFIG),
        (LINEAR, 500.0, None, "K", Reason.CONFIG),
        (LINEAR, 500.0, nan, "K", Reason.DEAD_BUS),
        (LINEAR, 500.0, 25.0, "B", Reason.CONFIG),
        (LINEAR, 2047.75, 25.0, "K", Reason.OVER_RANGE),
        (ITS90, 1400.0, 25.0, "K", Reason.OVER_RANGE),
        (ITS90, nan, None, "", Reason.DEAD_BUS),
        (TYPED, -300.0, None, "", Reason.OVER_RANGE),
        (TYPED, 11000.0, None, "", Reason.OVER_RANGE),
        (TYPED, None, None, "", Reason.DEAD_BUS),
    ],
)
def test_where_there_is_no_number_there_is_a_reason(
    kind: RawKind, raw: float | None, cold_c: float | None, tc_type: str, reason: Reason
) -> None:
    assert to_temperature(kind, raw, cold_c, tc_type) == (None, reason)
    assert STATUS_OF[reason] is Status.BAD


floats_or_none = st.none() | st.floats()


@given(
    st.sampled_from(list(RawKind)), floats_or_none, floats_or_none, st.sampled_from([*tc.TYPES, "", "Q"]), st.booleans()
)
def test_nothing_raises_and_number_and_status_always_agree(
    kind: RawKind, raw: float | None, cold_c: float | None, tc_type: str, calibrated: bool
) -> None:
    correction = Calibration(points=((0.0, 12.0),)) if calibrated else NO_CALIBRATION
    temp_c, reason = to_temperature(kind, raw, cold_c, tc_type, correction)
    assert (temp_c is None) == (STATUS_OF[reason] is Status.BAD)
    assert temp_c is None or -300.0 < temp_c <= 2000.0


# Fault A3: terminals outside -10 to 60 degC are used and told.
@pytest.mark.parametrize(
    ("cold_c", "reason"),
    [(-10.0, Reason.OK), (60.0, Reason.OK), (-10.1, Reason.COLD_JUNCTION), (60.1, Reason.COLD_JUNCTION)],
)
def test_hot_or_frozen_terminals_are_used_knowing_it(cold_c: float, reason: Reason) -> None:
    temp_c, found = to_temperature(EMF, 20000.0, cold_c, "K")
    assert found is reason
    assert temp_c is not None


def test_type_b_takes_terminals_below_zero_without_a_step() -> None:
    assert cold_emf_uv("B", -1e-6) == pytest.approx(0.0, abs=1e-5)
    assert cold_emf_uv("B", -10.0) == pytest.approx(2.47 + 0.59, abs=0.02)  # first two published coefficients
    assert to_temperature(EMF, 8000.0, -5.0, "B")[1] is Reason.OK
    assert to_temperature(EMF, 8000.0, -41.0, "B") == (None, Reason.OVER_RANGE)


def test_degrees_already_on_the_scale_pass_untouched_and_typed_ones_say_so() -> None:
    assert to_temperature(ITS90, 540.25, None, "K") == (540.25, Reason.OK)
    assert to_temperature(ITS90, 540.25, 80.0, "K") == (540.25, Reason.OK)  # its cold junction is the chip's business
    assert to_temperature(ITS90, 10.0, None, "B", Calibration()) == (10.0, Reason.OK)  # not the other branch's 32 degC
    assert to_temperature(ITS90, 540.25, None, "") == (540.25, Reason.OK)
    assert to_temperature(TYPED, 540.0, None, "K", Calibration(offset_uv=400.0)) == (540.0, Reason.OVERRIDE)


def test_a_calibration_puts_its_own_points_right_whatever_the_kind() -> None:
    # Read 418.0 where zinc freezes (419.527 degC, ITS-90 table 1), and 1.0 in ice.
    points = tuple(calibration_point("K", tc.emf_uv("K", read), true) for read, true in [(1.0, 0.0), (418.0, 419.527)])
    checked = Calibration(points=points, spread_uv=8.0, date="2026-03-01", who="shop")
    assert to_temperature(ITS90, 418.0, None, "K", checked)[0] == pytest.approx(419.527, abs=1e-6)
    assert to_temperature(EMF, tc.emf_uv("K", 1.0), 0.0, "K", checked)[0] == pytest.approx(0.0, abs=1e-6)
    chip_c = linear_chip_c("K", 418.0, 30.0)
    assert to_temperature(LINEAR, chip_c, 30.0, "K", checked)[0] == pytest.approx(419.527, abs=1e-6)
    # between, a straight line of emf: half the emf way has half of each
    middle_uv = (points[0][0] + points[1][0]) / 2
    assert checked.correction_uv(middle_uv) == pytest.approx((points[0][1] + points[1][1]) / 2)
    assert checked.correction_uv(-9000.0) == points[0][1]  # held beyond the ends
    assert checked.correction_uv(54000.0) == points[1][1]


def test_a_certificates_offset_and_slope_are_added_in_emf() -> None:
    certified = Calibration(offset_uv=10.0, slope=-0.001, low_uv=0.0, high_uv=40000.0)
    assert certified.correction_uv(20000.0) == pytest.approx(-10.0)
    assert to_temperature(EMF, 20000.0, 0.0, "K", certified)[0] == pytest.approx(tc.temp_c("K", 19990.0), abs=1e-6)


def test_how_far_a_calibration_reaches() -> None:
    zinc = Calibration(points=((0.0, 5.0), (17223.0, 20.0)))
    assert zinc.beyond(9000.0) == 0.0
    assert zinc.beyond(34446.0) == pytest.approx(0.5)  # half of that emf was never checked
    assert Calibration(points=((0.0, 5.0),)).beyond(20000.0) == 1.0  # ice alone says nothing of the wire
    assert NO_CALIBRATION.beyond(20000.0) == 1.0


@pytest.mark.parametrize(
    ("fields", "fault"),
    [
        ({"points": ((2.0, 0.0), (1.0, 0.0))}, "not_rising"),
        ({"points": ((1.0, 0.0), (1.0, 3.0))}, "not_rising"),
        ({"points": ((nan, 0.0),)}, "not_finite"),
        ({"offset_uv": inf}, "not_finite"),
        ({"spread_uv": -1.0}, "spread"),
        ({"low_uv": 1.0}, "one_end"),
        ({"low_uv": 2.0, "high_uv": 1.0}, "upside_down"),
    ],
)
def test_a_calibration_that_cannot_be_is_refused(fields: dict[str, Any], fault: str) -> None:
    with refused(BadInput, f"calibration.bad.{fault}"):
        Calibration(**fields)


def test_a_calibration_survives_storage() -> None:
    kept = Calibration(points=((0.0, 1.5), (100.0, 2.0)), spread_uv=3.0, date="2026-03-01", who="shop", how="ice")
    assert msgspec.json.decode(msgspec.json.encode(kept), type=Calibration) == kept


def test_a_chip_that_does_not_exist_or_a_temperature_beyond_it_is_refused() -> None:
    with pytest.raises(BadInput, match=r"\bB\b"):
        linear_chip_c("B", 500.0, 25.0)
    with pytest.raises(BadInput, match="1400"):
        linear_chip_c("K", 1400.0, 25.0)
    with pytest.raises(OutOfRange):
        calibration_point("K", 0.0, 2000.0)
