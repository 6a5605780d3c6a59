"""Lead over a bath: its pressure, how fast it leaves, and the minutes until its limit. To a factor of ten.

Pressure of pure liquid lead: two-term line of Alcock, Itkin and Horrigan, Can. Metall. Q. 23 (1984) 309, given for 601
to 1200 K; above it is extrapolated, some 10 % high. Activity from the binaries (activity.py): copper pushes lead out.
Not here: dross and dust, which carry most of the lead a caster takes in.
"""

import math

import msgspec

from pourcall.contract.message import Message, tell
from pourcall.contract.settings import AirLimits
from pourcall.metal.alloys.elements import KELVIN_OF_0_C, STANDARD_ATMOSPHERE_PA
from pourcall.metal.alloys.sheet import AlloySheet
from pourcall.metal.vapour import exposure_limits, ventilation
from pourcall.metal.vapour.activity import activity_of
from pourcall.metal.vapour.evaporation import bare_lead_g_per_min
from pourcall.metal.vapour.fume import DEFAULT_MOUTH_MM, rough
from pourcall.metal.vapour.ventilation import Air

LEAST_PERCENT = 0.1  # below it lead is an impurity


class LeadReport(msgspec.Struct, frozen=True, kw_only=True):
    """Lead at one temperature of the bath. Minutes: None where the 8-hour limit is not reached within a shift."""

    temp_c: float
    lead_pa: float
    bare_g_per_min: float
    shift_min: float | None
    words: tuple[Message, ...]


def lead_pressure_pa(temp_c: float) -> float:
    """Vapour pressure of pure liquid lead, Pa."""
    return STANDARD_ATMOSPHERE_PA * math.pow(10.0, 4.911 - 9701.0 / (temp_c + KELVIN_OF_0_C))


def lead_report(
    sheet: AlloySheet,
    temp_c: float,
    air: Air | None = None,
    mouth_mm: float = DEFAULT_MOUTH_MM,
    air_limits: AirLimits = "strictest",
) -> LeadReport | None:
    """All that is said of lead fume at one temperature; None for an alloy without lead."""
    shares, air = sheet.weight_percent(), air or Air()
    if shares.get("Pb", 0.0) < LEAST_PERCENT:
        return None
    governs = exposure_limits.governing("lead", "8 h", air_limits)
    pressure_pa = activity_of("Pb", shares, temp_c) * lead_pressure_pa(temp_c)
    rate = bare_lead_g_per_min(pressure_pa, temp_c, mouth_mm)
    shift_min = ventilation.minutes_to_shift(rate, air, governs.mg_per_m3)
    leaves: tuple[Message, ...]
    if shift_min is None:
        leaves = (tell("fume.lead.not_reached", temp_c=temp_c),)
    else:
        leaves = (
            tell("fume.lead", lead=rough(1000.0 * rate), temp_c=temp_c),
            tell("fume.lead.reached", minutes=rough(shift_min))
            if shift_min >= 1.0
            else tell("fume.lead.reached_soon", seconds=rough(max(1.0, 60.0 * shift_min))),
        )
    return LeadReport(
        temp_c=temp_c,
        lead_pa=pressure_pa,
        bare_g_per_min=rate,
        shift_min=shift_min,
        words=(*leaves, tell("fume.lead.dust", limit=governs.told()), *_stand_in(air_limits)),
    )


def _stand_in(air_limits: AirLimits) -> tuple[Message, ...]:
    if not exposure_limits.stands_in("lead", "8 h", air_limits):
        return ()
    return (tell("fume.lead.stand_in", region=tell(f"fume.region.{air_limits}")),)
