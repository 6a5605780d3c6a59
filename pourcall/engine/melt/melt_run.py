"""One melt while it runs. Plan, marks, lift and pours; what a pour is worth on the record."""

import math
from collections.abc import Sequence

import msgspec

from pourcall.contract.events import FigureSource, Marking, Pour, PourSource
from pourcall.contract.inputs import PourFigures
from pourcall.contract.message import tell
from pourcall.contract.one_lift import aim_c
from pourcall.contract.plan import (
    MeltPlan,
    MouldPlan,
    lip_window_c,
    no_aim,
    tap_window_c,
    waited_s,
    waiting_loss_c,
    waiting_time_s,
    way_left,
)
from pourcall.contract.questions import LIFT_LASTS_S, TWO_CLOCKS_S
from pourcall.engine.bath.metal import HistoryPoint, MetalHistory, aged_u_c

LIVE_WITHIN_S = 15.0  # a key is held back for six seconds, so that it can be taken back
WORK_S = 60.0  # skimming or stirring, or cold metal melting in: the bath is not at rest
STALE_S = 5.0  # a figure so old at a pour is told with its age, and is less sure
KNOWN_S = 180.0  # an older figure says nothing of the metal that was poured
ASK_BACK_S = 60.0  # sooner after a lift, a probe in metal is put back into a pot that never left, or in the hand
BRIEFLY_S = 60.0  # back in the furnace for no longer than this, it cools on rather than anew
BACK_U_C_PER_MIN = 15.0  # what a furnace may give or take meanwhile (k = 2; ours: half of a fast melt's 30 degC/min)


class AfterLift(msgspec.Struct, frozen=True, kw_only=True):
    """The pot is out of the furnace. None: the metal's temperature at the lift is not known."""

    mould: MouldPlan
    lip_c: float | None = None  # would arrive, if it were poured now
    u_c: float = 0.0
    way_c: float = 0.0  # what of the planned loss is still to come: the pot itself is at most so much hotter
    left_s: float | None = None  # until it arrives too cold; 0 and below: it does already; None: it never does
    too_hot: bool = False
    too_hot_s: float | None = None  # until it is so no more; None: it is not, or stays so

    @property
    def too_cold(self) -> bool:
        """It would arrive below the window."""
        return self.left_s is not None and self.left_s <= 0.0


class MeltRun:
    """The running melt. Times are monotonic seconds."""

    def __init__(self, plan: MeltPlan, mono_s: float, before: Sequence[tuple[int, str]] = ()) -> None:
        """before: pours before the daemon was away, number and mould; no mould: it was no pour."""
        self.plan = plan
        self._plans = [(-math.inf, plan)]  # since when each was followed, one for each lift
        self.began_s = mono_s
        self.pours: list[Pour] = []  # since then
        self._went = {number: mould for number, mould in before if mould}  # number of a pour -> mould it went into
        self._poured_s: dict[int, float] = {}  # number of a pour -> when; of one that is missing: in an earlier lift
        self._at_utc_s: dict[int, float] = {}  # and when by the record
        self._numbers = max((number for number, _ in before), default=0)  # given so far; none is given twice
        self.lift_s: float | None = None
        self.lift_proposed = False
        self.last_out_s: tuple[float, float] | None = None  # when it was lifted and came back, the last time it did
        self.skimmed_s: float | None = None
        self.added_s: float | None = None
        self._added_kg = 0.0
        self.unweighed = False  # of some of what was added nobody said how much
        self.dips = 0
        self._put_off: dict[str, float] = {}  # call kind -> until when a person does not want to hear it

    @property
    def next_index(self) -> int | None:
        """Index of the mould that is next: the first that is left; one that no temperature of the pot serves waits
        behind those that can be poured. None: all are poured."""
        poured = set(self._went.values())
        left = [index for index, mould in enumerate(self.plan.moulds) if mould.name not in poured]
        served = (index for index in left if no_aim(self.plan.moulds[index], self.plan) is None)
        return next(served, left[0] if left else None)

    @property
    def left(self) -> tuple[str, ...]:
        """Names of moulds that got no metal yet, in order."""
        return tuple(mould.name for mould in self.to_pour)

    @property
    def has_poured(self) -> bool:
        """Metal went into a mould, as far as the record knows."""
        return bool(self._went)

    @property
    def next_number(self) -> int:
        """Number of the pour that is next; that of one that turned out to be none is not given again."""
        return self._numbers + 1

    # -- what happened, each written here alone ------------------------------------------------------------------------

    def change(self, plan: MeltPlan, next_lift_s: float | None = None) -> None:
        """Another alloy, mass or mould list; or, since that moment, the moulds that are left for a lift of their own.

        Whatever another change is made from, the lifts are as many as before.
        """
        if next_lift_s is None:
            next_lift_s, _ = self._plans.pop()
        self._plans.append((next_lift_s, plan))
        self.plan = plan

    def planned(self, name: str, at_s: float) -> MouldPlan | None:
        """The mould as it was planned for the lift of a moment, else as it is now; None: there is none of that name."""
        then = next(plan for since_s, plan in reversed(self._plans) if since_s <= at_s)
        return next((mould for plan in (then, self.plan) for mould in plan.moulds if mould.name == name), None)

    def lift(self, lift_s: float, *, proposed: bool) -> None:
        """The pot left the furnace; proposed: as the trace or a pour says, to be corrected."""
        self.lift_s, self.lift_proposed = lift_s, proposed

    def withdraw_lift(self) -> None:
        """It was not lifted after all."""
        self.lift_s, self.lift_proposed = None, False

    def return_pot(self, at_s: float) -> None:
        """The pot stands in the furnace again. What was read of its metal before then tells nothing of it now."""
        if self.lift_s is not None:
            self.last_out_s = self.lift_s, at_s
        self.withdraw_lift()

    @property
    def back_s(self) -> float:
        """Since when the metal stands in the furnace for good: only what was read of it since then counts."""
        return -math.inf if self.last_out_s is None else self.last_out_s[1]

    def skim(self, at_s: float) -> None:
        """The bath was skimmed."""
        self.skimmed_s = at_s

    def add_metal(self, at_s: float, mass_kg: float | None) -> None:
        """Cold metal went in."""
        self.added_s = at_s
        self._added_kg += mass_kg or 0.0
        self.unweighed = self.unweighed or mass_kg is None

    @property
    def in_kg(self) -> float | None:
        """What went in and was weighed: the charge, and what was added beyond what of it was to come later.

        None: the charge is not known. `unweighed`: it is the least that went in.
        """
        plan = self.plan
        stated = plan.charge_kg > 0.0 and (plan.asked is None or plan.asked.charge_kg > 0.0)
        if not stated:
            return None
        return plan.charge_kg + max(0.0, self._added_kg - plan.later_kg)

    def worked(self, mono_s: float) -> bool:
        """Skimmed, or metal added, so short a while ago that the bath is not at rest."""
        return any(at_s is not None and 0.0 <= mono_s - at_s < WORK_S for at_s in (self.skimmed_s, self.added_s))

    def count_dip(self) -> int:
        """Number of a dip that is over."""
        self.dips += 1
        return self.dips

    def dipped_before(self, number: int) -> None:
        """Number of the last dip before the daemon was away."""
        self.dips = number

    def poured_before(self, numbers: Sequence[int], at_s: float) -> None:
        """Pours from before the daemon was away that are of the lift which goes on; all others are of earlier ones."""
        self._poured_s.update(dict.fromkeys(numbers, at_s))

    def recorded_before(self, at_utc_s: Sequence[tuple[int, float]]) -> None:
        """When the pours from before the daemon was away were, by the record."""
        self._at_utc_s.update(at_utc_s)

    def put_off(self, kind: str, until_s: float) -> None:
        """A person does not want to hear a call until then."""
        self._put_off[kind] = until_s

    def not_now(self, mono_s: float) -> frozenset[str]:
        """Kinds of calls that a person put off and does not want to hear yet."""
        return frozenset(kind for kind, until_s in self._put_off.items() if mono_s < until_s)

    def add(self, pour: Pour) -> None:
        """Metal went into a mould."""
        self.pours.append(pour)
        self._went[pour.number] = pour.mould
        self._poured_s[pour.number], self._at_utc_s[pour.number] = pour.at_mono_s, pour.at_utc_s
        self._numbers = max(self._numbers, pour.number)

    def correct(self, number: int, mould: str, figures: PourFigures | None = None, at_s: float | None = None) -> bool:
        """A pour went into another mould, or (mould empty) was none. False: there is no pour of that number.

        figures: as the record has it now; None: the same metal, less the loss on the way to that mould. at_s: when it
        was, by this clock; that of the figures is the clock of the session that marked it.
        """
        if not 1 <= number <= self._numbers:
            return False
        self._went.pop(number, None)
        if mould:
            self._went[number] = mould
        if figures is not None:
            self._poured_s[number] = self._moment_s(number, figures, at_s)
            self._at_utc_s[number] = figures.at_utc_s
        self.pours = [
            self._corrected(pour, mould, figures) if pour.number == number else pour
            for pour in self.pours
            if mould or pour.number != number
        ]
        return True

    def _moment_s(self, number: int, figures: PourFigures, at_s: float | None) -> float:
        """When a pour was, as it was put right; the lift that it was of stays its own, unless another time was told."""
        before_s, before_utc_s = self._poured_s.get(number, -math.inf), self._at_utc_s.get(number)
        later_s = 0.0 if before_utc_s is None else figures.at_utc_s - before_utc_s
        if at_s is None or (before_utc_s is not None and abs(later_s) < TWO_CLOCKS_S):
            return before_s
        if any(pour.number == number for pour in self.pours):
            return before_s + later_s
        of_lift = self.lift_s is not None and at_s >= self.lift_s - TWO_CLOCKS_S
        return max(at_s, self.lift_s) if of_lift and self.lift_s is not None else at_s

    def _corrected(self, pour: Pour, mould: str, figures: PourFigures | None) -> Pour:
        """Everything that hangs on the mould, or that the record has otherwise now."""
        if figures is not None:
            return msgspec.structs.replace(pour, mould=mould, **msgspec.structs.asdict(figures))
        plan = self.planned(mould, pour.at_mono_s)
        if plan is None:
            return msgspec.structs.replace(pour, mould=mould)
        lip_c, lip_u_c, basis = pour.lip_temp_c, pour.lip_u_c, pour.basis
        if pour.pot_temp_c is not None and pour.pot_u_c is not None:
            lip_c, lip_u_c = self.lip_at(
                plan, pour.pot_temp_c, pour.pot_u_c, pour.lift_mono_s, pour.at_mono_s, read_in_hand_s(pour)
            )
            way_c = pour.pot_temp_c - lip_c
            basis = tell("pour.basis.other_mould", pot_c=pour.pot_temp_c, mould=plan.name, way_difference_c=way_c)
        return msgspec.structs.replace(
            pour,
            mould=plan.name,
            setup=plan.setup,
            lip_temp_c=lip_c,
            lip_u_c=lip_u_c,
            lip_min_c=plan.lip_min_c,
            lip_max_c=plan.lip_max_c,
            basis=basis,
        )

    @property
    def next_mould(self) -> MouldPlan | None:
        """The mould that is next."""
        index = self.next_index
        return None if index is None else self.plan.moulds[index]

    @property
    def tap_window_c(self) -> tuple[float, float]:
        """Of the mould that is next; with none left, of the last one (ingots want the same metal)."""
        plan = self.plan
        mould = self.next_mould or (plan.moulds[-1] if plan.moulds else None)
        if mould is None:
            return plan.alloy.pour_min_c, min(plan.alloy.pour_max_c, plan.aim_limit.aim_limit_c)
        return tap_window_c(mould, plan)

    @property
    def to_pour(self) -> tuple[MouldPlan, ...]:
        """Moulds that got no metal yet, in order."""
        poured = set(self._went.values())
        return tuple(mould for mould in self.plan.moulds if mould.name not in poured)

    def poured_earlier(self, mono_s: float) -> tuple[str, ...]:
        """Moulds that have metal of a lift that is over, in order: what is left is poured from a lift of its own."""
        since_s = self.lift_s if self.lift_s is not None and self.lifted(mono_s) else math.inf
        then = {mould for number, mould in self._went.items() if self._poured_s.get(number, -math.inf) < since_s}
        return tuple(mould.name for mould in self.plan.moulds if mould.name in then)

    @property
    def aim_c(self) -> float:
        """Where to bring the pot for all that is left to pour, as the plan has it; where no mould is left, or none that
        any temperature serves, as hot as the window of what is next allows."""
        low_c, high_c = self.tap_window_c
        wanted_c = aim_c(self.plan, self.to_pour)
        return min(0.5 * (low_c + high_c), high_c) if wanted_c is None else wanted_c

    @property
    def poured_since_lift(self) -> bool:
        """Metal has been poured from this lift."""
        lift_s = self.lift_s
        return lift_s is not None and any(self._poured_s.get(number, -math.inf) >= lift_s for number in self._went)

    def lifted(self, mono_s: float) -> bool:
        """The pot is out of the furnace; after a quarter of an hour a lift that nobody took back is over."""
        return self.lift_s is not None and mono_s - self.lift_s < LIFT_LASTS_S

    def lip_at(
        self,
        mould: MouldPlan,
        pot_c: float,
        pot_u_c: float,
        lift_s: float | None,
        at_s: float,
        read_s: float | None = None,
    ) -> tuple[float, float]:
        """Predicted temperature and U at the lip. Later moulds of one lift wait longer and lose more.

        read_s: when the pot was at that temperature, where that was after the lift; part of the way is behind it then.
        """
        way_s, way_c = way_left(mould, lift_s, read_s)
        lip_c, behind_c = pot_c - way_c, mould.loss_c - way_c
        from_s = lift_s if lift_s is None or read_s is None else max(lift_s, read_s)
        waited = waited_s(mould, lift_s, at_s) if from_s is None else max(0.0, at_s - from_s - way_s)
        extra_c = waiting_loss_c(mould, lip_c, waited)
        return lip_c - extra_c, math.hypot(pot_u_c, mould.loss_u_c, 0.5 * extra_c, 0.5 * behind_c)

    def _metal_of_lift(
        self, history: MetalHistory, mould: MouldPlan, lift_s: float, at_s: float
    ) -> HistoryPoint | None:
        """The newest figure of the metal of a lift, by a moment: one read in the hand, else as it left the furnace."""
        in_hand = history.read_between(lift_s, at_s)
        if in_hand is not None:
            return in_hand
        known = self._known_at(history, lift_s)
        if known is not None and lift_s - known.at_s <= KNOWN_S:
            return known
        return self._briefly_back(history, mould, lift_s)

    def _briefly_back(self, history: MetalHistory, mould: MouldPlan, lift_s: float) -> HistoryPoint | None:
        """The metal at a lift right after the pot came back, nothing read meanwhile: what it was at before, less what
        it lost in the open. None: it was in longer, or nothing was known before."""
        if self.last_out_s is None or not 0.0 <= lift_s - self.last_out_s[1] <= BRIEFLY_S:
            return None
        out_s, back_s = self.last_out_s
        before = history.read_between(out_s, back_s) or history.at(out_s)
        if before is None or lift_s - before.at_s > KNOWN_S:
            return None
        open_s = back_s - max(before.at_s, out_s)
        lost_c = waiting_loss_c(mould, before.temp_c, open_s)
        u_c = math.hypot(before.u_c, 0.5 * lost_c, BACK_U_C_PER_MIN * (lift_s - back_s) / 60.0)
        how = tell("figure.briefly_back", how=before.how, open_s=open_s)
        return HistoryPoint(lift_s, before.temp_c - lost_c, u_c, how, before.source, before.read_u_c)

    def _known_at(self, history: MetalHistory, at_s: float) -> HistoryPoint | None:
        """The last figure not later than a moment, of the metal as it stood: none from before it was out and back."""
        known = history.at(at_s)
        return None if known is None or known.at_s <= self.back_s < at_s else known

    def _lift_of(self, history: MetalHistory, at_s: float) -> float | None:
        """The lift that a pour of a moment was made from; None: of none that is known."""
        if self.last_out_s is not None and self.last_out_s[0] <= at_s < self.last_out_s[1]:
            return self.last_out_s[0]  # told after the pot was back
        if self.lift_s is None or self.lift_s > at_s:
            return None
        known = self._known_at(history, at_s)
        back = known is not None and at_s - known.at_s <= KNOWN_S and not self.lifted(at_s)  # after an old lift
        return None if back else self.lift_s

    def read_since_lift(self, history: MetalHistory, at_s: float) -> bool:
        """The metal was read apart after the lift: what is lifted next need not be the metal of that lift."""
        return self.lift_s is not None and history.read_between(self.lift_s, at_s, apart=True) is not None

    def pot_in_hand_c(self, history: MetalHistory, mono_s: float) -> float | None:
        """What the metal of the pot that is out is at about, by its last figure and what it lost since."""
        after = self.after_lift(history, mono_s)
        return None if after is None or after.lip_c is None else after.lip_c + after.way_c

    def perhaps_back(self, mono_s: float, *, stands_in_metal: bool) -> bool:
        """Nobody said that the pot is back, but its probe stands in metal long after the lift, or it is out for longer
        than any pot: a person is asked."""
        if self.lift_s is None:
            return False
        return not self.lifted(mono_s) or (stands_in_metal and mono_s - self.lift_s > ASK_BACK_S)

    def after_lift(self, history: MetalHistory, mono_s: float) -> AfterLift | None:
        """With the pot in the hand: what would arrive in the next mould now; None: no lift, or no mould is left."""
        mould = self.next_mould
        if self.lift_s is None or mould is None:
            return None
        known = self._metal_of_lift(history, mould, self.lift_s, mono_s)
        if known is None:
            return AfterLift(mould=mould)
        low_c, high_c = lip_window_c(mould, self.plan)
        lip_c, u_c = self.lip_at(mould, known.temp_c, known.u_c, self.lift_s, mono_s, known.at_s)
        way_s, way_c = way_left(mould, self.lift_s, known.at_s)
        planned_c, to_go_s = known.temp_c - way_c, way_s - (mono_s - max(self.lift_s, known.at_s))
        cold_s, cool_s = waiting_time_s(mould, planned_c, low_c), waiting_time_s(mould, planned_c, high_c)
        left_s = None if cold_s is None else cold_s + to_go_s
        if lip_c < low_c:  # by the plan it is so from the lift on: no part of the way is time that is left
            left_s = min(0.0, left_s or 0.0)
        return AfterLift(
            mould=mould,
            lip_c=lip_c,
            u_c=u_c,
            way_c=way_c,
            left_s=left_s,
            too_hot=lip_c > high_c,
            too_hot_s=None if cool_s is None or lip_c <= high_c else max(0.0, cool_s + to_go_s),
        )

    def pour(
        self,
        mould: MouldPlan,
        history: MetalHistory,
        at_s: float,
        at_utc_s: float,
        ago_s: float,
        number: int,
        *,
        maybe_on_until_s: float = -math.inf,
    ) -> Pour:
        """The record of a pour that happened at `at_s`.

        maybe_on_until_s: when the power was last not known to be off; by that a figure from before ages.
        """
        lift_s, known = self._lift_of(history, at_s), self._known_at(history, at_s)
        if lift_s is not None:
            known = self._metal_of_lift(history, mould, lift_s, at_s)
        pot_c = pot_u_c = lip_c = lip_u_c = None
        basis, source = tell("pour.basis.unknown"), PourSource(figure=FigureSource.NONE)
        at_lift = lift_s is not None and known is not None and known.at_s <= lift_s
        stale_s = 0.0 if known is None else (lift_s if at_lift and lift_s is not None else at_s) - known.at_s
        if known is not None and (lift_s is not None or stale_s <= KNOWN_S):
            pot_c, pot_u_c = known.temp_c, known.u_c
            if stale_s > STALE_S and (at_lift or lift_s is None):  # in the furnace it went on as the power had it
                pot_u_c = aged_u_c(known.u_c, known.at_s, known.at_s + stale_s, maybe_on_until_s)
            lip_c, lip_u_c = self.lip_at(mould, pot_c, pot_u_c, lift_s, at_s, known.at_s)
            source = msgspec.structs.replace(known.source, at_lift=at_lift, stale_s=stale_s)
            basis = tell(
                "pour.basis.at_lift" if at_lift else "pour.basis.at_pour",
                pot_c=pot_c,
                how=known.how,
                way_difference_c=pot_c - lip_c,
            )
            if stale_s > STALE_S:
                basis = tell("pour.basis.stale", basis=basis, stale_s=stale_s)
        return Pour(
            number=number,
            mould=mould.name,
            setup=mould.setup,
            at_mono_s=at_s,
            at_utc_s=at_utc_s,
            marked=Marking.AFTERWARDS if ago_s > LIVE_WITHIN_S else Marking.LIVE,
            pot_temp_c=pot_c,
            pot_u_c=pot_u_c,
            lip_temp_c=lip_c,
            lip_u_c=lip_u_c,
            lip_min_c=mould.lip_min_c,
            lip_max_c=mould.lip_max_c,
            basis=basis,
            lift_mono_s=lift_s,
            source=source,
        )


def read_in_hand_s(pour: Pour) -> float | None:
    """When the figure behind a pour was read, where the pot was in the hand by then; None: it was not."""
    source = pour.source
    if pour.lift_mono_s is None or source is None or source.at_lift:
        return None
    return max(pour.lift_mono_s, pour.at_mono_s - source.stale_s)
