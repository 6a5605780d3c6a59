"""The service with links of the test's making: who hears what, in what order, and how it starts and ends."""

import asyncio
import threading
from collections.abc import AsyncIterator
from typing import Any

import pytest

from pourcall.contract.api import ChangeRequest, StartRequest
from pourcall.contract.errors import NotFound, Refused
from pourcall.contract.frames import BoardStatus, RawKind, Sample
from pourcall.contract.inputs import (
    BoardStatusIn,
    CommandIn,
    DaemonIn,
    DaemonTrouble,
    EndMelt,
    LinkIn,
    LinkKind,
    MeltEnding,
    Note,
    SampleIn,
    StartMelt,
    StoreIn,
    StoreProblem,
    TickIn,
)
from pourcall.contract.message import Message, tell
from pourcall.contract.paths import Paths
from pourcall.contract.plan import MeltPlan, MouldRequest
from pourcall.contract.settings import Settings, parse_settings
from pourcall.daemon.service import Service
from pourcall.drivers.inbox import Arrival, Deliver, LinkEvent
from pourcall.texts import say
from tests.told import names, refused, said

TWO_FURNACES = """
[board.bench]
port = "one"
[board.shelf]
port = "two"
[furnace.crucible]
transfer_loss_c = 22.0
[furnace.kettle]
[probe.a]
furnace = "crucible"
board = "bench"
channel = "0"
[probe.b]
furnace = "kettle"
board = "bench"
channel = "1"
[probe.c]
furnace = "kettle"
board = "shelf"
channel = "0"
"""


def sample(channel: str = "0", temp_c: float = 512.0) -> Arrival:
    return Arrival(Sample(channel=channel, raw_kind=RawKind.ITS90_C, raw_value=temp_c))


class HandLink:
    """A link that delivers what the test gives it."""

    def __init__(self, deliver: Deliver) -> None:
        self.deliver, self.state = deliver, "made"

    def start(self) -> None:
        self.state = "started"

    def stop(self) -> None:
        self.state = "stopped"


class Bench:
    """A service, its engines and its links by name."""

    def __init__(self, settings: Settings, paths: Paths, clock: Any, small: Any, disk: Any, **named: Any) -> None:
        self.engines: dict[str, Any] = {}
        self.links: dict[str, HandLink] = {}
        self.clock, self.disk = clock, disk

        def engine_for(_: Settings, furnace: str) -> Any:
            return self.engines.setdefault(furnace, small(furnace))

        def link_for(name: str, _: object, deliver: Deliver) -> HandLink:
            return self.links.setdefault(name, HandLink(deliver))

        self.service = Service(
            settings, paths, clock=clock, engine_for=engine_for, recorder=disk, link_for=link_for, **named
        )

    async def give(self, board: str, *items: Any, mono_s: float | None = None) -> None:
        self.links[board].deliver(self.clock.mono_s() if mono_s is None else mono_s, items)
        await asyncio.sleep(0)
        await asyncio.sleep(0)


@pytest.fixture
async def bench(paths: Paths, clock: Any, engine: Any, slow_disk: Any) -> AsyncIterator[Bench]:
    made = Bench(parse_settings(TWO_FURNACES), paths, clock, type(engine), slow_disk())
    await made.service.start()
    yield made
    if not made.service.stopping.is_set() or made.links["bench"].state != "stopped":
        await made.service.stop()


async def test_a_sample_goes_to_the_furnace_whose_probe_it_is(bench: Bench) -> None:
    await bench.give("bench", sample("0", 500.0), sample("1", 700.0))
    await bench.give("shelf", sample("0", 90.0))
    assert [item.sample.raw_value for item in bench.engines["crucible"].of(SampleIn)] == [500.0]
    assert [item.sample.raw_value for item in bench.engines["kettle"].of(SampleIn)] == [700.0, 90.0]


async def test_what_happens_to_a_board_goes_to_every_furnace_that_listens_to_it(bench: Bench) -> None:
    status = Arrival(BoardStatus(board_seq=1, board_ms=2, boot=1, output=0, applied_permille=0, ttl_left_ms=0))
    await bench.give("bench", LinkEvent(LinkKind.CLOSED, "unplugged"), status)
    await bench.give("shelf", LinkEvent(LinkKind.OPENED))
    for furnace, links in (("crucible", 1), ("kettle", 2)):
        assert len(bench.engines[furnace].of(LinkIn)) == links
        assert len(bench.engines[furnace].of(BoardStatusIn)) == 1


async def test_deliveries_of_two_boards_pass_in_the_order_of_their_arrival(bench: Bench) -> None:
    now_s = bench.clock.mono_s()
    bench.links["shelf"].deliver(now_s - 0.01, [sample("0", 1.0)])
    await bench.give("bench", sample("1", 2.0), mono_s=now_s - 0.02)
    assert [item.sample.raw_value for item in bench.engines["kettle"].of(SampleIn)] == [2.0, 1.0]


async def test_a_channel_that_is_no_probe_is_shown_once_and_then_dropped(bench: Bench) -> None:
    for _ in range(5):
        await bench.give("bench", sample("7"))
    assert [len(bench.engines[name].of(SampleIn)) for name in ("crucible", "kettle")] == [1, 1]


async def test_what_waited_for_a_held_up_loop_is_late_by_the_wait(bench: Bench) -> None:
    await bench.give("bench", sample("0"), mono_s=bench.clock.mono_s() - 5.0)
    assert bench.engines["crucible"].of(SampleIn)[0].late_s == 5.0


async def test_every_furnace_ticks_once_a_second(bench: Bench) -> None:
    await bench.clock.advance(10.0)
    assert [len(bench.engines[name].of(TickIn)) for name in ("crucible", "kettle")] == [10, 10]


async def test_a_failing_disk_is_one_input_a_furnace_and_never_its_own_echo(bench: Bench) -> None:
    def failing_disk_says(*_: object) -> None:
        bench.service.on_store_state(StoreProblem.FULL, "no room", 10)

    for sequencer in bench.service.sequencers.values():
        sequencer.subscribe(lambda passed: failing_disk_says() if passed.item.seq < 50 else None)
    failing_disk_says()
    for _ in range(20):
        await asyncio.sleep(0)
    assert [item.problem for item in bench.engines["crucible"].of(StoreIn)] == ["store_full"]
    bench.service.on_store_state(StoreProblem.NONE, "recording again")
    for _ in range(5):
        await asyncio.sleep(0)


async def test_consumed_counts_the_frames_that_passed(
    paths: Paths, settings: Settings, clock: Any, engine: Any, slow_disk: Any
) -> None:
    told: list[tuple[str, int]] = []
    bench = Bench(
        settings, paths, clock, type(engine), slow_disk(), consumed=lambda board, count: told.append((board, count))
    )
    await bench.service.start()
    await bench.give("bench", LinkEvent(LinkKind.OPENED), sample(), sample())
    await bench.service.stop()
    assert told == [("bench", 2)]


async def test_a_melt_is_planned_from_the_sheet_the_furnace_and_the_request(bench: Bench) -> None:
    request = StartRequest(
        alloy="ZA-27",
        charge_kg=1.5,
        moulds=(
            MouldRequest(name="cleat 1", mass_kg=0.4),
            MouldRequest(name="cleat 2", mass_kg=0.4, lip_min_c=520.0, lip_max_c=560.0, loss_c=30.0),
        ),
        who="deck crew",
    )
    result = await bench.service.start_melt("crucible", request)
    assert (result.accepted, result.recorded, result.melt) == (True, True, "2026-001")
    began = bench.engines["crucible"].of(CommandIn)[0].command
    assert isinstance(began, StartMelt)
    assert (began.who, began.plan.alloy.key) == ("deck crew", "za27")
    # The furnace's own loss counts where the request has none; what the shop learned counts as given.
    assert [mould.loss_c for mould in began.plan.moulds] == [22.0, 30.0]
    assert (began.plan.moulds[1].lip_min_c, began.plan.moulds[1].lip_max_c) == (520.0, 560.0)
    assert {limit.whose for limit in began.plan.limits} >= {"alloy", "pot", "probe"}
    assert bench.service.traces["crucible"].melting


async def test_a_second_melt_in_the_same_furnace_is_refused_and_an_unknown_alloy_named(bench: Bench) -> None:
    with pytest.raises(NotFound, match="unobtainium"):
        await bench.service.start_melt("crucible", StartRequest(alloy="unobtainium", charge_kg=1.0))
    await bench.service.start_melt("crucible", StartRequest(alloy="za27", charge_kg=1.0))
    with refused(Refused, "daemon.melt_runs", melt="2026-001"):
        await bench.service.start_melt("crucible", StartRequest(alloy="za27", charge_kg=1.0))
    with pytest.raises(NotFound) as oven:
        await bench.service.start_melt("oven", StartRequest(alloy="za27", charge_kg=1.0))
    assert oven.value.remedy == tell("daemon.no_furnace.remedy", furnaces="crucible, kettle")


async def test_a_charge_nobody_gave_is_assumed_and_said(bench: Bench) -> None:
    result = await bench.service.start_melt("crucible", StartRequest(alloy="za27"))
    assert isinstance(result.what, Message)
    assert result.what.name == "daemon.with_notes"
    assert "plan.mind.charge_assumed" in names(result.what)


async def test_a_change_keeps_what_it_does_not_name(bench: Bench) -> None:
    moulds = (MouldRequest(name="cleat", mass_kg=0.4, lip_min_c=520.0, lip_max_c=560.0),)
    await bench.service.start_melt("crucible", StartRequest(alloy="za27", charge_kg=1.5, moulds=moulds))
    await bench.service.change_melt("crucible", ChangeRequest(charge_kg=1.2, why="one cleat less"))
    changed = bench.engines["crucible"].of(CommandIn)[-1].command
    assert (changed.plan.melt, changed.plan.charge_kg, changed.why) == ("2026-001", 1.2, "one cleat less")
    assert (changed.plan.moulds[0].lip_min_c, changed.plan.moulds[0].loss_c) == (520.0, 22.0)
    with refused(Refused, "daemon.no_melt", furnace="kettle"):
        await bench.service.change_melt("kettle", ChangeRequest(charge_kg=1.2))


async def test_a_melt_that_ran_when_the_daemon_died_goes_on_with_the_same_plan(
    paths: Paths, settings: Settings, clock: Any, engine: Any, slow_disk: Any, plan: MeltPlan
) -> None:
    bench = Bench(
        settings, paths, clock, type(engine), slow_disk(), running_melt={"crucible": StartMelt(plan=plan)}.get
    )
    await bench.service.start()
    note, start = (item.command for item in bench.engines["crucible"].of(CommandIn))
    assert isinstance(note, Note)
    assert note.text == said("daemon.resumed", melt="2026-001")
    assert isinstance(start, StartMelt)
    assert (start.plan, start.who) == (plan, "daemon")
    assert start.model is not None  # what is usual: nothing was learned of this furnace
    assert start.others
    assert bench.service.sequencer("crucible").snapshot().melt == "2026-001"
    await bench.service.stop()


async def test_an_engine_that_fails_once_goes_on_and_twice_ends_the_daemon(bench: Bench) -> None:
    engine = bench.engines["crucible"]
    engine.fail_on = SampleIn
    await bench.give("bench", sample())
    engine.fail_on = None
    told = [(item.kind, item.present) for item in engine.of(DaemonIn)]
    assert (told, bench.service.stopping.is_set()) == ([("task_failed", True)], False)
    engine.fail_on = SampleIn
    await bench.give("bench", sample())
    assert bench.service.stopping.is_set()
    assert isinstance(bench.service.failed, RuntimeError)


async def test_what_merely_happened_is_told_once_and_is_over_by_itself(bench: Bench) -> None:
    for _ in range(3):
        bench.service.notices.report(DaemonTrouble.COMMAND_REJECTED, "nonsense")
    await bench.clock.advance(12.0)
    told = [(item.kind, item.present) for item in bench.engines["crucible"].of(DaemonIn)]
    assert told == [("command_rejected", True), ("command_rejected", False)]


async def test_a_stop_closes_the_ports_hears_them_out_and_refuses_new_commands(bench: Bench) -> None:
    bench.links["bench"].deliver(bench.clock.mono_s(), [sample()])
    await bench.service.stop()
    assert {link.state for link in bench.links.values()} == {"stopped"}
    engine = bench.engines["crucible"]
    assert len(engine.of(SampleIn)) == 1
    assert engine.items[-1].command.text == say(tell("daemon.stops"))
    with refused(Refused, "daemon.stopping"):
        await bench.service.command("crucible", EndMelt(ending=MeltEnding.HEEL))


async def test_a_port_that_does_not_close_does_not_hold_up_the_stop(bench: Bench, monkeypatch: Any) -> None:
    let_go, closed = threading.Event(), threading.Event()

    def stuck() -> None:
        let_go.wait(60.0)
        closed.set()

    monkeypatch.setattr("pourcall.daemon.inputs.intake.STOP_S", 0.1)
    monkeypatch.setattr(bench.links["bench"], "stop", stuck)
    await bench.service.stop()
    assert not closed.is_set()
    assert bench.links["shelf"].state == "stopped"
    bench.links["bench"].state = "stopped"
    let_go.set()
