"""What the metal itself is at. Probes, dips and typed figures in, one temperature with its uncertainty out.

Order of trust: a probe in the metal now; a dip (dips.py) or a figure of a handheld meter not older than 90 s; nothing.
A chamber probe never says what the metal is at, nor does a panel.
"""

import math
from bisect import bisect_right
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass

from pourcall.contract.events import Dip
from pourcall.contract.message import Told
from pourcall.contract.plan import AlloyFacts
from pourcall.contract.reading import GROWTH_C_PER_MIN, TYPED_U_C, Place, ProbeState
from pourcall.contract.snapshot import MetalView
from pourcall.contract.status import STATUS_OF, Reason, Status
from pourcall.contract.units import say_difference_c
from pourcall.engine.bath.dips import NO_BUDGET_U_C, DipWatch, at_or_below_liquidus
from pourcall.engine.sensing.measurement import USABLE, ProbeChannel

VALID_S = 90.0
FRESH_S = 3.0
HISTORY_S = 3600.0
BELOW_LIQUID = "at or below the liquidus: the metal is still part solid, or a shell of it froze on the tip"
LAG_U_SHARE = 0.5  # the time constant of a sheath in metal is known no better than this (k = 2)
LAG_SAID_C = 2.0
LAG_SPAN_S = 12.0
LAG_RATE_C_PER_MIN = 90.0  # faster than metal heats: the probe still settles, nothing to correct


@dataclass(frozen=True, slots=True)
class MetalNow:
    """temp_c None: not known, `how` says why. live: from a probe in the metal now. held: over a short gap."""

    temp_c: float | None
    u_c: float
    how: Told
    age_s: float = 0.0
    live: bool = False
    probe: str = ""
    dip: bool = False
    held: bool = False
    reason: Reason = Reason.OK

    def view(self, rate_c_per_min: float | None) -> MetalView:
        """As the dashboard sees it."""
        return MetalView(
            temp_c=self.temp_c,
            u_c=None if self.temp_c is None else self.u_c,
            how=self.how,
            reason=self.reason,
            probe=self.probe,
            rate_c_per_min=rate_c_per_min,
            age_s=self.age_s,
        )


def _u_c(channel: ProbeChannel) -> float:
    return NO_BUDGET_U_C if channel.u_c is None else channel.u_c


class MetalHistory:
    """What the metal was at, once a second for an hour: marking works backwards."""

    def __init__(self) -> None:
        self._points: deque[tuple[float, float, float, Told]] = deque()

    def add(self, mono_s: float, metal: MetalNow) -> None:
        """Keep one point a second, where there is a figure."""
        points = self._points
        if metal.temp_c is None or (points and mono_s - points[-1][0] < 1.0):
            return
        points.append((mono_s, metal.temp_c, metal.u_c, metal.how))
        while points[0][0] < mono_s - HISTORY_S:
            points.popleft()

    def drop_after(self, mono_s: float) -> None:
        """Forget what was kept after a moment: the probe was on its way out by then."""
        while self._points and self._points[-1][0] > mono_s:
            self._points.pop()

    def at(self, mono_s: float) -> tuple[float, float, float, Told] | None:
        """(time s, temp degC, U degC, how) of the last figure not later than a moment."""
        points = self._points
        index = bisect_right(points, mono_s + 1e-6, key=lambda point: point[0])
        return points[index - 1] if index else None


def metal_now(
    channels: tuple[ProbeChannel, ...],
    watches: dict[str, DipWatch],
    dip: Dip | None,
    typed: tuple[float, float, str] | None,
    power_on_since_s: float | None,
    mono_s: float,
    alloy: AlloyFacts | None = None,
) -> MetalNow:
    """The best knowledge of the metal's temperature. typed: (time s, temp degC, source), of a meter in the metal."""
    why_not = "no probe in the metal"
    for channel in channels:
        place, reading = channel.tracker.place, channel.last
        if place is not Place.MELT and place is not Place.DIP:
            if place is Place.CHAMBER:
                why_not = "chamber only: dip to know the metal"
            continue
        stale_s = max(FRESH_S, channel.config.stale_after_s, 2.5 * channel.tracker.trend.step_s)
        if reading is None or mono_s - reading.at_mono_s > stale_s:
            why_not = f"no word from {channel.config.name}"
            continue
        dipping = False
        if place is Place.DIP and reading.temp_c is not None:
            watch = watches[channel.config.name]
            in_it = channel.tracker.state in (ProbeState.SETTLING, ProbeState.IN_METAL)
            if at_or_below_liquidus(reading.temp_c, alloy):
                why_not = BELOW_LIQUID if in_it else "dip to know the metal"
                continue
            heading = watch.heading(channel, mono_s) if in_it else None
            if heading is not None and not at_or_below_liquidus(heading[0], alloy):
                u_c = math.hypot(_u_c(channel), heading[1])
                return MetalNow(heading[0], u_c, "dip going on", 0.0, True, channel.config.name, dip=True)
            dipping = watch.fitted(channel, mono_s)
        if channel.tracker.state in (ProbeState.IN_METAL, ProbeState.FROZEN_IN) and not dipping:
            held = reading.reason not in USABLE
            best = channel.last_usable if held else reading
            if (
                best is not None
                and best.temp_c is not None
                and mono_s - best.at_mono_s <= (FRESH_S if held else stale_s)
            ):
                lag_c = 0.0 if held else _lag_c(channel)
                u_c = math.hypot(_u_c(channel), LAG_U_SHARE * lag_c)
                how = "last good figure" if held else "probe in the metal"
                if abs(lag_c) >= LAG_SAID_C:
                    how += f", {say_difference_c(lag_c)} of lag allowed for"
                age_s, name = mono_s - best.at_mono_s, channel.config.name
                reason = Reason.LAST_KNOWN if held else best.reason
                return MetalNow(
                    best.temp_c + lag_c, u_c, how, age_s, True, name, dip=place is Place.DIP, held=held, reason=reason
                )
        if STATUS_OF[reading.reason] is Status.BAD:
            why_not = f"{channel.config.name} gives no temperature"
        elif place is Place.DIP:
            why_not = "dip to know the metal"
        elif channel.tracker.state is ProbeState.FROZEN_IN:
            why_not = "probe frozen in"
        elif channel.tracker.state is ProbeState.OUT:
            why_not = "probe is out of the metal"
        else:
            why_not = "probe is settling"
    old: list[MetalNow] = []
    if dip is not None and dip.temp_c is not None and mono_s - dip.ended_mono_s <= min(VALID_S, dip.valid_s):
        if power_on_since_s is None:
            age_s = mono_s - dip.ended_mono_s
            u_c = math.hypot(dip.u_c or 0.0, GROWTH_C_PER_MIN * age_s / 60.0)
            old.append(MetalNow(dip.temp_c, u_c, f"dip {dip.number}, {age_s:.0f} s ago", age_s, dip=True))
        else:
            after = power_on_since_s > dip.ended_mono_s
            why_not = f"{'power came on after the dip' if after else 'a dip counts with the power off'}: dip again"
    if typed is not None and 0.0 <= mono_s - typed[0] <= VALID_S:
        age_s = mono_s - typed[0]
        u_c = math.hypot(TYPED_U_C, GROWTH_C_PER_MIN * age_s / 60.0)
        old.append(
            MetalNow(typed[1], u_c, f"{typed[2]}, typed {age_s:.0f} s ago", age_s, dip=True, reason=Reason.OVERRIDE)
        )
    if old:
        return min(old, key=lambda one: one.age_s)
    return MetalNow(None, 0.0, why_not, reason=Reason.WAITING)


def metal_rate_c_per_min(metal: MetalNow, by_name: Mapping[str, ProbeChannel], mono_s: float) -> float | None:
    """How fast the metal itself heats; None where no probe has stood in it long enough to tell."""
    if not metal.live or not metal.probe:
        return None
    tracker = by_name[metal.probe].tracker
    if tracker.state is not ProbeState.IN_METAL:
        return None
    span_s = max(20.0, 2.0 * tracker.rule.tau_metal_s, 3.0 * tracker.trend.step_s)
    since_s = mono_s - tracker.moved_mono_s - tracker.rule.tau_metal_s
    return None if since_s < span_s / 2.0 else tracker.trend.rate_c_per_min(min(span_s, max(since_s, 5.0)))


def _lag_c(channel: ProbeChannel) -> float:
    """How far the sheath is behind metal that moves at the present rate: rate times time constant (first order)."""
    rule, tracker = channel.tracker.rule, channel.tracker
    if tracker.state is not ProbeState.IN_METAL:
        return 0.0
    rate = tracker.trend.rate_c_per_min(max(LAG_SPAN_S, rule.tau_metal_s))
    return 0.0 if rate is None or abs(rate) > LAG_RATE_C_PER_MIN else rate / 60.0 * rule.tau_metal_s
