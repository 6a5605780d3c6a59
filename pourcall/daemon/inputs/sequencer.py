"""The one order of a furnace's inputs. Whatever reaches the engine comes through here, one at a time.

Each input gets a number and both times, the engine handles it, input and outputs go to the recorder, then to the
subscribers. It never waits for a disk: an alarm goes out at once as `recorded: pending` and the
snapshot says "recorded" as soon as its commit is done. Only the answer to a command waits, and that with patience.

Not here: threads (links and recorder bring their own; the service brings everything onto the event loop first).
"""

import asyncio
import concurrent.futures
import logging
import sqlite3
from collections.abc import Callable, Sequence
from typing import Protocol, TypeVar, assert_never

import msgspec

from pourcall.contract import events as ev
from pourcall.contract.api import CommandResult
from pourcall.contract.clock import Clock
from pourcall.contract.frames import BadFrame, BoardStatus, Frame, Identity, Sample
from pourcall.contract.inputs import (
    BoardStatusIn,
    Command,
    CommandIn,
    DaemonIn,
    DaemonTrouble,
    IdentityIn,
    Input,
    LinkIn,
    LinkKind,
    SampleIn,
    StoreIn,
    StoreProblem,
    TickIn,
)
from pourcall.contract.message import NOTHING, Message, Told, tell
from pourcall.contract.reading import Reading
from pourcall.contract.snapshot import FurnaceSnapshot
from pourcall.daemon.inputs.done import done

Answer = TypeVar("Answer")
log = logging.getLogger(__name__)

LATE_S = 0.05  # below is the jitter of any port, and costs bytes in the record for nothing
PATIENCE_S = 2.0  # real seconds a command's answer waits for the disk before it says "kept, and will be written"


class EngineLike(Protocol):
    """What the sequencer needs of the engine (pourcall/engine/core.py)."""

    def handle(self, item: Input) -> list[ev.Output]: ...
    def snapshot(self) -> FurnaceSnapshot: ...


class RecorderLike(Protocol):
    """What the sequencer needs of the recorder (pourcall/records/write/recorder.py)."""

    @property
    def durable(self) -> int: ...
    def put(self, furnace: str, item: Input, outputs: Sequence[ev.Output]) -> int: ...
    def wait(self, ticket: int) -> "concurrent.futures.Future[None]": ...
    def call(self, function: Callable[[sqlite3.Connection], Answer]) -> "concurrent.futures.Future[Answer]": ...
    def next_melt_id(self, utc_s: float) -> str: ...
    def knows_melt(self, melt: str) -> bool: ...
    def set_melting(self, furnace: str, melting: bool) -> None: ...


class ProcessedInput(msgspec.Struct, frozen=True):
    """One input, with what the engine said to it."""

    furnace: str
    item: Input
    outputs: list[ev.Output]
    ticket: int  # of the recorder; 0 where nothing is recorded


Subscriber = Callable[[ProcessedInput], None]


class InputSequencer:
    """Call from the event loop's thread only: that is what makes the order one order."""

    def __init__(
        self,
        furnace: str,
        engine: EngineLike,
        recorder: RecorderLike | None,
        clock: Clock,
        *,
        patience_s: float = PATIENCE_S,
        on_failure: Callable[[str, Exception], None] | None = None,
    ) -> None:
        self.furnace, self.engine, self.recorder, self.clock = furnace, engine, recorder, clock
        self.patience_s, self._on_failure = patience_s, on_failure
        self.seq = 0
        self._last_mono_s = round(clock.mono_s(), 3)
        self._subscribers: list[Subscriber] = []
        self._alarm_tickets: dict[str, int] = {}

    def subscribe(self, subscriber: Subscriber) -> Callable[[], None]:
        """Have `subscriber` called after each input; returns the way to stop it. It must not block nor raise."""
        self._subscribers.append(subscriber)
        return lambda: self._subscribers.remove(subscriber)

    # -- what may come in -----------------------------------------------------------------------------------------

    def frame(self, board: str, frame: Frame, *, late_s: float = 0.0) -> ProcessedInput | None:
        """A decoded frame of a board. Bad frames come as link events with their count, so None for one of those."""
        match frame:
            case Sample():
                late_s = round(late_s, 2) if late_s >= LATE_S else 0.0
                seq, mono_s, utc_s = self._stamp()
                return self._process(
                    SampleIn(seq=seq, mono_s=mono_s, utc_s=utc_s, board=board, sample=frame, late_s=late_s)
                )
            case BoardStatus():
                seq, mono_s, utc_s = self._stamp()
                return self._process(BoardStatusIn(seq=seq, mono_s=mono_s, utc_s=utc_s, board=board, status=frame))
            case Identity():
                seq, mono_s, utc_s = self._stamp()
                return self._process(IdentityIn(seq=seq, mono_s=mono_s, utc_s=utc_s, board=board, identity=frame))
            case BadFrame():
                return None
            case _:
                assert_never(frame)

    def link(
        self,
        board: str,
        kind: LinkKind,
        detail: Told = "",
        *,
        count: int = 0,
        sample_hex: str = "",
        printable: float = 1.0,
    ) -> ProcessedInput:
        """Something happened to a port."""
        seq, mono_s, utc_s = self._stamp()
        return self._process(
            LinkIn(
                seq=seq,
                mono_s=mono_s,
                utc_s=utc_s,
                board=board,
                kind=kind,
                detail=detail,
                count=count,
                sample_hex=sample_hex,
                printable=printable,
            )
        )

    def store(self, problem: StoreProblem, detail: Told = "", waiting_rows: int = 0) -> ProcessedInput:
        """How recording goes."""
        seq, mono_s, utc_s = self._stamp()
        return self._process(
            StoreIn(seq=seq, mono_s=mono_s, utc_s=utc_s, problem=problem, detail=detail, waiting_rows=waiting_rows)
        )

    def daemon(self, kind: DaemonTrouble, present: bool, detail: Told = "", lasted_s: float = 0.0) -> ProcessedInput:
        """Something about the daemon itself."""
        seq, mono_s, utc_s = self._stamp()
        return self._process(
            DaemonIn(seq=seq, mono_s=mono_s, utc_s=utc_s, kind=kind, present=present, detail=detail, lasted_s=lasted_s)
        )

    def tick(self) -> ProcessedInput:
        """Time passed."""
        seq, mono_s, utc_s = self._stamp()
        return self._process(TickIn(seq=seq, mono_s=mono_s, utc_s=utc_s))

    def submit(self, command: Command) -> ProcessedInput:
        """A command at its place in the order, without waiting for the disk."""
        seq, mono_s, utc_s = self._stamp()
        return self._process(CommandIn(seq=seq, mono_s=mono_s, utc_s=utc_s, command=command))

    async def command(self, command: Command) -> CommandResult:
        """A command, and what became of it. `recorded` is True only after the commit."""
        processed = self.submit(command)
        recorded, note = await self.confirmed(processed.ticket)
        refused = next((out for out in processed.outputs if isinstance(out, ev.CommandRefused)), None)
        pour = next((out.pour.number for out in processed.outputs if isinstance(out, ev.PourMarked)), None)
        what = refused.what if refused else done(command, processed.outputs)
        return CommandResult(
            accepted=refused is None,
            seq=processed.item.seq,
            recorded=recorded,
            what=tell("daemon.unconfirmed", what=what, why=note) if note else what,
            remedy=refused.remedy if refused else NOTHING,
            melt=self.snapshot().melt,
            pour=pour,
        )

    # -- what may be asked ----------------------------------------------------------------------------------------

    async def confirmed(self, ticket: int) -> tuple[bool, Message]:
        """Wait for the commit of `ticket`, within patience: (True, NOTHING) or (False, what to say about it)."""
        if self.recorder is None:
            return False, tell("daemon.unconfirmed.no_store")
        if ticket <= self.recorder.durable:
            return True, NOTHING
        future = asyncio.wrap_future(self.recorder.wait(ticket))
        try:
            await asyncio.wait_for(future, self.patience_s)
        except TimeoutError:
            return False, tell("daemon.unconfirmed.waiting")
        except Exception as err:
            return False, tell("daemon.unconfirmed.failed", error=str(err))
        return True, NOTHING

    def snapshot(self) -> FurnaceSnapshot:
        """The furnace as it stands, its alarms marked by whether their last change is on the disk."""
        shot = self.engine.snapshot()
        if self.recorder is None or not shot.alarms:
            return shot
        durable = self.recorder.durable
        alarms = tuple(
            msgspec.structs.replace(
                alarm, recorded="recorded" if self._alarm_tickets.get(alarm.id, 0) <= durable else "pending"
            )
            for alarm in shot.alarms
        )
        return msgspec.structs.replace(shot, alarms=alarms)

    # -- how it is processed ------------------------------------------------------------------------------------------

    def _stamp(self) -> tuple[int, float, float]:
        """Next number, and both times; the monotonic one never steps back, whatever the clock does.

        Whole milliseconds: the record keeps those in a third of the bytes, and no port is more exact than that.
        """
        self._last_mono_s = max(self._last_mono_s, round(self.clock.mono_s(), 3))
        self.seq += 1
        return self.seq, self._last_mono_s, round(self.clock.utc_s(), 3)

    def _process(self, item: Input) -> ProcessedInput:
        try:
            outputs = self.engine.handle(item)
        except Exception as err:  # the input is kept all the same: it is what shows the fault again
            if self._on_failure is None:
                raise
            log.exception("the engine of %s failed on input %d", self.furnace, item.seq)
            self._on_failure(self.furnace, err)
            outputs = []
        ticket = 0
        if self.recorder is not None:
            ticket = self.recorder.put(self.furnace, item, outputs)
            self._follow(outputs, ticket)
        processed = ProcessedInput(self.furnace, item, outputs, ticket)
        for subscriber in tuple(self._subscribers):
            try:
                subscriber(processed)
            except Exception:  # a client's trouble must not reach the next one, nor the furnace
                log.exception("a subscriber of %s failed", self.furnace)
        return processed

    def _follow(self, outputs: list[ev.Output], ticket: int) -> None:
        assert self.recorder is not None
        for out in outputs:
            match out:
                case ev.AlarmChanged():
                    self._alarm_tickets[out.alarm.id] = ticket
                case ev.MeltStarted():
                    self.recorder.set_melting(self.furnace, True)
                case ev.MeltEnded():
                    self.recorder.set_melting(self.furnace, False)
                case (
                    Reading()
                    | ev.RecordOnly()
                    | ev.ProbeStateChanged()
                    | ev.MeltStateChanged()
                    | ev.CallChanged()
                    | ev.LinkChanged()
                    | ev.StoreChanged()
                ):
                    pass
                case _:
                    assert_never(out)
