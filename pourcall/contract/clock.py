"""The clock that everything takes as an argument.

The one real clock is pourcall/daemon/clock.py; tests and simulation bring their own.
"""

from typing import Protocol


class Clock(Protocol):
    """Two times that are never mixed: one for intervals, one for the record."""

    def mono_s(self) -> float:
        """Seconds that never step backwards; for time-outs, ramps and rates."""
        ...

    def utc_s(self) -> float:
        """Seconds since 1970-01-01 UTC; for the record; may step, so never subtract it."""
        ...

    async def sleep(self, seconds: float) -> None:
        """Return when `seconds` of this clock have passed."""
        ...
