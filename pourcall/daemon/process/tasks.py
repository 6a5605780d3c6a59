"""The daemon's own tasks. One that dies is started once more and reported; at its second death the daemon ends
in order, so that whatever supervises it can start afresh (fault P2)."""

import asyncio
import contextlib
import logging
from collections.abc import Callable, Coroutine
from typing import Any

log = logging.getLogger(__name__)

Make = Callable[[], Coroutine[Any, Any, None]]


class Tasks:
    """`report(name, error, restarted)` is told of each death."""

    def __init__(self, report: Callable[[str, BaseException, bool], None]) -> None:
        self._report = report
        self._running: set[asyncio.Task[None]] = set()

    def keep(self, name: str, make: Make) -> None:
        """A task that is meant to run as long as the daemon."""
        self._start(self._guarded(name, make), name)

    def once(self, name: str, work: Coroutine[Any, Any, None]) -> "asyncio.Task[None]":
        """A short errand; its failure is logged and nothing more."""
        task = self._start(self._logged(name, work), name)
        task.add_done_callback(lambda _: work.close())  # cancelled before its first step it was never awaited
        return task

    async def cancel(self) -> None:
        """End all and wait for them."""
        running = [task for task in self._running if task is not asyncio.current_task()]
        for task in running:
            task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await asyncio.gather(*running, return_exceptions=True)

    def _start(self, work: Coroutine[Any, Any, None], name: str) -> asyncio.Task[None]:
        task = asyncio.get_running_loop().create_task(work, name=f"pourcall-{name}")
        self._running.add(task)
        task.add_done_callback(self._running.discard)
        return task

    async def _guarded(self, name: str, make: Make) -> None:
        for last in (False, True):
            try:
                await make()
                return
            except Exception as err:
                log.exception("task %s died%s", name, " again" if last else "; it is started once more")
                self._report(name, err, not last)

    async def _logged(self, name: str, work: Coroutine[Any, Any, None]) -> None:
        try:
            await work
        except Exception:
            log.exception("%s failed", name)
