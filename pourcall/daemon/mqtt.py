"""What the furnace says, published over MQTT. Publish-only: nothing is ever subscribed to, so nothing over the
network can switch power on. Off unless the settings name a broker; loaded only then.

Topic tree (JSON, UTF-8: facts in fields, and beside them the sentence that tells of them, in degC; every payload
carries `session`, the UTC second this daemon started, so that a will left by a dead session is told from the birth of a
living one):
    TOPIC/status                    retained   {"state": "online" | "offline", "session": N, ...}; also the will
    TOPIC/FURNACE/state             retained   melt, melt_state, flags, metal, window, instruction, power, store_problem
    TOPIC/FURNACE/ahead             retained   what lies ahead (time to ready, coast, when to cut), the profile
    TOPIC/FURNACE/calls             retained   calls that are up
    TOPIC/FURNACE/alarms            retained   alarms as they stand
    TOPIC/FURNACE/probe/PROBE       retained   latest reading, at most every `readings_every_s`
    TOPIC/FURNACE/event             -          each event, in order; `"history": true` when sent over 5 s late
    TOPIC/FURNACE/history/PROBE     -          readings taken while the broker was away, after everything live

It never delays anything: the input sequencers only put into a bounded outbox; a task of its own sends (faults M1 to
M9). That the broker is away is reported at once; how long that must last to be an alarm, the alarm catalogue says.
"""

import asyncio
import contextlib
import logging
import random
from collections import deque
from collections.abc import Callable, Mapping
from typing import Any

import aiomqtt
import msgspec

from pourcall.contract.clock import Clock
from pourcall.contract.events import AlarmChanged, CallChanged
from pourcall.contract.inputs import DaemonTrouble, TickIn
from pourcall.contract.message import Message, tell
from pourcall.contract.reading import Reading
from pourcall.contract.settings import Mqtt
from pourcall.contract.snapshot import FurnaceSnapshot, Instruction
from pourcall.contract.version import VERSION
from pourcall.daemon.inputs.sequencer import InputSequencer, ProcessedInput
from pourcall.daemon.outbox import Outbox, Publication
from pourcall.daemon.spoken import spoken
from pourcall.texts import say, written

log = logging.getLogger(__name__)

BACK_OFF_S = (1.0, 60.0)  # first and longest wait between attempts
KEEP_ALIVE_S = 10  # a silent broker is noticed after twice this at most
ANSWER_S = 8.0  # a connection or a publish that is not confirmed by then has failed
BIRTH_AGAIN_S = 60.0  # the birth is repeated, should an old will have come after it (fault M9)
HISTORY_S = 5.0  # an event sent later than this after it happened is marked as history
CLASH = (3, 60.0)  # so many drops within so many seconds: two clients share an id (fault M8)
_STATE_FIELDS = (
    "kind",
    "melt",
    "melt_state",
    "flags",
    "power",
    "applied_permille",
    "metal",
    "window",
    "countdown_s",
    "store_problem",
    "boards",
    "simulated",
)
_REFUSALS = frozenset({4, 5, 134, 135})  # MQTT 3.1.1 section 3.2.2.3 and MQTT 5.0 section 3.2.2.2

Report = Callable[[DaemonTrouble, bool, str], None]  # present, detail


class MqttPublisher:
    """`run()` is a task of the service; `await close()` says goodbye to the broker."""

    def __init__(
        self,
        settings: Mqtt,
        sequencers: Mapping[str, InputSequencer],
        clock: Clock,
        *,
        session: int,
        report: Report,
        rng: random.Random | None = None,
        back_off_s: tuple[float, float] = BACK_OFF_S,
        answer_s: float = ANSWER_S,
        outbox: Outbox | None = None,
    ) -> None:
        self._settings, self._sequencers, self._clock = settings, sequencers, clock
        self._session, self._report, self._rng = session, report, rng or random.Random()
        self._back_off_s, self._answer_s = back_off_s, answer_s
        self.outbox = outbox if outbox is not None else Outbox()
        self.connected = False
        self._encoder = msgspec.json.Encoder()
        self._last_s: dict[tuple[str, str], float] = {}
        self._last_state: dict[str, dict[str, Any]] = {}
        self._there = asyncio.Event()
        self._closing = asyncio.Event()
        self._drops: deque[float] = deque(maxlen=CLASH[0])
        self._raised: set[DaemonTrouble] = set()
        self._leave = [one.subscribe(self._on_processed) for one in sequencers.values()]

    # -- from the sequencers; never waits ---------------------------------------------------------------------------

    def _on_processed(self, passed: ProcessedInput) -> None:
        furnace = passed.furnace
        lists = False
        for out in passed.outputs:
            if isinstance(out, Reading):
                self._reading(furnace, out)
                continue
            lists = lists or isinstance(out, AlarmChanged | CallChanged)
            self.outbox.event(Publication(f"{furnace}/event", self._encoder.encode(spoken(out))))
        if lists or isinstance(passed.item, TickIn):
            self._state(furnace)
        self._there.set()

    def _reading(self, furnace: str, reading: Reading) -> None:
        last_s = self._last_s.get((furnace, reading.probe))
        if last_s is not None and reading.at_mono_s - last_s < self._settings.readings_every_s - 0.02:
            return
        self._last_s[furnace, reading.probe] = reading.at_mono_s
        body = {
            "session": self._session,
            "temp_c": reading.temp_c,
            "u_c": reading.u_c,
            "status": reading.status.value,
            "reason": reading.reason.value,
            "utc_s": reading.at_utc_s,
        }
        self.outbox.retain(self._message(f"{furnace}/probe/{reading.probe}", body, qos=0, retain=True))
        if not self.connected:
            self.outbox.past_reading(self._message(f"{furnace}/history/{reading.probe}", {**body, "history": True}))

    def _state(self, furnace: str) -> None:
        shot: FurnaceSnapshot = self._sequencers[furnace].snapshot()
        ahead = None if shot.ahead is None else msgspec.structs.replace(shot.ahead, band=())  # for screens
        topics: dict[str, dict[str, Any]] = {
            f"{furnace}/ahead": {"ahead": ahead, "profile": shot.profile},
            f"{furnace}/state": {name: getattr(shot, name) for name in _STATE_FIELDS} | _instruction(shot.instruction),
            f"{furnace}/calls": {"calls": shot.calls},
            f"{furnace}/alarms": {"alarms": shot.alarms},
        }
        for topic, body in topics.items():
            if self._last_state.get(topic) != body:
                self._last_state[topic] = body
                whole = {"session": self._session, "utc_s": shot.utc_s, **spoken(body)}
                self.outbox.retain(self._message(topic, whole, retain=True))

    def _message(self, topic: str, body: Mapping[str, Any], *, qos: int = 1, retain: bool = False) -> Publication:
        return Publication(topic, self._encoder.encode(body), retain, qos)

    # -- the task -------------------------------------------------------------------------------------------------

    async def run(self) -> None:
        """Connect, send, and connect again with growing pauses, until closed."""
        pause_s = self._back_off_s[0]
        while not self._closing.is_set():
            began_s = self._clock.mono_s()
            try:
                await self._session_with_broker()
            except aiomqtt.MqttError as err:
                self._on_lost(err)
            if self.connected:
                self.connected = False
                if self._clock.mono_s() - began_s > self._back_off_s[1]:
                    pause_s = self._back_off_s[0]
            if not self._closing.is_set():
                with contextlib.suppress(TimeoutError):
                    await asyncio.wait_for(self._closing.wait(), pause_s * (0.5 + 0.5 * self._rng.random()))
                pause_s = min(2.0 * pause_s, self._back_off_s[1])

    async def close(self) -> None:
        """No more subscriptions; the running session sends what waits (2 s at most) and says it is offline."""
        for leave in self._leave:
            leave()
        self._leave.clear()
        self._closing.set()
        self._there.set()

    def _on_lost(self, err: aiomqtt.MqttError) -> None:
        code = getattr(err, "rc", None)
        number = getattr(code, "value", code)
        if number in _REFUSALS:
            self._raise(DaemonTrouble.BROKER_REFUSED, tell("mqtt.refused", where=self._where, error=str(err)))
        elif DaemonTrouble.BROKER_REFUSED not in self._raised:
            self._raise(DaemonTrouble.BROKER_DOWN, tell("mqtt.down", where=self._where, error=str(err)))
        if self.connected:
            now_s = self._clock.mono_s()
            self._drops.append(now_s)
            log.warning("broker %s lost: %s", self._where, err)
            if len(self._drops) == CLASH[0] and now_s - self._drops[0] <= CLASH[1]:
                told = tell("mqtt.clash", where=self._where, count=CLASH[0], within_s=CLASH[1])
                self._raise(DaemonTrouble.CLIENT_ID_CLASH, told)

    def _raise(self, kind: DaemonTrouble, detail: Message) -> None:
        if kind not in self._raised:
            self._raised.add(kind)
            log.warning("%s: %s", kind, say(detail))
            self._report(kind, True, written(detail))

    @property
    def _where(self) -> str:
        return f"{self._settings.host}:{self._settings.port}"

    def _status(self, state: str) -> bytes:
        return self._encoder.encode({"state": state, "session": self._session, "version": VERSION})

    async def _session_with_broker(self) -> None:
        topic = f"{self._settings.topic}/status"
        async with aiomqtt.Client(
            self._settings.host,
            self._settings.port,
            username=self._settings.username or None,
            password=self._settings.password or None,
            identifier=f"pourcall-{self._settings.topic.replace('/', '-')}",
            keepalive=KEEP_ALIVE_S,
            timeout=self._answer_s,
            will=aiomqtt.Will(topic, self._status("offline"), qos=1, retain=True),
        ) as client:
            self.connected = True
            log.info("broker %s connected", self._where)
            for kind in (DaemonTrouble.BROKER_DOWN, DaemonTrouble.BROKER_REFUSED):
                if kind in self._raised:
                    self._raised.discard(kind)
                    self._report(kind, False, written(tell("mqtt.back", where=self._where)))
            await client.publish(topic, self._status("online"), qos=1, retain=True)
            self.outbox.refresh()
            listening = asyncio.create_task(_until_lost(client), name="mqtt-listening")
            sending = asyncio.create_task(self._send(client, topic), name="mqtt-sending")
            try:
                await asyncio.wait((listening, sending), return_when=asyncio.FIRST_COMPLETED)
            finally:
                for task in (listening, sending):
                    task.cancel()
                results = await asyncio.gather(listening, sending, return_exceptions=True)
            for result in results:
                if isinstance(result, Exception):
                    raise result
            if self._closing.is_set():
                await client.publish(topic, self._status("offline"), qos=1, retain=True, timeout=1.0)

    async def _send(self, client: aiomqtt.Client, status_topic: str) -> None:
        born_s = self._clock.mono_s()
        while True:
            for message in self.outbox.take():
                try:
                    await client.publish(
                        f"{self._settings.topic}/{message.topic}",
                        self._marked(message),
                        qos=message.qos,
                        retain=message.retain,
                    )
                except BaseException:
                    self.outbox.put_back(message)
                    raise
            if self._closing.is_set():
                return
            now_s = self._clock.mono_s()
            if now_s - born_s >= BIRTH_AGAIN_S:
                born_s = now_s
                await client.publish(status_topic, self._status("online"), qos=1, retain=True)
            if now_s - self._drops[-1] > CLASH[1] if self._drops else False:
                self._drops.clear()
                if DaemonTrouble.CLIENT_ID_CLASH in self._raised:
                    self._raised.discard(DaemonTrouble.CLIENT_ID_CLASH)
                    self._report(DaemonTrouble.CLIENT_ID_CLASH, False, written(tell("mqtt.no_more_drops")))
            self._there.clear()
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(self._there.wait(), BIRTH_AGAIN_S)

    def _marked(self, message: Publication) -> bytes:
        """An event in its envelope, marked as history when it is sent late."""
        if message.retain or not message.topic.endswith("/event"):
            return message.payload
        late = self._clock.utc_s() - _Utc.of(message.payload) > HISTORY_S
        return self._encoder.encode({"session": self._session, "history": late, "event": msgspec.Raw(message.payload)})


def _instruction(now: Instruction) -> dict[str, Any]:
    """The sentence and whether somebody must act, under the names they always had; then the facts it stands for."""
    return {
        "instruction": now.text,
        "instruction_is_do": now.must,
        "instruction_why": now.why,
        "todo": now.todo,
        "call": now.call,
        "mould": now.mould,
        "level": now.level,
        "dial": now.dial,
    }


class _Utc(msgspec.Struct):
    utc_s: float

    @staticmethod
    def of(payload: bytes) -> float:
        return _utc_decoder.decode(payload).utc_s


_utc_decoder = msgspec.json.Decoder(_Utc)


async def _until_lost(client: aiomqtt.Client) -> None:
    """Nothing is subscribed to; iterating only notices the end of the connection."""
    async for _ in client.messages:
        pass
