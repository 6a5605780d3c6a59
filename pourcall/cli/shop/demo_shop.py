"""The demonstration's shop. A simulated furnace on a real pseudo-terminal under the ordinary daemon.

Everything but the furnace is real: driver, engine, record, API. What the operator presses goes the same way
as a person's keys.
"""

import asyncio
import contextlib
import time
from collections.abc import Callable
from dataclasses import replace
from typing import assert_never

import msgspec

from pourcall.contract import events as ev
from pourcall.contract.errors import Refused
from pourcall.contract.inputs import Command, StartMelt
from pourcall.contract.message import tell
from pourcall.contract.paths import Paths
from pourcall.contract.reading import Reading
from pourcall.contract.settings import parse_settings
from pourcall.daemon.inputs.ports import link_maker
from pourcall.daemon.inputs.sequencer import ProcessedInput
from pourcall.daemon.main import Daemon
from pourcall.sim.boards.pty_board import LockStep
from pourcall.sim.clock import SimClock
from pourcall.sim.scenarios.demo import WORKSHOP, demo_scenario
from pourcall.sim.shop import Scenario, Shop

FURNACE = "club"
SHEATHS = {"mi_3.0": "mineral_3mm", "mi_4.5": "mineral_6mm", "mi_6.0": "mineral_6mm"}
POUR_SPEED = 2.0  # a person shall have time to hear the call and press a key
FOR_EVER_S = 1e9


def settings_text(scenario: Scenario, port: str) -> str:
    """The settings of the demonstration, as a person would write them."""
    probe = scenario.probes[0]
    return f"""# Settings of the demonstration: a simulated furnace, invented data.
schema = 1

[shop]
name = "{WORKSHOP}"
demonstration = true

[furnace.{FURNACE}]
kind = "{scenario.furnace_kind}"
rating_c = 1300.0

[board.bench]
port = "{port}"
format = "pourcall"
chip = "{probe.chip}"
sample_s = {1.0 / scenario.rate_hz!r}

[probe.{probe.name}]
furnace = "{FURNACE}"
board = "bench"
channel = "{probe.channel}"
type = "{probe.tc_type}"
place = "{probe.place.value}"
sheath = "{SHEATHS[probe.sheath]}"
rating_c = 1200.0
"""


async def run_demo(
    paths: Paths,
    *,
    name: str,
    plant: str = "lumped",
    speed: float | None,
    by_hand: bool,
    stop: asyncio.Event,
    on_ready: Callable[[], None] | None = None,
) -> list[str]:
    """Run until the scenario is over (or, by hand, until `stop`); returns the numbers of the melts that ended.

    by_hand: the person at the dashboard marks pours and ends the melt; then it goes slowly from the pour call on, and
    the furnace stays there afterwards. plant: which simulated furnace. speed None: as fast as it goes.
    """
    scenario = demo_scenario(name, plant=plant)
    if by_hand:
        keys = scenario.keys - {"pour", "lift", "end"}
        scenario = replace(scenario, keys=keys, tail_s=FOR_EVER_S, limit_s=FOR_EVER_S)
    clock = SimClock(utc_s=round(time.time()))
    ended: list[str] = []

    def on_keys(commands: list[Command]) -> None:
        for command in commands:
            if isinstance(command, StartMelt):
                assert daemon.service is not None
                plan = msgspec.structs.replace(command.plan, melt=daemon.service.next_number())
                command = msgspec.structs.replace(command, plan=plan)
            sequencer.submit(command)

    step = LockStep(Shop(scenario), clock, speed=speed, on_keys=on_keys)
    text = settings_text(scenario, step.port)
    paths.settings.parent.mkdir(parents=True, exist_ok=True)
    paths.settings.write_text(text, encoding="utf-8")
    daemon = Daemon(
        parse_settings(text, where=str(paths.settings)),
        text,
        paths,
        clock=clock,
        link_for=link_maker(clock),
        consumed=step.consumed,
        simulated=True,
        speed=speed or 0.0,
    )

    def hear(kind: ev.CallKind) -> None:
        step.hear_call(kind.value)
        if by_hand and kind is ev.CallKind.POUR and speed is not None:
            step.set_speed(min(speed, POUR_SPEED))

    def on_processed(processed: ProcessedInput) -> None:
        for out in processed.outputs:
            match out:
                case ev.CallChanged():
                    if out.how is ev.CallHow.RAISED:
                        hear(out.call.kind)
                case ev.MeltEnded():
                    ended.append(out.melt)
                case (
                    Reading()
                    | ev.RecordOnly()
                    | ev.ProbeStateChanged()
                    | ev.MeltStateChanged()
                    | ev.AlarmChanged()
                    | ev.MeltStarted()
                    | ev.LinkChanged()
                    | ev.StoreChanged()
                ):
                    pass
                case _:
                    assert_never(out)

    try:
        await daemon.start()
        assert daemon.service is not None
        sequencer = daemon.service.sequencer(FURNACE)
        sequencer.subscribe(on_processed)
        if on_ready is not None:
            on_ready()
        running = asyncio.ensure_future(step.run())
        waits = {running, asyncio.ensure_future(stop.wait()), asyncio.ensure_future(daemon.ended())}
        await asyncio.wait(waits, return_when=asyncio.FIRST_COMPLETED)
        step.stop()
        for wait in waits - {running}:
            wait.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await running
    finally:
        await daemon.stop()
        await step.aclose()
    if not by_hand and not ended:
        raise Refused(tell("cli.demo.cut_short"), where=str(paths.log), remedy=tell("cli.demo.cut_short.remedy"))
    return ended
