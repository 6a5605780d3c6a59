"""What the engine says in ordinary melts of each simulated plant that is not so. One line a melt, then a table.

`PYTHONPATH=. python benchmarks/bench_normal_melts.py [PLANT [FIRST COUNT]]`; `run()` gives the rows, of a few melts.
Truth is the plant's (tests/normal/followed.py); seeds from 30,000 on are those that nothing was tuned on. There is no
peer: nothing of general use follows a melt. Budget: no alarm, no question and no doubt that is not so.
"""

import sys
import time
from collections import defaultdict
from collections.abc import Iterable
from typing import Any

from pourcall.sim.scenarios.plants import MELTS
from tests.normal.followed import Followed, follow

FIRST, FEW = 30_000, 10


def told(seed: int, seen: Followed, took_s: float) -> str:
    """One melt in a line."""
    wrong = " ".join(f"{what}@{seen.at[what]:.0f}" for what in sorted(seen.wrong))
    misled = " ".join(f"{what}@{seen.at[what]:.0f}" for what in sorted(seen.misled))
    beyond = " ".join(f"{call.mould.name}@{call.t_s:.0f}:{call.beyond_u_c:+.1f}" for call in seen.beyond_u)
    early = [call for call in seen.calls if call.liquid < 0.95]
    return (
        f"{seed} {' '.join(seen.scenario.tags)} | wrong {wrong or '-'} | misled {misled or '-'} | over "
        f"{seen.overshot_c:+.1f} | calls {len(seen.calls)} beyond {beyond or '-'} early {len(early)} | "
        f"unexplained {seen.unexplained} unproven {len(seen.unproven_s)} state_early {seen.early_s} "
        f"blind {seen.blind_s:.0f} never {int(seen.never_called)} | {took_s:.1f} s"
    )


def rows(plant: str, all_seen: Iterable[tuple[int, Followed]]) -> list[dict[str, Any]]:
    """The table of one plant."""
    found: dict[str, list[int]] = defaultdict(list)
    melts = calls = 0
    blind = (0.0, -1)
    for seed, seen in all_seen:
        melts += 1
        calls += len(seen.calls)
        for what in seen.wrong:
            found[f"{what}, not so"].append(seed)
        for what in seen.misled:
            found[f"{what}, misled by a mark not made"].append(seed)
        for what, holds in (
            ("a pour called beyond the stated U", seen.beyond_u),
            ("a pour called below 95 % liquid", [call for call in seen.calls if call.liquid < 0.95]),
            ("truly ready for a minute, never called", seen.never_called),
            ("liquid, ready or above said below 95 % liquid, over 30 s", seen.early_s > 30),
            ("asked to prove itself in liquid metal", seen.unproven_s),
        ):
            if holds:
                found[what].append(seed)
        blind = max(blind, (seen.blind_s, seed))
    made = [_row(f"{plant}: {what}, seeds {seeds[:12]}", len(seeds), "melts") for what, seeds in sorted(found.items())]
    made.append(_row(f"{plant}: longest time blind in liquid metal, seed {blind[1]}", blind[0], "s"))
    made.append(_row(f"{plant}: pours called in {melts} melts", calls, "calls"))
    return made


def _row(what: str, measured: float, unit: str) -> dict[str, Any]:
    budget = 0.0 if ", not so" in what else None
    return {
        "what": what,
        "measured": measured,
        "unit": unit,
        "budget": budget,
        "peer": None,
        "peer_measured": None,
        "ratio": None,
        "ok": budget is None or measured <= budget,
    }


def run() -> list[dict[str, Any]]:
    """The rows of this benchmark."""
    return [
        row
        for plant in MELTS
        for row in rows(plant, ((seed, follow(seed, plant)) for seed in range(FIRST, FIRST + FEW)))
    ]


def main(words: list[str]) -> None:
    """Follow and print, melt by melt."""
    first, count = (int(words[1]), int(words[2])) if len(words) > 2 else (FIRST, FEW)
    for plant in words[:1] or list(MELTS):
        all_seen = []
        for seed in range(first, first + count):
            began = time.perf_counter()
            seen = follow.__wrapped__(seed, plant)
            all_seen.append((seed, seen))
            print(told(seed, seen, time.perf_counter() - began), flush=True)
        for row in rows(plant, all_seen):
            print(f"{row['what']:100} {row['measured']:8.0f} {row['unit']}")


if __name__ == "__main__":
    main(sys.argv[1:])
