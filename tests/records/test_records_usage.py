"""What the record costs in disk, and what `pourcall doctor` says of it, of backup and calibrations."""

import json
import time
from pathlib import Path
from typing import Any

import pytest

from pourcall.contract.paths import Paths, paths_for
from pourcall.records.entries import entries
from pourcall.records.read.store import Store
from pourcall.records.upkeep.backup import back_up
from pourcall.records.upkeep.thinning import thin
from pourcall.records.upkeep.usage import usage
from pourcall.records.write.recorder import Recorder
from tests.told import tells

UTC_S = 1_780_000_000.0
DAY_S = 86_400.0
Maker = Any
SETTINGS = """
[furnace.crucible]
rating_c = 1100
[board.bench]
port = "/dev/no-such-board"
[probe.melt_probe]
furnace = "crucible"
board = "bench"
channel = "0"
place = "melt"
[probe.wall]
furnace = "crucible"
board = "bench"
channel = "1"
place = "chamber"
[probe.dip_probe]
furnace = "crucible"
board = "bench"
channel = "2"
place = "dip"
"""


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Paths:
    monkeypatch.setenv("POURCALL_HOME", str(tmp_path / "shop"))
    paths = paths_for({"POURCALL_HOME": str(tmp_path / "shop")}, "linux", tmp_path)
    for folder in (paths.data, paths.photos, paths.settings.parent):
        folder.mkdir(parents=True)
    paths.settings.write_text(SETTINGS, "utf-8")
    return paths


def record(paths: Paths, make: Maker, utc_s: float, seconds: int, melt: str) -> None:
    make.seq, make.base_s = 0, utc_s - 100.0
    recorder = Recorder(paths.database, on_state=lambda *_: None, clock=lambda: 0.0)
    recorder.start(utc_s=utc_s)
    recorder.begin_session("crucible", "", b"{}", 100.0, utc_s)
    recorder.put("crucible", *make.start(100.0, make.plan(melt)))
    for n in range(seconds):
        recorder.put("crucible", *make.sample(101.0 + n, 500.0 + n % 7, u_c=2.5))
    recorder.put("crucible", *make.end(101.0 + seconds, melt))
    recorder.stop()


def test_growth_is_what_another_melt_of_the_same_kind_really_adds(shop: Paths, make: Maker) -> None:
    record(shop, make, UTC_S, 7200, "2026-001")
    with Store.read(shop.database) as store, store.reading() as conn:
        told = usage(conn, shop, older_than_utc_s=0.0)
    record(shop, make, UTC_S + 1e5, 7200, "2026-002")
    added = shop.database.stat().st_size - told.record
    assert told.bytes_per_melt_hour is not None
    # Two hours; the first file also holds the empty tables, so that the estimate is a little high.
    assert added / 2.0 <= told.bytes_per_melt_hour <= 1.6 * added / 2.0


def test_every_kind_of_file_is_counted_where_it_lies(shop: Paths, make: Maker) -> None:
    record(shop, make, UTC_S, 100, "2026-001")
    (shop.photos / "a.jpg").write_bytes(b"x" * 5000)
    (shop.data / "aside" / "hill").mkdir(parents=True)
    (shop.data / "aside" / "hill" / "settings.toml").write_bytes(b"y" * 300)
    shop.log.write_bytes(b"z" * 70)
    shop.log.with_name(shop.log.name + ".1").write_bytes(b"z" * 30)
    shop.database.with_name(shop.database.name + ".damaged-20260101T000000Z").write_bytes(b"d" * 900)
    with Store.read(shop.database) as store, store.reading() as conn:
        told = usage(conn, shop, older_than_utc_s=0.0)
    assert (told.photos, told.aside, told.log, told.copies) == (5000, 300, 100, 900)
    assert told.record == shop.database.stat().st_size


def test_old_readings_are_those_before_the_first_young_start_and_not_thinned_yet(shop: Paths, make: Maker) -> None:
    record(shop, make, UTC_S, 3000, "2026-001")
    record(shop, make, UTC_S + 900 * DAY_S, 500, "2028-001")
    now_s = UTC_S + 901 * DAY_S

    def old() -> int:
        with Store.read(shop.database) as store, store.reading() as conn:
            return usage(conn, shop, older_than_utc_s=now_s - 730 * DAY_S).old_rows

    assert 2990 <= old() <= 3010
    thin(shop.database, older_than_s=730 * DAY_S, keep_every_s=10.0, who="ann", why="", utc_s=now_s)
    assert old() < 20


def findings(capsys: pytest.CaptureFixture[str]) -> dict[str, dict[str, str]]:
    from pourcall.cli.main import main

    main(["doctor", "--json"])
    return {one["what"]: one for one in json.loads(capsys.readouterr().out)}


def test_doctor_tells_of_the_last_backup_and_of_none(
    shop: Paths, make: Maker, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    record(shop, make, UTC_S, 100, "2026-001")
    assert findings(capsys)["backup"]["state"] == "note"
    with Store.read(shop.database) as store:
        back_up(store, shop, tmp_path / "all.zip", utc_s=time.time() - 40 * DAY_S)
    assert tells(findings(capsys)["backup"]["says"], "check.backup_old")
    with Store.read(shop.database) as store:
        back_up(store, shop, tmp_path / "all.zip", utc_s=time.time())
    told = findings(capsys)["backup"]
    assert told["state"] == "well"
    assert str(tmp_path / "all.zip") in told["says"]
    (tmp_path / "all.zip").unlink()
    assert tells(findings(capsys)["backup"]["says"], "check.backup_moved", path=str(tmp_path / "all.zip"))


def test_doctor_tells_for_each_probe_whether_its_calibration_is_due(
    shop: Paths, make: Maker, capsys: pytest.CaptureFixture[str]
) -> None:
    record(shop, make, UTC_S, 100, "2026-001")
    from pourcall.records.entries.calibrations import write_aside

    def enter(conn: Any) -> None:
        conn.execute("INSERT INTO probes (furnace_id, name) VALUES (1, 'wall')")
        for probe, days in (("melt_probe", 10.0), ("wall", 300.0)):  # due after half a year
            entries.add_calibration(
                conn,
                "crucible",
                probe,
                method="ice",
                reference_c=0.0,
                offset_uv=12.0,
                who="ann",
                utc_s=time.time() - days * DAY_S,
                emf_uv=-12.0,
                spread_uv=4.0,
            )

    write_aside(shop.database, enter, utc_s=time.time())
    told = findings(capsys)
    assert told["calibration of melt_probe"]["state"] == "well"
    assert tells(told["calibration of melt_probe"]["says"], "check.calibrated")
    assert told["calibration of wall"]["state"] == "note"
    assert tells(told["calibration of wall"]["says"], "check.overdue", days=120)
    assert tells(told["calibration of dip_probe"]["says"], "check.never_calibrated", probe="dip_probe")
