"""How long a person waits for the help and for the daemon. Whole processes, as from a shell; medians.

Peers in the same run: an interpreter that does nothing, and one that parses arguments and prints the same overview with
the standard library alone (what no command line on it can beat). `python benchmarks/bench_start.py` prints the rows.
"""

import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

HELP_BUDGET_S, READY_BUDGET_S = 0.12, 0.8
RUNS, STARTS = 15, 5
NOTHING = [sys.executable, "-c", "pass"]
_BARE = """
import argparse
parser = argparse.ArgumentParser(prog="bare", description="nothing")
parser.add_argument("command")
parser.parse_args(["--help"])
"""
BARE = [sys.executable, "-c", _BARE]
SETTINGS = """
[board.bench]
port = "/dev/no-such-board"
[furnace.crucible]
[probe.melt_probe]
furnace = "crucible"
board = "bench"
"""
Row = dict[str, Any]


def took_s(words: list[str], env: dict[str, str]) -> float:
    """Start to end of one process, in seconds."""
    began_s = time.perf_counter()
    subprocess.run(words, env=env, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    return time.perf_counter() - began_s


def ready_s(home: Path) -> float:
    """Start of `pourcall serve` on a fresh home to its word that it is listening, in seconds."""
    settings = home / "settings" / "pourcall.toml"
    settings.parent.mkdir(parents=True, exist_ok=True)
    settings.write_text(SETTINGS)
    env = {**os.environ, "POURCALL_HOME": str(home)}
    began_s = time.perf_counter()
    daemon = subprocess.Popen([sys.executable, "-m", "pourcall", "serve"], env=env, stderr=subprocess.PIPE, text=True)
    try:
        assert daemon.stderr is not None
        line = daemon.stderr.readline()
        found_s = time.perf_counter() - began_s
        if "listening" not in line:
            raise RuntimeError(line + daemon.stderr.read())
        return found_s
    finally:
        daemon.terminate()
        daemon.wait(10.0)
        assert daemon.stderr is not None
        daemon.stderr.close()


def in_turns(count: int, *ways: Callable[[], float]) -> list[float]:
    """Medians of several ways of doing it, taken in turns, so that a busy moment hits them alike."""
    found: list[list[float]] = [[] for _ in ways]
    for _ in range(count):
        for figures, way in zip(found, ways, strict=True):
            figures.append(way())
    return [statistics.median(figures) for figures in found]


def row(what: str, measured: float, budget: float, peer: str, peer_measured: float) -> Row:
    """One figure against its budget, and against the peer of the same run."""
    return {
        "what": what,
        "measured": round(measured, 4),
        "unit": "s",
        "budget": budget,
        "peer": peer,
        "peer_measured": round(peer_measured, 4),
        "ratio": round(measured / peer_measured, 2),
        "ok": measured <= budget,
    }


def run() -> list[Row]:
    """All figures; about ten seconds."""
    with tempfile.TemporaryDirectory(prefix="pc-") as folder:
        env = {**os.environ, "POURCALL_HOME": folder}
        helped = [sys.executable, "-m", "pourcall", "--help"]
        took_s(helped, env)  # once for the disk's sake
        help_s, bare_s = in_turns(RUNS, lambda: took_s(helped, env), lambda: took_s(BARE, env))
    homes = tempfile.TemporaryDirectory(prefix="pc-")
    with homes as folder:
        numbers = iter(range(STARTS))
        start_s, nothing_s = in_turns(
            STARTS, lambda: ready_s(Path(folder) / str(next(numbers))), lambda: took_s(NOTHING, dict(os.environ))
        )
    return [
        row(f"pourcall --help, median of {RUNS}", help_s, HELP_BUDGET_S, "argparse alone", bare_s),
        row(
            f"pourcall serve: start to listening, median of {STARTS}",
            start_s,
            READY_BUDGET_S,
            "python -c pass",
            nothing_s,
        ),
    ]


if __name__ == "__main__":
    for each in run():
        print(json.dumps(each))
