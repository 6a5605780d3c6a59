"""Which samples of a dip say where it was heading. The trace of an immersion in, its settling part out.

A dip's trace begins when it is seen to go in and ends when it is seen to come out, both a little late; and a cold
sheath may carry a shell of frozen metal for a while, flat, before it rises once more.
"""

import math
from collections.abc import Sequence

from pourcall.thermal_analysis.settling import SettleFit, settle_fit

Points = Sequence[tuple[float, float]]  # (time s, temp degC), in order of time

WINDOW_TAUS, WINDOW_S = 10.0, 6.0  # so much of the trace says where it is heading; what is older says only what it was
STRIDE_TAUS = 0.3  # rates are taken over so much: of single samples they would be noise
SLACK_SHARE, SLACK_C = 0.9, 3.0  # slower than a later rate by this, and by so much in a stride: another rise
MISFIT_C, LATER_SHARE, RETRIES = 0.7, 3, 3  # rms beyond what sensors do: begin a third later, so often
FALL_C, FALL_SHARE = 0.4, 0.15  # less in a stride is noise; slower than this share of the way out, the bath cools
CUT_TAUS = 0.3  # the junction rises on for a moment after the sheath came out


def fit_settling(points: Points, tau_s: float) -> SettleFit | None:
    """Fit the settling part. What does not look like one settling (a shell that just came off) is fitted later on."""
    part = settling_part(points, tau_s)
    fit = settle_fit(part, tau_s)
    for _ in range(RETRIES):
        if fit is None or fit.noise_c <= MISFIT_C or len(part) < 4 * LATER_SHARE:
            break
        part = part[len(part) // LATER_SHARE :]
        later = settle_fit(part, tau_s)
        if later is None:
            break
        fit = later
    return fit


def settling_part(points: Points, tau_s: float) -> list[tuple[float, float]]:
    """From the steepest moment of the last rise (or fall) on."""
    if not points:
        return []
    oldest_s = points[-1][0] - WINDOW_TAUS * tau_s - WINDOW_S
    kept = [p for p in points if p[0] >= oldest_s]
    steepest, begin, at = 0.0, 0, len(kept) - 1
    for k in range(len(kept) - 2, -1, -1):
        step_s = kept[at][0] - kept[k][0]
        if step_s < STRIDE_TAUS * tau_s and k > 0:
            continue
        rate = abs(kept[at][1] - kept[k][1]) / max(step_s, 1e-3)
        if rate > steepest:
            steepest = rate
            begin = at if rate * step_s > SLACK_C else 0  # less is no rise
        elif rate < SLACK_SHARE * steepest and (steepest - rate) * step_s > SLACK_C:
            break
        at = k
    return kept[begin:] if len(kept) - begin >= 3 else kept[-5:]


def before_exit(
    points: Points, ended_s: float, *, span_s: float, step_s: float, tau_s: float
) -> list[tuple[float, float]]:
    """Without the way out: seen only after a fall over `span_s`, a slow sheath's even later; it began at the top."""
    if not points:
        return []
    fell_s = _fall_began_s(points, max(STRIDE_TAUS * tau_s, 1.01 * step_s))
    late_s = min(ended_s - span_s - 2.0 * step_s - 0.5, fell_s)
    recent = [p for p in points if p[0] >= late_s]
    if not recent:
        return list(points)
    top_s = max(recent, key=lambda p: (p[1], p[0]))[0]
    last_s = top_s - (min(CUT_TAUS * tau_s, span_s) if step_s < tau_s else 0.0)
    return [p for p in points if p[0] <= last_s]


def wandered_c(points: Points) -> float:
    """How far it went down and up again."""
    after, highest = [], -math.inf
    for _, temp_c in reversed(points):
        highest = max(highest, temp_c)
        after.append(highest)
    deepest, highest = 0.0, -math.inf
    for (_, temp_c), later in zip(points, reversed(after), strict=True):
        highest = max(highest, temp_c)
        deepest = max(deepest, min(highest, later) - temp_c)
    return deepest


def _fall_began_s(points: Points, stride_s: float) -> float:
    """Back along a last fall that grew ever faster: a sheath on its way out. One that slows down is still settling."""
    at = len(points) - 1
    time_s, temp_c = points[at]
    rate, slowest = math.inf, -math.inf
    for k in range(at - 1, -1, -1):
        back_s = time_s - points[k][0]
        if back_s < stride_s:
            continue
        slower = (points[k][1] - temp_c) / back_s
        if slower * back_s <= FALL_C or slower > 1.2 * rate + FALL_C / back_s or slower < slowest:
            return points[k][0]
        slowest = FALL_SHARE * slower if math.isinf(slowest) else slowest
        (time_s, temp_c), rate = points[k], slower
    return points[-1][0]
