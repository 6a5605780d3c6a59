"""Parts for the tests of the daemon's shell: a clock to turn by hand, an engine of few words, a slow disk."""

import asyncio
import concurrent.futures
import tempfile
from collections.abc import Callable, Iterator, Sequence
from heapq import heappop, heappush
from itertools import count
from pathlib import Path
from typing import Any

import msgspec
import psutil
import pytest

from pourcall.contract.events import (
    AlarmChanged,
    AlarmState,
    AlarmView,
    CommandRefused,
    Marked,
    MarkKind,
    MeltEnded,
    MeltStarted,
    Output,
    Priority,
    StoreChanged,
)
from pourcall.contract.inputs import CommandIn, DaemonIn, EndMelt, Input, Note, SampleIn, StartMelt, StoreIn
from pourcall.contract.message import Told
from pourcall.contract.paths import Paths, paths_for
from pourcall.contract.plan import AlloyFacts, MeltPlan, PotLimit
from pourcall.contract.reading import Reading
from pourcall.contract.settings import Settings, parse_settings
from pourcall.contract.snapshot import FurnaceSnapshot
from pourcall.contract.status import Reason

SETTINGS = """
[board.bench]
port = "/dev/null-board"

[furnace.crucible]
kind = "electric"

[probe.melt_probe]
furnace = "crucible"
board = "bench"
channel = "0"
"""

PLAN = MeltPlan(
    melt="2026-001",
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
    moulds=(),
    limits=(PotLimit(limit_c=620.0, whose="alloy", why="for tests"),),
)


class HandClock:
    """Time for tests. Sleepers wake in order as the test advances."""

    def __init__(self) -> None:
        self._mono_s, self._utc_s = 1000.0, 1_790_000_000.0
        self._sleepers: list[tuple[float, int, asyncio.Event]] = []
        self._seq = count()

    def mono_s(self) -> float:
        return self._mono_s

    def utc_s(self) -> float:
        return self._utc_s

    async def sleep(self, seconds: float) -> None:
        if seconds <= 0.0:
            await asyncio.sleep(0)
            return
        woken = asyncio.Event()
        heappush(self._sleepers, (self._mono_s + seconds, next(self._seq), woken))
        await woken.wait()

    async def advance(self, seconds: float) -> None:
        end_s = self._mono_s + seconds
        while self._sleepers and self._sleepers[0][0] <= end_s:
            at_s, _, woken = heappop(self._sleepers)
            self._utc_s += at_s - self._mono_s
            self._mono_s = at_s
            woken.set()
            for _ in range(5):
                await asyncio.sleep(0)
        self._utc_s += end_s - self._mono_s
        self._mono_s = end_s
        for _ in range(5):
            await asyncio.sleep(0)


class SmallEngine:
    """Few words, but the true types: readings, an alarm for an open couple, melts that start and end, notes."""

    def __init__(self, furnace: str = "crucible") -> None:
        self.items: list[Input] = []
        self.shot = FurnaceSnapshot(furnace=furnace, seq=0, mono_s=0.0, utc_s=0.0)
        self.fail_on: type | None = None

    def handle(self, item: Input) -> list[Output]:
        self.items.append(item)
        if self.fail_on is not None and isinstance(item, self.fail_on):
            raise RuntimeError("a fault of ours")
        head: dict[str, Any] = {
            "furnace": self.shot.furnace,
            "seq": item.seq,
            "mono_s": item.mono_s,
            "utc_s": item.utc_s,
        }
        self.shot = msgspec.structs.replace(self.shot, seq=item.seq, mono_s=item.mono_s, utc_s=item.utc_s)
        match item:
            case SampleIn():
                return self._sample(item, head)
            case StoreIn():
                self.shot = msgspec.structs.replace(self.shot, store_problem=item.problem)
                return [StoreChanged(**head, problem=item.problem, detail=item.detail)]
            case DaemonIn():
                return [self._alarm(item.kind, item.present, item.detail, head)]
            case CommandIn(command=StartMelt(plan=plan)):
                if self.shot.melt:
                    return [CommandRefused(**head, command="start_melt", what="one runs", remedy="end it")]
                self.shot = msgspec.structs.replace(self.shot, melt=plan.melt, plan=plan)
                return [MeltStarted(**head, plan=plan)]
            case CommandIn(command=EndMelt(ending=ending)):
                melt = self.shot.melt
                self.shot = msgspec.structs.replace(self.shot, melt="", plan=None)
                return [MeltEnded(**head, melt=melt, ending=ending)]
            case CommandIn(command=Note(text=text)):
                return [Marked(**head, what=MarkKind.NOTE, text=text, at_mono_s=item.mono_s)]
            case _:
                return []

    def _sample(self, item: SampleIn, head: dict[str, Any]) -> list[Output]:
        sample = item.sample
        is_open = bool(sample.flags & 1)
        reading = Reading(
            probe="melt_probe",
            temp_c=None if is_open else sample.raw_value,
            at_mono_s=item.mono_s,
            at_utc_s=item.utc_s,
            reason=Reason.SENSOR_OPEN if is_open else Reason.OK,
            raw_kind=sample.raw_kind,
            raw_value=sample.raw_value,
        )
        return [reading, self._alarm("sensor_open", True, "", head)] if is_open else [reading]

    def _alarm(self, kind: str, present: bool, detail: Told, head: dict[str, Any]) -> AlarmChanged:
        state = AlarmState.UNACKED if present else AlarmState.RTN_UNACKED
        view = AlarmView(
            id=f"{kind}:{self.shot.furnace}",
            kind=kind,
            subject=self.shot.furnace,
            priority=Priority.ALARM,
            state=state,
            active=present,
            what=detail,
            remedy="look",
            raised_mono_s=self.shot.mono_s,
            raised_utc_s=self.shot.utc_s,
        )
        alarms = [alarm for alarm in self.shot.alarms if alarm.id != view.id]
        self.shot = msgspec.structs.replace(self.shot, alarms=(*alarms, view))
        return AlarmChanged(**head, alarm=view)

    def snapshot(self) -> FurnaceSnapshot:
        return self.shot

    def of(self, kind: type) -> list[Input]:
        return [item for item in self.items if isinstance(item, kind)]


class SlowDisk:
    """A recorder whose commits happen when the test says so."""

    def __init__(self, *, prompt: bool = True) -> None:
        self.prompt, self.durable, self.tickets = prompt, 0, 0
        self.kept: list[tuple[str, Input, Sequence[Output]]] = []
        self.melting: dict[str, bool] = {}
        self._waiting: list[tuple[int, concurrent.futures.Future[None]]] = []

    def put(self, furnace: str, item: Input, outputs: Sequence[Output]) -> int:
        self.tickets += 1
        self.kept.append((furnace, item, outputs))
        if self.prompt:
            self.commit()
        return self.tickets

    def wait(self, ticket: int) -> "concurrent.futures.Future[None]":
        future: concurrent.futures.Future[None] = concurrent.futures.Future()
        self._waiting.append((ticket, future))
        if self.prompt:
            self.commit()
        return future

    def commit(self) -> None:
        self.durable = self.tickets
        for ticket, future in self._waiting:
            if ticket <= self.durable and not future.done():
                future.set_result(None)
        self._waiting = [(ticket, future) for ticket, future in self._waiting if not future.done()]

    def call(self, function: Any) -> Any:
        raise NotImplementedError("the slow disk has no tables")

    def next_melt_id(self, utc_s: float) -> str:
        return "2026-001"

    def knows_melt(self, melt: str) -> bool:
        return False

    def set_melting(self, furnace: str, melting: bool) -> None:
        self.melting[furnace] = melting


@pytest.fixture
def clock() -> HandClock:
    return HandClock()


@pytest.fixture
def engine() -> SmallEngine:
    return SmallEngine()


@pytest.fixture
def slow_disk() -> Callable[..., SlowDisk]:
    return SlowDisk


@pytest.fixture
def plan() -> MeltPlan:
    return PLAN


@pytest.fixture
def settings() -> Settings:
    return parse_settings(SETTINGS)


@pytest.fixture
def home() -> Iterator[Path]:
    """A short folder: the path of a Unix socket may not be long."""
    with tempfile.TemporaryDirectory(prefix="pc-") as folder:
        yield Path(folder)


@pytest.fixture
def children() -> Callable[[], set[int]]:
    """Tells the processes of ours that run, or ended and were not waited for."""
    ours: Any = psutil.Process()  # type: ignore[no-untyped-call]
    return lambda: {child.pid for child in ours.children()}


@pytest.fixture
def paths(home: Path) -> Paths:
    return paths_for({"POURCALL_HOME": str(home)}, "linux", home)
