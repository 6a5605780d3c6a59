"""What waits to be published. Bounded, so that a broker away for a week costs no memory.

Three kinds. *Retained* topics keep their latest payload only, and all of them are sent again after each connection
(fault M4). *Events* wait in order. *Past readings*, taken while no broker listened, wait behind them. When the bound
is met the oldest past reading goes first, and only when none is left the oldest event (fault M2); both are counted.
"""

from collections import deque
from collections.abc import Iterator

import msgspec

BOUND = 5000  # messages in all that may wait; about 2 MB


class Publication(msgspec.Struct, frozen=True):
    """One thing to publish. Retained ones are state, others happenings."""

    topic: str
    payload: bytes
    retain: bool = False
    qos: int = 1


class Outbox:
    """Not thread-safe: one event loop."""

    def __init__(self, bound: int = BOUND) -> None:
        self.bound = bound
        self._retained: dict[str, Publication] = {}
        self._fresh: dict[str, None] = {}  # topics whose latest payload was not sent yet, oldest first
        self._events: deque[Publication] = deque()
        self._past: deque[Publication] = deque()
        self.dropped_readings = 0
        self.dropped_events = 0

    def __len__(self) -> int:
        """How many wait."""
        return len(self._fresh) + len(self._events) + len(self._past)

    def retain(self, message: Publication) -> None:
        """State: only the latest counts."""
        self._retained[message.topic] = message
        self._fresh[message.topic] = None

    def event(self, message: Publication) -> None:
        """A happening, in its order."""
        self._events.append(message)
        self._keep_bound()

    def past_reading(self, message: Publication) -> None:
        """A reading nobody could hear at its time."""
        self._past.append(message)
        self._keep_bound()

    def refresh(self) -> None:
        """After a connection: everything retained is to be sent again."""
        self._fresh = dict.fromkeys(self._retained)

    def put_back(self, message: Publication) -> None:
        """Sending failed: it is the next again."""
        if message.retain:
            if self._retained.get(message.topic) is message:
                self._fresh[message.topic] = None
        else:
            self._events.appendleft(message)
            self._keep_bound()

    def take(self) -> Iterator[Publication]:
        """What is to be sent next, state before events before the past, until nothing waits."""
        while True:
            if self._fresh:
                topic = next(iter(self._fresh))
                del self._fresh[topic]
                yield self._retained[topic]
            elif self._events:
                yield self._events.popleft()
            elif self._past:
                yield self._past.popleft()
            else:
                return

    def _keep_bound(self) -> None:
        while len(self._events) + len(self._past) > self.bound:
            if self._past:
                self._past.popleft()
                self.dropped_readings += 1
            else:
                self._events.popleft()
                self.dropped_events += 1
