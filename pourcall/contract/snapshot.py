"""One furnace as it stands, frozen. The dashboard draws this and nothing else; the API serves it.

Texts are ready to be read by a person; temperatures are in degC and are turned into the reader's unit where shown.
"""

import msgspec

from pourcall.contract.events import AlarmView, CallView, Dip, MeltState, Pour
from pourcall.contract.inputs import PowerLevel
from pourcall.contract.plan import MeltPlan
from pourcall.contract.reading import Place, ProbeState
from pourcall.contract.status import Reason, Status


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
    how: str = ""  # "probe in the metal", "dip 3, 40 s ago", "chamber only: dip to know"
    rate_c_per_min: float | None = None
    age_s: float = 0.0


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
    why: str = ""
    lip_now_c: float | None = None  # predicted at the lip if poured now
    too_cold: float | None = None  # probability, 0 to 1
    too_hot: float | None = None


class Interval(msgspec.Struct, frozen=True, array_like=True):
    """A figure with its 90 % interval; None: not within reach, or not known how far."""

    mid: float | None
    low: float | None = None
    high: float | None = None


class AheadView(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What foresight says of the melt. Times in seconds from `at_mono_s`, temperatures of the true metal in degC.

    Intervals hold 90 %. None: there is nothing to say, `why` says why not where a time is missing.
    """

    at_mono_s: float
    ready_s: Interval | None = None  # until the metal is inside the tap window at the present setting
    why: str = ""
    coast_c: Interval | None = None  # highest the metal goes if the power is cut now
    coast_in_s: float | None = None  # when that is
    cut_in_s: float | None = None  # until cutting the power would just coast to `aim_c`; 0: now
    aim_c: float | None = None
    cooling_s: Interval | None = None  # with the power off: until the metal leaves the tap window below
    model_c: Interval | None = None  # the metal by the model; with a chamber probe alone it is all there is
    power_off: bool = False  # the trace below is one with the power off
    band: tuple[tuple[float, float, float], ...] = ()  # (seconds from now, low, high): the trace to come
    model: str = ""  # "learned, version 3" or "nothing learned yet"


class ProfileView(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A guided profile while it runs. Temperatures of the metal."""

    name: str
    segment: int  # from 1
    of: int
    kind: str  # "ramp" or "hold"
    to_c: float
    setpoint_c: float | None = None  # where the metal should be now
    rate_c_per_min: float | None = None  # of a ramp; None: full power
    hold_left_s: float | None = None  # of a hold whose time runs
    waits: bool = False  # a hold waits to be told (`g` on the dashboard, `pourcall profile next`)
    dial: str = ""  # what should stand on the panel now, in its own unit: "977 degF"
    advice: str = ""  # the last thing it said
    stopped: bool = False
    segments: tuple[str, ...] = ()  # each in a few words, temperatures as tokens


class DipView(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A dip that goes on now."""

    probe: str
    began_mono_s: float
    hold_s: float | None  # so long to hold still yet, about; 0: take it out; None: not to be said yet
    text: str  # "hold still", "take it out", "deeper" ... ready to read
    temp_c: float | None = None  # where it is heading
    fit_error_c: float | None = None
    good: bool = False  # worth a figure already


class FurnaceSnapshot(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """All there is to know of one furnace now."""

    furnace: str
    seq: int
    mono_s: float
    utc_s: float
    kind: str = "electric"  # or "fuel"
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
    instruction: str = ""  # the one thing to do now, or how things stand
    instruction_is_do: bool = False  # someone must do something now
    calls: tuple[CallView, ...] = ()
    alarms: tuple[AlarmView, ...] = ()
    silenced_until_mono_s: float | None = None
    lift_mono_s: float | None = None
    countdown_s: float | None = None  # after the lift: seconds the metal stays inside the window
    last_dip: Dip | None = None
    dips: tuple[Dip, ...] = ()  # of this melt, the latest three
    dip_spread_c: float | None = None  # of three good dips in a row: highest less lowest
    dip_now: DipView | None = None
    ahead: AheadView | None = None
    profile: ProfileView | None = None
    arrest: str = ""  # what the last arrest said of alloy and probe; temperatures as tokens
    pours: tuple[Pour, ...] = ()
    boards: dict[str, str] = {}  # board -> "up", or why not
    store_problem: str = ""
    simulated: bool = False  # no real furnace behind these figures
