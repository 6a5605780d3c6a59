"""Which ports there are, by which names, and what is heard on them. Data out; for people in `says`.

A port is named by its device (`/dev/ttyACM0`, `COM3`), by a URL (`socket://host:port`), or by its USB identity, which
stays when the device name changes: `usb:SERIAL`, `usb:VID:PID`, `usb:VID:PID:SERIAL` (VID and PID four hex digits).
"""

from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

from pourcall.contract.errors import LinkError
from pourcall.contract.frames import Identity
from pourcall.contract.message import Message, tell
from pourcall.drivers import access
from pourcall.drivers.wire import guess
from pourcall.drivers.wire.format import UNHEARD, Heard
from pourcall.drivers.wire.framing import Decoder
from pourcall.drivers.wire.registry import FORMATS, identity_marks, queries

BAUDS = (115_200, 9_600, 57_600, 38_400, 19_200)
HEARD_MAX_BYTES = 65_536
ASK_READS = 40
LISTEN_S = 2.5  # boards that restart when their port is opened take up to 2 s to speak (common practice, no source)
ENOUGH_LINES = 3

OpenPort = Callable[[str, int], access.Port]


@dataclass(frozen=True, slots=True)
class PortInfo:
    """A port the system knows. vid and pid are None where it is not USB."""

    device: str
    description: str = ""
    vid: int | None = None
    pid: int | None = None
    serial_number: str = ""

    @property
    def usb_name(self) -> str:
        """The name that survives replugging; "" where there is none."""
        if self.vid is None or self.pid is None:
            return ""
        return f"usb:{self.vid:04x}:{self.pid:04x}" + (f":{self.serial_number}" if self.serial_number else "")


ListPorts = Callable[[], Sequence[PortInfo]]


def list_ports() -> list[PortInfo]:
    """The serial ports of this machine, by device name."""
    from serial.tools import list_ports as system  # slow to import, and not needed for sockets

    return sorted(
        (
            PortInfo(each.device, each.description or "", each.vid, each.pid, each.serial_number or "")
            for each in system.comports()
        ),
        key=lambda info: info.device,
    )


def resolve(name: str, known: Iterable[PortInfo]) -> str:
    """The device or URL behind a name. Raises LinkError for a USB identity that no port has, or several have."""
    if not name.startswith("usb:"):
        return name
    wanted = name.removeprefix("usb:").lower()
    found = [info for info in known if wanted and wanted in _usb_words(info)]
    if len(found) == 1:
        return found[0].device
    if not found:
        raise LinkError(tell("port.usb_absent", port=name), remedy=tell("port.usb_absent.remedy"))
    devices = ", ".join(info.device for info in found)
    raise LinkError(tell("port.usb_twice", port=name, devices=devices), remedy=tell("port.usb_twice.remedy"))


def _usb_words(info: PortInfo) -> set[str]:
    if info.vid is None or info.pid is None:
        return set()
    chip, serial_number = f"{info.vid:04x}:{info.pid:04x}", info.serial_number.lower()
    return {chip, serial_number, f"{chip}:{serial_number}"} if serial_number else {chip}


@dataclass(frozen=True, slots=True)
class PortReport:
    """What a scan found on one port. baud is 0 where nothing was heard; `data` are the bytes, for a fixture."""

    port: PortInfo
    format: str
    says: Message
    baud: int = 0
    heard: Heard = UNHEARD
    data: bytes = b""
    unavailable: access.Unavailable | None = None  # None: the port could be opened


def ask_identity(port: access.Port, decoder: Decoder, wait_s: float) -> Identity | None:
    """Ask a board on an open port who it is, in its own format, and wait for the answer.

    wait_s: of silence, as the port itself counts it. Raises OSError when the port goes away. A board
    that talks of other things is left after 40 reads.
    """
    silent_s = 0.0
    port.write(b"\n" + decoder.query)
    for _ in range(ASK_READS):
        data = port.read(max(1, min(port.in_waiting, 4096)))
        silent_s += 0.0 if data else access.READ_WAIT_S
        if silent_s >= wait_s:
            break
        for frame in decoder.feed(data):
            if isinstance(frame, Identity):
                return frame
    return None


def scan(
    ports: Sequence[PortInfo] | None = None,
    *,
    mono_s: Callable[[], float],
    bauds: Sequence[int] = BAUDS,
    listen_s: float = LISTEN_S,
    open_port: OpenPort = access.open_port,
) -> list[PortReport]:
    """Listen on every port (all at once, the system's own when none are given) and say what each one speaks.

    At each speed the boards that can be asked are asked and up to listen_s are heard; the first speed at which a format
    is recognised ends it. Never raises for a port: one that cannot be opened is reported so.
    """
    found = list(list_ports() if ports is None else ports)
    if not found:
        return []
    with ThreadPoolExecutor(max_workers=min(8, len(found)), thread_name_prefix="scan") as pool:
        return list(pool.map(lambda info: scan_port(info, mono_s, bauds, listen_s, open_port), found))


def scan_port(
    info: PortInfo, mono_s: Callable[[], float], bauds: Sequence[int], listen_s: float, open_port: OpenPort
) -> PortReport:
    """What one port speaks."""
    best: PortReport | None = None
    for baud in bauds:
        try:
            heard = _listen(info.device, baud, listen_s, mono_s, open_port)
        except (OSError, ValueError) as err:
            fault = access.why_unavailable(info.device, err)
            return best or PortReport(info, guess.NOTHING, fault.says, unavailable=fault.kind)
        told = guess.guess_format(heard)
        report = PortReport(info, told.format, told.says, baud if heard else 0, told.heard, heard)
        if told.format in FORMATS:
            return report
        if best is None or _RANK[report.format] > _RANK[best.format]:
            best = report
        if not access.is_device(info.device):
            break  # a socket has no speed of ours
    assert best is not None, "bauds must not be empty"
    if best.format == guess.WRONG_SPEED:
        says = tell("port.other_speed", speeds=", ".join(str(baud) for baud in bauds))
        return PortReport(info, best.format, says, best.baud, data=best.data)
    return best


_RANK = {guess.NOTHING: 0, guess.WRONG_SPEED: 1, guess.UNKNOWN: 2}


def _listen(device: str, baud: int, listen_s: float, mono_s: Callable[[], float], open_port: OpenPort) -> bytes:
    port = open_port(device, baud)
    heard, until_s = bytearray(), mono_s() + listen_s
    try:
        port.write(queries())
        while mono_s() < until_s and len(heard) < HEARD_MAX_BYTES:
            data = port.read(max(1, min(port.in_waiting, 4096)))
            heard += data
            if data and (heard.count(b"\n") > ENOUGH_LINES or any(mark in heard for mark in identity_marks())):
                told = guess.guess_format(bytes(heard))
                if told.heard.identity is not None or (told.format in FORMATS and not FORMATS[told.format].query):
                    break  # one that can be asked may still be about to say who it is
    finally:
        access.close_port(port)
    return bytes(heard)
