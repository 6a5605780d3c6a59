"""Sheet, compare, exports, photos and search as commands, over the record of the demonstration."""

import csv
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import zlib
from collections.abc import Callable, Iterator
from pathlib import Path
from struct import pack
from typing import Any
from xml.etree import ElementTree

import pypdf
import pytest
from PIL import Image

from pourcall.cli.main import main
from pourcall.contract.message import tell
from pourcall.contract.units import Unit
from pourcall.texts import say, word
from tests.reworded import program
from tests.told import heard, said, tells

Run = Callable[..., Any]


def png(shade: int) -> bytes:
    """A grey dot (PNG, W3C)."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return pack(">I", len(body)) + kind + body + pack(">I", zlib.crc32(kind + body))

    head, data = pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0), zlib.compress(bytes([0, shade]))
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", data) + chunk(b"IEND", b"")


@pytest.fixture(scope="module")
def recorded() -> Iterator[Path]:
    """A home with two melts of two deck cleats each. Its path is short, as that of a socket has to be."""
    with tempfile.TemporaryDirectory(prefix="pc-") as folder:
        home = Path(folder) / "h"
        for scenario in ("cleats_left_in", "cleats_dip"):
            words = ("--headless", "--scenario", scenario, "--export", f"{folder}/out", "--home", str(home))
            assert main(("demo", *words)) == 0
        yield home


@pytest.fixture
def shop(recorded: Path, home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The working folder, beside a home of one's own with these melts."""
    monkeypatch.chdir(tmp_path)
    for name in ("data", "settings"):
        shutil.copytree(recorded / name, home / name)
    return tmp_path


def test_a_pour_on_paper_side_by_side_and_as_files(shop: Path, run: Run, home: Path) -> None:
    done = run("sheet", "2026-001-1")
    assert done.code == 0, done.err
    page = (shop / "pour-2026-001-1.html").read_text("utf-8")
    assert said("sheet.simulated") in page
    assert said("sheet.inside") in page
    assert said("caution.hazard.steam") in page  # the cautions of the alloy and of the sand
    assert tells(done.out, "sheet.written_page", file="pour-2026-001-1.html")
    assert run("sheet", "2026-001-1", "--svg", "plot.svg", "--unit", "F").out == "plot.svg\n"
    words = [str(e.text) for e in ElementTree.parse(shop / "plot.svg").iter() if e.tag.endswith(("text", "title"))]
    assert "°F" in words
    liquidus, pour = said("plot.liquidus", Unit.F, liquidus_c=484.0), said("plot.pour_number", number=1)
    assert {liquidus, said("plot.lift"), pour, word("stretch", "ready")} <= set(words)

    told = run("compare", "2026-001-1", "2026-002-1", "--svg", "over.svg", "--html", "over.html", "--align", "liquidus")
    assert told.code == 0, told.err
    changed = tell("comparison.more_changed", what=(tell("word.aspect.probe"),))
    assert told.out.startswith(say(tell("comparison.note", warning=changed)))
    assert tells(told.out, "comparison.same")
    assert f"{word('aspect', 'alloy')} ZA-27" in told.out
    ElementTree.parse(shop / "over.svg")
    assert "<svg" in (shop / "over.html").read_text("utf-8")
    found = json.loads(run("compare", "2026-001-1", "2026-001-2", "--json").out)
    assert found["pours"] == ["2026-001-1", "2026-001-2"]
    assert {line["name"] for line in found["differ"]} >= {"at_lip", "order"}
    assert {line["name"] for line in found["same"]} >= {"alloy", "setup", "probe", "mass"}

    lines = run("export", "2026-002", "--format", "jsonl", "--to", "out")
    assert lines.code == 0, lines.err
    rows = [json.loads(line) for line in (shop / "out" / "melt-2026-002.jsonl").read_text("utf-8").splitlines()]
    assert tells(lines.out, "export.rows", rows=len(rows))
    assert run("export", "--pours", "all.csv").out == said("export.pours", pours=4, file="all.csv") + "\n"
    with (shop / "all.csv").open(encoding="utf-8", newline="") as file:
        assert [row["pour"] for row in csv.DictReader(file)] == ["2026-001-1", "2026-001-2", "2026-002-1", "2026-002-2"]


def test_a_sheet_from_a_furnace_that_burns_fuel_warns_of_carbon_monoxide(shop: Path, run: Run, home: Path) -> None:
    monoxide = said("caution.hazard.monoxide")
    run("sheet", "2026-001-1")
    page = shop / "pour-2026-001-1.html"
    assert monoxide not in page.read_text("utf-8")
    settings = home / "settings" / "pourcall.toml"
    text = settings.read_text("utf-8")
    kind = re.compile(r'^kind = "electric"$', re.MULTILINE)
    assert kind.search(text)
    settings.write_text(kind.sub('kind = "fuel"', text), "utf-8")
    assert run("sheet", "2026-001-1").code == 0
    assert monoxide in page.read_text("utf-8")


def test_pictures_of_every_kind_come_where_they_are_asked_for(shop: Path, run: Run) -> None:
    for words, files in (
        (("export", "2026-001", "--plot", "melt.svg"), ["melt.svg"]),
        (("export", "2026-001-1", "--plot", "out/pour.PNG", "--unit", "F"), ["out/pour.PNG"]),
        (("export", "2026-002", "--plot", "melt.pdf", "--to", "in"), ["in/melt.pdf"]),
        (("sheet", "2026-001-1", "--pdf", "s.pdf", "--png", "s.png", "--paper", "letter"), ["s.pdf", "s.png"]),
        (("sheet", "2026-001-1", "--plot", "both.png"), ["both.png"]),
        (("compare", "2026-001-1", "2026-002-1", "--plot", "c.pdf", "--align", "liquidus"), ["c.pdf"]),
        (("compare", "2026-001-1", "2026-002-1", "--plot", "c.svg", "--html", "c.html"), ["c.svg", "c.html"]),
        (("compare", "2026-001-1", "2026-002-1", "--pdf", "d.pdf"), ["d.pdf"]),
    ):
        before = {path for path in shop.rglob("*") if path.is_file()}
        done = run(*words)
        assert done.code == 0, done.err
        assert {path for path in shop.rglob("*") if path.is_file()} - before == {shop / file for file in files}
        for file in files:
            assert file in done.out
            body = (shop / file).read_bytes()
            kind = Path(file).suffix.lower()
            assert body.startswith({".png": b"\x89PNG", ".pdf": b"%PDF-", ".svg": b"<svg", ".html": b"<!doctype"}[kind])
            if kind == ".pdf":
                (page,) = pypdf.PdfReader(shop / file).pages
                assert "2026-00" in page.extract_text()
            if kind == ".png":
                with Image.open(shop / file) as image:
                    image.verify()
    found = json.loads(run("export", "2026-001", "--plot", "melt.svg", "--json").out)
    assert found == {"plot": "melt.svg"}
    drawn = " ".join(str(e.text) for e in ElementTree.parse(shop / "melt.svg").iter() if e.tag.endswith("text"))
    assert tells(drawn, "plot.invented")
    assert tells(drawn, "plot.window_in_pot", mould="cleat 1")
    assert tells(drawn, "plot.call")
    assert "0.45 kg" in drawn
    assert tells(drawn, "record.power", level="off")
    assert tells(drawn, "record.lifted")


@pytest.mark.skipif(sys.platform == "win32", reason="a limit on the size of files is set the POSIX way")
def test_a_disk_that_fills_leaves_no_half_file_of_any_kind(shop: Path, home: Path) -> None:
    """The kernel refuses what goes beyond 33 kB of a file (setrlimit, POSIX.1-2017), as a full disk would."""

    def small() -> None:
        import resource

        resource.setrlimit(resource.RLIMIT_FSIZE, (33_000, 33_000))

    old = shop / "melt.png"
    old.write_text("an older drawing")
    before = sorted(os.listdir(shop))
    for words in (
        ("export", "2026-001"),
        ("export", "2026-001", "--format", "jsonl"),
        ("export", "2026-001-1", "--to", "."),
        ("export", "2026-001", "--format", "parquet"),
        ("export", "2026-001", "--recompute"),
        ("export", "2026-001", "--plot", "melt.pdf"),
        ("export", "2026-001", "--plot", "melt.png"),
        ("sheet", "2026-001-1", "--pdf", "s.pdf"),
        ("sheet", "2026-001-1", "--png", "s.png", "--html", "s.html"),
        ("compare", "2026-001-1", "2026-002-1", "--html", "c.html", "--plot", "c.png"),
    ):
        done = subprocess.run(
            program(*words),
            env={**os.environ, "POURCALL_HOME": str(home)},
            cwd=shop,
            capture_output=True,
            text=True,
            preexec_fn=small,
            timeout=60.0,
        )
        assert done.returncode == 5, (words, done)
        assert tells(done.stderr, "export.not_written", error="File too large"), (words, done.stderr)
        assert tells(done.stderr, "export.not_written.remedy")
        assert sorted(os.listdir(shop)) == before, words
    assert old.read_text() == "an older drawing"


def test_what_cannot_be_done_is_said_and_leaves_no_file(shop: Path, run: Run) -> None:
    before = sorted(os.listdir(shop))
    for words, code, told in (
        (("sheet", "2026-001-7"), 3, tell("record.no_pour", pour="2026-001-7")),
        (("sheet", "2026-001"), 3, tell("record.no_pour", pour="2026-001")),
        (("compare", "2026-001-1"), 2, tell("comparison.not_several")),
        (("compare", "2026-001-1", "2026-001-1"), 2, tell("comparison.not_several")),
        (("compare", "2026-001-1", "2026-009-1"), 3, tell("record.no_pour", pour="2026-009-1")),
        (("export", "2026-001", "--recompute", "--format", "jsonl"), 2, tell("usage.export.recompute")),
        (("export", "2026-001", "--pours", "a.csv"), 2, "not allowed with"),
        (("export", "--pours", "a.csv", "--format", "jsonl"), 2, tell("usage.export.pours")),
        (("export", "--pours", "a.csv", "--plot", "a.svg"), 2, tell("usage.export.pours")),
        (("export", "2026-001", "--plot", "a.svg", "--recompute"), 2, tell("usage.export.plot")),
        (("export", "2026-001", "--plot", "a.svg", "--format", "jsonl"), 2, tell("usage.export.plot")),
        (("export", "2026-001", "--plot", "a.gif"), 2, tell("export.no_kind")),
        (("export", "2026-009", "--plot", "a.svg"), 3, "2026-009"),
        (("export", "2026-001-7", "--plot", "a.svg"), 3, tell("record.no_pour", pour="2026-001-7")),
        (("sheet", "2026-001-1", "--plot", "a"), 2, tell("export.no_kind")),
        (("compare", "2026-001-1", "2026-001-2", "--plot", "a.jpg"), 2, tell("export.no_kind")),
        (("export",), 2, "is required"),
        (("melt", "list", "--since", "soon"), 2, tell("usage.date", word="soon")),
        (
            ("melt", "list", "--since", "2026-09", "--until", "2026-08"),
            2,
            tell("usage.period", since="2026-09", until="2026-08"),
        ),
        (("pour", "photo", "2026-001-1"), 2, tell("usage.photo.none")),
        (("pour", "photo", "2026-001-1", "none.jpg"), 2, "No such file"),
        (("pour", "photo", "--folder", "nowhere"), 3, tell("usage.photo.no_folder")),
    ):
        done = run(*words)
        assert done.code == code, (words, done)
        assert heard(done.err, told), (words, done.err)
    assert sorted(os.listdir(shop)) == before


def test_photos_of_a_folder_find_their_pours_and_stand_on_the_sheet(shop: Path, run: Run, home: Path) -> None:
    folder = shop / "camera"
    folder.mkdir()
    poured_s = json.loads(run("pour", "show", "2026-001-1", "--json").out)["row"]["at_utc_s"]
    for name, body, after_s in (
        ("2026-002-2 horn tip.png", png(1), 50.0),
        ("a.png", png(2), 86_400.0),
        ("b.png", png(3), 9 * 86_400.0),
        ("list.txt", b"cleats", 60.0),
        ("2026-044-1.png", png(4), 60.0),
    ):
        (folder / name).write_bytes(body)
        os.utime(folder / name, (poured_s + after_s, poured_s + after_s))
    dry = run("pour", "photo", "--folder", str(folder), "--dry-run")
    assert dry.code == 0, dry.err
    assert dry.out.count(said("cli.photo.would_be_recorded")) == 2
    assert not (home / "data" / "photos").exists()
    assert tells(dry.err, "cli.photo.left_out", file="list.txt", why=tell("entry.photo.no_image"))
    no_pour = tell("cli.photo.no_such_pour", pour="2026-044-1")
    assert tells(dry.err, "cli.photo.left_out", file="2026-044-1.png", why=no_pour)
    (too_late,) = (line for line in dry.err.splitlines() if "b.png" in line)
    assert tells(too_late, "cli.photo.no_pour_before", days=3)
    done = json.loads(run("pour", "photo", "--folder", str(folder), "--caption", "after fettling", "--json").out)
    assert [(Path(one["file"]).name, one["melt"], one["pour"]) for one in done] == [
        ("2026-002-2 horn tip.png", "2026-002", "2026-002-2"),
        ("a.png", "2026-002", ""),
    ]
    assert run("pour", "photo", "--folder", str(folder)).out.count(said("cli.photo.known")) == 2
    assert len(os.listdir(home / "data" / "photos")) == 2
    run("sheet", "2026-002-2")
    assert (shop / "pour-2026-002-2.html").read_text("utf-8").count("data:image/png;base64,") == 2
    found = json.loads(run("melt", "find", "FETTLING", "--json").out)
    assert [(hit["what"], hit["pour"]) for hit in found] == [("photo", ""), ("photo", "2026-002-2")]
    assert tells(run("melt", "find", "lobster").out, "melt_list.nothing_has", words="lobster")


def test_of_several_photos_none_is_kept_where_one_is_no_image(shop: Path, run: Run, home: Path) -> None:
    (shop / "a.png").write_bytes(png(1))
    (shop / "b.png").write_bytes(b"MZ not a photo")
    done = run("pour", "photo", "2026-001-1", "a.png", "b.png")
    assert done.code == 2
    assert "b.png" in done.err
    assert not (home / "data" / "photos").exists()
    assert json.loads(run("pour", "show", "2026-001-1", "--json").out)["photos"] == []


def test_a_photo_goes_on_record_beside_a_running_daemon(
    home: Path,
    socket_board: Any,
    serve: Callable[..., Any],
    shell: Run,
    run: Run,
    tmp_path: Path,
    write_settings: Callable[[str], Path],
    settings_for: Callable[[str], str],
) -> None:
    assert run("demo", "--headless", "--export", str(tmp_path / "demo"), "--home", str(home)).code == 0
    write_settings(settings_for(socket_board.port))
    daemon = serve()
    assert tells(daemon.said, "cli.serve.listening")
    assert shell("melt", "start", "za27", "--charge", "1.5kg", "--mould", "cleat 3,kg=0.6,mm=6").code == 0
    for shade in range(4):  # its writer commits every second meanwhile
        (tmp_path / f"{shade}.png").write_bytes(png(shade))
    done = shell("pour", "photo", "2026-001-1", *(str(tmp_path / f"{shade}.png") for shade in range(4)))
    assert done.code == 0, done.err
    assert done.out.count(f"; {said('cli.photo.recorded')}") == 4
    assert shell("melt", "note", "four photos taken").code == 0
    assert len(json.loads(shell("pour", "show", "2026-001-1", "--json").out)["photos"]) == 4
    assert shell("melt", "end", "--abandoned", "no cleat today").code == 0  # its mould still waits for metal
    assert daemon.stop() == 0
    assert "four photos" in shell("melt", "find", "photos").out
