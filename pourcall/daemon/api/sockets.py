"""The sockets the API listens on: a Unix socket only its owner can open; loopback TCP with a token where there is none.

The lock file (daemon/process/process_lock.py) must be held before: binding removes a socket that lies there, and
only the lock says that it is a dead daemon's.
"""

import contextlib
import hmac
import os
import secrets
import socket
import stat
import sys
from pathlib import Path

from pourcall.contract.errors import DaemonError
from pourcall.contract.message import tell

# sizeof(sockaddr_un.sun_path) less the final zero byte: 108 on Linux (unix(7)), 104 on macOS and the BSDs (unix(4)).
LONGEST_PATH = 107 if sys.platform == "linux" else 103


def has_unix_sockets() -> bool:
    """Python offers Unix sockets here."""
    return hasattr(socket, "AF_UNIX") and sys.platform != "win32"


def unix_socket(path: Path) -> socket.socket:
    """A bound Unix socket, mode 0600. Raises DaemonError for a path too long or something else lying there."""
    size = len(os.fsencode(path))
    if size > LONGEST_PATH:
        raise DaemonError(
            tell("daemon.socket.long_path", count=size, most=LONGEST_PATH),
            where=str(path),
            remedy=tell("daemon.socket.long_path.remedy"),
        )
    with contextlib.suppress(FileNotFoundError):
        if not stat.S_ISSOCK(path.lstat().st_mode):
            raise DaemonError(
                tell("daemon.socket.no_socket"), where=str(path), remedy=tell("daemon.socket.no_socket.remedy")
            )
        path.unlink()
    bound = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    before = os.umask(0o177)
    try:
        bound.bind(str(path))
    except OSError as err:
        bound.close()
        raise DaemonError(
            tell("daemon.socket.failed", error=str(err)), where=str(path), remedy=tell("daemon.socket.failed.remedy")
        ) from err
    finally:
        os.umask(before)
    return bound


def tcp_socket(port: int) -> socket.socket:
    """A socket on loopback, never on another interface; port 0 takes a free one. Raises DaemonError."""
    bound = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    if sys.platform != "win32":  # there the option means "share the port with others"
        bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        bound.bind(("127.0.0.1", port))
    except OSError as err:
        bound.close()
        raise DaemonError(
            tell("daemon.socket.port", port=port, error=str(err)),
            where="127.0.0.1",
            remedy=tell("daemon.socket.port.remedy"),
        ) from err
    return bound


def write_token(path: Path, port: int) -> str:
    """A new token for this run in a file only its owner can read: `127.0.0.1:PORT TOKEN`. Returns the token."""
    token = secrets.token_urlsafe(32)
    with contextlib.suppress(FileNotFoundError):
        path.unlink()
    fd = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(fd, "w", encoding="ascii") as file:
        file.write(f"127.0.0.1:{port} {token}\n")
    return token


def is_bearer(header: str, token: str) -> bool:
    """The Authorization header carries the token; compared in constant time."""
    kind, _, given = header.partition(" ")
    return kind.lower() == "bearer" and hmac.compare_digest(given.strip().encode(), token.encode())
