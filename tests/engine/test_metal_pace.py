"""What no metal does, and what ordinary work does: a skim bends a trace and is over, a lie goes on bending.

Levels are invented; the alloy's are of the sheet that ships.
"""

from collections.abc import Callable

import pytest

from pourcall.contract.reading import ProbeState
from pourcall.engine.sensing.metal_pace import MetalPace
from pourcall.sim.plant.metal import alloy

ZA27 = alloy("za27").facts  # liquidus 484 degC
TAU_S = 4.0


def shaken_s(trace: Callable[[float], float], *, until_s: float = 400.0, worked: bool = False) -> list[float]:
    """When it would have had to stand still first; a lie found is an error."""
    pace, found = MetalPace(), []
    for second in range(int(until_s)):
        lie = pace.look(float(second), trace(second), ProbeState.IN_METAL, ZA27, TAU_S, warmed=False, worked=worked)
        assert not lie, lie
        if pace.shaken:
            found.append(float(second))
    return found


def notch(begins_s: float, deep_c: float, lasts_s: float) -> Callable[[float], float]:
    """Rising slowly; down, and back on its way within seconds."""

    def reads(t_s: float) -> float:
        part = (t_s - begins_s) / lasts_s
        return 530.0 + 0.3 * t_s - (deep_c * (1.0 - abs(2.0 * part - 1.0)) if 0.0 < part < 1.0 else 0.0)

    return reads


def zigzag(t_s: float) -> float:
    return 550.0 + (6.0 if int(t_s) // 10 % 2 else 0.0)


@pytest.mark.parametrize("begins_s", range(100, 110))
@pytest.mark.parametrize(("deep_c", "lasts_s"), [(8.0, 12.0), (15.0, 16.0), (20.0, 20.0)])
def test_a_skim_that_nobody_marked_goes_down_and_comes_back_and_nothing_is_doubted(
    deep_c: float, lasts_s: float, begins_s: int
) -> None:
    assert shaken_s(notch(float(begins_s), deep_c, lasts_s)) == []


def test_a_stir_and_a_skim_one_after_the_other_are_two_notches_and_no_doubt() -> None:
    first, second = notch(100.0, 12.0, 14.0), notch(150.0, 12.0, 14.0)
    assert shaken_s(lambda t_s: min(first(t_s), second(t_s))) == []


def test_what_goes_on_bending_has_to_stand_still_first_within_a_minute() -> None:
    found = shaken_s(zigzag, until_s=100.0)
    assert found
    assert found[0] <= 80.0


def test_while_somebody_is_at_the_bath_bends_say_nothing() -> None:
    assert shaken_s(zigzag, worked=True) == []


def test_what_bends_for_minutes_is_a_lie() -> None:
    pace = MetalPace()
    found = [
        lie
        for second in range(300)
        if (lie := pace.look(float(second), zigzag(second), ProbeState.IN_METAL, ZA27, TAU_S, warmed=False))
    ]
    assert found


def test_a_probe_that_comes_out_of_its_shell_of_frozen_metal_comes_back_hotter_and_is_believed() -> None:
    """It left at the solidus, where a shell holds it, and says little of the bath till that is gone."""
    pace = MetalPace()
    for second in range(60):
        pace.look(float(second), 376.0, ProbeState.IN_METAL, ZA27, TAU_S, warmed=False)
    for second in range(60, 80):
        pace.look(float(second), 376.0 + 7.0 * (second - 60), ProbeState.ENTERING, ZA27, TAU_S, warmed=False)
    pace.look(80.0, 521.0, ProbeState.IN_METAL, ZA27, TAU_S, warmed=False)
    assert not pace.shaken


@pytest.mark.parametrize(
    ("back_c", "worked", "doubted"),
    [(500.0, False, True), (500.0, True, False), (580.0, True, False), (595.0, True, True)],
)
def test_a_probe_back_in_liquid_metal_far_off_has_to_stand_still_first_unless_cold_metal_was_told(
    back_c: float, *, worked: bool, doubted: bool
) -> None:
    pace = MetalPace()
    for second in range(60):
        pace.look(float(second), 560.0, ProbeState.IN_METAL, ZA27, TAU_S, warmed=False)
    pace.look(61.0, 520.0, ProbeState.LEAVING, ZA27, TAU_S, warmed=False)
    pace.look(70.0, back_c, ProbeState.IN_METAL, ZA27, TAU_S, warmed=False, worked=worked)
    assert pace.shaken is doubted


def falling(from_c: float) -> Callable[[float], float]:
    """Chilled as by cold metal that went in: 40 degC in ten seconds."""
    return lambda t_s: from_c - 4.0 * min(max(t_s - 60.0, 0.0), 10.0)


def test_cold_metal_that_chills_a_tip_below_the_liquidus_or_was_told_is_no_doubt() -> None:
    assert shaken_s(falling(500.0)) == []
    assert shaken_s(falling(560.0), worked=True) == []


def test_a_tip_that_warms_fast_in_a_cold_charge_is_no_doubt() -> None:
    assert shaken_s(lambda t_s: 150.0 + 4.0 * min(max(t_s - 60.0, 0.0), 12.0)) == []


def test_a_fall_in_liquid_metal_that_nobody_told_has_to_stand_still_first() -> None:
    assert shaken_s(falling(560.0))


def swings_found(
    count: int, *, worked: bool = False, suspect_since_s: float | None = None, down_c: float = 500.0
) -> bool:
    """Whether so many swings of 30 degC, a minute each, are a lie; the probe seems to leave the metal at each."""
    pace, found = MetalPace(), False
    for second in range(60 * (count + 1)):
        part, leg = second % 60 / 60.0, second // 60
        temp_c = (
            530.0 - (530.0 - down_c) * (part if leg % 2 else 1.0 - part) if leg else down_c + (530.0 - down_c) * part
        )
        state = ProbeState.LEAVING if leg % 2 or down_c < ZA27.solidus_c else ProbeState.IN_METAL
        found = found or bool(
            pace.look(
                float(second),
                temp_c,
                state,
                ZA27,
                TAU_S,
                warmed=False,
                worked=worked,
                suspect_since_s=suspect_since_s,
            )
        )
    return found


def test_three_cold_additions_that_nobody_told_are_work_and_more_of_it_is_a_lie() -> None:
    assert not swings_found(6)
    assert swings_found(7)
    assert not swings_found(7, worked=True)


def test_one_that_lost_its_figure_may_swing_less() -> None:
    assert not swings_found(2, suspect_since_s=0.0)
    assert swings_found(3, suspect_since_s=0.0)
    assert not swings_found(6, suspect_since_s=300.0)  # most of it was before


def test_a_probe_that_leaves_the_metal_again_and_again_cools_past_its_liquidus_and_swings_nothing() -> None:
    assert not swings_found(12, down_c=300.0)


def rose(rate_c_per_s: float, from_c: float, lasts_s: float) -> bool:
    """Is a tip between lumps that rises so a lie."""
    pace = MetalPace()
    pace.stands(between_lumps=True)
    return any(
        pace.look(float(s), from_c + rate_c_per_s * s, ProbeState.IN_METAL, ZA27, TAU_S, warmed=False)
        for s in range(int(lasts_s))
    )


def test_a_small_charge_in_a_very_hot_pot_comes_to_its_solidus_as_fast_as_it_may_and_goes_on_slower() -> None:
    assert ZA27.solidus_c == pytest.approx(376.0, abs=1.0)
    assert not rose(3.0, 300.0, 60.0)  # up to 480: some of it still below the solidus in the time that is looked at
    assert rose(3.0, 300.0, 90.0), "through all of its melting range it has latent heat to take up"
