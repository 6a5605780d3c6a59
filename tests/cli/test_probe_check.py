"""`pourcall probe check` as a person calls it: from a file, live, on record, with its trend."""

import json
from collections.abc import Callable
from pathlib import Path
from random import Random
from typing import Any

import pytest

from pourcall.contract.message import tell
from pourcall.contract.reading import Place, ProbeState
from pourcall.contract.snapshot import FurnaceSnapshot, ProbeView
from pourcall.contract.status import Reason, Status
from tests.told import tells

Run = Callable[..., Any]


@pytest.fixture
def shop(write_settings: Callable[[str], Path], settings_for: Callable[[str], str]) -> None:
    write_settings(settings_for("/dev/null-board"))


def cup_c(second: float, halt_c: float) -> float:
    """A cup that cools at 0.4 degC a second, stands for six minutes, and cools on."""
    begins_s = (430.0 - halt_c) / 0.4
    return 430.0 - 0.4 * (min(second, begins_s) + max(0.0, second - begins_s - 360.0))


def cup_file(path: Path, halt_c: float, seed: int = 1) -> Path:
    """As a logger writes it, in steps of 0.25 degC."""
    rng = Random(seed)
    rows = "".join(f"{t},{round((cup_c(t, halt_c) + rng.gauss(0.0, 0.15)) * 4.0) / 4.0}\n" for t in range(640))
    path.write_text("time_s,temp_C\n" + rows, encoding="utf-8")
    return path


# Zn-Al eutectic of alloy 3: 381 degC (NADCA/IZA solidus; computed 380.9)
@pytest.mark.usefixtures("shop")
def test_a_cup_from_a_file_is_judged_kept_and_shown_with_its_trend(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for number, (halt_c, utc_s) in enumerate(
        [(381.0, 1.7e9), (379.0, 1.7e9 + 40 * 86400), (374.5, 1.7e9 + 80 * 86400)]
    ):
        monkeypatch.setattr("pourcall.cli.probes.cup_check.time.time", lambda at_s=utc_s: at_s)
        trace = cup_file(tmp_path / f"cup{number}.csv", halt_c, number)
        done = run(
            "probe", "check", "metal", "--alloy", "alloy3", "--from", str(trace), "--who", "ann", "--power", "off"
        )
        assert done.code == 0, done.err
    assert tells(done.out, "calibration.cup.reads", probe="metal", side="low", at_c=381.0, halt="eutectic")
    assert tells(done.out, "drift.checks.sure", count=3, days=80)
    shown = run("probe", "show", "metal", "--at", "400C")
    assert shown.out.count("ann") == 3
    assert "2023-11-14" in shown.out
    in_f = run("probe", "show", "metal", "--at", "400C", "--unit", "F")
    assert "717.8 °F" in in_f.out
    told = json.loads(run("probe", "show", "metal", "--at", "400C", "--json").out)
    assert [one["offset_c"] for one in told["checks"]] == pytest.approx([0.0, -2.0, -6.5], abs=0.6)


@pytest.mark.usefixtures("shop")
def test_another_metal_a_dry_run_and_figures_that_cannot_be_meant(run: Run, tmp_path: Path) -> None:
    trace = cup_file(tmp_path / "cup.csv", 381.0)
    wrong = run("probe", "check", "metal", "--alloy", "lead", "--from", str(trace), "--dry-run", "--power", "off")
    assert wrong.code == 0
    assert tells(wrong.out, "arrest.other_alloy", alloy="pure lead", reads_c=381.0)
    assert tells(wrong.out, "calibration.cup.do.look")
    assert tells(wrong.out, "calibration.dry_run")
    assert "checks" not in run("probe", "show", "metal", "--at", "400C").out
    assert run("probe", "check", "metal", "--alloy", "no such", "--from", str(trace)).code == 3
    assert run("probe", "check", "nobody", "--alloy", "lead", "--from", str(trace)).code == 3
    assert run("probe", "check", "metal", "--alloy", "lead", "--from", str(trace), "--depth", "-4mm").code == 2
    assert run("probe", "check", "metal", "--alloy", "lead", "--from", str(tmp_path / "none.csv")).code != 0
    both = run("probe", "check", "metal", "--alloy", "lead", "--from", str(trace), "--watch")
    assert both.code == 2


@pytest.mark.usefixtures("shop")
def test_a_trace_without_a_halt_is_refused_and_keeps_nothing(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "flat.csv"
    path.write_text("time_s,temp_C\n" + "".join(f"{t},{430.0 - 0.4 * t:.2f}\n" for t in range(500)), encoding="utf-8")
    done = run("probe", "check", "metal", "--alloy", "alloy3", "--from", str(path))
    assert done.code == 7
    assert tells(done.err, "calibration.no_check", why=tell("arrest.missing", alloy="alloy 3"))


@pytest.mark.usefixtures("shop")
def test_live_it_finds_the_plateau_by_itself_and_stops(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    from pourcall.cli import client

    at = iter(range(2000))

    def furnaces(self: object) -> list[FurnaceSnapshot]:
        second = float(next(at))
        view = ProbeView(
            name="metal",
            place=Place.MELT,
            state=ProbeState.IN_METAL,
            temp_c=cup_c(second, 375.0),
            u_c=3.0,
            status=Status.GOOD,
            reason=Reason.OK,
            rate_c_per_min=None,
            age_s=0.0,
            tc_type="K",
        )
        return [FurnaceSnapshot(furnace="club", seq=1, mono_s=second, utc_s=1.7e9 + second, probes=(view,))]

    monkeypatch.setattr(client.DaemonClient, "furnaces", furnaces)
    monkeypatch.setattr("pourcall.cli.probes.calibration_sources.time.sleep", lambda seconds: None)
    done = run("probe", "check", "metal", "--alloy", "alloy3", "--watch", "--power", "off")
    assert done.code == 0, done.err
    assert tells(done.out, "calibration.cup.reads", probe="metal", off_difference_c=6.0, side="low", at_c=381.0)
    assert next(at) < 600  # soon after the end of the halt, which tells it from a slow fall
    assert tells(done.err, "calibration.watching", probe="metal")


@pytest.mark.usefixtures("shop")
def test_whether_anything_heats_the_cup_is_asked_before_anybody_waits(run: Run) -> None:
    asked = run("probe", "check", "metal", "--alloy", "alloy3", "--watch")
    assert asked.code == 7
    assert tells(asked.err, "calibration.no_check", why=tell("calibration.unproven.cup"))
    assert tells(asked.err, "calibration.do.vouch")


@pytest.mark.usefixtures("shop")
def test_a_cup_that_a_panel_held_is_checked_against_nothing(run: Run, tmp_path: Path) -> None:
    trace = cup_file(tmp_path / "cup.csv", 381.0)
    told = run("probe", "check", "metal", "--alloy", "alloy3", "--from", str(trace), "--power", "panel")
    assert told.code == 7
    assert tells(told.err, "calibration.do.unheated")
