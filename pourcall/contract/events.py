"""The events of the engine. An event names the input that caused it; replaying the inputs gives the same bytes.

`Reading` (contract/reading.py) comes out beside them, one for each sample.
"""

from enum import IntEnum, StrEnum

import msgspec

from pourcall.contract.inputs import MeltEnding, PowerLevel, StoreProblem
from pourcall.contract.message import NOTHING, Told
from pourcall.contract.plan import MeltPlan
from pourcall.contract.profile_plan import ProfilePlan
from pourcall.contract.reading import Place, ProbeState, Reading


class MeltState(StrEnum):
    """Where the melt stands; entry and leave rules in pourcall/engine/melt/melt_state.py."""

    EMPTY = "empty"
    SOLID = "solid"
    MELTING = "melting"
    LIQUID = "liquid"  # below the tap window
    READY = "ready"
    ABOVE = "above"  # above the tap window
    FREEZING = "freezing"
    UNKNOWN = "unknown"


class Flag(StrEnum):
    """Run flags beside the melt state, not instead of it."""

    FUME = "fume"  # level 0-3
    NO_METAL_READING = "no_metal_reading"


class Priority(IntEnum):
    """2 is the most severe. Words on screen: ALARM, WARNING, CAUTION. 1 is free for what cuts the power itself."""

    ALARM = 2
    WARNING = 3
    CAUTION = 4


class AlarmState(StrEnum):
    """Lifecycle after OPC UA Part 9 and ISA-18.2; transitions in pourcall/engine/alarms/manager.py."""

    NORMAL = "normal"
    UNACKED = "unacked"
    ACKED = "acked"
    RTN_UNACKED = "rtn_unacked"  # went away, nobody saw


class CallKind(StrEnum):
    """Instructions that are not alarms."""

    DIP = "dip"
    CUT_POWER = "cut_power"
    SKIM = "skim"
    POUR = "pour"
    WINDOW_CLOSING = "window_closing"
    STEP = "step"  # next step of a profile
    CHECK_POWER = "check_power"  # is it as it was marked


class AlarmView(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True, rename={"active": "present"}):
    """One alarm as it stands. `id` is kind:subject, such as `sensor_open:melt_probe`."""

    id: str
    kind: str
    subject: str
    priority: Priority
    state: AlarmState
    active: bool  # sent and recorded as `present`
    what: Told  # what it means, one sentence
    remedy: Told  # what to do, one sentence
    raised_mono_s: float
    raised_utc_s: float
    shelved_until_mono_s: float | None = None
    suppressed_by: str = ""
    recorded: str = "pending"  # pending until its commit, then "recorded"


class CallView(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One call as it stands."""

    kind: CallKind
    text: Told  # the one instruction
    why: Told
    raised_mono_s: float
    repeat_s: float  # sounded again so often until answered; 0: once
    said: int = 1  # how often it was sounded so far
    mould: str = ""


class DipHow(StrEnum):
    """How a dip's figure was found."""

    SETTLED = "settled"
    EXTRAPOLATED = "extrapolated"
    NOT_USABLE = "not usable"


class DipFault(StrEnum):
    """Why a dip is of no use. What is wrong with the hand is mended at once; the metal takes its time."""

    TOO_SHORT = "too_short"
    UNSETTLED = "unsettled"  # long enough in, and still known too badly
    WANDERED = "wandered"
    HOT_GAS = "hot_gas"  # it warmed as slowly as in gas: only the tip was in
    TOO_SHALLOW = "too_shallow"
    SHELL = "shell"  # metal froze on the cold sheath, the pot is known to be liquid
    SHELL_OR_MUSHY = "shell_or_mushy"  # a shell, or the pot is not fully liquid: cannot be told
    MUSHY = "mushy"  # the pot is not fully liquid
    SOLID = "solid"  # even below the solidus

    @property
    def below_liquidus(self) -> bool:
        """It read at or below the liquidus."""
        return self in (DipFault.SHELL, DipFault.SHELL_OR_MUSHY, DipFault.MUSHY, DipFault.SOLID)


class Dip(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One short immersion and what it is worth."""

    probe: str
    number: int  # within the melt, from 1
    began_mono_s: float
    ended_mono_s: float
    ended_utc_s: float
    temp_c: float | None  # settled or extrapolated; None: not usable, `why` says what was missing
    u_c: float | None
    how: DipHow
    fit_error_c: float | None = None
    valid_s: float = 90.0
    depth_mm: float | None = None
    stirred: bool | None = None
    widened: bool = False  # U is the spread of three dips in a row, which was larger than what each stated
    fault: DipFault | None = None  # why it is of no use; on old records None, and `why` says it
    why: Told = NOTHING


class Marking(StrEnum):
    """When a pour was marked."""

    LIVE = "live"
    AFTERWARDS = "backwards"


class FigureSource(StrEnum):
    """Where a temperature of the metal comes from."""

    PROBE = "probe"  # stands in the metal
    LAST_GOOD = "last_good"  # of such a probe, a moment ago
    DIP_ON = "dip_on"  # a dip that goes on
    DIP = "dip"
    TYPED = "typed"  # a figure that a person read off an instrument
    NONE = "none"


class PourSource(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What the temperature of a pour rests on."""

    figure: FigureSource
    at_lift: bool = False  # the figure as the pot left the furnace; else as it was poured
    age_s: float = 0.0  # of a dip or a typed figure, when the pot was judged by it: its U had grown
    stale_s: float = 0.0  # between the last figure and that moment
    lag_c: float = 0.0  # allowed for the sheath
    dip: int | None = None
    instrument: str = ""  # of a typed figure


class Pour(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Metal left the pot into one mould."""

    number: int  # within the melt, from 1
    mould: str
    setup: str
    at_mono_s: float
    at_utc_s: float
    marked: Marking
    pot_temp_c: float | None
    pot_u_c: float | None
    lip_temp_c: float | None
    lip_u_c: float | None
    lip_min_c: float
    lip_max_c: float
    basis: Told  # how the figures were made, in a sentence
    lift_mono_s: float | None = None
    source: PourSource | None = None  # on old records None, and `basis` says it


class _Event(msgspec.Struct, frozen=True, kw_only=True, tag_field="type", omit_defaults=True):
    """Common to all events."""

    furnace: str
    seq: int  # of the input that caused it
    mono_s: float
    utc_s: float


class RecordOnly(_Event, frozen=True):
    """An event that the record and the screens want; neither the log nor the replay of a trace file tells of it."""


class ProbeStateChanged(_Event, frozen=True, tag="probe_state_changed"):
    """A probe does something else now."""

    probe: str
    old: ProbeState
    new: ProbeState
    why: Told


class TrustChanged(RecordOnly, frozen=True, tag="trust_changed"):
    """How far a probe is believed, for a melt that goes on after the daemon was away. Neither proving nor a cause: it
    is believed."""

    probe: str
    proving: bool = False  # shown, and counts for nothing till it has been quiet for long enough
    cause: str = ""  # the alarm that says why it is not believed
    quiet_s: float = 0.0  # wanted of it in all
    level_c: float | None = None  # what it must agree with, as it was when it was lost; None: with nothing
    level_c_per_min: float = 0.0
    level_mono_s: float = 0.0
    too_hot: bool = False  # what the furnace cannot have made (unexplained): above that bound, else below
    bound_c: float | None = None
    lost_mono_s: float | None = None  # since when it gives no figure, and is away the longer; None: it gives one
    from_nowhere: bool = False  # away for long, with nothing that it could agree with
    only_in: bool = False  # it proves itself in the metal alone
    hottest_c: float | None = None  # that it was believed at in the metal of this melt
    hottest_mono_s: float = 0.0


class PlaceChanged(RecordOnly, frozen=True, tag="place_changed"):
    """A person moved a probe to another place."""

    probe: str
    old: Place
    new: Place


class MeltStateChanged(_Event, frozen=True, tag="melt_state_changed"):
    """The melt stands elsewhere now."""

    old: MeltState
    new: MeltState
    why: Told


class FlagChanged(RecordOnly, frozen=True, tag="flag_changed"):
    """A run flag has another level; 0 is down."""

    flag: Flag
    level: int
    why: Told = NOTHING


class CallHow(StrEnum):
    """What became of a call."""

    RAISED = "raised"
    REPEATED = "repeated"  # said again, as nobody answered
    ENDED = "ended"


class CallChanged(_Event, frozen=True, tag="call_changed"):
    """A call was raised, is repeated, or ended."""

    call: CallView
    how: CallHow
    why: Told = NOTHING


class AlarmChanged(_Event, frozen=True, tag="alarm_changed"):
    """An alarm moved in its lifecycle, or rose in severity. `by`: who acknowledged or shelved it."""

    alarm: AlarmView
    by: str = ""


class MeltStarted(_Event, frozen=True, tag="melt_started"):
    """A batch began."""

    plan: MeltPlan


class MeltChanged(RecordOnly, frozen=True, tag="melt_changed"):
    """Plan changed in mid-melt; both are kept."""

    old: MeltPlan
    new: MeltPlan
    why: str = ""


class MeltEnded(_Event, frozen=True, tag="melt_ended"):
    """A batch is over."""

    melt: str
    ending: MeltEnding


class LiftMarked(RecordOnly, frozen=True, tag="lift_marked"):
    """The pot left the furnace; `proposed` when read from the probe leaving after a pour call, corrected later."""

    lift_mono_s: float
    proposed: bool


class PourMarked(RecordOnly, frozen=True, tag="pour_marked"):
    """A pour went on the record."""

    melt: str
    pour: Pour


class DipRecorded(RecordOnly, frozen=True, tag="dip_recorded"):
    """A dip is over and judged."""

    dip: Dip


class PowerMarked(RecordOnly, frozen=True, tag="power_marked"):
    """A person said how the knob or burner stands."""

    level: PowerLevel
    at_mono_s: float


class ProfileHow(StrEnum):
    """What became of a guided profile."""

    BEGAN = "began"
    CHANGED = "changed"  # another one guides from here
    MOVED = "moved"  # to its next segment
    STOPPED = "stopped"  # by a person
    OVER = "over"  # its last segment is done
    ENDED = "ended"  # with the melt


class ProfileChanged(RecordOnly, frozen=True, tag="profile_changed"):
    """A guided profile began, moved on, was changed, stopped or is over."""

    profile: str
    hash: str
    segment: int  # from 1
    of: int
    how: ProfileHow
    text: Told = NOTHING
    plan: ProfilePlan | None = None  # of one that began or changed: frozen, for the record


class PanelCompared(RecordOnly, frozen=True, tag="panel_compared"):
    """The panel was read while the metal was known and both stood still."""

    metal_c: float
    panel_c: float


class MarkKind(StrEnum):
    """What a mark for the record tells of."""

    NOTE = "note"  # a person's own words
    ADDITION = "addition"  # `value`: kg
    SKIM = "skim"
    TYPED_TEMPERATURE = "typed_temperature"  # of a meter held in the metal; `value`: degC
    PANEL_TEMPERATURE = "panel_temperature"  # of the furnace's own instrument; `value`: degC
    ARREST = "arrest"  # `value`: degC
    LIFT_WITHDRAWN = "lift_withdrawn"  # a proposed lift was none
    POT_RETURNED = "pot_returned"  # the pot is back in the furnace
    POUR_DOUBTFUL = "pour_doubtful"  # metal that was solid can hardly have been poured; `value`: degC
    MOULDS_LEFT = "moulds_left"  # the melt ended before they were poured
    CORRECTION = "correction"  # of a pour of the running melt
    BOARD_RESTARTED = "board_restarted"
    UNKNOWN_CHANNEL = "unknown_channel"  # a board sends a channel that no probe is set for
    PANEL_PAIR = "panel_pair"  # of records before `PanelCompared`, and of their notes; `value`: metal less panel, degC


class Marked(RecordOnly, frozen=True, tag="marked"):
    """An addition, a skim, a typed temperature, a note; `text` says it in a sentence."""

    what: MarkKind
    text: Told
    at_mono_s: float
    value: float | None = None
    source: str = ""  # of a temperature that a person read off: the instrument, in that person's words


class CommandRefused(RecordOnly, frozen=True, tag="command_refused"):
    """Understood and not done."""

    command: str
    what: Told
    remedy: Told


class LinkChanged(_Event, frozen=True, tag="link_changed"):
    """A board's link is up, down, or is another board than before."""

    board: str
    up: bool
    detail: Told = ""


class StoreChanged(_Event, frozen=True, tag="store_changed"):
    """Recording is in trouble, or well again."""

    problem: StoreProblem
    detail: Told = ""


Event = (
    ProbeStateChanged
    | TrustChanged
    | PlaceChanged
    | MeltStateChanged
    | FlagChanged
    | CallChanged
    | AlarmChanged
    | MeltStarted
    | MeltChanged
    | MeltEnded
    | LiftMarked
    | PourMarked
    | DipRecorded
    | PowerMarked
    | ProfileChanged
    | PanelCompared
    | Marked
    | CommandRefused
    | LinkChanged
    | StoreChanged
)
Output = Reading | Event
