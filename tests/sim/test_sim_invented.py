"""The invented season as data: a law that behaves like a mould, moved scripts, a picture that is one."""

import io
from random import Random

import pytest
from PIL import Image

from pourcall.records.read.simulated_melts import TAG
from pourcall.sim.scenarios import invented
from pourcall.sim.scenarios.demo import DEMOS, demo_steps
from pourcall.sim.scenarios.invented import CLEAT, FAIRLEAD, MELTS, inspect, moulds, moved, picture


def shares(setup: str, lip_c: float, draws: int = 2000) -> dict[str, float]:
    rng = Random(1)
    found = [inspect(setup, lip_c, rng) for _ in range(draws)]
    kinds = {"sound": sum(not one for one in found) / draws}
    for fault in (fault for one in found for fault in one):
        kinds[fault.defect] = kinds.get(fault.defect, 0.0) + 1.0 / draws
    return kinds


# Directions: cold pours misrun, hot ones sink and burn on (handbook tables of casting defects, common practice).
@pytest.mark.parametrize(
    ("setup", "cold_c", "middle_c", "hot_c"), [(CLEAT, 515.0, 564.0, 615.0), (FAIRLEAD, 1000.0, 1080.0, 1160.0)]
)
def test_cold_pours_misrun_hot_ones_sink_or_burn_on_and_between_them_castings_are_sound(
    setup: str, cold_c: float, middle_c: float, hot_c: float
) -> None:
    cold, middle, hot = (shares(setup, temp_c) for temp_c in (cold_c, middle_c, hot_c))
    assert cold["misrun"] > 0.8
    assert middle["sound"] > 0.85
    assert hot["sound"] < 0.1
    assert hot.get("penetration", 0.0) + hot.get("blowhole", 0.0) > 0.5
    assert "misrun" not in hot


def test_one_casting_in_thirty_is_faulty_whatever_the_temperature() -> None:
    for setup, temp_c in ((CLEAT, 564.0), (FAIRLEAD, 1080.0)):
        assert shares(setup, temp_c)["sand_inclusion"] == pytest.approx(1.0 / 30.0, abs=0.012)


def test_the_same_seed_finds_the_same() -> None:
    def season(seed: int) -> list[object]:
        rng = Random(seed)
        return [inspect(CLEAT, 540.0 + n, rng) for n in range(40)]

    assert season(7) == season(7)
    assert season(7) != season(8)


def test_a_season_is_a_dozen_pours_of_two_setups_on_days_that_are_over() -> None:
    asked = [mould for melt in MELTS for mould in moulds(melt)]
    assert len(asked) == 12
    assert {mould.setup for mould in asked} == {CLEAT, FAIRLEAD}
    began = [melt.began_utc_s for melt in MELTS]
    assert began == sorted(began)
    assert began[-1] < 1_767_225_600.0  # 2026-01-01: older than any record this program can have written
    assert all(mould.lip_min_c < mould.lip_max_c for mould in asked if mould.lip_min_c and mould.lip_max_c)


@pytest.mark.parametrize("name", DEMOS)
def test_a_moved_script_keeps_its_steps_and_brings_the_pot_where_it_was_told(name: str) -> None:
    before, after = demo_steps(name), moved(demo_steps(name), 600.0)
    assert [step.do for step in before] == [step.do for step in after]
    last = [step for step in after if step.do == "bring"][-1]
    assert 0.5 * (last.lo_c + last.hi_c) == pytest.approx(600.0)
    for old, new in zip(before, after, strict=True):
        assert new.hi_c - new.lo_c == pytest.approx(old.hi_c - old.lo_c)
        assert new.kg == old.kg


def test_the_picture_is_one_to_a_reader_nobody_here_wrote() -> None:
    drawn = picture()
    assert drawn == picture()
    with Image.open(io.BytesIO(drawn)) as image:
        image.load()
        assert image.size == (240, 150)
        colours = {colour for _, colour in image.convert("RGB").getcolors() or []}
    assert len(colours) == 5
    assert len(drawn) < 40_000


def test_simulator_and_records_call_invented_things_by_one_word() -> None:
    assert invented.TAG == TAG
