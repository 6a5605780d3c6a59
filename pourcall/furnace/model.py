"""A furnace as three lumped bodies, wall, pot and charge, stepped forward. Pure, no arrays, no clock.

    power -> wall (a flame also -> pot) -> room (linear);  wall -> pot (black radiation);  pot -> charge (contact)

The charge keeps enthalpy, and its temperature is that of the alloy's curve (metal/heat/curve.py). What the probe
reads lags behind it (first order) and, between solid lumps, is partly the pot. The furnace's own controller takes the
power away over 30 degC below `limit_c`. Lid, bath surface and the lining's slow heat are not in it: they are what the
uncertainty is for. Implicit steps: none is too long to be stable, and none makes or loses heat.
"""

import math
from bisect import bisect_right
from typing import NamedTuple

import msgspec

from pourcall.contract.furnace_model import PARAMETERS, FurnaceModel
from pourcall.metal.heat.curve import HeatCurve

SIGMA = 5.670374419e-8  # W/(m2 K4), CODATA 2018
KELVIN = 273.15
THROTTLE_C = 30.0
SOLID_CONTACT = 0.2  # of the liquid's: lumps touch the pot in few places (ours)
LUMP_SEES_POT = 0.2  # share of the pot in what a probe between solid lumps reads (ours)
STEP_S = 5.0
SHORT = 0.3
AHEAD = 0.55  # share of a step that is solved for; a half is most exact, a whole most calm
NEAR_STEP_S, NEAR_STEPS, COAST_STEP_S, FAR_STEP_S = 8.0, 8, 16.0, 32.0  # of what is to come: fine at first
CHAMBER_WALL_SHARE, CHAMBER_SIGMA_C = 0.7, 25.0  # a probe in the chamber: share of wall in what it reads (ours)
HOT_START_C = 80.0  # what begins hotter stands in a furnace still hot from the melt before
PANEL_U_C = 15.0  # a pot's metal behind a panel that was never compared (ours, common practice, no source)


class Furnace(NamedTuple):
    """Parameters in their own units; see contract/furnace_model.py."""

    power_w: float
    low_share: float
    wall_j_per_k: float
    loss_w_per_k: float
    exchange_m2: float
    contact_w_per_k: float
    limit_c: float
    pot_j_per_k: float
    flame_share: float = 0.0

    @classmethod
    def of(cls, logs: "list[float] | tuple[float, ...]") -> "Furnace":
        """From logarithms, kept within e^7 of sense so that a wild draw cannot overflow."""
        return cls._make([math.exp(min(14.0, max(-9.0, value))) for value in logs])


class State(NamedTuple):
    """Wall and pot in degC, specific enthalpy of the charge in J/kg."""

    wall_c: float
    pot_c: float
    h: float


class Load(NamedTuple):
    """What the furnace works on and with: the charge, the share of full power asked for, the air around it."""

    mass_kg: float  # 0: an empty pot
    share: float
    room_c: float


class Integrated(NamedTuple):
    """Where an integration ended: the bodies, the charge's temperature there and one step before, the steps it took."""

    wall_c: float
    pot_c: float
    h: float
    temp_c: float
    before_c: float
    steps: int
    peak_c: float = 0.0  # of one to the peak
    peak_steps: int = 0

    @property
    def state(self) -> State:
        """The bodies alone."""
        return State(self.wall_c, self.pot_c, self.h)


TO_THE_END, TO_ABOVE, TO_BELOW, TO_THE_PEAK = 0, 1, -1, 2  # where an integration stops


def integrate(
    furnace: Furnace,
    metal: HeatCurve,
    state: State,
    load: Load,
    dt: float,
    most: int,
    until: int = TO_THE_END,
    stop_c: float = 0.0,
) -> Integrated:
    """At most `most` steps of `dt` seconds; the one loop behind everything that looks ahead, hence bare of calls.

    Each step is implicit in the three temperatures, with radiation and latent heat as they stand at its start: no step
    is too long to be stable, and heat leaves one body exactly as it enters the next. TO_THE_PEAK: the charge has begun
    to fall for good.
    """
    full, _, wall_j, loss, exchange, contact_w, limit, pot_j, flame = furnace
    wall, pot, h = state
    mass_kg, share, room_c = load
    power, flame = full * share, min(1.0, flame)
    part = dt * AHEAD  # solved for so much of the step, and drawn on to its end
    wall_k, pot_k, charge_k, full_w = part / wall_j, part / pot_j, 0.0, 0.0
    if mass_kg > 0.0:
        charge_k, full_w = part / mass_kg, contact_w * math.sqrt(mass_kg)
    onward, black = 1.0 / AHEAD, exchange * SIGMA
    h_solid, h_liquid, liquidus = metal.h_solid, metal.h_liquid, metal.liquidus_c
    heats, temps, slopes = metal.heats, metal.temps, metal.slopes
    k_liquid = 1.0 / metal.cp_liquid
    solid_w, melting_w = SOLID_CONTACT * full_w, (1.0 - SOLID_CONTACT) * full_w / (h_liquid - h_solid)
    # In a long step the charge's own rise takes from the contact. In a short one that is left out: it would jump where
    # melting begins and ends, and a fit would stumble over it.
    own_k = charge_k if k_liquid * charge_k * full_w > SHORT else 0.0
    liquid_e = full_w / (1.0 + k_liquid * own_k * full_w)
    to_flame, heat, draw = power * flame, wall_k * (power - power * flame + loss * room_c), loss
    throttles_at = limit - THROTTLE_C if power > 0.0 else 1e9
    before = temp = peak = -1e9
    wall_rise = pot_rise = 0.0  # of half a step, as of the step before: radiation is taken in the middle
    done = peak_at = 0
    while True:
        before = temp
        if h >= h_liquid:
            temp, e = liquidus + (h - h_liquid) * k_liquid, liquid_e
        else:
            at = bisect_right(heats, h) - 1 if h > 0.0 else 0
            slope = slopes[at]
            contact = solid_w if h <= h_solid else solid_w + melting_w * (h - h_solid)
            temp, e = temps[at] + (h - heats[at]) * slope, contact / (1.0 + slope * own_k * contact)
        if until:
            if until == TO_THE_PEAK:
                if temp > peak:
                    peak, peak_at = temp, done
                elif (pot <= temp and wall <= pot + 1.0) or temp < peak - 1.0:
                    break
            elif temp >= stop_c if until == TO_ABOVE else temp <= stop_c:
                break
        if done == most:
            break
        a, b = wall + wall_rise + KELVIN, pot + pot_rise + KELVIN
        g = black * (a + b) * (a * a + b * b)
        if wall > throttles_at:
            asked = power * (limit - wall) / THROTTLE_C if wall < limit else 0.0
            to_flame = asked * flame
            falls = (power - power * flame) / THROTTLE_C if wall < limit else 0.0  # of the wall's heat, a degree
            heat, draw = wall_k * (falls * limit + loss * room_c), loss + falls
        elif draw != loss:
            to_flame, heat, draw = power * flame, wall_k * (power - power * flame + loss * room_c), loss
        shared = 1.0 / (1.0 + wall_k * (draw + g))
        alone = (wall + heat) * shared
        passed = wall_k * g * shared
        later = (pot + pot_k * (g * alone + to_flame + e * temp)) / (1.0 + pot_k * (g * (1.0 - passed) + e))
        wall_rise = alone + passed * later - wall
        pot_rise = later - pot
        wall += onward * wall_rise
        pot += onward * pot_rise
        h += onward * charge_k * e * (later - temp)
        done += 1
    return Integrated(wall, pot, h, temp, before, done, peak, peak_at)


def advance(
    furnace: Furnace,
    metal: HeatCurve,
    state: State,
    mass_kg: float,
    share: float,
    room_c: float,
    seconds: float,
    *,
    step_s: float = STEP_S,
) -> State:
    """The state `seconds` later. share: of full power asked for, 0 to 1. mass_kg 0: an empty pot."""
    if seconds <= 0.0:
        return state
    count = max(1, math.ceil(seconds / step_s - 1e-9))
    there = integrate(furnace, metal, state, Load(mass_kg, share, room_c), seconds / count, count)
    return there.state


def predict_reading(
    furnace: Furnace, metal: HeatCurve, state: State, mass_kg: float, sheath_s: float
) -> tuple[float, float]:
    """What a probe in the pot reads, and its standard deviation for reasons the model does not know."""
    charge = metal.temp_c(state.h)
    liquid = metal.liquid(state.h)
    gap = state.pot_c - charge
    sigma = 0.0
    if liquid < 1.0:
        sigma = LUMP_SEES_POT * abs(gap) * (1.0 - liquid)
        if liquid > 0.0:  # the sheet does not say how melting is spread over the range
            sigma = math.hypot(sigma, 0.15 * (metal.liquidus_c - metal.begins_c) + 2.0)
    contact = furnace.contact_w_per_k * math.sqrt(max(mass_kg, 1e-3)) * (SOLID_CONTACT + (1 - SOLID_CONTACT) * liquid)
    rate = contact * gap / (max(mass_kg, 1e-3) * metal.heat_capacity(state.h))
    lag = min(40.0, max(-40.0, rate * sheath_s))
    return charge + LUMP_SEES_POT * (1.0 - liquid) * gap - lag, math.hypot(sigma, 0.25 * lag)


def share_of(furnace: Furnace, level: float | None) -> float:
    """Of full power at a setting: -1 for the furnace's own "low", None for not known (taken for full)."""
    return furnace.low_share if level == -1.0 else 1.0 if level is None else level


def add_cold(metal: HeatCurve, state: State, mass_kg: float, added_kg: float, temp_c: float) -> tuple[State, float]:
    """The mix after metal was added, at once; with the new mass. Its dip is the fall of `metal.temp_c`."""
    total = mass_kg + added_kg
    if added_kg <= 0.0 or total <= 0.0:
        return state, mass_kg
    h = (state.h * mass_kg + metal.enthalpy(temp_c) * added_kg) / total
    return State(state.wall_c, state.pot_c, h), total


class Coast(NamedTuple):
    """The peak after the power goes off, and the seconds to it."""

    peak_c: float
    in_s: float


def coast(
    furnace: Furnace,
    metal: HeatCurve,
    state: State,
    mass_kg: float,
    room_c: float,
    *,
    delay_s: float = 0.0,
    share: float = 1.0,
    horizon_s: float = 1200.0,
) -> Coast:
    """Peak of the charge if the power is cut `delay_s` from now (a person's way to the knob), being at
    `share` till then.
    """
    now = advance(furnace, metal, state, mass_kg, share, room_c, delay_s) if delay_s > 0.0 else state
    off = Load(mass_kg, 0.0, room_c)
    there = integrate(furnace, metal, now, off, NEAR_STEP_S, NEAR_STEPS, TO_THE_PEAK)
    peak_c, peak_s = there.peak_c, delay_s + NEAR_STEP_S * there.peak_steps
    if there.steps == NEAR_STEPS:
        began_s = delay_s + NEAR_STEP_S * NEAR_STEPS
        most = int((horizon_s + delay_s - began_s) / COAST_STEP_S)
        there = integrate(furnace, metal, there.state, off, COAST_STEP_S, most, TO_THE_PEAK)
        if there.peak_c > peak_c:
            peak_c, peak_s = there.peak_c, began_s + COAST_STEP_S * there.peak_steps
    return Coast(peak_c, peak_s)


def time_to_c(
    furnace: Furnace,
    metal: HeatCurve,
    state: State,
    mass_kg: float,
    share: float,
    room_c: float,
    target_c: float,
    *,
    horizon_s: float = 7200.0,
) -> float | None:
    """Seconds until the charge is at `target_c`, from whichever side; None: not within the horizon, or it
    turns away.
    """
    load = Load(mass_kg, share, room_c)
    temp = metal.temp_c(state.h)
    sign = 1.0 if temp < target_c else -1.0
    until = TO_ABOVE if temp < target_c else TO_BELOW
    at_s, dt, pace = 0.0, NEAR_STEP_S, 1e9
    while at_s < horizon_s:
        there = integrate(furnace, metal, state, load, dt, NEAR_STEPS, until, target_c)
        end = there.temp_c
        if (end >= target_c) if sign > 0.0 else (end <= target_c):
            if there.steps == 0:
                return at_s
            return at_s + dt * (there.steps - 1 + (target_c - there.before_c) / (end - there.before_c))
        block_s = dt * NEAR_STEPS
        at_s += block_s
        was, pace = pace, sign * (end - temp) / block_s
        if abs(there.h - state.h) < block_s / 32.0 and abs(there.wall_c - state.wall_c) < block_s / 640.0:
            return None  # it stands still
        if state.h >= metal.h_liquid and there.h >= metal.h_liquid and pace <= was < 1e8:
            if sign * (target_c - end) > max(0.0, pace) * (horizon_s - at_s):
                return None  # a liquid slows down from here on: nothing melts that could hold it up
        else:
            pace = 1e9 if state.h < metal.h_liquid else pace
        state, temp = there.state, end
        dt = min(2.0 * dt, FAR_STEP_S)
    return None


def usual_model(
    furnace: str,
    *,
    kind: str = "electric",
    power_w: float | None = None,
    rating_c: float = 1200.0,
    pot_kg: float = 0.8,
    sheath_s: float = 4.2,
) -> FurnaceModel:
    """What is usual of a small furnace, before anything was learned: version 0, known to a factor of two or so.

    power_w: electric power of the settings; None or a fuel furnace: unknown. Judgement of ours, no source.
    """
    known = power_w is not None and kind != "fuel"
    usual = {
        "power_w": (0.95 * power_w if known and power_w is not None else 2500.0, 0.08 if known else 0.6),
        "low_share": (0.5, 0.25),
        "wall_j_per_k": (2200.0, 0.6),
        "loss_w_per_k": (1.5, 0.5),
        "exchange_m2": (0.035, 0.4),
        "contact_w_per_k": (32.0, 0.4),
        "limit_c": (max(400.0, 0.8 * rating_c), 0.3) if kind != "fuel" else (2000.0, 0.05),
        "pot_j_per_k": (950.0 * max(pot_kg, 0.1), 0.15),
        "flame_share": (0.25, 0.6) if kind == "fuel" else (0.01, 0.3),
    }
    mean = tuple(math.log(usual[name][0]) for name in PARAMETERS)
    cov = tuple(tuple(usual[name][1] ** 2 if other == name else 0.0 for other in PARAMETERS) for name in PARAMETERS)
    return FurnaceModel(
        furnace=furnace,
        version=0,
        mean=mean,
        cov=cov,
        sheath_s=sheath_s,
        power_known=known,
    )


def with_panel(model: FurnaceModel, pairs: "list[tuple[float, float]]") -> FurnaceModel:
    """The model with its panel compared: pairs of (metal degC by a dip, panel degC) taken while both stood still."""
    if not pairs:
        return model
    gaps = [metal_c - panel_c for metal_c, panel_c in pairs]
    mean = sum(gaps) / len(gaps)
    spread = math.sqrt(sum((gap - mean) ** 2 for gap in gaps) / (len(gaps) - 1)) if len(gaps) > 1 else PANEL_U_C / 2.0
    u_c = 2.0 * math.hypot(3.0, spread / math.sqrt(len(gaps)))
    return msgspec.structs.replace(model, panel_offset_c=mean, panel_offset_u_c=u_c)
