"""A simulated board on a real port, in lock-step with whoever reads it.

POSIX: a pseudo-terminal that the ordinary driver opens by its device name. Elsewhere: a listening socket on loopback
(`socket://127.0.0.1:port`). Either way the driver's own code reads it, in its own thread.

How service and simulator step together, each sample period:
    1. `LockStep` steps the shop by one plant step and advances the `SimClock` to that moment (sleepers wake in order).
    2. The board's bytes are written; the board knows how many frames are in them.
    3. Nothing more happens until `consumed(board, frames)` has told of as many frames as were written. The service
       calls it on the event loop, after the engine has handled them. The clock has not moved since the write, so a
       reader thread stamps the bytes with the moment they were sent, at any speed, and no time-out is ever faked.
    4. Under a link fault nobody knows how many frames there are: when the port is drained and nothing is told for
       `GRACE_S` of real time, the step counts as consumed. With a sound link the same holds after `patience_s`.
    5. With `speed` set, the loop then waits until real time has caught up; with None it goes on at once.
`run` first waits for a driver to open the port. A driver that goes away later costs `patience_s` a step.
"""

import asyncio
import contextlib
import os
import socket
import sys
from collections.abc import Callable
from typing import Protocol

from pourcall.contract.inputs import Command
from pourcall.sim.boards.board import Board
from pourcall.sim.clock import SimClock
from pourcall.sim.shop import Shop

PATIENCE_S = 0.5
GRACE_S = 0.01


class Wire(Protocol):
    """The simulator's end of a port."""

    port: str  # what the driver opens

    @property
    def attached(self) -> bool: ...
    def write(self, data: bytes) -> None: ...
    def drained(self) -> bool: ...
    def close(self) -> None: ...


class PtyWire:
    """A pseudo-terminal. `heard` is called on the event loop with what the driver sends."""

    def __init__(self, heard: Callable[[bytes], None]) -> None:
        import termios
        import tty

        self._loop = asyncio.get_running_loop()
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)  # no echo and no newline games, even before the driver sets the port up
        quiet = termios.tcgetattr(self._slave)
        quiet[4] = quiet[5] = termios.B50  # nobody's speed: a driver sets its own when it opens the port
        termios.tcsetattr(self._slave, termios.TCSANOW, quiet)
        self._attached = False
        os.set_blocking(self._master, False)
        self.port = os.ttyname(self._slave)
        self._heard, self._waiting, self._closed = heard, bytearray(), False
        self._loop.add_reader(self._master, self._readable)

    @property
    def attached(self) -> bool:
        """Has a driver opened the port (it has set a speed)."""
        import termios

        if not self._attached and not self._closed:
            self._attached = termios.tcgetattr(self._slave)[4] != termios.B50
        return self._attached and not self._closed

    def write(self, data: bytes) -> None:
        """Never blocks; what the terminal does not take waits."""
        if self._closed:
            return
        self._waiting += data
        self._flush()

    def _flush(self) -> None:
        while self._waiting:
            try:
                sent = os.write(self._master, bytes(self._waiting[:4096]))
            except (BlockingIOError, InterruptedError):
                return
            except OSError:
                self._waiting.clear()
                return
            del self._waiting[:sent]

    def drained(self) -> bool:
        """Has the driver taken all bytes."""
        import fcntl
        import termios

        if self._closed:
            return True
        self._flush()
        left = fcntl.ioctl(self._slave, termios.FIONREAD, b"\0\0\0\0")
        return not self._waiting and int.from_bytes(left, sys.byteorder) == 0

    def _readable(self) -> None:
        try:
            data = os.read(self._master, 4096)
        except (BlockingIOError, InterruptedError):
            return
        except OSError:
            data = b""
        if data:
            self._heard(data)

    def close(self) -> None:
        """Unplug. The reader gets an empty read and a hang-up."""
        if not self._closed:
            self._closed = True
            self._loop.remove_reader(self._master)
            os.close(self._master)
            os.close(self._slave)


class SocketWire:
    """A listening socket on loopback; one driver at a time. Works on every system."""

    def __init__(self, heard: Callable[[bytes], None]) -> None:
        self._heard = heard
        self._server = socket.create_server(("127.0.0.1", 0))
        self._server.setblocking(False)
        self.port = f"socket://127.0.0.1:{self._server.getsockname()[1]}"
        self._peer: socket.socket | None = None
        self._waiting = bytearray()
        self._task = asyncio.get_running_loop().create_task(self._serve())

    @property
    def attached(self) -> bool:
        """Is a driver connected."""
        return self._peer is not None

    async def _serve(self) -> None:
        loop = asyncio.get_running_loop()
        while True:
            peer, _ = await loop.sock_accept(self._server)
            peer.setblocking(False)
            peer.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self._peer = peer
            try:
                while data := await loop.sock_recv(peer, 4096):
                    self._heard(data)
            except OSError:
                pass
            finally:
                self._peer = None
                self._waiting.clear()
                peer.close()

    def write(self, data: bytes) -> None:
        """Never blocks; without a driver the bytes are lost, as on a wire nobody holds."""
        if self._peer is not None:
            self._waiting += data
            self._flush()

    def _flush(self) -> None:
        while self._waiting and self._peer is not None:
            try:
                sent = self._peer.send(bytes(self._waiting[:4096]))
            except (BlockingIOError, InterruptedError):
                return
            except OSError:
                self._waiting.clear()
                return
            del self._waiting[:sent]

    def drained(self) -> bool:
        """Has the system taken all bytes; whether the driver has, a socket cannot tell."""
        self._flush()
        return not self._waiting

    def close(self) -> None:
        """Unplug."""
        self._task.cancel()
        if self._peer is not None:
            with contextlib.suppress(OSError):
                self._peer.shutdown(socket.SHUT_RDWR)
        self._server.close()

    async def aclose(self) -> None:
        """Unplug, and wait until the serving task has ended."""
        self.close()
        with contextlib.suppress(asyncio.CancelledError):
            await self._task


def has_pty() -> bool:
    """Does this system have pseudo-terminals."""
    return sys.platform != "win32" and hasattr(os, "openpty")


class LockStep:
    """Runs one board on one port. Make it inside the event loop; give `consumed` to the service.

    `on_keys`: what the simulated operator presses, on the event loop, at its simulated moment; `hear_call` tells the
    operator of a call that came up (its kind).
    """

    def __init__(
        self,
        shop: Shop,
        clock: SimClock,
        *,
        dialect: str = "pourcall",
        speed: float | None = None,
        on_keys: Callable[[list[Command]], None] | None = None,
        use_socket: bool = False,
        name: str = "bench",
        driven: bool = False,
        patience_s: float = PATIENCE_S,
    ) -> None:
        """`speed`: simulated seconds a real second; None as fast as the reader takes them."""
        self.shop, self.clock, self.speed, self.name = shop, clock, speed, name
        self.board = Board(shop, dialect, name=name, driven=driven)
        self._on_keys, self._patience_s = on_keys, patience_s
        self.wire: Wire = SocketWire(self._heard) if use_socket or not has_pty() else PtyWire(self._heard)
        self._start_mono_s = clock.mono_s()
        self._sent = self._told = 0
        self._news = asyncio.Event()
        self._stopping = False
        self._pace = (0.0, 0.0)  # real and simulated moment from which the speed counts
        self.impatient_steps = 0  # steps that ended by patience; 0 with a sound link and a service that tells

    @property
    def port(self) -> str:
        """What goes into the settings as the board's port."""
        return self.wire.port

    def consumed(self, board: str, frames: int) -> None:
        """Told by the service, on the event loop: so many more frames of this board went through the engine."""
        if board == self.name:
            self._told += frames
            self._news.set()

    def hear_call(self, kind: str) -> None:
        """A call is up."""
        self.shop.crew.hear(kind)

    def _heard(self, data: bytes) -> None:
        answer = self.board.hear(data)
        if answer:
            self._sent += answer.count(b"\n")
            self.wire.write(answer)

    async def attached(self, timeout_s: float = 10.0) -> bool:
        """Wait, in real time, for a driver on the port."""
        real_s = asyncio.get_running_loop().time
        until_s = real_s() + timeout_s
        # The system tells nobody when a port is opened, so there is no event to wait for.
        while not self.wire.attached and not self._stopping and real_s() < until_s:  # noqa: ASYNC110
            await asyncio.sleep(0.005)
        return self.wire.attached

    async def run(self, until_s: float | None = None) -> None:
        """Until the scenario is finished, `until_s` of simulated time, or `stop`."""
        await self.attached()
        real_s = asyncio.get_running_loop().time  # this machine's, for pace alone
        self._set_pace()
        turn = 0
        while not self._stopping and not self.shop.finished and (until_s is None or self.shop.t_s < until_s):
            pressed = self.shop.step()
            await self.clock.advance_to(self._start_mono_s + self.shop.t_s)
            if pressed and self._on_keys is not None:
                self._on_keys(pressed)
            await self._until_consumed(self._patience_s)  # an answer to the host may still be on its way
            self._told = self._sent  # what was told after patience ran out belongs to the past
            sent = self.board.send_now()
            self._sent += 1 if sent.frames is None else sent.frames
            self.wire.write(sent.data)
            await self._until_consumed(GRACE_S if sent.frames is None else self._patience_s)
            turn += 1
            if self.speed is not None:
                began_s, sim_s = self._pace
                ahead_s = (self.shop.t_s - sim_s) / self.speed - (real_s() - began_s)
                if ahead_s > 0.001:
                    await asyncio.sleep(ahead_s)
            if turn % 16 == 0:
                await asyncio.sleep(0)  # the API and the dashboard live on this loop too

    def set_speed(self, speed: float | None) -> None:
        """Another speed from now on."""
        self.speed = speed
        self._set_pace()

    def _set_pace(self) -> None:
        self._pace = (asyncio.get_running_loop().time(), self.shop.t_s)

    def stop(self) -> None:
        """End after the step in work."""
        self._stopping = True
        self._news.set()

    def unplug(self) -> None:
        """Pull the cable (fault S1)."""
        self.wire.close()

    async def aclose(self) -> None:
        """Close the port; no task is left."""
        self.stop()
        self.wire.close()
        if isinstance(self.wire, SocketWire):
            await self.wire.aclose()

    async def _until_consumed(self, patience_s: float) -> None:
        if not self.wire.attached:
            self._sent = self._told
            return
        real_s = asyncio.get_running_loop().time
        quiet_since_s = real_s()
        while self._told < self._sent and not self._stopping:
            self._news.clear()
            told = self._told
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(self._news.wait(), patience_s)
            if self._told > told:
                quiet_since_s = real_s()
            elif real_s() - quiet_since_s >= patience_s and self.wire.drained():
                self.impatient_steps += patience_s > GRACE_S
                break
        self._told = self._sent
