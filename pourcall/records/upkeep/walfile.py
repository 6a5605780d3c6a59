"""The header of a record file and its write-ahead log: which schema version they hold, whether the tail is torn.

Opening a database to write changes files beside it; a file newer than this program must be refused before that.
Source of the layout: SQLite, "Database File Format", sections 1.3 (header) and 4.1 (WAL file format).
"""

import sqlite3
import struct
from pathlib import Path

import msgspec

from pourcall.records.write.sqlite_errors import Connection

_WAL_HEADER = struct.Struct(">8I")
_FRAME_HEADER = struct.Struct(">6I")
_MAGIC = (0x377F0682, 0x377F0683)
_USER_VERSION_AT, _APPLICATION_ID_AT = 60, 68
_SQLITE_HEADER = b"SQLite format 3\x00"


class FileHeader(msgspec.Struct, frozen=True):
    """What the first page says. `is_sqlite` False: the other figures mean nothing."""

    is_sqlite: bool
    user_version: int = 0
    application_id: int = 0


class WalState(msgspec.Struct, frozen=True):
    """What a log holds: committed frames, whether bytes of an unfinished commit follow, the newest first page."""

    commits: int = 0
    torn: bool = False
    header: FileHeader | None = None


def parse_header(page: bytes) -> FileHeader:
    """The first 100 bytes of a database."""
    if len(page) < 100 or not page.startswith(_SQLITE_HEADER):
        return FileHeader(is_sqlite=False)
    (version,) = struct.unpack_from(">i", page, _USER_VERSION_AT)
    (application,) = struct.unpack_from(">i", page, _APPLICATION_ID_AT)
    return FileHeader(is_sqlite=True, user_version=version, application_id=application)


def read_header(database: Path) -> FileHeader | None:
    """The header of a database file as it lies on disk, without its log; None where there is no file or it is empty.

    Read through SQLite, as a file that does not change: nothing is written and no log looked at. Opening and closing
    it ourselves would drop every lock that this process holds on it, and the next program that closes the file would
    then delete the log under us (SQLite, "How To Corrupt An SQLite Database File", section 2.2).
    Raises OSError for a file that cannot be read.
    """
    try:
        if not database.stat().st_size:
            return None
    except FileNotFoundError:
        return None
    conn = None
    try:
        conn = sqlite3.connect(f"{database.resolve().as_uri()}?mode=ro&immutable=1", uri=True, factory=Connection)
        (version,) = conn.execute("PRAGMA user_version").fetchone()
        (application,) = conn.execute("PRAGMA application_id").fetchone()
        return FileHeader(is_sqlite=True, user_version=version, application_id=application)
    except sqlite3.OperationalError as err:
        raise OSError(f"{database}: {err}") from err
    except sqlite3.DatabaseError as err:
        return FileHeader(is_sqlite=err.sqlite_errorcode & 0xFF != sqlite3.SQLITE_NOTADB)
    finally:
        if conn is not None:
            conn.close()


def read_wal(wal: Path) -> WalState:
    """Walk the frames of a log. Frames of an earlier round (other salts) are left-overs and no tear."""
    try:
        with wal.open("rb") as file:
            head = file.read(_WAL_HEADER.size)
            if len(head) < _WAL_HEADER.size:
                return WalState(torn=bool(head))
            magic, _, page_size, _, salt_1, salt_2, _, _ = _WAL_HEADER.unpack(head)
            if magic not in _MAGIC or page_size < 512:
                return WalState(torn=True)
            commits, open_frames, torn = 0, 0, False
            newest: FileHeader | None = None
            waiting: FileHeader | None = None
            while frame := file.read(_FRAME_HEADER.size):
                if len(frame) < _FRAME_HEADER.size:
                    torn = True
                    break
                number, committed_pages, frame_1, frame_2, _, _ = _FRAME_HEADER.unpack(frame)
                if (frame_1, frame_2) != (salt_1, salt_2):
                    break
                if number == 1:
                    body = file.read(page_size)
                    waiting = parse_header(body)
                    short = len(body) < page_size
                else:
                    here = file.tell()
                    short = file.seek(0, 2) < here + page_size
                    file.seek(here + page_size)
                if short:
                    torn = True
                    break
                open_frames += 1
                if committed_pages:
                    commits, open_frames = commits + 1, 0
                    newest, waiting = waiting or newest, None
    except FileNotFoundError:
        return WalState()
    return WalState(commits=commits, torn=torn or open_frames > 0, header=newest)
