"""The daemon's heart: builds the furnaces of a settings file, feeds their doors, starts and stops in order.

It owns no time, no file and no port: clock, recorder, links and engines are given to it (pourcall/daemon/main.py gives
the real ones, tests and simulation their own). Everything below runs on one event loop, so the order of the inputs
is one order. Links and recorder bring threads of their own; what they say is first brought onto the loop.

After a crash a melt that was running is resumed by feeding `StartMelt` with the same frozen plan as a new input of
the new session, and a note that says so. Nothing is replayed into the engine (its windows of seconds would be
stale by the time the daemon is back); the record keeps both sessions; no power is ever switched on by it.
"""

import asyncio
import contextlib
import logging
import os
import sqlite3
import threading
from collections.abc import Callable, Coroutine
from concurrent.futures import ThreadPoolExecutor
from typing import Any, Protocol, TypeVar

import msgspec

from pourcall.contract.api import ChangeRequest, CommandResult, Health, ProfileRequest, StartRequest, Trace
from pourcall.contract.clock import Clock
from pourcall.contract.errors import NotFound, Refused, StoreError
from pourcall.contract.events import AlarmChanged, AlarmState, LinkChanged, MeltEnded, MeltStarted, StoreChanged
from pourcall.contract.frames import Sample
from pourcall.contract.furnace_model import FurnaceModel
from pourcall.contract.inputs import ChangeMelt, Command, Note, RunProfile, StartMelt
from pourcall.contract.message import Message, tell
from pourcall.contract.paths import Paths
from pourcall.contract.reading import Reading
from pourcall.contract.settings import Board, Settings
from pourcall.daemon.clock import RealClock
from pourcall.daemon.lag import LagWatch
from pourcall.daemon.live_trace import LiveTrace
from pourcall.daemon.sequencer import EngineLike, InputSequencer, ProcessedInput, RecorderLike
from pourcall.daemon.sleep_blocker import WakeKeeper
from pourcall.daemon.tasks import Tasks
from pourcall.drivers.inbox import Arrival, Deliver, Inbox, Item, LinkEvent
from pourcall.planning.melt_plans import Planner

log = logging.getLogger(__name__)

TICK_S = 1.0
SLOW_LOOP_S = 2.0  # from here on a held-up loop is an alarm; below it is a log line
MOMENT_S = 10.0  # how long a thing that merely happened counts as present, so that its alarm is seen
LINKS_STOP_S = 2.0
ENTRY_PATIENCE_S = 5.0  # real seconds a later entry waits for the disk
UNHEARD = 64  # channels that are no probe, told of once each
WAITED_S = 0.25  # what waited longer for the loop than this is late by it
ENGINE_FAILURES = 2  # at so many the daemon ends in order
Answer = TypeVar("Answer")


class LinkLike(Protocol):
    """A port being read. `start` returns at once; `stop` blocks until its thread has ended."""

    def start(self) -> None: ...
    def stop(self) -> object: ...


RunningMelt = Callable[[str], StartMelt | None]  # furnace -> a melt that has no end on record, to go on; may block
Learned = Callable[[str], FurnaceModel | None]  # furnace -> what its own melts taught; may block
LinkFactory = Callable[[str, Board, Deliver], LinkLike]
EngineFactory = Callable[[Settings, str], EngineLike]
Consumed = Callable[[str, int], None]  # board, and how many of its frames have passed the doors


class Service:
    """One settings file, running. `await start()`, then `await stop()`; all calls on the loop's thread.

    engine_for: makes an engine of settings and a furnace's name. link_for: makes a link; None: no ports are opened.
    consumed: told after items of a board have passed the doors, so that simulated time may go on.
    """

    def __init__(
        self,
        settings: Settings,
        paths: Paths,
        *,
        clock: Clock,
        engine_for: EngineFactory,
        recorder: RecorderLike | None = None,
        running_melt: RunningMelt | None = None,
        learned: Learned | None = None,
        link_for: LinkFactory | None = None,
        consumed: Consumed | None = None,
        wake: WakeKeeper | None = None,
        simulated: bool = False,
        speed: float = 1.0,
    ) -> None:
        self.settings, self.paths, self.clock = settings, paths, clock
        self.recorder, self._running_melt, self._learned = recorder, running_melt, learned
        self.simulated, self.speed = simulated, speed
        self.failed: BaseException | None = None
        self.stopping = asyncio.Event()
        self._link_for, self._consumed, self._wake = link_for, consumed, wake
        self._planner = Planner(settings, paths.alloys, paths.profiles)
        self._tasks = Tasks(self._on_task_died)
        self._readers = ThreadPoolExecutor(max_workers=2, thread_name_prefix="pourcall-read")
        self._links: list[LinkLike] = []
        self._inboxes: dict[str, Inbox] = {}
        self._loop: asyncio.AbstractEventLoop | None = None
        self._store_problem = ""
        self._moments: dict[str, float] = {}  # alarm kinds that merely happened -> when they count as over
        self._engine_failures = 0
        self._publisher: Any = None
        self.doors: dict[str, InputSequencer] = {}
        self.traces: dict[str, LiveTrace] = {}
        self._heard_by: dict[str, list[InputSequencer]] = {name: [] for name in settings.board}
        self._channels: dict[tuple[str, str], list[InputSequencer]] = {}
        self._unheard: set[tuple[str, str]] = set()
        for name in settings.furnace:
            door = InputSequencer(name, engine_for(settings, name), recorder, clock, on_failure=self._on_engine_failed)
            self.doors[name] = door
            self.traces[name] = LiveTrace(name, clock.mono_s())
            door.subscribe(self._on_passed)
        for probe in settings.probe.values():
            door = self.doors[probe.furnace]
            if door not in self._heard_by[probe.board]:
                self._heard_by[probe.board].append(door)
            self._channels.setdefault((probe.board, probe.channel), []).append(door)

    # -- start and stop -------------------------------------------------------------------------------------------

    async def start(self) -> None:
        """Resume melts that ran, open the ports, begin to tick. The recorder must be running already."""
        self._loop = asyncio.get_running_loop()
        await self._resume()
        if self._link_for is not None:
            for name, board in self.settings.board.items():
                inbox = Inbox(self._wake_up)
                self._inboxes[name] = inbox
                self._links.append(self._link_for(name, board, inbox.put))
        for link in self._links:
            link.start()
        self._tasks.keep("ticks", self._ticks)
        if not self.simulated:
            watch = LagWatch(self._on_lag, RealClock().mono_s)
            self._tasks.keep("lag", watch.run)
        if self.settings.mqtt.host:
            self._start_publisher()
        log.info("started: furnaces %s, boards %s", ", ".join(self.doors), ", ".join(self.settings.board) or "none")

    async def stop(self) -> None:
        """In order: say so, close the ports, hear out what they brought, stop publishing, let the computer sleep.

        The recorder is stopped by who started it, after this; so everything said here is still recorded.
        """
        self.stopping.set()
        await self._stop_links()
        self._drain()
        for door in self.doors.values():
            door.submit(Note(text="the daemon stops in order", who="daemon"))
        if self._publisher is not None:
            await self._publisher.close()
        await self._tasks.cancel()
        if self._wake is not None:
            await self._wake.release()
        self._readers.shutdown(wait=False, cancel_futures=True)
        log.info("stopped")

    async def _stop_links(self) -> None:
        """All at once, in threads that are waited for `LINKS_STOP_S` at most: a port may be stuck in the system."""
        loop = asyncio.get_running_loop()
        ended = [asyncio.Event() for _ in self._links]

        def stop(link: LinkLike, event: asyncio.Event) -> None:
            try:
                link.stop()
            except Exception:
                log.exception("closing a port failed")
            with contextlib.suppress(RuntimeError):  # the loop is gone: it was not waited for
                loop.call_soon_threadsafe(event.set)

        for link, event in zip(self._links, ended, strict=True):
            threading.Thread(target=stop, args=(link, event), name="pourcall-unlink", daemon=True).start()
        self._links.clear()
        try:
            async with asyncio.timeout(LINKS_STOP_S):
                for event in ended:
                    await event.wait()
        except TimeoutError:
            log.error("a port does not close within %g s: left to the system", LINKS_STOP_S)

    async def _resume(self) -> None:
        if self._running_melt is None:
            return
        for name, door in self.doors.items():
            start = await self.in_thread(self._running_melt, name)
            if start is not None:
                melt = start.plan.melt
                log.warning("melt %s of %s was running when the daemon ended: resumed", melt, name)
                door.submit(Note(text=f"melt {melt} goes on after the daemon was away", who="daemon"))
                others = await self.in_thread(self._planner.halts)
                model = await self._model(name)
                door.submit(msgspec.structs.replace(start, model=model, others=others, who="daemon"))

    def _start_publisher(self) -> None:
        from pourcall.daemon.mqtt import MqttPublisher  # only here: it costs 40 ms and nobody else needs it

        real = RealClock()
        self._publisher = MqttPublisher(
            self.settings.mqtt, self.doors, real, session=int(real.utc_s()), report=self.tell
        )
        self._tasks.keep("mqtt", self._publisher.run)

    # -- what clients ask -----------------------------------------------------------------------------------------

    def door(self, furnace: str) -> InputSequencer:
        """The door of a furnace. Raises NotFound."""
        door = self.doors.get(furnace)
        if door is None:
            known = ", ".join(self.doors) or "none"
            raise NotFound(f"there is no furnace {furnace[:40]!r}", remedy=f"Furnaces here: {known}")
        return door

    def health(self) -> Health:
        """Who the daemon is, and both its times."""
        return Health(
            pid=os.getpid(),
            mono_s=self.clock.mono_s(),
            utc_s=self.clock.utc_s(),
            furnaces=tuple(self.doors),
            simulated=self.simulated,
            speed=self.speed,
            data_dir=str(self.paths.data),
        )

    async def command(self, furnace: str, command: Command) -> CommandResult:
        """A command through the furnace's door."""
        door = self.door(furnace)
        self._open()
        return await door.command(command)

    async def start_melt(self, furnace: str, request: StartRequest) -> CommandResult:
        """Look up the alloy, make the plan, give the melt its number, and start it."""
        door = self.door(furnace)
        self._open()
        running = door.snapshot().melt
        if running:
            raise Refused(
                f"melt {running} is running in {furnace}", remedy="End it first, or change it (`pourcall melt change`)"
            )
        number = self.next_number()
        plan, mind = await self.in_thread(self._planner.start, furnace, request, number)
        profile = None
        if request.profile:
            profile = await self.in_thread(self._planner.profile, furnace, request.profile, plan)
        others = await self.in_thread(self._planner.halts)
        model = await self._model(furnace)
        start = StartMelt(plan=plan, model=model, profile=profile, others=others, who=request.who)
        return _minding(await door.command(start), mind)

    async def run_profile(self, furnace: str, request: ProfileRequest) -> CommandResult:
        """Look up a profile, resolve it for the running melt, and guide by it."""
        door = self.door(furnace)
        self._open()
        plan = door.snapshot().plan
        if plan is None:
            raise Refused(f"no melt is running in {furnace}", remedy="Start one (`pourcall melt start`)")
        profile = await self.in_thread(self._planner.profile, furnace, request.profile, plan)
        return await door.command(RunProfile(profile=profile, who=request.who))

    def usual_model(self, furnace: str) -> FurnaceModel:
        """What the settings alone say of a furnace. Blocking."""
        return self._planner.usual(furnace)

    def keep(
        self, name: str, run: Callable[[], Coroutine[Any, Any, None]], hear: Callable[[ProcessedInput], None]
    ) -> None:
        """A task that lives as long as the daemon and hears what passes every door."""
        for door in self.doors.values():
            door.subscribe(hear)
        self._tasks.keep(name, run)

    async def _model(self, furnace: str) -> FurnaceModel:
        """What foresight goes by in the melt that begins: learned from this furnace's melts, or what is usual."""
        learned = None if self._learned is None else await self.in_thread(self._learned, furnace)
        return learned if learned is not None else await self.in_thread(self._planner.usual, furnace)

    async def change_melt(self, furnace: str, request: ChangeRequest) -> CommandResult:
        """Change the running melt's plan; old and new are both kept."""
        door = self.door(furnace)
        self._open()
        old = door.snapshot().plan
        if old is None:
            raise Refused(f"no melt is running in {furnace}", remedy="Start one (`pourcall melt start`)")
        plan, mind = await self.in_thread(self._planner.change, furnace, request, old)
        return _minding(await door.command(ChangeMelt(plan=plan, why=request.why, who=request.who)), mind)

    def trace(self, furnace: str, *, since_mono_s: float, points: int) -> Trace:
        """The running melt's trace, from memory."""
        return self.traces[self.door(furnace).furnace].trace(since_mono_s=since_mono_s, points=points)

    async def record(self, write: Callable[[sqlite3.Connection], Answer]) -> Answer:
        """A later entry (a result of inspection) through the one writer. Returns when it is on the disk."""
        self._open()
        if self.recorder is None:
            raise StoreError("there is no record to write to", remedy="Start the daemon with its database")
        try:
            return await asyncio.wait_for(asyncio.wrap_future(self.recorder.call(write)), ENTRY_PATIENCE_S)
        except TimeoutError:
            raise StoreError(
                "the disk does not take it now", remedy="See the alarms; look again later whether it is there"
            ) from None

    async def in_thread(self, call: Callable[..., Answer], *args: Any, **named: Any) -> Answer:
        """A blocking call in one of two reading threads."""
        return await asyncio.get_running_loop().run_in_executor(self._readers, lambda: call(*args, **named))

    def next_number(self) -> str:
        """The number the next melt gets."""
        if self.recorder is None:
            raise StoreError("there is no record to number melts from", remedy="Start the daemon with its database")
        return self.recorder.next_melt_id(self.clock.utc_s())

    def _open(self) -> None:
        if self.stopping.is_set():
            raise Refused("the daemon is stopping", remedy="Start it again")

    # -- what comes in --------------------------------------------------------------------------------------------

    def _wake_up(self) -> None:
        """From a link's thread: something waits."""
        self._call(self._drain)

    def _call(self, what: Callable[..., None], *args: Any) -> None:
        """From any thread: have the loop call `what`; nothing happens once the loop has ended."""
        if self._loop is not None:
            with contextlib.suppress(RuntimeError):
                self._loop.call_soon_threadsafe(what, *args)

    def _drain(self) -> None:
        """Everything that waits in the order of its arrival, whichever board it came from."""
        waiting = [(mono_s, name, items) for name, inbox in self._inboxes.items() for mono_s, items in inbox.drain()]
        if len(self._inboxes) > 1:
            waiting.sort(key=lambda delivery: delivery[0])
        for mono_s, board, items in waiting:
            waited_s = self.clock.mono_s() - mono_s
            for item in items:
                self._on_item(board, item, waited_s if waited_s >= WAITED_S else 0.0)
            if self._consumed is not None:
                self._consumed(board, sum(1 for item in items if isinstance(item, Arrival)))

    def _on_item(self, board: str, item: Item, waited_s: float) -> None:
        if isinstance(item, LinkEvent):
            for door in self._heard_by[board]:
                door.link(
                    board,
                    item.kind,
                    item.detail,
                    count=item.count,
                    sample_hex=item.sample_hex,
                    printable=item.printable,
                )
            return
        doors = self._heard_by[board]
        if isinstance(item.frame, Sample):
            doors = self._doors_of_channel(board, item.frame.channel)
        for door in doors:
            door.frame(board, item.frame, late_s=item.late_s + waited_s)

    def _doors_of_channel(self, board: str, channel: str) -> list[InputSequencer]:
        """Who has a probe there. Of a channel nobody has, the first sample is shown to all, and the rest dropped."""
        where = (board, channel)
        if where in self._channels:
            return self._channels[where]
        if where in self._unheard or len(self._unheard) >= UNHEARD:
            return []
        self._unheard.add(where)
        log.warning("board %s sends channel %r, which is no probe in the settings: ignored", *where)
        return self._heard_by[board]

    def on_store_state(self, problem: str, detail: str = "", waiting_rows: int = 0) -> None:
        """From the recorder's thread: how recording goes."""
        self._call(self._on_store_news, problem, detail, waiting_rows)

    def _on_store_news(self, problem: str, detail: str, waiting_rows: int) -> None:
        """Only a changed problem is an input: a StoreIn is itself recorded, and must not cause the next one."""
        if problem != self._store_problem:
            self._store_problem = problem
            for door in self.doors.values():
                door.store(problem, detail, waiting_rows)

    # -- the daemon's own troubles --------------------------------------------------------------------------------

    def tell(self, kind: str, present: bool, detail: str = "", lasted_s: float = 0.0) -> None:
        """Something about the daemon itself holds, or is over: an input of every furnace."""
        for door in self.doors.values():
            door.daemon(kind, present, detail, lasted_s)

    def report(self, kind: str, detail: str, lasted_s: float = 0.0) -> None:
        """Something about the daemon itself happened. Told once until it counts as over."""
        new = kind not in self._moments
        self._moments[kind] = self.clock.mono_s() + MOMENT_S
        if new:
            self.tell(kind, True, detail, lasted_s)

    def _on_task_died(self, name: str, err: BaseException, restarted: bool) -> None:
        self.report("task_failed", f"{name}: {type(err).__name__}: {err}")
        if not restarted:
            self._fail(err)

    def _on_engine_failed(self, furnace: str, err: Exception) -> None:
        """The engine failed on an input; it was recorded and the engine goes on, once."""
        self._engine_failures += 1
        if self._engine_failures >= ENGINE_FAILURES:
            self._fail(err)
        else:
            what = f"engine of {furnace}: {type(err).__name__}: {err}"
            asyncio.get_running_loop().call_soon(self.report, "task_failed", what)

    def _fail(self, err: BaseException) -> None:
        log.critical("the daemon ends: %s: %s", type(err).__name__, err)
        self.failed = err
        self.stopping.set()

    def _on_lag(self, kind: str, lag_s: float) -> None:
        text = "stopped as a whole" if kind == "paused" else "busy with itself"
        log.warning("the daemon was %s for %.2f s", text, lag_s)
        if lag_s >= SLOW_LOOP_S:
            self.report(kind, f"It was {text} for {lag_s:.1f} s.", lag_s if kind == "paused" else 0.0)

    async def _ticks(self) -> None:
        next_s = self.clock.mono_s()
        while True:
            next_s = max(next_s + TICK_S, self.clock.mono_s())
            await self.clock.sleep(next_s - self.clock.mono_s())
            for door in self.doors.values():
                door.tick()
            now_s = self.clock.mono_s()
            for kind in [kind for kind, until_s in self._moments.items() if until_s <= now_s]:
                del self._moments[kind]
                self.tell(kind, False)

    # -- what goes out --------------------------------------------------------------------------------------------

    def _on_passed(self, passed: ProcessedInput) -> None:
        for out in passed.outputs:
            match out:
                case Reading():
                    self.traces[passed.furnace].add(out)
                case MeltStarted():
                    log.info("%s: melt %s began", passed.furnace, out.plan.melt)
                    self.traces[passed.furnace].restart(out.mono_s, melting=True)
                    if self._wake is not None:
                        self._tasks.once("wake", self._stay_awake(passed.furnace))
                case MeltEnded():
                    log.info("%s: melt %s ended, %s", passed.furnace, out.melt, out.ending.value)
                    self.traces[passed.furnace].melting = False
                    if self._wake is not None and not any(book.melting for book in self.traces.values()):
                        self._tasks.once("wake", self._wake.release())
                case AlarmChanged(alarm=alarm) if alarm.state is AlarmState.UNACKED:
                    log.warning("%s: alarm %s: %s", passed.furnace, alarm.id, alarm.what)
                case LinkChanged():
                    log.info("%s: board %s is %s %s", passed.furnace, out.board, "up" if out.up else "down", out.detail)
                case StoreChanged():
                    log.warning("%s: recording: %s %s", passed.furnace, out.problem or "well again", out.detail)
                case _:
                    pass

    async def _stay_awake(self, furnace: str) -> None:
        assert self._wake is not None
        problem = await self._wake.hold()
        if problem:
            log.warning("%s", problem)
            self.doors[furnace].submit(Note(text=problem, who="daemon"))


def _minding(result: CommandResult, mind: tuple[Message, ...]) -> CommandResult:
    """The result with what to mind about the plan."""
    if not mind or not result.accepted:
        return result
    return msgspec.structs.replace(result, what=tell("plan.mind", what=result.what, parts=mind))
