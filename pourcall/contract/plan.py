"""What a melt is meant to be, with every number already resolved.

`planning` makes these from alloy sheets, moulds and furnace; the engine takes them as they are, so that it needs no
sheet, no file and no science of its own, and a journal replayed years later judges by the numbers of its day.
All temperatures in degC.
"""

import math
from enum import StrEnum

import msgspec

from pourcall.contract.message import NOTHING, Told

SURROUNDINGS_C = 20.0  # what a pot in the open cools towards
REPEATABILITY_U_C = 2.0  # same probe, same shop, k = 2: chip step, noise and a settled dip (ours)
READING_SHARE = 0.0075  # taken for U: tolerance of a type K couple, class 2, above 333 degC (IEC 60584-1:2013)
LEAST_CHANCE = 1.0 / 3.0  # to arrive inside; with less an aim is a poor one (judgement, no source)
SKIM_BELOW_C = 15.0  # so far below the lowest the mould may get: time to skim (common practice, no source)


class HeatPoint(msgspec.Struct, frozen=True, array_like=True):
    """One point of an alloy's enthalpy curve: heat above the solid at 25 degC, and the share that is liquid."""

    temp_c: float
    kj_per_kg: float
    liquid: float


class AlloyFacts(msgspec.Struct, frozen=True, kw_only=True):
    """The figures of one alloy sheet that tracking, calls and alarms use."""

    key: str  # "za27"
    name: str  # "ZA-27"
    family: str  # "zinc", "aluminium", "copper", "other"
    solidus_c: float
    liquidus_c: float
    eutectic_c: float | None = None  # where the last liquid freezes, if below or at the solidus
    arrests_c: tuple[float, ...] = ()  # plateaus of the cooling curve that are neither solidus nor liquidus
    pour_min_c: float  # of the sheet, at the mould lip, any section
    pour_max_c: float
    alloy_max_c: float  # in the pot: never above, whatever the loss on the way
    liquid_margin_c: float = 15.0  # above liquidus before the metal is taken for fully liquid
    latent_kj_per_kg: float  # this and the two specific heats are those of the curve
    cp_solid_j_per_kg_k: float  # just below the solidus
    cp_liquid_j_per_kg_k: float
    heat: tuple[HeatPoint, ...] = ()  # the enthalpy curve; none: the three figures above are all that is known
    density_liquid_kg_per_m3: float
    zinc_bearing: bool = False
    sheet_hash: str = ""


class AlloyHalts(msgspec.Struct, frozen=True, array_like=True):
    """Where another alloy stands still, of its sheet: enough to name it when a charge is not what the plan says."""

    key: str
    name: str
    family: str
    solidus_c: float
    liquidus_c: float
    eutectic_c: float | None = None
    arrests_c: tuple[float, ...] = ()
    latent_k: float = 0.0  # latent heat over the solid's specific heat; 0: not known


class WindowBasis(StrEnum):
    """Where a mould's window comes from."""

    SHEET = "sheet"
    LEARNED = "learned"  # from this shop's own inspected pours
    STATED = "stated"  # by the person who plans


class LossBasis(StrEnum):
    """Where the loss on the way comes from."""

    COMPUTED = "computed"  # +-40 %
    MEASURED = "measured"  # in this shop, for the walk
    STATED = "stated"


class Way(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """The parts of `loss_c`, where they are told apart; a stated loss has none."""

    basis: LossBasis
    open_s: float = 0.0  # in the open, from the lift to the lip
    walk_c: float = 0.0
    ladle_c: float | None = None  # None: no ladle
    stream_c: float = 0.0


class MouldRequest(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """A mould as a person asks for it: what is not given comes from the mould setup, alloy sheet and furnace.

    setup: name of a mould setup; empty: the one the mould is named after, if it is described. material empty: of the
    setup, else green sand. The window at the lip has two ends or none.
    """

    name: str
    setup: str = ""
    mass_kg: float = 0.0  # metal it takes, gating included
    thinnest_mm: float | None = None
    material: str = ""
    lip_min_c: float | None = None
    lip_max_c: float | None = None
    window_learned: bool = False  # that window is what this shop's inspected pours say; else as the person states
    window_same_probe: bool = False  # and it was learned with the probe in use
    loss_c: float | None = None
    loss_u_c: float | None = None


class StatedFor(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Moulds as they were asked for while the melt was to be another alloy: windows and losses stated for that one."""

    alloy: str
    moulds: tuple[MouldRequest, ...] = ()


class Asked(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What a plan was made from, beside the alloy: a change of the melt plans again from this."""

    charge_kg: float = 0.0  # 0: nobody gave one
    moulds: tuple[MouldRequest, ...] = ()
    set_aside: tuple[StatedFor, ...] = ()  # of alloys this melt was to be before: a change back finds them again


class MouldPlan(msgspec.Struct, frozen=True, kw_only=True):
    """One mould of a melt, in its order, with its window at the lip and the loss on the way there."""

    name: str
    setup: str = ""  # name of the mould setup, for records and trials
    mass_kg: float = 0.0
    thinnest_mm: float | None = None
    material: str = "green_sand"
    lip_min_c: float
    lip_max_c: float
    loss_c: float  # pot to lip: lift, walk, ladle, stream
    loss_u_c: float = 5.0  # expanded uncertainty of that loss (k = 2)
    loss_s: float = 20.0  # from the lift: the time that loss stands for; a later mould's holds the wait for the earlier
    own_lift_loss_c: float | None = None  # in a lift of its own, where only that serves it; None: it may be of this
    turn_s: float | None = None  # from the lift until it is filled in its turn; None: as its loss stands for
    window_same_probe: bool = False  # learned with this probe: repeatability counts, not absolute uncertainty
    why: Told = NOTHING  # how window and loss were made, in a sentence
    window_basis: WindowBasis | None = None  # on old plans None, and `why` says it
    way: Way | None = None

    @property
    def tap_min_c(self) -> float:
        """Lowest temperature in the pot that still arrives inside the window."""
        return self.lip_min_c + self.loss_c

    @property
    def tap_max_c(self) -> float:
        """Highest temperature in the pot that arrives inside the window, before any pot limit."""
        return self.lip_max_c + self.loss_c


class PotLimit(msgspec.Struct, frozen=True, kw_only=True):
    """A temperature the pot must not pass, and whose limit it is: alloy, boiling, pot, probe."""

    limit_c: float
    whose: str
    why: Told
    u_c: float = 0.0  # expanded uncertainty of the limit itself: where zinc boils is not known exactly
    keep_off_c: float = 0.0  # so far below it the pot is aimed at most, for that doubt and the reading's

    @property
    def aim_limit_c(self) -> float:
        """The most that is aimed for."""
        return self.limit_c - self.keep_off_c


class FumeTable(msgspec.Struct, frozen=True, kw_only=True):
    """Zinc fume by temperature, computed beforehand: where levels 1, 2 and 3 begin, degC; None: not within reach.

    still_c: bath undisturbed; disturbed_c: while skimming, stirring or pouring. Levels 1 and 2 advise, 3 alarms; all to
    a factor of ten, and level 0 is never the word "safe".
    """

    still_c: tuple[float | None, float | None, float | None] = (None, None, None)
    disturbed_c: tuple[float | None, float | None, float | None] = (None, None, None)
    flares: bool = False  # brass: levels are shares of the boiling pressure, and ask: outdoors or under extraction?
    why: Told = NOTHING

    def level(self, temp_c: float, disturbed: bool) -> int:
        """0 to 3."""
        begins = self.disturbed_c if disturbed else self.still_c
        return sum(1 for from_c in begins if from_c is not None and temp_c >= from_c)


class MeltPlan(msgspec.Struct, frozen=True, kw_only=True):
    """A melt as intended: alloy, mass, moulds in order, limits. `limits` is sorted, lowest first."""

    melt: str  # "2026-014"
    alloy: AlloyFacts
    charge_kg: float  # all that goes in until the first pour
    moulds: tuple[MouldPlan, ...]
    limits: tuple[PotLimit, ...]
    fume: FumeTable | None = None  # None: not computed, or no zinc in the alloy
    later_kg: float = 0.0  # of the charge: put in later, on top of what is liquid
    asked: Asked | None = None  # None: a plan of before this was kept
    poured_earlier: tuple[str, ...] = ()  # moulds with metal of a lift that is over: the rest is for one of its own

    @property
    def for_this_lift(self) -> tuple[MouldPlan, ...]:
        """The moulds whose place in the order, loss and window this plan is made for."""
        return tuple(mould for mould in self.moulds if mould.name not in self.poured_earlier)

    @property
    def lowest_limit(self) -> PotLimit:
        """The limit that is met first."""
        return min(self.limits, key=lambda limit: limit.limit_c)

    @property
    def aim_limit(self) -> PotLimit:
        """The limit that bounds what is aimed for; not always the lowest, for one may be less surely known."""
        return min(self.limits, key=lambda limit: limit.aim_limit_c)


def lip_window_c(mould: MouldPlan, plan: MeltPlan) -> tuple[float, float]:
    """The mould's window at the lip, its top lowered where the pot would have to be aimed beyond a limit of its own; of
    a mould that wants a lift of its own, as it is in that."""
    loss_c = mould.loss_c if mould.own_lift_loss_c is None else mould.own_lift_loss_c
    return mould.lip_min_c, min(mould.lip_max_c, plan.aim_limit.aim_limit_c - loss_c)


def chance_above(pot_c: float, pot_u_c: float, limit_c: float, limit_u_c: float) -> float:
    """Chance that the pot is above a limit, each known to its expanded uncertainty (k = 2)."""
    sigma_c = max(math.hypot(pot_u_c, limit_u_c) / 2.0, 1e-6)
    return 0.5 * math.erfc((limit_c - pot_c) / (sigma_c * math.sqrt(2.0)))


def tap_window_c(mould: MouldPlan, plan: MeltPlan) -> tuple[float, float]:
    """The same seen in the pot. The lower end above the upper: no temperature serves, and `no_aim` says why."""
    low_c, high_c = lip_window_c(mould, plan)
    return low_c + mould.loss_c, high_c + mould.loss_c


class LipOdds(msgspec.Struct, frozen=True, kw_only=True):
    """What would arrive of a pot at some temperature, and the chances, 0 to 1, of missing the window on either side."""

    lip_c: float
    lip_u_c: float  # expanded: reading and loss, in squares
    too_cold: float
    too_hot: float
    width_c: float  # of the window

    @property
    def inside(self) -> float:
        """The chance of arriving inside the window."""
        return max(0.0, 1.0 - self.too_cold - self.too_hot)

    @property
    def poor(self) -> bool:
        """It misses more often than not, by far: what would make it surer comes before the pour."""
        return self.inside < LEAST_CHANCE

    @property
    def narrow(self) -> bool:
        """The window is no wider than the doubt on both sides: a best aim, and none is sure."""
        return self.width_c <= 2.0 * self.lip_u_c


def planned_reading_u_c(temp_c: float) -> float:
    """Expanded uncertainty of a reading nobody has taken yet, degC."""
    return READING_SHARE * temp_c


def reading_u_c(mould: MouldPlan, pot_u_c: float) -> float:
    """What of the reading's uncertainty counts: a window learned with this very probe shares its error."""
    return min(REPEATABILITY_U_C, pot_u_c) if mould.window_same_probe else pot_u_c


def lip_odds(mould: MouldPlan, plan: MeltPlan, pot_c: float, pot_u_c: float, extra_s: float = 0.0) -> LipOdds:
    """Of a pot known to `pot_u_c`, for a mould that is poured `extra_s` later than its loss stands for."""
    low_c, high_c = lip_window_c(mould, plan)
    lip_c = pot_c - mould.loss_c
    lip_c -= waiting_loss_c(mould, lip_c, extra_s)
    u_c = math.hypot(reading_u_c(mould, pot_u_c), mould.loss_u_c)
    return LipOdds(
        lip_c=lip_c,
        lip_u_c=u_c,
        too_cold=chance_above(low_c, 0.0, lip_c, u_c),
        too_hot=chance_above(lip_c, u_c, high_c, 0.0),
        width_c=high_c - low_c,
    )


def best_odds(mould: MouldPlan, plan: MeltPlan) -> LipOdds:
    """Of a pot in the middle of what arrives inside the window, read as well as nobody has read it yet."""
    pot_c = 0.5 * sum(tap_window_c(mould, plan))
    return lip_odds(mould, plan, pot_c, planned_reading_u_c(pot_c))


class NoAimCause(StrEnum):
    """Why no temperature of the pot serves a mould."""

    BOILING = "boiling"  # at the lip alone it wants more than the pot is aimed for, lest zinc boils
    POT_LIMIT = "pot_limit"  # the same for another limit of the pot: `limit.whose`
    LOSS = "loss"  # the pot may be that hot, but not by what is lost on the way hotter: less loss is the remedy
    TURN = "turn"  # not from one lift with those before it, by what is lost waiting for them: in a lift of its own
    NOT_LIQUID = "not_liquid"  # its window ends below where the metal counts as liquid


class NoAim(msgspec.Struct, frozen=True, kw_only=True):
    """No temperature of the pot serves a mould: more heat is never the answer, and there is nothing to aim for."""

    mould: str
    cause: NoAimCause
    limit: PotLimit  # that bounds the aim
    lip_min_c: float  # what the mould wants; for NOT_LIQUID the lowest is that of liquid metal, above the highest
    lip_max_c: float
    least_c: float  # lowest at the lip that would still be planned for it: of a window by the sheet, the sheet's lowest
    loss_c: float
    own_lift_loss_c: float | None = None  # in a lift of its own; None: that is no remedy

    @property
    def needed_c(self) -> float:
        """Lowest in the pot that would arrive as hot as that."""
        return self.least_c + self.loss_c

    @property
    def allowed_c(self) -> float:
        """The most the pot is aimed for."""
        return self.limit.aim_limit_c

    @property
    def arrives_c(self) -> float:
        """At the lip, of a pot at the most that is aimed for."""
        return self.allowed_c - self.loss_c


def no_aim(mould: MouldPlan, plan: MeltPlan) -> NoAim | None:
    """Why no temperature of the pot serves the mould; None: one does, and `tap_window_c` is a window."""
    limit, least_c = plan.aim_limit, mould.lip_min_c
    if mould.window_basis is WindowBasis.SHEET:  # planned colder than the section wants rather than not at all
        least_c = min(least_c, max(plan.alloy.pour_min_c, plan.alloy.liquidus_c + plan.alloy.liquid_margin_c))
    if mould.lip_min_c > mould.lip_max_c:
        cause = NoAimCause.NOT_LIQUID
    elif mould.own_lift_loss_c is not None:
        cause = NoAimCause.TURN
    elif mould.tap_min_c <= limit.aim_limit_c:
        return None
    elif least_c <= limit.aim_limit_c:
        cause = NoAimCause.LOSS
    else:
        cause = NoAimCause.BOILING if limit.whose == "boiling" else NoAimCause.POT_LIMIT
    return NoAim(
        mould=mould.name,
        cause=cause,
        limit=limit,
        lip_min_c=mould.lip_min_c,
        lip_max_c=mould.lip_max_c,
        least_c=least_c,
        loss_c=mould.loss_c,
        own_lift_loss_c=mould.own_lift_loss_c,
    )


def waited_s(mould: MouldPlan, lift_s: float | None, at_s: float) -> float:
    """Seconds beyond those the planned loss stands for; 0 where the lift is not known."""
    return 0.0 if lift_s is None else max(0.0, at_s - lift_s - mould.loss_s)


def way_left(mould: MouldPlan, lift_s: float | None, read_s: float | None) -> tuple[float, float]:
    """Seconds and degC of the planned way that lie ahead of a figure; all of it for one that was read by the lift."""
    if lift_s is None or read_s is None or read_s <= lift_s or mould.loss_s <= 0.0:
        return mould.loss_s, mould.loss_c
    way_s = max(0.0, mould.loss_s - (read_s - lift_s))
    return way_s, mould.loss_c * way_s / mould.loss_s


def loss_rate_c_per_s(mould: MouldPlan) -> float:
    """At which metal cools on the planned way; 0 where no loss, or no time for it, is planned."""
    return mould.loss_c / mould.loss_s if mould.loss_c > 0.0 and mould.loss_s > 0.0 else 0.0


def waiting_loss_c(mould: MouldPlan, lip_c: float, extra_s: float) -> float:
    """What metal that would arrive at `lip_c` loses by arriving `extra_s` later than planned.

    At first at the rate of the planned way, then by Newton's law of cooling: never below the surroundings, however
    long the pot stood. First order; freezing on the way holds metal back and is left out.
    """
    above_c = lip_c - SURROUNDINGS_C
    if extra_s <= 0.0 or above_c <= 0.0:
        return 0.0
    return above_c * -math.expm1(-loss_rate_c_per_s(mould) * extra_s / above_c)


def waiting_time_s(mould: MouldPlan, lip_c: float, wanted_c: float) -> float | None:
    """Seconds beyond the planned until metal that would arrive at `lip_c` arrives at `wanted_c`; below 0: it is past.

    None: it never does.
    """
    spare_c, above_c = lip_c - wanted_c, lip_c - SURROUNDINGS_C
    rate_c_per_s = loss_rate_c_per_s(mould)
    if rate_c_per_s <= 0.0 or wanted_c <= SURROUNDINGS_C:
        return None if spare_c > 0.0 else 0.0
    if spare_c <= 0.0:
        return spare_c / rate_c_per_s
    return -above_c / rate_c_per_s * math.log((wanted_c - SURROUNDINGS_C) / above_c)
