"""The fault catalogue and this folder agree, and each fault test fails when its detector is taken out."""

import csv
import importlib
import importlib.util
import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import pytest

from pourcall.contract.events import Priority
from pourcall.drivers.wire import framing
from pourcall.engine.alarms.catalogue import CATALOGUE
from pourcall.engine.alarms.manager import AlarmManager
from pourcall.engine.sensing import measurement as measure
from pourcall.engine.sensing.link_health import BoardLink
from tests.faults.conftest import Rig

HERE = Path(__file__).parent
ROWS = HERE.parent / "data" / "faults" / "rows.csv"


def rows() -> list[dict[str, str]]:
    with ROWS.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


DONE = [row["id"] for row in rows() if row["state"] == "done"]


def module_of(row_id: str) -> ModuleType:
    name = f"tests.faults.test_{row_id}"
    if name in sys.modules:
        return sys.modules[name]
    spec = importlib.util.spec_from_file_location(name, HERE / f"test_{row_id}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_every_row_that_is_done_has_its_file_and_every_file_its_row() -> None:
    files = {path.stem.removeprefix("test_") for path in HERE.glob("test_*.py")} - {"catalogue"}
    assert files == set(DONE)
    assert len({row["id"] for row in rows()}) == len(rows())
    assert {row["state"] for row in rows()} == {"done"}, "every row that is named has its test"


@pytest.mark.parametrize("row", [row for row in rows() if row["state"] == "done"], ids=lambda row: row["id"])
def test_the_alarm_a_row_promises_exists_with_its_priority_and_comes_in_time(row: dict[str, str]) -> None:
    if not row["alarm"]:
        return
    kind = CATALOGUE[row["alarm"]]
    assert kind.priority == Priority(int(row["priority"]))
    assert kind.on_delay_s <= float(row["detect_s"])


@pytest.mark.parametrize("row_id", DONE)
def test_the_fault_test_holds_as_it_is_and_fails_without_its_detector(
    row_id: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    module = module_of(row_id)
    main: Callable[[Rig], None] = module.MAIN
    main(Rig())
    without(str(module.DETECTOR), monkeypatch)
    with pytest.raises(AssertionError):
        main(Rig())


def without(detector: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Take one detector out."""
    if detector == "spike":
        monkeypatch.setattr(measure, "JUMP_LEAST_C", 1e9)
    elif detector == "pieces":
        monkeypatch.setattr(framing.LineFramer, "feed", _forgetful)
    elif detector == "return":
        monkeypatch.setattr(BoardLink, "link", lambda self, item: setattr(self, "closed", True))
        monkeypatch.setattr(BoardLink, "heard", lambda self, mono_s: None)
    else:
        assert detector in CATALOGUE
        judge = AlarmManager.set_condition

        def deaf(self: AlarmManager, kind: str, *args: object, **named: object) -> None:
            if kind != detector:
                judge(self, kind, *args, **named)  # type: ignore[arg-type]

        monkeypatch.setattr(AlarmManager, "set_condition", deaf)


def _forgetful(self: framing.LineFramer, data: bytes) -> list[bytes]:
    """A framer that takes every piece for whole lines."""
    return [line for line in data.split(b"\n") if line]
