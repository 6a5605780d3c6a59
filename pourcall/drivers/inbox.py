"""From reader threads to one consumer, bounded. Old samples are dropped before what happened to a link is."""

import threading
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from pourcall.contract.frames import BoardStatus, Identity, Sample
from pourcall.contract.inputs import LinkKind
from pourcall.contract.message import Told

DEFAULT_MAX = 4096  # deliveries: some minutes of a busy board, a few MB
EVENTS_KEPT = 256  # of the dropped deliveries; a consumer that is further behind has other troubles


@dataclass(frozen=True, slots=True)
class Arrival:
    """A frame and by how many seconds it is older than its arrival."""

    frame: Sample | BoardStatus | Identity
    late_s: float = 0.0


@dataclass(frozen=True, slots=True)
class LinkEvent:
    """Something happened to a port; the fields are those of `contract.inputs.LinkIn`."""

    kind: LinkKind
    detail: Told = ""
    count: int = 0
    sample_hex: str = ""
    printable: float = 1.0


Item = Arrival | LinkEvent
Deliver = Callable[[float, Sequence[Item]], None]


class Inbox:
    """Thread-safe. `put` is a `Deliver`; `wake` is called once when the inbox stops being empty.

    For asyncio: `wake=lambda: loop.call_soon_threadsafe(ready.set)`, and `drain()` in the loop. When `max_waiting`
    deliveries wait, the oldest that carries no link event goes; `dropped` counts the frames lost so.
    """

    def __init__(self, wake: Callable[[], None], max_waiting: int = DEFAULT_MAX) -> None:
        self._wake = wake
        self._max = max_waiting
        self._waiting: deque[tuple[float, Sequence[Item]]] = deque()
        self._lock = threading.Lock()
        self.dropped = 0

    def put(self, mono_s: float, items: Sequence[Item]) -> None:
        """Take a delivery; called by reader threads."""
        with self._lock:
            first = not self._waiting
            if len(self._waiting) >= self._max:
                self._drop_oldest()
            self._waiting.append((mono_s, items))
        if first:
            self._wake()

    def drain(self) -> list[tuple[float, Sequence[Item]]]:
        """All that waits, in order of arrival."""
        with self._lock:
            waiting = list(self._waiting)
            self._waiting.clear()
        return waiting

    def _drop_oldest(self) -> None:
        mono_s, items = self._waiting.popleft()
        events = [item for item in items if isinstance(item, LinkEvent)]
        self.dropped += len(items) - len(events)
        if events and self._waiting:
            next_s, others = self._waiting.popleft()
            self._waiting.appendleft((next_s, [*events[-EVENTS_KEPT:], *others]))
        elif events:
            self._waiting.appendleft((mono_s, events))
