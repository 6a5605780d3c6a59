"""The pour window at the mould's lip, the pot's limits, and the melt plan that the engine follows.

Window: the sheet's, by thinnest section (thin: upper part, thick: lower part) and mould material, never below the
liquidus plus the sheet's margin, raised by what filling asks for, replaced by what the shop has learned. The pot's
limits stand apart: no loss on the way raises them. All temperatures in degC.
"""

import math
from collections.abc import Mapping, Sequence
from typing import NamedTuple

import msgspec

from pourcall.contract.errors import BadInput, OutOfRange
from pourcall.contract.message import Message, tell
from pourcall.contract.nearest import did_you_mean
from pourcall.contract.plan import (
    Asked,
    LossBasis,
    MeltPlan,
    MouldPlan,
    MouldRequest,
    PotLimit,
    Way,
    WindowBasis,
    best_odds,
    no_aim,
)
from pourcall.metal.alloys.sheet import ABOVE_POUR_C, AlloySheet
from pourcall.metal.alloys.sheet_sentences import figures_marked
from pourcall.metal.heat.transfer import Carry, Pot, transfer_loss
from pourcall.metal.vapour.boiling import AIM_CHANCE, keep_off_c
from pourcall.metal.vapour.fume import fume_table
from pourcall.metal.vapour.pressure import BOILING_KNOWN_C
from pourcall.metal.vapour.ventilation import Air

# Shift of the window by mould material, as a share of its width (common practice, no source): a shell of plaster takes
# heat slowly and can be poured cooler, a steel die quickly. Oil and resin sand are taken like green sand.
MATERIAL_SHIFT = {"green_sand": 0.0, "oil_sand": 0.0, "resin_sand": 0.0, "plaster": -0.15, "steel_die": 0.1}
_PROCESS = {"green_sand": "sand", "oil_sand": "sand", "resin_sand": "sand", "plaster": "plaster", "steel_die": "die"}
# Thinnest section usual in the trade, mm (memory: ASM vol. 15 and designers' guides); "other" is taken like zinc.
THINNEST_USUAL_MM = {
    ("sand", "aluminium"): 3.0,
    ("sand", "zinc"): 2.5,
    ("sand", "copper"): 2.5,
    ("sand", "other"): 2.5,
    ("plaster", "aluminium"): 1.0,
    ("plaster", "zinc"): 1.0,
    ("plaster", "copper"): 1.5,
    ("plaster", "other"): 1.0,
    ("die", "aluminium"): 2.5,
    ("die", "zinc"): 1.5,
    ("die", "copper"): 2.5,
    ("die", "other"): 1.5,
}
THICK_MM = {"sand": 25.0, "plaster": 12.0, "die": 15.0}  # from here on the lower part of the window (judgement)
LEAST_WIDTH_C = 20.0
LEAST_C = 1.0  # a window narrower than this is none
USUAL_MATERIAL = "green_sand"
LEAST_LOSS_U_C = 5.0
STATED_LOSS_SHARE = 0.3  # expanded uncertainty of a loss somebody stated


class LipWindow(msgspec.Struct, frozen=True, kw_only=True):
    """Lowest and highest temperature at the lip, how it came about, and what to mind."""

    min_c: float
    max_c: float
    basis: WindowBasis
    why: tuple[Message, ...]
    cautions: tuple[Message, ...] = ()


def check_material(material: str) -> str:
    """The material itself, or BadInput naming the nearest."""
    if material not in MATERIAL_SHIFT:
        told = tell("window.no_material", typed=material, hint=did_you_mean(material, MATERIAL_SHIFT))
        raise BadInput(told, remedy=tell("error.use_one", known=", ".join(MATERIAL_SHIFT)))
    return material


def section_place(sheet: AlloySheet, thinnest_mm: float, material: str) -> float:
    """0 for a thin section, 1 for a thick one, by the logarithm between. Raises OutOfRange for an absurd thickness."""
    if not 0.1 <= thinnest_mm <= 500.0:
        raise OutOfRange(tell("metal.section", thinnest_mm=thinnest_mm), remedy=tell("metal.section.remedy"))
    process = _PROCESS[check_material(material)]
    thin_mm, thick_mm = THINNEST_USUAL_MM[process, sheet.family], THICK_MM[process]
    return min(1.0, max(0.0, math.log(thinnest_mm / thin_mm) / math.log(thick_mm / thin_mm)))


def pour_window(
    sheet: AlloySheet,
    *,
    thinnest_mm: float | None = None,
    material: str = "green_sand",
    fill_min_c: float | None = None,
    own: tuple[float, float] | None = None,
    learned: bool = False,
) -> LipWindow:
    """The window at the lip for one mould.

    `fill_min_c`: lowest temperature that fills it, where known. `own`: the window this shop states for this mould, or
    has `learned` from its pours; it replaces the sheet's, but neither the floor (liquidus plus margin) nor the pot's
    limit: wholly below the one its lower end comes out above its upper, wholly above the other it is left as wanted,
    and no pot serves it (`no_aim`). Raises BadInput or OutOfRange for what cannot be meant.
    """
    check_material(material)
    floor_c, top_c = sheet.liquidus.value + sheet.margin_c, sheet.highest_in_pot_c
    cautions: list[Message] = []
    if own is not None:
        low_c, high_c = own
        if not low_c < high_c:
            told = tell("window.no_width", low_c=low_c, high_c=high_c)
            raise BadInput(told, remedy=tell("window.no_width.remedy"))
        basis = WindowBasis.LEARNED if learned else WindowBasis.STATED
        why = [tell("window.learned" if learned else "window.stated", lowest_c=low_c, highest_c=high_c)]
    else:
        basis = WindowBasis.SHEET
        low_c, high_c, why = _from_sheet(sheet, thinnest_mm, material)
        if fill_min_c is not None and fill_min_c > low_c:
            low_c = fill_min_c
            why.append(tell("window.filling", lowest_c=fill_min_c))
        if thinnest_mm is not None:
            usual_mm = THINNEST_USUAL_MM[_PROCESS[material], sheet.family]
            if thinnest_mm < usual_mm:
                cautions.append(tell("window.thin", thinnest_mm=thinnest_mm, usual_mm=usual_mm))
    if low_c < floor_c:
        low_c = floor_c
        why.append(tell("window.floor", margin_difference_c=sheet.margin_c, lowest_c=floor_c))
    if high_c > top_c and (low_c <= top_c or own is None):
        high_c = top_c
        why.append(tell("window.alloy_limit", highest_c=top_c))
    if high_c - low_c < LEAST_C and own is None:
        cautions.append(tell("window.closes", lowest_c=low_c, highest_c=high_c))
        low_c = max(floor_c, high_c - LEAST_WIDTH_C / 2.0)
        high_c = max(high_c, low_c + LEAST_C)
    return LipWindow(min_c=low_c, max_c=high_c, basis=basis, why=tuple(why), cautions=tuple(cautions))


def _from_sheet(sheet: AlloySheet, thinnest_mm: float | None, material: str) -> tuple[float, float, list[Message]]:
    whole_low, whole_high = sheet.pour_min.value, sheet.pour_max.value
    low_c, high_c = whole_low, whole_high
    why = [tell("window.sheet", alloy=sheet.name, lowest_c=low_c, highest_c=high_c, mark=sheet.pour_min.mark)]
    if thinnest_mm is not None:
        place = section_place(sheet, thinnest_mm, material)
        ends = (sheet.pour_light_min, sheet.pour_light_max, sheet.pour_heavy_min, sheet.pour_heavy_max)
        light_min, light_max, heavy_min, heavy_max = ends
        if light_min is not None and light_max is not None and heavy_min is not None and heavy_max is not None:
            low_c = light_min.value + place * (heavy_min.value - light_min.value)
            high_c = light_max.value + place * (heavy_max.value - light_max.value)
        else:
            width_c = whole_high - whole_low
            part_c = max(width_c / 2.0, min(width_c, LEAST_WIDTH_C))
            low_c = whole_low + (1.0 - place) * (width_c - part_c)
            high_c = low_c + part_c
        why.append(tell("window.section", thinnest_mm=thinnest_mm, lowest_c=low_c, highest_c=high_c))
    shift_c = MATERIAL_SHIFT[material] * (high_c - low_c)
    if shift_c:
        low_c, high_c = max(whole_low, low_c + shift_c), min(whole_high, high_c + shift_c)
        why.append(tell("window.material", material=material, lowest_c=low_c, highest_c=high_c))
    return low_c, high_c, why


def pot_limits(
    sheet: AlloySheet, *, pot_rating_c: float | None = None, probe_rating_c: float | None = None
) -> tuple[PotLimit, ...]:
    """What the pot must not pass, lowest first: boiling, alloy, pot, probe. Raises OutOfRange for an absurd rating."""
    limits = []
    boiling_c = sheet.boiling_limit_c()
    if boiling_c is not None:
        why = tell("alloy.limit.boiling", highest_c=boiling_c, known_difference_c=BOILING_KNOWN_C)
        limits.append(
            PotLimit(limit_c=boiling_c, whose="boiling", why=why, u_c=BOILING_KNOWN_C, keep_off_c=keep_off_c(boiling_c))
        )
    stated = sheet.alloy_max
    if stated is None:
        why = tell("alloy.limit.above_pour", alloy=sheet.name, above_difference_c=ABOVE_POUR_C)
    elif note := figures_marked(stated.note.removeprefix("in the pot: ")):
        why = tell("alloy.limit.note", alloy=sheet.name, note=note, mark=stated.mark)
    else:
        why = tell("alloy.limit.sheet", alloy=sheet.name, mark=stated.mark)
    limits.append(PotLimit(limit_c=sheet.highest_in_pot_c, whose="alloy", why=why))
    for whose, rating_c in (("pot", pot_rating_c), ("probe", probe_rating_c)):
        if rating_c is None:
            continue
        if not 100.0 <= rating_c <= 2000.0:
            told = tell("window.rating", whose=whose, rating_c=rating_c)
            raise OutOfRange(told, remedy=tell("window.rating.remedy", least_c=100.0, most_c=2000.0))
        limits.append(PotLimit(limit_c=rating_c, whose=whose, why=tell("plan.rated", whose=whose, highest_c=rating_c)))
    return tuple(sorted(limits, key=lambda limit: limit.limit_c))


def melt_plan(
    melt_id: str,
    sheet: AlloySheet,
    charge_kg: float,
    moulds: Sequence[MouldRequest],
    *,
    loss_c: float | None = None,
    loss_u_c: float | None = None,
    pot: Pot | None = None,
    carry: Carry | None = None,
    pot_rating_c: float | None = None,
    probe_rating_c: float | None = None,
    fill_min_c: Sequence[float | None] = (),
    air: Air | None = None,
    poured_earlier: Sequence[MouldPlan] = (),
) -> MeltPlan:
    """A melt with every number resolved.

    `poured_earlier`: moulds, as they were planned, that got their metal from a lift that is over; they stay as they
    are, and the others are planned for a lift of their own, of the metal that is left.

    The loss to a mould's lip is the mould's own, else `loss_c` for all, else computed from `pot` and `carry` (both with
    defaults of a small shop) for the mould's place in the order. `fill_min_c` follows the order of the moulds. A plan
    that cannot be poured is made all the same: `plan_conflicts` says what is wrong with it. Raises BadInput, OutOfRange
    and BadSheet.
    """
    if not 0.0 < charge_kg <= 2000.0:
        told = tell("charge_plan.wrong.charge", charge_kg=charge_kg)
        raise OutOfRange(told, remedy=tell("charge_plan.wrong.charge.remedy"))
    names = [mould.name for mould in moulds]
    for name in names:
        if not name.strip() or names.count(name) > 1:
            raise BadInput(tell("window.name", mould=name), remedy=tell("window.name.remedy"))
    limits = pot_limits(sheet, pot_rating_c=pot_rating_c, probe_rating_c=probe_rating_c)
    as_poured = {mould.name: mould for mould in poured_earlier if mould.name in names}
    carried = _Carried(
        charge_kg=_left_kg(charge_kg, sum(mould.mass_kg for mould in as_poured.values())),
        loss_c=loss_c,
        loss_u_c=loss_u_c,
        pot=pot or Pot(),
        carry=carry or Carry(),
    )
    tightest = min(limits, key=lambda limit: limit.aim_limit_c)
    planned: list[MouldPlan] = []
    alone: dict[str, MouldPlan] = {}
    order, poured_kg = 0, 0.0  # of this lift
    for number, mould in enumerate(moulds):
        if mould.name in as_poured:
            planned.append(as_poured[mould.name])
            continue
        floor_c = fill_min_c[number] if number < len(fill_min_c) else None
        place = _Place(order, poured_kg, asked_order=number)
        in_turn, own = _mould_plan(sheet, mould, carried, tightest, place, floor_c)
        planned.append(in_turn)
        if own is not None:
            alone[mould.name] = own
        order, poured_kg = order + 1, poured_kg + mould.mass_kg
    plan = MeltPlan(
        melt=melt_id,
        alloy=sheet.facts(),
        charge_kg=charge_kg,
        moulds=tuple(planned),
        limits=limits,
        fume=fume_table(sheet, air, carried.pot.mouth_mm),
        asked=Asked(charge_kg=charge_kg, moulds=tuple(moulds)),
        poured_earlier=tuple(name for name in names if name in as_poured),
    )
    return _told_apart(plan, alone)


def _left_kg(charge_kg: float, poured_kg: float) -> float:
    """What is left in the pot; of too little there is always some: plan_conflicts says so."""
    return max(0.05 * charge_kg, charge_kg - poured_kg)


class _Carried(msgspec.Struct, frozen=True, kw_only=True):
    """What the loss of every mould of one lift is made of."""

    charge_kg: float  # in the pot as it is lifted
    loss_c: float | None
    loss_u_c: float | None
    pot: Pot
    carry: Carry


class _Place(NamedTuple):
    """Which mould of the lift it is, from 0, what went into those before it, and which it was asked for as."""

    order: int
    poured_kg: float
    asked_order: int


def _mould_plan(
    sheet: AlloySheet,
    mould: MouldRequest,
    carried: _Carried,
    tightest: PotLimit,
    place: _Place,
    fill_min_c: float | None,
) -> "_Planned":
    if not 0.0 <= mould.mass_kg <= 2000.0:
        told = tell("window.mould_mass", mould=mould.name, mass_kg=mould.mass_kg)
        raise OutOfRange(told, remedy=tell("error.figure.remedy"))
    low_c, high_c = mould.lip_min_c, mould.lip_max_c
    if (low_c is None) != (high_c is None):
        raise BadInput(tell("window.one_end", mould=mould.name), remedy=tell("window.one_end.remedy"))
    material = mould.material or USUAL_MATERIAL
    window = pour_window(
        sheet,
        thinnest_mm=mould.thinnest_mm,
        material=material,
        fill_min_c=fill_min_c,
        own=(low_c, high_c) if low_c is not None and high_c is not None else None,
        learned=mould.window_learned,
    )
    loss = _loss(sheet, window, mould, carried, tightest.aim_limit_c, place)
    if place.order == 0 or (mould.loss_c is None and carried.loss_c is not None):  # or one figure is stated for all
        return _Planned(_planned(mould, _fit_to_pot(sheet, window, tightest, loss.loss_c), loss, carried, place), None)
    own = msgspec.structs.replace(carried, charge_kg=_left_kg(carried.charge_kg, place.poured_kg))
    first = _Place(0, 0.0, place.asked_order)
    alone_loss = _loss(sheet, window, mould, own, tightest.aim_limit_c, first)
    alone = _fit_to_pot(sheet, window, tightest, alone_loss.loss_c)
    in_turn = _fit_in_turn(window, alone, tightest, loss.loss_c)
    return _Planned(_planned(mould, in_turn, loss, carried, place), _planned(mould, alone, alone_loss, own, first))


class _Planned(NamedTuple):
    """A mould in its turn, and in a lift of its own; None: it is the first, or loses as much either way."""

    in_turn: MouldPlan
    alone: MouldPlan | None


def _planned(mould: MouldRequest, window: LipWindow, loss: "_Loss", carried: _Carried, place: _Place) -> MouldPlan:
    return MouldPlan(
        name=mould.name,
        setup=mould.setup,
        mass_kg=mould.mass_kg,
        thinnest_mm=mould.thinnest_mm,
        material=mould.material or USUAL_MATERIAL,
        lip_min_c=round(window.min_c, 2),
        lip_max_c=round(window.max_c, 2),
        loss_c=round(loss.loss_c, 2),
        loss_u_c=round(loss.u_c, 2),
        loss_s=_stands_for_s(mould, carried, place.order),
        turn_s=max(1.0, carried.carry.walk_s + place.order * carried.carry.between_s),
        window_same_probe=mould.window_same_probe,
        why=tell("plan.mould.why", parts=(tell("window.why", parts=window.why), loss.why, *window.cautions)),
        window_basis=window.basis,
        way=loss.way,
    )


def _told_apart(plan: MeltPlan, alone: Mapping[str, MouldPlan]) -> MeltPlan:
    """The plan, with the moulds marked that one temperature of the pot does not serve after those before them, while a
    lift of its own serves: by its window, or since it would hardly ever arrive inside."""
    moulds = []
    for mould in plan.moulds:
        own = alone.get(mould.name)
        if own is not None and no_aim(own, plan) is None:
            hardly = best_odds(mould, plan).poor and not best_odds(own, plan).poor
            if no_aim(mould, plan) is not None or hardly:
                mould = msgspec.structs.replace(mould, own_lift_loss_c=own.loss_c)
        moulds.append(mould)
    return msgspec.structs.replace(plan, moulds=tuple(moulds))


def _stands_for_s(mould: MouldRequest, carried: _Carried, order: int) -> float:
    """Seconds from the lift that the loss stands for: a shop's one figure for the walk, all others for this mould."""
    one_for_all = mould.loss_c is None and carried.loss_c is not None
    return max(1.0, carried.carry.walk_s + (0.0 if one_for_all else order * carried.carry.between_s))


def _fit_to_pot(sheet: AlloySheet, window: LipWindow, tightest: PotLimit, lost_c: float) -> LipWindow:
    """The window cut to what can arrive at all: the most the pot is aimed for less the loss on the way.

    Where the section wants more than that, the metal arrives colder than it wants and the window says so, as long as
    it is still inside the sheet's window; where not, the window is left alone and no pot serves it (`no_aim`). A window
    that was stated or learned is never lowered.
    """
    reach_c = tightest.aim_limit_c - lost_c
    if window.max_c <= reach_c:
        return window
    low_c = window.min_c
    cautions = window.cautions
    if window.basis is WindowBasis.SHEET and reach_c - low_c < LEAST_WIDTH_C:
        least_c = max(sheet.pour_min.value, sheet.liquidus.value + sheet.margin_c)
        lowered_c = max(least_c, reach_c - LEAST_WIDTH_C)
        if lowered_c < low_c:
            low_c = lowered_c
            cautions = (*cautions, tell("window.colder", lowest_c=window.min_c))
    if low_c >= reach_c:
        return window
    return _cut_to_reach(msgspec.structs.replace(window, min_c=low_c, cautions=cautions), tightest, lost_c)


def _fit_in_turn(window: LipWindow, alone: LipWindow, tightest: PotLimit, lost_c: float) -> LipWindow:
    """A later mould's window: cut to what arrives in its turn, and never lowered for the wait, for the section wants
    what it wants. Where no such temperature arrives then, it is that of a lift of its own (`no_aim` says so)."""
    if alone.min_c >= tightest.aim_limit_c - lost_c:
        return alone
    uncut = msgspec.structs.replace(alone, max_c=window.max_c, why=window.why)
    return _cut_to_reach(uncut, tightest, lost_c)


def _cut_to_reach(window: LipWindow, tightest: PotLimit, lost_c: float) -> LipWindow:
    """The window without what no pot can bring to the lip; as it is, where nothing of it would be left."""
    reach_c = tightest.aim_limit_c - lost_c
    if not window.min_c < reach_c < window.max_c:
        return window
    limit = tell("window.reach", whose=tightest.whose, highest_c=tightest.limit_c, lip_highest_c=reach_c)
    if tightest.keep_off_c:
        limit = tell(
            "window.reach.kept_off",
            highest_c=tightest.limit_c,
            keep_difference_c=tightest.keep_off_c,
            most_share=AIM_CHANCE,
            lip_highest_c=reach_c,
        )
    return msgspec.structs.replace(window, max_c=reach_c, why=(*window.why, limit))


class _Loss(NamedTuple):
    loss_c: float
    u_c: float  # expanded
    way: Way
    why: Message


def _unwaited_c(mould: MouldRequest, carried: _Carried, place: _Place) -> float:
    """What of a loss that was stated for a mould in its turn is not lost, since fewer are poured before it."""
    if mould.loss_c is None:
        return 0.0
    sooner_s = (place.asked_order - place.order) * carried.carry.between_s
    return mould.loss_c * sooner_s / _stands_for_s(mould, carried, place.asked_order)


def _loss(
    sheet: AlloySheet, window: LipWindow, mould: MouldRequest, carried: _Carried, top_c: float, place: _Place
) -> _Loss:
    """A computed loss is that at the middle of the tap window, or at the pot's limit `top_c` where the middle lies
    above it."""
    stated_c = mould.loss_c if mould.loss_c is not None else carried.loss_c
    u_c = mould.loss_u_c if mould.loss_u_c is not None else carried.loss_u_c
    if stated_c is not None:
        if not 0.0 <= stated_c <= 400.0:
            told = tell("window.loss", mould=mould.name, loss_difference_c=stated_c)
            raise OutOfRange(told, remedy=tell("error.figure.remedy"))
        if u_c is None:
            u_c = max(LEAST_LOSS_U_C, STATED_LOSS_SHARE * stated_c)
        unwaited_c = _unwaited_c(mould, carried, place)
        told = tell("way.stated", loss_difference_c=stated_c)
        if unwaited_c > 0.0:
            told = tell("way.stated_sooner", stated=told, unwaited_difference_c=unwaited_c)
            u_c = math.hypot(u_c, 0.5 * unwaited_c)
        return _Loss(stated_c - unwaited_c, u_c, Way(basis=LossBasis.STATED), told)
    left_kg = _left_kg(carried.charge_kg, place.poured_kg)
    middle_c, found_c = 0.5 * (window.min_c + window.max_c), 0.0
    for _ in range(3):  # hotter metal loses faster: three rounds settle it within 0.1 degC
        loss = transfer_loss(
            sheet,
            carried.charge_kg,
            min(middle_c + found_c, top_c),
            carried.pot,
            carried.carry,
            order=place.order,
            poured_kg=carried.charge_kg - left_kg,
        )
        found_c = loss.loss_c
    return _Loss(found_c, u_c if u_c is not None else loss.u_c, loss.way, loss.why)
