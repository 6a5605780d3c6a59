"""A probe in something hot that tells nothing of the metal for too long: nobody watches the bath then. It is said."""

from collections.abc import Iterable

from pourcall.contract.plan import MeltPlan
from pourcall.contract.reading import Place, ProbeState
from pourcall.engine.alarms.manager import AlarmManager
from pourcall.engine.sensing.measurement import ProbeChannel
from pourcall.engine.sensing.trust import TrustState

ALARM = "blind"
WAITS_S = 120.0  # before the delay of the alarm, a minute, begins: after three minutes in all it is said
# Colder than this, or so far below the solidus, nothing is in the pot that could be missed: a probe laid into a cold
# charge in a hot pot, or hung up to cool, settles for minutes.
HOT_C, BELOW_SOLIDUS_C = 200.0, 100.0
_MOVING = (ProbeState.ENTERING, ProbeState.SETTLING, ProbeState.LEAVING)
_IN = (ProbeState.IN_METAL, ProbeState.FROZEN_IN)


def set_blind_conditions(
    alarms: AlarmManager, channels: Iterable[ProbeChannel], mono_s: float, utc_s: float, *, watched: MeltPlan | None
) -> None:
    """watched: the plan of a melt that runs and whose pot is in the furnace."""
    hot_c = HOT_C if watched is None else max(HOT_C, watched.alloy.solidus_c - BELOW_SOLIDUS_C)
    for channel in channels:
        tracker, last = channel.tracker, channel.last
        if tracker.place is not Place.MELT and tracker.place is not Place.DIP:
            continue
        hot = last is not None and last.temp_c is not None and last.temp_c >= hot_c
        # In the metal, but shaken again and again: it never gets so far as to have proved itself. A figure that
        # stands to the last digit is another matter, and has its own alarm.
        moves = channel.same_digits_s(mono_s) < WAITS_S
        unproven = moves and tracker.state in _IN and channel.trust.state is TrustState.PROVING
        untold = watched is not None and hot and (unproven or tracker.state in _MOVING)
        lasts = channel.untold_for_s(mono_s, untold=untold) >= WAITS_S
        alarms.set_condition(ALARM, channel.config.name, lasts, mono_s, utc_s)
