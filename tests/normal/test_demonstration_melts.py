"""The melts that a new user sees first keep their figure: the demonstrations, and the invented season of the record.

The operator answers the calls of the engine, as the demonstration does. Skim, stir, addition, dip and lid are in the
scripts, and no probe fails: whatever the engine doubts here, it doubts wrongly. The truth is the simulated plant's.
"""

from functools import cache

import pytest

from pourcall.cli.shop.demo_records import settings_text
from pourcall.contract import events as ev
from pourcall.contract.api import StartRequest
from pourcall.contract.inputs import CommandIn, Input, SampleIn, TickIn
from pourcall.contract.reading import Reading
from pourcall.contract.settings import parse_settings
from pourcall.contract.status import Reason
from pourcall.engine.core import Engine
from pourcall.planning.melt_plans import Planner
from pourcall.sim.scenarios.demo import DEMOS, demo_scenario
from pourcall.sim.scenarios.invented import MELTS, WHO, moulds, scenario_of
from pourcall.sim.shop import BOARD, Scenario, Shop
from tests.simulated import config_of

WITHIN_S = 20.0  # of the true lift: a tip leaves, and is seen to have left


class Seen:
    """One melt as the engine followed it while the operator did what it called."""

    def __init__(self, scenario: Scenario) -> None:
        shop, engine = Shop(scenario), Engine(config_of(scenario))
        self.unproven_s: list[float] = []
        self.alarms: set[str] = set()
        self.states: list[ev.MeltState] = []
        self.lifted_s, self.lift_told_s = -1.0, -1.0
        seq, next_tick_s = 0, 1.0
        while not shop.finished:
            items: list[Input] = []
            pressed = shop.step()
            t_s = shop.t_s
            for command in pressed:
                items.append(CommandIn(seq=seq + len(items) + 1, mono_s=t_s, utc_s=t_s, command=command))
            if shop.sample_due():
                for sample in shop.samples():
                    seq_now = seq + len(items) + 1
                    items.append(SampleIn(seq=seq_now, mono_s=t_s, utc_s=t_s, board=BOARD, sample=sample))
            if t_s >= next_tick_s - 1e-9:
                next_tick_s += 1.0
                items.append(TickIn(seq=seq + len(items) + 1, mono_s=t_s, utc_s=t_s))
            seq += len(items)
            if shop.plant.lifted and self.lifted_s < 0.0:
                self.lifted_s = t_s
            for item in items:
                for out in engine.handle(item):
                    self._note(out, shop)

    def _note(self, out: object, shop: Shop) -> None:
        if type(out) is Reading and out.reason is Reason.UNPROVEN:
            self.unproven_s.append(shop.t_s)
        elif isinstance(out, ev.AlarmChanged):
            self.alarms.add(out.alarm.id)
        elif isinstance(out, ev.MeltStateChanged):
            self.states.append(out.new)
        elif isinstance(out, ev.LiftMarked) and self.lift_told_s < 0.0:
            self.lift_told_s = shop.t_s
        elif isinstance(out, ev.CallChanged) and out.how is ev.CallHow.RAISED:
            shop.crew.hear(out.call.kind.value)


@cache
def of_demonstration(name: str) -> Seen:
    return Seen(demo_scenario(name))


@cache
def of_season(number: int) -> Seen:
    melt = MELTS[number]
    asked = StartRequest(alloy=melt.alloy, charge_kg=melt.charge_kg, moulds=moulds(melt), who=WHO)
    plan, _ = Planner(parse_settings(settings_text(), where="settings"), None).start(melt.furnace, asked, melt.melt)
    return Seen(scenario_of(melt, plan))


def check(seen: Seen) -> None:
    assert not seen.alarms
    assert not seen.unproven_s, f"from {seen.unproven_s[0]:.0f} s on, for {len(seen.unproven_s)} readings"
    assert ev.MeltState.READY in seen.states
    assert -WITHIN_S <= seen.lift_told_s - seen.lifted_s <= WITHIN_S


@pytest.mark.parametrize("name", DEMOS)
def test_a_demonstration_never_loses_its_figure_to_ordinary_work(name: str) -> None:
    check(of_demonstration(name))


@pytest.mark.parametrize("number", range(len(MELTS)), ids=[melt.melt for melt in MELTS])
def test_a_melt_of_the_invented_season_never_loses_its_figure_to_ordinary_work(number: int) -> None:
    check(of_season(number))
