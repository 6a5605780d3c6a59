"""Room: a pour plan as plain text for a terminal or a printer. Numbers come ready in `PourPlan`, none is made here."""

import textwrap

from pourcall.contract.plan import MouldPlan
from pourcall.contract.units import Unit, format_difference, format_temperature
from pourcall.profiles.fume import rough
from pourcall.profiles.planner import MouldAdvice, PourPlan

WIDTH = 100


def render_text(plan: PourPlan, unit: Unit = Unit.C) -> str:
    """The whole plan, at most 100 columns, temperatures in `unit` with degC in the reasons as they were made."""
    lines = [f"Plan for {plan.alloy_name} ({plan.alloy_key}, sheet {plan.sheet_hash})", ""]
    if plan.conflicts:
        lines += ["THIS PLAN CANNOT BE POURED AS IT IS", *_list(plan.conflicts), ""]
    lines += ["Charge", *_list(charge_lines(plan)), ""]
    lines += ["Energy", *_list(energy_lines(plan)), ""]
    lines += ["Pot", *_list(pot_lines(plan, unit)), ""]
    for planned, advice in zip(plan.melt.moulds, plan.moulds, strict=True):
        lines += [f"Mould {planned.name}", *_list(mould_lines(planned, advice, plan, unit)), ""]
    if plan.fume is not None:
        lines += [f"Fume, to a factor of ten ({level_words(plan)})", *_list(plan.fume.words), ""]
    lines += ["Mind", *_list(caution_lines(plan)), ""]
    lines += ["Wear and have at hand", *[f"  [ ] {item}" for item in plan.clothing], ""]
    lines += ["Where the numbers come from", *_list(plan.sources)]
    return "\n".join(lines) + "\n"


def charge_lines(plan: PourPlan) -> list[str]:
    """What to weigh in."""
    lines = [f"{plan.melt.charge_kg:.2f} kg; the pot holds {plan.capacity_kg:.2f} kg filled to four fifths"]
    if plan.need is not None:
        need = plan.need
        parts = f"castings {need.castings_kg:.2f} kg, gating {need.gating_kg:.2f} kg, lost {need.loss_kg:.2f} kg"
        lines.append(f"{parts} ({need.why})")
    if plan.recipe is not None:
        lines += [f"{name}: {_mass(mass)}" for name, mass in plan.recipe.masses_kg.items()]
        made = ", ".join(f"{symbol} {percent:.3g}" for symbol, percent in plan.recipe.composition.items())
        lines.append(f"gives {plan.recipe.product_kg:.2f} kg of {made} %; cost {plan.recipe.cost:.2f}")
        lines += plan.recipe.notes
    if plan.addition is not None:
        lines.append(f"added cold: {plan.addition.why}")
    return lines


def energy_lines(plan: PourPlan) -> list[str]:
    """How much energy, how long, what it costs."""
    energy = plan.energy
    low, high = energy.supplied_kwh
    lines = [f"{low:.1f} to {high:.1f} kWh supplied for {energy.useful_kwh:.2f} kWh in metal and pot"]
    if energy.minutes is not None:
        lines.append(f"{energy.minutes[0]:.0f} to {energy.minutes[1]:.0f} min from cold to tap")
    if energy.cost is not None:
        lines.append(f"cost {energy.cost[0]:.2f} to {energy.cost[1]:.2f}")
    return [*lines, energy.why]


def pot_lines(plan: PourPlan, unit: Unit) -> list[str]:
    """Aim and limits of the pot, probe, hydrogen."""
    facts = plan.melt.alloy
    solid, liquid = format_temperature(facts.solidus_c, unit), format_temperature(facts.liquidus_c, unit)
    margin = format_difference(facts.liquid_margin_c, unit, 0)
    lines = [
        f"aim for {format_temperature(plan.aim_c, unit)} in the pot",
        f"solid below {solid}, liquid above {liquid}, taken for fully liquid {margin} above that",
    ]
    lines += [
        f"never above {format_temperature(limit.limit_c, unit)}, {limit.whose}: {limit.why}"
        for limit in plan.melt.limits
    ]
    return lines + [text for text in (plan.hydrogen, plan.probe_tube) if text]


def mould_lines(planned: MouldPlan, advice: MouldAdvice, plan: PourPlan, unit: Unit) -> list[str]:
    """Window at the lip, in the pot, filling and feeding."""
    top_c = min(planned.tap_max_c, plan.melt.lowest_limit.limit_c)
    losing = f"{format_difference(planned.loss_c, unit, 0)} +- {format_difference(planned.loss_u_c, unit, 0)}"
    tap = f"{format_temperature(planned.tap_min_c, unit)} to {format_temperature(top_c, unit)}"
    if top_c < planned.tap_min_c:
        wanted, allowed = format_temperature(planned.tap_min_c, unit), format_temperature(top_c, unit)
        tap = f"{wanted} wanted, {allowed} allowed: no window"
    lines = [
        f"at the lip {format_temperature(planned.lip_min_c, unit)} to {format_temperature(planned.lip_max_c, unit)}",
        f"in the pot {tap}, losing {losing} on the way",
        planned.why,
    ]
    if advice.fill is not None:
        lines.append(f"fills from {format_temperature(advice.fill.lowest_c, unit)}: {advice.fill.why}")
        lines.append(f"surface tension asks for {advice.fill.head_needed_mm:.0f} mm of metal above the section")
    if advice.flow_at_middle_mm is not None:
        lines.append(f"runs about {rough(advice.flow_at_middle_mm)} mm in the thinnest section at mid-window")
    lines += advice.notes
    if advice.solid_s is not None and advice.riser_mm is not None:
        lines.append(
            f"thickest section solid after about {rough(advice.solid_s)} s in dry sand (+-50 %); a riser that outlasts "
            f"it is {advice.riser_mm:.0f} mm wide and high"
        )
    return lines


def caution_lines(plan: PourPlan) -> list[str]:
    """Hazards of the sheet, then cautions with their limits."""
    lines = list(plan.hazards)
    for caution in plan.cautions:
        limits = f" Limits: {'; '.join(caution.limits)}." if caution.limits else ""
        lines.append(caution.text + limits)
    return lines


def level_words(plan: PourPlan) -> str:
    """`undisturbed level 0, no alarm level; skimming or pouring level 1, advice`."""
    names = {0: "no alarm level", 1: "advice", 2: "advice", 3: "alarm"}
    if plan.fume is None:
        return ""
    still, bare = plan.fume.level_still, plan.fume.level_disturbed
    return f"undisturbed level {still}, {names[still]}; skimming or pouring level {bare}, {names[bare]}"


def _mass(mass_kg: float) -> str:
    return f"{mass_kg:.3f} kg" if mass_kg >= 0.1 else f"{mass_kg * 1000.0:.1f} g"


def _list(items: "list[str] | tuple[str, ...]") -> list[str]:
    wrapped = []
    for item in items:
        wrapped += textwrap.wrap(item, WIDTH, initial_indent="  - ", subsequent_indent="    ", break_on_hyphens=False)
    return wrapped
