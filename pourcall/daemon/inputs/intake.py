"""From the boards' links to the furnaces that have a probe there: all that arrives, in the order of its arrival.

Links bring threads of their own; what they say waits in an inbox for each board until the event loop takes it.
"""

import asyncio
import contextlib
import logging
import threading
from collections.abc import Callable, Iterable, Mapping
from typing import Protocol, assert_never

from pourcall.contract.clock import Clock
from pourcall.contract.frames import Sample
from pourcall.contract.settings import Board, Settings
from pourcall.daemon.inputs.sequencer import InputSequencer
from pourcall.drivers.inbox import Arrival, Deliver, Inbox, Item, LinkEvent

log = logging.getLogger(__name__)

STOP_S = 2.0
UNHEARD = 64  # channels that are no probe, reported once each
WAITED_S = 0.25  # what waited longer for the loop than this is late by it


class LinkLike(Protocol):
    """A port being read. `start` returns at once; `stop` blocks until its thread has ended."""

    def start(self) -> None: ...
    def stop(self) -> object: ...


LinkFactory = Callable[[str, Board, Deliver], LinkLike]
Consumed = Callable[[str, int], None]  # board, and how many of its frames the engine has had


class Intake:
    """All boards of one settings file. `call_soon`: has the event loop call something, from any thread.

    link_for None: no port is opened. consumed: told after items of a board were processed, so that simulated time may
    go on.
    """

    def __init__(
        self,
        settings: Settings,
        sequencers: Mapping[str, InputSequencer],
        clock: Clock,
        call_soon: Callable[[Callable[[], None]], None],
        *,
        link_for: LinkFactory | None,
        consumed: Consumed | None,
    ) -> None:
        self._settings, self._clock, self._call_soon = settings, clock, call_soon
        self._link_for, self._consumed = link_for, consumed
        self._links: list[LinkLike] = []
        self._inboxes: dict[str, Inbox] = {}
        self._heard_by: dict[str, list[InputSequencer]] = {name: [] for name in settings.board}
        self._channels: dict[tuple[str, str], list[InputSequencer]] = {}
        self._unheard: set[tuple[str, str]] = set()
        for probe in settings.probe.values():
            sequencer = sequencers[probe.furnace]
            if sequencer not in self._heard_by[probe.board]:
                self._heard_by[probe.board].append(sequencer)
            self._channels.setdefault((probe.board, probe.channel), []).append(sequencer)

    def start(self) -> None:
        """Open the ports."""
        if self._link_for is not None:
            for name, board in self._settings.board.items():
                inbox = self._inboxes[name] = Inbox(lambda: self._call_soon(self.drain))
                self._links.append(self._link_for(name, board, inbox.put))
        for link in self._links:
            link.start()

    async def stop(self) -> None:
        """Close all at once, in threads that are waited for `STOP_S` at most: a port may be stuck in the system."""
        loop = asyncio.get_running_loop()
        ended = [asyncio.Event() for _ in self._links]

        def stop(link: LinkLike, event: asyncio.Event) -> None:
            try:
                link.stop()
            except Exception:
                log.exception("closing a port failed")
            with contextlib.suppress(RuntimeError):  # the loop is gone: it was not waited for
                loop.call_soon_threadsafe(event.set)

        for link, event in zip(self._links, ended, strict=True):
            threading.Thread(target=stop, args=(link, event), name="pourcall-unlink", daemon=True).start()
        self._links.clear()
        try:
            async with asyncio.timeout(STOP_S):
                for event in ended:
                    await event.wait()
        except TimeoutError:
            log.error("a port does not close within %g s: left to the system", STOP_S)

    def drain(self) -> None:
        """Everything that waits in the order of its arrival, whichever board it came from."""
        waiting = [(mono_s, name, items) for name, inbox in self._inboxes.items() for mono_s, items in inbox.drain()]
        if len(self._inboxes) > 1:
            waiting.sort(key=lambda delivery: delivery[0])
        for mono_s, board, items in waiting:
            waited_s = self._clock.mono_s() - mono_s
            for item in items:
                self._take(board, item, waited_s if waited_s >= WAITED_S else 0.0)
            if self._consumed is not None:
                self._consumed(board, sum(1 for item in items if isinstance(item, Arrival)))

    def _take(self, board: str, item: Item, waited_s: float) -> None:
        match item:
            case LinkEvent():
                for sequencer in self._heard_by[board]:
                    sequencer.link(
                        board,
                        item.kind,
                        item.detail,
                        count=item.count,
                        sample_hex=item.sample_hex,
                        printable=item.printable,
                    )
            case Arrival(frame=Sample() as sample):
                for sequencer in self._of_channel(board, sample.channel):
                    sequencer.frame(board, sample, late_s=item.late_s + waited_s)
            case Arrival():
                for sequencer in self._heard_by[board]:
                    sequencer.frame(board, item.frame, late_s=item.late_s + waited_s)
            case _:
                assert_never(item)

    def _of_channel(self, board: str, channel: str) -> Iterable[InputSequencer]:
        """Who has a probe there. Of a channel nobody has, the first sample is shown to all, and the rest dropped."""
        where = (board, channel)
        if where in self._channels:
            return self._channels[where]
        if where in self._unheard or len(self._unheard) >= UNHEARD:
            return ()
        self._unheard.add(where)
        log.warning("board %s sends channel %r, which is no probe in the settings: ignored", *where)
        return self._heard_by[board]
