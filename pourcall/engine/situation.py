"""The one situation of a furnace: metal, melt, mould that is next, forecast; frozen, worked out once an evaluation.

Calls, alarms, the instruction and the snapshot are functions of it and of nothing beside it; so two of them cannot
disagree. What is known lies here in typed fields; no sentence is made or read.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from pourcall.contract.events import Dip, MeltState
from pourcall.contract.message import Told, tell
from pourcall.contract.plan import MeltPlan, MouldPlan, NoAim, lip_window_c, no_aim, tap_window_c
from pourcall.contract.snapshot import Interval
from pourcall.engine.bath.metal import MetalNow
from pourcall.engine.melt.melt_run import AfterLift, MeltRun
from pourcall.engine.melt.pour_call import Judgement
from pourcall.engine.sensing.heat_bounds import Side as HeatSide

CLOSING_AHEAD_S = 60.0
STILL_C_PER_MIN = 0.5  # slower than this the metal stands, and leaves no window
KEEP_CLOSING, KEEP_CLOSING_C = 1.3, 2.0  # hysteresis of what is said of it
FASTEST_C_PER_MIN = 160.0  # an open pot of metal cools no faster (silicon bronze, 2.6 degC/s): beyond it is the probe


class Side(StrEnum):
    """On which side a window is left."""

    COLD = "cold"
    HOT = "hot"


@dataclass(frozen=True, slots=True)
class Closing:
    """The window of the next mould is about to be left."""

    left_s: float
    side: Side
    rate_c_per_min: float


@dataclass(frozen=True, slots=True)
class NextMould:
    """The mould that is next: its place in the order, its window at the lip and seen in the pot, its chance now."""

    plan: MouldPlan
    number: int  # from 1
    of: int
    lip_c: tuple[float, float]
    tap_c: tuple[float, float]
    judgement: Judgement | None  # None: nothing tells the metal's temperature, or the pot is lifted
    aim_c: float  # of the pot, for all that is left to pour from one lift
    no_aim: NoAim | None  # no temperature of the pot serves it: its windows are none


@dataclass(frozen=True, slots=True)
class Ahead:
    """What the forecast says, as far as it can tell."""

    guided: bool = False  # a profile says when to cut
    cut_due: bool | None = None  # a learned furnace says so; None: it cannot tell
    could_be_c: float | None = None  # the most the metal may be at
    ready_s: float | None = None  # until it should be in its window
    peak_c: Interval | None = None  # where the metal goes, the power being off; None: it is not, or not known


@dataclass(frozen=True, slots=True)
class Melt:
    """The running melt as far as the situation needs it."""

    plan: MeltPlan
    began_s: float
    lifted: bool
    lift_s: float | None
    skimmed_s: float | None
    not_now: frozenset[str]  # calls that a person does not want to hear yet
    next: NextMould | None  # None: every mould is poured
    after_lift: AfterLift | None
    perhaps_back: bool = False  # lifted, and nobody said that it is back; but it may well be: a person is asked


@dataclass(frozen=True, slots=True)
class PowerDoubt:
    """A probe reads what the furnace, its power as marked, cannot have made."""

    probe: str
    side: HeatSide
    temp_c: float
    bound_c: float
    asked: bool  # long enough to be asked about
    stands: bool = False  # nobody answered, or it is as marked: the probe is believed no more

    def holds_back(self, metal: MetalNow) -> bool:
        """A person was asked and has not cleared it up; *not now* is no answer to that. Once its probe is believed no
        more, what another one reads in the metal now is as good as it was; a figure of a moment ago is not, for it
        rests on what the power did since."""
        return self.asked or (self.stands and not (metal.live and metal.probe != self.probe))

    @property
    def hottest_c(self) -> float:
        """What the metal is at most, whichever is right."""
        return max(self.temp_c, self.bound_c)


@dataclass(frozen=True, slots=True)
class Situation:
    """All that is so now. `melt` None: none runs."""

    mono_s: float
    melt: Melt | None
    metal: MetalNow
    rate_c_per_min: float | None
    state: MeltState
    state_why: Told
    power_off: bool  # known to be off
    power_on: bool  # known to be on
    ahead: Ahead
    closing: Closing | None
    chamber_c: float | None
    can_dip: bool
    dipping: bool  # a probe is held in just now
    dips: tuple[Dip, ...]  # of this melt, in order
    power_doubt: PowerDoubt | None  # None: every probe lies where the furnace can have put the metal
    unknown: Told  # why nothing tells the metal's temperature; empty: something does
    melting_missed: bool = False  # followed from solid by a probe that should have seen it melt, and nobody skimmed

    @property
    def for_limits_c(self) -> float | None:
        """What the metal is at most, for the limits of alloy and pot, which hold in the hand as in the furnace.

        A figure held over a gap moves no alarm. In the hand, where nothing reads the metal, it is what it was at the
        lift, less what waiting beyond the planned way has cost. None: not known; what stands, stands.
        """
        if self.metal.temp_c is not None and not self.metal.held:
            return self.metal.temp_c
        doubt = self.power_doubt
        if doubt is not None and doubt.stands:
            return doubt.hottest_c  # not to be poured on, but it may well be so hot
        after = None if self.melt is None or not self.melt.lifted else self.melt.after_lift
        return None if after is None or after.lip_c is None else after.lip_c + after.way_c

    @property
    def over_limit_c(self) -> float | None:
        """So far above the lowest limit of alloy and pot; None: it is not, as far as is known."""
        hottest_c = self.for_limits_c
        if self.melt is None or hottest_c is None:
            return None
        over_c = hottest_c - self.melt.plan.lowest_limit.limit_c
        return over_c if over_c > 0.0 else None

    @property
    def fluid(self) -> bool:
        """Hot enough to count as liquid."""
        if self.melt is None or self.metal.temp_c is None:
            return False
        alloy = self.melt.plan.alloy
        return self.metal.temp_c >= alloy.liquidus_c + alloy.liquid_margin_c


def next_mould(run: MeltRun, judgement: Judgement | None) -> NextMould | None:
    """The mould that is next with its windows; None: every mould is poured."""
    mould, index = run.next_mould, run.next_index
    if mould is None or index is None:
        return None
    return NextMould(
        plan=mould,
        number=index + 1,
        of=len(run.plan.moulds),
        lip_c=lip_window_c(mould, run.plan),
        tap_c=tap_window_c(mould, run.plan),
        judgement=judgement,
        aim_c=run.aim_c,
        no_aim=no_aim(mould, run.plan),
    )


def closing_of(
    mould: NextMould | None, metal: MetalNow, rate_c_per_min: float | None, ahead: Ahead, *, said: bool
) -> Closing | None:
    """Whether the window is about to be left, on one side only, by the rate and never against the forecast.

    A rise that the forecast says ends inside the window leads out of nothing; nor does a rate that no pot can have.
    said: it is called already, and stays so a little beyond where it began.
    """
    rate = rate_c_per_min
    if mould is None or metal.temp_c is None or not metal.live or rate is None:
        return None
    keep = KEEP_CLOSING if said else 1.0
    if not STILL_C_PER_MIN / keep <= abs(rate) <= FASTEST_C_PER_MIN:
        return None
    low_c, high_c = mould.tap_c
    side = Side.COLD if rate < 0.0 else Side.HOT
    ends_c = None if side is Side.COLD or ahead.peak_c is None else ahead.peak_c.mid
    if ends_c is not None and ends_c <= high_c - (KEEP_CLOSING_C if said else 0.0):
        return None
    spare_c = metal.temp_c - low_c if side is Side.COLD else high_c - metal.temp_c
    left_s = 60.0 * spare_c / abs(rate)
    return Closing(left_s, side, rate) if 0.0 < left_s <= CLOSING_AHEAD_S * keep else None


def melt_of(
    run: MeltRun, mould: NextMould | None, after: AfterLift | None, mono_s: float, *, stands_in_metal: bool
) -> Melt:
    """The running melt, frozen."""
    return Melt(
        plan=run.plan,
        began_s=run.began_s,
        lifted=run.lifted(mono_s),
        lift_s=run.lift_s,
        skimmed_s=run.skimmed_s,
        not_now=run.not_now(mono_s),
        next=mould,
        after_lift=after,
        perhaps_back=run.perhaps_back(mono_s, stands_in_metal=stands_in_metal),
    )


def nothing_runs(metal: MetalNow, power_off: bool, power_on: bool, unknown: Told, mono_s: float) -> Situation:
    """Between melts."""
    return Situation(
        mono_s=mono_s,
        melt=None,
        metal=metal,
        rate_c_per_min=None,
        state=MeltState.EMPTY,
        state_why=tell("melt.none"),
        power_off=power_off,
        power_on=power_on,
        ahead=Ahead(),
        closing=None,
        chamber_c=None,
        can_dip=False,
        dipping=False,
        dips=(),
        power_doubt=None,
        unknown=unknown,
    )


def good_dips(dips: Sequence[Dip]) -> list[Dip]:
    """Those that gave a figure."""
    return [dip for dip in dips if dip.temp_c is not None]
