"""The same inputs give the same bytes, in another process, after a journey through JSON, whatever the hash seed.

Outputs are compared as the bytes that are recorded; the snapshot as a value, since msgspec leaves a default out only
where it is the very same object, which a decoded word such as "electric" is not.
"""

import hashlib
import os
import subprocess
import sys
from pathlib import Path

import msgspec
import pytest

from pourcall.contract.config import BoardConfig, EngineConfig, ProbeConfig
from pourcall.contract.inputs import Input
from pourcall.engine.core import Engine
from pourcall.sim.scenarios.normal_melts import normal_melt, run

REPLAY = """
import hashlib, sys
import msgspec
from pourcall.contract.inputs import Input
from pourcall.contract.config import EngineConfig
from pourcall.engine.core import Engine
config, journal = sys.stdin.buffer.read().split(b"\\n", 1)
engine = Engine(msgspec.json.decode(config, type=EngineConfig))
decoder = msgspec.json.Decoder(Input)
made = hashlib.sha256()
for line in journal.splitlines():
    made.update(msgspec.json.encode(engine.handle(decoder.decode(line))))
made.update(repr(engine.snapshot()).encode())
print(made.hexdigest())
"""


@pytest.mark.parametrize("seed", [2, 10])  # a melt by dips; one with a probe left in
def test_a_journal_replayed_elsewhere_gives_byte_equal_outputs(seed: int) -> None:
    scenario = normal_melt(seed)
    config = EngineConfig(
        furnace="small",
        boards=(BoardConfig(name="bench", chip="max31855", sample_s=1.0 / scenario.rate_hz),),
        probes=tuple(
            ProbeConfig(name=p.name, board="bench", channel=p.channel, tc_type=p.tc_type, place=p.place)
            for p in scenario.probes
        ),
    )
    items: list[Input] = [item for item, _ in run(scenario)]
    engine, made = Engine(config), hashlib.sha256()
    for item in items:
        made.update(msgspec.json.encode(engine.handle(item)))
    made.update(repr(engine.snapshot()).encode())
    journal = b"\n".join([msgspec.json.encode(config), *(msgspec.json.encode(item) for item in items)])
    told = set()
    for hash_seed in ("1", "4242"):
        done = subprocess.run(
            [sys.executable, "-c", REPLAY],
            input=journal,
            capture_output=True,
            check=True,
            timeout=100,
            env={**os.environ, "PYTHONHASHSEED": hash_seed},
            cwd=Path(__file__).parents[2],
        )
        told.add(done.stdout.decode().strip())
    assert told == {made.hexdigest()}


def test_the_engine_asks_no_clock_no_chance_and_no_file() -> None:
    """Imported alone it brings none of the modules that could (import contracts say the same of its sources)."""
    code = (
        "import sys; import pourcall.engine.core; "
        "print(sorted(set(sys.modules) & {'numpy', 'scipy', 'sqlite3', 'asyncio', 'aiohttp', 'serial', 'random'}))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, check=True, text=True, timeout=60)
    assert done.stdout.strip() == "[]"


def test_looking_at_the_engine_changes_nothing() -> None:
    """Snapshots between inputs, as many as anybody likes, leave every output as it was."""
    scenario = normal_melt(2)
    config = EngineConfig(
        furnace="small",
        boards=(BoardConfig(name="bench", chip="emf", sample_s=1.0 / scenario.rate_hz),),
        probes=tuple(
            ProbeConfig(name=p.name, board="bench", channel=p.channel, tc_type=p.tc_type, place=p.place)
            for p in scenario.probes
        ),
    )
    quiet, watched = Engine(config), Engine(config)
    for number, (item, _) in enumerate(run(scenario, until_s=1500.0)):
        outs = watched.handle(item)
        if number % 7 == 0:
            watched.snapshot()
        assert quiet.handle(item) == outs
