"""Parts for the fault catalogue's tests: one furnace ready to pour, broken on purpose, with and without a wire.

Each `test_<id>.py` tells a story twice: with the fault, and sound. `MAIN` names the story's test for the meta-test,
`DETECTOR` what that removes to see the test fail.
"""

import os
import pty
import queue
import sys
import time
import tty
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
if str(ROOT) not in sys.path:
    sys.path.append(str(ROOT))  # the bench is shared with tests/engine

from pourcall.contract import inputs as inp  # noqa: E402
from pourcall.contract.config import ProbeConfig  # noqa: E402
from pourcall.contract.events import AlarmChanged, AlarmState, CallKind, Priority  # noqa: E402
from pourcall.contract.frames import BadFrame, Identity, Sample  # noqa: E402
from pourcall.contract.message import Told  # noqa: E402
from pourcall.contract.reading import Reading  # noqa: E402
from pourcall.contract.status import Reason, Status  # noqa: E402
from pourcall.drivers.bad_frames import BadFrames  # noqa: E402
from pourcall.drivers.inbox import Arrival, Item, LinkEvent  # noqa: E402
from pourcall.drivers.link import SerialLink  # noqa: E402
from pourcall.drivers.wire import max31855, ourline  # noqa: E402
from pourcall.drivers.wire.framing import Decoder  # noqa: E402
from tests.engine.conftest import Bench, make_plan  # noqa: E402

METAL_C = 570.0  # in the middle of the window of the bench's plan
WAIT_S = 30.0  # a bound for a hung test, not a time that anything takes


class Rig(Bench):
    """A furnace with metal in its window and the pour called; T, the sample period, is 0.5 s."""

    T_S = 0.5

    def __init__(self, probes: Sequence[ProbeConfig] = ()) -> None:
        super().__init__(probes=probes)
        self.broken_s = 0.0
        self.counter = BadFrames()

    def ready(self) -> None:
        """The port is open, a melt runs, the pour is called."""
        self.put_link_opened()
        self.in_metal(METAL_C)
        assert self.up(CallKind.POUR), "the story begins with a pour call"
        assert not self.alarms()
        self.breaks()

    def breaks(self) -> None:
        """From this moment on the time to detect counts."""
        self.broken_s = self.t_s

    def put_link(self, kind: inp.LinkKind, detail: Told) -> None:
        """Something happened to the port."""
        self.put(inp.LinkIn, board="bench", kind=kind, detail=detail)

    def put_link_opened(self) -> None:
        """The port was opened, and no more."""
        self.put_link(inp.LinkKind.OPENED, "port")

    def forget(self) -> None:
        """What the bench itself remembers, for tests of memory."""
        self.outs.clear()
        self.items.clear()

    def waits(self, seconds: float, each: Callable[[], object] | None = None, *, step_s: float = 0.5) -> None:
        """Time passes, with a tick a second; `each` once a step."""
        for step in range(1, round(seconds / step_s) + 1):
            self.t_s += step_s
            if each is not None:
                each()
            if step % max(1, round(1.0 / step_s)) == 0:
                self.put(inp.TickIn)

    def frames(self, data: bytes, decoder: Decoder) -> None:
        """Bytes as the link takes them: frames to the engine, bad ones counted and told as link events."""
        found = decoder.feed(data)
        self.counter.heard(data, self.t_s, any_frame=bool(found))
        for frame in found:
            if isinstance(frame, BadFrame):
                self.counter.add(frame)
            elif isinstance(frame, Sample):
                self.put(inp.SampleIn, board="bench", sample=frame)
        for event in self.counter.take(self.t_s):
            self.event(event)

    def event(self, event: LinkEvent) -> None:
        """A link event enters the engine."""
        self.put(
            inp.LinkIn,
            board="bench",
            kind=event.kind,
            detail=event.detail,
            count=event.count,
            sample_hex=event.sample_hex,
            printable=event.printable,
        )

    def take(self, items: Sequence[Item]) -> None:
        """What a real link delivered."""
        for item in items:
            if isinstance(item, LinkEvent):
                self.event(item)
            elif isinstance(item.frame, Sample):
                self.put(inp.SampleIn, board="bench", sample=item.frame, late_s=item.late_s)
            elif isinstance(item.frame, Identity):
                self.put(inp.IdentityIn, board="bench", identity=item.frame)

    def line(self, seq: int, temp_c: float = METAL_C) -> bytes:
        """One of our own lines for the bench's channel: its MAX31855 word, so read through the linear amplifier."""
        word = max31855.encode_word(temp_c, 25.0)
        return ourline.encode_sample(seq, 500 * seq, "0", chip_code=max31855.word_bytes(word))

    # -- judging

    def said_of(self, kind: str) -> list[AlarmChanged]:
        """All that was said of alarms of a kind."""
        return [out for out in self.outs if isinstance(out, AlarmChanged) and out.alarm.kind == kind]

    def raised(self, kind: str) -> list[AlarmChanged]:
        """Every time an alarm of this kind came up (went from not present to present)."""
        first: dict[float, AlarmChanged] = {}
        for out in self.said_of(kind):
            if out.alarm.active and out.alarm.state is AlarmState.UNACKED:
                first.setdefault(out.alarm.raised_mono_s, out)
        return list(first.values())

    def one_alarm(self, kind: str, priority: Priority, within_s: float, *, subject: str = "metal") -> None:
        """Exactly one unsuppressed alarm stands: this one, so severe, raised so soon after the fault began."""
        shown = [alarm for alarm in self.alarms().values() if not alarm.suppressed_by]
        assert [alarm.id for alarm in shown] == [f"{kind}:{subject}"]
        (alarm,) = shown
        assert alarm.priority is priority
        assert alarm.active
        assert alarm.raised_mono_s - self.broken_s <= within_s + 1e-6, alarm.raised_mono_s - self.broken_s
        ever = {out.alarm.kind for out in self.outs if isinstance(out, AlarmChanged) and not out.alarm.suppressed_by}
        assert ever == {kind}, "another alarm sounded on the way"
        assert alarm.remedy

    def no_call(self) -> None:
        """No pour call stands, and the metal is not said to be known."""
        assert self.up(CallKind.POUR) is None
        assert self.engine.metal.temp_c is None

    def no_number(self, reason: Reason) -> None:
        """The last reading has this reason and no number; nor has any BAD reading so far."""
        last = self.engine.channels[0].last
        assert last is not None
        assert last.reason is reason
        assert last.temp_c is None
        for reading in self.readings():
            assert (reading.temp_c is None) == (reading.status is Status.BAD)

    def silent(self) -> None:
        """No alarm ever, and the pour is still called."""
        assert not [out for out in self.outs if isinstance(out, AlarmChanged)]
        assert self.up(CallKind.POUR)

    def since(self, moment_s: float) -> list[Reading]:
        """Readings after a moment."""
        return [reading for reading in self.readings() if reading.at_mono_s > moment_s]


@pytest.fixture
def rig() -> Rig:
    """One furnace for a story."""
    return Rig()


class Wire:
    """A pseudo-terminal with the real link on it. We are the board."""

    def __init__(self, make_decoder: Callable[[], Decoder] = ourline.decoder) -> None:
        self.board, keep = pty.openpty()
        tty.setraw(keep)
        self.name = os.ttyname(keep)
        os.close(keep)
        self.got: queue.Queue[tuple[float, Sequence[Item]]] = queue.Queue()
        self.link = SerialLink(
            self.name,
            make_decoder,
            lambda at_s, items: self.got.put((at_s, items)),
            mono_s=time.monotonic,
            list_ports=list,
        )

    def write(self, data: bytes) -> None:
        os.write(self.board, data)

    def unplug(self) -> None:
        if self.board >= 0:
            os.close(self.board)
            self.board = -1

    def into(self, rig: Rig, kind: inp.LinkKind | None = None, *, samples: int = 0) -> None:
        """What arrives goes into the engine, until an event of a kind, or so many samples, came."""
        found = 0
        while True:
            _, items = self.got.get(timeout=WAIT_S)
            rig.take(items)
            found += sum(isinstance(item, Arrival) and isinstance(item.frame, Sample) for item in items)
            if (samples and found >= samples) or any(
                isinstance(item, LinkEvent) and item.kind is kind for item in items
            ):
                return


@pytest.fixture
def wire() -> Iterator[Wire]:
    """A link on a pseudo-terminal; start it with `wire.link.start()`."""
    made = Wire()
    yield made
    made.link.stop()
    made.unplug()


@pytest.fixture
def plan_made() -> Callable[..., object]:
    """Makes plans, as in tests/engine."""
    return make_plan
