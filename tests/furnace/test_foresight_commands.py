"""`pourcall profile` and `pourcall furnace` as a person types them, over a record made by the demonstration."""

import json
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from pourcall.cli.main import main
from pourcall.contract.units import Unit
from tests.told import fault, heard, said, tells

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    monkeypatch.setenv("POURCALL_HOME", str(tmp_path))

    def one(*words: str) -> tuple[int, str, str]:
        try:
            code = main(words)
        except SystemExit as leave:
            code = leave.code if isinstance(leave.code, int) else 1
        done = capsys.readouterr()
        return code, done.out, done.err

    return one


@pytest.fixture(scope="module")
def recorded() -> Iterator[Path]:
    """A folder with one simulated melt on record."""
    with tempfile.TemporaryDirectory(prefix="pc-") as folder:
        code = main(["demo", "--headless", "--home", folder, "--export", f"{folder}/x"])
        assert code == 0
        yield Path(folder)


@pytest.fixture
def at_record(recorded: Path, run: Run, monkeypatch: pytest.MonkeyPatch) -> Run:
    monkeypatch.setenv("POURCALL_HOME", str(recorded))
    return run


def test_profiles_are_listed_and_shown_for_an_alloy_in_the_readers_unit(run: Run) -> None:
    code, out, _ = run("profile", "list")
    assert code == 0
    assert "brass" in out
    code, out, _ = run("profile", "show", "--alloy", "za27", "--unit", "F")
    assert code == 0
    assert said("profile.segment.full_power", Unit.F, to_c=583.0) in out  # 583 degC are 1081.4 degF
    assert said("profile.show.asked", asked="tap_mid") in out
    assert said("profile.segment.hold_until_told", Unit.F, to_c=583.0) in out
    code, out, _ = run("profile", "show", "zinc")
    assert 'to = "tap_mid"' in out


def test_a_profile_is_checked_by_segment_with_the_limit(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "hot.toml"
    file.write_text('format = 1\n[[segment]]\nkind = "ramp"\nto = "700C"\nlimit_min = 60\n')
    code, out, _ = run("profile", "check", str(file))
    assert code == 0
    code, out, _ = run("profile", "check", str(file), "--alloy", "za27")
    assert code == 2
    above = fault(
        "[[segment]] 1 to", "profile.check.above_limit", to_c=700.0, asked="700C", whose="alloy", limit_c=640.0
    )
    assert heard(out, above)
    file.write_text('format = 1\n[[segment]]\nkind = "ramp"\nto = "600C"\n')
    code, out, _ = run("profile", "check", str(file), "--json")
    assert code == 2
    assert heard(json.loads(out)[0], fault("[[segment]] 1 limit_min", "profile.check.endless_ramp"))
    assert run("profile", "check", str(tmp_path / "none.toml"))[0] == 2
    assert run("profile", "show", "zink")[0] == 3


def test_a_furnace_never_learned_is_told_so(run: Run) -> None:
    code, _, err = run("furnace", "show")
    assert code == 3
    assert tells(err, "record.none")


def test_a_furnace_is_learned_from_the_record_and_its_history_kept(at_record: Run) -> None:
    code, out, _ = at_record("furnace", "show")
    assert code == 0
    assert tells(out, "furnace.show.usual", furnace="club")
    code, out, _ = at_record("furnace", "learn", "--dry-run", "--json")
    assert code == 0
    assert json.loads(out)["model"]["melts"] == ["2026-001"] or len(json.loads(out)["model"]["melts"]) == 1
    assert at_record("furnace", "history")[1] == said("furnace.nothing_learned", furnace="club") + "\n"
    code, out, _ = at_record("furnace", "learn")
    assert code == 0
    assert out.splitlines()[-1] == said("furnace.kept")
    code, out, _ = at_record("furnace", "show", "--json")
    shown = json.loads(out)
    assert shown["version"] == 1
    assert shown["furnace"] == "club"
    code, out, _ = at_record("furnace", "history")
    assert shown["melts"][0] in out


def test_learning_from_a_melt_that_is_not_there_says_so(at_record: Run) -> None:
    assert at_record("furnace", "learn", "2026-999")[0] == 3
