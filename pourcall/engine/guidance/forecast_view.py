"""Foresight and profile as the snapshot shows them. The guide's state into frozen views."""

from pourcall.contract.message import Message, tell
from pourcall.contract.profile_plan import ProfileSegment, SegmentKind
from pourcall.contract.snapshot import AheadView, Interval, ProfileView
from pourcall.contract.units import Unit
from pourcall.engine.guidance.forecasting import Guide
from pourcall.furnace.forecast import NOTHING


def ahead_view(guide: Guide, mono_s: float, *, chamber_only: bool) -> AheadView | None:
    """The forecast; None: no melt, or the pot is lifted. chamber_only: no probe is in the metal."""
    ahead, seen = guide.ahead, guide.seen
    if ahead is None or (guide.aim_c is None and not guide.failed):
        return None
    version = ahead.model.version
    if guide.failed or guide.seen_s < 0.0:
        return AheadView(at_mono_s=mono_s, why=guide.failed or tell("forecast.working"), model_version=version)
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
        model_version=version,
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
        dial_unit=Unit.C if run.panel is None else run.panel.unit,
        advice=guide.advice,
        stopped=run.over,
        segments=tuple(segment_words(one) for one in segments),
    )


def segment_words(segment: ProfileSegment) -> Message:
    """One segment in a few words."""
    to_c = segment.to_c
    if segment.kind is SegmentKind.RAMP:
        if segment.rate_c_per_min is None:
            return tell("profile.segment.full_power", to_c=to_c)
        return tell("profile.segment.ramp", to_c=to_c, rate_c_per_min=segment.rate_c_per_min)
    if segment.for_s is None:
        return tell("profile.segment.hold_until_told", to_c=to_c)
    return tell("profile.segment.hold", to_c=to_c, for_min=segment.for_s / 60.0)


def _span(span: Interval) -> Interval | None:
    return None if span == NOTHING else span
