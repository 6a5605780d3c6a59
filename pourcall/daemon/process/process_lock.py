"""One daemon on one runtime folder. A lock file is taken before anything else is touched (fault P6).

A lock of the operating system, not a file that merely exists: it ends with the process however that dies, so a
crash leaves nothing to clean up, and a second daemon cannot take the socket of a living one.
"""

import os
import sys
from pathlib import Path
from types import TracebackType

from pourcall.contract.errors import DaemonError
from pourcall.contract.message import tell

_WINDOWS_LOCK_BYTE = 1 << 20  # beyond the text, so that others may still read the process id


def private_folder(folder: Path) -> None:
    """Create `folder` as 0700, or check that it is ours and shut to others. Raises DaemonError.

    A folder that others can write to would let them put a socket of their own in the place of ours.
    """
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    if sys.platform == "win32":
        return
    stat = folder.stat()
    if stat.st_uid != os.geteuid():
        raise DaemonError(
            tell("daemon.folder_of_another", user=stat.st_uid),
            where=str(folder),
            remedy=tell("daemon.folder_of_another.remedy"),
        )
    if stat.st_mode & 0o077:
        folder.chmod(0o700)


class SingleLock:
    """Held from the start of the daemon to its end. `with SingleLock(path):`"""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._fd: int | None = None

    def take(self) -> None:
        """Take the lock or raise DaemonError naming the process that has it. The file itself is never removed."""
        private_folder(self.path.parent)
        fd = os.open(self.path, os.O_RDWR | os.O_CREAT | getattr(os, "O_CLOEXEC", 0), 0o600)
        try:
            _lock(fd)
        except OSError as err:
            owner = os.pread(fd, 32, 0).decode("ascii", "replace").strip() if hasattr(os, "pread") else ""
            os.close(fd)
            raise DaemonError(
                tell("daemon.runs_already", process=owner or "unknown"),
                where=str(self.path),
                remedy=tell("daemon.runs_already.remedy"),
            ) from err
        os.ftruncate(fd, 0)
        os.write(fd, f"{os.getpid()}\n".encode())
        self._fd = fd

    def release(self) -> None:
        """Give the lock back; harmless when it is not held."""
        if self._fd is not None:
            os.ftruncate(self._fd, 0)
            os.close(self._fd)
            self._fd = None

    def __enter__(self) -> "SingleLock":
        self.take()
        return self

    def __exit__(self, kind: type[BaseException] | None, err: BaseException | None, tb: TracebackType | None) -> None:
        self.release()


if sys.platform == "win32":
    import msvcrt

    def _lock(fd: int) -> None:
        os.lseek(fd, _WINDOWS_LOCK_BYTE, os.SEEK_SET)
        msvcrt.locking(fd, msvcrt.LK_NBLCK, 1)
        os.lseek(fd, 0, os.SEEK_SET)

else:
    import fcntl

    def _lock(fd: int) -> None:
        fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
