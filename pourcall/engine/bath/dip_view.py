"""A dip that goes on, told to the person who holds the probe: how long yet, and what is wrong if something is.

Made from what the watch has found already; nothing is fitted here, so that looking changes nothing.
"""

import math
from collections.abc import Iterable

from pourcall.contract.message import Message, tell
from pourcall.contract.plan import AlloyFacts
from pourcall.contract.reading import Place, ProbeState
from pourcall.contract.snapshot import DipHint, DipView
from pourcall.engine.bath.dips import (
    FIT_LIMIT_C,
    SHALLOW_LIMIT_C,
    SHELL_S,
    SHELL_TAUS,
    DipRun,
    DipWatch,
    at_or_below_liquidus,
    deep_enough_mm,
    dip_u_c,
    is_good,
    stem_error_c,
)
from pourcall.engine.sensing.measurement import ProbeChannel
from pourcall.thermal_analysis.settling import SettleFit

SURE_S, SURE_TAUS, SURE_SAMPLES = 1.0, 0.6, 2.0  # the figure must stand so long: a dip's last moment is its end
LONGEST_TAUS, LONGEST_S = 8.0, 20.0  # a fit that has not come by then will not
GAS_TAUS = 2.0


def dip_view(
    watched: Iterable[tuple[ProbeChannel, DipWatch]], mono_s: float, alloy: AlloyFacts | None, *, power_on: bool = False
) -> DipView | None:
    """The dip that goes on now; None: none does, or the probe stays in. alloy None: no melt runs."""
    for channel, watch in watched:
        run = watch.run
        if run is not None and channel.tracker.place is Place.DIP:
            tau_s = channel.tracker.rule.tau_metal_s
            if not run.left_in(mono_s, tau_s):
                return _view(run, channel, mono_s, tau_s, alloy, power_on)
    return None


def _view(
    run: DipRun, channel: ProbeChannel, mono_s: float, tau_s: float, alloy: AlloyFacts | None, power_on: bool
) -> DipView:
    fit, held_s = run.fit, mono_s - run.began_s
    told = fit if fit is not None and fit.fit_error_c <= 50.0 and not fit.tau_at_edge else None
    hold_s, hint, text, good = _said(run, channel, held_s, mono_s, tau_s, alloy)
    if power_on and hint is not DipHint.OUT:
        text = tell("dip.hint.power_off", hint=text)
    return DipView(
        probe=channel.config.name,
        began_mono_s=run.began_s,
        hold_s=hold_s,
        hint=hint,
        text=text,
        temp_c=None if told is None else told.temp_c,
        fit_error_c=None if told is None else told.fit_error_c,
        u_c=None if told is None else dip_u_c(run, channel.config.sheath, told),
        good=good,
    )


def _said(
    run: DipRun, channel: ProbeChannel, held_s: float, mono_s: float, tau_s: float, alloy: AlloyFacts | None
) -> tuple[float | None, DipHint, Message, bool]:
    """(seconds to hold yet, what to do, the same in words, worth a figure)."""
    fit, sheath = run.fit, channel.config.sheath
    depth_mm = run.depth_mm
    if depth_mm is not None and depth_mm < deep_enough_mm(sheath):
        heading_c = fit.temp_c if fit is not None and is_good(fit) else 20.0 if run.points == [] else run.points[-1][1]
        stem_c = stem_error_c(sheath, depth_mm, heading_c)
        if stem_c > SHALLOW_LIMIT_C:
            return None, DipHint.DEEPER, tell("dip.hint.deeper", wanted_mm=round(deep_enough_mm(sheath))), False
    if fit is None:
        return _rule_left_s(held_s, tau_s), DipHint.HOLD, tell("dip.hint.middle"), False
    if fit.tau_at_edge and held_s >= GAS_TAUS * tau_s:
        return None, DipHint.DEEPER, tell("dip.hint.gas"), False
    too_long = held_s >= LONGEST_S + LONGEST_TAUS * tau_s
    if is_good(fit) and alloy is not None and at_or_below_liquidus(fit.temp_c, alloy):
        shell_s = SHELL_S + SHELL_TAUS * tau_s
        if held_s >= shell_s:
            return 0.0, DipHint.OUT, tell("dip.hint.out_mushy", temp_c=fit.temp_c), False
        return None, DipHint.HOLD_ON, tell("dip.hint.hold_on"), False
    if run.good_since_s is not None and is_good(fit):
        sure_s = SURE_S + SURE_TAUS * tau_s + SURE_SAMPLES * channel.tracker.trend.step_s
        left_s = run.good_since_s + sure_s - mono_s
        if left_s <= 0.0 and channel.tracker.state is not ProbeState.ENTERING:
            text = tell("dip.hint.out", temp_c=fit.temp_c, known_u_c=dip_u_c(run, sheath, fit))
            return 0.0, DipHint.OUT, text, True
        return float(math.ceil(max(left_s, 1.0))), DipHint.HOLD, tell("dip.hint.hold"), True
    if too_long:
        return 0.0, DipHint.OUT, tell("dip.hint.out_unsettled"), False
    return _left_s(fit, held_s, tau_s), DipHint.HOLD, tell("dip.hint.hold"), False


def _rule_left_s(held_s: float, tau_s: float) -> float:
    """By the sheath alone: three time constants and a little."""
    return float(math.ceil(max(3.0 * tau_s + 2.0 - held_s, 1.0)))


def _left_s(fit: SettleFit, held_s: float, tau_s: float) -> float:
    """The error of the fit shrinks as the rest of the way does; till then the sheath's own rule is the most."""
    sure_s = SURE_S + SURE_TAUS * tau_s
    by_fit_s = fit.tau_s * math.log(max(fit.fit_error_c, 1.01 * FIT_LIMIT_C) / FIT_LIMIT_C) + sure_s
    return float(math.ceil(min(by_fit_s, max(_rule_left_s(held_s, tau_s), sure_s))))
