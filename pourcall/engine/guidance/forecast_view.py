"""Forecast and profile as the snapshot shows them: the state of both into frozen views."""

from pourcall.contract.message import NOTHING, Message, Told, tell
from pourcall.contract.profile_plan import ProfileSegment, SegmentKind
from pourcall.contract.snapshot import AheadView, Interval, ProfileView
from pourcall.contract.units import Unit
from pourcall.engine.guidance.forecasting import ForecastTracker
from pourcall.engine.guidance.profile_run import ProfileRun
from pourcall.furnace.forecast import UNKNOWN


def ahead_view(tracker: ForecastTracker, mono_s: float, *, chamber_only: bool) -> AheadView | None:
    """The forecast; None: no melt, or the pot is lifted. chamber_only: no probe is in the metal."""
    forecast, outlook = tracker.forecast, tracker.outlook
    if forecast is None or (tracker.aim_c is None and not tracker.failed):
        return None
    version = forecast.model.version
    if tracker.failed or tracker.looked_s < 0.0:
        return AheadView(at_mono_s=mono_s, why=tracker.failed or tell("forecast.working"), model_version=version)
    metal = outlook.metal_c
    if chamber_only and forecast.readings:
        mid_c, u_c = forecast.metal_from_chamber()
        metal = Interval(mid_c, mid_c - u_c, mid_c + u_c)
    known = forecast.readings > 0  # before anything was read of the metal there is no peak to speak of
    return AheadView(
        at_mono_s=tracker.looked_s,
        ready_s=_known(outlook.ready_s),
        why=outlook.why,
        coast_c=_known(outlook.coast_c) if known else None,
        coast_in_s=outlook.coast_in_s if known else None,
        cut_in_s=outlook.cut_in_s if known and tracker.learned else None,
        aim_c=tracker.aim_c,
        cooling_s=_known(outlook.cooling_s),
        model_c=_known(metal) if known else None,  # reckoned from a cold start alone it may be far off
        power_off=tracker.power_off,
        band=tracker.band() if known else (),  # from a cold start alone it lies where the room is
        model_version=version,
    )


def profile_view(run: ProfileRun, mono_s: float, dial: float | None, advice: Told = NOTHING) -> ProfileView:
    """A profile of this melt. dial: what should stand on the panel; advice: what it said last."""
    segments = run.plan.segments
    here = segments[run.number - 1]
    return ProfileView(
        name=run.plan.name,
        segment=run.number,
        of=len(segments),
        kind=here.kind,
        to_c=here.to_c,
        setpoint_c=None if run.over else run.setpoint_c(mono_s),
        rate_c_per_min=here.rate_c_per_min,
        hold_left_s=run.hold_left_s(mono_s),
        waits=run.waits,
        dial=dial,
        dial_unit=Unit.C if run.panel is None else run.panel.unit,
        advice=advice,
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


def _known(span: Interval) -> Interval | None:
    return None if span == UNKNOWN else span
