"""One furnace as it stands, frozen. The dashboard draws this and nothing else; the API serves it.

Facts, and messages that a client says in its reader's unit (pourcall.texts); temperatures in degC.
"""

from enum import StrEnum

import msgspec

from pourcall.contract.events import AlarmView, CallKind, CallView, Dip, FigureSource, MeltState, Pour
from pourcall.contract.inputs import PowerLevel, StoreProblem
from pourcall.contract.message import NOTHING, Told
from pourcall.contract.plan import MeltPlan, NoAim
from pourcall.contract.profile_plan import SegmentKind
from pourcall.contract.reading import Place, ProbeState
from pourcall.contract.status import Reason, Status
from pourcall.contract.units import Unit


class ProbeView(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One probe as it stands. temp_c is None exactly when status is BAD."""

    name: str
    place: Place
    state: ProbeState
    temp_c: float | None
    u_c: float | None = None
    status: Status
    reason: Reason
    rate_c_per_min: float | None = None
    age_s: float = 0.0
    tc_type: str = "K"


class MetalView(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What the metal itself is at, and how that is known; temp_c None: not known, `how` says why."""

    temp_c: float | None
    u_c: float | None = None
    reason: Reason = Reason.WAITING  # of the reading it rests on
    probe: str = ""  # the probe that says so, where one does
    source: FigureSource = FigureSource.NONE
    how: Told = NOTHING  # "probe in the metal", "dip 3, 40 s ago", "chamber only: dip to know"
    rate_c_per_min: float | None = None
    age_s: float = 0.0


class LastRead(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """The last figure of the metal itself that was believed, of a probe, a dip or a meter; as it was when read."""

    temp_c: float
    u_c: float
    at_mono_s: float
    cooled: bool = False  # cold metal went in since, or the pot was out of the furnace: it may be far colder


class WindowView(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """The window of the mould that is next, in the pot and at the lip."""

    mould: str
    index: int  # from 0
    of: int
    lip_min_c: float
    lip_max_c: float
    tap_min_c: float
    tap_max_c: float  # never above the lowest pot limit
    loss_c: float
    why: Told = NOTHING
    lip_now_c: float | None = None  # predicted at the lip if poured now, from the furnace or from the hand
    too_cold: float | None = None  # probability, 0 to 1
    too_hot: float | None = None
    no_aim: NoAim | None = None  # no temperature of the pot serves the mould: there is no window to show or wait for


class Interval(msgspec.Struct, frozen=True, array_like=True):
    """A figure with its 90 % interval; None: not within reach, or not known how far."""

    mid: float | None
    low: float | None = None
    high: float | None = None


class AheadView(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What the forecast says of the melt. Times in seconds from `at_mono_s`, temperatures of the true metal in degC.

    Intervals hold 90 %. None: there is nothing to say, `why` says why not where a time is missing.
    """

    at_mono_s: float
    ready_s: Interval | None = None  # until the metal is inside the tap window at the present setting
    why: Told = NOTHING
    coast_c: Interval | None = None  # highest the metal goes if the power is cut now
    coast_in_s: float | None = None  # when that is
    cut_in_s: float | None = None  # until cutting the power would just coast to `aim_c`; 0: now
    aim_c: float | None = None
    cooling_s: Interval | None = None  # with the power off: until the metal leaves the tap window below
    model_c: Interval | None = None  # the metal by the model; with a chamber probe alone it is all there is
    power_off: bool = False  # the trace below is one with the power off
    band: tuple[tuple[float, float, float], ...] = ()  # (seconds from now, low, high): the trace to come
    model_version: int = 0  # of what this furnace's own melts taught; 0: nothing yet


class ProfileView(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A guided profile while it runs. Temperatures of the metal."""

    name: str
    segment: int  # from 1
    of: int
    kind: SegmentKind
    to_c: float
    setpoint_c: float | None = None  # where the metal should be now
    rate_c_per_min: float | None = None  # of a ramp; None: full power
    hold_left_s: float | None = None  # of a hold whose time runs
    waits: bool = False  # a hold waits to be told (`g` on the dashboard, `pourcall profile next`)
    dial: float | None = None  # what should stand on the panel now, in the panel's own unit
    dial_unit: Unit = Unit.C
    advice: Told = NOTHING  # the last thing it said
    stopped: bool = False
    segments: tuple[Told, ...] = ()  # each in a few words


class DipHint(StrEnum):
    """What the person who holds the probe is to do."""

    HOLD = "hold"  # still, where it is
    DEEPER = "deeper"
    HOLD_ON = "hold_on"  # longer than usual: to tell a frozen shell from a pot that is not liquid
    OUT = "out"


class DipView(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A dip that goes on now."""

    probe: str
    began_mono_s: float
    hold_s: float | None  # so long to hold still yet, about; 0: take it out; None: not to be said yet
    hint: DipHint  # what the hand on the probe is to do
    text: Told
    temp_c: float | None = None  # where it is heading
    fit_error_c: float | None = None
    u_c: float | None = None  # of that figure, as the record would have it
    good: bool = False  # worth a figure already


class ToDo(StrEnum):
    """The kinds of instruction: what somebody must do now, or that nothing is to be done."""

    WAIT = "wait"  # nothing: the text says how things stand
    HOLD = "hold"  # in its window, and not to be poured yet: the text says why
    START = "start"  # no melt runs
    CUT = "cut"
    STEP = "step"  # what the profile wants
    DIP = "dip"
    SKIM = "skim"
    POUR = "pour"
    BEST_AIM = "best_aim"  # pour, but it will more likely miss its window than hit it: what makes it surer comes first
    POUR_SOON = "pour_soon"  # the window is about to close
    MARK_POUR = "mark_pour"  # the pot is lifted
    CHOOSE = "choose"  # the window has closed with metal in the hand: the person chooses
    NO_AIM = "no_aim"  # no temperature of the pot serves the mould: not hotter
    COOL = "cool"  # too hot
    CHECK = "check"  # a figure is not to be trusted
    EMPTY = "empty"  # every mould is poured


class Instruction(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """The one thing to do now, or how things stand. Screen, sound and broker say this and nothing beside it."""

    todo: ToDo
    text: Told
    why: Told = NOTHING
    must: bool = False  # somebody must do something now
    call: CallKind | None = None  # the call that it speaks for, to be answered
    mould: str = ""
    level: PowerLevel | None = None  # what a burner or knob should be set to
    dial: float | None = None  # what a panel should be set to, in its own unit


class PourCallEnded(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A pour was called and is no more, though nobody answered it and no lift is known."""

    mould: str
    raised_mono_s: float
    ended_mono_s: float
    why: Told


class BoardState(StrEnum):
    """How a board's link stands."""

    UP = "up"
    WAITING = "waiting"  # open, nothing heard yet
    SILENT = "silent"
    UNPLUGGED = "unplugged"
    UNAVAILABLE = "unavailable"  # the port cannot be opened, `detail` says why


class BoardView(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One board as it stands."""

    state: BoardState
    detail: Told = NOTHING


WATCH = Instruction(todo=ToDo.WAIT, text=NOTHING)


class FurnaceSnapshot(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """All there is to know of one furnace now."""

    furnace: str
    seq: int
    mono_s: float
    utc_s: float
    kind: str = "electric"  # or "fuel"
    rating_c: float | None = None  # what the furnace is rated for
    melt: str = ""
    melt_began_mono_s: float | None = None
    plan: MeltPlan | None = None
    melt_state: MeltState = MeltState.EMPTY
    flags: dict[str, int] = {}
    power: PowerLevel | None = None
    applied_permille: int | None = None
    probes: tuple[ProbeView, ...] = ()
    metal: MetalView = MetalView(temp_c=None)
    window: WindowView | None = None
    instruction: Instruction = WATCH
    calls: tuple[CallView, ...] = ()
    pour_call_ended: PourCallEnded | None = None  # the last of this melt, since the pot was lifted last
    alarms: tuple[AlarmView, ...] = ()
    silenced_until_mono_s: float | None = None
    lift_mono_s: float | None = None
    countdown_s: float | None = None  # after the lift: seconds the metal stays inside the window
    last_read: LastRead | None = None
    last_dip: Dip | None = None
    dips: tuple[Dip, ...] = ()  # of this melt, the latest three
    dip_spread_c: float | None = None  # of three good dips in a row: highest less lowest
    dip_now: DipView | None = None
    ahead: AheadView | None = None
    profile: ProfileView | None = None
    arrest: Told = NOTHING  # what the last arrest said of alloy and probe
    pours: tuple[Pour, ...] = ()
    in_kg: float | None = None  # metal that went into the pot of this melt; None: not known
    unweighed: bool = False  # more went in than `in_kg`: of an addition nobody said how much
    moulds_left: tuple[str, ...] = ()  # that got no metal yet, in order
    poured_earlier: tuple[str, ...] = ()  # moulds with metal of a lift that is over, in order
    boards: dict[str, BoardView] = {}  # by name
    store_problem: StoreProblem = StoreProblem.NONE
    simulated: bool = False  # no real furnace behind these figures

    @property
    def plan_is_of_another_lift(self) -> bool:
        """The plan counts moulds into a lift that are poured from another: for what is left it wants making again."""
        return self.plan is not None and bool(self.moulds_left) and self.plan.poured_earlier != self.poured_earlier

    @property
    def moulds_poured(self) -> int:
        """How many of the planned moulds have metal; one that was poured twice counts once."""
        return 0 if self.plan is None else len(self.plan.moulds) - len(self.moulds_left)
