"""Arrests in whole simulated melts. What was truly charged is another alloy than the plan says, or the right one.

The furnace, the pot that heats with the charge, a probe that between lumps half sees the pot, sheaths and noise are the
simulator's (pourcall/sim/plant/furnace.py, pourcall/sim/plant/probe.py); the alloys' figures those of their sheets.
The engine is told only the plan.
"""

import dataclasses
from collections.abc import Iterator

import msgspec
import pytest

from pourcall.contract import events as ev
from pourcall.contract.inputs import CommandIn, StartMelt
from pourcall.contract.message import Told
from pourcall.contract.plan import AlloyHalts
from pourcall.engine.core import Engine
from pourcall.metal.alloys.sheet import load_sheets
from pourcall.sim.plant.metal import SimAlloy, alloy, sim_alloy
from pourcall.sim.scenarios.normal_melts import normal_melt, run
from pourcall.sim.shop import Truth
from pourcall.texts import say
from pourcall.thermal_analysis.arrest_check import halts_of
from tests.simulated import config_of

SHEETS = load_sheets()
HALTS: tuple[AlloyHalts, ...] = tuple(halts_of(sheet.facts()) for sheet in SHEETS.all())


def followed(
    seed: int, truly: SimAlloy | None = None, plan: str = ""
) -> Iterator[tuple[Engine, list[ev.Output], Truth]]:
    """One ordinary melt, with another metal in the pot and another plan where told."""
    scenario = normal_melt(seed)
    if truly is not None:
        scenario = dataclasses.replace(scenario, alloy=truly)
    engine = Engine(config_of(scenario))
    for item, truth in run(scenario):
        if type(item) is CommandIn and isinstance(item.command, StartMelt):
            start = item.command
            facts = SHEETS.get(plan).facts() if plan else start.plan.alloy
            told = msgspec.structs.replace(start.plan, alloy=facts)
            item = msgspec.structs.replace(item, command=msgspec.structs.replace(start, plan=told, others=HALTS))
        yield engine, engine.handle(item), truth


# Not told since the heats are the assessed ones: the brass melts inside the range of the bronze, and the halt of 413 is
# read 13 degC high between lumps that see the pot, further from its sheet than is taken for it. Both are named to the
# caster as what one probe cannot tell (docs/how-it-decides.md); a sample cup can.
UNTOLD = pytest.mark.xfail(strict=True, reason="another metal that melts near the range of the sheet is not told")
EUTECTIC_413 = sim_alloy(SHEETS.get("413").facts(), plateau_c=572.0, plateau_fraction=0.9)


@pytest.mark.parametrize(
    ("seed", "truly", "plan", "named"),
    [
        (14, alloy("alloy3"), "a356", "alloy 3"),
        pytest.param(24, alloy("c85700"), "c90300", "leaded yellow brass", marks=UNTOLD),
        pytest.param(91, EUTECTIC_413, "aluminium", "413", marks=UNTOLD),
    ],
    ids=["zinc_for_aluminium_silicon", "brass_for_bronze", "aluminium_silicon_for_aluminium"],
)
def test_another_metal_in_the_pot_raises_the_warning(seed: int, truly: SimAlloy, plan: str, named: str) -> None:
    raised: list[tuple[Told, float]] = []
    for _, outs, truth in followed(seed, truly, plan):
        for out in outs:
            if isinstance(out, ev.AlarmChanged) and out.alarm.id == "wrong_alloy:small" and not raised:
                raised.append((out.alarm.what, truth.liquid_fraction))
        if raised:
            break
    ((what, liquid),) = raised
    assert named in say(what)
    assert liquid >= 0.999  # told when all of it has melted, not before


@pytest.mark.parametrize("seed", [60, 105, 115, 130, 135, 149, 185])  # probes left in from the start
def test_the_right_metal_accuses_nobody_and_its_melting_is_followed(seed: int) -> None:
    melting_s = true_s = late_s = early_s = last_s = 0.0
    for engine, outs, truth in followed(seed):
        assert not any(isinstance(out, ev.AlarmChanged) and out.alarm.id.startswith("wrong_alloy") for out in outs)
        step_s, last_s = truth.t_s - last_s, truth.t_s
        if not truth.in_metal or engine.run is None or truth.metal_c is None or truth.lifted:
            continue
        found, half = engine.arrests.findings, 0.2 < truth.liquid_fraction < 0.8
        true_s += step_s * half
        melting_s += step_s * (found.melting and half)
        late_s += step_s * (found.melting and truth.liquid_fraction >= 0.999)
        early_s += step_s * (found.liquid is True and truth.liquid_fraction < 0.9)
        if found.held_back:
            assert engine.calls.up(ev.CallKind.POUR) is None
    assert melting_s >= 0.75 * true_s > 0.0
    assert late_s <= 60.0  # the window of the slope, the sheath, ten seconds to be sure; the cold pot wall
    assert early_s == 0.0
