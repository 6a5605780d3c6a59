"""The whole daemon in lock-step with the simulator: real pty, real link thread, real record, simulated time."""

import sys

import pytest

from pourcall.contract.events import AlarmChanged, CallChanged
from pourcall.contract.inputs import Command
from pourcall.contract.paths import Paths
from pourcall.contract.settings import parse_settings
from pourcall.daemon.inputs.ports import link_maker
from pourcall.daemon.inputs.sequencer import ProcessedInput
from pourcall.daemon.main import Daemon
from pourcall.records.read.store import Store
from pourcall.sim.boards.pty_board import LockStep
from pourcall.sim.clock import SimClock
from pourcall.sim.scenarios.demo import demo_scenario
from pourcall.sim.shop import Shop

if sys.platform == "win32":
    pytest.skip("pseudo-terminals are missing here", allow_module_level=True)


async def test_a_whole_melt_runs_faster_than_life_and_no_time_out_is_faked(paths: Paths) -> None:
    clock = SimClock()
    scenario = demo_scenario("cleats_left_in")
    alarms: list[AlarmChanged] = []
    daemon: Daemon | None = None

    def press(keys: list[Command]) -> None:
        assert daemon is not None
        assert daemon.service is not None
        for command in keys:
            daemon.service.sequencer("crucible").submit(command)

    step = LockStep(Shop(scenario), clock, on_keys=press)

    def hear(passed: ProcessedInput) -> None:
        for out in passed.outputs:
            if isinstance(out, AlarmChanged):
                alarms.append(out)
            elif isinstance(out, CallChanged) and out.how == "raised":
                step.hear_call(out.call.kind)

    text = (
        f'[board.bench]\nport = "{step.port}"\nsample_s = {1 / scenario.rate_hz}\nchip = "max31855"\n'
        f'[furnace.crucible]\n[probe.{scenario.probes[0].name}]\nfurnace = "crucible"\nboard = "bench"\n'
    )
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
        assert daemon.service.health().simulated
        daemon.service.sequencer("crucible").subscribe(hear)
        await step.run()
    finally:
        await daemon.stop()
        await step.aclose()
    assert step.impatient_steps == 0
    assert [alarm.alarm.id for alarm in alarms] == []  # promise 5 of the fault catalogue: a normal melt shows none
    with Store.read(paths.database) as store:
        (melt,) = store.melts()
        assert (melt.ending, melt.pours) == ("poured", 2)
