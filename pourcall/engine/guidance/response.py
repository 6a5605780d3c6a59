"""Does the furnace do what it is set to. Flame out on a fuel furnace; power on and no heat arriving, by enthalpy.

Flame: the burner is marked on and the chamber goes down, or metal well above its liquidus does, for longer and further
than lid, skimming or a cold addition explain. "May be out": a person looks, we never touch gas.
Not responding: what the charge can at most have gained in ten minutes at full power is below a twentieth of what was
put in. A plateau is normal: what counts is the latent heat it may hide, never a missing rise.
Thresholds are ours, judged on simulated melts (tests/furnace/test_response.py): no source.
"""

import math
from collections import deque
from dataclasses import dataclass

from pourcall.contract.inputs import PowerLevel
from pourcall.contract.message import NOTHING, Message, tell
from pourcall.contract.plan import AlloyFacts
from pourcall.metal.heat.curve import HeatCurve, curve_of

EVERY_S = 5.0
KEEP_S = 900.0
# chamber: so far, for so long without a pause, still so fast
CHAMBER_FALL_C, CHAMBER_FOR_S, CHAMBER_RATE_C_PER_MIN = 30.0, 100.0, 6.0
# A charge that becomes wet takes more than the flame gives: pot, wall and chamber fall for minutes at a full flame, and
# the metal melts, or rises. So where it may be melting only what goes on far is a flame that is out: it falls at twice
# the pace.
MELTING_CHAMBER_FALL_C = 150.0
RISES_C_PER_MIN = 2.0
AFTER_LOW_S = 420.0  # turned down: the chamber falls to its new level by itself
AFTER_DIP_S = 120.0  # lid, skimming, a dip: heat was let out
METAL_FALL_C, METAL_FOR_S, METAL_RATE_C_PER_MIN = 8.0, 200.0, 2.0
CLEAR_OF_LIQUIDUS_C, CLEAR_OF_SOLIDUS_C = 12.0, 20.0
MUSHY_FALL_C, MUSHY_FOR_S = 15.0, 360.0
AFTER_ADDITION_S, AFTER_ADDITION_CHAMBER_S = 420.0, 240.0
STEADY_SHARE = 0.55  # of its fastest minute: an addition's fall dies away, a dead flame's does not
WINDOW_S = 600.0
FIRST_S = 300.0  # a cold furnace warms itself first
LEAST_SHARE = 0.05
U_READING_C = 8.0
LUMPS_FOR_S = 300.0
LUMPS_ABOVE_C = 25.0  # as far above the liquidus as a melting is looked for (thermal_analysis/melting.py)
UNKNOWN_W_PER_KG = 200.0  # what even a weak furnace puts into the metal and its pot


@dataclass(frozen=True, slots=True)
class FurnaceObserved:
    """What the probes, the person and the plan tell of a furnace at one second."""

    mono_s: float
    power: PowerLevel | None  # None: nobody says
    metal_c: float | None  # of a probe that stays in the metal
    chamber_c: float | None
    alloy: AlloyFacts | None
    mass_kg: float
    target_c: float | None  # metal held there is where it should be
    between_lumps: bool = False  # its tip may be: what that reads may fall far at a full flame
    busy: bool = False  # lifted, pouring, a dip going on


@dataclass(frozen=True, slots=True)
class Findings:
    """What is wrong with the furnace, each the detail of an alarm; NOTHING: nothing is."""

    flame_out: Message = NOTHING
    not_responding: Message = NOTHING


@dataclass(slots=True)
class _Fall:
    """A fall without a pause."""

    since_s: float
    from_c: float
    fastest: float = 0.0  # degC in a minute
    melting: bool = False  # in a part of it the metal may have melted


class ResponseWatch:
    """One furnace. `update` once a second while a melt runs; what it finds holds until it does not any more."""

    def __init__(self, *, fuel: bool, power_w: float | None = None) -> None:
        """power_w: useful power at full, the least it may be (lower end of the learned one); None: not known."""
        self.fuel, self.power_w = fuel, power_w
        self._metal: deque[tuple[float, float]] = deque()
        self._chamber: deque[tuple[float, float]] = deque()
        self._metal_fall: _Fall | None = None
        self._chamber_fall: _Fall | None = None
        self._level: PowerLevel | None = None
        self._level_s = -1e9
        self._on_s: float | None = None
        self._disturbed_s = -1e9
        self._added_s = -1e9
        self._at_s = -1e9
        self._found = Findings()

    def disturbed(self, mono_s: float) -> None:
        """Lid, skim, dip, stirring."""
        self._disturbed_s = mono_s

    def added(self, mono_s: float) -> None:
        """Cold metal went in."""
        self._added_s = mono_s
        self._metal.clear()

    def update(self, now: FurnaceObserved) -> Findings:
        """What is found now."""
        mono_s, power = now.mono_s, now.power
        if power is not self._level:
            self._level, self._level_s = power, mono_s
        on = power in (PowerLevel.LOW, PowerLevel.HIGH)
        full = power is PowerLevel.HIGH
        if not full:
            self._on_s = None
        elif self._on_s is None:
            self._on_s = mono_s
            self._metal.clear()
        if now.busy or not on:
            self._metal_fall = self._chamber_fall = None
            self._found = Findings()
            if now.busy:
                self._disturbed_s = mono_s
            return self._found
        if mono_s - self._at_s < EVERY_S:
            return self._found
        self._at_s = mono_s
        _keep(self._metal, mono_s, now.metal_c)
        _keep(self._chamber, mono_s, now.chamber_c)
        flame = NOTHING
        if self.fuel:
            self._metal_fall = _fall(self._metal_fall, self._metal, mono_s)
            self._chamber_fall = _fall(self._chamber_fall, self._chamber, mono_s)
            flame = self._chamber_out(mono_s, now.alloy)
            if not now.between_lumps:
                flame = flame or self._metal_out(mono_s, now.alloy)
        self._found = Findings(flame, self._silent(now) if full else NOTHING)
        return self._found

    def _chamber_out(self, mono_s: float, alloy: AlloyFacts | None) -> Message:
        fall = self._chamber_fall
        if fall is None:
            return NOTHING
        fall.melting = fall.melting or self._may_melt(alloy)
        if mono_s - self._disturbed_s < AFTER_DIP_S or mono_s - self._added_s < AFTER_ADDITION_CHAMBER_S:
            return NOTHING
        if self._level is PowerLevel.LOW and fall.since_s - self._level_s < AFTER_LOW_S:
            return NOTHING
        now_c = self._chamber[-1][1]
        rate = -_rate(self._chamber, 60.0)
        far = fall.melting or _rate(self._metal, 30.0) > RISES_C_PER_MIN
        least_c = MELTING_CHAMBER_FALL_C if far else CHAMBER_FALL_C
        if fall.from_c - now_c < least_c or mono_s - fall.since_s < CHAMBER_FOR_S:
            return NOTHING
        if rate < CHAMBER_RATE_C_PER_MIN or rate < STEADY_SHARE * 0.5 * fall.fastest:
            return NOTHING
        return tell(
            "response.chamber_fell",
            fell_difference_c=fall.from_c - now_c,
            fell_s=mono_s - fall.since_s,
            level=self._level_marked,
        )

    def _may_melt(self, alloy: AlloyFacts | None) -> bool:
        """It may be melting: it reads so, or nothing in it reads at all."""
        return not self._metal or (alloy is not None and _mushy(self._metal[-1][1], alloy))

    def _metal_out(self, mono_s: float, alloy: AlloyFacts | None) -> Message:
        fall = self._metal_fall
        if fall is None or alloy is None or mono_s - self._added_s < AFTER_ADDITION_S:
            return NOTHING
        if mono_s - self._disturbed_s < AFTER_DIP_S:
            return NOTHING
        if self._level is PowerLevel.LOW and fall.since_s - self._level_s < AFTER_LOW_S:
            return NOTHING  # it may well cool at low
        now_c, rate = self._metal[-1][1], -_rate(self._metal, 60.0)
        mushy = _mushy(now_c, alloy)
        fall_c, for_s = (MUSHY_FALL_C, MUSHY_FOR_S) if mushy else (METAL_FALL_C, METAL_FOR_S)
        if fall.from_c - now_c < fall_c or mono_s - fall.since_s < for_s:
            return NOTHING  # in between it may stand or sink a little while it melts
        if mushy:
            return self._metal_fell(fall, now_c, mono_s)
        if rate < METAL_RATE_C_PER_MIN or rate < STEADY_SHARE * fall.fastest:
            return NOTHING
        return self._metal_fell(fall, now_c, mono_s)

    def _metal_fell(self, fall: _Fall, now_c: float, mono_s: float) -> Message:
        return tell(
            "response.metal_fell",
            fell_difference_c=fall.from_c - now_c,
            fell_s=mono_s - fall.since_s,
            level=self._level_marked,
        )

    @property
    def _level_marked(self) -> str:
        return PowerLevel.HIGH.value if self._level is None else self._level.value

    def _silent(self, now: FurnaceObserved) -> Message:
        """Ten minutes at full power and hardly any of it in the charge, whatever a plateau may hide."""
        points, mono_s, alloy, mass_kg, target_c = self._metal, now.mono_s, now.alloy, now.mass_kg, now.target_c
        if self._on_s is None or alloy is None or mass_kg <= 0.0 or len(points) < 60:
            return NOTHING
        if mono_s - max(self._on_s + FIRST_S, self._added_s + AFTER_ADDITION_S) < WINDOW_S:
            return NOTHING
        then = next((point for point in points if point[0] >= mono_s - WINDOW_S), None)
        if then is None or points[-1][0] - then[0] < 0.9 * WINDOW_S:
            return NOTHING
        now_c = points[-1][1]
        if target_c is not None and now_c >= target_c - 2.0 * U_READING_C:
            return NOTHING  # held where it should be
        metal = curve_of(alloy)
        most_j = metal.enthalpy(now_c + U_READING_C) - metal.enthalpy(then[1] - U_READING_C)
        low_c, high_c = metal.solidus_c - U_READING_C, metal.liquidus_c + U_READING_C
        stood = then[1] <= high_c
        lumps_c = metal.liquidus_c + LUMPS_ABOVE_C
        if now.between_lumps and _fallen_c(points, mono_s - LUMPS_FOR_S, lumps_c) <= U_READING_C:
            # What is molten already is hotter than lumps; what was read before said little. Melting, it does not fall.
            high_c, stood = lumps_c, any(low_c <= temp_c <= lumps_c for at_s, temp_c in points if at_s >= then[0])
        if now_c >= low_c and stood:  # on a plateau both ends may be anywhere in the latent heat
            most_j = max(most_j, _most_hidden(metal, points, mono_s, low_c, high_c))
        power_w = UNKNOWN_W_PER_KG * mass_kg if self.power_w is None else self.power_w
        put_j = LEAST_SHARE * power_w * (points[-1][0] - then[0])
        # what the reading's own uncertainty alone could be is no heat
        unsure_j = 2.0 * U_READING_C * (metal.cp_solid if now_c < metal.solidus_c else metal.cp_liquid)
        if mass_kg * max(0.0, most_j - unsure_j) >= put_j:
            return NOTHING
        return tell("response.no_heat", for_min=WINDOW_S / 60.0, then_c=then[1], now_c=now_c)


def _mushy(temp_c: float, alloy: AlloyFacts) -> bool:
    return alloy.solidus_c - CLEAR_OF_SOLIDUS_C < temp_c < alloy.liquidus_c + CLEAR_OF_LIQUIDUS_C


def _fallen_c(points: "deque[tuple[float, float]]", since_s: float, below_c: float) -> float:
    """By how much it fell since a moment, from where it first stood below a temperature."""
    first_c = next((temp_c for at_s, temp_c in points if at_s >= since_s and temp_c <= below_c), None)
    return 0.0 if first_c is None else first_c - points[-1][1]


def _most_hidden(
    metal: HeatCurve, points: "deque[tuple[float, float]]", mono_s: float, low_c: float, high_c: float
) -> float:
    """Heat, J/kg, that may still be going into melting: all of the latent heat, spread over the time it can take."""
    since_s = mono_s
    for at_s, temp_c in reversed(points):
        if not low_c <= temp_c <= high_c:
            break
        since_s = at_s
    stood_s = max(mono_s - since_s, 1.0)
    return (metal.h_liquid - metal.h_solid) * min(1.0, WINDOW_S / stood_s) if stood_s < KEEP_S - 60.0 else math.inf


def _keep(points: "deque[tuple[float, float]]", mono_s: float, temp_c: float | None) -> None:
    if temp_c is None:
        if points and mono_s - points[-1][0] > 30.0:
            points.clear()
        return
    points.append((mono_s, temp_c))
    while points[0][0] < mono_s - KEEP_S:
        points.popleft()


def _rate(points: "deque[tuple[float, float]]", span_s: float) -> float:
    """degC a minute over the last `span_s`, by the ends; 0 where there is not so much."""
    if len(points) < 3:
        return 0.0
    end_s, end_c = points[-1]
    for at_s, temp_c in reversed(points):
        if at_s <= end_s - span_s + 1e-6:
            return 60.0 * (end_c - temp_c) / (end_s - at_s)
    return 0.0


def _fall(fall: _Fall | None, points: "deque[tuple[float, float]]", mono_s: float) -> _Fall | None:
    """The fall that goes on now, if any: no minute of it without going down."""
    rate = _rate(points, 30.0)
    if not points or rate >= -0.5:
        return None
    if fall is None:
        fall = _Fall(mono_s - 30.0, points[max(-7, -len(points))][1])
    fall.fastest = max(fall.fastest, -_rate(points, 60.0))
    return fall
