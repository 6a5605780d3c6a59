"""Arrests in traces, against textbook cooling curves at published temperatures and against the
simulated plant.
"""

import math
from collections.abc import Iterator
from random import Random

import pytest

from pourcall.contract.message import tell
from pourcall.metal.alloys.sheet import load_sheets
from pourcall.sim.plant.furnace import FurnaceSpec, Plant, PlantStart, PotSpec
from pourcall.sim.plant.metal import SimAlloy, alloy, sim_alloy
from pourcall.sim.plant.probe import SHEATHS, Probe
from pourcall.thermal_analysis.arrest_check import (
    Check,
    Expected,
    Halt,
    Point,
    Verdict,
    check_arrest,
    expected_of,
    missing,
)
from pourcall.thermal_analysis.arrests import Arrest, ArrestWatch, Kind, Way

SHEETS = load_sheets()

# Freezing points: ITS-90 (Preston-Thomas, Metrologia 27 (1990) 3), defining fixed points, degC; lead, antimony:
# secondary reference points of the CCT (600.612 K, 903.778 K). H/c_l in K: reference table computed from SGTE data;
# tin and lead with c_l from memory.
FIXED_POINTS = [
    ("tin", 231.928, 241.0),
    ("lead", 327.462, 157.0),
    ("zinc", 419.527, 225.0),
    ("aluminium", 660.323, 337.0),
    ("silver", 961.78, 330.0),
    ("copper", 1084.62, 422.0),
]


def textbook(
    freezes_c: float,
    stored_k: float,
    *,
    rate_c_per_s: float = 0.6,
    tau_s: float = 4.2,
    noise_c: float = 0.2,
    undercooling_c: float = 0.0,
    seed: int = 1,
    hz: float = 1.0,
    offset_c: float = 0.0,
    above_c: float = 40.0,
) -> Iterator[tuple[float, float]]:
    """Newtonian cooling through one plateau, behind a first-order sheath, with noise and in steps of 0.25 degC.

    Lumped balance m c dT/dt = -U A (T - Ta), the plateau lasting H/c over the rate before it (any heat transfer text).
    """
    rng, dt = Random(seed), 1.0 / hz
    room_c = 20.0
    k = rate_c_per_s / (freezes_c - room_c)
    true_c, left_k, junction_c, t_s = freezes_c + above_c, stored_k, freezes_c + above_c, 0.0
    nucleated = False
    while true_c > freezes_c - 60.0:
        loss = k * (true_c - room_c) * dt
        if true_c > freezes_c - (0.0 if nucleated else undercooling_c) or left_k <= 0.0:
            true_c -= loss
        else:
            nucleated = True
            rise = min(freezes_c - true_c, 0.4 * dt)  # springs back, then stands
            true_c += rise
            left_k -= loss + rise
        junction_c += (true_c - junction_c) * (1.0 - math.exp(-dt / tau_s))
        t_s += dt
        yield t_s, round((junction_c + offset_c + rng.gauss(0.0, noise_c)) * 4.0) / 4.0


def watched(
    trace: Iterator[tuple[float, float]], *, tau_s: float = 4.2, hz: float = 1.0
) -> tuple[ArrestWatch, list[Arrest]]:
    watch = ArrestWatch(tau_s, 1.0 / hz)
    found = [arrest for t_s, temp_c in trace if (arrest := watch.add(t_s, temp_c)) is not None]
    return watch, found


@pytest.mark.parametrize(("metal", "freezes_c", "stored_k"), FIXED_POINTS)
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_fixed_point_is_read_within_half_a_degree(metal: str, freezes_c: float, stored_k: float, seed: int) -> None:
    _, found = watched(textbook(freezes_c, stored_k, seed=seed, noise_c=0.3))
    plateaus = [arrest for arrest in found if arrest.kind is Kind.PLATEAU]
    assert len(plateaus) == 1, metal
    assert plateaus[0].plateau_c == pytest.approx(freezes_c, abs=0.5)
    assert plateaus[0].way is Way.COOLING
    # t = (H/c)/rate: 0.6 degC/s
    assert plateaus[0].lasted_s == pytest.approx(stored_k / 0.6, rel=0.12)


@pytest.mark.parametrize("rate", [0.16, 0.4, 1.04])  # the span of the published AlSi9Cu study, degC/s
@pytest.mark.parametrize("tau_s", [1.3, 4.2, 20.0])
def test_lag_and_rate_of_cooling_do_not_move_a_plateau(rate: float, tau_s: float) -> None:
    _, found = watched(textbook(419.527, 225.0, rate_c_per_s=rate, tau_s=tau_s), tau_s=tau_s)
    plateau = next(arrest for arrest in found if arrest.kind is Kind.PLATEAU)
    assert plateau.plateau_c == pytest.approx(419.527, abs=0.6)
    assert plateau.undercooling_c == 0.0


def test_undercooling_is_measured_and_the_plateau_is_read_after_it() -> None:
    # tin up to 20 degC in small clean samples (memory); aluminium 1-4 degC unrefined (memory)
    for undercooling_c in (3.0, 6.0):
        _, found = watched(textbook(660.323, 337.0, undercooling_c=undercooling_c, noise_c=0.1, tau_s=1.3), tau_s=1.3)
        plateau = next(arrest for arrest in found if arrest.kind is Kind.PLATEAU)
        assert plateau.plateau_c == pytest.approx(660.323, abs=0.6)
        assert plateau.undercooling_c == pytest.approx(undercooling_c, abs=0.8)


@pytest.mark.parametrize("seed", range(10))
def test_where_nothing_freezes_nothing_is_seen(seed: int) -> None:
    watch, found = watched(textbook(577.0, 0.0, noise_c=0.35, seed=seed, above_c=80.0))
    assert found == []
    assert watch.not_seen(577.0)


def test_a_seen_arrest_is_not_reported_missing() -> None:
    watch, found = watched(textbook(577.0, 150.0))
    assert found
    assert not watch.not_seen(577.0)


def test_a_coast_and_a_hold_are_no_arrests() -> None:
    watch = ArrestWatch(4.2)
    found = []
    for second in range(2000):  # rises, power off, peaks, falls: never goes on as before
        temp_c = 500.0 + 0.5 * second if second < 400 else 700.0 + 15.0 * math.sin((second - 400) / 220.0)
        if arrest := watch.add(float(second), round(temp_c * 4) / 4):
            found.append(arrest)
    assert [arrest for arrest in found if arrest.kind is Kind.PLATEAU] == []


def test_what_begins_just_after_the_lid_or_the_knob_is_not_believed() -> None:
    watch = ArrestWatch(4.2)
    found = []
    for second in range(600):
        temp_c = 700.0 - 0.5 * min(second, 200) - 0.5 * max(0, second - 260)
        if second == 195:
            watch.disturbed(195.0)
        if arrest := watch.add(float(second), round(temp_c * 4) / 4):
            found.append(arrest)
    assert found == []


def test_while_it_stands_it_is_told_and_each_sample_costs_the_same() -> None:
    watch = ArrestWatch(4.2)
    seen = []
    for t_s, temp_c in textbook(419.527, 225.0):
        watch.add(t_s, temp_c)
        seen.append(watch.going_on)
    standing = [now for now in seen if now is not None]
    assert standing
    way, temp_c, since_s = standing[-1]
    assert way is Way.COOLING
    assert temp_c == pytest.approx(419.5, abs=0.6)
    assert since_s > 200.0
    assert len(watch._bins) <= watch._count  # what is kept does not grow
    assert watch.passed.maxlen is not None


# -- sample cups of the simulated shop: eutectics and long-freezing alloys --------------------------------------------

CUP = PotSpec(mass_kg=0.15, cp_j_per_kg_k=900.0, outer_m2=0.008, mouth_m2=0.0006)


def cup(
    metal: SimAlloy, start_c: float, *, sheath: str = "mi_3.0", seed: int = 0, offset_c: float = 0.0
) -> list[Arrest]:
    """200 g cooling in air, a probe in the middle."""
    plant = Plant(FurnaceSpec("none", 0.0), CUP, metal, dt_s=0.5, start=PlantStart(pot_c=start_c - 20.0))
    plant.add(0.2, start_c)
    plant.lift()
    probe = Probe(SHEATHS[sheath], dt_s=0.5, start_c=start_c, place="melt", noise_c=0.2, rng=Random(seed))
    watch = ArrestWatch(SHEATHS[sheath].t90_s / math.log(10.0), 1.0)
    found = []
    for step in range(3000):
        plant.step()
        probe.step(plant)
        if step % 2:
            read_c = round((probe.sense_c() + offset_c) * 4.0) / 4.0
            if arrest := watch.add(plant.t_s, read_c):
                found.append(arrest)
    return found


# Al-Si eutectic 577 degC (Al-12.6Si, handbook value; 577.0 computed in the COST-507 assessment). Zn-5Al eutectic
# 381-382 (NADCA/IZA solidus 381; computed 380.9). Si share and eutectic share by the lever rule: A356 about half
# (memory).
@pytest.mark.parametrize("seed", range(4))
def test_the_aluminium_silicon_eutectic_is_found_below_the_liquidus_knee(seed: int) -> None:
    a356 = sim_alloy(SHEETS.get("a356").facts(), plateau_c=577.0, plateau_fraction=0.5, undercooling_c=2.0)
    found = cup(a356, 700.0, seed=seed)
    knee = next(arrest for arrest in found if arrest.kind is Kind.KNEE)
    assert knee.onset_c == pytest.approx(615.0, abs=4.0)  # ASM: liquidus of A356 615
    eutectic = next(arrest for arrest in found if arrest.kind is Kind.PLATEAU)
    assert eutectic.plateau_c == pytest.approx(577.0, abs=1.5)


@pytest.mark.parametrize("seed", range(4))
def test_the_zinc_aluminium_eutectic_is_found_in_alloy_3(seed: int) -> None:
    alloy3 = sim_alloy(SHEETS.get("alloy3").facts(), plateau_c=381.0, plateau_fraction=0.72, undercooling_c=0.7)
    plateau = next(arrest for arrest in cup(alloy3, 450.0, seed=seed) if arrest.kind is Kind.PLATEAU)
    assert 379.5 <= plateau.plateau_c <= 384.5  # 381-382, and 6 degC below the liquidus the knee runs into it


def test_a_long_freezing_alloy_shows_its_liquidus_as_a_knee_and_hardly_a_plateau() -> None:
    found = cup(alloy("za27"), 560.0)
    knee = next(arrest for arrest in found if arrest.kind is Kind.KNEE)
    assert knee.onset_c == pytest.approx(484.0, abs=4.0)  # trade liquidus of ZA-27
    assert all(arrest.lasted_s < 60.0 for arrest in found if arrest.kind is Kind.PLATEAU)


# -- what it says -----------------------------------------------------------------------------------------------------


def plateau_at(temp_c: float, way: Way = Way.COOLING) -> Arrest:
    return Arrest(Kind.PLATEAU, way, 0.0, temp_c, temp_c, 120.0, temp_c - 3.0, 0.0, 0.3)


ALL = tuple(expected_of(sheet.facts()) for sheet in SHEETS.all())
A413 = expected_of(SHEETS.get("413").facts())
ZA12 = expected_of(SHEETS.get("za12").facts())
LEAD = expected_of(SHEETS.get("lead").facts())


def test_a_probe_six_degrees_low_is_told_so_at_the_published_temperature() -> None:
    check = check_arrest(plateau_at(321.5), LEAD, ALL)
    assert check.verdict is Verdict.PROBE
    assert check.error_c == pytest.approx(321.5 - 327.46, abs=0.05)
    assert check.text.name == "arrest.probe_off"
    assert check.text.facts["side"] == "low"
    assert check.text.facts["published_c"] == pytest.approx(327.46, abs=0.01)


def test_low_at_the_silicon_eutectic_asks_about_modification_first() -> None:
    check = check_arrest(plateau_at(571.0), A413, ALL)
    assert check.verdict is Verdict.FITS
    assert check.lowered
    high = check_arrest(plateau_at(583.0), A413, ALL)  # nothing raises a eutectic: that is the probe
    assert high.verdict is Verdict.PROBE
    assert not high.lowered
    assert high.text.facts["side"] == "high"


def test_an_arrest_where_it_should_be_fits() -> None:
    check = check_arrest(plateau_at(578.0), A413, ALL)
    assert check.verdict is Verdict.FITS
    assert check.u_c is not None
    assert check.u_c < 5.0


def test_a_wrong_alloy_is_named_by_its_arrest() -> None:
    check = check_arrest(plateau_at(577.0), ZA12, ALL)
    assert check.verdict is Verdict.ALLOY
    assert (check.text.name, check.text.facts["alloy"]) == ("arrest.other_alloy", "ZA-12")
    assert any("413" in name or "356" in name for name in check.others)


def test_an_arrest_of_nothing_known_says_so() -> None:
    check = check_arrest(plateau_at(505.0), ZA12, ALL)
    assert check.verdict is Verdict.UNKNOWN
    assert check.others == ()


def test_on_heating_nothing_is_said_of_the_probe() -> None:
    check = check_arrest(plateau_at(590.0, Way.HEATING), A413, ALL)
    assert check.verdict is Verdict.MELTS
    assert check.error_c is None


def test_a_simulated_probe_that_reads_low_is_found_out_in_a_cup_of_lead() -> None:
    lead = sim_alloy(SHEETS.get("lead").facts(), plateau_c=327.46, plateau_fraction=1.0)
    plateau = next(a for a in cup(lead, 380.0, offset_c=-6.0) if a.kind is Kind.PLATEAU)
    check: Check = check_arrest(plateau, LEAD, ALL)
    assert check.verdict is Verdict.PROBE
    assert check.error_c == pytest.approx(-6.0, abs=1.0)


def test_missing_says_what_to_look_at() -> None:
    own = Expected("x", "X-1", (Point(381.0, Kind.PLATEAU, Halt.EUTECTIC, 3.0),))
    assert missing(own) == tell("arrest.missing", alloy="X-1", halts=(tell("arrest.halt", halt_c=381.0),))
