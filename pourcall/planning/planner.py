"""The whole of `pourcall plan` as plain data: alloy, moulds, pot and shop in, all one wants to know before out.

In: `PlanRequest` and an alloy sheet. Out: `PourPlan` with charge, recipe, energy and time, tap window and filling for
each mould with reasons, fume, cautions, clothing. Rendering is elsewhere (plan_text.py, plan_page.py).
Pure and quick (a few milliseconds). Errors: BadInput, BadSheet, OutOfRange, Refused (a recipe without solution).
"""

import math

import msgspec

from pourcall.contract.errors import OutOfRange
from pourcall.contract.message import NOTHING, Message, Told, tell
from pourcall.contract.one_lift import aim_c as aimed_c
from pourcall.contract.one_lift import at_lift, one_lift, served_moulds, waits_s
from pourcall.contract.plan import (
    SKIM_BELOW_C,
    LipOdds,
    MeltPlan,
    MouldRequest,
    NoAim,
    NoAimCause,
    lip_odds,
    no_aim,
    planned_reading_u_c,
)
from pourcall.contract.settings import AirLimits
from pourcall.metal.alloys.sheet import ROOM_C, AlloySheet, Value
from pourcall.metal.alloys.sheet_sentences import figures_marked, pour_range_beyond
from pourcall.metal.alloys.stand_in import with_stand_ins
from pourcall.metal.heat.energy import AdditionDip, MeltEnergy, addition_dip, melt_energy
from pourcall.metal.heat.filling import (
    DEFAULT_SPEED_M_PER_S,
    GATE_SPEED_M_PER_S,
    FillCheck,
    choke_area_mm2,
    drop_for_speed_mm,
    fall_speed_m_per_s,
    flow_length_mm,
    lowest_fill_c,
)
from pourcall.metal.heat.solidification import (
    hydrogen_told,
    plate_modulus_mm,
    riser_diameter_mm,
    sheet_b_s_per_m2,
    solidification_s,
)
from pourcall.metal.heat.transfer import Carry, Pot
from pourcall.metal.plan_checks import narrow_told, plan_conflicts, window_minds
from pourcall.metal.vapour import pressure as vapour
from pourcall.metal.vapour.boiling import BoilingOdds, boiling_odds
from pourcall.metal.vapour.cautions import Caution, cautions, clothing
from pourcall.metal.vapour.fume import FumeReport, breathed_15_min_mg_per_m3, fume_report, is_brass
from pourcall.metal.vapour.lead import LeadReport, lead_report
from pourcall.metal.vapour.ventilation import Air
from pourcall.metal.windows import LEAST_C, USUAL_MATERIAL, melt_plan
from pourcall.planning.charge import DEFAULT_YIELD, FILL_SHARE, MetalNeed, metal_needed, pot_capacity_kg
from pourcall.planning.gentler import gentler_ways
from pourcall.planning.job import JobMould
from pourcall.planning.recipe import Bath, Ingredient, Recipe, recipe

UNFITTED_FILL_FACTOR = 0.5  # flow length is a factor-of-two figure until fitted: plan with the short half
CURVE_STEP_C = 10.0


class PlanRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What a person asks to have planned. None: computed or by default."""

    moulds: tuple[JobMould, ...]
    melt: str = "plan"
    charge_kg: float | None = None
    heel_kg: float = 0.0
    yield_share: float | None = None
    pot: Pot = Pot()
    pot_depth_mm: float | None = None  # inside; None: a wall less than its height
    carry: Carry = Carry()
    loss_c: float | None = None
    air: Air = Air()
    air_limits: AirLimits = "strictest"
    furnace_kind: str = "electric"
    power_w: float | None = None
    efficiency: tuple[float, float] | None = None
    price_per_kwh: float | None = None
    start_c: float = ROOM_C
    pot_rating_c: float | None = None
    probe_rating_c: float | None = None
    ingredients: tuple[Ingredient, ...] = ()
    bath: Bath | None = None
    notes: tuple[Message, ...] = ()  # on the charge, from whoever made the request


class MouldAdvice(msgspec.Struct, frozen=True, kw_only=True):
    """Filling and feeding of one mould; None where the request says too little."""

    name: str
    fill: FillCheck | None
    flow_at_middle_mm: float | None  # how far it runs at the middle of the window
    sprue_m_per_s: float | None
    choke_mm2: float | None
    solid_s: float | None  # thickest section, dry sand
    riser_mm: float | None  # diameter of a riser as high as wide that outlasts it
    odds: LipOdds | None = None  # at the aim, by the plan's own doubts; None: there is nothing to aim for
    gentler: Told = NOTHING  # what would lose less on the way, where more heat is not the answer
    minds: tuple[Message, ...] = ()  # of its window: none that an aim surely hits, or not the sheet's
    notes: tuple[Message, ...] = ()


class CurvePoint(msgspec.Struct, frozen=True):
    """One temperature of the fume pictures."""

    temp_c: float
    zinc_pa: float
    still_mg_per_m3: float
    disturbed_mg_per_m3: float


class PourPlan(msgspec.Struct, frozen=True, kw_only=True):
    """Everything there is to say about an intended pour, as data."""

    alloy_key: str
    alloy_name: str
    sheet_hash: str
    need: MetalNeed | None  # None: the charge was given
    capacity_kg: float
    recipe: Recipe | None
    energy: MeltEnergy
    addition: AdditionDip | None  # what a cold correction does to a bath that is already molten
    aim_c: float | None  # where to bring the pot; None: nowhere, no temperature of it serves any mould
    reckoned_c: float  # what energy, fume and lead are reckoned at: the aim, or the most the pot may be aimed for
    no_aim: tuple[NoAim, ...] = ()  # of the moulds that no temperature of the pot serves
    no_one_lift: Told = NOTHING  # what each mould wants of the pot, where no temperature of it suits them all
    beyond: Told = NOTHING  # that the published pouring range goes beyond what the pot may be
    boiling: BoilingOdds | None  # of its zinc at that aim; None: it does not boil within reach
    melt: MeltPlan
    moulds: tuple[MouldAdvice, ...]
    fume: FumeReport | None
    lead: LeadReport | None  # what evaporates of it; None: no lead in the alloy
    curve: tuple[CurvePoint, ...]
    conflicts: tuple[Message, ...]
    hazards: tuple[str, ...]  # as the sheet has them
    air_limits: AirLimits  # whose
    cautions: tuple[Caution, ...]
    clothing: tuple[Message, ...]
    probe_tube: Told
    hydrogen: Told
    profile: tuple[Message, ...]  # how to bring it there, step by step
    notes: tuple[Message, ...]  # of the request
    sources: dict[str, Message]  # of each number of the sheet, by its key


def make_plan(sheet: AlloySheet, request: PlanRequest) -> PourPlan:
    """Plan a pour. Raises OutOfRange for figures that cannot be meant or a section that cannot fill, BadInput for
    contradictions, Refused for a recipe without solution."""
    sheet, lacking = with_stand_ins(sheet)
    if not request.moulds:
        raise OutOfRange(tell("plan.no_mould"), remedy=tell("plan.no_mould.remedy"))
    need = _need(sheet, request)
    if request.charge_kg is not None:
        charge_kg = request.charge_kg
    else:
        charge_kg = need.charge_kg if need is not None else 0.0
    if not 0.0 < charge_kg <= 2000.0:
        raise OutOfRange(
            tell("charge_plan.wrong.charge", charge_kg=charge_kg), remedy=tell("charge_plan.wrong.charge.remedy")
        )
    specs = [_asked(mould, request.yield_share) for mould in request.moulds]
    fills = [_fill(sheet, mould) for mould in request.moulds]
    plan = melt_plan(
        request.melt,
        sheet,
        charge_kg,
        specs,
        loss_c=request.loss_c,
        pot=request.pot,
        carry=request.carry,
        pot_rating_c=request.pot_rating_c,
        probe_rating_c=request.probe_rating_c,
        fill_min_c=[fill.lowest_c if fill is not None else None for fill in fills],
        air=request.air,
    )
    depth_mm = request.pot_depth_mm if request.pot_depth_mm is not None else 0.9 * request.pot.height_mm
    capacity_kg = pot_capacity_kg(sheet, request.pot.mouth_mm, depth_mm)
    pot_known = request.pot != Pot() or request.pot_depth_mm is not None
    unchecked = () if pot_known or charge_kg <= capacity_kg else (tell("charge_plan.no_pot", capacity_kg=capacity_kg),)
    aim_c = aimed_c(plan, plan.moulds)
    reckoned_c = math.floor(plan.aim_limit.aim_limit_c) if aim_c is None else aim_c
    materials = tuple(dict.fromkeys(mould.material or USUAL_MATERIAL for mould in request.moulds))
    made = None
    if request.ingredients:
        made = recipe(sheet, charge_kg, request.ingredients, bath=request.bath)
    return PourPlan(
        alloy_key=sheet.key,
        alloy_name=sheet.name,
        sheet_hash=sheet.sheet_hash,
        need=need,
        capacity_kg=capacity_kg,
        recipe=made,
        energy=melt_energy(
            sheet,
            charge_kg,
            reckoned_c,
            request.pot,
            kind=request.furnace_kind,
            power_w=request.power_w,
            efficiency=request.efficiency,
            price_per_kwh=request.price_per_kwh,
            start_c=request.start_c,
        ),
        addition=_addition(sheet, request, made, reckoned_c),
        aim_c=aim_c,
        reckoned_c=reckoned_c,
        no_aim=_unserved(plan),
        no_one_lift=_no_one_lift(plan),
        beyond=pour_range_beyond(sheet),
        boiling=None if aim_c is None or not is_brass(sheet) else boiling_odds(sheet.weight_percent(), aim_c),
        melt=plan,
        moulds=tuple(_advice(sheet, request, plan, order, fills[order], aim_c) for order in range(len(request.moulds))),
        fume=fume_report(sheet, reckoned_c, request.air, request.pot.mouth_mm, request.air_limits),
        lead=lead_report(sheet, reckoned_c, request.air, request.pot.mouth_mm, request.air_limits),
        curve=_curve(sheet, request, plan),
        conflicts=(*plan_conflicts(plan), *(_too_much(charge_kg, capacity_kg) if pot_known else ())),
        hazards=tuple(figures_marked(hazard) for hazard in sheet.hazards),
        air_limits=request.air_limits,
        cautions=cautions(sheet, materials, fuel=request.furnace_kind == "fuel", air_limits=request.air_limits),
        clothing=clothing(sheet),
        probe_tube=_tube(sheet),
        hydrogen=_hydrogen(sheet, aim_c),
        profile=_profile(sheet, request, aim_c, plan),
        notes=(*request.notes, *unchecked, *lacking),
        sources={key: _source(key, value) for key, value in sheet.values()},
    )


def _need(sheet: AlloySheet, request: PlanRequest) -> MetalNeed | None:
    """Charge from castings and gating where all moulds give it, else from their whole masses; None where none does."""
    castings = sum(mould.casting_kg for mould in request.moulds)
    whole = sum(_asked(mould, request.yield_share).mass_kg for mould in request.moulds)
    if whole <= 0.0:
        return None
    if castings <= 0.0:
        return metal_needed(sheet, whole, gating_kg=0.0, heel_kg=request.heel_kg)
    return metal_needed(sheet, castings, gating_kg=max(0.0, whole - castings), heel_kg=request.heel_kg)


def _asked(mould: JobMould, yield_share: float | None) -> MouldRequest:
    """What the window and the loss need to know of it, its whole mass included."""
    mass_kg = mould.mass_kg
    if mass_kg == 0.0 and mould.casting_kg > 0.0:
        share = DEFAULT_YIELD if yield_share is None else yield_share
        if not 0.05 <= share <= 1.0:
            raise OutOfRange(
                tell("charge_plan.wrong.yield", yield_share=share), remedy=tell("charge_plan.wrong.yield.remedy")
            )
        gating_kg = mould.gating_kg if mould.gating_kg is not None else mould.casting_kg * (1.0 / share - 1.0)
        mass_kg = mould.casting_kg + gating_kg
    if mould.casting_kg < 0.0 or (mould.gating_kg or 0.0) < 0.0:
        raise OutOfRange(tell("charge_plan.wrong.mould_mass", mould=mould.name), remedy=tell("error.figure.remedy"))
    fields = {name: getattr(mould, name) for name in MouldRequest.__struct_fields__}
    return MouldRequest(**{**fields, "mass_kg": mass_kg})


def _fill(sheet: AlloySheet, mould: JobMould) -> FillCheck | None:
    if mould.thinnest_mm is None or mould.flow_mm is None:
        return None
    return lowest_fill_c(
        sheet,
        mould.thinnest_mm,
        mould.flow_mm,
        mould.material or USUAL_MATERIAL,
        head_mm=mould.head_mm,
        factor=mould.fill_factor if mould.fill_factor is not None else UNFITTED_FILL_FACTOR,
        fitted=mould.fill_factor is not None,
    )


def _advice(
    sheet: AlloySheet,
    request: PlanRequest,
    plan: MeltPlan,
    order: int,
    fill: FillCheck | None,
    aim_c: float | None,
) -> MouldAdvice:
    mould, planned = request.moulds[order], plan.moulds[order]
    middle_c = 0.5 * (planned.lip_min_c + planned.lip_max_c)
    odds = _odds(plan, order, aim_c)
    minds = () if no_aim(planned, plan) is not None else window_minds(planned, plan.alloy)
    if odds is not None and aim_c is not None and odds.narrow:
        minds = (*minds, narrow_told(planned, odds, aim_c))
    notes = []
    flow_mm = sprue = choke = solid_s = riser = None
    if mould.thinnest_mm is not None:
        factor = mould.fill_factor if mould.fill_factor is not None else UNFITTED_FILL_FACTOR
        flow_mm = flow_length_mm(sheet, mould.thinnest_mm, middle_c, planned.material, DEFAULT_SPEED_M_PER_S, factor)
    if mould.head_mm is not None:
        sprue = fall_speed_m_per_s(mould.head_mm)
        if sprue > GATE_SPEED_M_PER_S:
            notes.append(
                tell(
                    "filling.too_fast",
                    speed=sprue,
                    gate=GATE_SPEED_M_PER_S,
                    drop_mm=round(drop_for_speed_mm(GATE_SPEED_M_PER_S)),
                )
            )
        if mould.fill_s is not None and planned.mass_kg > 0.0:
            choke = choke_area_mm2(planned.mass_kg, sheet.need("density_liquid"), mould.fill_s, mould.head_mm)
            needed_mm2 = choke * sprue * 0.8 / GATE_SPEED_M_PER_S
            notes.append(tell("filling.choke", choke=choke, gates=needed_mm2))
    if mould.thickest_mm is not None:
        modulus_mm = plate_modulus_mm(mould.thickest_mm)
        solid_s = solidification_s(modulus_mm, sheet_b_s_per_m2(sheet, middle_c))
        riser = riser_diameter_mm(modulus_mm)
    return MouldAdvice(
        name=mould.name,
        fill=fill,
        flow_at_middle_mm=flow_mm,
        sprue_m_per_s=sprue,
        choke_mm2=choke,
        solid_s=solid_s,
        riser_mm=riser,
        odds=odds,
        gentler=gentler_ways(sheet, plan, order, request.pot, request.carry),
        minds=minds,
        notes=tuple(notes),
    )


def _odds(plan: MeltPlan, order: int, aim_c: float | None) -> LipOdds | None:
    """Of what arrives in its turn, of a pot lifted at the aim and read as well as nobody has read it yet."""
    mould = plan.moulds[order]
    if aim_c is None or no_aim(mould, plan) is not None:
        return None
    return lip_odds(mould, plan, aim_c, planned_reading_u_c(aim_c), waits_s(mould))


def _unserved(plan: MeltPlan) -> tuple[NoAim, ...]:
    return tuple(found for mould in plan.moulds if (found := no_aim(mould, plan)) is not None)


def _no_one_lift(plan: MeltPlan) -> Told:
    """What each mould wants, where each wants something and no pot has it for all."""
    each = {mould.name: at_lift(plan, mould) for mould in served_moulds(plan)}
    if not each or one_lift(plan, plan.moulds).suits or not all(one.suits for one in each.values()):
        return NOTHING
    parts = tuple(
        tell("plan.pot.mould_wants", mould=mould, lowest_c=one.lowest_c, highest_c=one.highest_c)
        for mould, one in each.items()
    )
    return tell("plan.pot.no_one_lift", parts=parts)


def _hydrogen(sheet: AlloySheet, aim_c: float | None) -> Told:
    known = aim_c is not None and sheet.family == "aluminium" and 640.0 <= aim_c <= 1000.0
    return hydrogen_told(aim_c) if known and aim_c is not None else NOTHING


def _addition(sheet: AlloySheet, request: PlanRequest, made: Recipe | None, aim_c: float) -> AdditionDip | None:
    if made is None or request.bath is None or request.bath.mass_kg <= 0.0:
        return None
    return addition_dip(sheet, request.bath.mass_kg, aim_c, made.added_kg)


def _too_much(charge_kg: float, capacity_kg: float) -> tuple[Message, ...]:
    if charge_kg <= capacity_kg:
        return ()
    return (tell("plan.conflict.pot", charge_kg=charge_kg, capacity_kg=capacity_kg, full_share=FILL_SHARE),)


def _curve(sheet: AlloySheet, request: PlanRequest, plan: MeltPlan) -> tuple[CurvePoint, ...]:
    """Zinc pressure and what a person breathes, from the liquidus to past the pot's limit, or to boiling."""
    if plan.fume is None:
        return ()
    points = []
    shares = sheet.weight_percent()
    temp_c = sheet.liquidus.value
    boiling_c = vapour.temp_at_fraction_c(shares, 1.0)
    top_c = min(sheet.highest_in_pot_c + 60.0, 1450.0 if boiling_c is None else boiling_c)
    while temp_c <= top_c:
        still = breathed_15_min_mg_per_m3(sheet, temp_c, False, request.air, request.pot.mouth_mm)
        bare = breathed_15_min_mg_per_m3(sheet, temp_c, True, request.air, request.pot.mouth_mm)
        points.append(CurvePoint(temp_c, vapour.zinc_pressure_over_pa(shares, temp_c), still, bare))
        temp_c += CURVE_STEP_C
    return tuple(points)


def _tube(sheet: AlloySheet) -> Told:
    tube = sheet.protection_tube
    if tube is None:
        return NOTHING
    works, fails = figures_marked(tube.works), figures_marked(tube.fails)
    return tell("alloy.tube", works=works, fails=fails, source=tube.source, mark=tube.mark)


def _source(key: str, value: Value) -> Message:
    if value.unit == "degC" and key.endswith("_max"):  # as the plan itself prints such a limit
        figure = tell("alloy.figure.highest", value_highest_c=value.value)
    elif value.unit == "degC" and key.endswith("_min"):
        figure = tell("alloy.figure.lowest", value_lowest_c=value.value)
    elif value.unit == "degC":
        figure = tell("alloy.figure.temperature", value_c=value.value)
    elif value.unit == "K":
        figure = tell("alloy.figure.difference", value_difference_c=value.value)
    elif value.unit == "1":
        figure = tell("alloy.figure.plain", value=value.value)
    else:
        figure = tell("alloy.figure.unit", value=value.value, unit=value.unit)
    return tell("alloy.source", quantity=key, figure=figure, source=value.source, mark=value.mark)


HOLD_MIN = 10.0  # at the aim, to even out pot and metal (common practice, no source)
WARM_C = 150.0  # well above boiling water (common practice, no source)


def _profile(sheet: AlloySheet, request: PlanRequest, aim_c: float | None, plan: MeltPlan) -> tuple[Message, ...]:
    """A profile for a small charge, in words: full power to liquid, skim, gently to the aim, pour without waiting."""
    if aim_c is None:
        return (tell("plan.step.no_aim"),)
    liquid_c = sheet.liquidus.value + sheet.margin_c
    steps = [
        tell("plan.step.warm", warm_c=min(WARM_C, sheet.solidus.value - 15.0)),
        tell(
            "plan.step.melt_fuel" if request.furnace_kind == "fuel" else "plan.step.melt",
            liquidus_c=sheet.liquidus.value,
            solidus_c=sheet.solidus.value,
        ),
        tell("plan.step.rest"),
        tell("plan.step.liquid", lowest_c=liquid_c),
        tell("plan.step.aim_fuel" if request.furnace_kind == "fuel" else "plan.step.aim", aim_c=aim_c),
    ]
    if aim_c - SKIM_BELOW_C > liquid_c:
        steps.append(tell("plan.step.skim", skim_c=aim_c - SKIM_BELOW_C))
    steps.append(_lift_step(plan))
    again = [found.mould for found in _unserved(plan) if found.cause is NoAimCause.TURN]
    if again:
        steps.append(tell("plan.step.lift_again", moulds=", ".join(again)))
    return tuple(steps)


def _lift_step(plan: MeltPlan) -> Message:
    """From one lift every mould is poured: the pot must suit them all; where none does, the first, by its name."""
    wanted = one_lift(plan, plan.moulds)
    if not wanted.suits:
        first = served_moulds(plan)[0]
        low_c, high_c = at_lift(plan, first)
        name = first.name
        if low_c > high_c:  # served by itself, and not after the wait for those before it
            return tell("plan.step.lift_alone", mould=name)
        return tell("plan.step.lift_for", hold_min=HOLD_MIN, mould=name, lowest_c=low_c, highest_c=high_c)
    if wanted.highest_c - wanted.lowest_c < LEAST_C:
        return tell("plan.step.lift_at", hold_min=HOLD_MIN, middle_c=wanted.middle_c)
    return tell("plan.step.lift", hold_min=HOLD_MIN, lowest_c=wanted.lowest_c, highest_c=wanted.highest_c)
