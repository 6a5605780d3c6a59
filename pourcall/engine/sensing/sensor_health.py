"""What a probe's health means for the alarm desk, and its uncertainty once a second (fault rows T1, T2, T7, T11,
T12, A1-A3, S10)."""

from pourcall.contract.errors import PourcallError
from pourcall.contract.events import Priority
from pourcall.contract.reading import Place
from pourcall.engine.alarms.manager import AlarmManager
from pourcall.engine.sensing.measurement import COLD_ALARM_C, LATE_S, ProbeChannel
from pourcall.thermometry.amplifier_limits import amplifier_of
from pourcall.thermometry.tolerance import WireClass
from pourcall.thermometry.uncertainty import Chain, budget

TWICE = 2  # fault rows T1, T2: two samples
COLD_SAMPLES = 3


class SensorConditions:
    """Alarm rules of one probe; cheap while nothing is wrong, since it runs for every sample."""

    def __init__(self, channel: ProbeChannel) -> None:
        self.channel = channel
        self._wrong = False
        self._stale = False
        self._silent = False  # this channel alone: its board goes on

    def fell_silent(self, mono_s: float, board_heard_s: float | None) -> bool:
        """True once, when the channel's last figure grows stale. board_heard_s: when its board last said anything."""
        channel = self.channel
        last, heard_s = channel.last, channel.heard_mono_s
        stale_s = max(channel.config.stale_after_s, 2.5 * channel.tracker.trend.step_s)
        self._silent = heard_s is not None and board_heard_s is not None and board_heard_s - heard_s > stale_s
        was, self._stale = self._stale, last is not None and mono_s - last.at_mono_s > stale_s
        return self._stale and not was

    def judge(self, desk: AlarmManager, mono_s: float, utc_s: float, *, lifted: bool) -> None:
        """lifted: the pot is out of the furnace, and what that explains raises nothing."""
        health, late = self.channel.health, self.channel.late_s > LATE_S
        wrong = bool(
            health.open
            or health.short
            or health.no_value
            or health.over_range
            or health.dead_words
            or health.cold_out
            or health.implausible
            or health.intermittent
            or late
            or self._silent
        )
        if not wrong and not self._wrong:
            return
        self._wrong = wrong
        name, board = self.channel.config.name, self.channel.config.board

        def say(kind: str, present: bool, detail: str = "", priority: Priority | None = None) -> None:
            # A fault that stood before the lift stays; a new one that the lift explains is not raised.
            if present and lifted and not desk.is_up(kind, name):
                return
            desk.set_condition(kind, name, present, mono_s, utc_s, detail=detail, priority=priority)

        say("sensor_open", health.open >= TWICE and not health.intermittent)
        say("sensor_short", health.short >= TWICE)
        silent = "It fell silent." if self._silent else "Text or nothing stands where a number should."
        no_value = (health.no_value >= TWICE or self._silent) and self.channel.tracker.place is not Place.AMBIENT
        say("no_value", no_value, silent)
        say("over_range", health.over_range >= 1)
        say("dead_bus", health.dead)
        say("implausible", health.implausible, health.implausible_why)
        say("intermittent", health.intermittent, health.intermittent_why)
        cold_c = health.cold_c
        very_hot = cold_c is not None and cold_c > COLD_ALARM_C
        at = "" if cold_c is None else f"Its terminals are at <{cold_c:.1f} degC>."
        say("cold_junction", health.cold_out >= COLD_SAMPLES, at, Priority.ALARM if very_hot else None)
        desk.set_condition("late_data", board, late, mono_s, utc_s, detail=f"They are {self.channel.late_s:.0f} s old.")
        if not wrong:
            # Off-delays still run; come back until all of them are over.
            self._wrong = any(desk.is_up(kind, name) for kind in _KINDS) or desk.is_up("late_data", board)


_KINDS = (
    "sensor_open",
    "sensor_short",
    "no_value",
    "over_range",
    "dead_bus",
    "implausible",
    "intermittent",
    "cold_junction",
)


def expanded_u_c(channel: ProbeChannel, chip: str) -> float | None:
    """Expanded uncertainty (k = 2) of the channel's present reading; None where there is none, or no budget for it."""
    reading = channel.last
    if reading is None or reading.temp_c is None:
        return None
    config = channel.config
    amplifier = amplifier_of(chip)
    chain = Chain(config.tc_type, amplifier, WireClass(config.wire_class), channel.calibration)
    try:
        return budget(chain, reading.temp_c, reading.cold_junction_c).expanded_c
    except PourcallError:
        return None
