"""What goes into a trial analysis and what comes out. Frozen structs, ready for JSON.

Temperatures in degC at the mould lip.
"""

from enum import StrEnum

import msgspec

from pourcall.contract.message import Message
from pourcall.trials.defects import Sides


class InspectedPour(msgspec.Struct, frozen=True, kw_only=True):
    """A pour with a lip temperature and a result. u_c: standard uncertainty.

    apart: of a borrowed pour: how many times as far its setup's thresholds may lie from this one's as those of a setup
    exactly like it.
    """

    pour: str
    lip_c: float
    u_c: float
    found: Sides
    apart: float = 1.0
    setup: str = ""
    melt: str = ""  # pours of one melt share its day
    mould_changed: bool = False  # by the record the mould is not as it was at the pour before


class NextKind(StrEnum):
    """Why the next pour is advised where it is."""

    FIRST = "first"  # nothing is inspected yet
    LEARN = "learn"  # a little off the best, where most is learned
    BEST = "best"
    HOTTER = "hotter"  # cold faults alone so far
    COLDER = "colder"
    STOP = "stop"  # little is left to learn
    CHANGE = "change"  # the gating first: temperature is not the cause
    NONE = "none"  # the limits leave nothing


class Bound(msgspec.Struct, frozen=True, kw_only=True):
    """A limit of what may be advised, at the lip, and whose it is."""

    limit_c: float
    whose: str
    why: Message


class Place(msgspec.Struct, frozen=True, kw_only=True):
    """Where a mould of the setup stands in the newest plan, and what the metal loses from the pot to its lip there."""

    order: int  # 1: poured first
    moulds: int  # of the plan
    mould: str
    loss_c: float


class SetupData(msgspec.Struct, frozen=True, kw_only=True):
    """All that is known of one mould setup. `bounds`: upper limits at the lip, lowest first."""

    setup: str
    alloy: str
    alloy_name: str
    family: str
    window_min_c: float  # of the sheet, for this section and material
    window_max_c: float
    window_why: Message
    doubtful: bool  # the window is not from a source that was read
    floor_c: float  # liquidus and margin
    bounds: tuple[Bound, ...]
    pours: tuple[InspectedPour, ...] = ()
    borrowed: tuple[InspectedPour, ...] = ()  # temperatures moved by the difference of the windows
    left_out: tuple[Message, ...] = ()  # pours that say nothing, and why
    changed: tuple[
        Message, ...
    ] = ()  # what else differs between the pours, with its values; empty: the temperature alone
    invented: bool = False  # all of it is of a simulated furnace
    thinnest_mm: float | None = None
    material: str = ""
    places: tuple[Place, ...] = ()  # in the order they are poured
    changed_since: bool = False  # by the record the mould is not as it was at the last pour
    unchanged: bool = False  # the caster says that nothing changed
    seen: tuple[str, ...] = ()  # keys of defects found on this setup, commonest first


class CurvePoint(msgspec.Struct, frozen=True, kw_only=True):
    """Probability of a sound casting at one lip temperature, with its 90 % credible band."""

    temp_c: float
    sound: float
    low: float
    high: float


class Borrowed(msgspec.Struct, frozen=True, kw_only=True):
    """Pours of a similar setup that count. apart_c: scale by which its window may lie off this one's."""

    setup: str
    pours: int
    apart_c: float


class InPot(msgspec.Struct, frozen=True, kw_only=True):
    """What the pot has to hold at the lift so that the advised temperature arrives at one place of the order."""

    order: int
    moulds: int
    mould: str
    loss_c: float
    customer_tap_c: float
    next_tap_c: float


class Unlike(msgspec.Struct, frozen=True, kw_only=True):
    """Where the later pours do not fit the earlier ones."""

    since: str  # first pour that is unlike
    pours: int  # from there on
    probability: float  # that something changed, by the model
    by_chance: float  # how often such findings come where nothing changed


class Advice(msgspec.Struct, frozen=True, kw_only=True):
    """What temperature next, and why. `words`: the same, to be said."""

    setup: str
    alloy: str
    pours: int
    borrowed: tuple[Borrowed, ...]
    level: float
    accept: int
    best_c: float | None  # None: nothing may be poured between floor and limits
    best_sound: float | None
    best_low: float | None
    best_high: float | None
    customer_c: float | None  # for a customer: the surest within a step of what was poured
    customer_sound: float | None
    customer_low: float | None
    customer_high: float | None
    usable_min_c: float | None  # sound with `level` or more on average; None where nothing is
    usable_max_c: float | None
    next_c: float | None  # to learn
    next_sound: float | None
    next_tap_c: float | None  # the same in the pot for the first of its places, where the loss on the way is known
    next_kind: NextKind
    bounded_by: str  # whose limit holds the advice back; empty: none does
    gain_left: float  # how much more sound castings perfect knowledge would give
    far_below_probability: float  # that some temperature gives 25 castings in 100 more than the surest
    pours_more: int | None  # until that is not worth it; None: more than 12, or not asked for
    not_temperature: bool
    no_good_probability: float
    both_at_once: tuple[str, ...]  # pours with cold and hot faults in one casting
    allowed_min_c: float
    allowed_max_c: float
    curve: tuple[CurvePoint, ...]
    findings: tuple[InspectedPour, ...]
    pots: tuple[InPot, ...] = ()
    unlike: Unlike | None = None
    changed: tuple[Message, ...] = ()  # what else than the temperature differs between the pours
    invented: bool = False  # the pours are of a simulated furnace
    words: tuple[Message, ...] = ()
