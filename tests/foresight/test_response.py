"""Room: flame out and not responding. Normal melts raise neither; a dead flame and a dead element are found."""

from collections.abc import Iterator
from dataclasses import replace

import pytest

from pourcall.contract import events as ev
from pourcall.contract import inputs as inp
from pourcall.contract.inputs import PowerLevel
from pourcall.contract.reading import Place, ProbeState
from pourcall.daemon.engine.config import BoardConfig, EngineConfig, ProbeConfig
from pourcall.daemon.engine.core import Engine
from pourcall.daemon.engine.response import Findings, ResponseWatch
from pourcall.profiles.sheet import load_sheets
from pourcall.sim.scenarios import Scenario, normal_melt, run
from pourcall.sim.shop import FaultAt

ZA12 = load_sheets().get("za12").facts()
SHEATH = {"tube_12": "ceramic_tube", "tube_20": "ceramic_tube", "mi_3.0": "mineral_3mm", "mi_1.5": "thin"}
HIGH, LOW, OFF = PowerLevel.HIGH, PowerLevel.LOW, PowerLevel.OFF


def followed(scenario: Scenario) -> Iterator[tuple[float, Findings]]:
    """The watch beside the real engine, called as the engine will call it."""
    chip = {"max31855": "max31855", "emf": "emf", "its90": ""}[scenario.probes[0].chip]
    engine = Engine(
        EngineConfig(
            furnace="small", kind=scenario.furnace_kind,
            boards=(BoardConfig(name="bench", chip=chip, sample_s=1.0 / scenario.rate_hz),),
            probes=tuple(
                ProbeConfig(
                    name=p.name, board="bench", channel=p.channel, tc_type=p.tc_type, place=p.place,
                    sheath=SHEATH.get(p.sheath, "mineral_6mm"), rating_c=1260.0,
                )
                for p in scenario.probes
            ),
        )
    )  # fmt: skip
    watch = ResponseWatch(fuel=scenario.furnace.fuel)
    for item, truth in run(scenario):
        for out in engine.handle(item):
            if isinstance(out, ev.MeltStarted):
                watch.new_melt()
            elif isinstance(out, ev.Marked) and out.what == "addition":
                watch.added(item.mono_s)
            elif isinstance(out, ev.Marked) and out.what == "skim":
                watch.disturbed(item.mono_s)
        melt = engine.run
        if type(item) is not inp.TickIn or melt is None:
            continue
        metal_c = chamber_c = None
        busy = melt.lifted(item.mono_s)
        for channel in engine.channels:
            temp_c = None if channel.last is None else channel.last.temp_c
            state, place = channel.tracker.state, channel.tracker.place
            if place is Place.CHAMBER:
                chamber_c = temp_c
            elif place is Place.DIP:
                busy = busy or state is not ProbeState.OUT
            elif state is ProbeState.IN_METAL:
                metal_c = temp_c
            else:
                busy = busy or state in (ProbeState.ENTERING, ProbeState.SETTLING, ProbeState.LEAVING)
        mould = melt.next_mould
        yield truth.t_s, watch.update(
            item.mono_s, engine.power.level, metal_c=metal_c, chamber_c=chamber_c, alloy=melt.plan.alloy,
            mass_kg=melt.plan.charge_kg, target_c=None if mould is None else mould.tap_min_c, busy=busy,
        )  # fmt: skip


@pytest.mark.parametrize("first", range(0, 20, 10))
def test_normal_melts_are_not_said_to_be_out_or_deaf(first: int) -> None:
    for seed in range(first, first + 10):
        for t_s, found in followed(normal_melt(seed)):
            assert found == Findings(), f"seed {seed} at {t_s:.0f} s: {found}"


@pytest.mark.long
@pytest.mark.timeout(900)
def test_two_hundred_normal_melts_raise_neither() -> None:
    raised = {
        seed: found
        for seed in range(200)
        for _, found in followed(normal_melt(seed))
        if found != Findings()
    }  # fmt: skip
    assert raised == {}


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
    found = [(t_s, one) for t_s, one in followed(broken) if one != Findings()]
    assert found, scenario.tags
    t_s, one = found[0]
    assert t_s > out_s
    if one.flame_out:
        assert "burner marked" in one.flame_out


def drive(watch: ResponseWatch, seconds: int, temp_of: object, power: PowerLevel = HIGH, start_s: int = 0) -> Findings:
    found = Findings()
    for second in range(start_s, start_s + seconds):
        found = watch.update(
            float(second), power, metal_c=temp_of(second), chamber_c=None, alloy=ZA12, mass_kg=1.5, target_c=500.0  # type: ignore[operator]
        )  # fmt: skip
    return found


def test_a_plateau_as_long_as_the_latent_heat_allows_is_normal() -> None:
    watch = ResponseWatch(fuel=False, power_w=1000.0)
    assert drive(watch, 900, lambda s: min(377.0, 20.0 + 0.5 * s)) == Findings()
    assert drive(watch, 400, lambda s: 377.0, start_s=900) == Findings()


def test_full_power_and_no_rise_below_the_solidus_is_not_responding() -> None:
    found = drive(ResponseWatch(fuel=False, power_w=1500.0), 1500, lambda s: 150.0)
    assert "hardly any heat" in found.not_responding


def test_power_off_or_low_is_asked_nothing() -> None:
    for power in (OFF, LOW):
        assert drive(ResponseWatch(fuel=False), 1500, lambda s: 150.0, power) == Findings()


def test_metal_held_at_its_target_is_asked_nothing() -> None:
    assert drive(ResponseWatch(fuel=False), 1500, lambda s: 497.0) == Findings()


def test_an_electric_furnace_has_no_flame() -> None:
    assert drive(ResponseWatch(fuel=False), 600, lambda s: 560.0 - 0.1 * s).flame_out == ""
    assert "burner marked" in drive(ResponseWatch(fuel=True), 600, lambda s: 560.0 - 0.1 * s).flame_out
