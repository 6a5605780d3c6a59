"""The suite's own guard. A real run of pytest under our conftest, on tests that leak and one that does not."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).parent
TESTS = """
import asyncio, socket, subprocess, sys
import pytest


class Knot:
    def __init__(self, held):
        self.held, self.itself = held, self  # only the collector finds it


def test_leaks_a_socket():
    Knot(socket.socket())


@pytest.fixture
def knot():
    return Knot(None)


def test_leaks_by_way_of_a_fixture(knot):
    knot.held = socket.socket()


def test_leaks_a_process():
    Knot(subprocess.Popen([sys.executable, "-c", "input()"], stdin=subprocess.PIPE))


async def test_leaks_a_coroutine():
    Knot(asyncio.sleep(0))


def test_is_innocent():
    pass
"""


def test_a_leak_is_an_error_of_the_test_that_leaks_and_of_no_other(tmp_path: Path) -> None:
    shutil.copy(HERE / "conftest.py", tmp_path)
    (tmp_path / "test_leaking.py").write_text(TESTS)
    done = subprocess.run(
        [
            sys.executable,
            "-m",
            "pytest",
            "-c",
            str(HERE.parent / "pyproject.toml"),
            "--rootdir",
            str(tmp_path),
            "-rEfp",
            "-p",
            "no:xdist",
            "test_leaking.py",
        ],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=100.0,
        env={**os.environ, "PYTHONPATH": str(HERE.parent)},
    )
    told = [line.split(" - ")[0] for line in done.stdout.splitlines() if line.startswith(("ERROR ", "FAILED "))]
    assert told == [
        f"ERROR test_leaking.py::test_leaks_{what}"
        for what in ("a_socket", "by_way_of_a_fixture", "a_process", "a_coroutine")
    ], done.stdout
    assert "5 passed, 4 errors" in done.stdout
