"""The archive of another shop into a record that is there. Nothing lost, given twice or overwritten."""

import hashlib
import sqlite3
import zipfile
from pathlib import Path
from typing import Any

import pytest

from pourcall.contract.entries import ChargeEntry, ChargeRequest, MouldSetupRequest
from pourcall.contract.errors import BadInput, StoreError
from pourcall.contract.paths import Paths, paths_for
from pourcall.records.entries import charges, entries, setups
from pourcall.records.read.journal import read_events, read_inputs
from pourcall.records.read.lookup import standing_row
from pourcall.records.read.store import Store
from pourcall.records.upkeep import merge as merging
from pourcall.records.upkeep.backup import back_up, restore
from pourcall.records.upkeep.merge import merge
from pourcall.records.upkeep.migrate import PAGE_BYTES
from pourcall.records.write.recorder import Recorder
from pourcall.reports.tables.export import melt_csv
from tests.told import refused, said

UTC_S = 1_780_000_000.0
JPEG = b"\xff\xd8\xff\xe0" + bytes(range(256)) * 30 + b"\xff\xd9"
Maker = Any


def place(tmp_path: Path, name: str) -> Paths:
    return paths_for({"POURCALL_HOME": str(tmp_path / name)}, "linux", tmp_path)


def quiet(*_: object) -> None:
    return None


def record(paths: Paths, make: Maker, began_s: float, base_c: float, melts: int = 2, first: int = 1) -> None:
    """One start of a daemon with melts of the usual numbers, each with a dip, a pour, and what a person adds."""
    paths.data.mkdir(parents=True, exist_ok=True)
    make.seq, make.base_s = 0, UTC_S + began_s - 100.0
    recorder = Recorder(paths.database, on_state=quiet, clock=lambda: 0.0, retry_s=(0.01,))
    recorder.start(utc_s=UTC_S + began_s)
    recorder.begin_session("crucible", "[shop]\n", b'{"furnace":"crucible"}', 100.0, UTC_S + began_s)
    for n in range(melts):
        number, at_s = f"2026-{first + n:03d}", 100.0 + 500.0 * n
        recorder.put("crucible", *make.start(at_s, make.plan(number)))
        for second in range(1, 300):
            recorder.put("crucible", *make.sample(at_s + second, base_c + second / 4.0, u_c=2.5))
        recorder.put("crucible", *make.dip(at_s + 301.0))
        recorder.put("crucible", *make.pour(at_s + 302.0, number))
        recorder.put("crucible", *make.end(at_s + 310.0, number))
    recorder.call(lambda conn: annotate(conn, paths, f"2026-{first:03d}", UTC_S + began_s)).result(10)
    assert recorder.stop() == 0


def annotate(conn: sqlite3.Connection, paths: Paths, melt: str, utc_s: float) -> None:
    if setups.find_setup(conn, "cleat_v1") is None:
        setups.describe_mould(conn, MouldSetupRequest(name="cleat_v1", add=True, gating="foot"), utc_s)
    returned = ChargeEntry(source="returns", mass_kg=0.5, remelts=2)
    charges.charge(conn, ChargeRequest(melt=melt, entries=(returned,)), utc_s)
    entries.add_result(conn, f"{melt}-1", "misrun", 2, who="Ann", utc_s=utc_s, detail="tip")
    entries.add_result(conn, f"{melt}-1", "misrun", 1, who="Ann", utc_s=utc_s + 5.0)  # corrects the first
    for _ in range(2):  # said twice: both of them stand
        entries.add_note(conn, melt, "lid off too long", who="Ann", utc_s=utc_s)
    entries.add_tag(conn, melt, "series A", utc_s=utc_s)
    entries.correct_pour(
        conn, standing_row(conn, f"{melt}-1"), {"mould": "Cleat B"}, who="Ann", why="mixed up", utc_s=utc_s
    )


def files(paths: Paths, shop: str) -> None:
    for folder in (paths.photos, paths.alloys, paths.profiles):
        folder.mkdir(parents=True, exist_ok=True)
    paths.settings.write_text(f'[shop]\nname = "{shop}"\n', "utf-8")
    (paths.alloys / "ours.toml").write_text(f"# {shop}\n", "utf-8")
    (paths.profiles / "slow.toml").write_text("# the same in both\n", "utf-8")
    body = JPEG + shop.encode() + b"\xff\xd9"
    (paths.photos / f"{hashlib.sha256(body).hexdigest()}.jpg").write_bytes(body)


@pytest.fixture
def here(tmp_path: Path, make: Maker) -> Paths:
    paths = place(tmp_path, "here")
    record(paths, make, 0.0, 400.0)
    files(paths, "Boat club")
    return paths


@pytest.fixture
def there(tmp_path: Path, make: Maker) -> Paths:
    paths = place(tmp_path, "there")
    record(paths, make, 7.25, 420.0)
    files(paths, "Hill Boats")
    return paths


def archive_of(paths: Paths, name: str) -> Path:
    archive = paths.data.parent / name
    with Store.read(paths.database) as store:
        back_up(store, paths, archive, utc_s=UTC_S + 1e5)
    return archive


def tree(paths: Paths) -> dict[str, bytes]:
    """Every file of a shop, the record as its rows."""
    home = paths.data.parent
    found = {
        str(path.relative_to(home)): path.read_bytes()
        for path in sorted(home.rglob("*"))
        if path.is_file() and "sqlite" not in path.name and path.suffix != ".zip"
    }
    conn = sqlite3.connect(f"file:{paths.database}?mode=ro", uri=True)
    try:
        names = [name for (name,) in conn.execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name")]
        for name in names:
            found[name] = repr(conn.execute(f"SELECT * FROM {name} ORDER BY 1, 2").fetchall()).encode()
    finally:
        conn.close()
    return found


def theirs_here(text: str, melt: str) -> str:
    """An export of theirs as it reads here: the line that says which melt began has the mark of their shop."""
    began, here = (said("export.began", melt=name, alloy="ZA-27") for name in (melt, f"{melt}@hill"))
    assert began in text
    return text.replace(began, here)


def take_in(archive: Path, paths: Paths, **named: Any) -> Any:
    return merge(archive, paths, who="ann", utc_s=UTC_S + 2e5, **named)


def test_melts_of_both_shops_stand_side_by_side_and_export_the_same(here: Paths, there: Paths) -> None:
    archive = archive_of(there, "hill.zip")
    with Store.read(there.database) as store:
        theirs = {row.melt: melt_csv(store, row.melt) for row in store.melts()}
        their_inputs = list(read_inputs(store, 1))
        their_events = list(read_events(store, 1))
        their_pour = store.pour("2026-001-1")
    with Store.read(here.database) as store:
        ours = {row.melt: melt_csv(store, row.melt) for row in store.melts()}
    done = take_in(archive, here, mark="hill")
    assert done.melts == (("2026-001", "2026-001@hill"), ("2026-002", "2026-002@hill"))
    with Store.read(here.database) as store:
        assert {row.melt for row in store.melts()} == {*ours, "2026-001@hill", "2026-002@hill"}
        for name, text in ours.items():
            assert melt_csv(store, name) == text
        for name, text in theirs.items():
            assert melt_csv(store, f"{name}@hill") == theirs_here(text, name)
        assert [session.furnace for session in store.sessions()] == ["crucible", "crucible@hill"]
        assert list(read_inputs(store, 2)) == their_inputs
        assert list(read_events(store, 2)) == their_events
        pour = store.pour("2026-001@hill-1")
        assert (pour.row.mould, pour.row.result, pour.row.setup) == ("Cleat B", "misrun 1", "cleat_v1@hill")
        assert len(pour.earlier) == len(their_pour.earlier) == 1
        detail = store.melt("2026-001@hill")
        assert [note.text for note in detail.notes if "lid" in note.text] == ["lid off too long"] * 2
        assert detail.row.tags == ("series A",)
        assert len(detail.dips) == 1
        assert store.next_melt_id(UTC_S) == "2026-003"  # their numbers use up none of ours
        assert {hit.melt for hit in store.find(["2026-001"])} == {"2026-001", "2026-001@hill"}
        with store.reading() as conn:
            assert conn.execute("SELECT theirs FROM merged_melts ORDER BY 1").fetchall() == [
                ("2026-001",),
                ("2026-002",),
            ]
            assert conn.execute("SELECT mark, who, archive, melts FROM merges").fetchall() == [
                ("hill", "ann", "hill.zip", 2)
            ]
            assert conn.execute("PRAGMA foreign_key_check").fetchall() == []
            assert conn.execute("SELECT name FROM mould_setups ORDER BY 1").fetchall() == [
                ("cleat_v1",),
                ("cleat_v1@hill",),
            ]


def test_settings_and_sheets_are_put_aside_and_photos_go_by_their_hash(here: Paths, there: Paths) -> None:
    before = tree(here)
    photos = {path.name for paths in (here, there) for path in paths.photos.iterdir()}
    done = take_in(archive_of(there, "hill.zip"), here)
    assert done.mark == "hillboats"  # the name of the shop, where no mark is given
    assert done.photos == 1
    assert {path.name for path in here.photos.iterdir()} == photos
    for name in ("settings/pourcall.toml", "settings/alloys/ours.toml", "settings/profiles/slow.toml"):
        assert tree(here)[name] == before[name]
    aside = here.data / "aside" / "hillboats"
    assert (aside / "settings.toml").read_bytes() == there.settings.read_bytes()
    assert not (aside / "profiles").exists()  # the same as ours
    assert (aside / "alloys" / "ours.toml").read_bytes() == (there.alloys / "ours.toml").read_bytes()
    third = place(here.data.parent.parent, "third")  # and what was put aside is in our own backup
    restore(archive_of(here, "both.zip"), third)
    assert (third.data / "aside" / "hillboats" / "settings.toml").read_bytes() == there.settings.read_bytes()


def test_the_same_archive_again_changes_nothing(here: Paths, there: Paths) -> None:
    archive = archive_of(there, "hill.zip")
    take_in(archive, here, mark="hill")
    before = tree(here)
    assert take_in(archive, here, mark="hill").nothing
    again = take_in(archive, here)  # the mark it has is found again
    assert (again.mark, again.nothing) == ("hill", True)
    with refused(BadInput, "archive.known_as", marks="hill"):
        take_in(archive, here, mark="other")
    assert tree(here) == before


def test_a_later_archive_of_the_same_shop_adds_only_what_is_new(here: Paths, there: Paths, make: Maker) -> None:
    take_in(archive_of(there, "hill.zip"), here, mark="hill")
    record(there, make, 9000.0, 430.0, melts=1, first=3)
    conn = sqlite3.connect(there.database, isolation_level=None)
    entries.add_result(conn, "2026-002-1", "sound", 0, who="Ann", utc_s=UTC_S + 5e4)
    conn.close()
    done = take_in(archive_of(there, "later.zip"), here, mark="hill")
    assert done.melts == (("2026-003", "2026-003@hill"),)
    with Store.read(there.database) as store, Store.read(here.database) as ours:
        for name in ("2026-001", "2026-002", "2026-003"):
            text = theirs_here(melt_csv(store, name), name)
            assert melt_csv(ours, f"{name}@hill") == text
        assert [list(read_inputs(ours, n)) for n in (2, 3)] == [list(read_inputs(store, n)) for n in (1, 2)]
        assert ours.pour("2026-002@hill-1").row.result == "sound"
        with ours.reading() as conn:
            for table in ("results", "notes", "pours", "charges", "dips", "events", "journal"):
                here_n, there_n = (conn.execute(f"SELECT count(*) FROM {table}").fetchone()[0], _count(there, table))
                assert here_n == there_n + _count_of_one(here, table), table
            assert conn.execute("SELECT count(*) FROM merges").fetchone() == (2,)


def _count(paths: Paths, table: str) -> int:
    conn = sqlite3.connect(f"file:{paths.database}?mode=ro", uri=True)
    try:
        return int(conn.execute(f"SELECT count(*) FROM {table}").fetchone()[0])
    finally:
        conn.close()


def _count_of_one(here: Paths, table: str) -> int:
    """Rows of our own, from before any archive came."""
    first = {"results": 2, "notes": 2, "pours": 3, "charges": 1, "dips": 2, "events": 8, "journal": 606}
    assert _count(here, table) >= first[table]
    return first[table]


def test_an_archive_taken_in_mid_session_is_completed_by_the_next(tmp_path: Path, here: Paths, make: Maker) -> None:
    """Their daemon ran while the first backup was made; the second has the same session, longer."""
    paths = place(tmp_path, "there")
    paths.data.mkdir(parents=True)
    make.seq, make.base_s = 0, UTC_S - 93.0
    recorder = Recorder(paths.database, on_state=quiet, clock=lambda: 0.0)
    recorder.start(utc_s=UTC_S)
    recorder.begin_session("crucible", "", b"{}", 100.0, UTC_S + 7.0)
    recorder.put("crucible", *make.start(100.0, make.plan()))
    for second in range(1, 200):
        recorder.put("crucible", *make.sample(100.0 + second, 400.0 + second))
    recorder.call(lambda _: None).result(5)
    paths.photos.mkdir()
    take_in(archive_of(paths, "early.zip"), here, mark="hill")
    for second in range(200, 400):
        recorder.put("crucible", *make.sample(100.0 + second, 400.0 + second / 2.0))
    recorder.put("crucible", *make.pour(500.0))
    recorder.put("crucible", *make.end(501.0))
    recorder.stop()
    done = take_in(archive_of(paths, "late.zip"), here, mark="hill")
    assert done.melts == ()
    with Store.read(paths.database) as store, Store.read(here.database) as ours:
        assert list(read_inputs(ours, 2)) == list(read_inputs(store, 1))
        assert list(read_events(ours, 2)) == list(read_events(store, 1))
        text = theirs_here(melt_csv(store, "2026-001"), "2026-001")
        assert melt_csv(ours, "2026-001@hill") == text
        assert ours.melt_trace("2026-001@hill", 100).probes == store.melt_trace("2026-001", 100).probes
        with ours.reading() as conn, store.reading() as theirs:
            slots = (
                "SELECT span_s, slot, n, n_bad, min_mc, max_mc, sum_mc FROM rollup WHERE session_id = ? ORDER BY 1, 2"
            )
            assert conn.execute(slots, (2,)).fetchall() == theirs.execute(slots, (1,)).fetchall()


def test_a_backup_of_our_own_adds_nothing_and_keeps_later_entries_of_a_copy(here: Paths, tmp_path: Path) -> None:
    """A copy of this shop went its own way on another computer: only what was entered there comes back."""
    archive = archive_of(here, "own.zip")
    assert take_in(archive, here, mark="copy").nothing
    copy = place(tmp_path, "copy")
    restore(archive, copy)
    conn = sqlite3.connect(copy.database, isolation_level=None)
    entries.add_result(conn, "2026-002-1", "cold_shut", 2, who="Ben", utc_s=UTC_S + 5e4)
    conn.close()
    done = take_in(archive_of(copy, "copy.zip"), here, mark="copy")
    assert (done.melts, done.rows) == ((), {"results": 1})
    with Store.read(here.database) as store:
        assert store.pour("2026-002-1").row.result == "cold shut 2"
        assert {row.melt for row in store.melts()} == {"2026-001", "2026-002"}


def test_a_mark_never_stands_for_two_shops(here: Paths, there: Paths, tmp_path: Path, make: Maker) -> None:
    take_in(archive_of(there, "hill.zip"), here, mark="hill")
    third = place(tmp_path, "third")
    record(third, make, 11.5, 390.0)
    before = tree(here)
    with refused(BadInput, "archive.mark_taken", mark="hill"):
        take_in(archive_of(third, "third.zip"), here, mark="hill")
    assert tree(here) == before
    for mark in ("Hill", "a-b", "1st", "x" * 20, "@"):
        with refused(BadInput, "archive.mark", mark=mark):
            take_in(archive_of(third, "third.zip"), here, mark=mark)
    with refused(BadInput, "archive.no_shop"):
        take_in(archive_of(third, "third.zip"), here)


def test_a_dry_run_says_what_would_come_in_and_writes_nothing(here: Paths, there: Paths) -> None:
    before = tree(here)
    done = take_in(archive_of(there, "hill.zip"), here, mark="hill", dry_run=True)
    assert len(done.melts) == 2
    assert done.rows["journal"] == _count(there, "journal")
    assert tree(here) == before


@pytest.mark.parametrize("what", ["cut", "foreign", "newer", "tampered", "damaged", "no record"])
def test_an_archive_that_is_not_whole_and_ours_is_refused_untouched(
    here: Paths, there: Paths, tmp_path: Path, what: str
) -> None:
    good, bad = archive_of(there, "hill.zip"), tmp_path / "bad.zip"
    with zipfile.ZipFile(good) as zipped:
        parts = {info.filename: zipped.read(info) for info in zipped.infolist()}
    work = tmp_path / "work.sqlite"
    work.write_bytes(parts["database.sqlite"])
    manifest = parts["manifest.json"]
    if what == "tampered":
        parts["database.sqlite"] = parts["database.sqlite"][:-7] + b"another"
    elif what == "foreign":
        parts = {"manifest.json": b'{"photos": 3}', "a.jpg": JPEG}
    elif what in ("newer", "damaged", "no record"):
        if what == "newer":
            conn = sqlite3.connect(work)
            conn.execute("PRAGMA user_version = 99")
            conn.close()
            body = work.read_bytes()
        else:
            broken = bytearray(work.read_bytes())
            for page in range(2, len(broken) // PAGE_BYTES, 3):
                broken[page * PAGE_BYTES : page * PAGE_BYTES + 64] = b"\xa5" * 64
            body = bytes(broken)
        old, new = (hashlib.sha256(one).hexdigest().encode() for one in (parts["database.sqlite"], body))
        parts["database.sqlite"] = body
        parts["manifest.json"] = manifest.replace(old, new)
        if what == "no record":
            del parts["database.sqlite"]
            parts["manifest.json"] = manifest.replace(b'"database.sqlite"', b'"photos/x.jpg"').replace(
                old, hashlib.sha256(JPEG).hexdigest().encode()
            )
            parts["photos/x.jpg"] = JPEG
    with zipfile.ZipFile(bad, "w") as zipped:
        for name, content in parts.items():
            zipped.writestr(name, content)
    if what == "cut":
        bad.write_bytes(good.read_bytes()[:-300])
    before = tree(here)
    with pytest.raises(BadInput):
        take_in(bad, here, mark="hill")
    assert tree(here) == before
    assert not [path for path in here.data.iterdir() if path.name.startswith(".pourcall-")]


def test_too_little_space_or_no_record_is_said_before_anything_is_written(
    here: Paths, there: Paths, tmp_path: Path
) -> None:
    archive = archive_of(there, "hill.zip")
    before = tree(here)
    with refused(StoreError, "archive.no_space"):
        take_in(archive, here, mark="hill", free=lambda _: 1000)
    assert tree(here) == before
    with refused(StoreError, "archive.nothing_here"):
        take_in(archive, place(tmp_path, "empty"), mark="hill")


def test_a_disk_that_fills_up_on_the_way_leaves_the_record_as_it_was(
    here: Paths, there: Paths, monkeypatch: pytest.MonkeyPatch
) -> None:
    archive, before = archive_of(there, "hill.zip"), tree(here)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(merging, "_unpack", full)
    with refused(StoreError, "archive.not_taken_in"):
        take_in(archive, here, mark="hill")
    assert tree(here) == before
    monkeypatch.undo()
    assert len(take_in(archive, here, mark="hill").melts) == 2


def test_our_recorder_goes_on_behind_what_came_in(here: Paths, there: Paths, make: Maker) -> None:
    take_in(archive_of(there, "hill.zip"), here, mark="hill")
    record(here, make, 2e5, 410.0, melts=1, first=3)
    with Store.read(here.database) as store:
        assert store.melts()[0].melt == "2026-003"
        assert len(list(read_inputs(store, store.sessions()[-1].id))) == 303
        assert "415.0" in melt_csv(store, "2026-003")
        gaps = [gap.reason for gap in store.melt("2026-001").gaps]
        assert gaps == []
