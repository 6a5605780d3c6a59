"""What to weigh in. Metals at hand and the alloy's limits in, the cheapest charge out; or which element bars it.

A linear programme: masses of the metals, less each element's loss on melting, must give the wanted mass inside the
limits of the sheet. Where no mixture does, the one that misses by least says which element, by how much and which way.
The same programme corrects a bath that is already in the pot. Losses by element are common practice (memory, M2).
"""

from collections.abc import Mapping, Sequence

import msgspec

from pourcall.contract.errors import BadInput, OutOfRange, Refused
from pourcall.contract.message import Message, tell
from pourcall.metal.alloys.elements import molar_mass
from pourcall.metal.alloys.sheet import AlloySheet
from pourcall.planning import linear_programme as simplex

OTHERS_EACH_PERCENT = 0.10  # most of an element that the sheet does not name (common practice, no source)
LOSS = {"Zn": 0.02, "Mg": 0.05, "Al": 0.01, "Cu": 0.005, "Si": 0.01, "Mn": 0.03, "Be": 0.10, "P": 0.10}
LOSS_ELSE = 0.01
DEFAULT_GUARD = 0.25
_NOTHING = 1e-6


class Ingredient(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A metal at hand: composition in weight percent, price, how much there is and how much must go in."""

    name: str
    composition: dict[str, float]
    price_per_kg: float = 0.0
    available_kg: float | None = None
    least_kg: float = 0.0


class Bath(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Metal already molten in the pot."""

    mass_kg: float
    composition: dict[str, float]


class Recipe(msgspec.Struct, frozen=True, kw_only=True):
    """What to weigh in and what comes of it."""

    masses_kg: dict[str, float]  # by ingredient, those of weight only
    added_kg: float
    product_kg: float
    loss_kg: float
    cost: float
    composition: dict[str, float]  # of the product, weight percent
    notes: tuple[Message, ...] = ()


class _Metal(msgspec.Struct, frozen=True):
    """One ingredient as the programme sees it: kg of each element that one kg leaves in the product."""

    name: str
    kept: dict[str, float]
    total: float


def element_limits(sheet: AlloySheet, elements: Sequence[str], guard: float = 0.0) -> dict[str, tuple[float, float]]:
    """Lowest and highest weight percent of each element; the balance metal is free unless the sheet limits it.

    `guard` (0 to 1) moves each limit that share of the way to the nominal figure.
    """
    limits = {}
    for symbol in sorted({*elements, *sheet.composition}):
        share = sheet.composition.get(symbol)
        if share is not None:
            low = share.min if share.min is not None else 0.0
            high = share.max if share.max is not None else 100.0
            aim = share.nominal
            limits[symbol] = (low + guard * (aim - low) if low > 0.0 else 0.0, high)
            if high < 100.0 and aim > 0.0:
                limits[symbol] = (limits[symbol][0], high - guard * (high - aim))
        elif symbol != sheet.base:
            limits[symbol] = (0.0, OTHERS_EACH_PERCENT)
    return limits


def recipe(
    sheet: AlloySheet,
    product_kg: float,
    ingredients: Sequence[Ingredient],
    *,
    bath: Bath | None = None,
    loss: Mapping[str, float] | None = None,
    guard: float = DEFAULT_GUARD,
) -> Recipe:
    """The cheapest charge that gives `product_kg` of the alloy, bath included.

    `guard` keeps it off the limits: a share of the way from each limit to the nominal figure. Where only a charge on
    the limit exists, that is given with a note. Raises Refused naming each element that bars it, by how much and which
    way; BadInput or OutOfRange for ingredients that cannot be meant.
    """
    if not 0.0 <= guard < 1.0:
        raise OutOfRange(tell("charge_plan.wrong.guard", guard=guard), remedy=tell("charge_plan.wrong.guard.remedy"))
    if guard > 0.0:
        try:
            return _solve(sheet, product_kg, ingredients, bath, loss, guard)
        except Refused:
            found = _solve(sheet, product_kg, ingredients, bath, loss, 0.0)
            return msgspec.structs.replace(found, notes=(*found.notes, tell("charge_plan.recipe.on_limit")))
    return _solve(sheet, product_kg, ingredients, bath, loss, 0.0)


def _solve(
    sheet: AlloySheet,
    product_kg: float,
    ingredients: Sequence[Ingredient],
    bath: Bath | None,
    loss: Mapping[str, float] | None,
    guard: float,
) -> Recipe:
    metals = _check(product_kg, ingredients, bath, {**LOSS, **(loss or {})})
    start = {symbol: percent / 100.0 * bath.mass_kg for symbol, percent in bath.composition.items()} if bath else {}
    start_kg = bath.mass_kg if bath else 0.0
    elements = sorted({symbol for metal in metals for symbol in metal.kept} | set(start))
    limits = element_limits(sheet, elements, guard)
    at_most, equal, count = _rows(metals, ingredients, limits, start, start_kg, product_kg)
    size = len(metals)
    misses = simplex.minimise([0.0] * size + [1.0] * (count - size), at_most, equal)
    if misses is None:  # the slacks make every mixture allowed; only the stocks can still bar it
        have_kg = sum(one.available_kg or 0.0 for one in ingredients)
        raise Refused(
            tell("charge_plan.recipe.too_little", product_kg=product_kg, have_kg=have_kg + start_kg),
            remedy=tell("charge_plan.recipe.too_little.remedy"),
        )
    if sum(misses[size:]) > _NOTHING * product_kg:
        raise Refused(
            tell(
                "charge_plan.recipe.barred",
                alloy=sheet.name,
                reasons=_barred(metals, limits, start, product_kg, misses[:size]),
            ),
            remedy=tell("charge_plan.recipe.barred.remedy"),
        )
    priced = [one.price_per_kg for one in ingredients]
    cost_row = priced if any(priced) else [1.0] * size
    tight = [(row[:size], bound) for row, bound in at_most]
    masses = simplex.minimise(cost_row, tight, [(row[:size], bound) for row, bound in equal])
    if masses is None:  # within rounding of a limit: what misses by nothing is the answer
        masses = misses[:size]
    return _recipe(metals, ingredients, limits, start, start_kg, masses, sheet)


_Row = tuple[list[float], float]


def _rows(
    metals: Sequence[_Metal],
    ingredients: Sequence[Ingredient],
    limits: Mapping[str, tuple[float, float]],
    start: Mapping[str, float],
    start_kg: float,
    product_kg: float,
) -> tuple[list[_Row], list[_Row], int]:
    """Constraints with one slack for each side of each element; the first columns are the masses."""
    sides: list[tuple[str, bool, float]] = []
    for symbol, (low, high) in limits.items():
        if low > 0.0:
            sides.append((symbol, False, low))
        if high < 100.0:
            sides.append((symbol, True, high))
    count = len(metals) + len(sides)
    at_most: list[_Row] = []
    for number, (symbol, upper, percent) in enumerate(sides):
        sign = 1.0 if upper else -1.0
        row = [sign * metal.kept.get(symbol, 0.0) for metal in metals] + [0.0] * len(sides)
        row[len(metals) + number] = -1.0
        at_most.append((row, sign * (percent / 100.0 * product_kg - start.get(symbol, 0.0))))
    for number, one in enumerate(ingredients):
        unit = [0.0] * count
        unit[number] = 1.0
        if one.available_kg is not None:
            at_most.append((unit, one.available_kg))
        if one.least_kg > 0.0:
            at_most.append(([-value for value in unit], -one.least_kg))
    whole = [metal.total for metal in metals] + [0.0] * len(sides)
    return at_most, [(whole, product_kg - start_kg)], count


def _barred(
    metals: Sequence[_Metal],
    limits: Mapping[str, tuple[float, float]],
    start: Mapping[str, float],
    product_kg: float,
    masses: Sequence[float],
) -> tuple[Message, ...]:
    parts = []
    for symbol, (low, high) in limits.items():
        kg = start.get(symbol, 0.0) + sum(
            m * metal.kept.get(symbol, 0.0) for m, metal in zip(masses, metals, strict=True)
        )
        percent = 100.0 * kg / product_kg
        if percent > high + 1e-4:
            by = _figures(percent - high, 2)
            parts.append(tell("charge_plan.recipe.over", symbol=symbol, best=_figures(percent, 3), by=by, limit=high))
        elif percent < low - 1e-4:
            by = _figures(low - percent, 2)
            parts.append(tell("charge_plan.recipe.short", symbol=symbol, best=_figures(percent, 3), by=by, limit=low))
    return tuple(parts) or (tell("charge_plan.recipe.together"),)


def _figures(percent: float, count: int) -> float:
    """With so many significant figures: a best of 0.0746 % and one of 26.4 % are told equally closely."""
    return float(f"{percent:.{count}g}")


def _recipe(
    metals: Sequence[_Metal],
    ingredients: Sequence[Ingredient],
    limits: Mapping[str, tuple[float, float]],
    start: Mapping[str, float],
    start_kg: float,
    masses: Sequence[float],
    sheet: AlloySheet,
) -> Recipe:
    kept = dict(start)
    for mass, metal in zip(masses, metals, strict=True):
        for symbol, share in metal.kept.items():
            kept[symbol] = kept.get(symbol, 0.0) + mass * share
    product_kg = start_kg + sum(mass * metal.total for mass, metal in zip(masses, metals, strict=True))
    notes = []
    for symbol in sorted(kept):
        if symbol in limits and symbol not in sheet.composition and kept[symbol] > 0.0:
            notes.append(tell("charge_plan.recipe.unnamed", symbol=symbol, percent=OTHERS_EACH_PERCENT))
    return Recipe(
        masses_kg={one.name: mass for one, mass in zip(ingredients, masses, strict=True) if mass > _NOTHING},
        added_kg=sum(masses),
        product_kg=product_kg,
        loss_kg=start_kg + sum(masses) - product_kg,
        cost=sum(one.price_per_kg * mass for one, mass in zip(ingredients, masses, strict=True)),
        composition={symbol: 100.0 * kg / product_kg for symbol, kg in sorted(kept.items())},
        notes=tuple(notes),
    )


def _check(
    product_kg: float, ingredients: Sequence[Ingredient], bath: Bath | None, loss: Mapping[str, float]
) -> list[_Metal]:
    if not 0.0 < product_kg <= 2000.0:
        raise OutOfRange(tell("charge_plan.wrong.charge", charge_kg=product_kg), remedy=tell("error.figure.remedy"))
    if not ingredients:
        raise BadInput(tell("charge_plan.wrong.no_metal"), remedy=tell("charge_plan.wrong.no_metal.remedy"))
    for symbol, share in loss.items():
        if not 0.0 <= share < 0.9:
            raise OutOfRange(
                tell("charge_plan.wrong.loss", loss_share=share, symbol=symbol), remedy=tell("error.figure.remedy")
            )
    if bath is not None:
        _check_shares(tell("charge_plan.bath"), bath.composition)
        if not 0.0 <= bath.mass_kg <= product_kg:
            raise OutOfRange(
                tell("charge_plan.wrong.bath", bath_kg=bath.mass_kg, charge_kg=product_kg),
                remedy=tell("charge_plan.wrong.bath.remedy"),
            )
    names = [one.name for one in ingredients]
    metals = []
    for one in ingredients:
        if names.count(one.name) > 1 or not one.name.strip():
            raise BadInput(tell("charge_plan.wrong.name", metal=one.name), remedy=tell("charge_plan.wrong.name.remedy"))
        _check_shares(one.name, one.composition)
        if not (one.least_kg >= 0.0 and one.price_per_kg >= 0.0):
            raise OutOfRange(tell("charge_plan.wrong.below_0", metal=one.name), remedy=tell("error.figure.remedy"))
        most = one.available_kg
        if most is not None and not one.least_kg <= most:
            raise OutOfRange(
                tell("charge_plan.wrong.stock", metal=one.name, least_kg=one.least_kg, most_kg=most),
                remedy=tell("error.figure.remedy"),
            )
        kept = {
            symbol: percent / 100.0 * (1.0 - loss.get(symbol, LOSS_ELSE)) for symbol, percent in one.composition.items()
        }
        metals.append(_Metal(one.name, kept, sum(kept.values())))
    return metals


def _check_shares(metal: str | Message, composition: Mapping[str, float]) -> None:
    for symbol, percent in composition.items():
        molar_mass(symbol)  # raises BadInput for what is no element
        if not 0.0 <= percent <= 100.0:
            raise BadInput(
                tell("charge_plan.wrong.percent", metal=metal, percent=percent, symbol=symbol),
                remedy=tell("error.figure.remedy"),
            )
    total = sum(composition.values())
    if not 99.0 <= total <= 101.0:
        raise BadInput(
            tell("charge_plan.wrong.sum", metal=metal, percent=total), remedy=tell("charge_plan.wrong.sum.remedy")
        )
