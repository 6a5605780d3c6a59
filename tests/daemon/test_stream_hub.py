"""The stream's hub and the trace in memory. A slow client costs nothing; what it gets is whole all the same."""

import asyncio
import math
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pourcall.contract.api import Health, StreamDelta, StreamEvent, StreamMessage, StreamSnapshot
from pourcall.contract.frames import RawKind, Sample
from pourcall.contract.inputs import EndMelt, MeltEnding, Note, StartMelt
from pourcall.contract.plan import MeltPlan
from pourcall.contract.reading import Reading
from pourcall.contract.status import Reason
from pourcall.daemon.api.hub import Client, Hub
from pourcall.daemon.inputs.live_trace import LiveTrace
from pourcall.daemon.inputs.sequencer import InputSequencer

WARM = Sample(channel="0", raw_kind=RawKind.ITS90_C, raw_value=512.0)
_decoder = msgspec.json.Decoder(StreamMessage)


def hub_on(sequencer: InputSequencer, delta_s: float = 0.01) -> Hub:
    health = Health(pid=1, mono_s=0.0, utc_s=0.0, furnaces=("crucible",))
    return Hub({"crucible": sequencer}, lambda: health, delta_s=delta_s)


async def flushed(hub: Hub) -> None:
    """Its timer has come, and the deltas have gone out."""
    while hub._timer is not None:  # noqa: ASYNC110 - what is waited for is its own timer
        await asyncio.sleep(0)


async def take(client: Client, hub: Hub) -> list[Any]:
    return [_decoder.decode(text) for text in await asyncio.wait_for(client.next(hub.snapshots), 2.0)]


async def test_a_client_gets_a_snapshot_then_events_at_once_then_the_delta(clock: Any, engine: Any) -> None:
    sequencer = InputSequencer("crucible", engine, None, clock)
    hub, client = hub_on(sequencer), Client()
    hub.join(client)
    first = await take(client, hub)
    assert [type(message) for message in first] == [StreamSnapshot]
    sequencer.submit(Note(text="skimmed"))
    assert [type(message) for message in await take(client, hub)] == [StreamEvent]
    (delta,) = await take(client, hub)
    assert isinstance(delta, StreamDelta)
    assert set(delta.changed) == {"seq", "mono_s", "utc_s"}
    hub.close()


async def test_a_field_back_at_its_default_is_part_of_the_delta(clock: Any, engine: Any, plan: MeltPlan) -> None:
    sequencer = InputSequencer("crucible", engine, None, clock)
    sequencer.submit(StartMelt(plan=plan))
    hub, client = hub_on(sequencer), Client()
    hub.join(client)
    await take(client, hub)
    sequencer.submit(EndMelt(ending=MeltEnding.HEEL))
    await take(client, hub)
    (delta,) = await take(client, hub)
    assert bytes(delta.changed["melt"]) == b'""'
    assert bytes(delta.changed["plan"]) == b"null"
    hub.close()


async def test_a_slow_client_is_skipped_to_a_fresh_snapshot(clock: Any, engine: Any) -> None:
    sequencer = InputSequencer("crucible", engine, None, clock)
    hub, slow = hub_on(sequencer), Client(limit=4)
    hub.join(slow)
    await take(slow, hub)
    for number in range(50):
        sequencer.submit(Note(text=f"note {number}"))
    assert slow.skipped == 1
    messages = await take(slow, hub)
    assert isinstance(messages[0], StreamSnapshot)
    assert messages[0].snapshot.seq == 50
    hub.close()


async def test_merged_deltas_give_the_snapshot_whatever_was_skipped(clock: Any, engine: Any, plan: MeltPlan) -> None:
    sequencer = InputSequencer("crucible", engine, None, clock)
    hub = hub_on(sequencer, delta_s=0.0)
    clients = [Client(limit=3), Client(limit=1000)]
    for client in clients:
        hub.join(client)
    merged: list[dict[str, Any]] = [{}, {}]
    for step in range(30):
        sequencer.submit(StartMelt(plan=plan) if step % 3 else EndMelt(ending=MeltEnding.POURED))
        await flushed(hub)
        for index, client in enumerate(clients):
            if index == 1 or step % 7 == 0:
                for message in await take(client, hub):
                    if isinstance(message, StreamSnapshot):
                        merged[index] = msgspec.json.decode(msgspec.json.encode(message.snapshot))
                    elif isinstance(message, StreamDelta):
                        merged[index] |= {key: msgspec.json.decode(raw) for key, raw in message.changed.items()}
    await flushed(hub)
    for index, client in enumerate(clients):
        client.offer("null")  # so that there is something to take at all
        for text in await client.next(hub.snapshots):
            message = msgspec.json.decode(text)
            if message and message["type"] == "snapshot":
                merged[index] = message["snapshot"]
            elif message and message["type"] == "delta":
                merged[index] |= message["changed"]
        now = msgspec.json.decode(msgspec.json.encode(sequencer.snapshot()))
        assert {key: merged[index].get(key) for key in now} == now
        assert (merged[index].get("melt") or "") == sequencer.snapshot().melt
    hub.close()


async def test_nothing_is_encoded_while_nobody_listens(clock: Any, engine: Any) -> None:
    sequencer = InputSequencer("crucible", engine, None, clock)
    hub, client = hub_on(sequencer), Client()
    hub.join(client)
    await take(client, hub)
    hub.leave(client)
    sequencer.submit(Note(text="alone"))
    assert (hub.clients, hub._timer) == (0, None)
    hub.close()


def reading(at_s: float, temp_c: float | None) -> Reading:
    reason = Reason.OK if temp_c is not None else Reason.SENSOR_OPEN
    return Reading(probe="p", temp_c=temp_c, reason=reason, at_mono_s=at_s, at_utc_s=at_s, raw_kind=RawKind.ITS90_C)


@given(
    temps_c=st.lists(st.floats(0.0, 1200.0), min_size=1, max_size=400),
    buckets=st.integers(4, 64),
    points=st.integers(2, 50),
)
def test_a_trace_keeps_the_extremes_whatever_it_is_decimated_to(
    temps_c: list[float], buckets: int, points: int
) -> None:
    book = LiveTrace("crucible", 100.0, buckets=buckets)
    book.restart(100.0, melting=True)
    for second, temp_c in enumerate(temps_c):
        book.add(reading(100.0 + second, temp_c))
    curve = book.trace(points=points).probes["p"]
    assert len(curve) <= points
    assert min(point.min_c for point in curve if point.min_c is not None) == min(temps_c)
    assert max(point.max_c for point in curve if point.max_c is not None) == max(temps_c)
    assert [point.mono_s for point in curve] == sorted({point.mono_s for point in curve})
    assert len(book._curves["p"].number) <= buckets


def test_a_reading_without_a_number_leaves_a_gap() -> None:
    book = LiveTrace("crucible", 0.0)
    for at_s, temp_c in ((0.0, 20.0), (1.0, None), (2.0, 22.0)):
        book.add(reading(at_s, temp_c))
    assert [(point.min_c, point.max_c) for point in book.trace().probes["p"]] == [
        (20.0, 20.0),
        (None, None),
        (22.0, 22.0),
    ]


def test_an_idle_trace_forgets_the_oldest_and_stays_fine() -> None:
    book = LiveTrace("crucible", 0.0, buckets=100)
    for second in range(1000):
        book.add(reading(float(second), 20.0))
    assert book.width_s == 1.0
    assert 50 <= len(book.trace().probes["p"]) <= 100


def test_since_leaves_out_what_was_before() -> None:
    book = LiveTrace("crucible", 50.0)
    for second in range(20):
        book.add(reading(50.0 + second, float(second)))
    curve = book.trace(since_mono_s=65.0).probes["p"]
    assert curve[0].mono_s == pytest.approx(65.0)
    assert math.isclose(curve[0].min_c or 0.0, 15.0)
