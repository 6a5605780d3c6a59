"""The melting arrest on heating. Level and slope of a trace in, whether the metal melts or has melted out.

Between lumps a probe half sees the pot: it reads some tens of degrees too high, and may even fall while the bath rises
round it. So nothing is read off here as a measure. What counts is heat: while metal melts, the trace rises far slower
than before, and the degrees it falls behind (the rate before, less the slope, over time) come to latent heat over
specific heat. Much less is a lump that shifted, much more is a furnace that holds. Lumped balance as in the cooling
curve method (Metals 16 (2026) 54), read on heating; the shares are ours, tried on 122 simulated melts (tests/normal).
"""

from dataclasses import dataclass
from enum import StrEnum

from pourcall.contract.plan import AlloyFacts
from pourcall.thermal_analysis.arrests import LEAST_RATE_C_PER_S, RATE_KEEP_S
from pourcall.thermal_analysis.freezing import HELD_SHARE

NEAR_C = 25.0  # a probe may be out by so much; further from the melting range nothing is taken for melting,
NEAR_COLD_C, NEAR_SHARE = 5.0, 0.065  # and by less where it is not so hot: this and a share of the temperature
SLOW_SHARE = 0.5  # of the rate before: something holds it back
HALT_SHARE = 0.3  # of it: it hardly rises
FREE_SHARE = 0.5  # again, and
SPRUNG = 1.8  # times as fast as while it was slow: it goes on
LEAST_S = 20.0
AGAIN_S = 10.0  # slow, or free, for so long before it is believed
MELTED_SHARE = 0.2  # of latent heat over specific heat: so much at the least for the whole of the metal
BACK_C = 6.0  # below where melting was over: it freezes, or cold metal went in
BELOW_C = 10.0  # below the solidus: certainly solid, for a probe that is not far out
DISTURBED_S = 30.0
CELL_C = 5.0
LIQUID_SHARE = 0.95  # of the metal: less is not called liquid
# Heat put into it can at most have doubled since it began to melt: once wet, the charge takes up what the pot holds.
MOST_GAIN = 2.0
CERTAIN_S = 30.0  # above all that its melting can read, for so long


class Stage(StrEnum):
    """Where the melting stands, by the shape of the trace alone."""

    BEFORE = "before"  # or not to be told
    MELTS = "melts"
    OVER = "over"


@dataclass(slots=True)
class Slow:
    """One stretch in which the trace fell behind its rate before."""

    since_s: float
    from_c: float
    rate: float  # before, degC/s
    until_s: float = 0.0
    to_c: float = 0.0
    behind_k: float = 0.0  # degrees it fell behind
    steady_c: float = 0.0  # where it was flattest
    halt_c: float = 0.0  # how far up it hardly rose: the end of what melts
    halted_s: float = 0.0  # when that was
    believed: bool = True
    disturbed: bool = False  # its rate before may be another one by now
    high_c: float = -1e9
    slope: float = 0.0  # smoothed
    slow_slope: float = 1e9  # least of it
    free_s: float = 0.0
    flat_sum: float = 0.0
    flat_weight: float = 0.0

    @property
    def lasted_s(self) -> float:
        """Seconds."""
        return self.until_s - self.since_s


class MeltingWatch:
    """One probe in one melt. `add` each line of an ArrestWatch."""

    def __init__(self, facts: AlloyFacts) -> None:
        self.facts = facts
        self.stage = Stage.BEFORE
        self.rate: float | None = None  # at which it rises freely
        self.slow: Slow | None = None
        self.ended: list[Slow] = []  # every believed stretch that is over, at most eight
        self.over_c = 0.0  # reading at which melting was over
        self.behind_k = 0.0  # of all stretches together
        # cell of CELL_C -> least share of the rate before melting it rose with there, and when it was last there
        self.free: dict[int, tuple[float, float]] = {}
        self.from_below = False  # followed since it was certainly solid
        self.level_c = -1e9
        self._at_s: float | None = None
        self._steady_s = self._slow_s = self._below_s = 0.0
        self._quiet_s = -1e9  # until then a rate is not to be learned
        self.been_liquid = False  # certainly, since it was last certainly solid
        self.like_another = False  # it hangs where another sheet melts: nothing is certain until that is over
        self._certain_s = 0.0
        self._began: tuple[float, float] | None = None  # when it passed its solidus, and its rate before (degC/s)
        self.near_c = min(NEAR_C, NEAR_COLD_C + NEAR_SHARE * facts.liquidus_c)
        self.solidus_c = min(facts.solidus_c, facts.eutectic_c or facts.solidus_c)
        cp = facts.cp_solid_j_per_kg_k
        self.whole_k = 1000.0 * facts.latent_kj_per_kg / cp if cp > 0.0 else 200.0

    @property
    def low_c(self) -> float:
        """Lowest reading that can be the melting of this alloy."""
        return self.solidus_c - self.near_c

    @property
    def high_c(self) -> float:
        """Highest reading that can."""
        return self.facts.liquidus_c + self.near_c

    @property
    def melting(self) -> bool:
        """It melts just now."""
        held = self.slow
        return self.stage is Stage.MELTS and held is not None and held.behind_k <= HELD_SHARE * self.whole_k

    @property
    def is_solid(self) -> bool:
        """So far below its solidus that it is solid for certain, by a probe that is in it now."""
        return self._at_s is not None and self.level_c < self.solidus_c - BELOW_C

    @property
    def awaited(self) -> bool:
        """It came from below, its melting was not seen, and it is not past all that could be it by reading and heat."""
        if not self.from_below or self.stage is not Stage.BEFORE or self.been_liquid:
            return False
        return self.level_c <= self.high_c or not self.could_be_liquid

    @property
    def could_be_liquid(self) -> bool:
        """Enough heat can have gone in since it passed its solidus; True where that is not known."""
        if self._began is None or self._at_s is None:
            return True
        began_s, rate = self._began
        return MOST_GAIN * rate * (self._at_s - began_s) >= LIQUID_SHARE * self.whole_k

    def lost(self) -> None:
        """The probe left the metal, or the trace broke: rates say nothing; what was over stays over."""
        self.rate = self.slow = self._at_s = self._began = None
        self.from_below = self.like_another = False
        self._steady_s = self._slow_s = self._below_s = 0.0
        if self.stage is Stage.MELTS:
            self.stage = Stage.BEFORE

    def disturbed(self, mono_s: float, span_s: float) -> None:
        """Power, lid, an addition: the rate is another one from now on. What stood before stood."""
        held, self._began = self.slow, None
        if held is None:
            self.rate, self._steady_s, self._slow_s = None, 0.0, 0.0
            self._quiet_s = mono_s + DISTURBED_S + 0.5 * span_s
        else:
            held.believed = held.believed and held.lasted_s >= LEAST_S
            held.slow_slope, held.disturbed = 1e9, True

    def hangs(self, *, like_another: bool) -> None:
        """Whether it hangs where another sheet melts: the analysis knows the others."""
        self.like_another = like_another

    def add(self, at_s: float, level_c: float, slope: float, noise: float) -> Slow | None:
        """One line: middle of its span (s), level there, slope (degC/s) and its noise. A slow stretch once over."""
        step_s = 0.0 if self._at_s is None else min(at_s - self._at_s, 60.0)
        self._at_s, self.level_c = at_s, level_c
        if step_s <= 0.0:
            return None
        self._know(at_s, level_c, step_s)
        if self.stage is Stage.OVER:
            self._below_s = self._below_s + step_s if level_c < self.over_c - BACK_C else 0.0
            if self._below_s >= LEAST_S:
                self.stage, self.rate, self.slow, self._steady_s = Stage.BEFORE, None, None, 0.0
        if self.rate is None:
            if at_s >= self._quiet_s:
                self._settle(slope, step_s, noise)
            return None
        if self.slow is None:
            self._freely(at_s, level_c, slope, step_s, noise)
            return None
        return self._slowly(self.slow, at_s, level_c, slope, step_s)

    def _know(self, at_s: float, level_c: float, step_s: float) -> None:
        """What is certain by the level and the heat put in."""
        if level_c < self.solidus_c - BELOW_C:
            self.from_below, self.been_liquid, self._began, self._certain_s = True, False, None, 0.0
            return
        if self._began is None and self.from_below and level_c < self.facts.liquidus_c:
            rate = self.rate if self.slow is None else self.slow.rate
            self._began = None if rate is None else (at_s, rate)
        past = level_c > self.high_c and self.could_be_liquid and not self.like_another
        liquid = self.stage is Stage.OVER or past
        self._certain_s = self._certain_s + step_s if liquid else 0.0
        if self._certain_s >= CERTAIN_S:
            self.been_liquid = True

    def _settle(self, slope: float, step_s: float, noise: float) -> None:
        if slope < max(LEAST_RATE_C_PER_S, 6.0 * noise):
            self._steady_s = 0.0
            return
        self._steady_s += step_s
        if self._steady_s >= AGAIN_S:
            self.rate, self._slow_s = slope, 0.0

    def _freely(self, at_s: float, level_c: float, slope: float, step_s: float, noise: float) -> None:
        assert self.rate is not None
        if slope < SLOW_SHARE * self.rate and self.rate - slope > 4.0 * noise:
            self._slow_s += step_s
            if self._slow_s >= AGAIN_S:
                self._slow_s = 0.0
                self.slow = Slow(at_s - AGAIN_S, level_c, self.rate, until_s=at_s, slope=slope, high_c=level_c)
            return
        self._slow_s = 0.0
        if slope > self.rate or self.stage is Stage.OVER or not self.low_c <= level_c <= self.high_c:
            self.rate += min(1.0, step_s / RATE_KEEP_S) * (slope - self.rate)  # what melts must not be learned
        before = self.ended[-1].rate if self.ended else self.rate
        self._mark(at_s, level_c, slope / before)
        if self.rate < LEAST_RATE_C_PER_S:
            self.rate, self._steady_s = None, 0.0

    def _slowly(self, held: Slow, at_s: float, level_c: float, slope: float, step_s: float) -> Slow | None:
        held.until_s, held.to_c = at_s, level_c
        held.behind_k += max(held.rate - slope, 0.0) * step_s
        held.high_c = max(held.high_c, level_c)
        held.slope += min(1.0, step_s / 15.0) * (slope - held.slope)
        if slope < HALT_SHARE * held.rate or not held.halt_c:
            held.halt_c, held.halted_s = level_c, at_s
        if held.lasted_s >= LEAST_S:
            held.slow_slope = min(held.slow_slope, held.slope)
            weight = 1.0 / (held.slope * held.slope + (0.05 * held.rate) ** 2)
            held.flat_sum += weight * level_c
            held.flat_weight += weight
            held.steady_c = held.flat_sum / held.flat_weight
        self._mark(at_s, level_c, slope / held.rate)
        near = self.low_c <= level_c <= self.high_c
        if self.stage is Stage.BEFORE and held.believed and near and held.lasted_s >= LEAST_S:
            self.stage = Stage.MELTS
        elif self.stage is Stage.MELTS and not near:
            self.stage = Stage.BEFORE
        if level_c < held.from_c - 60.0:  # cold metal went in, or it cools
            self.slow, self.rate, self._steady_s = None, None, 0.0
            self.stage = Stage.BEFORE if self.stage is Stage.MELTS else self.stage
            return None
        springs = slope >= max(FREE_SHARE * held.rate, SPRUNG * max(held.slow_slope, 0.0))
        held.free_s = held.free_s + step_s if springs and level_c >= held.high_c - 1.0 else 0.0
        if held.free_s < AGAIN_S:
            return None
        return self._free_again(held, level_c, slope)

    def _free_again(self, held: Slow, level_c: float, slope: float) -> Slow | None:
        self.slow = None
        held.to_c -= slope * held.free_s
        if held.believed:
            self.behind_k += held.behind_k
        whole = held.believed and MELTED_SHARE * self.whole_k <= self.behind_k and self.could_be_liquid
        if self.stage is not Stage.OVER:
            near = self.facts.liquidus_c - self.near_c <= level_c and self.low_c <= held.steady_c <= self.high_c
            self.stage = Stage.OVER if whole and near else Stage.BEFORE
            self.over_c = held.to_c
        keep = self.stage is Stage.BEFORE and not held.disturbed
        self.rate = max(slope, held.rate) if keep else slope
        if not whole:
            return None
        self.ended.append(held)
        del self.ended[:-8]
        return held

    def _mark(self, at_s: float, level_c: float, share: float) -> None:
        cell = int(level_c / CELL_C)
        least = self.free.get(cell)
        self.free[cell] = (share if least is None else min(share, least[0]), at_s)

    def share(self, low_c: float, high_c: float) -> float | None:
        """Mean of the shares it passed these cells at; None: not all were passed."""
        cells = range(int(low_c / CELL_C), int(high_c / CELL_C) + 1)
        seen = [self.free[cell][0] for cell in cells if cell in self.free]
        return sum(seen) / len(seen) if len(seen) == len(cells) else None

    def passed(self, low_c: float, high_c: float, least: float, *, since_s: float = -1e18) -> bool:
        """Every cell from low to high was passed at no less than `least` of the rate before, none before since_s."""
        for cell in range(int(low_c / CELL_C), int(high_c / CELL_C) + 1):
            seen = self.free.get(cell)
            if seen is None or seen[0] < least or seen[1] < since_s:
                return False
        return True
