"""A probe in something hot that tells nothing of the metal for too long: nobody watches the bath then. It is said."""

from collections.abc import Iterable

from pourcall.contract.reading import Place, ProbeState
from pourcall.engine.alarms.manager import AlarmManager
from pourcall.engine.sensing.measurement import ProbeChannel

ALARM = "blind"
HOT_C = 200.0  # colder, nothing is in the pot that could be missed
_MOVING = (ProbeState.ENTERING, ProbeState.SETTLING, ProbeState.LEAVING)


def set_blind_conditions(
    alarms: AlarmManager, channels: Iterable[ProbeChannel], mono_s: float, utc_s: float, *, watched: bool
) -> None:
    """watched: a melt runs, its pot is in the furnace. How long it may last is the delay of the alarm."""
    for channel in channels:
        tracker, last = channel.tracker, channel.last
        if tracker.place is not Place.MELT and tracker.place is not Place.DIP:
            continue
        hot = last is not None and last.temp_c is not None and last.temp_c >= HOT_C
        alarms.set_condition(ALARM, channel.config.name, watched and hot and tracker.state in _MOVING, mono_s, utc_s)
