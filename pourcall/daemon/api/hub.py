"""The live stream. One encoding for all clients; a slow one is skipped to a fresh snapshot, never waited for.

Events go out at once; what changed in a snapshot goes out at most ten times a second. Every client has a bounded
queue: when it overflows, the queue is emptied and the client gets whole snapshots again, which say all that the lost
deltas said (fault P7: a dashboard that hangs costs nothing).
"""

import asyncio
from collections import deque
from collections.abc import Callable, Iterable, Mapping
from typing import Any

import msgspec

from pourcall.contract.api import Health, StreamDelta, StreamEvent, StreamMessage, StreamSnapshot
from pourcall.contract.reading import Reading
from pourcall.contract.snapshot import FurnaceSnapshot
from pourcall.daemon.inputs.sequencer import InputSequencer, ProcessedInput

DELTA_S = 0.1  # real seconds between deltas, at least
QUEUE = 256  # messages a client may lag before it is skipped to a fresh snapshot

_FIELDS = FurnaceSnapshot.__struct_fields__


def changed_fields(old: FurnaceSnapshot, new: FurnaceSnapshot) -> dict[str, Any]:
    """Top-level fields that differ, with their new value; a field back at its default is among them."""
    return {name: value for name in _FIELDS if (value := getattr(new, name)) != getattr(old, name)}


class Client:
    """One listener's queue of encoded messages."""

    def __init__(self, limit: int = QUEUE) -> None:
        self._queue: deque[str] = deque()
        self._limit = limit
        self._there = asyncio.Event()
        self.skipped = 0  # times this client was too slow
        self.needs_snapshot = True

    def offer(self, message: str) -> None:
        """Queue a message, or note that the client is too slow and must start again from a snapshot."""
        if self.needs_snapshot:
            self._there.set()
            return
        if len(self._queue) >= self._limit:
            self._queue.clear()
            self.needs_snapshot = True
            self.skipped += 1
        else:
            self._queue.append(message)
        self._there.set()

    async def next(self, snapshots: Callable[[], Iterable[str]]) -> list[str]:
        """All that waits to be sent; fresh snapshots first where they are due."""
        while not self._queue and not self.needs_snapshot:
            self._there.clear()
            await self._there.wait()
        if self.needs_snapshot:
            self.needs_snapshot = False
            self._queue.clear()
            return list(snapshots())
        batch = list(self._queue)
        self._queue.clear()
        return batch


class Hub:
    """From the furnaces to the clients. `health` gives the words for the head of a snapshot."""

    def __init__(
        self, sequencers: Mapping[str, InputSequencer], health: Callable[[], Health], *, delta_s: float = DELTA_S
    ) -> None:
        self._sequencers, self._health, self._delta_s = sequencers, health, delta_s
        self._encoder = msgspec.json.Encoder()
        self._clients: set[Client] = set()
        self._sent: dict[str, FurnaceSnapshot] = {}
        self._dirty: dict[str, None] = {}
        self._timer: asyncio.TimerHandle | None = None
        self._leave = [sequencer.subscribe(self._on_processed) for sequencer in sequencers.values()]

    @property
    def clients(self) -> int:
        """How many listen now."""
        return len(self._clients)

    def join(self, client: Client) -> None:
        """A client listens from now on; its first messages are snapshots."""
        self._clients.add(client)

    def leave(self, client: Client) -> None:
        """A client listens no more."""
        self._clients.discard(client)
        if not self._clients:
            self._sent.clear()

    def snapshots(self) -> list[str]:
        """A whole snapshot of every furnace. What is sent here is what the next delta is counted from."""
        health = self._health()
        messages = []
        for name, sequencer in self._sequencers.items():
            self._flush(name)  # so that the other clients' deltas stay whole
            shot = self._sent.get(name) or sequencer.snapshot()
            self._sent[name] = shot
            messages.append(self._text(StreamSnapshot(health=health, snapshot=shot)))
        return messages

    def close(self) -> None:
        """No more subscriptions, no timer; clients are left to their own end."""
        for leave in self._leave:
            leave()
        self._leave.clear()
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def _text(self, message: StreamMessage) -> str:
        return self._encoder.encode(message).decode()

    def _on_processed(self, processed: ProcessedInput) -> None:
        if not self._clients:
            return
        for out in processed.outputs:
            if not isinstance(out, Reading):
                message = self._text(StreamEvent(event=out))
                for client in self._clients:
                    client.offer(message)
        self._dirty[processed.furnace] = None
        if self._timer is None:
            self._timer = asyncio.get_running_loop().call_later(self._delta_s, self._on_timer)

    def _on_timer(self) -> None:
        self._timer = None
        dirty, self._dirty = self._dirty, {}
        for name in dirty:
            self._flush(name)

    def _flush(self, name: str) -> None:
        old = self._sent.get(name)
        if old is None:
            return  # no client has a snapshot of it yet: the first one brings everything
        new = self._sequencers[name].snapshot()
        changed = changed_fields(old, new)
        if changed:
            raw = {key: msgspec.Raw(self._encoder.encode(value)) for key, value in changed.items()}
            message = self._text(StreamDelta(furnace=name, changed=raw))
            for client in self._clients:
                client.offer(message)
            self._sent[name] = new
