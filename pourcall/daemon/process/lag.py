"""Notices that the event loop was held up, and tells a blocked loop from a stopped process (faults C5, C6).

A thread beats beside the loop. When the loop comes back late and the thread beat all the while, something in this
program blocked the loop; when both stood still, the whole process was stopped or the computer slept.
"""

import asyncio
import threading
from collections.abc import Callable

from pourcall.contract.inputs import DaemonTrouble

BEAT_S = 0.25  # the metric's grain: fault C6 asks for 250 ms

Report = Callable[[DaemonTrouble, float], None]  # LOOP_SLOW or PAUSED, and for how many seconds


class LagWatch:
    """`run()` is a task of the service and ends its thread with itself. `now_s`: a real monotonic clock."""

    def __init__(self, report: Report, now_s: Callable[[], float], *, beat_s: float = BEAT_S) -> None:
        self._report, self._now_s, self._beat_s = report, now_s, beat_s
        self._longest_s = 0.0  # longest silence of the thread since last asked
        self.worst_s = 0.0  # worst lag of the loop so far

    def _beats(self, stop: threading.Event) -> None:
        last_s = self._now_s()
        while not stop.wait(self._beat_s):
            now_s = self._now_s()
            self._longest_s = max(self._longest_s, now_s - last_s)
            last_s = now_s

    async def run(self) -> None:
        """Until cancelled."""
        stop = threading.Event()
        thread = threading.Thread(target=self._beats, args=(stop,), name="pourcall-lag", daemon=True)
        thread.start()
        try:
            while True:
                before_s = self._now_s()
                await asyncio.sleep(self._beat_s)
                lag_s = self._now_s() - before_s - self._beat_s
                if lag_s > self._beat_s:
                    await asyncio.sleep(self._beat_s)  # let the thread speak first after a stop
                    stopped = self._longest_s > 0.5 * lag_s + self._beat_s
                    self.worst_s = max(self.worst_s, lag_s)
                    self._report(DaemonTrouble.PAUSED if stopped else DaemonTrouble.LOOP_SLOW, lag_s)
                self._longest_s = 0.0
        finally:
            stop.set()
            thread.join(timeout=1.0)
