"""A pour plan as plain text for a terminal or a printer. Numbers come ready in `PourPlan`, none is made here."""

import textwrap
from collections.abc import Iterable

import msgspec

from pourcall.contract.plan import MouldPlan
from pourcall.contract.units import Unit, format_difference, format_temperature, in_unit
from pourcall.metal.vapour.fume import rough
from pourcall.planning.planner import PourPlan
from pourcall.texts import written

WIDTH = 100
MAIN_SOURCES = ("solidus", "liquidus", "pour_min", "pour_max", "alloy_max")


def render_text(plan: PourPlan, unit: Unit = Unit.C, *, sources: bool = False) -> str:
    """The whole plan, at most 100 columns, temperatures in `unit`, in the reasons too. `sources`: of every number."""

    def part(title: str, items: Iterable[str], mark: str = "- ") -> list[str]:
        return [title, *(line for item in items for line in _wrapped(in_unit(item, unit), mark)), ""]

    lines = [f"Plan for {plan.alloy_name} ({plan.alloy_key}, sheet {plan.sheet_hash})", ""]
    if plan.conflicts:
        lines += part("THIS PLAN CANNOT BE POURED AS IT IS", plan.conflicts)
    lines += part("Charge", charge_lines(plan))
    lines += part("Energy", energy_lines(plan))
    lines += part("Pot", pot_lines(plan, unit))
    lines += part("Suggested profile", plan.profile)
    for order, planned in enumerate(plan.melt.moulds):
        lines += part(f"Mould {planned.name}", [*window_lines(planned, plan, unit), *advice_lines(plan, order, unit)])
    if plan.fume is not None:
        lines += part(f"Fume, to a factor of ten ({level_words(plan)})", plan.fume.words)
    lines += part("Mind", caution_lines(plan))
    lines += part("Wear and have at hand", plan.clothing, "[ ] ")
    lines += part("Where the numbers come from", source_lines(plan, every=sources))
    return "\n".join(lines)


def source_lines(plan: PourPlan, *, every: bool) -> list[str]:
    """The sources of all numbers, or of those a pour hangs on with where to find the others."""
    if every:
        return list(plan.sources)
    main = "; ".join(text for text in plan.sources if text.split()[0] in MAIN_SOURCES)
    return [main, f"all others, and what their sources say: pourcall alloy show {plan.alloy_key}"]


def charge_lines(plan: PourPlan) -> list[str]:
    """What to weigh in."""
    lines = [f"{plan.melt.charge_kg:.2f} kg; the pot holds {plan.capacity_kg:.2f} kg filled to four fifths"]
    if plan.need is not None:
        need = plan.need
        gating = f", gating {need.gating_kg:.2f} kg" if need.gating_kg > 0.0 else ", gating included"
        heel = f", {need.heel_kg:.2f} kg left in the pot" if need.heel_kg > 0.0 else ""
        share = need.loss_kg / need.charge_kg
        lines.append(f"castings {need.castings_kg:.2f} kg{gating}, dross {need.loss_kg:.2f} kg ({share:.0%}){heel}")
    if plan.recipe is not None:
        lines += [f"{name}: {_mass(mass)}" for name, mass in plan.recipe.masses_kg.items()]
        made = ", ".join(f"{symbol} {percent:.3g}" for symbol, percent in plan.recipe.composition.items())
        lines.append(f"gives {plan.recipe.product_kg:.2f} kg of {made} %; cost {plan.recipe.cost:.2f}")
        lines += plan.recipe.notes
    if plan.addition is not None:
        lines.append(f"added cold: {plan.addition.why}")
    return [*lines, *plan.notes]


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
    lowest, *others = plan.melt.limits
    lines.append(f"never above {format_temperature(lowest.limit_c, unit)}, {lowest.whose}: {lowest.why}")
    if others:
        said = "; ".join(f"{limit.whose} {format_temperature(limit.limit_c, unit)} ({limit.why})" for limit in others)
        lines.append(f"limits farther up: {said}")
    return lines + [text for text in (plan.hydrogen, plan.probe_tube) if text]


def window_lines(planned: MouldPlan, plan: PourPlan, unit: Unit) -> list[str]:
    """Window at the lip and in the pot, and why."""
    top_c = min(planned.tap_max_c, plan.melt.lowest_limit.limit_c)
    losing = f"{format_difference(planned.loss_c, unit, 0)} +- {format_difference(planned.loss_u_c, unit, 0)}"
    tap = f"{format_temperature(planned.tap_min_c, unit)} to {format_temperature(top_c, unit)}"
    if top_c < planned.tap_min_c:
        wanted, allowed = format_temperature(planned.tap_min_c, unit), format_temperature(top_c, unit)
        tap = f"{wanted} wanted, {allowed} allowed: no window"
    return [
        f"in the pot {tap}, losing {losing} on the way",
        f"at the lip {format_temperature(planned.lip_min_c, unit)} to {format_temperature(planned.lip_max_c, unit)}",
        written(planned.why),
    ]


def advice_lines(plan: PourPlan, order: int, unit: Unit) -> list[str]:
    """Filling and feeding of the mould that is `order`; where an earlier one has the same, only its name."""
    advice = plan.moulds[order]
    bare = msgspec.structs.replace(advice, name="")
    alike = [one.name for one in plan.moulds[:order] if msgspec.structs.replace(one, name="") == bare]
    if alike:
        return [f"filling and feeding as {alike[0]}"]
    lines = []
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


def _wrapped(text: str, mark: str) -> list[str]:
    later = " " * (2 + len(mark))
    return textwrap.wrap(text, WIDTH, initial_indent=f"  {mark}", subsequent_indent=later, break_on_hyphens=False)
