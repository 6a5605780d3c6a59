"""The three-body model against analytic solutions, and the fit against a general library and a known furnace."""

import math
import subprocess
import sys
from random import Random

import msgspec
import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import minimize
from scipy.stats import norm

from pourcall.contract.errors import BadTrace
from pourcall.contract.furnace_model import PARAMETERS, FurnaceModel
from pourcall.contract.message import tell
from pourcall.contract.plan import AlloyFacts
from pourcall.furnace.ensemble import COUNT, EXTRA, Ensemble, cholesky, design, normal_quantile
from pourcall.furnace.fit import Problem, fit, predict
from pourcall.furnace.model import (
    SIGMA,
    Furnace,
    State,
    add_cold,
    advance,
    coast,
    time_to_c,
    usual_model,
    with_panel,
)
from pourcall.furnace.training import Job, LearnTrace, why_not
from pourcall.furnace.worker import learn
from pourcall.metal.alloys.sheet import load_sheets
from pourcall.metal.heat.curve import curve_of
from pourcall.metal.heat.energy import enthalpy_kj_per_kg

SHEETS = load_sheets()
ZA12 = SHEETS.get("za12").facts()
# Zinc: 419.527 degC (ITS-90); latent heat 112 kJ/kg, H/c_l 225 K (SGTE data).
ZINC = AlloyFacts(
    key="zinc",
    name="zinc",
    family="zinc",
    solidus_c=419.527,
    liquidus_c=419.527,
    pour_min_c=450.0,
    pour_max_c=500.0,
    alloy_max_c=550.0,
    latent_kj_per_kg=112.0,
    cp_solid_j_per_kg_k=388.0,
    cp_liquid_j_per_kg_k=112_000.0 / 225.0,
    density_liquid_kg_per_m3=6570.0,
)


def furnace(**own: float) -> Furnace:
    base = {
        "power_w": 2000.0,
        "low_share": 0.5,
        "wall_j_per_k": 1500.0,
        "loss_w_per_k": 1.5,
        "exchange_m2": 0.04,
        "contact_w_per_k": 35.0,
        "limit_c": 5000.0,
        "pot_j_per_k": 600.0,
        "flame_share": 0.0,
    }
    return Furnace(**{**base, **own})


# -- analytic solutions -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("seconds", [200.0, 1000.0, 3000.0])
def test_a_wall_alone_cools_by_the_exponential_of_the_textbook(seconds: float) -> None:
    # lumped capacitance (any heat transfer text): T = Ta + (T0 - Ta) exp(-G t / C)
    alone = furnace(exchange_m2=1e-12)
    end = advance(alone, curve_of(ZINC), State(800.0, 20.0, 0.0), 0.0, 0.0, 20.0, seconds)
    assert end.wall_c == pytest.approx(20.0 + 780.0 * math.exp(-1.5 * seconds / 1500.0), abs=1.0)


def test_a_heated_wall_rises_towards_power_over_loss() -> None:
    alone = furnace(exchange_m2=1e-12, power_w=900.0)
    end = advance(alone, curve_of(ZINC), State(20.0, 20.0, 0.0), 0.0, 1.0, 20.0, 1000.0)
    assert end.wall_c == pytest.approx(20.0 + 600.0 * (1.0 - math.exp(-1.0)), abs=1.0)


@pytest.mark.parametrize("kg", [0.5, 2.0])
def test_a_plateau_lasts_latent_heat_over_power(kg: float) -> None:
    # t = m H / P, everything else made too light to count: a flame straight into a pot of no heat
    direct = furnace(power_w=500.0, flame_share=1.0, exchange_m2=1e-12, pot_j_per_k=5.0, contact_w_per_k=1000.0)
    metal = curve_of(ZINC)
    start = State(20.0, 419.5, metal.h_solid)
    lasts_s = kg * 112_000.0 / 500.0
    before = advance(direct, metal, start, kg, 1.0, 20.0, 0.97 * lasts_s, step_s=1.0)
    after = advance(direct, metal, start, kg, 1.0, 20.0, 1.05 * lasts_s, step_s=1.0)
    assert metal.temp_c(before.h) == pytest.approx(419.527, abs=0.01)
    assert metal.temp_c(after.h) > 421.0


def test_heat_is_neither_made_nor_lost_between_the_bodies() -> None:
    shut = furnace(loss_w_per_k=1e-12, power_w=1500.0)
    metal, kg = curve_of(ZA12), 1.8
    start = State(20.0, 20.0, metal.enthalpy(20.0))
    end = advance(shut, metal, start, kg, 1.0, 20.0, 900.0)
    gained = 1500.0 * (end.wall_c - 20.0) + 600.0 * (end.pot_c - 20.0) + kg * (end.h - start.h)
    assert gained == pytest.approx(1500.0 * 900.0, rel=1e-6)


def test_the_long_steps_agree_with_a_general_solver_of_differential_equations() -> None:
    metal, kg, f = curve_of(ZA12), 1.5, furnace()

    def rate(_t: float, y: "np.ndarray[tuple[int], np.dtype[np.float64]]") -> list[float]:
        wall, pot, h = y
        charge, liquid = metal.temp_c(h), metal.liquid(h)
        to_pot = f.exchange_m2 * SIGMA * ((wall + 273.15) ** 4 - (pot + 273.15) ** 4)
        to_charge = f.contact_w_per_k * math.sqrt(kg) * (0.2 + 0.8 * liquid) * (pot - charge)
        return [
            (f.power_w - f.loss_w_per_k * (wall - 20.0) - to_pot) / f.wall_j_per_k,
            (to_pot - to_charge) / f.pot_j_per_k,
            to_charge / kg,
        ]

    start = State(20.0, 20.0, metal.enthalpy(20.0))
    witness = solve_ivp(rate, (0.0, 900.0), list(start), method="LSODA", rtol=1e-7, atol=1e-3).y[:, -1]
    end = advance(f, metal, start, kg, 1.0, 20.0, 900.0)
    assert end.wall_c == pytest.approx(witness[0], abs=3.0)
    assert metal.temp_c(end.h) == pytest.approx(metal.temp_c(witness[2]), abs=3.0)


@pytest.mark.parametrize("step_s", [2.0, 8.0, 32.0])
def test_steps_of_any_length_make_and_lose_no_heat_and_settle(step_s: float) -> None:
    # 60 g in a heavy pot: explicit steps of half a minute would swing ever wider
    shut = furnace(loss_w_per_k=1e-12, power_w=1e-9, exchange_m2=1e-12)
    metal, kg = curve_of(ZINC), 0.06
    start = State(600.0, 600.0, metal.enthalpy(500.0))
    end = advance(shut, metal, start, kg, 0.0, 20.0, 640.0, step_s=step_s)
    assert 600.0 * (end.pot_c - 600.0) + kg * (end.h - start.h) == pytest.approx(0.0, abs=1e-6)
    heat_j_per_k = kg * ZINC.cp_liquid_j_per_kg_k
    mixed_c = (600.0 * 600.0 + heat_j_per_k * 500.0) / (600.0 + heat_j_per_k)  # calorimetry
    assert end.pot_c == pytest.approx(mixed_c, abs=0.5)
    assert metal.temp_c(end.h) == pytest.approx(mixed_c, abs=2.5)


@pytest.mark.parametrize(
    "own",
    [
        {},
        {"limit_c": 760.0},
        {"flame_share": 0.3, "wall_j_per_k": 3000.0},
        {"contact_w_per_k": 20.0, "power_w": 3200.0},
    ],
)
def test_what_is_foreseen_in_long_steps_is_what_a_general_solver_finds(own: dict[str, float]) -> None:
    """Time to a temperature within 1 % and 2 s, the coast peak within 0.5 degC of scipy's LSODA."""
    metal, kg, f, target_c = curve_of(ZA12), 1.5, furnace(**own), 500.0

    def rate(_t: float, y: "np.ndarray[tuple[int], np.dtype[np.float64]]", share: float) -> list[float]:
        wall, pot, h = y
        charge, liquid = metal.temp_c(h), metal.liquid(h)
        power = f.power_w * share * min(1.0, max(0.0, (f.limit_c - wall) / 30.0))
        to_pot = f.exchange_m2 * SIGMA * ((wall + 273.15) ** 4 - (pot + 273.15) ** 4)
        to_charge = f.contact_w_per_k * math.sqrt(kg) * (0.2 + 0.8 * liquid) * (pot - charge)
        to_wall = power * (1.0 - f.flame_share) - f.loss_w_per_k * (wall - 20.0) - to_pot
        return [to_wall / f.wall_j_per_k, (to_pot + power * f.flame_share - to_charge) / f.pot_j_per_k, to_charge / kg]

    start = State(20.0, 20.0, metal.enthalpy(20.0))

    def there(_t: float, y: "np.ndarray[tuple[int], np.dtype[np.float64]]", _share: float) -> float:
        return metal.temp_c(y[2]) - target_c

    there.terminal = True  # type: ignore[attr-defined]
    up = solve_ivp(rate, (0.0, 7000.0), list(start), method="LSODA", rtol=1e-7, atol=1e-3, events=there, args=(1.0,))
    arrived_s, state = float(up.t[-1]), State(*(float(v) for v in up.y[:, -1]))
    down = solve_ivp(rate, (0.0, 900.0), list(state), method="LSODA", rtol=1e-7, atol=1e-3, max_step=5.0, args=(0.0,))
    peak_c = max(metal.temp_c(float(h)) for h in down.y[2])
    foreseen_s = time_to_c(f, metal, start, kg, 1.0, 20.0, target_c)
    assert foreseen_s == pytest.approx(arrived_s, abs=0.01 * arrived_s + 2.0)
    assert coast(f, metal, state, kg, 20.0).peak_c == pytest.approx(peak_c, abs=0.5)


def test_one_body_alone_is_foreseen_to_cool_by_the_exponential() -> None:
    # liquid metal in a pot of no heat in a wall of no heat: t = (m c / G) ln((T0 - Ta) / (T - Ta)) with conductances in
    # a row; here the wall's loss is by far the smallest of them
    f = furnace(wall_j_per_k=1.0, pot_j_per_k=1.0, exchange_m2=10.0, contact_w_per_k=2000.0, loss_w_per_k=1.0)
    metal, kg = curve_of(ZINC), 2.0
    start = State(600.0, 600.0, metal.enthalpy(600.0))
    seconds = time_to_c(f, metal, start, kg, 0.0, 20.0, 450.0)
    heat_j_per_k = kg * ZINC.cp_liquid_j_per_kg_k + 2.0
    assert seconds == pytest.approx(heat_j_per_k * math.log(580.0 / 430.0), rel=0.01)


@pytest.mark.parametrize("key", ["za12", "a356", "c87300", "lead", "za27"])
def test_the_heat_of_the_liquid_is_that_of_the_sheet(key: str) -> None:
    sheet = SHEETS.get(key)
    facts = sheet.facts()
    hot_c = facts.liquidus_c + 50.0
    assert curve_of(facts).enthalpy(hot_c) / 1000.0 == pytest.approx(enthalpy_kj_per_kg(sheet, hot_c), rel=0.01)


def test_a_cold_addition_mixes_by_heat() -> None:
    metal = curve_of(ZINC)
    bath = State(600.0, 500.0, metal.enthalpy(500.0))
    mixed, kg = add_cold(metal, bath, 1.0, 0.2, 20.0)
    # by hand: (1.0 h(500) + 0.2 h(20)) / 1.2, all still liquid
    by_hand = (metal.enthalpy(500.0) + 0.2 * 388.0 * (20.0 - 25.0)) / 1.2
    assert kg == pytest.approx(1.2)
    assert mixed.h == pytest.approx(by_hand)


def test_time_to_a_temperature_and_the_coast_are_those_of_the_model_itself() -> None:
    metal, kg, f = curve_of(ZA12), 1.5, furnace()
    start = State(20.0, 20.0, metal.enthalpy(20.0))
    seconds = time_to_c(f, metal, start, kg, 1.0, 20.0, 500.0)
    assert seconds is not None
    there = advance(f, metal, start, kg, 1.0, 20.0, seconds)
    assert metal.temp_c(there.h) == pytest.approx(500.0, abs=3.0)
    peak = coast(f, metal, there, kg, 20.0)
    stepped, now = -1e9, there
    for _ in range(300):
        now = advance(f, metal, now, kg, 0.0, 20.0, 4.0, step_s=1.0)
        stepped = max(stepped, metal.temp_c(now.h))
    assert peak.peak_c == pytest.approx(stepped, abs=1.5)
    assert time_to_c(f, metal, there, kg, 0.0, 20.0, 5000.0) is None


def test_the_panel_is_compared_by_dips_and_told_with_its_uncertainty() -> None:
    model = usual_model("small")
    assert model.panel_offset_c is None
    compared = with_panel(model, [(540.0, 556.0), (545.0, 559.0), (538.0, 553.0)])
    assert compared.panel_offset_c == pytest.approx(-15.0)
    assert compared.panel_offset_u_c is not None
    assert 6.0 <= compared.panel_offset_u_c <= 10.0


# -- ensemble ---------------------------------------------------------------------------------------------------------


def test_normal_quantiles_are_those_of_a_general_library() -> None:
    for p in (0.001, 0.05, 0.3, 0.5, 0.9, 0.9999):
        assert normal_quantile(p) == pytest.approx(norm.ppf(p), abs=1e-9)


def test_the_design_has_exactly_the_covariance_asked_for() -> None:
    points = np.array(design())
    assert points.shape == (COUNT, len(PARAMETERS) + len(EXTRA))
    assert np.abs(points.mean(axis=0)).max() < 1e-12
    assert np.abs(np.cov(points.T, bias=True) - np.eye(points.shape[1])).max() < 1e-9


def test_cholesky_is_that_of_a_general_library_and_takes_what_is_semi_definite() -> None:
    rng = np.random.default_rng(3)
    a = rng.normal(size=(6, 6))
    cov = a @ a.T + 0.1 * np.eye(6)
    assert np.allclose(np.array(cholesky(cov.tolist())), np.linalg.cholesky(cov))
    flat = [[1.0, 1.0], [1.0, 1.0]]
    assert cholesky(flat) == [[1.0, 0.0], [1.0, 0.0]]


def test_a_reading_moves_mean_and_spread_as_the_textbook_kalman_filter_does() -> None:
    # scalar, linear: x ~ N(m, P), y = x + N(0, R): m' = m + K (y - m), P' = (1 - K) P, with K = P/(P + R)
    members = Ensemble(
        usual_model("small"), curve_of(ZA12), wall_c=500.0, wall_u_c=20.0, pot_c=480.0, pot_u_c=0.0, metal_c=470.0
    )
    members.take_chamber(530.0, 30.0, 1.0)
    gain = 400.0 / (400.0 + 900.0)
    assert members.middle(1.0)[1].wall_c == pytest.approx(500.0 + gain * 30.0, abs=0.01)
    assert members.spread(-3) == pytest.approx(20.0 * (1.0 - gain) ** 0.5, abs=0.01)


# -- the fit ----------------------------------------------------------------------------------------------------------

TRUE = {
    "power_w": 2400.0,
    "low_share": 0.5,
    "wall_j_per_k": 1400.0,
    "loss_w_per_k": 1.1,
    "exchange_m2": 0.03,
    "contact_w_per_k": 40.0,
    "limit_c": 900.0,
    "pot_j_per_k": 700.0,
    "flame_share": 0.01,
}


def made(number: int, *, charge_kg: float, cut_s: float, noise_c: float = 1.0) -> LearnTrace:
    """A trace made by the model itself at TRUE, with noise: what the fit must find is then known."""
    empty = LearnTrace(
        melt=f"2026-{number:03}",
        alloy=ZA12,
        charge_kg=charge_kg,
        times_s=(0.0, cut_s + 400.0),
        temps_c=(0.0, 0.0),
        power=((0.0, 1.0), (cut_s, 0.0)),
    )
    times, reads, _ = predict(empty, [math.log(TRUE[name]) for name in PARAMETERS], wall_c=20.0)
    rng = Random(number)
    noisy = tuple(float(value) + rng.gauss(0.0, noise_c) for value in reads)
    return msgspec.structs.replace(empty, times_s=tuple(map(float, times)), temps_c=noisy)


TRACES = (made(1, charge_kg=1.2, cut_s=900.0), made(2, charge_kg=1.8, cut_s=1200.0))


def usual() -> FurnaceModel:
    return usual_model("small", power_w=2500.0, pot_kg=0.75)


@pytest.fixture(scope="module")
def learned() -> FurnaceModel:
    return fit(usual(), TRACES).model


@pytest.mark.timeout(60)
def test_a_known_furnace_is_found_within_its_own_uncertainty(learned: FurnaceModel) -> None:
    for name in ("power_w", "wall_j_per_k", "loss_w_per_k", "exchange_m2", "limit_c"):
        off = abs(math.log(learned.value(name) / TRUE[name]))
        assert off <= 3.0 * learned.spread(name), name
    assert learned.version == 1
    assert learned.melts == ("2026-001", "2026-002")
    assert learned.residual_c < 6.0


@pytest.mark.timeout(60)
def test_what_no_trace_shows_stays_as_uncertain_as_it_was(learned: FurnaceModel) -> None:
    assert learned.spread("low_share") == pytest.approx(usual().spread("low_share"), rel=0.05)
    assert learned.spread("power_w") < usual().spread("power_w")


@pytest.mark.timeout(60)
def test_a_general_minimiser_finds_no_better_furnace(learned: FurnaceModel) -> None:
    """scipy.optimize.minimize (Nelder-Mead, no derivatives) on the same sum of squares, from the furnace that was found
    and from the one that made the traces: neither way is there a better one worth mentioning.
    """
    prior = usual()
    problem = Problem(np.array(prior.mean), np.array(prior.cov), TRACES)

    def cost(x: "np.ndarray[tuple[int], np.dtype[np.float64]]") -> float:
        return 0.5 * float(np.sum(problem.residuals(x) ** 2))

    found = fit(prior, TRACES).cost
    none = np.zeros(problem.count - len(PARAMETERS))
    true = np.concatenate([[math.log(TRUE[name]) for name in PARAMETERS], none])
    for start in (np.concatenate([learned.mean, none]), true):
        better = minimize(cost, start, method="Nelder-Mead", options={"maxfev": 90})
        assert found <= float(better.fun) + 0.3  # a likelihood ratio nobody would notice


@pytest.mark.parametrize(
    ("change", "missing"),
    [
        ({"times_s": (0.0, 10.0), "temps_c": (20.0, 30.0)}, "furnace.lacks.readings.metal"),
        ({"temps_c": tuple(20.0 + 0.1 * k for k in range(len(TRACES[0].times_s)))}, "furnace.lacks.rise"),
        ({"power": ()}, "furnace.lacks.power"),
        ({"power": ((0.0, 0.0),)}, "furnace.lacks.power_on"),
        ({"charge_kg": 0.0}, "furnace.lacks.charge"),
    ],
)
def test_a_trace_that_cannot_be_learned_from_says_what_it_lacks(change: dict[str, object], missing: str) -> None:
    poor = msgspec.structs.replace(TRACES[0], **change)
    assert why_not(poor).name == missing
    with pytest.raises(BadTrace) as caught:
        fit(usual(), [poor])
    lacking = tell("furnace.not_used", melt=poor.melt, why=why_not(poor))
    assert caught.value.what == tell("furnace.nothing", furnace=usual().furnace, melts=(lacking,))


@pytest.mark.timeout(60)
def test_the_worker_learns_the_same_and_sends_refusals_home(learned: FurnaceModel) -> None:
    job = Job(prior=usual(), traces=TRACES, utc_s=1.0, version=7)
    away = learn(job).model
    assert away.version == 7
    assert away.mean == pytest.approx(learned.mean)
    with pytest.raises(BadTrace) as caught:
        learn(msgspec.structs.replace(job, traces=()))
    nothing = tell("furnace.nothing", furnace=job.prior.furnace, melts=(tell("furnace.no_melt"),))
    assert caught.value.what == nothing
    assert caught.value.remedy == tell("furnace.nothing.remedy")


def test_foresight_loads_no_arrays() -> None:
    code = (
        "import sys, pourcall.furnace.forecast, pourcall.furnace.worker,"
        " pourcall.engine.guidance.response, pourcall.engine.guidance.profile_run,"
        " pourcall.thermal_analysis.arrest_check;"
        " print([m for m in ('numpy', 'scipy', 'random', 'time') if m in sys.modules and m in ('numpy', 'scipy')])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_a_model_that_is_none_is_refused() -> None:
    good = usual()
    with pytest.raises(ValueError, match="schema"):
        msgspec.structs.replace(good, schema=99)
    with pytest.raises(ValueError, match="parameters"):
        msgspec.structs.replace(good, mean=(1.0,))
    assert msgspec.json.decode(msgspec.json.encode(good), type=FurnaceModel) == good
    assert good.hash != msgspec.structs.replace(good, version=1).hash
