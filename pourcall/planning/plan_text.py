"""A pour plan as plain text for a terminal or a printer. Numbers come ready in `PourPlan`, none is made here."""

import textwrap
from collections.abc import Iterable, Sequence

import msgspec

from pourcall.contract.message import Told, tell
from pourcall.contract.plan import MouldPlan, NoAimCause, lip_window_c, no_aim, tap_window_c
from pourcall.contract.units import Unit
from pourcall.metal.vapour.fume import rough
from pourcall.metal.windows import LEAST_C
from pourcall.planning.charge import FILL_SHARE
from pourcall.planning.planner import MouldAdvice, PourPlan
from pourcall.texts import say

WIDTH = 100
TOLD_CHANCE = 0.001
MAIN_SOURCES = ("solidus", "liquidus", "pour_min", "pour_max", "alloy_max")


def render_text(plan: PourPlan, unit: Unit = Unit.C, *, sources: bool = False) -> str:
    """The whole plan, at most 100 columns, temperatures in `unit`, in the reasons too. `sources`: of every number."""

    def part(title: Told, items: Iterable[Told], mark: str = "- ") -> list[str]:
        return [say(title, unit), *(line for item in items for line in _wrapped(say(item, unit), mark)), ""]

    whole = tell("plan.title.whole", alloy=plan.alloy_name, key=plan.alloy_key)
    lines = [say(whole, unit), ""]
    if plan.conflicts:
        lines += part(tell("plan.title.stop"), stop_lines(plan))
    lines += part(tell("plan.title.charge"), charge_lines(plan))
    lines += part(tell("plan.title.energy"), energy_lines(plan))
    lines += part(tell("plan.title.pot"), pot_lines(plan))
    lines += part(tell("plan.title.profile"), plan.profile)
    for order, planned in enumerate(plan.melt.moulds):
        title = tell("plan.title.mould", mould=planned.name)
        lines += part(title, [*window_lines(planned, plan), *advice_lines(plan, order)])
    if plan.fume is not None:
        lines += part(tell("plan.title.fume", levels=level_words(plan)), plan.fume.words)
    lines += part(tell("plan.title.cautions"), caution_lines(plan))
    lines += part(tell("plan.title.wear"), plan.clothing, "[ ] ")
    lines += part(tell("plan.title.sources"), source_lines(plan, every=sources))
    return "\n".join(lines)


def stop_lines(plan: PourPlan) -> list[Told]:
    """Why it cannot be poured as it is, and what would help where it is the way that loses too much."""
    unserved = {found.mould for found in plan.no_aim}
    return [*plan.conflicts, *(one.gentler for one in plan.moulds if one.gentler and one.name in unserved)]


def source_lines(plan: PourPlan, *, every: bool) -> list[Told]:
    """The sources of all numbers, or of those a pour hangs on with where to find the others."""
    if every:
        return list(plan.sources.values())
    main = tuple(plan.sources[key] for key in MAIN_SOURCES if key in plan.sources)
    return [tell("plan.sources.main", parts=main), tell("plan.sources.others", key=plan.alloy_key)]


def charge_lines(plan: PourPlan) -> list[Told]:
    """What to weigh in."""
    charge_kg, capacity_kg = plan.melt.charge_kg, plan.capacity_kg
    lines: list[Told] = [
        tell("charge_plan.charge", charge_kg=charge_kg, capacity_kg=capacity_kg, full_share=FILL_SHARE)
    ]
    if plan.need is not None:
        need = plan.need
        parts = [tell("charge_plan.castings", castings_kg=need.castings_kg)]
        if need.gating_kg > 0.0:
            parts.append(tell("charge_plan.gating", gating_kg=need.gating_kg))
        else:
            parts.append(tell("charge_plan.gating_included"))
        parts.append(tell("charge_plan.dross", dross_kg=need.loss_kg, dross_share=need.loss_kg / need.charge_kg))
        if need.heel_kg > 0.0:
            parts.append(tell("charge_plan.heel", heel_kg=need.heel_kg))
        lines.append(tell("charge_plan.need", parts=tuple(parts)))
    if plan.recipe is not None:
        for name, mass_kg in plan.recipe.masses_kg.items():
            if mass_kg >= 0.1:
                lines.append(tell("charge_plan.metal", metal=name, mass_kg=mass_kg))
            else:
                lines.append(tell("charge_plan.metal_grams", metal=name, grams=mass_kg * 1000.0))
        made = tuple(
            tell("charge_plan.element", symbol=symbol, percent=float(f"{percent:.3g}"))
            for symbol, percent in plan.recipe.composition.items()
        )
        lines.append(tell("charge_plan.gives", product_kg=plan.recipe.product_kg, made=made, cost=plan.recipe.cost))
        lines += plan.recipe.notes
    if plan.addition is not None:
        lines.append(tell("charge_plan.added_cold", why=plan.addition.why))
    return [*lines, *plan.notes]


def energy_lines(plan: PourPlan) -> list[Told]:
    """How much energy, how long, what it costs."""
    energy = plan.energy
    low, high = energy.supplied_kwh
    lines: list[Told] = [tell("charge_plan.supplied", low=low, high=high, useful=energy.useful_kwh)]
    if energy.minutes is not None:
        low_min, high_min = energy.minutes
        lines.append(tell("charge_plan.time", low=low_min, high_min=high_min))
    if energy.cost is not None:
        lines.append(tell("charge_plan.cost", low=energy.cost[0], high=energy.cost[1]))
    return [*lines, energy.why]


def pot_lines(plan: PourPlan) -> list[Told]:
    """Aim and limits of the pot, probe, hydrogen."""
    facts = plan.melt.alloy
    lowest, *others = plan.melt.limits
    lines: list[Told] = [
        aim_told(plan),
        *([plan.no_one_lift] if plan.no_one_lift else []),
        *_boiling_lines(plan),
        tell(
            "plan.pot.melting",
            solidus_c=facts.solidus_c,
            liquidus_c=facts.liquidus_c,
            margin_difference_c=facts.liquid_margin_c,
        ),
        tell("plan.pot.never_above", highest_c=lowest.limit_c, whose=lowest.whose, why=lowest.why),
    ]
    if plan.beyond:
        lines.append(plan.beyond)
    if others:
        parts = tuple(
            tell("plan.pot.limit", highest_c=limit.limit_c, whose=limit.whose, why=limit.why) for limit in others
        )
        lines.append(tell("plan.pot.farther_up", parts=parts))
    return lines + [told for told in (plan.hydrogen, plan.probe_tube) if told]


def aim_told(plan: PourPlan) -> Told:
    """Where to bring the pot, or that there is nowhere."""
    if plan.aim_c is None:
        return tell("plan.pot.no_aim", moulds=", ".join(found.mould for found in plan.no_aim))
    return tell("plan.pot.aim", aim_c=plan.aim_c)


def _boiling_lines(plan: PourPlan) -> list[Told]:
    """The odds of the aim, where zinc could boil at all near it."""
    odds = plan.boiling
    if odds is None or max(odds.above_line, odds.boiling) < TOLD_CHANCE:
        return []
    return [
        tell("plan.pot.boiling", above_share=odds.above_line, boiling_share=odds.boiling, line_highest_c=odds.line_c)
    ]


def window_lines(planned: MouldPlan, plan: PourPlan) -> list[Told]:
    """Window at the lip and in the pot, and why."""
    low_c, high_c = tap_window_c(planned, plan.melt)
    lip_low_c, lip_high_c = lip_window_c(planned, plan.melt)
    found = no_aim(planned, plan.melt)
    if found is not None and found.cause is NoAimCause.NOT_LIQUID:
        pot = tell("plan.mould.no_aim_liquid")
        lip = tell("plan.mould.lip_not_liquid", highest_c=found.lip_max_c, liquid_lowest_c=found.lip_min_c)
    elif found is not None and found.cause is NoAimCause.TURN:
        pot = tell("plan.mould.own_lift")
        lip = tell("plan.mould.lip_wanted", lowest_c=found.lip_min_c, highest_c=found.lip_max_c)
    elif found is not None:
        pot = tell("plan.mould.no_aim", needed_lowest_c=found.needed_c, allowed_highest_c=found.allowed_c)
        lip = tell("plan.mould.lip_wanted", lowest_c=found.lip_min_c, highest_c=found.lip_max_c)
    elif high_c - low_c < LEAST_C:
        pot = tell("plan.mould.hardly", middle_c=0.5 * (low_c + high_c))
        lip = tell("plan.mould.lip_hardly", middle_c=0.5 * (lip_low_c + lip_high_c))
    else:
        pot = tell("plan.mould.pot", lowest_c=low_c, highest_c=high_c)
        lip = tell("plan.mould.lip", lowest_c=lip_low_c, highest_c=lip_high_c)
    losing = tell("plan.mould.losing", loss_difference_c=planned.loss_c, loss_u_c=planned.loss_u_c)
    return [tell("plan.mould.pot_losing", pot=pot, losing=losing), lip, *odds_lines(planned, plan), planned.why]


def odds_lines(planned: MouldPlan, plan: PourPlan) -> list[Told]:
    """How surely the aim arrives inside the window, and what to mind of it."""
    lines: list[Told] = []
    for advice in plan.moulds:
        if advice.name == planned.name and advice.odds is not None:
            odds = advice.odds
            lines.append(
                tell(
                    "plan.mould.odds",
                    lip_c=odds.lip_c,
                    lip_u_c=odds.lip_u_c,
                    cold_share=odds.too_cold,
                    hot_share=odds.too_hot,
                )
            )
            lines += advice.minds
    return lines


def advice_lines(plan: PourPlan, order: int) -> list[Told]:
    """Filling and feeding of the mould that is `order`; where an earlier one has the same, only its name."""
    advice = plan.moulds[order]
    alike = [one.name for one in plan.moulds[:order] if _filling_of(one) == _filling_of(advice)]
    if alike:
        return [tell("filling.alike", mould=alike[0])]
    lines: list[Told] = []
    if advice.fill is not None:
        lines.append(tell("filling.from", lowest_c=advice.fill.lowest_c, why=advice.fill.why))
        lines.append(tell("filling.head", head_mm=advice.fill.head_needed_mm))
    if advice.flow_at_middle_mm is not None:
        lines.append(tell("filling.runs", flow=rough(advice.flow_at_middle_mm)))
    if advice.gentler and advice.odds is not None:
        lines.append(advice.gentler)
    lines += advice.notes
    if advice.solid_s is not None and advice.riser_mm is not None:
        lines.append(tell("filling.solid", solid=rough(advice.solid_s), riser_mm=advice.riser_mm))
    return lines


def _filling_of(advice: MouldAdvice) -> MouldAdvice:
    """What is said of filling and feeding alone, to tell moulds that are alike."""
    return msgspec.structs.replace(advice, name="", odds=None, minds=())


def caution_lines(plan: PourPlan) -> list[Told]:
    """Hazards of the sheet, then cautions with their limits."""
    lines: list[Told] = [*plan.hazards, *(() if plan.lead is None else plan.lead.words)]
    for caution in plan.cautions:
        if not caution.limits:
            lines.append(caution.text)
        elif caution.stand_in:
            lines.append(
                tell(
                    "caution.with_limits_of_others",
                    text=caution.text,
                    stand_in=caution.stand_in,
                    limits=caution.limits,
                )
            )
        else:
            lines.append(tell("caution.with_limits", text=caution.text, limits=caution.limits))
    return lines


def level_words(plan: PourPlan) -> Told:
    """`undisturbed level 0, no alarm level; skimming or pouring level 1, advice`."""
    if plan.fume is None:
        return ""
    still, bare = plan.fume.level_still, plan.fume.level_disturbed
    return tell(
        "fume.levels", still=still, still_is=tell(f"fume.is.{still}"), bare=bare, bare_is=tell(f"fume.is.{bare}")
    )


def _wrapped(text: str, mark: str) -> Sequence[str]:
    later = " " * (2 + len(mark))
    return textwrap.wrap(text, WIDTH, initial_indent=f"  {mark}", subsequent_indent=later, break_on_hyphens=False)
