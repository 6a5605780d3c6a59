"""Melts of the simulated shop, played through engine and recorder, as packed SQL text, for the test that replays them.

    python tests/data/records/make_played.py      writes played-NNNN.sql.gz of the schema this program has

Run it with the program of a released schema version, never again after: the outputs in it are what that program
decided.
"""

import gzip
import sqlite3
import tempfile
from pathlib import Path

import msgspec

from pourcall.contract.config import BoardConfig, EngineConfig, ProbeConfig
from pourcall.contract.inputs import CommandIn, StartMelt
from pourcall.engine.core import Engine
from pourcall.records.write.recorder import Recorder
from pourcall.sim.scenarios.normal_melts import normal_melt, run

HERE = Path(__file__).parent
UTC_S = 1_780_000_000.0
SEEDS = (7, 17, 35, 46)  # by dips twice, and with a thin probe and a tube left in; one reading a second


def play(path: Path, seed: int) -> None:
    """One melt as a session of its own."""
    scenario = normal_melt(seed)
    config = EngineConfig(
        furnace=f"furnace_{seed}",
        boards=(BoardConfig(name="bench", chip="max31855", sample_s=1.0 / scenario.rate_hz),),
        probes=tuple(
            ProbeConfig(name=p.name, board="bench", channel=p.channel, tc_type=p.tc_type, place=p.place)
            for p in scenario.probes
        ),
    )
    engine = Engine(config)
    recorder = Recorder(path, on_state=lambda *_: None, clock=lambda: 0.0)
    recorder.start(utc_s=UTC_S)
    began = False
    for item, _ in run(scenario):
        if isinstance(item, CommandIn) and isinstance(item.command, StartMelt):
            plan = msgspec.structs.replace(item.command.plan, melt=f"2026-{seed:03d}")
            item = msgspec.structs.replace(item, command=msgspec.structs.replace(item.command, plan=plan))
        if not began:
            body = msgspec.json.encode(config)
            recorder.begin_session(config.furnace, "", body, item.mono_s, item.utc_s)
            began = True
        recorder.put(config.furnace, item, engine.handle(item))
    assert recorder.stop() == 0


def main() -> None:
    """Write the file."""
    with tempfile.TemporaryDirectory() as work:
        path = Path(work) / "played.sqlite"
        for seed in SEEDS:
            play(path, seed)
        conn = sqlite3.connect(path)
        version, application = (
            conn.execute(f"PRAGMA {name}").fetchone()[0] for name in ("user_version", "application_id")
        )
        text = "\n".join(conn.iterdump())
        conn.close()
    head = f"PRAGMA application_id = {application};\nPRAGMA user_version = {version};\n"
    packed = gzip.compress(f"{head}{text}\n".encode(), 9, mtime=0)
    (HERE / f"played-{version:04d}.sql.gz").write_bytes(packed)
    print(f"{len(text)} characters, {len(packed)} packed")


if __name__ == "__main__":
    main()
