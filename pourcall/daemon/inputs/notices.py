"""The daemon's own troubles, as inputs of every furnace: what holds until it is over, and what merely happened.

In: how recording goes, tasks that died, an engine that failed, a loop that was held up. The second failure of the
same kind ends the daemon in order, so that whatever supervises it can start afresh (fault P2).
"""

import asyncio
import logging
from collections.abc import Callable, Mapping

from pourcall.contract.clock import Clock
from pourcall.contract.inputs import DaemonTrouble, StoreProblem
from pourcall.contract.message import Told, tell
from pourcall.daemon.inputs.sequencer import InputSequencer

log = logging.getLogger(__name__)

MOMENT_S = 10.0  # how long a thing that merely happened counts as present, so that its alarm is seen
SLOW_LOOP_S = 2.0  # from here on a held-up loop is an alarm; below it is a log line
ENGINE_FAILURES = 2  # at so many the daemon ends in order


class Notices:
    """Call from the event loop's thread. `on_fatal`: has the daemon end."""

    def __init__(
        self, sequencers: Mapping[str, InputSequencer], clock: Clock, on_fatal: Callable[[BaseException], None]
    ) -> None:
        self._sequencers, self._clock, self._on_fatal = sequencers, clock, on_fatal
        self._store_problem = StoreProblem.NONE
        self._until_s: dict[DaemonTrouble, float] = {}  # kinds that merely happened -> when they count as over
        self._engine_failures = 0

    def tell(self, kind: DaemonTrouble, present: bool, detail: Told = "", lasted_s: float = 0.0) -> None:
        """Something about the daemon itself holds, or is over."""
        for sequencer in self._sequencers.values():
            sequencer.daemon(kind, present, detail, lasted_s)

    def report(self, kind: DaemonTrouble, detail: Told, lasted_s: float = 0.0) -> None:
        """Something about the daemon itself happened. Said once until it counts as over."""
        new = kind not in self._until_s
        self._until_s[kind] = self._clock.mono_s() + MOMENT_S
        if new:
            self.tell(kind, True, detail, lasted_s)

    def tick(self) -> None:
        """What merely happened is over after a while."""
        now_s = self._clock.mono_s()
        for kind in [kind for kind, until_s in self._until_s.items() if until_s <= now_s]:
            del self._until_s[kind]
            self.tell(kind, False)

    def store(self, problem: StoreProblem, detail: Told, waiting_rows: int) -> None:
        """Only a changed problem is an input: a StoreIn is itself recorded, and must not cause the next one."""
        if problem != self._store_problem:
            self._store_problem = problem
            for sequencer in self._sequencers.values():
                sequencer.store(problem, detail, waiting_rows)

    def task_died(self, name: str, err: BaseException, restarted: bool) -> None:
        """One of the daemon's own tasks."""
        self.report(
            DaemonTrouble.TASK_FAILED, tell("daemon.task_failed", task=name, error=f"{type(err).__name__}: {err}")
        )
        if not restarted:
            self._on_fatal(err)

    def engine_failed(self, furnace: str, err: Exception) -> None:
        """The engine failed on an input; it was recorded and the engine goes on, once."""
        self._engine_failures += 1
        if self._engine_failures >= ENGINE_FAILURES:
            self._on_fatal(err)
        else:
            what = tell("daemon.engine_failed", furnace=furnace, error=f"{type(err).__name__}: {err}")
            asyncio.get_running_loop().call_soon(self.report, DaemonTrouble.TASK_FAILED, what)

    def lagged(self, kind: DaemonTrouble, lag_s: float) -> None:
        """The loop came back late: PAUSED or LOOP_SLOW."""
        paused = kind is DaemonTrouble.PAUSED
        log.warning("the daemon was %s for %.2f s", "stopped as a whole" if paused else "busy with itself", lag_s)
        if lag_s >= SLOW_LOOP_S:
            self.report(kind, tell("daemon.lasted", lasted_s=lag_s), lag_s if paused else 0.0)
