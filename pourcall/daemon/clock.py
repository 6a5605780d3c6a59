"""The only real clock. Everything else takes a `Clock` (contract/clock.py) and never asks the computer itself.

The monotonic time counts through suspend where the system offers such a clock, so that a computer that slept for
ten minutes in mid-melt shows a gap of ten minutes and not none (fault C5). Its zero is arbitrary: it may go on over a
restart of the daemon and starts anew with the computer.
"""

import asyncio
import time
from collections.abc import Callable


def _monotonic_source() -> Callable[[], float]:
    """CLOCK_BOOTTIME on Linux (counts in suspend), else what Python takes for monotonic."""
    boottime = getattr(time, "CLOCK_BOOTTIME", None)
    if boottime is None:
        return time.monotonic

    def read() -> float:
        return time.clock_gettime(boottime)

    return read


class RealClock:
    """The computer's two clocks. Safe to read from any thread."""

    def __init__(self) -> None:
        self._read = _monotonic_source()

    def mono_s(self) -> float:
        """Seconds since an arbitrary moment, never backwards, counting through suspend where that is offered."""
        return self._read()

    def utc_s(self) -> float:
        """Seconds since 1970-01-01 UTC, as the computer believes; may step."""
        return time.time()

    async def sleep(self, seconds: float) -> None:
        """Return when `seconds` have passed; negative counts as 0."""
        await asyncio.sleep(max(0.0, seconds))
