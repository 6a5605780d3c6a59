"""The board on a real port, read by the ordinary link in its own thread, in lock-step at any speed."""

import asyncio
import itertools
import sys
from collections.abc import Callable, Sequence
from dataclasses import replace

import pytest

from pourcall.contract.frames import BoardStatus, Identity, Sample
from pourcall.contract.inputs import LinkKind, StartMelt
from pourcall.drivers.inbox import Arrival, Item, LinkEvent
from pourcall.drivers.link import SerialLink
from pourcall.drivers.wire import max31855, ourline
from pourcall.drivers.wire.framing import Decoder
from pourcall.sim.boards.pty_board import LockStep
from pourcall.sim.clock import SimClock
from pourcall.sim.scenarios.demo import demo_scenario
from pourcall.sim.shop import START_MONO_S, Shop

pytestmark = pytest.mark.skipif(
    sys.platform == "win32", reason="pseudo-terminals are POSIX; sockets are tested elsewhere"
)


class Reader:
    """What the service does: items come from the link's thread, are handled on the loop, and then told as consumed."""

    def __init__(self, step: LockStep, clock: SimClock, make: Callable[[], Decoder] = ourline.decoder) -> None:
        self.step, self.clock = step, clock
        self.loop = asyncio.get_running_loop()
        self.got: list[tuple[float, float, Item]] = []  # stamped by the thread, clock when handled, item
        self.slow_s = 0.0
        self.link = SerialLink(step.port, make, self._deliver, mono_s=clock.mono_s)
        self.tasks: set[asyncio.Task[None]] = set()

    def _deliver(self, mono_s: float, items: Sequence[Item]) -> None:
        self.loop.call_soon_threadsafe(self._start, mono_s, items)

    def _start(self, mono_s: float, items: Sequence[Item]) -> None:
        task = self.loop.create_task(self._handle(mono_s, items))
        self.tasks.add(task)
        task.add_done_callback(self.tasks.discard)

    async def _handle(self, mono_s: float, items: Sequence[Item]) -> None:
        if self.slow_s:
            await asyncio.sleep(self.slow_s)
        self.got += [(mono_s, self.clock.mono_s(), item) for item in items]
        # Frames alone: that the port opened is news too, and counted with them it lets time run one frame ahead.
        self.step.consumed("bench", sum(1 for item in items if isinstance(item, Arrival)))

    async def close(self) -> None:
        await asyncio.get_running_loop().run_in_executor(None, self.link.stop)
        await asyncio.gather(*self.tasks)
        await self.step.aclose()

    @property
    def arrivals(self) -> list[tuple[float, float, Arrival]]:
        return [(stamp, handled, item) for stamp, handled, item in self.got if isinstance(item, Arrival)]


async def played(seconds: float, *, slow_s: float = 0.0, use_socket: bool = False, dialect: str = "pourcall") -> Reader:
    clock = SimClock()
    step = LockStep(Shop(demo_scenario()), clock, use_socket=use_socket, dialect=dialect, patience_s=10.0)
    reader = Reader(step, clock, max31855.decoder if dialect == "max31855_hex" else ourline.decoder)
    reader.slow_s = slow_s
    reader.link.start()
    await step.run(until_s=seconds)
    await reader.close()
    return reader


def check_stamps(reader: Reader, seconds: float) -> None:
    samples = [(stamp, handled, a) for stamp, handled, a in reader.arrivals if isinstance(a.frame, Sample)]
    assert len(samples) >= 2 * seconds - 2  # what is sent while the port is being opened may be flushed by the driver
    boot_ms = demo_scenario().boot_ms
    for stamp, handled, arrival in samples:
        assert isinstance(arrival.frame, Sample)
        assert arrival.frame.board_ms is not None
        sent_s = (arrival.frame.board_ms - boot_ms) / 1000.0
        assert stamp - START_MONO_S == pytest.approx(sent_s, abs=0.002)  # read in the very moment it was sent
        assert handled == stamp  # and the clock stood still until it was handled
        assert arrival.late_s < 0.01
    seqs = [a.frame.board_seq for _, _, a in samples if isinstance(a.frame, Sample)]
    assert [b - a for a, b in itertools.pairwise(seqs) if a is not None and b is not None] == [1] * (len(seqs) - 1)


async def test_at_full_speed_no_byte_is_late_and_none_is_lost() -> None:
    reader = await played(300.0)
    check_stamps(reader, 300.0)
    assert any(isinstance(a.frame, Identity) for _, _, a in reader.arrivals)
    assert sum(isinstance(a.frame, BoardStatus) for _, _, a in reader.arrivals) >= 299
    assert {item.kind for _, _, item in reader.got if isinstance(item, LinkEvent)} == {LinkKind.OPENED}


async def test_a_reader_slower_than_real_time_holds_simulated_time_back() -> None:
    reader = await played(8.0, slow_s=0.02)
    check_stamps(reader, 8.0)


async def test_loopback_sockets_do_the_same_where_there_is_no_pty() -> None:
    reader = await played(60.0, use_socket=True)
    check_stamps(reader, 60.0)


async def test_other_dialects_step_by_frames_too() -> None:
    reader = await played(60.0, dialect="max31855_hex")
    stamps = [stamp for stamp, _, a in reader.arrivals if isinstance(a.frame, Sample)]
    assert len(stamps) >= 118
    assert all(handled == stamp for stamp, handled, _ in reader.arrivals)


async def test_pace_follows_the_speed_that_was_asked_for() -> None:
    clock = SimClock()
    step = LockStep(Shop(demo_scenario()), clock, speed=100.0)
    reader = Reader(step, clock)
    reader.link.start()
    await step.attached()
    began = asyncio.get_running_loop().time()
    await step.run(until_s=30.0)
    took_s = asyncio.get_running_loop().time() - began
    await reader.close()
    assert took_s >= 0.29  # a busy machine may take longer, none less


async def test_silence_on_the_link_does_not_stop_simulated_time() -> None:
    clock = SimClock()
    step = LockStep(Shop(demo_scenario()), clock)
    reader = Reader(step, clock)
    reader.link.start()
    await step.run(until_s=5.0)
    step.shop.faults.set("silent")
    await step.run(until_s=20.0)
    step.shop.faults.set("sound")
    await step.run(until_s=30.0)
    await reader.close()
    times = [stamp - START_MONO_S for stamp, _, _ in reader.arrivals]
    assert not [t for t in times if 5.5 < t < 19.5]
    assert [t for t in times if t > 20.0]


async def test_scrambled_bytes_neither_stop_nor_crash_the_run() -> None:
    clock = SimClock()
    step = LockStep(Shop(demo_scenario()), clock)
    reader = Reader(step, clock)
    reader.link.start()
    await step.run(until_s=2.0)
    step.shop.faults.set("scrambled")
    await step.run(until_s=10.0)
    step.shop.faults.set("sound")
    await step.run(until_s=20.0)
    await reader.close()
    kinds = {item.kind for _, _, item in reader.got if isinstance(item, LinkEvent)}
    assert LinkKind.BAD_FRAMES in kinds
    assert [stamp for stamp, _, _ in reader.arrivals if stamp > START_MONO_S + 15.0]


async def test_pulling_the_cable_is_seen_as_unplugged() -> None:
    clock = SimClock()
    step = LockStep(Shop(demo_scenario()), clock)
    reader = Reader(step, clock)
    reader.link.start()
    await step.run(until_s=3.0)
    step.unplug()
    for _ in range(200):
        if any(isinstance(item, LinkEvent) and item.kind is LinkKind.CLOSED for _, _, item in reader.got):
            break
        await asyncio.sleep(0.01)
    await reader.close()
    assert any(isinstance(item, LinkEvent) and item.kind is LinkKind.CLOSED for _, _, item in reader.got)


async def test_what_the_operator_presses_comes_at_its_simulated_moment() -> None:
    clock = SimClock()
    pressed: list[tuple[float, object]] = []
    step = LockStep(
        Shop(demo_scenario()), clock, on_keys=lambda keys: pressed.extend((clock.mono_s(), key) for key in keys)
    )
    reader = Reader(step, clock)
    reader.link.start()
    await step.run(until_s=40.0)
    await reader.close()
    assert isinstance(pressed[0][1], StartMelt)
    assert pressed[0][0] - START_MONO_S <= 0.5
    assert [type(key).__name__ for _, key in pressed] == ["StartMelt", "Note", "MarkPower"]


async def test_an_operator_on_the_port_hears_the_calls() -> None:
    clock = SimClock()
    scenario = demo_scenario()
    from pourcall.sim.scenarios.script import Step

    shop = Shop(replace(scenario, steps=(Step("key", when="heard dip", text="dip"),)))
    answers: list[object] = []
    step = LockStep(shop, clock, on_keys=answers.extend)
    reader = Reader(step, clock)
    reader.link.start()
    await step.run(until_s=3.0)
    assert not answers
    step.hear_call("dip")
    await step.run(until_s=5.0)
    await reader.close()
    assert len(answers) == 1
