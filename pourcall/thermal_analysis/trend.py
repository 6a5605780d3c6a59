"""How fast a temperature moves. Samples in, rates out; two spans, one for the probe and one for the metal."""

from collections import deque

SHORT_KEEP_S = 12.0
LONG_KEEP_S = 180.0
LONG_STEP_S = 1.0


class Trend:
    """Recent samples of one probe: all of the last seconds, and one a second for the last minutes.

    Fed only with samples that carry a number and are followed (no spikes, no late ones). O(1) for each sample.
    """

    def __init__(self, probe_span_s: float) -> None:
        self.probe_span_s = probe_span_s  # over which the probe's own movement is judged
        self._short: deque[tuple[float, float]] = deque()
        self._long: deque[tuple[float, float]] = deque()
        self.step_s = 1.0  # time between the last two samples

    def clear(self) -> None:
        """Forget: the probe moved, so that older samples say nothing of the metal."""
        self._short.clear()
        self._long.clear()

    def add(self, mono_s: float, temp_c: float) -> None:
        """One sample; times must not run backwards (an equal or earlier one is ignored)."""
        short = self._short
        if short:
            step_s = mono_s - short[-1][0]
            if step_s <= 0.0:
                return
            self.step_s = step_s
        short.append((mono_s, temp_c))
        oldest = mono_s - max(SHORT_KEEP_S, 3.0 * self.step_s)
        while short[0][0] < oldest:
            short.popleft()
        long = self._long
        if not long or mono_s - long[-1][0] >= LONG_STEP_S - 1e-6:
            long.append((mono_s, temp_c))
            oldest = mono_s - max(LONG_KEEP_S, 4.0 * self.step_s)
            while long[0][0] < oldest:
                long.popleft()

    def probe_rate_c_per_s(self) -> float | None:
        """Rate over the probe's own span (or the last two samples, where they are further apart); None: one sample."""
        short = self._short
        if len(short) < 2:
            return None
        end_s, end_c = short[-1]
        wanted_s = end_s - self.probe_span_s
        for index in range(len(short) - 2, -1, -1):
            start_s, start_c = short[index]
            if start_s <= wanted_s + 1e-6 or index == 0:
                return (end_c - start_c) / (end_s - start_s)
        return None

    def highest_c(self) -> float | None:
        """Highest of the last seconds; None: no sample yet."""
        return max((temp_c for _, temp_c in self._short), default=None)

    def rate_c_per_min(self, span_s: float) -> float | None:
        """Least-squares slope over `span_s`; None where there is less than a third of that span, or under 3 points."""
        points = self._long
        if len(points) < 3:
            return None
        end_s = points[-1][0]
        count = 0
        sum_t = sum_c = sum_tt = sum_tc = 0.0
        first_s = end_s
        for mono_s, temp_c in reversed(points):
            t = mono_s - end_s
            if t < -span_s - 1e-6:
                break
            count += 1
            sum_t += t
            sum_c += temp_c
            sum_tt += t * t
            sum_tc += t * temp_c
            first_s = mono_s
        spread = count * sum_tt - sum_t * sum_t
        if count < 3 or end_s - first_s < span_s / 3.0 or spread <= 0.0:
            return None
        return 60.0 * (count * sum_tc - sum_t * sum_c) / spread

    def span_c(self, span_s: float) -> float | None:
        """Highest less lowest over `span_s`; None where the trend is not that old."""
        points = self._long
        if not points:
            return None
        end_s = points[-1][0]
        if end_s - points[0][0] < span_s - LONG_STEP_S:
            return None
        inside = [temp_c for mono_s, temp_c in points if mono_s >= end_s - span_s - 1e-6]
        return max(inside) - min(inside)
