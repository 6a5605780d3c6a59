"""Freezing has a direction: metal left to freeze goes liquid, freezing, solid, once, and is never told to have melted.

Melts of the simulated shop heated into the window and left in the furnace with the power off; alloys are those of the
shipped sheets. Pure zinc by a lumped balance (ITS-90 fixed point 419.527 degC; latent heat over specific heat 225 K),
with the undercooling and the recalescence of a few degrees that cooling curves show (Metals 16 (2026) 54).
"""

import math
from collections.abc import Iterator
from dataclasses import replace
from random import Random

import pytest

from pourcall.contract import events as ev
from pourcall.contract.events import MeltState
from pourcall.engine.core import Engine
from pourcall.sim.scenarios.normal_melts import normal_melt, run
from pourcall.sim.scenarios.script import Step
from pourcall.sim.shop import Scenario
from pourcall.thermal_analysis.arrest_analysis import ArrestAnalysis, Findings
from tests.engine.test_arrest_desk import pure
from tests.simulated import config_of

COOLING_DOWN = (MeltState.ABOVE, MeltState.READY, MeltState.LIQUID, MeltState.FREEZING, MeltState.SOLID)
ZINC = pure("zinc", 419.527, 225.0)
UNDERCOOLING_C = 2.0


def left_to_freeze(seed: int) -> Scenario:
    """A normal melt whose caster heats it, cuts the power and walks away."""
    melt = normal_melt(seed)
    facts, plan = melt.alloy.facts, melt.plans[0]
    hot_c = max(facts.liquidus_c + 45.0, plan.moulds[0].lip_min_c + plan.moulds[0].loss_c)
    steps = (
        Step("start", plan=0),
        Step("charge", when="after 10", kg=plan.charge_kg),
        Step("lid", when="after 3", open=False),
        Step("power", when="after 2", level="high"),
        Step("watch", until=f"metal >= {hot_c:.0f}"),
        Step("power", level="off"),
        Step("wait", when="liquid <= 0.0", within_s=9000.0),
        Step("wait", when="after 60"),
    )
    probes = tuple(replace(probe, start="melt") for probe in melt.probes)
    return replace(melt, steps=steps, probes=probes, keys=frozenset({"start", "power"}), rate_hz=1.0)


# seeds: ZA-27, ZA-12, A356 twice (once without an arrest seen on the way up), alloy 3
LONG = pytest.mark.long


@pytest.mark.parametrize(
    "seed", [25, pytest.param(20, marks=LONG), *(pytest.param(n, marks=LONG) for n in (30, 40, 35))]
)
def test_metal_left_to_freeze_goes_liquid_freezing_solid_once(seed: int) -> None:
    scenario = left_to_freeze(seed)
    engine = Engine(config_of(scenario))
    cooling = False
    passed: list[MeltState] = []
    for item, truth in run(scenario):
        outs = engine.handle(item)
        bath_c = truth.metal_c or 0.0
        cooling = cooling or (truth.power_level == "off" and bath_c > scenario.alloy.facts.liquidus_c + 20.0)
        if not cooling:
            continue
        passed += [out.new for out in outs if isinstance(out, ev.MeltStateChanged)]
        told = engine.arrests.findings
        if 0.15 < truth.liquid_fraction < 0.75:  # ZA-12 has no halt up there: surely below its liquidus at 0.79
            assert engine.state is MeltState.FREEZING
            assert not told.awaited
            assert told.liquid is None
            assert getattr(told.text, "name", "") not in ("arrest.melted", "arrest.melting_agrees", "arrest.unseen")
    passed = passed[passed.index(MeltState.LIQUID) :]  # before, it coasts up and down through its window
    assert [COOLING_DOWN.index(state) for state in passed] == [2, 3, 4], passed
    assert passed[-1] is MeltState.SOLID


def zinc(legs: list[tuple[float, float]], *, seed: int = 3) -> Iterator[tuple[float, float, float]]:
    """(time, reading, liquid share) along legs of (heat put in, K a second; seconds), behind a 4.2 s sheath."""
    rng, heat_k, t_s = Random(seed), 380.0, 0.0
    junction_c, was_liquid, spring_c = heat_k, False, 0.0
    whole_k, melts_c = 225.0, 419.527
    for rate, for_s in legs:
        for _ in range(round(for_s)):
            heat_k += rate
            share = min(max((heat_k - melts_c) / whole_k, 0.0), 1.0)
            true_c = min(heat_k, melts_c) + max(heat_k - melts_c - whole_k, 0.0)
            if share >= 1.0:
                was_liquid, spring_c = True, UNDERCOOLING_C
            elif was_liquid and rate < 0.0:
                spring_c *= math.exp(-1.0 / 8.0)
                true_c -= spring_c
            junction_c += (true_c - junction_c) * (1.0 - math.exp(-1.0 / 4.2))
            t_s += 1.0
            yield t_s, round((junction_c + rng.gauss(0.0, 0.15)) * 4.0) / 4.0, share


def followed(legs: list[tuple[float, float]]) -> list[tuple[float, Findings]]:
    desk, out = ArrestAnalysis(ZINC, 4.2, 1.0), []
    for t_s, reads_c, share in zinc(legs):
        desk.take(t_s, reads_c)
        out.append((share, desk.tick(t_s, 5.0)))
    return out


def test_zinc_that_cools_is_never_said_to_be_waiting_for_its_melting() -> None:
    seen = followed([(0.6, 540.0), (-0.25, 1400.0)])
    cooling = seen[540:]
    froze = [found for share, found in cooling if 0.05 < share < 0.85]
    assert froze
    assert all(found.freezing for found in froze)
    assert not any(found.awaited for share, found in cooling if share > 0.05)
    assert not any(found.melting for _, found in cooling)


def test_zinc_frozen_in_part_and_heated_again_melts_and_then_is_liquid() -> None:
    seen = followed([(0.6, 540.0), (-0.3, 600.0), (0.5, 600.0)])
    heated = seen[1140:]
    assert any(found.freezing for _, found in seen[540:1140])
    assert all(found.held_back for share, found in heated if share < 0.95)
    assert not heated[-1][1].held_back


def test_a_furnace_that_holds_zinc_just_above_its_freezing_is_not_freezing_for_ever() -> None:
    """It cools from 460 to 425 and is held there: nothing tells that from a halt but how long it lasts."""
    seen = followed([(0.6, 565.0), (-0.25, 220.0), (0.0, 3600.0)])
    assert min(share for share, _ in seen[700:]) == 1.0
    assert not seen[-1][1].freezing
