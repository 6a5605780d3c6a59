"""`pourcall backup --restore --merge` as it is typed: what it says, what it refuses, what it leaves alone."""

import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from pourcall.cli.main import main
from pourcall.contract.paths import paths_for
from pourcall.daemon.process.process_lock import SingleLock
from pourcall.records.upkeep.opening import open_database
from tests.told import tells

UTC_S = 1_780_000_000.0
Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def typed(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    def one(home: Path, *words: str) -> tuple[int, str, str]:
        monkeypatch.setenv("POURCALL_HOME", str(home))
        code = main(words)
        said = capsys.readouterr()
        return code, said.out, said.err

    return one


def shop(home: Path, furnace: str, began_s: float, name: str) -> Path:
    """A record with one melt that never had a reading: enough to be taken in."""
    (home / "settings").mkdir(parents=True)
    (home / "settings" / "pourcall.toml").write_text(f'[shop]\nname = "{name}"\n', "utf-8")
    path = home / "data" / "pourcall.sqlite"
    conn, _ = open_database(path, utc_s=UTC_S)
    with conn:
        conn.execute("INSERT INTO furnaces VALUES (1, ?)", (furnace,))
        conn.executemany("INSERT INTO texts VALUES (?, ?, ?)", [("s", "settings", ""), ("c", "config", "{}")])
        conn.execute("INSERT INTO sessions VALUES (1, 1, 0.0, ?, 0, 's', 'c', 1, 'test')", (UTC_S + began_s,))
        conn.execute(
            "INSERT INTO melts (melt, furnace_id, session_id, journal_id, began_mono_s, began_utc_s, alloy, alloy_name,"
            " charge_kg) VALUES ('2026-001', 1, 1, 1, 1.0, ?, 'za27', 'ZA-27', 1.5)",
            (UTC_S + began_s,),
        )
    conn.close()
    return path


def melts(path: Path) -> list[str]:
    conn = sqlite3.connect(f"file:{path}?mode=ro", uri=True)
    try:
        return [name for (name,) in conn.execute("SELECT melt FROM melts ORDER BY id")]
    finally:
        conn.close()


def test_another_shop_comes_in_under_its_mark_and_is_listed(tmp_path: Path, typed: Run) -> None:
    here, there, archive = tmp_path / "here", tmp_path / "there", str(tmp_path / "hill.zip")
    ours = shop(here, "crucible", 0.0, "Boat club")
    shop(there, "crucible", 5.0, "Hill Boats")
    assert typed(there, "backup", archive)[0] == 0
    code, _, said = typed(here, "backup", archive, "--restore")
    assert (code, tells(said, "archive.records_here")) == (5, True)
    code, said, _ = typed(here, "backup", archive, "--restore", "--merge", "--dry-run")
    assert (code, melts(ours)) == (0, ["2026-001"])
    assert tells(said, "cli.merge.melt_would", theirs="2026-001", ours="2026-001@hillboats")
    code, said, _ = typed(here, "backup", archive, "--restore", "--merge", "--mark", "hill")
    assert (code, melts(ours)) == (0, ["2026-001", "2026-001@hill"])
    assert tells(said, "cli.merge.melt", theirs="2026-001", ours="2026-001@hill")
    assert tells(said, "cli.merge.aside", file="aside/hill/settings.toml")
    assert tells(typed(here, "backup", archive, "--restore", "--merge")[1], "cli.merge.nothing")
    assert "2026-001@hill" in typed(here, "melt", "list")[1]
    assert "crucible@hill" in typed(here, "melt", "show", "2026-001@hill")[1]


def test_beside_a_running_daemon_and_with_words_that_do_not_fit_nothing_is_done(tmp_path: Path, typed: Run) -> None:
    here, there, archive = tmp_path / "here", tmp_path / "there", str(tmp_path / "hill.zip")
    ours = shop(here, "crucible", 0.0, "Boat club")
    shop(there, "crucible", 5.0, "Hill Boats")
    typed(there, "backup", archive)
    with SingleLock(paths_for({"POURCALL_HOME": str(here)}, "linux", tmp_path).lock):
        assert typed(here, "backup", archive, "--restore", "--merge", "--mark", "hill")[0] == 6
    for words in (("--merge",), ("--mark", "hill"), ("--restore", "--mark", "hill"), ("--restore", "--dry-run")):
        code, _, said = typed(here, "backup", archive, *words)
        assert (code, tells(said, "usage.backup")) == (2, True)
    assert typed(here, "backup", archive, "--restore", "--merge", "--mark", "Not One")[0] == 2
    assert melts(ours) == ["2026-001"]
