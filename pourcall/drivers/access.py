"""Opening a port, and when it cannot be had, saying why and what to do. Also: who else holds it.

Everything that asks the operating system about a port is here, each part with a harmless answer where the system cannot
tell (Windows, macOS, /proc not mounted).
"""

import contextlib
import errno
import io
import os
import select
import stat
import sys
from collections.abc import Iterator
from enum import StrEnum
from typing import NamedTuple, Protocol

import serial

from pourcall.contract.message import Message, tell

if sys.platform != "win32":
    import fcntl
    import grp
    import pwd
    import termios

_TERMINAL_ERRORS: tuple[type[Exception], ...] = () if sys.platform == "win32" else (termios.error,)
READ_WAIT_S = 0.1  # the longest that a stop, a write or a coalesced event waits where reading cannot be interrupted
WRITE_WAIT_S = 0.25  # a board that takes nothing for so long does not listen

PORT_GONE = (OSError, EOFError)  # what reading or writing raises when the port has gone (SerialException is an OSError)
_NO_PORT = {errno.ENOENT, errno.ENODEV, errno.ENXIO, errno.ENOTDIR}
_BUSY = {errno.EBUSY, errno.EAGAIN, errno.EWOULDBLOCK}
_NO_PERMISSION = {errno.EACCES, errno.EPERM}


class Unavailable(StrEnum):
    """Why a port cannot be had."""

    BUSY = "busy"
    NO_PERMISSION = "no_permission"
    NO_PORT = "no_port"
    OTHER = "other"


class PortFault(NamedTuple):
    """What is wrong with a port, and what to do."""

    kind: Unavailable
    what: Message
    remedy: Message

    @property
    def says(self) -> Message:
        """Both in one."""
        return tell("port.unavailable", what=self.what, remedy=self.remedy)


class Port(Protocol):
    """What we use of an open port; pyserial's objects have it, and tests may bring their own."""

    timeout: float | None

    @property
    def in_waiting(self) -> int: ...
    def fileno(self) -> int: ...
    def read(self, size: int = 1, /) -> bytes: ...
    def write(self, data: bytes, /) -> int | None: ...
    def close(self) -> None: ...


def open_port(name: str, baud: int) -> Port:
    """An open port: a device name or a pyserial URL (`socket://`, `loop://`, `rfc2217://`), 8N1, input emptied.

    Device ports are ours alone: locked against programs that ask, closed to those that do not (TIOCEXCL; the superuser
    gets in all the same). Raises OSError (serial.SerialException) or ValueError; `why_unavailable` tells what it means.
    """
    try:
        opened = serial.serial_for_url(
            name,
            baudrate=baud,
            timeout=READ_WAIT_S,
            write_timeout=WRITE_WAIT_S,
            exclusive=True if is_device(name) else None,
        )
    except _TERMINAL_ERRORS as err:  # what pyserial lets through when the device goes while it is being set up
        raise OSError(*err.args) from err
    if sys.platform != "win32" and is_device(name):
        with contextlib.suppress(OSError):
            fcntl.ioctl(opened.fileno(), termios.TIOCEXCL)
    port: Port = opened
    return port


def close_port(port: Port) -> None:
    """Close whatever the state of the port, and leave no socket behind. Never raises."""
    if sys.platform != "win32":
        with contextlib.suppress(OSError, ValueError):
            fcntl.ioctl(port.fileno(), termios.TIOCNXCL)  # a pseudo-terminal outlives us and would stay shut
    wire = getattr(port, "_socket", None)  # pyserial forgets to close a socket whose other end is gone
    with contextlib.suppress(OSError, ValueError):
        port.close()
    if wire is not None:
        wire.close()


def is_device(name: str) -> bool:
    """A device name, not a URL."""
    return "://" not in name


def file_number(port: Port) -> int | None:
    """The descriptor to wait on, or None where the port is no file of the system (`loop://`, Windows)."""
    if sys.platform == "win32":
        return None
    try:
        return port.fileno()
    except (OSError, ValueError, AttributeError, io.UnsupportedOperation):
        return None


def hung_up(number: int) -> bool:
    """The other end is gone. Asked after an empty read, which a second reader of the port causes too."""
    if sys.platform == "win32" or not hasattr(select, "poll"):
        return True
    poller = select.poll()
    poller.register(number, select.POLLIN)
    gone = select.POLLHUP | select.POLLERR | select.POLLNVAL
    return any(event & gone for _, event in poller.poll(0))


def why_unavailable(name: str, err: BaseException) -> PortFault:
    """What the error of an attempt to open a port means."""
    number = next((each for each in _errnos(err)), None)
    if number in _NO_PERMISSION:
        return PortFault(Unavailable.NO_PERMISSION, tell("port.forbidden", port=name), _permission_remedy(name))
    if number in _BUSY:
        holders = ", ".join(other_holders(name))
        what = tell("port.busy", port=name, holders=holders) if holders else tell("port.busy.unseen", port=name)
        return PortFault(Unavailable.BUSY, what, tell("port.busy.remedy"))
    if number == errno.ECONNREFUSED:
        return PortFault(Unavailable.NO_PORT, tell("port.refused", port=name), tell("port.refused.remedy"))
    if number in _NO_PORT:
        return PortFault(Unavailable.NO_PORT, tell("port.absent", port=name), tell("port.absent.remedy"))
    return PortFault(Unavailable.OTHER, tell("port.failed", port=name, error=str(err)), tell("port.failed.remedy"))


def _errnos(err: BaseException | None) -> Iterator[int]:
    while err is not None:
        if isinstance(err, OSError) and err.errno is not None:
            yield err.errno
        err = err.__cause__ or err.__context__


def _permission_remedy(name: str) -> Message:
    if sys.platform == "win32":
        return tell("port.forbidden.held")
    group, member, joined = _port_group(name)
    if member and not joined:
        return tell("port.forbidden.log_in_again", group=group)
    if joined:
        return tell("port.forbidden.closed_to_group", group=group)
    return tell("port.forbidden.join", group=group, user=_user())


def _port_group(name: str) -> tuple[str, bool, bool]:
    """(the group that may use the port, whether we are listed in it, whether this process has it)."""
    if sys.platform == "win32":
        return "", False, False
    try:
        found = os.stat(name)
    except OSError:
        return _usual_group(), False, False
    usable = found.st_mode & (stat.S_IRGRP | stat.S_IWGRP) == stat.S_IRGRP | stat.S_IWGRP
    try:
        entry = grp.getgrgid(found.st_gid)
    except KeyError:
        return str(found.st_gid), False, False
    if found.st_gid == 0 or not usable:
        # Nobody should join root, and a group without rights is no help: the distribution's own group is meant.
        return _usual_group(), False, False
    return entry.gr_name, _user() in entry.gr_mem, found.st_gid in {*os.getgroups(), os.getegid()}


def _usual_group() -> str:
    """dialout (Debian, Fedora and their kin) or uucp (Arch and its kin)."""
    if sys.platform != "win32":
        for group in ("dialout", "uucp"):
            with contextlib.suppress(KeyError):
                return grp.getgrnam(group).gr_name
    return "dialout"


def _user() -> str:
    if sys.platform == "win32":
        return ""
    try:
        return pwd.getpwuid(os.geteuid()).pw_name
    except KeyError:
        return "$USER"


def other_holders(name: str) -> list[str]:
    """`program (process 1234)` for each other process that has the port open and that we are allowed to see.

    Linux only, from /proc; [] elsewhere. Costs a few ms, so it is asked on suspicion and not all the time.
    """
    if not is_device(name) or not os.path.isdir("/proc/self/fd"):
        return []
    device, own = os.path.realpath(name), str(os.getpid())
    holders = []
    for pid in (entry for entry in os.listdir("/proc") if entry.isdecimal() and entry != own):
        with contextlib.suppress(OSError):
            for number in os.listdir(f"/proc/{pid}/fd"):
                if os.readlink(f"/proc/{pid}/fd/{number}") == device:
                    with open(f"/proc/{pid}/comm", encoding="utf-8", errors="replace") as file:
                        holders.append(f"{file.read().strip()} (process {pid})")
                    break
    return holders
