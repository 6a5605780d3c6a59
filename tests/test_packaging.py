"""What is installed is what is here. The wheel, the editable install, the first step, the locks, the layers."""

import ast
import os
import re
import subprocess
import sys
import tomllib
import types
import zipfile
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path, PurePosixPath

import pytest

ROOT = Path(__file__).parents[1]
LINKS = ("daemon", "drivers", "profiles", "sim", "tui")  # at the top, into the package; nothing depends on them
TOP = ("pyproject.toml", "README.md", "LICENSE")
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))


def tracked() -> list[PurePosixPath]:
    """Every file of the repository that is or may be committed, links left out."""
    done = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard"], cwd=ROOT, capture_output=True, text=True
    )
    if done.returncode:
        pytest.skip("not a git checkout: there is no list of tracked files")
    paths = (PurePosixPath(line) for line in done.stdout.splitlines())
    return sorted(path for path in paths if (ROOT / path).is_file() and not (ROOT / path).is_symlink())


def shipped() -> list[PurePosixPath]:
    """Files that must all be in the wheel, at the same place."""
    return [path for path in tracked() if path.parts[0] == "pourcall"]


@pytest.fixture(scope="module")
def checkout(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of what is tracked, without the committed links: what an unpacked archive on Windows looks like."""
    folder = tmp_path_factory.mktemp("checkout")
    for path in [*shipped(), *(PurePosixPath(name) for name in TOP if (ROOT / name).exists())]:
        target = folder / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes((ROOT / path).read_bytes())
    return folder


@pytest.fixture(scope="module")
def wheel(checkout: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Built offline by the standard front end; no warning of setuptools about our configuration."""
    out = tmp_path_factory.mktemp("wheel")
    done = subprocess.run(
        [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", str(out), str(checkout)],
        capture_output=True,
        text=True,
        timeout=110.0,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "would be ignored" not in done.stdout + done.stderr
    (built,) = out.glob("*.whl")
    return built


@pytest.fixture(scope="module")
def unpacked(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    target = tmp_path_factory.mktemp("installed")
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(target)
    return target


def names_in(wheel: Path) -> set[str]:
    with zipfile.ZipFile(wheel) as archive:
        return set(archive.namelist())


def test_every_tracked_file_of_the_package_is_in_the_wheel_and_no_other(wheel: Path) -> None:
    wanted = {str(path) for path in shipped()}
    found = {name for name in names_in(wheel) if not name.split("/")[0].endswith(".dist-info")}
    assert found == wanted
    kinds = {PurePosixPath(name).suffix for name in found}
    assert {".py", ".toml", ".sql", ".tcss", ".typed"} <= kinds
    assert "pourcall/drivers/firmware/pourcall_board.py" in found
    assert "pourcall/records/schema/0001.sql" in found


def test_files_in_the_wheel_are_those_of_the_checkout(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as archive:
        for path in shipped():
            assert archive.read(str(path)) == (ROOT / path).read_bytes(), path


def test_nothing_but_our_own_name_lands_in_site_packages(wheel: Path) -> None:
    tops = {name.split("/")[0] for name in names_in(wheel)}
    assert {top for top in tops if not top.endswith(".dist-info")} == {"pourcall"}
    assert not [name for name in names_in(wheel) if "__pycache__" in name or name.endswith(".pyc")]


def test_the_files_the_project_names_are_there() -> None:
    named = [PROJECT["project"]["readme"], *PROJECT["project"]["license-files"]]
    assert [name for name in named if not (ROOT / name).is_file()] == []


def dependencies() -> str:
    """Where the libraries are that we need, as a path; nothing of ours is imported from it, .pth files are not read."""
    import msgspec

    return str(Path(msgspec.__file__).parents[1])


LOOK = """
import sys
from importlib import import_module
from importlib.resources import files
for name in sys.argv[2:]:
    module = import_module(name)
    assert module.__file__.startswith(sys.argv[1]), module.__file__
from pourcall.metal.alloys.sheet import load_sheets
from pourcall.sim.scenarios.demo import demo_scenario
from pourcall.records.upkeep.migrate import shipped_steps
assert len(load_sheets(None).keys()) >= 30
assert shipped_steps() and demo_scenario("fairleads_dip").steps
assert files("pourcall.tui").joinpath("dashboard.tcss").is_file()
assert files("pourcall.drivers").joinpath("firmware", "pourcall_board.py").is_file()
from pourcall.cli.main import main
sys.exit(main(["thermocouple", "K", "500C"]))
"""
MODULES = (
    "pourcall",
    "pourcall.cli.main",
    "pourcall.daemon.main",
    "pourcall.engine.core",
    "pourcall.drivers.link",
    "pourcall.metal.windows",
    "pourcall.sim.boards.pty_board",
    "pourcall.tui.app",
    "pourcall.contract.units",
)


def looked(first: str, under: Path, *, before: str = "") -> None:
    """Import from `under` in an interpreter that knows no site-packages but as a plain folder behind ours."""
    code = f"import sys; sys.path[:0] = [{first!r}]; sys.path.append({dependencies()!r}); {before}\n{LOOK}"
    done = subprocess.run(
        [sys.executable, "-S", "-P", "-c", code, str(under), *MODULES],
        capture_output=True,
        text=True,
        timeout=60.0,
        cwd=under,
        env={**os.environ, "PYTHONPATH": ""},
    )
    assert done.returncode == 0, done.stderr
    assert "20.6443 mV" in done.stdout  # NIST ITS-90 table, type K: 20.644 mV at 500 degC


def test_the_installed_wheel_works_without_the_links(unpacked: Path) -> None:
    assert not [path for path in unpacked.rglob("*") if path.is_symlink()]
    looked(str(unpacked), unpacked)


def test_an_editable_install_of_a_checkout_without_links_works(
    checkout: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    assert not [name for name in LINKS if (checkout / name).exists()]
    out = tmp_path_factory.mktemp("editable")
    code = f"import setuptools.build_meta as backend; backend.build_editable({str(out)!r})"
    done = subprocess.run([sys.executable, "-c", code], cwd=checkout, capture_output=True, text=True, timeout=110.0)
    assert done.returncode == 0, done.stderr
    assert "would be ignored" not in done.stderr
    (built,) = out.glob("*.whl")
    with zipfile.ZipFile(built) as archive:
        archive.extractall(out)
    looked(str(out), checkout, before=f"import site; site.addsitedir({str(out)!r})")


def test_the_links_at_the_top_lead_into_the_package_and_none_lies_inside_it() -> None:
    assert [path for path in (ROOT / "pourcall").rglob("*") if path.is_symlink()] == []
    for name in LINKS:
        link = ROOT / name
        if not link.is_symlink():
            pytest.skip("this checkout has no links")
        assert os.readlink(link) == f"pourcall/{name}"


def test_the_command_of_the_project_is_the_way_in() -> None:
    assert PROJECT["project"]["scripts"] == {"pourcall": "pourcall.cli.main:main"}


# -- the first step ---------------------------------------------------------------------------------------------------


@pytest.fixture
def run_py() -> types.ModuleType:
    spec = spec_from_file_location("first_step", ROOT / "run.py")
    assert spec is not None
    assert spec.loader is not None
    module = module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_first_step_can_be_read_by_old_pythons_so_that_they_can_be_told() -> None:
    source = (ROOT / "run.py").read_text("utf-8")
    tree = ast.parse(source, feature_version=(3, 6))
    assert not [node for node in ast.walk(tree) if isinstance(node, ast.JoinedStr)], "even 3.5 shall get the sentence"
    top = {alias.name.split(".")[0] for node in tree.body if isinstance(node, ast.Import) for alias in node.names}
    assert top <= {"hashlib", "os", "shutil", "subprocess", "sys"}  # all there since 3.0


@pytest.mark.parametrize("version", [(3, 6, 9), (3, 10, 14), (2, 7, 18)])
def test_an_old_python_is_told_in_one_sentence(
    run_py: types.ModuleType,
    version: tuple[int, int, int],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setattr(run_py.sys, "version_info", version)
    with pytest.raises(SystemExit) as leave:
        run_py.check_python()
    monkeypatch.undo()
    said = capsys.readouterr().err
    assert leave.value.code == 1
    assert f"this needs Python 3.11 or newer; this is {version[0]}.{version[1]}" in said
    assert said.count("\n") == 1


def test_this_python_is_new_enough(run_py: types.ModuleType) -> None:
    run_py.check_python()


def test_a_python_without_venv_is_told_what_to_install_and_nothing_half_made_stays(
    run_py: types.ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Debian ships an empty `ensurepip` folder: `import ensurepip` succeeds on it, `version` is not there."""
    monkeypatch.setattr(run_py, "VENV", str(tmp_path / ".venv"))
    monkeypatch.setattr(run_py.shutil, "which", lambda name: None)
    monkeypatch.setitem(sys.modules, "ensurepip", types.ModuleType("ensurepip"))
    with pytest.raises(SystemExit) as leave:
        run_py.make("requirements.txt")
    said = capsys.readouterr().err
    assert leave.value.code == 1
    assert "this Python has no venv module. On Debian or Ubuntu: sudo apt install python3-venv" in said
    assert not (tmp_path / ".venv").exists()


def test_a_step_that_fails_shows_what_it_said_and_leaves_nothing(
    run_py: types.ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    tool = tmp_path / "uv"
    tool.write_text('#!/bin/sh\nmkdir -p "$(dirname "$0")/.venv"\necho "no route to the index"\nexit 1\n')
    tool.chmod(0o755)
    monkeypatch.setattr(run_py, "VENV", str(tmp_path / ".venv"))
    monkeypatch.setattr(run_py.shutil, "which", lambda name: str(tool))
    with pytest.raises(SystemExit):
        run_py.make("requirements.txt")
    said = capsys.readouterr().err
    assert "no route to the index" in said
    assert "setting up failed at: uv venv" in said
    assert not (tmp_path / ".venv").exists()


def test_a_finished_environment_is_taken_as_it_is_and_made_anew_when_the_lock_changes(
    run_py: types.ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    done: list[list[str]] = []
    venv = tmp_path / ".venv"

    def quietly(words: list[str]) -> None:
        done.append(words)
        python = Path(run_py.venv_python())
        python.parent.mkdir(parents=True, exist_ok=True)
        python.touch()

    monkeypatch.setattr(run_py, "VENV", str(venv))
    monkeypatch.setattr(run_py, "quietly", quietly)
    monkeypatch.setattr(run_py.shutil, "which", lambda name: "uv")
    run_py.make("requirements.txt")
    assert len(done) == 3
    assert "--require-hashes" in done[1]
    run_py.make("requirements.txt")
    assert len(done) == 3
    run_py.make("requirements-dev.txt")
    assert len(done) == 6


# -- locks, and traces of this machine ---------------------------------------------------------------------------------


def requirement_names(lines: list[str]) -> set[str]:
    found = (re.match(r"[A-Za-z0-9][A-Za-z0-9._-]*", line) for line in lines)
    return {re.sub(r"[-_.]+", "-", match.group(0)).lower() for match in found if match}


@pytest.mark.parametrize("lock", ["requirements.txt", "requirements-dev.txt"])
def test_a_lock_holds_every_dependency_with_hashes_and_no_host(lock: str) -> None:
    text = (ROOT / lock).read_text("utf-8")
    locked = requirement_names([line for line in text.splitlines() if "==" in line])
    wanted = list(PROJECT["project"]["dependencies"])
    if "dev" in lock:
        wanted += PROJECT["project"]["optional-dependencies"]["dev"]
    assert requirement_names(wanted) - locked == set()
    assert "://" not in text
    assert not re.search(r"--(extra-)?index-url|--find-links|--trusted-host", text)
    blocks = re.split(r"(?m)^(?=[A-Za-z0-9])", text)
    assert [block.split()[0] for block in blocks if "==" in block and "--hash=sha256:" not in block] == []


def test_both_locks_agree_where_they_overlap() -> None:
    pins = [
        set(re.findall(r"(?m)^([A-Za-z0-9._-]+==[^ ;\\]+)", (ROOT / lock).read_text("utf-8")))
        for lock in ("requirements.txt", "requirements-dev.txt")
    ]
    assert pins[0] - pins[1] == set()


MACHINE = re.compile(rb"/(?:work|root|opt)/")
HOST = re.compile(rb"\b(?:pypi|pythonhosted|artifactory|nexus|devpi)\.[a-z]|--(?:extra-)?index-url", re.IGNORECASE)
TEXT_SUFFIXES = {".py", ".toml", ".md", ".txt", ".cfg", ".sql", ".tcss", ".csv", ".json", ".yml", ".yaml", ".svg", ""}


def test_no_file_names_a_place_of_the_machine_it_was_made_on_nor_where_packages_came_from() -> None:
    found = []
    for path in tracked():
        if path.suffix not in TEXT_SUFFIXES or path == PurePosixPath("tests/test_packaging.py"):
            continue
        text = (ROOT / path).read_bytes()
        found += [f"{path}: {match.group(0).decode()}" for rule in (MACHINE, HOST) for match in rule.finditer(text)]
    assert found == []


# -- layers ------------------------------------------------------------------------------------------------------------


def test_the_import_contracts_are_kept(tmp_path: Path) -> None:
    tool = Path(sys.executable).with_name("lint-imports")
    assert tool.exists(), "import-linter is not installed: python3 run.py --test brings it"
    done = subprocess.run(
        [str(tool), "--no-cache"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=110.0,
        env={**os.environ, "NO_COLOR": "1"},
    )
    assert done.returncode == 0, done.stdout
    assert "0 broken" in done.stdout
