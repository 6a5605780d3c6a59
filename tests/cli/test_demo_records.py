"""The invented season on record. Made by engine and recorder in seconds, the same bytes each time, marked."""

import contextlib
import csv
import hashlib
import json
import os
import shutil
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from pourcall.cli.shop import demo_records, demo_shop
from pourcall.cli.shop.demo_records import make_records, refuse_a_real_shop
from pourcall.contract.errors import Refused
from pourcall.contract.message import tell
from pourcall.contract.paths import Paths, paths_for
from pourcall.contract.settings import parse_settings
from pourcall.records.read.store import Store
from pourcall.sim.scenarios import invented
from pourcall.sim.scenarios.demo import demo_scenario
from pourcall.sim.scenarios.invented import CLEAT, FAIRLEAD, MELTS
from pourcall.texts import word
from tests.told import refused, said, tells

Run = Callable[..., Any]


class Season(NamedTuple):
    """A home with the season, and the true temperatures at the lip that no record holds, in order of the pours."""

    home: Path
    lips: list[tuple[str, float]]


def paths_of(home: Path) -> Paths:
    return paths_for({"POURCALL_HOME": str(home)}, "linux", home)


def sha(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


@pytest.fixture(scope="module")
def season() -> Iterator[Season]:
    lips: list[tuple[str, float]] = []
    real = invented.inspect

    def listening(setup: str, lip_c: float, rng: Any) -> Any:
        lips.append((setup, lip_c))
        return real(setup, lip_c, rng)

    with tempfile.TemporaryDirectory(prefix="pc-") as folder, pytest.MonkeyPatch.context() as patch:
        patch.setattr(invented, "inspect", listening)
        home = Path(folder) / "h"
        made = make_records(paths_of(home))
        assert (made.melts, made.pours) == (6, 12)
        yield Season(home, lips)


@pytest.fixture
def shop(season: Season, home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The working folder, beside a copy of that home."""
    monkeypatch.chdir(tmp_path)
    for name in ("data", "settings"):
        shutil.copytree(season.home / name, home / name)
    return tmp_path


def test_a_dozen_pours_of_two_setups_with_all_that_belongs_to_them(season: Season) -> None:
    with Store.read(paths_of(season.home).database) as store:
        pours, melts = store.pours(), store.melts()
        details = [store.melt(row.melt) for row in melts]
        photo = store.pour("2025-001-2").photos[0]
    assert len(pours) == 12
    assert {row.setup for row in pours} == {CLEAT, FAIRLEAD}
    assert {row.ending for row in melts} == {"poured"}
    assert {row.alloy for row in melts} == {"za27", "c87300"}
    for detail in details:
        assert detail.charges
        assert any(note.who == "demo" for note in detail.notes)
        assert not [alarm for alarm in detail.alarms if alarm.present]
        assert (len(detail.dips) > 0) == (detail.row.alloy == "c87300")  # the dipping probe belongs to the burner
    assert [row.pour for row in pours if not row.result] == ["2025-006-2"]  # one still lies on the bench
    results = " ".join(row.result for row in pours)
    assert "misrun" in results
    assert "sink" in results
    assert (paths_of(season.home).photos / f"{photo.hash}{photo.suffix}").read_bytes() == invented.picture()


def test_the_recorded_lip_temperature_agrees_with_the_simulated_truth_within_its_uncertainty(season: Season) -> None:
    """Expanded uncertainty (k = 2, GUM): about 19 of 20 truths lie inside, and never one far outside."""
    with Store.read(paths_of(season.home).database) as store:
        rows = sorted(store.pours(), key=lambda row: row.pour)
    ratios = []
    for row, (setup, lip_c) in zip(rows, season.lips, strict=True):
        assert row.setup == setup
        assert row.lip_temp_c is not None
        assert row.lip_u_c is not None
        ratios.append(abs(row.lip_temp_c - lip_c) / row.lip_u_c)
    assert max(ratios) < 1.5
    assert sum(ratio <= 1.0 for ratio in ratios) >= 11


def test_every_melt_and_pour_says_that_it_is_invented(season: Season) -> None:
    conn = sqlite3.connect(paths_of(season.home).database)
    asked = "SELECT m.melt, g.pour_number FROM tags g JOIN melts m ON m.id = g.melt_id WHERE tag = 'invented'"
    tagged = set(conn.execute(asked))
    configs = [json.loads(body) for (body,) in conn.execute("SELECT body FROM texts WHERE kind = 'config'")]
    conn.close()
    assert tagged == {(melt.melt, number) for melt in MELTS for number in (0, 1, 2)}
    assert all(config["simulated"] for config in configs)


def test_lists_pages_comparison_advice_and_exports_show_it(shop: Path, run: Run) -> None:
    for words in (("melt", "list"), ("pour", "list"), ("pour", "show", "2025-001-1"), ("melt", "show", "2025-001")):
        assert tells(run(*words).out, "melt_list.invented"), words
    assert tells(run("compare", "2025-001-1", "2025-003-1").out, "comparison.all_invented")
    advice = run("advise", CLEAT, "--plot", "a.svg")
    assert tells(advice.out, "advice.invented")
    assert said("plot.advice_about_invented") in (shop / "a.svg").read_text("utf-8")
    assert json.loads(run("advise", CLEAT, "--json").out)["invented"] is True
    assert run("sheet", "2025-001-2").code == 0
    page = (shop / "pour-2025-001-2.html").read_text("utf-8")
    assert said("sheet.simulated") in page
    assert "data:image/png;base64," in page
    assert run("export", "2025-001-1", "--to", "out").code == 0
    (table,) = (shop / "out").glob("*.csv")
    with table.open(encoding="utf-8", newline="") as file:
        assert said("export.invented") in next(csv.DictReader(file))["mark"]
    metadata = json.loads((shop / "out" / f"{table.stem}.csv-metadata.json").read_text("utf-8"))
    assert tells(metadata["dc:title"], "export.title_invented")


def test_the_season_teaches_the_cleat_by_temperature_alone_and_the_fairlead_not(shop: Path, run: Run) -> None:
    cleat = run("advise", CLEAT).out
    assert not tells(cleat, "advice.changed")
    assert tells(cleat, "advice.pots")
    assert tells(cleat, "advice.customer") or tells(cleat, "advice.best")
    fairlead = run("advise", FAIRLEAD).out
    none, one = (tell("advice.value.count", value=count) for count in (0, 1))
    old, new = (tell("advice.value.word", text=batch) for batch in ("sand 7", "sand 8"))
    remelts = tell("advice.differs.remelts", values=tell("advice.values", parts=(none,), last=one))
    batch = tell("advice.differs.batch", values=tell("advice.values", parts=(old,), last=new))
    assert tells(fairlead, "advice.changed", parts=(remelts, batch))
    assert tells(fairlead, "advice.out.waiting", pours="2025-006-2")
    assert not tells(run("compare", "2025-001-1", "2025-003-1").out, "comparison.more_changed")
    assert word("aspect", "batch") in run("compare", "2025-004-1", "2025-006-1").out.splitlines()[0]


def test_the_same_seed_makes_the_same_bytes_and_another_does_not(tmp_path: Path) -> None:
    made = []
    for name, seed in (("a", 1), ("b", 1), ("c", 2)):
        paths = paths_of(tmp_path / name)
        make_records(paths, seed=seed, melts=MELTS[:1])
        made.append(sha(paths.database))
    assert made[0] == made[1]
    assert made[0] != made[2]


@pytest.mark.long
def test_the_whole_season_is_the_same_bytes_too(season: Season, tmp_path: Path) -> None:
    make_records(paths_of(tmp_path / "again"))
    assert sha(paths_of(tmp_path / "again").database) == sha(paths_of(season.home).database)


def test_records_that_are_there_already_are_left_alone(shop: Path, home: Path) -> None:
    before = sha(paths_of(home).database)
    assert make_records(paths_of(home)).melts == 0
    assert sha(paths_of(home).database) == before


def test_nothing_is_invented_in_a_real_shops_home(home: Path, run: Run) -> None:
    paths = paths_of(home)
    paths.settings.parent.mkdir(parents=True)
    paths.settings.write_text("schema = 1\n", "utf-8")
    with pytest.raises(Refused) as refused:
        make_records(paths)
    assert refused.value.what == tell("cli.demo.real_shop")
    for words in (("--records", str(home)), ("--headless", "--home", str(home))):
        done = run("demo", *words)
        assert done.code == Refused.exit_code
        assert tells(done.err, "cli.demo.real_shop")
    assert paths.settings.read_text("utf-8") == "schema = 1\n"
    assert not paths.database.exists()


@pytest.mark.parametrize(
    ("text", "invented"),
    [
        ("[shop]\ndemonstration = true\n", True),
        ("# Settings of the demonstration: a simulated furnace\nschema = 1\n", True),  # from before the key
        ("# Settings of the demonstration\n[shop]\ndemonstration = false\n", False),  # became a real shop's
        ("[shop]\ndemonstration = false\n", False),
        ('[shop]\ndemonstration = "true"\n', False),
        ("demonstration = true\n", False),
        ("[shop\ndemonstration = true\n", False),
        ("shop = 3\n", False),
        ("", False),
    ],
)
def test_a_folder_is_a_demonstrations_only_where_its_settings_say_so(home: Path, text: str, invented: bool) -> None:
    paths = paths_of(home)
    paths.settings.parent.mkdir(parents=True)
    paths.settings.write_text(text, "utf-8")
    refused = pytest.raises(Refused) if not invented else contextlib.nullcontext()
    with refused:
        refuse_a_real_shop(paths)


def test_settings_that_a_demonstration_writes_say_that_they_are_one() -> None:
    assert parse_settings(demo_records.settings_text()).shop.demonstration
    assert parse_settings(demo_shop.settings_text(demo_scenario("cleats_dip"), "/dev/null")).shop.demonstration


def test_records_without_settings_are_taken_for_real_ones(season: Season, home: Path) -> None:
    shutil.copytree(season.home / "data", home / "data")
    with refused(Refused, "cli.demo.real_shop"):
        make_records(paths_of(home))


def test_a_season_that_was_cut_off_leaves_nothing_behind(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object) -> None:
        raise OSError("no space left")

    monkeypatch.setattr(demo_records, "_enter", fail)
    with pytest.raises(OSError, match="no space"):
        make_records(paths_of(home), melts=MELTS[:1])
    assert os.listdir(paths_of(home).data) == []


def test_the_command_says_what_to_try_next(tmp_path: Path, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(demo_records, "make_records", lambda paths, **_: make_records(paths, melts=MELTS[:1]))
    folder = tmp_path / "season one"
    done = run("demo", "--records", str(folder))
    assert done.code == 0, done.err
    assert tells(done.err, "cli.demo.recorded", pours=2, melts=1)
    assert f"export POURCALL_HOME='{folder}'" in done.out
    tries = [line.removeprefix("  pourcall ") for line in done.out.splitlines() if line.startswith("  pourcall ")]
    assert tries == [f'advise "{CLEAT}"', "compare 2025-001-1 2025-003-1", "sheet 2025-001-2"]
    monkeypatch.setenv("POURCALL_HOME", str(folder))
    assert not tells(run("demo", "--records", str(folder)).err, "cli.demo.recorded")
    for other in ("--headless", "--empty"):
        assert run("demo", "--records", str(folder), other).code == 2
