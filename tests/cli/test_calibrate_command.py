"""`pourcall calibrate` and `pourcall probe` as a person calls them: from a file, from the daemon, on record."""

import json
import shutil
import xml.etree.ElementTree as ET
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from pourcall.contract.frames import RawKind
from pourcall.contract.message import Message, tell
from pourcall.contract.reading import Place, ProbeState
from pourcall.contract.snapshot import FurnaceSnapshot, ProbeView
from pourcall.contract.status import Reason, Status
from pourcall.contract.units import Unit
from pourcall.sim.plant.cup import Cup, CupRun, cool_cup
from pourcall.thermometry.compensation import to_temperature
from pourcall.thermometry.thermocouple import emf_uv
from tests.told import heard, tells

Run = Callable[..., Any]


def trace_file(path: Path, run: CupRun) -> Path:
    """As a logger writes it: emf referred to 0 degC, mV."""
    cold_uv = emf_uv("K", 24.0)
    rows = "".join(f"{sample.at_s:.1f},{(sample.emf_uv + cold_uv) / 1000.0:.5f}\n" for sample in run.samples)
    path.write_text("time_s,emf_mV\n" + rows, encoding="utf-8")
    return path


@pytest.fixture
def shop(write_settings: Callable[[str], Path], settings_for: Callable[[str], str]) -> None:
    write_settings(settings_for("/dev/null-board"))


@pytest.fixture
def zinc(tmp_path: Path) -> Path:
    return trace_file(tmp_path / "zinc.csv", cool_cup(Cup("zinc", gain=1.003)))


@pytest.mark.usefixtures("shop")
def test_from_a_file_to_the_record_the_list_the_chart_and_the_budget(run: Run, zinc: Path, tmp_path: Path) -> None:
    never = json.loads(run("probe", "show", "metal", "--at", "500C", "--json").out)
    done = run(
        "calibrate",
        "metal",
        "--point",
        "zinc",
        "--trace",
        str(zinc),
        "--grade",
        "99.9",
        "--depth",
        "45mm",
        "--who",
        "ann",
    )
    assert done.code == 0, done.err
    assert tells(done.out, "calibration.kept", number=1)
    assert "419.53 °C" in done.out
    aluminium = trace_file(tmp_path / "al.csv", cool_cup(Cup("aluminium", gain=1.003)))
    found = json.loads(
        run("calibrate", "metal", "--point", "aluminum", "--trace", str(aluminium), "--grade", "99.9", "--json").out
    )
    assert (found["point"], found["kept_as"]) == ("aluminium", 2)
    # gain 1.003 at 27461 uV: 82 uV too much; what is found is within its own k = 2
    assert abs(found["correction_uv"] + 0.003 * emf_uv("K", 660.323)) < 2.0 * found["standard_uv"]

    (listed,) = json.loads(run("calibrate", "list", "--json").out)
    assert (listed["probe"], listed["furnace"], listed["points"]) == ("metal", "club", ["zinc", "aluminium"])
    assert not listed["overdue"]
    chart = tmp_path / "drift.svg"
    shown = run("calibrate", "show", "metal", "--svg", str(chart))
    assert tells(shown.out, "drift.state.in_force")
    assert "ann" in shown.out
    assert ET.fromstring(chart.read_text("utf-8")).tag.endswith("svg")
    assert len(json.loads(run("calibrate", "show", "metal", "--json").out)["rows"]) == 2

    now = json.loads(run("probe", "show", "metal", "--at", "500C", "--json").out)
    assert now["expanded_c"] < never["expanded_c"]
    names = {part["name"] for part in now["parts"]}
    assert "calibration" in names
    assert "wire" not in names  # between the two points it was measured
    # JCGM 100:2008, 5.1.2 and 6.2: parts add in squares, expanded with k = 2
    assert now["standard_c"] ** 2 == pytest.approx(sum(part["standard_c"] ** 2 for part in now["parts"]))
    assert now["expanded_c"] == pytest.approx(2.0 * now["standard_c"])
    text = run("probe", "show", "metal", "--at", "932F", "--unit", "F").out
    assert tells(text, "uncertainty.at", Unit.F, at_c=500.0)
    assert tells(text, "drift.force", how="zinc, aluminium", late="")
    (one,) = json.loads(run("probe", "list", "--json").out)
    assert one["calibrated"] == now["calibration"]["date"]


@pytest.mark.usefixtures("shop")
def test_the_class_of_new_wire_is_the_larger_part_of_a_probe_never_calibrated(run: Run) -> None:
    told = json.loads(run("probe", "show", "metal", "--at", "720C", "--json").out)
    wire = next(part for part in told["parts"] if part["name"] == "wire")
    # IEC 60584-1 class 2: 0.0075 |t| (three makers' tables)
    assert wire["stated_c"] == pytest.approx(0.0075 * 720.0)
    assert tells(run("probe", "show", "metal").out, "uncertainty.never_calibrated")
    assert told["due"] is None


@pytest.mark.usefixtures("shop")
def test_a_poor_plateau_is_refused_with_its_reason_and_nothing_is_kept(run: Run, zinc: Path, home: Path) -> None:
    done = run("calibrate", "metal", "--point", "aluminium", "--trace", str(zinc))
    assert done.code == 7
    assert tells(done.err, "calibration.none", why=tell("calibration.never_passes"))
    assert "degC" not in done.err  # in the reader's unit
    assert "°F" in run("calibrate", "metal", "--point", "aluminium", "--trace", str(zinc), "--unit", "F").err
    assert not list(home.rglob("*.sqlite"))
    assert run("calibrate", "metal", "--point", "zinc", "--trace", str(zinc), "--dry-run").code == 0
    assert not list(home.rglob("*.sqlite"))


@pytest.mark.usefixtures("shop")
def test_the_terminals_of_a_file_are_used_row_by_row(run: Run, tmp_path: Path) -> None:
    made = cool_cup(Cup("zinc", gain=1.003))
    rows = []
    for at, sample in enumerate(made.samples):
        terminals_c = 20.0 + 10.0 * at / len(made.samples)  # they warm up, and what the board sees falls by as much
        seen_uv = sample.emf_uv + emf_uv("K", 24.0) - emf_uv("K", terminals_c)
        rows.append(f"{sample.at_s:.1f},{seen_uv / 1000.0:.5f},{terminals_c:.3f}\n")
    path = tmp_path / "warm.csv"
    path.write_text("time_s,emf_mV,board_C\n" + "".join(rows), encoding="utf-8")
    words = ("calibrate", "metal", "--point", "zinc", "--trace", str(path), "--grade", "99.9", "--json", "--dry-run")
    found = json.loads(run(*words, "--column", "emf_mV", "--cold-column", "board_C").out)
    assert abs(found["correction_uv"] - made.correction_uv) < 2.0 * found["standard_uv"]


@pytest.mark.usefixtures("shop")
def test_a_correction_no_sound_probe_needs_is_kept_only_when_told_to(run: Run, tmp_path: Path) -> None:
    worn = trace_file(tmp_path / "worn.csv", cool_cup(Cup("zinc", gain=0.98)))
    words = ("calibrate", "metal", "--point", "zinc", "--trace", str(worn), "--grade", "99.9")
    asked = run(*words)  # so far off, a panel may have held it
    assert (asked.code, tells(asked.err, "calibration.unproven.far_off")) == (7, True)
    done = run(*words, "--power", "off")
    assert done.code == 7
    assert tells(done.err, "calibration.beyond_class")
    assert run("calibrate", "list").code == 3  # no record was begun
    assert run(*words, "--power", "off", "--anyway").code == 0


@pytest.mark.usefixtures("shop")
@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        (("metal",), 2, tell("usage.calibrate.no_point")),
        (("metal", "--point", "unobtainium"), 3, tell("point.unknown", typed="unobtainium")),
        (("metal", "--point", "boiling", "--trace", "x"), 2, tell("point.which_pressure")),
        (("nobody", "--point", "zinc", "--trace", "x"), 3, tell("cli.no_probe", probe="nobody")),
        (("metal", "--point", "zinc", "--trace", "missing.csv"), 2, tell("cli.unreadable")),
        (
            ("metal", "--point", "zinc", "--trace", "x", "--due", "soon"),
            2,
            tell("quantity.none", typed="soon", measure="age"),
        ),
        *(
            (("metal", "--point", "zinc", "--trace", "x", option, bare), 2, tell("quantity.no_unit", typed=bare))
            for option, bare in (("--altitude", "450"), ("--pressure", "966"), ("--weather", "1021"), ("--due", "180"))
        ),
        (("metal", "--point", "zinc", "--trace", "x", "--due", "20y"), 2, tell("usage.due", word="20y")),
        (
            ("metal", "--point", "zinc", "--trace", "x", "--depth", "-3mm"),
            2,
            tell("quantity.none", typed="-3mm", measure="length"),
        ),
        (("metal", "--point", "zinc", "--from-melt", "2026-001"), 3, tell("record.none")),
        (("metal", "--point", "zinc"), 6, tell("api.not_running")),
        (
            ("metal", "--point", "boiling", "--pressure", "29.9hPa"),
            2,
            tell("point.pressure_outside", pressure_hpa=29.9),
        ),
        (("show",), 2, tell("usage.calibrate.which")),
        (("show", "metal"), 3, tell("record.none")),
        (("list", "metal"), 2, tell("usage.calibrate.no_probe", word="list")),
        (("metal", "zinc"), 2, tell("usage.calibrate.word", word="zinc")),
    ],
)
def test_what_cannot_be_done_is_told_with_its_remedy(
    words: tuple[str, ...], code: int, told: str | Message, run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    done = run("calibrate", *words)
    assert (done.code, done.out) == (code, ""), done.err
    assert heard(done.err, told)


def test_points_are_listed_with_their_sources(run: Run) -> None:
    text = run("calibrate", "points").out
    assert "419.53 °C" in text
    assert "ITS-90" in text
    assert "boiling" in text
    assert {one["key"] for one in json.loads(run("calibrate", "points", "--json").out)} >= {"ice", "zinc", "copper"}


@pytest.mark.usefixtures("shop")
def test_live_it_watches_the_daemons_readings_until_the_plateau_is_there(
    run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    from pourcall.cli import client
    from pourcall.cli.probes import calibration_sources

    samples = iter(cool_cup(Cup("zinc", gain=1.003, superheat_c=40.0)).samples)

    def furnaces(self: object) -> list[FurnaceSnapshot]:
        sample = next(samples)
        temp_c, _ = to_temperature(RawKind.EMF_UV, sample.emf_uv, sample.cold_junction_c, "K")
        view = ProbeView(
            name="metal",
            place=Place.MELT,
            state=ProbeState.IN_METAL,
            temp_c=temp_c,
            status=Status.GOOD,
            reason=Reason.OK,
        )
        return [FurnaceSnapshot(furnace="club", seq=1, mono_s=sample.at_s, utc_s=0.0, probes=(view,))]

    monkeypatch.setattr(client.DaemonClient, "furnaces", furnaces)
    monkeypatch.setattr(calibration_sources, "LOOK_S", 0.0)
    done = run("calibrate", "metal", "--point", "zinc", "--grade", "99.9")
    assert done.code == 0, done.err
    assert tells(done.err, "calibration.watching", probe="metal")
    assert tells(done.err, "calibration.falling")
    assert "°C/min" in done.err
    assert tells(done.out, "calibration.kept", number=1)
    (row,) = json.loads(run("calibrate", "show", "metal", "--json").out)["rows"]
    assert row["detail"]["source"] == "live"


def test_from_a_demonstrated_melt_an_alloy_is_no_point_and_both_columns_are_exported(
    run: Run, home: Path, demonstrated: Callable[[str], Path], tmp_path: Path
) -> None:
    shutil.copytree(demonstrated("cleats_left_in"), home, dirs_exist_ok=True)
    melt = json.loads(run("melt", "list", "--json").out)[0]["melt"]
    refused = run("calibrate", "metal", "--point", "zinc", "--from-melt", melt)
    assert refused.code == 7
    assert run("calibrate", "chamber", "--point", "zinc", "--from-melt", melt).code == 3
    zinc = trace_file(tmp_path / "zinc.csv", cool_cup(Cup("zinc", gain=1.003)))
    assert run("calibrate", "metal", "--point", "zinc", "--trace", str(zinc)).code == 0
    plain = run("export", melt, "--to", str(tmp_path / "a"), "--json")
    both = json.loads(run("export", melt, "--recompute", "--to", str(tmp_path / "a"), "--json").out)
    head, first, *_ = Path(both["csv"]).read_text("utf-8").splitlines()
    assert "temp_c,temp_recomputed_c" in head
    then_c, now_c = (float(cell) for cell in first.split(",")[3:5])
    assert then_c - now_c > 0.5
    assert json.loads(plain.out)["rows"] > 1000
