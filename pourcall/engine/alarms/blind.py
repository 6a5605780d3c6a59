"""A probe in something hot that tells nothing of the metal for too long: nobody watches the bath then. It is said.

Whichever way it came to that: it moves, it never proves itself, it says the same digits for too long to be believed and
not long enough to be called stuck, or it is taken to be out and is not.
"""

from collections.abc import Iterable

from pourcall.contract.plan import MeltPlan
from pourcall.contract.reading import Place, ProbeState
from pourcall.engine.alarms.manager import AlarmManager
from pourcall.engine.sensing.measurement import ProbeChannel
from pourcall.engine.sensing.trust import TrustState
from pourcall.engine.sensing.unchanging import DOUBT_S, STUCK_S

ALARM = "blind"
WAITS_S = 120.0  # before the delay of the alarm, a minute, begins: after three minutes in all it is said
SAME_WAITS_S = STUCK_S - DOUBT_S  # of a figure that stands to the last digit: by then an alarm of its own says more
OUT_BELOW_C, FALLS_C_PER_MIN = 40.0, 3.0  # taken to be out, no further below the liquidus, and not cooling
# Colder than this, or so far below the solidus, nothing is in the pot that could be missed: a probe laid into a cold
# charge in a hot pot, or hung up to cool, settles for minutes.
HOT_C, BELOW_SOLIDUS_C = 200.0, 100.0
_MOVING = (ProbeState.ENTERING, ProbeState.SETTLING, ProbeState.LEAVING)
_IN = (ProbeState.IN_METAL, ProbeState.FROZEN_IN)


def set_blind_conditions(
    alarms: AlarmManager,
    channels: Iterable[ProbeChannel],
    mono_s: float,
    utc_s: float,
    *,
    watched: MeltPlan | None,
    known: bool = False,
) -> None:
    """watched: the plan of a melt that runs and whose pot is in the furnace. known: something tells of its metal."""
    hot_c = HOT_C if watched is None else max(HOT_C, watched.alloy.solidus_c - BELOW_SOLIDUS_C)
    for channel in channels:
        tracker, last = channel.tracker, channel.last
        if tracker.place is not Place.MELT and tracker.place is not Place.DIP:
            continue
        hot = last is not None and last.temp_c is not None and last.temp_c >= hot_c
        # In the metal, but shaken again and again: it never gets so far as to have proved itself.
        unproven = tracker.state in _IN and channel.trust.state is TrustState.PROVING
        said_out = watched is not None and not known and _stays_hot(channel, watched)
        untold = watched is not None and hot and (unproven or said_out or tracker.state in _MOVING)
        same = unproven and channel.same_digits_s(mono_s) >= WAITS_S
        lasts = channel.untold_for_s(mono_s, untold=untold) >= (SAME_WAITS_S if same else WAITS_S)
        alarms.set_condition(ALARM, channel.config.name, lasts, mono_s, utc_s)


def _stays_hot(channel: ProbeChannel, plan: MeltPlan) -> bool:
    """Taken to be out of metal that was liquid, and as hot as that: chilled by much cold metal, it warms with it."""
    tracker, last = channel.tracker, channel.last
    if tracker.place is not Place.MELT or tracker.state is not ProbeState.OUT or not tracker.fluid_this_melt:
        return False
    hot = last is not None and last.temp_c is not None and last.temp_c >= plan.alloy.liquidus_c - OUT_BELOW_C
    return hot and (tracker.trend.rate_c_per_min(20.0) or 0.0) > -FALLS_C_PER_MIN
