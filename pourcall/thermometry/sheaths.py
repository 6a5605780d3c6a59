"""How fast the tubes over a thermocouple follow, by the name of the sheath in the settings.

Response times are those of mineral-insulated sheaths in water as published (sab-cable.com table: t90 2.9 s for 3 mm,
9.6 s for 6 mm, tau = t90/2.303) and, for ceramic tubes, common practice, no source. The rates are ours, judged on
simulated melts (tests/normal).
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class SheathRule:
    """How fast a sheath follows, and from which rate on it must be moving and not the metal round it."""

    tau_metal_s: float
    span_s: float  # over which its movement is judged
    surge_up_c_per_s: float  # faster: entering something hot
    surge_down_c_per_s: float  # faster: leaving; metal in a pot never cools so fast


SHEATHS: dict[str, SheathRule] = {
    "thin": SheathRule(tau_metal_s=1.0, span_s=1.5, surge_up_c_per_s=12.0, surge_down_c_per_s=9.0),
    "mineral_3mm": SheathRule(tau_metal_s=1.3, span_s=2.0, surge_up_c_per_s=10.0, surge_down_c_per_s=7.0),
    "mineral_6mm": SheathRule(tau_metal_s=4.2, span_s=3.0, surge_up_c_per_s=7.0, surge_down_c_per_s=4.5),
    "ceramic_tube": SheathRule(tau_metal_s=30.0, span_s=8.0, surge_up_c_per_s=3.0, surge_down_c_per_s=1.6),
}
