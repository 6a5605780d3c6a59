"""What a probe's health means for its alarms (fault rows T1, T2, T4, T5, T7, T9, T11, T12, A1-A7, S10)."""

from collections.abc import Iterator

from pourcall.contract.events import Priority
from pourcall.contract.message import NOTHING, Message, tell
from pourcall.contract.reading import Place
from pourcall.engine.alarms.manager import AlarmManager
from pourcall.engine.sensing.measurement import COLD_ALARM_C, LATE_S, ProbeChannel
from pourcall.engine.sensing.trust import Cause

TWICE = 2  # fault rows T1, T2: two samples
COLD_SAMPLES = 3
SILENT_SAMPLES = 3.5


class SensorConditions:
    """Alarm conditions of one probe; cheap while nothing is wrong, since it runs for every sample."""

    def __init__(self, channel: ProbeChannel) -> None:
        self.channel = channel
        self._wrong = False
        self._stale = False
        self.silent = False  # this channel alone: its board goes on

    def fell_silent(self, mono_s: float, board_heard_s: float | None) -> bool:
        """True once, when the channel's last figure grows stale. board_heard_s: when its board last said anything."""
        channel = self.channel
        last, heard_s = channel.last, channel.heard_mono_s
        # Three samples in a row are lost on a noisy cable every few hours; a channel that fell silent stays so.
        stale_s = max(channel.config.stale_after_s, SILENT_SAMPLES * channel.tracker.trend.step_s)
        self.silent = heard_s is not None and board_heard_s is not None and board_heard_s - heard_s > stale_s
        was, self._stale = self._stale, last is not None and mono_s - last.at_mono_s > stale_s
        return self._stale and not was

    def set_conditions(self, alarms: AlarmManager, mono_s: float, utc_s: float, *, lifted: bool) -> None:
        """lifted: the pot is out of the furnace, and what that explains raises nothing."""
        health, late_s = self.channel.health, self.channel.late_s
        wrong = bool(
            health.open
            or health.short
            or health.no_value
            or health.over_range
            or health.dead_words
            or health.cold_out
            or self.channel.terminals_odd
            or health.chip_type
            or self.channel.trust.alarm
            or late_s > LATE_S
            or self.silent
        )
        if not wrong and not self._wrong:
            return
        name, board = self.channel.config.name, self.channel.config.board
        up = False
        for kind, condition, detail in self._conditions():
            # A fault that stood before the lift stays; a new one that the lift explains is not raised.
            if condition and lifted and not alarms.is_up(kind, name):
                continue
            severity = Priority.ALARM if kind == "cold_junction" and self._very_hot else None
            alarms.set_condition(kind, name, condition, mono_s, utc_s, detail=detail, priority=severity)
            up = up or alarms.is_up(kind, name)
        late = tell("alarm.late", late_s=late_s)
        alarms.set_condition("late_data", board, late_s > LATE_S, mono_s, utc_s, detail=late)
        # Off-delays still run where all is well again; come back until all of them are over.
        self._wrong = wrong or up or alarms.is_up("late_data", board)

    @property
    def _very_hot(self) -> bool:
        cold_c = self.channel.health.cold_c
        return cold_c is not None and cold_c > COLD_ALARM_C

    @property
    def _reset(self) -> bool:
        """Its chip has other settings than it should, or than it had."""
        health = self.channel.health
        return health.type_changed or (health.open_unchecked and health.open_checked)

    @property
    def _settings(self) -> Message:
        health = self.channel.health
        if health.type_changed:
            return tell("alarm.chip_type", is_type=health.chip_type, set_type=self.channel.config.tc_type)
        return tell("alarm.chip_open_check")

    def _conditions(self) -> Iterator[tuple[str, bool, Message]]:
        """Every alarm of a probe, whether its condition holds, and what was found."""
        health = self.channel.health
        trust = self.channel.trust
        yield "intermittent", trust.alarm is Cause.INTERMITTENT, trust.why
        yield "sensor_open", health.open >= TWICE, NOTHING
        yield "sensor_short", health.short >= TWICE, NOTHING
        no_value = (health.no_value >= TWICE or self.silent) and self.channel.tracker.place is not Place.AMBIENT
        yield "no_value", no_value, tell("alarm.fell_silent" if self.silent else "alarm.no_number")
        yield "over_range", health.over_range >= 1, NOTHING
        yield "dead_bus", health.dead, NOTHING
        yield "unchanging", trust.alarm is Cause.UNCHANGING, trust.why
        yield "implausible", trust.alarm is Cause.IMPLAUSIBLE, trust.why
        yield "unexplained", trust.alarm is Cause.UNEXPLAINED, trust.why
        yield "reversed_sensor", trust.alarm is Cause.REVERSED, trust.why
        yield "type_suspect", trust.alarm is Cause.TYPE, trust.why
        outside, odd = health.cold_out >= COLD_SAMPLES, self.channel.terminals_odd
        terminals = odd if health.cold_c is None else tell("alarm.terminals", terminals_c=health.cold_c)
        yield "amp_reset", self._reset, self._settings
        yield "no_open_check", health.open_unchecked, NOTHING
        yield "flag_stuck", health.flag_stuck, NOTHING
        yield "cold_junction", outside or bool(odd), terminals if outside else odd
