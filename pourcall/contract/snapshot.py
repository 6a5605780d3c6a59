"""Room: one furnace as it stands, frozen. The dashboard draws this and nothing else; the API serves it.

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
    pours: tuple[Pour, ...] = ()
    boards: dict[str, str] = {}  # board -> "up", or why not
    store_problem: str = ""
    simulated: bool = False  # no real furnace behind these figures
