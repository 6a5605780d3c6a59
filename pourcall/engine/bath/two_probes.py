"""Two probes that stay in one bath and do not agree (fault row T8): figures in, whether and how far they are apart out.

Pure; the time is an argument. A bath is not the same everywhere, and each probe has its uncertainty: beyond both for a
minute one of them is wrong, and nobody knows which. Then the higher is used, since metal that is hotter than it is
thought to be burns people; beyond twice that nothing is called. Before all of the metal is liquid a tip between lumps
may well read something else for minutes. What a bath may differ by is ours (common practice, no source).
"""

import math
from collections.abc import Mapping, Sequence

from pourcall.contract.events import Priority
from pourcall.contract.message import NOTHING, Message, tell
from pourcall.contract.plan import AlloyFacts
from pourcall.contract.reading import Place
from pourcall.engine.alarms.manager import AlarmManager
from pourcall.engine.bath.dips import DipWatch
from pourcall.engine.bath.metal import MetalNow, standing_figures
from pourcall.engine.sensing.measurement import ProbeChannel

BATH_C = 15.0  # wall and middle, top and bottom
APART_S = 60.0  # fault row T8
MELTING_S = 600.0  # a tip by a lump, the other in what is molten
TWICE = 2.0


class TwoProbes:
    """Of one furnace. `compare` whenever the metal is judged."""

    def __init__(self, alarms: AlarmManager, furnace: str) -> None:
        self.differ: Message = NOTHING  # they do, for long enough
        self.far: Message = NOTHING  # beyond twice the tolerance: nothing is called
        self._alarms, self._furnace = alarms, furnace
        self._since_s: float | None = None  # beyond tolerance
        self._far_s: float | None = None  # beyond twice

    def compare(
        self,
        channels: tuple[ProbeChannel, ...],
        watches: Mapping[str, DipWatch],
        alloy: AlloyFacts | None,
        mono_s: float,
        utc_s: float,
    ) -> None:
        """alloy: of the metal that the probes stand in; None: no melt, or the pot is out of the furnace."""
        if sum(channel.tracker.place is Place.MELT for channel in channels) < 2:
            return
        if alloy is None:
            self.forget()
        else:
            self.look(standing_figures(channels, watches, mono_s, alloy), mono_s, alloy)
        priority = Priority.ALARM if self.far else None
        self._alarms.set_condition(
            "disagree", self._furnace, bool(self.differ), mono_s, utc_s, detail=self.differ, priority=priority
        )

    def forget(self) -> None:
        """Another melt, or the pot is out."""
        self.differ = self.far = NOTHING
        self._since_s = self._far_s = None

    def look(self, figures: Sequence[MetalNow], at_s: float, alloy: AlloyFacts) -> None:
        """figures: what each trusted probe that stands in the metal says of it now."""
        known = sorted((one.temp_c, one.u_c, one.probe) for one in figures if one.temp_c is not None)
        if len(known) < 2:
            if not known or self._since_s is None:
                self.forget()
            return  # one of them settles, or gives nothing: what stood, stands until both say something again
        (low_c, low_u_c, low), (high_c, high_u_c, high) = known[0], known[-1]
        tolerance_c = BATH_C + math.hypot(low_u_c, high_u_c)
        lasts_s = APART_S if low_c > alloy.liquidus_c else MELTING_S
        apart_c = high_c - low_c
        self._since_s = self._still(self._since_s, at_s, apart_c > tolerance_c)
        self._far_s = self._still(self._far_s, at_s, apart_c > TWICE * tolerance_c)
        told = tell("alarm.apart", high=high, high_c=high_c, low=low, low_c=low_c)
        self.differ = told if self._since_s is not None and at_s - self._since_s >= lasts_s else NOTHING
        self.far = told if self._far_s is not None and at_s - self._far_s >= lasts_s else NOTHING

    @staticmethod
    def _still(since_s: float | None, at_s: float, holds: bool) -> float | None:
        """Since when it holds without a break."""
        if not holds:
            return None
        return at_s if since_s is None else since_s
