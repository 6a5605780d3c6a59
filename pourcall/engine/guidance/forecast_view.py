"""Foresight and profile as the snapshot shows them. The guide's state into frozen views."""

from pourcall.contract.profile_plan import ProfileSegment, SegmentKind
from pourcall.contract.snapshot import AheadView, Interval, ProfileView
from pourcall.contract.units import say_c, say_difference_c
from pourcall.engine.guidance.forecasting import Guide
from pourcall.furnace.forecast import NOTHING


def ahead_view(guide: Guide, mono_s: float, *, chamber_only: bool) -> AheadView | None:
    """The forecast; None: no melt, or the pot is lifted. chamber_only: no probe is in the metal."""
    ahead, seen = guide.ahead, guide.seen
    if ahead is None or (guide.aim_c is None and not guide.failed):
        return None
    model = ahead.model
    words = f"learned, version {model.version}" if model.version > 0 else "nothing learned yet"
    if guide.failed or guide.seen_s < 0.0:
        return AheadView(at_mono_s=mono_s, why=guide.failed or "reckoning", model=words)
    metal = seen.metal_c
    if chamber_only and ahead.seen:
        mid_c, u_c = ahead.metal_from_chamber()
        metal = Interval(mid_c, mid_c - u_c, mid_c + u_c)
    known = ahead.seen > 0  # before anything was read of the metal there is no peak to speak of
    return AheadView(
        at_mono_s=guide.seen_s,
        ready_s=_span(seen.ready_s),
        why=seen.why,
        coast_c=_span(seen.coast_c) if known else None,
        coast_in_s=seen.coast_in_s if known else None,
        cut_in_s=seen.cut_in_s if known else None,
        aim_c=guide.aim_c,
        cooling_s=_span(seen.cooling_s),
        model_c=_span(metal),
        power_off=guide.power_off,
        band=guide.band(),
        model=words,
    )


def profile_view(guide: Guide, mono_s: float) -> ProfileView | None:
    """The profile of this melt; None: none was begun."""
    run = guide.profile
    if run is None:
        return None
    segments = run.plan.segments
    here = segments[min(run.index, len(segments) - 1)]
    return ProfileView(
        name=run.plan.name,
        segment=min(run.index + 1, len(segments)),
        of=len(segments),
        kind=here.kind.value,
        to_c=here.to_c,
        setpoint_c=None if run.over else run.setpoint_c(mono_s),
        rate_c_per_min=here.rate_c_per_min,
        hold_left_s=run.hold_left_s(mono_s),
        waits=run.waits,
        dial=guide.dial,
        advice=guide.advice,
        stopped=run.over,
        segments=tuple(segment_words(one) for one in segments),
    )


def segment_words(segment: ProfileSegment) -> str:
    """One segment in a few words, temperatures as tokens."""
    if segment.kind is SegmentKind.RAMP:
        rate = segment.rate_c_per_min
        how = "at full power" if rate is None else f"at {say_difference_c(rate)} a minute"
        return f"to {say_c(segment.to_c)} {how}"
    how = "until told" if segment.for_s is None else f"for {segment.for_s / 60.0:g} min"
    return f"hold {say_c(segment.to_c)} {how}"


def _span(span: Interval) -> Interval | None:
    return None if span == NOTHING else Interval(span.mid, span.low, span.high)
