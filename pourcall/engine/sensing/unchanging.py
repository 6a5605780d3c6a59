"""A figure frozen to the last digit while the power is high (fault row T5): how long is too long. Pure.

Metal that is heated rises, or stands on a plateau with its noise; a chip that hangs says the same digits for ever.
What a plateau and a coarse instrument can explain is waited for. Times are ours, judged on simulated melts
(`tests/normal`).
"""

from enum import StrEnum

from pourcall.contract.plan import AlloyFacts

DOUBT_S, STUCK_S = 180.0, 480.0
NEAR_C = 15.0  # of solidus and liquidus, between them, and about an arrest: a plateau may be
PLATEAU_TIMES = 5.0
COARSE_TIMES = 3.0  # an instrument without decimals
LEAST_SAMPLES = 20


class Unchanging(StrEnum):
    """How surely a figure is frozen."""

    NO = "no"
    DOUBTFUL = "doubtful"
    STUCK = "stuck"


def unchanging(
    same_s: float, samples: int, raw: float, temp_c: float, high_s: float, alloy: AlloyFacts | None
) -> Unchanging:
    """same_s, samples: how long and how often the same digits came; high_s: how long the power has been high."""
    lasted_s = min(same_s, high_s)
    if samples < LEAST_SAMPLES or lasted_s < DOUBT_S:
        return Unchanging.NO
    times = COARSE_TIMES if raw == round(raw) else 1.0
    if alloy is None or _may_stand(temp_c, alloy):
        times *= PLATEAU_TIMES
    if lasted_s >= times * STUCK_S:
        return Unchanging.STUCK
    return Unchanging.DOUBTFUL if lasted_s >= times * DOUBT_S else Unchanging.NO


def _may_stand(temp_c: float, alloy: AlloyFacts) -> bool:
    low_c = min(alloy.solidus_c, alloy.eutectic_c or alloy.solidus_c, *alloy.arrests_c)
    return low_c - NEAR_C <= temp_c <= alloy.liquidus_c + NEAR_C
