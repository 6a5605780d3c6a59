"""The temperature of the metal itself. Probes, dips and typed figures in, one temperature with its uncertainty out.

Order of trust: a probe in the metal now; a dip (dips.py) or a figure of a handheld meter not older than 90 s; nothing.
A dip counts with the power off since it ended; once it came on, it counts no more. A figure of one moment only grows
less sure (aged_u_c), and the power is part of that.
A chamber probe never says what the metal is at, nor does a panel.
"""

import math
from bisect import bisect_right
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import NamedTuple

from pourcall.contract.events import Dip, FigureSource, PourSource
from pourcall.contract.message import NOTHING, Message, Told, tell
from pourcall.contract.plan import AlloyFacts
from pourcall.contract.reading import GROWTH_C_PER_MIN, LAG_SAID_C, TYPED_U_C, Place, ProbeState, Reading
from pourcall.contract.snapshot import MetalView
from pourcall.contract.status import STATUS_OF, Reason, Status
from pourcall.engine.bath.dips import NO_BUDGET_U_C, DipWatch, at_or_below_liquidus
from pourcall.engine.sensing.measurement import USABLE, ProbeChannel
from pourcall.engine.sensing.trust import Cause, TrustState

VALID_S = 90.0
FRESH_S = 3.0
HISTORY_S = 3600.0
# The time constant of a sheath in metal is known to a factor of two, that of a tube no better; and where a rate changes
# the sheath shows it only that much later (k = 2; ours, judged on simulated melts).
LAG_U_SHARE, TUBE_U_SHARE, TUBE_TAU_S = 1.1, 2.2, 10.0
# With the power just off the bath rises on, from what wall and pot hold: so fast at the most, and dying away so slowly
# (ours, judged on simulated melts); with the power not known to be off it goes on.
COASTS_C_PER_S, COAST_TAU_S = 0.65, 240.0
LAG_SPAN_S = 12.0
LAG_RATE_C_PER_MIN = 90.0  # faster than metal heats: the probe still settles, nothing to correct
# After its last surge a probe still comes up to the metal: six time constants leave a four-hundredth of the rest. A
# thick tube is not waited for so long: its rate would come too late to cut the power by.
CATCHES_UP, CATCHES_UP_MOST_S = 6.0, 30.0
_APART = (FigureSource.TYPED, FigureSource.DIP)  # a figure of one moment, of no probe that stays in
_LIVE = (FigureSource.PROBE, FigureSource.LAST_GOOD, FigureSource.DIP_ON)


class TypedFigure(NamedTuple):
    """What a person read off an instrument that was in the metal."""

    at_s: float
    temp_c: float
    instrument: str
    doubted: bool = False  # no furnace can have made it since the figure before, and nobody was asked


@dataclass(frozen=True, slots=True)
class Powered:
    """What is known of the power, for figures of one moment: each of these ages by it."""

    on_from_s: float = math.inf  # when it last came on
    on_until_s: float = -math.inf  # last moment at which it was known to be on
    maybe_on_until_s: float = -math.inf  # last moment at which it was not known to be off


@dataclass(frozen=True, slots=True)
class MetalNow:
    """temp_c None: not known, `how` says why. dipped: by a dip, one that goes on or one that is over, or typed in."""

    temp_c: float | None
    u_c: float
    how: Told
    source: FigureSource = FigureSource.NONE
    age_s: float = 0.0
    probe: str = ""
    dipped: bool = False
    reason: Reason = Reason.OK
    lag_c: float = 0.0  # allowed for the sheath
    dip: int | None = None  # its number, where a dip that is over says so
    instrument: str = ""  # of a typed figure
    read_u_c: float | None = None  # of a figure of one moment, when it was read; None: it is of now
    powered: bool = False  # the power was on when such a figure was typed, or since
    doubted: bool = False  # of a typed figure: to be asked about before anything is called on it
    leaving: bool = False  # no figure: its probe leaves it, perhaps with the pot
    spent: bool = False  # no figure any more: its age alone took away what it was good for
    was_out: bool = False  # no figure any more: the pot was out of the furnace since it was read

    @property
    def live(self) -> bool:
        """From a probe in the metal now."""
        return self.source in _LIVE

    @property
    def held(self) -> bool:
        """The last good figure of such a probe, over a short gap."""
        return self.source is FigureSource.LAST_GOOD

    def view(self, rate_c_per_min: float | None) -> MetalView:
        """As the dashboard sees it."""
        return MetalView(
            temp_c=self.temp_c,
            u_c=None if self.temp_c is None else self.u_c,
            source=self.source,
            how=self.how,
            reason=self.reason,
            probe=self.probe,
            rate_c_per_min=rate_c_per_min,
            age_s=self.age_s,
        )


def coasted_c(age_s: float, off_s: float) -> float:
    """The most a bath can have risen in a time, that began so long after the power was known to be off."""
    if off_s <= 0.0:
        return COASTS_C_PER_S * age_s
    fading = math.exp(-off_s / COAST_TAU_S) * (1.0 - math.exp(-age_s / COAST_TAU_S))
    return COASTS_C_PER_S * COAST_TAU_S * fading


def aged_u_c(read_u_c: float, read_s: float, mono_s: float, maybe_on_until_s: float) -> float:
    """U of a figure of one moment, at a later one: it only grows until the metal is read again.

    read_u_c: when it was read; maybe_on_until_s: when the power was last not known to be off. Everything that hangs
    on the age of a figure hangs on this: its state, its call, its words and what stands behind the +/-.
    """
    age_s = max(mono_s - read_s, 0.0)
    return math.hypot(read_u_c, GROWTH_C_PER_MIN * age_s / 60.0, coasted_c(age_s, read_s - maybe_on_until_s))


def dip_figure(dip: Dip, mono_s: float, *, maybe_on_until_s: float = -math.inf) -> MetalNow | None:
    """A dip that is over, at a later moment. None: it is of no use."""
    if dip.temp_c is None:
        return None
    age_s, read_u_c = max(mono_s - dip.ended_mono_s, 0.0), dip.u_c or 0.0
    u_c = aged_u_c(read_u_c, dip.ended_mono_s, mono_s, maybe_on_until_s)
    how = tell("figure.dip", number=dip.number, age_s=age_s) if age_s else tell("figure.dip_new", number=dip.number)
    return MetalNow(dip.temp_c, u_c, how, FigureSource.DIP, age_s, dipped=True, dip=dip.number, read_u_c=read_u_c)


@dataclass(frozen=True, slots=True)
class HistoryPoint:
    """What the metal was at at one moment, and what that rests on."""

    at_s: float
    temp_c: float
    u_c: float
    how: Told
    source: PourSource
    read_u_c: float  # when it was read
    in_hand: bool = False  # by a probe that stands in the metal while the pot is out


class MetalHistory:
    """What the metal was at, once a second for an hour: marking works backwards."""

    def __init__(self) -> None:
        self._points: deque[HistoryPoint] = deque()

    def add(self, mono_s: float, metal: MetalNow, *, in_hand: bool = False) -> None:
        """Keep one point a second, where there is a figure."""
        points = self._points
        if metal.temp_c is None or metal.doubted:
            return
        if points and mono_s - points[-1].at_s < 1.0 and points[-1].source.figure is metal.source:
            return  # what comes from elsewhere counts at once: it may be asked for in the same second
        source = PourSource(
            figure=metal.source, age_s=metal.age_s, lag_c=metal.lag_c, dip=metal.dip, instrument=metal.instrument
        )
        read_u_c = metal.u_c if metal.read_u_c is None else metal.read_u_c
        points.append(HistoryPoint(mono_s, metal.temp_c, metal.u_c, metal.how, source, read_u_c, in_hand))
        while points[0].at_s < mono_s - HISTORY_S:
            points.popleft()

    def read(self, typed: TypedFigure) -> None:
        """A figure of a meter, at the moment it was read; for a pot that nothing else follows: it is in the hand."""
        figure = _typed_figure(typed, typed.at_s, Powered())
        source = PourSource(figure=figure.source, instrument=typed.instrument)
        point = HistoryPoint(typed.at_s, typed.temp_c, figure.u_c, figure.how, source, figure.u_c)
        points = self._points
        points.insert(bisect_right(points, typed.at_s, key=lambda one: one.at_s), point)

    def drop_after(self, mono_s: float) -> None:
        """Forget what a probe said after a moment: it was on its way out by then. What was read apart stays."""
        apart: list[HistoryPoint] = []
        while self._points and self._points[-1].at_s > mono_s:
            point = self._points.pop()
            if point.source.figure in _APART:
                apart.append(point)
        self._points.extend(reversed(apart))

    def read_between(self, lift_s: float, mono_s: float, *, apart: bool = False) -> HistoryPoint | None:
        """The last figure read of the metal itself after the lift: typed in, of a dip that is over, or (unless apart)
        by a probe that stands in it."""
        for point in reversed(self._points):
            if point.at_s <= lift_s:
                return None
            read_s = point.at_s - point.source.age_s
            read = point.source.figure in _APART or (point.in_hand and not apart)
            if point.at_s <= mono_s + 1e-6 and read and read_s > lift_s:
                return replace(point, at_s=read_s)
        return None

    def at(self, mono_s: float) -> HistoryPoint | None:
        """The last figure not later than a moment."""
        points = self._points
        index = bisect_right(points, mono_s + 1e-6, key=lambda point: point.at_s)
        return points[index - 1] if index else None


def metal_now(
    channels: tuple[ProbeChannel, ...],
    watches: Mapping[str, DipWatch],
    dip: Dip | None,
    typed: TypedFigure | None,
    power: Powered,
    mono_s: float,
    alloy: AlloyFacts | None = None,
    *,
    disagree: bool = False,
    back_s: float = -math.inf,
) -> MetalNow:
    """The best knowledge of the metal's temperature. dip: the last one; typed: of a meter in the metal.

    disagree: probes that stay in the metal do, and the higher is used. back_s: when the pot was last put back into
    the furnace; what was read before then is of metal that has cooled meanwhile.
    """
    why_not = tell("figure.no_probe")
    if disagree:
        standing = standing_figures(channels, watches, mono_s, alloy)
        if standing:
            highest = max(standing, key=lambda one: one.temp_c or 0.0)
            return replace(highest, how=tell("figure.higher", how=highest.how), reason=Reason.DISAGREE)
    for channel in channels:
        found = _by_probe(channel, watches[channel.config.name], mono_s, alloy)
        if isinstance(found, MetalNow):
            return found
        why_not = found or why_not
    old: list[MetalNow] = []
    was_out = (dip is not None and dip.ended_mono_s <= back_s) or (typed is not None and typed.at_s <= back_s)
    if was_out:
        why_not = tell("figure.was_out")
    if dip is not None and dip.ended_mono_s > back_s and mono_s - dip.ended_mono_s <= min(VALID_S, dip.valid_s):
        figure = dip_figure(dip, mono_s, maybe_on_until_s=power.maybe_on_until_s)
        if figure is not None and power.on_until_s < dip.ended_mono_s:
            old.append(figure)
        elif figure is not None:  # and it counts no more when the power goes off again
            was_out = False
            why_not = tell("figure.dip_with_power" if power.on_from_s <= dip.ended_mono_s else "figure.power_after_dip")
    if typed is not None and typed.at_s > back_s and 0.0 <= mono_s - typed.at_s <= VALID_S:
        old.append(_typed_figure(typed, mono_s, power))
    if old:
        return min(old, key=lambda one: one.age_s)
    return MetalNow(None, 0.0, why_not, reason=Reason.WAITING, was_out=was_out)


def standing_figures(
    channels: tuple[ProbeChannel, ...], watches: Mapping[str, DipWatch], mono_s: float, alloy: AlloyFacts | None
) -> list[MetalNow]:
    """What each probe that stays in the metal says of it now; one that gives nothing, or settles, is left out."""
    staying = (channel for channel in channels if channel.tracker.place is Place.MELT)
    found = (_by_probe(channel, watches[channel.config.name], mono_s, alloy) for channel in staying)
    return [one for one in found if isinstance(one, MetalNow) and not one.held]


def _typed_figure(typed: TypedFigure, mono_s: float, power: Powered) -> MetalNow:
    """It stands with the power on as well, so that heat is cut by it; it is not poured on then."""
    age_s = mono_s - typed.at_s
    return MetalNow(
        typed.temp_c,
        aged_u_c(TYPED_U_C, typed.at_s, mono_s, power.maybe_on_until_s),
        tell("figure.typed", instrument=typed.instrument, age_s=age_s),
        FigureSource.TYPED,
        age_s,
        dipped=True,
        reason=Reason.OVERRIDE,
        instrument=typed.instrument,
        read_u_c=TYPED_U_C,
        powered=power.on_until_s >= typed.at_s,
        doubted=typed.doubted,
    )


def _by_probe(channel: ProbeChannel, watch: DipWatch, mono_s: float, alloy: AlloyFacts | None) -> MetalNow | Message:
    """What one probe says of the metal, or why it says nothing; no message: it is no probe for the metal."""
    place, reading, name = channel.tracker.place, channel.last, channel.config.name
    if place is Place.CHAMBER:
        return tell("figure.chamber_only")
    if place is Place.AMBIENT:
        return NOTHING
    stale_s = max(FRESH_S, channel.config.stale_after_s, 2.5 * channel.tracker.trend.step_s)
    if reading is None or mono_s - reading.at_mono_s > stale_s:
        return tell("figure.no_word", probe=name)
    if not channel.trusted and channel.trust.state is not TrustState.LOST:
        return _why_unproven(channel)
    fitted = False
    if place is Place.DIP and reading.temp_c is not None:
        if at_or_below_liquidus(reading.temp_c, alloy):
            return tell("figure.below_liquidus" if _is_in(channel) else "figure.dip_to_know")
        heading = _heading(channel, watch, mono_s, alloy)
        if heading is not None:
            return heading
        fitted = watch.fitted(channel, mono_s)  # then only the fit says what it reads
    if not fitted and channel.tracker.state in (ProbeState.IN_METAL, ProbeState.FROZEN_IN):
        standing = _standing(channel, reading, mono_s, stale_s)
        if standing is not None:
            return standing
    return _why_nothing(channel, reading)


def _is_in(channel: ProbeChannel) -> bool:
    return channel.tracker.state in (ProbeState.SETTLING, ProbeState.IN_METAL)


def _heading(channel: ProbeChannel, watch: DipWatch, mono_s: float, alloy: AlloyFacts | None) -> MetalNow | None:
    """Where a dip that goes on is heading."""
    heading = watch.heading(channel, mono_s) if _is_in(channel) else None
    if heading is None or at_or_below_liquidus(heading[0], alloy):
        return None
    u_c = math.hypot(_u_c(channel), heading[1])
    return MetalNow(heading[0], u_c, tell("figure.dip_on"), FigureSource.DIP_ON, probe=channel.config.name, dipped=True)


def _standing(channel: ProbeChannel, reading: Reading, mono_s: float, stale_s: float) -> MetalNow | None:
    """What a probe in the metal reads, its lag allowed for; over a short gap the last it read."""
    held = reading.reason not in USABLE
    best = channel.last_usable if held else reading
    if best is None or best.temp_c is None or mono_s - best.at_mono_s > (FRESH_S if held else stale_s):
        return None
    dipped = channel.tracker.place is Place.DIP
    lag_c = 0.0 if held else _lag_c(channel)
    how = tell("figure.last_good" if held else "figure.probe")
    if abs(lag_c) >= LAG_SAID_C:
        how = tell("figure.lag", how=how, lag_difference_c=abs(lag_c))
    source = FigureSource.LAST_GOOD if held else FigureSource.DIP_ON if dipped else FigureSource.PROBE
    return MetalNow(
        best.temp_c + lag_c,
        math.hypot(_u_c(channel), 0.0 if held else _lag_u_c(channel)),
        how,
        source,
        mono_s - best.at_mono_s,
        probe=channel.config.name,
        dipped=dipped,
        reason=Reason.LAST_KNOWN if held else best.reason,
        lag_c=lag_c,
    )


def _why_nothing(channel: ProbeChannel, reading: Reading) -> Message:
    """Why a probe that is heard says nothing of the metal."""
    if STATUS_OF[reading.reason] is Status.BAD:
        return tell("figure.no_temperature", probe=channel.config.name)
    if channel.tracker.place is Place.DIP:
        return tell("figure.dip_to_know")
    match channel.tracker.state:
        case ProbeState.FROZEN_IN:
            return tell("figure.frozen_in")
        case ProbeState.OUT:
            return tell("figure.out")
        case ProbeState.LEAVING:
            return tell("figure.leaving")
        case _:
            return tell("figure.settling")


def _why_unproven(channel: ProbeChannel) -> Message:
    """Why a figure that is shown counts for nothing yet."""
    probe, wait_s = channel.config.name, channel.trust.ready_in_s(channel.heard_mono_s or 0.0)
    if channel.trust.state is TrustState.DISTRUSTED and channel.trust.cause is Cause.UNEXPLAINED:
        return tell("figure.unexplained", probe=probe)
    if wait_s is None:
        return tell("figure.distrusted", probe=probe)
    return tell("figure.unproven", probe=probe, wait_s=wait_s)


def _u_c(channel: ProbeChannel) -> float:
    return NO_BUDGET_U_C if channel.u_c is None else channel.u_c


def metal_rate_c_per_min(metal: MetalNow, by_name: Mapping[str, ProbeChannel], mono_s: float) -> float | None:
    """How fast the metal itself heats; None where no probe has stood in it long enough to tell."""
    if not metal.live or not metal.probe:
        return None
    tracker = by_name[metal.probe].tracker
    if tracker.state is not ProbeState.IN_METAL:
        return None
    tau_s = tracker.rule.tau_metal_s
    span_s = max(20.0, 2.0 * tau_s, 3.0 * tracker.trend.step_s)
    since_s = mono_s - tracker.moved_mono_s - max(tau_s, min(CATCHES_UP * tau_s, CATCHES_UP_MOST_S))
    return None if since_s < span_s / 2.0 else tracker.trend.rate_c_per_min(min(span_s, max(since_s, 5.0)))


def _lag_c(channel: ProbeChannel) -> float:
    """How far the sheath is behind metal that moves at the present rate: rate times time constant (first order)."""
    rule, tracker = channel.tracker.rule, channel.tracker
    if tracker.state is not ProbeState.IN_METAL:
        return 0.0
    return _lag_over_c(channel, max(LAG_SPAN_S, rule.tau_metal_s))


def _lag_over_c(channel: ProbeChannel, span_s: float) -> float:
    """The lag by the rate over a span."""
    rate, tau_s = channel.tracker.trend.rate_c_per_min(span_s), channel.tracker.rule.tau_metal_s
    return 0.0 if rate is None or abs(rate) > LAG_RATE_C_PER_MIN else rate / 60.0 * tau_s


def _lag_u_c(channel: ProbeChannel) -> float:
    """What is not known of the lag: by the rate now, or that of a while ago, where it was faster."""
    tau_s, now_c = channel.tracker.rule.tau_metal_s, _lag_c(channel)
    before_c = _lag_over_c(channel, 3.0 * max(LAG_SPAN_S, tau_s))
    share = TUBE_U_SHARE if tau_s > TUBE_TAU_S else LAG_U_SHARE
    return share * math.hypot(max(abs(now_c), abs(before_c)), now_c - before_c)
