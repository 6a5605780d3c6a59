"""After each melt its furnace is learned anew, in a process of its own; the next melt begins with what it found.

In: the events of every furnace, the record. Out: a row of the record, a line in the log. A melt that runs keeps the
model it began with. Where numpy and scipy are missing, or a melt teaches nothing, the log says so and all goes on as
before.
"""

import asyncio
import logging
import tempfile
from collections.abc import Awaitable, Callable
from typing import Any

import msgspec

from pourcall.contract.clock import Clock
from pourcall.contract.errors import PourcallError
from pourcall.contract.events import MeltEnded
from pourcall.contract.furnace_model import FurnaceModel
from pourcall.contract.message import tell
from pourcall.daemon import apart
from pourcall.daemon.inputs.sequencer import ProcessedInput, RecorderLike
from pourcall.furnace.training import Fitted, Job
from pourcall.furnace.worker import COMMAND, MOST_S, answer, too_long
from pourcall.records.entries.furnace_models import job_for, keep_model
from pourcall.records.read.store import Store

log = logging.getLogger(__name__)

SETTLE_S = 15.0  # until the last readings of the melt are in the record

Fit = Callable[[Job], Awaitable[Fitted]]
InThread = Callable[..., Awaitable[Any]]  # a blocking call and its arguments


async def fit_apart(job: Job) -> Fitted:
    """Fit in a process of low priority. Raises as worker.answer does; a cancelled wait ends the process."""
    try:
        return await _fit_apart(job)
    except OSError as err:  # no room for its files, no process to be had: no reason for the daemon to end
        raise PourcallError(
            tell("daemon.learning_failed", error=str(err)), remedy=tell("daemon.learning_failed.remedy")
        ) from err


async def _fit_apart(job: Job) -> Fitted:
    with tempfile.TemporaryFile() as given, tempfile.TemporaryFile() as out, tempfile.TemporaryFile() as err:
        given.write(msgspec.json.encode(job))
        given.seek(0)
        process = apart.start(COMMAND, stdin=given, stdout=out, stderr=err)
        try:
            in_time = await apart.ended(process, MOST_S)
        finally:
            apart.end(process)
        if not in_time:
            raise too_long()
        out.seek(0)
        err.seek(0)
        return answer(process.returncode, out.read(), err.read())


class Learner:
    """Watches every furnace; `run` is a task of the daemon's."""

    def __init__(
        self,
        store: Store,
        recorder: RecorderLike,
        usual: Callable[[str], FurnaceModel],
        clock: Clock,
        in_thread: InThread,
        *,
        fit: Fit = fit_apart,
        settle_s: float = SETTLE_S,
    ) -> None:
        """usual: what the settings say of a furnace, the prior of every fit."""
        self._store, self._recorder, self._usual, self._clock = store, recorder, usual, clock
        self._in_thread, self._fit, self._settle_s = in_thread, fit, settle_s
        self._due: asyncio.Queue[str] = asyncio.Queue()

    def on_passed(self, passed: ProcessedInput) -> None:
        """A subscriber of every furnace: a melt that ended is worth learning from."""
        for out in passed.outputs:
            if isinstance(out, MeltEnded):
                self._due.put_nowait(passed.furnace)

    async def run(self) -> None:
        """One furnace after the other, for as long as the daemon runs."""
        while True:
            furnace = await self._due.get()
            await self._clock.sleep(self._settle_s)
            try:
                await self.learn(furnace)
            except PourcallError as err:
                log.info("%s was not learned anew: %s", furnace, err)
            self._due.task_done()

    async def idle(self) -> None:
        """Return when every melt that has ended so far was learned from, or not, as it came."""
        await self._due.join()

    async def learn(self, furnace: str) -> FurnaceModel:
        """Learn one furnace from its latest melts and keep what was found. Raises PourcallError."""
        job = await self._in_thread(self._job, furnace)
        fitted = await self._fit(job)
        await asyncio.wrap_future(self._recorder.call(lambda conn: keep_model(conn, fitted.model)))
        log.info(
            "%s learned anew: model %d from %s", furnace, fitted.model.version, ", ".join(fitted.model.melts) or "none"
        )
        return fitted.model

    def _job(self, furnace: str) -> Job:
        with self._store.reading() as conn:
            return job_for(conn, self._usual(furnace), utc_s=self._clock.utc_s())
