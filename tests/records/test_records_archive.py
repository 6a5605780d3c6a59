"""The whole shop to another place and back, without loss: record, settings, sheets, profiles, photos, pages."""

import sqlite3
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from pourcall.contract.entries import ChargeEntry, ChargeRequest, MouldSetupRequest
from pourcall.contract.errors import BadInput, StoreError
from pourcall.contract.paths import Paths, paths_for
from pourcall.records.entries import charges, entries, setups
from pourcall.records.read.facts import pour_facts
from pourcall.records.read.lookup import standing_row
from pourcall.records.read.store import Store
from pourcall.records.upkeep.backup import back_up, restore
from pourcall.reports.pages.as_html import html
from pourcall.reports.pages.pour_sheet import pour_sheet
from pourcall.reports.tables.export import melt_csv

UTC_S = 1_780_000_000.0


def place(tmp_path: Path, name: str) -> Paths:
    return paths_for({"POURCALL_HOME": str(tmp_path / name)}, "linux", tmp_path)


@pytest.fixture
def shop(tmp_path: Path, database: Path, recording: Callable[..., Any], make: Any) -> Paths:
    """One melt with all a person may add to it, a sheet and a profile of one's own, two photos."""
    paths = place(tmp_path, "here")
    for folder in (paths.data, paths.photos, paths.alloys, paths.profiles):
        folder.mkdir(parents=True)
    paths.settings.write_text('[shop]\nname = "boat club"\n', "utf-8")
    (paths.alloys / "ours.toml").write_text("liquidus_c = 484\n", "utf-8")
    (paths.profiles / "slow.toml").write_text("# slow\n", "utf-8")
    source = tmp_path / "cleat.jpg"
    source.write_bytes(b"\xff\xd8\xff\xe0" + bytes(range(256)) * 300 + b"\xff\xd9")
    kept = entries.store_photo_file(paths.photos, source)
    recorder = recording()
    recorder.put("crucible", *make.start(100.0, make.plan()))
    for second in range(200):
        recorder.put("crucible", *make.sample(100.0 + second, 400.0 + second))
    recorder.put("crucible", *make.dip(280.0))
    recorder.put("crucible", *make.pour(300.0))
    recorder.put("crucible", *make.end(310.0))

    def more(conn: sqlite3.Connection) -> None:
        setups.describe_mould(conn, MouldSetupRequest(name="cleat_v1", add=True, gating="foot", mass_kg=0.4), UTC_S)
        returned = ChargeEntry(source="returns", mass_kg=0.5, remelts=2)
        charges.charge(conn, ChargeRequest(melt="2026-001", entries=(returned,)), UTC_S)
        entries.add_result(conn, "2026-001-1", "misrun", 2, who="Ann", utc_s=UTC_S + 9e4, detail="tip \x07 naïve")
        entries.add_note(conn, "2026-001", "=1+1; 'quoted'", who="Ann", utc_s=UTC_S + 9e4, pour_number=1)
        entries.add_tag(conn, "2026-001", "series A", utc_s=UTC_S, pour_number=1)
        entries.add_photo(conn, "2026-001", *kept, who="Ann", utc_s=UTC_S, pour_number=1, caption="tip")
        entries.correct_pour(
            conn, standing_row(conn, "2026-001-1"), {"mould": "Cleat B"}, who="Ann", why="mixed up", utc_s=UTC_S
        )

    recorder.call(more).result(5)
    recorder.stop()
    for name in (database, database.with_name(database.name + "-wal")):
        if name.exists():
            name.rename(paths.data / name.name)
    return paths


def tables(path: Path) -> dict[str, list[tuple[Any, ...]]]:
    conn = sqlite3.connect(f"file:{path}?mode=ro", uri=True)
    try:
        names = [name for (name,) in conn.execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name")]
        return {name: conn.execute(f"SELECT * FROM {name} ORDER BY 1, 2").fetchall() for name in names}
    finally:
        conn.close()


def clock(utc_s: float) -> str:
    return f"{utc_s:.0f}"


def page(paths: Paths) -> str:
    with Store.read(paths.database) as store:
        return html(pour_sheet(pour_facts(store, "2026-001-1"), paths.photos, clock=clock))


def test_another_installation_has_every_row_and_file_and_makes_the_same_pages(shop: Paths, tmp_path: Path) -> None:
    archive = tmp_path / "shop.zip"
    with Store.read(shop.database) as store:
        back_up(store, shop, archive, utc_s=UTC_S)
        trace = melt_csv(store, "2026-001")
    there = place(tmp_path, "there")
    restore(archive, there)
    ours, theirs = tables(shop.database), tables(there.database)
    assert {name: len(rows) for name, rows in ours.items()} == {name: len(rows) for name, rows in theirs.items()}
    assert ours == theirs
    assert len(ours["journal"]) > 200
    assert [len(ours[name]) for name in ("results", "photos", "charges", "mould_setups", "tags", "corrections")] == [
        1
    ] * 6
    for name in ("settings", "alloys", "profiles", "photos"):
        here, gone = getattr(shop, name), getattr(there, name)
        pairs = [(here, gone)] if here.is_file() else [(f, gone / f.name) for f in sorted(here.iterdir())]
        assert pairs
        for one, other in pairs:
            assert one.read_bytes() == other.read_bytes()
    with Store.read(there.database) as store:
        assert melt_csv(store, "2026-001") == trace
    first = page(shop)
    assert page(there) == first
    assert "data:image/jpeg;base64," in first
    assert "Cleat B" in first
    # and once more from there: nothing wears off on the way
    with Store.read(there.database) as store:
        back_up(store, there, tmp_path / "again.zip", utc_s=UTC_S)
    third = place(tmp_path, "third")
    restore(tmp_path / "again.zip", third)
    assert tables(third.database) == ours


@pytest.mark.parametrize("keep", [0, 10, 1000, -1, -400])
def test_an_archive_that_is_cut_off_is_refused_and_nothing_is_written(shop: Paths, tmp_path: Path, keep: int) -> None:
    archive = tmp_path / "shop.zip"
    with Store.read(shop.database) as store:
        back_up(store, shop, archive, utc_s=UTC_S)
    archive.write_bytes(archive.read_bytes()[:keep])
    there = place(tmp_path, "there")
    with pytest.raises(BadInput):
        restore(archive, there)
    assert not (tmp_path / "there").exists()


def test_a_foreign_archive_is_refused(tmp_path: Path) -> None:
    archive = tmp_path / "foreign.zip"
    with zipfile.ZipFile(archive, "w") as zipped:
        zipped.writestr("readme.txt", "holiday photos")
    with pytest.raises(BadInput):
        restore(archive, place(tmp_path, "there"))
    assert not (tmp_path / "there").exists()


def test_an_archive_never_goes_over_a_shop_that_is_there(shop: Paths, tmp_path: Path) -> None:
    archive = tmp_path / "shop.zip"
    with Store.read(shop.database) as store:
        back_up(store, shop, archive, utc_s=UTC_S)
    before = tables(shop.database)
    with pytest.raises(StoreError):
        restore(archive, shop)
    assert tables(shop.database) == before
