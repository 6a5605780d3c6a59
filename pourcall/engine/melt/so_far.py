"""A melt goes on after the daemon was away: what was told and found before then holds again. Pure.

In: what the record had (contract/inputs.py `SoFar`), its moments as ages. Not here: what a probe stands in, the
arrests, how the furnace answers; the trace shows those anew.
"""

import math
from collections.abc import Iterator, Sequence

from pourcall.contract.events import Dip, DipHow
from pourcall.contract.inputs import Doubt, SoFar
from pourcall.contract.message import tell
from pourcall.engine.bath.metal import Powered
from pourcall.engine.melt.melt_run import MeltRun
from pourcall.engine.melt.power_knob import PowerKnob
from pourcall.engine.sensing.measurement import ProbeChannel
from pourcall.engine.sensing.trust import Cause, Doubted, Level


def take_up_shop(so_far: SoFar, power: PowerKnob, channels: Sequence[ProbeChannel], mono_s: float) -> None:
    """The knob and the places of the probes, as they were told last; what was not believed still is not."""
    if so_far.power is not None and power.level is None:
        power.goes_on(so_far.power, mono_s - so_far.power_ago_s, _powered(so_far, mono_s))
    places, doubts = dict(so_far.places), {doubt.probe: doubt for doubt in so_far.doubts}
    for channel in channels:
        place, doubt = places.get(channel.config.name), doubts.get(channel.config.name)
        if place is not None and place is not channel.tracker.place:
            channel.tracker.set_place(place)
        if doubt is None:
            continue
        why = tell("alarm.before_restart")
        if doubt.proving:
            channel.trust.goes_on(mono_s, _doubted(doubt, mono_s), why)
            continue
        channel.trust.lied(mono_s, Cause(doubt.cause), why)
        if doubt.acknowledged:
            channel.mended(mono_s)


def _powered(so_far: SoFar, mono_s: float) -> Powered:
    def moment_s(ago_s: float | None, never_s: float) -> float:
        return never_s if ago_s is None else mono_s - ago_s

    return Powered(
        on_from_s=moment_s(so_far.on_from_ago_s, math.inf),
        on_until_s=moment_s(so_far.on_until_ago_s, -math.inf),
        maybe_on_until_s=moment_s(so_far.maybe_on_until_ago_s, -math.inf),
    )


def _doubted(doubt: Doubt, mono_s: float) -> Doubted:
    level = None if doubt.level_c is None else Level(mono_s - doubt.level_ago_s, doubt.level_c, doubt.level_c_per_min)
    return Doubted(
        proving=True,
        cause=Cause(doubt.cause),
        need_s=doubt.quiet_s,
        level=level,
        lost_s=None if doubt.lost_ago_s is None else mono_s - doubt.lost_ago_s,
        from_nowhere=doubt.from_nowhere,
        only_in=doubt.only_in,
        hottest=None if doubt.hottest_c is None else (mono_s - doubt.hottest_ago_s, doubt.hottest_c),
    )


def take_up_melt(so_far: SoFar, run: MeltRun, mono_s: float) -> None:
    """What was done to the pot."""
    if so_far.skim_ago_s is not None:
        run.skim(mono_s - so_far.skim_ago_s)
    if so_far.added_ago_s is not None:
        run.add_metal(mono_s - so_far.added_ago_s, so_far.added_kg)
    if so_far.lift_ago_s is not None:
        lift_s = mono_s - so_far.lift_ago_s
        run.lift(lift_s, proposed=so_far.lift_proposed)
        run.poured_before(so_far.poured_since_lift, lift_s)
    run.recorded_before(so_far.poured_at_utc_s)
    run.dipped_before(max((dip.number for dip in so_far.dips), default=0))


def dips_so_far(so_far: SoFar, mono_s: float, utc_s: float) -> Iterator[Dip]:
    """Its dips, by this session's clock."""
    for dip in so_far.dips:
        ended_s = mono_s - dip.ago_s
        yield Dip(
            probe=dip.probe,
            number=dip.number,
            began_mono_s=ended_s - dip.held_s,
            ended_mono_s=ended_s,
            ended_utc_s=utc_s - dip.ago_s,
            temp_c=dip.temp_c,
            u_c=dip.u_c,
            how=DipHow(dip.how),
            valid_s=dip.valid_s,
        )
