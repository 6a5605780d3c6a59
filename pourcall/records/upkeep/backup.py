"""Everything in one archive, and back into an empty place. A plain copy of a live database can be empty.

In the archive (ZIP): manifest.json, database.sqlite, settings.toml, alloys/, profiles/, photos/, aside/ (what came with
archives of other shops). Every file has its SHA-256 in the manifest; the database is copied through SQLite's backup API
and its rows are counted again. Not here: taking an archive into a record that is there already (merge.py).
"""

import contextlib
import hashlib
import os
import shutil
import sqlite3
import tempfile
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path, PurePosixPath

import msgspec

from pourcall.contract.errors import BadInput, StoreError
from pourcall.contract.message import tell
from pourcall.contract.output_file import output_file
from pourcall.contract.paths import Paths
from pourcall.contract.version import VERSION
from pourcall.records.read.store import Store
from pourcall.records.upkeep.migrate import refuse_foreign, shipped_steps

FORMAT = 1
_COUNTED = ("journal", "events", "melts", "pours", "dips", "alarms", "results", "notes", "photos", "sessions")
_STAMP = (1980, 1, 1, 0, 0, 0)  # the archive's own clock says nothing; the manifest does


class Manifest(msgspec.Struct, frozen=True, kw_only=True):
    """What an archive holds. `files`: name -> SHA-256; `rows`: table -> count."""

    format: int
    program: str
    made_utc_s: float
    rows: dict[str, int]
    files: dict[str, str]


class Noted(msgspec.Struct, frozen=True, kw_only=True):
    """The last backup that was made here, noted beside the record so that it can be said how old it is."""

    file: str
    made_utc_s: float
    rows: dict[str, int]


def last_backup(paths: Paths) -> Noted | None:
    """None: none was made here yet, or it is not known any more."""
    try:
        return msgspec.json.decode(_note_path(paths).read_bytes(), type=Noted)
    except (OSError, msgspec.DecodeError):
        return None


def covers(last: Noted, store: Store) -> bool:
    """Whether that archive is there, whole, and holds every row of the record as it stands."""
    archive = Path(last.file)
    try:
        if not archive.exists() or verify(archive).rows != last.rows:
            return False
    except BadInput:
        return False
    with store.reading() as conn:
        return all(last.rows.get(table, -1) == count for table, count in _counts(conn).items())


def _note_path(paths: Paths) -> Path:
    return paths.data / "last-backup.json"


def _note(paths: Paths, noted: Noted) -> None:
    """Worth no failure: a backup that is whole stays one where this cannot be written."""
    with contextlib.suppress(OSError):
        _note_path(paths).write_bytes(msgspec.json.format(msgspec.json.encode(noted)))


def free_bytes(folder: Path) -> int:
    """Free space where a folder is or would be."""
    while not folder.exists():
        folder = folder.parent
    return shutil.disk_usage(folder).free


def back_up(
    store: Store, paths: Paths, archive: Path, *, utc_s: float, free: Callable[[Path], int] = free_bytes
) -> Manifest:
    """Write one archive of everything; it takes its name only when it is whole and checked.

    Raises StoreError, and BadInput for a name that stands for a device or a pipe.
    """
    archive = output_file(archive)
    with tempfile.TemporaryDirectory(prefix=".pourcall-", dir=_made(archive.parent)) as work:
        members = list(_members(paths))
        need = 2 * store.path.stat().st_size + sum(path.stat().st_size for _, path in members)
        check_space(archive.parent, need, free)
        copy = Path(work) / "database.sqlite"
        rows = _copy_database(store, copy)
        members.insert(0, ("database.sqlite", copy))
        manifest = Manifest(
            format=FORMAT,
            program=VERSION,
            made_utc_s=utc_s,
            rows=rows,
            files={name: sha256_of(path) for name, path in members},
        )
        partial = archive.with_name(f".{archive.name}.{os.getpid()}.part")
        try:
            with zipfile.ZipFile(partial, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as zipped:
                info = zipfile.ZipInfo("manifest.json", _STAMP)
                zipped.writestr(info, msgspec.json.format(msgspec.json.encode(manifest)))
                for name, path in members:
                    info = zipfile.ZipInfo(name, _STAMP)
                    info.compress_type = zipfile.ZIP_DEFLATED
                    info.file_size = path.stat().st_size
                    with path.open("rb") as source, zipped.open(info, "w") as target:
                        shutil.copyfileobj(source, target, 2**20)
            verify(partial)
            with partial.open("rb") as file:
                os.fsync(file.fileno())
            partial.replace(archive)
            _note(paths, Noted(file=str(archive.resolve()), made_utc_s=utc_s, rows=rows))
        except OSError as err:
            partial.unlink(missing_ok=True)
            raise _failed(archive, str(err)) from err
        except BaseException:
            partial.unlink(missing_ok=True)
            raise
    return manifest


def verify(archive: Path) -> Manifest:
    """Read every byte of an archive and compare it with its manifest. Raises BadInput."""
    try:
        with zipfile.ZipFile(archive) as zipped:
            manifest = msgspec.json.decode(zipped.read("manifest.json"), type=Manifest)
            if manifest.format > FORMAT:
                raise BadInput(tell("archive.newer"), where=str(archive), remedy=tell("archive.newer.remedy"))
            names = set(zipped.namelist()) - {"manifest.json"}
            if names != set(manifest.files):
                raise BadInput(tell("archive.files"), where=str(archive), remedy=tell("archive.another"))
            for name, digest in manifest.files.items():
                if not _is_safe(name):
                    raise BadInput(
                        tell("archive.unsafe", file=name), where=str(archive), remedy=tell("archive.unsafe.remedy")
                    )
                with zipped.open(name) as member:
                    if hashlib.file_digest(member, "sha256").hexdigest() != digest:  # type: ignore[arg-type]
                        raise BadInput(
                            tell("archive.damaged", file=name), where=str(archive), remedy=tell("archive.another")
                        )
    except (zipfile.BadZipFile, KeyError, msgspec.DecodeError, OSError, EOFError) as err:
        raise BadInput(
            tell("archive.broken", error=str(err)), where=str(archive), remedy=tell("archive.another")
        ) from err
    return manifest


def restore(archive: Path, paths: Paths, *, free: Callable[[Path], int] = free_bytes) -> Manifest:
    """Put an archive into an empty place. Raises BadInput for a bad archive, StoreError where records exist already."""
    manifest = verify(archive)
    for there in (paths.database, paths.settings):
        if there.exists():
            raise StoreError(tell("archive.records_here"), where=str(there), remedy=tell("archive.records_here.remedy"))
    for folder in _folders(paths).values():
        if folder.is_dir() and any(folder.iterdir()):
            raise StoreError(tell("archive.not_empty"), where=str(folder), remedy=tell("archive.not_empty.remedy"))
    with zipfile.ZipFile(archive) as zipped:
        check_space(paths.data, sum(info.file_size for info in zipped.infolist()), free)
        try:
            for name in manifest.files:
                target = place_of(paths, name)
                _made(target.parent)
                with zipped.open(name) as source, target.open("xb") as file:
                    shutil.copyfileobj(source, file, 2**20)
                    file.flush()
                    os.fsync(file.fileno())
        except OSError as err:
            raise _failed(paths.data, str(err)) from err
    refuse_foreign(paths.database, shipped_steps()[-1].version)
    return manifest


def _copy_database(store: Store, copy: Path) -> dict[str, int]:
    """Copy through the backup API and count; the copy is opened anew, so that what is counted is what is on disk."""
    try:
        target = sqlite3.connect(copy)
        try:
            with store.reading() as conn:
                here = _counts(conn)
                conn.backup(target)
            target.execute("PRAGMA journal_mode = DELETE")
        finally:
            target.close()
        check = sqlite3.connect(copy)
        try:
            there = _counts(check)
            sound = check.execute("PRAGMA quick_check(1)").fetchone()[0]
        finally:
            check.close()
    except sqlite3.Error as err:
        raise _failed(copy, str(err)) from err
    if there != here or sound != "ok":
        raise _failed(copy, f"the copy differs from the original: {there} for {here}, {sound}")
    return there


def _counts(conn: sqlite3.Connection) -> dict[str, int]:
    return {table: conn.execute(f"SELECT count(*) FROM {table}").fetchone()[0] for table in _COUNTED}


def _members(paths: Paths) -> Iterator[tuple[str, Path]]:
    if paths.settings.is_file():
        yield "settings.toml", paths.settings
    for name, folder in _folders(paths).items():
        if folder.is_dir():
            for path in sorted(folder.rglob("*")):
                if path.is_file() and not path.name.endswith(".part"):
                    yield f"{name}/{path.relative_to(folder).as_posix()}", path


def place_of(paths: Paths, name: str) -> Path:
    """Where a file of an archive belongs in an installation."""
    if name == "database.sqlite":
        return paths.database
    if name == "settings.toml":
        return paths.settings
    folder, _, rest = name.partition("/")
    return _folders(paths)[folder] / rest


def aside_folder(paths: Paths) -> Path:
    """Where settings, sheets and profiles of other installations are kept beside our own."""
    return paths.data / "aside"


def _folders(paths: Paths) -> dict[str, Path]:
    return {
        "alloys": paths.alloys,
        "profiles": paths.profiles,
        "photos": paths.photos,
        "aside": aside_folder(paths),
    }


def _is_safe(name: str) -> bool:
    path = PurePosixPath(name)
    if name in ("database.sqlite", "settings.toml"):
        return True
    inside = not path.is_absolute() and ".." not in path.parts and "\\" not in name and ":" not in name
    return inside and len(path.parts) > 1 and path.parts[0] in ("alloys", "profiles", "photos", "aside")


def check_space(folder: Path, need: int, free: Callable[[Path], int]) -> None:
    """Raises StoreError where a folder has less space than is needed."""
    have = free(folder)
    if have < need:
        raise StoreError(
            tell("archive.no_space", need_mb=round(need / 1e6), free_mb=round(have / 1e6)),
            where=str(folder),
            remedy=tell("archive.no_space.remedy"),
        )


def _made(folder: Path) -> Path:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as err:
        raise _failed(folder, str(err)) from err
    return folder


def sha256_of(path: Path) -> str:
    """Of a file, read in pieces, in hexadecimal."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _failed(where: Path, why: str) -> StoreError:
    return StoreError(
        tell("archive.not_written", error=why), where=str(where), remedy=tell("archive.not_written.remedy")
    )
