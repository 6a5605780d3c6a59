"""All benchmarks in one command. A table for people, results.json for machines.

    python benchmarks/run.py            every bench
    python benchmarks/run.py store tui  only these

Each `bench_*.py` has `run()`, which returns rows: what, measured, unit, budget, peer, peer_measured, ratio, ok. A row
is a figure of this machine in this run; what counts is the ratio to the peer or the limit beside it. `ok` false means
over its budget; the exit code is 1 then.
"""

import importlib.util
import json
import platform
import sys
import time
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent


def load(path: Path) -> Any:
    """A bench module by its file."""
    spec = importlib.util.spec_from_file_location(path.stem, path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[path.stem] = module  # benches that start worker processes are found again by this name
    spec.loader.exec_module(module)
    return module


def shown(value: object) -> str:
    """A figure short enough for a column."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "NO"
    if isinstance(value, float):
        return f"{value:,.0f}" if abs(value) >= 1000 else f"{value:.3g}"
    return str(value)


def main(wanted: list[str]) -> int:
    """Run them one after another; the exit code."""
    sys.path.insert(0, str(HERE))
    paths = [
        path for path in sorted(HERE.glob("bench_*.py")) if not wanted or path.stem.removeprefix("bench_") in wanted
    ]
    results: list[dict[str, Any]] = []
    for path in paths:
        began_s = time.monotonic()
        rows = load(path).run()
        print(f"\n{path.stem.removeprefix('bench_')} ({time.monotonic() - began_s:.0f} s)")
        for row in rows:
            results.append({"bench": path.stem, **row})
            mark = {True: "ok  ", False: "OVER", None: "    "}[row.get("ok")]
            peer = f"{row['peer']} {shown(row.get('peer_measured'))}" if row.get("peer") else ""
            ratio = f"x{shown(row['ratio'])}" if row.get("ratio") is not None else ""
            budget = f"(budget {shown(row.get('budget'))})" if row.get("budget") is not None else ""
            figure = f"{shown(row['measured'])} {row.get('unit', '')}"
            print(f"  {mark} {row['what']}: {figure} {budget} {peer} {ratio}".rstrip())
    machine = {"python": platform.python_version(), "machine": platform.machine(), "system": platform.system()}
    (HERE / "results.json").write_text(json.dumps({"machine": machine, "rows": results}, indent=1, default=str) + "\n")
    over = [row for row in results if row.get("ok") is False]
    print(f"\n{len(results)} figures, {len(over)} over budget; all of them in {(HERE / 'results.json').name}")
    return 1 if over else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
