"""What a failure of SQLite means. Its codes become the five problems a person is told; none comes as another error.

Source of the codes: SQLite, "Result and Error Codes". A full disk has two names: SQLITE_FULL, and SQLITE_IOERR_WRITE
under a file-size limit (measured).
"""

import errno
import shutil
import sqlite3
from pathlib import Path
from typing import Any

from pourcall.contract.inputs import StoreProblem

_ALMOST_NOTHING_BYTES = 2**20
_READONLY_ERRNO = (errno.EROFS, errno.EACCES, errno.EPERM)


def classify(error: Exception, path: Path) -> StoreProblem:
    """What is behind an error raised while writing to `path`."""
    if isinstance(error, OSError):
        if error.errno in (errno.ENOSPC, errno.EFBIG, errno.EDQUOT):
            return StoreProblem.FULL
        return StoreProblem.READONLY if error.errno in _READONLY_ERRNO else StoreProblem.FAILING
    code = getattr(error, "sqlite_errorcode", 0) or 0
    match code & 0xFF:
        case sqlite3.SQLITE_FULL:
            return StoreProblem.FULL
        case sqlite3.SQLITE_BUSY | sqlite3.SQLITE_LOCKED:
            return StoreProblem.LOCKED
        case sqlite3.SQLITE_READONLY | sqlite3.SQLITE_PERM:
            return StoreProblem.READONLY
        case sqlite3.SQLITE_CANTOPEN:
            return StoreProblem.READONLY if path.exists() else StoreProblem.GONE
        case sqlite3.SQLITE_IOERR if code == sqlite3.SQLITE_IOERR_WRITE and (_no_space(path) or _at_size_limit(path)):
            return StoreProblem.FULL
    return StoreProblem.FAILING


def is_store_trouble(error: Exception) -> bool:
    """Whether the file or the disk is to blame; else the statement or its values are, and a retry is in vain."""
    if isinstance(error, OSError):
        return True
    code = (getattr(error, "sqlite_errorcode", None) or 0) & 0xFF
    if not isinstance(error, sqlite3.Error) or code == 0:
        return False
    return code not in (sqlite3.SQLITE_ERROR, sqlite3.SQLITE_CONSTRAINT, sqlite3.SQLITE_MISMATCH, sqlite3.SQLITE_TOOBIG)


def is_damage(error: Exception) -> bool:
    """Whether the file itself is broken: no retry heals it."""
    code = (getattr(error, "sqlite_errorcode", 0) or 0) & 0xFF
    return code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)


class Connection(sqlite3.Connection):
    """A connection whose every failure is a sqlite3.Error.

    SQLite quotes what it read in its messages; where damage left bytes that are no text, Python raises
    UnicodeDecodeError in place of the error, and nothing that handles a damaged file would see it.
    """

    def execute(self, sql: str, parameters: Any = (), /) -> sqlite3.Cursor:
        """As sqlite3 does it."""
        try:
            return super().execute(sql, parameters)
        except UnicodeDecodeError as err:
            raise damage_of(err) from err

    def executescript(self, sql_script: str, /) -> sqlite3.Cursor:
        """As sqlite3 does it."""
        try:
            return super().executescript(sql_script)
        except UnicodeDecodeError as err:
            raise damage_of(err) from err


def damage_of(err: UnicodeDecodeError) -> sqlite3.DatabaseError:
    """The error that SQLite meant, in words that can be read."""
    meant = sqlite3.DatabaseError(bytes(err.object).decode("utf-8", "replace"))
    meant.sqlite_errorcode = sqlite3.SQLITE_CORRUPT
    return meant


def _no_space(path: Path) -> bool:
    try:
        return shutil.disk_usage(path.parent).free < _ALMOST_NOTHING_BYTES
    except OSError:
        return False


def _at_size_limit(path: Path) -> bool:
    """Whether a limit on file size is set and one of our files has come near it."""
    try:
        import resource  # not on Windows, where there is no such limit
    except ImportError:
        return False
    limit, _ = resource.getrlimit(resource.RLIMIT_FSIZE)
    if limit == resource.RLIM_INFINITY:
        return False
    sizes = [file.stat().st_size for file in (path, path.with_name(path.name + "-wal")) if file.exists()]
    return any(size > limit - 2**16 for size in sizes)
