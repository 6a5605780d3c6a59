"""Tests of brass near its boiling: zinc's activity as published, odds of an aim, what is told instead of more heat."""

import math
from statistics import NormalDist

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pourcall.contract.message import NOTHING
from pourcall.contract.plan import MouldRequest, NoAimCause, tap_window_c
from pourcall.engine.melt.pour_call import MOST_CHANCE, judge_pour
from pourcall.metal.alloys.elements import GAS_CONSTANT_J_PER_MOL_K
from pourcall.metal.alloys.sheet import load_sheets
from pourcall.metal.heat.transfer import Carry, Ladle, Pot
from pourcall.metal.vapour import activity
from pourcall.metal.vapour import pressure as vapour
from pourcall.metal.vapour.activity import zinc_activity
from pourcall.metal.windows import melt_plan, pot_limits
from pourcall.planning.gentler import PREHEAT_C
from pourcall.planning.job import JobMould
from pourcall.planning.planner import PlanRequest, PourPlan, make_plan
from tests.metal.planned import aim_of
from tests.told import name_of, number, parts

LIBRARY = load_sheets()
BRASSES = ("c85700", "c86500", "c26000", "c87500")
NEAR = ("c85700", "c86500", "c26000")  # their pots come near the boiling of zinc


# Yazawa and Lee, Trans. Japan Inst. Metals 11 (1970) 411, Fig. 18: activity of zinc in liquid Al-Zn at 1073 K, as
# digitised in the example notebook of an open thermodynamics library. 17 %: so far the assessment (an Mey 1993), which
# weighs other measurements too, lies below this one at a fifth of zinc, or 15 degC of boiling.
@pytest.mark.parametrize(
    ("x_zinc", "measured"),
    [(0.0482, 0.1154), (0.199, 0.3765), (0.355, 0.5411), (0.5045, 0.6433), (0.6549, 0.7352), (0.807, 0.8384)],
)
def test_activity_in_zinc_aluminium_is_the_measured_one(x_zinc: float, measured: float) -> None:
    assert x_zinc * activity.gamma_zinc_in_aluminium(x_zinc, 800.0) == pytest.approx(measured, rel=0.17)


def test_aluminium_raises_the_activity_of_zinc_in_dilute_brass_as_measured() -> None:
    # Sugino and Hagiwara, J. Japan Inst. Metals 50 (1986) 1068: 1373 and 1423 K, N_Zn < 0.09, N_Al <= 0.08 (abstract).
    for temp_c in (1100.0, 1150.0):
        without = activity.gamma_zinc({"Cu": 0.92, "Zn": 0.08}, temp_c)
        before = without
        for x_aluminium in (0.02, 0.04, 0.06):
            x = {"Cu": 0.92 - x_aluminium, "Zn": 0.08, "Al": x_aluminium}
            assert activity.gamma_zinc(x, temp_c) > before
            before = activity.gamma_zinc(x, temp_c)
        assert before > 1.2 * without


@pytest.mark.parametrize("symbol", ["Al", "Sn", "Pb", "Si"])
def test_what_goes_into_a_brass_beside_zinc_lets_it_boil_earlier_than_the_copper_it_replaces(symbol: str) -> None:
    plain = vapour.temp_at_fraction_c({"Cu": 64.0, "Zn": 36.0}, 0.8)
    with_it = vapour.temp_at_fraction_c({"Cu": 63.0, "Zn": 36.0, symbol: 1.0}, 0.8)
    assert plain is not None
    assert with_it is not None
    assert 1.0 < plain - with_it < 20.0


@given(
    amounts=st.dictionaries(st.sampled_from(["Al", "Cu", "Pb", "Si", "Sn", "Mg"]), st.floats(0.01, 1.0), min_size=1),
    x_zinc=st.floats(0.02, 0.9),
    temp_c=st.floats(450.0, 1200.0),
)
def test_the_coefficient_is_the_derivative_of_the_excess_energy_it_comes_from(
    amounts: dict[str, float], x_zinc: float, temp_c: float
) -> None:
    kelvin = temp_c + 273.15
    others = {symbol: (1.0 - x_zinc) * part / sum(amounts.values()) for symbol, part in amounts.items()}

    def energy(moles_zinc: float) -> float:  # of the whole, J: Redlich-Kister by Muggianu, numerically
        total = moles_zinc + 1.0 - x_zinc
        x = {**others, "Zn": moles_zinc}
        found = 0.0
        for (one, two), terms in activity._BINARIES.items():
            a, b = x.get(one, 0.0) / total, x.get(two, 0.0) / total
            for order, (p, q, r) in enumerate(terms):
                found += a * b * (a - b) ** order * (p + q * kelvin + r * kelvin * math.log(kelvin))
        for triple, strengths in activity._TERNARIES.items():
            shares = [x.get(one, 0.0) / total for one in triple]
            rest = (1.0 - sum(shares)) / 3.0
            weighed = [term * (share + rest) for term, share in zip(strengths, shares, strict=True)]
            found += math.prod(shares) * sum(weighed)
        return total * found

    slope = (energy(x_zinc + 1e-5) - energy(x_zinc - 1e-5)) / 2e-5
    expected = math.exp(slope / (GAS_CONSTANT_J_PER_MOL_K * kelvin))
    assert activity.gamma_zinc({**others, "Zn": x_zinc}, temp_c) == pytest.approx(expected, rel=1e-4)


# pycalphad 0.11.2, COST 507 as it ships, with the liquid's ternary Al-Cu-Zn; computed 2026-11-29.
@pytest.mark.parametrize(
    ("copper", "zinc", "aluminium", "temp_c", "activity"),
    [(60.0, 39.0, 1.0, 1066.0, 0.2056456), (2.2, 70.8, 27.0, 580.0, 0.6620281), (64.0, 36.0, 0.0, 1093.0, 0.1536799)],
)
def test_activity_of_zinc_with_copper_and_aluminium_is_that_of_a_general_library(
    copper: float, zinc: float, aluminium: float, temp_c: float, activity: float
) -> None:
    shares = {"Cu": copper, "Zn": zinc, "Al": aluminium}
    assert zinc_activity(shares, temp_c) == pytest.approx(activity, rel=1e-5)


def plan_of(key: str, mm: float, **more: object) -> PourPlan:
    mould = JobMould(name="plate", mass_kg=0.5, thinnest_mm=mm)
    request = PlanRequest(moulds=(mould,), charge_kg=1.5)
    return make_plan(LIBRARY.get(key), msgspec.structs.replace(request, **more))


@pytest.mark.parametrize("key", BRASSES)
@pytest.mark.parametrize("mm", [3.0, 6.0, 19.0])
@pytest.mark.parametrize("walk_s", [5.0, 20.0, 40.0])
def test_no_brass_is_aimed_where_it_is_above_0_8_of_boiling_with_more_than_one_chance_in_twenty(
    key: str, mm: float, walk_s: float
) -> None:
    # Odds worked out here by the normal law: boiling known to +-40 (k = 2), reading to the tolerance of IEC 60584-1.
    plan = plan_of(key, mm, carry=Carry(walk_s=walk_s))
    shares = LIBRARY.get(key).weight_percent()
    line_c, boils_c = vapour.temp_at_fraction_c(shares, 0.8), vapour.temp_at_fraction_c(shares, 1.0)
    assert line_c is not None
    assert boils_c is not None
    line_c = math.floor(line_c)  # as the sheets state it
    most_c = plan.no_aim[0].allowed_c if plan.aim_c is None else plan.aim_c
    sigma_c = math.hypot(40.0, 0.0075 * most_c) / 2.0
    above, boils = (NormalDist(c, sigma_c).cdf(most_c) for c in (line_c, boils_c))
    assert above <= 0.0501
    assert boils <= 0.002
    if plan.aim_c is None:
        assert plan.boiling is None
        assert plan.conflicts
    else:
        assert plan.boiling is not None
        assert (plan.boiling.above_line, plan.boiling.boiling) == pytest.approx((above, boils), abs=1e-6)
    assert tap_window_c(plan.melt.moulds[0], plan.melt)[1] <= plan.melt.aim_limit.aim_limit_c + 0.01


def test_where_no_aim_is_safe_the_plan_says_so_and_asks_for_less_loss_and_never_for_more_heat() -> None:
    plan = plan_of("c85700", 6.0, carry=Carry(walk_s=20.0, ladle=Ladle(mass_kg=0.5)))
    assert [told.name for told in plan.conflicts] == ["plan.conflict.no_safe_aim"]
    assert plan.aim_c is None
    (found,) = plan.no_aim
    assert (found.cause, found.limit.whose) == (NoAimCause.LOSS, "boiling")
    assert found.needed_c > found.allowed_c > found.arrives_c
    gentler = plan.moulds[0].gentler
    ways = [told.name for told in parts(gentler, "ways")]
    assert ways == ["plan.gentler.lid", "plan.gentler.walk", "plan.gentler.ladle"]
    gentle = Carry(walk_s=10.0, ladle=Ladle(mass_kg=0.5, preheat_c=PREHEAT_C))
    better = plan_of("c85700", 19.0, carry=gentle, pot=Pot(lid=True))
    assert better.melt.moulds[0].loss_c < plan.melt.moulds[0].loss_c
    assert plan.melt.aim_limit.aim_limit_c - better.melt.moulds[0].loss_c == pytest.approx(
        number(gentler, "lip_c"), abs=2.0
    )


def test_a_shop_that_carries_yellow_brass_gently_has_a_safe_aim() -> None:
    plan = plan_of("c85700", 19.0, charge_kg=2.5, carry=Carry(walk_s=6.0), pot=Pot(lid=True))
    assert plan.conflicts == ()
    low_c, high_c = tap_window_c(plan.melt.moulds[0], plan.melt)
    assert low_c < aim_of(plan) <= high_c


@pytest.mark.parametrize("key", ["za27", "a356", "c87300", "c87500", "c90300"])
def test_an_alloy_far_from_boiling_is_planned_as_ever(key: str) -> None:
    plan = plan_of(key, 6.0)
    assert plan.conflicts == ()
    assert plan.melt.aim_limit.limit_c == plan.melt.lowest_limit.limit_c
    assert plan.moulds[0].gentler == NOTHING


@pytest.mark.parametrize("key", NEAR)
def test_a_pour_is_not_called_where_the_zinc_may_well_boil_and_is_where_it_is_cooler(key: str) -> None:
    sheet = LIBRARY.get(key)
    limit = next(one for one in pot_limits(sheet) if one.whose == "boiling")
    spec = MouldRequest(name="plate", mass_kg=0.5, lip_min_c=limit.aim_limit_c - 90.0, lip_max_c=limit.limit_c)
    plan = melt_plan("2026-014", sheet, 3.0, [spec], loss_c=20.0, loss_u_c=2.0)
    safe = judge_pour(limit.aim_limit_c - 35.0, 6.0, plan.moulds[0], plan, number=1)
    assert safe.pour
    assert safe.too_near < 0.05
    for u_c, pot_c in ((6.0, limit.limit_c - 20.0), (50.0, limit.aim_limit_c - 5.0)):
        hot = judge_pour(pot_c, u_c, plan.moulds[0], plan, number=1)
        sigma_c = math.hypot(u_c, vapour.BOILING_KNOWN_C) / 2.0
        assert hot.too_near == pytest.approx(NormalDist(limit.limit_c, sigma_c).cdf(pot_c), abs=1e-6)
        assert hot.too_near > MOST_CHANCE
        assert not hot.pour
        assert name_of(hot.held) == "call.pour.near_boiling"
