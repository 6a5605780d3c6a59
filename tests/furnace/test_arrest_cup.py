"""Sample cups of the shop's own alloys: what a cup says of probe and alloy, and the trend of such checks.

Cups are the simulator's plant in air (pourcall/sim/plant/furnace.py) behind a sheath with printed response; halts are
published figures: NADCA/IZA for zinc alloys (solidus 381 of alloy 3, liquidus 484 of ZA-27), 577 degC for the Al-Si
eutectic (handbooks; 577.0 computed in the COST-507 assessment), ITS-90 and CCT for lead (600.612 K).
"""

import math
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from random import Random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pourcall.calibration.correction import ProbeFacts
from pourcall.calibration.history import DAY_S
from pourcall.calibration.sample_cup import CupCheck, CupWatch, drift
from pourcall.metal.alloys.sheet import load_sheets
from pourcall.records.entries.probe_checks import keep_check, probe_checks
from pourcall.records.upkeep.opening import open_database
from pourcall.sim.plant.furnace import FurnaceSpec, Plant, PlantStart, PotSpec
from pourcall.sim.plant.metal import SimAlloy, alloy, sim_alloy
from pourcall.sim.plant.probe import SHEATHS, Probe
from pourcall.texts import say
from pourcall.thermal_analysis.arrest_check import expected_of
from pourcall.thermal_analysis.arrest_or_hold import Heating
from pourcall.thermal_analysis.standstill import PoorPlateau
from pourcall.thermometry.thermocouple import temp_c_or_none
from tests.calibration.panels import ENDINGS, KINDS, Hold, held
from tests.told import inside, message, names, number, parts

SHEETS = load_sheets()
ALL = tuple(expected_of(sheet.facts()) for sheet in SHEETS.all())
FACTS = ProbeFacts("metal", "club", "K", "iec_2", "max31855", "mineral_3mm")
CUP = PotSpec(mass_kg=0.15, cp_j_per_kg_k=900.0, outer_m2=0.008, mouth_m2=0.0006)


def metal(key: str) -> SimAlloy:
    """What is truly in the cup."""
    facts = SHEETS.get(key).facts()
    if key == "413":
        return sim_alloy(facts, plateau_c=575.0, plateau_fraction=1.0, undercooling_c=2.0)
    if key == "lead":
        return sim_alloy(facts, plateau_fraction=1.0)
    return alloy(key)


def cooled(key: str, *, from_c: float, offset_c: float = 0.0, seed: int = 1) -> Iterator[tuple[float, float]]:
    """200 g cooling in air with a probe in the middle; (time, reading in steps of 0.25 degC)."""
    made = metal(key)
    plant = Plant(FurnaceSpec("none", 0.0), CUP, made, dt_s=0.5, start=PlantStart(pot_c=from_c - 20.0))
    plant.add(0.2, from_c)
    plant.lift()
    probe = Probe(SHEATHS["mi_3.0"], dt_s=0.5, start_c=from_c, place="melt", noise_c=0.2, rng=Random(seed))
    for step in range(4000):
        plant.step()
        probe.step(plant)
        if step % 2:
            yield plant.t_s, round((probe.sense_c() + offset_c) * 4.0) / 4.0
        if plant.metal_c < made.plateau_c - 45.0:
            return


def checked(
    label: str, trace: Iterator[tuple[float, float]], *, probe_u_c: float = 4.0, heating: Heating = "off"
) -> CupCheck:
    """A cup that is labelled so."""
    own = expected_of(SHEETS.get(label).facts())
    watch = CupWatch(own, [one for one in ALL if one.key != label], FACTS, probe_u_c=probe_u_c, heating=heating)
    for at_s, temp_c in trace:
        watch.take(at_s, temp_c)
        if watch.done:
            break
    return watch.result(at_utc_s=1_777_700_000.0, who="ann", source="cup.csv")


@pytest.mark.parametrize(
    ("key", "at_c", "kind", "within_c"),
    [
        ("lead", 327.46, "plateau", 0.6),
        ("alloy3", 381.0, "plateau", 1.0),
        ("za12", 377.0, "plateau", 1.0),
        ("413", 577.0, "plateau", 2.5),  # the simulated cup freezes at 575
        ("za27", 484.0, "knee", 3.0),  # long-freezing: its liquidus
    ],
)
@pytest.mark.parametrize("offset_c", [0.0, 6.0])
@pytest.mark.parametrize("seed", [1, 2])
def test_a_cup_tells_by_how_much_the_probe_is_out(
    key: str, at_c: float, kind: str, within_c: float, offset_c: float, seed: int
) -> None:
    found = checked(key, cooled(key, from_c=SHEETS.get(key).facts().liquidus_c + 50.0, offset_c=offset_c, seed=seed))
    assert found.offset_c is not None
    assert found.u_c is not None
    assert found.at_c == pytest.approx(at_c, abs=0.1)
    assert found.kind == kind
    assert found.offset_c == pytest.approx(offset_c, abs=within_c)
    assert abs(found.offset_c - offset_c) <= found.u_c
    side = "high" if found.offset_c > 0.0 else "low"
    (reads,) = [one for one in inside(found.text) if one.name == "calibration.cup.reads"]
    told = {name: reads.facts[name] for name in ("probe", "off_difference_c", "side", "at_c")}
    assert told == {"probe": "metal", "off_difference_c": abs(found.offset_c), "side": side, "at_c": found.at_c}


def test_a_probe_beyond_its_own_budget_is_to_be_calibrated_or_replaced() -> None:
    found = checked("lead", cooled("lead", from_c=380.0, offset_c=-12.0), probe_u_c=4.0)
    assert found.beyond
    assert message(found.remedy).name == "calibration.cup.do.replace"
    within = checked("lead", cooled("lead", from_c=380.0, offset_c=-5.5), probe_u_c=6.0)
    assert not within.beyond


@pytest.mark.parametrize("offset_c", [-5.0, 0.0])
def test_another_metal_in_the_cup_is_named(offset_c: float) -> None:
    found = checked("za12", cooled("413", from_c=640.0, offset_c=offset_c))
    assert found.offset_c is None
    assert found.verdict == "alloy"
    assert any("413" in name for name in found.others)
    assert message(found.text).name == "arrest.other_alloy"
    assert message(found.remedy).name == "calibration.cup.do.look"


def test_an_alloy_with_the_same_eutectic_is_suspected_by_its_missing_liquidus() -> None:
    found = checked("za27", cooled("alloy3", from_c=540.0))
    assert message(found.text).facts["unseen_c"] == found.unseen_c == pytest.approx(484.0)
    assert message(found.remedy).name == "calibration.cup.do.look"


def test_no_halt_where_one_should_be_is_refused_with_what_to_look_at() -> None:
    def smooth() -> Iterator[tuple[float, float]]:
        rng = Random(2)
        for second in range(600):
            yield float(second), round((450.0 - 0.4 * second + rng.gauss(0.0, 0.3)) * 4.0) / 4.0

    with pytest.raises(PoorPlateau) as told:
        checked("alloy3", smooth())
    assert told.value.code == "not_seen"
    (halt,) = parts(told.value.told, "halts")
    assert names(told.value.told) == {"arrest.missing", "arrest.halt"}
    assert (message(told.value.told).facts["alloy"], number(halt, "halt_c")) == ("alloy 3", 381.0)


def test_a_cup_that_cools_too_fast_is_told_so() -> None:
    with pytest.raises(PoorPlateau) as told:
        checked("c87300", cooled("c87300", from_c=1020.0))
    assert told.value.code == "too_fast"


@settings(max_examples=60)
@given(
    key=st.sampled_from(["za27", "alloy3", "a356", "lead", "c87300"]),
    points=st.lists(
        st.tuples(st.floats(0.0, 30.0), st.none() | st.floats(-500.0, 2500.0) | st.just(math.nan)), max_size=80
    ),
)
def test_whatever_comes_in_a_cup_gives_a_check_or_a_reason(key: str, points: list[tuple[float, float | None]]) -> None:
    own, at_s = expected_of(SHEETS.get(key).facts()), 0.0
    watch = CupWatch(own, ALL, FACTS, probe_u_c=5.0)
    for step_s, temp_c in points:
        at_s += step_s
        assert say(watch.take(at_s, temp_c).told)
    try:
        found = watch.result(at_utc_s=0.0)
        assert math.isfinite(found.reads_c)
        told = (found.text, found.remedy)
    except PoorPlateau as err:
        told = (err.told, err.to_do)
    assert all(say(one) for one in told)


# -- trend and record -------------------------------------------------------------------------------------------------


def kept(days: float, offset_c: float | None, u_c: float = 2.0, alloy: str = "za12") -> CupCheck:
    return CupCheck(
        probe="metal",
        furnace="club",
        alloy=alloy,
        alloy_name="ZA-12",
        at_utc_s=1_777_700_000.0 + days * DAY_S,
        verdict="fits",
        reads_c=377.0,
        at_c=377.0,
        offset_c=offset_c,
        u_c=u_c,
        probe_u_c=4.0,
        text="t",
        remedy="r",
    )


@pytest.mark.parametrize("mixed", [False, True], ids=["one_alloy", "many_alloys"])
def test_the_drift_is_the_weighted_line_numpy_finds(mixed: bool) -> None:
    rng = Random(4)
    checks = [
        kept(
            20.0 * k,
            -1.5 * k * 20.0 / 30.4375 + rng.gauss(0.0, 0.3),
            u_c=2.0 + 0.5 * (k % 3),
            alloy=f"alloy {k // 2}" if mixed else "za12",
        )
        for k in range(6)
    ]
    found = drift(checks)
    assert found is not None
    days = [one.at_utc_s / DAY_S for one in checks]
    weights = [2.0 / ((one.u_c or 1.0) if mixed else 1.5) for one in checks]  # 1 / sigma, as polyfit wants it
    offsets = np.array([one.offset_c or 0.0 for one in checks])
    (slope, _), cov = np.polyfit(np.array(days) - days[0], offsets, 1, w=weights, cov="unscaled")
    assert found.drift_c_per_month == pytest.approx(slope * 30.4375, rel=1e-6)
    assert found.u_c == pytest.approx(2.0 * math.sqrt(cov[0, 0]) * 30.4375, rel=1e-6)
    assert found.checks == 6
    assert found.is_sure


def test_two_checks_or_three_in_a_week_are_no_trend_and_a_strange_alloy_is_none_of_it() -> None:
    assert drift([kept(0.0, 0.0), kept(40.0, -2.0)]) is None
    assert drift([kept(0.0, 0.0), kept(3.0, -1.0), kept(6.0, -2.0)]) is None
    assert drift([kept(0.0, 0.0), kept(40.0, -2.0), kept(60.0, None)]) is None


def test_checks_come_back_from_the_record_as_they_were_in_order(tmp_path: Path) -> None:
    conn, _ = open_database(tmp_path / "r.sqlite", utc_s=1.0)
    late, early = kept(30.0, -2.0), kept(0.0, 1.0)
    other = CupCheck(
        probe="spare", furnace="club", alloy="lead", alloy_name="lead", at_utc_s=5.0, verdict="fits", reads_c=327.0
    )
    with conn:
        for check in (late, early, other):
            assert keep_check(conn, check) > 0
    assert probe_checks(conn, "metal", "club") == [early, late]
    assert len(probe_checks(conn)) == 3
    assert probe_checks(conn, "metal", "elsewhere") == []
    with pytest.raises(sqlite3.DatabaseError):
        conn.execute("UPDATE learned SET at_utc_s = 0")
    conn.close()


@pytest.mark.parametrize(("key", "set_c"), [("zinc", 413.0), ("alloy3", 375.0), ("a356", 567.0), ("aluminium", 653.0)])
def test_a_temperature_that_a_panel_held_says_nothing_of_alloy_or_probe(key: str, set_c: float) -> None:
    """Panels of another law than the simulator's (tests/calibration/panels.py), near a halt of the sheet."""
    for seed in (2, 3):
        trace = held(Hold(KINDS[seed % 3], seed, set_c, True, ENDINGS[seed % 2]))
        points = [
            (at_s, temp_c)
            for at_s, uv in zip(trace.times_s[::4], trace.emf_uv[::4], strict=True)
            if uv is not None and (temp_c := temp_c_or_none("K", uv)) is not None
        ]
        with pytest.raises(PoorPlateau):
            checked(key, iter(points), heating="")
