"""Does a board send as often as it did (fault row S13). Times of frames in; how much slower it is now. Pure.

A board that is overloaded or loses every other line still shows figures, only seldom: what moves is seen late. What it
sent in the last ten seconds is held against what it usually sends. A board that was set slower on purpose, or a file
with another step, is asked about once and then taken as it is. Figures are ours: no source.
"""

from collections import deque

WINDOW_S, WINDOW_SAMPLES = 10.0, 10.0  # at least so long, and at least so many samples as the settings have it
LEARN_SHARE = 0.2  # of a new window, into what is usual
SLOW_SHARE = 0.45  # a third of it, and the scatter of counting
GOOD_WINDOWS = 3  # alike, before anything is usual
ALIKE = 0.25
ACCEPT_S = 600.0  # slow for so long: that is how it is now


class BoardPace:
    """One board. `heard` for each valid frame, `slow_by` once a second."""

    def __init__(self, sample_s: float) -> None:
        """sample_s: between samples, of the settings."""
        self.window_s = max(WINDOW_S, WINDOW_SAMPLES * sample_s)
        self._beats: deque[list[float]] = deque()  # [whole second, frames in it]
        self.usual: float | None = None  # frames in a window
        self._alike = 0
        self._began_s: float | None = None
        self._learned_s = -1e9
        self._slow_since_s: float | None = None

    def heard(self, mono_s: float) -> None:
        """A valid frame."""
        if self._began_s is None:
            self._began_s = mono_s
        second = float(int(mono_s))
        if self._beats and self._beats[-1][0] == second:
            self._beats[-1][1] += 1.0
        else:
            self._beats.append([second, 1.0])

    def forget(self) -> None:
        """The port was opened, or lost: what comes next begins a new count. What is usual stays so."""
        self._beats.clear()
        self._began_s = self._slow_since_s = None

    def slow_by(self, mono_s: float) -> float | None:
        """Share of its usual rate, while it sends so much less; None: it sends as it does."""
        while self._beats and self._beats[0][0] <= mono_s - self.window_s - 1.0:
            self._beats.popleft()
        if self._began_s is None or mono_s - self._began_s < self.window_s + 1.0:
            return None
        count = sum(beat[1] for beat in self._beats)
        if self.usual is not None and self._alike >= GOOD_WINDOWS and count < SLOW_SHARE * self.usual:
            if self._slow_since_s is None:
                self._slow_since_s = mono_s
            if mono_s - self._slow_since_s < ACCEPT_S:
                return count / self.usual
            self.usual, self._alike = count, 0
        self._slow_since_s = None
        if mono_s - self._learned_s >= self.window_s:
            self._learned_s = mono_s
            self._learn(count)
        return None

    def _learn(self, count: float) -> None:
        usual = self.usual
        learning = self._alike < GOOD_WINDOWS
        if usual is None or count > (1.0 + ALIKE) * usual or (learning and count < (1.0 - ALIKE) * usual):
            self.usual, self._alike = count, 0
        else:
            self._alike = min(self._alike + 1, GOOD_WINDOWS)
            self.usual = usual + LEARN_SHARE * (count - usual)
