"""Alarms on temperatures. The melt against window and limits, each probe and the furnace against a rating."""

from collections.abc import Sequence

from pourcall.contract.config import EngineConfig
from pourcall.contract.message import NOTHING, tell
from pourcall.contract.plan import MeltPlan, PotLimit
from pourcall.contract.reading import Place
from pourcall.engine.alarms.manager import AlarmManager
from pourcall.engine.sensing.measurement import USABLE, ProbeChannel

DEADBAND_C = 3.0  # an alarm on a limit goes only this far below it
RISING_C_PER_MIN = 2.0
POT_WHOSE = ("pot", "furnace")


def set_temperature_conditions(
    alarms: AlarmManager,
    config: EngineConfig,
    plan: MeltPlan | None,
    metal_c: float | None,
    rate_c_per_min: float | None,
    channels: Sequence[ProbeChannel],
    mono_s: float,
    utc_s: float,
    *,
    tap_max_c: float | None = None,
) -> None:
    """plan None: no melt; then only ratings are judged. metal_c: for limits, which hold in the hand too.

    tap_max_c: the top of the window; None: no mould waits for metal, or the pot is in the hand, where the countdown
    says how long to wait.
    """
    furnace = config.furnace
    if plan is not None:
        for kind in ("alloy_limit", "pot_limit"):
            limit: PotLimit | None = None
            for one in plan.limits:
                own = one.whose != "probe" and (one.whose in POT_WHOSE) == (kind == "pot_limit")
                if own and (limit is None or one.limit_c < limit.limit_c):
                    limit = one
            if limit is not None:
                over = _over(alarms, kind, furnace, metal_c, limit.limit_c)
                detail = tell("alarm.limit_of", limit_c=limit.limit_c, why=limit.why) if over else NOTHING
                alarms.set_condition(kind, furnace, over, mono_s, utc_s, detail=detail)
        above = tap_max_c is not None and _over(alarms, "above_window", furnace, metal_c, tap_max_c)
        rising = rate_c_per_min is not None and rate_c_per_min > RISING_C_PER_MIN
        detail = tell("alarm.window_ends", window_c=tap_max_c) if above and tap_max_c is not None else NOTHING
        alarms.set_condition("overshoot", furnace, above and rising, mono_s, utc_s, detail=detail)
        alarms.set_condition("above_window", furnace, above, mono_s, utc_s, detail=detail)
    for channel in channels:
        reading, probe = channel.last, channel.config
        if reading is None:
            continue
        temp_c = reading.temp_c if reading.reason in USABLE or reading.temp_c is None else None
        if reading.temp_c is not None and temp_c is None:
            continue  # moving, late: neither up nor down
        over = _over(alarms, "probe_rating", probe.name, temp_c, probe.rating_c)
        detail = tell("alarm.limit", limit_c=probe.rating_c) if over else NOTHING
        alarms.set_condition("probe_rating", probe.name, over, mono_s, utc_s, detail=detail)
        if channel.tracker.place is Place.CHAMBER:
            over = _over(alarms, "furnace_rating", furnace, temp_c, config.rating_c)
            detail = tell("alarm.limit", limit_c=config.rating_c) if over else NOTHING
            alarms.set_condition("furnace_rating", furnace, over, mono_s, utc_s, detail=detail)


def _over(alarms: AlarmManager, kind: str, subject: str, temp_c: float | None, limit_c: float) -> bool:
    """Above the limit, or not yet the deadband below it again. Without a figure an alarm that is up stays up."""
    up = alarms.is_up(kind, subject)
    if temp_c is None:
        return up
    return temp_c > limit_c - (DEADBAND_C if up else 0.0)
