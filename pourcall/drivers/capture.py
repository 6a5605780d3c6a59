"""Raw bytes of a port to a file that becomes a fixture, and back through a decoder.

FILE holds the bytes as they came and nothing else. FILE.json beside it holds what the bytes do not say: port, speed,
when it began (UTC), and when each piece came, as `[seconds since the start, bytes]`. It is written at the start, so
that a capture that was cut off is still a capture, and again at the end with the times.
"""

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Any

from pourcall.contract.errors import BadTrace, LinkError
from pourcall.contract.frames import Frame
from pourcall.contract.message import tell
from pourcall.drivers import access
from pourcall.drivers.ports import OpenPort
from pourcall.drivers.wire.framing import Decoder

KIND = "pourcall-capture"
VERSION = 1
JOIN_S = 0.005  # pieces nearer than this are one
MAX_PIECES = 1_000_000  # about a day of a busy board; then times are no longer kept, bytes are


def sidecar_of(path: Path) -> Path:
    """`bench.bin` -> `bench.bin.json`."""
    return path.with_name(path.name + ".json")


class CaptureWriter:
    """A capture being written. `add` takes bytes as they come; close it, or use it in a `with`."""

    def __init__(self, path: Path, *, port: str, baud: int, started_utc_s: float, started_mono_s: float) -> None:
        self._path, self._started_mono_s = path, started_mono_s
        self._about: dict[str, Any] = {
            "kind": KIND,
            "version": VERSION,
            "port": port,
            "baud": baud,
            "started_utc": datetime.fromtimestamp(started_utc_s, UTC).isoformat(timespec="milliseconds"),
        }
        self._pieces: list[list[float | int]] = []
        self.size = 0
        self._file = path.open("xb")  # a capture never overwrites another
        self._write_sidecar()

    def add(self, data: bytes, mono_s: float) -> None:
        """Bytes that came at mono_s. Raises OSError when the disk does not take them."""
        if not data:
            return
        self._file.write(data)
        self._file.flush()
        self.size += len(data)
        at_s = round(mono_s - self._started_mono_s, 4)
        if self._pieces and at_s - self._pieces[-1][0] < JOIN_S:
            self._pieces[-1][1] += len(data)
        elif len(self._pieces) < MAX_PIECES:
            self._pieces.append([at_s, len(data)])
        else:
            self._pieces[-1][1] += len(data)

    def close(self) -> None:
        """Write the times and close."""
        if not self._file.closed:
            self._file.close()
            self._write_sidecar()

    def __enter__(self) -> "CaptureWriter":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, err: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _write_sidecar(self) -> None:
        about = json.dumps(self._about, indent=1)[:-2]
        pieces = ",\n  ".join(json.dumps(piece) for piece in self._pieces)
        sidecar_of(self._path).write_text(
            f'{about},\n "bytes": {self.size},\n "pieces": [\n  {pieces}\n ]\n}}\n', encoding="utf-8"
        )


def capture_port(
    port: str,
    path: Path,
    *,
    baud: int,
    mono_s: Callable[[], float],
    utc_s: Callable[[], float],
    keep_on: Callable[[float, int], bool],
    send: bytes = b"",
    open_port: OpenPort = access.open_port,
) -> int:
    """Write what `port` sends to `path` while keep_on(seconds so far, bytes so far) is true; the number of bytes.

    send: written once after opening (`?` makes a board of ours say who it is). Ends early, with what there is, when the
    port is unplugged. Raises LinkError when the port cannot be opened, FileExistsError rather than overwrite.
    """
    try:
        opened = open_port(port, baud)
    except (OSError, ValueError) as err:
        fault = access.why_unavailable(port, err)
        raise LinkError(fault.what, remedy=fault.remedy) from err
    start_s = mono_s()
    try:
        with CaptureWriter(path, port=port, baud=baud, started_utc_s=utc_s(), started_mono_s=start_s) as writer:
            try:
                if send:
                    opened.write(send)
                while keep_on(mono_s() - start_s, writer.size):
                    data = opened.read(1)
                    if data and (waiting := opened.in_waiting):
                        data += opened.read(min(waiting, 65_536))
                    writer.add(data, mono_s())
            except access.PORT_GONE:
                pass
            return writer.size
    finally:
        access.close_port(opened)


@dataclass(frozen=True, slots=True)
class Capture:
    """A capture read back. pieces: (seconds since the start, bytes), in order; their bytes joined are the file."""

    port: str
    baud: int
    started_utc: str
    pieces: tuple[tuple[float, bytes], ...]

    @property
    def data(self) -> bytes:
        """All the bytes."""
        return b"".join(piece for _, piece in self.pieces)


def read_capture(path: Path) -> Capture:
    """A capture, or any file of bytes without a sidecar (then one piece at 0 s). Raises BadTrace, OSError."""
    data = path.read_bytes()
    sidecar = sidecar_of(path)
    if not sidecar.exists():
        return Capture("", 0, "", ((0.0, data),) if data else ())
    try:
        about = json.loads(sidecar.read_text(encoding="utf-8"))
        if about["kind"] != KIND or about["version"] != VERSION:
            raise ValueError(f"kind {about['kind']!r}, version {about['version']!r}")
        sizes = [(float(at_s), int(size)) for at_s, size in about["pieces"]]
        port, baud, started = str(about["port"]), int(about["baud"]), str(about["started_utc"])
    except (ValueError, KeyError, TypeError) as err:
        told = tell("trace.no_sidecar", kind=KIND, version=VERSION, error=str(err))
        raise BadTrace(told, where=str(sidecar), remedy=tell("trace.no_sidecar.remedy")) from err
    pieces, at = [], 0
    for at_s, size in sizes:
        pieces.append((at_s, data[at : at + size]))
        at += size
    if at < len(data):  # cut off before the times were written
        pieces.append((pieces[-1][0] if pieces else 0.0, data[at:]))
    return Capture(port, baud, started, tuple(piece for piece in pieces if piece[1]))


def replay(capture: Capture, decoder: Decoder) -> Iterator[tuple[float, list[Frame]]]:
    """(seconds since the start, frames) for each piece that completes any."""
    for at_s, data in capture.pieces:
        frames = decoder.feed(data)
        if frames:
            yield at_s, frames
