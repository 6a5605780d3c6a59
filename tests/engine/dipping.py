"""A simulated dip for the tests. Plant, sheath and amplifier of `sim` in, what the engine makes of them out.

Sheaths are those of the published response table (sab-cable.com, in pourcall/sim/plant/probe.py), alloys the shipped
sheets. The truth beside each dip is the plant's bulk temperature at the moment the probe comes out.
"""

import zlib
from dataclasses import dataclass, field
from random import Random
from typing import Any

from pourcall.contract import events as ev
from pourcall.contract import inputs as inp
from pourcall.contract.config import BoardConfig, EngineConfig, ProbeConfig
from pourcall.contract.plan import MouldPlan
from pourcall.contract.reading import Place
from pourcall.contract.snapshot import DipView
from pourcall.engine.core import Engine
from pourcall.sim.boards.amp import Amp
from pourcall.sim.boards.faults import Faults
from pourcall.sim.plant.furnace import FurnaceSpec, Plant, PlantStart
from pourcall.sim.plant.metal import alloy
from pourcall.sim.plant.probe import SHEATHS, Probe
from pourcall.sim.scenarios.normal_melts import make_plan, pot_for
from tests.simulated import RULE_OF_SHEATH

CHIPS = {"max31855": "max31855", "emf": "emf", "its90": ""}
CHARGE_KG = 1.6
LONGEST_S = 500.0


@dataclass
class Dipped:
    """One dip as the engine saw it, and the truth."""

    dips: list[ev.Dip]
    true_c: float
    held_s: float
    settle_s: float
    views: list[tuple[float, DipView]] = field(default_factory=list)  # (seconds in, as shown)
    live: list[tuple[float, float, float]] = field(default_factory=list)  # (error degC, U degC, seconds in)


def dip_once(
    sheath: str,
    key: str,
    seed: int,
    *,
    hold_s: float | None,
    own_error: bool = False,
    tap_c: float | None = None,
    depth_mm: float = 55.0,
) -> Dipped:
    """A cold probe into stirred metal, power off. hold_s None: out when the engine says so."""
    rng = Random(seed * 7_919 + zlib.crc32(f"{sheath} {key}".encode()))
    metal = alloy(key)
    facts = metal.facts
    tap_c = rng.uniform(facts.pour_min_c, facts.pour_max_c) + 10.0 if tap_c is None else tap_c
    rate_hz = rng.choice([1.0, 2.0, 4.0, 5.0, 10.0])
    dt_s = 1.0 / rate_hz / (4.0 if rate_hz <= 1.0 else 2.0 if rate_hz <= 2.0 else 1.0)
    start = PlantStart(20.0, tap_c + rng.uniform(-10.0, 20.0), tap_c - 150.0, tap_c)
    plant = Plant(FurnaceSpec("off", 0.0), pot_for(facts, CHARGE_KG), metal, dt_s=dt_s, start=start)
    plant.add(CHARGE_KG, tap_c)
    gain = 1.0 + max(-0.004, min(0.004, rng.gauss(0.0, 0.0015))) if own_error else 1.0  # IEC 60584-1 class 1
    probe = Probe(
        SHEATHS[sheath],
        dt_s=dt_s,
        start_c=rng.uniform(20.0, 90.0),
        depth_mm=depth_mm,
        gain=gain,
        noise_c=rng.uniform(0.03, 0.35),
        rng=rng,
    )
    chip = rng.choice(list(CHIPS))
    offset_uv, cold_error_c = (rng.uniform(-6.0, 6.0), rng.uniform(-0.5, 0.5)) if own_error else (0.0, 0.0)
    amp = Amp(
        chip, channel="0", tc_type="K", boot_ms=0, faults=Faults(seed), offset_uv=offset_uv, cold_error_c=cold_error_c
    )
    engine = Engine(
        EngineConfig(
            furnace="small",
            boards=(BoardConfig(name="bench", chip=CHIPS[chip], sample_s=1.0 / rate_hz),),
            probes=(
                ProbeConfig(
                    name="metal",
                    board="bench",
                    channel="0",
                    place=Place.DIP,
                    sheath=RULE_OF_SHEATH[sheath],
                    wire_class="iec_1",
                    rating_c=1260.0,
                ),
            ),
        )
    )
    mould = MouldPlan(name="cleat", lip_min_c=tap_c - 30.0, lip_max_c=tap_c + 20.0, loss_c=10.0)
    seen = Dipped([], tap_c, 0.0, probe.settle_s)
    count = steps = 0

    def put(kind: type[Any], at_s: float, **fields: Any) -> None:
        nonlocal count
        count += 1
        for out in engine.handle(kind(seq=count, mono_s=1000.0 + at_s, utc_s=1.78e9 + at_s, **fields)):
            if isinstance(out, ev.DipRecorded):
                seen.dips.append(out.dip)

    put(inp.CommandIn, 0.0, command=inp.StartMelt(plan=make_plan("2026-014", facts, CHARGE_KG, [mould])))
    put(inp.CommandIn, 0.0, command=inp.MarkPower(level=inp.PowerLevel.OFF))
    per_sample, per_tick = round(1.0 / rate_hz / dt_s), round(1.0 / dt_s)
    for place, for_s in (("air", 6.0), ("melt", hold_s), ("air", 12.0 + 2.0 * probe.settle_s)):
        began = steps
        probe.move(place, plant=plant)
        while (steps - began) * dt_s < (LONGEST_S if for_s is None else for_s):
            if steps % max(1, round(8.0 / dt_s)) == 0:
                plant.stir()
            plant.step()
            probe.step(plant)
            steps += 1
            at_s, in_s = steps * dt_s, (steps - began) * dt_s
            if place == "melt":
                seen.true_c, seen.held_s = plant.metal_c, in_s
            if steps % per_sample == 0:
                put(inp.SampleIn, at_s, board="bench", sample=amp.sample(probe.sense_c(), 25.0, at_s))
                if place == "melt":
                    view = engine.snapshot().dip_now
                    if view is not None:
                        seen.views.append((in_s, view))
                    if engine.metal.live and engine.metal.temp_c is not None:
                        seen.live.append((engine.metal.temp_c - plant.metal_c, engine.metal.u_c, in_s))
                    if for_s is None and view is not None and view.hold_s == 0.0:
                        break
            if steps % per_tick == 0:
                put(inp.TickIn, at_s)
    return seen


def a_dip(number: int, temp_c: float | None, *, ended_s: float, probe: str = "metal") -> ev.Dip:
    return ev.Dip(
        probe=probe,
        number=number,
        began_mono_s=ended_s - 15.0,
        ended_mono_s=ended_s,
        ended_utc_s=1.78e9 + ended_s,
        temp_c=temp_c,
        u_c=None if temp_c is None else 3.0,
        how=ev.DipHow.SETTLED,
    )
