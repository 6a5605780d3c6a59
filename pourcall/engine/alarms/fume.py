"""Zinc fume beside the melt state. A level for the flag, an alarm only where the level is not part of the work.

Levels are tables in degC computed with the plan (pourcall/metal/vapour/fume.py); to a factor of ten, and level 0 is
never "safe". For brass (`flares`) the level asks whether the melt is outdoors or under extraction: it fumes at every
pour, so it raises no alarm here; near boiling the alloy's own limit does.
"""

from pourcall.contract.message import NOTHING, tell
from pourcall.contract.plan import MeltPlan
from pourcall.engine.alarms.manager import AlarmManager

DISTURBED_S = 120.0  # so long after skimming or stirring the skin counts as broken
STEP_BACK_C = 5.0  # hysteresis: a level is left only this far below where it began
ALARM_LEVEL = 3


def fume_level(plan: MeltPlan, temp_c: float | None, *, disturbed: bool, level: int) -> int:
    """The fume level now, 0 to 3; without a temperature the level stays."""
    if plan.fume is None:
        return 0
    if temp_c is None:
        return level
    risen = plan.fume.level(temp_c, disturbed)
    return max(risen, min(level, plan.fume.level(temp_c + STEP_BACK_C, disturbed)))


def set_fume_conditions(
    alarms: AlarmManager, plan: MeltPlan, furnace: str, temp_c: float | None, level: int, mono_s: float, utc_s: float
) -> None:
    """The alarm beyond a factor of ten over a limit; never for brass, whose fume is known before the burner is lit."""
    if plan.fume is None or plan.fume.flares:
        return
    at = NOTHING if temp_c is None else tell("alarm.metal_at", metal_c=temp_c)
    alarms.set_condition("fume", furnace, level >= ALARM_LEVEL, mono_s, utc_s, detail=at)
