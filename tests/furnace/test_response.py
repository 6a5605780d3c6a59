"""Flame out and not responding. A dead flame is found in the engine; the rules of the watch one by one.

That normal melts raise neither is held by tests/normal, where every alarm of the engine counts.
"""

from dataclasses import replace

import pytest

from pourcall.contract import events as ev
from pourcall.contract.inputs import PowerLevel
from pourcall.contract.message import NOTHING, Message
from pourcall.engine.core import Engine
from pourcall.engine.guidance.response import Findings, FurnaceObserved, ResponseWatch
from pourcall.metal.alloys.sheet import load_sheets
from pourcall.sim.scenarios.normal_melts import Scenario, normal_melt, run
from pourcall.sim.shop import FaultAt
from tests.simulated import config_of
from tests.told import number

ZA12 = load_sheets().get("za12").facts()
HIGH, LOW, OFF = PowerLevel.HIGH, PowerLevel.LOW, PowerLevel.OFF


def alarms(scenario: Scenario) -> list[tuple[float, ev.AlarmView, Message]]:
    """What the engine raises over a melt: moment, alarm, and the evidence of a dead flame; each once."""
    engine = Engine(config_of(scenario))
    return [
        (truth.t_s, out.alarm, engine.guiding.findings.flame_out)
        for item, truth in run(scenario)
        for out in engine.handle(item)
        if isinstance(out, ev.AlarmChanged) and out.alarm.state is ev.AlarmState.UNACKED
    ]


def burner_melts() -> list[Scenario]:
    """Fuel furnaces with a probe that stays in, and somebody who marks the power."""
    drawn = (normal_melt(seed) for seed in range(70))
    wanted = [one for one in drawn if one.furnace.fuel and "power" in one.keys and one.kind != "dip"]
    return wanted[:4]


@pytest.mark.parametrize("scenario", burner_melts(), ids=lambda one: str(one.name))
def test_a_flame_that_goes_out_is_found(scenario: Scenario) -> None:
    off_s = next(truth.t_s for _, truth in run(scenario) if truth.power_level == "off" and truth.t_s > 60.0)
    out_s = 60.0 + 0.9 * (off_s - 60.0)
    broken = replace(scenario, faults=(FaultAt(out_s, "element_broken"),), limit_s=out_s + 1500.0)
    found = [(t_s, one, flame) for t_s, one, flame in alarms(broken) if one.kind in ("flame_out", "not_responding")]
    assert found, scenario.tags
    t_s, one, flame = found[0]
    assert t_s > out_s
    assert one.what
    assert one.remedy
    if one.kind == "flame_out":
        assert flame.facts["level"] in ("low", "high")
        assert number(flame, "fell_difference_c") > 5.0


def drive(watch: ResponseWatch, seconds: int, temp_of: object, power: PowerLevel = HIGH, start_s: int = 0) -> Findings:
    found = Findings()
    for second in range(start_s, start_s + seconds):
        found = watch.update(
            FurnaceObserved(
                mono_s=float(second),
                power=power,
                metal_c=temp_of(second),  # type: ignore[operator]
                chamber_c=None,
                alloy=ZA12,
                mass_kg=1.5,
                target_c=500.0,
            )
        )
    return found


def test_a_plateau_as_long_as_the_latent_heat_allows_is_normal() -> None:
    watch = ResponseWatch(fuel=False, power_w=1000.0)
    assert drive(watch, 900, lambda s: min(377.0, 20.0 + 0.5 * s)) == Findings()
    assert drive(watch, 400, lambda s: 377.0, start_s=900) == Findings()


def test_full_power_and_no_rise_below_the_solidus_is_not_responding() -> None:
    found = drive(ResponseWatch(fuel=False, power_w=1500.0), 1500, lambda s: 150.0)
    assert found.not_responding.name == "response.no_heat"
    assert found.not_responding.facts["then_c"] == found.not_responding.facts["now_c"] == 150.0


@pytest.mark.parametrize(("between_lumps", "found"), [(True, False), (False, True)])
def test_what_is_molten_about_lumps_may_stand_hotter_than_the_liquidus(between_lumps: bool, found: bool) -> None:
    """Ten minutes some 16 degC above the liquidus: latent heat goes in, unless the melting was seen to be over."""
    watch, said = ResponseWatch(fuel=False, power_w=1500.0), False
    for second in range(1500):
        metal_c = ZA12.liquidus_c + (40.0 - second / 30.0 if second < 700 else 16.0)
        now = FurnaceObserved(
            float(second), HIGH, metal_c, None, ZA12, 1.5, ZA12.liquidus_c + 90.0, between_lumps=between_lumps
        )
        said = said or bool(watch.update(now).not_responding)
    assert said is found


def test_power_off_or_low_is_asked_nothing() -> None:
    for power in (OFF, LOW):
        assert drive(ResponseWatch(fuel=False), 1500, lambda s: 150.0, power) == Findings()


def test_metal_held_at_its_target_is_asked_nothing() -> None:
    assert drive(ResponseWatch(fuel=False), 1500, lambda s: 497.0) == Findings()


def test_an_electric_furnace_has_no_flame() -> None:
    assert drive(ResponseWatch(fuel=False), 600, lambda s: 560.0 - 0.1 * s).flame_out == NOTHING
    flame = drive(ResponseWatch(fuel=True), 600, lambda s: 560.0 - 0.1 * s).flame_out
    assert flame.name == "response.metal_fell"
    assert flame.facts["level"] == "high"


@pytest.mark.parametrize(("fall_c_per_s", "out"), [(0.45, False), (1.2, True)])
@pytest.mark.parametrize("reads", ["melts", "rises", "nothing"])
def test_a_chamber_that_falls_while_the_charge_drinks_heat_is_no_flame_out_unless_it_falls_far(
    fall_c_per_s: float, reads: str, out: bool
) -> None:
    watch, found = ResponseWatch(fuel=True), NOTHING
    for second in range(900):
        falls_s = max(0, second - 600)
        metal_c = {"melts": 405.0, "rises": 445.0 + 0.2 * falls_s, "nothing": None}[reads]
        now = FurnaceObserved(float(second), HIGH, metal_c, 1050.0 - fall_c_per_s * falls_s, ZA12, 1.5, 500.0)
        found = found or watch.update(now).flame_out
    assert bool(found) is out


def test_a_chamber_that_falls_beside_liquid_metal_that_falls_too_is_a_flame_out_soon() -> None:
    watch, found = ResponseWatch(fuel=True), NOTHING
    for second in range(780):
        falls_s = max(0, second - 600)
        now = FurnaceObserved(float(second), HIGH, 520.0 - 0.1 * falls_s, 1050.0 - 0.45 * falls_s, ZA12, 1.5, 560.0)
        found = found or watch.update(now).flame_out
    assert found
