"""No status of a reading is documented that no code makes."""

import ast
from pathlib import Path

import pytest

from pourcall.contract.config import BoardConfig, EngineConfig, ProbeConfig
from pourcall.contract.status import STATUS_OF, Reason, Status
from pourcall.engine.core import Engine
from tests.engine.conftest import Bench

ROOT = Path(__file__).parents[2] / "pourcall"
MAKERS = ("engine", "thermometry", "daemon")


def made() -> set[str]:
    """Names of reasons that some code returns, assigns or hands on; to compare with one is not to make it."""
    found = set()
    for path in (path for name in MAKERS for path in (ROOT / name).rglob("*.py")):
        tree = ast.parse(path.read_text("utf-8"))
        compared = {id(part) for node in ast.walk(tree) if isinstance(node, ast.Compare) for part in ast.walk(node)}
        listed = {
            id(part)
            for node in tree.body
            if isinstance(node, ast.Assign | ast.AnnAssign) and isinstance(node.value, ast.Tuple)
            for part in ast.walk(node)
        }
        found |= {
            node.attr
            for node in ast.walk(tree)
            if isinstance(node, ast.Attribute)
            and isinstance(node.value, ast.Name)
            and node.value.id == "Reason"
            and id(node) not in compared | listed
        }
    return found


def test_every_reason_is_made_by_the_code_that_measures() -> None:
    assert set(STATUS_OF) == set(Reason)
    assert [reason for reason in Reason if reason.name not in made()] == []


@pytest.mark.parametrize(("temp_c", "reason"), [(1190.0, Reason.OK), (1230.0, Reason.OFF_SPEC)])
def test_a_reading_beyond_the_class_of_its_wire_is_used_and_says_so(
    make_bench: type[Bench], temp_c: float, reason: Reason
) -> None:
    # type K class 2 is defined from -40 to 1200 degC (IEC 60584-1; from memory)
    bench = make_bench()
    probe = ProbeConfig(name="metal", board="bench", channel="0", wire_class="iec_2", rating_c=1300.0)
    bench.engine = Engine(
        EngineConfig(furnace="small", rating_c=1400.0, boards=(BoardConfig(name="bench"),), probes=(probe,))
    )
    bench.run(10.0, temp_c)
    last = bench.engine.channels[0].last
    assert last is not None
    assert last.reason is reason
    assert last.temp_c == temp_c
    assert STATUS_OF[Reason.OFF_SPEC] is Status.UNCERTAIN
