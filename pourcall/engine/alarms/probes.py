"""What takes a while to show of a probe: noise, terminals that are odd or frozen, one that is out of the metal.

Once a second, all probes of a furnace (fault rows T10, T13, A4). Not here: what a single sample shows
(sensing/sensor_health.py). The half minutes are those of the rows; what spares ordinary work is ours.
"""

from collections import defaultdict
from collections.abc import Iterable

from pourcall.contract.message import NOTHING, Message, tell
from pourcall.contract.reading import Place, ProbeState
from pourcall.engine.alarms.manager import AlarmManager
from pourcall.engine.sensing.cold_junctions import odd_ones
from pourcall.engine.sensing.measurement import ProbeChannel
from pourcall.engine.sensing.signal_noise import NOISY_C

WARMS_C_PER_MIN = 10.0  # faster, and it stands beside cold metal that was put in
FELL_BELOW_C, WAS_ABOVE_C = 150.0, 400.0  # a chamber probe: no lid that is open cools it so far
POWER_ON_S = 60.0


class ProbeConditions:
    """Of one furnace."""

    def __init__(self, alarms: AlarmManager) -> None:
        self._alarms = alarms
        self._hottest_c: dict[str, float] = {}  # of chamber probes since the power was on

    def set(
        self, channels: Iterable[ProbeChannel], mono_s: float, utc_s: float, *, heated_s: float | None, known: bool
    ) -> None:
        """heated_s: for how long the power has been on in a melt that runs, its pot in the furnace and nobody at the
        bath; None: it is not so. known: something tells what the metal is at."""
        shown = tuple(channels)
        odd = self._odd(shown, mono_s)
        if heated_s is None:
            self._hottest_c.clear()
        for channel in shown:
            name = channel.config.name
            scatter_c = channel.noise.scatter_c
            noise = tell("alarm.scatter", scatter_difference_c=scatter_c)
            self._alarms.set_condition("noisy_signal", name, scatter_c > NOISY_C, mono_s, utc_s, detail=noise)
            out = heated_s is not None and self._is_out(channel, heated_s, known=known)
            self._alarms.set_condition("probe_out", name, out, mono_s, utc_s)
            channel.judge_terminals(mono_s, odd.get(name, NOTHING))

    def _is_out(self, channel: ProbeChannel, heated_s: float, *, known: bool) -> bool:
        last, tracker = channel.last, channel.tracker
        if last is None or last.temp_c is None or channel.trust.alarm:
            return False
        if tracker.place is Place.CHAMBER:
            name = channel.config.name
            hottest_c = self._hottest_c[name] = max(self._hottest_c.get(name, -1e9), last.temp_c)
            return heated_s >= POWER_ON_S and last.temp_c < FELL_BELOW_C and hottest_c > WAS_ABOVE_C
        # Before the metal was liquid a cold charge chills a tip as air does, and there is nothing yet to be missed.
        liquid = tracker.been_in and tracker.fluid_this_melt
        if tracker.place is not Place.MELT or known or not liquid or tracker.state is not ProbeState.OUT:
            return False
        return (tracker.trend.rate_c_per_min(20.0) or 0.0) < WARMS_C_PER_MIN

    @staticmethod
    def _odd(channels: tuple[ProbeChannel, ...], mono_s: float) -> dict[str, Message]:
        """Probes whose terminals stand still as none do, or are far from those beside them on the same board."""
        found: dict[str, Message] = {}
        boards: defaultdict[str, dict[str, float]] = defaultdict(dict)
        for channel in channels:
            cold, name = channel.terminals, channel.config.name
            still_s = cold.still_s(mono_s)
            if cold.temp_c is None or channel.last is None or channel.last.cold_junction_c is None:
                continue
            boards[channel.config.board][name] = cold.temp_c
            if still_s is not None:
                found[name] = tell("alarm.terminals_still", terminals_c=cold.temp_c, still_s=still_s)
        for terminals_c in boards.values():
            for name, (own_c, others_c) in odd_ones(terminals_c).items():
                found[name] = tell("alarm.terminals_apart", terminals_c=own_c, others_c=others_c)
        return found
