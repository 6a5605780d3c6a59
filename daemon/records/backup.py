"""Room: everything in one archive, and back into an empty place. A plain copy of a live database can be empty.

In the archive (ZIP): manifest.json, database.sqlite, settings.toml, alloys/, profiles/, photos/. Every file has its
SHA-256 in the manifest; the database is copied through SQLite's backup API and its rows are counted again.
"""

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
from pourcall.contract.paths import Paths
from pourcall.contract.version import VERSION
from pourcall.daemon.records.migrate import refuse_foreign, shipped_steps
from pourcall.daemon.records.store import Store

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


def free_bytes(folder: Path) -> int:
    """Free space where a folder is or would be."""
    while not folder.exists():
        folder = folder.parent
    return shutil.disk_usage(folder).free


def back_up(
    store: Store, paths: Paths, archive: Path, *, utc_s: float, free: Callable[[Path], int] = free_bytes
) -> Manifest:
    """Write one archive of everything; it takes its name only when it is whole and checked. Raises StoreError."""
    with tempfile.TemporaryDirectory(prefix=".pourcall-", dir=_made(archive.parent)) as work:
        members = list(_members(paths))
        need = 2 * store.path.stat().st_size + sum(path.stat().st_size for _, path in members)
        _check_space(archive.parent, need, free)
        copy = Path(work) / "database.sqlite"
        rows = _copy_database(store, copy)
        members.insert(0, ("database.sqlite", copy))
        manifest = Manifest(
            format=FORMAT,
            program=VERSION,
            made_utc_s=utc_s,
            rows=rows,
            files={name: _sha256(path) for name, path in members},
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
                raise BadInput("made by a newer pourcall", where=str(archive), remedy="Install that version again")
            names = set(zipped.namelist()) - {"manifest.json"}
            if names != set(manifest.files):
                raise BadInput("files are missing or too many", where=str(archive), remedy="Use another archive")
            for name, digest in manifest.files.items():
                if not _is_safe(name):
                    raise BadInput(f"{name!r} would leave its folder", where=str(archive), remedy="Do not use it")
                with zipped.open(name) as member:
                    if hashlib.file_digest(member, "sha256").hexdigest() != digest:  # type: ignore[arg-type]
                        raise BadInput(f"{name} is damaged", where=str(archive), remedy="Use another archive")
    except (zipfile.BadZipFile, KeyError, msgspec.DecodeError, OSError, EOFError) as err:
        raise BadInput(f"no whole archive: {err}", where=str(archive), remedy="Use another archive") from err
    return manifest


def restore(archive: Path, paths: Paths, *, free: Callable[[Path], int] = free_bytes) -> Manifest:
    """Put an archive into an empty place. Raises BadInput for a bad archive, StoreError where records exist already."""
    manifest = verify(archive)
    for there in (paths.database, paths.settings):
        if there.exists():
            raise StoreError(
                "there are records or settings here already", where=str(there), remedy="Name an empty folder"
            )
    for folder in (paths.alloys, paths.profiles, paths.photos):
        if folder.is_dir() and any(folder.iterdir()):
            raise StoreError("this folder is not empty", where=str(folder), remedy="Name an empty place")
    with zipfile.ZipFile(archive) as zipped:
        _check_space(paths.data, sum(info.file_size for info in zipped.infolist()), free)
        try:
            for name in manifest.files:
                target = _target(paths, name)
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
    for name, folder in (("alloys", paths.alloys), ("profiles", paths.profiles), ("photos", paths.photos)):
        if folder.is_dir():
            for path in sorted(folder.rglob("*")):
                if path.is_file() and not path.name.endswith(".part"):
                    yield f"{name}/{path.relative_to(folder).as_posix()}", path


def _target(paths: Paths, name: str) -> Path:
    if name == "database.sqlite":
        return paths.database
    if name == "settings.toml":
        return paths.settings
    folder, _, rest = name.partition("/")
    return {"alloys": paths.alloys, "profiles": paths.profiles, "photos": paths.photos}[folder] / rest


def _is_safe(name: str) -> bool:
    path = PurePosixPath(name)
    if name in ("database.sqlite", "settings.toml"):
        return True
    inside = not path.is_absolute() and ".." not in path.parts and "\\" not in name and ":" not in name
    return inside and len(path.parts) > 1 and path.parts[0] in ("alloys", "profiles", "photos")


def _check_space(folder: Path, need: int, free: Callable[[Path], int]) -> None:
    have = free(folder)
    if have < need:
        raise StoreError(
            f"{need / 1e6:.0f} MB are needed, {have / 1e6:.0f} MB are free",
            where=str(folder),
            remedy="Free some space or choose another place; nothing was written",
        )


def _made(folder: Path) -> Path:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as err:
        raise _failed(folder, str(err)) from err
    return folder


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _failed(where: Path, why: str) -> StoreError:
    return StoreError(
        f"the archive could not be written: {why}", where=str(where), remedy="Choose another place; nothing was changed"
    )
