"""Parts for the tests of the records: a clock to turn by hand, inputs of a made-up melt, a listener."""

import random
import sqlite3
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from pourcall.contract.entries import ChargeEntry, ChargeRequest, Entry
from pourcall.contract.events import (
    Dip,
    DipHow,
    DipRecorded,
    Event,
    Marking,
    MeltEnded,
    MeltStarted,
    MeltState,
    MeltStateChanged,
    Pour,
    PourMarked,
)
from pourcall.contract.frames import RawKind, Sample
from pourcall.contract.inputs import CommandIn, EndMelt, MeltEnding, Note, SampleIn, StartMelt, StoreProblem
from pourcall.contract.message import Message
from pourcall.contract.plan import AlloyFacts, MeltPlan, MouldPlan, PotLimit
from pourcall.contract.reading import Reading
from pourcall.contract.status import Reason
from pourcall.daemon.api import library
from pourcall.records.read.store import Store
from pourcall.records.write.recorder import Recorder

UTC_S = 1_780_000_000.0
LOOK_S = 0.002  # how often the recorders here look at the clock of their test


class Bell:
    """Rung by another thread: who waits for what that thread does looks again at each ring."""

    def __init__(self) -> None:
        self._lock, self.rung = threading.Condition(), 0

    def ring(self) -> None:
        with self._lock:
            self.rung += 1
            self._lock.notify_all()

    def until(self, holds: Callable[[], object], timeout_s: float = 10.0) -> None:
        end_s = time.monotonic() + timeout_s
        while True:
            heard = self.rung  # and `holds` is asked without the lock: it may ask for one that the ringer has
            if holds():
                return
            with self._lock:
                self._lock.wait_for(lambda heard=heard: self.rung != heard, end_s - time.monotonic())  # type: ignore[misc]
            assert time.monotonic() < end_s, "waited in vain"


class Turned:
    """A monotonic clock that moves when the test says so, and knows how often the recorder's thread looked at it."""

    # A batch that is due is looked at three times before it is written (that it is due; when it is taken; since when
    # the roll-up waits) and once more afterwards: after this many looks what was due is done.
    SURE = 6

    def __init__(self) -> None:
        self.now_s = 100.0
        self._looks = Bell()

    def __call__(self) -> float:
        if threading.current_thread().name == "recorder":
            self._looks.ring()
        return self.now_s

    def until(self, holds: Callable[[], object]) -> None:
        """Wait for what the recorder's thread does: it is asked each time that it looks at the clock."""
        self._looks.until(holds)

    def looked_at(self, looks: int = SURE) -> None:
        """What is due at this time of the clock has been done; what is not done now was not due."""
        enough = self._looks.rung + looks
        self._looks.until(lambda: self._looks.rung >= enough)


class Told:
    """What the recorder said of its state."""

    def __init__(self) -> None:
        self.said: list[tuple[StoreProblem, Message | str, int]] = []
        self._words = Bell()

    def __call__(self, problem: StoreProblem, detail: Message | str, waiting: int) -> None:
        self.said.append((problem, detail, waiting))
        self._words.ring()

    def until(self, problem: str, timeout_s: float = 10.0) -> None:
        """Wait until the latest word is this one."""
        self._words.until(lambda: self.said and self.said[-1][0] == problem, timeout_s)


class Makers:
    """Inputs and outputs of one furnace, numbered in order."""

    def __init__(self, seed: int = 1) -> None:
        self.seq, self.base_s = 0, UTC_S - 100.0  # base: UTC at monotonic zero
        self.random = random.Random(seed)

    def sample(
        self,
        mono_s: float,
        temp_c: float | None = 500.0,
        *,
        probe: str = "melt_probe",
        channel: str = "0",
        reason: Reason = Reason.OK,
        late_s: float = 0.0,
        u_c: float | None = None,
    ) -> tuple[SampleIn, tuple[Reading, ...]]:
        self.seq += 1
        utc_s = self.base_s + mono_s
        raw = None if temp_c is None else round(temp_c * 41.0, 1)
        item = SampleIn(
            seq=self.seq,
            mono_s=mono_s,
            utc_s=utc_s,
            board="bench",
            late_s=late_s,
            sample=Sample(
                channel=channel,
                raw_kind=RawKind.EMF_UV,
                raw_value=raw,
                cold_junction_c=22.0625,
                board_seq=self.seq,
                board_ms=int(mono_s * 1000.0),
            ),
        )
        reading = Reading(
            probe=probe,
            temp_c=temp_c,
            reason=reason,
            at_mono_s=mono_s - late_s,
            at_utc_s=utc_s - late_s,
            raw_kind=RawKind.EMF_UV,
            raw_value=raw,
            cold_junction_c=22.0625,
            u_c=u_c,
        )
        return item, (reading,)

    def note(self, mono_s: float, text: str = "lid on") -> tuple[CommandIn, tuple[Event, ...]]:
        self.seq += 1
        return CommandIn(seq=self.seq, mono_s=mono_s, utc_s=self.base_s + mono_s, command=Note(text=text)), ()

    def plan(self, melt: str = "2026-001", mould: str = "Cleat A") -> MeltPlan:
        # Figures of ZA-27 as in the sheets; window and loss invented for the boat club's deck cleats.
        return MeltPlan(
            melt=melt,
            alloy=AlloyFacts(
                key="za27",
                name="ZA-27",
                family="zinc",
                solidus_c=376.0,
                liquidus_c=484.0,
                pour_min_c=515.0,
                pour_max_c=590.0,
                alloy_max_c=620.0,
                latent_kj_per_kg=128.0,
                cp_solid_j_per_kg_k=534.0,
                cp_liquid_j_per_kg_k=600.0,
                density_liquid_kg_per_m3=4600.0,
            ),
            charge_kg=1.5,
            moulds=(
                MouldPlan(name=mould, setup="cleat_v1", mass_kg=0.4, lip_min_c=520.0, lip_max_c=560.0, loss_c=25.0),
            ),
            limits=(PotLimit(limit_c=620.0, whose="alloy", why="sheet"),),
        )

    def start(self, mono_s: float, plan: MeltPlan) -> tuple[CommandIn, tuple[Event, ...]]:
        self.seq += 1
        utc_s = self.base_s + mono_s
        return CommandIn(seq=self.seq, mono_s=mono_s, utc_s=utc_s, command=StartMelt(plan=plan)), (
            MeltStarted(furnace="crucible", seq=self.seq, mono_s=mono_s, utc_s=utc_s, plan=plan),
        )

    def pour(
        self, mono_s: float, melt: str = "2026-001", number: int = 1, mould: str = "Cleat A", lip_c: float = 541.0
    ) -> tuple[CommandIn, tuple[Event, ...]]:
        item, _ = self.note(mono_s, "poured")
        pour = Pour(
            number=number,
            mould=mould,
            setup="cleat_v1",
            at_mono_s=mono_s,
            at_utc_s=item.utc_s,
            marked=Marking.LIVE,
            pot_temp_c=lip_c + 25.0,
            pot_u_c=3.0,
            lip_temp_c=lip_c,
            lip_u_c=6.0,
            lip_min_c=520.0,
            lip_max_c=560.0,
            basis="probe in the metal less 25 degC on the way",
            lift_mono_s=mono_s - 20.0,
        )
        return item, (
            PourMarked(furnace="crucible", seq=item.seq, mono_s=mono_s, utc_s=item.utc_s, melt=melt, pour=pour),
        )

    def dip(self, mono_s: float, number: int = 1, temp_c: float = 548.2) -> tuple[CommandIn, tuple[Event, ...]]:
        item, _ = self.note(mono_s, "dip")
        dip = Dip(
            probe="dip_probe",
            number=number,
            began_mono_s=mono_s - 20.0,
            ended_mono_s=mono_s,
            ended_utc_s=item.utc_s,
            temp_c=temp_c,
            u_c=2.5,
            how=DipHow.SETTLED,
            fit_error_c=0.8,
        )
        return item, (DipRecorded(furnace="crucible", seq=item.seq, mono_s=mono_s, utc_s=item.utc_s, dip=dip),)

    def end(self, mono_s: float, melt: str = "2026-001") -> tuple[CommandIn, tuple[Event, ...]]:
        self.seq += 1
        utc_s = self.base_s + mono_s
        item = CommandIn(seq=self.seq, mono_s=mono_s, utc_s=utc_s, command=EndMelt(ending=MeltEnding.POURED))
        return item, (
            MeltEnded(
                furnace="crucible", seq=self.seq, mono_s=mono_s, utc_s=utc_s, melt=melt, ending=MeltEnding.POURED
            ),
        )


@pytest.fixture
def clock() -> Turned:
    return Turned()


@pytest.fixture
def told() -> Told:
    return Told()


@pytest.fixture
def make() -> Makers:
    return Makers()


@pytest.fixture
def database(tmp_path: Path) -> Path:
    return tmp_path / "pourcall.sqlite"


Starter = Callable[..., Recorder]


@pytest.fixture
def recording(database: Path, clock: Turned, told: Told) -> Iterator[Starter]:
    """Starts recorders with a session each, and stops them."""
    made: list[Recorder] = []

    def start(mono_s: float = 100.0, utc_s: float = UTC_S) -> Recorder:
        recorder = Recorder(database, on_state=told, clock=clock, retry_s=(0.01,), look_s=LOOK_S)
        recorder.start(utc_s=utc_s)
        recorder.begin_session("crucible", "[shop]\n", b'{"furnace":"crucible"}', mono_s, utc_s)
        made.append(recorder)
        return recorder

    yield start
    for recorder in made:
        recorder.stop()


@pytest.fixture
def cast(database: Path, recording: Starter, make: Makers) -> Path:
    """A melt that rises through the liquidus (484 degC) at 900 s, is dipped, lifted at 1180 s and poured at 1200 s."""
    recorder = recording()
    recorder.put("crucible", *make.start(100.0, make.plan()))

    def state(at_s: float, old: MeltState, new: MeltState) -> None:
        item, _ = make.note(at_s, "state")
        told = MeltStateChanged(
            furnace="crucible", seq=item.seq, mono_s=at_s, utc_s=item.utc_s, old=old, new=new, why="so it is"
        )
        recorder.put("crucible", item, (told,))

    for second in range(100, 1400):
        if second == 400:
            state(400.0, MeltState.SOLID, MeltState.MELTING)
        if second == 1000:
            state(1000.0, MeltState.MELTING, MeltState.READY)
        # 20 degC at the start, 484 at 1000 s monotonic (900 s into the melt), the same rise onwards
        temp_c = 20.0 + (second - 100) * (464.0 / 900.0) if second < 1280 else 200.0
        recorder.put("crucible", *make.sample(float(second), temp_c, u_c=2.0))
    recorder.put("crucible", *make.dip(1200.0))
    recorder.put("crucible", *make.pour(1300.0))
    recorder.put("crucible", *make.pour(1310.0, number=2, mould="Cleat B", lip_c=500.0))
    recorder.put("crucible", *make.end(1390.0))
    recorder.stop()
    return database


def new(kg: float, **more: Any) -> ChargeEntry:
    return ChargeEntry(source="new", mass_kg=kg, **more)


def returns(kg: float, origin: str = "", **more: Any) -> ChargeEntry:
    return ChargeEntry(source="returns", mass_kg=kg, origin=origin, **more)


def scrap(kg: float, **more: Any) -> ChargeEntry:
    return ChargeEntry(source="scrap", mass_kg=kg, **more)


class Shop:
    """Three melts on record, one after the other, each with one pour; and a way to enter things later."""

    def __init__(self, recorder: Any, make: Makers, path: Path) -> None:
        self.recorder, self.path, self.now_s = recorder, path, UTC_S + 5000.0
        for number in (1, 2, 3):
            began_s = 100.0 + 1000.0 * number
            melt = f"2026-{number:03d}"
            recorder.put("crucible", *make.start(began_s, make.plan(melt)))
            recorder.put("crucible", *make.pour(began_s + 500.0, melt))
            recorder.put("crucible", *make.sample(began_s + 599.0))
            recorder.wait(recorder.put("crucible", *make.end(began_s + 600.0, melt))).result(5)

    def enter(self, entry: Entry) -> Message:
        self.now_s += 10.0
        with Store.read(self.path) as store:
            prepared = library.prepare(store, entry, self.now_s)
        told: Message = self.recorder.call(lambda conn: library.enter(conn, entry, self.now_s, prepared)).result(5)
        return told

    def charge(self, melt: str, *entries: ChargeEntry, **more: Any) -> Message:
        return self.enter(ChargeRequest(melt=melt, entries=entries, **more))

    def charges(self, melt: str) -> list[tuple[int, float | None, str, str, int | None, str]]:
        """Number, mass, source, the melt or ingot it is of, how often it was molten before and how that is known."""
        with Store.read(self.path) as store:
            return [
                (one.number, one.mass_kg, one.source, one.origin, one.remelts, one.remelts_how)
                for one in store.melt(melt).charges
            ]

    def rows(self, table: str) -> int:
        conn = sqlite3.connect(self.path)
        try:
            return int(conn.execute(f"SELECT count(*) FROM {table}").fetchone()[0])
        finally:
            conn.close()


@pytest.fixture
def shop(recording: Callable[..., Any], make: Makers, database: Path) -> Iterator[Shop]:
    recorder = recording()
    yield Shop(recorder, make, database)
    recorder.stop()
