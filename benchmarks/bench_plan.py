"""How long `pourcall plan` takes, from the shell's call to the page. Budget: half a second for the whole command.

The command runs in a process of its own, as a person would call it; the rows below it say what of that is the program's
start and what is the planning itself. No peer plans pours.
"""

import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from pourcall.metal.alloys.sheet import load_sheets
from pourcall.planning.plan_text import render_text
from pourcall.planning.planner import PlanMould, PlanRequest, make_plan
from pourcall.planning.recipe import Ingredient
from pourcall.reports.pages.plan_page import render_html

BUDGET_S = 0.5
MOULD = "deck cleat,casting=0.35,mm=6,flow=180,head=110,thickest=14,fill=3,copies=2"


def _row(what: str, measured: float, budget: float | None, unit: str = "s") -> dict[str, Any]:
    ok = None if budget is None else measured <= budget
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


def _best_s(work: Callable[[], object], passes: int = 5) -> float:
    best_s = float("inf")
    for _ in range(passes):
        began_s = time.perf_counter()
        work()
        best_s = min(best_s, time.perf_counter() - began_s)
    return best_s


def _command_s(home: str, *words: str) -> float:
    command: Sequence[str] = (sys.executable, "-m", "pourcall", *words)
    environment = {"POURCALL_HOME": home, "PATH": ""}

    def call() -> None:
        subprocess.run(command, env=environment, check=True, capture_output=True)

    return _best_s(call)


def run() -> list[dict[str, Any]]:
    """The rows of this benchmark."""
    metals = (
        Ingredient(name="zinc", composition={"Zn": 99.99, "Fe": 0.01}, price_per_kg=3.1),
        Ingredient(name="aluminium", composition={"Al": 99.8, "Fe": 0.2}, price_per_kg=3.5),
        Ingredient(name="copper", composition={"Cu": 100.0}, price_per_kg=9.0),
        Ingredient(name="magnesium", composition={"Mg": 100.0}, price_per_kg=30.0),
    )
    mould = PlanMould(name="cleat", casting_kg=0.6, thinnest_mm=6.0, flow_mm=180.0, head_mm=110.0, thickest_mm=14.0)
    request = PlanRequest(moulds=(mould,), ingredients=metals, power_w=2000.0)
    sheet = load_sheets().get("za27")
    plan = make_plan(sheet, request)
    with tempfile.TemporaryDirectory(prefix="pc-") as home:
        text_s = _command_s(home, "plan", "za27", "--mould", MOULD)
        html_s = _command_s(home, "plan", "za27", "--mould", MOULD, "--html", str(Path(home) / "plan.html"))
    return [
        _row("pourcall plan, whole command, text", text_s, BUDGET_S),
        _row("pourcall plan, whole command, page to print", html_s, BUDGET_S),
        _row("planning alone, recipe of four metals", 1000.0 * _best_s(lambda: make_plan(sheet, request)), 50.0, "ms"),
        _row("text and page from a plan", 1000.0 * _best_s(lambda: (render_text(plan), render_html(plan))), 50.0, "ms"),
    ]


if __name__ == "__main__":
    for row in run():
        print(f"{row['what']:50} {row['measured']:8.3f} {row['unit']:3} budget {row['budget']}  ok {row['ok']}")
