"""Every alarm there is: how severe, how long its condition must hold, and how long it can matter.

What each means and what to do stands in the catalogue of texts: `alarm.NAME.what`, `alarm.NAME.remedy`. Rows of the
fault catalogue are named in the comment. Delays: temperature alarms wait 2 s to come and 5 s to go (one bad sample is
no alarm); faults that a chip or the link reports wait as their row says.
"""

from dataclasses import dataclass
from enum import IntEnum

from pourcall.contract.events import Priority
from pourcall.contract.message import Message, Told, tell

ALARM, WARNING, CAUTION = Priority.ALARM, Priority.WARNING, Priority.CAUTION


class Scope(IntEnum):
    """Until when an alarm can matter, the shortest first; then it is withdrawn, whatever its condition was."""

    BEFORE_LIFT = 1  # until the pot leaves the furnace
    MELT = 2  # until the melt ends
    ALWAYS = 3


@dataclass(frozen=True, slots=True)
class AlarmKind:
    """One kind of alarm. Delays in seconds."""

    name: str
    priority: Priority
    scope: Scope = Scope.ALWAYS
    on_delay_s: float = 0.0
    off_delay_s: float = 5.0

    def texts(self, subject: str, detail: Told) -> tuple[Message, Message]:
        """What it means and what to do. subject: the probe, board or furnace; detail: what its condition found."""
        named = subject.replace("_", " ")
        what = tell(f"alarm.{self.name}.what", subject=named)
        if detail:
            what = tell("alarm.detailed", what=what, detail=detail)
        return what, tell(f"alarm.{self.name}.remedy", subject=named)


_OF_A_FURNACE = (
    # -- the metal ----------------------------------------------------------------------------------------------------
    AlarmKind("overshoot", WARNING, Scope.BEFORE_LIFT, on_delay_s=5.0),
    AlarmKind("above_window", CAUTION, Scope.BEFORE_LIFT, on_delay_s=60.0),
    AlarmKind("alloy_limit", ALARM, Scope.MELT, on_delay_s=2.0),
    AlarmKind("pot_limit", ALARM, Scope.MELT, on_delay_s=2.0),
    AlarmKind("furnace_rating", ALARM, on_delay_s=2.0),
    AlarmKind("probe_rating", WARNING, on_delay_s=2.0),
    AlarmKind("flame_out", ALARM, Scope.MELT),
    AlarmKind("not_responding", WARNING, Scope.MELT),
    AlarmKind("power_not_obeying", ALARM, Scope.MELT, on_delay_s=10.0),  # R1, as far as a board tells
    AlarmKind("fume", ALARM, Scope.MELT, on_delay_s=10.0),
    AlarmKind("wrong_alloy", WARNING, Scope.MELT),
    # -- a probe ------------------------------------------------------------------------------------------------------
    AlarmKind("sensor_open", ALARM),  # T1
    AlarmKind("sensor_short", ALARM),  # T2
    AlarmKind("no_value", ALARM),
    AlarmKind("implausible", ALARM),  # T7
    AlarmKind("disagree", WARNING, Scope.BEFORE_LIFT),  # T8
    AlarmKind("over_range", ALARM),  # T11
    AlarmKind("unchanging", ALARM),  # T5
    AlarmKind("unexplained", ALARM, Scope.BEFORE_LIFT),  # T3, R1 by the heat
    AlarmKind("reversed_sensor", ALARM),  # T4
    AlarmKind("type_suspect", WARNING),  # T9
    AlarmKind("probe_out", ALARM, Scope.BEFORE_LIFT, on_delay_s=30.0),  # T10
    AlarmKind("intermittent", ALARM),  # T12
    AlarmKind("noisy_signal", CAUTION, on_delay_s=40.0, off_delay_s=10.0),  # T13
    AlarmKind("blind", ALARM, Scope.BEFORE_LIFT, on_delay_s=60.0),  # and what blind.py waits before
    # -- an amplifier -------------------------------------------------------------------------------------------------
    AlarmKind("dead_bus", ALARM),  # A1, A2
    AlarmKind("cold_junction", WARNING),  # A3, A4
    AlarmKind("amp_reset", ALARM),  # A5
    AlarmKind("no_open_check", ALARM),  # A6
    AlarmKind("flag_stuck", WARNING),  # A7
    # -- a link -------------------------------------------------------------------------------------------------------
    AlarmKind("link_lost", ALARM),  # S1, S2
    AlarmKind("link_noisy", WARNING, off_delay_s=10.0),  # S3, S4, S11
    AlarmKind("link_wrong_speed", ALARM),  # S6
    AlarmKind("identity_mismatch", ALARM),  # S7
    AlarmKind("port_shared", ALARM),  # S8
    AlarmKind("late_data", WARNING, off_delay_s=3.0),  # S10
    AlarmKind("port_unavailable", ALARM),  # S12
    AlarmKind("slow_data", WARNING),  # S13
)
_OF_THE_SHOP = (  # the record, the daemon, the shop as a whole: no melt of one furnace
    AlarmKind("store_full", ALARM),
    AlarmKind("store_failing", ALARM),
    AlarmKind("store_locked", WARNING),
    AlarmKind("store_readonly", ALARM),
    AlarmKind("store_gone", ALARM),
    AlarmKind("store_damaged", ALARM),
    AlarmKind("broker_down", CAUTION, on_delay_s=60.0),
    AlarmKind("broker_refused", WARNING),
    AlarmKind("client_id_clash", WARNING),
    AlarmKind("paused", ALARM),  # C5
    AlarmKind("loop_slow", WARNING),
    AlarmKind("task_failed", ALARM),
    AlarmKind("command_rejected", WARNING),
    AlarmKind("unclean_stop", WARNING),
    AlarmKind("secret_exposed", WARNING),
    AlarmKind("test", CAUTION),
)

CATALOGUE: dict[str, AlarmKind] = {kind.name: kind for kind in (*_OF_A_FURNACE, *_OF_THE_SHOP)}
SETTLED_BY_THE_END: frozenset[str] = frozenset(kind.name for kind in _OF_A_FURNACE)  # of a melt, once they are over

PARENTS: dict[str, tuple[str, ...]] = {
    # A stronger alarm explains these: one situation shows one alarm.
    "link_lost": ("link_noisy", "late_data", "no_value", "slow_data"),
    "link_noisy": ("slow_data",),
    "late_data": ("slow_data",),
    "link_wrong_speed": ("link_noisy", "link_lost", "no_value", "slow_data"),
    "port_unavailable": ("link_lost", "link_noisy", "link_wrong_speed", "no_value"),
    "identity_mismatch": ("link_lost", "no_value"),
    "alloy_limit": ("overshoot", "above_window", "pot_limit", "fume"),
    "pot_limit": ("overshoot", "above_window"),
    "overshoot": ("above_window",),
    # what comes and goes shows one alarm, and not one more each time it goes
    "intermittent": ("sensor_open", "sensor_short", "no_value", "over_range", "blind"),
    "implausible": ("intermittent", "sensor_open", "sensor_short", "no_value", "over_range", "blind"),
    "reversed_sensor": ("implausible", "intermittent", "over_range", "no_value", "blind"),
    "unchanging": ("sensor_open", "sensor_short", "no_value", "over_range", "blind"),
    "probe_out": ("blind",),
    "unexplained": ("sensor_open", "sensor_short", "no_value", "over_range", "blind"),
    "flame_out": ("not_responding",),
    "dead_bus": ("cold_junction", "no_value"),
    "amp_reset": ("no_open_check", "intermittent", "blind"),
    "flag_stuck": ("sensor_open", "intermittent"),
}
