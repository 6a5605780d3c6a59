"""The pot comes back with moulds left, through the daemon as a caster has it: plan, record, replay and restart agree.

A real record on disk, a real recorder, a real engine; no ports: figures are those of a meter held in the metal.
"""

import asyncio
import threading
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import msgspec
import pytest

from pourcall.contract import inputs as inp
from pourcall.contract.api import ChangeRequest, CommandResult, StartRequest
from pourcall.contract.config import EngineConfig
from pourcall.contract.errors import Refused
from pourcall.contract.message import Message
from pourcall.contract.paths import Paths
from pourcall.contract.plan import MeltPlan, MouldRequest, no_aim
from pourcall.contract.settings import parse_settings
from pourcall.contract.snapshot import FurnaceSnapshot, ToDo
from pourcall.daemon import service as daemon_service
from pourcall.daemon.main import Daemon
from pourcall.daemon.service import Service
from pourcall.engine.core import Engine
from pourcall.metal.plan_checks import plan_conflicts
from pourcall.planning.melt_plans import Planner
from pourcall.records.read.journal import read_inputs
from pourcall.records.read.store import Store
from pourcall.records.read.views import LipStep
from pourcall.sim.clock import SimClock
from tests.told import names

SETTINGS = """
[board.bench]
port = "/dev/null-board"

[furnace.club]
kind = "electric"

[probe.metal]
furnace = "club"
board = "bench"
channel = "0"
place = "dip"
rating_c = 1250.0
"""
ALLOYS = {"c87300": 1180.0, "za27": 580.0, "a356": 770.0}  # and what the pot is lifted at


class Shop:
    """One furnace, and a caster at it."""

    def __init__(self, service: Service, clock: SimClock) -> None:
        self.service, self.clock = service, clock

    async def starts(self, alloy: str = "za27", count: int = 2, mass_kg: float = 0.9) -> MeltPlan:
        moulds = tuple(MouldRequest(name=f"plate {n}", mass_kg=mass_kg, thinnest_mm=12.0) for n in range(1, count + 1))
        await self.service.start_melt("club", StartRequest(alloy=alloy, charge_kg=2.0, moulds=moulds))
        await self.does(inp.MarkPower(level=inp.PowerLevel.OFF), inp.MarkSkim())
        return self.plan

    async def does(self, *commands: inp.Command) -> CommandResult:
        for command in commands:
            result = await self.service.command("club", command)
            assert result.accepted, result
        return result

    async def reads(self, temp_c: float) -> None:
        await self.does(inp.EnterTemperature(temp_c=temp_c, instrument=inp.Instrument.METER, sure=True))

    async def passes(self, seconds: float) -> None:
        await self.clock.advance(seconds)
        await self.service.lift_plans.follow("club")  # what a tick began is made in a thread

    async def pours_one_and_returns(self, alloy: str, mould: str = "") -> CommandResult:
        await self.reads(ALLOYS[alloy])
        await self.does(inp.MarkLift(sure=True))
        await self.passes(20)
        await self.does(inp.MarkPour(mould=mould, sure=True))
        await self.passes(20)
        return await self.does(inp.MarkReturn())

    @property
    def shot(self) -> FurnaceSnapshot:
        return self.service.sequencers["club"].snapshot()

    @property
    def plan(self) -> MeltPlan:
        plan = self.shot.plan
        assert plan is not None
        return plan


@asynccontextmanager
async def running(paths: Paths, clock: SimClock) -> AsyncIterator[Shop]:
    daemon = Daemon(parse_settings(SETTINGS), SETTINGS, paths, clock=clock, simulated=True)
    await daemon.start()
    try:
        assert daemon.service is not None
        yield Shop(daemon.service, clock)
    finally:
        await daemon.stop()


@pytest.fixture
async def shop(paths: Paths) -> AsyncIterator[Shop]:
    async with running(paths, SimClock()) as shop:
        yield shop


@pytest.mark.parametrize("alloy", ALLOYS)
async def test_the_second_mould_is_the_first_of_the_lift_it_is_poured_from(
    shop: Shop, paths: Paths, alloy: str
) -> None:
    before = await shop.starts(alloy)
    answered = await shop.pours_one_and_returns(alloy)
    after = shop.plan
    assert after.poured_earlier == ("plate 1",)
    assert (after.moulds[1].loss_s, after.moulds[1].turn_s) == (20.0, 20.0)
    assert after.moulds[1].loss_c < before.moulds[1].loss_c
    assert isinstance(answered.what, Message)
    assert names(answered.what) & {"plan.mind.window_moved", "plan.mind.window_now"}
    await shop.passes(300)
    await shop.reads(ALLOYS[alloy])
    await shop.does(inp.MarkLift(sure=True))
    window = shop.shot.window
    assert window is not None
    assert window.lip_now_c == pytest.approx(ALLOYS[alloy] - after.moulds[1].loss_c)
    await shop.passes(20)
    await shop.does(inp.MarkPour(sure=True))
    with Store.read(paths.database) as store:
        second = store.pour("2026-001-2")
    assert second.row.lip_temp_c == pytest.approx(ALLOYS[alloy] - after.moulds[1].loss_c, abs=0.01)
    assert (second.row.lip_min_c, second.row.lip_max_c) == (after.moulds[1].lip_min_c, after.moulds[1].lip_max_c)
    told = {name for part in second.parts if isinstance(part.text, Message) for name in names(part.text)}
    assert not told & {"lip.way.open_sooner"}
    assert LipStep.REST not in {part.what for part in second.parts}


async def test_the_new_plan_is_on_record_beside_the_old_one(shop: Shop, paths: Paths) -> None:
    await shop.starts()
    await shop.pours_one_and_returns("za27")
    with Store.read(paths.database) as store:
        plans = store.melt("2026-001").plans
    assert [row.plan.poured_earlier for row in plans] == [(), ("plate 1",)]
    assert plans[1].plan == shop.plan


async def test_a_pot_put_back_with_nothing_poured_is_planned_as_before(shop: Shop) -> None:
    before = await shop.starts()
    await shop.reads(580.0)
    await shop.does(inp.MarkLift(sure=True))
    await shop.passes(20)
    await shop.does(inp.MarkReturn())
    await shop.passes(3)
    assert shop.plan == before


async def test_a_pot_put_back_with_every_mould_poured_is_not_planned_again(shop: Shop) -> None:
    before = await shop.starts(count=1)
    await shop.pours_one_and_returns("za27")
    await shop.passes(3)
    assert shop.plan == before


async def test_a_mould_poured_out_of_order_leaves_the_others_counted_from_the_first(shop: Shop) -> None:
    await shop.starts(count=3, mass_kg=0.5)
    await shop.pours_one_and_returns("za27", mould="plate 2")
    assert shop.plan.poured_earlier == ("plate 2",)
    assert [shop.plan.moulds[index].turn_s for index in (0, 2)] == [20.0, 35.0]


async def test_with_the_pour_struck_the_order_is_as_it_was(shop: Shop) -> None:
    before = await shop.starts()
    await shop.pours_one_and_returns("za27")
    assert shop.plan != before
    await shop.does(inp.CorrectPour(number=1))
    assert shop.plan == before


async def test_a_pour_that_went_into_the_other_mould_leaves_the_first_for_the_next_lift(shop: Shop) -> None:
    await shop.starts()
    await shop.pours_one_and_returns("za27")
    await shop.does(inp.CorrectPour(number=1, mould="plate 2"))
    assert shop.plan.poured_earlier == ("plate 2",)
    assert shop.plan.moulds[0].turn_s == 20.0


async def test_a_pour_told_after_the_pot_was_back_is_of_the_lift_it_was_made_from(shop: Shop) -> None:
    before = await shop.starts(count=3, mass_kg=0.5)
    await shop.pours_one_and_returns("za27")
    lift_s = shop.shot.pours[0].lift_mono_s
    assert lift_s is not None
    ago_s = shop.shot.mono_s - (lift_s + 35.0)
    await shop.does(inp.MarkPour(ago_s=ago_s, sure=True))
    second = shop.shot.pours[-1]
    assert (second.mould, second.lift_mono_s) == ("plate 2", lift_s)
    assert second.lip_temp_c == pytest.approx(580.0 - before.moulds[1].loss_c, abs=0.01)
    assert shop.plan.poured_earlier == ("plate 1", "plate 2")
    assert shop.plan.moulds[2].turn_s == 20.0


async def test_a_return_that_was_none_gives_the_order_back(shop: Shop) -> None:
    before = await shop.starts()
    await shop.pours_one_and_returns("za27")
    lift_s = shop.shot.pours[0].lift_mono_s
    assert lift_s is not None
    await shop.does(inp.MarkLift(ago_s=shop.shot.mono_s - lift_s, sure=True))
    assert shop.plan == before


async def test_a_lift_that_nobody_took_back_is_over_after_a_quarter_of_an_hour(shop: Shop) -> None:
    await shop.starts()
    await shop.reads(580.0)
    await shop.does(inp.MarkLift(sure=True))
    await shop.passes(20)
    await shop.does(inp.MarkPour(sure=True))
    await shop.passes(600)
    assert not shop.plan.poured_earlier
    await shop.passes(301)
    assert list(shop.plan.poured_earlier) == ["plate 1"]
    assert shop.plan.moulds[1].turn_s == 20.0


async def test_a_change_after_the_return_does_not_bring_the_old_turn_back(shop: Shop) -> None:
    await shop.starts()
    await shop.pours_one_and_returns("za27")
    await shop.service.change_melt("club", ChangeRequest(charge_kg=2.2))
    await shop.passes(2)
    assert (shop.plan.charge_kg, shop.plan.moulds[1].turn_s) == (2.2, 20.0)


@pytest.mark.parametrize("lifted", [False, True])
async def test_the_daemon_started_again_in_between_goes_on_with_the_plan_of_the_lift(
    paths: Paths, *, lifted: bool
) -> None:
    clock = SimClock()
    async with running(paths, clock) as shop:
        await shop.starts(count=3, mass_kg=0.5)
        await shop.pours_one_and_returns("za27")
        if lifted:
            await shop.reads(580.0)
            await shop.does(inp.MarkLift(sure=True))
            await shop.passes(20)
            await shop.does(inp.MarkPour(sure=True))
        plan = shop.plan
    await clock.advance(30.0)
    async with running(paths, clock) as shop:
        await shop.passes(3)
        assert shop.shot.moulds_left == (("plate 3",) if lifted else ("plate 2", "plate 3"))
        assert shop.plan == plan
        assert not shop.shot.plan_is_of_another_lift
        if lifted:
            await shop.does(inp.MarkReturn())
            assert shop.plan.poured_earlier == ("plate 1", "plate 2")
            assert shop.plan.moulds[2].turn_s == 20.0


async def test_the_record_replayed_has_the_same_plan_and_the_same_figures(shop: Shop, paths: Paths) -> None:
    await shop.starts("c87300")
    await shop.pours_one_and_returns("c87300")
    await shop.reads(1180.0)
    await shop.does(inp.MarkLift(sure=True))
    await shop.passes(20)
    await shop.does(inp.MarkPour(sure=True))
    with Store.read(paths.database) as store:
        with store.reading() as conn:
            (body,) = conn.execute(
                "SELECT t.body FROM sessions s JOIN texts t ON t.hash = s.config_hash ORDER BY s.id LIMIT 1"
            ).fetchone()
        engine = Engine(msgspec.json.decode(body, type=EngineConfig))
        for session in store.sessions():
            for item in read_inputs(store, session.id):
                engine.handle(item)
    shot = engine.snapshot()
    assert (shot.plan, shot.pours) == (shop.plan, shop.shot.pours)


async def test_a_sheet_that_is_gone_meanwhile_is_said_and_the_pour_goes_on(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    from pourcall.contract.errors import NotFound
    from pourcall.contract.message import tell

    def gone(*_: object) -> None:
        raise NotFound(tell("daemon.no_record"))

    before = await shop.starts()
    monkeypatch.setattr(Planner, "_sheet", gone)
    answered = await shop.pours_one_and_returns("za27")
    assert isinstance(answered.what, Message)
    assert "daemon.order_not_counted" in names(answered.what)
    assert (shop.plan.moulds, shop.plan.poured_earlier) == (before.moulds, ("plate 1",))
    await shop.passes(3)
    assert shop.shot.instruction.todo is not ToDo.START


@pytest.mark.parametrize("error", [OSError("the disk of the sheets is gone"), RuntimeError("no thread"), KeyError("x")])
async def test_no_trouble_of_planning_makes_an_error_of_a_command_that_counted(
    shop: Shop, monkeypatch: pytest.MonkeyPatch, error: Exception
) -> None:
    def fails(*_: object) -> None:
        raise error

    before = await shop.starts()
    monkeypatch.setattr(Planner, "_sheet", fails)
    answered = await shop.pours_one_and_returns("za27")
    assert isinstance(answered.what, Message)
    assert "daemon.order_not_counted" in names(answered.what)
    assert (shop.plan.moulds, shop.plan.poured_earlier) == (before.moulds, ("plate 1",))
    assert not shop.shot.plan_is_of_another_lift  # nor is it tried each second


async def test_no_answer_waits_long_for_a_plan_and_none_for_that_of_another_command(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    go_on, sheet = threading.Event(), Planner._sheet

    def slow(planner: Planner, alloy: str) -> object:
        go_on.wait(10.0)
        return sheet(planner, alloy)

    await shop.starts()
    monkeypatch.setattr(Planner, "_sheet", slow)
    try:
        monkeypatch.setattr(daemon_service, "PLAN_PATIENCE_S", 0.05, raising=False)
        async with asyncio.timeout(2.0):
            returned = await shop.pours_one_and_returns("za27")
        assert returned.accepted
        assert shop.shot.plan_is_of_another_lift
        monkeypatch.setattr(daemon_service, "PLAN_PATIENCE_S", 10.0, raising=False)
        async with asyncio.timeout(2.0):
            await shop.does(inp.AckAlarm(), inp.MarkPower(level=inp.PowerLevel.LOW), inp.Note(text="dross was wet"))
        assert shop.shot.plan_is_of_another_lift
    finally:
        go_on.set()
    await shop.passes(2)
    assert shop.plan.poured_earlier == ("plate 1",)
    assert shop.plan.moulds[1].turn_s == 20.0


async def test_a_daemon_that_stops_leaves_the_plan_to_the_next(paths: Paths, monkeypatch: pytest.MonkeyPatch) -> None:
    clock = SimClock()
    async with running(paths, clock) as shop:
        before = await shop.starts()
        sequencer, service = shop.service.sequencers["club"], shop.service
        confirmed = sequencer.confirmed

        async def stops_meanwhile(ticket: int) -> tuple[bool, Message]:
            if shop.shot.poured_earlier:
                service.stopping.set()
                service._readers.shutdown(wait=False, cancel_futures=True)
            return await confirmed(ticket)

        monkeypatch.setattr(sequencer, "confirmed", stops_meanwhile)
        answered = await shop.pours_one_and_returns("za27")
        assert answered.accepted
        assert shop.plan == before
    await clock.advance(10.0)
    async with running(paths, clock) as shop:
        await shop.passes(3)
        assert shop.plan.poured_earlier == ("plate 1",)
        assert shop.plan.moulds[1].turn_s == 20.0


async def test_a_mould_that_wanted_a_lift_of_its_own_has_an_aim_in_it_though_its_sheet_is_gone(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    def gone(*_: object) -> None:
        raise OSError("the disk of the sheets is gone")

    moulds = tuple(MouldRequest(name=f"plate {n}", mass_kg=0.5, thinnest_mm=3.0) for n in (1, 2, 3))
    await shop.service.start_melt("club", StartRequest(alloy="c87300", charge_kg=2.5, moulds=moulds))
    await shop.does(inp.MarkPower(level=inp.PowerLevel.OFF), inp.MarkSkim())
    before = shop.plan
    assert [no_aim(mould, before) is None for mould in before.moulds] == [True, False, False]
    planner = Planner(parse_settings(SETTINGS), None)
    wanted = planner.for_next_lift("club", before, ("plate 1",))[0].moulds[1]
    monkeypatch.setattr(Planner, "_sheet", gone)
    await shop.pours_one_and_returns("c87300")
    plan, second = shop.plan, shop.plan.moulds[1]
    assert no_aim(second, plan) is None
    assert second.loss_c == pytest.approx(wanted.loss_c, abs=0.1)
    assert second.loss_u_c == pytest.approx(wanted.loss_u_c, 0.02)
    assert (second.loss_s, second.turn_s, second.lip_min_c) == (wanted.loss_s, wanted.turn_s, wanted.lip_min_c)
    assert no_aim(plan.moulds[2], plan) is not None  # it would wait for the second
    assert plan_conflicts(plan)
    await shop.passes(300)
    await shop.pours_one_and_returns("c87300")
    assert shop.shot.moulds_left == ("plate 3",)
    assert no_aim(shop.plan.moulds[2], shop.plan) is None
    assert shop.plan.moulds[2].loss_s == wanted.loss_s


@asynccontextmanager
async def held_up(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> AsyncIterator["asyncio.Task[CommandResult]"]:
    """A change of the charge that a person asked for, its plan not made until the block is left."""
    loop, sheet = asyncio.get_running_loop(), Planner._sheet
    begun, go_on, asked = asyncio.Event(), threading.Event(), []

    def first_is_slow(planner: Planner, alloy: str) -> object:
        asked.append(alloy)
        if len(asked) == 1:
            loop.call_soon_threadsafe(begun.set)
            go_on.wait(10.0)
        return sheet(planner, alloy)

    monkeypatch.setattr(Planner, "_sheet", first_is_slow)
    change = asyncio.create_task(shop.service.change_melt("club", ChangeRequest(charge_kg=2.2)))
    try:
        await begun.wait()
        yield change
    finally:
        go_on.set()


async def test_a_change_asked_for_while_the_pot_came_back_is_made_from_the_plan_of_the_next_lift(
    shop: Shop, paths: Paths, monkeypatch: pytest.MonkeyPatch
) -> None:
    await shop.starts()
    async with held_up(shop, monkeypatch) as change:
        await shop.pours_one_and_returns("za27")
        assert shop.plan.poured_earlier == ("plate 1",)
    assert (await change).accepted
    assert (shop.plan.charge_kg, shop.plan.poured_earlier) == (2.2, ("plate 1",))
    assert shop.plan.moulds[1].turn_s == 20.0
    with Store.read(paths.database) as store:
        plans = store.melt("2026-001").plans
    assert [row.plan.poured_earlier for row in plans] == [(), ("plate 1",), ("plate 1",)]


async def test_a_change_of_a_melt_that_ended_meanwhile_changes_no_other(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    await shop.starts()
    async with held_up(shop, monkeypatch) as change:
        await shop.does(inp.EndMelt(ending=inp.MeltEnding.ABANDONED, sure=True))
        second = await shop.starts("a356")
    with pytest.raises(Refused):
        await change
    assert shop.plan == second
