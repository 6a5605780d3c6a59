"""Tests of the whole plan and of its two renderings, in the boat club's own jobs."""

import re
import subprocess
import sys
from xml.etree import ElementTree

import msgspec
import pytest

from pourcall.contract.errors import BadInput, BadSheet, OutOfRange, Refused
from pourcall.contract.message import Message, tell
from pourcall.contract.units import Unit
from pourcall.metal.alloys.sheet import load_sheets
from pourcall.metal.heat.transfer import Pot
from pourcall.planning.job import JobMould
from pourcall.planning.plan_text import render_text
from pourcall.planning.planner import PlanRequest, PourPlan, make_plan
from pourcall.planning.recipe import Bath, Ingredient
from pourcall.reports.pages.plan_page import render_html
from tests.metal.planned import aim_of
from tests.told import heard, message, parts, refused, said, tells

LIBRARY = load_sheets()
ZA27, BRASS, BRONZE, A356 = (LIBRARY.get(name) for name in ("za27", "c85700", "silicon bronze", "a356"))
POT = Pot(mouth_mm=90.0, height_mm=120.0)
CLEAT = JobMould(
    name="deck cleat A", casting_kg=0.6, thinnest_mm=6.0, flow_mm=180.0, head_mm=110.0, thickest_mm=14.0, fill_s=3.0
)
CLEATS = PlanRequest(
    moulds=(CLEAT, msgspec.structs.replace(CLEAT, name="deck cleat B", material="oil_sand")),
    pot=POT,
    power_w=2000.0,
    price_per_kwh=0.3,
    pot_rating_c=1200.0,
    probe_rating_c=1100.0,
)
FAIRLEAD = PlanRequest(
    moulds=(JobMould(name="fairlead", casting_kg=0.8, thinnest_mm=5.0, flow_mm=120.0, head_mm=120.0),),
    pot=POT,
    charge_kg=2.5,
    power_w=3000.0,
)


def unbroken(text: str) -> str:
    """Without the line breaks of the page."""
    return " ".join(text.split())


def test_a_plan_says_charge_energy_windows_filling_fume_and_cautions() -> None:
    plan = make_plan(ZA27, CLEATS)
    assert plan.conflicts == ()
    assert plan.need is not None
    assert plan.melt.charge_kg == pytest.approx(plan.need.charge_kg)
    assert sum(mould.mass_kg for mould in plan.melt.moulds) < plan.melt.charge_kg < plan.capacity_kg
    assert plan.energy.minutes is not None
    assert 10.0 < plan.energy.minutes[0] < plan.energy.minutes[1] < 240.0
    assert plan.melt.moulds[0].tap_min_c < aim_of(plan) < plan.melt.moulds[0].tap_max_c
    advice = plan.moulds[0]
    assert advice.fill is not None
    assert advice.fill.lowest_c <= plan.melt.moulds[0].lip_min_c
    assert advice.choke_mm2 is not None
    assert "filling.too_fast" in [note.name for note in advice.notes]
    assert plan.fume is not None
    assert plan.fume.level_still == 0
    assert plan.melt.fume is not None
    assert plan.clothing
    assert "silicon carbide" in str(message(plan.probe_tube).facts["works"])  # of the sheet, in its own words


def test_an_unfitted_flow_length_is_planned_with_its_short_half_and_a_fitted_one_as_it_is() -> None:
    def fill(factor: float | None) -> tuple[float, bool]:
        mould = msgspec.structs.replace(CLEAT, thinnest_mm=2.5, flow_mm=900.0, fill_factor=factor)
        found = make_plan(ZA27, msgspec.structs.replace(CLEATS, moulds=(mould,))).moulds[0].fill
        assert found is not None
        return found.lowest_c, found.fitted

    unfitted, fitted = fill(None), fill(1.0)
    assert unfitted[0] > fitted[0]
    assert (unfitted[1], fitted[1]) == (False, True)


def test_brass_asks_for_outdoors_and_is_still_planned() -> None:
    near = msgspec.structs.replace(FAIRLEAD, loss_c=30.0)
    plan = make_plan(BRASS, near)
    assert plan.conflicts == ()
    assert plan.fume is not None
    assert plan.fume.level_still >= 1
    assert "fume.brass.indoors" in [told.name for told in plan.fume.words]
    assert heard(unbroken(render_text(plan)), tell("caution.hazard.lead"))
    assert aim_of(plan) < plan.melt.lowest_limit.limit_c


def test_aluminium_is_told_of_hydrogen_and_has_no_fume_section() -> None:
    plan = make_plan(A356, FAIRLEAD)
    assert isinstance(plan.hydrogen, Message)
    assert plan.hydrogen.name == "alloy.hydrogen"
    assert plan.fume is None
    assert plan.curve == ()
    assert not tells(unbroken(render_text(plan)), "plan.title.fume")
    assert tells(unbroken(render_text(make_plan(ZA27, FAIRLEAD))), "plan.title.fume")


def test_a_recipe_in_the_plan_makes_the_charge() -> None:
    metals = (
        Ingredient(name="zinc", composition={"Zn": 99.99, "Fe": 0.01}, price_per_kg=3.1),
        Ingredient(name="aluminium", composition={"Al": 99.8, "Fe": 0.2}, price_per_kg=3.5),
        Ingredient(name="copper", composition={"Cu": 100.0}, price_per_kg=9.0),
        Ingredient(name="magnesium", composition={"Mg": 100.0}, price_per_kg=30.0),
    )
    plan = make_plan(ZA27, msgspec.structs.replace(CLEATS, ingredients=metals))
    assert plan.recipe is not None
    assert plan.recipe.product_kg == pytest.approx(plan.melt.charge_kg)
    grams = plan.recipe.masses_kg["magnesium"] * 1000.0
    assert grams < 100.0
    assert heard(render_text(plan), tell("charge_plan.metal_grams", metal="magnesium", grams=grams))
    with pytest.raises(Refused) as told:
        make_plan(ZA27, msgspec.structs.replace(CLEATS, ingredients=metals[:2]))
    assert "Cu" in [one.facts["symbol"] for one in parts(told.value.what, "reasons")]


def test_correcting_a_bath_says_how_far_the_additions_cool_it() -> None:
    metals = (
        Ingredient(name="zinc", composition={"Zn": 100.0}),
        Ingredient(name="aluminium", composition={"Al": 100.0}),
        Ingredient(name="copper", composition={"Cu": 100.0}),
        Ingredient(name="magnesium", composition={"Mg": 100.0}),
    )
    bath = Bath(mass_kg=2.0, composition={"Zn": 73.0, "Al": 25.0, "Cu": 2.0})
    request = msgspec.structs.replace(CLEATS, ingredients=metals, bath=bath, charge_kg=2.2)
    plan = make_plan(ZA27, request)
    assert plan.addition is not None
    assert 20.0 < plan.addition.drop_c < 120.0
    assert heard(unbroken(render_text(plan)), tell("charge_plan.added_cold", why=plan.addition.why))


def test_an_impossible_plan_says_so_first() -> None:
    plan = make_plan(BRASS, msgspec.structs.replace(FAIRLEAD, loss_c=200.0, charge_kg=8.0))
    assert [one.name for one in plan.conflicts] == ["plan.conflict.no_safe_aim", "plan.conflict.pot"]
    assert render_text(plan).splitlines()[2] == said("plan.title.stop")
    assert 'class="box"' in render_html(plan)


def test_a_section_that_surface_tension_closes_is_refused() -> None:
    mould = JobMould(name="foil", mass_kg=0.5, thinnest_mm=0.4, flow_mm=50.0, head_mm=60.0)
    with refused(OutOfRange, "filling.no_head"):
        make_plan(A356, PlanRequest(moulds=(mould,), pot=POT))


@pytest.mark.parametrize(
    "change",
    [
        {"moulds": ()},
        {"moulds": (JobMould(name="nothing said"),)},
        {"charge_kg": -1.0},
        {"charge_kg": 1e9},
        {"yield_share": 0.0},
        {"power_w": -5.0},
        {"efficiency": (0.5, 0.2)},
        {"start_c": 900.0},
        {"pot_depth_mm": -3.0},
        {"moulds": (JobMould(name="a", casting_kg=-1.0),)},
        {"moulds": (JobMould(name="a", mass_kg=0.5, thinnest_mm=-2.0),)},
        {"moulds": (JobMould(name="a", mass_kg=0.5, head_mm=-2.0),)},
        {"moulds": (JobMould(name="a", mass_kg=0.5), JobMould(name="a", mass_kg=0.5))},
    ],
    ids=str,
)
def test_what_cannot_be_meant_is_refused(change: dict[str, object]) -> None:
    with pytest.raises((BadInput, OutOfRange)):
        make_plan(ZA27, msgspec.structs.replace(CLEATS, **change))


@pytest.mark.parametrize("key", ["density_solid", "density_liquid", "cp_solid", "cp_liquid", "latent"])
def test_where_a_sheet_lacks_a_value_the_plan_says_which_and_what_stands_in(key: str) -> None:
    plan = make_plan(msgspec.structs.replace(ZA27, **{key: None, "heat": None}), CLEATS)
    assert len(plan.notes) == 1
    assert (plan.notes[0].name, plan.notes[0].facts["key"]) == ("alloy.stand_in", key)
    assert heard(unbroken(render_text(plan)), plan.notes[0])
    assert plan.melt.moulds[0].lip_min_c == pytest.approx(make_plan(ZA27, CLEATS).melt.moulds[0].lip_min_c)


def test_the_engine_is_never_given_a_stand_in() -> None:
    with pytest.raises(BadSheet, match="density_liquid"):
        msgspec.structs.replace(ZA27, density_liquid=None).facts()


@pytest.mark.parametrize("key", LIBRARY.keys())
def test_every_alloy_can_be_planned_and_shown(key: str) -> None:
    sheet = LIBRARY.get(key)
    mould = JobMould(name="plate", mass_kg=0.5, thinnest_mm=6.0, flow_mm=100.0, head_mm=120.0, thickest_mm=12.0)
    plan = make_plan(sheet, PlanRequest(moulds=(mould,), pot=POT, charge_kg=1.0, loss_c=15.0))
    assert plan.conflicts == ()
    assert sheet.name in render_text(plan)
    _svgs(render_html(plan))


@pytest.mark.parametrize("unit", list(Unit))
def test_temperatures_are_shown_in_the_unit_asked_for(unit: Unit) -> None:
    plan = make_plan(ZA27, CLEATS)
    text = render_text(plan, unit)
    assert said("plan.pot.aim", unit, aim_c=aim_of(plan)) in text
    others = {Unit.C: ("°F", " K"), Unit.F: ("°C", " K"), Unit.K: ("°C", "°F")}[unit]
    assert not re.search(rf"\d(?:{'|'.join(others)})\b", text)


def test_text_fits_a_terminal_and_the_page_is_whole() -> None:
    plan = make_plan(ZA27, CLEATS)
    assert max(len(line) for line in render_text(plan).splitlines()) <= 100
    page = render_html(plan)
    assert len(_svgs(page)) == 3  # temperatures, pressure, concentration
    assert not re.search(r"(?:src|href)=", page)  # nothing from elsewhere
    assert "<script" not in page


def test_names_from_the_shop_cannot_break_the_page() -> None:
    mould = JobMould(name="<b>&\"cleat'", mass_kg=0.5, thinnest_mm=6.0)
    page = render_html(make_plan(ZA27, PlanRequest(moulds=(mould,), pot=POT)))
    assert "<b>&" not in page
    assert "&lt;b&gt;&amp;&quot;cleat" in page
    _svgs(page)


def test_lines_of_the_pictures_lie_where_the_numbers_are() -> None:
    plan = make_plan(ZA27, CLEATS)
    scale = _svgs(render_html(plan))[0]
    bars = [rect for rect in scale.iter() if rect.tag.endswith("rect")]
    widths = [float(rect.attrib["width"]) for rect in bars]
    lip = plan.melt.moulds[0].lip_max_c - plan.melt.moulds[0].lip_min_c
    assert widths[2] / widths[0] == pytest.approx(lip / (484.0 - 376.0), rel=0.02)  # same scale for all bars


def test_a_plan_survives_json() -> None:
    plan = make_plan(ZA27, CLEATS)
    assert msgspec.json.decode(msgspec.json.encode(plan), type=PourPlan) == plan


def test_planning_loads_no_array_library() -> None:
    code = (
        "import sys; from pourcall.planning import planner, plan_text, recipe; from pourcall.metal.heat import phases; "
        "from pourcall.metal.alloys import sheet; from pourcall.reports.pages import plan_page; "
        "print([name for name in ('numpy', 'scipy', 'pandas', 'sqlite3', 'asyncio') if name in sys.modules])"
    )
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "[]"


def _svgs(page: str) -> list[ElementTree.Element]:
    """Every picture of a page, parsed: a picture that is no well-formed XML fails here."""
    return [ElementTree.fromstring(text) for text in re.findall(r"<svg.*?</svg>", page, flags=re.DOTALL)]


def test_a_charge_too_large_for_a_pot_nobody_described_is_noted_and_not_refused() -> None:
    large = msgspec.structs.replace(FAIRLEAD, charge_kg=9.0, pot=Pot(), loss_c=20.0)
    plan = make_plan(BRONZE, large)
    assert plan.conflicts == ()
    assert [note.name for note in plan.notes] == ["charge_plan.no_pot"]
    assert make_plan(BRONZE, msgspec.structs.replace(large, pot=POT)).conflicts[0].name == "plan.conflict.pot"
