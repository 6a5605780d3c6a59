"""How noisy a probe's figure is (fault row T13): mains hum, a ground loop, a loose screen. Figures in. Pure.

Noise is what jumps to and fro from one figure to the next: the second difference, in which no steady rise and no slow
fall shows. Its median over some twenty figures does not see a probe that is put in or taken out. Levels are ours: a
sound amplifier scatters by some tenths of a degree, mains hum by several.
"""

import math
from collections import deque

FIGURES = 21
MEDIAN_SHARE = 0.6745 * math.sqrt(6.0)  # of a normal scatter: median of the second difference
NOISY_C = 2.0  # standard deviation


class SignalNoise:
    """One probe. `add` each figure, `scatter_c` once a second."""

    def __init__(self) -> None:
        self._before: deque[float] = deque(maxlen=2)
        self._bends: deque[float] = deque(maxlen=FIGURES)

    def add(self, temp_c: float) -> None:
        """A figure that was followed."""
        before = self._before
        if len(before) == 2:
            self._bends.append(abs(temp_c - 2.0 * before[1] + before[0]))
        before.append(temp_c)

    def missed(self) -> None:
        """A sample without a figure. One that is missing leaves the rest; of a couple that is open nothing is known."""
        if not self._before:
            self._bends.clear()
        self._before.clear()

    def forget(self) -> None:
        """Figures are missing, or are not of one place."""
        self._before.clear()
        self._bends.clear()

    @property
    def scatter_c(self) -> float:
        """Standard deviation of one figure, degC; 0 where there are too few of them."""
        if len(self._bends) < FIGURES:
            return 0.0
        return sorted(self._bends)[FIGURES // 2] / MEDIAN_SHARE  # FIGURES is odd
