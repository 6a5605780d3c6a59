"""Where the furnace can have put the metal: the most and the least heat it can hold, by power, charge and time. Pure.

Two bounds of the specific enthalpy (`metal/heat/curve.py`), moved on once a second; a reading is held against both.

`Ceiling`: no power, no rise. With the power off only pot and wall give heat, and less each minute: the gap between wall
and metal closes in tau = C W / (C + W) / G. C is the heat of metal and pot for a degree, W that of the wall that
follows within a melt, G = A (4 eps sigma T^3 + air), by Stefan and Boltzmann, A the outside of a pot of common shape.
So the metal rises no faster than it did before the cut, less a factor e each tau, and not at all above where it has
been but by that. What the wall can give is bounded so without knowing how hot it is.
`Floor`: full power, at least so much. With a furnace that was learned, or whose power is stated, the furnace model
(`furnace/model.py`) at its slowest and weakest, with a tenth more charge, all of it cold at the start. With none, what
any furnace that melts gives to a kilogram in the long run.

Not here: who is asked, what is said (guidance/heat_watch.py). Allowances are ours, judged on simulated melts.
"""

import math
from collections import deque
from dataclasses import dataclass
from enum import StrEnum

from pourcall.contract.furnace_model import FurnaceModel
from pourcall.contract.plan import AlloyFacts
from pourcall.furnace.model import KELVIN, SIGMA, Furnace, Load, State, add_cold, integrate
from pourcall.metal.heat.curve import HeatCurve

READING_C = 9.0  # a couple of ordinary class, and how far a bath differs from place to place
# Heat that follows the cut: metal goes on as before for so long (pot between, the walk to the knob, a late mark), and
# then dies away. More than before it never is; measured at the knob it is known to a tenth.
AFTER_CUT_S, RATE_SHARE = 60.0, 1.1
LEAST_C_PER_S, UNSEEN_C_PER_S, MOST_C_PER_S = 0.25, 2.0, 2.5
TRAIL_S, TRAIL_LEAST_S = 60.0, 45.0
AWAY_S, SETTLES_S = 3.0, 90.0
MOVED_S = 300.0  # after metal went in, a rate tells nothing of the heat that flows
FORGETS_C_PER_S = 0.05  # with the power on, what was hottest counts for some minutes
WALL_UNSEEN_S = 1800.0  # a furnace hot from a melt nobody recorded has given its heat by then
EMISSIVITY, AIR_W_PER_M2_K = 0.7, 5.0  # wall to pot, and the air between (common practice, no source)
WALL_ABOVE_C = 60.0
POT_WALL_M, POT_KG_PER_M3, POT_J_PER_KG_K = 0.008, 2000.0, 950.0  # clay graphite (common practice, no source)
POT_FILLED = 0.75
WALL_HOLDS = 1.0  # of what pot and charge hold; what is deeper in the lining gives its heat too slowly (ours)
TAU_LEAST_S, TAU_MOST_S = 150.0, 600.0
# The floor. Heat flows at least at so much of the furnace model's pace, by so much of its power.
LEARNED, STATED = (0.75, 0.9), (0.4, 0.7)
MASS_SHARE = 1.1
LID_OFF = 4.0  # power not at full: nothing is known of lid and losses
ANY_W_PER_KG, ANY_AFTER_S = 50.0, 1200.0  # 1.2 MJ, a kilogram of aluminium ready to pour, takes seven hours at that
STEP_S, WARM_C = 5.0, 60.0
ASLEEP_S = 60.0  # without an input for so long, nobody knows what the power did
LAG_C_PER_S = 1.0  # the pace of heated metal: a sheath is behind it by that times its time constant
PLATEAU_C = 12.0


class Heating(StrEnum):
    """What is known of the power."""

    OFF = "off"
    SOME = "some"  # on, or on and off by a panel of its own
    FULL = "full"
    UNKNOWN = "unknown"


class Side(StrEnum):
    """On which side of its bounds a reading lies."""

    HOT = "hot"
    COLD = "cold"


@dataclass(frozen=True, slots=True)
class Beyond:
    """A reading that the furnace cannot have made, and the nearest that it can."""

    side: Side
    temp_c: float
    bound_c: float


@dataclass(frozen=True, slots=True)
class Look:
    """One second. temp_c: of a believed probe in the metal; None: there is none."""

    at_s: float
    temp_c: float | None
    heating: Heating
    mass_kg: float  # told to be in the pot in all
    held_c: float  # metal as hot as that may be held there by a panel
    peak_c: float | None = None  # the most that a learned furnace coasts to, its power cut now


class HeatBounds:
    """Of one probe in one melt. `look` once a second."""

    def __init__(
        self,
        alloy: AlloyFacts,
        metal: HeatCurve,
        charge_kg: float,
        began_s: float,
        *,
        sheath_s: float,
        room_c: float,
        least: Furnace | None,
        hottest_c: float | None = None,
    ) -> None:
        """least: the furnace at its weakest; None: nothing is known of it. hottest_c: carried from the melt before."""
        tau_s = coast_tau_s(alloy, metal, charge_kg)
        self.ceiling = Ceiling(metal, tau_s, 2.0 * sheath_s, began_s, hottest_c)
        self.floor = Floor(metal, MASS_SHARE * charge_kg, room_c, least)
        self._metal, self._lag_c = metal, LAG_C_PER_S * sheath_s

    def look(self, now: Look) -> Beyond | None:
        """A reading outside, if it is."""
        self.ceiling.step(now)
        self.floor.step(now)
        if now.temp_c is None:
            return None
        metal = self._metal
        most, least = self.ceiling.h, self.floor.h
        if metal.enthalpy(now.temp_c - READING_C) > most:
            return Beyond(Side.HOT, now.temp_c, metal.temp_c(most))
        if _at_most(metal, now.temp_c + self._lag_c) < least:
            return Beyond(Side.COLD, now.temp_c, metal.temp_c(least))
        return None

    def disturbed(self, at_s: float) -> None:
        """Metal went in, or the pot came back to walls that gave nothing meanwhile."""
        self.ceiling.disturbed(at_s)
        self.floor.disturbed(at_s)

    def anchor(self, at_s: float, temp_c: float) -> None:
        """A person has spoken: from here on."""
        self.ceiling.anchor(at_s, temp_c)
        self.floor.anchor(temp_c)


class Ceiling:
    """The most heat, J/kg: without bound while the power may be on."""

    def __init__(self, metal: HeatCurve, tau_s: float, lag_s: float, began_s: float, hottest_c: float | None) -> None:
        self.h = math.inf
        self.hottest_c = hottest_c  # of what the probe read about the cut and since
        self._metal, self._tau_s, self._after_s = metal, tau_s, AFTER_CUT_S + lag_s
        self._trail: deque[tuple[float, float]] = deque()
        self._quiet_s = self._at_s = self._began_s = began_s
        self._moved_s = -1e9
        self._first_c_per_s = UNSEEN_C_PER_S
        self._off = False
        self._unseen = True
        self._peak_h = math.inf  # a learned furnace's
        self._in_since_s = math.inf  # without a pause
        self._out_since_s: float | None = -math.inf

    def step(self, now: Look) -> None:
        """One second on."""
        gone_s, self._at_s = now.at_s - self._at_s, now.at_s
        self._stands(now)
        if now.heating is not Heating.OFF:
            self.h, self._off = math.inf, False
            self._follow(now, gone_s)
            return
        if not self._off:
            self._cut(now)
        if self.hottest_c is None and now.at_s - self._began_s >= WALL_UNSEEN_S:
            self.hottest_c = now.temp_c
        if self.hottest_c is None:
            return
        if now.temp_c is not None:
            self.hottest_c = max(self.hottest_c, now.temp_c)
        if now.at_s - self._in_since_s < SETTLES_S:
            self.h = math.inf  # it just went in, or a shell of cold metal melts off its tip
            return
        if self._unseen and now.at_s - self._quiet_s >= self._after_s:
            self._see(now)
        self.h = min(
            self.h + self._gives(now.at_s) * gone_s, self._metal.enthalpy(self.hottest_c + READING_C), self._peak_h
        )

    def _stands(self, now: Look) -> None:
        """Since when it stands in the metal without a pause."""
        if now.temp_c is None:
            self._out_since_s = now.at_s if self._out_since_s is None else self._out_since_s
            return
        if self._out_since_s is not None and now.at_s - self._out_since_s >= AWAY_S:
            self._in_since_s = now.at_s
        self._out_since_s = None
        self._trail.append((now.at_s, now.temp_c))
        while self._trail[0][0] < now.at_s - TRAIL_S:
            self._trail.popleft()

    def disturbed(self, at_s: float) -> None:
        """Cold metal, or a pot that comes back, draws heat from the wall anew."""
        self._moved_s = at_s
        if self._off:
            self._quiet_s, self._first_c_per_s, self._unseen = at_s, UNSEEN_C_PER_S, True

    def anchor(self, at_s: float, temp_c: float) -> None:
        """That is where the metal is."""
        self.hottest_c, self._peak_h = temp_c, math.inf
        self.h = math.inf if not self._off else self._metal.enthalpy(temp_c + READING_C)

    def _follow(self, now: Look, gone_s: float) -> None:
        """With the power on: how hot it has been just now."""
        temp_c = now.temp_c
        if temp_c is not None:
            cooled_c = -math.inf if self.hottest_c is None else self.hottest_c - FORGETS_C_PER_S * gone_s
            self.hottest_c = max(temp_c, cooled_c)

    def _cut(self, now: Look) -> None:
        """The power went off: how fast the metal rose till then."""
        self._off, self._quiet_s = True, now.at_s
        self._first_c_per_s, self._unseen = UNSEEN_C_PER_S, True
        self._peak_h = math.inf if now.peak_c is None else self._metal.enthalpy(now.peak_c + READING_C)
        rate = self._rate(now)
        if rate is not None:
            self._first_c_per_s, self._unseen = min(max(rate, LEAST_C_PER_S), MOST_C_PER_S), False

    def _see(self, now: Look) -> None:
        """How fast it rose was not seen before the cut: by now it rises less, and goes on from that."""
        rate = self._rate(now)
        if rate is not None:
            self._first_c_per_s = min(max(rate, LEAST_C_PER_S), MOST_C_PER_S)
            self._quiet_s, self._unseen = now.at_s - self._after_s, False

    def _rate(self, now: Look) -> float | None:
        """degC a second of the last minute in liquid metal; None: not seen."""
        trail = self._trail
        if now.at_s - self._moved_s < MOVED_S or now.at_s - self._in_since_s < SETTLES_S or not trail:
            return None
        (first_s, first_c), (last_s, last_c) = trail[0], trail[-1]
        if last_s - first_s < TRAIL_LEAST_S or first_c < self._metal.liquidus_c + PLATEAU_C:
            return None
        return (last_c - first_c) / (last_s - first_s)

    def _gives(self, at_s: float) -> float:
        """What pot and wall may still give, J/(kg s)."""
        since_s = at_s - self._quiet_s - self._after_s
        share = RATE_SHARE if since_s <= 0.0 else RATE_SHARE * math.exp(-since_s / self._tau_s)
        return share * self._first_c_per_s * self._metal.cp_liquid


class Floor:
    """The least heat, J/kg: what full power must have put in."""

    def __init__(self, metal: HeatCurve, mass_kg: float, room_c: float, least: Furnace | None) -> None:
        self.h = -math.inf
        self._metal, self._mass_kg, self._room_c, self._least = metal, mass_kg, room_c, least
        self._idle = None if least is None else least._replace(loss_w_per_k=LID_OFF * least.loss_w_per_k)
        self._state = State(room_c, room_c, metal.enthalpy(room_c))
        self._full_since_s: float | None = None
        self._at_s: float | None = None

    def step(self, now: Look) -> None:
        """On by whole steps."""
        if now.heating is not Heating.FULL:
            self._full_since_s = None
        elif self._full_since_s is None:
            self._full_since_s = now.at_s
        if self._at_s is None:
            self._at_s = now.at_s
        if now.at_s - self._at_s < STEP_S:
            return
        gone_s, self._at_s = now.at_s - self._at_s, now.at_s
        full = now.heating is Heating.FULL and gone_s < ASLEEP_S
        if not full:
            self._full_since_s = None
        least = self._slowly(now.at_s)
        furnace = self._least if full else self._idle
        if furnace is not None:
            more_kg = MASS_SHARE * now.mass_kg - self._mass_kg
            if more_kg > 0.0:
                self._state, self._mass_kg = add_cold(self._metal, self._state, self._mass_kg, more_kg, self._room_c)
            share = 1.0 if full else 0.0
            steps = max(1, math.ceil(gone_s / STEP_S - 1e-9))
            load = Load(self._mass_kg, share, self._room_c)
            self._state = integrate(furnace, self._metal, self._state, load, gone_s / steps, steps).state
            least = max(least, self._state.h)
        low = not full or least < self._metal.enthalpy(WARM_C)
        # Not at full power it may have cooled with the lid off; about the room's temperature nothing is known.
        self.h = -math.inf if low else min(least, self._metal.enthalpy(now.held_c))

    def disturbed(self, at_s: float) -> None:
        """Metal went in: what any furnace gives in the long run is reckoned anew."""
        if self._full_since_s is not None:
            self._full_since_s = at_s

    def anchor(self, temp_c: float) -> None:
        """That is where the metal is, and its furnace no hotter."""
        h = self._metal.enthalpy(temp_c - READING_C)
        if h < self._state.h:
            self._state = State(min(self._state.wall_c, temp_c), min(self._state.pot_c, temp_c), h)
        self._full_since_s, self.h = None, min(self.h, h)

    def _slowly(self, at_s: float) -> float:
        """What any furnace gives in the long run."""
        if self._full_since_s is None:
            return 0.0
        return ANY_W_PER_KG * max(0.0, at_s - self._full_since_s - ANY_AFTER_S)


def coast_tau_s(alloy: AlloyFacts, metal: HeatCurve, charge_kg: float) -> float:
    """In which heat from the wall dies away by a factor e, at the slowest; head of this file."""
    volume_m3 = charge_kg / alloy.density_liquid_kg_per_m3 / POT_FILLED
    radius_m = math.cbrt(volume_m3 / (2.0 * math.pi))  # as high as wide
    outer_m = radius_m + POT_WALL_M
    area_m2 = math.pi * outer_m * (2.0 * (2.0 * radius_m + 0.01) + outer_m)
    capacity = MASS_SHARE * charge_kg * metal.cp_liquid + area_m2 * POT_WALL_M * POT_KG_PER_M3 * POT_J_PER_KG_K
    mean_k = metal.liquidus_c + WALL_ABOVE_C + KELVIN
    passes = area_m2 * (4.0 * EMISSIVITY * SIGMA * mean_k * mean_k * mean_k + AIR_W_PER_M2_K)
    slowest_s = capacity / passes * WALL_HOLDS / (1.0 + WALL_HOLDS)
    return min(max(slowest_s, TAU_LEAST_S), TAU_MOST_S)


def weakest(model: FurnaceModel | None) -> Furnace | None:
    """The furnace at its slowest and weakest; None: neither learned nor its power stated.

    Every flow of heat less by one factor, which stretches time and leaves the temperatures it can reach, as figures
    that were fitted together are wrong together; and the power less by another, which does not.
    """
    if model is None or (model.version == 0 and not model.power_known):
        return None
    slow, weak = LEARNED if model.version > 0 else STATED
    usual = Furnace.of(model.mean)
    return usual._replace(
        power_w=slow * weak * usual.power_w,
        loss_w_per_k=slow * usual.loss_w_per_k,
        exchange_m2=slow * usual.exchange_m2,
        contact_w_per_k=slow * usual.contact_w_per_k,
    )


def _at_most(metal: HeatCurve, temp_c: float) -> float:
    """The most heat that metal of such a reading can hold: on a plateau all of its latent heat."""
    high_c = temp_c + READING_C
    if metal.solidus_c - PLATEAU_C <= high_c <= metal.liquidus_c + PLATEAU_C:
        high_c = metal.liquidus_c + PLATEAU_C
    return metal.enthalpy(high_c)
