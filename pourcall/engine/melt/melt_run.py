"""One melt while it runs. Plan, marks, lift and pours; what a pour is worth on the record."""

import math
from collections.abc import Sequence

import msgspec

from pourcall.contract.events import FigureSource, Marking, Pour, PourSource
from pourcall.contract.inputs import PowerLevel
from pourcall.contract.message import tell
from pourcall.contract.plan import MeltPlan, MouldPlan, tap_window_c, waited_s
from pourcall.engine.bath.metal import MetalHistory

LIFT_LASTS_S = 900.0
KNOWN_S = 180.0  # an older figure says nothing of the metal that was poured


class MeltRun:
    """The running melt. Times are monotonic seconds."""

    def __init__(self, plan: MeltPlan, mono_s: float, before: Sequence[tuple[int, str]] = ()) -> None:
        """before: pours before the daemon was away, number and mould; no mould: it was no pour."""
        self.plan = plan
        self.began_s = mono_s
        self.pours: list[Pour] = []  # since then
        self._went = {number: mould for number, mould in before if mould}  # number of a pour -> mould it went into
        self._numbers = max((number for number, _ in before), default=0)  # given so far; none is given twice
        self.lift_s: float | None = None
        self.lift_proposed = False
        self.skimmed_s: float | None = None
        self.added_s: float | None = None
        self.dips = 0
        self.not_now: dict[str, float] = {}  # call kind -> until when a person does not want to hear it

    @property
    def next_index(self) -> int | None:
        """Index of the mould that is next; None: all are poured."""
        poured = set(self._went.values())
        for index, mould in enumerate(self.plan.moulds):
            if mould.name not in poured:
                return index
        return None

    @property
    def next_number(self) -> int:
        """Number of the pour that is next; that of one that turned out to be none is not given again."""
        return self._numbers + 1

    def add(self, pour: Pour) -> None:
        """Metal went into a mould."""
        self.pours.append(pour)
        self._went[pour.number] = pour.mould
        self._numbers = max(self._numbers, pour.number)

    def correct(self, number: int, mould: str) -> bool:
        """A pour went into another mould, or (mould empty) was none. False: there is no pour of that number."""
        if not 1 <= number <= self._numbers:
            return False
        self._went.pop(number, None)
        if mould:
            self._went[number] = mould
        self.pours = [
            msgspec.structs.replace(pour, mould=mould or pour.mould) if pour.number == number else pour
            for pour in self.pours
            if mould or pour.number != number
        ]
        return True

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
            return plan.alloy.pour_min_c, min(plan.alloy.pour_max_c, plan.lowest_limit.limit_c)
        return tap_window_c(mould, plan)

    def lifted(self, mono_s: float) -> bool:
        """The pot is out of the furnace and not every mould is poured, or has just been."""
        return self.lift_s is not None and mono_s - self.lift_s < LIFT_LASTS_S

    def lip_at(
        self, mould: MouldPlan, pot_c: float, pot_u_c: float, lift_s: float | None, at_s: float
    ) -> tuple[float, float]:
        """Predicted temperature and U at the lip. Later moulds of one lift wait longer and lose more."""
        extra_s = waited_s(mould, lift_s, at_s)
        extra_c = mould.loss_c / mould.loss_s * extra_s
        return pot_c - mould.loss_c - extra_c, math.hypot(pot_u_c, mould.loss_u_c, 0.5 * extra_c)

    def countdown_s(self, history: MetalHistory, mono_s: float) -> float | None:
        """After the lift: seconds until the metal would arrive too cold for the mould that is next."""
        mould = self.next_mould
        if self.lift_s is None or mould is None:
            return None
        at_lift = history.at(self.lift_s)
        if at_lift is None or mould.loss_c <= 0.0:
            return None
        spare_c = at_lift.temp_c - mould.loss_c - mould.lip_min_c
        return spare_c / (mould.loss_c / mould.loss_s) + mould.loss_s - (mono_s - self.lift_s)

    def pour(
        self, mould: MouldPlan, history: MetalHistory, at_s: float, at_utc_s: float, ago_s: float, number: int
    ) -> Pour:
        """The record of a pour that happened at `at_s`."""
        lift_s = self.lift_s if self.lift_s is not None and self.lift_s <= at_s else None
        known = history.at(at_s if lift_s is None else lift_s)
        pot_c = pot_u_c = lip_c = lip_u_c = None
        basis, source = tell("pour.basis.unknown"), PourSource(figure=FigureSource.NONE)
        stale_s = 0.0 if known is None else (at_s if lift_s is None else lift_s) - known.at_s
        if known is not None and stale_s <= KNOWN_S:
            pot_c, pot_u_c = known.temp_c, known.u_c
            lip_c, lip_u_c = self.lip_at(mould, pot_c, pot_u_c, lift_s, at_s)
            at_lift = lift_s is not None
            source = msgspec.structs.replace(known.source, at_lift=at_lift, stale_s=stale_s)
            basis = tell(
                "pour.basis.at_lift" if at_lift else "pour.basis.at_pour",
                pot_c=pot_c,
                how=known.how,
                way_difference_c=pot_c - lip_c,
            )
            if stale_s > 5.0:
                basis = tell("pour.basis.stale", basis=basis, stale_s=stale_s)
        return Pour(
            number=number,
            mould=mould.name,
            setup=mould.setup,
            at_mono_s=at_s,
            at_utc_s=at_utc_s,
            marked=Marking.AFTERWARDS if ago_s > 0.0 else Marking.LIVE,
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


class PowerKnob:
    """What is known of the power: a person's marks, or what a board reports."""

    def __init__(self) -> None:
        self.level: PowerLevel | None = None
        self.applied_permille: int | None = None
        self.on_since_s: float | None = None

    def mark(self, level: PowerLevel, at_s: float) -> None:
        """A person set the knob."""
        was_on = self.level in (PowerLevel.LOW, PowerLevel.HIGH)
        self.level = level
        if level is PowerLevel.OFF:
            self.on_since_s = None
        elif not was_on:
            self.on_since_s = at_s

    def report(self, applied_permille: int, at_s: float) -> None:
        """A board reports what it applies."""
        self.applied_permille = applied_permille
        if applied_permille > 0 and self.on_since_s is None:
            self.on_since_s = at_s
        elif applied_permille == 0 and self.level is None:
            self.on_since_s = None

    @property
    def off(self) -> bool:
        """Known to be off."""
        if self.level is not None:
            return self.level is PowerLevel.OFF
        return self.applied_permille == 0
