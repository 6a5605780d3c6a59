"""Room: what the metal itself is at. Probes, dips and typed figures in, one temperature with its uncertainty out.

Order of trust: a probe in the metal now; a dip or a typed figure not older than 90 s; nothing. A chamber probe never
says what the metal is at.
"""

import math
from bisect import bisect_right
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass

from pourcall.contract.events import Dip
from pourcall.contract.plan import AlloyFacts
from pourcall.contract.reading import Place, ProbeState
from pourcall.contract.snapshot import MetalView
from pourcall.contract.status import STATUS_OF, Reason, Status
from pourcall.contract.units import say_c, say_difference_c
from pourcall.daemon.engine.measure import USABLE, ProbeChannel
from pourcall.daemon.engine.settle_fit import SettleFit, settle_fit

VALID_S = 90.0
GROWTH_C_PER_MIN = 3.0  # what an old dip's uncertainty gains in a minute: power off, lid on (ours)
TYPED_U_C = 15.0  # a panel or a handheld meter: nothing is known of it
NO_BUDGET_U_C = 15.0  # a probe before its first budget, or beyond one: never better than a figure read off a panel
FRESH_S = 3.0
FIT_LIMIT_C = 2.0
HISTORY_S = 3600.0
LAG_U_SHARE = 0.5  # the time constant of a sheath in metal is known no better than this (k = 2)
LAG_SAID_C = 2.0
LAG_SPAN_S = 12.0
LAG_RATE_C_PER_MIN = 90.0  # faster than metal heats: the probe still settles, nothing to correct


@dataclass(frozen=True, slots=True)
class MetalNow:
    """temp_c None: not known, `how` says why. live: from a probe in the metal now. held: over a short gap."""

    temp_c: float | None
    u_c: float
    how: str
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


@dataclass(slots=True)
class DipRun:
    """One dip while it lasts."""

    began_s: float
    points: list[tuple[float, float]]
    depth_mm: float | None = None
    stirred: bool | None = None
    fit: SettleFit | None = None
    fitted_s: float = -1e9
    u_c: float | None = None  # highest budget while it lasted: at its end the probe is on its way out, and colder


class DipWatch:
    """Dips of one probe: opened by its state, judged when it leaves."""

    def __init__(self) -> None:
        self.run: DipRun | None = None
        self._asked: DipRun | None = None

    def announce(self, mono_s: float, depth_mm: float | None, stirred: bool | None) -> None:
        """A person says that a dip begins."""
        self._asked = DipRun(mono_s, [], depth_mm, stirred)

    def update(self, channel: ProbeChannel, mono_s: float, temp_c: float) -> DipRun | None:
        """One followed sample; returns the dip that just ended."""
        state = channel.tracker.state
        if state in (ProbeState.ENTERING, ProbeState.SETTLING, ProbeState.IN_METAL):
            if self.run is None:
                asked, self._asked = self._asked, None
                self.run = DipRun(mono_s, []) if asked is None else asked
                self.run.began_s = mono_s
            if channel.u_c is not None:
                self.run.u_c = max(channel.u_c, self.run.u_c or 0.0)
            points = self.run.points
            if not points or mono_s - points[-1][0] >= 0.25 - 1e-6:
                points.append((mono_s, temp_c))
                if len(points) > 400:
                    del points[:200]
            return None
        ended, self.run = self.run, None
        return ended

    def live_fit(self, channel: ProbeChannel, mono_s: float) -> SettleFit | None:
        """Where the dip that is on is heading; refreshed twice a second."""
        run = self.run
        if run is None:
            return None
        if mono_s - run.fitted_s >= 0.5:
            run.fitted_s = mono_s
            run.fit = fit_dip(run, channel.tracker.rule.tau_metal_s)
        return run.fit


BELOW_LIQUID = "below the liquidus: the metal is still part solid, or a shell of it froze on the tip"


def _below_liquid(temp_c: float, alloy: AlloyFacts | None) -> bool:
    """A cold probe freezes metal on its tip and reads that, 100 degC below the bath and as flat as settled."""
    return alloy is not None and temp_c < alloy.liquidus_c


def _u_c(channel: ProbeChannel) -> float:
    return NO_BUDGET_U_C if channel.u_c is None else channel.u_c


def fit_dip(run: DipRun, tau_s: float, *, before_s: float | None = None) -> SettleFit | None:
    """Fit the settling part of a dip: from one time constant after it began, thinned to 40 points."""
    start_s = run.began_s + tau_s
    points = [p for p in run.points if p[0] >= start_s and (before_s is None or p[0] <= before_s)]
    if len(points) > 40:
        stride = len(points) / 40.0
        points = [points[int(i * stride)] for i in range(40)]
    return settle_fit(points, tau_s)


def judge_dip(
    run: DipRun, channel: ProbeChannel, number: int, mono_s: float, utc_s: float, alloy: AlloyFacts | None
) -> Dip:
    """What a dip that is over is worth. alloy None: no melt runs, and nothing is known of the metal."""
    tau_s = channel.tracker.rule.tau_metal_s
    # The last samples are already on the way out: the fall had to reach the surge threshold to be seen.
    before_s = mono_s - channel.tracker.rule.span_s - 1.0
    kept = [p for p in run.points if p[0] <= before_s]
    common = {"probe": channel.config.name, "number": number, "began_mono_s": run.began_s, "ended_mono_s": mono_s}
    extra = {"ended_utc_s": utc_s, "depth_mm": run.depth_mm, "stirred": run.stirred}

    def unusable(why: str) -> Dip:
        return Dip(**common, **extra, temp_c=None, u_c=None, how="not usable", why=why)  # type: ignore[arg-type]

    if len(kept) < 3 or kept[-1][0] - run.began_s < 2.0 * tau_s:
        return unusable(f"too short: hold it in for {3.0 * tau_s + 2.0:.0f} s")
    last_s = kept[-1][0]
    tail = [c for t, c in kept if t >= last_s - max(3.0, tau_s)]
    fit = fit_dip(run, tau_s, before_s=before_s)
    base_u_c = run.u_c if run.u_c is not None else NO_BUDGET_U_C
    settled = last_s - run.began_s >= 3.0 * tau_s and len(tail) >= 3 and max(tail) - min(tail) <= 1.5
    if settled:
        temp_c = sum(tail) / len(tail)
        if _below_liquid(temp_c, alloy):
            return unusable(f"{BELOW_LIQUID} ({say_c(temp_c)}): go on heating, then stir and dip again")
        u_c = math.hypot(base_u_c, max(tail) - min(tail))
        return Dip(**common, **extra, temp_c=temp_c, u_c=u_c, how="settled", fit_error_c=max(tail) - min(tail))  # type: ignore[arg-type]
    if fit is None or fit.fit_error_c > FIT_LIMIT_C:
        return unusable("not settled and too few seconds to tell where it was heading: hold it in longer, and still")
    if fit.tau_at_edge:
        return unusable("it settled far too slowly for metal: was the tip only in hot gas, or cold metal frozen on it?")
    if _below_liquid(fit.temp_c, alloy):
        return unusable(f"{BELOW_LIQUID} ({say_c(fit.temp_c)}): go on heating, then stir and dip again")
    u_c = math.hypot(base_u_c, fit.fit_error_c)
    return Dip(**common, **extra, temp_c=fit.temp_c, u_c=u_c, how="extrapolated", fit_error_c=fit.fit_error_c)  # type: ignore[arg-type]


class MetalHistory:
    """What the metal was at, once a second for an hour: marking works backwards."""

    def __init__(self) -> None:
        self._points: deque[tuple[float, float, float, str]] = deque()

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

    def at(self, mono_s: float) -> tuple[float, float, float, str] | None:
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
    """The best knowledge of the metal's temperature. typed: (time s, temp degC, source)."""
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
        if place is Place.DIP and reading.temp_c is not None and _below_liquid(reading.temp_c, alloy):
            in_it = channel.tracker.state in (ProbeState.SETTLING, ProbeState.IN_METAL)
            why_not = BELOW_LIQUID if in_it else "dip to know the metal"
            continue
        if channel.tracker.state in (ProbeState.IN_METAL, ProbeState.FROZEN_IN):
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
        if place is Place.DIP and channel.tracker.state in (ProbeState.SETTLING, ProbeState.IN_METAL):
            fit = watches[channel.config.name].live_fit(channel, mono_s)
            if fit is not None and fit.fit_error_c <= FIT_LIMIT_C and not fit.tau_at_edge:
                u_c = math.hypot(_u_c(channel), fit.fit_error_c)
                how = "dip going on, extrapolated"
                return MetalNow(fit.temp_c, u_c, how, 0.0, True, channel.config.name, dip=True)
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
        voided = power_on_since_s is not None and power_on_since_s > dip.ended_mono_s
        if not voided:
            age_s = mono_s - dip.ended_mono_s
            u_c = math.hypot(dip.u_c or 0.0, GROWTH_C_PER_MIN * age_s / 60.0)
            old.append(MetalNow(dip.temp_c, u_c, f"dip {dip.number}, {age_s:.0f} s ago", age_s, dip=True))
        else:
            why_not = "power came on after the dip: dip again"
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
