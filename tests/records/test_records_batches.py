"""When the recorder writes, and in which statements: one commit a batch, every kind of row in its order."""

from pathlib import Path
from typing import Any

from pourcall.contract.inputs import TickIn
from pourcall.records.read.journal import read_inputs
from pourcall.records.read.store import Store
from pourcall.records.write.recorder import Recorder
from tests.records.conftest import LOOK_S

UTC_S = 1_780_000_000.0
Maker = Any


def test_what_comes_in_during_a_commit_waits_for_a_batch_of_its_own(
    database: Path, clock: Any, told: Any, make: Maker
) -> None:
    """Else each batch of a second would be followed by one of a few rows, each with its own sync: twice the flash."""
    recorder = Recorder(database, on_state=told, clock=clock, look_s=LOOK_S)
    recorder.start(utc_s=UTC_S)
    recorder.wait(recorder.begin_session("crucible", "", b"{}", 100.0, UTC_S)).result(5)
    recorder.set_melting("crucible", True)
    assert recorder._writer is not None
    real, sizes = recorder._writer.write, []

    def slow(batch: Any, *, roll_up: bool = False) -> Any:
        sizes.append(len(batch))
        if len(sizes) == 1:  # ten readings arrive while the disk is busy
            for n in range(10):
                recorder.put("crucible", *make.sample(102.0 + n / 10.0))
        return real(batch, roll_up=roll_up)

    recorder._writer.write = slow  # type: ignore[method-assign]
    for n in range(10):
        recorder.put("crucible", *make.sample(101.0 + n / 10.0))
    clock.now_s += 1.0
    clock.until(lambda: len(sizes) == 1 and recorder.waiting == 10)
    clock.looked_at()
    assert sizes == [10]
    clock.now_s += 0.94
    clock.looked_at()
    assert sizes == [10]
    clock.now_s += 0.02  # counted from when the first batch was taken: on the disk within a second of its coming
    clock.until(lambda: sizes == [10, 10] and recorder.waiting == 0)
    assert recorder.stop() == 0


def test_kinds_of_rows_that_take_turns_come_back_in_their_order(database: Path, recording: Any, make: Maker) -> None:
    """One probe at 1 Hz: sample, tick, odd sample, note in turn, each with another statement to write it."""
    recorder = recording()
    said = []
    for n in range(40):
        at_s = 101.0 + n
        make.seq += 1
        tick = TickIn(seq=make.seq, mono_s=at_s, utc_s=make.base_s + at_s)
        for item, outputs in (
            (tick, ()),
            make.sample(at_s + 0.25, 500.0 + n, u_c=2.5),
            make.sample(at_s + 0.5, 400.0),
            make.sample(at_s + 1 / 3, 500.0, u_c=2.5, late_s=0.2),
            make.note(at_s + 0.75),
        ):
            recorder.put("crucible", item, outputs)
            said.append(item)
    recorder.stop()
    with Store.read(database) as store:
        assert list(read_inputs(store, 1)) == said
        with store.reading() as conn:
            assert conn.execute("SELECT sum(n) FROM rollup WHERE span_s = 60").fetchone() == (120,)
            assert conn.execute("SELECT count(*) FROM readings WHERE u_c IS NULL").fetchone() == (40,)
