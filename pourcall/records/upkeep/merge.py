"""The archive of another installation into a record that is there already. Nothing here is overwritten.

What comes in stands under a mark: melt `2026-014@hill`, furnace `crucible@hill`, mould setup `cleat_v1@hill`. So no
number is given twice, no furnace or mould of theirs is taken for ours, and a search finds the old number.
A session that is here in full (the same start of the same daemon) is here already: the same archive again adds nothing,
a later one only what is new. Settings, sheets and profiles are put aside, photos go by their hash.
In: an archive. Out: `Merged`. Row by row: merge_rows.py; the bulk of the journal: merge_journal.py.
"""

import os
import re
import shutil
import sqlite3
import tempfile
import tomllib
import zipfile
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import quote

import msgspec

from pourcall.contract.errors import BadInput, PourcallError, StoreError
from pourcall.contract.message import tell
from pourcall.contract.paths import Paths
from pourcall.records.upkeep.backup import Manifest, aside_folder, check_space, free_bytes, place_of, sha256_of, verify
from pourcall.records.upkeep.merge_journal import Journal
from pourcall.records.upkeep.merge_rows import Rows
from pourcall.records.upkeep.migrate import refuse_foreign, shipped_steps
from pourcall.records.upkeep.opening import FindingKind, open_database
from pourcall.records.write.rollup import roll_up

_MARK = re.compile(r"[a-z][a-z0-9]{0,15}")
DATABASE, SETTINGS = "database.sqlite", "settings.toml"


class Merged(msgspec.Struct, frozen=True, kw_only=True):
    """What came in, or would. melts: (their number, ours); rows: table -> count; aside: files beside our own."""

    mark: str
    melts: tuple[tuple[str, str], ...]
    rows: dict[str, int]
    photos: int
    aside: tuple[str, ...]

    @property
    def nothing(self) -> bool:
        """All of it was here already."""
        return not (self.rows or self.photos or self.aside)


def merge(
    archive: Path,
    paths: Paths,
    *,
    mark: str = "",
    who: str,
    utc_s: float,
    dry_run: bool = False,
    free: Callable[[Path], int] = free_bytes,
) -> Merged:
    """Take an archive in: all of its rows or none. No daemon may write meanwhile.

    mark: '' takes the one this shop came in under before, else the name in its settings. Raises BadInput for a bad
    archive or mark (nothing is touched), StoreError for too little space, a disk that fails, nothing to merge into.
    """
    manifest = verify(archive)
    if DATABASE not in manifest.files:
        raise BadInput(tell("archive.no_record"), where=str(archive), remedy=tell("archive.no_record.remedy"))
    if not paths.database.exists():
        raise StoreError(
            tell("archive.nothing_here"), where=str(paths.database), remedy=tell("archive.nothing_here.remedy")
        )
    with zipfile.ZipFile(archive) as zipped:
        mark = checked_mark(mark) if mark else ""
        check_space(paths.data, 3 * sum(info.file_size for info in zipped.infolist()), free)
        with tempfile.TemporaryDirectory(prefix=".pourcall-", dir=paths.data) as work:
            theirs = Path(work) / DATABASE
            try:
                with zipped.open(DATABASE) as source, theirs.open("xb") as file:
                    shutil.copyfileobj(source, file, 2**20)
                _bring_up(theirs, archive, utc_s)
                mark = checked_mark(_known_mark(theirs, paths.database, mark) or _shop_of(zipped, manifest))
                hashed = sha256_of(archive)
            except (sqlite3.Error, OSError) as err:
                raise _failed(paths.data, err) from err
            entry = (utc_s, who, mark, archive.name, hashed, manifest.made_utc_s, manifest.program)
            try:
                with _taken_in(theirs, paths, entry, dry_run=dry_run) as (melts, rows):
                    photos, aside = _files(zipped, manifest, paths, mark, dry_run=dry_run)
            except (sqlite3.Error, OSError) as err:
                raise _failed(paths.database, err) from err
    return Merged(mark=mark, melts=melts, rows=rows, photos=photos, aside=aside)


def checked_mark(mark: str) -> str:
    """Raises BadInput for what cannot stand behind a number."""
    if not _MARK.fullmatch(mark):
        raise BadInput(
            tell("archive.mark", mark=mark) if mark else tell("archive.no_shop"), remedy=tell("archive.mark.remedy")
        )
    return mark


def _shop_of(zipped: zipfile.ZipFile, manifest: Manifest) -> str:
    """The name of the shop as a mark; empty where it has none."""
    if SETTINGS not in manifest.files:
        return ""
    try:
        told: Any = tomllib.loads(zipped.read(SETTINGS).decode("utf-8"))
        name = str(told.get("shop", {}).get("name", ""))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, AttributeError):
        return ""
    return re.sub(r"[^a-z0-9]", "", name.lower()).lstrip("0123456789")[:16]


def _known_mark(theirs: Path, ours: Path, asked: str) -> str:
    """The mark under which this shop came in before, else the one asked for. Raises BadInput where they differ."""
    with closing(sqlite3.connect(f"file:{quote(str(ours.resolve()))}?mode=ro", uri=True)) as conn:
        conn.execute("ATTACH ? AS theirs", (f"file:{quote(str(theirs.resolve()))}?mode=ro",))
        rows = conn.execute(
            "SELECT DISTINCT substr(f.name, length(g.name) + 2) FROM theirs.sessions t"
            " JOIN theirs.furnaces g ON g.id = t.furnace_id"
            " JOIN main.sessions s ON s.began_utc_s = t.began_utc_s AND s.began_mono_s = t.began_mono_s"
            " JOIN main.furnaces f ON f.id = s.furnace_id AND f.name GLOB g.name || '@*'"
        ).fetchall()
    known = {mark for (mark,) in rows if "@" not in mark}
    if known and asked and asked not in known:
        before = ", ".join(sorted(known))
        raise BadInput(tell("archive.known_as", marks=before), remedy=tell("archive.known_as.remedy", mark=min(known)))
    return asked or min(known, default="")


def _bring_up(theirs: Path, archive: Path, utc_s: float) -> None:
    """Their record, unpacked, to our schema, all of it rolled up. Raises BadInput where it is no sound record."""
    try:
        header = refuse_foreign(theirs, shipped_steps()[-1].version)
        if header is None or not header.is_sqlite:
            raise BadInput(tell("archive.record_damaged"), where=str(archive), remedy=tell("archive.another"))
        conn, findings = open_database(theirs, utc_s=utc_s)
        with closing(conn):
            if any(finding.kind is FindingKind.DAMAGED for finding in findings):
                raise BadInput(tell("archive.record_damaged"), where=str(archive), remedy=tell("archive.another"))
            conn.execute("BEGIN IMMEDIATE")
            roll_up(conn, int(conn.execute("SELECT coalesce(max(id), 0) FROM journal").fetchone()[0]))
            conn.execute("COMMIT")
    except PourcallError as err:
        raise BadInput(err.what, where=str(archive), remedy=tell("error.nothing_changed", remedy=err.remedy)) from err


@contextmanager
def _taken_in(
    theirs: Path, paths: Paths, entry: tuple[object, ...], *, dry_run: bool
) -> Iterator[tuple[tuple[tuple[str, str], ...], dict[str, int]]]:
    """Their rows in one transaction of ours, which stands once the caller has placed the files: a row of a photo never
    stands without it. Gives (their number, ours) and rows by table. entry: what the row of the merge itself says.
    """
    conn, findings = open_database(paths.database, utc_s=float(str(entry[0])))
    with closing(conn):
        if any(finding.kind is FindingKind.DAMAGED for finding in findings):
            raise StoreError(tell("record.set_aside"), where=str(paths.data), remedy=tell("record.set_aside.remedy"))
        conn.execute("ATTACH ? AS theirs", (str(theirs),))
        conn.execute("BEGIN IMMEDIATE")
        try:
            roll_up(conn, int(conn.execute("SELECT coalesce(max(id), 0) FROM journal").fetchone()[0]))
            journal = Journal(conn, str(entry[2]))
            journal.sessions()
            journal.bulk()
            rows = Rows(conn, journal)
            rows.melts()
            rows.alarms()
            rows.all_others()
            counts = {table: n for table, n in (journal.counts | rows.counts).items() if n}
            if counts:
                merge_id = conn.execute(
                    "INSERT INTO merges (at_utc_s, who, mark, archive, archive_hash, made_utc_s, program, melts, rows)"
                    " VALUES (?,?,?,?,?,?,?,?,?)",
                    (*entry, len(rows.new_melts), counts.get("journal", 0)),
                ).lastrowid
                conn.executemany(
                    "INSERT INTO merged_melts VALUES (?, ?, ?)",
                    [(melt_id, merge_id, number) for melt_id, number, _ in rows.new_melts],
                )
            yield tuple((number, ours) for _, number, ours in rows.new_melts), counts
            conn.execute("ROLLBACK" if dry_run or not counts else "COMMIT")
        finally:
            if conn.in_transaction:
                conn.execute("ROLLBACK")
        if not dry_run:
            conn.execute("PRAGMA wal_checkpoint(TRUNCATE)")


def _files(
    zipped: zipfile.ZipFile, manifest: Manifest, paths: Paths, mark: str, *, dry_run: bool
) -> tuple[int, tuple[str, ...]]:
    """Photos to ours, all else aside; how many photos, and which files aside. What is there already stays as it is."""
    photos, aside = 0, []
    for name, digest in manifest.files.items():
        own = place_of(paths, name) if name != DATABASE else paths.database
        if name == DATABASE or (own.exists() and sha256_of(own) == digest):
            continue
        if name.startswith("photos/") and not own.exists():
            photos += 1
            if not dry_run:
                _unpack(zipped, name, own)
            continue
        kept = _place_aside(aside_folder(paths) / mark / name, digest)
        if kept is not None:
            aside.append(str(kept.relative_to(paths.data)))
            if not dry_run:
                _unpack(zipped, name, kept)
    return photos, tuple(aside)


def _place_aside(target: Path, digest: str) -> Path | None:
    """Where a file goes: its name, or with a number where another one has it; None where it lies there already."""
    number, place = 1, target
    while place.exists():
        if sha256_of(place) == digest:
            return None
        number += 1
        place = target.with_name(f"{target.stem}-{number}{target.suffix}")
    return place


def _unpack(zipped: zipfile.ZipFile, name: str, target: Path) -> None:
    """A file takes its name only when it is whole."""
    target.parent.mkdir(parents=True, exist_ok=True)
    partial = target.with_name(target.name + ".part")
    try:
        with zipped.open(name) as source, partial.open("wb") as file:
            shutil.copyfileobj(source, file, 2**20)
            file.flush()
            os.fsync(file.fileno())
        partial.replace(target)
    except BaseException:
        partial.unlink(missing_ok=True)
        raise


def _failed(where: Path, why: Exception) -> StoreError:
    return StoreError(
        tell("archive.not_taken_in", error=str(why)), where=str(where), remedy=tell("archive.not_taken_in.remedy")
    )
