"""One port, one reader thread. Bytes become frames here and nowhere later; the port's troubles become events.

Runs until stopped and never ends because hardware misbehaved: an unplugged port is tried again within a second, under
its own name, under the USB identity it had, or under a new name where the board says that it has the same serial.
Times come from the clock that is given; real waiting is only ever for the operating system.

Every delivery is `(mono_s, items)`; it is made from the reader thread, so the receiver must be thread-safe (`Inbox`).
"""

import contextlib
import logging
import os
import select
import sys
import threading
from collections import deque
from collections.abc import Callable, Sequence
from typing import assert_never

import serial

from pourcall.contract.errors import LinkError
from pourcall.contract.frames import BadFrame, BoardStatus, Identity, Sample
from pourcall.contract.inputs import LinkKind
from pourcall.contract.message import NOTHING, Message, Told, tell
from pourcall.drivers import access, ports
from pourcall.drivers.access import Port
from pourcall.drivers.bad_frames import BadFrames
from pourcall.drivers.inbox import Arrival, Deliver, Item, LinkEvent
from pourcall.drivers.lateness import Lateness
from pourcall.drivers.wire.framing import Decoder

log = logging.getLogger(__name__)

READ_MAX_BYTES = 16_384
FLOOD_BYTES = 2048  # in one read: more than any board sends while we look away
FLOOD_REST_S = 0.005  # then, so that a flood leaves the processor to the others
BACK_OFF_S = (0.1, 0.2, 0.4, 0.8, 1.0)
SEND_MAX_WAITING = 64
ASK_AGAIN_S = (1.5, 3.0, 6.0, 12.0)  # a board that restarts when its port is opened does not hear the first `?`
ASK_WAIT_S = 0.5
SILENT_S = 0.8  # then somebody else may be reading our bytes
SHARED_CHECK_S = 1.0
SHARED_REPEAT_S = 10.0
VANISHED = 3  # empty reads between two checks that are no accident any more
SILENT_ASKS = 3  # a port that never answers is left alone: opening it may restart what hangs there
JOIN_S = 7.0  # connecting a socket may take 5 s and cannot be interrupted


class SerialLink:
    """A port that is kept open.

    port: device, pyserial URL or `usb:` identity. make_decoder: a fresh decoder for each opening. deliver: gets every
    frame and event. mono_s: the clock. list_ports and open_port: the system's, unless a test brings its own.
    """

    def __init__(
        self,
        port: str,
        make_decoder: Callable[[], Decoder],
        deliver: Deliver,
        *,
        mono_s: Callable[[], float],
        baud: int = 115_200,
        list_ports: ports.ListPorts = ports.list_ports,
        open_port: ports.OpenPort = access.open_port,
    ) -> None:
        self.port = port
        self._make_decoder, self._deliver, self._mono_s, self._baud = make_decoder, deliver, mono_s, baud
        self._list_ports, self._open_port = list_ports, open_port
        self._stopping = threading.Event()
        self._thread: threading.Thread | None = None
        self._outgoing: deque[bytes] = deque(maxlen=SEND_MAX_WAITING)
        self._wake_read, self._wake_write = -1, -1
        self._wake_lock = threading.Lock()  # its write end must not be used once it is closed
        self._open_now = ""
        self._identity: Identity | None = None
        self._usb: ports.PortInfo | None = None
        self._was_lost = False
        self._others: set[str] = set()  # names that were there when ours was opened, and never went: not our board
        self._silent: dict[str, int] = {}
        self._told_unavailable = NOTHING
        self._fresh()

    # ---- for the owner, from any thread

    @property
    def open_as(self) -> str:
        """The device or URL that is open now; "" while there is none."""
        return self._open_now

    @property
    def identity(self) -> Identity | None:
        """Who the board last said it is."""
        return self._identity

    def start(self) -> None:
        """Begin; once."""
        if self._thread is not None:
            raise RuntimeError(f"the link to {self.port} was started before")
        if sys.platform != "win32":
            self._wake_read, self._wake_write = os.pipe()
            os.set_blocking(self._wake_read, False)
            os.set_blocking(self._wake_write, False)
        self._thread = threading.Thread(target=self._run, name=f"link {self.port}", daemon=True)
        self._thread.start()

    def stop(self) -> bool:
        """End the thread and close the port. False when it did not end (the system is stuck in a call)."""
        self._stopping.set()
        if self._thread is None:
            return True
        self._wake()
        self._thread.join(JOIN_S)
        if self._thread.is_alive():
            log.error("the reader of %s does not end", self.port)
            return False
        with self._wake_lock:
            if self._wake_read >= 0:
                os.close(self._wake_read)
                os.close(self._wake_write)
            self._wake_read = self._wake_write = -1
        return True

    def send(self, data: bytes) -> bool:
        """Have these bytes written soon, without waiting. False, and nothing is kept, while no port is open.

        What is not yet written when the port is lost is thrown away: an old command for power must not arrive later.
        """
        if not self._open_now or self._stopping.is_set():
            return False
        self._outgoing.append(data)
        self._wake()
        return True

    def _wake(self) -> None:
        with self._wake_lock, contextlib.suppress(BlockingIOError):  # blocking: it has been woken many times over
            if self._wake_write >= 0:
                os.write(self._wake_write, b"x")

    # ---- the reader thread

    def _run(self) -> None:
        failures = 0
        while not self._stopping.is_set():
            port = self._open()
            if port is None:
                self._stopping.wait(BACK_OFF_S[min(failures, len(BACK_OFF_S) - 1)])
                failures += 1
                continue
            failures = 0
            try:
                why = self._read_until_lost(port)
            except Exception as err:  # the one net: a fault of ours must not look like a quiet board
                log.exception("the reader of %s failed", self.port)
                why = tell("link.reader_failed", error=f"{type(err).__name__}: {err}")
            finally:
                self._open_now = ""
                self._outgoing.clear()
                access.close_port(port)
            if not self._stopping.is_set():
                self._lost(why)
                self._stopping.wait(BACK_OFF_S[0])

    def _fresh(self) -> None:
        """State that belongs to one opening of the port."""
        self._decoder = self._make_decoder()
        self._lateness = Lateness()
        self._bad = BadFrames()
        self._boot: int | None = None
        self._opened_s = self._last_bytes_s = self._mono_s()
        self._asked = 0
        self._answered = False
        self._shared_checked_s = self._shared_told_s = float("-inf")
        self._suspicious = False
        self._vanished = 0
        self._board_seq: int | None = None

    def _open(self) -> Port | None:
        try:
            name = self._name_now()
            port = self._open_port(name, self._baud)
        except (LinkError, OSError, ValueError) as err:
            found = self._find_elsewhere()
            if found is None:
                self._unavailable(err)
                return None
            name, port = found
        self._fresh()
        self._outgoing.clear()
        known = self._known()
        self._usb = next((info for info in known if info.device == name and info.serial_number), self._usb)
        self._others = {info.device for info in known} - {name}
        self._silent.clear()
        self._open_now = name
        self._told_unavailable = NOTHING
        self._was_lost = False
        log.info("port %s is open", name)
        self._give(self._mono_s(), (LinkEvent(LinkKind.OPENED, name),))
        return port

    def _give(self, mono_s: float, items: Sequence[Item]) -> None:
        try:
            self._deliver(mono_s, items)
        except Exception:  # the receiver's fault, and no reason to stop reading
            log.exception("what %s brought was not taken", self.port)

    def _known(self) -> list[ports.PortInfo]:
        try:
            return list(self._list_ports())
        except (OSError, ValueError):
            return []

    def _name_now(self) -> str:
        return ports.resolve(self.port, self._known() if self.port.startswith("usb:") else ())

    def _find_elsewhere(self) -> tuple[str, Port] | None:
        """After a loss: the same board under another name."""
        if not self._was_lost:
            return None
        known = self._known()
        self._others &= {info.device for info in known}
        for info in known:
            if self._usb is not None and info.usb_name and info.usb_name == self._usb.usb_name:
                with contextlib.suppress(OSError, ValueError):
                    return info.device, self._open_port(info.device, self._baud)
        if self._identity is None or not self._identity.serial:
            return None
        for info in known:
            if info.device in self._others or self._stopping.is_set():
                continue
            port = self._same_board(info.device, self._identity)
            if port is not None:
                return info.device, port
        return None

    def _same_board(self, name: str, wanted: Identity) -> Port | None:
        try:
            port = self._open_port(name, self._baud)
        except (OSError, ValueError):
            return None
        try:
            told = ports.ask_identity(port, self._make_decoder(), ASK_WAIT_S)
        except OSError:
            told = None
        if told is not None and (told.board, told.serial) == (wanted.board, wanted.serial):
            return port
        self._silent[name] = self._silent.get(name, 0) + 1
        if told is not None or self._silent[name] >= SILENT_ASKS:
            self._others.add(name)  # not our board: do not trouble it again
        access.close_port(port)
        return None

    def _unavailable(self, err: BaseException) -> None:
        if isinstance(err, LinkError):  # no port of that name
            kind, says = access.Unavailable.NO_PORT, tell("port.unavailable", what=err.what, remedy=err.remedy)
        else:
            fault = access.why_unavailable(self.port, err)
            kind, says = fault.kind, fault.says
        if says == self._told_unavailable or (self._was_lost and kind is access.Unavailable.NO_PORT):
            return  # that it is not there yet was said when it was lost
        self._told_unavailable = says
        log.warning("port %s: %s: %s", self.port, kind, err)
        self._give(self._mono_s(), (LinkEvent(LinkKind.UNAVAILABLE, says),))

    def _lost(self, why: Message) -> None:
        self._was_lost = True
        log.warning("port %s was lost: %s", self.port, why)
        now_s = self._mono_s()
        self._give(now_s, (*self._bad.take(now_s, force=True), LinkEvent(LinkKind.CLOSED, why)))

    def _read_until_lost(self, port: Port) -> Message:
        number = access.file_number(port)
        while not self._stopping.is_set():
            try:
                self._write_waiting(port)
                data = self._read_file(port, number) if number is not None else self._read_other(port)
            except EOFError:
                return tell("link.ended")
            except OSError as err:
                return tell("link.unplugged", error=str(err))
            now_s = self._mono_s()
            items: list[Item] = []
            if data:
                self._last_bytes_s = now_s
                items += self._take(data, now_s)
            items += self._bad.take(now_s)
            items += self._sharing(number, now_s)
            if items:
                self._give(now_s, tuple(items))
            if len(data) >= FLOOD_BYTES:
                self._stopping.wait(FLOOD_REST_S)
        return NOTHING

    def _read_file(self, port: Port, number: int) -> bytes:
        """What is there, waiting up to READ_WAIT_S. Raises EOFError when the port has ended, OSError as it comes."""
        ready, _, _ = select.select([number, self._wake_read], [], [], access.READ_WAIT_S)
        if self._wake_read in ready:
            os.read(self._wake_read, 4096)
        if number not in ready:
            return b""
        try:
            data = os.read(number, READ_MAX_BYTES)
        except BlockingIOError:
            return b""
        if not data:
            if not access.is_device(self._open_now) or access.hung_up(number) or not os.path.exists(self._open_now):
                raise EOFError
            # There were bytes and now there are none: another program took them.
            self._suspicious = True
            self._vanished += 1
            self._stopping.wait(FLOOD_REST_S)
        return data

    def _read_other(self, port: Port) -> bytes:
        """The same through pyserial, for ports that are no files."""
        return port.read(max(1, min(port.in_waiting, READ_MAX_BYTES)))

    def _write_waiting(self, port: Port) -> None:
        self._ask_identity()
        while self._outgoing:
            data = self._outgoing.popleft()
            try:
                port.write(data)
            except serial.SerialTimeoutException as err:
                log.warning("%s takes no bytes: %s", self._open_now, err)

    def _ask_identity(self) -> None:
        """Ask a board that can be asked who it is, again while it does not answer; others are not to be talked to."""
        if self._answered or not self._decoder.query or self._asked > len(ASK_AGAIN_S):
            return
        due_s = 0.0 if self._asked == 0 else ASK_AGAIN_S[self._asked - 1]
        if self._mono_s() - self._opened_s >= due_s:
            self._asked += 1
            self._outgoing.append(self._decoder.query)

    def _take(self, data: bytes, now_s: float) -> list[Item]:
        frames = self._decoder.feed(data)
        self._bad.heard(data, now_s, any_frame=bool(frames))
        items: list[Item] = []
        for frame in frames:
            if isinstance(frame, BadFrame):
                self._suspicious = True
                self._bad.add(frame)
            else:
                items.append(Arrival(frame, self._note(frame, now_s)))
        return items

    def _note(self, frame: Sample | BoardStatus | Identity, now_s: float) -> float:
        """Keep what the frame says of the board; seconds by which it is late."""
        match frame:
            case Identity():
                self._identity, self._answered = frame, True
                return 0.0
            case BoardStatus():
                if self._boot is not None and frame.boot != self._boot:
                    self._lateness.reset()
                    self._answered, self._asked, self._opened_s = False, 0, now_s
                self._boot = frame.boot
                return self._lateness.late_s(frame.board_ms, now_s)
            case Sample():
                if frame.board_ms is None:
                    return 0.0
                if frame.board_seq is not None:
                    follows = self._board_seq is None or frame.board_seq == (self._board_seq + 1) % (1 << 32)
                    self._suspicious = self._suspicious or not follows
                    self._board_seq = frame.board_seq
                return self._lateness.late_s(frame.board_ms, now_s)
            case _:
                assert_never(frame)

    def _sharing(self, number: int | None, now_s: float) -> list[Item]:
        """On suspicion (bytes or lines that vanish, bad frames, silence): look who else has the port open."""
        suspicious = self._suspicious or now_s - self._last_bytes_s > SILENT_S
        if number is None or not suspicious or now_s - self._shared_checked_s < SHARED_CHECK_S:
            return []
        holders: Told = ", ".join(access.other_holders(self._open_now))
        if not holders and self._vanished >= VANISHED:
            holders = tell("link.shared_unseen")
        self._shared_checked_s, self._suspicious, self._vanished = now_s, False, 0
        if not holders or now_s - self._shared_told_s < SHARED_REPEAT_S:
            return []
        self._shared_told_s = now_s
        log.warning("port %s is read by %s too", self._open_now, holders)
        return [LinkEvent(LinkKind.PORT_SHARED, tell("link.shared", port=self._open_now, holders=holders))]
