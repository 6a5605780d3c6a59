"""Every command has a module, a help and a section in the handbook; the way in says how to go on."""

import argparse
import re
import subprocess
import sys
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest

from pourcall.cli.main import COMMANDS, help_of
from pourcall.contract.version import VERSION
from tests.told import said

ROOT = Path(__file__).parents[2]
HANDBOOK = ROOT / "docs" / "commands.md"
Run = Callable[..., Any]


@pytest.mark.parametrize("name", COMMANDS)
def test_a_command_has_a_module_that_adds_arguments_and_runs(name: str) -> None:
    module = import_module(COMMANDS[name].module(name))
    parser = argparse.ArgumentParser()
    module.add_arguments(parser)
    assert callable(module.run)
    assert (module.__doc__ or "").startswith(f"`pourcall {name}`")


def test_every_module_of_a_command_is_in_the_table() -> None:
    found = {path.name.removesuffix("_command.py") for path in (ROOT / "pourcall" / "cli").glob("*/*_command.py")}
    assert found == set(COMMANDS)


@pytest.mark.parametrize("name", COMMANDS)
def test_help_of_a_command_says_what_it_is_for_and_touches_nothing(name: str, run: Run, home: Path) -> None:
    done = run(name, "--help")
    assert done.code == 0
    assert f"usage: pourcall {name}" in done.out
    assert help_of(name)[1:20] in done.out
    assert list(home.iterdir()) == []


def subcommands(name: str) -> dict[str, argparse.ArgumentParser]:
    parser = argparse.ArgumentParser()
    import_module(COMMANDS[name].module(name)).add_arguments(parser)
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            return dict(action.choices)
    return {}


def test_every_subcommand_has_a_help_of_its_own(run: Run) -> None:
    count = 0
    for name in COMMANDS:
        for sub in subcommands(name):
            done = run(name, sub, "--help")
            assert done.code == 0
            assert f"usage: pourcall {name} {sub}" in done.out
            count += 1
    assert count >= 14


@pytest.mark.parametrize("name", COMMANDS)
def test_a_command_is_described_in_the_handbook(name: str) -> None:
    assert HANDBOOK.exists(), "docs/commands.md is missing"
    text = HANDBOOK.read_text("utf-8")
    parts = re.split(r"(?m)^#{1,4} ", text)
    own = [part for part in parts if re.search(rf"\b{name}\b", part.partition("\n")[0])]
    assert own, f"docs/commands.md has no section headed `pourcall {name}`"
    section = "".join(own)
    missing = [sub for sub in subcommands(name) if not re.search(rf"\b{sub}\b", section)]
    assert not missing, f"the section on `pourcall {name}` says nothing of {', '.join(missing)}"


def test_listings_can_be_had_as_json() -> None:
    without = []
    for name in COMMANDS:
        for sub, parser in subcommands(name).items():
            options = {option for action in parser._actions for option in action.option_strings}
            if sub in ("list", "show", "check") and "--json" not in options:
                without.append(f"{name} {sub}")
    assert without == []


def test_the_overview_names_every_command_and_the_caution(run: Run) -> None:
    for words in ((), ("--help",), ("-h",)):
        done = run(*words)
        assert done.code == 0
        assert all(f"{name}  " in done.out for name in COMMANDS)
        assert said("overview.caution") in done.out


def test_the_overview_loads_nothing_that_only_a_command_needs() -> None:
    """What keeps `pourcall --help` inside its 0.12 s (benchmarks/bench_start.py measures it)."""
    code = (
        "import sys; from pourcall.cli.main import main; main([]); "
        "print(sorted(set(sys.modules) & {'msgspec', 'asyncio', 'sqlite3', 'serial', 'aiohttp', 'numpy', 'textual'}))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60.0)
    assert done.stdout.splitlines()[-1] == "[]", done.stderr


def test_version_is_the_one_of_the_package(run: Run) -> None:
    assert run("--version").out.strip() == f"pourcall {VERSION}"


@pytest.mark.parametrize(
    ("typed", "meant"), [("sereve", "serve"), ("thermocuple", "thermocouple"), ("melts", "melt"), ("replya", "replay")]
)
def test_an_unknown_command_is_answered_with_the_nearest(run: Run, typed: str, meant: str) -> None:
    done = run(typed)
    assert (done.code, done.out) == (2, "")
    assert done.err == f"pourcall: {said('cli.no_command_near', word=typed, near=meant)}\n"


def test_an_unknown_command_like_none_is_answered_with_the_way_to_the_help(run: Run) -> None:
    done = run("xyzzy")
    assert done.code == 2
    assert done.err == f"pourcall: {said('cli.no_command', word='xyzzy')}\n"


def test_a_reader_that_leaves_is_no_error(shell: Run, home: Path) -> None:
    script = f"'{sys.executable}' -W error -m pourcall alloy list --json | head -c 10; exit ${{PIPESTATUS[0]}}"
    done = subprocess.run(
        ["bash", "-c", script],
        env={"POURCALL_HOME": str(home), "PATH": "/usr/bin:/bin"},
        capture_output=True,
        text=True,
    )
    assert (done.returncode, done.stderr) == (0, "")
