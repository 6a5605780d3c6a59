"""From what a person asks (alloy, charge, moulds) to a plan with every number resolved.

The sheets and the science lie in `metal`; here only the order of precedence: what the request says, then what the
furnace's settings say, then what physics computes for the alloy's family. A change plans again from what was asked,
which stands in the plan, and from what changed: nothing else moves. Sheets are read anew for each plan.
"""

import math
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec

from pourcall.contract.api import ChangeRequest, StartRequest
from pourcall.contract.errors import OutOfRange
from pourcall.contract.furnace_model import FurnaceModel
from pourcall.contract.message import NOTHING, Message, tell
from pourcall.contract.plan import (
    AlloyHalts,
    Asked,
    LossBasis,
    MeltPlan,
    MouldPlan,
    MouldRequest,
    PotLimit,
    StatedFor,
    no_aim,
    tap_window_c,
)
from pourcall.contract.profile_plan import ProfilePlan
from pourcall.contract.reading import Place
from pourcall.contract.settings import Furnace, Settings, Shop

if TYPE_CHECKING:
    from pourcall.metal.alloys.sheet import AlloySheet
    from pourcall.metal.heat.transfer import Carry, Pot
    from pourcall.metal.vapour.ventilation import Air

UNSTATED_CHARGE_KG = 1.0  # where neither the charge nor any mould has a mass; the answer says so
MOVED_C = 0.5  # a window that moved by less shows the same figures
WALL_MM = 10.0  # a small crucible's wall (common practice, no source); only the computed transfer loss uses it


class Planner:
    """Makes plans for the furnaces of one settings file. Blocking (reads sheets): call it off the event loop."""

    def __init__(self, settings: Settings, alloys: Path | None, profiles: Path | None = None) -> None:
        self._settings, self._alloys, self._profiles = settings, alloys, profiles

    def start(self, furnace: str, request: StartRequest, melt: str) -> tuple[MeltPlan, tuple[Message, ...]]:
        """The plan of a new melt, and what to mind about it.

        Raises NotFound for an alloy that is not there, BadSheet for one whose sheet is refused, BadInput or OutOfRange
        for figures that cannot be meant.
        """
        asked = Asked(charge_kg=request.charge_kg, moulds=request.moulds)
        return self._plan(furnace, melt, self._sheet(request.alloy), asked, request.later_kg)

    def change(self, furnace: str, request: ChangeRequest, old: MeltPlan) -> tuple[MeltPlan, tuple[Message, ...]]:
        """The plan of a melt whose alloy, charge or moulds changed; what is None stays as it was asked.

        A window or a loss that somebody stated holds for the alloy it was stated for: for another they are made anew,
        and with that alloy they come back. Which windows moved, and how, is among what to mind.
        """
        from pourcall.metal.plan_checks import plan_conflicts

        if old.asked is None and request.alloy is None and request.moulds is None:  # a plan of an older version:
            charge_kg = old.charge_kg if request.charge_kg is None else request.charge_kg  # its figures stand
            same = msgspec.structs.replace(old, charge_kg=charge_kg)
            return same, plan_conflicts(same)
        sheet = self._sheet(old.alloy.key if request.alloy is None else request.alloy)
        was, mind = _asked_before(old), []
        if sheet.key != old.alloy.key:
            mind = [tell("plan.mind.made_anew", mould=name, alloy=old.alloy.name) for name in _stated(was.moulds)]
            was = _for_alloy(was, old.alloy.key, sheet.key)
            mind += [tell("plan.mind.stated_again", mould=name, alloy=sheet.name) for name in _stated(was.moulds)]
        elif old.alloy.sheet_hash and sheet.sheet_hash != old.alloy.sheet_hash:
            mind = [tell("plan.mind.sheet_edited", alloy=sheet.name)]
        asked = Asked(
            charge_kg=was.charge_kg if request.charge_kg is None else request.charge_kg,
            moulds=was.moulds if request.moulds is None else _changed_moulds(request.moulds, was.moulds),
            set_aside=was.set_aside,
        )
        plan, more = self._plan(furnace, old.melt, sheet, asked, old.later_kg, _as_poured(old, old.poured_earlier))
        return plan, (*mind, *_moved(old, plan), *more)

    def for_next_lift(
        self, furnace: str, old: MeltPlan, poured_earlier: Sequence[str]
    ) -> tuple[MeltPlan, tuple[Message, ...]]:
        """The plan of a melt some of whose moulds are poured from a lift that is over.

        What is left is planned for a lift of its own: counted from the first, of the metal that is left. Nobody changed
        anything: it is made from what was asked. Which windows moved is among what to mind; what was wrong with the
        plan before is not said again.
        """
        if old.asked is None:  # of an older version, or resolved elsewhere: its figures stand
            return as_left(old, poured_earlier), ()
        poured = _as_poured(old, poured_earlier)
        plan, _ = self._plan(furnace, old.melt, self._sheet(old.alloy.key), old.asked, old.later_kg, poured)
        return plan, tuple(_moved(old, plan))

    def halts(self) -> tuple[AlloyHalts, ...]:
        """Where every alloy of the shop halts while it melts: what a wrong charge may be. Gaps are skipped."""
        from pourcall.contract.errors import BadSheet
        from pourcall.metal.alloys.sheet import load_sheets
        from pourcall.thermal_analysis.arrest_check import halts_of

        found = []
        for sheet in load_sheets(self._alloys).all():
            try:
                found.append(halts_of(sheet.facts()))
            except BadSheet:
                continue
        return tuple(found)

    def profile(self, furnace: str, name: str, plan: MeltPlan) -> ProfilePlan:
        """A guided profile with its temperatures for this melt. name empty or "default": the one for the alloy.

        Raises NotFound or BadSheet; one that goes beyond a limit of alloy, pot, furnace or probe is refused by segment.
        """
        from pourcall.contract.one_lift import one_lift, served_moulds
        from pourcall.profiles.library import ProfileLibrary
        from pourcall.profiles.resolve import resolve

        library = ProfileLibrary(self._profiles)
        alloy = plan.alloy
        profile = library.default_for(alloy.key, alloy.family) if name in ("", "default") else library.get(name)
        low_c, high_c = alloy.pour_min_c, min(alloy.pour_max_c, plan.aim_limit.aim_limit_c)
        own = self._settings.furnace[furnace]
        served = served_moulds(plan)
        if served:  # of moulds that no pot serves nothing is aimed for: what is left for the metal is ingots
            wanted, first = one_lift(plan, served), tap_window_c(served[0], plan)
            low_c, high_c = wanted if wanted.suits else first
        rating = PotLimit(limit_c=own.rating_c, whose="furnace", why=tell("plan.furnace_rated"))
        return resolve(profile, alloy, (low_c, high_c), [*plan.limits, rating])

    def usual(self, furnace: str) -> FurnaceModel:
        """What the settings alone say of a furnace nothing was learned of."""
        from pourcall.furnace.model import usual_model
        from pourcall.thermometry.sheaths import SHEATHS

        own = self._settings.furnace[furnace]
        probes = [probe for probe in self._settings.probe.values() if probe.furnace == furnace]
        in_metal = [probe for probe in probes if probe.place in (Place.MELT, Place.DIP)]
        sheath = SHEATHS[in_metal[0].sheath].tau_metal_s if in_metal else 4.2
        return usual_model(
            furnace,
            kind=own.kind,
            power_w=own.power_w,
            rating_c=own.rating_c,
            pot_kg=own.pot.mass_kg,
            sheath_s=sheath,
        )

    def _sheet(self, alloy: str) -> "AlloySheet":
        from pourcall.metal.alloys.sheet import load_sheets

        return load_sheets(self._alloys).get(alloy)

    def _plan(
        self,
        furnace: str,
        melt: str,
        sheet: "AlloySheet",
        asked: Asked,
        later_kg: float,
        poured_earlier: Sequence[MouldPlan] = (),
    ) -> tuple[MeltPlan, tuple[Message, ...]]:
        from pourcall.metal.plan_checks import plan_conflicts, plan_minds
        from pourcall.metal.windows import melt_plan

        charge_kg, assumed = _charge(asked)
        if not 0.0 <= later_kg < charge_kg:
            raise OutOfRange(
                tell("charge_plan.wrong.later", later_kg=later_kg, charge_kg=charge_kg),
                remedy=tell("charge_plan.wrong.later.remedy"),
            )
        own = self._settings.furnace[furnace]
        plan = melt_plan(
            melt,
            sheet,
            charge_kg,
            asked.moulds,
            loss_c=own.transfer_loss_c,
            pot=pot_of(own),
            carry=carry_of(own),
            air=air_of(self._settings.shop),
            pot_rating_c=own.pot.rating_c,
            probe_rating_c=probe_rating_c(self._settings, furnace),
            poured_earlier=poured_earlier,
        )
        plan = msgspec.structs.replace(plan, later_kg=later_kg, asked=asked)
        return plan, (*((assumed,) if assumed else ()), *plan_conflicts(plan), *plan_minds(plan))


def as_left(old: MeltPlan, poured_earlier: Sequence[str]) -> MeltPlan:
    """What is left, for a lift of its own, where it cannot be planned again: the losses stay those of the lift before.

    Only a mould that was to have a lift of its own and is the first now gets its loss in that: it would have no aim
    for ever. Those behind it may want one more.
    """
    earlier = tuple(mould.name for mould in old.moulds if mould.name in poured_earlier)
    plan = msgspec.structs.replace(old, poured_earlier=earlier)
    first = next(iter(plan.for_this_lift), None)
    if first is None or first.own_lift_loss_c is None:
        return plan
    own = _in_its_own_lift(first, first.own_lift_loss_c, plan)
    return msgspec.structs.replace(plan, moulds=tuple(own if mould is first else mould for mould in plan.moulds))


def _in_its_own_lift(mould: MouldPlan, loss_c: float, plan: MeltPlan) -> MouldPlan:
    """The parts of that loss are not known; its time is that of whichever mould was the first of a lift."""
    share = loss_c / mould.loss_c if mould.loss_c > 0.0 else 1.0
    stated = mould.way is None or mould.way.basis is LossBasis.STATED
    return msgspec.structs.replace(
        mould,
        loss_c=loss_c,
        loss_u_c=math.hypot(mould.loss_u_c, 0.5 * (mould.loss_c - loss_c)) if stated else share * mould.loss_u_c,
        loss_s=min(one.loss_s for one in plan.moulds),
        turn_s=min((one.turn_s for one in plan.moulds if one.turn_s is not None), default=None),
        own_lift_loss_c=None,
        way=None,
        why=tell("plan.mould.own_lift_after_all", why=mould.why, loss_difference_c=loss_c),
    )


def _as_poured(old: MeltPlan, names: Sequence[str]) -> tuple[MouldPlan, ...]:
    """The moulds of those names as they were planned."""
    return tuple(mould for mould in old.moulds if mould.name in names)


def _asked_before(old: MeltPlan) -> Asked:
    """What a plan was made from; of a plan of an older version, what its moulds are, without how they were judged."""
    if old.asked is not None:
        return old.asked
    moulds = tuple(
        MouldRequest(
            name=mould.name,
            setup=mould.setup,
            mass_kg=mould.mass_kg,
            thinnest_mm=mould.thinnest_mm,
            material=mould.material,
        )
        for mould in old.moulds
    )
    return Asked(charge_kg=old.charge_kg, moulds=moulds)


_WINDOW = ("lip_min_c", "lip_max_c", "window_learned", "window_same_probe")
_LOSS = ("loss_c", "loss_u_c")


def _stated(moulds: Sequence[MouldRequest]) -> list[str]:
    """Names of those for which somebody stated a window or a loss."""
    return [mould.name for mould in moulds if mould.lip_min_c is not None or mould.loss_c is not None]


def _for_alloy(was: Asked, old: str, new: str) -> Asked:
    """What was asked, for another alloy: what was stated for the old one is set aside, for the new one taken up."""
    aside = {one.alloy: one.moulds for one in was.set_aside}
    if _stated(was.moulds):
        aside[old] = was.moulds
    back = {mould.name: mould for mould in aside.pop(new, ())}
    return msgspec.structs.replace(
        was,
        moulds=tuple(_restated(_unstated(mould), back.get(mould.name)) for mould in was.moulds),
        set_aside=tuple(StatedFor(alloy=alloy, moulds=moulds) for alloy, moulds in aside.items()),
    )


def _restated(mould: MouldRequest, before: MouldRequest | None) -> MouldRequest:
    """The mould with the window and the loss that were once stated for it and this alloy."""
    given = {} if before is None else _given(before)
    stated = {key: value for key, value in given.items() if key in (*_WINDOW, *_LOSS)}
    return MouldRequest(name=mould.name, **{**_given(mould), **stated})


def _moved(old: MeltPlan, new: MeltPlan) -> list[Message]:
    """Windows in the pot that are not where they were; of moulds that are in both plans."""
    before = {mould.name: tap_window_c(mould, old) for mould in old.moulds}
    unserved = {mould.name for mould in old.moulds if no_aim(mould, old) is not None}
    found = []
    for mould in new.for_this_lift:
        was, now = before.get(mould.name), tap_window_c(mould, new)
        if was is None or no_aim(mould, new) is not None:  # a new mould; or none that a pot serves: said by itself
            continue
        if mould.name in unserved:
            found.append(tell("plan.mind.window_now", mould=mould.name, lowest_c=now[0], highest_c=now[1]))
            continue
        if max(abs(a - b) for a, b in zip(was, now, strict=True)) < MOVED_C:
            continue
        found.append(
            tell(
                "plan.mind.window_moved",
                mould=mould.name,
                lowest_c=now[0],
                highest_c=now[1],
                was_lowest_c=was[0],
                was_highest_c=was[1],
            )
        )
    return found


def _unstated(mould: MouldRequest) -> MouldRequest:
    """The mould without the window and the loss that were stated for it."""
    kept = {key: value for key, value in _given(mould).items() if key not in (*_WINDOW, *_LOSS)}
    return MouldRequest(name=mould.name, **kept)


def _changed_moulds(wanted: Sequence[MouldRequest], were: Sequence[MouldRequest]) -> tuple[MouldRequest, ...]:
    """The moulds as they are now wanted; what is not given of one that was planned stays as it was asked."""
    by_name = {mould.name: mould for mould in were}
    changed = []
    for mould in wanted:
        given, kept = _given(mould), _given(by_name.get(mould.name, mould))
        for together in (_WINDOW, _LOSS):  # a new window is not "learned" because the old one was
            if any(key in given for key in together):
                kept = {key: value for key, value in kept.items() if key not in together}
        changed.append(MouldRequest(name=mould.name, **{**kept, **given}))
    return tuple(changed)


def _given(mould: MouldRequest) -> dict[str, Any]:
    """The fields that somebody gave, the name aside."""
    blank = MouldRequest(name=mould.name)
    told = {key: getattr(mould, key) for key in MouldRequest.__struct_fields__}
    return {key: value for key, value in told.items() if value != getattr(blank, key)}


def pot_of(furnace: Furnace) -> "Pot":
    """A furnace's pot as the settings describe it, for the loss on the way."""
    from pourcall.metal.heat.transfer import Pot

    return Pot(
        mouth_mm=furnace.pot.mouth_mm,
        outside_mm=furnace.pot.mouth_mm + 2.0 * WALL_MM,
        height_mm=furnace.pot.height_mm,
        mass_kg=max(0.05, furnace.pot.mass_kg),
    )


def carry_of(furnace: Furnace) -> "Carry":
    """The way to the moulds: its seconds, and what this shop measured on it."""
    from pourcall.metal.heat.transfer import Carry

    return Carry(walk_s=furnace.walk_s, fitted_c_per_s=furnace.lifted_c_per_s)


def air_of(shop: Shop) -> "Air":
    """The air that takes up the fume."""
    from pourcall.metal.vapour.ventilation import OUTDOORS, Air, under_extraction

    if shop.air == "outdoors":
        return OUTDOORS
    air = Air(volume_m3=shop.volume_m3, changes_per_h=shop.air_changes_per_h)
    return under_extraction(air) if shop.air == "extraction" else air


def probe_rating_c(settings: Settings, furnace: str) -> float | None:
    """The lowest rating of the probes that go into this furnace's metal; None: there is none."""
    in_metal = [
        probe.rating_c
        for probe in settings.probe.values()
        if probe.furnace == furnace and probe.place in (Place.MELT, Place.DIP)
    ]
    return min(in_metal, default=None)


def _charge(asked: Asked) -> tuple[float, Message]:
    """The mass to calculate with, and what to mind where nobody gave one."""
    if asked.charge_kg > 0.0:
        return asked.charge_kg, NOTHING
    needed_kg = sum(mould.mass_kg for mould in asked.moulds)
    if needed_kg > 0.0:
        return needed_kg, tell("plan.mind.charge_of_moulds", needed_kg=needed_kg)
    return UNSTATED_CHARGE_KG, tell("plan.mind.charge_assumed", charge_kg=UNSTATED_CHARGE_KG)
