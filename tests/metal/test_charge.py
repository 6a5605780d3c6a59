"""Tests of the charge: metal needed, pot, recipes and the small linear programme behind them."""

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from pourcall.contract.errors import BadInput, OutOfRange, Refused
from pourcall.contract.message import tell
from pourcall.metal.alloys.sheet import load_sheets
from pourcall.planning import charge
from pourcall.planning import linear_programme as simplex
from pourcall.planning.recipe import Bath, Ingredient, element_limits, recipe
from tests.told import parts

LIBRARY = load_sheets()
ZA27, BRONZE = LIBRARY.get("za27"), LIBRARY.get("c87300")
ZINC = Ingredient(name="zinc", composition={"Zn": 99.995, "Fe": 0.005}, price_per_kg=3.1)
ALUMINIUM = Ingredient(name="aluminium", composition={"Al": 99.7, "Fe": 0.2, "Si": 0.1}, price_per_kg=3.5)
COPPER = Ingredient(name="copper wire", composition={"Cu": 100.0}, price_per_kg=9.0)
MAGNESIUM = Ingredient(name="magnesium", composition={"Mg": 100.0}, price_per_kg=30.0)
ALL = (ZINC, ALUMINIUM, COPPER, MAGNESIUM)


def test_a_recipe_meets_the_limits_and_the_mass() -> None:
    found = recipe(ZA27, 2.4, ALL)
    assert found.product_kg == pytest.approx(2.4)
    assert found.added_kg == pytest.approx(found.product_kg + found.loss_kg)
    assert sum(found.masses_kg.values()) == pytest.approx(found.added_kg)
    for symbol, (low, high) in element_limits(ZA27, tuple(found.composition)).items():
        assert low - 1e-6 <= found.composition.get(symbol, 0.0) <= high + 1e-6, symbol
    assert sum(found.composition.values()) == pytest.approx(100.0)


def test_the_classic_charge_by_hand() -> None:
    # Without loss the nominal alloy is a weighing: 4 % silicon of 10 kg are 0.4 kg (arithmetic, no source).
    silicon = Ingredient(name="silicon", composition={"Si": 100.0})
    manganese = Ingredient(name="manganese", composition={"Mn": 100.0})
    no_loss = {"Cu": 0.0, "Si": 0.0, "Mn": 0.0}
    found = recipe(BRONZE, 10.0, [COPPER, silicon, manganese], loss=no_loss, guard=0.999999)
    assert found.masses_kg["silicon"] == pytest.approx(0.40, abs=1e-3)
    assert found.masses_kg["manganese"] == pytest.approx(0.11, abs=1e-3)


def test_cheap_returns_are_used_first_and_only_as_many_as_there_are() -> None:
    returns = Ingredient(name="returns", composition={"Zn": 71.29, "Al": 26.5, "Cu": 2.2, "Mg": 0.01}, available_kg=1.0)
    found = recipe(ZA27, 2.4, (*ALL, returns))
    assert found.masses_kg["returns"] == pytest.approx(1.0, abs=1e-6)
    assert found.cost < recipe(ZA27, 2.4, ALL).cost


def test_what_must_go_in_goes_in() -> None:
    risers = Ingredient(
        name="risers", composition={"Zn": 71.29, "Al": 26.5, "Cu": 2.2, "Mg": 0.01}, price_per_kg=50.0, least_kg=0.5
    )
    assert recipe(ZA27, 2.4, (*ALL, risers)).masses_kg["risers"] == pytest.approx(0.5)


def test_loss_on_melting_is_made_up_for() -> None:
    hot = recipe(ZA27, 2.4, ALL, loss={"Zn": 0.10})
    assert hot.added_kg > recipe(ZA27, 2.4, ALL).added_kg


def test_a_bath_is_corrected_with_what_it_lacks() -> None:
    bath = Bath(mass_kg=2.0, composition={"Zn": 80.0, "Al": 18.0, "Cu": 2.0})
    found = recipe(ZA27, 3.0, ALL, bath=bath)
    assert found.product_kg == pytest.approx(3.0)
    assert found.composition["Al"] >= 25.0
    assert found.added_kg == pytest.approx(1.0 + found.loss_kg)


def test_a_recipe_without_solution_names_each_element_by_how_much_and_which_way() -> None:
    with pytest.raises(Refused) as told:
        recipe(ZA27, 2.4, (ZINC, ALUMINIUM))
    copper, magnesium = parts(told.value.what, "reasons")
    assert copper == tell("charge_plan.recipe.short", symbol="Cu", best=0.0, by=2.0, limit=2.0)
    assert (magnesium.name, magnesium.facts["symbol"]) == ("charge_plan.recipe.short", "Mg")
    dirty = Ingredient(name="dirty", composition={"Al": 24.0, "Zn": 72.5, "Cu": 2.2, "Fe": 1.3})
    with pytest.raises(Refused) as told:
        recipe(ZA27, 2.4, (dirty,))
    (iron,) = [one for one in parts(told.value.what, "reasons") if one.facts["symbol"] == "Fe"]
    assert (iron.name, iron.facts["limit"]) == ("charge_plan.recipe.over", 0.075)


def test_too_little_metal_is_said() -> None:
    scarce = Ingredient(name="scarce", composition={"Zn": 71.29, "Al": 26.5, "Cu": 2.2, "Mg": 0.01}, available_kg=1.0)
    with pytest.raises(Refused) as told:
        recipe(ZA27, 2.4, (scarce,))
    assert told.value.what == tell("charge_plan.recipe.too_little", product_kg=2.4, have_kg=1.0)


def test_a_charge_that_exists_only_on_a_limit_is_given_with_a_note() -> None:
    edge = Ingredient(name="edge", composition={"Zn": 72.89, "Al": 25.1, "Cu": 2.0, "Mg": 0.0105}, price_per_kg=1.0)
    found = recipe(ZA27, 1.0, (edge,), loss={"Zn": 0.0, "Al": 0.0, "Cu": 0.0, "Mg": 0.0})
    assert any(note.name == "charge_plan.recipe.on_limit" for note in found.notes)


def test_an_element_the_sheet_does_not_name_is_held_down_and_said() -> None:
    nickel = Ingredient(name="coin", composition={"Cu": 75.0, "Ni": 25.0}, price_per_kg=0.1)
    found = recipe(ZA27, 2.4, (*ALL, nickel))
    assert found.composition["Ni"] <= 0.1 + 1e-9
    assert any(note.facts.get("symbol") == "Ni" for note in found.notes)


@settings(max_examples=40)
@given(
    mass_kg=st.floats(0.2, 50.0),
    zinc_price=st.floats(0.0, 20.0),
    zinc_loss=st.floats(0.0, 0.2),
    aluminium_percent=st.floats(90.0, 100.0),
)
def test_every_recipe_found_is_inside_the_limits(
    mass_kg: float, zinc_price: float, zinc_loss: float, aluminium_percent: float
) -> None:
    scrap = Ingredient(
        name="scrap", composition={"Al": aluminium_percent, "Zn": 100.0 - aluminium_percent}, price_per_kg=1.0
    )
    zinc = Ingredient(name="zinc", composition={"Zn": 100.0}, price_per_kg=zinc_price)
    found = recipe(ZA27, mass_kg, (zinc, scrap, COPPER, MAGNESIUM), loss={"Zn": zinc_loss})
    for symbol, (low, high) in element_limits(ZA27, tuple(found.composition)).items():
        assert low - 1e-5 <= found.composition.get(symbol, 0.0) <= high + 1e-5, symbol
    assert found.product_kg == pytest.approx(mass_kg, rel=1e-6)


@pytest.mark.parametrize(
    "bad",
    [
        lambda: recipe(ZA27, 0.0, ALL),
        lambda: recipe(ZA27, -1.0, ALL),
        lambda: recipe(ZA27, float("nan"), ALL),
        lambda: recipe(ZA27, 1.0, ()),
        lambda: recipe(ZA27, 1.0, (ZINC, ZINC)),
        lambda: recipe(ZA27, 1.0, (Ingredient(name="half", composition={"Zn": 50.0}),)),
        lambda: recipe(ZA27, 1.0, (Ingredient(name="fairy", composition={"Xx": 100.0}),)),
        lambda: recipe(ZA27, 1.0, (Ingredient(name="neg", composition={"Zn": 101.0, "Al": -1.0}),)),
        lambda: recipe(ZA27, 1.0, (Ingredient(name="z", composition={"Zn": 100.0}, available_kg=1.0, least_kg=2.0),)),
        lambda: recipe(ZA27, 1.0, ALL, bath=Bath(mass_kg=2.0, composition={"Zn": 100.0})),
        lambda: recipe(ZA27, 1.0, ALL, loss={"Zn": 1.5}),
        lambda: recipe(ZA27, 1.0, ALL, guard=2.0),
        lambda: charge.metal_needed(ZA27, -1.0),
        lambda: charge.metal_needed(ZA27, 1.0, yield_share=0.0),
        lambda: charge.metal_needed(ZA27, 1.0, melt_loss=0.9),
        lambda: charge.metal_needed(ZA27, 1.0, gating_kg=-1.0),
        lambda: charge.pot_capacity_kg(ZA27, -80.0, 100.0),
        lambda: charge.casting_kg(0.0, ZA27),
        lambda: charge.casting_kg_from_pattern(1.0, 0.0, ZA27),
    ],
)
def test_what_cannot_be_meant_is_refused(bad: object) -> None:
    with pytest.raises((BadInput, OutOfRange)):
        bad()  # type: ignore[operator]


def test_metal_needed_adds_up() -> None:
    need = charge.metal_needed(ZA27, 1.2, yield_share=0.6, heel_kg=0.1, melt_loss=0.02)
    assert need.gating_kg == pytest.approx(0.8)
    assert need.charge_kg * 0.98 == pytest.approx(1.2 + 0.8 + 0.1)
    assert need.charge_kg == pytest.approx(need.castings_kg + need.gating_kg + need.heel_kg + need.loss_kg)
    weighed = charge.metal_needed(ZA27, 1.2, gating_kg=0.5)
    assert weighed.poured_kg == pytest.approx(1.7)


def test_casting_mass_from_volume_and_from_pattern_agree() -> None:
    # 120 cm3 of ZA-27 at 5010 kg/m3 (S1); a pattern of polylactide at 1240 kg/m3 (memory) of the same volume.
    assert charge.casting_kg(120.0, ZA27) == pytest.approx(0.6012)
    assert charge.casting_kg_from_pattern(0.120 * 1.24, 1240.0, ZA27) == pytest.approx(0.6012)


def test_pot_capacity_is_that_of_a_cylinder() -> None:
    # pi/4 x 0.09^2 x 0.1 m3 = 636.2 cm3, four fifths of it, 4440 kg/m3 (arithmetic).
    assert charge.pot_capacity_kg(ZA27, 90.0, 100.0) == pytest.approx(0.8 * 636.17e-6 * 4440.0, rel=1e-4)


_numbers = st.floats(-3.0, 3.0).map(lambda value: round(value, 2))


@settings(max_examples=150)
@given(data=st.data(), size=st.integers(1, 6), rows=st.integers(0, 6), equalities=st.integers(0, 2))
def test_the_small_solver_agrees_with_a_general_library(
    data: st.DataObject, size: int, rows: int, equalities: int
) -> None:
    # Witness: scipy.optimize.linprog (HiGHS), a general-purpose solver.
    optimize = pytest.importorskip("scipy.optimize")
    vector = st.lists(_numbers, min_size=size, max_size=size)
    cost = data.draw(vector)
    at_most = [(data.draw(vector), data.draw(_numbers)) for _ in range(rows)] + [([1.0] * size, 10.0)]
    equal = [(data.draw(vector), data.draw(_numbers)) for _ in range(equalities)]
    assume(all(any(row) for row, _ in equal))
    theirs = optimize.linprog(
        cost,
        A_ub=[row for row, _ in at_most],
        b_ub=[bound for _, bound in at_most],
        A_eq=[row for row, _ in equal] or None,
        b_eq=[bound for _, bound in equal] or None,
    )
    ours = simplex.minimise(cost, at_most, equal)
    if theirs.status == 2:
        assert ours is None
    else:
        assert theirs.status == 0
        assert ours is not None
        assert sum(a * b for a, b in zip(cost, ours, strict=True)) == pytest.approx(theirs.fun, abs=1e-6)
        assert all(value >= 0.0 for value in ours)


def test_a_cost_that_falls_without_end_is_said() -> None:
    with pytest.raises(simplex.Unbounded):
        simplex.minimise([-1.0, 0.0], [([0.0, 1.0], 1.0)])
