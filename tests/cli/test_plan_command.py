"""`pourcall plan` as a person calls it. Good melts of four alloys, and what is refused with which words."""

import html
import json
import re
import shlex
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path
from typing import Any

import pypdf
import pytest

from pourcall.cli.common import our_paths
from pourcall.cli.melts.melt_command import mould_request
from pourcall.contract.message import Message, tell
from pourcall.contract.units import Unit
from tests.told import fault, heard, meant, said, tells

Run = Callable[..., Any]
CLEAT = "deck cleat,casting=350g,mm=6,flow=180mm,head=110mm,thickest=14mm,fill=3s,copies=2"
FILE = """
alloy = "za27"
charge_kg = 1.5

[furnace]
power_w = 2000
price_per_kwh = 0.3

[pot]
mouth_mm = 90
height_mm = 120
rating_c = "2192F"

[walk]
walk_s = 15

[room]
volume_m3 = 80
changes_per_h = 4

[[mould]]
name = "deck cleat"
casting_kg = 0.35
copies = 2
thinnest_mm = 6

[[metal]]
name = "zinc"
composition = { Zn = 99.99, Fe = 0.01 }
price_per_kg = 3.1

[[metal]]
name = "aluminium"
composition = { Al = 99.8, Fe = 0.2 }

[[metal]]
name = "copper"
composition = { Cu = 100.0 }

[[metal]]
name = "magnesium"
composition = { Mg = 100.0 }

[[metal]]
name = "cleat gates"
kind = "returns"
alloy = "za27"
remelts = 3
least_kg = 0.3
available_kg = 0.3
"""


def words(text: str) -> str:
    """Without the line breaks of the printed page."""
    return " ".join(text.split())


def test_za27_cleats_on_one_page(run: Run) -> None:
    done = run("plan", "za27", "--mould", CLEAT, "--power", "2000W", "--price", "0.3/kWh", "--walk", "15s")
    assert (done.code, done.err) == (0, "")
    page = words(done.out)
    assert said("plan.title.mould", mould="deck cleat 1") in page
    assert said("plan.title.mould", mould="deck cleat 2") in page
    assert tells(page, "charge_plan.time")
    assert said("charge_plan.castings", castings_kg=0.7) in page
    assert tells(page, "fume.levels", still=0, still_is=tell("fume.is.0"))
    assert said("fume.no_proof") in page
    assert f"[ ] {said('caution.wear.sand')}" in page
    assert "degC" not in page  # every temperature in the reader's unit, none left as a token
    assert max(len(line) for line in done.out.splitlines()) <= 100


def test_fahrenheit_reads_as_well_as_celsius(run: Run) -> None:
    done = run("plan", "za27", "--mould", CLEAT, "--unit", "F")
    page = words(done.out)
    assert done.code == 0
    assert tells(page, "plan.pot.melting", Unit.F, liquidus_c=484.0)
    assert tells(page, "window.sheet", Unit.F, alloy="ZA-27", lowest_c=530.0, highest_c=595.0)
    assert all(figure in page for figure in ("903 °F", "986 °F", "1103 °F"))
    assert "°C" not in page
    assert "degC" not in page


def test_a356_is_told_of_hydrogen(run: Run) -> None:
    done = run("plan", "A356", "--mould", "bracket,volume=90cm3,gating=100g,mm=5,flow=150mm,head=120mm", "--json")
    plan = json.loads(done.out)
    assert done.code == 0
    assert plan["hydrogen"]["name"] == "alloy.hydrogen"
    assert plan["fume"] is None
    # 90 cm3 at 2685 kg/m3 (S6), and 0.1 kg of gating
    assert plan["melt"]["moulds"][0]["mass_kg"] == pytest.approx(0.09 * 2.685 + 0.1, abs=1e-6)


def test_silicon_bronze_fairlead_from_the_mass_of_its_pattern(run: Run) -> None:
    # A pine pattern of 50 g at 500 kg/m3 is 100 cm3; silicon bronze is 8360 kg/m3 (S14).
    done = run(
        "plan", "silicon bronze", "--mould", "fairlead,pattern=50g,density=500kg/m3,mm=5", "--loss", "26C", "--json"
    )
    plan = json.loads(done.out)
    assert done.code == 0
    assert plan["need"]["castings_kg"] == pytest.approx(0.836, abs=1e-6)
    assert plan["melt"]["moulds"][0]["loss_c"] == 26.0
    assert plan["need"]["gating_kg"] == pytest.approx(0.836 * (1 / 0.6 - 1), abs=1e-6)  # yield 60 %, common practice


def test_yellow_brass_asks_for_outdoors_and_is_told_where_to_stand_when_it_is(run: Run) -> None:
    fairlead = ("plan", "C85700", "--mould", "fairlead,kg=0.9,mm=8", "--loss", "30C")
    inside, outside = run(*fairlead), run(*fairlead, "--outdoors")
    assert (inside.code, outside.code) == (0, 0)
    assert said("fume.brass.indoors") in words(inside.out)
    assert said("fume.brass.outdoors") in words(outside.out)
    # 0.8 of boiling for 36 % zinc, 1 % tin and lead, COST 507
    assert tells(words(outside.out), "plan.pot.never_above", highest_c=1093.0)


def test_a_plan_that_cannot_be_poured_is_shown_and_ends_with_seven(run: Run) -> None:
    done = run("plan", "C85700", "--mould", "far away,kg=0.9,mm=3", "--loss", "180C")
    assert done.code == 7
    assert done.out.splitlines()[2] == said("plan.title.stop")
    assert tells(words(done.out), "plan.conflict.no_safe_aim", mould="far away")


def test_a_file_makes_the_plan_and_words_beside_it_win(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "cleats.toml"
    path.write_text(FILE, "utf-8")
    plan = json.loads(run("plan", "--file", str(path), "--json").out)
    assert plan["melt"]["charge_kg"] == 1.5
    assert [limit["limit_c"] for limit in plan["melt"]["limits"] if limit["whose"] == "pot"] == [pytest.approx(1200.0)]
    assert plan["recipe"]["masses_kg"]["cleat gates"] == pytest.approx(0.3, abs=1e-6)
    assert plan["recipe"]["masses_kg"]["magnesium"] > 0.0
    assert [note["facts"].get("times") for note in plan["notes"]] == [3]
    other = json.loads(run("plan", "--file", str(path), "--charge", "1.8kg", "--outdoors", "--json").out)
    assert other["melt"]["charge_kg"] == 1.8
    assert other["fume"]["words"][0]["facts"]["place"]["name"] == "fume.air.outdoors"


def test_returns_have_lost_what_burns_off_and_scrap_is_called_a_guess(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "scrap.toml"
    path.write_text(FILE.replace('kind = "returns"', 'kind = "scrap"').replace("remelts = 3\n", ""), "utf-8")
    assert said("charge_plan.scrap", metal="cleat gates") in words(run("plan", "--file", str(path)).out)


def test_a_bath_is_corrected_and_its_dip_in_temperature_is_said(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "bath.toml"
    bath = "\n[bath]\nmass_kg = 1.3\ncomposition = { Zn = 73.0, Al = 25.0, Cu = 2.0 }\n"
    path.write_text(FILE.replace("least_kg = 0.3\n", "") + bath, "utf-8")
    said = words(run("plan", "--file", str(path)).out)
    assert tells(said, "charge_plan.added_cold", why=tell("charge_plan.dip", bath_kg=1.3))


def test_a_page_to_print_is_written_whole_and_nothing_comes_from_elsewhere(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "plan.html"
    done = run("plan", "za27", "--mould", CLEAT, "--html", str(path), "--unit", "F")
    page = path.read_text("utf-8")
    assert done.code == 0
    assert str(path) in done.out
    assert page.count("<svg") == 3
    assert "degC" not in page
    assert "@page{size:A4" in page
    assert not re.search(r"(?:src|href)=|<script|url\((?!#)", page)


def test_the_plan_as_pdf_says_what_the_page_says_on_the_paper_asked_for(run: Run, tmp_path: Path) -> None:
    page, paper = tmp_path / "plan.html", tmp_path / "plan.pdf"
    words_ = ("plan", "za27", "--mould", CLEAT, "--html", str(page), "--pdf", str(paper), "--paper", "letter")
    done = run(*words_, "--unit", "F")
    assert (done.code, str(paper) in done.out, str(page) in done.out) == (0, True, True)
    sheets = pypdf.PdfReader(paper).pages
    assert {tuple(float(side) for side in sheet.mediabox[2:]) for sheet in sheets} == {(612.0, 792.0)}  # ANSI A
    printed = re.sub(r"\s+", "", "".join(sheet.extract_text() for sheet in sheets))
    headings = re.findall(r"<h2>(.*?)</h2>", page.read_text("utf-8"))
    assert len(headings) > 5
    for heading in headings:
        assert re.sub(r"\s+", "", html.unescape(heading)) in printed, heading
    assert "degC" not in printed


def test_a_page_that_cannot_be_written_leaves_none(run: Run, tmp_path: Path) -> None:
    words_ = ("plan", "za27", "--mould", CLEAT, "--html", str(tmp_path / "plan.html"), "--pdf", "/dev/null/p.pdf")
    done = run(*words_)
    assert (done.code, list(tmp_path.glob("plan.*"))) == (5, []), done.err


def test_start_prints_a_command_that_the_melt_command_reads(run: Run) -> None:
    done = run(
        "plan", "za27", "--mould", "deck cleat's twin,casting=350g,mm=6,setup=deck cleat", "--walk", "20s", "--start"
    )
    command = shlex.split(done.out)
    assert command[:4] == ["pourcall", "melt", "start", "za27"]
    mould = mould_request(command[command.index("--mould") + 1])
    assert (mould.name, mould.thinnest_mm, mould.setup) == ("deck cleat's twin", 6.0, "deck cleat")
    assert mould.mass_kg == pytest.approx(0.35 / 0.6, abs=1e-3)
    assert mould.loss_c is None  # 20 s is what the daemon reckons with by itself
    own = shlex.split(run("plan", "za27", "--mould", "cleat,kg=0.5,mm=6", "--walk", "45s", "--start").out)
    loss_c = mould_request(own[own.index("--mould") + 1]).loss_c
    assert loss_c is not None
    assert loss_c > 20.0


def test_start_prints_in_the_unit_that_was_asked_for_and_reads_back_the_same(run: Run) -> None:
    cleat = ("plan", "za27", "--mould", "cleat,kg=0,5,min=529,5C,max=1050F,loss=12C", "--start")
    for unit in Unit:
        command = shlex.split(run(*cleat, "--unit", unit.name).out)
        assert command[command.index("--unit") + 1] == unit.name
        mould = mould_request(command[command.index("--mould") + 1])
        assert mould.mass_kg == 0.5
        assert [mould.lip_min_c, mould.lip_max_c] == pytest.approx([529.5, 565.56], abs=0.06)
        assert mould.loss_c == pytest.approx(12.0, abs=0.06)


def test_a_comma_that_may_part_thousands_is_refused_with_what_to_type(run: Run) -> None:
    done = run("plan", "za27", "--mould", "cleat,kg=0.5,min=1,050F,max=1100F")
    assert (done.code, done.out) == (2, "")
    assert tells(done.err, "quantity.two_ways.write_either", plain="1050")


def test_the_furnace_of_the_settings_gives_power_pot_and_limits(run: Run) -> None:
    our_paths().settings.parent.mkdir(parents=True, exist_ok=True)
    our_paths().settings.write_text(
        'schema = 1\n[shop]\nunit = "degF"\n[board.bench]\nport = "socket://127.0.0.1:9"\n'
        "[furnace.club]\npower_w = 2150\ntransfer_loss_c = 17\npot = { rating_c = 620, mass_kg = 0.7, mouth_mm = 95 }\n"
        '[probe.metal]\nfurnace = "club"\nboard = "bench"\nrating_c = 900\n',
        "utf-8",
    )
    plan = json.loads(run("plan", "za27", "--mould", "cleat,kg=0.5,mm=6", "--json").out)
    assert plan["melt"]["moulds"][0]["loss_c"] == 17.0
    assert (plan["melt"]["limits"][0]["whose"], plan["melt"]["limits"][0]["limit_c"]) == ("pot", 620.0)
    assert 900.0 in [limit["limit_c"] for limit in plan["melt"]["limits"] if limit["whose"] == "probe"]
    assert plan["energy"]["minutes"] is not None
    assert "°F" in run("plan", "za27", "--mould", "cleat,kg=0.5,mm=6").out
    walked = json.loads(run("plan", "za27", "--mould", "cleat,kg=0.5,mm=6", "--walk", "10s", "--json").out)
    assert walked["melt"]["moulds"][0]["loss_c"] != 17.0  # a walk of one's own is reckoned
    assert run("plan", "za27", "--mould", "cleat,kg=0.5", "--furnace", "barn").code == 3


@pytest.mark.parametrize(
    ("given", "code", "said"),
    [
        ((), 2, tell("usage.plan.no_alloy")),
        (("za27",), 2, tell("plan.no_mould")),
        (("za77", "--mould", "a,kg=1"), 3, tell("alloy.not_found", alloy="za77")),
        (("za27", "--mould", "kg=1"), 2, tell("usage.mould.no_name", given="kg=1")),
        (("za27", "--mould", "a,kg=-1"), 2, tell("quantity.none", typed="-1", measure="mass")),
        (("za27", "--mould", "a,kg=0.5,mm=-6"), 2, tell("quantity.none", typed="-6", measure="length")),
        (("za27", "--mould", "a,kg=0.5,mm=900000"), 2, "thinnest_mm"),
        (("za27", "--mould", "a,kg=0.5,mm=nan"), 2, tell("quantity.none", typed="nan", measure="length")),
        (("za27", "--mould", "a,kg=0.5,mm=thin"), 2, tell("quantity.none", typed="thin", measure="length")),
        (("za27", "--mould", "a,kg=0.5,copies=1.5"), 2, "copies"),
        (("za27", "--mould", "a,kg=0.5,thik=5"), 2, meant("thickest")),
        (("za27", "--mould", "a,kg=0.5,kg=0.6"), 2, tell("usage.twice", word="kg")),
        (("za27", "--mould", "a,kg=0.5,material=green_snad"), 2, meant("green_sand")),
        (("za27", "--mould", "a,casting=500g,volume=60cm3"), 2, tell("charge_plan.wrong.twice", mould="a")),
        (("za27", "--mould", "a,pattern=50g"), 2, tell("charge_plan.wrong.density", mould="a")),
        (("za27", "--mould", "a"), 2, tell("charge_plan.wrong.charge", charge_kg=0.0)),
        (("za27", "--mould", "a,kg=0.5", "--mould", "a,kg=0.5"), 2, tell("window.name", mould="a")),
        (("za27", "--mould", "a,kg=0.5", "--charge", "900kg"), 2, tell("quantity.mass_outside", typed="900kg")),
        (("za27", "--mould", "a,kg=0.5", "--yield", "7"), 2, "yield_share"),
        (("za27", "--mould", "a,kg=0.5", "--power", "-5W"), 2, "power_w"),
        (("za27", "--mould", "a,kg=0.5", "--pot", "mouth=0mm"), 2, "mouth_mm"),
        (("za27", "--mould", "a,kg=0.5", "--pot", "mouht=90"), 2, meant("mouth")),
        (("za27", "--mould", "a,kg=0.5", "--ladle", "preheat=200C"), 2, fault("--ladle mass_kg", "toml.missing")),
        (("za27", "--mould", "a,kg=0.5", "--room", "volume=-5m3"), 2, "volume_m3"),
        (("za27", "--mould", "a,kg=0.5", "--loss", "5000C"), 2, "loss_c"),
        (("za27", "--mould", "a,kg=0.5", "--walk", "soon"), 2, tell("quantity.none", typed="soon", measure="time")),
        (("a356", "--mould", "foil,kg=0.2,mm=0.4,flow=50mm,head=60mm"), 2, tell("filling.no_head")),
        (("za27", "--file", "no-such-file.toml"), 2, "no-such-file.toml"),
        (("za27", "--mould", "a,kg=0.5", "--furnace", "club"), 2, tell("settings.none_no_furnace", furnace="club")),
        (("za27", "--mould", "a,kg=0.5", "--html", "/dev/null/plan.html"), 5, "/dev/null"),
    ],
)
def test_what_cannot_be_meant_is_refused_with_what_and_where(
    run: Run, given: tuple[str, ...], code: int, said: str | Message
) -> None:
    done = run("plan", *given)
    assert (done.code, done.out) == (code, "")
    assert heard(words(done.err), said)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (("charge_kg", "charge_gk"), fault("charge_gk", "toml.unknown_key", hint=meant("charge_kg"))),
        (("walk_s", "wlak_s"), fault("[walk] wlak_s", "toml.unknown_key", hint=meant("walk_s"))),
        (
            ("thinnest_mm = 6", "thinnest_mm = -6"),
            fault(
                "[[mould]] 1 thinnest_mm",
                "toml.beyond",
                found="-6",
                limits=(tell("toml.more_than", least=0.0), tell("toml.at_most", most=5000.0)),
            ),
        ),
        (("thinnest_mm = 6", "thinnest_mm = nan"), fault("[[mould]] 1 thinnest_mm", "toml.not_number", found="nan")),
        (
            ("price_per_kg = 3.1", "price_per_kg = inf"),
            fault("[[metal]] 1 price_per_kg", "toml.not_number", found="inf"),
        ),
        (("[[mould]]", "[mould]"), fault("mould", "toml.not_rows", heading="[[mould]]")),
        (("[room]", "[rooom]"), fault("rooom", "toml.unknown_key", hint=meant("room"))),
        (("[walk]", "[[walk]]"), fault("[walk]", "toml.not_table")),
        (('"2192F"', '"2192 fathoms"'), "[pot] rating_c"),
        (
            ('kind = "returns"', 'kind = "leavings"'),
            fault(
                "[[metal]] 5 kind",
                "toml.one_of",
                found="leavings",
                valid="new, returns, scrap",
            ),
        ),
        (
            ("Cu = 100.0", "Cu = 101.0"),
            fault(
                "[[metal]] 3 composition.Cu",
                "toml.beyond",
                found="101.0",
                limits=(tell("toml.at_least", least=0.0), tell("toml.at_most", most=100.0)),
            ),
        ),
        (("copies = 2", "copies = 1.5"), fault("[[mould]] 1 copies", "toml.not_whole", found="1.5")),
        (('alloy = "za27"\nremelts', "remelts"), tell("charge_plan.wrong.composition")),
        (('name = "deck cleat"', ""), fault("[[mould]] 1 name", "toml.missing")),
        (("Zn = 99.99, Fe", "Zn = 9.99, Fe"), tell("charge_plan.wrong.sum", metal="zinc", percent=10.0)),
        (("[furnace]", "[furnace"), tell("toml.no_toml")),
        (("alloy = ", f"deep = {'[' * 5000}{']' * 5000}\nalloy = "), tell("toml.too_deep")),
    ],
)
def test_a_file_with_a_fault_is_refused_by_its_key(
    run: Run, tmp_path: Path, change: tuple[str, str], said: str | Message
) -> None:
    assert change[0] in FILE
    path = tmp_path / "cleats.toml"
    path.write_text(FILE.replace(*change, 1), "utf-8")
    done = run("plan", "--file", str(path))
    assert (done.code, done.out) == (2, "")
    assert heard(words(done.err), said)


def test_all_faults_of_a_file_are_told_at_once(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "cleats.toml"
    path.write_text(
        FILE.replace("power_w", "pwoer_w").replace("copies = 2", "copies = 0").replace("= 80", "= -1"), "utf-8"
    )
    said = words(run("plan", "--file", str(path)).err)
    assert all(key in said for key in ("pwoer_w", "copies", "volume_m3", str(path)))


def test_a_recipe_without_solution_names_the_element_and_by_how_much(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "no-copper.toml"
    without = FILE.replace('[[metal]]\nname = "copper"\ncomposition = { Cu = 100.0 }\n', "").replace(
        "least_kg = 0.3\n", ""
    )
    path.write_text(without.replace("available_kg = 0.3", "available_kg = 0.0"), "utf-8")
    done = run("plan", "--file", str(path))
    assert done.code == 7
    assert tells(words(done.err), "charge_plan.recipe.short", symbol="Cu", best=0.0, by=2.0, limit=2.0)


def test_an_alloy_that_lacks_a_value_is_planned_with_a_stand_in_that_is_said(run: Run) -> None:
    text = files("pourcall.metal.alloys").joinpath("sheets", "za12.toml").read_text("utf-8")
    start = text.index("[density_liquid]")
    cut = text[:start] + text[text.index("[", start + 5) :]
    folder = our_paths().alloys
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "bin_zinc.toml").write_text(
        re.sub(
            r"(?m)^aliases = .*$",
            "",
            cut.replace('key = "za12"', 'key = "bin_zinc"').replace('"ZA-12"', '"bin zinc"', 1),
        ),
        "utf-8",
    )
    done = run("plan", "bin zinc", "--mould", "cleat,kg=0.5,mm=6")
    assert done.code == 0, done.err
    stand_in = tell(
        "alloy.stand_in",
        alloy="bin zinc",
        key="density_liquid",
        figure=5490.0,
        unit="kg/m3",
        like="ZA-12",
    )
    assert heard(words(done.out), stand_in)


@pytest.mark.parametrize("window", ["min=995,max=1058", "min=535C,max=570", "min=535,max=570C"])
def test_a_window_without_a_unit_is_refused_in_a_plan_and_says_what_to_type(run: Run, window: str) -> None:
    done = run("plan", "za27", "--mould", f"cleat,kg=0.5,{window}")
    bare = next(part.partition("=")[2] for part in window.split(",") if part[-1].isdigit())
    assert (done.code, done.out) == (2, "")
    assert tells(done.err, "quantity.no_unit", typed=bare, measure="temperature")
    assert tells(done.err, "quantity.with_unit.temperature", typed=bare)


@pytest.mark.parametrize("words", [("melt", "start", "za27", "--charge", "1kg"), ("melt", "change")])
def test_a_window_without_a_unit_is_refused_before_any_daemon_is_asked(run: Run, words: tuple[str, ...]) -> None:
    done = run(*words, "--mould", "cleat,kg=0.5,min=995,max=1058")
    assert (done.code, done.out) == (2, "")
    assert tells(done.err, "quantity.no_unit", typed="995", measure="temperature")


def test_a_window_is_read_in_the_unit_that_stands_on_the_same_line(run: Run) -> None:
    done = run("plan", "za27", "--unit", "F", "--json", "--mould", "cleat,kg=0.5,min=995,max=1058")
    (mould,) = json.loads(done.out)["melt"]["moulds"]
    assert [mould["lip_min_c"], mould["lip_max_c"]] == pytest.approx([535.0, 570.0], abs=0.01)


@pytest.mark.parametrize("option", [("--pot", "rating=900"), ("--ladle", "kg=0.4,preheat=200")])
def test_a_temperature_of_pot_or_ladle_wants_its_unit_too(run: Run, option: tuple[str, str]) -> None:
    done = run("plan", "za27", "--mould", "cleat,kg=0.5", *option)
    assert done.code == 2
    assert tells(done.err, "quantity.no_unit", measure="temperature")
