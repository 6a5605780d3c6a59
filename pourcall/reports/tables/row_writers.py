"""How a row of an export is written. CSV, JSON lines, Parquet; the same columns, names and figures in all three.

The export's loop (export.py) hands over packed figures, a form makes text of them once and keeps it. Sources: RFC 4180
(CSV), RFC 8259 (JSON; one object a line), Apache Parquet through pyarrow, which is optional.
"""

import importlib
import json
from collections.abc import Iterable, Sequence
from datetime import datetime
from types import TracebackType
from typing import Any, BinaryIO, Literal, Protocol

import msgspec

from pourcall.contract.errors import BadInput
from pourcall.contract.message import tell
from pourcall.contract.status import STATUS_OF, Reason
from pourcall.reports.tables.csv_text import text_cell

Kind = Literal["csv", "jsonl", "parquet"]
THINNED_COLUMN = "thinned_to_s"  # of a trace that was thinned: the same figure in each row
PARTS = ("temp_c", "u_c", "status", "reason")  # of each probe, in this order
GROUP_ROWS = 20_000  # held in memory at a time


class Lines(Protocol):
    """What takes the lines of an export."""

    def write(self, text: str, /) -> object: ...

    def writelines(self, lines: Iterable[str], /) -> object: ...


class Form(Protocol):
    """How one kind of file is written. A cell is `figure(...) + rest(...)`, or `empty` where no reading was made.

    `body` joins the cells of a row without looking into a figure: a placeholder may stand for one.
    """

    head: str
    empty: str

    def figure(self, temp_mc: int | None) -> str: ...

    def rest(self, u_mc: int | None, reason: Reason | None) -> str: ...

    def body(self, cells: Sequence[str]) -> str: ...

    def line(self, elapsed: str, utc: str, body: str, mark: str) -> str: ...


def column_names(probes: Sequence[str]) -> list[str]:
    """Names of all columns."""
    return ["elapsed_s", "utc", *(f"{probe}_{part}" for probe in probes for part in PARTS), "mark"]


class CsvForm:
    """One line of cells."""

    empty = ",,,"

    def __init__(self, probes: Sequence[str], *, thinned_to_s: float = 0.0) -> None:
        """thinned_to_s: of readings that were given up but for one in so many seconds; 0: all are there."""
        names = [*column_names(probes), *([THINNED_COLUMN] if thinned_to_s else [])]
        self.head = ",".join(text_cell(name) for name in names) + "\n"
        self._end = f",{thinned_to_s:g}\n" if thinned_to_s else "\n"

    def figure(self, temp_mc: int | None) -> str:
        return "" if temp_mc is None else f"{temp_mc / 1000.0:.3f}"

    def rest(self, u_mc: int | None, reason: Reason | None) -> str:
        words = "," if reason is None else f"{STATUS_OF[reason].value},{reason.value}"
        return f",{self.figure(u_mc)},{words}"

    def body(self, cells: Sequence[str]) -> str:
        return "".join(f"{cell}," for cell in cells)

    def line(self, elapsed: str, utc: str, body: str, mark: str) -> str:
        return f"{elapsed},{utc},{body}{text_cell(mark) if mark else ''}{self._end}"


class JsonForm:
    """One object a line; null where there is nothing. Text is as it was typed: JSON runs no formula."""

    head = ""
    empty = "null|null|null|null"

    def __init__(self, probes: Sequence[str]) -> None:
        self._keys = [[json.dumps(f"{probe}_{part}") for part in PARTS] for probe in probes]

    def figure(self, temp_mc: int | None) -> str:
        return "null" if temp_mc is None else f"{temp_mc / 1000.0:.3f}"

    def rest(self, u_mc: int | None, reason: Reason | None) -> str:
        words = "null|null" if reason is None else f'"{STATUS_OF[reason].value}"|"{reason.value}"'
        return f"|{self.figure(u_mc)}|{words}"

    def body(self, cells: Sequence[str]) -> str:
        return "".join(
            f",{key}:{value}"
            for keys, cell in zip(self._keys, cells, strict=True)
            for key, value in zip(keys, cell.split("|"), strict=True)
        )

    def line(self, elapsed: str, utc: str, body: str, mark: str) -> str:
        return f'{{"elapsed_s":{elapsed},"utc":"{utc}"{body},"mark":{json.dumps(mark) if mark else "null"}}}\n'


def load_arrow() -> Any:
    """pyarrow, where it is installed. Raises BadInput saying how to get it."""
    try:
        importlib.import_module("pyarrow.parquet")
        return importlib.import_module("pyarrow")
    except ImportError as err:
        raise BadInput(tell("export.no_parquet"), remedy=tell("export.no_parquet.remedy")) from err


class ParquetText:
    """Takes the lines of `JsonForm` and writes them as row groups; one group in memory at a time."""

    def __init__(self, arrow: Any, file: BinaryIO, probes: Sequence[str], *, title: str) -> None:
        self._arrow = arrow
        number, word = arrow.float64(), arrow.string()
        of_part = {"temp_c": number, "u_c": number, "status": word, "reason": word}
        fields = [("elapsed_s", number), ("utc", arrow.timestamp("ms", tz="UTC"))]
        fields += [(f"{probe}_{part}", of_part[part]) for probe in probes for part in PARTS]
        self._schema = arrow.schema([*fields, ("mark", word)], metadata={"title": title})
        self._writer = arrow.parquet.ParquetWriter(file, self._schema)
        self._rows: list[dict[str, Any]] = []
        self._decode = msgspec.json.Decoder(dict[str, Any]).decode

    def write(self, text: str, /) -> None:
        if text:
            self.writelines([text])

    def writelines(self, lines: Iterable[str], /) -> None:
        for line in lines:
            row = self._decode(line)
            row["utc"] = msgspec.convert(row["utc"], datetime)
            self._rows.append(row)
        if len(self._rows) >= GROUP_ROWS:
            self._flush()

    def _flush(self) -> None:
        self._writer.write_table(self._arrow.Table.from_pylist(self._rows, schema=self._schema))
        self._rows.clear()

    def __enter__(self) -> "ParquetText":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if kind is None:
            self._flush()
        self._writer.close()
