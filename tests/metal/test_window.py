"""Tests of the pour window, the pot's limits and the melt plan."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pourcall.contract.errors import BadInput, OutOfRange
from pourcall.contract.message import tell
from pourcall.contract.plan import LossBasis, MouldRequest, WindowBasis
from pourcall.contract.units import Unit
from pourcall.metal.alloys.sheet import load_sheets
from pourcall.metal.heat.transfer import Carry, Pot
from pourcall.metal.plan_checks import plan_conflicts
from pourcall.metal.windows import MATERIAL_SHIFT, melt_plan, pot_limits, pour_window, section_place
from pourcall.texts import say
from tests.told import names, said

LIBRARY = load_sheets()
ZA27, BRASS, BRONZE, A356 = (LIBRARY.get(name) for name in ("za27", "c85700", "c87300", "a356"))
KEYS = LIBRARY.keys()


def test_thin_sections_of_silicon_brass_get_the_printed_light_range_and_thick_the_heavy() -> None:
    sheet = LIBRARY.get("C87500")  # Copper Development Association (S4): 1900-2000 degF light, 1800-1900 degF heavy
    thin, thick = pour_window(sheet, thinnest_mm=2.5), pour_window(sheet, thinnest_mm=40.0)
    assert (thin.min_c, thin.max_c) == pytest.approx((1038, 1093), abs=1.0)
    assert (thick.min_c, thick.max_c) == pytest.approx((982, 1038), abs=1.0)


def test_without_a_section_the_window_is_that_of_the_sheet() -> None:
    window = pour_window(ZA27)
    assert (window.min_c, window.max_c) == (530.0, 595.0)


@given(key=st.sampled_from(KEYS), mm=st.floats(0.1, 500.0), material=st.sampled_from(sorted(MATERIAL_SHIFT)))
def test_no_window_begins_below_liquidus_plus_margin_or_ends_above_the_pots_limit(
    key: str, mm: float, material: str
) -> None:
    sheet = LIBRARY.get(key)
    window = pour_window(sheet, thinnest_mm=mm, material=material)
    assert sheet.liquidus.value + sheet.margin_c <= window.min_c < window.max_c <= sheet.highest_in_pot_c


@given(key=st.sampled_from(KEYS), mm=st.floats(0.2, 400.0), more=st.floats(1.0, 5.0))
def test_a_thicker_section_never_asks_for_hotter_metal(key: str, mm: float, more: float) -> None:
    sheet = LIBRARY.get(key)
    thin, thick = pour_window(sheet, thinnest_mm=mm), pour_window(sheet, thinnest_mm=min(500.0, mm * more))
    assert thick.min_c <= thin.min_c + 1e-9
    assert thick.max_c <= thin.max_c + 1e-9


def test_plaster_is_poured_cooler_and_a_steel_die_hotter_than_sand() -> None:
    plaster, sand, die = (
        pour_window(ZA27, material=word, thinnest_mm=6.0) for word in ("plaster", "oil_sand", "steel_die")
    )
    assert section_place(ZA27, 6.0, "oil_sand") == section_place(ZA27, 6.0, "green_sand")
    assert plaster.min_c < sand.min_c
    assert die.min_c > plaster.min_c


def test_a_window_the_shop_has_learned_replaces_the_sheet_but_neither_floor_nor_pot_limit() -> None:
    assert pour_window(ZA27, thinnest_mm=3.0, own=(548.0, 561.0), learned=True).min_c == 548.0
    low = pour_window(ZA27, own=(490.0, 520.0), learned=True)
    assert (low.min_c, low.max_c) == (509.0, 520.0)
    assert tell("window.floor", margin_difference_c=25.0, lowest_c=509.0) in low.why
    in_f = [say(message, Unit.F) for message in low.why]
    assert said("window.floor", Unit.F, margin_difference_c=25.0, lowest_c=509.0) in in_f
    assert any({"45 °F", "949 °F"} == set(re.findall(r"\d+ °F", one)) for one in in_f)  # 948.2 degF, rounded inwards
    assert low.basis is WindowBasis.LEARNED
    assert pour_window(ZA27, own=(548.0, 561.0)).basis is WindowBasis.STATED
    assert pour_window(ZA27).basis is WindowBasis.SHEET
    assert pour_window(BRASS, own=(1080.0, 1140.0)).max_c == pytest.approx(1093.0, abs=0.5)


def test_what_filling_asks_for_raises_the_lower_end() -> None:
    assert pour_window(ZA27, thinnest_mm=6.0, fill_min_c=570.0).min_c == 570.0
    assert pour_window(ZA27, thinnest_mm=6.0, fill_min_c=540.0).min_c > 540.0
    closed = pour_window(ZA27, thinnest_mm=6.0, fill_min_c=700.0)
    assert closed.min_c < closed.max_c
    assert closed.cautions[0].name == "window.closes"


def test_a_section_thinner_than_usual_is_said_to_be_at_risk() -> None:
    assert pour_window(A356, thinnest_mm=1.5).cautions == (tell("window.thin", thinnest_mm=1.5, usual_mm=3.0),)


@pytest.mark.parametrize("mm", [0.0, -3.0, 1e6, float("nan")])
def test_absurd_sections_are_refused(mm: float) -> None:
    with pytest.raises(OutOfRange):
        pour_window(ZA27, thinnest_mm=mm)


def test_an_unknown_material_names_the_nearest() -> None:
    with pytest.raises(BadInput, match="green_sand"):
        pour_window(ZA27, material="greensand")


def test_pot_limits_are_sorted_and_say_whose_they_are() -> None:
    limits = pot_limits(BRASS, pot_rating_c=1300.0, probe_rating_c=1090.0)
    assert [limit.limit_c for limit in limits] == sorted(limit.limit_c for limit in limits)
    assert {limit.whose for limit in limits} == {"boiling", "alloy", "pot", "probe"}
    assert limits[0].whose == "probe"
    assert {limit.whose for limit in pot_limits(BRONZE)} == {"alloy"}


@pytest.mark.parametrize("rating_c", [-5.0, 20.0, 11000.0, float("nan")])
def test_an_absurd_rating_is_refused(rating_c: float) -> None:
    with pytest.raises(OutOfRange):
        pot_limits(ZA27, pot_rating_c=rating_c)


CLEATS = [
    MouldRequest(name="cleat A", mass_kg=0.9, thinnest_mm=6.0),
    MouldRequest(name="cleat B", mass_kg=0.9, thinnest_mm=6.0),
]


def test_a_plan_carries_windows_losses_and_limits() -> None:
    plan = melt_plan("2026-014", ZA27, 2.4, CLEATS, loss_c=15.0, pot_rating_c=1300.0, probe_rating_c=1100.0)
    first = plan.moulds[0]
    assert first.tap_min_c == pytest.approx(first.lip_min_c + 15.0)
    assert first.loss_u_c == 5.0
    assert plan.lowest_limit.whose == "alloy"
    assert plan.alloy.key == "za27"
    assert plan_conflicts(plan) == ()


def test_without_a_stated_loss_it_is_computed_and_grows_with_the_order() -> None:
    plan = melt_plan("2026-014", ZA27, 2.4, CLEATS)
    assert 5.0 < plan.moulds[0].loss_c < plan.moulds[1].loss_c < 60.0
    ways = [mould.way for mould in plan.moulds if mould.way is not None]
    assert [way.basis for way in ways] == [LossBasis.COMPUTED] * 2
    assert [way.open_s for way in ways] == [20.0, 35.0]
    for mould, way in zip(plan.moulds, ways, strict=True):
        assert way.walk_c + (way.ladle_c or 0.0) + way.stream_c == pytest.approx(mould.loss_c, abs=0.01)
        assert mould.window_basis is WindowBasis.SHEET


def test_a_shops_own_rate_replaces_the_physics() -> None:
    plan = melt_plan("2026-014", ZA27, 2.4, CLEATS, carry=Carry(fitted_c_per_s=0.5, stream_loss_c=4.0))
    assert [mould.loss_c for mould in plan.moulds] == pytest.approx([14.0, 21.5])
    assert {mould.way.basis for mould in plan.moulds if mould.way is not None} == {LossBasis.MEASURED}


def test_a_loss_never_raises_a_pot_limit() -> None:
    near = melt_plan("2026-015", BRASS, 2.0, [MouldRequest(name="cover", mass_kg=1.0, thinnest_mm=8.0)], loss_c=10.0)
    far = melt_plan("2026-015", BRASS, 2.0, [MouldRequest(name="cover", mass_kg=1.0, thinnest_mm=8.0)], loss_c=35.0)
    assert near.limits == far.limits
    for plan in (near, far):
        assert plan.moulds[0].tap_max_c <= plan.lowest_limit.limit_c + 0.01


def test_where_the_pot_cannot_give_what_a_thin_section_wants_the_window_is_lowered_and_says_so() -> None:
    plan = melt_plan("2026-015", BRASS, 2.0, [MouldRequest(name="cover", mass_kg=1.0, thinnest_mm=2.5)], loss_c=30.0)
    mould = plan.moulds[0]
    assert (mould.lip_min_c, mould.lip_max_c) == pytest.approx((1010.0, 1030.0), abs=1.0)
    assert "window.colder" in names(mould.why)


def test_a_plan_that_cannot_be_poured_says_why() -> None:
    spec = [MouldRequest(name="far", mass_kg=1.0), MouldRequest(name="big", mass_kg=2.0)]
    conflicts = plan_conflicts(melt_plan("2026-015", BRASS, 2.0, spec, loss_c=150.0))
    assert [one.name for one in conflicts][::2] == ["plan.conflict.no_safe_aim", "plan.conflict.charge"]
    assert conflicts[0].facts["mould"] == "far"
    assert conflicts[-1].facts["needed_kg"] == pytest.approx(3.0)


def test_a_hotter_mould_after_a_cooler_one_is_pointed_out() -> None:
    spec = [
        MouldRequest(name="block", lip_min_c=532.0, lip_max_c=540.0),
        MouldRequest(name="fin", lip_min_c=580.0, lip_max_c=590.0),
    ]
    (conflict,) = plan_conflicts(melt_plan("2026-016", ZA27, 2.0, spec, loss_c=10.0))
    assert (conflict.name, conflict.facts["later"]) == ("plan.conflict.order", "fin")


@pytest.mark.parametrize(
    "change",
    [
        {"charge_kg": 0.0},
        {"charge_kg": -1.0},
        {"charge_kg": float("nan")},
        {"loss_c": -3.0},
        {"loss_c": 4000.0},
        {"moulds": [MouldRequest(name="a"), MouldRequest(name="a")]},
        {"moulds": [MouldRequest(name=" ")]},
        {"moulds": [MouldRequest(name="a", mass_kg=-1.0)]},
        {"moulds": [MouldRequest(name="a", lip_min_c=540.0)]},
        {"moulds": [MouldRequest(name="a", lip_min_c=560.0, lip_max_c=540.0)]},
        {"moulds": [MouldRequest(name="a", material="mud")]},
    ],
    ids=str,
)
def test_what_cannot_be_meant_is_refused(change: dict[str, object]) -> None:
    wanted: dict[str, object] = {"charge_kg": 2.0, "moulds": CLEATS, **change}
    with pytest.raises((BadInput, OutOfRange)):
        melt_plan("2026-014", ZA27, **wanted)  # type: ignore[arg-type]


def test_pot_and_carry_have_their_defaults_for_a_small_shop() -> None:
    assert melt_plan("m", ZA27, 2.4, CLEATS) == melt_plan("m", ZA27, 2.4, CLEATS, pot=Pot(), carry=Carry())
