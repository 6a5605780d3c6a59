"""What a probe's tip is in: metal, metal that cold returns chill, lumps, dross, chamber gas or a rim, air.

A recursive Bayes filter (hidden Markov model, forward step; textbook): what a sheath of this time constant does in each
of them, against the trace, block by block. In: samples with their time, the band the bath can be in. Out: the weights,
and the evidence (natural logarithm of odds) that the tip has left the metal. The clock is an argument.

In a medium of temperature M the sheath goes by (M - T)/tau. In metal tau is the sheath's own, known to a factor of two;
in air it is that of the published table of moving air (thermometry/sheaths.py), times 50 W/m2K over what there is:
10 W/m2K of still air to 60 of a draught (natural convection on a rod, any heat transfer text), and radiation with an
emissivity of 0.5 to 1. So a sheath that falls faster than that is not in air: it touches colder metal. Prior rates of
change are ours, judged on simulated melts (tests/normal) and on pulls, rims, dross and returns
(tests/engine/test_immersion.py).
"""

import math
from dataclasses import dataclass, replace
from enum import StrEnum

from pourcall.thermometry.sheaths import SheathRule

SIGMA, KELVIN, ROOM_C = 5.670374419e-8, 273.15, 20.0
STILL_W, DRAUGHT_W, PRINTED_W = 10.0, 60.0, 50.0
LEAST_EMISSIVITY = 0.5
BATH_FALLS, BATH_RISES = 1.0, 1.3  # degC/s, of metal in a furnace; an open pot in the hand, seldom:
POT_FALLS, POT_RISES = 2.7, 2.0
LUMPS_C_PER_S = 4.0  # a charge that shifts round the tip
NOISE_C, LEAST_SIGMA = 0.5, 0.08
FLOOR = 1e-5  # no model explains everything: a block may always be something else
SAME_AIR = 0.15  # from block to block a sheath in air keeps its rate, as the temperature falls
SAME_SHARE = 0.8
COMES_BACK = 0.5  # degC/s
LIKE_AIR = (0.8, 1.3)
APART_C, APART_S = 6.0, 8.0  # beyond the bath's band by this is one deviation; blocks within so long are one fact
LUMP_CHILLS = 8.0  # degC/s
DROSS_BELOW_C = (8.0, 90.0)
SLOW_TAUS = 3.0  # dross and chilled metal hold a tip back so many times longer than a bath does
BATH_SPREAD_C, BATH_DRIFT = 5.0, 0.3  # how well the bath is known, and its rate, degC/s, from when it was last seen
CHILLED_FOR_SURE = 0.6
NONE_LEFT = 1e-9
SEEN = 0.95  # so sure that it stands in the metal before what it reads is the bath's
RATE_KEEP_S, AHEAD_S = 30.0, 20.0


class Medium(StrEnum):
    """What the tip is in."""

    METAL = "metal"
    CHILLED = "chilled"  # in metal, with colder metal just put in beside it
    LUMPS = "lumps"  # between lumps of a charge not yet molten
    DROSS = "dross"
    GAS = "gas"  # chamber gas, or laid on a rim: as slow as in air, towards any temperature
    AIR = "air"


AMONG_LUMPS_PER_S = 1 / 60.0  # as long as the charge has not melted; it stays so till it has
# How often a tip goes from metal to each of these, per second; and back to metal, where it does by itself.
FROM_METAL = {
    Medium.CHILLED: 1 / 900.0,
    Medium.LUMPS: AMONG_LUMPS_PER_S,
    Medium.DROSS: 1 / 6000.0,
    Medium.GAS: 1 / 3000.0,
    Medium.AIR: 1 / 900.0,
}
BACK_S = {Medium.LUMPS: 300.0, Medium.DROSS: 900.0, Medium.GAS: 900.0, Medium.AIR: 900.0}
CHILLED_TAUS, CHILLED_S = 4.0, 6.0
RETURNS_FACTOR, RETURNS_S = 60.0, 60.0  # a person said that cold metal goes in


@dataclass(frozen=True, slots=True)
class Bath:
    """What the bath was last at for sure: degC, degC a second, half-width, when."""

    temp_c: float
    rate: float
    u_c: float
    at_s: float

    def band(self, at_s: float) -> tuple[float, float]:
        """Lowest and highest it can be by now."""
        age_s = max(at_s - self.at_s, 0.0)
        mid_c, half_c = self.temp_c + self.rate * min(age_s, AHEAD_S), self.u_c + BATH_DRIFT * age_s
        return mid_c - half_c, mid_c + half_c


class ImmersionFilter:
    """One probe. `enter` when it is seen to be in; `add` each sample; `out`: evidence that it left."""

    __slots__ = ("_block", "_last_rate", "_returns_s", "_rule", "bath", "fell_s", "weights")

    def __init__(self, rule: SheathRule) -> None:
        self._rule = rule
        self.weights: dict[Medium, float] = {}
        self.bath: Bath | None = None
        self.fell_s: float | None = None  # since when it has fallen without a break, as no bath does
        self._block: tuple[float, float] | None = None
        self._last_rate: tuple[float, float] | None = None  # rate and temperature of the block before
        self._returns_s = -1e9
        self.enter()

    def enter(self) -> None:
        """It is in the metal, as far as can be told; of the bath nothing is known."""
        self.weights = dict.fromkeys(Medium, 0.002)
        self.weights[Medium.METAL] = 0.99
        self.bath = self.fell_s = self._block = self._last_rate = None

    def returns(self, mono_s: float) -> None:
        """A person says that cold metal goes in: the bath may fall, and a tip beside it further."""
        self._returns_s, self.bath = mono_s, None

    def returns_since(self, mono_s: float) -> bool:
        """A person said since then that cold metal goes in."""
        return self._returns_s >= mono_s

    @property
    def doubt(self) -> float:
        """Natural logarithm of the odds that what it reads is not the bath's."""
        return _odds(1.0 - self.weights[Medium.METAL] - self.weights[Medium.LUMPS])

    @property
    def in_air(self) -> float:
        """Natural logarithm of the odds that the tip is in air or gas, where it cools as it would in a room."""
        if self._last_rate is None:
            return -math.inf
        rate, temp_c = self._last_rate
        slowest, fastest = self._air_rates(temp_c)
        as_in_air = LIKE_AIR[0] * slowest <= -rate <= LIKE_AIR[1] * fastest
        return _odds(self.weights[Medium.AIR] + self.weights[Medium.GAS]) if as_in_air else -math.inf

    @property
    def likeliest(self) -> Medium:
        """The medium with most weight."""
        return max(self.weights, key=lambda medium: self.weights[medium])

    def add(self, at_s: float, temp_c: float, *, solid: bool) -> None:
        """One followed sample. Blocks are as long as this sheath's movement is judged over.

        solid: the charge is not known to have melted. A tip between lumps half sees the pot: it may read far above its
        metal and fall again, and nothing it reads there is what the bath was last at.
        """
        if solid:
            self.bath = None
        elif self.weights[Medium.LUMPS] > NONE_LEFT:
            self.weights[Medium.METAL] += self.weights[Medium.LUMPS]
            self.weights[Medium.LUMPS] = NONE_LEFT
        if self._block is None:
            self._block = (at_s, temp_c)
            return
        began_s, from_c = self._block
        step_s = at_s - began_s
        if step_s < self._rule.span_s - 1e-6:
            return
        self._block = (at_s, temp_c)
        rate, middle_c = (temp_c - from_c) / step_s, 0.5 * (temp_c + from_c)
        if rate >= -BATH_FALLS:
            self.fell_s = None
        elif self.fell_s is None:
            self.fell_s = began_s
        if self._last_rate is not None:  # before, nothing is known of how it settles
            self._step(at_s, step_s, solid=solid)
            self._comes_back(step_s, rate, solid=solid)
            self._weigh(at_s, step_s, middle_c, rate, solid=solid)
        self._last_rate = (rate, middle_c)
        if not solid:
            self._learn(at_s, step_s, temp_c, rate)

    def _comes_back(self, step_s: float, rate: float, *, solid: bool) -> None:
        """What fell as no bath does and warms again by itself is in metal: chilled, or pushed back in."""
        if self._last_rate is None or self._last_rate[0] >= -BATH_FALLS:
            return
        if rate > max(COMES_BACK, 3.0 * NOISE_C / step_s):
            self.bath = None
            self.weights = dict.fromkeys(Medium, 0.02)
            self.weights[Medium.LUMPS if solid else Medium.CHILLED] = 0.9

    # -- the forward step ---------------------------------------------------------------------------------------------

    def _step(self, at_s: float, step_s: float, *, solid: bool) -> None:
        weights, metal = self.weights, self.weights[Medium.METAL]
        chilled_s = CHILLED_TAUS * self._rule.tau_metal_s + CHILLED_S
        told = at_s - self._returns_s <= RETURNS_S
        for medium, per_s in FROM_METAL.items():
            if medium is Medium.LUMPS and not solid:
                continue
            often = RETURNS_FACTOR if told and medium is Medium.CHILLED else 1.0
            goes = metal * min(per_s * often * step_s, 0.5)
            comes = weights[medium] * min(step_s / BACK_S.get(medium, chilled_s), 0.9)
            weights[medium] += goes - comes
            weights[Medium.METAL] += comes - goes
        # a tip that was chilled, or in dross, may be pulled out as well
        for medium in (Medium.CHILLED, Medium.LUMPS, Medium.DROSS, Medium.GAS):
            goes = weights[medium] * min(step_s * FROM_METAL[Medium.AIR], 0.5)
            weights[medium] -= goes
            weights[Medium.AIR] += goes

    def _weigh(self, at_s: float, step_s: float, temp_c: float, rate: float, *, solid: bool) -> None:
        sigma = math.hypot(NOISE_C / step_s, LEAST_SIGMA)
        gas = self._gas(temp_c, rate, sigma)
        chilled = self._chilled(temp_c, rate, sigma)
        among = max(gas, chilled, _flat(rate, -LUMPS_C_PER_S, LUMPS_C_PER_S, sigma))
        density = {
            Medium.METAL: self._in_bath(rate, sigma),
            Medium.CHILLED: 0.0 if solid else chilled,  # a cold lump beside it is one of the lumps
            Medium.LUMPS: among if solid else 0.0,
            Medium.AIR: self._air(temp_c, rate, sigma),
            Medium.GAS: gas,
            Medium.DROSS: self._dross(at_s, temp_c, rate, sigma),
        }
        share = min(step_s / APART_S, 1.0)
        off = self._off_bath(at_s, temp_c)
        apart = math.exp(-0.5 * min(off * off, 36.0) * share)
        for medium, likelihood in density.items():
            if medium is Medium.METAL:
                likelihood *= apart
            self.weights[medium] *= likelihood + FLOOR
        whole = sum(self.weights.values())
        for medium in self.weights:
            self.weights[medium] = max(self.weights[medium] / whole, NONE_LEFT)

    def _learn(self, at_s: float, step_s: float, temp_c: float, rate: float) -> None:
        """What it reads while it surely stands in the metal is the bath's."""
        if self.bath is not None and self.weights[Medium.CHILLED] > CHILLED_FOR_SURE:
            self.bath = replace(self.bath, u_c=self.bath.u_c + BATH_DRIFT * step_s)  # it may be a colder bath now
        if self.weights[Medium.METAL] < SEEN or not -BATH_FALLS <= rate <= BATH_RISES:
            return
        slow = 0.0 if self.bath is None else self.bath.rate
        slow += min(step_s / RATE_KEEP_S, 1.0) * (rate - slow)
        self.bath = Bath(temp_c, slow, BATH_SPREAD_C, at_s)

    def _off_bath(self, at_s: float, temp_c: float) -> float:
        """How far below the bath's band, in deviations; above is no sign: a shell that melts off does that."""
        if self.bath is None or at_s - self._returns_s <= RETURNS_S:
            return 0.0
        return max(self.bath.band(at_s)[0] - temp_c, 0.0) / APART_C

    # -- what a sheath does there -------------------------------------------------------------------------------------

    def _in_bath(self, rate: float, sigma: float) -> float:
        usual = 0.85 * _flat(rate, -BATH_FALLS, BATH_RISES, sigma) + 0.15 * _flat(rate, -POT_FALLS, POT_RISES, sigma)
        before = 0.0 if self._last_rate is None else self._last_rate[0]
        if -BATH_FALLS <= before <= BATH_RISES:
            return usual
        # it settles: what is to go shrinks with the sheath's own time constant, known to a factor of two
        span_s, tau_s = self._rule.span_s, self._rule.tau_metal_s
        ends = before * math.exp(-2.0 * span_s / tau_s), before * math.exp(-0.5 * span_s / tau_s)
        return 0.5 * usual + 0.5 * _flat(rate, min(ends), max(ends), sigma)

    def _chilled(self, temp_c: float, rate: float, sigma: float) -> float:
        """Falls as fast as the sheath can, ever slower, and comes back."""
        tau_s = self._rule.tau_metal_s
        lowest = -max(temp_c - ROOM_C, 50.0) / tau_s
        wide = _flat(rate, lowest, POT_RISES + 100.0 / tau_s, sigma)
        if self._last_rate is None or self._last_rate[0] >= -BATH_FALLS:
            return wide
        before = self._last_rate[0]
        slower = before * math.exp(-self._rule.span_s / (SLOW_TAUS * tau_s))
        tip = 0.5 * wide + 0.5 * _flat(rate, slower, POT_RISES, sigma)
        if before < -LUMP_CHILLS:
            return tip
        return 0.5 * tip + 0.5 * _flat(rate, 1.15 * before, 0.6 * before, sigma)  # a lump draws the whole bath down

    def _air(self, temp_c: float, rate: float, sigma: float) -> float:
        """Towards the room, at a rate that keeps as it does in air."""
        slowest, fastest = self._air_rates(temp_c)
        wide = _flat(rate, -fastest, -slowest, sigma)
        if self._last_rate is None or self._last_rate[0] >= 0.0:
            return wide
        before, at_c = self._last_rate
        kept = before * (temp_c - ROOM_C) / max(at_c - ROOM_C, 1.0)
        if not -1.3 * fastest <= kept <= -0.7 * slowest:
            return (1.0 - SAME_SHARE) * wide
        return (1.0 - SAME_SHARE) * wide + SAME_SHARE * _bell(rate - kept, math.hypot(SAME_AIR * kept, sigma))

    def _gas(self, temp_c: float, rate: float, sigma: float) -> float:
        """Towards anything between room and a glowing wall, no faster than in air, evenly."""
        _, fastest = self._air_rates(temp_c)
        wide = _flat(rate, -fastest, fastest, sigma)
        if self._last_rate is None:
            return wide
        kept = self._last_rate[0]
        if abs(kept) > 1.2 * fastest:
            return (1.0 - SAME_SHARE) * wide
        return (1.0 - SAME_SHARE) * wide + SAME_SHARE * _bell(rate - kept, math.hypot(SAME_AIR * kept, sigma, 1.0))

    def _dross(self, at_s: float, temp_c: float, rate: float, sigma: float) -> float:
        """Colder than the bath by some tens of degrees, and slow to get there."""
        if self.bath is None:
            return 0.0
        low_c, _ = self.bath.band(at_s)
        if not low_c - DROSS_BELOW_C[1] <= temp_c <= self.bath.temp_c - DROSS_BELOW_C[0]:
            return 0.0
        fastest = DROSS_BELOW_C[1] / (SLOW_TAUS * self._rule.tau_metal_s)
        return 0.8 * _flat(rate, -fastest, BATH_RISES, sigma)

    def _air_rates(self, temp_c: float) -> tuple[float, float]:
        """Slowest and fastest fall in a room, degC/s."""
        middle_k = 0.5 * (temp_c + ROOM_C) + KELVIN
        radiant_w = 4.0 * SIGMA * middle_k**3
        printed_s, above_c = self._rule.tau_air_s, max(temp_c - ROOM_C, 0.0)
        slowest = above_c * (STILL_W + LEAST_EMISSIVITY * radiant_w) / (PRINTED_W * printed_s)
        return slowest, above_c * (DRAUGHT_W + radiant_w) / (PRINTED_W * printed_s)


def _odds(share: float) -> float:
    return math.log(max(share, 1e-9) / max(1.0 - share, 1e-9))


def _flat(value: float, low: float, high: float, sigma: float) -> float:
    """Density of what lies evenly between two values, seen with a scatter."""
    width = max(high - low, sigma)
    root = sigma * math.sqrt(2.0)
    return 0.5 * (math.erf((value - low) / root) - math.erf((value - high) / root)) / width


def _bell(value: float, sigma: float) -> float:
    return math.exp(-0.5 * (value / sigma) ** 2) / (sigma * math.sqrt(2.0 * math.pi))
