"""How fast the tubes over a thermocouple follow, by the name of the sheath in the settings.

Response times are those of mineral-insulated sheaths in water as published (sab-cable.com table: t90 2.9 s for 3 mm,
9.6 s for 6 mm; in moving air 25 s for 1.5 mm, 80 s for 3 mm, 200 s for 6 mm; tau = t90/2.303) and, for ceramic tubes,
common practice, no source. The rates are ours, judged on simulated melts (tests/normal).
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class SheathRule:
    """How fast a sheath follows, and from which rate on it must be moving and not the metal round it."""

    tau_metal_s: float
    span_s: float  # over which its movement is judged
    surge_up_c_per_s: float  # faster: entering something hot
    surge_down_c_per_s: float  # faster: leaving; metal in a pot never cools so fast
    tau_air_s: float  # in moving air of a room


SHEATHS: dict[str, SheathRule] = {
    name: SheathRule(tau_s, span_s, up, down, tau_air_s)
    for name, tau_s, span_s, up, down, tau_air_s in (
        ("thin", 1.0, 1.5, 12.0, 9.0, 11.0),
        ("mineral_3mm", 1.3, 2.0, 10.0, 7.0, 35.0),
        ("mineral_6mm", 4.2, 3.0, 7.0, 4.5, 87.0),
        ("ceramic_tube", 30.0, 8.0, 3.0, 1.6, 170.0),
    )
}
