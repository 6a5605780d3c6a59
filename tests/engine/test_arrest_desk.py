"""The arrests of a melt at work. Melting and liquid by the trace's own shape, behind probes that are out by 25
degC; nothing poured on what still melts; a wrong alloy told, an ordinary melt not.

Traces are lumped balances (any heat transfer text): heated at a steady rate, standing for (H/c)/rate at the melting
point, behind a first-order sheath, noisy and in steps of 0.25 degC. Melting points: ITS-90 defining fixed points
(Preston-Thomas, Metrologia 27 (1990) 3) and CCT secondary points; H/c in K as in tests/foresight/test_arrests.py.
"""

import csv
import math
from collections.abc import Callable, Iterator
from itertools import product
from pathlib import Path
from random import Random

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pourcall.contract import inputs as inp
from pourcall.contract.events import CallKind, Marked, MeltState
from pourcall.contract.message import tell
from pourcall.contract.plan import AlloyFacts, MeltPlan, MouldPlan, PotLimit
from pourcall.contract.reading import ProbeState
from pourcall.engine.melt.melt_state import Band, band_with_arrest
from pourcall.engine.melt.pour_call import hold_back, judge_pour
from pourcall.metal.alloys.sheet import load_sheets
from pourcall.texts import say
from pourcall.thermal_analysis.arrest_analysis import ArrestAnalysis, Findings
from pourcall.thermal_analysis.arrest_check import halts_of
from tests.engine.conftest import Bench
from tests.told import inside, message, name_of, names

SHEETS = load_sheets()
HALTS = tuple(halts_of(sheet.facts()) for sheet in SHEETS.all())
TRACES = Path(__file__).parents[1] / "data" / "traces"
FIXED_POINTS = [
    ("tin", 231.928, 241.0),
    ("lead", 327.462, 157.0),
    ("zinc", 419.527, 225.0),
    ("aluminium", 660.323, 337.0),
    ("copper", 1084.62, 422.0),
]


def pure(name: str, melts_c: float, stored_k: float) -> AlloyFacts:
    """A sheet of a metal that melts at one temperature."""
    return AlloyFacts(
        key=name,
        name=name,
        family="other",
        solidus_c=melts_c,
        liquidus_c=melts_c,
        pour_min_c=melts_c + 20.0,
        pour_max_c=melts_c + 80.0,
        alloy_max_c=melts_c + 150.0,
        latent_kj_per_kg=stored_k,
        cp_solid_j_per_kg_k=1000.0,
        cp_liquid_j_per_kg_k=1000.0,
        density_liquid_kg_per_m3=7000.0,
    )


def heated(
    melts: list[tuple[float, float, float]],
    *,
    from_c: float,
    to_c: float,
    rate_c_per_s: float = 0.5,
    tau_s: float = 4.2,
    noise_c: float = 0.2,
    offset_c: float = 0.0,
    hz: float = 1.0,
    seed: int = 1,
) -> Iterator[tuple[float, float, float]]:
    """(time, reading, true) of metal heated steadily. melts: (from degC, to degC, H/c in K spread over that range)."""
    rng, dt = Random(seed), 1.0 / hz
    true_c = junction_c = from_c
    left_k, t_s = [k for _, _, k in melts], 0.0
    while true_c < to_c:
        gain = rate_c_per_s * dt
        for index, (low_c, high_c, whole_k) in enumerate(melts):
            if left_k[index] > 0.0 and low_c <= true_c + gain and true_c <= high_c:
                before_k = max(0.0, low_c - true_c)  # still to rise before it begins to melt
                share = (high_c - low_c) / (high_c - low_c + whole_k)
                taken_k = min(left_k[index], (gain - before_k) * (1.0 - share))
                left_k[index] -= taken_k
                gain -= taken_k
                break
        true_c += gain
        junction_c += (true_c - junction_c) * (1.0 - math.exp(-dt / tau_s))
        t_s += dt
        yield t_s, round((junction_c + offset_c + rng.gauss(0.0, noise_c)) * 4.0) / 4.0, true_c


def followed(
    facts: AlloyFacts, trace: Iterator[tuple[float, float, float]], *, tau_s: float = 4.2, hz: float = 1.0
) -> list[tuple[float, float, float, Findings]]:
    """(time, reading, true, findings) each second."""
    desk, out, next_s = ArrestAnalysis(facts, tau_s, 1.0 / hz, others=HALTS), [], 0.0
    for t_s, reads_c, true_c in trace:
        desk.take(t_s, reads_c)
        if t_s >= next_s:
            next_s = t_s + 1.0
            out.append((t_s, reads_c, true_c, desk.tick(t_s, 5.0)))
    return out


# -- melting and liquid ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("metal", "melts_c", "stored_k"), FIXED_POINTS)
@pytest.mark.parametrize(("tau_s", "hz"), [(1.3, 10.0), (4.2, 1.0), (20.0, 0.5)])
@pytest.mark.parametrize("offset_c", [-24.0, 0.0, 24.0])
def test_melting_and_liquid_are_told_by_the_shape_however_far_the_probe_is_out(
    metal: str, melts_c: float, stored_k: float, tau_s: float, hz: float, offset_c: float
) -> None:
    offset_c *= min(1.0, (4.0 + 0.06 * melts_c) / 24.0)  # a probe is out by less where it is not so hot
    trace = heated(
        [(melts_c, melts_c, stored_k)],
        from_c=melts_c - 150.0,
        to_c=melts_c + 60.0,
        tau_s=tau_s,
        hz=hz,
        offset_c=offset_c,
    )
    seen = followed(pure(metal, melts_c, stored_k), trace, tau_s=tau_s, hz=hz)
    began_s = next(t for t, _, true_c, _ in seen if true_c >= melts_c)
    over_s = next(t for t, _, true_c, _ in seen if true_c > melts_c)
    assert over_s - began_s == pytest.approx(stored_k / 0.5, rel=0.05)
    late_s = 30.0 + 4.0 * tau_s  # window of the slope, sheath, ten seconds to be sure
    for t_s, _, _, found in seen:
        if t_s < began_s:
            assert not found.melting
            assert found.liquid is None
        elif began_s + late_s < t_s < over_s:
            assert found.melting
            assert found.liquid is False
        elif t_s > over_s + late_s:
            assert not found.melting
            assert found.liquid is True
    arrests = [one for *_, found in seen for one in found.seen]
    assert len(arrests) == 1
    assert arrests[0].temp_c == pytest.approx(melts_c + offset_c, abs=1.5)
    last = seen[-1][3]
    assert not last.wrong_alloy
    facts = last.text.facts
    if offset_c:
        assert last.text.name in ("arrest.melting_off", "arrest.melting_far")
        assert facts["side"] == ("low" if offset_c < 0.0 else "high")
        assert facts["off_difference_c"] == pytest.approx(abs(offset_c), abs=1.5)
    else:
        assert last.text.name == "arrest.melting_agrees"
        assert facts["reads_c"] == pytest.approx(melts_c, abs=1.5)


@pytest.mark.parametrize("seed", range(6))
def test_a_long_freezing_alloy_melts_from_its_eutectic_to_its_liquidus(seed: int) -> None:
    # ZA-27: trade solidus 376 and liquidus 484 degC; latent heat 130 kJ/kg over 523 J/(kg K), of its sheet
    facts = SHEETS.get("za27").facts()
    whole_k = 1000.0 * facts.latent_kj_per_kg / facts.cp_solid_j_per_kg_k
    trace = heated([(376.0, 484.0, whole_k)], from_c=200.0, to_c=560.0, noise_c=0.3, seed=seed)
    seen = followed(facts, trace)
    melting = [(true_c, found.melting) for *_, true_c, found in seen if 395.0 < true_c < 480.0]
    assert all(is_so for _, is_so in melting)
    assert all(found.liquid is True for *_, true_c, found in seen if true_c > 510.0)
    assert not seen[-1][3].wrong_alloy
    assert seen[-1][3].text.name == "arrest.melted"


@pytest.mark.parametrize("seed", range(5))
def test_where_nothing_melts_nothing_is_claimed_and_that_is_said(seed: int) -> None:
    facts = SHEETS.get("413").facts()
    seen = followed(facts, heated([], from_c=300.0, to_c=700.0, noise_c=0.35, seed=seed))
    assert not any(found.melting or found.liquid is not None or found.seen for *_, found in seen)
    assert seen[-1][3].text.name == "arrest.unseen"


def held(
    at_c: float, seconds: int, *, from_c: float = 200.0, rate: float = 0.5
) -> Iterator[tuple[float, float, float]]:
    """Heated to a temperature and held there by hand or panel, then heated on."""
    rng = Random(3)
    first = round((at_c - from_c) / rate)
    for second in range(first + seconds + 160):
        true_c = from_c + rate * min(second, first) + rate * max(0, second - first - seconds)
        yield float(second), round((true_c + rng.gauss(0.0, 0.2)) * 4.0) / 4.0, true_c


def test_a_hold_in_the_window_is_no_melting_arrest() -> None:
    facts = SHEETS.get("za27").facts()
    assert not any(found.melting for *_, found in followed(facts, held(550.0, 900)))


def test_a_hold_where_it_might_melt_is_believed_no_longer_than_the_metal_has_heat_for() -> None:
    facts = SHEETS.get("alloy3").facts()  # 238 K of latent heat: 8 minutes at half a degree a second
    seen = followed(facts, held(385.0, 3000))
    last_s = max(t for t, _, _, found in seen if found.melting)
    first_s = min(t for t, _, _, found in seen if found.melting)
    assert 400.0 < last_s - first_s < 1500.0


def test_a_dry_out_hold_below_the_melt_and_then_its_own_arrest_accuse_nobody() -> None:
    facts = SHEETS.get("a356").facts()
    trace = list(held(390.0, 600))  # where alloy 3 would melt
    end_s = trace[-1][0]
    whole_k = 1000.0 * facts.latent_kj_per_kg / facts.cp_solid_j_per_kg_k
    rest = heated([(557.0, 614.0, whole_k)], from_c=trace[-1][2], to_c=700.0)
    seen = followed(facts, iter([*trace, *((end_s + t, reads_c, true_c) for t, reads_c, true_c in rest)]))
    assert not any(found.wrong_alloy for *_, found in seen)
    assert any(found.melting for *_, true_c, found in seen if 560.0 < true_c < 612.0)


def test_what_slows_just_after_the_power_was_turned_is_not_believed() -> None:
    desk = ArrestAnalysis(SHEETS.get("alloy3").facts(), 4.2, 1.0)
    seen = []
    for second in range(900):
        if second == 360:
            desk.disturbed(360.0)
        desk.take(float(second), 200.0 + 0.5 * min(second, 362) + 0.05 * max(0, second - 362))
        seen.append(desk.tick(float(second)))
    assert not any(found.melting for found in seen)


def test_a_probe_that_gives_nothing_any_more_claims_nothing_any_more() -> None:
    desk = ArrestAnalysis(SHEETS.get("lead").facts(), 4.2, 1.0)
    for t_s, reads_c, true_c in heated([(327.46, 327.46, 157.0)], from_c=250.0, to_c=330.0):
        desk.take(t_s, reads_c)
        found = desk.tick(t_s)
        if found.melting and true_c > 327.0:
            break
    assert desk.tick(t_s + 5.0).melting
    assert not desk.tick(t_s + 30.0).melting


def test_freezing_is_seen_and_its_undercooled_beginning_is_no_accusation() -> None:
    # aluminium undercools by 1-4 degC unrefined (memory); the plateau is read after it springs back
    facts = SHEETS.get("413").facts()
    desk, rng, seen = ArrestAnalysis(facts, 4.2, 1.0, others=HALTS), Random(5), []
    for second in range(1100):
        true_c = max(650.0 - 0.5 * second, 577.0)
        if second < 152 and true_c <= 577.0:
            true_c = 577.0 - 3.0 * (152 - second) / 6.0
        if second > 700:
            true_c = 577.0 - 0.5 * (second - 700)
        desk.take(float(second), round((true_c + rng.gauss(0.0, 0.15)) * 4.0) / 4.0)
        seen.append(desk.tick(float(second), 5.0))
    assert any(found.freezing and found.held_back.name == "arrest.held.freezing" for found in seen)
    assert not any(found.wrong_alloy for found in seen)
    agrees = seen[-1].text
    assert (agrees.name, agrees.facts["halt"], agrees.facts["published_c"]) == ("arrest.agrees", "eutectic", 577.0)
    assert agrees.facts["reads_c"] == pytest.approx(577.0, abs=1.0)


# -- another alloy ----------------------------------------------------------------------------------------------------

# (sheet of the plan, what was charged: range and latent over specific heat, name that must be among those that fit)
WRONG = [
    ("za27", [(381.0, 387.0, 200.0)], "alloy 3"),  # zinc alloy 3: 381-387 degC, NADCA/IZA
    ("aluminium", [(575.0, 579.0, 380.0)], "413"),  # Al-12Si: 577 degC
    ("c90300", [(913.0, 941.0, 300.0)], "leaded yellow brass"),  # brass for bronze: CDA ranges
    ("a356", [(381.0, 387.0, 200.0)], "alloy 3"),
    ("lead", [(381.0, 387.0, 200.0)], "alloy 3"),
]


@pytest.mark.parametrize(("plan", "charged", "named"), WRONG)
@pytest.mark.parametrize("offset_c", [-6.0, 0.0, 6.0])
def test_another_alloy_in_the_pot_is_told_with_what_would_fit(
    plan: str, charged: list[tuple[float, float, float]], named: str, offset_c: float
) -> None:
    facts = SHEETS.get(plan).facts()
    seen = followed(
        facts, heated(charged, from_c=200.0, to_c=max(facts.liquidus_c, charged[0][1]) + 60.0, offset_c=offset_c)
    )
    last = seen[-1][3]
    assert last.wrong_alloy.name == "arrest.wrong_like"
    assert named in say(last.wrong_alloy.facts["like"])  # type: ignore[arg-type]
    assert last.wrong_alloy.facts["alloy"] == facts.name
    assert last.text == last.wrong_alloy
    assert not any(found.wrong_alloy for *_, true_c, found in seen if true_c < facts.liquidus_c - 10.0)


# ITS-90 fixed point of zinc, 419.527 degC (Preston-Thomas, Metrologia 27 (1990) 3); alloys 3 and 5 melt at 380-387
# (NADCA). Above its own range by 32 degC: more than probe and a pot half seen come to together.
@pytest.mark.parametrize("plan", ["alloy3", "alloy5"])
@pytest.mark.parametrize(("tau_s", "hz"), [(1.3, 10.0), (4.2, 1.0), (20.0, 0.5)])
@pytest.mark.parametrize("offset_c", [-5.0, 0.0, 6.0])
def test_pure_zinc_under_a_sheet_of_zinc_aluminium_is_told_while_it_melts_and_never_called_liquid_before_it_is(
    plan: str, tau_s: float, hz: float, offset_c: float
) -> None:
    facts = SHEETS.get(plan).facts()
    trace = heated(
        [(419.527, 419.527, 225.0)], from_c=200.0, to_c=460.0 + 2.0 * tau_s, tau_s=tau_s, hz=hz, offset_c=offset_c
    )
    seen = followed(facts, trace, tau_s=tau_s, hz=hz)
    stood = [(t, found) for t, _, true_c, found in seen if true_c <= 419.6]
    began_s = next(t for t, _, true_c, _ in seen if true_c >= 419.52)
    assert all(found.held_back for t, found in stood if t > 120.0)  # once it is followed
    told_s, first = next((t, found) for t, found in stood if found.like)
    assert told_s < began_s + 40.0 + 2.0 * tau_s
    assert (first.like[0], first.melting, first.liquid) == ("zinc", True, False)
    assert first.text.name == "arrest.like_another"
    assert first.held_back.name == "arrest.held.like_another"
    assert all(found.like[0] == "zinc" for t, found in stood if t > told_s)
    assert stood[-1][1].like == ("zinc",)  # the longer it stands, the surer
    last = seen[-1][3]
    assert last.like == ()
    assert last.wrong_alloy.name == "arrest.wrong_like"
    assert last.wrong_alloy.facts["like"] == "pure zinc"


def test_alloy_3_under_the_sheet_of_pure_zinc_is_told() -> None:
    seen = followed(SHEETS.get("zinc").facts(), heated([(381.0, 387.0, 200.0)], from_c=200.0, to_c=480.0))
    assert seen[-1][3].wrong_alloy.name == "arrest.wrong_like"
    assert "alloy 3" in say(seen[-1][3].wrong_alloy.facts["like"])  # type: ignore[arg-type]


@pytest.mark.parametrize("offset_c", [-15.0, 0.0, 15.0])  # type K class 2 and drift (IEC 60584-1; drift: memory)
def test_alloy_3_that_is_held_where_zinc_melts_is_not_taken_for_zinc(offset_c: float) -> None:
    own = [(381.0, 387.0, 200.0)]
    desk, t_s = ArrestAnalysis(SHEETS.get("alloy3").facts(), 4.2, 1.0, others=HALTS), 0.0
    for t_s, reads_c, _ in heated(own, from_c=200.0, to_c=419.5, offset_c=offset_c):
        desk.take(t_s, reads_c)
        assert not desk.tick(t_s, 5.0).like
    for second in range(900):  # a controller holds it there
        desk.take(t_s + second, 419.5 + offset_c)
        found = desk.tick(t_s + second, 5.0)
        assert not found.like
        assert not found.wrong_alloy


def test_a_furnace_that_holds_at_the_melting_point_of_another_metal_is_let_go_once_that_metal_had_melted() -> None:
    desk = ArrestAnalysis(SHEETS.get("alloy3").facts(), 4.2, 1.0, others=HALTS)
    told, over_s = False, None
    for second in range(2400):  # no arrest of its own was seen
        desk.take(float(second), min(200.0 + 0.5 * second, 419.5))
        found = desk.tick(float(second), 5.0)
        told = told or bool(found.like)
        if told and over_s is None and not found.like:
            over_s = second
    assert over_s is not None
    assert over_s < 439 + 2.4 * 253.0 / 0.5  # latent over specific heat of zinc near 400 degC: 112 / 0.443 kJ/(kg K)
    assert not found.held_back


def test_without_other_sheets_the_warning_stands_without_a_name() -> None:
    facts = SHEETS.get("za27").facts()
    desk = ArrestAnalysis(facts, 4.2, 1.0)
    for t_s, reads_c, _ in heated([(381.0, 387.0, 200.0)], from_c=200.0, to_c=540.0):
        desk.take(t_s, reads_c)
        found = desk.tick(t_s)
    assert found.wrong_alloy.name == "arrest.wrong"


@pytest.mark.parametrize("key", [sheet.key for sheet in SHEETS.all()])
@pytest.mark.parametrize("offset_c", [-20.0, 0.0, 20.0])
def test_no_sheet_accuses_its_own_metal(key: str, offset_c: float) -> None:
    facts = SHEETS.get(key).facts()
    low_c = min(facts.solidus_c, facts.eutectic_c or facts.solidus_c)
    whole_k = 1000.0 * facts.latent_kj_per_kg / facts.cp_solid_j_per_kg_k
    melts = [(low_c, max(facts.liquidus_c, low_c), whole_k)]
    seen = followed(
        facts, heated(melts, from_c=max(20.0, low_c - 150.0), to_c=facts.liquidus_c + 80.0, offset_c=offset_c)
    )
    assert not any(found.wrong_alloy for *_, found in seen)


@pytest.mark.parametrize("key", ["za27", "alloy3", "aluminium", "c86500", "ag925"])
def test_real_heatings_without_any_metal_accuse_nobody(key: str) -> None:
    # a fire compartment's thermocouples (NIST, tests/data/traces/PROVENANCE.md): rises, falls, failing couples
    for name in ("E119_Compartment_Test_2.csv", "E119_Compartment_Test_3.csv", "ISONG3.csv"):
        with (TRACES / name).open(newline="", encoding="utf-8") as file:
            rows = list(csv.reader(file))
        for column in range(1, len(rows[0])):
            desk = ArrestAnalysis(SHEETS.get(key).facts(), 4.2, 15.0, others=HALTS)
            for row in rows[2:]:
                try:
                    at_s, temp_c = float(row[0]), float(row[column])
                except ValueError:
                    continue
                desk.take(at_s, temp_c)
                found = desk.tick(at_s, 8.0)
                assert not found.wrong_alloy, f"{name}, {rows[0][column]}"


# -- bands and pours --------------------------------------------------------------------------------------------------

MELTS = Findings(melting=True, liquid=False)
FREEZES = Findings(freezing=True)
LIQUID = Findings(liquid=True)


@pytest.mark.parametrize(
    ("band", "found", "same"), list(product(Band, (MELTS, FREEZES, LIQUID, Findings()), (True, False)))
)
def test_an_arrest_never_makes_metal_ready_and_never_hides_that_it_is_too_hot(
    band: Band, found: Findings, same: bool
) -> None:
    new, why = band_with_arrest(band, found, same_probe=same)
    assert (new is Band.OVER) == (band is Band.OVER)
    assert new is not Band.WINDOW or band is Band.WINDOW
    assert bool(why) == (new is not band)
    if found.held_back:
        assert new not in (Band.WINDOW, Band.FLUID)
    if not same and not found.held_back:
        assert new is band
    assert (new is Band.NONE) == (band is Band.NONE)


def test_the_low_probe_is_liquid_and_the_high_one_melts() -> None:
    assert band_with_arrest(Band.MUSHY, LIQUID, same_probe=True)[0] is Band.FLUID
    assert band_with_arrest(Band.COLD, LIQUID, same_probe=True)[0] is Band.FLUID
    assert band_with_arrest(Band.COLD, MELTS, same_probe=True)[0] is Band.MUSHY_RISING
    held = (Band.MUSHY_RISING, tell("arrest.held.melting"))
    assert band_with_arrest(Band.WINDOW, MELTS, same_probe=False) == held
    assert band_with_arrest(Band.WINDOW, FREEZES, same_probe=True)[0] is Band.FREEZING


def test_a_judgement_that_is_held_back_says_why(plan_for: Callable[..., MeltPlan]) -> None:
    plan = plan_for()
    fits = judge_pour(565.0, 3.0, plan.moulds[0], plan, number=1)
    assert fits.pour
    held_back = hold_back(fits, tell("arrest.held.melting"))
    assert not held_back.pour
    assert held_back.held == tell("arrest.held.melting")
    assert "arrest.held.melting" in names(held_back.why)
    assert held_back.lip_c == fits.lip_c


# -- in the engine ----------------------------------------------------------------------------------------------------

ALLOY3 = SHEETS.get("alloy3").facts()


def narrow_plan(tap_c: tuple[float, float]) -> MeltPlan:
    """A window so near the liquidus that a probe which reads high is inside it while the metal melts."""
    mould = MouldPlan(name="cleat 1", lip_min_c=tap_c[0] - 5.0, lip_max_c=tap_c[1] - 5.0, loss_c=5.0, loss_u_c=0.0)
    return MeltPlan(
        melt="2026-014",
        alloy=ALLOY3,
        charge_kg=1.5,
        moulds=(mould,),
        limits=(PotLimit(limit_c=520.0, whose="alloy", why="sheet"),),
    )


def melted(
    bench: Bench, offset_c: float, tap_c: tuple[float, float], *, to_c: float = 440.0
) -> list[tuple[float, MeltState]]:
    """The engine through one melt of alloy 3 with a probe that is out; (true temperature, state) each second."""
    bench.do(inp.StartMelt(plan=narrow_plan(tap_c), others=HALTS))
    bench.do(inp.MarkSkim())
    bench.run(5.0, 20.0)
    bench.do(inp.SetProbeState(probe="metal", state=ProbeState.IN_METAL))
    states = []
    trace = heated(
        [(381.0, 387.0, 200.0)], from_c=230.0, to_c=to_c, rate_c_per_s=0.4, tau_s=1.0, noise_c=0.1, offset_c=offset_c
    )
    for _, reads_c, true_c in trace:
        bench.run(1.0, reads_c)
        states.append((true_c, bench.engine.state))
    return states


@pytest.mark.parametrize("offset_c", [-25.0, -12.0, 0.0, 12.0, 24.0])
def test_no_pour_is_called_on_metal_that_still_melts(make_bench: type[Bench], offset_c: float) -> None:
    bench = make_bench(sheath="thin")
    states = melted(bench, offset_c, (400.0, 424.0))
    calls = bench.calls(CallKind.POUR)
    fluid_at_s = bench.t_s - sum(1 for true_c, _ in states if true_c > 387.0)
    assert all(call.raised_mono_s > fluid_at_s for call in calls)
    melting = [state for true_c, state in states if 382.5 < true_c < 386.9]
    assert melting
    assert set(melting) == {MeltState.MELTING}
    # once it is over it is not said to melt for ever, however low the probe reads
    assert states[-1][1] in (MeltState.LIQUID, MeltState.READY, MeltState.ABOVE)
    assert not bench.alarms().keys() & {"wrong_alloy:small"}
    (mark,) = [one for one in bench.of(Marked) if one.what == "arrest"]
    assert mark.value == pytest.approx(384.0 + offset_c, abs=5.0)
    assert bench.engine.snapshot().arrest == mark.text


def test_a_pour_is_called_without_a_word_where_its_melting_was_seen(make_bench: type[Bench]) -> None:
    bench = make_bench(sheath="thin")
    melted(bench, 0.0, (400.0, 424.0), to_c=412.0)
    bench.run(20.0, 412.0)
    call = bench.up(CallKind.POUR)
    assert call is not None
    assert "call.pour.stir_first" not in names(call.why)


def test_metal_followed_from_solid_whose_melting_was_not_seen_is_poured_only_once_it_is_skimmed(
    bench: Bench, plan_for: Callable[..., MeltPlan]
) -> None:
    """Between lumps a tip sees the pot, and passes every liquidus on solid metal."""
    bench.start(plan_for(lip=(535.0, 640.0), limit_c=700.0))
    bench.run(5.0, 20.0)
    bench.do(inp.SetProbeState(probe="metal", state=ProbeState.IN_METAL))
    bench.run(1310.0, lambda t: 20.0 + 0.42 * t)
    assert bench.calls(CallKind.POUR) == []
    skim = bench.up(CallKind.SKIM)
    assert skim is not None
    assert message(skim.why).name == "call.skim.melting_missed"
    assert name_of(bench.engine.snapshot().instruction.text) == "call.skim"
    bench.do(inp.MarkSkim())
    bench.run(8.0, lambda t: 570.2 + 0.42 * t)
    call = bench.up(CallKind.POUR)
    assert call is not None
    assert "call.pour.stir_first" not in names(call.why)


def test_of_a_charge_whose_melting_was_not_seen_no_window_is_overshot_but_the_limits_hold(
    bench: Bench, plan_for: Callable[..., MeltPlan]
) -> None:
    """Between dry lumps a tip sees the pot: that it is too hot for the mould is said once somebody has stirred."""
    bench.start(plan_for(lip=(505.0, 545.0), limit_c=650.0))
    bench.run(5.0, 20.0)
    bench.do(inp.SetProbeState(probe="metal", state=ProbeState.IN_METAL))
    bench.run(1400.0, lambda t: 20.0 + 0.42 * t)
    assert not bench.alarms()
    assert message(bench.up(CallKind.SKIM).why).name == "call.skim.melting_missed"  # type: ignore[union-attr]
    bench.run(150.0, lambda t: 608.0 + 0.42 * t)
    assert set(bench.alarms()) == {"alloy_limit:small"}
    bench.do(inp.MarkSkim())
    bench.run(70.0, 672.0)
    assert "above_window:small" in bench.alarms()


def test_metal_that_nothing_but_its_reading_shows_to_be_liquid_is_stirred_before_the_first_pour(bench: Bench) -> None:
    bench.start()
    bench.run(5.0, 20.0)
    bench.do(inp.SetProbeState(probe="metal", state=ProbeState.IN_METAL))
    bench.run(40.0, 570.0)  # put in when it was hot already: no melting to see
    call = bench.up(CallKind.POUR)
    assert call is not None
    assert message(call.why).name == "call.pour.stir_first"
    bench.do(inp.MarkLift())
    bench.run(2.0, 570.0)
    bench.do(inp.MarkPour(mould="cleat 1"))
    bench.run(10.0, 570.0)
    assert bench.up(CallKind.POUR) is None


def test_while_it_melts_the_snapshot_says_so_and_the_state_change_says_why(make_bench: type[Bench]) -> None:
    bench = make_bench(sheath="thin")
    melted(bench, 24.0, (400.0, 424.0), to_c=386.0)
    shot = bench.engine.snapshot()
    assert shot.melt_state is MeltState.MELTING
    assert message(shot.arrest).name == "arrest.melting_at"
    assert bench.engine.judgement is not None
    assert not bench.engine.judgement.pour
    assert bench.engine.judgement.held == tell("arrest.held.melting")


def test_the_wrong_charge_raises_one_warning_that_goes_with_the_melt(make_bench: type[Bench]) -> None:
    bench = make_bench(sheath="thin")
    facts = SHEETS.get("za27").facts()
    mould = MouldPlan(name="cleat 1", lip_min_c=535.0, lip_max_c=575.0, loss_c=15.0)
    limit = PotLimit(limit_c=640.0, whose="alloy", why="sheet")
    za27 = MeltPlan(melt="2026-015", alloy=facts, charge_kg=1.5, moulds=(mould,), limits=(limit,))
    bench.do(inp.StartMelt(plan=za27, others=HALTS))
    bench.run(5.0, 20.0)
    bench.do(inp.SetProbeState(probe="metal", state=ProbeState.IN_METAL))
    for _, reads_c, _ in heated([(381.0, 387.0, 200.0)], from_c=230.0, to_c=520.0, tau_s=1.0, noise_c=0.1):
        bench.run(1.0, reads_c)
    alarm = bench.alarms()["wrong_alloy:small"]
    (wrong,) = [one for one in inside(alarm.what) if one.name == "arrest.wrong_like"]
    assert "alloy 3" in say(wrong.facts["like"])  # type: ignore[arg-type]
    assert message(alarm.remedy).name == "alarm.wrong_alloy.remedy"
    assert bench.engine.snapshot().arrest == wrong
    bench.do(inp.AckAlarm(alarm="wrong_alloy:small"))
    bench.do(inp.EndMelt(ending=inp.MeltEnding.INGOTS))
    bench.run(10.0, 520.0)
    assert "wrong_alloy:small" not in bench.alarms()


def test_another_alloy_by_command_is_watched_for_anew(make_bench: type[Bench]) -> None:
    bench = make_bench(sheath="thin")
    melted(bench, 0.0, (400.0, 424.0))
    assert bench.engine.snapshot().arrest
    za12 = msgspec.structs.replace(narrow_plan((440.0, 470.0)), alloy=SHEETS.get("za12").facts())
    bench.do(inp.ChangeMelt(plan=za12))
    bench.run(3.0, 440.0)
    assert not bench.engine.snapshot().arrest


# -- whatever comes in ------------------------------------------------------------------------------------------------

OPS = st.one_of(
    st.tuples(st.just("take"), st.floats(0.0, 40.0), st.floats(-300.0, 2500.0)),
    st.tuples(st.just("run"), st.floats(0.05, 20.0), st.floats(-3.0, 3.0)),
    st.tuples(st.just("disturbed"), st.floats(0.0, 5.0), st.just(0.0)),
    st.tuples(st.just("lost"), st.floats(0.0, 60.0), st.just(0.0)),
    st.tuples(st.just("nan"), st.floats(0.0, 5.0), st.sampled_from([math.nan, math.inf, -math.inf])),
)


@settings(max_examples=120)
@given(key=st.sampled_from(["za27", "alloy3", "a356", "aluminium", "c87300", "lead"]), ops=st.lists(OPS, max_size=40))
def test_no_sequence_of_samples_breaks_it_and_twice_the_same_gives_the_same(
    key: str, ops: list[tuple[str, float, float]]
) -> None:
    facts = SHEETS.get(key).facts()

    def once() -> list[Findings]:
        desk, t_s, temp_c, out = ArrestAnalysis(facts, 4.2, 1.0, others=HALTS), 0.0, 300.0, []
        for what, step, value in ops:
            if what == "run":
                for _ in range(60):
                    t_s += step
                    temp_c += value * step
                    desk.take(t_s, temp_c)
                    out.append(desk.tick(t_s))
                continue
            t_s += step
            if what == "take":
                temp_c = value
                desk.take(t_s, temp_c)
            elif what == "nan":
                desk.take(t_s, value)
            elif what == "disturbed":
                desk.disturbed(t_s)
            else:
                desk.lost()
            out.append(desk.tick(t_s))
        return out

    first = once()
    assert first == once()
    for found in first:
        assert not (found.melting and found.liquid)
        assert found.liquid is not True or not found.held_back
        for one in found.seen:
            assert math.isfinite(one.temp_c)
            assert all(math.isfinite(fact) for fact in one.text.facts.values() if isinstance(fact, float))
