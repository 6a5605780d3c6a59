"""The README's claims that can be checked, links, words and the files that stand beside the pages."""

import re
import tomllib
from pathlib import Path
from xml.etree import ElementTree

import pytest

from pourcall.cli.main import COMMANDS
from pourcall.contract.message import tell
from pourcall.contract.paths import paths_for
from pourcall.texts import say
from tests.docs.pages import DOCS, ROOT, coded, page, rows, section

PAGES = sorted([ROOT / "README.md", ROOT / "DEVELOPERS.md", ROOT / "CHANGELOG.md", *DOCS.rglob("*.md")])
USER_PAGES = [ROOT / "README.md", *sorted(DOCS.glob("*.md"))]


# -- the README -------------------------------------------------------------------------------------------------------


def _names(requirements: list[str]) -> set[str]:
    return {re.split(r"[<>=!~;\[ ]", each, maxsplit=1)[0] for each in requirements}


def test_the_readme_gives_a_reason_for_exactly_the_dependencies_there_are() -> None:
    project = tomllib.loads(page("pyproject.toml"))["project"]
    told = section(page("README.md"), "What it stands on")
    listed = {row[0].strip("`"): row[1] for row in rows(told) if row[0] != "package"}
    assert set(listed) == _names(project["dependencies"])
    assert all(listed.values())
    dev = coded(told[told.index("For working on it") :])
    assert dev == _names(project["optional-dependencies"]["dev"])


def test_the_pin_of_the_mqtt_client_is_as_the_readme_says() -> None:
    project = tomllib.loads(page("pyproject.toml"))["project"]
    pin = next(each for each in project["dependencies"] if each.startswith("aiomqtt"))
    assert pin.endswith(",<3")
    assert "Pinned below 3" in page("README.md")
    assert "`asyncio-mqtt` is its old name" in page("README.md")


def test_the_oldest_python_is_the_same_everywhere() -> None:
    wanted = tomllib.loads(page("pyproject.toml"))["project"]["requires-python"].removeprefix(">=")
    assert f"Python {wanted} or newer" in page("README.md")
    assert f"OLDEST = ({wanted.replace('.', ', ')})" in page("run.py")


def test_the_two_commands_are_what_run_py_takes() -> None:
    text, program = page("README.md"), page("run.py")
    assert "python3 run.py  " in text
    assert "python3 run.py --test" in text
    assert "python3 run.py --test" in program
    for option in ("--long", "--checks"):
        assert f'"{option}"' in program
        assert option in page("DEVELOPERS.md")


@pytest.mark.parametrize(
    ("platform", "column", "env", "folders"),
    [
        ("linux", 1, {"XDG_RUNTIME_DIR": "/run/user/1"}, {"/run/user/1": "$XDG_RUNTIME_DIR"}),
        ("darwin", 2, {}, {}),
    ],
)
def test_files_lie_where_the_readme_says(
    platform: str, column: int, env: dict[str, str], folders: dict[str, str]
) -> None:
    paths = paths_for(env, platform, Path("/home/x"))
    cells = [row[column].strip("`") for row in rows(section(page("README.md"), "Where things lie"))][1:]
    for cell, path in zip(cells, (paths.settings, paths.database, paths.socket), strict=True):
        folder = str(path.parent).replace("/home/x", "~")
        for real, said in folders.items():
            folder = folder.replace(real, said)
        assert folder.endswith(cell.removeprefix("...").rstrip("/"))


def test_every_key_of_the_dashboard_is_told() -> None:
    from pourcall.tui.dialogs.help_page import KEYS

    told = {row[0].strip("`") for row in rows(section(page("README.md"), "The demonstration"))}
    shown = {key for keys in KEYS for key in keys.split()}  # what the help page tells, and the key that opens it
    assert shown | {"?"} == told - {"key"}


def test_the_cautions_come_before_the_first_command() -> None:
    text = page("README.md")
    assert text.index("## Cautions first") < text.index("## The two commands")
    cautions = section(text, "Cautions first").lower()
    for word in (
        "burns",
        "moisture",
        "fume",
        "fire",
        "electricity",
        "gas",
        "independent over-temperature limit",
        "own sensor",
        "local codes",
        "licensed",
        "lie plausibly",
    ):
        assert word in cautions, word


def test_what_has_not_been_tried_is_said() -> None:
    text = section(page("README.md"), "What is real, what is simulated, what has not been tried")
    for word in ("No hardware", "macOS and Windows", "pseudo-terminal", "x86-64"):
        assert word in text


def test_the_picture_is_whole_and_fetches_nothing() -> None:
    tree = ElementTree.parse(DOCS / "dashboard.svg")
    text = (DOCS / "dashboard.svg").read_text(encoding="utf-8")
    assert tree.getroot().tag.endswith("svg")
    assert "url(http" not in text.replace('"', "")
    assert "@import" not in text
    assert "SIMULATED" in text


@pytest.mark.wording
def test_the_picture_shows_the_words_of_the_dashboard_as_it_is_now() -> None:
    """After a change of these words: `python docs/picture.py`."""
    tree = ElementTree.parse(DOCS / "dashboard.svg")
    shown = " ".join("".join(each.itertext()) for each in tree.iter() if each.tag.endswith("text")).split()
    labels = ("ahead", "next", "now", "found", "poured", "probe", "melt", "power")
    keys = ("pour", "lift", "dip", "profile", "not_now", "power", "end_melt", "unit", "help", "quit")
    for name in (
        *(f"screen.label.{each}" for each in labels),
        *(f"key.{each}" for each in keys),
        "screen.header.board_ok",
        "screen.alarms.none",
        "screen.scale.window_high",
        "screen.scale.window_low",
    ):
        assert f" {say(tell(name))} " in f" {' '.join(shown)} ", name


# -- all pages --------------------------------------------------------------------------------------------------------


def _anchor(heading: str) -> str:
    kept = "".join(mark for mark in heading.lower() if mark.isalnum() or mark in " -_")
    return kept.strip().replace(" ", "-")


def _anchors(path: Path) -> set[str]:
    text = re.sub(r"```.*?```", "", path.read_text(encoding="utf-8"), flags=re.DOTALL)
    return {_anchor(heading) for heading in re.findall(r"^#+ (.+)$", text, re.MULTILINE)}


@pytest.mark.parametrize("path", PAGES, ids=lambda path: path.name)
def test_every_link_leads_somewhere(path: Path) -> None:
    text = re.sub(r"```.*?```", "", path.read_text(encoding="utf-8"), flags=re.DOTALL)
    for link in re.findall(r"\]\(([^)\s]+)\)", text):
        if link.startswith("https://"):
            continue
        file, _, anchor = link.partition("#")
        target = path if not file else (path.parent / file).resolve()
        assert target.exists(), f"{path.name}: {link}"
        if anchor:
            assert anchor in _anchors(target), f"{path.name}: {link}"


@pytest.mark.parametrize("path", USER_PAGES, ids=lambda path: path.name)
def test_pages_for_users_use_the_words_of_the_trade(path: Path) -> None:
    text = re.sub(r"<!-- made from code.*?<!-- end -->", "", path.read_text(encoding="utf-8"), flags=re.DOTALL)
    text = re.sub(r"```.*?```|`[^`\n]*`", "", text, flags=re.DOTALL)  # options and files may be called so
    text = text.replace("well-mixed room", "")  # a term of ventilation
    found = re.search(r"\b(rooms?|house)\b|#\d+\b", text, re.IGNORECASE)
    assert found is None, f"{path.name}: {found}"


def test_decisions_are_numbered_without_a_hole_and_have_their_three_parts() -> None:
    records = sorted((DOCS / "decisions").glob("*.md"))
    assert [int(path.name[:4]) for path in records] == list(range(1, len(records) + 1))
    for path in records:
        text = path.read_text(encoding="utf-8")
        assert text.startswith(f"# {int(path.name[:4])}. ")
        assert re.findall(r"^\*\*(\w+)\.\*\*", text, re.MULTILINE) == ["Context", "Decision", "Consequences"]


def test_the_unit_file_gives_no_more_rights_than_are_needed() -> None:
    text = (DOCS / "pourcall.service").read_text(encoding="utf-8")
    for line in (
        "ProtectSystem=strict",
        "NoNewPrivileges=yes",
        "PrivateTmp=yes",
        "DevicePolicy=closed",
        "User=pourcall",
        "ProtectHome=yes",
        "CapabilityBoundingSet=",
    ):
        assert re.search(rf"^{re.escape(line)}$", text, re.MULTILINE), line
    assert re.search(r"^DeviceAllow=char-ttyACM rw$", text, re.MULTILINE)
    assert re.search(r"^MemoryMax=\d+M$", text, re.MULTILINE)
    assert "serve" in COMMANDS
    assert re.search(r"^ExecStart=\S+/pourcall serve$", text, re.MULTILINE)
