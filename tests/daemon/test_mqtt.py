"""Publishing, against a real broker. It never delays anything and loses nothing but the oldest readings.

The broker is mosquitto on a free port of this machine. Where it is not installed the tests are skipped, saying so;
under CI=true that is a failure. POURCALL_TEST_NO_BROKER=1 hides it: the suite as a fresh machine runs it.
"""

import asyncio
import contextlib
import os
import random
import shutil
import socket
import subprocess
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import aiomqtt
import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pourcall.contract.events import MeltState, MeltStateChanged
from pourcall.contract.frames import RawKind, Sample
from pourcall.contract.inputs import Note, PowerLevel, SampleIn
from pourcall.contract.message import tell
from pourcall.contract.settings import Mqtt
from pourcall.contract.snapshot import FurnaceSnapshot, Instruction, ToDo
from pourcall.daemon.clock import RealClock
from pourcall.daemon.inputs.sequencer import InputSequencer
from pourcall.daemon.mqtt import MqttPublisher
from pourcall.daemon.outbox import Outbox, Publication
from pourcall.daemon.spoken import spoken
from pourcall.texts import say

MOSQUITTO = shutil.which("mosquitto") or "/usr/sbin/mosquitto"
WARM = Sample(channel="0", raw_kind=RawKind.ITS90_C, raw_value=512.0)
OPEN = Sample(channel="0", raw_kind=RawKind.EMF_UV, raw_value=None, flags=1)
EVENT = "shop/pourcall/crucible/event"
WAIT_S = 30.0  # a bound for a hung test, not a time that anything takes


class Broker:
    """A mosquitto that can be started, killed and wiped."""

    def __init__(self, folder: Path) -> None:
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port: int = probe.getsockname()[1]
        self._config = folder / "mosquitto.conf"
        self._login = folder / "passwords"
        self._process: subprocess.Popen[bytes] | None = None
        self.configure("allow_anonymous true\n")

    def configure(self, text: str) -> None:
        self._config.write_text(f"listener {self.port} 127.0.0.1\n{text}persistence false\n")

    def start(self) -> None:
        """Nothing of an earlier run is kept: retained topics are gone."""
        self._process = subprocess.Popen(
            [MOSQUITTO, "-c", str(self._config)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        for _ in range(500):
            with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", self.port), 0.1):
                return
            time.sleep(0.01)
        raise AssertionError("the broker does not start")

    def kill(self) -> None:
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            self._process = None


@pytest.fixture
def broker(home: Path) -> Iterator[Broker]:
    if not Path(MOSQUITTO).exists() or os.environ.get("POURCALL_TEST_NO_BROKER") == "1":
        text = "mosquitto is not installed (Debian package `mosquitto`)"
        if os.environ.get("CI") == "true":
            pytest.fail(text)
        pytest.skip(text)
    here = Broker(home)
    yield here
    here.kill()


class Publishing:
    """A publisher on one furnace, and what it reported."""

    def __init__(self, door: InputSequencer, port: int, session: int = 7, longest_s: float = 0.2) -> None:
        self.told: list[tuple[str, bool]] = []
        self.door = door
        self.publisher = MqttPublisher(
            Mqtt(host="127.0.0.1", port=port, topic="shop/pourcall", readings_every_s=0.1),
            {"crucible": door},
            RealClock(),
            session=session,
            report=lambda kind, present, detail: self.told.append((kind, present)),
            rng=random.Random(1),
            back_off_s=(longest_s / 4.0, longest_s),
            answer_s=0.5,
        )

    async def end(self) -> None:
        await self.publisher.close()
        await asyncio.wait_for(self.task, WAIT_S)

    async def __aenter__(self) -> "Publishing":
        self.task = asyncio.create_task(self.publisher.run())
        return self

    async def __aexit__(self, *_: object) -> None:
        if not self.task.done():
            await self.end()


@pytest.fixture
def publishing(engine: Any, broker: Broker) -> Callable[..., Publishing]:
    return lambda **named: Publishing(InputSequencer("crucible", engine, None, RealClock()), broker.port, **named)


async def hear(
    port: int, enough: Callable[[dict[str, list[Any]]], bool], listening: asyncio.Event | None = None
) -> dict[str, list[Any]]:
    """Subscribe to everything until `enough` is said of topic -> payloads; `listening`: we are subscribed."""
    heard: dict[str, list[Any]] = {}
    async with asyncio.timeout(WAIT_S), aiomqtt.Client("127.0.0.1", port) as client:
        await client.subscribe("#", qos=1)
        if listening is not None:
            listening.set()
        async for message in client.messages:
            body = msgspec.json.decode(bytes(message.payload))
            heard.setdefault(str(message.topic), []).append(body)
            if enough(heard):
                break
    return heard


async def until(true: Callable[[], bool]) -> None:
    async with asyncio.timeout(WAIT_S):
        while not true():  # noqa: ASYNC110 - what is waited for is another program's doing
            await asyncio.sleep(0.01)


async def test_birth_state_readings_alarms_and_events_arrive_under_one_tree(broker: Broker, publishing: Any) -> None:
    broker.start()
    async with publishing() as ours:
        await until(lambda: ours.publisher.connected)
        ours.door.frame("bench", WARM)
        ours.door.tick()
        heard = await hear(broker.port, lambda heard: len(heard) >= 5)
        assert heard["shop/pourcall/status"][0]["state"] == "online"
        assert heard["shop/pourcall/crucible/probe/melt_probe"][0]["temp_c"] == 512.0
        assert heard["shop/pourcall/crucible/state"][0]["melt_state"] == "empty"
        listening = asyncio.Event()
        hearing = asyncio.create_task(hear(broker.port, lambda heard: EVENT in heard, listening))
        await asyncio.wait_for(listening.wait(), WAIT_S)  # an event is not retained: who comes later has missed it
        ours.door.frame("bench", OPEN)
        event = (await hearing)[EVENT][0]
        assert (event["session"], event["history"], event["event"]["type"]) == (7, False, "alarm_changed")
        heard = await hear(broker.port, lambda heard: bool(heard.get("shop/pourcall/crucible/alarms")))
        assert [alarm["kind"] for alarm in heard["shop/pourcall/crucible/alarms"][-1]["alarms"]] == ["sensor_open"]


async def test_a_stop_in_order_says_offline_with_its_session(broker: Broker, publishing: Any) -> None:
    broker.start()
    async with publishing(session=41) as ours:
        await until(lambda: ours.publisher.connected)
        await ours.end()
        status = (await hear(broker.port, bool))["shop/pourcall/status"][0]
        assert (status["state"], status["session"]) == ("offline", 41)


async def test_a_killed_session_leaves_its_will_with_its_own_session_number(broker: Broker, publishing: Any) -> None:
    broker.start()
    async with publishing(session=41, longest_s=1000.0) as ours:
        await until(lambda: ours.publisher.connected)
        client = aiomqtt.Client("127.0.0.1", broker.port, identifier="pourcall-shop-pourcall")  # takes the name over
        async with client:
            heard = await hear(broker.port, lambda heard: heard["shop/pourcall/status"][-1]["state"] == "offline")
        assert heard["shop/pourcall/status"][-1]["session"] == 41


async def test_a_broker_absent_at_start_is_told_and_found_later_with_history_marked(
    broker: Broker, publishing: Any
) -> None:
    async with publishing() as ours:
        await until(lambda: ("broker_down", True) in ours.told)
        ours.door.frame("bench", WARM)
        ours.door.submit(Note(text="nobody listens"))
        listening: asyncio.Task[dict[str, list[Any]]] | None = None
        broker.start()
        listening = asyncio.create_task(
            hear(broker.port, lambda heard: {t.split("/")[-2] for t in heard} >= {"history", "probe"})
        )
        heard = await listening
        assert ("broker_down", False) in ours.told
        assert heard["shop/pourcall/crucible/history/melt_probe"][0]["history"] is True


async def test_a_broker_that_died_and_forgot_everything_gets_all_retained_topics_again(
    broker: Broker, publishing: Any
) -> None:
    broker.start()
    async with publishing() as ours:
        await until(lambda: ours.publisher.connected)
        ours.door.frame("bench", WARM)
        ours.door.tick()
        first = await hear(broker.port, lambda heard: len(heard) >= 5)
        broker.kill()
        await until(lambda: ("broker_down", True) in ours.told)
        broker.start()
        again = await hear(broker.port, lambda heard: len(heard) >= 5)
        assert set(again) >= set(first)
        assert ours.told == [("broker_down", True), ("broker_down", False)]


class StallingProxy:
    """Passes bytes between us and the broker until told to stall; then it neither reads nor closes."""

    def __init__(self, port: int) -> None:
        self._port, self.port, self.stalled = port, 0, False
        self._server: asyncio.Server | None = None
        self._tasks: set[asyncio.Task[None]] = set()

    async def __aenter__(self) -> "StallingProxy":
        self._server = await asyncio.start_server(self._serve, "127.0.0.1", 0)
        self.port = self._server.sockets[0].getsockname()[1]
        return self

    async def __aexit__(self, *_: object) -> None:
        assert self._server is not None
        self._server.close()
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None
        self._tasks.add(task)
        there_reader, there_writer = await asyncio.open_connection("127.0.0.1", self._port)
        try:
            await asyncio.gather(self._pump(reader, there_writer), self._pump(there_reader, writer))
        except (OSError, asyncio.CancelledError):
            pass
        finally:
            there_writer.close()
            writer.close()

    async def _pump(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        while data := await reader.read(4096):
            while self.stalled:  # noqa: ASYNC110 - the test's switch
                await asyncio.sleep(0.01)
            writer.write(data)
            await writer.drain()
        writer.close()


async def test_a_link_that_stalls_is_noticed_and_delays_nothing(broker: Broker, engine: Any) -> None:
    broker.start()
    door = InputSequencer("crucible", engine, None, RealClock())
    async with StallingProxy(broker.port) as proxy, Publishing(door, proxy.port) as ours:
        await until(lambda: ours.publisher.connected)
        proxy.stalled = True  # fault M3
        while ("broker_down", True) not in ours.told:  # an input that waited for the link would wait for ever
            door.submit(Note(text="the furnace goes on"))
            await asyncio.sleep(0.02)
            assert len(ours.publisher.outbox) < 1000
        proxy.stalled = False
        await until(lambda: ("broker_down", False) in ours.told)


async def test_a_refused_login_is_told_as_refused_and_not_as_down(broker: Broker, publishing: Any) -> None:
    broker.configure("allow_anonymous false\n")
    broker.start()
    async with publishing() as ours:
        await until(lambda: bool(ours.told))
        assert ours.told == [("broker_refused", True)]


async def test_a_second_client_of_our_name_is_told(broker: Broker, publishing: Any) -> None:
    name = b"pourcall-shop-pourcall"
    # MQTT 3.1.1 section 3.1, CONNECT: protocol name and level, clean session, keep-alive 60 s, client id. By hand: the
    # client library may lose a connection that is taken from it while it connects, and then waits for ever.
    body = b"\0\4MQTT\4\2\0\x3c" + len(name).to_bytes(2, "big") + name
    broker.start()
    async with publishing() as ours, asyncio.timeout(WAIT_S):
        for _ in range(3):
            await until(lambda: ours.publisher.connected)
            reader, writer = await asyncio.open_connection("127.0.0.1", broker.port)
            writer.write(b"\x10" + bytes([len(body)]) + body)
            assert await reader.read() == b"\x20\2\0\0"  # accepted, and thrown out when ours came back
            writer.close()
            await writer.wait_closed()
        await until(lambda: ("client_id_clash", True) in ours.told)


async def test_a_dead_broker_delays_no_input(clock: Any, engine: Any, broker: Broker, publishing: Any) -> None:
    async with publishing() as ours:
        for _ in range(2000):
            ours.door.frame("bench", WARM)
        # Promise 6 of the fault catalogue: a broker can never delay a reading. The publisher had no turn of the loop.
        assert sum(isinstance(item, SampleIn) for item in engine.items) == 2000


messages = st.lists(st.sampled_from(["event", "past", "retain"]), max_size=200)


@given(kinds=messages, bound=st.integers(1, 20))
def test_the_outbox_keeps_its_bound_and_drops_readings_before_events(kinds: list[str], bound: int) -> None:
    box = Outbox(bound)
    for number, kind in enumerate(kinds):
        message = Publication(f"f/{kind}", str(number).encode(), retain=kind == "retain")
        {"event": box.event, "past": box.past_reading, "retain": box.retain}[kind](message)
    sent = list(box.take())
    events = [message for message in sent if message.topic == "f/event"]
    assert len(sent) <= bound + 1
    assert len(events) == min(bound, kinds.count("event"))
    assert [int(message.payload) for message in events] == sorted(int(message.payload) for message in events)
    if "retain" in kinds:
        assert sent[0].topic == "f/retain"
        last = len(kinds) - 1 - kinds[::-1].index("retain")
        assert int(sent[0].payload) == last


def test_what_could_not_be_sent_is_the_next_again() -> None:
    box = Outbox()
    box.event(Publication("f/event", b"1"))
    box.event(Publication("f/event", b"2"))
    first = next(box.take())
    box.put_back(first)
    assert [message.payload for message in box.take()] == [b"1", b"2"]


# -- what is published -------------------------------------------------------------------------------------------------


def test_a_message_is_published_as_its_sentence_and_the_facts_stay_fields() -> None:
    instruction = Instruction(todo=ToDo.COOL, text=tell("instruction.above", over_difference_c=12.0), must=False)
    snapshot = FurnaceSnapshot(furnace="crucible", seq=1, mono_s=0.0, utc_s=0.0, instruction=instruction)
    told = msgspec.to_builtins(spoken(snapshot))["instruction"]
    assert told["todo"] == "cool"
    assert told["text"] == say(instruction.text)
    assert "12 °C" in told["text"]  # in the sentence, in any words


def test_a_sentence_on_record_is_published_in_degrees_celsius() -> None:
    event = MeltStateChanged(
        furnace="f", seq=1, mono_s=0.0, utc_s=0.0, old=MeltState.LIQUID, new=MeltState.READY, why="at <529.0 degC>"
    )
    assert msgspec.to_builtins(spoken(event)) == {**msgspec.to_builtins(event), "why": "at 529 °C"}
    assert msgspec.to_builtins(spoken(event))["type"] == "melt_state_changed"


def test_messages_within_lists_and_messages_are_said_too() -> None:
    value = {"calls": (tell("call.skim"),), "names": ["plain"]}
    assert spoken(value) == {"calls": (say(tell("call.skim")),), "names": ["plain"]}


def test_the_instruction_keeps_its_name_and_its_kind_stands_beside_it(engine: Any) -> None:
    ours = Publishing(InputSequencer("crucible", engine, None, RealClock()), port=1)
    snapshot = engine.snapshot()
    wanted = Instruction(todo=ToDo.CUT, text=tell("instruction.start"), must=True, level=PowerLevel.OFF)
    engine.snapshot = lambda: msgspec.structs.replace(snapshot, instruction=wanted)
    ours.door.tick()
    published = {one.topic: msgspec.json.decode(one.payload) for one in ours.publisher.outbox.take()}
    state = published["crucible/state"]
    assert state["instruction"] == say(wanted.text)
    assert (state["instruction_is_do"], state["todo"], state["level"]) == (True, "cut", "off")
    assert set(published) >= {"crucible/state", "crucible/ahead", "crucible/calls", "crucible/alarms"}
