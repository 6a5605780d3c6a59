"""By how much a frame is older than its arrival. Board milliseconds and arrival times in, seconds late out.

Nobody tells how long a line takes from the board to us, but the quickest line seen is as good as fresh: the smallest
difference of arrival and board time is the offset of the two clocks, and what a line exceeds it by is its lateness.
The offset may creep upwards by `LEAK` so that a board whose clock runs slow is not called late after an hour.

Blind spot: a delay that was there from the first line and never shrinks cannot be seen this way.
"""

WRAP_MS = 1 << 32
# A ceramic resonator is good to 0.5 % (common practice, no source); the leak must outrun the worst board.
# A constant delay of 10 s that sets in during a run is therefore told for 10 / 0.006 s, half an hour, then forgotten.
LEAK = 0.006


class Lateness:
    """The clock offset of one board. Feed every frame that carries board time, in the order of arrival."""

    def __init__(self) -> None:
        self._last_ms: int | None = None
        self._board_s = 0.0  # unwrapped, from the first frame on
        self._offset_s = 0.0
        self._arrived_s = 0.0
        self.restarts = 0

    def reset(self) -> None:
        """Forget the offset: the board restarted, or is another one."""
        self._last_ms = None

    def late_s(self, board_ms: int, arrived_mono_s: float) -> float:
        """Seconds by which the frame is older than its arrival; 0 for the first one after a (re)start.

        board_ms: 32 bits, wraps. A board time that goes back is a restart. Times further ahead than the true elapsed
        time only make the offset smaller, so a restart that looks like a wrap heals by itself.
        """
        if self._last_ms is not None:
            step_ms = (board_ms - self._last_ms) % WRAP_MS
            if step_ms >= WRAP_MS // 2:
                self.restarts += 1
                self._last_ms = None
            else:
                self._board_s += step_ms / 1000.0
        difference_s = arrived_mono_s - self._board_s
        if self._last_ms is None:
            self._board_s = 0.0
            difference_s = arrived_mono_s
            self._offset_s = difference_s
        else:
            crept_s = self._offset_s + LEAK * max(0.0, arrived_mono_s - self._arrived_s)
            self._offset_s = min(crept_s, difference_s)
        self._last_ms = board_ms
        self._arrived_s = arrived_mono_s
        return max(0.0, difference_s - self._offset_s)
