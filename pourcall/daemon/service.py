"""One settings file, running: its furnaces, what clients ask of them, start and stop in order.

It owns no time, no file and no port: clock, recorder, links and engines are given to it (pourcall/daemon/main.py gives
the real ones, tests and simulation their own). Everything below runs on one event loop, so the order of the inputs
is one order. Links and recorder bring threads of their own; what they say is first brought onto the loop. Not here:
what the boards bring (intake.py), the daemon's own troubles (notices.py).

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
from functools import partial
from typing import Any, TypeVar, assert_never

import msgspec

from pourcall.contract import events as ev
from pourcall.contract.api import ChangeRequest, CommandResult, Health, ProfileRequest, StartRequest, Trace
from pourcall.contract.clock import Clock
from pourcall.contract.errors import NotFound, Refused, StoreError
from pourcall.contract.furnace_model import FurnaceModel
from pourcall.contract.inputs import ChangeMelt, Command, Note, RunProfile, StartMelt, StoreProblem
from pourcall.contract.message import Message, Told, tell
from pourcall.contract.paths import Paths
from pourcall.contract.plan import MeltPlan
from pourcall.contract.questions import question
from pourcall.contract.reading import Reading
from pourcall.contract.settings import Settings
from pourcall.daemon.clock import RealClock
from pourcall.daemon.inputs.intake import Consumed, Intake, LinkFactory
from pourcall.daemon.inputs.lift_plans import LiftPlans
from pourcall.daemon.inputs.live_trace import LiveTrace
from pourcall.daemon.inputs.notices import Notices
from pourcall.daemon.inputs.sequencer import EngineLike, InputSequencer, ProcessedInput, RecorderLike
from pourcall.daemon.process.lag import LagWatch
from pourcall.daemon.process.sleep_blocker import WakeKeeper
from pourcall.daemon.process.tasks import Tasks
from pourcall.planning.melt_plans import Planner
from pourcall.texts import written

log = logging.getLogger(__name__)

TICK_S = 1.0
ENTRY_PATIENCE_S = 5.0  # real seconds a later entry waits for the disk
PLAN_PATIENCE_S = 2.0  # real seconds a command's answer waits for the plan of the next lift; clients give up after 5
Answer = TypeVar("Answer")


RunningMelt = Callable[[str], StartMelt | None]  # furnace -> a melt that has no end on record, to go on; may block
Learned = Callable[[str], FurnaceModel | None]  # furnace -> what its own melts taught; may block
EngineFactory = Callable[[Settings, str], EngineLike]


class Service:
    """One settings file, running. `await start()`, then `await stop()`; all calls on the loop's thread.

    engine_for: makes an engine of settings and a furnace's name. link_for, consumed: see Intake.
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
        self.ending = threading.Event()  # the same, for what waits in a thread
        self._wake = wake
        self._planner = Planner(settings, paths.alloys, paths.profiles)
        self._readers = ThreadPoolExecutor(max_workers=2, thread_name_prefix="pourcall-read")
        self._loop: asyncio.AbstractEventLoop | None = None
        self._publisher: Any = None
        self.sequencers: dict[str, InputSequencer] = {}
        self.notices = Notices(self.sequencers, clock, self._fail)
        self.traces: dict[str, LiveTrace] = {}
        for name in settings.furnace:
            sequencer = InputSequencer(
                name, engine_for(settings, name), recorder, clock, on_failure=self.notices.engine_failed
            )
            self.sequencers[name] = sequencer
            self.traces[name] = LiveTrace(name, clock.mono_s())
            sequencer.subscribe(self._on_processed)
        self.lift_plans = LiftPlans(self.sequencers, partial(self.in_thread, self._planner.for_next_lift))
        self._intake = Intake(settings, self.sequencers, clock, self._call, link_for=link_for, consumed=consumed)
        self._tasks = Tasks(self.notices.task_died)

    # -- start and stop -------------------------------------------------------------------------------------------

    async def start(self) -> None:
        """Resume melts that ran, open the ports, begin to tick. The recorder must be running already."""
        self._loop = asyncio.get_running_loop()
        await self._resume()
        self._intake.start()
        self._tasks.keep("ticks", self._ticks)
        if not self.simulated:
            watch = LagWatch(self.notices.lagged, RealClock().mono_s)
            self._tasks.keep("lag", watch.run)
        if self.settings.mqtt.host:
            self._start_publisher()
        log.info(
            "started: furnaces %s, boards %s", ", ".join(self.sequencers), ", ".join(self.settings.board) or "none"
        )

    async def stop(self) -> None:
        """In order: say so, close the ports, hear out what they brought, stop publishing, let the computer sleep.

        The recorder is stopped by who started it, after this; so everything said here is still recorded.
        """
        self.stopping.set()
        self.ending.set()
        await self._intake.stop()
        self._intake.drain()
        for sequencer in self.sequencers.values():
            sequencer.submit(Note(text=written(tell("daemon.stops")), who="daemon"))
        if self._publisher is not None:
            await self._publisher.close()
        await self._tasks.cancel()
        if self._wake is not None:
            await self._wake.release()
        self._readers.shutdown(wait=False, cancel_futures=True)
        log.info("stopped")

    async def _resume(self) -> None:
        if self._running_melt is None:
            return
        for name, sequencer in self.sequencers.items():
            start = await self.in_thread(self._running_melt, name)
            if start is not None:
                melt = start.plan.melt
                log.warning("melt %s of %s was running when the daemon ended: resumed", melt, name)
                sequencer.submit(Note(text=written(tell("daemon.resumed", melt=melt)), who="daemon"))
                others = await self.in_thread(self._planner.halts)
                model = await self._model(name)
                sequencer.submit(msgspec.structs.replace(start, model=model, others=others, who="daemon"))

    def _start_publisher(self) -> None:
        from pourcall.daemon.mqtt import MqttPublisher  # only here: it costs 40 ms and nobody else needs it

        real = RealClock()
        self._publisher = MqttPublisher(
            self.settings.mqtt, self.sequencers, real, session=int(real.utc_s()), report=self.notices.tell
        )
        self._tasks.keep("mqtt", self._publisher.run)

    # -- what clients ask -----------------------------------------------------------------------------------------

    def sequencer(self, furnace: str) -> InputSequencer:
        """The one order of inputs of a furnace. Raises NotFound."""
        sequencer = self.sequencers.get(furnace)
        if sequencer is None:
            raise NotFound(
                tell("daemon.no_furnace", furnace=furnace[:40]),
                remedy=tell("daemon.no_furnace.remedy", furnaces=", ".join(self.sequencers) or "none"),
            )
        return sequencer

    def health(self) -> Health:
        """Who the daemon is, and both its times."""
        return Health(
            pid=os.getpid(),
            mono_s=self.clock.mono_s(),
            utc_s=self.clock.utc_s(),
            furnaces=tuple(self.sequencers),
            simulated=self.simulated,
            speed=self.speed,
            data_dir=str(self.paths.data),
        )

    async def command(self, furnace: str, command: Command) -> CommandResult:
        """A command, at its place in the order; what is doubtful about it is asked first, and nothing done."""
        sequencer = self.sequencer(furnace)
        self._open()
        if isinstance(command, StartMelt) and self.recorder is not None and self.recorder.knows_melt(command.plan.melt):
            melt = command.plan.melt
            raise Refused(tell("daemon.melt_on_record", melt=melt), remedy=tell("daemon.melt_on_record.remedy"))
        shot = sequencer.snapshot()
        asked = question(command, shot)
        if asked is not None:
            return CommandResult(
                accepted=False,
                seq=shot.seq,
                recorded=False,
                what=asked.text,
                remedy=tell("question.sure"),
                doubt=asked.doubt,
                melt=shot.melt,
            )
        result = await sequencer.command(command)
        now = sequencer.snapshot()
        newly_due = now.plan_is_of_another_lift and not shot.plan_is_of_another_lift
        if self.stopping.is_set() or not (newly_due or now.poured_earlier != shot.poured_earlier):
            return result  # what is due for another reason nobody waits for; when stopping, the next daemon plans
        planned = self._tasks.once("next lift", self.lift_plans.follow(furnace))
        await asyncio.wait({planned}, timeout=PLAN_PATIENCE_S)  # the command counts, whatever becomes of the plan
        return _with_notes(result, self.lift_plans.told(furnace, result.seq))

    async def start_melt(self, furnace: str, request: StartRequest) -> CommandResult:
        """Look up the alloy, make the plan, give the melt its number, and start it."""
        sequencer = self.sequencer(furnace)
        self._open()
        running = sequencer.snapshot().melt
        if running:
            raise Refused(
                tell("daemon.melt_runs", melt=running, furnace=furnace), remedy=tell("daemon.melt_runs.remedy")
            )
        number = self.next_number()
        plan, notes = await self.in_thread(self._planner.start, furnace, request, number)
        profile = None
        if request.profile:
            profile = await self.in_thread(self._planner.profile, furnace, request.profile, plan)
        others = await self.in_thread(self._planner.halts)
        model = await self._model(furnace)
        start = StartMelt(plan=plan, model=model, profile=profile, others=others, who=request.who)
        return _with_notes(await sequencer.command(start), notes)

    async def run_profile(self, furnace: str, request: ProfileRequest) -> CommandResult:
        """Look up a profile, resolve it for the running melt, and guide by it."""
        sequencer = self.sequencer(furnace)
        self._open()
        plan = self._running_plan(sequencer)
        profile = await self.in_thread(self._planner.profile, furnace, request.profile, plan)
        return await sequencer.command(RunProfile(profile=profile, who=request.who))

    def usual_model(self, furnace: str) -> FurnaceModel:
        """What the settings alone say of a furnace. Blocking."""
        return self._planner.usual(furnace)

    def keep(
        self, name: str, run: Callable[[], Coroutine[Any, Any, None]], hear: Callable[[ProcessedInput], None]
    ) -> None:
        """A task that lives as long as the daemon and hears every input that was processed."""
        for sequencer in self.sequencers.values():
            sequencer.subscribe(hear)
        self._tasks.keep(name, run)

    async def _model(self, furnace: str) -> FurnaceModel:
        """What foresight goes by in the melt that begins: learned from this furnace's melts, or what is usual."""
        learned = None if self._learned is None else await self.in_thread(self._learned, furnace)
        return learned if learned is not None else await self.in_thread(self._planner.usual, furnace)

    async def change_melt(self, furnace: str, request: ChangeRequest) -> CommandResult:
        """Change the running melt's plan; old and new are both kept."""
        sequencer = self.sequencer(furnace)
        self._open()
        old = begun = self._running_plan(sequencer)
        while True:
            plan, notes = await self.in_thread(self._planner.change, furnace, request, old)
            now = self._running_plan(sequencer)
            if now.melt != begun.melt:
                raise Refused(tell("daemon.melt_over", melt=begun.melt), remedy=tell("daemon.melt_over.remedy"))
            if now == old:
                break
            old = now  # another change came first: it is made from that
        return _with_notes(await sequencer.command(ChangeMelt(plan=plan, why=request.why, who=request.who)), notes)

    def _running_plan(self, sequencer: InputSequencer) -> MeltPlan:
        plan = sequencer.snapshot().plan
        if plan is None:
            raise Refused(tell("daemon.no_melt", furnace=sequencer.furnace), remedy=tell("daemon.no_melt.remedy"))
        return plan

    def trace(self, furnace: str, *, since_mono_s: float, points: int) -> Trace:
        """The running melt's trace, from memory."""
        return self.traces[self.sequencer(furnace).furnace].trace(since_mono_s=since_mono_s, points=points)

    async def record(self, write: Callable[[sqlite3.Connection], Answer]) -> Answer:
        """A later entry (a result of inspection) through the one writer. Returns when it is on the disk."""
        self._open()
        if self.recorder is None:
            raise StoreError(tell("daemon.no_record"), remedy=tell("daemon.no_record.remedy"))
        try:
            return await asyncio.wait_for(asyncio.wrap_future(self.recorder.call(write)), ENTRY_PATIENCE_S)
        except TimeoutError:
            raise StoreError(tell("daemon.disk_busy"), remedy=tell("daemon.disk_busy.remedy")) from None

    async def in_thread(self, call: Callable[..., Answer], *args: Any, **named: Any) -> Answer:
        """A blocking call in one of two reading threads."""
        return await asyncio.get_running_loop().run_in_executor(self._readers, lambda: call(*args, **named))

    def next_number(self) -> str:
        """The number the next melt gets."""
        if self.recorder is None:
            raise StoreError(tell("daemon.no_record"), remedy=tell("daemon.no_record.remedy"))
        return self.recorder.next_melt_id(self.clock.utc_s())

    def _open(self) -> None:
        if self.stopping.is_set():
            raise Refused(tell("daemon.stopping"), remedy=tell("daemon.stopping.remedy"))

    # -- what comes in from other threads, and the daemon's own ----------------------------------------------------

    def _call(self, what: Callable[..., None], *args: Any) -> None:
        """From any thread: have the loop call `what`; nothing happens once the loop has ended."""
        if self._loop is not None:
            with contextlib.suppress(RuntimeError):
                self._loop.call_soon_threadsafe(what, *args)

    def on_store_state(self, problem: StoreProblem, detail: Told = "", waiting_rows: int = 0) -> None:
        """From the recorder's thread: how recording goes."""
        self._call(self.notices.store, problem, detail, waiting_rows)

    def _fail(self, err: BaseException) -> None:
        log.critical("the daemon ends: %s: %s", type(err).__name__, err)
        self.failed = err
        self.stopping.set()

    async def _ticks(self) -> None:
        next_s = self.clock.mono_s()
        while True:
            next_s = max(next_s + TICK_S, self.clock.mono_s())
            await self.clock.sleep(next_s - self.clock.mono_s())
            for sequencer in self.sequencers.values():
                sequencer.tick()
            self.notices.tick()

    # -- what goes out --------------------------------------------------------------------------------------------

    def _on_processed(self, processed: ProcessedInput) -> None:
        furnace = processed.furnace
        if not self.stopping.is_set() and self.lift_plans.due(processed):
            self._tasks.once("next lift", self.lift_plans.follow(furnace))
        for out in processed.outputs:
            match out:
                case Reading():
                    self.traces[furnace].add(out)
                case ev.MeltStarted():
                    log.info("%s: melt %s began", furnace, out.plan.melt)
                    self.traces[furnace].restart(out.mono_s, melting=True)
                    if self._wake is not None:
                        self._tasks.once("wake", self._stay_awake(furnace))
                case ev.MeltEnded():
                    log.info("%s: melt %s ended, %s", furnace, out.melt, out.ending.value)
                    self.traces[furnace].melt_ended()
                    if self._wake is not None and not any(trace.melting for trace in self.traces.values()):
                        self._tasks.once("wake", self._wake.release())
                case ev.AlarmChanged(alarm=alarm):
                    if alarm.state is ev.AlarmState.UNACKED:
                        log.warning("%s: alarm %s: %s", furnace, alarm.id, alarm.what)
                case ev.LinkChanged():
                    log.info("%s: board %s is %s %s", furnace, out.board, "up" if out.up else "down", out.detail)
                case ev.StoreChanged():
                    log.warning("%s: recording: %s %s", furnace, out.problem or "well again", out.detail)
                case ev.RecordOnly() | ev.ProbeStateChanged() | ev.MeltStateChanged() | ev.CallChanged():
                    pass  # the record's, the screens'
                case _:
                    assert_never(out)

    async def _stay_awake(self, furnace: str) -> None:
        assert self._wake is not None
        problem = await self._wake.hold()
        if problem:
            log.warning("%s", problem)
            self.sequencers[furnace].submit(Note(text=written(problem), who="daemon"))


def _with_notes(result: CommandResult, notes: tuple[Told, ...]) -> CommandResult:
    """The result with what is to be noted about the plan."""
    if not notes or not result.accepted:
        return result
    each = tuple(note if isinstance(note, Message) else tell("daemon.note", note=note) for note in notes)
    return msgspec.structs.replace(result, what=tell("daemon.with_notes", what=result.what, notes=each))
