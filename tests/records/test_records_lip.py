"""How the temperature at the lip is made up: parts that add up, in the order the metal went."""

import math

import msgspec
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from pourcall.contract.events import FigureSource, Marking, PourSource
from pourcall.contract.message import tell
from pourcall.contract.plan import AlloyFacts, LossBasis, MeltPlan, MouldPlan, Way
from pourcall.engine.bath.metal import MetalHistory, MetalNow, TypedFigure
from pourcall.engine.melt.melt_run import MeltRun
from pourcall.records.read.lip_budget import Times, lip_parts
from pourcall.records.read.views import LipPart, LipStep, PourRow
from pourcall.texts import say

ALLOY = AlloyFacts(
    key="za27",
    name="ZA-27",
    family="zinc",
    solidus_c=376.0,
    liquidus_c=484.0,
    pour_min_c=515.0,
    pour_max_c=590.0,
    alloy_max_c=620.0,
    latent_kj_per_kg=128.0,
    cp_solid_j_per_kg_k=534.0,
    cp_liquid_j_per_kg_k=600.0,
    density_liquid_kg_per_m3=4600.0,
)
TOLD_APART = Way(basis=LossBasis.COMPUTED, open_s=15.0, walk_c=9.0, ladle_c=1.5, stream_c=3.5)
STANDS = PourSource(figure=FigureSource.PROBE)


def made(
    pot: MetalNow,
    loss_c: float,
    lift_s: float | None,
    at_s: float,
    *,
    way: Way | None = None,
    source: PourSource | None = STANDS,
    seen_s: float = 100.0,
    loss_u_c: float = 5.0,
) -> tuple[PourRow, MouldPlan]:
    """A pour by the engine's own function, as a row of the record."""
    mould = MouldPlan(name="cleat", lip_min_c=535.0, lip_max_c=570.0, loss_c=loss_c, loss_u_c=loss_u_c, way=way)
    plan = MeltPlan(melt="2026-001", alloy=ALLOY, charge_kg=1.5, moulds=(mould,), limits=())
    run, history = MeltRun(plan, 0.0), MetalHistory()
    history.add(seen_s, pot)
    run.lift_s = lift_s
    pour = run.pour(mould, history, at_s, at_s, 0.0, 1)
    row = PourRow(
        pour="2026-001-1",
        melt="2026-001",
        number=1,
        furnace="club",
        alloy="za27",
        mould="cleat",
        setup="",
        at_utc_s=at_s,
        pot_temp_c=pour.pot_temp_c,
        pot_u_c=pour.pot_u_c,
        lip_temp_c=pour.lip_temp_c,
        lip_u_c=pour.lip_u_c,
        lip_min_c=535.0,
        lip_max_c=570.0,
        marked=Marking.LIVE,
        basis=say(pour.basis),
        result="",
        corrected=False,
        source=source,
    )
    return row, mould


def sum_of(parts: tuple[LipPart, ...]) -> tuple[float, float]:
    """First level, all changes; all uncertainties in quadrature (GUM, JCGM 100:2008, 5.1.2)."""
    *steps, _ = parts
    return (
        sum((part.temp_c or 0.0) + (part.change_c or 0.0) for part in steps),
        math.sqrt(sum((part.u_c or 0.0) ** 2 for part in steps)),
    )


@pytest.mark.parametrize(("read_after_s", "left_c"), [(0.5, 14.625), (8.0, 9.0), (14.0, 4.5), (20.0, 0.0), (60.0, 0.0)])
@pytest.mark.parametrize("poured_after_s", [61.0, 90.0])
def test_a_figure_read_in_the_hand_has_only_the_rest_of_the_way_before_it(
    read_after_s: float, left_c: float, poured_after_s: float
) -> None:
    mould = MouldPlan(name="cleat", lip_min_c=535.0, lip_max_c=570.0, loss_c=15.0, loss_s=20.0)
    plan = MeltPlan(melt="2026-001", alloy=ALLOY, charge_kg=1.5, moulds=(mould,), limits=())
    run, history = MeltRun(plan, 0.0), MetalHistory()
    history.add(100.0, MetalNow(580.0, 5.0, "probe in the metal"))
    run.lift(100.0, proposed=False)
    history.read(TypedFigure(100.0 + read_after_s, 560.0, "handheld"))
    pour = run.pour(mould, history, 100.0 + poured_after_s, 0.0, 0.0, 1)
    row = msgspec.structs.replace(
        made(MetalNow(560.0, 5.0, "x"), 15.0, None, 130.0)[0],
        pot_temp_c=pour.pot_temp_c,
        pot_u_c=pour.pot_u_c,
        lip_temp_c=pour.lip_temp_c,
        lip_u_c=pour.lip_u_c,
        source=pour.source,
    )
    parts = lip_parts(row, mould, Times(at_s=100.0 + poured_after_s, lift_s=100.0, order=1))
    way = [part.change_c for part in parts if part.what is LipStep.WAY]
    assert way == pytest.approx([-left_c, 0.0])
    assert sum_of(parts) == pytest.approx((row.lip_temp_c, row.lip_u_c), abs=1e-6)
    assert parts[-1].text == tell("lip.together")
    assert LipStep.REST not in {part.what for part in parts}


@example(480.0, 1.0, 1.0, 0.0, 0.0625, True)
@given(
    st.floats(480.0, 1200.0),
    st.floats(0.5, 20.0),
    st.floats(0.0, 80.0),
    st.floats(0.0, 12.0),
    st.floats(0.0, 170.0),
    st.booleans(),
)
def test_the_parts_add_up_to_the_figure_and_to_its_uncertainty(
    pot_c: float, pot_u_c: float, loss_c: float, loss_u_c: float, waited_s: float, lifted: bool
) -> None:
    lift_s = 101.0 if lifted else None
    row, mould = made(
        MetalNow(pot_c, pot_u_c, "probe in the metal"), loss_c, lift_s, 101.0 + waited_s, loss_u_c=loss_u_c
    )
    parts = lip_parts(row, mould, Times(at_s=101.0 + waited_s, lift_s=lift_s, order=1))
    level_c, u_c = sum_of(parts)
    assert row.lip_temp_c is not None
    assert level_c == pytest.approx(row.lip_temp_c, abs=1e-6)
    assert u_c == pytest.approx(row.lip_u_c, abs=1e-6)
    assert parts[0].what is LipStep.POT
    assert parts[-1].text == tell("lip.together")
    assert LipStep.REST not in {part.what for part in parts}


def test_lift_walk_ladle_and_stream_stand_apart_where_the_plan_told_them_apart() -> None:
    lifted = PourSource(figure=FigureSource.PROBE, at_lift=True)
    row, mould = made(MetalNow(570.0, 3.0, "probe in the metal"), 14.0, 101.0, 131.0, way=TOLD_APART, source=lifted)
    parts = lip_parts(row, mould, Times(at_s=131.0, lift_s=101.0, order=2))
    assert [(part.what, part.change_c) for part in parts[1:-1]] == [
        (LipStep.WALK, -9.0),
        (LipStep.LADLE, -1.5),
        (LipStep.STREAM, -3.5),
        (LipStep.WAY, None),
        (LipStep.WAITING, pytest.approx(-7.0, abs=0.1)),  # 10 s at 14 degC in 20 s, a little less as it cools
    ]
    assert parts[4].text == tell("lip.way.u", loss_basis="computed")
    assert parts[5].text == tell("lip.waited", extra_s=10.0, planned_s=20.0, order=2)
    assert parts[-1].temp_c == row.lip_temp_c
    assert parts[0].text == tell("lip.at_lift", figure=tell("figure.probe"))


@pytest.mark.parametrize(("after_s", "sooner"), [(3.0, True), (14.0, False), (40.0, False)])
def test_a_pour_marked_sooner_after_its_lift_than_planned_says_that_the_time_is_the_plans(
    after_s: float, sooner: bool
) -> None:
    row, mould = made(MetalNow(570.0, 3.0, ""), 14.0, 101.0, 101.0 + after_s, way=TOLD_APART)
    walk = lip_parts(row, mould, Times(at_s=101.0 + after_s, lift_s=101.0, order=1))[1]
    assert walk.what is LipStep.WALK
    open_s = TOLD_APART.open_s
    wanted = (
        tell("lip.way.open_sooner", open_s=open_s, taken_s=after_s) if sooner else tell("lip.way.open", open_s=open_s)
    )
    assert walk.text == wanted


def test_a_way_that_was_stated_is_one_part_and_says_so() -> None:
    row, mould = made(MetalNow(570.0, 3.0, ""), 14.0, None, 103.0, way=Way(basis=LossBasis.STATED))
    parts = lip_parts(row, mould, Times(at_s=103.0, lift_s=None, order=1))
    assert [(part.what, part.change_c, part.u_c) for part in parts[1:-1]] == [(LipStep.WAY, -14.0, 5.0)]
    assert parts[1].text == tell("lip.way.stated")


def test_a_pour_of_an_old_record_shows_the_sentence_of_its_day() -> None:
    row, mould = made(MetalNow(565.0, 3.0, "probe in the metal"), 14.0, None, 103.0, source=None)
    first = lip_parts(row, mould, Times(at_s=103.0, lift_s=None, order=1))[0]
    assert (first.text, first.temp_c, first.u_c) == (row.basis, 565.0, 3.0)


def test_a_wait_recorded_in_proportion_to_the_time_leaves_no_rest() -> None:
    """Before the law of cooling was taken in: 30 s at 14 degC in 20 s are 21 degC, now 20.6."""
    row, mould = made(MetalNow(570.0, 3.0, ""), 14.0, 101.0, 151.0)
    old = msgspec.structs.replace(row, lip_temp_c=570.0 - 14.0 - 21.0)
    parts = lip_parts(old, mould, Times(at_s=151.0, lift_s=101.0, order=1))
    assert [part.change_c for part in parts if part.what is LipStep.WAITING] == [pytest.approx(-21.0)]
    assert LipStep.REST not in {part.what for part in parts}


def test_a_dip_is_told_with_its_age_and_what_that_added_to_its_uncertainty() -> None:
    # the dip's own 2 degC, grown by 3 degC a minute (pourcall/engine/bath/metal.py) for 40 s
    grown = MetalNow(565.0, math.hypot(2.0, 2.0), "dip 2, 40 s ago")
    row, mould = made(grown, 14.0, None, 103.0, source=PourSource(figure=FigureSource.DIP, dip=2, age_s=40.0))
    parts = lip_parts(row, mould, Times(at_s=103.0, lift_s=None, order=1))
    assert [part.what for part in parts] == [LipStep.POT, LipStep.SINCE, LipStep.WAY, LipStep.LIP]
    assert parts[0].u_c == pytest.approx(2.0)
    assert parts[1].u_c == pytest.approx(2.0)
    assert parts[1].text == tell("lip.aged", figure=tell("figure.dip_new", number=2), age_s=40.0)
    assert sum_of(parts)[1] == pytest.approx(row.lip_u_c)


def test_a_typed_figure_is_told_with_its_age_too() -> None:
    typed = PourSource(figure=FigureSource.TYPED, instrument="panel", age_s=20.0)
    row, mould = made(MetalNow(565.0, math.hypot(15.0, 1.0), "panel, typed 20 s ago"), 14.0, None, 103.0, source=typed)
    parts = lip_parts(row, mould, Times(at_s=103.0, lift_s=None, order=1))
    assert parts[0].u_c == pytest.approx(15.0)
    assert parts[1].text == tell("lip.aged", figure=tell("figure.typed_new", instrument="panel"), age_s=20.0)


def test_an_old_figure_of_the_probe_says_how_old_it_was() -> None:
    old = PourSource(figure=FigureSource.PROBE, stale_s=60.0)
    row, mould = made(MetalNow(565.0, 3.0, "probe in the metal"), 14.0, None, 160.0, source=old)
    parts = lip_parts(row, mould, Times(at_s=160.0, lift_s=None, order=1))
    assert parts[1].text == tell("lip.stale", stale_s=60.0)


def test_what_the_plan_does_not_account_for_is_a_part_of_its_own() -> None:
    row, _ = made(MetalNow(565.0, 3.0, "probe in the metal"), 14.0, None, 103.0)
    parts = lip_parts(row, None, Times(at_s=103.0, lift_s=None, order=1))
    assert [(part.what, part.change_c) for part in parts[1:-1]] == [(LipStep.REST, -14.0)]
    assert parts[-1].text == tell("lip.as_decided")


def test_a_pour_whose_temperature_is_not_known_has_no_parts() -> None:
    row, mould = made(MetalNow(565.0, 3.0, "probe in the metal"), 14.0, None, 90.0)
    assert row.lip_temp_c is None
    assert row.inside is None
    assert lip_parts(row, mould, Times(at_s=90.0, lift_s=None, order=1)) == ()
