"""Pours side by side. What differs, differences first; whether more than the temperature changed.

Pure: facts in, `Comparison` out, temperatures degC. What counts as a change of the trial, and how much of
one, is judgement and stands in one table. Not here: words and pages (compare_page.py), what temperature to try next
(advice.py).
"""

from collections.abc import Callable, Iterable, Sequence
from typing import Literal

import msgspec

from pourcall.contract.errors import BadInput
from pourcall.contract.message import Message, tell
from pourcall.records.read.facts import PourFacts
from pourcall.records.read.simulated_melts import TAG
from pourcall.records.read.views import PourRow

MOST = 8
Value = str | float | None
Kind = Literal["text", "temp", "lowest", "highest", "apart", "kg", "mm", "s", "count"]
Weight = Literal["result", "temperature", "cause", "beside"]


class Aspect(msgspec.Struct, frozen=True):
    """One thing pours may differ in. `weight`: cause: another change than temperature; beside: told, not warned of."""

    name: str
    kind: Kind
    weight: Weight
    of: Callable[[PourFacts], Value]
    apart: float = 0.0  # figures closer than this are the same
    share: float = 0.0  # so are those within this share of the larger


class Line(msgspec.Struct, frozen=True, kw_only=True):
    """One aspect of all pours, in their order; None where it is not known."""

    name: str
    kind: Kind
    weight: Weight
    values: tuple[Value, ...]


class Comparison(msgspec.Struct, frozen=True, kw_only=True):
    """`differ` has results and temperatures first, then what else changed."""

    pours: tuple[str, ...]
    differ: tuple[Line, ...]
    same: tuple[Line, ...]
    warnings: tuple[Message, ...]


def _setup_text(field: str) -> Callable[[PourFacts], Value]:
    return lambda facts: None if facts.setup is None else getattr(facts.setup, field) or None


def _thinnest(facts: PourFacts) -> Value:
    if facts.setup is not None and facts.setup.thinnest_mm is not None:
        return facts.setup.thinnest_mm
    return None if facts.mould is None else facts.mould.thinnest_mm


def _mass(facts: PourFacts) -> Value:
    if facts.setup is not None and facts.setup.mass_kg is not None:
        return facts.setup.mass_kg
    return None if facts.mould is None else facts.mould.mass_kg or None


def _material(facts: PourFacts) -> Value:
    if facts.setup is not None and facts.setup.material:
        return facts.setup.material
    return None if facts.mould is None else facts.mould.material


def _remelts(facts: PourFacts) -> Value:
    counts = [charge.remelts for charge in facts.charges if charge.remelts is not None]
    return float(max(counts)) if counts else None


def _sources(facts: PourFacts) -> Value:
    told = {f"{charge.source} of {charge.origin}" if charge.origin else charge.source for charge in facts.charges}
    return ", ".join(sorted(told - {""})) or None


def _preheat(facts: PourFacts) -> Value:
    return None if facts.setup is None else facts.setup.preheat_c


def _probe(facts: PourFacts) -> Value:
    found = next((probe for probe in facts.probes if probe.name == facts.main_probe), None)
    if found is None:
        return None
    told = (facts.furnace, found.name, found.tc_type, found.wire_class, found.sheath, found.place)
    return " ".join(word.replace("_", " ") for word in told if word)


def _correction(facts: PourFacts) -> Value:
    found = next((probe for probe in facts.probes if probe.name == facts.main_probe), None)
    return None if found is None else f"{found.offset_uv:+g} uV"


def _loss(facts: PourFacts) -> Value:
    row = facts.row
    return None if row.pot_temp_c is None or row.lip_temp_c is None else row.pot_temp_c - row.lip_temp_c


def _way(facts: PourFacts) -> Value:
    return None if facts.lift_s is None else facts.pour_s - facts.lift_s


# Tolerances are judgement: what a careful person repeats without meaning to change it.
ASPECTS: tuple[Aspect, ...] = (
    Aspect("result", "text", "result", lambda f: f.row.result or "not_inspected_yet"),
    Aspect("at_lip", "temp", "temperature", lambda f: f.row.lip_temp_c, apart=0.5),
    Aspect("uncertainty", "apart", "temperature", lambda f: f.row.lip_u_c, apart=0.5),
    Aspect("in_pot", "temp", "temperature", lambda f: f.row.pot_temp_c, apart=0.5),
    Aspect("lost", "apart", "temperature", _loss, apart=0.5),
    Aspect("alloy", "text", "cause", lambda f: f.alloy_name),
    Aspect("setup", "text", "cause", lambda f: f.row.setup or f.row.mould),
    Aspect("pattern", "text", "cause", _setup_text("pattern")),
    Aspect("mould_material", "text", "cause", _material),
    Aspect("batch", "text", "cause", _setup_text("batch")),
    Aspect("preheat", "temp", "cause", _preheat, apart=20.0),
    Aspect("gating", "text", "cause", _setup_text("gating")),
    Aspect("venting", "text", "cause", _setup_text("venting")),
    Aspect("thinnest", "mm", "cause", _thinnest, apart=0.05),
    Aspect("mass", "kg", "cause", _mass, share=0.05),
    Aspect("detail", "text", "cause", _setup_text("detail")),
    Aspect("metal_source", "text", "cause", _sources),
    Aspect("remelt_count", "count", "cause", _remelts),
    Aspect("time_liquid", "s", "cause", lambda f: f.liquid_s, apart=120.0, share=0.3),
    Aspect("probe", "text", "cause", _probe),
    Aspect("probe_correction", "text", "cause", _correction),
    Aspect("window_low", "lowest", "beside", lambda f: f.row.lip_min_c, apart=0.5),
    Aspect("window_high", "highest", "beside", lambda f: f.row.lip_max_c, apart=0.5),
    Aspect("highest_in_pot", "temp", "beside", lambda f: f.highest_c, apart=3.0),
    Aspect("lift_to_pour", "s", "beside", _way, apart=2.0),
    Aspect("charge", "kg", "beside", lambda f: f.charge_kg, share=0.05),
    Aspect("mould", "text", "beside", lambda f: f.row.mould),
    Aspect("order", "count", "beside", lambda f: float(f.row.number)),
    Aspect("marked", "text", "beside", lambda f: f.row.marked),
)


def compare(several: Sequence[PourFacts]) -> Comparison:
    """What differs between two to eight pours. Raises BadInput for one, too many, or the same twice."""
    names = [facts.row.pour for facts in several]
    if not 2 <= len(names) <= MOST or len(set(names)) < len(names):
        raise BadInput(tell("comparison.not_several"), remedy=tell("comparison.not_several.remedy", most=MOST))
    differ: list[Line] = []
    same: list[Line] = []
    for aspect in ASPECTS:
        values = tuple(aspect.of(facts) for facts in several)
        if all(value is None for value in values):
            continue
        line = Line(name=aspect.name, kind=aspect.kind, weight=aspect.weight, values=values)
        (same if _alike(values, aspect) else differ).append(line)
    return Comparison(
        pours=tuple(names), differ=tuple(differ), same=tuple(same), warnings=tuple(_warnings(several, differ))
    )


def _alike(values: Sequence[Value], aspect: Aspect) -> bool:
    """Known of some and unknown of others counts as different: what was not told may have changed."""
    if any(value is None for value in values):
        return False
    figures = [value for value in values if isinstance(value, float | int)]
    if len(figures) < len(values):
        return len(set(values)) == 1
    spread = max(figures) - min(figures)
    return spread <= max(aspect.apart, aspect.share * max(abs(figure) for figure in figures), 1e-9)


def _names(of: Iterable[Line]) -> tuple[Message, ...]:
    return tuple(tell(f"word.aspect.{line.name}") for line in of)


def _warnings(several: Sequence[PourFacts], differ: Sequence[Line]) -> list[Message]:
    told = []
    never = [facts.row.pour for facts in several if facts.simulated or TAG in facts.tags]
    if never and len(never) < len(several):
        told.append(tell("comparison.some_invented", pours=", ".join(never)))
    causes = [line for line in differ if line.weight == "cause"]
    known = [line for line in causes if None not in line.values]
    unsure = [line for line in causes if None in line.values]
    if known:
        told.append(tell("comparison.more_changed", what=_names(known)))
    if unsure:
        told.append(tell("comparison.unsure", what=_names(unsure)))
    lips = [f.row for f in several if f.row.lip_temp_c is not None]
    if len(lips) < len(several):
        told.append(tell("comparison.lip_unknown"))
    if len(lips) >= 2:
        told += _told_apart(min(lips, key=_lip), max(lips, key=_lip))
    waiting = [f.row.pour for f in several if not f.row.result]
    if waiting:
        told.append(tell("comparison.waiting", pours=", ".join(waiting)))
    if never and len(never) == len(several):
        told.append(tell("comparison.all_invented"))
    return told


def _told_apart(low: PourRow, high: PourRow) -> list[Message]:
    """Where the coldest and the hottest are closer than their uncertainty together (GUM, 5.1.2).

    Pours that rest on one figure of the pot share its error: only what the way adds counts between them.
    """
    squares = [(row.lip_u_c or 0.0) ** 2 for row in (low, high)]
    if low.melt == high.melt and low.pot_temp_c is not None and low.pot_temp_c == high.pot_temp_c:
        squares = [max(0.0, u2 - (row.pot_u_c or 0.0) ** 2) for u2, row in zip(squares, (low, high), strict=True)]
    apart_c, u_c = _lip(high) - _lip(low), sum(squares) ** 0.5
    if apart_c > u_c:
        return []
    return [tell("comparison.alike", low_c=_lip(low), high_c=_lip(high), apart_difference_c=apart_c, together_u_c=u_c)]


def _lip(row: PourRow) -> float:
    return row.lip_temp_c or 0.0
