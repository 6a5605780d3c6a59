"""Text in CSV cells, files that are whole or not there. No records are known here.

Formulas: a spreadsheet runs what begins with = + - @ tab or CR; text gets an apostrophe before it, numbers do not.
Source: RFC 4180 (quoting); OWASP "CSV Injection" (which characters; from memory).
"""

import contextlib
import io
import os
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import BinaryIO, TextIO

from pourcall.contract.errors import StoreError
from pourcall.contract.message import tell
from pourcall.contract.output_file import output_file

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
    """Write several texts that belong together: all are complete on disk before the first takes its name.

    Raises StoreError when the disk is full or may not be written; nothing half is left behind.
    """

    def as_bytes(fill: Callable[[TextIO], None]) -> Callable[[BinaryIO], None]:
        def write(file: BinaryIO) -> None:
            text = io.TextIOWrapper(file, encoding="utf-8", newline="")
            fill(text)
            text.flush()
            text.detach()

        return write

    _write([(path, as_bytes(fill)) for path, fill in files])


def write_whole_bytes(path: Path, fill: Callable[[BinaryIO], None]) -> None:
    """One binary file, whole or not there. Raises StoreError."""
    _write([(path, fill)])


def write_files(bodies: Mapping[Path, str | bytes]) -> None:
    """Several files that are ready, texts as UTF-8, all of them or none. Raises StoreError."""

    def filling(body: bytes) -> Callable[[BinaryIO], None]:
        return lambda file: _put(file, body)

    ready = {path: body.encode() if isinstance(body, str) else body for path, body in bodies.items()}
    _write([(path, filling(body)) for path, body in ready.items()])


def _put(file: BinaryIO, body: bytes) -> None:
    file.write(body)


def _write(files: Sequence[tuple[Path, Callable[[BinaryIO], None]]]) -> None:
    made: list[tuple[Path, Path]] = []
    now = files[0][0] if files else Path()
    try:
        try:
            for named, fill in files:
                now = named
                path = output_file(named)
                path.parent.mkdir(parents=True, exist_ok=True)
                partial = path.with_name(f".{path.name}.{os.getpid()}.part")
                made.append((partial, path))
                with partial.open("wb") as file:
                    fill(file)
                    file.flush()
                    os.fsync(file.fileno())
            for partial, path in made:
                now = path
                partial.replace(path)
        except BaseException:
            for partial, _ in made:
                with contextlib.suppress(OSError):
                    partial.unlink()
            raise
    except OSError as err:
        raise _not_written(now, err) from err


def _not_written(path: Path, err: OSError) -> StoreError:
    return StoreError(
        tell("export.not_written", error=err.strerror or str(err)),
        where=str(path),
        remedy=tell("export.not_written.remedy"),
    )
