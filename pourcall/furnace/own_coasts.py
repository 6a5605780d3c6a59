"""How far the metal of this furnace ran on when its power went off, melt by melt, and what that says of the next time.

No physics. At one setting of the power a furnace's coast hardly changes from melt to melt, nor with the charge: the
wall stands as far above the metal each time it comes by. So the last coasts are the best witness of the next, by their
mean; a hotter cut runs on a little less; at another power the coast goes as the rate. In: a recorded melt, or the melt
that runs. Out: `OwnCoast`s that the furnace's model keeps, and a `Foreseen` with its standard uncertainty. Pure.
"""

import math
from collections.abc import Iterable, Sequence
from itertools import pairwise
from typing import NamedTuple

import msgspec

from pourcall.contract.furnace_model import FurnaceModel, OwnCoast
from pourcall.contract.plan import AlloyFacts
from pourcall.furnace.molten import RATE_S, TraceEnd, molten_from_s, slope
from pourcall.furnace.training import LOW, LearnTrace
from pourcall.metal.heat.curve import curve_of

COAST_S, LEAST_COAST_S = 420.0, 60.0
PEAKED_C = 1.0  # so far below its highest again, or as flat as that for a minute, it has peaked
KNEE_SHARE = 0.5  # the rise gave way before the mark, which was then made late: nothing is learned of such a coast
LEAST_RATE_C_PER_MIN = 4.0  # slower, and no coast is worth the name
LIQUID_BY_C = 2.0
# The physics against the coasts of its own furnace: what it was out by on simulated melts (lumped), k = 1
PHYSICS_SD_C, PHYSICS_SD_SHARE = 6.0, 0.25
PEAKED_SD_C = 2.0  # where it was seen to have peaked
HOTTER_SHARE = -0.2  # K of coast for each K that the cut was hotter: the wall gains less than the metal (tuned, lumped)
ONE_SD_C, ONE_SD_SHARE = 2.5, 0.06  # of one coast from the mean of its furnace, before its own scatter is known (tuned)
WORTH = 3.0  # as many coasts as that is worth
LATEST = 6  # a lining ages; older ones are left out
OTHER_ALLOY_SD = 0.35  # of the logarithm: a coast in another alloy says little of this one (ours)
OTHER_POWER_SD = 0.25  # the same of a coast at another power, scaled by the rate (ours)
# Before anything was seen of a furnace: seconds that the rise of the moment goes on for, in all kinds of furnaces
ANY_S, ANY_SD = 25.0, 0.7  # its middle, and the standard deviation of its logarithm (simulated furnaces 8 to 90 s)


class Foreseen(NamedTuple):
    """Rise still to come once the power goes off, degC, and its standard uncertainty."""

    rise_c: float
    sd_c: float


class Peak(NamedTuple):
    """Where the metal peaks, degC, and its standard uncertainty."""

    c: float
    sd_c: float


class CoastWatch:
    """The coast of the melt that runs, from the moment the power went off until it has peaked."""

    def __init__(self, end: TraceEnd, cut_s: float, share: float, earlier_c_per_s: float) -> None:
        self.end, self.cut_s, self.share, self._earlier = end, cut_s, share, earlier_c_per_s
        self.after: list[tuple[float, float]] = []
        self.peaked, self._told = False, False

    def add(self, at_s: float, reading_c: float) -> None:
        """A reading with the power off."""
        after = self.after
        after.append((at_s, reading_c))
        if self.peaked or at_s - self.cut_s < LEAST_COAST_S:
            return
        lately = [c for at, c in after if at > at_s - 60.0]
        self.peaked = reading_c < max(c for _, c in after) - PEAKED_C or max(lately) - min(lately) < PEAKED_C

    def made(self, alloy: AlloyFacts) -> OwnCoast | None:
        """What it showed, once; None: not yet, told already, or nothing."""
        if not self.peaked or self._told:
            return None
        self._told = True
        return made_of(alloy, self.end, self.after, share=self.share, earlier_c_per_s=self._earlier, of="")

    def peak_c(self, coasts: Sequence[OwnCoast], alloy: str) -> Peak | None:
        """Where it peaks, told by its beginning, or seen; None: nothing tells."""
        began_c, rate = self.end.metal_c(), self.end.rate_c_per_s
        highest_c = max((c for _, c in self.after), default=None)
        if self.peaked and highest_c is not None:
            return Peak(self.after[-1][1], PEAKED_SD_C)
        if began_c is None or rate is None:
            return None
        told = foreseen(coasts, alloy, began_c, 60.0 * rate, self.share)
        return None if told is None else Peak(max(began_c + told.rise_c, highest_c or began_c), told.sd_c)


def of_line(
    end: TraceEnd, coasts: Sequence[OwnCoast], alloy: str, share: float, mono_s: float, delay_s: float
) -> Peak | None:
    """Where the metal peaks if the power is cut `delay_s` from now: the last minute is drawn on to the cut."""
    cut_c, rate = end.rising_to_c(mono_s, delay_s), end.rate_c_per_s
    if cut_c is None or rate is None:
        return None
    told = foreseen(coasts, alloy, cut_c, 60.0 * rate, share)
    return None if told is None else Peak(cut_c + told.rise_c, math.hypot(told.sd_c, 0.1 * rate * delay_s))


def physics_sd_c(spread_c: float, rise_c: float) -> float:
    """Of a peak that the model foretells, beside own coasts, where its ensemble spreads so."""
    return math.hypot(spread_c, PHYSICS_SD_C, PHYSICS_SD_SHARE * max(0.0, rise_c))


def weighed(one: Peak, other: Peak) -> Peak:
    """Both together, each by what is known of it."""
    by_one, by_other = 1.0 / one.sd_c**2, 1.0 / other.sd_c**2
    return Peak((one.c * by_one + other.c * by_other) / (by_one + by_other), 1.0 / math.sqrt(by_one + by_other))


def foreseen(
    coasts: Sequence[OwnCoast], alloy: str, cut_c: float, rate_c_per_min: float, share: float
) -> Foreseen | None:
    """What the coasts say of a cut at this temperature, rising so, at this share of full power; None: nothing."""
    if rate_c_per_min <= 0.0:
        return None
    told = [coast for coast in coasts if coast.rise_c > 0.0 and coast.rate_c_per_min > 0.0][-LATEST:]
    if not told:
        rise_c = rate_c_per_min / 60.0 * ANY_S
        return Foreseen(rise_c, math.hypot(ANY_SD * rise_c, ONE_SD_C))
    weights, rises = [], []
    for coast in told:
        rise_c, doubt = coast.rise_c, (coast.sd_c / max(coast.rise_c, 3.0)) ** 2
        if abs(coast.share - share) > 0.15:
            rise_c *= min(3.0, max(0.2, rate_c_per_min / coast.rate_c_per_min))
            doubt += OTHER_POWER_SD**2
        elif coast.alloy == alloy:
            rise_c = max(0.3 * rise_c, rise_c + HOTTER_SHARE * (cut_c - coast.cut_c))
        if coast.alloy != alloy:
            doubt += OTHER_ALLOY_SD**2
        rises.append(rise_c)
        weights.append(1.0 / (doubt * rise_c**2 + ONE_SD_C**2 + (ONE_SD_SHARE * rise_c) ** 2))
    total = sum(weights)
    mean_c = sum(w * c for w, c in zip(weights, rises, strict=True)) / total
    usual = ONE_SD_C**2 + (ONE_SD_SHARE * mean_c) ** 2
    own = sum(w * (c - mean_c) ** 2 for w, c in zip(weights, rises, strict=True)) / total
    count = len(told)
    scatter = (WORTH * usual + (count - 1) * own) / (WORTH + count - 1)
    return Foreseen(mean_c, math.sqrt(scatter + 1.0 / total))


def of_trace(trace: LearnTrace) -> tuple[OwnCoast, ...]:
    """The coasts of one recorded melt with a probe left in the pot; none where it was not liquid, or not told apart."""
    if not trace.times_s:
        return ()
    made, power = [], sorted(trace.power)
    metal = curve_of(trace.alloy)
    molten_s = molten_from_s(metal, trace.sheath_s, trace.times_s, trace.temps_c, power, trace.added, trace.charge_kg)
    if molten_s is None:
        return ()
    for before, (cut_s, share) in pairwise(power):
        if share != 0.0 or before[1] == 0.0 or before[1] == LOW or cut_s < molten_s:
            continue
        until_s = next((at for at, level in power if at > cut_s and level != 0.0), math.inf)
        if any(cut_s - 240.0 < at < cut_s + COAST_S for at, _ in trace.added):
            continue  # cold metal in it: not this furnace's coast
        coast = _coast(trace, cut_s, min(until_s, cut_s + COAST_S), before[1], molten_s)
        if coast is not None:
            made.append(coast)
    return tuple(made)


def with_coasts(model: FurnaceModel, traces: Iterable[LearnTrace]) -> FurnaceModel:
    """The model with the coasts of these melts, oldest first."""
    found = [coast for trace in traces for coast in of_trace(trace)]
    return msgspec.structs.replace(model, coasts=tuple(found[-LATEST:]))


def _coast(trace: LearnTrace, cut_s: float, until_s: float, share: float, molten_s: float) -> OwnCoast | None:
    end = TraceEnd(trace.sheath_s)
    before: list[tuple[float, float]] = []
    after: list[tuple[float, float]] = []
    for at, reading_c in zip(trace.times_s, trace.temps_c, strict=True):
        if at <= cut_s:
            end.add(at, reading_c)
            if cut_s - 2.5 * RATE_S < at < cut_s - RATE_S and at > molten_s + RATE_S:
                before.append((at, reading_c))
        elif at <= until_s:
            after.append((at, reading_c))
    earlier = slope(before) if len(before) > 10 else 0.0
    return made_of(trace.alloy, end, after, share=share, earlier_c_per_s=earlier, of=trace.melt)


def made_of(
    alloy: AlloyFacts,
    end: TraceEnd,
    after: Sequence[tuple[float, float]],
    *,
    share: float,
    earlier_c_per_s: float,
    of: str,
) -> OwnCoast | None:
    """One coast from the trace up to the cut and what came after it; None: it did not show one.

    earlier_c_per_s: how fast it rose in the minutes before, at most; a rise that had given way before the mark tells
    that the mark was late.
    """
    cut_c, rate = end.metal_c(), end.rate_c_per_s
    if cut_c is None or rate is None or not after or after[-1][0] - after[0][0] < LEAST_COAST_S:
        return None
    if cut_c < alloy.liquidus_c + LIQUID_BY_C or 60.0 * rate < LEAST_RATE_C_PER_MIN:
        return None
    if rate < KNEE_SHARE * earlier_c_per_s:
        return None
    peak_c = max(c for _, c in after)
    last = after[-1]
    flat = max(c for at, c in after if at > last[0] - 60.0) - min(c for at, c in after if at > last[0] - 60.0)
    if last[1] > peak_c - PEAKED_C and flat > PEAKED_C:
        return None  # it still rises
    return OwnCoast(of, alloy.key, cut_c, 60.0 * rate, max(0.5, peak_c - cut_c), share)
