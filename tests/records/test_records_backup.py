"""One archive of everything, and back. A plain copy of a live database is worth nothing (fault D12)."""

import os
import shutil
import sqlite3
import zipfile
from pathlib import Path
from typing import Any

import pytest

from pourcall.contract.errors import BadInput, StoreError
from pourcall.contract.paths import Paths, paths_for
from pourcall.records.read.store import Store
from pourcall.records.upkeep.backup import back_up, restore, verify
from pourcall.records.write.recorder import Recorder
from tests.told import refused

UTC_S = 1_780_000_000.0
Maker = Any


@pytest.fixture
def home(tmp_path: Path) -> Paths:
    paths = paths_for({"POURCALL_HOME": str(tmp_path / "home")}, "linux", tmp_path)
    for folder in (paths.alloys, paths.profiles, paths.photos):
        folder.mkdir(parents=True)
    paths.settings.write_text("[shop]\nname = 'boat club'\n")
    (paths.alloys / "za27.toml").write_text("liquidus_c = 484\n")
    (paths.photos / "ab.jpg").write_bytes(bytes(range(256)) * 40)
    return paths


@pytest.fixture
def live(home: Paths, clock: Any, told: Any, make: Maker) -> Any:
    """A recorder in the midst of its work: a hundred notes in the log, none in the file yet."""
    recorder = Recorder(home.database, on_state=told, clock=clock)
    recorder.start(utc_s=UTC_S)
    recorder.begin_session("crucible", "", b"{}", 100.0, UTC_S)
    recorder.wait(1).result(5)
    for n in range(100):
        ticket = recorder.put("crucible", *make.note(101.0 + n))
    recorder.wait(ticket).result(5)
    yield recorder
    recorder.stop()


def other_place(tmp_path: Path) -> Paths:
    return paths_for({"POURCALL_HOME": str(tmp_path / "elsewhere")}, "linux", tmp_path)


def test_our_backup_of_a_live_database_has_every_row_where_a_plain_copy_has_none(
    home: Paths, live: Any, tmp_path: Path
) -> None:
    plain = tmp_path / "plain.sqlite"
    shutil.copy(home.database, plain)
    conn = sqlite3.connect(plain)
    try:  # looks healthy, and is empty or has no tables at all
        assert conn.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert conn.execute("SELECT count(*) FROM sqlite_master WHERE name = 'journal'").fetchone() in ((0,), (1,))
        if conn.execute("SELECT count(*) FROM sqlite_master WHERE name = 'journal'").fetchone() == (1,):
            assert conn.execute("SELECT count(*) FROM journal").fetchone() == (0,)
    finally:
        conn.close()
    with Store.read(home.database) as store:
        manifest = back_up(store, home, tmp_path / "all.zip", utc_s=UTC_S)
    assert manifest.rows["journal"] == 100
    back = other_place(tmp_path)
    assert restore(tmp_path / "all.zip", back) == manifest
    with Store.open(back.database, utc_s=UTC_S) as store, store.reading() as conn:
        assert conn.execute("SELECT count(*) FROM journal").fetchone() == (100,)
    for mine, theirs in (
        (home.settings, back.settings),
        (home.alloys / "za27.toml", back.alloys / "za27.toml"),
        (home.photos / "ab.jpg", back.photos / "ab.jpg"),
    ):
        assert mine.read_bytes() == theirs.read_bytes()


def test_a_restore_never_goes_over_what_is_there(home: Paths, live: Any, tmp_path: Path) -> None:
    with Store.read(home.database) as store:
        back_up(store, home, tmp_path / "all.zip", utc_s=UTC_S)
    before = home.settings.read_bytes()
    with refused(StoreError, "archive.records_here"):
        restore(tmp_path / "all.zip", home)
    assert home.settings.read_bytes() == before
    full = other_place(tmp_path)
    full.photos.mkdir(parents=True)
    (full.photos / "x").write_text("mine")
    with refused(StoreError, "archive.not_empty"):
        restore(tmp_path / "all.zip", full)


def test_too_little_space_is_said_before_anything_is_written(home: Paths, live: Any, tmp_path: Path) -> None:
    with Store.read(home.database) as store:
        with refused(StoreError, "archive.no_space"):
            back_up(store, home, tmp_path / "out" / "all.zip", utc_s=UTC_S, free=lambda _: 1000)
        assert not list((tmp_path / "out").iterdir())
        back_up(store, home, tmp_path / "all.zip", utc_s=UTC_S)
    with refused(StoreError, "archive.no_space"):
        restore(tmp_path / "all.zip", other_place(tmp_path), free=lambda _: 1000)
    assert not other_place(tmp_path).database.exists()


def test_a_damaged_or_hostile_archive_is_refused_before_anything_is_written(
    home: Paths, live: Any, tmp_path: Path
) -> None:
    good = tmp_path / "all.zip"
    with Store.read(home.database) as store:
        back_up(store, home, good, utc_s=UTC_S)
    body = good.read_bytes()
    refused = 0
    for cut in range(0, len(body), max(1, len(body) // 25)):
        (tmp_path / "cut.zip").write_bytes(body[:cut])
        with pytest.raises(BadInput):
            verify(tmp_path / "cut.zip")
        refused += 1
    assert refused > 20
    for name in ("../outside.toml", "alloys/../../outside.toml", "/etc/outside.toml", "alloys\\..\\outside.toml"):
        with zipfile.ZipFile(good) as old, zipfile.ZipFile(tmp_path / "bad.zip", "w") as bad:
            manifest = old.read("manifest.json").replace(b'"settings.toml"', f'"{name}"'.replace("\\", "\\\\").encode())
            bad.writestr("manifest.json", manifest)
            for info in old.infolist():
                if info.filename != "manifest.json":
                    bad.writestr(name if info.filename == "settings.toml" else info.filename, old.read(info))
        with pytest.raises(BadInput):
            restore(tmp_path / "bad.zip", other_place(tmp_path))
    assert not other_place(tmp_path).data.exists()


def test_the_same_records_make_the_same_archive(home: Paths, live: Any, tmp_path: Path) -> None:
    live.stop()
    made = []
    for name in ("one.zip", "two.zip"):
        with Store.read(home.database) as store:
            back_up(store, home, tmp_path / name, utc_s=UTC_S)
        made.append((tmp_path / name).read_bytes())
    assert made[0] == made[1]


def test_an_archive_never_takes_the_place_of_a_device_or_a_pipe(home: Paths, live: Any, tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    with Store(home.database) as store, refused(BadInput, "error.no_plain_file"):
        back_up(store, home, pipe, utc_s=0.0)
    assert pipe.is_fifo()
