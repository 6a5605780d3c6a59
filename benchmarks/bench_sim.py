"""How much faster than real time the simulator runs. Whole demonstration melt, plant, probe, amplifier, operator.

`python benchmarks/bench_sim.py` prints a table; `run()` gives the rows. Budget: 5,000 x real time at 10 Hz. There is no
peer to compare with; the second and third rows say what the bytes cost and what 200 ordinary melts cost.
"""

import time
from collections.abc import Callable
from typing import Any

from pourcall.sim import shop
from pourcall.sim.boards.board import Board
from pourcall.sim.scenarios.demo import demo_scenario
from pourcall.sim.scenarios.normal_melts import normal_melt

BUDGET_X = 5_000.0
SUITE_BUDGET_S = 25.0


def _row(what: str, measured: float, unit: str, budget: float | None, ok: bool) -> dict[str, Any]:
    return {
        "what": what,
        "measured": measured,
        "unit": unit,
        "budget": budget,
        "peer": None,
        "peer_measured": None,
        "ratio": None,
        "ok": ok,
    }


def _speed_x(work: Callable[[], float], passes: int = 3) -> float:
    best = 0.0
    for _ in range(passes):
        began = time.perf_counter()
        simulated_s = work()
        best = max(best, simulated_s / (time.perf_counter() - began))
    return best


def _inputs() -> float:
    truth_s = 0.0
    for _, truth in shop.run(demo_scenario(rate_hz=10.0)):
        truth_s = truth.t_s
    return truth_s


def _bytes() -> float:
    board = Board(shop.Shop(demo_scenario(rate_hz=10.0)))
    while not board.shop.finished:
        board.shop.step()
        board.bytes_now()
    return board.shop.t_s


def _suite_s(seeds: int = 40) -> float:
    """Seconds that 200 normal melts take, reckoned from the first `seeds` (kinds come round every five)."""
    began = time.perf_counter()
    for seed in range(seeds):
        for _ in shop.run(normal_melt(seed)):
            pass
    return (time.perf_counter() - began) * 200.0 / seeds


def run() -> list[dict[str, Any]]:
    """The rows of this benchmark."""
    inputs_x, bytes_x, suite_s = _speed_x(_inputs), _speed_x(_bytes), _suite_s()
    return [
        _row("simulator, 10 Hz, to engine inputs", inputs_x, "x real time", BUDGET_X, inputs_x >= BUDGET_X),
        _row("simulator, 10 Hz, to bytes of our line", bytes_x, "x real time", BUDGET_X, bytes_x >= BUDGET_X),
        _row("200 normal melts, plant and probe", suite_s, "s", SUITE_BUDGET_S, suite_s <= SUITE_BUDGET_S),
    ]


if __name__ == "__main__":
    for row in run():
        print(f"{row['what']:45} {row['measured']:12,.1f} {row['unit']:12} budget {row['budget']:,.0f}  ok {row['ok']}")
