"""A season of one shop: melt after melt on one furnace, by a person who is late, forgets and adds metal late.

Furnace, pot, alloy and probe are those of `foresee.Workshop`, on any plant. Drawn here is what a shop does not know or
do in time: a charge told up to 10 % wrong, a hand that takes 5 to 40 s and now and then does not move at all, marks
never made, cold returns near the end, dips at the person's own pace. `SeasonBout.fork` gives the same melt twice, so
that several ways of working can be tried from one moment on. Not here: what is foreseen, and who is told what.
"""

import copy
from random import Random
from typing import NamedTuple

from pourcall.sim.scenarios.foresee import Bout, Seen, Workshop

HAND_S = (5.0, 40.0)  # from hearing a call to a hand on the knob
DEAF = 0.08  # share of the calls nobody hears; the next one is answered
DEAF_S = (45.0, 90.0)  # so much later then
FORGETFUL, FORGETS = 0.25, (0.1, 0.4)  # share of the casters who forget marks, and how often they do
MARKED_LATE_S = 120.0  # a forgotten mark of the power is made when the tool asks about it
TOLD_KG = 0.10  # a charge is told so much wrong at most
LATE_RETURNS, LATE_SHARE = 0.12, (0.03, 0.10)  # share of the melts, and of the charge
DIP_EVERY_S = (120.0, 240.0)
DIP_S, DIP_SIGMA_C = 25.0, 1.5
DIPS_FROM_LIQUID = 0.9  # nobody dips into lumps


class Dip(NamedTuple):
    """The figure of one dip; None: it met lumps."""

    at_s: float
    temp_c: float | None


class Person:
    """Hand and memory of one melt."""

    def __init__(self, rng: Random) -> None:
        self.rng = rng
        self.forgets = rng.uniform(*FORGETS) if rng.random() < FORGETFUL else 0.0
        self.hand_s = rng.uniform(*HAND_S)
        self.deaf = rng.random() < DEAF
        self.deaf_s = rng.uniform(*DEAF_S)
        self.beat_s = rng.uniform(0.5, 2.0)  # of a hand that lies on the knob already

    @property
    def delay_s(self) -> float:
        """From the call of this melt that counts to the knob being turned: the same for whoever calls."""
        return self.hand_s + (self.deaf_s if self.deaf else 0.0)

    def again_s(self) -> float:
        """The same for a later call."""
        return self.rng.uniform(*HAND_S)

    def forgets_this(self) -> bool:
        """Is this mark never made."""
        return self.forgets > 0.0 and self.rng.random() < self.forgets


class SeasonBout(Bout):
    """One melt of a season. `dips`: the probe is held in for moments only, and `dip` has what the last one said."""

    def __init__(self, shop: Workshop, number: int, *, dips: bool) -> None:
        super().__init__(shop, number, hot=None, parts=None)
        draw = Random(shop.seed * 104_729 + number * 577 + 11)
        self.person = Person(draw)
        self.spoken_kg = self.charge_kg * draw.uniform(1.0 - TOLD_KG, 1.0 + TOLD_KG)
        self._late_kg = self.charge_kg * draw.uniform(*LATE_SHARE) if draw.random() < LATE_RETURNS else 0.0
        self._late_at_c = shop.aim_c - draw.uniform(5.0, 40.0)
        self._dips, self._draw = dips, draw
        self._dip_at_s, self._dip_ends_s = -1.0, -1.0
        self.dip: Dip | None = None  # of this very second

    def fork(self) -> "SeasonBout":
        """The same melt once more, from here."""
        shop = self.shop
        return copy.deepcopy(self, {id(shop): shop, id(self.plant.furnace): self.plant.furnace})

    @property
    def holds_back(self) -> bool:
        """Are there cold returns that this person will still put in."""
        return self._late_kg > 0.0

    def second(self, level: str, *, ask: bool = False, share: float | None = None) -> Seen:
        """As `Bout.second`; a dip in work holds the power off and the lid open."""
        self.dip = None
        if self._dips:
            held = self._dip(level)
            level, share = held, share if held == level else None
        seen = super().second(level, ask=ask, share=share)
        if self._late_kg > 0.0 and self.rest_kg <= 0.0 and seen.liquid >= 1.0 and seen.metal_c >= self._late_at_c:
            kg, self._late_kg = self._late_kg, 0.0
            self.plant.add(kg)
            self.plant.set_lid(True)
            self._closed_s = self.t_s + self._draw.uniform(6.0, 16.0)
            return seen._replace(added_kg=seen.added_kg + kg)
        return seen

    def _dip(self, level: str) -> str:
        """Begin, hold, end; the level that the furnace truly stands at."""
        if self._dip_ends_s > 0.0:
            if self.t_s < self._dip_ends_s:
                return "off"
            self._dip_ends_s = -1.0
            self.plant.set_lid(False)
            liquid = self.plant.liquid_fraction >= 0.98 and self.plant.lump_kg == 0.0
            true_c = self.plant.metal_c * self.shop.gain + self._draw.gauss(0.0, DIP_SIGMA_C)
            self.dip = Dip(self.t_s, true_c if liquid else None)
            self._dip_at_s = self.t_s + self._draw.uniform(*DIP_EVERY_S)
        elif self.plant.liquid_fraction >= DIPS_FROM_LIQUID:
            if self._dip_at_s < 0.0:
                self._dip_at_s = self.t_s + self._draw.uniform(0.0, 0.5 * DIP_EVERY_S[0])
            if self.t_s >= self._dip_at_s:
                self._dip_ends_s = self.t_s + DIP_S
                self.plant.stir()
                self.plant.set_lid(True)
                return "off"
        return level
