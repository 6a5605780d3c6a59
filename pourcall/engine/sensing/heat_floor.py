"""The least heat the metal must hold, J/kg: full power puts in at least so much. Pure; `step` once a second.

With a furnace that was learned, or whose power is stated, the furnace model (`furnace/model.py`) at its slowest and
weakest, with a tenth more charge, all of it cold at the start. With none, what any furnace that melts gives to a
kilogram in the long run. Where metal fell faster than it cools, cold metal went in: full power begins anew there.
Allowances are ours, judged on simulated melts.
"""

import math

from pourcall.contract.furnace_model import FurnaceModel
from pourcall.engine.sensing.heat_look import READING_C, Heating, Look
from pourcall.furnace.model import Furnace, Load, State, add_cold, integrate
from pourcall.metal.heat.curve import HeatCurve

# Heat flows at least at so much of the furnace model's pace, by so much of its power.
LEARNED, STATED = (0.75, 0.9), (0.4, 0.7)
MASS_SHARE = 1.1
LID_OFF = 4.0  # power not at full: nothing is known of lid and losses
ANY_W_PER_KG, ANY_AFTER_S = 50.0, 1200.0  # 1.2 MJ, a kilogram of aluminium ready to pour, takes seven hours at that
STEP_S, WARM_C = 5.0, 60.0
ASLEEP_S = 60.0  # without an input for so long, nobody knows what the power did


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
