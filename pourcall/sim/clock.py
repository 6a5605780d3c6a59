"""Simulated time. A `Clock` (contract.clock) that stands still until the simulator advances it.

Sleepers wake in the order of their times, each with the clock standing exactly at its time, and get the event loop to
themselves before the next one wakes: a run is the same at any speed. Reading the clock is safe from any thread;
sleeping and advancing belong to one event loop.
"""

import asyncio
from heapq import heappop, heappush
from itertools import count

from pourcall.sim.shop import START_MONO_S, START_UTC_S

SETTLE_TURNS = 4  # turns of the loop a woken task gets to reach its next wait (future, callback, task, its callback)


class SimClock:
    """Two clocks that run together; `utc_s` starts where told, so that a demonstration shows today's date."""

    def __init__(self, *, mono_s: float = START_MONO_S, utc_s: float = START_UTC_S) -> None:
        self._mono_s, self._ahead_s = mono_s, utc_s - mono_s
        self._sleepers: list[tuple[float, int, asyncio.Future[None]]] = []
        self._order = count()

    def mono_s(self) -> float:
        """Simulated seconds, never backwards."""
        return self._mono_s

    def utc_s(self) -> float:
        """Simulated seconds since 1970-01-01 UTC."""
        return self._mono_s + self._ahead_s

    async def sleep(self, seconds: float) -> None:
        """Return when `seconds` of simulated time have passed; 0 or less gives others one turn."""
        if seconds <= 0.0:
            await asyncio.sleep(0)
            return
        woken = asyncio.get_running_loop().create_future()
        heappush(self._sleepers, (self._mono_s + seconds, next(self._order), woken))
        await woken

    async def advance(self, seconds: float) -> None:
        """Let time pass; who sleeps until then is woken on the way."""
        await self.advance_to(self._mono_s + seconds)

    async def advance_to(self, mono_s: float) -> None:
        """As `advance`, to a moment. A moment already passed does nothing."""
        while self._sleepers and self._sleepers[0][0] <= mono_s:
            at_s, _, woken = heappop(self._sleepers)
            if woken.done():  # cancelled
                continue
            self._mono_s = max(self._mono_s, at_s)
            woken.set_result(None)
            for _ in range(SETTLE_TURNS):
                await asyncio.sleep(0)
        self._mono_s = max(self._mono_s, mono_s)

    def shift_utc(self, seconds: float) -> None:
        """The wall clock jumps (faults C1, C2); the monotonic one does not notice."""
        self._ahead_s += seconds
