"""What was said live is said again by a replay of the record: byte for byte, in another process, after a day of
faults on the wire. Real terminal, real link thread, real record; simulated time."""

import asyncio
import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace

import msgspec
import pytest

from pourcall.contract.events import AlarmChanged, CallChanged, MeltEnded
from pourcall.contract.inputs import Command, Input, LinkIn, LinkKind, SampleIn
from pourcall.contract.paths import Paths
from pourcall.contract.settings import parse_settings
from pourcall.daemon.inputs.ports import link_maker
from pourcall.daemon.inputs.sequencer import ProcessedInput
from pourcall.daemon.main import Daemon
from pourcall.records.read.journal import read_events, read_inputs
from pourcall.records.read.store import Store
from pourcall.sim.boards.pty_board import LockStep
from pourcall.sim.clock import SimClock
from pourcall.sim.scenarios.demo import demo_scenario
from pourcall.sim.shop import FaultAt, Scenario, Shop

if sys.platform == "win32":
    pytest.skip("pseudo-terminals are missing here", allow_module_level=True)

FURNACE = "club"
BAD_DAY = (
    FaultAt(120.0, "spike"),
    FaultAt(200.0, "open"),
    FaultAt(212.0, "sound"),
    FaultAt(300.0, "scrambled"),
    FaultAt(309.0, "sound"),
    FaultAt(420.0, "silent"),
    FaultAt(440.0, "sound"),
    FaultAt(500.0, "late", 8.0),
    FaultAt(540.0, "sound"),
    FaultAt(620.0, "cut", 0.5),
    FaultAt(650.0, "sound"),
    FaultAt(700.0, "hum"),
    FaultAt(720.0, "sound"),
    FaultAt(760.0, "flood"),
    FaultAt(766.0, "sound"),
    FaultAt(800.0, "restarted"),
    FaultAt(860.0, "cold_junction_hot"),
    FaultAt(880.0, "sound"),
    FaultAt(940.0, "frozen"),
    FaultAt(1000.0, "sound"),
    FaultAt(1060.0, "short"),
    FaultAt(1075.0, "sound"),
)
AGAIN = """
import os, sys
from pathlib import Path
import msgspec
from pourcall.contract.config import EngineConfig
from pourcall.engine.core import Engine
from pourcall.records.read.journal import read_inputs
from pourcall.records.read.store import Store

with Store.read(Path(sys.argv[1])) as store:
    (session,) = store.sessions()
    config = msgspec.json.decode(session.config_json, type=EngineConfig)
    engine = Engine(config)
    said = [msgspec.json.encode(out) for item in read_inputs(store, session.id) for out in engine.handle(item)]
sys.stdout.buffer.write(b"\\n".join(said))
"""


class Lived:
    """A run: every input in its order and what the engine said to it."""

    def __init__(self) -> None:
        self.inputs: list[Input] = []
        self.said: list[bytes] = []
        self.closed = asyncio.Event()
        self.kinds: set[str] = set()
        self.calls: set[str] = set()
        self.melts: list[str] = []

    def hear(self, passed: ProcessedInput, hear_call: Callable[[str], None]) -> None:
        self.inputs.append(passed.item)
        if isinstance(passed.item, LinkIn) and passed.item.kind is LinkKind.CLOSED:
            self.closed.set()
        for output in passed.outputs:
            self.said.append(msgspec.json.encode(output))
            if isinstance(output, AlarmChanged):
                self.kinds.add(output.alarm.kind)
            elif isinstance(output, CallChanged) and output.how == "raised":
                self.calls.add(output.call.kind.value)
                hear_call(output.call.kind.value)
            elif isinstance(output, MeltEnded):
                self.melts.append(output.melt)

    async def until_closed(self) -> None:
        """The link's thread notices in its own time."""
        await asyncio.wait_for(self.closed.wait(), 10.0)

    @property
    def as_bytes(self) -> bytes:
        return b"\n".join(self.said)


def settings_of(scenario: Scenario, port: str) -> str:
    probe = scenario.probes[0]
    return (
        f'[board.bench]\nport = "{port}"\nsample_s = {1 / scenario.rate_hz}\nchip = "max31855"\n'
        f'[furnace.{FURNACE}]\n[probe.{probe.name}]\nfurnace = "{FURNACE}"\nboard = "bench"\n'
        f'channel = "{probe.channel}"\nplace = "{probe.place.value}"\n'
    )


async def lived(scenario: Scenario, paths: Paths, *, unplug_at_s: float = 0.0) -> Lived:
    clock, life = SimClock(), Lived()
    daemon: Daemon | None = None

    def press(keys: list[Command]) -> None:
        assert daemon is not None
        assert daemon.service is not None
        for command in keys:
            daemon.service.sequencer(FURNACE).submit(command)

    step = LockStep(Shop(scenario), clock, on_keys=press, patience_s=0.05)
    text = settings_of(scenario, step.port)
    daemon = Daemon(
        parse_settings(text),
        text,
        paths,
        clock=clock,
        link_for=link_maker(clock),
        consumed=step.consumed,
        simulated=True,
        speed=600.0,
    )
    await daemon.start()
    try:
        assert daemon.service is not None
        daemon.service.sequencer(FURNACE).subscribe(lambda passed: life.hear(passed, step.hear_call))
        if unplug_at_s:
            await step.run(until_s=unplug_at_s)
            step.unplug()
            await life.until_closed()
            for _ in range(30):  # and half a minute of nothing but ticks
                await clock.advance_to(clock.mono_s() + 1.0)
        else:
            await step.run()
    finally:
        await daemon.stop()
        await step.aclose()
    return life


def again(paths: Paths, seed: str) -> bytes:
    done = subprocess.run(
        [sys.executable, "-c", AGAIN, str(paths.database)],
        env={**os.environ, "PYTHONHASHSEED": seed},
        capture_output=True,
        timeout=60.0,
    )
    assert done.returncode == 0, done.stderr.decode()
    return done.stdout


def check_the_record(life: Lived, paths: Paths) -> None:
    with Store.read(paths.database) as store:
        (session,) = store.sessions()
        assert list(read_inputs(store, session.id)) == life.inputs
        events = [msgspec.json.encode(event) for event in read_events(store, session.id)]
    readings = {line for line in life.said if line.startswith(b'{"type":"reading"')}
    assert readings
    assert events == [line for line in life.said if line not in readings]


@pytest.mark.parametrize("name", ["cleats_left_in", "cleats_dip"])
async def test_a_melt_with_a_bad_day_on_the_wire_is_told_again_byte_for_byte(name: str, paths: Paths) -> None:
    life = await lived(replace(demo_scenario(name), faults=BAD_DAY), paths)
    bad = [item for item in life.inputs if isinstance(item, LinkIn) and item.kind is LinkKind.BAD_FRAMES]
    late = [item for item in life.inputs if isinstance(item, SampleIn) and item.late_s > 1.0]
    assert bad
    assert late
    assert {"sensor_open", "sensor_short"} <= life.kinds
    assert life.melts
    check_the_record(life, paths)
    for seed in ("1", "4242"):
        assert again(paths, seed) == life.as_bytes


async def test_a_cable_pulled_in_a_melt_is_told_again_byte_for_byte(paths: Paths) -> None:
    life = await lived(demo_scenario("cleats_left_in"), paths, unplug_at_s=60.0)
    assert LinkKind.CLOSED in {item.kind for item in life.inputs if isinstance(item, LinkIn)}
    assert "no_value" in life.kinds or "link_lost" in life.kinds
    check_the_record(life, paths)
    assert again(paths, "7") == life.as_bytes
