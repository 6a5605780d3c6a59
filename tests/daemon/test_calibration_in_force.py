"""A calibration on record is in force from the daemon's next start; what was recorded before keeps what it had,
and both can be had side by side. Real terminal, real record; simulated time."""

import csv
import sys
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import msgspec
import pytest

from pourcall.calibration.correction import ProbeFacts, RawSample, emf_trace, find_point
from pourcall.contract.calibration import Calibration
from pourcall.contract.config import EngineConfig
from pourcall.contract.inputs import Command, Input
from pourcall.contract.paths import Paths
from pourcall.contract.reading import Reading
from pourcall.contract.settings import parse_settings
from pourcall.daemon.inputs.ports import link_maker
from pourcall.daemon.inputs.sequencer import ProcessedInput
from pourcall.daemon.main import Daemon
from pourcall.engine.core import Engine
from pourcall.records.entries.calibrations import (
    add_point,
    calibration_rows,
    calibrations_in_force,
    melt_config,
    raw_samples,
    write_aside,
)
from pourcall.records.read.journal import read_inputs
from pourcall.records.read.store import Store
from pourcall.reports.tables.recompute import recompute_melt
from pourcall.sim.boards.pty_board import LockStep
from pourcall.sim.clock import SimClock
from pourcall.sim.plant.cup import Cup, cool_cup
from pourcall.sim.scenarios.demo import demo_scenario
from pourcall.sim.shop import START_UTC_S, Shop
from pourcall.thermometry.compensation import to_temperature
from pourcall.thermometry.reference_points import cal_point

if sys.platform == "win32":
    pytest.skip("pseudo-terminals are missing here", allow_module_level=True)

FURNACE, PROBE = "club", "metal"
FACTS = ProbeFacts(PROBE, FURNACE, "K", "iec_2", "max31855")
UTC_S = START_UTC_S + 86400.0


async def lived(paths: Paths, *, days_later: float = 0.0) -> bytes:
    """One melt from start to end, later without anyone at the keys; what the engine said, byte for byte."""
    scenario = demo_scenario("cleats_left_in")
    clock, said = SimClock(utc_s=START_UTC_S + 86400.0 * days_later), list[bytes]()
    daemon: Daemon | None = None

    def press(keys: list[Command]) -> None:
        assert daemon is not None
        assert daemon.service is not None
        for command in () if days_later else keys:
            daemon.service.sequencer(FURNACE).submit(command)

    def hear(passed: ProcessedInput, hear_call: Callable[[str], None]) -> None:
        said.extend(msgspec.json.encode(output) for output in passed.outputs)
        for output in passed.outputs:
            kind = getattr(getattr(output, "call", None), "kind", None)
            if kind is not None and getattr(output, "how", "") == "raised":
                hear_call(kind.value)

    step = LockStep(Shop(scenario), clock, on_keys=press, patience_s=0.05)
    probe = scenario.probes[0]
    text = (
        f'[board.bench]\nport = "{step.port}"\nsample_s = {1 / scenario.rate_hz}\nchip = "max31855"\n'
        f'[furnace.{FURNACE}]\n[probe.{probe.name}]\nfurnace = "{FURNACE}"\nboard = "bench"\n'
        f'channel = "{probe.channel}"\nplace = "{probe.place.value}"\n'
    )
    assert probe.name == PROBE
    daemon = Daemon(
        parse_settings(text),
        text,
        paths,
        clock=clock,
        link_for=link_maker(clock),
        consumed=step.consumed,
        simulated=True,
        speed=600.0,
    )
    await daemon.start()
    try:
        assert daemon.service is not None
        daemon.service.sequencer(FURNACE).subscribe(lambda passed: hear(passed, step.hear_call))
        await step.run()
    finally:
        await daemon.stop()
        await step.aclose()
    return b"\n".join(said)


def calibrate(path: Path, metal: str, gain: float, utc_s: float) -> float:
    """Keep a point found in a simulated cup; its correction in uV."""
    from pourcall.contract.frames import RawKind

    run = cool_cup(Cup(metal, gain=gain))
    trace = emf_trace([RawSample(s.at_s, RawKind.EMF_UV, s.emf_uv, s.cold_junction_c) for s in run.samples], "K")
    found = find_point(trace, cal_point(metal), FACTS, grade="99.9", heating="off")
    write_aside(
        path,
        lambda conn: add_point(
            conn, FACTS, found, who="ann", utc_s=utc_s, source="test", due_days=180.0, grade="99.9", depth_mm=None
        ),
        utc_s=utc_s,
    )
    return found.offset_uv


def again(paths: Paths, number: int) -> tuple[EngineConfig, bytes, list[Input]]:
    with Store.read(paths.database) as store:
        session = store.sessions()[number]
        config = msgspec.json.decode(session.config_json, type=EngineConfig)
        inputs = list(read_inputs(store, session.id))
    engine = Engine(config)
    said = [msgspec.json.encode(output) for item in inputs for output in engine.handle(item)]
    return config, b"\n".join(said), inputs


async def test_a_calibration_counts_from_the_next_start_and_changes_nothing_before_it(
    paths: Paths, tmp_path: Path
) -> None:
    first = await lived(paths)
    with Store.read(paths.database) as store:
        melt = store.melts()[0].melt
        before = store.melt(melt)
    offset_uv = calibrate(paths.database, "zinc", 1.003, UTC_S)
    calibrate(paths.database, "aluminium", 1.003, UTC_S + 60.0)
    second = await lived(paths, days_later=3.0)

    config, said, _ = again(paths, 0)
    assert config.probes[0].calibration is None
    assert said == first  # byte for byte as it was said then, whatever is on record now
    config, said, inputs = again(paths, 1)
    assert said == second
    calibration = config.probes[0].calibration
    assert isinstance(calibration, Calibration)
    assert calibration.how == "zinc, aluminium"
    assert calibration.points[0][1] == pytest.approx(offset_uv, abs=1e-3)
    with Store.read(paths.database) as store:
        assert store.melt(melt) == before

    # the second session's readings really carry it: against the converter itself
    readings = [msgspec.json.decode(line, type=Reading) for line in second.split(b"\n") if b'"reading"' in line[:24]]
    checked = 0
    for reading in readings[:200]:
        temp_c, _ = to_temperature(reading.raw_kind, reading.raw_value, reading.cold_junction_c, "K", calibration)
        bare_c, _ = to_temperature(reading.raw_kind, reading.raw_value, reading.cold_junction_c, "K")
        if reading.temp_c is not None and temp_c is not None:
            assert reading.temp_c == temp_c
            assert bare_c is not None
            assert bare_c - temp_c > 0.5
            checked += 1
    assert checked > 100
    assert inputs

    # both columns, from the same raw values
    with Store.read(paths.database) as store:
        done = recompute_melt(store, melt, tmp_path)
    rows = list(csv.DictReader(done.csv.read_text("utf-8").splitlines()))
    assert len(rows) == done.rows > 1000
    for row in rows[:: len(rows) // 50]:
        raw, cold = float(row["raw_value"]), float(row["cold_junction_c"])
        then_c, _ = to_temperature(readings[0].raw_kind, raw, cold, "K")
        now_c, _ = to_temperature(readings[0].raw_kind, raw, cold, "K", calibration)
        assert float(row["temp_c"]) == pytest.approx(then_c, abs=1e-3)
        assert float(row["temp_recomputed_c"]) == pytest.approx(now_c, abs=1e-3)
    metadata = msgspec.json.decode(done.metadata.read_bytes())
    assert [column["name"] for column in metadata["tableSchema"]["columns"]] == list(rows[0])
    assert "zinc, aluminium" in metadata["dc:description"]


async def test_raw_samples_of_a_melt_come_back_as_the_board_gave_them(paths: Paths) -> None:
    await lived(paths)
    _, _, inputs = again(paths, 0)
    with Store.read(paths.database) as store:
        melt = store.melts()[0].melt
        with store.reading() as conn:
            samples = list(raw_samples(conn, melt, PROBE))
            config = melt_config(conn, melt)
    assert config is not None
    assert config.probes[0].name == PROBE
    journal = [getattr(item, "sample", None) for item in inputs]
    values = [one.raw_value for one in journal if one is not None and one.raw_value is not None]
    held = [one.raw_value for one in samples if one.raw_value is not None]
    assert len(held) > 1000
    at = values.index(held[0])
    assert values[at : at + 500] == held[:500]
    assert all(one.at_s < two.at_s for one, two in pairwise(samples))


def test_points_on_record_are_append_only_and_read_back_whole(tmp_path: Path) -> None:
    import sqlite3

    path = tmp_path / "pourcall.sqlite"
    calibrate(path, "zinc", 1.002, UTC_S)
    calibrate(path, "zinc", 1.003, UTC_S + 100.0)
    with Store.read(path) as store, store.reading() as conn:
        rows = calibration_rows(conn, PROBE)
        force = calibrations_in_force(conn, FURNACE, {PROBE: "K", "other": "K"})
    assert [row.id for row in rows] == [1, 2]
    detail = rows[0].detail
    assert detail is not None
    assert (detail.point, detail.source, detail.grade, rows[0].method) == ("zinc", "test", "99.9", "arrest")
    assert {part.name for part in detail.parts} >= {"plateau", "sample", "cold junction"}
    assert list(force) == [PROBE]
    conn = sqlite3.connect(path)
    with pytest.raises(sqlite3.IntegrityError, match="append-only"):
        conn.execute("UPDATE calibrations SET offset_uv = 0")
    conn.close()


def test_a_point_is_kept_beside_a_recorder_that_is_writing(tmp_path: Path) -> None:
    """Two writers on one file: neither loses a row, and the recorder has no trouble to tell."""
    import time

    from pourcall.contract.inputs import TickIn
    from pourcall.records.write.recorder import Recorder

    path, troubles = tmp_path / "pourcall.sqlite", list[str]()
    recorder = Recorder(path, on_state=lambda problem, *_: troubles.append(problem), clock=time.monotonic)
    recorder.start(utc_s=UTC_S)
    try:
        recorder.begin_session(FURNACE, "", b'{"furnace":"club"}', 1.0, UTC_S)
        ticket = 0
        for second in range(40):
            ticket = recorder.put(FURNACE, TickIn(seq=second + 1, mono_s=2.0 + second, utc_s=UTC_S + second), ())
            if second % 10 == 5:
                calibrate(path, "zinc", 1.0 + 0.0005 * second, UTC_S + second)
                recorder.call(lambda conn: conn.execute("SELECT 1").fetchone()).result(5.0)
        recorder.call(lambda conn: None).result(5.0)
        assert recorder.durable >= ticket
    finally:
        assert recorder.stop() == 0
    assert [problem for problem in troubles if problem] == []
    with Store.read(path) as store, store.reading() as conn:
        assert len(calibration_rows(conn, PROBE, FURNACE)) == 4
        assert conn.execute("SELECT count(*) FROM journal").fetchone() == (40,)
