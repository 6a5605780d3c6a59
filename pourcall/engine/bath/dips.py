"""Dips. One short immersion from its first sample to what it is worth, in words where it is worth nothing.

A dip opens when its probe goes into something hot and is judged when it leaves. Settled or not, its figure is the fit's
(settling.py): where the trace was heading, with the error of that. Depth and stirring are asked once and remembered
for the probe. Three dips in a row tell how well they repeat. Typed figures: a handheld meter was in the metal, a panel
is the furnace's own and is never taken for the metal; panel_pair sets the two side by side.

"Ten sheath diameters" deep is common practice, no source. Shallower than that the error of the stem is reckoned as a
fin: 1/cosh(L sqrt(4 h/(k d))) of what is between metal and air (textbook); h 2000 W/m2K in metal, k 25 W/mK (own
estimates).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import msgspec

from pourcall.contract.events import Dip, DipFault, DipHow
from pourcall.contract.message import NOTHING, Message, tell
from pourcall.contract.plan import AlloyFacts
from pourcall.contract.reading import ProbeState
from pourcall.engine.sensing.measurement import ProbeChannel
from pourcall.thermal_analysis.dip_trace import before_exit, fit_settling, wandered_c
from pourcall.thermal_analysis.settling import SettleFit

FIT_LIMIT_C = 2.0
NO_BUDGET_U_C = 15.0  # a probe before its first budget, or beyond one: never better than a figure read off a panel
REFIT_S, REFIT_TAUS = 0.5, 0.1
GOOD_SHARE = 2.0  # a figure that is good already is refreshed half as often
POINTS_KEPT = 440
LEFT_IN_S, LEFT_IN_TAUS = 60.0, 10.0  # longer than this it is no dip any more: the probe stays in
SETTLED_C = 1.0  # so little to go: what was read is what it is
SLOW_TAUS, SLOW_RANGE_C = 3.0, 1.5  # too few samples for a fit: flat for so long will do
WANDER_C = 3.0  # down and up again: settling does not do that, a hand does
AT_LIQUIDUS_C = 2.0  # a shell that melts off a tip reads the liquidus itself
SOLID_C = 25.0  # so far below the solidus it is no shell
SHELL_S, SHELL_TAUS = 30.0, 6.0  # a frozen shell lasts no longer (ours; pourcall/sim/plant/probe.py has 2 to 20 s)
LIQUID_KNOWN_S = 300.0
DIAMETERS = 10.0
SHEATH_MM: dict[str, float] = {"thin": 1.5, "mineral_3mm": 3.0, "mineral_6mm": 6.0, "ceramic_tube": 15.0}
FILM_W_PER_M2_K, STEM_W_PER_M_K = 2000.0, 25.0
SHALLOW_LIMIT_C = 5.0
STEM_SAID_C = 0.5  # what a shallow stem takes off is said from where it shows in whole degrees
DEEPEST_MM = 1000.0
SPREAD_WITHIN_S = 300.0
RANGE_OF_THREE = 1.693  # mean range of three values in standard deviations (d2 of control charts; from memory)
PANEL_WITHIN_S = 90.0
STILL_C_PER_MIN = 2.0
COMPARED_WITHIN_S, APART_S = 900.0, 45.0


@dataclass(slots=True)
class DipRun:
    """One dip while it lasts."""

    began_s: float
    points: list[tuple[float, float]] = field(default_factory=list)
    depth_mm: float | None = None
    stirred: bool | None = None
    fit: SettleFit | None = None
    fitted_s: float = -1e9
    good_since_s: float | None = None  # the fit has been good enough without a break
    u_c: float | None = None  # highest budget while it lasted: at its end the probe is on its way out, and colder

    def left_in(self, mono_s: float, tau_s: float) -> bool:
        """It lasts longer than any dip."""
        return mono_s - self.began_s > LEFT_IN_S + LEFT_IN_TAUS * tau_s


class DipWatch:
    """Dips of one probe: opened by its state, fitted while they last, judged when it leaves."""

    def __init__(self) -> None:
        self.run: DipRun | None = None
        self.depth_mm: float | None = None  # as last said; holds for later dips, over melts too
        self.stirred: bool | None = None

    def announce(self, depth_mm: float | None, stirred: bool | None) -> None:
        """A person says how it is held; for the dip that is on, and for those to come."""
        if depth_mm is not None:
            self.depth_mm = depth_mm
        if stirred is not None:
            self.stirred = stirred
        if self.run is not None:
            self.run.depth_mm, self.run.stirred = self.depth_mm, self.stirred

    def forget(self) -> None:
        """The probe was put elsewhere: what was going on is no dip."""
        self.run = None

    def update(self, channel: ProbeChannel, mono_s: float, temp_c: float) -> DipRun | None:
        """One followed sample; returns the dip that just ended."""
        if channel.tracker.state not in (ProbeState.ENTERING, ProbeState.SETTLING, ProbeState.IN_METAL):
            ended, self.run = self.run, None
            if ended is not None:
                ended.points.append((mono_s, temp_c))  # so that the way out can be seen
            return ended
        run = self.run
        if run is None:
            run = self.run = DipRun(mono_s, depth_mm=self.depth_mm, stirred=self.stirred)
        if channel.u_c is not None:
            run.u_c = max(channel.u_c, run.u_c or 0.0)
        tau_s, points = channel.tracker.rule.tau_metal_s, run.points
        if not points or mono_s - points[-1][0] >= max(0.25, tau_s / 40.0) - 1e-6:
            points.append((mono_s, temp_c))
            if len(points) > POINTS_KEPT:
                del points[: POINTS_KEPT // 10]
        every_s = max(REFIT_S, REFIT_TAUS * tau_s) * (1.0 if run.good_since_s is None else GOOD_SHARE)
        if mono_s - run.fitted_s >= every_s and not run.left_in(mono_s, tau_s):
            run.fitted_s, run.fit = mono_s, fit_settling(points, tau_s)
            if not is_good(run.fit):
                run.good_since_s = None
            elif run.good_since_s is None:
                run.good_since_s = mono_s
        return None

    def fitted(self, channel: ProbeChannel, mono_s: float) -> bool:
        """A dip is on and its samples are fitted: only the fit says then what it reads."""
        run = self.run
        return run is not None and run.fit is not None and not run.left_in(mono_s, channel.tracker.rule.tau_metal_s)

    def heading(self, channel: ProbeChannel, mono_s: float) -> tuple[float, float] | None:
        """(degC, half-width) of where the dip that is on is heading; None: nothing good enough yet."""
        run = self.run
        if run is None or run.fit is None or not is_good(run.fit) or not self.fitted(channel, mono_s):
            return None
        stem_c = 0.0
        if run.depth_mm is not None:
            stem_c = stem_error_c(channel.config.sheath, run.depth_mm, run.fit.temp_c)
        return None if stem_c > SHALLOW_LIMIT_C else (run.fit.temp_c, math.hypot(run.fit.fit_error_c, stem_c))


def is_good(fit: SettleFit | None) -> bool:
    """Worth a figure."""
    return fit is not None and fit.fit_error_c <= FIT_LIMIT_C and not fit.tau_at_edge


def at_or_below_liquidus(temp_c: float, alloy: AlloyFacts | None) -> bool:
    """A cold probe freezes metal on its tip and reads that, 100 degC below the bath and as flat as settled."""
    return alloy is not None and temp_c < alloy.liquidus_c + AT_LIQUIDUS_C


def stem_error_c(sheath: str, depth_mm: float, temp_c: float, air_c: float = 20.0) -> float:
    """How much too low a sheath may read that is held in to this depth, the part above it in cold air."""
    diameter_m = SHEATH_MM[sheath] * 1e-3
    per_m = math.sqrt(4.0 * FILM_W_PER_M2_K / (STEM_W_PER_M_K * diameter_m))
    return max(temp_c - air_c, 0.0) / math.cosh(min(depth_mm * 1e-3 * per_m, 50.0))


def deep_enough_mm(sheath: str) -> float:
    """Ten diameters."""
    return DIAMETERS * SHEATH_MM[sheath]


def evaluate_dip(
    run: DipRun,
    channel: ProbeChannel,
    number: int,
    mono_s: float,
    utc_s: float,
    alloy: AlloyFacts | None,
    earlier: Sequence[Dip] = (),
    power_maybe_on_until_s: float = math.inf,
) -> Dip:
    """What a dip that is over is worth. alloy None: no melt runs, and nothing is known of the metal.

    earlier: the dips of this melt before it, in order; power_maybe_on_until_s: when the power was last not known to
    be off.
    """
    rule, sheath = channel.tracker.rule, channel.config.sheath
    blank = Dip(
        probe=channel.config.name,
        number=number,
        began_mono_s=run.began_s,
        ended_mono_s=mono_s,
        ended_utc_s=utc_s,
        temp_c=None,
        u_c=None,
        how=DipHow.NOT_USABLE,
        depth_mm=run.depth_mm,
        stirred=run.stirred,
    )
    tau_s, step_s = rule.tau_metal_s, channel.tracker.trend.step_s
    kept = before_exit(run.points, mono_s, span_s=rule.span_s, step_s=step_s, tau_s=tau_s)
    fit = fit_settling(kept, tau_s) or _flat(kept, run.began_s, tau_s)
    held_s = kept[-1][0] - run.began_s if kept else 0.0
    found = _fault_of(fit, held_s, tau_s, wandered_c(kept))
    if found is not None or fit is None:
        return _unusable(blank, found)
    if alloy is not None and at_or_below_liquidus(fit.temp_c, alloy):
        return _unusable(blank, _below_liquidus(fit.temp_c, held_s, mono_s, tau_s, alloy, earlier))
    stem_c = 0.0 if run.depth_mm is None else stem_error_c(sheath, run.depth_mm, fit.temp_c)
    shallow = NOTHING
    if run.depth_mm is not None and run.depth_mm < deep_enough_mm(sheath) and stem_c >= STEM_SAID_C:
        shallow = tell(
            "dip.shallow",
            depth_mm=round(run.depth_mm),
            wanted_mm=round(deep_enough_mm(sheath)),
            low_difference_c=stem_c,
        )
        if stem_c > SHALLOW_LIMIT_C:
            return _unusable(blank, (DipFault.TOO_SHALLOW, tell("dip.too_shallow", how=shallow)))
    # the figure is that of the last sample still surely in the metal
    error_c = math.hypot(fit.fit_error_c, fit.drift_c_per_s * (mono_s - kept[-1][0]))
    dip = msgspec.structs.replace(
        blank,
        temp_c=fit.temp_c,
        u_c=dip_u_c(run, sheath, fit, error_c),
        fit_error_c=error_c,
        how=DipHow.SETTLED if abs(fit.to_go_c) <= SETTLED_C else DipHow.EXTRAPOLATED,
        why=shallow,
    )
    return _widened(dip, earlier, power_maybe_on_until_s)


def dip_u_c(run: DipRun, sheath: str, fit: SettleFit, error_c: float | None = None) -> float:
    """U of a dip's figure: the probe's own budget, the error of the fit, and what a shallow stem takes off."""
    base_u_c = run.u_c if run.u_c is not None else NO_BUDGET_U_C
    stem_c = 0.0 if run.depth_mm is None else stem_error_c(sheath, run.depth_mm, fit.temp_c)
    return math.hypot(base_u_c, fit.fit_error_c if error_c is None else error_c, stem_c)


def _unusable(blank: Dip, found: tuple[DipFault, Message] | None) -> Dip:
    if found is None:
        return blank
    fault, why = found
    return msgspec.structs.replace(blank, fault=fault, why=why)


def _fault_of(fit: SettleFit | None, held_s: float, tau_s: float, wandered_c: float) -> tuple[DipFault, Message] | None:
    """Why the trace of a dip tells nothing; None: it does."""
    enough_s = math.ceil(3.0 * tau_s + 2.0)
    if fit is not None and fit.tau_at_edge and held_s >= enough_s:
        return DipFault.HOT_GAS, tell("dip.hot_gas")
    if fit is None or (fit.tau_at_edge and held_s >= 2.0 * tau_s):  # too short to tell gas from metal, too
        return DipFault.TOO_SHORT, tell("dip.too_short", held_s=held_s, least_s=float(max(enough_s, _longer_s(held_s))))
    if fit.fit_error_c <= FIT_LIMIT_C:
        return None
    if wandered_c > WANDER_C:
        return DipFault.WANDERED, tell("dip.wandered", by_difference_c=wandered_c)
    more_s = max(1.0, fit.tau_s * math.log(min(fit.fit_error_c, 500.0) / FIT_LIMIT_C))
    if held_s < 2.0 * tau_s:
        least_s = float(max(enough_s, math.ceil(held_s + more_s)))
        return DipFault.TOO_SHORT, tell("dip.too_short", held_s=held_s, least_s=least_s)
    return DipFault.UNSETTLED, tell(
        "dip.unsettled", held_s=held_s, known_difference_c=fit.fit_error_c, longer_s=float(math.ceil(more_s) + 1)
    )


def _longer_s(held_s: float) -> int:
    """What was too short is never asked for again: at least a second more."""
    return math.floor(held_s) + 1


def _below_liquidus(
    temp_c: float, held_s: float, mono_s: float, tau_s: float, alloy: AlloyFacts, earlier: Sequence[Dip]
) -> tuple[DipFault, Message]:
    """A dip that ends at or below the liquidus: the pot, or a shell on the sheath. Only what can be known is said."""
    if temp_c < alloy.solidus_c - SOLID_C:
        return DipFault.SOLID, tell("dip.solid", temp_c=temp_c)
    known = next((d for d in reversed(earlier) if d.temp_c is not None), None)
    if known is not None and mono_s - known.ended_mono_s <= LIQUID_KNOWN_S:
        return DipFault.SHELL, tell("dip.shell", temp_c=temp_c, number=known.number)
    shell_s = SHELL_S + SHELL_TAUS * tau_s
    if held_s >= shell_s:
        return DipFault.MUSHY, tell("dip.mushy", temp_c=temp_c, held_s=held_s)
    return DipFault.SHELL_OR_MUSHY, tell("dip.shell_or_mushy", temp_c=temp_c, shell_s=shell_s)


def _flat(points: Sequence[tuple[float, float]], began_s: float, tau_s: float) -> SettleFit | None:
    """Too few samples for a fit, because they come slowly: long in and flat will do."""
    if len(points) < 3 or points[-1][0] - began_s < SLOW_TAUS * tau_s:
        return None
    last_s = points[-1][0]
    tail = [c for t, c in points if t >= last_s - max(3.0, tau_s)]
    tail = tail if len(tail) >= 3 else [c for _, c in points[-3:]]
    range_c = max(tail) - min(tail)
    if not range_c <= SLOW_RANGE_C:
        return None
    return SettleFit(sum(tail) / len(tail), range_c, tau_s, False)


# -- several dips -----------------------------------------------------------------------------------------------------


def dip_spread_c(dips: Sequence[Dip], power_maybe_on_until_s: float) -> float | None:
    """Highest less lowest of the last three dips: good ones, of one probe, within five minutes, in a steady bath.

    Steady: the power was off all the time, or they do not go all one way. power_maybe_on_until_s: when it was last
    not known off.
    """
    temps = _last_three(dips, power_maybe_on_until_s)
    return None if temps is None else max(temps) - min(temps)


def _last_three(dips: Sequence[Dip], power_maybe_on_until_s: float) -> tuple[float, float, float] | None:
    if len(dips) < 3:
        return None
    one, two, three = dips[-3:]
    if one.temp_c is None or two.temp_c is None or three.temp_c is None:
        return None
    if len({one.probe, two.probe, three.probe}) > 1 or three.ended_mono_s - one.began_mono_s > SPREAD_WITHIN_S:
        return None
    temps = (one.temp_c, two.temp_c, three.temp_c)
    if power_maybe_on_until_s >= one.began_mono_s and (
        temps[0] < temps[1] < temps[2] or temps[0] > temps[1] > temps[2]
    ):
        return None
    return temps


def _widened(dip: Dip, earlier: Sequence[Dip], power_maybe_on_until_s: float) -> Dip:
    """The dip with the uncertainty that three in a row show, where that is larger than what was stated.

    Two standard deviations; where they go all one way (the bath cools), about the straight line through them.
    """
    three = [*earlier[-2:], dip]
    temps = _last_three(three, power_maybe_on_until_s)
    if temps is None or dip.u_c is None:
        return dip
    first, middle, last = temps
    u_c = 2.0 * (max(temps) - min(temps)) / RANGE_OF_THREE
    if first < middle < last or first > middle > last:
        began_s, middle_s, ended_s = (d.ended_mono_s for d in three)
        share = (middle_s - began_s) / max(ended_s - began_s, 1e-9)
        off_c = middle - (first + share * (last - first))
        u_c = 2.0 * abs(off_c) / math.sqrt(1.0 + share**2 + (1.0 - share) ** 2)
    if u_c <= dip.u_c:
        return dip
    return msgspec.structs.replace(dip, u_c=u_c, widened=True)


# -- figures typed in -------------------------------------------------------------------------------------------------


def panel_pair(
    panel_s: float,
    panel_c: float,
    *,
    dips: Sequence[Dip],
    live_c: float | None = None,
    rate_c_per_min: float | None = None,
    panel_before: tuple[float, float] | None = None,
) -> tuple[float, float] | None:
    """(metal degC, panel degC) for the panel-to-melt offset, or None: they were not seen side by side, standing still.

    panel_s, panel_c: when the panel showed what. dips: of this melt, in order. live_c, rate_c_per_min: of a probe that
    stays in the metal, at that moment. panel_before: an earlier figure of the panel, if there is one. "Still": at most
    2 degC a minute; for dips, from the last good one of the same probe to this one.
    """
    since_s = -1.0 if panel_before is None else panel_s - panel_before[0]
    moved_c = 0.0 if panel_before is None else abs(panel_c - panel_before[1])
    if APART_S <= since_s <= COMPARED_WITHIN_S and moved_c / since_s * 60.0 > STILL_C_PER_MIN:
        return None
    if live_c is not None:
        still = rate_c_per_min is not None and abs(rate_c_per_min) <= STILL_C_PER_MIN
        return (live_c, panel_c) if still else None
    good = [d for d in dips if d.temp_c is not None]
    if len(good) < 2 or good[-1].probe != good[-2].probe:
        return None
    now, before = good[-1], good[-2]
    apart_s = now.ended_mono_s - before.ended_mono_s
    near = now.began_mono_s - PANEL_WITHIN_S <= panel_s <= now.ended_mono_s + PANEL_WITHIN_S
    if not near or not APART_S <= apart_s <= COMPARED_WITHIN_S or now.temp_c is None or before.temp_c is None:
        return None
    still = abs(now.temp_c - before.temp_c) / apart_s * 60.0 <= STILL_C_PER_MIN
    return (now.temp_c, panel_c) if still else None
