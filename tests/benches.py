"""Benchmarks as modules for tests, so that what is measured and what is held are one piece of code."""

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

FOLDER = Path(__file__).parents[1] / "benchmarks"


def bench_module(name: str) -> ModuleType:
    """`benchmarks/NAME.py`, loaded once under its own name (dataclasses in it want to be found there)."""
    if name not in sys.modules:
        found = importlib.util.spec_from_file_location(name, FOLDER / f"{name}.py")
        assert found is not None
        assert found.loader is not None
        module = importlib.util.module_from_spec(found)
        sys.modules[name] = module
        found.loader.exec_module(module)
    return sys.modules[name]
