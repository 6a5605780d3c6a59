"""Reading the documents, for the tests beside this."""

import re
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"


def page(name: str) -> str:
    return (ROOT / name).read_text(encoding="utf-8")


def section(text: str, heading: str) -> str:
    """What stands under a `## heading`, up to the next one of its level."""
    found = re.search(rf"^## {re.escape(heading)}$(.*?)(?=^## |\Z)", text, re.MULTILINE | re.DOTALL)
    assert found, f"there is no section '## {heading}'"
    return found.group(1)


def rows(text: str) -> Iterator[list[str]]:
    """The cells of every table row."""
    for line in text.splitlines():
        if line.startswith("|") and not set(line) <= set("|-: "):
            yield [cell.strip() for cell in re.split(r"(?<!\\)\|", line.strip().strip("|"))]


def coded(text: str) -> set[str]:
    """Everything that stands in backticks."""
    return set(re.findall(r"`([^`\n]+)`", text))
