"""Room: text in CSV cells, files that are whole or not there. No records are known here.

Formulas: a spreadsheet runs what begins with = + - @ tab or CR; text gets an apostrophe before it, numbers do not.
Source: RFC 4180 (quoting); OWASP "CSV Injection" (which characters; from memory).
"""

import contextlib
import os
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import BinaryIO, TextIO

from pourcall.contract.errors import StoreError

_FORMULA = ("=", "+", "-", "@")


def text_cell(text: str) -> str:
    """Text of a person as one cell: control characters become spaces, formulas harmless, quotes doubled."""
    clean = "".join(" " if ord(char) < 32 or 127 <= ord(char) < 160 else char for char in text).strip()
    if clean.startswith(_FORMULA):
        clean = "'" + clean
    if any(char in clean for char in ',"'):
        return '"' + clean.replace('"', '""') + '"'
    return clean


def number_cell(value: float | None, decimals: int) -> str:
    """A number with a fixed count of decimals; empty where there is none. Negative numbers stay numbers."""
    return "" if value is None else f"{value:.{decimals}f}"


def write_whole(files: Sequence[tuple[Path, Callable[[TextIO], None]]]) -> None:
    """Write several files that belong together: all are complete on disk before the first takes its name.

    Raises StoreError when the disk is full or may not be written; nothing half is left behind.
    """
    made: list[tuple[Path, Path]] = []
    try:
        try:
            for path, fill in files:
                path.parent.mkdir(parents=True, exist_ok=True)
                partial = path.with_name(f".{path.name}.{os.getpid()}.part")
                made.append((partial, path))
                with partial.open("w", encoding="utf-8", newline="") as file:
                    fill(file)
                    file.flush()
                    os.fsync(file.fileno())
            for partial, path in made:
                partial.replace(path)
        except BaseException:
            for partial, _ in made:
                with contextlib.suppress(OSError):
                    partial.unlink()
            raise
    except OSError as err:
        raise _not_written(files[0][0], err) from err


def write_whole_bytes(path: Path, fill: Callable[[BinaryIO], None]) -> None:
    """One binary file, whole or not there. Raises StoreError."""
    partial = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            with partial.open("wb") as file:
                fill(file)
                file.flush()
                os.fsync(file.fileno())
            partial.replace(path)
        except BaseException:
            with contextlib.suppress(OSError):
                partial.unlink()
            raise
    except OSError as err:
        raise _not_written(path, err) from err


def write_texts(texts: Mapping[Path, str]) -> None:
    """Several files from texts that are ready, all of them or none. Raises StoreError."""

    def filling(text: str) -> Callable[[TextIO], None]:
        def fill(file: TextIO) -> None:
            file.write(text)

        return fill

    write_whole([(path, filling(text)) for path, text in texts.items()])


def _not_written(path: Path, err: OSError) -> StoreError:
    return StoreError(
        f"the export could not be written: {err.strerror or err}",
        where=str(path),
        remedy="Free some space or choose another folder; nothing half is left there",
    )
