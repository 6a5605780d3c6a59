"""The inputs of the engine, in one order: each input has a sequence number and both times.

The journal of these is what is recorded; fed again to a fresh engine it gives byte-equal events.
"""

from enum import StrEnum

import msgspec

from pourcall.contract.frames import BoardStatus, Identity, Sample
from pourcall.contract.furnace_model import FurnaceModel
from pourcall.contract.message import NOTHING, Told
from pourcall.contract.plan import AlloyHalts, MeltPlan
from pourcall.contract.profile_plan import ProfilePlan
from pourcall.contract.reading import Place, ProbeState


class LinkKind(StrEnum):
    """What happened to a port. How bad it is, is the engine's to say."""

    OPENED = "opened"
    CLOSED = "closed"  # unplugged: end of file, or an I/O error
    BAD_FRAMES = "bad_frames"  # `count` frames that were none since the last such event
    UNAVAILABLE = "unavailable"  # wrong, busy, not permitted at start
    PORT_SHARED = "port_shared"  # a second program reads the same port


class PowerLevel(StrEnum):
    """What a person says of a burner or a knob."""

    OFF = "off"
    LOW = "low"
    HIGH = "high"


class MeltEnding(StrEnum):
    """How a melt ended."""

    POURED = "poured"
    UNPOURED = "unpoured"  # into its moulds, it was said, but no pour is on record
    INGOTS = "ingots"
    HEEL = "heel"  # metal left in the pot
    ABANDONED = "abandoned"


class Instrument(StrEnum):
    """What a figure was read off."""

    METER = "meter"  # held in the metal
    PANEL = "panel"  # the furnace's own: it shows the furnace and never the metal


class Answer(StrEnum):
    """A person's answer to a call."""

    DONE = "done"
    NOT_NOW = "not_now"


class StoreProblem(StrEnum):
    """How recording goes; each but the first is an alarm of that name."""

    NONE = ""
    FULL = "store_full"
    FAILING = "store_failing"
    LOCKED = "store_locked"
    READONLY = "store_readonly"
    GONE = "store_gone"


class DaemonTrouble(StrEnum):
    """What may befall the daemon itself; each is an alarm of that name."""

    BROKER_DOWN = "broker_down"
    BROKER_REFUSED = "broker_refused"
    CLIENT_ID_CLASH = "client_id_clash"
    LOOP_SLOW = "loop_slow"  # it was busy with itself
    PAUSED = "paused"  # the whole process stood still
    TASK_FAILED = "task_failed"
    COMMAND_REJECTED = "command_rejected"
    UNCLEAN_STOP = "unclean_stop"  # the session before did not end in order
    STORE_DAMAGED = "store_damaged"
    SECRET_EXPOSED = "secret_exposed"


class _Command(msgspec.Struct, frozen=True, kw_only=True, tag_field="type", omit_defaults=True):
    """Something a person or a script asks for. `who` is recorded."""

    who: str = "shop"


class Happened(_Command, frozen=True, kw_only=True):
    """What happened in the shop, `ago_s` seconds ago: hands were on the tongs. Its own moment is what counts."""

    ago_s: float = 0.0


class DipSoFar(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A dip of a melt that goes on; `ago_s` since it ended."""

    probe: str
    number: int
    ago_s: float
    held_s: float
    how: str  # of events.DipHow
    temp_c: float | None = None
    u_c: float | None = None
    valid_s: float = 90.0


class Doubt(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A probe that was not believed."""

    probe: str
    cause: str  # the alarm that said so; empty: none did, it had to stand still for a while
    acknowledged: bool = False  # a person has looked; it was proving itself
    proving: bool = False  # nobody need look: it goes on proving itself
    quiet_s: float = 0.0  # by so long a quiet
    level_c: float | None = None  # and where the metal was when it was lost; None: anywhere
    level_c_per_min: float = 0.0
    level_ago_s: float = 0.0
    too_hot: bool = False  # what the furnace cannot have made (unexplained): above that bound, else below
    bound_c: float | None = None  # None: it was none of that, or an old record does not say
    lost_ago_s: float | None = None  # since when it gave no figure; None: it gave one
    from_nowhere: bool = False  # it was away for long, with nothing that it could agree with
    only_in: bool = False  # it proves itself in the metal alone
    hottest_c: float | None = None  # that it was believed at in the metal of this melt
    hottest_ago_s: float = 0.0


class SoFar(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What had happened in a melt that goes on after the daemon was away. Moments are so many seconds ago.

    None: it had not happened, or nobody said. How the power is set is taken to be as it was marked last.
    """

    ran_s: float
    power: PowerLevel | None = None
    power_ago_s: float = 0.0
    on_from_ago_s: float | None = None  # it last came on
    on_until_ago_s: float | None = None  # the last moment at which it was known to be on
    maybe_on_until_ago_s: float | None = None  # the last at which it was not known to be off
    places: tuple[tuple[str, Place], ...] = ()
    lift_ago_s: float | None = None
    lift_proposed: bool = False
    poured_since_lift: tuple[int, ...] = ()  # numbers of the pours of the lift that goes on
    poured_at_utc_s: tuple[tuple[int, float], ...] = ()  # number of each pour, and when it was by the record
    skim_ago_s: float | None = None
    added_ago_s: float | None = None
    added_kg: float | None = 0.0  # None: of some of it nobody said how much
    dips: tuple[DipSoFar, ...] = ()
    doubts: tuple[Doubt, ...] = ()


class StartMelt(_Command, frozen=True, tag="start_melt"):
    """A new batch; the plan is frozen for the record, and so is what is known of the furnace.

    model: None: foresight goes by what is usual of a furnace of this kind. profile: runs from the start.
    """

    plan: MeltPlan
    model: FurnaceModel | None = None
    profile: ProfilePlan | None = None
    room_c: float | None = None  # None: the board's cold junction stands in for it
    others: tuple[AlloyHalts, ...] = ()  # the other sheets of the shop, so that a wrong alloy can be named
    poured: tuple[tuple[int, str], ...] = ()  # of a melt that goes on: number and mould of each; "": it was no pour
    so_far: SoFar | None = None  # of a melt that goes on


class ChangeMelt(_Command, frozen=True, tag="change_melt"):
    """A changed alloy, mould list or mind in mid-melt: nothing restarts, old and new are both kept.

    next_lift: nobody changed their mind: what is left is planned for a lift of its own, since the one before is over.
    """

    plan: MeltPlan
    why: str = ""
    next_lift: bool = False


class EndMelt(_Command, frozen=True, tag="end_melt"):
    """The pot is done with. What metal was left: ingots, each with its mass, and a heel in the pot; why, in words.

    sure: as of a pour. melt: its number, where the person was shown one; empty: the one that runs.
    """

    ending: MeltEnding
    ingots_kg: tuple[float, ...] = ()
    heel_kg: float = 0.0
    why: str = ""
    sure: bool = False
    melt: str = ""


class MarkPour(Happened, frozen=True, kw_only=True, tag="mark_pour"):
    """Metal left the pot into a mould. `mould` by name; empty: the next in order.

    sure: whoever sends it has asked, where there was something to ask (questions.py).
    """

    mould: str = ""
    sure: bool = False


class PourFigures(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What the record holds of a pour that was corrected: when, from which lift, at what temperatures."""

    at_mono_s: float
    at_utc_s: float
    lift_mono_s: float | None = None
    pot_temp_c: float | None = None
    pot_u_c: float | None = None
    lip_temp_c: float | None = None
    lip_u_c: float | None = None
    lip_min_c: float
    lip_max_c: float
    setup: str = ""
    basis: Told = ""


class CorrectPour(_Command, frozen=True, tag="correct_pour"):
    """A pour of the running melt went into another mould, or (mould empty) was none; the record has it already."""

    number: int
    mould: str = ""
    figures: PourFigures | None = None  # None: another mould at the same moment
    said: Told = NOTHING  # what was put right, for the note; of records before that was kept: nothing


class MarkLift(Happened, frozen=True, kw_only=True, tag="mark_lift"):
    """The pot left the furnace. sure: as of a pour."""

    sure: bool = False


class MarkReturn(Happened, frozen=True, kw_only=True, tag="mark_return"):
    """The pot stands in the furnace again: too cold to pour, or poured in part."""


class MarkAddition(Happened, frozen=True, kw_only=True, tag="mark_addition"):
    """Metal was added to the pot."""

    mass_kg: float | None = None
    source: str = ""


class MarkSkim(Happened, frozen=True, kw_only=True, tag="mark_skim"):
    """The bath was skimmed or stirred."""


class MarkPower(Happened, frozen=True, kw_only=True, tag="mark_power"):
    """The knob or burner was set."""

    level: PowerLevel


class SetPlace(_Command, frozen=True, tag="set_place"):
    """A probe was moved to another place."""

    probe: str
    place: Place


class SetProbeState(_Command, frozen=True, tag="set_probe_state"):
    """A person corrects what the trace seemed to say."""

    probe: str
    state: ProbeState


class StartDip(_Command, frozen=True, tag="start_dip"):
    """A dip begins now; without it a dip is recognised from the trace."""

    probe: str
    depth_mm: float | None = None
    stirred: bool | None = None


class EnterTemperature(Happened, frozen=True, kw_only=True, tag="enter_temperature"):
    """A figure read off and typed in; `source` names the instrument in the person's own words. sure: as of a pour.

    instrument None: not told. Whoever lets commands in goes by the words then (`quantities.instrument_of`).
    """

    temp_c: float
    source: str = "handheld"
    sure: bool = False
    instrument: Instrument | None = None


class RunProfile(_Command, frozen=True, tag="run_profile"):
    """Guide the running melt by this profile, frozen from now on. Another one in mid-melt goes on from where it is."""

    profile: ProfilePlan


class StopProfile(_Command, frozen=True, tag="stop_profile"):
    """No more guidance; the power stays as the person has it."""


class NextSegment(_Command, frozen=True, tag="next_segment"):
    """Go on: a hold that waits to be told is over, or a timed one is cut short."""


class AnswerCall(_Command, frozen=True, tag="answer_call"):
    """An answer to a call that is up; `call` is its kind."""

    call: str
    answer: Answer


class AckAlarm(_Command, frozen=True, tag="ack_alarm"):
    """Acknowledge one alarm by its id; empty: all that are up."""

    alarm: str = ""


SILENCE_S = 30.0  # sounds go on after so long; it is not for the person to choose
NOT_NOW_S = 120.0  # a call that was put off comes back after so long, where it still holds


class SilenceAlarms(_Command, frozen=True, tag="silence_alarms"):
    """Quiet for 30 s. Silence is not acknowledgement."""


class ShelveAlarm(_Command, frozen=True, tag="shelve_alarm"):
    """Set one alarm aside for a time."""

    alarm: str
    minutes: float = 30.0


class UnshelveAlarm(_Command, frozen=True, tag="unshelve_alarm"):
    """Take a shelved alarm back."""

    alarm: str


class TestAlarm(_Command, frozen=True, tag="test_alarm"):
    """Prove the alarm path end to end: raises one alarm named as a test."""

    __test__ = False  # pytest collects classes called Test*


class Note(_Command, frozen=True, tag="note"):
    """Free text for the record."""

    text: str


Command = (
    StartMelt
    | ChangeMelt
    | EndMelt
    | MarkPour
    | CorrectPour
    | MarkLift
    | MarkReturn
    | MarkAddition
    | MarkSkim
    | MarkPower
    | SetPlace
    | SetProbeState
    | StartDip
    | EnterTemperature
    | RunProfile
    | StopProfile
    | NextSegment
    | AnswerCall
    | AckAlarm
    | SilenceAlarms
    | ShelveAlarm
    | UnshelveAlarm
    | TestAlarm
    | Note
)


class _Input(msgspec.Struct, frozen=True, kw_only=True, tag_field="type", omit_defaults=True):
    """Common to all inputs: order, time for intervals, time for the record."""

    seq: int
    mono_s: float
    utc_s: float


class SampleIn(_Input, frozen=True, tag="sample_in"):
    """One decoded measurement. `late_s`: by how much it is older than its arrival, as the host reckons."""

    board: str
    sample: Sample
    late_s: float = 0.0


class BoardStatusIn(_Input, frozen=True, tag="board_status_in"):
    """A board's own report."""

    board: str
    status: BoardStatus


class IdentityIn(_Input, frozen=True, tag="identity_in"):
    """A board said who it is."""

    board: str
    identity: Identity


class LinkIn(_Input, frozen=True, tag="link_in"):
    """Something happened to a port. `printable`: share of ASCII text in the bad bytes."""

    board: str
    kind: LinkKind
    detail: Told = ""
    count: int = 0
    sample_hex: str = ""
    printable: float = 1.0


class StoreIn(_Input, frozen=True, tag="store_in"):
    """How recording goes."""

    problem: StoreProblem
    detail: Told = ""
    waiting_rows: int = 0


class DaemonIn(_Input, frozen=True, tag="daemon_in"):
    """Something about the daemon itself. `present`: it holds now, or is over; `lasted_s`: of a pause, how long nothing
    was heard before it."""

    kind: DaemonTrouble
    present: bool
    detail: Told = ""
    lasted_s: float = 0.0


class TickIn(_Input, frozen=True, tag="tick_in"):
    """Time passed and nothing else need have happened; about once a second."""


class CommandIn(_Input, frozen=True, tag="command_in"):
    """A command, at its place in the order."""

    command: Command


Input = SampleIn | BoardStatusIn | IdentityIn | LinkIn | StoreIn | DaemonIn | TickIn | CommandIn
