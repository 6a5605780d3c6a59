"""The plateau of a sample cup or a bath is found, its correction is right within what it says, and what will not
do is refused with the reason. Cups and baths from the simulator: probe and board have a known error."""

import math
import random
from collections.abc import Callable
from dataclasses import replace

import pytest

from pourcall.calibration.correction import EmfTrace, ProbeFacts, find_point
from pourcall.sim.plant.cup import Cup, CupRun, bath, cool_cup
from pourcall.texts import say
from pourcall.thermal_analysis.plateau import find_plateau
from pourcall.thermal_analysis.standstill import PoorPlateau
from pourcall.thermometry.reference_points import cal_point
from pourcall.thermometry.thermocouple import emf_uv

TraceOf = Callable[[CupRun], EmfTrace]
Cooled = Callable[[Cup], EmfTrace]


def drawn(metal: str, seed: int) -> Cup:
    """IEC class 1 wire (gain within 0.4 %), two codes of offset, 99.9 % metal (within 1 degC): evenly spread."""
    rng = random.Random(f"{metal} {seed}")
    return Cup(
        metal,
        seed,
        gain=rng.uniform(0.996, 1.004),
        offset_uv=rng.uniform(-15.0, 15.0),
        noise_c=rng.uniform(0.05, 0.3),
        impurity_c=rng.uniform(-1.0, 1.0),
        depth_mm=rng.uniform(30.0, 60.0),
        superheat_c=rng.uniform(30.0, 60.0),
        mass_kg=rng.uniform(0.15, 0.25),
        sample_s=rng.choice((0.5, 1.0, 2.0)),
    )


@pytest.mark.parametrize("metal", ["tin", "lead", "zinc", "aluminium"])
def test_the_correction_found_is_right_within_its_stated_uncertainty_in_95_of_100_cups(
    metal: str, facts: ProbeFacts, trace_of: TraceOf
) -> None:
    inside, ratios = 0, []
    for seed in range(100):
        cup = drawn(metal, seed)
        run = cool_cup(cup)
        found = find_point(trace_of(run), cal_point(metal), facts, grade="99.9", depth_mm=cup.depth_mm, heating="off")
        ratio = (found.offset_uv - run.correction_uv) / found.spread_uv
        ratios.append(ratio)
        inside += abs(ratio) <= 2.0
    assert inside >= 95
    # and it is no barn door: the spread of the errors is of the order of what is stated
    assert math.sqrt(sum(ratio**2 for ratio in ratios) / 100) > 0.4


@pytest.mark.parametrize("point", ["ice", "boiling"])
def test_a_bath_gives_the_correction_within_its_uncertainty(point: str, facts: ProbeFacts, trace_of: TraceOf) -> None:
    known = cal_point(point, altitude_m=450.0 if point == "boiling" else None)
    inside = 0
    for seed in range(100):
        rng = random.Random(seed)
        true_c = known.temp_c + rng.uniform(-1.0, 1.0) * known.half_width_c
        run = bath(true_c, seed=seed, gain=rng.uniform(0.996, 1.004), offset_uv=rng.uniform(-15, 15), noise_c=0.1)
        found = find_point(trace_of(run), known, facts, depth_mm=60.0)
        assert found.plateau.direction == "bath"
        inside += abs(found.offset_uv - run.correction_uv) <= 2.0 * found.spread_uv
    assert inside >= 95


def test_undercooling_is_seen_and_does_not_pull_the_figure_down(facts: ProbeFacts, cooled: Cooled) -> None:
    found = find_point(cooled(Cup("tin", undercooling_c=15.0)), cal_point("tin"), facts)
    assert found.plateau.undercooling_c == pytest.approx(15.0, abs=1.5)
    assert found.plateau.value_c == pytest.approx(231.928, abs=0.4)
    assert found.plateau.direction == "freezing"
    assert found.plateau.ended_s is not None
    assert find_point(cooled(Cup("zinc", undercooling_c=0.2)), cal_point("zinc"), facts).plateau.undercooling_c == 0.0


def test_the_end_of_the_plateau_need_not_be_on_the_trace(facts: ProbeFacts, cooled: Cooled) -> None:
    whole = cooled(Cup("zinc"))
    seen = find_point(whole, cal_point("zinc"), facts).plateau
    assert seen.ended_s is not None
    cut = next(at for at, time_s in enumerate(whole.times_s) if time_s > seen.ended_s - 20.0)
    half = EmfTrace(whole.times_s[:cut], whole.emf_uv[:cut], 24.0)
    assert refusal(half, "zinc", facts).code == "unproven"  # a panel may have held it: somebody must say
    again = find_point(half, cal_point("zinc"), facts, heating="off").plateau
    assert again.ended_s is None
    assert again.value_c == pytest.approx(seen.value_c, abs=0.15)


def test_a_melting_plateau_is_as_good(facts: ProbeFacts) -> None:
    rng = random.Random(1)
    temps = [380.0 + 0.5 * s for s in range(80)] + [419.8] * 200 + [419.8 + 0.5 * s for s in range(60)]
    trace = EmfTrace([float(s) for s in range(340)], [emf_uv("K", t + rng.gauss(0.0, 0.1)) for t in temps])
    found = find_point(trace, cal_point("zinc"), facts)
    assert found.plateau.direction == "melting"
    assert found.error_c == pytest.approx(0.27, abs=0.05)
    with pytest.raises(PoorPlateau) as refused:
        find_point(trace, cal_point("zinc"), facts, direction="freezing")
    assert refused.value.code == "wrong_direction"


def test_the_pace_of_the_readings_changes_nothing_but_the_scatter(facts: ProbeFacts, cooled: Cooled) -> None:
    by_pace = [
        find_point(cooled(Cup("aluminium", sample_s=every)), cal_point("aluminium"), facts).plateau.value_c
        for every in (0.5, 1.0, 3.0, 5.0)
    ]
    assert max(by_pace) - min(by_pace) < 0.15


def test_gaps_spikes_and_steps_of_a_chip_do_no_harm(facts: ProbeFacts, cooled: Cooled) -> None:
    clean = cooled(Cup("zinc", noise_c=0.02))
    good = find_point(clean, cal_point("zinc"), facts).plateau.value_c
    rough: list[float | None] = [None if uv is None else 10.0 * round(uv / 10.0) for uv in clean.emf_uv]  # 0.25 degC
    for at in range(0, len(rough), 37):
        rough[at] = None
    rough[150] = 40_000.0
    found = find_point(EmfTrace(clean.times_s, rough, 24.0), cal_point("zinc"), facts)
    assert found.plateau.value_c == pytest.approx(good, abs=0.15)


# -- refused ----------------------------------------------------------------------------------------------------------


def refusal(trace: EmfTrace, point: str, facts: ProbeFacts, **how: object) -> PoorPlateau:
    with pytest.raises(PoorPlateau) as refused:
        find_point(trace, cal_point(point), facts, **how)  # type: ignore[arg-type]
    assert say(refused.value.told)
    assert say(refused.value.to_do)
    return refused.value


def test_an_alloy_that_freezes_over_a_range_is_no_point(facts: ProbeFacts, cooled: Cooled) -> None:
    for seed in range(10):
        cup = Cup("zinc", seed, range_c=60.0)
        assert refusal(cooled(cup), "zinc", facts).code in ("too_steep", "not_flat", "too_short")


def test_noise_that_hides_a_plateau_is_named(facts: ProbeFacts, cooled: Cooled) -> None:
    assert refusal(cooled(Cup("zinc", noise_c=4.0)), "zinc", facts).code == "too_noisy"


def test_another_metal_is_named_by_where_it_stands(facts: ProbeFacts, cooled: Cooled) -> None:
    trace = cooled(Cup("aluminium", superheat_c=40.0))
    down = [(t, emf_uv("K", 640.0 - t)) for t in range(330)]  # then on down, past the zinc point without a stop
    end_s = trace.times_s[-1]
    both = EmfTrace([*trace.times_s, *(end_s + 1 + t for t, _ in down)], [*trace.emf_uv, *(uv for _, uv in down)])
    told = refusal(both, "zinc", facts)
    assert told.code in ("too_short", "other_metal", "too_steep")
    assert refusal(trace, "zinc", facts).code == "no_plateau"
    assert refusal(trace, "zinc", facts).told.facts["point_c"] == pytest.approx(419.527)


def test_an_arrest_far_shorter_than_the_metals_own_is_a_probe_frozen_to_the_wall(facts: ProbeFacts) -> None:
    # 1 degC/s: 200 g of zinc would stand near 225 s (latent heat over heat capacity 225 K); this stands 25 s
    temps = [460.0 - s for s in range(41)] + [419.6] * 25 + [419.0 - s for s in range(60)]
    trace = EmfTrace([float(s) for s in range(len(temps))], [emf_uv("K", t) for t in temps])
    told = refusal(trace, "zinc", facts)
    assert told.code == "frozen_to_wall"
    assert told.told.facts["expected_s"] == pytest.approx(225.0, abs=0.5)


def test_a_stop_too_short_to_measure_is_refused(facts: ProbeFacts) -> None:
    temps = [460.0 - s for s in range(41)] + [419.6] * 8 + [419.0 - s for s in range(60)]
    trace = EmfTrace([float(s) for s in range(len(temps))], [emf_uv("K", t) for t in temps])
    assert refusal(trace, "zinc", facts).code == "too_short"


def test_a_plateau_without_its_approach_is_refused(facts: ProbeFacts) -> None:
    rng = random.Random(2)
    flat = EmfTrace([float(s) for s in range(200)], [emf_uv("K", 419.5 + rng.gauss(0.0, 0.1)) for _ in range(200)])
    assert refusal(flat, "zinc", facts).code == "no_approach"


def test_a_probe_just_put_into_metal_that_freezes_already_is_refused(facts: ProbeFacts) -> None:
    temps = [419.5 - 400.0 * math.exp(-s / 4.0) for s in range(150)] + [419.5 - 0.5 * s for s in range(60)]
    trace = EmfTrace([float(s) for s in range(len(temps))], [emf_uv("K", t) for t in temps])
    assert refusal(trace, "zinc", facts).code == "too_fast"


def test_a_plateau_with_a_hole_in_it_is_refused(facts: ProbeFacts, cooled: Cooled) -> None:
    whole = cooled(Cup("zinc"))
    seen = find_point(whole, cal_point("zinc"), facts).plateau
    holed = [
        None if seen.began_s + 60.0 < at_s < seen.began_s + 75.0 else uv
        for at_s, uv in zip(whole.times_s, whole.emf_uv, strict=True)
    ]
    told = refusal(EmfTrace(whole.times_s, holed), "zinc", facts)
    assert told.code == "readings_missing"


def test_a_bath_that_drifts_or_was_left_too_soon_is_refused(facts: ProbeFacts, trace_of: TraceOf) -> None:
    assert refusal(trace_of(bath(0.0, drift_c_per_min=0.45)), "ice", facts).code in ("not_flat", "too_short")
    assert refusal(trace_of(bath(0.0, length_s=45.0)), "ice", facts).code == "too_short"
    assert refusal(trace_of(bath(30.0)), "ice", facts).code in ("other_metal", "no_plateau")


def test_too_few_readings_are_refused(facts: ProbeFacts) -> None:
    assert refusal(EmfTrace([0.0, 1.0], [17_000.0, 17_000.0]), "zinc", facts).code == "too_few"
    slow = EmfTrace([30.0 * n for n in range(40)], [emf_uv("K", 460.0 - 2.0 * n) for n in range(40)])
    assert refusal(slow, "zinc", facts).code == "too_few"
    assert refusal(EmfTrace([float(n) for n in range(50)], [None] * 50), "zinc", facts).code == "too_few"


def test_a_probe_that_hardly_touches_the_metal_is_refused(facts: ProbeFacts, cooled: Cooled) -> None:
    trace = cooled(Cup("zinc"))
    assert refusal(trace, "zinc", facts, depth_mm=8.0).code == "too_shallow"
    deep = find_point(trace, cal_point("zinc"), facts, depth_mm=50.0)
    shallow = find_point(trace, cal_point("zinc"), facts._replace(sheath="mineral_6mm"), depth_mm=20.0)
    assert shallow.standard_c > 2.0 * deep.standard_c


def test_impure_metal_that_falls_while_it_freezes_is_refused() -> None:
    # 1 degC/s before, then 0.08 degC/s for 150 s, a twelfth: slower than a slope, too steep for a point
    temps = [440.0 - s for s in range(20)] + [420.0 - 0.08 * s for s in range(150)] + [408.0 - s for s in range(40)]
    with pytest.raises(PoorPlateau) as refused:
        find_plateau([float(s) for s in range(len(temps))], temps, cal_point("zinc"), near_c=15.0)
    assert refused.value.code in ("not_flat", "too_steep", "too_short")


@pytest.mark.parametrize(("from_wall", "least"), [(0.05, 95), (0.1, 95)])
def test_a_probe_off_the_middle_widens_its_own_uncertainty_or_is_refused(
    from_wall: float, least: int, facts: ProbeFacts, trace_of: TraceOf
) -> None:
    """Towards the wall it reads low by degrees; the slope of the plateau gives it away."""
    right = 0
    for seed in range(25):
        for metal in ("tin", "lead", "zinc", "aluminium"):
            run = cool_cup(replace(drawn(metal, seed), from_wall=from_wall))
            try:
                found = find_point(trace_of(run), cal_point(metal), facts, grade="99.9", depth_mm=45.0)
            except PoorPlateau:
                right += 1
                continue
            right += abs(found.offset_uv - run.correction_uv) <= 2.0 * found.spread_uv
    assert right >= least


def test_a_slow_probe_is_given_the_time_it_needs_or_is_refused(facts: ProbeFacts, trace_of: TraceOf) -> None:
    slow, right, refused = facts._replace(sheath="ceramic_tube"), 0, 0
    for seed in range(25):
        for metal in ("tin", "lead", "zinc", "aluminium"):
            cup = replace(drawn(metal, seed), sheath="tube_12", mass_kg=0.25)
            run = cool_cup(cup)
            try:
                found = find_point(trace_of(run), cal_point(metal), slow, grade="99.9", depth_mm=60.0)
            except PoorPlateau:
                refused += 1
                continue
            right += abs(found.offset_uv - run.correction_uv) <= 2.0 * found.spread_uv
    assert right + refused >= 95
    assert right >= 10


def test_an_error_beyond_class_and_board_is_told(facts: ProbeFacts, cooled: Cooled) -> None:
    assert not find_point(cooled(Cup("zinc", gain=1.004)), cal_point("zinc"), facts).beyond_class
    worn = find_point(cooled(replace(Cup("zinc"), gain=0.975)), cal_point("zinc"), facts, heating="off")
    assert worn.beyond_class
    assert worn.error_c == pytest.approx(-10.3, abs=1.0)


def test_another_instruments_trace_leaves_the_boards_error_out_of_the_calibration(
    facts: ProbeFacts, cooled: Cooled
) -> None:
    trace = cooled(Cup("zinc"))
    other = find_point(trace, cal_point("zinc"), facts, with_board=False)
    assert not other.with_board
    assert "cold junction" not in {part.name for part in other.parts}
    assert "instrument" in {part.name for part in other.parts}
