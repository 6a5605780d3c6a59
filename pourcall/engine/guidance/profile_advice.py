"""What a profile says to a person: kinds of advice; the panel as it shows and turns; what is asked of the forecast."""

import math
from enum import StrEnum
from typing import Protocol

import msgspec

from pourcall.contract.inputs import PowerLevel
from pourcall.contract.message import NOTHING, Message
from pourcall.contract.units import Unit, from_c, to_c


class CoastForecast(Protocol):
    """What the run asks of the forecast; pourcall/furnace/forecast.py is one."""

    def coast_peak_c(self, delay_s: float) -> float | None:
        """Highest temperature of the metal if the power is cut `delay_s` from now; None: not known."""
        ...

    def coast_spread_c(self) -> float:
        """Standard uncertainty of that temperature."""
        ...


class Say(StrEnum):
    """Kinds of advice. CUT, OVER, POWER and DIAL are to be done; the rest is to be known."""

    DIAL = "dial"
    POWER = "power"  # burner or knob to a level
    SOON = "soon"  # hand on the knob: the power is to be cut within a minute
    COUNT = "count"  # five, four, three: the power is to be cut at nought
    CUT = "cut"
    OVER = "over"  # it will go over even if the power is cut now
    LATE = "late"  # it takes longer than it may
    NEXT = "next"  # a hold waits to be told
    NOTE = "note"
    DONE = "done"


class Advice(msgspec.Struct, frozen=True, kw_only=True):
    """One piece of advice. segment counts from 1."""

    say: Say
    text: Message
    why: Message = NOTHING
    segment: int
    of: int
    setpoint_c: float | None = None
    dial: float | None = None  # the figure on the panel, in its own unit
    level: PowerLevel | None = None  # what a burner or knob should be set to


class Panel(msgspec.Struct, frozen=True, kw_only=True):
    """A panel controller: how it shows, how it turns, and how far the metal is from it (contract/furnace_model.py)."""

    unit: Unit = Unit.C
    step: float = 1.0
    offset_c: float = 0.0  # metal less panel
    max_c: float = 1300.0

    def dial(self, metal_c: float) -> float:
        """The nearest figure that can be dialled, not above its end, for metal to stand at `metal_c`."""
        wanted = from_c(min(metal_c - self.offset_c, self.max_c), self.unit)
        figure = round(wanted / self.step) * self.step
        return figure if to_c(figure, self.unit) <= self.max_c + 1e-9 else math.floor(wanted / self.step) * self.step
